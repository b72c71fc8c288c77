"""Predicted against actual: shrinkage, intervals, and the shop's own stage ratios beside the rule of ten."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from pipeline.costing.calibration import (
    Belief,
    ChangeCase,
    StageCase,
    compute_scatter,
    compute_shop_factor,
    compute_shop_factors,
    compute_stage_ratios,
)

BELIEF = Belief(between_sd=0.3, within_sd=0.4, within_cases=5)


def build_cases(*ratios: float, kind: str = "die-cast-die", change: str = "weld") -> list[ChangeCase]:
    return [ChangeCase(kind, change, 1000, 1000 * ratio) for ratio in ratios]


def test_no_cases_leave_the_default() -> None:
    row = compute_shop_factor([], BELIEF, "die-cast-die", "weld")
    assert row.cases == 0
    assert row.raw is None
    assert row.factor == 1.0
    # 90 % of a normal: 1.6449 standard deviations (NIST/SEMATECH e-Handbook 1.3.6.7.1; from memory)
    assert row.high == pytest.approx(math.exp(1.6449 * 0.3), rel=1e-4)
    assert row.low == pytest.approx(1 / row.high)


def test_shrinkage_is_the_precision_weighted_mean() -> None:
    cases = build_cases(1.5, 1.5, 1.5)
    scatter = math.sqrt(5 * 0.16 / 7)
    assert compute_scatter(cases, BELIEF) == pytest.approx(scatter)
    row = compute_shop_factor(cases, BELIEF, "die-cast-die", "weld")
    share = 3 / scatter**2 / (3 / scatter**2 + 1 / 0.09)
    assert row.raw == pytest.approx(1.5)
    assert row.factor == pytest.approx(1.5**share)


def test_single_changes_scatter_more_than_their_mean_by_hand() -> None:
    """Two changes a factor of exp(0.3) above and below: squares 0.18 with one degree of freedom, beside the five cases of
    0.16 each. Without a case: sqrt(0.3 ** 2 + 0.4 ** 2) = 0.5."""
    apart = build_cases(math.exp(0.3), math.exp(-0.3))
    assert compute_scatter(apart, BELIEF) == pytest.approx(math.sqrt((5 * 0.16 + 0.18) / 6))
    other = build_cases(math.exp(0.1), math.exp(0.7), change="metal-off")  # about their own mean of 0.4
    assert compute_scatter(apart + other, BELIEF) == pytest.approx(math.sqrt((5 * 0.16 + 0.18 + 0.18) / 7))
    row = compute_shop_factor([], BELIEF, "die-cast-die", "weld")
    # 90 % of a normal: 1.6449 standard deviations (NIST/SEMATECH e-Handbook 1.3.6.7.1; from memory)
    assert row.next_high == pytest.approx(math.exp(1.6449 * 0.5), rel=1e-4)
    assert row.next_low == pytest.approx(1 / row.next_high)


def test_more_cases_pull_harder_and_narrow_the_interval() -> None:
    few = compute_shop_factor(build_cases(2, 1.6), BELIEF, "die-cast-die", "weld")
    many = compute_shop_factor(build_cases(*[2, 1.6] * 10), BELIEF, "die-cast-die", "weld")
    assert few.raw is not None
    assert 1 < few.factor < many.factor < few.raw
    assert many.high / many.low < few.high / few.low
    assert few.next_low < few.low < few.high < few.next_high


def test_kinds_do_not_mix() -> None:
    cases = build_cases(2, 2) + build_cases(0.5, 0.5, change="metal-off")
    rows = compute_shop_factors(cases, BELIEF)
    assert [(row.change_class, row.cases) for row in rows] == [("metal-off", 2), ("weld", 2)]
    assert rows[0].factor < 1 < rows[1].factor


def test_the_interval_covers_the_true_factor_as_often_as_it_says() -> None:
    rng = np.random.default_rng(8)
    covered = 0
    for _ in range(1500):
        true = rng.normal(0, 0.3)
        cases = build_cases(*np.exp(rng.normal(true, 0.4, 4)).tolist())
        row = compute_shop_factor(cases, Belief(0.3, 0.4, 1000), "die-cast-die", "weld")
        covered += row.low <= math.exp(true) <= row.high
    assert covered / 1500 == pytest.approx(0.9, abs=0.025)


def test_stage_ratios_beside_the_rule_of_ten() -> None:
    order = ["model", "prototype", "quote", "tool cut"]
    cases = [StageCase("model", cost) for cost in (400.0, 900.0)]
    cases += [StageCase("prototype", cost) for cost in (1800.0, 2000.0)] + [StageCase("tool cut", 12_000.0)]
    first, second = compute_stage_ratios(cases, order)
    assert (first.stage, first.next_stage, first.cases, first.next_cases) == ("model", "prototype", 2, 2)
    assert first.ratio == pytest.approx(math.sqrt(1800 * 2000) / 600)
    assert first.folk == 10
    assert first.low is not None
    assert first.high is not None
    assert first.low < first.ratio < first.high
    assert (second.next_stage, second.folk, second.low) == ("tool cut", 100, None)


def test_welch_interval_against_a_reference_library() -> None:
    from scipy.stats import ttest_ind

    rng = np.random.default_rng(4)
    one, two = rng.lognormal(6, 0.5, 7), rng.lognormal(8, 0.9, 5)
    cases = [StageCase("a", float(cost)) for cost in one] + [StageCase("b", float(cost)) for cost in two]
    row = compute_stage_ratios(cases, ["a", "b"], level=0.9)[0]
    twin = ttest_ind(np.log(two), np.log(one), equal_var=False).confidence_interval(0.9)
    assert row.low == pytest.approx(math.exp(twin.low))
    assert row.high == pytest.approx(math.exp(twin.high))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ChangeCase("die", "weld", 0, 5), "predicted cost of a change is 0"),
        (lambda: ChangeCase("die", "weld", 5, -1), "actual cost of a change is -1"),
        (lambda: ChangeCase("die", "weld", 0, 5, measure="weeks"), "predicted weeks of a change is 0"),
        (lambda: Belief(0, 0.4, 5), "spread between shops is 0"),
        (lambda: compute_shop_factors(build_cases(1), BELIEF, level=1.5), "level of the interval is 1.5"),
        (lambda: compute_stage_ratios([StageCase("x", 5)], ["a", "b"]), '"x" is no stage'),
        (lambda: compute_stage_ratios([], ["a", "a"]), "listed twice"),
        (lambda: StageCase("a", 0), "actual cost of an error is 0"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
