"""Cylinder by orthogonal-distance least squares, with its cylindricity."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
import numpy.typing as npt

from pipeline.measuring.least_squares import SMALLEST_STEP, BlockSums, Settled, Sums, compute_covariance, minimise
from pipeline.measuring.points import (
    FLAT_SHARE,
    Floats,
    Vector3,
    as_vector3,
    build_frame,
    centre_and_scale,
    check_points,
    find_covered_arc,
    find_principal_axes,
    find_smallest_spread,
    orient,
    thin_points,
)

_SAMPLE = 2000
_SEARCHED = 200  # points in the search for the axis
_DIRECTIONS = 120  # directions searched over the half sphere, about 13 degrees apart
_TRIED = 4  # best directions from which the iteration starts
_POLISHED = 1e-10  # of the size of the points: on a long scan the last figures cost time and mean nothing
_STRAIGHT = 1e5


@dataclass(frozen=True, slots=True)
class CylinderFit:
    """A fitted cylinder.

    Attributes:
        method: how it was fitted.
        count: points used.
        point_mm: point of the axis nearest to the centroid of the points.
        axis: unit vector, largest component positive.
        radius_mm: radius.
        length_mm: stretch of the axis that the points cover.
        covered_deg: part of the turn that the points cover.
        cylindricity_mm: peak to valley of the radial distances from this cylinder (ISO 12180-1, CYLt).
        rms_mm: root mean square radial distance.
        radius_u_mm: standard uncertainty of the radius from the scatter alone; None without a spare point.
        axis_u_deg: standard uncertainty of the axis direction from the scatter alone (larger of two tilts).
        deviations_mm: radial distances, outside positive, shape (n,).
    """

    method: str
    count: int
    point_mm: Vector3
    axis: Vector3
    radius_mm: float
    length_mm: float
    covered_deg: float
    cylindricity_mm: float
    rms_mm: float
    radius_u_mm: float | None
    axis_u_deg: float | None
    deviations_mm: Floats = field(compare=False, repr=False)

    @property
    def diameter_mm(self) -> float:
        """Twice the radius."""
        return 2 * self.radius_mm


@dataclass(frozen=True, slots=True)
class _Axis:
    """Frame rows u, v, w with w along the axis; a point of the axis; the radius (all scaled)."""

    frame: Floats
    point: Floats
    radius: float


def fit_cylinder(points: npt.ArrayLike) -> CylinderFit:
    """Fit a cylinder, least squares of radial distances, with no guess of the axis needed.

    Args:
        points: (n, 3) coordinates in mm, n >= 6, not all in one plane, at more than one height along the axis.

    Raises:
        ValueError: fewer than six points (five fit up to six cylinders), points in one plane, a radius that runs
            away, or not finite.

    Source: A. Forbes, least-squares best-fit geometric elements (NPL, 1991); ISO 12180-1 for cylindricity. The axis
    is searched over the half sphere with a linear circle fit in each direction (common practice).

    >>> turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    >>> ring = np.column_stack([12 * np.cos(turn), 12 * np.sin(turn), 0 * turn])
    >>> fit = fit_cylinder(np.vstack([ring, ring + [0, 0, 30]]))
    >>> round(fit.radius_mm, 9), [round(v, 9) + 0.0 for v in fit.axis], round(fit.length_mm, 6)
    (12.0, [0.0, 0.0, 1.0], 30.0)
    """
    array = check_points(points, 3, 6, "a cylinder")
    moved, centroid, scale = centre_and_scale(array, "a cylinder")
    if find_smallest_spread(moved) <= FLAT_SHARE:
        raise ValueError(f"the {len(array)} points lie in one plane, which does not fix an axis; measure a second ring")
    return _report(_settle_cylinder(moved), moved, centroid, scale)


def _settle_cylinder(moved: Floats) -> Settled[_Axis]:
    """From the best directions on a few points, then on a sample, then on all of them."""
    few = thin_points(moved, _SEARCHED)
    trials = [minimise(_RadialToAxis(few), _move, start, 40, _POLISHED) for start in _find_starts(few)]
    settled = min(trials, key=lambda trial: trial.cost)
    for points, smallest in ((thin_points(moved, _SAMPLE), _POLISHED), (moved, _finish(moved))):
        settled = minimise(_RadialToAxis(points), _move, settled.state, smallest_step=smallest)
    if not settled.has_settled or abs(settled.state.radius) > _STRAIGHT:
        raise ValueError("the points bend too little for a cylinder: its radius runs away; measure more of the turn")
    return settled


def _finish(moved: Floats) -> float:
    """Last step size: full figures for a short list, enough for any part on a long scan."""
    return SMALLEST_STEP if len(moved) <= _SAMPLE else _POLISHED


def _find_starts(points: Floats) -> list[_Axis]:
    """The directions along which the points look most like a circle, each with the circle that they show.

    Linear circle fits in all directions at once: stacked 3 x 3 systems.
    """
    _, principal = find_principal_axes(points - points.mean(axis=0))
    frames = np.concatenate([[build_frame(way) for way in principal], _spread_frames()])
    flat = frames[:, :2] @ points.T
    squares = np.einsum("dij,dij->dj", flat, flat)
    model = np.concatenate([flat, np.ones_like(squares)[:, None, :]], axis=1)
    normal = model @ model.transpose(0, 2, 1)
    right = np.einsum("dij,dj->di", model, squares)
    solution = np.einsum("dij,dj->di", np.linalg.pinv(normal, hermitian=True), right)
    centres = solution[:, :2] / 2
    radii = np.sqrt(np.maximum(solution[:, 2] + np.sum(centres**2, axis=1), 1e-12))
    offset = flat - centres[:, :, None]
    misfit = np.sum((np.sqrt(np.einsum("dij,dij->dj", offset, offset)) - radii[:, None]) ** 2, axis=1)
    chosen = np.argsort(misfit, kind="stable")[:_TRIED]
    return [_Axis(frames[d], centres[d] @ frames[d, :2], float(radii[d])) for d in chosen]


@cache
def _spread_frames() -> Floats:
    """Frames of directions that are searched for every cylinder."""
    frames = np.array([build_frame(way) for way in _spread_directions(_DIRECTIONS)])
    frames.flags.writeable = False
    return frames


def _spread_directions(count: int) -> Floats:
    """Even directions over the half sphere (golden-angle spiral)."""
    z = (np.arange(count) + 0.5) / count
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - z**2)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


class _RadialToAxis(BlockSums):
    """Sums of distances to an axis less a radius, with derivatives for shift (2), tilt (2) and radius."""

    def __init__(self, points: Floats) -> None:
        super().__init__(np.ascontiguousarray(points.T), 5)

    def __call__(self, axis: _Axis) -> Sums:
        origin = (axis.frame @ axis.point)[:, None]

        def fill(block: Floats, rows: Floats) -> None:
            local = axis.frame @ block
            local -= origin
            distances = rows[5]
            np.sqrt(local[0] ** 2 + local[1] ** 2, out=distances)
            np.divide(local[:2], -np.maximum(distances, 1e-300), out=rows[:2])
            np.multiply(rows[:2], local[2], out=rows[2:4])
            rows[4] = -1.0
            distances -= axis.radius

        return self.add_up(fill)


def _move(axis: _Axis, step: Floats) -> _Axis:
    u, v, w = axis.frame
    frame = build_frame(w + step[2] * u + step[3] * v, zero=u)
    point = axis.point + step[0] * u + step[1] * v
    point = point - (point @ frame[2]) * frame[2]  # stay beside the centroid, where shift and tilt are independent
    return _Axis(frame, point, axis.radius + float(step[4]))


def _report(settled: Settled[_Axis], moved: Floats, centroid: Floats, scale: float) -> CylinderFit:
    axis = settled.state
    across_u, across_v, along = axis.frame @ moved.T - (axis.frame @ axis.point)[:, None]
    covariance = compute_covariance(settled, len(moved))
    u = None if covariance is None else np.sqrt(np.maximum(np.diag(covariance), 0.0))
    deviations = (np.sqrt(across_u**2 + across_v**2) - axis.radius) * scale
    foot = axis.point - (axis.point @ axis.frame[2]) * axis.frame[2]
    return CylinderFit(
        method="orthogonal-distance least squares (Levenberg-Marquardt, axis searched over all directions)",
        count=len(moved),
        point_mm=as_vector3(foot * scale + centroid),
        axis=as_vector3(orient(axis.frame[2])),
        radius_mm=axis.radius * scale,
        length_mm=float(np.ptp(along)) * scale,
        covered_deg=find_covered_arc(np.arctan2(across_v, across_u)),
        cylindricity_mm=float(np.ptp(deviations)),
        rms_mm=float(np.sqrt(deviations @ deviations / len(moved))),
        radius_u_mm=None if u is None else float(u[4]) * scale,
        axis_u_deg=None if u is None else float(np.degrees(max(u[2], u[3]))),
        deviations_mm=deviations,
    )
