"""Slow, obvious twins of the numbers: simulation and plain loops."""

import numpy as np
import pytest
from scipy import stats

from pipeline.measuring.gauge_study import StudyReading, study_by_anova
from pipeline.measuring.nominal import Condition, OriginalReading, estimate_nominal
from pipeline.measuring.outliers import compute_grubbs_critical
from pipeline.measuring.range_constants import compute_range_moments
from pipeline.measuring.tolerance_intervals import compute_two_sided_factor
from pipeline.measuring.uncertainty import measure_size
from pipeline.measuring.verdict import compute_run_risks


@pytest.mark.parametrize(("u", "guard", "upper"), [(0.125, 0, 1), (0.2, 1.645, 1), (0.3, 2, None)])
def test_run_risks_by_simulation(u, guard, upper):
    random = np.random.default_rng(11)
    true = random.normal(0.2, 0.5, 1_000_000)
    seen = true + random.normal(0, u, true.size)
    inside = (true >= -1) & (true <= (np.inf if upper is None else upper))
    taken = (seen >= -1 + guard * u) & (seen <= (np.inf if upper is None else upper - guard * u))
    risks = compute_run_risks(0.2, 0.5, u, -1, upper, guard)
    assert risks.consumer == pytest.approx(np.mean(~inside & taken), abs=3e-4)
    assert risks.producer == pytest.approx(np.mean(inside & ~taken), abs=8e-4)
    assert risks.accepted == pytest.approx(np.mean(taken), abs=1.5e-3)


@pytest.mark.parametrize(("count", "p"), [(5, 0.95), (10, 0.90)])
def test_tolerance_interval_covers_as_often_as_it_says(count, p):
    random = np.random.default_rng(5)
    draws = random.normal(0, 1, (100_000, count))
    mean, half = draws.mean(axis=1), compute_two_sided_factor(count, p) * draws.std(axis=1, ddof=1)
    held = stats.norm.cdf(mean + half) - stats.norm.cdf(mean - half) >= p
    assert held.mean() == pytest.approx(0.95, abs=0.003)


def test_bound_of_the_nominal_holds_the_truth_as_often_as_it_says():
    random = np.random.default_rng(6)
    held = 0
    for _ in range(600):
        parts = [OriginalReading(str(i), Condition.NOS, (float(v),)) for i, v in enumerate(random.normal(10, 0.05, 4))]
        low, high = estimate_nominal(parts).bound_mm
        held += low <= 10 <= high
    assert held / 600 == pytest.approx(0.95, abs=0.025)


def test_grubbs_false_alarms():
    draws = np.random.default_rng(8).normal(0, 1, (100_000, 8))
    g = np.abs(draws - draws.mean(axis=1, keepdims=True)).max(axis=1) / draws.std(axis=1, ddof=1)
    assert np.mean(g > compute_grubbs_critical(8)) == pytest.approx(0.05, abs=0.003)


@pytest.mark.parametrize("count", [2, 3, 10])
def test_range_moments_by_simulation(count):
    ranges = np.ptp(np.random.default_rng(9).normal(0, 1, (300_000, count)), axis=1)
    assert compute_range_moments(count) == pytest.approx((ranges.mean(), ranges.std()), abs=5e-3)


def test_expanded_uncertainty_holds_the_truth_as_often_as_it_says():
    random = np.random.default_rng(10)
    held = 0
    for _ in range(800):
        instrument = random.uniform(-0.03, 0.03)
        size = measure_size(50 + instrument + random.normal(0, 0.02, 4), 0.03)
        held += abs(size.value_mm - 50) <= size.budget.expanded
    assert held / 800 > 0.945  # a rectangular part makes the normal factor err to the safe side


def test_anova_by_plain_loops():
    random = np.random.default_rng(12)
    table = random.normal(0, 1, (5, 1, 1)) + random.normal(0, 0.5, (1, 3, 1)) + random.normal(0, 0.3, (5, 3, 2))
    grand = sum(table[p, a, t] for p in range(5) for a in range(3) for t in range(2)) / 30
    part = sum(6 * (np.mean(table[p]) - grand) ** 2 for p in range(5))
    appraiser = sum(10 * (np.mean(table[:, a]) - grand) ** 2 for a in range(3))
    rest = sum((table[p, a, t] - np.mean(table[p, a])) ** 2 for p in range(5) for a in range(3) for t in range(2))
    total = sum((table[p, a, t] - grand) ** 2 for p in range(5) for a in range(3) for t in range(2))
    rows = [StudyReading(str(p), str(a), float(table[p, a, t])) for p in range(5) for a in range(3) for t in range(2)]
    found = study_by_anova(rows, pool=False)
    assert [row.ss for row in found.anova] == pytest.approx([part, appraiser, total - part - appraiser - rest, rest])
    error, both = rest / 15, (total - part - appraiser - rest) / 8
    assert found.repeatability == pytest.approx(error**0.5)
    assert found.part_spread == pytest.approx(max((part / 4 - both) / 6, 0) ** 0.5)
