"""Circles in the plane and in space: three estimators by name, because they give three different answers."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from pipeline.measuring.least_squares import Settled, compute_covariance
from pipeline.measuring.minimum_zone import find_minimum_zone
from pipeline.measuring.planes import fit_plane
from pipeline.measuring.points import (
    FLAT_SHARE,
    Floats,
    Vector2,
    Vector3,
    as_vector3,
    build_frame,
    centre_and_scale,
    check_points,
    find_covered_arc,
    find_smallest_spread,
    thin_points,
)
from pipeline.measuring.radial import STRAIGHT, fit_radial_linear, settle_radial

_STARTING_POINTS = 2000


class CircleMethod(StrEnum):
    """Which quantity a circle fit makes small."""

    ORTHOGONAL = "orthogonal-distance least squares"
    LINEAR = "linear fit of x2 + y2"
    ALGEBRAIC = "algebraic fit, coefficient vector of unit length"
    MINIMUM_ZONE = "minimum zone"


@dataclass(frozen=True, slots=True)
class CircleFit:
    """A circle fitted in the plane.

    Attributes:
        method: which estimator made it.
        count: points used.
        centre_mm: centre.
        radius_mm: radius.
        roundness_mm: peak to valley of the radial distances from this circle (ISO 12181-1, RONt for the least-squares
            circle and for the minimum zone).
        rms_mm: root mean square radial distance.
        covered_deg: part of the turn that the points cover; short arcs fix a radius badly.
        radius_u_mm: standard uncertainty of the radius from the scatter of the points alone; None without a spare
            point and for estimators other than orthogonal distance.
        centre_u_mm: the same for the two centre coordinates.
        deviations_mm: radial distances, outside positive, shape (n,).
    """

    method: CircleMethod
    count: int
    centre_mm: Vector2
    radius_mm: float
    roundness_mm: float
    rms_mm: float
    covered_deg: float
    radius_u_mm: float | None
    centre_u_mm: Vector2 | None
    deviations_mm: Floats = field(compare=False, repr=False)

    @property
    def diameter_mm(self) -> float:
        """Twice the radius."""
        return 2 * self.radius_mm


@dataclass(frozen=True, slots=True)
class SpaceCircleFit:
    """A circle in space: a plane first, then a circle among the points dropped onto it.

    Attributes:
        method: both steps in words.
        circle: the fit in the plane (its centre is in the plane's own coordinates).
        centre_mm: centre in space.
        normal: unit normal of the plane.
        radius_mm: radius.
        roundness_mm: of the circle in its plane.
        flatness_mm: of the plane.
    """

    method: str
    circle: CircleFit
    centre_mm: Vector3
    normal: Vector3
    radius_mm: float
    roundness_mm: float
    flatness_mm: float


def fit_circle(points: npt.ArrayLike, method: CircleMethod = CircleMethod.ORTHOGONAL) -> CircleFit:
    """Fit a circle to points in the plane.

    The orthogonal-distance circle is what ISO 12181-1 calls the least-squares reference circle and is the default.
    The linear fit is biased to small radii on short arcs; the algebraic fit with a unit coefficient vector is not even
    the same after a shift of the part. Both are here so that a figure made elsewhere can be reproduced and named.

    Args:
        points: (n, 2) coordinates in mm, n >= 3, not on one line.
        method: the estimator.

    Raises:
        ValueError: fewer than three points, points on one line or too nearly so, or not finite.

    Source: W. Gander, G. Golub, R. Strebel, BIT 34 (1994); ISO 12181-1.

    >>> six = [[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]]
    >>> fit = fit_circle(six)
    >>> [round(v, 4) for v in (*fit.centre_mm, fit.radius_mm)]
    [4.7398, 2.9835, 4.7142]
    >>> round(fit_circle(six, CircleMethod.LINEAR).radius_mm, 4)
    4.1088
    """
    array = check_points(points, 2, 3, "a circle")
    moved, centroid, scale = centre_and_scale(array, "a circle")
    if find_smallest_spread(moved) <= FLAT_SHARE:
        raise ValueError(f"the {len(array)} points lie on one line; a circle needs points on a bend")
    if method is CircleMethod.ALGEBRAIC:
        return _report(method, array, _fit_algebraic(array), 1.0, np.zeros(2), None)
    if method is CircleMethod.LINEAR:
        return _report(method, moved, fit_radial_linear(moved), scale, centroid, None)
    settled = _settle_circle(moved)
    if method is CircleMethod.ORTHOGONAL:
        return _report(method, moved, settled.state, scale, centroid, compute_covariance(settled, len(moved)))
    return _report(method, moved, _narrow_zone(moved, settled.state), scale, centroid, None)


def fit_circle_in_space(points: npt.ArrayLike, method: CircleMethod = CircleMethod.ORTHOGONAL) -> SpaceCircleFit:
    """Fit a circle to points in space: least-squares plane, then the circle of the points dropped onto it.

    Args:
        points: (n, 3) coordinates in mm, n >= 3, not on one line.
        method: the estimator in the plane.

    Raises:
        ValueError: as `fit_plane` and `fit_circle`.

    Source: common practice (no source) for the two steps; ISO 12181-1 for the circle.

    >>> fit = fit_circle_in_space([[5, 0, 7], [0, 5, 7], [-5, 0, 7], [0, -5, 7]])
    >>> round(fit.radius_mm, 9), [round(v, 9) + 0.0 for v in fit.centre_mm]
    (5.0, [0.0, 0.0, 7.0])
    """
    array = check_points(points, 3, 3, "a circle")
    plane = fit_plane(array)
    frame = build_frame(np.array(plane.normal))
    dropped = (array - np.array(plane.point_mm)) @ frame[:2].T
    circle = fit_circle(dropped, method)
    return SpaceCircleFit(
        method=f"{plane.method} for the plane, then {circle.method} in it",
        circle=circle,
        centre_mm=as_vector3(np.array(plane.point_mm) + np.array(circle.centre_mm) @ frame[:2]),
        normal=plane.normal,
        radius_mm=circle.radius_mm,
        roundness_mm=circle.roundness_mm,
        flatness_mm=plane.flatness_mm,
    )


def _fit_algebraic(points: Floats) -> Floats:
    """a (x2 + y2) + b x + c y + d = 0 with (a, b, c, d) of unit length, on the coordinates as they stand."""
    squares = np.einsum("ij,ij->i", points, points)
    factor = np.linalg.qr(np.column_stack([squares, points, np.ones(len(points))]), mode="r")
    a, b, c, d = np.linalg.svd(factor)[2][-1]
    if abs(a) < 1e-12:
        raise ValueError("the algebraic fit found a straight line, not a circle")
    centre = np.array([-b / (2 * a), -c / (2 * a)])
    return np.append(centre, np.sqrt(centre @ centre - d / a))


def _fit_taubin(moved: Floats) -> Floats:
    """Start for the iteration: the gradient-weighted algebraic fit (G. Taubin, IEEE PAMI 13, 1991)."""
    squares = np.einsum("ij,ij->i", moved, moved)
    middle = float(squares.mean())
    weighted = np.column_stack([(squares - middle) / (2 * np.sqrt(middle)), moved])
    a, b, c = np.linalg.svd(np.linalg.qr(weighted, mode="r"))[2][-1]
    a = a / (2 * np.sqrt(middle))
    if abs(a) < 1e-9:
        return fit_radial_linear(moved)
    centre = np.array([-b / (2 * a), -c / (2 * a)])
    return np.append(centre, np.sqrt(centre @ centre + middle))


def _settle_circle(moved: Floats) -> Settled[Floats]:
    """Start from the gradient-weighted algebraic fit and, where there is one, from the linear fit."""
    sample = thin_points(moved, _STARTING_POINTS)
    starts = [_fit_taubin(sample)]
    with suppress(ValueError):
        starts.append(fit_radial_linear(sample))
    return settle_radial(moved, starts)


def _narrow_zone(moved: Floats, start: Floats) -> Floats:
    """Two circles about one centre as close together as possible: linear programmes about the moving centre.

    A step that does not narrow the zone is shortened. Where the zone narrows on and on as the centre runs away, the
    best band is a straight one, and the points have no circle.
    """
    centre, share, here = start[:2], 1.0, _spread_about(moved, start[:2])
    shift = _find_shift(*here[:2])
    while share * float(np.abs(shift).max()) > 1e-11 and here[1].max() < STRAIGHT:
        trial = _spread_about(moved, centre + share * shift)
        if trial[2] < here[2] * (1 - 1e-12):
            centre, here, share = centre + share * shift, trial, min(1.0, 2 * share)
            shift = _find_shift(*here[:2])
        else:
            share /= 4
    if here[1].max() >= STRAIGHT:
        raise ValueError("the points bend too little: the zone straightens; measure more of the turn, or fit it flat")
    return np.append(centre, (here[1].max() + here[1].min()) / 2)


def _find_shift(offset: Floats, distances: Floats) -> Floats:
    """Where the centre of the narrowest zone lies to first order, from the points as seen from the centre so far."""
    columns = np.column_stack([offset / np.maximum(distances, 1e-300)[:, None], np.ones(len(offset))])
    return np.array(find_minimum_zone(distances, columns).parameters[:2])


def _spread_about(moved: Floats, centre: Floats) -> tuple[Floats, Floats, float]:
    """Points as seen from a centre, their distances, and how far these lie apart."""
    offset = moved - centre
    distances = np.hypot(offset[:, 0], offset[:, 1])
    return offset, distances, float(np.ptp(distances))


def _report(
    method: CircleMethod, moved: Floats, state: Floats, scale: float, centroid: Floats, covariance: Floats | None
) -> CircleFit:
    away_x, away_y = moved.T - state[:2, None]
    deviations = (np.sqrt(away_x**2 + away_y**2) - state[2]) * scale
    spread = None if covariance is None else np.sqrt(np.maximum(np.diag(covariance), 0.0)) * scale
    x, y = (state[:2] * scale + centroid).tolist()
    return CircleFit(
        method=method,
        count=len(moved),
        centre_mm=(x, y),
        radius_mm=float(state[2]) * scale,
        roundness_mm=float(np.ptp(deviations)),
        rms_mm=float(np.sqrt(deviations @ deviations / len(moved))),
        covered_deg=find_covered_arc(np.arctan2(away_y, away_x)),
        radius_u_mm=None if spread is None else float(spread[2]),
        centre_u_mm=None if spread is None else (float(spread[0]), float(spread[1])),
        deviations_mm=deviations,
    )
