"""From the points of a file to the value of a feature: which fit, its scatter, its form, the trace that is drawn.

Which fit is made follows from the kind of the feature, the number of its groups and the file's own words: ``rim_od`` is
one group; ``pitch.1`` and ``pitch.2`` are two between which a distance or an angle lies; ``face.datum`` holds the
points of the datum axis of a run-out (the z axis through 0,0 where there are none).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from pipeline.measuring.circles import SpaceCircleFit, fit_circle, fit_circle_in_space
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.lines import LineFit, fit_line
from pipeline.measuring.planes import fit_plane
from pipeline.measuring.points import Floats, as_vector3, build_frame
from pipeline.measuring.roundness import Harmonic
from pipeline.measuring.runout import compute_circular_runout, find_cylinder_coordinates
from pipeline.measuring.spheres import fit_sphere
from pipeline.model.words import FeatureKind


class FitKind(StrEnum):
    """What is fitted to the points of a feature."""

    CIRCLE = "circle"
    SPHERE = "sphere"
    CYLINDER = "cylinder"
    CENTRES = "centres"
    FACES = "faces"
    ANGLE = "angle"
    PLANE = "plane"
    LINE = "line"
    RUNOUT = "runout"
    POSITION = "position"
    PROFILE = "profile"


FIT_WORDS = {
    FitKind.CIRCLE: "diameter of the least-squares circle",
    FitKind.SPHERE: "diameter of the least-squares sphere",
    FitKind.CYLINDER: "diameter of the least-squares cylinder",
    FitKind.CENTRES: "distance of the centres of two least-squares circles",
    FitKind.FACES: "distance of two faces, each mean square to the other's plane",
    FitKind.ANGLE: "angle between two least-squares lines",
    FitKind.PLANE: "flatness: range of the distances from the least-squares plane",
    FitKind.LINE: "straightness: smallest cylinder about the least-squares line",
    FitKind.RUNOUT: "circular run-out about the datum axis: greatest less smallest radius",
    FitKind.POSITION: "position: twice the distance of the circle's centre from its nominal place 0,0",
    FitKind.PROFILE: "profile: the greatest of the heights above or below the nominal line z = 0",
}
"""What the value of each fit is, in words."""

ROUND_KINDS = frozenset({FitKind.CIRCLE, FitKind.RUNOUT, FitKind.CYLINDER})
LEAST_TRACE = 8


@dataclass(frozen=True)
class Trace:
    """Deviations round a turn: angles in degrees (rising), deviations in mm, about the circle that was fitted."""

    angles_deg: tuple[float, ...]
    deviations_mm: tuple[float, ...]


@dataclass(frozen=True)
class FeatureFit:
    """The value that points give a feature.

    kind, how : which fit, and what its value is. method : the estimator by name. value : mm, or degrees for an angle.
    count : points used. scatter_u : standard uncertainty of the value from the scatter of the points alone, None
    without a spare point. dof : its degrees of freedom. form_mm : form error of the points about the fit (roundness,
    flatness ...). covered_deg : part of the turn covered. harmonic : first harmonic of a run-out apart from the rest.
    notes : what to mind.
    """

    feature: str
    kind: FitKind
    how: str
    method: str
    value: float
    unit: str
    count: int
    scatter_u: float | None
    dof: float
    form_mm: float | None
    form_name: str = ""
    covered_deg: float | None = None
    harmonic: Harmonic | None = field(default=None, compare=False, repr=False)
    trace: Trace | None = field(default=None, compare=False, repr=False)
    notes: tuple[str, ...] = ()


def find_groups(feature: str, groups: Mapping[str, Floats]) -> dict[str, Floats]:
    """Return the groups of a feature by what stands after its name: ``""``, ``"1"``, ``"2"``, ``"datum"``.

    >>> list(find_groups("pitch", {"pitch.1": np.zeros((1, 3)), "pitch.2": np.zeros((1, 3)), "rim": np.zeros((1, 3))}))
    ['1', '2']
    """
    found = {}
    for name, points in groups.items():
        if name == feature:
            found[""] = points
        elif name.startswith(f"{feature}.") and name[len(feature) + 1 :] in ("1", "2", "datum"):
            found[name[len(feature) + 1 :]] = points
    return found


def choose_fit(kind: FeatureKind | None, groups: Mapping[str, Floats], how: str = "", what: str = "") -> FitKind:
    """Return which fit a feature wants.

    kind : of the feature, None where no record says it. groups : as `find_groups`. how : the file's words for it.
    what : the record's words for the feature.

    Raises ValueError where the points of this kind of feature give no value (a hardness has no points).
    """
    pair = "1" in groups and "2" in groups
    words = f"{how} {what}".lower()
    if kind in _BY_KIND:
        return _BY_KIND[kind]
    if kind in (FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS, None):
        if pair:
            return _choose_pair(groups, how.lower())
        for word, fit in (("sphere", FitKind.SPHERE), ("cylind", FitKind.CYLINDER)):
            if word in how.lower():
                return fit
        return FitKind.PLANE if kind is None and "plane" in words else FitKind.CIRCLE
    raise ValueError(f"a feature of kind {kind} does not follow from points; record single readings of it")


_BY_KIND = {
    FeatureKind.ANGLE: FitKind.ANGLE,
    FeatureKind.FLATNESS: FitKind.PLANE,
    FeatureKind.RUNOUT: FitKind.RUNOUT,
    FeatureKind.POSITION: FitKind.POSITION,
    FeatureKind.PROFILE: FitKind.PROFILE,
}


def _choose_pair(groups: Mapping[str, Floats], how: str) -> FitKind:
    """Two circles or two faces: by the file's words, else by whether both groups are rings."""
    if "face" in how or "plane" in how:
        return FitKind.FACES
    if "circle" in how or "centre" in how:
        return FitKind.CENTRES
    return FitKind.CENTRES if all(_is_ring(groups[name]) for name in ("1", "2")) else FitKind.FACES


