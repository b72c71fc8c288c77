"""Tables of limits: borders of ranges, gaps in the tables and refusals in words."""

from __future__ import annotations

import pytest

from pipeline.fit.castings import find_casting_tolerance
from pipeline.fit.general_tolerances import find_angle_tolerance, find_broken_edge_tolerance, find_linear_tolerance
from pipeline.fit.iso286 import FitKind, compute_fit, compute_limits, compute_standard_tolerance
from pipeline.fit.iso286_tables import (
    FINE_STEPS_MM,
    MAIN_STEPS_MM,
    SHAFT_LOWER_FINE_UM,
    SHAFT_LOWER_UM,
    SHAFT_UPPER_FINE_UM,
    SHAFT_UPPER_UM,
    STANDARD_TOLERANCES_UM,
)
from pipeline.fit.position import check_position, compute_position, compute_round_zone
from pipeline.fit.runout_limits import (
    CAUTION,
    RUNOUT_LIMITS,
    RunoutDirection,
    RunoutVerdict,
    check_runout,
    find_runout_limit,
)


def test_tables_have_a_value_for_every_range() -> None:
    for table in (STANDARD_TOLERANCES_UM, SHAFT_UPPER_UM, SHAFT_LOWER_UM):
        assert {len(row) for row in table.values()} == {len(MAIN_STEPS_MM)}
    for fine in (SHAFT_UPPER_FINE_UM, SHAFT_LOWER_FINE_UM):
        assert {len(row) for row in fine.values()} == {len(FINE_STEPS_MM)}
    assert set(MAIN_STEPS_MM) <= set(FINE_STEPS_MM)


def test_standard_tolerances_grow_with_size_and_grade() -> None:
    for grade, row in STANDARD_TOLERANCES_UM.items():
        assert list(row) == sorted(row)
        if grade + 1 in STANDARD_TOLERANCES_UM:
            assert all(a < b for a, b in zip(row, STANDARD_TOLERANCES_UM[grade + 1], strict=True))


@pytest.mark.parametrize(
    ("size", "tolerance_class", "upper", "lower"),
    [
        (2, "K7", 0, -10),  # up to 3 mm the special rule adds nothing
        (2, "K9", 0, -25),
        (2, "N9", -4, -29),
        (20, "N9", 0, -52),
        (20, "M9", -8, -60),
        (20, "P9", -22, -74),
        (20, "k5", 11, 2),
        (20, "k8", 33, 0),
        (250, "M6", -8, -37),
        (250.5, "M6", -9, -41),
        (315, "M6", -9, -41),
        (315.5, "M6", -10, -46),
        (25, "JS9", 26, -26),
        (45, "c11", -130, -290),
        (35, "C11", 280, 120),
        (500, "H7", 63, 0),
    ],
)
def test_rules_at_their_borders(size: float, tolerance_class: str, upper: float, lower: float) -> None:
    limits = compute_limits(size, tolerance_class)
    assert (limits.upper_um, limits.lower_um) == (upper, lower)


def test_limits_speak_millimetres_too() -> None:
    limits = compute_limits(40, "P7")
    assert limits.is_hole
    assert not compute_limits(40, "p7").is_hole
    assert (limits.upper_mm, limits.lower_mm) == (-0.017, -0.042)
    assert (limits.greatest_mm, limits.least_mm) == pytest.approx((39.983, 39.958), abs=1e-12)


