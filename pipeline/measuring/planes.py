"""Plane by orthogonal-distance least squares, with its flatness about that plane and in the minimum zone."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.measuring.minimum_zone import find_minimum_zone
from pipeline.measuring.points import (
    FLAT_SHARE,
    Floats,
    Vector3,
    as_vector3,
    build_frame,
    centre_and_scale,
    check_points,
    find_principal_axes,
    orient,
)


@dataclass(frozen=True, slots=True)
class PlaneFit:
    """A fitted plane.

    Attributes:
        method: how it was fitted.
        count: points used.
        point_mm: a point of the plane (centroid for least squares).
        normal: unit normal, largest component positive.
        flatness_mm: peak to valley of the distances from this plane (ISO 12781-1, FLTt).
        rms_mm: root mean square distance.
        deviations_mm: signed distances along the normal, shape (n,).
    """

    method: str
    count: int
    point_mm: Vector3
    normal: Vector3
    flatness_mm: float
    rms_mm: float
    deviations_mm: Floats = field(compare=False, repr=False)


def fit_plane(points: npt.ArrayLike) -> PlaneFit:
    """Fit a plane, least squares of orthogonal distances.

    Args:
        points: (n, 3) coordinates in mm, n >= 3, not all on one line.

    Raises:
        ValueError: fewer than three points, points on one line, a cloud without a flat side, or not finite.

    Source: ISO 12781-1 (least-squares reference plane); smallest principal axis of the points.

    >>> h = 0.01
    >>> fit = fit_plane([[0, 0, h], [1, 0, -h], [0, 1, -h], [1, 1, h]])
    >>> round(fit.flatness_mm, 9), round(fit.rms_mm, 9), fit.normal
    (0.02, 0.01, (0.0, 0.0, 1.0))
    """
    array = check_points(points, 3, 3, "a plane")
    moved, centroid, scale = centre_and_scale(array, "a plane")
    spread, axes = find_principal_axes(moved)
    if spread[1] <= FLAT_SHARE * spread[0]:
        raise ValueError(f"the {len(array)} points lie on one line; a plane needs a point beside it")
    if spread[2] > (1 - FLAT_SHARE) * spread[1]:
        raise ValueError("the points have no flat side; no plane stands out")
    normal = orient(axes[2])
    return _report("orthogonal-distance least squares (principal axis)", moved @ normal * scale, centroid, normal)


def fit_plane_minimum_zone(points: npt.ArrayLike) -> PlaneFit:
    """Two parallel planes as close together as possible that hold all points; the middle plane is returned.

    Args:
        points: as for `fit_plane`.

    Raises:
        ValueError: as for `fit_plane`.

    Source: ISO 1101 (flatness zone), ISO 12781-1 (minimum zone reference plane); linear programme about the
    least-squares plane, turned until it stays.

    >>> fit = fit_plane_minimum_zone([[0, 0, 0], [4, 0, 0], [0, 4, 0], [4, 4, 0], [2, 2, 0.1]])
    >>> round(fit.flatness_mm, 9)
    0.1
    """
    start = fit_plane(points)
    array = np.asarray(points, dtype=np.float64)
    moved, centroid, scale = centre_and_scale(array, "a plane")
    normal, middle = np.array(start.normal), 0.0
    for _ in range(4):  # each turn squares the tilt that is left
        frame = build_frame(normal)
        local = moved @ frame.T
        zone = find_minimum_zone(local[:, 2], np.column_stack([np.ones(len(local)), local[:, :2]]))
        middle, tilt_u, tilt_v = zone.parameters
        turned = np.array([-tilt_u, -tilt_v, 1.0])
        middle = middle / float(np.linalg.norm(turned))
        normal = turned / np.linalg.norm(turned) @ frame
    if orient(normal) @ normal < 0:
        normal, middle = -normal, -middle
    deviations = (moved @ normal - middle) * scale
    if np.ptp(deviations) > start.flatness_mm:  # already the best plane, to rounding
        return _report("minimum zone (linear programme)", start.deviations_mm, centroid, np.array(start.normal))
    return _report("minimum zone (linear programme)", deviations, centroid + middle * scale * normal, normal)


def _report(method: str, deviations: Floats, point: Floats, normal: Floats) -> PlaneFit:
    return PlaneFit(
        method=method,
        count=len(deviations),
        point_mm=as_vector3(point),
        normal=as_vector3(normal + 0.0),
        flatness_mm=float(np.ptp(deviations)),
        rms_mm=float(np.sqrt(np.mean(deviations**2))),
        deviations_mm=deviations,
    )