def _is_ring(points: Floats) -> bool:
    """True where a circle fits the points closely over at least half a turn."""
    try:
        fit = fit_circle_in_space(points)
    except ValueError:
        return False
    return len(points) > 4 and fit.circle.rms_mm < 0.02 * fit.radius_mm and fit.circle.covered_deg > 180


def fit_feature(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    """Return the value that the points of a feature give.

    groups : as `find_groups`, (n, 3) arrays in mm.

    Raises ValueError, with a sentence, where the points do not fix it: too few, on one line, groups missing.
    """
    return _FITS[kind](feature, kind, groups)


def fit_round(points: Floats) -> SpaceCircleFit:
    """Return the circle of points round a rim, a hole or a pin.

    The plane of the circle is fitted first. Points on the wall of a hole lie at all heights, and the plane through them
    leans at random; where its lean against a coordinate axis of the file is no more than three times what the heights
    leave unknown, that axis is taken: an arm that was set up on the datums knows it better than the points do.

    Raises ValueError as `fit_circle_in_space`.

    Source: ISO 12181-1 for the circle; common practice (no source) for the choice of the plane.

    >>> turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    >>> wall = np.column_stack([3 * np.cos(turn), 3 * np.sin(turn), 0.3 * np.cos(7 * turn) + 0.1 * np.sin(turn)])
    >>> round(fit_round(wall).radius_mm, 9)
    3.0
    """
    space = fit_circle_in_space(points)
    normal = np.abs(np.array(space.normal))
    along = int(normal.argmax())
    lean = math.acos(min(1.0, float(normal[along])))
    unknown = fit_plane(points).rms_mm * math.sqrt(2 / len(points)) / max(space.radius_mm, 1e-12)
    if lean > 3 * unknown or len(points) < 4:
        return space
    axis = np.eye(3)[along]
    frame = build_frame(axis)
    circle = fit_circle(points @ frame[:2].T)
    centre = np.array(circle.centre_mm) @ frame[:2] + axis * float(points[:, along].mean())
    return SpaceCircleFit(
        f"{circle.method} square to the {'xyz'[along]} axis of the file", circle, as_vector3(centre), as_vector3(axis),
        circle.radius_mm, circle.roundness_mm, float(np.ptp(points[:, along])),
    )  # fmt: skip


def _take(groups: Mapping[str, Floats], *names: str) -> list[Floats]:
    missing = [name for name in names if name not in groups]
    if missing:
        wanted = ", ".join(f"<feature>.{name}" if name else "<feature>" for name in names)
        have = ", ".join(f"<feature>.{name}" if name else "<feature>" for name in groups) or "none"
        raise ValueError(f"this fit needs the groups {wanted}; the file has {have}")
    return [groups[name] for name in names]


def _fit_circle(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    fit = fit_round(points)
    u, notes = fit.circle.radius_u_mm, _note_arc(fit.circle.covered_deg)
    if len(points) == 3:
        notes = (*notes, "three points fit any circle: there is no scatter and no roundness to see")
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, 2 * fit.radius_mm, "mm", len(points), None if u is None else 2 * u,
        max(len(points) - 3, 1), fit.roundness_mm, "roundness", fit.circle.covered_deg, None,
        _trace_circle(points, fit), notes,
    )  # fmt: skip


def _note_arc(covered_deg: float) -> tuple[str, ...]:
    if covered_deg >= 180:
        return ()
    return (f"the points cover {covered_deg:.0f} degrees of the turn: a short arc fixes a diameter badly",)


def _trace_circle(points: Floats, fit: SpaceCircleFit) -> Trace | None:
    """Angles about the fitted centre, in the plane of the fit, and radial deviations, by rising angle."""
    if len(points) < LEAST_TRACE:
        return None
    frame = build_frame(np.array(fit.normal))
    local = (points - np.array(fit.centre_mm)) @ frame.T
    angles = np.degrees(np.arctan2(local[:, 1], local[:, 0])) % 360
    return _sort_trace(angles, fit.circle.deviations_mm)


def _sort_trace(angles: Floats, deviations: Floats) -> Trace:
    order = np.argsort(angles, kind="stable")
    if len(order) > 720:  # a page can show no more
        order = order[:: len(order) // 720 + 1]
    return Trace(tuple(angles[order].tolist()), tuple(deviations[order].tolist()))


def _fit_sphere(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    fit = fit_sphere(points)
    u = None if fit.radius_u_mm is None else 2 * fit.radius_u_mm
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, fit.diameter_mm, "mm", len(points), u, max(len(points) - 4, 1),
        fit.sphericity_mm, "sphericity",
    )  # fmt: skip


def _fit_cylinder(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    fit = fit_cylinder(points)
    u = None if fit.radius_u_mm is None else 2 * fit.radius_u_mm
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, fit.diameter_mm, "mm", len(points), u, max(len(points) - 5, 1),
        fit.cylindricity_mm, "cylindricity", fit.covered_deg, None, None, _note_arc(fit.covered_deg),
    )  # fmt: skip


def _fit_centres(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    fits = [fit_round(points) for points in _take(groups, "1", "2")]
    value = math.dist(fits[0].centre_mm, fits[1].centre_mm)
    spreads = [max(fit.circle.centre_u_mm) for fit in fits if fit.circle.centre_u_mm is not None]
    count = sum(fit.circle.count for fit in fits)
    form = max(fit.roundness_mm for fit in fits)
    notes = tuple(note for fit in fits for note in _note_arc(fit.circle.covered_deg))
    u = math.hypot(*spreads) if len(spreads) == 2 else None
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fits[0].method, value, "mm", count, u, max(count - 6, 1), form,
        "roundness of the worse circle", None, None, None, notes,
    )  # fmt: skip


def _fit_faces(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    first, second = _take(groups, "1", "2")
    planes = [fit_plane(first), fit_plane(second)]
    offset = np.array(planes[1].point_mm) - np.array(planes[0].point_mm)
    values = [abs(float(offset @ np.array(plane.normal))) for plane in planes]
    tilt = math.degrees(math.acos(min(1.0, abs(float(np.dot(planes[0].normal, planes[1].normal))))))
    lean = f"the two faces are {tilt:.1f} degrees out of parallel: their distance depends on where"
    notes = () if tilt < 5 else (lean,)
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], planes[0].method, sum(values) / 2, "mm", len(first) + len(second),
        math.hypot(*(plane.rms_mm / math.sqrt(plane.count) for plane in planes)), max(len(first) + len(second) - 6, 1),
        max(plane.flatness_mm for plane in planes), "flatness of the worse face", None, None, None, notes,
    )  # fmt: skip


def _fit_angle(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    pair = _take(groups, "1", "2")
    lines = [fit_line(points) for points in pair]
    directions = [_turn_along(line, points) for line, points in zip(lines, pair, strict=True)]
    cosine = float(np.clip(directions[0] @ directions[1], -1.0, 1.0))
    spreads = [line.rms_mm / max(line.length_mm, 1e-9) * math.sqrt(12 / line.count) for line in lines]
    count = sum(line.count for line in lines)
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], lines[0].method, math.degrees(math.acos(cosine)), "deg", count,
        math.degrees(math.hypot(*spreads)), max(count - 4, 1), max(line.straightness_mm for line in lines),
        "straightness of the worse line",
    )  # fmt: skip


