"""Bad points are refused in words; long scans and awkward places are not."""

import numpy as np
import pytest

from pipeline.measuring.circles import CircleMethod, fit_circle, fit_circle_in_space
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.lines import fit_line
from pipeline.measuring.made_points import FITS, build_feature_points, solve_linear_floor
from pipeline.measuring.planes import fit_plane, fit_plane_minimum_zone
from pipeline.measuring.registration import compare_hands, fit_rigid
from pipeline.measuring.roundness import fit_polar_trace
from pipeline.measuring.runout import RunoutDirection, compute_circular_runout, compute_dial_runout
from pipeline.measuring.spheres import fit_sphere

NAN, INF = float("nan"), float("inf")
LINE3 = [[0, 0, 0], [1, 1, 1], [2, 2, 2], [3, 3, 3], [4, 4, 4], [7, 7, 7]]
RING3 = [[np.cos(t), np.sin(t), 0] for t in np.linspace(0, 6, 12)]
CORNER = np.array([[0, 0, 0], [10, 0, 0], [0, 5, 0], [0, 0, 2.0]])

BAD = [
    (lambda: fit_circle([[0, 0], [1, 1]]), "2 points cannot fix a circle; at least 3"),
    (lambda: fit_circle([[0, 0], [1, 1], [2, 2], [5, 5]]), "lie on one line"),
    (lambda: fit_circle([[0, 0], [1, 1], [1, 1], [0, 0]]), "lie on one line"),
    (lambda: fit_circle([[3, 3]] * 4), "all the same point"),
    (lambda: fit_circle([[0, 0], [1, NAN], [2, 0]]), "point 2 is"),
    (lambda: fit_circle([[0, 0], [1, INF], [2, 0]]), "finite"),
    (lambda: fit_circle([[0, 0, 0], [1, 0, 0], [0, 1, 0]]), "n x 2"),
    (lambda: fit_circle([["a", "b"]] * 3), "not all numbers"),
    (lambda: fit_circle([[0, 0], [1], [2, 3]]), "not all numbers"),
    (lambda: fit_circle([[1e300, 0], [-1e300, 0], [0, 1e300]]), "millimetres"),
    (lambda: fit_circle_in_space(LINE3), "lie on one line"),
    (lambda: fit_line([[1, 2, 3]]), "at least 2"),
    (lambda: fit_line([[1, 0], [0, 1], [-1, 0], [0, -1]]), "no direction"),
    (lambda: fit_plane(LINE3), "lie on one line"),
    (lambda: fit_plane([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]]), "no flat side"),
    (lambda: fit_plane_minimum_zone(LINE3), "lie on one line"),
    (lambda: fit_sphere(RING3), "one plane"),
    (lambda: fit_sphere(CORNER[:3]), "at least 4"),
    (lambda: fit_cylinder(RING3), "one plane"),
    (lambda: fit_cylinder(LINE3), "one plane"),
    (lambda: fit_cylinder(LINE3[:5]), "at least 6"),
    (lambda: fit_rigid(CORNER[:2], CORNER[:2]), "at least 3"),
    (lambda: fit_rigid(CORNER, CORNER[:3]), "pairs"),
    (lambda: fit_rigid(LINE3, LINE3), "one line"),
    (lambda: fit_rigid([[1, 1, 1]] * 4, CORNER), "one line"),
    (lambda: fit_rigid(CORNER, CORNER, mirror="w"), "mirror"),
    (lambda: fit_rigid(CORNER, CORNER, weights=[1, 1, 0, 1]), "weight"),
    (lambda: fit_polar_trace([0, 90, 180], [1, 1, 1]), "at least 4"),
    (lambda: fit_polar_trace([0, 10, 20, 30], [1, 1, 1, 1]), "degrees of the turn"),
    (lambda: fit_polar_trace([0, 90, 180, 270], [1, 1, 0, 1]), "above zero"),
    (lambda: compute_dial_runout([0, 90, 180, 270], [1, 1, 1]), "at least 4"),
    (lambda: compute_dial_runout([0, 90, 180, 270], [1, 1, 1, 1, 1]), "each reading needs its angle"),
    (lambda: compute_circular_runout(RING3, [0, 0, 0], [0, 0, 0]), "no length"),
    (lambda: compute_circular_runout(RING3, [0, 0, 0], [0, 0, 1], zero=[0, 0, 5]), "parallel"),
    (lambda: compute_circular_runout([*RING3, [0, 0, 3]], [0, 0, 0], [0, 0, 1]), "on the datum axis"),
    (lambda: compute_circular_runout(RING3, [0, 0], [0, 0, 1]), "axis point"),
]


