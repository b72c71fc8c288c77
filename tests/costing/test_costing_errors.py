"""Remaining errors: the closed form, the table, what no check can see, and the prior from closed parts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.costing.errors_left import (
    Check,
    ClosedPart,
    FailureMode,
    Prior,
    build_prior,
    build_table,
    compute_miss,
    compute_remaining,
    find_unseen,
    render_chance,
    update_prior,
)

FIT, FUNCTION, MATERIAL = FailureMode.FIT, FailureMode.FUNCTION, FailureMode.MATERIAL_PROCESS


@pytest.mark.parametrize(
    ("expected", "miss", "mean", "none"),
    [(0.25, 0.2, 0.04167, 0.96), (0.10, 0.4, 0.03774, 0.96364), (0.12, 1.0, 0.12, 0.89286)],
)
def test_after_one_clean_loop(expected: float, miss: float, mean: float, none: float) -> None:
    # worked example (invented inputs), arithmetic run independently of this project
    left = compute_remaining(build_prior(expected, 1), miss)
    assert left.mean == pytest.approx(mean, abs=5e-6)
    assert left.chance_of_none == pytest.approx(none, abs=5e-6)


def test_the_closed_form_is_what_a_simulation_gives() -> None:
    rng = np.random.default_rng(20)
    prior, miss, found = Prior(1.7, 2.1), 0.35, 2
    rates = rng.gamma(prior.shape, 1 / prior.weight, 2_000_000)
    total = rng.poisson(rates)
    seen = rng.binomial(total, 1 - miss)
    left = (total - seen)[seen == found]
    row = compute_remaining(prior, miss, found)
    assert left.size > 100_000
    assert left.mean() == pytest.approx(row.mean, rel=0.01)
    assert left.std() == pytest.approx(row.sd, rel=0.01)
    assert np.mean(left == 0) == pytest.approx(row.chance_of_none, abs=0.003)
    assert np.bincount(left, minlength=4)[:4] / left.size == pytest.approx(row.compute_chances(3), abs=0.003)


def test_counts_add_up_to_the_mean_and_to_one() -> None:
    row = compute_remaining(Prior(1.5, 1.2), 0.6, 3)
    chances = row.compute_chances(200)
    assert chances.sum() == pytest.approx(1, abs=1e-12)
    assert chances @ np.arange(201) == pytest.approx(row.mean, abs=1e-9)
    assert chances[0] == pytest.approx(row.chance_of_none)


def test_coverage_thins_detection() -> None:
    third = Check("one body of three", {FIT: 0.9}, coverage=1 / 3)
    assert third.compute_power(FIT) == pytest.approx(0.3)
    assert compute_miss([third, third, third], FIT) == pytest.approx(0.343)
    left_only = Check("left hand only", {FIT: 0.9, FUNCTION: 0.5}, covers={FIT: 0.5})
    assert left_only.compute_power(FIT) == pytest.approx(0.45)
    assert left_only.compute_power(FUNCTION) == pytest.approx(0.5)


def test_the_table_says_what_each_check_could_and_could_not_see() -> None:
    priors = {MATERIAL: Prior(1, 8), FIT: Prior(1, 4)}
    checks = [Check("print on the car", {FIT: 0.8}), Check("hardness test", {MATERIAL: 0.0})]
    fit, material = build_table(priors, checks, {FIT: 1})
    assert (fit.mode, material.mode) == (FIT, MATERIAL)
    assert [(sight.check, sight.power) for sight in fit.saw] == [("print on the car", 0.8)]
    assert fit.blind == ("hardness test",)
    assert material.saw == ()
    assert material.blind == ("print on the car", "hardness test")
    assert find_unseen((fit, material)) == (MATERIAL,)
    assert (
        material.words == "about 0.1 errors of material and process, 89 % chance of none; no check so far can see them"
    )
    assert "no check" not in fit.words


def test_an_error_found_makes_more_errors_likely() -> None:
    prior = Prior(1, 4)
    assert compute_remaining(prior, 0.2, 1).mean == pytest.approx(2 * compute_remaining(prior, 0.2).mean)


@pytest.mark.parametrize("chance", [0.995, 0.9999, 1 - 1e-12])
def test_a_chance_is_never_rounded_up_to_certainty(chance: float) -> None:
    assert render_chance(chance) == "over 99 %"


def test_no_closed_parts_leave_the_prior_and_many_replace_it() -> None:
    default = Prior(1, 4)
    assert update_prior(default, [], 5) is default
    many = [ClosedPart(errors) for errors in np.random.default_rng(3).poisson(2.0, 4000)]
    fresh = update_prior(default, many, 5)
    mean = math.fsum(part.errors for part in many) / len(many)
    assert fresh.mean == pytest.approx((5 * 0.25 + mean * 4000) / 4005)
    assert fresh.shape > 10  # plain Poisson counts: hardly any spread between parts, so the shape grows


def test_the_spread_between_parts_is_recovered() -> None:
    rng = np.random.default_rng(11)
    counts = rng.poisson(rng.gamma(0.8, 2.0, 20_000))
    fresh = update_prior(Prior(3, 3), [ClosedPart(int(count)) for count in counts], worth=2)
    assert fresh.mean == pytest.approx(1.6, rel=0.03)
    assert fresh.shape == pytest.approx(0.8, rel=0.06)


@pytest.mark.parametrize(
    ("closed", "worth", "mean", "shape"),
    [
        # counts 0 and 4: variance 8, mean 2, so (8 - 2) / 2 ** 2 = 1.5 beyond Poisson; (2 x 0.5 + 2 x 1.5) / 4 = 1
        ([ClosedPart(0), ClosedPart(4)], 2, (2 * 0.25 + 4) / 4, 1.0),
        # half known, counts 0 and 2: variance 2, mean 1, so (2 - 1) / 1 ** 2 = 1; (1 x 0.5 + 1 x 1) / 2 = 0.75
        ([ClosedPart(0, known=0.5), ClosedPart(2, known=0.5)], 1, (0.25 + 2) / 2, 1 / 0.75),
        # counts alike spread less than Poisson: nothing beyond it; (3 x 0.5 + 3 x 0) / 6 = 0.25
        ([ClosedPart(1), ClosedPart(1), ClosedPart(1)], 3, (3 * 0.25 + 3) / 6, 4.0),
    ],
)
def test_mean_and_spread_of_a_few_closed_parts_by_hand(
    closed: list[ClosedPart], worth: float, mean: float, shape: float
) -> None:
    """From a default of 0.25 errors whose spread between parts is 1 / 2. Moments: (variance - mean) / mean squared."""
    found = update_prior(Prior(2, 8), closed, worth)
    assert found.mean == pytest.approx(mean)
    assert found.shape == pytest.approx(shape)


def test_a_part_that_is_half_known_counts_half() -> None:
    young = update_prior(Prior(1, 4), [ClosedPart(1, known=0.5)], worth=1)
    assert young.mean == pytest.approx((0.25 + 1) / 1.5)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Prior(0, 1), "shape of a prior is 0"),
        (lambda: Check("x", {FIT: 1.5}), 'detection of "x" for fit is 1.5'),
        (lambda: Check("x", {FIT: 0.5}, coverage=-0.1), 'coverage of "x" is -0.1'),
        (lambda: compute_remaining(Prior(1, 1), 1.2), "chance to be missed is 1.2"),
        (lambda: compute_remaining(Prior(1, 1), 0.5, -1), "errors found is -1"),
        (lambda: compute_remaining(Prior(1, 1), 1.0, 2), "2 errors were found by checks that cannot see them"),
        (lambda: build_table({FIT: Prior(1, 1)}, [], {MATERIAL: 1}), "no prior for it"),
        (lambda: build_table({FIT: Prior(1, 1)}, [], {FIT: 1}), "fit: 1 errors were found by checks"),
        (lambda: ClosedPart(1, known=0), "is 0; more than zero"),
        (lambda: update_prior(Prior(1, 1), [], 0), "default counts for is 0"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()
