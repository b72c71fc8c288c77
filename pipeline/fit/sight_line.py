"""The view in a vehicle's mirror from the driver's eye points against a published requirement, in words and figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.fit.mirror_geometry import (
    GlassShape,
    GroundPoint,
    Mirror,
    Point,
    SightCone,
    build_sight_cone,
    compute_area,
    compute_seen_ground,
    find_glass_point,
    find_seen_interval,
)
from pipeline.fit.sight_requirements import CAUTION, GroundStrip, SightRequirement
from pipeline.fit.sources import Standing

FAR_MM = 200_000.0
"""Strips that run to the horizon are measured as areas to this far behind the eyes, and the horizon is asked apart."""

_WHOLE = 1 - 1e-9


@dataclass(frozen=True)
class GlassNeed:
    """Where an eye (counted from 1) sees a needed point in the plane of the glass, and how far that misses the glass.

    `across_mm` is outboard of the centre of the glass, `up_mm` above it; both None where the point is behind the plane
    of the glass. `miss_mm` is 0 on the glass.
    """

    point: str
    eye: int
    across_mm: float | None
    up_mm: float | None
    miss_mm: float


@dataclass(frozen=True)
class StripSight:
    """How much of a needed strip is seen, by either eye: shares 0..1 of its near line and of its area to `FAR_MM`.

    `outlines` are the seen parts of the strip, one for each eye, corners (x, y) in mm: what a page draws.
    """

    strip: GroundStrip
    near_share: float
    area_share: float
    horizon_seen: bool
    outlines: tuple[tuple[GroundPoint, ...], ...]
    needs: tuple[GlassNeed, ...]

    @property
    def is_seen(self) -> bool:
        """Whether the near line, the area and, where the strip runs that far, the horizon are all seen."""
        return min(self.near_share, self.area_share) >= _WHOLE and self.horizon_seen


@dataclass(frozen=True)
class SightLineResult:
    """A mirror against a requirement. `meets` is None where the view was not computed (curved glass that is allowed).

    `horizontal_angle_deg` and `road_from_mm` (behind the vehicle's rear; None: no road is seen to the horizon) are for
    inside mirrors. `words` says it in sentences, the last of them a caution that has to be shown.
    """

    requirement: SightRequirement
    strips: tuple[StripSight, ...]
    horizontal_angle_deg: float | None
    road_from_mm: float | None
    meets: bool | None
    words: tuple[str, ...]

    @property
    def caution(self) -> str:
        """The caution that goes with every answer."""
        return CAUTION


def check_sight_line(
    mirror: Mirror,
    eyes: Sequence[Point],
    requirement: SightRequirement,
    *,
    side_mm: float | None = None,
    rear_mm: float | None = None,
) -> SightLineResult:
    """Return what of a required view is seen in a mirror from one or two eye points.

    A point counts as seen where either eye sees it. For one eye the seen part of a road is convex, so that a strip
    whose near line and horizon are seen is seen as a whole; with two eyes the area is asked as well.

    Args:
        mirror: the glass in vehicle axes (x rearward, y outboard on its side, z up from the road; mm).
        eyes: one or two eye points in the same axes, in front of the glass.
        requirement: what has to be seen, mostly from `SIGHT_REQUIREMENTS`.
        side_mm: y of the plane along the vehicle's widest point on that side; needed for outside mirrors.
        rear_mm: x of the vehicle's rear end; needed for inside mirrors.

    Errors:
        ValueError: no eyes or more than two, a missing `side_mm` or `rear_mm`, or an eye behind the glass.

    Source: law of reflection; the requirement's own source. A geometric estimate: see `CAUTION`.

    Example:
        >>> from pipeline.fit.mirror_geometry import compute_aim
        >>> from pipeline.fit.sight_requirements import find_sight_requirement
        >>> eye, centre = (0.0, 350.0, 1150.0), (-550.0, 850.0, 1000.0)
        >>> mirror = Mirror(centre, compute_aim(eye, centre, (14_000.0, 2400.0, 400.0)), 190.0, 120.0)
        >>> result = check_sight_line(mirror, [eye], find_sight_requirement("us-111-driver"), side_mm=800.0)
        >>> result.meets, result.strips[0].near_share
        (True, 1.0)
    """
    if not 1 <= len(eyes) <= 2:
        raise ValueError(f"{len(eyes)} eye points; give one or two")
    if requirement.strips and side_mm is None:
        raise ValueError("an outside mirror needs side_mm, the y of the vehicle's widest point on that side")
    if requirement.road_from_mm is not None and rear_mm is None:
        raise ValueError("an inside mirror needs rear_mm, the x of the vehicle's rear end")
    if mirror.curvature_radius_mm is not None:
        return _answer_curved(mirror.curvature_radius_mm, requirement)
    cones = [build_sight_cone(mirror, eye) for eye in eyes]
    eye_x = math.fsum(eye[0] for eye in eyes) / len(eyes)
    side = side_mm if side_mm is not None else 0.0
    strips = tuple(_see_strip(mirror, cones, strip, eye_x, side) for strip in requirement.strips)
    angle = compute_horizontal_angle(cones) if requirement.horizontal_angle_deg is not None else None
    road = _find_road_start(cones, rear_mm) if rear_mm is not None else None
    return _answer_flat(requirement, strips, angle, road)


def _answer_curved(radius_mm: float, requirement: SightRequirement) -> SightLineResult:
    """Answer for curved glass, whose view is not computed: refused outright, by its radius, or left open."""
    source = _name_source(requirement)
    if requirement.flat_only:
        meets: bool | None = False
        words = f"{source} asks for flat glass here; curved glass does not meet it, whatever its size or radius."
    elif _is_radius_outside(radius_mm, requirement):
        meets = False
        words = (
            f"A radius of {radius_mm:g} mm is outside the {requirement.least_radius_mm:g} to "
            f"{requirement.most_radius_mm:g} mm of {source}."
        )
    else:
        meets = None
        words = "The view in curved glass is not computed here; have it measured on the vehicle."
    return SightLineResult(requirement, (), None, None, meets, (words, CAUTION))


def _is_radius_outside(radius_mm: float, requirement: SightRequirement) -> bool:
    least, most = requirement.least_radius_mm, requirement.most_radius_mm
    return (least is not None and radius_mm < least) or (most is not None and radius_mm > most)


def _see_strip(mirror: Mirror, cones: Sequence[SightCone], strip: GroundStrip, eye_x: float, side: float) -> StripSight:
    near, far = eye_x + strip.behind_mm, eye_x + (FAR_MM if strip.until_mm is None else strip.until_mm)
    inner, outer = side, side + strip.width_mm
    area = ((near, inner), (far, inner), (far, outer), (near, outer))
    outlines = tuple(compute_seen_ground(cone, area) for cone in cones)
    intervals = [find_seen_interval(cone, (near, inner, 0.0), (0.0, 1.0, 0.0), strip.width_mm) for cone in cones]
    points: list[tuple[str, Point | None]] = [
        (f"inner end of the line {strip.behind_mm / 1000:g} m behind the eyes", (near, inner, 0.0)),
        (f"outer end of the line {strip.behind_mm / 1000:g} m behind the eyes", (near, outer, 0.0)),
        ("horizon", None),
    ]
    asked = points if strip.until_mm is None else points[:2]
    needs = tuple(_find_need(mirror, cone, eye, *point) for point in asked for eye, cone in enumerate(cones, start=1))
    return StripSight(
        strip=strip,
        near_share=_join_intervals(intervals) / strip.width_mm,
        area_share=min(1.0, _join_areas(cones, outlines) / compute_area(area)),
        horizon_seen=strip.until_mm is not None or any(need.miss_mm == 0 for need in needs if need.point == "horizon"),
        outlines=outlines,
        needs=needs,
    )


def _join_intervals(intervals: Sequence[tuple[float, float] | None]) -> float:
    """Return the length that one or two stretches cover together."""
    known = sorted(interval for interval in intervals if interval is not None)
    lengths = math.fsum(high - low for low, high in known)
    overlap = max(0.0, min(known[0][1], known[1][1]) - known[1][0]) if len(known) == 2 else 0.0
    return lengths - overlap


def _join_areas(cones: Sequence[SightCone], outlines: Sequence[tuple[GroundPoint, ...]]) -> float:
    """Return the area that one or two eyes see together; what both see counts once."""
    areas = math.fsum(compute_area(outline) for outline in outlines)
    return areas - (compute_area(compute_seen_ground(cones[1], outlines[0])) if len(cones) == 2 else 0.0)


def _find_need(mirror: Mirror, cone: SightCone, eye: int, name: str, target: Point | None) -> GlassNeed:
    found = find_glass_point(mirror, cone, target)
    if found is None:
        return GlassNeed(name, eye, None, None, math.inf)
    return GlassNeed(name, eye, found[0], found[1], _compute_miss(mirror, *found))


def _compute_miss(mirror: Mirror, across: float, up: float) -> float:
    """Return how far a point in the plane of the glass lies outside it in mm (towards the centre if round)."""
    half_width, half_height = mirror.width_mm / 2, mirror.height_mm / 2
    if mirror.shape is GlassShape.RECTANGLE:
        miss = math.hypot(max(0.0, abs(across) - half_width), max(0.0, abs(up) - half_height))
    else:
        reach = math.hypot(across / half_width, up / half_height)
        miss = math.hypot(across, up) * (1 - 1 / reach) if reach > 1 else 0.0
    return miss if miss > 1e-9 else 0.0


def compute_least_glass(needs: Sequence[GlassNeed], eye: int = 1) -> tuple[float, float] | None:
    """Return width and height in mm of the least rectangular glass in the same plane that one eye needs, or None.

    Its middle may lie elsewhere than the glass's own. None where a point cannot be seen in that plane at any size.

    Args:
        needs: what a strip needs, as in its result.
        eye: which eye point, counted from 1.

    Errors:
        ValueError: no need of that eye.

    Source: geometry: a straight line on the road is a straight line in a flat mirror, so its ends bound it.

    Example:
        >>> compute_least_glass([GlassNeed("a", 1, -40.0, -5.0, 0.0), GlassNeed("b", 1, 60.0, 20.0, 0.0)])
        (100.0, 25.0)
    """
    own = [need for need in needs if need.eye == eye]
    if not own:
        raise ValueError(f"there is no need of eye {eye}")
    points = [(need.across_mm, need.up_mm) for need in own if need.across_mm is not None and need.up_mm is not None]
    if len(points) < len(own):
        return None
    across, up = zip(*points, strict=True)
    return max(across) - min(across), max(up) - min(up)


def compute_horizontal_angle(cones: Sequence[SightCone]) -> float:
    """Return the included horizontal angle of the horizon seen in a mirror by either eye, in degrees (0: none).

    Args:
        cones: one or two cones of sight in the same mirror, each from its own eye.

    Source: 49 CFR 571.111 S5.1.1 asks for this angle at the projected eye point; the rest is geometry.

    Example:
        >>> mirror = Mirror((-600, 0, 1200), (1, 0, 0), 240, 60)
        >>> round(compute_horizontal_angle([build_sight_cone(mirror, (0, 0, 1200))]), 2)
        22.62
    """
    angles = [_find_azimuths(cone) for cone in cones]
    return math.degrees(_join_intervals(angles))


def _find_azimuths(cone: SightCone) -> tuple[float, float] | None:
    """Return the stretch of azimuths about straight rearward (radians) in which the horizon is seen."""
    low, high = -math.pi / 2, math.pi / 2
    for x, y in [*cone.planes[:, :2].tolist(), cone.normal[:2].tolist()]:
        middle = math.atan2(y, x)  # seen within a quarter turn of this azimuth; a level plane (0, 0) cuts none away
        low, high = max(low, middle - math.pi / 2), min(high, middle + math.pi / 2)
    return (low, high) if low < high else None


def _find_road_start(cones: Sequence[SightCone], rear_mm: float) -> float | None:
    """Return how far behind the rear the road on the centre plane is first seen, if it is seen to the horizon."""
    found = [find_seen_interval(cone, (rear_mm, 0.0, 0.0), (1.0, 0.0, 0.0), math.inf) for cone in cones]
    starts = [interval[0] for interval in found if interval is not None and math.isinf(interval[1])]
    return min(starts) if starts else None


def _answer_flat(
    requirement: SightRequirement, strips: tuple[StripSight, ...], angle: float | None, road: float | None
) -> SightLineResult:
    least_angle, latest_road = requirement.horizontal_angle_deg, requirement.road_from_mm
    words = [line for sight in strips for line in _describe_strip(sight)]
    good = all(sight.is_seen for sight in strips)
    if least_angle is not None and angle is not None:
        enough = angle >= least_angle - 1e-9
        good = good and enough
        words.append(
            f"Horizontal angle {angle:.1f}°, at least {least_angle:g}° wanted" + ("." if enough else ": too narrow.")
        )
    if latest_road is not None:
        enough = road is not None and road <= latest_road + 1e-6
        good = good and enough
        seen = "not seen to the horizon" if road is None else f"seen from {road / 1000:.1f} m behind the vehicle"
        words.append(f"Road {seen}; at most {latest_road / 1000:g} m wanted" + ("." if enough else ": it falls short."))
    verdict = "shows what it asks for" if good else "falls short of what it asks for"
    words.insert(0, f"Against {_name_source(requirement)}, this mirror {verdict} by geometry.")
    return SightLineResult(requirement, strips, angle, road, good, (*words, CAUTION))


def _name_source(requirement: SightRequirement) -> str:
    """Return the rule's name, with a warning where its figures were recalled and not read."""
    recalled = requirement.source.standing is Standing.FROM_MEMORY
    return requirement.source.title + (" (figures from memory, check them)" if recalled else "")


def _describe_strip(sight: StripSight) -> list[str]:
    strip = sight.strip
    line = f"the line {strip.width_mm / 1000:g} m out at {strip.behind_mm / 1000:g} m behind the eyes"
    if sight.is_seen:
        reach = "to the horizon" if strip.until_mm is None else f"to {strip.until_mm / 1000:g} m"
        return [f"The road is seen from {line} {reach}."]
    # Rounded down, so that a strip that is not wholly seen never reads as 100 %.
    words = [f"Of {line}, {math.floor(100 * sight.near_share)} % is seen."]
    if not sight.horizon_seen:
        words.append("The horizon is not seen.")
    for point in dict.fromkeys(need.point for need in sight.needs):
        misses = [need.miss_mm for need in sight.needs if need.point == point]
        if min(misses) > 0:
            far = (
                "cannot be seen in this glass at any size"
                if math.isinf(min(misses))
                else (f"misses the glass by {min(misses):.1f} mm")
            )
            words.append(f"The {point} {far}.")
    return words
