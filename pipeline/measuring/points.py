"""Checked point arrays, and the moves that every fit needs: centring, scaling, frames, thinning."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Vector2: TypeAlias = tuple[float, float]
Vector3: TypeAlias = tuple[float, float, float]

# Singular values below this share of the largest are read as zero: far above rounding (1e-16 times the count),
# far below anything that an arm could resolve on a part (1 um in 10 m is 1e-7).
FLAT_SHARE = 1e-9

_MANY = 5000
_BINS = 3600
_GOLDEN = 0.6180339887498949


def check_values(values: npt.ArrayLike, what: str = "readings", least: int = 1) -> Floats:
    """Return a one-dimensional array of finite numbers, or say what is wrong with it.

    Args:
        values: any sequence of numbers.
        what: what they are, in the plural, for the message.
        least: fewest values that make sense.

    Raises:
        ValueError: not numbers, not one-dimensional, too few, or a value that is not finite.

    Source: common practice (no source).

    >>> check_values([1, 2.5]).tolist()
    [1.0, 2.5]
    """
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"the {what} are not all numbers; give plain numbers such as 12.48") from None
    if array.ndim != 1:
        raise ValueError(f"the {what} have {array.ndim} dimensions; give one plain list of numbers")
    if array.size < least:
        raise ValueError(f"{array.size} {what} given; at least {least} needed")
    bad = np.flatnonzero(~np.isfinite(array))
    if bad.size:
        raise ValueError(f"{what}: number {bad[0] + 1} is {array[bad[0]]}; every one must be a finite number")
    return array


def check_number(value: float, what: str, above: float | None = None, least: float | None = None) -> float:
    """Return one finite number inside its range, or say what is wrong with it.

    Args:
        value: the number.
        what: its name in the message.
        above: it must be greater than this.
        least: it must be this or more.

    Raises:
        ValueError: not a finite number, or out of range.

    Source: common practice (no source).

    >>> check_number(3, "count", above=0)
    3.0
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise ValueError(f"{what} is {value!r}; a number is needed") from None
    if not np.isfinite(number):
        raise ValueError(f"{what} is {number}; a finite number is needed")
    if above is not None and not number > above:
        raise ValueError(f"{what} is {number:g}; it must be greater than {above:g}")
    if least is not None and number < least:
        raise ValueError(f"{what} is {number:g}; it must be {least:g} or more")
    return number


def check_points(points: npt.ArrayLike, dimensions: int, least: int, what: str) -> Floats:
    """Return an ``(n, dimensions)`` array of finite coordinates, or say what is wrong with it.

    Args:
        points: n rows of coordinates in mm.
        dimensions: 2 or 3.
        least: fewest points that fix the feature.
        what: the feature with its article, e.g. ``"a circle"``.

    Raises:
        ValueError: not numbers, wrong shape, too few points, or a coordinate that is not finite.

    Source: common practice (no source).

    >>> check_points([[0, 0], [1, 0]], 2, 2, "a line").shape
    (2, 2)
    """
    try:
        array = np.asarray(points, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"the points for {what} are not all numbers with {dimensions} coordinates each") from None
    if array.ndim != 2 or array.shape[1] != dimensions:
        shape = " x ".join(str(size) for size in array.shape)
        raise ValueError(f"the points for {what} have shape {shape}; n x {dimensions} coordinates are needed")
    if len(array) < least:
        raise ValueError(f"{len(array)} points cannot fix {what}; at least {least} needed")
    if not np.isfinite(array).all():
        row = int(np.flatnonzero(~np.isfinite(array).all(axis=1))[0])
        raise ValueError(f"point {row + 1} is {array[row].tolist()}; every coordinate must be a finite number (mm)")
    return array


def centre_and_scale(points: Floats, what: str) -> tuple[Floats, Floats, float]:
    """Move points to their centroid and divide by their root-mean-square distance from it.

    Returns:
        The moved and scaled points (same shape), the centroid and the scale (mm).

    Raises:
        ValueError: all points are one point.

    Source: common practice (no source); it keeps the normal equations well conditioned far from the origin.

    >>> _, centroid, scale = centre_and_scale(np.array([[9.0, 0.0], [11.0, 0.0]]), "a line")
    >>> centroid.tolist(), scale
    ([10.0, 0.0], 1.0)
    """
    columns = np.array(points.T, order="C")  # a long scan is worked through coordinate by coordinate
    centroid = columns.mean(axis=1)
    columns -= centroid[:, None]
    scale = float(np.sqrt(np.einsum("ij,ij->", columns, columns) / len(points)))
    size = float(np.abs(centroid).max())
    if not np.isfinite(scale):
        raise ValueError(f"the points for {what} are too far apart to be millimetres; check the unit of the file")
    if scale <= 1e-14 * size or scale == 0.0:
        raise ValueError(f"the {len(points)} points for {what} are all the same point")
    columns /= scale
    return columns.T, centroid, scale


