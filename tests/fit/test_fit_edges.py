"""Edges of the fit room: one-sided limits, nothing that scatters, what no glass can show, classes beside limits."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.contributors import Contributor
from pipeline.fit.mirror_geometry import GlassShape, Mirror, build_sight_cone, find_glass_point, find_seen_interval
from pipeline.fit.sight_line import GlassNeed, check_sight_line, compute_horizontal_angle, compute_least_glass
from pipeline.fit.sight_requirements import find_sight_requirement
from pipeline.fit.stack import compute_stack
from pipeline.fit.stack_advice import describe_stack
from pipeline.fit.stack_simulation import simulate_stack
from pipeline.fit.stated_limits import describe_class, resolve_part
from pipeline.model.part import Feature, Part
from pipeline.model.quantity import Limits
from pipeline.model.words import FeatureKind

EYE = (0.0, 0.0, 1000.0)
SQUARE = Mirror((-600, 0, 1000), (1, 0, 0), 100, 80)
GAP = [Contributor("gap", 1.0, -0.3, 0.3)]


def test_only_the_side_that_is_limited_is_counted() -> None:
    """A normal one of sd 0.1 about 1.0: 2.275 % below 0.8, as many above 1.2 (table of the normal distribution)."""
    both, low, high = (
        simulate_stack(GAP, lower_limit_mm=lower, upper_limit_mm=upper, draws=20_000, seed=7).outside
        for lower, upper in ((0.8, 1.2), (0.8, None), (None, 1.2))
    )
    assert both is not None and low is not None and high is not None
    assert low.hits + high.hits == both.hits
    for one in (low, high):
        assert one.low < 0.02275 < one.high
    assert simulate_stack(GAP, draws=1_000, seed=7).outside is None


def test_a_stack_in_which_nothing_scatters_has_nothing_to_tighten() -> None:
    sentences = describe_stack(compute_stack([Contributor("shim", 0.5, 0.0, 0.0)], lower_limit_mm=0.0))
    assert sentences == ("The gap stays inside its limits for every set of parts inside their own: 0.500 to 0.500 mm.",)


@pytest.mark.parametrize(
    ("target", "seen"),
    [
        ((-601.0, 0.0, 1000.0), None),  # behind the plane of the glass
        ((-600.0, 5.0, 1000.0), None),  # in it
        ((0.0, 0.0, 1000.0), (0.0, 0.0)),  # the eye itself
        # by hand: the eye's image is 600 mm behind the glass; 1,400 mm before it and 200 mm to the side: 200 x 600 / 2,000
        ((800.0, 200.0, 1000.0), (60.0, 0.0)),
        ((800.0, 0.0, 900.0), (0.0, -30.0)),
    ],
)
def test_a_place_before_the_glass_is_seen_where_the_light_meets_it(
    target: tuple[float, float, float], seen: tuple[float, float] | None
) -> None:
    found = find_glass_point(SQUARE, build_sight_cone(SQUARE, EYE), target)
    assert found == (None if seen is None else pytest.approx(seen))


def test_the_horizon_is_not_behind_a_glass_that_looks_forward() -> None:
    forward = Mirror((600, 0, 1000), (-1, 0, 0), 100, 80)
    cone = build_sight_cone(forward, EYE)
    assert find_glass_point(forward, cone, None) is None
    requirement = find_sight_requirement("us-111-driver")
    assert requirement is not None
    result = check_sight_line(forward, [EYE], requirement, side_mm=800.0)
    assert result.meets is False
    needs = result.strips[0].needs
    assert {(need.across_mm, need.up_mm, need.miss_mm) for need in needs} == {(None, None, math.inf)}
    assert compute_least_glass(needs) is None


def test_a_line_beside_the_cone_is_never_seen_and_one_inside_it_wholly() -> None:
    """By hand: at the eye, 1,200 mm from its own image, the cone is twice the glass: 100 mm to each side, 80 mm up and down.
    A line at one height is level with the upper and the lower edge: these say yes or no at once."""
    cone = build_sight_cone(SQUARE, EYE)
    inside = find_seen_interval(cone, (0.0, 0.0, 1000.0), (1.0, 0.0, 0.0), math.inf)
    assert inside == (0.0, math.inf)
    assert find_seen_interval(cone, (0.0, 0.0, 1100.0), (0.0, 1.0, 0.0), 10.0) is None
    across = find_seen_interval(cone, (0.0, -500.0, 1000.0), (0.0, 1.0, 0.0), 1000.0)
    assert across == pytest.approx((400.0, 600.0))


def test_least_glass_wants_a_need_of_that_eye() -> None:
    with pytest.raises(ValueError, match="there is no need of eye 2"):
        compute_least_glass([GlassNeed("a", 1, 0.0, 0.0, 0.0)], eye=2)


def test_the_horizontal_angle_is_that_of_the_glass_seen_from_the_eye() -> None:
    """By hand: 100 mm of level glass 600 mm away: 2 atan(50 / 600) = 9.53 degrees; its top and bottom edges limit none."""
    wanted = math.degrees(2 * math.atan(50 / 600))
    for shape in GlassShape:
        mirror = Mirror((-600, 0, 1000), (1, 0, 0), 100, 80, shape)
        angle = compute_horizontal_angle([build_sight_cone(mirror, EYE)])
        assert angle == pytest.approx(wanted, abs=0.02 if shape is GlassShape.ELLIPSE else 1e-9)


def test_an_eye_level_with_the_upper_edge_still_sees_the_horizon_as_wide_as_the_glass() -> None:
    """The plane through the image of the eye and the upper edge is level: the whole horizon lies in it, none is cut off."""
    angle = compute_horizontal_angle([build_sight_cone(SQUARE, (0.0, 0.0, 1040.0))])
    assert angle == pytest.approx(math.degrees(2 * math.atan(50 / 600)))


BORE = Feature(what="bore", kind=FeatureKind.SIZE, nominal=14.0, unit="mm", tolerance="H7")


def test_a_part_takes_the_limits_of_its_classes_and_keeps_what_it_states() -> None:
    """ISO 286-2:2010: 14 H7 is 0 to +18 um; IT19 is in no table, so that feature stays without limits."""
    stated = BORE.model_copy(update={"limits": Limits(lower=-1.0, upper=1.0)})
    plain = BORE.model_copy(update={"tolerance": None})
    unknown = BORE.model_copy(update={"tolerance": "H19"})
    part = Part.model_construct(features={"a": BORE, "b": stated, "c": plain, "d": unknown})
    found = resolve_part(part).features
    assert found["a"].limits == Limits(lower=0.0, upper=0.018)
    assert (found["b"], found["c"], found["d"]) == (stated, plain, unknown)
    untouched = Part.model_construct(features={"b": stated, "c": plain})
    assert resolve_part(untouched) is untouched


@pytest.mark.parametrize(
    ("tolerance", "limits", "told"),
    [
        ("H7", (0.0, 0.018), True),
        ("H7", (0.0, 0.02), False),  # limits of its own
        ("H19", (0.0, 0.018), False),  # a class that no table has beside limits
        ("as the drawing says", (0.0, 0.018), False),
    ],
)
def test_a_class_is_named_only_where_the_limits_are_its_own(
    tolerance: str, limits: tuple[float, float], told: bool
) -> None:
    feature = BORE.model_copy(update={"tolerance": tolerance, "limits": Limits(lower=limits[0], upper=limits[1])})
    assert (describe_class(feature) is not None) is told
