"""Another loop: the worked example, how many pay, break-evens, ranking and sensitivities."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.costing.errors_left import FailureMode, Remaining, build_prior, compute_remaining
from pipeline.costing.loop import (
    Loop,
    Stake,
    compute_after,
    compute_chance_pays,
    compute_exposure,
    compute_loop,
    compute_net,
    compute_stakes_after,
)
from pipeline.costing.loop_inputs import Swing, compute_curve, compute_swings, list_inputs
from pipeline.costing.loop_series import compute_series, rank_evidence

FIT, FUNCTION, MATERIAL = FailureMode.FIT, FailureMode.FUNCTION, FailureMode.MATERIAL_PROCESS

# worked example (invented inputs), arithmetic run independently of this project
WEEK = 800 * 42 * 0.5 / 52
FIRST_ARTICLE = ((15974.62, 0.55), (20543.85, 0.25), (25490.00, 0.15), (54774.62, 0.05))
LATE = math.fsum(cost * share for cost, share in FIRST_ARTICLE)
REPRINT, REFIT = 380, 3 * 4 * 75 + 300
EARLY = 10 * 75 + REPRINT + REFIT + 1.5 * WEEK
LOOP = Loop("print and fit", REPRINT + REFIT + 8 * 75, 2, WEEK, {FIT: 0.8, FUNCTION: 0.6, MATERIAL: 0.0})


def build_stakes(late: float = LATE, now: float = EARLY) -> dict[FailureMode, Stake]:
    expected = {FIT: 0.25, FUNCTION: 0.1, MATERIAL: 0.12}
    return {mode: Stake(compute_remaining(build_prior(mean, 1), 1.0), late, now) for mode, mean in expected.items()}


def test_worked_example_net_gain() -> None:
    result = compute_loop(build_stakes(), LOOP)
    assert pytest.approx(20484.23, abs=0.005) == LATE
    assert pytest.approx(2814.62, abs=0.005) == EARLY
    assert result.price == pytest.approx(2826.15, abs=0.005)
    assert result.commit_now == pytest.approx(9627.59, abs=0.005)
    assert result.loop_then_commit == pytest.approx(7859.64, abs=0.005)
    assert result.net == pytest.approx(1767.95, abs=0.005)
    assert result.pays
    assert result.longest_weeks == pytest.approx(7.47, abs=0.005)


def test_worked_example_second_loop_and_break_even() -> None:
    series = compute_series(build_stakes(), LOOP)
    assert series.steps[1].after_clean == pytest.approx(-1837.10, abs=0.005)
    assert (series.planned, series.after_clean) == (1, 1)
    turns = {row.label: row.turns_at for row in list_inputs(build_stakes(), LOOP)}
    assert turns["errors of fit left"] == pytest.approx(0.1249, abs=5e-5)
    assert turns["weeks of the loop"] == pytest.approx(7.47, abs=0.005)
    after = compute_stakes_after(build_stakes(), LOOP)
    left = {mode: stake.remaining for mode, stake in after.items()}
    assert left[FIT].mean == pytest.approx(0.04167, abs=5e-6)
    assert left[FUNCTION].mean == pytest.approx(0.03774, abs=5e-6)
    assert left[MATERIAL].mean == pytest.approx(0.12)
    assert left[MATERIAL].chance_of_none == pytest.approx(0.89286, abs=5e-6)


def test_no_number_of_prints_proves_hardness() -> None:
    stakes = {MATERIAL: build_stakes()[MATERIAL]}
    for _ in range(5):
        stakes = dict(compute_stakes_after(stakes, LOOP))
    assert stakes[MATERIAL].remaining.mean == pytest.approx(0.12)
    result = compute_loop(stakes, LOOP)
    assert result.net == -LOOP.price
    assert result.chance_pays == 0
    assert result.longest_weeks is None
    assert compute_series(stakes, LOOP).calls_for_more[MATERIAL] is None


def test_chance_that_it_pays_against_simulation_of_the_story() -> None:
    stakes = build_stakes()
    rng = np.random.default_rng(5)
    worth = np.zeros(400_000)
    for mode, stake in stakes.items():
        left = rng.poisson(rng.gamma(stake.remaining.shape, 1 / stake.remaining.weight, worth.size))
        worth += rng.binomial(left, LOOP.powers[mode]) * (LATE - EARLY)
    result = compute_loop(stakes, LOOP)
    assert result.chance_pays == pytest.approx(np.mean(worth > LOOP.price), abs=0.003)
    # the loop pays once it finds a single error: 1 - P(no fit error found) P(no function error found)
    assert result.chance_pays == pytest.approx(1 - 4 / 4.8 * 10 / 10.6, abs=1e-12)
    assert worth.mean() - LOOP.price == pytest.approx(result.net, abs=60)


def test_many_cheap_errors_fall_back_to_a_seeded_simulation() -> None:
    stakes = {mode: Stake(Remaining(40, 2, 1.0), 3.0 + 0.1 * i, 2.0) for i, mode in enumerate(FailureMode)}
    loop = Loop("many", 55, 0, 0, dict.fromkeys(FailureMode, 0.4))
    first = compute_chance_pays(stakes, loop, seed=3)
    assert first == compute_chance_pays(stakes, loop, seed=3)
    assert first != compute_chance_pays(stakes, loop, seed=4)
    assert 0.3 < first < 0.9


def test_exact_and_simulated_chance_agree() -> None:
    from pipeline.costing.loop import _simulate_chance

    stakes = build_stakes(late=9_000, now=1_000)
    loop = Loop("dear", 9_500, 0, 0, LOOP.powers)
    seen = [(stakes[mode].remaining, stakes[mode].saving, LOOP.powers[mode]) for mode in (FIT, FUNCTION)]
    exact = compute_chance_pays(stakes, loop)
    assert exact == pytest.approx(_simulate_chance(seen, loop.price, seed=1, draws=400_000), abs=0.002)
    assert 0.01 < exact < 0.1


@pytest.mark.parametrize(("direct", "pays"), [(3_399.5, True), (3_400.0, False), (3_400.5, False)])
def test_a_loop_that_comes_out_even_does_not_pay(direct: float, pays: bool) -> None:
    """By hand: a quarter of an error left, found with chance 0.8, saves 17,000: 3,400 on average."""
    stakes = {FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    assert compute_loop(stakes, Loop("x", direct, 0, 0, {FIT: 0.8})).pays == pays


@pytest.mark.parametrize(
    ("direct", "weeks", "per_money", "per_week"),
    [(0, 0, None, None), (0.5, 0, 3_399.5 / 0.5, None), (0, 0.5, None, 3_400 / 0.5), (1_400, 4, 2_000 / 1_400, 500)],
)
def test_the_gain_for_each_unit_of_money_and_for_each_week(
    direct: float, weeks: float, per_money: float | None, per_week: float | None
) -> None:
    """By hand: 3,400 saved, less the price, over the price and over the weeks; a week of delay costs nothing here."""
    stakes = {FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    result = compute_loop(stakes, Loop("x", direct, weeks, 0, {FIT: 0.8}))
    for found, wanted in ((result.gain_per_money, per_money), (result.gain_per_week, per_week)):
        assert found is None if wanted is None else found == pytest.approx(wanted)


@pytest.mark.parametrize(("shape", "weight", "price"), [(100, 0.1, 1_200), (0.5, 0.05, 150), (50, 0.001, 49_998)])
def test_the_chance_that_one_mode_pays_is_the_tail_of_a_negative_binomial(
    shape: float, weight: float, price: float
) -> None:
    """Errors that each save one unit of money: it pays where more are found than its price. Tail from a library."""
    from scipy.stats import nbinom

    stakes = {FIT: Stake(Remaining(shape, weight, 1.0), late=2, now=1)}
    found = compute_chance_pays(stakes, Loop("x", price, 0, 0, {FIT: 1.0}))
    assert found == pytest.approx(nbinom.sf(price, shape, weight / (weight + 1)), rel=1e-6)


def test_fifty_thousand_counts_are_added_up_and_one_more_is_simulated() -> None:
    """Up to the price there are 0 to 49,998 errors and one that is too many: 50,000 counts."""
    stakes = {FIT: Stake(Remaining(50, 0.001, 1.0), late=2, now=1)}
    for price, is_exact in ((49_998, True), (49_999, False)):
        loop = Loop("x", price, 0, 0, {FIT: 1.0})
        seeds = [compute_chance_pays(stakes, loop, seed, draws=1_000) for seed in (1, 2)]
        assert (seeds[0] == seeds[1]) == is_exact


def test_all_ways_of_asking_for_the_chance_see_the_same_worlds() -> None:
    stakes = {mode: Stake(Remaining(40, 2, 1.0), 3.0 + 0.1 * i, 2.0) for i, mode in enumerate(FailureMode)}
    loop = Loop("many", 55, 0, 0, dict.fromkeys(FailureMode, 0.4))
    assert compute_loop(stakes, loop).chance_pays == compute_chance_pays(stakes, loop)
    assert rank_evidence(stakes, [loop]) == (compute_loop(stakes, loop),)


def test_two_steps_of_a_loop_are_one_loop_of_their_joint_power() -> None:
    left = Remaining(1.3, 2.2, 0.7)
    twice = compute_after(compute_after(left, 0.5, 1), 0.4, 2)
    once = compute_after(left, 1 - 0.5 * 0.6, 3)
    assert (twice.shape, twice.weight, twice.miss) == pytest.approx((once.shape, once.weight, once.miss))


def test_errors_found_call_for_another_loop() -> None:
    series = compute_series(build_stakes(), LOOP)
    wanted = series.calls_for_more[FIT]
    assert wanted is not None
    assert compute_net(compute_stakes_after(build_stakes(), LOOP, {FIT: wanted}), LOOP) > 0
    assert compute_net(compute_stakes_after(build_stakes(), LOOP, {FIT: wanted - 1}), LOOP) <= 0


def test_a_row_of_loops_ends_with_the_first_that_comes_out_even_or_where_it_was_told_to() -> None:
    """By hand: a quarter of an error, found with chance 0.8, saves 3,400: at that price the first loop ends the row."""
    stakes = {FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    even = compute_series(stakes, Loop("even", 3_400, 0, 0, {FIT: 0.8}))
    assert [step.number for step in even.steps] == [1]
    assert (even.planned, even.after_clean) == (0, 0)
    free = compute_series(stakes, Loop("free", 0, 0, 0, {FIT: 0.8}), most=3)
    assert [step.number for step in free.steps] == [1, 2, 3]
    assert (free.planned, free.after_clean) == (3, 3)


@pytest.mark.parametrize(("price", "wanted"), [(0.5, 0), (1.5, 1), (20.5, 20), (21.5, None)])
def test_the_errors_that_call_for_another_loop_are_looked_for_up_to_twenty(price: float, wanted: int | None) -> None:
    """By hand: after n errors found, (1 + n) 0.5 / 4.5 are left; half of them found at 18 each save 1 + n."""
    stakes = {FIT: Stake(Remaining(1, 4, 1.0), late=20, now=2)}
    assert compute_series(stakes, Loop("x", price, 0, 0, {FIT: 0.5})).calls_for_more == {FIT: wanted}


def test_every_break_even_turns_the_answer_when_put_back() -> None:
    for row in list_inputs(build_stakes(), LOOP):
        assert row.compute_net(row.value) == pytest.approx(1767.95, abs=0.005)
        if row.turns_at is not None:
            assert row.compute_net(row.turns_at) == pytest.approx(0, abs=1e-6)


def test_break_even_inputs_recomputed_from_scratch() -> None:
    turns = {row.label: row.turns_at for row in list_inputs(build_stakes(), LOOP)}
    late = turns["cost of an error of fit found late"]
    assert late is not None
    stakes = build_stakes()
    stakes[FIT] = Stake(stakes[FIT].remaining, late, EARLY)
    assert compute_net(stakes, LOOP) == pytest.approx(0, abs=1e-6)
    price = turns["price of the loop"]
    assert price is not None
    assert compute_net(build_stakes(), Loop("x", price, 2, WEEK, LOOP.powers)) == pytest.approx(0, abs=1e-6)
    chance = turns["chance to find an error of fit"]
    assert chance is not None
    assert compute_net(build_stakes(), Loop("x", LOOP.direct, 2, WEEK, {**LOOP.powers, FIT: chance})) == pytest.approx(
        0, abs=1e-6
    )
    assert turns["chance to find an error of material and process"] is None  # it pays already, and cannot see less


def test_a_blind_mode_is_turned_by_no_number_of_errors() -> None:
    turns = {row.label: row.turns_at for row in list_inputs(build_stakes(), LOOP)}
    assert turns["errors of material and process left"] is None


def test_other_evidence_is_ranked() -> None:
    options = [
        LOOP,
        Loop("plated sample", 1_400, 3, WEEK, {MATERIAL: 0.7, FIT: 0.3}),
        Loop("hardness test", 120, 0.5, WEEK, {MATERIAL: 0.5}),
    ]
    ranked = rank_evidence(build_stakes(), options)
    assert [row.name for row in ranked] == ["print and fit", "hardness test", "plated sample"]
    assert max(ranked, key=lambda row: row.gain_per_money or 0).name == "hardness test"
    assert max(ranked, key=lambda row: row.gain_per_week or 0).name == "hardness test"
    assert compute_loop(build_stakes(), Loop("free", 0, 0, 0, {FIT: 0.1})).gain_per_money is None


def test_an_error_that_is_no_dearer_late_is_left_alone() -> None:
    stakes = {FIT: Stake(Remaining(1, 4, 1.0), late=900, now=1_000)}
    result = compute_loop(stakes, Loop("x", 10, 0, 0, {FIT: 1.0}))
    assert compute_exposure(stakes) == 0
    assert result.net == -10
    assert result.loop_then_commit == pytest.approx(result.commit_now + 10)


def test_swings_and_curves_for_a_drawing() -> None:
    spans = {"errors of fit left": (0.05, 0.5), "weeks of the loop": (1.0, 3.0), "price of the loop": (2000.0, 2400.0)}
    bars = compute_swings(build_stakes(), LOOP, spans)
    assert [bar.label for bar in bars] == ["errors of fit left", "weeks of the loop", "price of the loop"]
    assert bars[0].turns_inside
    assert not bars[1].turns_inside
    assert bars[1].net_low - bars[1].net_high == pytest.approx(2 * WEEK)
    row = next(row for row in list_inputs(build_stakes(), LOOP) if row.label == "errors of fit left")
    curve = compute_curve(row, 0.0, 0.5, points=11)
    assert len(curve.values) == len(curve.nets) == 11
    assert list(curve.nets) == sorted(curve.nets)
    assert curve.turns_at == pytest.approx(0.1249, abs=5e-5)


@pytest.mark.parametrize(
    ("nets", "turns"),
    [((0.5, -0.5), True), ((-0.5, 0.5), True), ((0.0, 0.5), True), ((0.5, 1.5), False), ((-0.5, 0.0), False)],
)
def test_the_answer_turns_inside_where_one_end_pays_and_the_other_does_not(
    nets: tuple[float, float], turns: bool
) -> None:
    assert Swing("weeks of the loop", "weeks", 1, 3, *nets, turns_at=None).turns_inside == turns


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Stake(Remaining(1, 1, 1.0), -1, 0), "found late is -1"),
        (lambda: Loop("x", -5, 0, 0, {}), 'price of "x" is -5'),
        (lambda: Loop("x", 5, 0, 0, {FIT: 1.01}), "error of fit is 1.01"),
        (lambda: compute_series(build_stakes(), LOOP, most=0), "is 0; a whole number of 1"),
        (lambda: compute_after(Remaining(1, 1, 1.0), 0.0, 1), "cannot see them"),
        (lambda: rank_evidence(build_stakes(), [LOOP, LOOP]), "offered twice"),
        (lambda: compute_swings(build_stakes(), LOOP, {"colour": (0, 1)}), '"colour" is no input'),
        (lambda: compute_swings(build_stakes(), LOOP, {"weeks of the loop": (3, 1)}), "low 3 is above high 1"),
        (
            lambda: compute_swings(build_stakes(), LOOP, {"chance to find an error of fit": (0, 2)}),
            "2 is impossible; 0 to 1 is",
        ),
        (
            lambda: compute_swings(build_stakes(), LOOP, {"weeks of the loop": (-1, 2)}),
            "-1 is impossible; 0 or more is",
        ),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()
