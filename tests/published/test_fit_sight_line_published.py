"""The mirror geometry and its requirements against figures from outside the project."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.mirror_geometry import Mirror, build_sight_cone, compute_aim, find_seen_interval
from pipeline.fit.sight_line import check_sight_line, compute_least_glass
from pipeline.fit.sight_requirements import find_sight_requirement


def test_half_a_body_of_mirror_shows_the_whole_body() -> None:
    """A wall mirror from half eye height up shows one's own feet at any distance: textbook optics (from memory, derived)."""
    for distance in (300.0, 1000.0, 4000.0):
        lower_edge = 800.0
        mirror = Mirror((-distance, 0.0, lower_edge + 500.0), (1.0, 0.0, 0.0), 400.0, 1000.0)
        seen = find_seen_interval(build_sight_cone(mirror, (0.0, 0.0, 1600.0)), (0, 0, 0), (1, 0, 0), math.inf)
        assert seen is not None
        assert seen[0] == pytest.approx(0.0, abs=1e-6)


def test_a_mirror_that_turns_turns_the_ray_twice() -> None:
    """Textbook optics (from memory, derived): turned by 10°, the reflected ray turns by 20°."""
    eye, centre = (0.0, 0.0, 1000.0), (-500.0, 0.0, 1000.0)
    target = (-500.0 + 1000 * math.cos(math.radians(20)), 1000 * math.sin(math.radians(20)), 1000.0)
    normal = compute_aim(eye, centre, target)
    assert math.degrees(math.atan2(normal[1], normal[0])) == pytest.approx(10.0, abs=1e-9)


def test_driver_side_figures() -> None:
    """49 CFR 571.111 S5.2.1: 2.4 m out, 10.7 m behind the eyes, unit magnification (numbers seen as quoted).

    They are the 8 ft and 35 ft of the older text: 2.4384 and 10.668 m. 200 ft is 60.96 m.
    """
    requirement = find_sight_requirement("us-111-driver")
    assert requirement is not None
    strip = requirement.strips[0]
    assert (strip.width_mm, strip.behind_mm) == (2400.0, 10_700.0)
    assert strip.width_mm == pytest.approx(8 * 304.8, rel=0.02)
    assert strip.behind_mm == pytest.approx(35 * 304.8, rel=0.004)
    inside = find_sight_requirement("us-111-inside")
    assert inside is not None
    assert (inside.horizontal_angle_deg, inside.road_from_mm) == (20.0, 61_000.0)
    assert inside.road_from_mm == pytest.approx(200 * 304.8, rel=0.001)


def test_curved_glass_on_the_driver_side_is_refused_as_the_agency_did() -> None:
    """Interpretation letter of 2013: a radius of 30 m (magnification 0.95) is convex and not allowed there (seen)."""
    requirement = find_sight_requirement("us-111-driver")
    assert requirement is not None
    mirror = Mirror((-550, 850, 1000), (0.7, -0.5, 0.1), 190, 120, curvature_radius_mm=30_000)
    assert check_sight_line(mirror, [(0, 350, 1150)], requirement, side_mm=800).meets is False


def test_passenger_side_radius() -> None:
    """889 to 1651 mm is 35 to 65 in (571.111 S5.4.2, from memory)."""
    requirement = find_sight_requirement("us-111-passenger")
    assert requirement is not None
    assert (requirement.least_radius_mm, requirement.most_radius_mm) == pytest.approx((35 * 25.4, 65 * 25.4))


def test_width_of_glass_by_similar_triangles() -> None:
    """Eye 0.6 m behind and square to the glass: the image eye looks through it as through a window 0.6 m away.

    The line 0..2.4 m at 10.7 m behind the eye is 11.9 m from that image eye, so the glass needs 2400 × 600 / 11 900 =
    121.008 mm of width (similar triangles, derived).
    """
    requirement = find_sight_requirement("us-111-driver")
    assert requirement is not None
    mirror = Mirror((-600.0, 500.0, 1100.0), (1.0, 0.0, 0.0), 400.0, 200.0)
    result = check_sight_line(mirror, [(0.0, 500.0, 1100.0)], requirement, side_mm=500.0)
    ends = [need for need in result.strips[0].needs if need.point != "horizon"]
    least = compute_least_glass(ends)
    assert least is not None
    assert least[0] == pytest.approx(2400 * 600 / 11_900, abs=1e-9)
    assert ends[0].up_mm == pytest.approx(-1100 * 600 / 11_900, abs=1e-9)
