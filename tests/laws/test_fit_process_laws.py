"""What must hold for limits, moulds, draws and bends, whatever the figures."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from pipeline.fit.bends import compute_bend, compute_k_from_deduction
from pipeline.fit.coatings import CoatedFeature, compute_coated_size, compute_coating_factor
from pipeline.fit.drawing_dies import compute_blank_diameter, plan_draws
from pipeline.fit.iso286 import compute_fit, compute_limits, compute_standard_tolerance
from pipeline.fit.iso286_tables import SHAFT_LETTERS
from pipeline.fit.position import check_position, compute_position
from pipeline.fit.shrinkage import Shrinkage, compute_cavity_size, compute_measured_shrinkage, compute_mould_scale

sizes = st.floats(3.01, 500)
shares = st.floats(-0.05, 0.15)


@given(st.floats(0.1, 2000), shares)
def test_mould_scale_is_undone_by_measuring(part_mm: float, share: float) -> None:
    cavity = part_mm * compute_mould_scale(share)
    assert compute_measured_shrinkage(cavity, part_mm, 0.01).value == pytest.approx(share, abs=1e-12)


@given(st.floats(0.1, 2000), st.lists(shares, min_size=3, max_size=3).map(sorted), st.floats(0.1, 10))
def test_cavities_scale_with_the_part_and_keep_their_order(part: float, three: list[float], times: float) -> None:
    shrinkage = Shrinkage(*three)
    one, many = compute_cavity_size(part, shrinkage), compute_cavity_size(part * times, shrinkage)
    assert one.low_mm <= one.likely_mm <= one.high_mm
    assert one.part_low_mm <= part * (1 + 1e-12) and one.part_high_mm >= part * (1 - 1e-12)
    assert many.likely_mm == pytest.approx(times * one.likely_mm, rel=1e-12)


@given(sizes, st.sampled_from(SHAFT_LETTERS), st.integers(5, 8))
def test_limits_are_one_standard_tolerance_apart(size: float, letter: str, grade: int) -> None:
    assume(not (letter == "t" and size <= 24))
    tolerance = compute_standard_tolerance(size, grade)
    for name in (letter, letter.upper()):
        limits = compute_limits(size, f"{name}{grade}")
        assert limits.upper_um - limits.lower_um == pytest.approx(tolerance, abs=1e-9)


@given(st.floats(0.01, 500), st.sampled_from("cdefgh"), st.integers(5, 11))
def test_clearance_letters_mirror_and_always_clear(size: float, letter: str, grade: int) -> None:
    shaft, hole = compute_limits(size, f"{letter}{grade}"), compute_limits(size, f"{letter.upper()}{grade}")
    assert (hole.upper_um, hole.lower_um) == (0 - shaft.lower_um, 0 - shaft.upper_um)
    assert compute_fit(size, f"H{grade}/{letter}{grade}").least_um >= 0


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 2 * math.pi))
def test_position_does_not_turn_with_the_axes(dx: float, dy: float, turn: float) -> None:
    turned_x, turned_y = dx * math.cos(turn) - dy * math.sin(turn), dx * math.sin(turn) + dy * math.cos(turn)
    assert compute_position(turned_x, turned_y) == pytest.approx(compute_position(dx, dy), abs=1e-9)


@given(st.floats(0, 0.5), st.floats(0, 0.3), st.floats(0, 0.2), st.floats(0, 0.2))
def test_more_departure_from_maximum_material_never_refuses(
    off: float, zone: float, first: float, second: float
) -> None:
    small, large = sorted((10 + first, 10 + second))
    results = [
        check_position(off, 0, tolerance_mm=zone, at_mmc=True, actual_mm=size, least_mm=10, greatest_mm=10.2)
        for size in (small, large)
    ]
    assert results[0].conforms <= results[1].conforms


@given(st.floats(5, 500), st.floats(1, 500))
def test_a_higher_cup_needs_a_larger_blank_and_no_fewer_draws(diameter: float, height: float) -> None:
    assume(height < 12 * diameter)
    low, high = plan_draws(diameter, height), plan_draws(diameter, height * 1.1)
    assert high.blank_mm > low.blank_mm
    assert high.draws >= low.draws
    assert all(step.ratio < 1 for step in low.steps)
    assert list(low.evened_mm) == sorted(low.evened_mm, reverse=True)


@given(st.floats(5, 500), st.floats(1, 500), st.floats(0, 0.5))
def test_a_rounded_corner_saves_metal(diameter: float, height: float, share: float) -> None:
    radius = share * min(diameter, height)
    rounded = compute_blank_diameter(diameter, height, corner_radius_mm=radius)
    assert rounded <= compute_blank_diameter(diameter, height) + 1e-9


@given(st.floats(0.5, 10), st.floats(0.3, 5), st.floats(0.05, 0.5), st.floats(20, 160))
def test_k_factor_comes_back_from_the_deduction(radius: float, thickness: float, k: float, angle: float) -> None:
    bend = compute_bend(radius, thickness, angle_deg=angle, k_factor=k)
    back = compute_k_from_deduction(radius, thickness, bend.deduction_mm, angle_deg=angle)
    assert back == pytest.approx(k, abs=1e-9)


@given(st.sampled_from(list(CoatedFeature)), st.floats(0, 0.2))
def test_a_coating_moves_a_size_by_its_factor(feature: CoatedFeature, thickness: float) -> None:
    moved = compute_coated_size(50.0, thickness, feature) - 50.0
    assert moved == pytest.approx(compute_coating_factor(feature) * thickness, abs=1e-9)
