"""A flat mirror on a vehicle: which part of a level road an eye sees in it, exactly, by planes through the glass edge.

Axes of the vehicle: x rearward, y outboard from the centre plane on the mirror's own side, z up from the road; mm.
So left and right mirrors are entered alike (the axes are right-handed for a mirror on the right).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float, float]
Vector = NDArray[np.float64]
GroundPoint = tuple[float, float]
OUTLINE_POINTS = 96


class GlassShape(StrEnum):
    """Outline of the reflecting glass."""

    RECTANGLE = "rectangle"
    ELLIPSE = "ellipse"


@dataclass(frozen=True)
class Mirror:
    """A glass: centre, normal towards the eye (any length), width and height of its reflecting face in mm.

    The width lies level. `curvature_radius_mm` is None for flat glass; curved glass is refused by the geometry here.
    """

    centre: Point
    normal: Point
    width_mm: float
    height_mm: float
    shape: GlassShape = GlassShape.RECTANGLE
    curvature_radius_mm: float | None = None

    def __post_init__(self) -> None:
        if not (self.width_mm > 0 and self.height_mm > 0):
            raise ValueError(f"a glass of {self.width_mm:g} by {self.height_mm:g} mm is impossible")
        if not all(math.isfinite(value) for value in (*self.centre, *self.normal)):
            raise ValueError("the centre or the normal of the mirror is not finite")
        if math.hypot(self.normal[0], self.normal[1]) < 1e-9 * (1 + abs(self.normal[2])):
            raise ValueError("a mirror that faces straight up or down has no level width; give another normal")


@dataclass(frozen=True)
class SightCone:
    """What an eye sees in a mirror: all points `g` in front of it with `planes @ (g - apex) >= 0`.

    `apex` is the eye's image behind the glass; `planes` has shape (edges, 3); `centre` and `normal` are the glass's.
    """

    apex: Vector
    planes: Vector
    centre: Vector
    normal: Vector


def compute_glass_axes(mirror: Mirror) -> tuple[Vector, Vector, Vector]:
    """Return the unit vectors of a glass, each of shape (3,): level across, up along the glass, and its normal.

    Source: vector geometry.

    Example:
        >>> across, up, normal = compute_glass_axes(Mirror((0, 0, 1000), (2, 0, 0), 100, 80))
        >>> across.tolist(), up.tolist(), normal.tolist()
        ([0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0])
    """
    normal = np.asarray(mirror.normal, dtype=np.float64)
    normal = normal / np.linalg.norm(normal)
    across = np.cross([0.0, 0.0, 1.0], normal)
    across /= np.linalg.norm(across)
    return across, np.cross(normal, across), normal


def compute_aim(eye: Point, centre: Point, target: Point) -> Point:
    """Return the unit normal that shows a target to an eye in the middle of the glass.

    Args:
        eye, centre, target: points in mm; none may be at the centre of the glass.

    Errors:
        ValueError: eye or target is at the centre, or they are opposite each other as seen from it.

    Source: law of reflection: the normal halves the angle between the two directions.

    Example:
        >>> compute_aim((0, 0, 1000), (-500, 500, 1000), (0, 1000, 1000))
        (1.0, 0.0, 0.0)
    """
    middle = np.asarray(centre, dtype=np.float64)
    directions = [np.asarray(point, dtype=np.float64) - middle for point in (eye, target)]
    lengths = [float(np.linalg.norm(direction)) for direction in directions]
    if min(lengths) == 0:
        raise ValueError("the eye or the target is at the centre of the glass")
    half = directions[0] / lengths[0] + directions[1] / lengths[1]
    length = float(np.linalg.norm(half))
    if length < 1e-9:
        raise ValueError("the target is straight behind the glass as the eye sees it; no mirror there shows it")
    x, y, z = (half / length).tolist()
    return (x, y, z)


def build_sight_cone(mirror: Mirror, eye: Point) -> SightCone:
    """Return the cone of everything that an eye sees in a flat mirror.

    Args:
        mirror: a flat glass.
        eye: the eye point in mm, in front of the glass.

    Errors:
        ValueError: curved glass, or an eye beside or behind the glass.

    Source: law of reflection: the eye's image behind a flat mirror sees through the glass as through a window.

    Example:
        >>> cone = build_sight_cone(Mirror((-600, 0, 1000), (1, 0, 0), 100, 80), (0, 0, 1000))
        >>> cone.apex.tolist()
        [-1200.0, 0.0, 1000.0]
    """
    if mirror.curvature_radius_mm is not None:
        raise ValueError("this geometry is for flat glass; the view in curved glass is not computed")
    across, up, normal = compute_glass_axes(mirror)
    centre, eye_at = np.asarray(mirror.centre, dtype=np.float64), np.asarray(eye, dtype=np.float64)
    depth = float((eye_at - centre) @ normal)
    if depth <= 0:
        raise ValueError("the eye is not in front of the glass; turn the normal towards the eye")
    apex = eye_at - 2 * depth * normal
    outline = _build_outline(mirror)
    corners = centre + np.outer(outline[:, 0], across) + np.outer(outline[:, 1], up) - apex
    planes = np.cross(corners, np.roll(corners, -1, axis=0))
    planes /= np.linalg.norm(planes, axis=1, keepdims=True)
    planes *= np.sign(planes @ (centre - apex))[:, np.newaxis]
    return SightCone(apex, planes, centre, normal)


def _build_outline(mirror: Mirror) -> Vector:
    """Return the outline of the glass in its own axes, shape (points, 2); an ellipse by points on it."""
    half = np.array([mirror.width_mm / 2, mirror.height_mm / 2])
    if mirror.shape is GlassShape.RECTANGLE:
        corners = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
        return np.asarray(half * corners, dtype=np.float64)
    turn = 2 * np.pi * np.arange(OUTLINE_POINTS) / OUTLINE_POINTS
    return np.asarray(half * np.column_stack([np.cos(turn), np.sin(turn)]), dtype=np.float64)


def find_glass_point(mirror: Mirror, cone: SightCone, target: Point | None) -> tuple[float, float] | None:
    """Return where on the plane of the glass an eye sees a target: mm across and up from the centre.

    `target` is a point in mm, or None for the horizon straight behind the vehicle. The answer is None where the target
    is behind the plane of the glass, so that no width of glass would show it.

    Example:
        >>> mirror = Mirror((-600, 0, 1000), (1, 0, 0), 100, 80)
        >>> find_glass_point(mirror, build_sight_cone(mirror, (0, 0, 1000)), None)
        (0.0, 0.0)
    """
    across, up, normal = compute_glass_axes(mirror)
    if target is None:
        direction = np.array([1.0, 0.0, 0.0])
        in_front = bool(direction @ normal > 0)
    else:
        direction = np.asarray(target, dtype=np.float64) - cone.apex
        in_front = bool((np.asarray(target, dtype=np.float64) - cone.centre) @ normal > 0)
    if not in_front:
        return None
    reach = float((cone.centre - cone.apex) @ normal) / float(direction @ normal)
    hit = cone.apex + reach * direction - cone.centre
    return float(hit @ across), float(hit @ up)


def compute_seen_ground(cone: SightCone, area: tuple[GroundPoint, ...]) -> tuple[GroundPoint, ...]:
    """Return the part of a convex area of the road that is seen, as its corners in order; empty where none is.

    Args:
        cone: what the eye sees in the mirror.
        area: corners (x, y) of a convex area on the road in mm, in order.

    Source: clipping of a convex polygon by half planes (I. Sutherland and G. Hodgman, 1974).

    Example:
        >>> cone = build_sight_cone(Mirror((-600, 0, 1000), (1, 0, 0), 120, 80), (0, 0, 1000))
        >>> strip = ((30_000, -500), (40_000, -500), (40_000, 500), (30_000, 500))
        >>> compute_seen_ground(cone, strip) == strip
        True
    """
    planes = np.vstack([cone.planes, cone.normal])
    origins = np.vstack([np.tile(cone.apex, (len(cone.planes), 1)), cone.centre])
    offsets = -np.einsum("ij,ij->i", planes, origins)
    polygon = list(area)
    for (a, b, _), c in zip(planes.tolist(), offsets.tolist(), strict=True):
        polygon = _clip(polygon, a, b, c)
    return tuple(polygon)


def _clip(polygon: list[GroundPoint], a: float, b: float, c: float) -> list[GroundPoint]:
    """Return the part of a convex polygon with `a x + b y + c >= 0`."""
    kept: list[GroundPoint] = []
    for index, (x, y) in enumerate(polygon):
        before_x, before_y = polygon[index - 1]
        here, before = a * x + b * y + c, a * before_x + b * before_y + c
        if (here >= 0) is not (before >= 0):
            share = before / (before - here)
            kept.append((before_x + share * (x - before_x), before_y + share * (y - before_y)))
        if here >= 0:
            kept.append((x, y))
    return kept


def compute_area(polygon: tuple[GroundPoint, ...]) -> float:
    """Return the area of a simple polygon in mm² (0 for fewer than three corners).

    Source: shoelace formula.

    Example:
        >>> compute_area(((0, 0), (2, 0), (2, 3), (0, 3)))
        6.0
    """
    crossed = (polygon[index - 1][0] * y - x * polygon[index - 1][1] for index, (x, y) in enumerate(polygon))
    return abs(math.fsum(crossed)) / 2


def find_seen_interval(cone: SightCone, start: Point, direction: Point, length: float) -> tuple[float, float] | None:
    """Return the seen stretch (from, to) of the line `start + t direction` with t in 0..length, or None.

    `length` may be infinite: the stretch then ends at infinity where the horizon along the line is seen.

    Example:
        >>> cone = build_sight_cone(Mirror((-600, 0, 1000), (1, 0, 0), 120, 80), (0, 0, 1000))
        >>> low, high = find_seen_interval(cone, (0, 0, 0), (1, 0, 0), math.inf)
        >>> round(low), high
        (13800, inf)
    """
    low, high = 0.0, length
    planes = np.vstack([cone.planes, cone.normal])
    origins = np.vstack([np.tile(cone.apex, (len(cone.planes), 1)), cone.centre])
    rates = planes @ np.asarray(direction, dtype=np.float64)
    values = np.einsum("ij,ij->i", planes, np.asarray(start, dtype=np.float64) - origins)
    for rate, value in zip(rates.tolist(), values.tolist(), strict=True):
        if abs(rate) < 1e-15:
            if value < 0:
                return None
        elif rate > 0:
            low = max(low, -value / rate)
        else:
            high = min(high, -value / rate)
    return (low, high) if low <= high else None
