"""Straight line by orthogonal-distance least squares, with its straightness."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.measuring.points import (
    FLAT_SHARE,
    Floats,
    centre_and_scale,
    check_points,
    find_principal_axes,
    orient,
)


@dataclass(frozen=True, slots=True)
class LineFit:
    """A fitted straight line.

    Attributes:
        method: how it was fitted.
        count: points used.
        point_mm: centroid of the points, on the line (2 or 3 coordinates).
        direction: unit vector, largest component positive.
        length_mm: stretch of the line that the points cover.
        straightness_mm: in the plane, peak to valley of the signed distances (ISO 12780-1, STRt); in space,
            diameter of the smallest cylinder about this line that holds the points.
        rms_mm: root mean square of the orthogonal distances.
        deviations_mm: orthogonal distances, signed in the plane (left of the direction positive), not in space.
    """

    method: str
    count: int
    point_mm: tuple[float, ...]
    direction: tuple[float, ...]
    length_mm: float
    straightness_mm: float
    rms_mm: float
    deviations_mm: Floats = field(compare=False, repr=False)


def fit_line(points: npt.ArrayLike) -> LineFit:
    """Fit a straight line to points in the plane or in space, least squares of orthogonal distances.

    Args:
        points: (n, 2) or (n, 3) coordinates in mm, n >= 2.

    Raises:
        ValueError: fewer than two points, all one point, no direction stands out, or a coordinate is not finite.

    Source: ISO 12780-1 (least-squares reference line); principal axis of the points (K. Pearson 1901).

    >>> fit = fit_line([[0, 0.01], [10, -0.01], [20, -0.01], [30, 0.01]])
    >>> round(fit.straightness_mm, 6), fit.direction
    (0.02, (1.0, 0.0))
    """
    width = 2 if np.ndim(points) == 2 and np.shape(points)[1] == 2 else 3
    array = check_points(points, width, 2, "a line")
    moved, centroid, scale = centre_and_scale(array, "a line")
    spread, axes = find_principal_axes(moved)
    if spread[1] > (1 - FLAT_SHARE) * spread[0]:
        raise ValueError("the points spread equally to two sides; no direction of a line stands out")
    direction = orient(axes[0])
    along = moved @ direction
    deviations = _measure_deviations(moved, along, direction) * scale
    zone = float(np.ptp(deviations)) if width == 2 else 2 * float(deviations.max())
    return LineFit(
        method="orthogonal-distance least squares (principal axis)",
        count=len(array),
        point_mm=tuple(centroid.tolist()),
        direction=tuple((direction + 0.0).tolist()),
        length_mm=float(np.ptp(along)) * scale,
        straightness_mm=zone,
        rms_mm=float(np.sqrt(np.mean(deviations**2))),
        deviations_mm=deviations,
    )


def _measure_deviations(moved: Floats, along: Floats, direction: Floats) -> Floats:
    """Distances from the line: signed in the plane, lengths in space."""
    if len(direction) == 2:
        signed: Floats = moved @ np.array([-direction[1], direction[0]])
        return signed
    across = moved - np.outer(along, direction)
    lengths: Floats = np.sqrt(np.einsum("ij,ij->i", across, across))
    return lengths
