"""Laws of uncertainty, verdicts, nominals and studies."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.measuring.capability import compute_capability
from pipeline.measuring.drawing_guess import guess_drawing_sizes
from pipeline.measuring.gauge_study import StudyReading, study_by_anova, study_by_ranges
from pipeline.measuring.nominal import Condition, OriginalReading, Wear, estimate_nominal
from pipeline.measuring.outliers import find_outlier
from pipeline.measuring.samples import compute_mean_interval, compute_one_way_anova, summarise
from pipeline.measuring.tolerance_intervals import compute_one_sided_factor, compute_two_sided_factor
from pipeline.measuring.uncertainty import Component, Distribution, build_budget, build_repeat_component
from pipeline.measuring.verdict import Outcome, compute_run_risks, decide_conformity

LAW = settings(max_examples=60, deadline=None, derandomize=True)
small = st.floats(1e-6, 10)
readings = st.lists(st.floats(-100, 100), min_size=3, max_size=20)


def readings_of_equal_scatter(count, sd):
    values = np.arange(count) - (count - 1) / 2
    return values * sd / np.std(values, ddof=1)


@LAW
@given(count=st.integers(2, 60), more=st.integers(1, 60), sd=st.floats(1e-4, 10))
def test_more_readings_never_widen_the_type_a_part(count, more, sd):
    few = build_repeat_component(readings_of_equal_scatter(count, sd))
    many = build_repeat_component(readings_of_equal_scatter(count + more, sd))
    assert many.standard < few.standard
    assert build_budget([many]).expanded < build_budget([few]).expanded


@LAW
@given(sizes=st.lists(small, min_size=1, max_size=6), extra=small)
def test_another_component_never_narrows_the_combined_uncertainty(sizes, extra):
    parts = [Component(str(i), size) for i, size in enumerate(sizes)]
    assert build_budget([*parts, Component("extra", extra)]).combined >= build_budget(parts).combined


@LAW
@given(sizes=st.lists(st.tuples(small, st.integers(1, 50)), min_size=1, max_size=6), factor=st.floats(0.01, 100))
def test_budget_scales_and_its_order_does_not_matter(sizes, factor):
    parts = [Component(str(i), size, Distribution.RECTANGULAR, dof=dof) for i, (size, dof) in enumerate(sizes)]
    scaled = [Component(p.name, factor * p.value, p.distribution, dof=p.dof) for p in reversed(parts)]
    here, there = build_budget(parts, truncate=False), build_budget(scaled, truncate=False)
    assert there.combined == pytest.approx(factor * here.combined)
    assert there.expanded == pytest.approx(factor * here.expanded)
    assert here.dof_effective >= min(dof for _, dof in sizes) - 1e-9
    assert here.dof_effective <= sum(dof for _, dof in sizes) + 1e-6


@LAW
@given(value=st.floats(-3, 3), u=st.floats(0.01, 2), guard=st.floats(0, 3), more=st.floats(0, 3))
def test_a_wider_guard_band_never_decides_more(value, u, guard, more):
    narrow = decide_conformity(value, u, -1, 1, guard).outcome
    wide = decide_conformity(value, u, -1, 1, guard + more).outcome
    assert wide in (narrow, Outcome.UNDECIDED)


@LAW
@given(value=st.floats(-3, 3), u=st.floats(0.01, 2))
def test_verdict_and_chance_agree(value, u):
    verdict = decide_conformity(value, u, -1, 1)
    if verdict.outcome is Outcome.CONFORM:
        assert verdict.probability >= 0.9 - 1e-9  # 5 % at each limit at worst
    if verdict.outcome is Outcome.NOT_CONFORM:
        assert verdict.probability <= 0.05 + 1e-9
    assert 0 <= verdict.probability <= 1
    mirrored = decide_conformity(-value, u, -1, 1)
    assert mirrored.outcome is verdict.outcome and mirrored.probability == pytest.approx(verdict.probability)


@LAW
@given(u=st.floats(0.02, 0.8), guard=st.floats(0, 2), more=st.floats(0, 1), sd=st.floats(0.1, 2))
def test_guard_bands_trade_consumer_for_producer_risk(u, guard, more, sd):
    here, there = compute_run_risks(0.1, sd, u, -1, 1, guard), compute_run_risks(0.1, sd, u, -1, 1, guard + more)
    assert there.consumer <= here.consumer + 1e-9
    assert there.producer >= here.producer - 1e-9
    assert 0 <= here.consumer <= here.accepted <= 1


@LAW
@given(values=readings, shift=st.floats(-1000, 1000))
def test_shift_moves_the_mean_and_nothing_else(values, shift):
    here, there = summarise(values), summarise(np.array(values) + shift)
    assert there.mean == pytest.approx(here.mean + shift, abs=1e-9)
    assert there.sd == pytest.approx(here.sd, abs=1e-9)


@LAW
@given(values=readings)
def test_summary_and_interval_equal_a_general_library(values):
    sample = summarise(values)
    assert sample.sd == pytest.approx(np.std(values, ddof=1), abs=1e-12)
    assume(sample.sd > 1e-6)
    expected = stats.t.interval(0.95, len(values) - 1, np.mean(values), stats.sem(values))
    assert compute_mean_interval(values) == pytest.approx(expected, abs=1e-9)


@LAW
@given(groups=st.lists(st.lists(st.floats(-10, 10), min_size=3, max_size=8), min_size=2, max_size=5))
def test_anova_equals_a_general_library(groups):
    assume(sum(np.var(g) for g in groups) > 1e-3)
    expected = stats.f_oneway(*groups)
    found = compute_one_way_anova(groups)
    assert found.f == pytest.approx(expected.statistic, rel=1e-7, abs=1e-9)
    assert found.p == pytest.approx(expected.pvalue, rel=1e-6, abs=1e-12)


@settings(LAW, max_examples=15)
@given(count=st.integers(2, 40), more=st.integers(1, 40), p=st.sampled_from([0.9, 0.95, 0.99]))
def test_more_pieces_never_widen_the_tolerance_factor(count, more, p):
    assert compute_two_sided_factor(count + more, p) < compute_two_sided_factor(count, p)
    assert compute_one_sided_factor(count + more, p) < compute_one_sided_factor(count, p)
    assert compute_two_sided_factor(count, p) > stats.norm.ppf((1 + p) / 2)


@LAW
@given(values=st.lists(st.floats(-100, 100), min_size=3, max_size=15, unique=True), factor=st.floats(0.1, 10))
def test_outlier_test_does_not_know_units(values, factor):
    assume(np.ptp(values) > 1e-3)
    here, there = find_outlier(values), find_outlier(factor * np.array(values) + 5)
    assert there.g == pytest.approx(here.g, rel=1e-6)
    assert here.is_outlier == (here.p < here.significance) or abs(here.p - here.significance) < 1e-9
    assert here.g <= (len(values) - 1) / np.sqrt(len(values)) + 1e-9


entries = st.lists(
    st.tuples(st.sampled_from(list(Condition)), st.floats(9, 11)), min_size=0, max_size=8
)  # fmt: skip


def build(pairs):
    return [OriginalReading(f"O{i}", condition, (value,)) for i, (condition, value) in enumerate(pairs)]


@LAW
@given(pairs=entries, wear=st.sampled_from(list(Wear)), allowance=st.floats(0, 1), seed=st.integers(0, 99))
def test_nominal_accounts_for_every_part_in_any_order(pairs, wear, allowance, seed):
    parts = build(pairs)
    found = estimate_nominal(parts, wear=wear, wear_allowance_mm=allowance)
    assert found.count + len(found.left_out) == len(parts)
    assert (found.mean_mm is None) == (found.count == 0)
    shuffled = [parts[i] for i in np.random.default_rng(seed).permutation(len(parts))]
    other = estimate_nominal(shuffled, wear=wear, wear_allowance_mm=allowance)
    assert other.status is found.status
    assert other.mean_mm == pytest.approx(found.mean_mm)
    assert {left.original for left in other.left_out} == {left.original for left in found.left_out}


@LAW
@given(pairs=entries, value=st.floats(0, 100))
def test_a_reproduction_changes_no_figure(pairs, value):
    parts = build(pairs)
    more = [*parts, OriginalReading("R", Condition.REPRODUCTION, (value,))]
    assert estimate_nominal(more).mean_mm == estimate_nominal(parts).mean_mm
    assert estimate_nominal(more).bound_mm == estimate_nominal(parts).bound_mm


@LAW
@given(mean=st.floats(1, 500), half=st.floats(0.005, 0.5))
def test_every_guess_lies_inside_the_bound(mean, half):
    for guess in guess_drawing_sizes(mean, half, half / 2):
        assert abs(guess.size_mm - mean) <= half + 1e-6
        assert 0 <= guess.p <= 1 and 0 < guess.chance_by_accident <= 1
        assert guess.size_mm / guess.grid.step_mm == pytest.approx(round(guess.size_mm / guess.grid.step_mm), abs=1e-9)


@LAW
@given(seed=st.integers(0, 1000), factor=st.floats(0.01, 100), shift=st.floats(-100, 100))
def test_gauge_study_shares_do_not_know_units_or_zero(seed, factor, shift):
    random = np.random.default_rng(seed)
    table = random.normal(0, 1, (4, 1, 1)) + random.normal(0, 0.2, (1, 3, 1)) + random.normal(0, 0.1, (4, 3, 2))

    def rows(values):
        return [
            StudyReading(str(p), str(a), float(values[p, a, t])) for p in range(4) for a in range(3) for t in (0, 1)
        ]

    for study in (study_by_anova, study_by_ranges):
        here, there = study(rows(table)), study(rows(factor * table + shift))
        assert there.percent_study == pytest.approx(here.percent_study, rel=1e-6, abs=1e-6)
        assert there.gauge == pytest.approx(factor * here.gauge, rel=1e-6)


@LAW
@given(seed=st.integers(0, 1000), count=st.integers(5, 40))
def test_nearest_index_never_beats_the_width_index(seed, count):
    values = np.random.default_rng(seed).normal(10, 0.1, count)
    result = compute_capability(values, 9.5, 10.4)
    assert result.ppk.value <= result.pp.value + 1e-12 and result.cpk.value <= result.cp.value + 1e-12
    assert result.pp.lower < result.pp.value < result.pp.upper