def test_transition_fit_and_its_words() -> None:
    fit = compute_fit(50, "H7/k6")
    assert fit.kind is FitKind.TRANSITION
    assert fit.words == "50 H7/k6: from 18 µm interference to 23 µm clearance."
    assert compute_fit(50, "H7/s6").words == "50 H7/s6: interference of 18 to 59 µm."
    assert compute_fit(50, "H7/h6").kind is FitKind.CLEARANCE  # zero at the least is still clearance


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: compute_standard_tolerance(0, 7), "0 mm is outside the table"),
        (lambda: compute_standard_tolerance(500.1, 7), "outside the table"),
        (lambda: compute_standard_tolerance(float("nan"), 7), "outside the table"),
        (lambda: compute_standard_tolerance(25, 3), "IT3 is not in the table"),
        (lambda: compute_standard_tolerance(25, 17), "IT17 is not in the table"),
        (lambda: compute_standard_tolerance(1, 14), "not for sizes of 1 mm"),
        (lambda: compute_limits(25, "J7"), "letter"),
        (lambda: compute_limits(25, "Hh7"), "not a tolerance class"),
        (lambda: compute_limits(25, "7H"), "not a tolerance class"),
        (lambda: compute_limits(20, "t6"), "starts above 24 mm"),
        (lambda: compute_limits(20, "T7"), "starts above 24 mm"),
        (lambda: compute_limits(20, "K9"), "no K coarser than IT8"),
        (lambda: compute_limits(1, "N9"), "no N coarser than IT8"),
        (lambda: compute_fit(25, "g6/H7"), "is not a fit"),
        (lambda: compute_fit(25, "H7"), "is not a fit"),
        (lambda: find_linear_tolerance(0.4, "m"), "outside 0.5 to 4000"),
        (lambda: find_linear_tolerance(2001, "f"), "class f has no value"),
        (lambda: find_linear_tolerance(3, "v"), "class v has no value"),
        (lambda: find_linear_tolerance(10, "x"), "not a class of ISO 2768-1"),
        (lambda: find_broken_edge_tolerance(0.4, "m"), "below 0.5 mm"),
        (lambda: find_angle_tolerance(0, "m"), "impossible"),
        (lambda: find_casting_tolerance(0, 4), "outside the table"),
        (lambda: find_casting_tolerance(631, 4), "outside the table"),
        (lambda: find_casting_tolerance(20, 17), "does not exist"),
        (lambda: find_casting_tolerance(10, 13), "has no DCTG 13"),
        (lambda: find_casting_tolerance(500, 2), "has no DCTG 2"),
        (lambda: compute_position(float("nan"), 0), "not all finite"),
        (lambda: check_position(0, 0, tolerance_mm=-1), "impossible"),
        (lambda: check_position(0, 0, tolerance_mm=0.1, at_mmc=True, actual_mm=10), "needs the actual size"),
        (
            lambda: check_position(0, 0, tolerance_mm=0.1, at_mmc=True, actual_mm=9.9, least_mm=10, greatest_mm=10.2),
            "refuse it for size",
        ),
        (
            lambda: check_position(0, 0, tolerance_mm=0.1, at_mmc=True, actual_mm=10, least_mm=10.2, greatest_mm=10),
            "wrong way round",
        ),
        (lambda: compute_round_zone(-0.1), "impossible"),
        (lambda: check_runout(-0.1, RUNOUT_LIMITS[0]), "impossible"),
    ],
)
def test_the_impossible_is_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()


def test_a_size_on_a_border_belongs_below_it() -> None:
    assert find_linear_tolerance(30, "m").plus_minus == 0.2
    assert find_linear_tolerance(30.001, "m").plus_minus == 0.3
    assert find_broken_edge_tolerance(6, "m").plus_minus == 0.5
    assert find_broken_edge_tolerance(6.01, "m").plus_minus == 1
    assert find_angle_tolerance(10, "c").plus_minus == 1.5
    assert find_angle_tolerance(10.01, "c").plus_minus == 1.0
    assert find_casting_tolerance(100, 6).total_mm == 0.78
    assert find_casting_tolerance(100.01, 6).total_mm == 0.88


def test_bonus_of_a_pin_and_the_gauge_sizes() -> None:
    pin = check_position(
        0.05, 0.0, tolerance_mm=0.1, at_mmc=True, is_hole=False, actual_mm=9.97, least_mm=9.9, greatest_mm=10.0
    )
    assert (pin.bonus_mm, pin.allowed_mm, pin.virtual_mm) == pytest.approx((0.03, 0.13, 10.1), abs=1e-12)
    hole = check_position(0.1, 0.0, tolerance_mm=0.1, at_mmc=True, actual_mm=10.1, least_mm=10.0, greatest_mm=10.2)
    assert hole.virtual_mm == pytest.approx(9.9)
    assert hole.conforms  # exactly on the limit of 0.2
    bare = check_position(0.1, 0.0, tolerance_mm=0.1)
    assert not bare.conforms
    assert bare.margin_mm == pytest.approx(-0.1)
    assert bare.virtual_mm is None


def test_runout_verdicts_on_and_off_the_limits() -> None:
    limit = find_runout_limit("alloy wheel", RunoutDirection.RADIAL)
    assert limit is not None
    assert check_runout(0.25, limit) is RunoutVerdict.WITHIN_ALL
    assert check_runout(0.7, limit) is RunoutVerdict.WITHIN_SOME
    assert check_runout(0.71, limit) is RunoutVerdict.BEYOND_ALL
    assert find_runout_limit("axle", RunoutDirection.RADIAL) is None
    assert all(row.tightest_mm <= row.loosest_mm for row in RUNOUT_LIMITS)
    assert "competent laboratory" in CAUTION