def find_principal_axes(moved: Floats) -> tuple[Floats, Floats]:
    """Principal directions of centred points, longest first.

    Args:
        moved: ``(n, d)`` points about their centroid.

    Returns:
        Root-mean-square spread along each direction (d,), and the directions as rows (d, d).

    Source: singular value decomposition of the triangular factor of the points (as accurate as on the points
    themselves, and fast for many points).

    >>> spread, axes = find_principal_axes(np.array([[-1.0, 0.0], [1.0, 0.0]]))
    >>> spread.round(6).tolist(), abs(axes[0]).round(6).tolist()
    ([1.0, 0.0], [1.0, 0.0])
    """
    tall = moved if len(moved) >= moved.shape[1] else np.vstack([moved, np.zeros((moved.shape[1], moved.shape[1]))])
    factor = np.linalg.qr(tall, mode="r")
    _, singular, axes = np.linalg.svd(factor)
    return singular / np.sqrt(len(moved)), axes


def find_smallest_spread(moved: Floats, most: int = 2000) -> float:
    """Spread along the shortest principal direction as a share of the longest; looks at all points only if it must.

    Points of which an even sample is not flat are not flat either, so that a long scan is judged from a sample.

    Source: as `find_principal_axes`.

    >>> find_smallest_spread(np.array([[-1.0, 0.0], [1.0, 0.0]]))
    0.0
    """
    share = 0.0
    for points in (thin_points(moved, most), moved):
        spread, _ = find_principal_axes(points - points.mean(axis=0))
        share = float(spread[-1] / spread[0]) if spread[0] > 0 else 0.0
        if share > FLAT_SHARE:
            break
    return share


def orient(direction: Floats) -> Floats:
    """Give a direction without a sense the sense in which its largest component is positive (last one on a tie).

    Source: common practice (no source); two measurements of one axis then compare without a flip.

    >>> orient(np.array([0.6, -0.8])).tolist()
    [-0.6, 0.8]
    """
    size = np.abs(direction)
    leading = int(np.flatnonzero(size >= size.max() - 1e-9)[-1])
    return direction if direction[leading] > 0 else -direction


def build_frame(axis: Floats, zero: Floats | None = None) -> Floats:
    """Right-handed orthonormal frame (rows u, v, w) with w along an axis.

    Args:
        axis: direction of w, any length above zero.
        zero: direction whose part square to the axis becomes u; by default the x axis, or y where x is too close
            to the axis.

    Raises:
        ValueError: the axis has no length, or ``zero`` is parallel to it.

    Source: common practice (no source).

    >>> build_frame(np.array([0.0, 0.0, 2.0])).tolist()
    [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
    """
    length = math.sqrt(float(axis @ axis))
    if not (np.isfinite(length) and length > 0):
        raise ValueError(f"an axis direction of {axis.tolist()} has no length; give a direction such as (0, 0, 1)")
    w = axis / length
    start = zero if zero is not None else np.array([1.0, 0.0, 0.0] if abs(w[0]) < 0.9 else [0.0, 1.0, 0.0])
    u = start - (start @ w) * w
    size = math.sqrt(float(u @ u))
    if not size > 1e-9 * math.sqrt(float(start @ start)):
        raise ValueError("the zero direction is parallel to the axis; give one square to it, e.g. towards a keyway")
    u = u / size
    return np.array([u, w[[1, 2, 0]] * u[[2, 0, 1]] - w[[2, 0, 1]] * u[[1, 2, 0]], w])


def thin_points(points: Floats, most: int) -> Floats:
    """At most ``most`` points spread evenly through the list, the same ones every time.

    Steps of the golden ratio keep clear of the regular pattern in which an arm or a machine lays its rows.

    Source: common practice (no source); additive recurrence sequence.

    >>> len(thin_points(np.zeros((1000, 3)), 50)) <= 50
    True
    """
    if len(points) <= most:
        return points
    places = np.sort(np.floor((np.arange(most) * _GOLDEN) % 1.0 * len(points)).astype(np.int64))
    thinned: Floats = points[places[np.diff(places, prepend=-1) > 0]]
    return thinned


def find_covered_arc(angles: Floats) -> float:
    """Degrees of a turn that readings at these angles (rad) cover: 360 less the widest gap.

    Of very many readings only those beside an empty tenth of a degree are sorted; a scan without such a gap reads
    as a whole turn.

    Source: common practice (no source).

    >>> round(find_covered_arc(np.radians([0.0, 90.0, 180.0])), 6)
    180.0
    """
    if len(angles) > _MANY:
        angles = _keep_gap_edges(angles)
        if not len(angles):
            return 360.0
    turned = np.sort(np.mod(angles, 2 * np.pi))
    gaps = np.diff(turned, append=turned[0] + 2 * np.pi)
    return float(360.0 - np.degrees(gaps.max()))


def _keep_gap_edges(angles: Floats) -> Floats:
    """The angles in occupied bins that have an empty neighbour."""
    bins = np.floor(angles * (_BINS / (2 * np.pi))).astype(np.int64) % _BINS
    empty = np.bincount(bins, minlength=_BINS) == 0
    if not empty.any():
        return angles[:0]
    kept: Floats = angles[(np.roll(empty, 1) | np.roll(empty, -1))[bins]]
    return kept


def as_vector3(values: npt.ArrayLike) -> Vector3:
    """Three plain floats from an array of three.

    Source: common practice (no source).

    >>> as_vector3(np.array([1, 2, 3]))
    (1.0, 2.0, 3.0)
    """
    x, y, z = np.asarray(values, dtype=np.float64).tolist()
    return (x, y, z)
