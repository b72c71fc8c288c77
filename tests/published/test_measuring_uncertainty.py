"""Uncertainty and decisions against the guides' own examples."""

from math import inf, isinf, sqrt

import numpy as np
import pytest

from pipeline.measuring.samples import compute_student_factor, summarise
from pipeline.measuring.uncertainty import (
    Component,
    Distribution,
    Temperature,
    build_budget,
    build_repeat_component,
    build_temperature_components,
    compute_temperature_correction,
)
from pipeline.measuring.uncertainty_ratio import RatioState, check_test_ratio
from pipeline.measuring.verdict import (
    Outcome,
    compute_acceptance_risk,
    compute_conformance_probability,
    compute_guard_factor,
    compute_run_risks,
    decide_conformity,
)

# JCGM 100:2008 annex H.1, table H.1, end gauge of 50 mm; all in nm: seen (two public packages quote and agree).
LENGTH_NM = 50.000623e6
END_GAUGE = (
    Component("calibration of the standard", 25, dof=18),
    Component("repeated observations", 5.8, dof=24),
    Component("random effects of the comparator", 3.9, dof=5),
    Component("systematic effects of the comparator", 6.7, dof=8),
    Component("difference of expansion coefficients", 5.8e-7, sensitivity=-LENGTH_NM * -0.1, dof=50),
    Component("difference of temperatures", 0.029, sensitivity=-LENGTH_NM * 1.15e-5, dof=2),
)


def test_end_gauge_at_99_percent():
    budget = build_budget(END_GAUGE, 0.99)
    assert budget.combined == pytest.approx(31.7, abs=0.05)
    assert budget.dof_effective == pytest.approx(16.7, abs=0.1)
    assert budget.dof_used == 16
    assert budget.coverage_factor == pytest.approx(2.92, abs=0.005)
    assert budget.expanded == pytest.approx(93, abs=0.6)
    assert pytest.approx(50.000838e6) == LENGTH_NM + 215


def test_end_gauge_at_95_percent_truncates_before_the_look_up():
    # JCGM 100 table G.2: t95(16) = 2.12, seen. Trap: 16.64 untruncated gives 2.113.
    assert build_budget(END_GAUGE).coverage_factor == pytest.approx(2.1199, abs=5e-5)
    assert build_budget(END_GAUGE, truncate=False).coverage_factor == pytest.approx(2.113, abs=5e-4)


def test_end_gauge_second_order_terms():
    # H.1.7: 11.7 nm and 1.7 nm lift the combined uncertainty to 34 nm: from memory.
    more = (*END_GAUGE, Component("expansion x temperature", 11.7), Component("standard x difference", 1.7))
    assert build_budget(more).combined == pytest.approx(34, abs=0.5)


def test_shares_of_the_budget_add_to_one():
    rows = build_budget(END_GAUGE).rows
    assert sum(row.share for row in rows) == pytest.approx(1)
    assert max(rows, key=lambda row: row.share).component.name == "calibration of the standard"


def test_welch_satterthwaite_example():
    # JCGM 100 G.4.1: 0.25, 0.57, 0.82 %, n 10, 5, 15 -> 1.03 %, 19.0, 2.09, 2.2 %: from memory, recomputed.
    # Trap: the sum comes to 18.999; the guide reads it as 19, so cutting it to 18 would be wrong.
    budget = build_budget([Component("a", 0.25, dof=9), Component("b", 0.57, dof=4), Component("c", 0.82, dof=14)])
    assert 18.99 < budget.dof_effective < 19
    assert budget.dof_used == 19
    assert (budget.combined, budget.coverage_factor, budget.expanded) == pytest.approx((1.03, 2.09, 2.2), abs=0.05)
    assert budget.coverage_factor == pytest.approx(2.093, abs=5e-4)


READINGS = [96.9, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07]
READINGS += [100.33, 100.42, 100.68, 100.95, 101.11, 101.2, 101.57, 101.84, 102.36, 102.72]


def test_twenty_temperature_readings():
    # JCGM 100 4.4.3, table 1: mean 100.145, s 1.489, s / root n 0.333: from memory, recomputed.
    sample, part = summarise(READINGS), build_repeat_component(READINGS)
    assert (sample.mean, sample.sd, part.standard) == pytest.approx((100.145, 1.489, 0.333), abs=6e-4)
    assert part.dof == 19


def test_half_width_of_four():
    # JCGM 100 4.4.5 and 4.4.6: rectangular 2.3, triangular 1.6: seen in the guide's text.
    assert Component("a", 4, Distribution.RECTANGULAR).standard == pytest.approx(2.3, abs=0.05)
    assert Component("a", 4, Distribution.TRIANGULAR).standard == pytest.approx(1.6, abs=0.05)
    assert Component("a", 4, Distribution.U_SHAPED).standard == pytest.approx(4 / sqrt(2))
    assert Component("a", 4, Distribution.EXPANDED, coverage_factor=2).standard == 2


def test_four_unit_inputs():
    # JCGM 101 9.2: standard uncertainty 2, 95 % +-3.92: seen.
    budget = build_budget([Component(name, 1) for name in "abcd"])
    assert (budget.combined, budget.expanded) == pytest.approx((2.0, 3.92), abs=0.005)
    assert isinf(budget.dof_used)


