"""Budgets, verdicts and ratios on edges and on bad input."""

from math import inf

import numpy as np
import pytest

from pipeline.measuring.instruments import COMMON_INSTRUMENTS, FeatureShape, find_instruments
from pipeline.measuring.samples import compute_mean_interval, compute_one_way_anova, compute_student_factor, summarise
from pipeline.measuring.uncertainty import (
    Component,
    Distribution,
    Temperature,
    build_budget,
    build_repeat_component,
    compute_length_limit,
    measure_size,
)
from pipeline.measuring.uncertainty_ratio import RatioState, check_test_ratio
from pipeline.measuring.verdict import Outcome, compute_run_risks, decide_conformity

NAN = float("nan")

BAD = [
    (lambda: build_budget([]), "no components"),
    (lambda: build_budget([Component("arm", -1)]), "value of arm is -1"),
    (lambda: build_budget([Component("arm", NAN)]), "finite"),
    (lambda: build_budget([Component("arm", 1, dof=0)]), "degrees of freedom"),
    (lambda: build_budget([Component("arm", 0)]), "without uncertainty"),
    (lambda: build_budget([Component("arm", 1)], confidence=95), "between 0 and 1"),
    (lambda: build_budget([Component("arm", 1, Distribution.EXPANDED)]), "coverage factor"),
    (lambda: build_repeat_component([12.3]), "one reading shows no scatter"),
    (lambda: measure_size([], 0.03), "0 readings"),
    (lambda: measure_size([1.0, NAN], 0.03), "number 2 is nan"),
    (lambda: measure_size([1.0], 0.03), "one reading"),
    (lambda: compute_length_limit(0.02, 100, 0), "greater than 0"),
    (lambda: decide_conformity(1, 0.1, None, None), "neither a lower nor an upper limit"),
    (lambda: decide_conformity(1, 0.1, 2, 1), "exchange them"),
    (lambda: decide_conformity(1, 0.1, 1, 1), "tolerance of zero"),
    (lambda: decide_conformity(1, 0.0, 0, 2), "standard uncertainty is 0"),
    (lambda: decide_conformity(NAN, 0.1, 0, 2), "finite"),
    (lambda: decide_conformity(1, 0.1, 0, 2, guard_factor=-1), "guard factor"),
    (lambda: check_test_ratio(0.01, None, 0.6), "give the nominal"),
    (lambda: check_test_ratio(0.01, None, 0.6, nominal=0.6), "tolerance of zero"),
    (lambda: check_test_ratio(0, 0, 1), "greater than 0"),
    (lambda: check_test_ratio(0.01, 0, 1, wanted=3), "below the least"),
    (lambda: check_test_ratio(0.01, 1, 1), "tolerance of zero"),
    (lambda: find_instruments(FeatureShape.BORE, -1, 0.01), "0 or more"),
    (lambda: summarise([]), "0 readings"),
    (lambda: summarise(["twelve"]), "not all numbers"),
    (lambda: summarise([[1, 2], [3, 4]]), "one plain list"),
    (lambda: compute_one_way_anova([[1, 2]]), "at least two"),
    (lambda: compute_one_way_anova([[1, 1], [2, 2]]), "no scatter within"),
    (lambda: compute_mean_interval([1]), "at least 2"),
    (lambda: compute_student_factor(0), "degrees of freedom"),
]


@pytest.mark.parametrize(("call", "words"), BAD)
def test_impossible_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_zero_is_a_reading_and_zero_a_limit():
    assert summarise([0.0]).mean == 0.0
    assert decide_conformity(0.0, 0.01, None, 0.6).outcome is Outcome.CONFORM
    assert decide_conformity(0.0, 0.01, 0.0, None).outcome is Outcome.UNDECIDED


def test_one_reading_with_a_study_behind_it():
    size = measure_size([112.37], 0.03, study_sd=(0.01, 20))
    assert size.count == 1 and size.value_mm == 112.37
    assert size.budget.combined == pytest.approx(np.hypot(0.01, 0.03 / np.sqrt(3)))


def test_equal_readings_leave_the_display_step():
    size = measure_size([10.0, 10.0, 10.0], 0.0, resolution_mm=0.01)
    assert size.budget.combined == pytest.approx(0.005 / np.sqrt(3))
    with pytest.raises(ValueError, match="without uncertainty"):
        measure_size([10.0, 10.0, 10.0], 0.0)


def test_warm_part_is_measured_too_large():
    warm = measure_size([100.023, 100.024], 0.005, Temperature(30, 1, 23e-6, 2e-6))
    assert warm.value_mm == pytest.approx(100.0005, abs=1e-5)
    assert warm.correction_mm < 0
    names = [row.component.name for row in warm.budget.rows]
    assert names[:2] == ["repeatability", "instrument, maximum permissible error"] and len(names) == 5
    assert all(row.component.basis for row in warm.budget.rows)


