"""The view in a mirror: what a maker is told, at the borders and when the glass is wrong."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from pipeline.fit.mirror_geometry import (
    GlassShape,
    Mirror,
    Point,
    build_sight_cone,
    compute_aim,
    compute_seen_ground,
    find_seen_interval,
)
from pipeline.fit.sight_line import check_sight_line, compute_horizontal_angle, compute_least_glass
from pipeline.fit.sight_requirements import CAUTION, SIGHT_REQUIREMENTS, SightRequirement, find_sight_requirement

EYE: Point = (0.0, 350.0, 1150.0)
CENTRE: Point = (-550.0, 850.0, 1000.0)
AIM = compute_aim(EYE, CENTRE, (14_000.0, 2400.0, 400.0))
GOOD = Mirror(CENTRE, AIM, 190.0, 120.0)


def _find(key: str) -> SightRequirement:
    found = find_sight_requirement(key)
    assert found is not None
    return found


def test_a_good_mirror_is_said_to_be_good_with_its_caution() -> None:
    result = check_sight_line(GOOD, [EYE], _find("us-111-driver"), side_mm=800.0)
    assert result.meets is True
    assert result.strips[0].is_seen
    assert result.words[0] == "Against 49 CFR 571.111 S5.2.1, this mirror shows what it asks for by geometry."
    assert "2.4 m out at 10.7 m behind the eyes to the horizon" in result.words[1]
    assert result.words[-1] == result.caution == CAUTION
    assert "competent laboratory" in CAUTION


def test_a_small_round_mirror_falls_short_and_says_by_how_much() -> None:
    small = replace(GOOD, width_mm=100.0, height_mm=100.0, shape=GlassShape.ELLIPSE)
    result = check_sight_line(small, [EYE], _find("us-111-driver"), side_mm=800.0)
    assert result.meets is False
    strip = result.strips[0]
    assert 0 < strip.near_share < 1
    assert not strip.horizon_seen
    words = " ".join(result.words)
    assert "falls short" in words and "The horizon is not seen." in words
    for need in strip.needs:
        assert need.across_mm is not None and need.up_mm is not None
        assert need.miss_mm == pytest.approx(max(0.0, math.hypot(need.across_mm, need.up_mm) - 50), abs=1e-9)
    worst = max(need.miss_mm for need in strip.needs)
    assert f"misses the glass by {worst:.1f} mm" in words


def test_least_glass_is_just_enough_and_a_hair_less_is_not() -> None:
    """Cut the glass to the least one about its own middle: it holds; take 0.2 mm off and it does not."""
    needs = check_sight_line(GOOD, [EYE], _find("us-111-driver"), side_mm=800.0).strips[0].needs
    across = max(abs(need.across_mm or 0.0) for need in needs)
    up = max(abs(need.up_mm or 0.0) for need in needs)
    fit = replace(GOOD, width_mm=2 * across + 1e-6, height_mm=2 * up + 1e-6)
    assert check_sight_line(fit, [EYE], _find("us-111-driver"), side_mm=800.0).meets
    for tight in (replace(fit, width_mm=fit.width_mm - 0.2), replace(fit, height_mm=fit.height_mm - 0.2)):
        assert check_sight_line(tight, [EYE], _find("us-111-driver"), side_mm=800.0).meets is False
    least = compute_least_glass(needs)
    assert least is not None
    assert least[0] < fit.width_mm and least[1] < fit.height_mm


def test_a_second_eye_only_adds() -> None:
    narrow = replace(GOOD, width_mm=150.0)
    other: Point = (0.0, 285.0, 1150.0)
    one = check_sight_line(narrow, [EYE], _find("us-111-driver"), side_mm=800.0).strips[0]
    two = check_sight_line(narrow, [EYE, other], _find("us-111-driver"), side_mm=800.0).strips[0]
    alone = check_sight_line(narrow, [other], _find("us-111-driver"), side_mm=800.0).strips[0]
    assert two.near_share >= max(one.near_share, alone.near_share) - 1e-12
    assert two.near_share > one.near_share
    assert two.area_share >= max(one.area_share, alone.area_share) - 1e-12
    assert len(two.outlines) == 2
    twice = check_sight_line(narrow, [EYE, EYE], _find("us-111-driver"), side_mm=800.0).strips[0]
    assert (twice.near_share, twice.area_share) == pytest.approx((one.near_share, one.area_share), rel=1e-9)
    assert one.area_share < 1


def test_curved_glass_by_place() -> None:
    curved = replace(GOOD, curvature_radius_mm=30_000.0)
    driver = check_sight_line(curved, [EYE], _find("us-111-driver"), side_mm=800.0)
    assert driver.meets is False
    assert "whatever its size or radius" in driver.words[0]
    passenger = check_sight_line(curved, [EYE], _find("us-111-passenger"), side_mm=800.0)
    assert passenger.meets is False
    assert "889 to 1651 mm" in passenger.words[0]
    allowed = replace(GOOD, curvature_radius_mm=1200.0)
    open_answer = check_sight_line(allowed, [EYE], _find("us-111-passenger"), side_mm=800.0)
    assert open_answer.meets is None
    assert "not computed" in open_answer.words[0]
    assert open_answer.words[-1] == CAUTION


def test_figures_from_memory_say_so() -> None:
    result = check_sight_line(GOOD, [EYE], _find("un-46-class-iii-driver"), side_mm=800.0)
    assert "from memory, check them" in result.words[0]
    assert len(result.strips) == 2
    assert {need.point for need in result.strips[0].needs} == {
        "inner end of the line 4 m behind the eyes",
        "outer end of the line 4 m behind the eyes",
    }


def test_inside_mirror() -> None:
    eye: Point = (0.0, 350.0, 1150.0)
    centre: Point = (-500.0, 0.0, 1250.0)
    mirror = Mirror(centre, compute_aim(eye, centre, (30_000.0, 0.0, 1000.0)), 240.0, 60.0)
    result = check_sight_line(mirror, [eye], _find("us-111-inside"), rear_mm=3000.0)
    assert result.meets is True
    assert result.horizontal_angle_deg is not None and 20 < result.horizontal_angle_deg < 25
    assert result.road_from_mm is not None and result.road_from_mm < 61_000
    narrow = check_sight_line(replace(mirror, width_mm=150.0), [eye], _find("us-111-inside"), rear_mm=3000.0)
    assert narrow.meets is False
    assert "too narrow" in " ".join(narrow.words)
    up = replace(mirror, normal=compute_aim(eye, centre, (30_000.0, 0.0, 6000.0)))
    high = check_sight_line(up, [eye], _find("us-111-inside"), rear_mm=3000.0)
    assert high.road_from_mm is None
    assert "not seen to the horizon" in " ".join(high.words)
    assert high.horizontal_angle_deg == 0.0


def test_a_mirror_turned_away_sees_nothing_of_the_strip() -> None:
    away = replace(GOOD, normal=compute_aim(EYE, CENTRE, (-3000.0, 9000.0, 1000.0)))
    result = check_sight_line(away, [EYE], _find("us-111-driver"), side_mm=800.0)
    strip = result.strips[0]
    assert (result.meets, strip.near_share, strip.area_share) == (False, 0.0, 0.0)
    assert strip.outlines == ((),)


def test_requirement_keys_are_unique_and_of_one_kind() -> None:
    assert len({requirement.key for requirement in SIGHT_REQUIREMENTS}) == len(SIGHT_REQUIREMENTS)
    for requirement in SIGHT_REQUIREMENTS:
        assert bool(requirement.strips) is not (requirement.road_from_mm is not None)
    assert find_sight_requirement("none") is None


def test_line_along_a_plane_of_the_cone() -> None:
    cone = build_sight_cone(Mirror((-600, 0, 1000), (1, 0, 0), 100, 80), (0, 0, 1000))
    assert find_seen_interval(cone, (50_000, 0, 0), (0, 1, 0), 1000.0) == (0.0, 1000.0)
    assert find_seen_interval(cone, (0, 0, 5000), (1, 0, 0), 1000.0) is None
    # Behind the glass is inside the pyramid of its edges, yet not seen: the stretch starts at the glass.
    assert find_seen_interval(cone, (-900, 0, 1000), (1, 0, 0), 1000.0) == pytest.approx((300.0, 1000.0))
    assert compute_seen_ground(cone, ((0, 5), (1, 5), (1, 6))) == ()


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: check_sight_line(GOOD, [], _find("us-111-driver"), side_mm=800), "0 eye points"),
        (lambda: check_sight_line(GOOD, [EYE] * 3, _find("us-111-driver"), side_mm=800), "3 eye points"),
        (lambda: check_sight_line(GOOD, [EYE], _find("us-111-driver")), "needs side_mm"),
        (lambda: check_sight_line(GOOD, [EYE], _find("us-111-inside")), "needs rear_mm"),
        (lambda: build_sight_cone(replace(GOOD, normal=(-1, 0, 0)), EYE), "not in front"),
        (lambda: build_sight_cone(replace(GOOD, curvature_radius_mm=1000), EYE), "flat glass"),
        (lambda: Mirror(CENTRE, AIM, 0, 100), "impossible"),
        (lambda: Mirror(CENTRE, (0, 0, 1), 100, 100), "straight up"),
        (lambda: Mirror(CENTRE, (0, 0, 0), 100, 100), "straight up"),
        (lambda: Mirror((math.nan, 0, 0), AIM, 100, 100), "not finite"),
        (lambda: compute_aim(EYE, EYE, CENTRE), "at the centre"),
        (lambda: compute_aim((1, 0, 0), (0, 0, 0), (-2, 0, 0)), "straight behind the glass"),
        (lambda: compute_least_glass([]), "no need of eye 1"),
    ],
)
def test_the_impossible_is_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()


def test_horizontal_angle_of_two_eyes_is_their_union() -> None:
    mirror = Mirror((-600, 0, 1200), (1, 0, 0), 240, 60)
    left, right = build_sight_cone(mirror, (0, -32, 1200)), build_sight_cone(mirror, (0, 32, 1200))
    both = compute_horizontal_angle([left, right])
    assert both > compute_horizontal_angle([left])
    assert both == pytest.approx(2 * math.degrees(math.atan((120 + 32) / 600)), abs=1e-9)