def test_four_rectangular_inputs_by_simulation():
    # JCGM 101 9.2.3: +-3.88 for rectangular inputs (seen); the normal answer 3.92 errs to the safe side.
    draws = np.random.default_rng(7).uniform(-sqrt(3), sqrt(3), (4, 400_000)).sum(axis=0)
    assert np.quantile(np.abs(draws), 0.95) == pytest.approx(3.88, abs=0.02)


@pytest.mark.parametrize(("dof", "t"), [(2, 4.303), (4, 2.776), (9, 2.262), (16, 2.120), (inf, 1.960)])
def test_student_factors(dof, t):
    # Any handbook; JCGM 100 table G.2 for 16: from memory.
    assert compute_student_factor(dof) == pytest.approx(t, abs=6e-4)


def test_expansion_of_a_metre_of_steel():
    # 11.5 um per metre and degree (JCGM 100 H.1 coefficient 11.5e-6), derived.
    warm = Temperature(21, 0.5, 11.5e-6, 1e-6)
    assert compute_temperature_correction(1000, warm) == pytest.approx(-0.0115)
    first, second, third = build_temperature_components(1000, warm)
    assert abs(first.sensitivity) * first.standard == pytest.approx(0.0115 * 0.5 / sqrt(3))
    assert abs(second.sensitivity) * second.standard == pytest.approx(0.001 / sqrt(3))
    assert third.standard == pytest.approx(1000 * 0.5 * 1e-6 / 3)
    rest = build_temperature_components(1000, Temperature(20, 0.5, 11.5e-6, 1e-6))
    assert rest[1].standard * rest[1].sensitivity == 0 and rest[2].standard > 0  # second order remains at 20 degrees


def test_conformance_probability():
    # JCGM 106:2012 7.4: y 13.6, u 1.8, limits 12.5 and 16.3: inputs seen, answer computed (about 66 %).
    assert compute_conformance_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.6626, abs=5e-5)


def test_default_guard_band():
    # ISO 14253-1:2017: 95 % one-sided, 1.645 u, 0.82 U with k = 2: seen.
    assert compute_guard_factor(0.95) == pytest.approx(1.6449, abs=1e-4)
    assert compute_guard_factor(0.95) / 2 == pytest.approx(0.8224, abs=1e-4)
    assert decide_conformity(25, 0.005, 24.95, 25.05).guard_band == pytest.approx(1.645 * 0.005)


@pytest.mark.parametrize(
    ("share_of_u", "printed", "exact"),
    [(3, 1e-6, 1e-9), (1.5, 0.0016, 0.00135), (1, 0.025, 0.0228), (0.83, 0.05, 0.0484), (0, 0.5, 0.5)],
)
def test_acceptance_risk_table(share_of_u, printed, exact):
    # ILAC-G8:09/2019 table 1: seen. The table rounds up: 1 U is 2.28 % one-sided, printed 2.5 %.
    risk = compute_acceptance_risk(2 * share_of_u)
    assert risk == pytest.approx(exact, abs=1e-4)
    assert risk == pytest.approx(printed, abs=0.0025)


ZONES = [
    # 25 +-0.05 with U 0.01 (k 2), older rule of one full U (constructed cases, derived).
    (24.935, Outcome.NOT_CONFORM),
    (24.94, Outcome.UNDECIDED),
    (24.945, Outcome.UNDECIDED),
    (24.955, Outcome.UNDECIDED),
    (24.96, Outcome.CONFORM),
    (25.0, Outcome.CONFORM),
    (25.04, Outcome.CONFORM),
    (25.055, Outcome.UNDECIDED),
    (25.065, Outcome.NOT_CONFORM),
]


@pytest.mark.parametrize(("value", "outcome"), ZONES)
def test_three_zones_with_full_u(value, outcome):
    assert decide_conformity(value, 0.005, 24.95, 25.05, guard_factor=2).outcome is outcome


def test_current_and_older_rule_part_ways():
    # 25.041: inside by 0.009, which is more than 0.82 U and less than U.
    assert decide_conformity(25.041, 0.005, 24.95, 25.05).outcome is Outcome.CONFORM
    assert decide_conformity(25.041, 0.005, 24.95, 25.05, guard_factor=2).outcome is Outcome.UNDECIDED


def test_risks_of_a_four_to_one_ratio():
    # Process with limits at two standard deviations, ratio 4:1, no guard band: 0.8 % falsely accepted, 1.5 % falsely
    # rejected (metrology literature since the 1950s): from memory; the computation has its own referee.
    risks = compute_run_risks(0, 0.5, 0.125, -1, 1, guard_factor=0)
    assert (100 * risks.consumer, 100 * risks.producer) == pytest.approx((0.8, 1.5), abs=0.05)


@pytest.mark.parametrize(
    ("u", "state"), [(0.005, RatioState.GOOD), (0.0051, RatioState.ENOUGH), (0.0125, RatioState.ENOUGH),
                     (0.0126, RatioState.TOO_SMALL)]
)  # fmt: skip
def test_ratio_bounds(u, state):
    # 10:1 wanted, 4:1 least: common practice, no source. Tolerance 0.1 over 2 U.
    assert check_test_ratio(u, 24.95, 25.05).state is state