def _turn_along(line: LineFit, points: Floats) -> Floats:
    """Direction of a line in the order in which its points were taken."""
    direction = np.array(line.direction)
    return direction if float((points[-1] - points[0]) @ direction) >= 0 else -direction


def _fit_plane(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    if len(points) < 4:
        raise ValueError(f"{len(points)} points lie on a plane always; flatness needs at least 4")
    fit = fit_plane(points)
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, fit.flatness_mm, "mm", len(points), None, math.inf, fit.flatness_mm,
        "flatness",
    )  # fmt: skip


def _fit_line(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    if len(points) < 3:
        raise ValueError(f"{len(points)} points lie on a line always; straightness needs at least 3")
    fit = fit_line(points)
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, fit.straightness_mm, "mm", len(points), None, math.inf,
        fit.straightness_mm, "straightness",
    )  # fmt: skip


def _fit_runout(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    place, axis, notes = _find_datum(groups)
    found = compute_circular_runout(points, place, axis)
    angles, radii, _ = find_cylinder_coordinates(points, place, axis)
    trace = None if len(points) < LEAST_TRACE else _sort_trace(np.degrees(angles) % 360, radii - radii.mean())
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], found.method, found.runout_mm, "mm", found.count, None, math.inf,
        found.harmonic.rest_mm, "rest without the first harmonic", None, found.harmonic, trace, notes,
    )  # fmt: skip


