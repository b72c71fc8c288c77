"""The fits against a slow, obvious twin: scipy.optimize.least_squares on the plain distances."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from pipeline.measuring.circles import CircleMethod, fit_circle
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.lines import fit_line
from pipeline.measuring.made_points import AXIS, PLACE, build_feature_points
from pipeline.measuring.planes import fit_plane
from pipeline.measuring.registration import fit_rigid
from pipeline.measuring.spheres import fit_sphere


def solve(distances, start):
    return least_squares(distances, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac", max_nfev=2000)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("arc_deg", [360, 180, 60])
def test_circle(seed, arc_deg):
    random = np.random.default_rng(seed)
    turn = np.radians(random.uniform(0, arc_deg, 40))
    points = 12 * np.column_stack([np.cos(turn), np.sin(turn)]) + [3, -4] + random.normal(0, 0.02, (40, 2))
    twin = solve(lambda p: np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2], [3, -4, 12])
    fit = fit_circle(points)
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx(twin.x, abs=1e-6)
    covariance = np.linalg.inv(twin.jac.T @ twin.jac) * 2 * twin.cost / 37
    assert fit.radius_u_mm == pytest.approx(np.sqrt(covariance[2, 2]), rel=1e-3)
    assert fit.rms_mm <= np.sqrt(2 * twin.cost / 40) + 1e-12


@pytest.mark.parametrize("seed", range(5))
def test_sphere(seed):
    points = build_feature_points("sphere", 50, seed, noise_mm=0.05)
    twin = solve(lambda p: np.linalg.norm(points - p[:3], axis=1) - p[3], [*PLACE, 12])
    fit = fit_sphere(points)
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx(twin.x, abs=1e-6)


def distance_to_axis(points, place, direction):
    return np.linalg.norm(np.cross(points - place, direction / np.linalg.norm(direction)), axis=1)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("arc_deg", [360, 120])
def test_cylinder(seed, arc_deg):
    points = build_feature_points("cylinder", 200, seed, noise_mm=0.02)
    local = (points - PLACE) @ np.linalg.svd(AXIS[None, :])[2].T
    points = points[np.degrees(np.arctan2(local[:, 1], local[:, 2])) % 360 <= arc_deg]
    u, v = np.linalg.svd(AXIS[None, :])[2][1:]

    def distances(p):
        return distance_to_axis(points, PLACE + p[0] * u + p[1] * v, AXIS + p[2] * u + p[3] * v) - p[4]

    twin = solve(distances, [0, 0, 0, 0, 12])
    fit = fit_cylinder(points)
    assert fit.radius_mm == pytest.approx(twin.x[4], abs=1e-6)
    assert fit.cylindricity_mm == pytest.approx(np.ptp(twin.fun), abs=1e-6)
    direction = AXIS + twin.x[2] * u + twin.x[3] * v
    assert abs(np.dot(fit.axis, direction / np.linalg.norm(direction))) == pytest.approx(1, abs=1e-10)


@pytest.mark.parametrize("seed", range(3))
def test_plane_and_line(seed):
    flat = build_feature_points("plane", 40, seed, noise_mm=0.1)
    start = np.array(fit_plane(flat).normal) + 0.01

    def heights(p):
        return (flat - flat.mean(axis=0)) @ (p / np.linalg.norm(p))

    assert fit_plane(flat).rms_mm == pytest.approx(np.sqrt(2 * solve(heights, start).cost / 40), abs=1e-10)
    rod = build_feature_points("line", 40, seed, noise_mm=0.1)

    def offsets(p):
        return np.cross(rod - rod.mean(axis=0), p / np.linalg.norm(p)).ravel()

    twin = solve(offsets, AXIS + 0.01)
    assert fit_line(rod).rms_mm == pytest.approx(np.sqrt(2 * twin.cost / 40), abs=1e-10)


@pytest.mark.parametrize("seed", range(3))
def test_minimum_zone_circle_by_grid_search(seed):
    points = build_feature_points("circle", 12, seed, noise_mm=0.05)
    best = fit_circle(points, CircleMethod.MINIMUM_ZONE)
    around = np.linspace(-0.02, 0.02, 81)
    for dx in around:
        x, y = best.centre_mm[0] + dx, best.centre_mm[1] + around
        distances = np.hypot(points[:, 0, None] - x, points[:, 1, None] - y)
        assert np.ptp(distances, axis=0).min() >= best.roundness_mm - 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_registration_by_search(seed):
    from scipy.spatial.transform import Rotation

    random = np.random.default_rng(seed)
    part = random.normal(0, 20, (9, 3))
    target = part @ Rotation.from_rotvec([0.2, 0.1, -0.3]).as_matrix().T + [1, 2, 3] + random.normal(0, 0.1, (9, 3))

    def gaps(p):
        return (part @ Rotation.from_rotvec(p[:3]).as_matrix().T + p[3:] - target).ravel()

    twin = solve(gaps, np.zeros(6))
    assert fit_rigid(part, target).rms_mm == pytest.approx(np.sqrt(2 * twin.cost / 9), abs=1e-9)