@pytest.mark.parametrize(("call", "words"), BAD)
def test_impossible_points_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_nearly_straight_points_do_not_give_a_silent_circle():
    points = np.column_stack([np.linspace(0, 100, 50), 1e-12 * np.arange(50) ** 2])
    with pytest.raises(ValueError, match=r"lie on one line|bend too little"):
        fit_circle(points)
    wavy = np.column_stack([np.linspace(0, 100, 50), 0.01 * np.cos(np.arange(50) * np.pi)])
    try:
        assert fit_circle(wavy).radius_u_mm > fit_circle(wavy).radius_mm / 10  # or the doubt is shown
    except ValueError as error:
        assert "bend too little" in str(error)


def test_short_arc_shows_its_doubt():
    random = np.random.default_rng(3)

    def arc(degrees):
        turn = np.radians(np.linspace(0, degrees, 60))
        return 40 * np.column_stack([np.cos(turn), np.sin(turn)]) + random.normal(0, 0.01, (60, 2))

    full, short = fit_circle(arc(354)), fit_circle(arc(15))
    assert short.radius_u_mm > 50 * full.radius_u_mm
    assert short.covered_deg == pytest.approx(15, abs=1) and full.covered_deg == pytest.approx(354, abs=1)


def test_linear_fit_is_biased_on_short_noisy_arcs_and_orthogonal_is_not():
    errors = {method: [] for method in (CircleMethod.ORTHOGONAL, CircleMethod.LINEAR)}
    for seed in range(60):
        random = np.random.default_rng(seed)
        turn = np.radians(np.linspace(0, 40, 100))
        points = 40 * np.column_stack([np.cos(turn), np.sin(turn)]) + random.normal(0, 0.3, (100, 2))
        for method, found in errors.items():
            found.append(fit_circle(points, method).radius_mm - 40)
    assert np.mean(errors[CircleMethod.LINEAR]) < -2
    assert abs(np.mean(errors[CircleMethod.ORTHOGONAL])) < 1


@pytest.mark.parametrize("feature", list(FITS))
def test_far_from_the_origin_nothing_is_lost(feature):
    points = build_feature_points(feature, 80, seed=4)
    near, far = FITS[feature](points), FITS[feature](points + 1e6)
    assert far.rms_mm == pytest.approx(near.rms_mm, rel=1e-6)


@pytest.mark.parametrize("feature", ["circle", "sphere", "cylinder"])
def test_long_scan_recovers_the_radius_and_its_form(feature):
    fit = FITS[feature](build_feature_points(feature, 100_000, seed=5))
    assert fit.radius_mm == pytest.approx(12, abs=5 * fit.radius_u_mm)
    assert fit.radius_u_mm < 1e-4
    assert fit.rms_mm == pytest.approx(0.01, rel=0.02)
    assert len(fit.deviations_mm) == 100_000


def test_long_scan_in_a_raster_is_not_thinned_into_one_row():
    turn, height = np.meshgrid(np.linspace(0, 2 * np.pi, 100, endpoint=False), np.linspace(0, 50, 100))
    points = np.column_stack([9 * np.cos(turn).ravel(), 9 * np.sin(turn).ravel(), height.ravel()])
    fit = fit_cylinder(points)
    assert fit.radius_mm == pytest.approx(9, abs=1e-9) and fit.cylindricity_mm < 1e-9
    assert fit.length_mm == pytest.approx(50, abs=1e-9)


