"""Roundness and eccentricity of a polar trace: radius against angle about a turning axis."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from pipeline.measuring.minimum_zone import find_minimum_zone
from pipeline.measuring.points import Floats, check_values, find_covered_arc


class TraceMethod(StrEnum):
    """How the reference circle of a polar trace is found."""

    LEAST_SQUARES = "least-squares circle, first harmonic of the trace (limacon)"
    MINIMUM_ZONE = "minimum zone circles, first harmonic of the trace (limacon)"


@dataclass(frozen=True, slots=True)
class PolarTrace:
    """Reference circle of a polar trace and what is left of the trace.

    Attributes:
        method: how it was found.
        count: readings used.
        radius_mm: mean radius.
        eccentricity_mm: how far the circle's centre lies from the turning axis.
        phase_deg: angle towards which it lies, 0 to 360.
        roundness_mm: peak to valley of what is left (ISO 12181-1, RONt).
        limacon_mm: about how much of the roundness may be left over from the eccentricity itself,
            eccentricity squared over twice the radius.
        deviations_mm: what is left at each angle, shape (n,).
    """

    method: TraceMethod
    count: int
    radius_mm: float
    eccentricity_mm: float
    phase_deg: float
    roundness_mm: float
    limacon_mm: float
    deviations_mm: Floats = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Harmonic:
    """First harmonic of readings round a turn, apart from the rest.

    Attributes:
        mean_mm: mean level.
        amplitude_mm: half of its peak to valley: eccentricity of a radial trace, wobble of an axial one.
        phase_deg: angle of its high spot, 0 to 360.
        rest_mm: peak to valley of what is left.
        rest: what is left at each angle, shape (n,).
    """

    mean_mm: float
    amplitude_mm: float
    phase_deg: float
    rest_mm: float
    rest: Floats = field(compare=False, repr=False)


def check_turn(angles_deg: npt.ArrayLike, readings: npt.ArrayLike, widest_gap_deg: float) -> tuple[Floats, Floats]:
    """Angles (rad) and readings of one turn, or what is wrong with them.

    Args:
        angles_deg: where each reading was taken, degrees.
        readings: the readings, mm.
        widest_gap_deg: widest part of the turn that may be without a reading.

    Raises:
        ValueError: unequal lengths, fewer than four readings, or too wide a gap.

    Source: common practice (no source).

    >>> check_turn([0, 90, 180, 270], [0, 1, 0, 1], 120)[0].round(4).tolist()
    [0.0, 1.5708, 3.1416, 4.7124]
    """
    angles = np.radians(check_values(angles_deg, "angles", 4))
    values = check_values(readings, "readings", 4)
    if len(angles) != len(values):
        raise ValueError(f"{len(angles)} angles but {len(values)} readings; each reading needs its angle")
    gap = 360.0 - find_covered_arc(angles)
    if gap > widest_gap_deg + 1e-9:
        raise ValueError(
            f"{gap:.0f} degrees of the turn are without a reading ({widest_gap_deg:g} allowed); "
            "readings over part of a turn say nothing of the whole turn"
        )
    return angles, values


def find_first_harmonic(angles_rad: Floats, readings: Floats) -> Harmonic:
    """Split readings round a turn into mean, first harmonic and the rest, by least squares.

    Args:
        angles_rad: angles in radians, at any spacing, shape (n,), n >= 3.
        readings: readings in mm, shape (n,).

    Source: Fourier analysis by least squares (textbook).

    >>> turn = np.radians([0.0, 90.0, 180.0, 270.0])
    >>> part = find_first_harmonic(turn, 10 + 0.02 * np.cos(turn - np.radians(90)))
    >>> round(part.amplitude_mm, 9), round(part.phase_deg, 6), round(part.rest_mm, 9)
    (0.02, 90.0, 0.0)
    """
    columns = np.column_stack([np.ones(len(angles_rad)), np.cos(angles_rad), np.sin(angles_rad)])
    level = float(readings.mean())
    mean, cosine, sine = np.linalg.lstsq(columns, readings - level, rcond=None)[0].tolist()
    rest = readings - level - columns @ np.array([mean, cosine, sine])
    return Harmonic(
        mean_mm=level + mean,
        amplitude_mm=float(np.hypot(cosine, sine)),
        phase_deg=float(np.degrees(np.arctan2(sine, cosine)) % 360.0),
        rest_mm=float(np.ptp(rest)),
        rest=rest,
    )


def fit_polar_trace(
    angles_deg: npt.ArrayLike,
    radii_mm: npt.ArrayLike,
    method: TraceMethod = TraceMethod.LEAST_SQUARES,
    widest_gap_deg: float = 120.0,
) -> PolarTrace:
    """Roundness of a polar trace about its own reference circle, eccentricity taken out.

    The first harmonic stands for the eccentricity. That is exact for small eccentricities only: a perfect circle of
    radius R that is off by e leaves about e^2 / (2 R), given as `limacon_mm`. Centre the part better, or fit the points
    themselves with `fit_circle`, when that matters.

    Args:
        angles_deg: angles of the readings in degrees, at any spacing.
        radii_mm: distances from the turning axis in mm.
        method: least squares or minimum zone.
        widest_gap_deg: widest part of the turn that may be without a reading.

    Raises:
        ValueError: fewer than four readings, unequal lengths, a radius not above zero, or too wide a gap.

    Source: ISO 12181-1 and -2 (roundness, least-squares and minimum-zone reference circles).

    >>> turn = np.arange(360.0)
    >>> t = np.radians(turn)
    >>> trace = fit_polar_trace(turn, 25 + 0.020 * np.cos(t - 0.3) + 0.005 * np.cos(3 * t))
    >>> round(trace.roundness_mm, 9), round(trace.eccentricity_mm, 9)
    (0.01, 0.02)
    """
    angles, radii = check_turn(angles_deg, radii_mm, widest_gap_deg)
    if float(radii.min()) <= 0:
        raise ValueError(f"a radius of {radii.min():g} mm is given; radii are distances from the axis, above zero")
    level = float(radii.mean())
    columns = np.column_stack([np.ones(len(angles)), np.cos(angles), np.sin(angles)])
    if method is TraceMethod.MINIMUM_ZONE:
        model = np.array(find_minimum_zone(radii - level, columns).parameters)
    else:
        model = np.linalg.lstsq(columns, radii - level, rcond=None)[0]
    deviations = radii - level - columns @ model
    eccentricity = float(np.hypot(model[1], model[2]))
    radius = level + float(model[0])
    return PolarTrace(
        method=method,
        count=len(radii),
        radius_mm=radius,
        eccentricity_mm=eccentricity,
        phase_deg=float(np.degrees(np.arctan2(model[2], model[1])) % 360.0),
        roundness_mm=float(np.ptp(deviations)),
        limacon_mm=eccentricity**2 / (2 * radius),
        deviations_mm=deviations,
    )
