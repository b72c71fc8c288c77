"""Laws of the fits: a moved and turned copy fits the same, scaling scales, a mirrored part is the opposite hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from pipeline.measuring.circles import CircleMethod, fit_circle, fit_circle_in_space
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.lines import fit_line
from pipeline.measuring.made_points import build_feature_points
from pipeline.measuring.planes import fit_plane, fit_plane_minimum_zone
from pipeline.measuring.registration import compare_hands, fit_rigid
from pipeline.measuring.spheres import fit_sphere

LAW = settings(max_examples=25, deadline=None, derandomize=True)
turns = st.tuples(*[st.floats(-3, 3)] * 3)
shifts = st.tuples(*[st.floats(-1000, 1000)] * 3)
seeds = st.integers(0, 10_000)


def size_and_form(feature, points):
    if feature == "line":
        fit = fit_line(points)
        return fit.length_mm, fit.straightness_mm, fit.rms_mm
    if feature == "plane":
        fit = fit_plane(points)
        return 0.0, fit.flatness_mm, fit.rms_mm
    if feature == "sphere":
        fit = fit_sphere(points)
        return fit.radius_mm, fit.sphericity_mm, fit.rms_mm
    fit = fit_cylinder(points)
    return fit.radius_mm, fit.cylindricity_mm, fit.rms_mm


@pytest.mark.parametrize("feature", ["line", "plane", "sphere", "cylinder"])
@LAW
@given(turn=turns, shift=shifts, seed=seeds)
def test_moved_and_turned_copy_fits_the_same(feature, turn, shift, seed):
    points = build_feature_points(feature, 60, seed, noise_mm=0.02)
    moved = points @ Rotation.from_rotvec(turn).as_matrix().T + shift
    assert size_and_form(feature, moved) == pytest.approx(size_and_form(feature, points), abs=1e-8)


@pytest.mark.parametrize("feature", ["line", "plane", "sphere", "cylinder"])
@LAW
@given(factor=st.floats(0.001, 1000), seed=seeds)
def test_scaling_scales(feature, factor, seed):
    points = build_feature_points(feature, 60, seed, noise_mm=0.02)
    expected = [factor * value for value in size_and_form(feature, points)]
    assert size_and_form(feature, factor * points) == pytest.approx(expected, rel=1e-7, abs=1e-9 * factor)


@LAW
@given(angle=st.floats(-3, 3), x=st.floats(-500, 500), y=st.floats(-500, 500), factor=st.floats(0.01, 100), seed=seeds)
def test_circle_moves_turns_and_scales(angle, x, y, factor, seed):
    points = build_feature_points("circle", 40, seed, noise_mm=0.05)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    moved = factor * points @ turn.T + [x, y]
    for method in (CircleMethod.ORTHOGONAL, CircleMethod.LINEAR):
        before, after = fit_circle(points, method), fit_circle(moved, method)
        assert after.radius_mm == pytest.approx(factor * before.radius_mm, rel=1e-8)
        centre = factor * turn @ np.array(before.centre_mm) + [x, y]
        assert after.centre_mm == pytest.approx(centre, abs=1e-7 * (1 + factor))


def test_algebraic_circle_is_not_the_same_after_a_shift():
    # The trap that makes the name of a fit part of its result.
    points = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], dtype=float)
    here = fit_circle(points, CircleMethod.ALGEBRAIC)
    there = fit_circle(points + np.array([20, 0]), CircleMethod.ALGEBRAIC)
    assert abs(here.radius_mm - there.radius_mm) > 0.1


@LAW
@given(seed=seeds)
def test_minimum_zone_is_never_wider_than_least_squares(seed):
    ring = build_feature_points("circle", 30, seed, noise_mm=0.05)
    flat = build_feature_points("plane", 30, seed, noise_mm=0.05)
    assert fit_circle(ring, CircleMethod.MINIMUM_ZONE).roundness_mm <= fit_circle(ring).roundness_mm + 1e-9
    assert fit_plane_minimum_zone(flat).flatness_mm <= fit_plane(flat).flatness_mm + 1e-9


@LAW
@given(seed=seeds)
def test_least_squares_is_never_rougher_than_any_other_circle(seed):
    ring = build_feature_points("circle", 30, seed, noise_mm=0.05)
    best = fit_circle(ring).rms_mm
    for method in CircleMethod:
        assert best <= fit_circle(ring, method).rms_mm + 1e-12


@LAW
@given(turn=turns, shift=shifts, seed=seeds)
def test_circle_in_space_is_the_circle_in_its_plane(turn, shift, seed):
    flat = build_feature_points("circle", 30, seed, noise_mm=0.05)
    lifted = np.column_stack([flat, np.zeros(len(flat))]) @ Rotation.from_rotvec(turn).as_matrix().T + shift
    assert fit_circle_in_space(lifted).radius_mm == pytest.approx(fit_circle(flat).radius_mm, abs=1e-7)


@LAW
@given(turn=turns, shift=shifts, seed=seeds, axis=st.sampled_from(["x", "y", "z"]))
def test_mirrored_registration_of_a_mirrored_part_is_exact(turn, shift, seed, axis):
    part = np.random.default_rng(seed).normal(0, 30, (12, 3))
    other = part * [-1, 1, 1] @ Rotation.from_rotvec(turn).as_matrix().T + shift
    fit = fit_rigid(part, other, mirror=axis)
    assert fit.rms_mm < 1e-9
    assert np.linalg.det(np.array(fit.rotation)) == pytest.approx(1, abs=1e-9)
    assert fit.move(part) == pytest.approx(other, abs=1e-8)
    assert compare_hands(part, other).hand == "opposite"
    assert fit_rigid(part, other).rms_mm > 1


@LAW
@given(turn=turns, shift=shifts, factor=st.floats(0.1, 10), seed=seeds)
def test_registration_recovers_shrinkage(turn, shift, factor, seed):
    part = np.random.default_rng(seed).normal(0, 30, (8, 3))
    fit = fit_rigid(part, factor * part @ Rotation.from_rotvec(turn).as_matrix().T + shift, scale=True)
    assert fit.scale == pytest.approx(factor, rel=1e-9)
    assert fit.rms_mm < 1e-8


@LAW
@given(seed=seeds, order=st.permutations(range(20)))
def test_order_of_points_does_not_matter(seed, order):
    """To a tenth of a nanometre: the bottom of the sum of squares is flat, and sums of another order end beside it."""
    points = build_feature_points("cylinder", 20, seed)
    assert fit_cylinder(points[list(order)]).radius_mm == pytest.approx(fit_cylinder(points).radius_mm, abs=1e-7)