def test_wide_flat_disc_and_long_rod_find_their_axes():
    random = np.random.default_rng(2)
    for radius, half in ((60, 1.5), (2, 300)):
        turn, along = random.uniform(0, 2 * np.pi, 400), random.uniform(-half, half, 400)
        points = np.column_stack([along, radius * np.cos(turn), radius * np.sin(turn)])
        fit = fit_cylinder(points + random.normal(0, 0.002, points.shape))
        assert fit.radius_mm == pytest.approx(radius, abs=0.005)
        assert abs(fit.axis[0]) > 0.99999


def test_exact_number_of_points_leaves_no_scatter_to_judge():
    fit = fit_circle([[1, 0], [0, 1], [-1, 0]])
    assert fit.radius_mm == pytest.approx(1) and fit.radius_u_mm is None and fit.centre_u_mm is None
    sphere = fit_sphere(CORNER)
    assert sphere.radius_u_mm is None and sphere.sphericity_mm < 1e-9


def test_roundness_of_a_full_circle_scan_by_minimum_zone_of_many_points():
    points = build_feature_points("circle", 20_000, seed=6)
    zone, least = fit_circle(points, CircleMethod.MINIMUM_ZONE), fit_circle(points)
    assert 0.5 * least.roundness_mm < zone.roundness_mm < least.roundness_mm


def test_axial_runout_is_a_wobble():
    turn = np.radians(np.arange(0, 360, 15.0))
    face = np.column_stack([50 * np.cos(turn), 50 * np.sin(turn), 0.1 * np.cos(turn - np.radians(60))])
    out = compute_circular_runout(face, [0, 0, 0], [0, 0, 1], RunoutDirection.AXIAL)
    assert out.runout_mm == pytest.approx(0.2) and out.harmonic.phase_deg == pytest.approx(60)
    assert out.harmonic.rest_mm < 1e-12 and "axial" in out.method


def test_runout_angle_starts_at_the_keyway():
    turn = np.radians(np.arange(0, 360, 15.0))
    ring = np.column_stack([25 * np.cos(turn), 25 * np.sin(turn) + 0.1, 0 * turn])
    assert compute_circular_runout(ring, [0, 0, 0], [0, 0, 1]).harmonic.phase_deg == pytest.approx(90)
    turned = compute_circular_runout(ring, [0, 0, 0], [0, 0, 1], zero=[0, 1, 0]).harmonic.phase_deg
    assert min(turned, 360 - turned) == pytest.approx(0, abs=1e-6)


def test_hand_of_a_flat_part_is_undecided_and_symmetric_part_says_so():
    flat = np.array([[0, 0, 0], [10, 0, 0], [0, 5, 0], [3, 8, 0.0]])
    assert compare_hands(flat, flat).hand == "undecided"
    cube = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)
    assert not fit_rigid(cube, -cube).is_unique
    assert fit_rigid(CORNER, CORNER + 1).is_unique


def test_weights_pull_the_fit():
    target = CORNER.copy()
    target[1] += [0, 0, 1]
    heavy = fit_rigid(CORNER, target, weights=[1, 100, 1, 1])
    assert np.linalg.norm(heavy.deviations_mm[1]) < np.linalg.norm(fit_rigid(CORNER, target).deviations_mm[1])


def test_worst_point_is_named():
    target = np.vstack([CORNER, [[20, 20, 20], [-20, 20, 5], [9, -20, 3]]])
    measured = target.copy()
    measured[4] += 0.5
    fit = fit_rigid(measured, target)
    assert fit.worst == 4 and fit.largest_mm == pytest.approx(np.linalg.norm(fit.deviations_mm[4]))


def test_same_points_same_answer():
    points = build_feature_points("cylinder", 3000, seed=8)
    assert fit_cylinder(points) == fit_cylinder(points.copy())
    assert np.isfinite(solve_linear_floor(points)).all()


def test_inputs_are_left_as_they_were():
    points = build_feature_points("cylinder", 100, seed=9)
    before = points.copy()
    fit_cylinder(points)
    fit_sphere(points)
    fit_plane_minimum_zone(points)
    assert (points == before).all()