def _find_datum(groups: Mapping[str, Floats]) -> tuple[tuple[float, ...], tuple[float, ...], tuple[str, ...]]:
    """Datum axis from its own points: a cylinder where they have length, a circle where they lie in one plane."""
    if "datum" not in groups:
        return (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), ("the datum axis is the z axis through 0,0 of the file",)
    points = groups["datum"]
    try:
        cylinder = fit_cylinder(points)
        if cylinder.length_mm > 0.2 * cylinder.radius_mm:
            return cylinder.point_mm, cylinder.axis, ("the datum axis is that of a least-squares cylinder",)
    except ValueError:
        pass
    circle = fit_round(points)
    return circle.centre_mm, circle.normal, ("the datum axis is square to one least-squares circle: it may lean",)


def _fit_position(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    fit = fit_round(points)
    value = 2 * math.hypot(fit.centre_mm[0], fit.centre_mm[1])
    u = None if fit.circle.centre_u_mm is None else 2 * max(fit.circle.centre_u_mm)
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], fit.method, value, "mm", len(points), u, max(len(points) - 3, 1),
        fit.roundness_mm, "roundness", fit.circle.covered_deg, None, None, _note_arc(fit.circle.covered_deg),
    )  # fmt: skip


def _fit_profile(feature: str, kind: FitKind, groups: Mapping[str, Floats]) -> FeatureFit:
    (points,) = _take(groups, "")
    heights = points[:, 2]
    farthest = float(heights[np.argmax(np.abs(heights))])
    return FeatureFit(
        feature, kind, FIT_WORDS[kind], "greatest of the heights, no fit", farthest, "mm", len(points), None,
        math.inf, float(np.ptp(heights)), "range",
    )  # fmt: skip


_FITS: dict[FitKind, Callable[[str, FitKind, Mapping[str, Floats]], FeatureFit]] = {
    FitKind.CIRCLE: _fit_circle,
    FitKind.SPHERE: _fit_sphere,
    FitKind.CYLINDER: _fit_cylinder,
    FitKind.CENTRES: _fit_centres,
    FitKind.FACES: _fit_faces,
    FitKind.ANGLE: _fit_angle,
    FitKind.PLANE: _fit_plane,
    FitKind.LINE: _fit_line,
    FitKind.RUNOUT: _fit_runout,
    FitKind.POSITION: _fit_position,
    FitKind.PROFILE: _fit_profile,
}
