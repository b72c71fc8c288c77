"""Edges of the measuring room: arcs too flat for a circle, zones of many points, refusals in words."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.measuring.circles import CircleMethod, fit_circle
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.least_squares import _solve_damped
from pipeline.measuring.made_points import build_feature_points
from pipeline.measuring.minimum_zone import find_minimum_zone
from pipeline.measuring.planes import fit_plane, fit_plane_minimum_zone
from pipeline.measuring.points import check_number
from pipeline.measuring.radial import fit_radial_linear
from pipeline.measuring.registration import fit_rigid
from pipeline.measuring.runout import check_axis
from pipeline.measuring.spheres import fit_sphere
from pipeline.measuring.tolerance_intervals import compute_two_sided_factor
from pipeline.measuring.triangles import Surface, fit_to_surface
from pipeline.measuring.uncertainty import compute_effective_dof
from pipeline.measuring.verdict import compute_guard_factor, compute_run_risks

# points on 5 degrees of a ring of 10 mm, each about 10 um off: in the second lot straight is better than bent
SHALLOW = [[10.00267680, 0.17742227], [9.98403694, 0.19949018], [9.97857552, 0.52545219], [9.99078723, 0.44910127],
           [9.95624060, 0.93977543], [9.97263659, 0.94667764], [9.95289589, 0.80189247], [9.97390894, 0.67433149],
           [9.96092192, 0.84342038]]  # fmt: skip


FLAT = [[9.951, 0.9], [9.96, 0.76], [9.954, 0.879], [9.996, 0.524], [9.991, 0.48]]


def test_a_shallow_arc_is_answered_with_its_narrowest_zone_and_not_with_a_mile_of_radius() -> None:
    """Held by looking about: no centre within 5 mm of the one found has a narrower zone."""
    found = fit_circle(SHALLOW, CircleMethod.MINIMUM_ZONE)
    assert 5 < found.radius_mm < 50
    points = np.array(SHALLOW)
    for turn in np.linspace(0, 2 * np.pi, 24, endpoint=False):
        for reach in (1e-4, 1e-2, 0.3, 5.0):
            centre = np.array(found.centre_mm) + reach * np.array([np.cos(turn), np.sin(turn)])
            assert np.ptp(np.hypot(*(points - centre).T)) >= found.roundness_mm - 1e-12


def test_an_arc_too_flat_for_two_circles_is_refused() -> None:
    with pytest.raises(ValueError, match="the zone straightens; measure more of the turn"):
        fit_circle(FLAT, CircleMethod.MINIMUM_ZONE)


@pytest.mark.parametrize("turn", [1.0, 3.0, 2 * math.pi])
def test_a_zone_of_two_circles_is_never_wider_than_that_of_least_squares(turn: float) -> None:
    """The minimum zone is the least of all zones (ISO 12181-1), whatever the arc and however few the points."""
    random = np.random.default_rng(3)
    for _ in range(15):
        angle = random.uniform(0, turn, int(random.integers(4, 12)))
        points = 10 * (np.column_stack([np.cos(angle), np.sin(angle)]) + random.normal(0, 0.01, (len(angle), 2)))
        zone, least = fit_circle(points, CircleMethod.MINIMUM_ZONE), fit_circle(points)
        assert zone.roundness_mm <= least.roundness_mm * (1 + 1e-9)
        assert zone.diameter_mm == 2 * zone.radius_mm


def test_a_ball_is_twice_its_radius_across() -> None:
    ball = fit_sphere([[5, 0, 0], [-5, 0, 0], [0, 5, 0], [0, 0, 5]])
    assert (ball.radius_mm, ball.diameter_mm) == pytest.approx((5.0, 10.0))


def test_points_that_lie_on_the_model_have_a_zone_without_width() -> None:
    zone = find_minimum_zone(np.zeros(5), np.ones((5, 1)))
    assert (zone.parameters, zone.width) == ((0.0,), 0.0)


def test_readings_that_matter_are_found_among_thousands() -> None:
    """A line through a saw of +-1 whose highest and lowest readings stand at both ends: by hand, the band is 2 wide."""
    along = np.linspace(-1, 1, 4001)
    values = 0.5 * along + 0.9 * np.cos(40 * along) + 0.3 * along**2
    zone = find_minimum_zone(values, np.column_stack([np.ones_like(along), along]))
    left = values - zone.parameters[0] - zone.parameters[1] * along
    assert zone.width == pytest.approx(np.ptp(left)) and zone.width < 2.1
    # Chebyshev: a best line touches the band at three readings or more, high and low by turns
    touching = np.flatnonzero(np.abs(np.abs(left) - zone.width / 2) < 1e-6)
    assert len(set(np.sign(left[touching]))) == 2 and len(touching) >= 3


def test_the_zone_of_a_plane_is_never_wider_than_that_of_least_squares_down_to_the_last_digit() -> None:
    for seed in range(12):
        random = np.random.default_rng(seed)
        flat = random.uniform(-50, 50, (9, 2))
        points = np.column_stack([flat, flat @ random.normal(size=2)])
        assert fit_plane_minimum_zone(points).flatness_mm <= fit_plane(points).flatness_mm < 1e-12


@pytest.mark.parametrize("bend", [1e-2, 1e-3])
def test_a_cylinder_of_little_bend_is_fitted(bend: float) -> None:
    """z = b x^2 has a radius of 1 / (2 b) at its crown."""
    sheet = [(x, y, bend * x * x) for x in np.linspace(-1, 1, 7) for y in np.linspace(0, 3, 4)]
    found = fit_cylinder(sheet)
    assert found.radius_mm == pytest.approx(1 / (2 * bend), rel=1e-3)
    assert found.diameter_mm == 2 * found.radius_mm


def build_sheet(bend: float, noise: float, seed: int) -> npt.NDArray[np.float64]:
    """A sheet of 50 by 50 mm, 400 points, bent about an axis along y to a radius of 1 / (2 bend)."""
    x, y = (one.ravel() for one in np.meshgrid(np.linspace(-25, 25, 20), np.linspace(0, 50, 20)))
    radius = 1 / (2 * bend)
    rise = radius - np.sqrt(radius**2 - x**2)
    return np.column_stack([x, y, rise + noise * np.random.default_rng(seed).normal(size=x.shape)])


@pytest.mark.parametrize("noise", [1e-6, 1e-3, 1e-2])
@pytest.mark.parametrize("bend", [1e-5, 1e-6, 1e-8])
def test_a_radius_that_the_points_do_not_hold_is_refused_not_told_with_a_small_uncertainty(
    bend: float, noise: float
) -> None:
    sheet = build_sheet(bend, noise, 1)
    for fit, points in ((fit_cylinder, sheet), (fit_circle, sheet[:20, [0, 2]])):
        with pytest.raises(ValueError, match=r"bend too little|one line|one plane"):
            fit(points)


def test_the_uncertainty_of_a_shallow_radius_covers_what_it_misses_by() -> None:
    """A radius of 500 mm from a tenth of a radian of turn: 40 noisy sheets, each held against its own uncertainty."""
    misses = []
    for seed in range(40):
        found = fit_cylinder(build_sheet(1e-3, 0.01, seed))
        assert found.radius_u_mm is not None
        misses.append((found.radius_mm - 500.0) / found.radius_u_mm)
    assert np.std(misses) == pytest.approx(1.0, abs=0.35)
    assert max(abs(one) for one in misses) < 4


def test_a_step_of_two_parameters_that_do_the_same_is_shared_between_them() -> None:
    """By hand: 4 (p + q) = 8 has no single answer; the shortest one is p = q = 1."""
    assert _solve_damped(np.full((2, 2), 4.0), np.full(2, -8.0), 0.0) == pytest.approx([1.0, 1.0])


def test_effects_that_are_nothing_have_endless_degrees_of_freedom() -> None:
    assert compute_effective_dof([0.0, 0.0], [3, 4]) == math.inf
    assert compute_effective_dof([1.0, 0.0], [3, 4]) == 3


def test_a_scan_of_a_whole_box_settles_and_lies_on_it() -> None:
    """Every face of a box of 30 x 20 x 10 mm, laid on it from a turned and moved place."""
    corners = np.array([[x, y, z] for x in (0, 30) for y in (0, 20) for z in (0, 10.0)])
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    mesh = Surface(
        np.array([corners[[a, b, c]] for a, b, c, d in faces] + [corners[[a, c, d]] for a, b, c, d in faces])
    )
    random = np.random.default_rng(1)
    scan = np.concatenate([random.dirichlet([1, 1, 1], 12) @ face for face in mesh.corners])
    exact = fit_to_surface(scan, mesh, align=False)
    assert exact.rms_mm < 1e-9 and exact.largest_mm < 1e-9
    turn = np.radians(2.0)
    rotated = scan @ np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    assert fit_to_surface(np.add(rotated, [0.2, -0.1, 0.1]), mesh).rms_mm < 1e-3


# One limit: by hand from the normal distribution. Values of sd 1 about 0, a limit at 0 on one side, an error of sd 1:
# half are inside; inside and accepted without a guard band is 1/4 + atan(1) / (2 pi) = 3/8 (both below 0, correlated).
@pytest.mark.parametrize(("lower", "upper"), [(None, 0.0), (0.0, None)])
def test_risks_with_one_limit(lower: float | None, upper: float | None) -> None:
    risks = compute_run_risks(0.0, 1.0, 1.0, lower, upper, guard_factor=0)
    assert (risks.accepted, risks.consumer, risks.producer) == pytest.approx((1 / 2, 1 / 8, 1 / 8), abs=1e-9)


def test_a_run_that_lies_far_outside_is_never_accepted() -> None:
    """Twenty standard deviations away nothing is inside; what is accepted by error is next to nothing too."""
    risks = compute_run_risks(20.0, 1.0, 0.1, None, 0.0)
    assert (risks.consumer, risks.producer) == pytest.approx((0.0, 0.0), abs=1e-12)


SQUARE = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 0], [0, 0, 0]])
OTHER = np.array([[1.0, 0, 0], [1, 0, 0], [-1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
REFUSED: list[tuple[str, Callable[[], object], str]] = [
    ("points on a line have no algebraic circle", lambda: fit_radial_linear(np.zeros((4, 2))), "do not bend round a centre"),
    ("a sheet that is as good as flat", lambda: fit_cylinder([(x, y, 1e-6 * x * x) for x in np.linspace(-1, 1, 7) for y in np.linspace(0, 3, 4)]), "bend too little for a cylinder"),
    ("pairs that go nowhere together", lambda: fit_rigid(SQUARE, OTHER, scale=True), "no scale above zero fits these points"),
    ("numbers beyond all measure", lambda: find_minimum_zone(np.array([0.0, 1.0, 0.0]), np.full((3, 1), 1e200)), "the minimum zone could not be found"),
    ("text for a number", lambda: check_number("wide", "width"), "width is 'wide'; a number is needed"),
    ("nothing for a number", lambda: check_number(None, "width"), "width is None; a number is needed"),  # type: ignore[arg-type]
    ("an axis of four", lambda: check_axis([0, 0, 1, 0], "axis direction"), "the axis direction has 4 coordinates; three are needed"),
    ("a feature that is not made", lambda: build_feature_points("torus", 5, seed=1), "feature is 'torus'; it must be one of"),
    ("half a reading", lambda: compute_two_sided_factor(2.5), "count of readings is 2.5; a whole number is needed"),  # type: ignore[arg-type]
    ("a contribution without its count", lambda: compute_effective_dof([1.0, 2.0], [3]), "2 contributions but 1 degrees of freedom"),
    ("a mesh without triangles", lambda: Surface(np.zeros((0, 3, 3))), "at least one"),
    ("a mesh of squares", lambda: Surface(np.zeros((2, 4, 3))), "m x 3 corners x 3 coordinates"),
    ("a corner that is nowhere", lambda: Surface(np.full((1, 3, 3), np.nan)), "a corner of the surface is not finite"),
    ("a guard band that invites", lambda: compute_guard_factor(0.49), "a guard band below 50 % would be negative"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_cannot_be_is_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_points_on_a_line_as_they_stand_have_no_algebraic_circle() -> None:
    """The points bend by a hair, which passes the first look; on the coordinates as they stand, the bend is lost."""
    with pytest.raises(ValueError, match="found a straight line, not a circle"):
        fit_circle([[0, 0], [1e7, 10], [2e7, 0], [3e7, -30]], CircleMethod.ALGEBRAIC)
