"""Run-out about a datum axis: total indicator reading, with the first harmonic apart from the rest."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from pipeline.measuring.points import Floats, as_vector3, build_frame, check_points, check_values
from pipeline.measuring.roundness import Harmonic, check_turn, find_first_harmonic


class RunoutDirection(StrEnum):
    """Which way the indicator points."""

    RADIAL = "radial"
    AXIAL = "axial"


@dataclass(frozen=True, slots=True)
class Runout:
    """Circular run-out of one trace.

    Attributes:
        method: how it was found.
        direction: radial or axial.
        count: readings used.
        runout_mm: total indicator reading, largest less smallest.
        harmonic: first harmonic (eccentricity or wobble) and the rest. The run-out is neither twice the amplitude nor
            the sum of both parts, except where one of them is zero.
    """

    method: str
    direction: RunoutDirection
    count: int
    runout_mm: float
    harmonic: Harmonic


@dataclass(frozen=True, slots=True)
class TotalRunout:
    """Total run-out over a whole surface.

    Attributes:
        method: how it was found.
        direction: radial or axial.
        count: readings used.
        runout_mm: largest less smallest reading over the whole surface.
        smallest_mm: smallest distance from the axis (radial) or height along it (axial).
        largest_mm: largest of them.
    """

    method: str
    direction: RunoutDirection
    count: int
    runout_mm: float
    smallest_mm: float
    largest_mm: float


def compute_dial_runout(
    angles_deg: npt.ArrayLike,
    readings_mm: npt.ArrayLike,
    direction: RunoutDirection = RunoutDirection.RADIAL,
    widest_gap_deg: float = 120.0,
) -> Runout:
    """Circular run-out from dial-indicator readings while the part is turned about its datum axis.

    Args:
        angles_deg: angle of the part at each reading, degrees.
        readings_mm: indicator readings, mm; the zero does not matter.
        direction: which way the indicator points.
        widest_gap_deg: widest part of the turn that may be without a reading.

    Raises:
        ValueError: fewer than four readings, unequal lengths, or too wide a gap.

    Source: ISO 1101 (circular run-out); ASME Y14.5 (full indicator movement).

    >>> out = compute_dial_runout([0, 90, 180, 270], [0.00, 0.20, 0.40, 0.20])
    >>> round(out.runout_mm, 9), round(out.harmonic.amplitude_mm, 9), round(out.harmonic.phase_deg, 6)
    (0.4, 0.2, 180.0)
    """
    angles, readings = check_turn(angles_deg, readings_mm, widest_gap_deg)
    return Runout(
        method=f"circular {direction} run-out, total indicator reading",
        direction=direction,
        count=len(readings),
        runout_mm=float(np.ptp(readings)),
        harmonic=find_first_harmonic(angles, readings),
    )


def compute_circular_runout(
    points: npt.ArrayLike,
    axis_point: npt.ArrayLike,
    axis_direction: npt.ArrayLike,
    direction: RunoutDirection = RunoutDirection.RADIAL,
    zero: npt.ArrayLike | None = None,
    widest_gap_deg: float = 120.0,
) -> Runout:
    """Circular run-out of a trace of points about a datum axis.

    Args:
        points: (n, 3) points of one trace round the axis, mm.
        axis_point: a point of the datum axis, mm.
        axis_direction: its direction; angles grow right-handed about it.
        direction: distances from the axis (radial) or heights along it (axial).
        zero: direction of angle zero, e.g. towards a keyway; by default the x axis (or y) as far as square to the axis.
        widest_gap_deg: widest part of the turn that may be without a point.

    Raises:
        ValueError: fewer than four points, a point on the axis, a bad axis, or too wide a gap.

    Source: ISO 1101 (circular run-out).

    >>> turn = np.radians(np.arange(0.0, 360.0, 10.0))
    >>> ring = np.column_stack([25 * np.cos(turn) + 0.02, 25 * np.sin(turn), 0 * turn])
    >>> round(compute_circular_runout(ring, [0, 0, 0], [0, 0, 1]).runout_mm, 9)
    0.04
    """
    angles, radii, heights = find_cylinder_coordinates(points, axis_point, axis_direction, zero)
    if float(radii.min()) <= 1e-9 * float(radii.max()):
        raise ValueError("a point lies on the datum axis itself; it has no angle about it")
    readings = radii if direction is RunoutDirection.RADIAL else heights
    return compute_dial_runout(np.degrees(angles), readings, direction, widest_gap_deg)


def compute_total_runout(
    points: npt.ArrayLike,
    axis_point: npt.ArrayLike,
    axis_direction: npt.ArrayLike,
    direction: RunoutDirection = RunoutDirection.RADIAL,
) -> TotalRunout:
    """Total run-out of a surface about a datum axis, all its points together.

    Args:
        points: (n, 3) points over the whole surface, n >= 4, mm.
        axis_point: a point of the datum axis, mm.
        axis_direction: its direction.
        direction: radial for a surface round the axis, axial for a face square to it.

    Raises:
        ValueError: fewer than four points or a bad axis.

    Source: ISO 1101 (total run-out).

    >>> cone = [[10, 0, 0], [0, 10, 0], [-10.1, 0, 20], [0, -10.1, 20]]
    >>> round(compute_total_runout(cone, [0, 0, 0], [0, 0, 1]).runout_mm, 9)
    0.1
    """
    _, radii, heights = find_cylinder_coordinates(points, axis_point, axis_direction)
    readings = radii if direction is RunoutDirection.RADIAL else heights
    return TotalRunout(
        method=f"total {direction} run-out, all points together",
        direction=direction,
        count=len(readings),
        runout_mm=float(np.ptp(readings)),
        smallest_mm=float(readings.min()),
        largest_mm=float(readings.max()),
    )


def find_cylinder_coordinates(
    points: npt.ArrayLike,
    axis_point: npt.ArrayLike,
    axis_direction: npt.ArrayLike,
    zero: npt.ArrayLike | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Angle (rad), distance from the axis and height along it of each point.

    Args:
        points: (n, 3), n >= 4, mm.
        axis_point: a point of the axis, where the height is zero.
        axis_direction: its direction.
        zero: direction of angle zero.

    Raises:
        ValueError: fewer than four points, or a bad axis.

    Source: definition of cylinder coordinates.

    >>> a, r, h = find_cylinder_coordinates([[0, 2, 5]] * 4, [0, 0, 1], [0, 0, 1])
    >>> round(float(np.degrees(a[0])), 6), float(r[0]), float(h[0])
    (90.0, 2.0, 4.0)
    """
    array = check_points(points, 3, 4, "a run-out")
    origin = np.array(as_vector3(check_axis(axis_point, "axis point")))
    frame = build_frame(
        check_axis(axis_direction, "axis direction"), None if zero is None else check_axis(zero, "zero direction")
    )
    local = (array - origin) @ frame.T
    angles = np.arctan2(local[:, 1], local[:, 0])
    return angles, np.hypot(local[:, 0], local[:, 1]), local[:, 2]


def check_axis(values: npt.ArrayLike, what: str) -> Floats:
    """Three finite numbers, or what is wrong with them.

    Raises:
        ValueError: not three finite numbers.

    Source: common practice (no source).

    >>> check_axis([0, 0, 1], "axis direction").tolist()
    [0.0, 0.0, 1.0]
    """
    array = check_values(values, f"coordinates of the {what}", 3)
    if len(array) != 3:
        raise ValueError(f"the {what} has {len(array)} coordinates; three are needed")
    return array
