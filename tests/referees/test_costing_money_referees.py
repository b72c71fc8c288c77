"""Slow, obvious twins of the money half of costing."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from decimal import Decimal

import numpy as np
import pytest

from pipeline.costing.case import Case, ErrorRisk, KitSale, Sibling, ToolPayment
from pipeline.costing.errors_left import FailureMode, Prior, Remaining, compute_remaining
from pipeline.costing.estimate import Estimate
from pipeline.costing.information import compute_expected_value, compute_perfect_information, compute_sample_information
from pipeline.costing.loop import Loop, Stake, compute_chance_pays, compute_exposure, compute_loop
from pipeline.costing.loop_inputs import build_decision
from pipeline.costing.money import Rates
from pipeline.costing.quote_sides import Purchase, build_side
from pipeline.costing.quote_switches import find_cheapest_by_volume, spread_good
from pipeline.costing.quote_terms import PASS_OR_FAIL, Milestone, Quote, build_stated
from pipeline.costing.quotes import compute_footing, compute_quantities
from pipeline.costing.worth import compute_worth
from pipeline.costing.worth_simulation import compute_paybacks, simulate_levels

FIT, FUNCTION = FailureMode.FIT, FailureMode.FUNCTION


@pytest.mark.parametrize(("shape", "weight", "miss", "found"), [(1, 4, 0.2, 0), (0.6, 1.3, 0.5, 3), (3, 2, 0.9, 1)])
def test_what_is_left_by_summing_over_rates_and_counts(shape: float, weight: float, miss: float, found: int) -> None:
    """Bayes' theorem on a fine grid of rates, without any conjugacy."""
    rates = np.linspace(1e-6, 40, 200_001)
    belief = rates ** (shape - 1) * np.exp(-weight * rates)
    seen = np.exp(-rates * (1 - miss)) * (rates * (1 - miss)) ** found
    after = belief * seen / (belief * seen).sum()
    row = compute_remaining(Prior(shape, weight), miss, found)
    assert (after * rates * miss).sum() == pytest.approx(row.mean, rel=2e-3)
    assert (after * np.exp(-rates * miss)).sum() == pytest.approx(row.chance_of_none, rel=2e-3)


@pytest.mark.parametrize("power", [0.0, 0.35, 0.8, 1.0])
@pytest.mark.parametrize(("late", "now"), [(20_484.23, 2_814.62), (500.0, 900.0)])
def test_the_loop_s_short_formula_is_the_general_value_of_information(power: float, late: float, now: float) -> None:
    stake = Stake(Remaining(1.4, 5.0, 0.9), late, now)
    decision, likelihood = build_decision(stake, power, most=30)
    test = compute_sample_information(decision, likelihood)
    result = compute_loop({FIT: stake}, Loop("x", 0, 0, 0, {FIT: power}))
    assert -compute_expected_value(decision) == pytest.approx(result.commit_now)
    assert test.gain == pytest.approx(result.net, abs=1e-6)
    assert -test.with_test == pytest.approx(result.loop_then_commit)
    sees_all, _ = build_decision(stake, 1.0, most=30)
    assert compute_perfect_information(sees_all) == pytest.approx(compute_exposure({FIT: stake}))


def test_chance_that_it_pays_by_listing_every_count() -> None:
    stakes = {FIT: Stake(Remaining(1.5, 2.0, 0.8), 9_000, 1_000), FUNCTION: Stake(Remaining(0.7, 1.0, 1.0), 4_000, 900)}
    loop = Loop("x", 17_500, 0, 0, {FIT: 0.7, FUNCTION: 0.5})
    chance = 0.0
    for one, two in itertools.product(range(120), repeat=2):
        if one * 8_000 + two * 3_100 > 17_500:
            chance += _binomial(stakes[FIT], 0.7, one) * _binomial(stakes[FUNCTION], 0.5, two)
    assert compute_chance_pays(stakes, loop) == pytest.approx(chance, abs=1e-9)


def _binomial(stake: Stake, power: float, found: int) -> float:
    """P(found): negative binomial with gamma functions."""
    left, share = stake.remaining, stake.remaining.miss * power
    odds = share / (left.weight + share)
    ways = math.exp(math.lgamma(left.shape + found) - math.lgamma(left.shape) - math.lgamma(found + 1))
    return ways * (1 - odds) ** left.shape * odds**found


DAY = dt.date(2026, 10, 15)