def test_edges_are_where_they_should_be_in_spite_of_rounding():
    # 25.05 - 0.01 is 25.040000000000003 in binary; 25.04 lies on the edge and conforms.
    assert decide_conformity(25.04, 0.005, None, 25.05, 2).outcome is Outcome.CONFORM
    assert decide_conformity(25.0400001, 0.005, None, 25.05, 2).outcome is Outcome.UNDECIDED
    assert decide_conformity(25.06, 0.005, None, 25.05, 2).outcome is Outcome.UNDECIDED
    assert decide_conformity(25.0600001, 0.005, None, 25.05, 2).outcome is Outcome.NOT_CONFORM
    assert decide_conformity(24.96, 0.005, 24.95, None, 2).outcome is Outcome.CONFORM
    # 10.01 - 10 is 0.009999999999999787: a bare comparison with 0.01 would leave it undecided.
    assert decide_conformity(10.01, 0.005, 10.0, None, 2).outcome is Outcome.CONFORM


def test_simple_acceptance_leaves_nothing_undecided_but_the_limit_itself():
    assert decide_conformity(25.05, 0.005, 24.95, 25.05, 0).outcome is Outcome.CONFORM
    assert decide_conformity(25.0501, 0.005, 24.95, 25.05, 0).outcome is Outcome.NOT_CONFORM


def test_uncertainty_wider_than_the_tolerance_can_prove_nothing():
    verdict = decide_conformity(25, 0.05, 24.95, 25.05)
    assert verdict.outcome is Outcome.UNDECIDED and verdict.acceptance is None
    assert "measure better" in verdict.sentence and verdict.risk is None


def test_verdict_carries_its_working():
    verdict = decide_conformity(112.41, 0.015, 112.15, 112.65)
    assert verdict.acceptance == pytest.approx((112.15 + 0.024675, 112.65 - 0.024675))
    assert verdict.risk == pytest.approx(1 - verdict.probability)
    assert "ISO 14253-1" in verdict.rule and "1.645 u" in verdict.rule
    assert "above 99.9 %" in verdict.sentence  # never rounded up to certainty
    bad = decide_conformity(112.70, 0.015, 112.15, 112.65)
    assert bad.outcome is Outcome.NOT_CONFORM and bad.risk == pytest.approx(bad.probability)


def test_ratio_names_which_ratio_and_what_would_do():
    check = check_test_ratio(0.036, 12.49, 12.51, shape=FeatureShape.BORE)
    assert check.state is RatioState.TOO_SMALL and check.ratio == pytest.approx(0.01 / 0.036)
    assert check.needed_u_mm == pytest.approx(0.0025)
    assert "twice the expanded uncertainty" in check.method
    assert not check.instead and "none in the list" in check.sentence
    wide = check_test_ratio(0.036, 12.40, 12.50, shape=FeatureShape.BORE)
    assert {"pin gauges", "plug gauge, go and no-go"} <= {way.name for way in wide.instead}
    assert all(way.compute_u(12.5) <= 0.05 / 4 for way in wide.instead)
    assert "pin gauges" in wide.sentence


def test_good_ratio_needs_no_other_instrument():
    assert check_test_ratio(0.001, 12.0, 13.0, shape=FeatureShape.BORE).instead == ()


def test_enough_ratio_offers_what_would_reach_the_wanted_one():
    check = check_test_ratio(0.036, 112.15, 112.65, shape=FeatureShape.OUTSIDE, size_mm=112.4)
    assert check.instead and all(check.needed_u_mm >= way.compute_u(112.4) for way in check.instead)
    assert all(0.25 / way.compute_u(112.4) >= 10 for way in check.instead)


def test_one_sided_ratio_from_the_nominal():
    check = check_test_ratio(0.05, None, 0.6, nominal=0.0)
    assert check.ratio == pytest.approx(12) and "one limit" in check.method


def test_instruments_are_within_their_range_and_plainest_first():
    for shape in FeatureShape:
        ways = find_instruments(shape, 0.05 if shape is FeatureShape.COATING else 15, 1.0)
        assert ways, shape
        found = [way.compute_u(15) for way in ways]
        if shape is not FeatureShape.COATING:
            assert found == sorted(found, reverse=True)
    assert all(way.smallest_mm < way.largest_mm for way in COMMON_INSTRUMENTS)
    assert not find_instruments(FeatureShape.BORE, 5000, 1.0)


def test_no_acceptance_zone_accepts_nothing():
    risks = compute_run_risks(0, 0.3, 1.0, -1, 1, guard_factor=2)
    assert (risks.accepted, risks.consumer) == (0.0, 0.0) and risks.producer > 0.99


def test_endless_degrees_of_freedom():
    assert build_budget([Component("arm", 1)]).dof_effective == inf
    assert build_budget([Component("a", 1), Component("b", 1e-6, dof=3)]).dof_used == inf
