"""Fits and form against published data sets and closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from pipeline.measuring.circles import CircleMethod, fit_circle
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.planes import fit_plane, fit_plane_minimum_zone
from pipeline.measuring.registration import compare_hands, fit_rigid
from pipeline.measuring.roundness import TraceMethod, fit_polar_trace
from pipeline.measuring.runout import compute_circular_runout, compute_dial_runout, compute_total_runout
from pipeline.measuring.spheres import fit_sphere

SIX = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], dtype=float)


def test_geometric_circle_of_six_points():
    # W. Gander, G. Golub, R. Strebel, BIT 34 (1994), section 3.1: from memory; reproduced by an independent optimiser.
    fit = fit_circle(SIX)
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx((4.73978, 2.98353, 4.71423), abs=1e-5)
    assert np.sum(fit.deviations_mm**2) == pytest.approx(1.227599, abs=1e-6)  # derived


def test_algebraic_circle_of_six_points():
    # Same paper, section 2 (coefficient vector of unit length): from memory.
    fit = fit_circle(SIX, CircleMethod.ALGEBRAIC)
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx((5.3794, 7.2532, 3.0370), abs=6e-5)


def test_linear_circle_of_six_points():
    # Computed with a general-purpose image library whose circle model is the linear fit: seen (run).
    fit = fit_circle(SIX, CircleMethod.LINEAR)
    expected = (4.742331288343557, 3.835122699386506, 4.108761522345441)
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx(expected, abs=1e-9)


def test_three_estimators_of_one_data_set_differ_and_are_named():
    fits = [fit_circle(SIX, m) for m in (CircleMethod.ORTHOGONAL, CircleMethod.LINEAR, CircleMethod.ALGEBRAIC)]
    radii = sorted(fit.radius_mm for fit in fits)
    assert min(np.diff(radii)) > 0.5
    assert len({fit.method for fit in fits}) == 3


def test_eight_points_circle():
    # Points seen in public code for a textbook exercise; answer by scipy.optimize.least_squares, derived.
    points = np.array([[0.7, 4], [3.3, 4.7], [5.6, 4], [7.5, 1.3], [6.4, -1.1], [4.4, -3], [0.3, -2.5], [-1.1, 1.3]])
    fit = fit_circle(points)
    gradient = np.array([points[:, 0] - fit.centre_mm[0], points[:, 1] - fit.centre_mm[1]])
    away = np.hypot(*gradient)
    assert np.abs((gradient / away) @ fit.deviations_mm).max() < 1e-9  # stationary in the centre
    assert abs(fit.deviations_mm.sum()) < 1e-9  # and in the radius
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx((3.04324, 0.74568, 4.10586), abs=2e-4)


TURN = np.arange(360.0)
T = np.radians(TURN)


def test_lobed_trace_with_eccentricity():
    # Closed form; ISO 12181-1 (RONt about the least-squares circle): derived.
    trace = fit_polar_trace(TURN, 25 + 0.020 * np.cos(T - 0.3) + 0.005 * np.cos(3 * T))
    assert trace.roundness_mm == pytest.approx(0.010, abs=1e-12)
    assert trace.eccentricity_mm == pytest.approx(0.020, abs=1e-12)
    assert trace.phase_deg == pytest.approx(np.degrees(0.3), abs=1e-9)


def test_runout_of_the_same_trace_is_neither_twice_eccentricity_nor_the_sum():
    # ISO 1101 circular run-out of the same trace: 0.048758, derived.
    radii = 25 + 0.020 * np.cos(T - 0.3) + 0.005 * np.cos(3 * T)
    runout = compute_dial_runout(TURN, radii)
    assert runout.runout_mm == pytest.approx(0.048758, abs=1e-6)
    assert runout.harmonic.amplitude_mm == pytest.approx(0.020, abs=1e-12)
    assert runout.harmonic.rest_mm == pytest.approx(0.010, abs=1e-12)


def test_pure_eccentricity_gives_twice_itself():
    # ISO 1101; closed form, derived.
    ring = np.column_stack([25 * np.cos(T) + 0.02, 25 * np.sin(T), 0 * T])
    assert compute_circular_runout(ring, [0, 0, 0], [0, 0, 1]).runout_mm == pytest.approx(0.04, abs=1e-12)
    assert compute_total_runout(ring, [0, 0, 0], [0, 0, 1]).runout_mm == pytest.approx(0.04, abs=1e-12)


def test_limacon_left_by_an_off_centre_perfect_circle():
    # e^2 / (2 R) = 8e-6 for R 25, e 0.02: textbook approximation, derived.
    radii = 0.02 * np.cos(T) + np.sqrt(25**2 - (0.02 * np.sin(T)) ** 2)
    trace = fit_polar_trace(TURN, radii)
    assert trace.limacon_mm == pytest.approx(8e-6, abs=1e-8)
    assert trace.roundness_mm == pytest.approx(8e-6, abs=1e-8)
    points = np.column_stack([radii * np.cos(T), radii * np.sin(T)])
    assert fit_circle(points).roundness_mm < 1e-12  # the points themselves show the perfect circle


def test_odd_lobes_vanish_in_a_two_point_diameter():
    # ISO 4292, factor zero for odd lobes in the two-point method: derived.
    radii = 25 + 0.005 * np.cos(3 * T)
    diameters = radii[:180] + radii[180:]
    assert np.ptp(diameters) == pytest.approx(0, abs=1e-12)
    assert fit_polar_trace(TURN, radii).roundness_mm == pytest.approx(0.010, abs=1e-12)


EIGHT = np.arange(8) * 45.0


def test_one_high_radius_of_eight():
    # Least squares 0.625 + 0.125 + 0.17678 (closed form); minimum zone by linear programme: derived.
    radii = np.full(8, 100.0)
    radii[0] += 1
    assert fit_polar_trace(EIGHT, radii).roundness_mm == pytest.approx(0.926777, abs=1e-6)
    zone = fit_polar_trace(EIGHT, radii, TraceMethod.MINIMUM_ZONE)
    assert zone.roundness_mm == pytest.approx(0.853553, abs=1e-6)


def test_minimum_zone_equals_least_squares_on_alternating_radii():
    # Closed form, derived: centre 0, both 0.02.
    radii = np.where(np.arange(8) % 2 == 0, 25.01, 24.99)
    points = np.column_stack([radii * np.cos(np.radians(EIGHT)), radii * np.sin(np.radians(EIGHT))])
    for method in (CircleMethod.ORTHOGONAL, CircleMethod.MINIMUM_ZONE):
        fit = fit_circle(points, method)
        assert fit.roundness_mm == pytest.approx(0.02, abs=1e-9)
        assert fit.centre_mm == pytest.approx((0, 0), abs=1e-9)


def test_plane_through_exact_points():
    # z = x + y, closed form, derived.
    fit = fit_plane([[0, 0, 0], [1, 0, 1], [0, 1, 1], [1, 1, 2], [0.5, 0.5, 1]])
    assert fit.normal == pytest.approx((-0.5773502691896258, -0.5773502691896258, 0.5773502691896258), abs=1e-12)
    assert fit.flatness_mm < 1e-12


def test_twisted_square():
    # Corners +h -h -h +h: flatness 2 h, rms h, closed form, derived.
    points = [[0, 0, 0.01], [1, 0, -0.01], [0, 1, -0.01], [1, 1, 0.01]]
    fit = fit_plane(points)
    assert (fit.flatness_mm, fit.rms_mm) == pytest.approx((0.02, 0.01), abs=1e-12)
    assert fit_plane_minimum_zone(points).flatness_mm == pytest.approx(0.02, abs=1e-9)


def test_sphere_from_six_axis_points():
    # Closed form, derived.
    fit = fit_sphere([[4, 2, 3], [-2, 2, 3], [1, 5, 3], [1, -1, 3], [1, 2, 6], [1, 2, 0]])
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx((1, 2, 3, 3), abs=1e-12)


def test_cylinder_of_known_axis():
    # Construct and recover: radius 12, axis = R (0, 0, 1) with rotation vector (.3, -.2, .1); slopes x/z and y/z, derived.
    turn, height = np.meshgrid(np.linspace(0, 2 * np.pi, 24, endpoint=False), np.linspace(-20, 20, 5))
    local = np.column_stack([12 * np.cos(turn).ravel(), 12 * np.sin(turn).ravel(), height.ravel()])
    fit = fit_cylinder(local @ Rotation.from_rotvec([0.3, -0.2, 0.1]).as_matrix().T + [5, -3, 2])
    slopes = (fit.axis[0] / fit.axis[2], fit.axis[1] / fit.axis[2])
    assert (fit.radius_mm, *slopes) == pytest.approx((12, -0.19293523908396906, -0.3237308666132127), abs=1e-9)
    assert fit.point_mm == pytest.approx((5, -3, 2), abs=1e-9)


SOURCE = np.array([[0, 0, 0], [100, 0, 0], [0, 50, 0], [0, 0, 25], [70, 30, 10]], dtype=float)
TURNED = Rotation.from_euler("zyx", [30, 10, -5], degrees=True)


def test_registration_equals_a_general_library():
    # W. Kabsch 1976, B. Horn 1987; scipy.spatial.transform.Rotation.align_vectors: package run.
    target = SOURCE @ TURNED.as_matrix().T + [3, -2, 1]
    fit = fit_rigid(SOURCE, target)
    reference, _ = Rotation.align_vectors(target - target.mean(axis=0), SOURCE - SOURCE.mean(axis=0))
    assert np.array(fit.rotation) == pytest.approx(reference.as_matrix(), abs=1e-12)
    assert np.array(fit.rotation) == pytest.approx(TURNED.as_matrix(), abs=1e-12)
    assert (*fit.shift_mm, fit.rms_mm) == pytest.approx((3, -2, 1, 0), abs=1e-9)


def test_registration_with_listed_offsets():
    # Closed form equals a nonlinear optimiser: rms 0.1051548060305545, derived.
    noise = np.array([[0.1, 0, 0], [0, -0.1, 0], [0, 0, 0.1], [-0.1, 0, 0], [0, 0.1, -0.1]])
    fit = fit_rigid(SOURCE, SOURCE @ TURNED.as_matrix().T + [3, -2, 1] + noise)
    assert fit.rms_mm == pytest.approx(0.1051548060305545, abs=1e-9)


def test_opposite_hand_is_no_rotation():
    # Mirrored copy: determinant +1 and rms 17.9014, derived; as the opposite hand it fits exactly.
    mirrored = SOURCE * [1, 1, -1]
    fit = fit_rigid(SOURCE, mirrored)
    assert np.linalg.det(np.array(fit.rotation)) == pytest.approx(1, abs=1e-12)
    assert fit.rms_mm == pytest.approx(17.9014, abs=1e-4)
    for axis in ("x", "y", "z"):
        assert fit_rigid(SOURCE, mirrored, mirror=axis).rms_mm < 1e-12
    assert compare_hands(SOURCE, mirrored).hand == "opposite"
    assert compare_hands(SOURCE, SOURCE).hand == "same"


@pytest.mark.parametrize(("reading_mm", "limit_mm", "is_over"), [(0.7, 0.8, False), (0.9, 0.8, True)])
def test_wheel_runout_against_a_service_limit(reading_mm, limit_mm, is_over):
    # Steel wheel, radial run-out 0.8 mm: several service manuals, seen.
    readings = reading_mm / 2 * (1 + np.cos(np.radians(np.arange(0, 360, 30.0))))
    assert (compute_dial_runout(np.arange(0, 360, 30.0), readings).runout_mm > limit_mm) is is_over