def build_quote(
    name: str, tool: int, life: int, every: int, refurbishment: int, piece: str, order: int, share: str
) -> Quote:
    free = build_stated(0)
    return Quote(
        name=name, currency="USD", issued=DAY, valid_to=DAY, tool=build_stated(tool), samples=free,
        milestones=(Milestone("order", Decimal("0.5"), Decimal(0)), Milestone("good pieces", Decimal("0.5"))),
        weeks=build_stated(12), tool_life=build_stated(life), refurbish_every=build_stated(every),
        refurbishment=build_stated(refurbishment), pieces_per_shot=2, piece=build_stated(piece), order_quantity=order,
        minimum_order=build_stated(1), yield_share=build_stated(share), freight=build_stated("0.2"), secondary=free,
        duty=free, tool_duty=free, payment_days=free, terms=dict.fromkeys(PASS_OR_FAIL, True),
    )  # fmt: skip


PURCHASE = Purchase((300, 500, 400), Rates("USD"), DAY, Decimal("0.1"), Decimal("0.18"))


@pytest.mark.parametrize("good", [1, 7, 399, 400, 401, 1_000, 1_999, 2_713, 5_000])
@pytest.mark.parametrize(("life", "every"), [(500, 200), (400, 400), (1_000, 333), (10_000, 90)])
def test_tools_worn_shot_by_shot(good: int, life: int, every: int) -> None:
    quote = build_quote("Q", 1_000, life, every, 50, "2.5", 100, "0.9")
    pieces = shots = sets = refurbishments = 0
    on_set, since = life, 0  # the first shot opens the first set
    while pieces < math.ceil(good / 0.9 - 1e-9):
        if on_set == life:
            sets, on_set, since = sets + 1, 0, 0
        elif since == every:
            refurbishments, since = refurbishments + 1, 0
        shots, pieces, on_set, since = shots + 1, pieces + 2, on_set + 1, since + 1
    made = compute_quantities(build_side(quote, PURCHASE), 2, good, 3)
    assert (made.shots, made.sets, made.refurbishments) == (shots, sets, refurbishments)


def test_the_cheapest_at_every_volume_one_by_one() -> None:
    quotes = (
        build_quote("long", 9_000, 100_000, 50_000, 900, "3.10", 400, "0.94"),
        build_quote("short", 2_200, 900, 400, 300, "5.20", 150, "0.90"),
        build_quote("middle", 5_500, 8_000, 2_500, 500, "3.90", 300, "0.85"),
    )
    winners = []
    for good in range(100, 2_501):
        scaled = Purchase(spread_good(good, (300, 500, 400)), Rates("USD"), DAY, Decimal("0.1"), Decimal("0.18"))
        totals = [(sum(line.low for line in compute_footing(quote, scaled).lines), quote.name) for quote in quotes]
        winners.append(min(totals)[1])
    runs = [(name, len(list(run))) for name, run in itertools.groupby(winners)]
    wide = [name for name, length in runs if length > 3]
    ranges = find_cheapest_by_volume(quotes, PURCHASE, 100, 2_500)
    assert len({row.name for row in ranges}) > 1
    assert [row.name for row in ranges] == [name for name, _ in itertools.groupby(wide)]
    for row in ranges:
        assert winners[row.from_good - 100] == row.name


def test_worth_and_payback_draw_by_draw() -> None:
    case = Case(
        "P", Estimate(50, 90, 150), Estimate(40, 50, 55), Estimate(20, 24, 30), Estimate(3_000, 4_000, 9_000), years=4,
        payments=(ToolPayment(0.4, 0), ToolPayment(0.6, 20)), launch=Estimate(20, 26, 40), ramp=(0.3,), decay=0.2,
        fixed_per_year=200, siblings=(Sibling("S", 0.2, 8.0),), errors=(ErrorRisk(1, 2, 0.6, 700),), errors_week=22,
        kits=(KitSale("K", Estimate(5, 10, 20), 30.0, 0.5, 0.3),),
    )  # fmt: skip
    levels = simulate_levels(case, 300, 9)
    worth, back = compute_worth(case, levels, 0.12), compute_paybacks(case, levels)
    for i in range(300):
        at = {name: float(values[i]) for name, values in levels.items()}
        margin = at["price"] - at["landed"] - 0.2 * 8
        yearly = at["demand"] * margin + at["kit K"] * (0.5 * 30 - 0.3 * margin)
        money = -0.4 * at["tooling"] - 0.6 * at["tooling"] / 1.12 ** (20 / 52) - at["errors"] / 1.12 ** (22 / 52)
        running, answer = -at["tooling"] - at["errors"], math.inf
        for year, share in enumerate((0.3, 1.0, 0.8, 0.64)):
            income = yearly * share - 200
            money += income / 1.12 ** (at["launch"] / 52 + year + 0.5)
            if running < 0 <= running + income:
                answer = at["launch"] / 52 + year - running / income
            running += income
            if running < 0:
                answer = math.inf
        assert worth[i] == pytest.approx(money, abs=1e-6)
        assert back[i] == pytest.approx(answer, abs=1e-9)
