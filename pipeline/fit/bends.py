"""Bent sheet: K factor, bend allowance and deduction, the flat length of a profile, and K back from a trial bend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

MOST_ANGLE_DEG = 170.0


@dataclass(frozen=True)
class Bend:
    """A bend in the flat: allowance (arc of the neutral line), outside setback and deduction, all in mm."""

    angle_deg: float
    inside_radius_mm: float
    thickness_mm: float
    k_factor: float
    allowance_mm: float
    setback_mm: float
    deduction_mm: float


def compute_k_factor(inside_radius_mm: float, thickness_mm: float) -> float:
    """Return how deep the neutral line lies in the sheet, as a share of the thickness from the inside (0..0.5).

    `k = 0.65 + 0.5 log10(R / t)`, held at 1 above R / t of 5; the K factor is half of that k.

    Args:
        inside_radius_mm, thickness_mm: inside radius and sheet thickness in mm, both above 0.

    Errors:
        ValueError: a size that is not above 0, or R / t so small that the formula has no meaning (0.051 and below).

    Source: DIN 6935 (formula seen; the limit of 5 from memory).

    Example:
        >>> round(compute_k_factor(1, 1), 3), round(compute_k_factor(2, 1), 5), compute_k_factor(10, 1)
        (0.325, 0.40026, 0.5)
    """
    _refuse_impossible_sheet(inside_radius_mm, thickness_mm)
    ratio = inside_radius_mm / thickness_mm
    k = 1.0 if ratio > 5 else 0.65 + 0.5 * math.log10(ratio)
    if k <= 0:
        raise ValueError(f"R / t of {ratio:.3g} is below what DIN 6935 covers; take the deduction from a trial bend")
    return min(k, 1.0) / 2


def _refuse_impossible_sheet(inside_radius_mm: float, thickness_mm: float) -> None:
    if not (inside_radius_mm > 0 and thickness_mm > 0):
        raise ValueError(f"a bend of radius {inside_radius_mm:g} mm in {thickness_mm:g} mm sheet is impossible")


def compute_bend(
    inside_radius_mm: float, thickness_mm: float, *, angle_deg: float = 90.0, k_factor: float | None = None
) -> Bend:
    """Return allowance, setback and deduction of one bend.

    The allowance is `angle (R + K t)`, the setback from the tangent to the outside apex `tan(angle / 2) (R + t)`, and
    the deduction is two setbacks less the allowance: flat length = sum of outside lengths - deductions.

    Args:
        inside_radius_mm, thickness_mm: inside radius and sheet thickness in mm, both above 0.
        angle_deg: angle that the sheet is bent through (0 is flat, 90 a square corner), above 0 and up to 170 degrees;
            beyond, the apex runs away and legs are measured to the tangent.
        k_factor: place of the neutral line, 0 to 0.5; None takes DIN 6935.

    Errors:
        ValueError: an impossible size, angle or K factor.

    Source: geometry of the neutral line, sheet-metal handbooks; K from DIN 6935 where none is given.

    Example:
        >>> bend = compute_bend(2, 1.5, k_factor=0.4)
        >>> round(bend.allowance_mm, 4), round(bend.deduction_mm, 4)
        (4.0841, 2.9159)
    """
    _refuse_impossible_sheet(inside_radius_mm, thickness_mm)
    _refuse_impossible_angle(angle_deg)
    k = compute_k_factor(inside_radius_mm, thickness_mm) if k_factor is None else k_factor
    if not 0 <= k <= 0.5:
        raise ValueError(
            f"a K factor of {k:g} is outside 0 to 0.5; the neutral line lies in the inner half of the sheet"
        )
    angle = math.radians(angle_deg)
    allowance = angle * (inside_radius_mm + k * thickness_mm)
    setback = math.tan(angle / 2) * (inside_radius_mm + thickness_mm)
    return Bend(angle_deg, inside_radius_mm, thickness_mm, k, allowance, setback, 2 * setback - allowance)


def _refuse_impossible_angle(angle_deg: float) -> None:
    if not 0 < angle_deg <= MOST_ANGLE_DEG:
        raise ValueError(
            f"a bend through {angle_deg:g}° is outside 0 to {MOST_ANGLE_DEG:g}°; measure legs to the tangent"
        )


def compute_k_from_deduction(
    inside_radius_mm: float, thickness_mm: float, deduction_mm: float, *, angle_deg: float = 90.0
) -> float:
    """Return the K factor that a measured bend deduction comes from, so that a trial bend sets the shop's own figure.

    Args:
        inside_radius_mm, thickness_mm, deduction_mm: as measured on the trial, in mm (or all in inches).
        angle_deg: angle that the sheet was bent through, above 0 and up to 170 degrees.

    Errors:
        ValueError: impossible sizes, or a deduction whose K factor is outside 0 to 0.6: a figure was misread.

    Source: the deduction of `compute_bend`, solved for K.

    Example:
        >>> round(compute_k_from_deduction(0.03, 0.048, 0.072), 4)
        0.4891
    """
    _refuse_impossible_sheet(inside_radius_mm, thickness_mm)
    _refuse_impossible_angle(angle_deg)
    angle = math.radians(angle_deg)
    allowance = 2 * math.tan(angle / 2) * (inside_radius_mm + thickness_mm) - deduction_mm
    k = (allowance / angle - inside_radius_mm) / thickness_mm
    if not 0 <= k <= 0.6:
        raise ValueError(
            f"a deduction of {deduction_mm:g} gives a K factor of {k:.3f}; check radius, thickness and lengths"
        )
    return k


def compute_flat_length(outside_lengths_mm: Sequence[float], bends: Sequence[Bend]) -> float:
    """Return the flat length of a bent profile in mm: outside lengths to the apexes less a deduction for each bend.

    Args:
        outside_lengths_mm: lengths of the legs over the outside, in order, in mm; one more than the bends.
        bends: the bends between them, in order.

    Errors:
        ValueError: counts that do not match, or a leg too short for its bends.

    Source: geometry of the neutral line, sheet-metal handbooks.

    Example:
        >>> round(compute_flat_length([20, 30], [compute_bend(2, 1.5, k_factor=0.4)]), 4)
        47.0841
    """
    if len(outside_lengths_mm) != len(bends) + 1:
        raise ValueError(
            f"{len(outside_lengths_mm)} legs and {len(bends)} bends do not match; write one leg more than bends"
        )
    setbacks = [0.0, *(bend.setback_mm for bend in bends), 0.0]
    for number, length in enumerate(outside_lengths_mm):
        if length < setbacks[number] + setbacks[number + 1] - 1e-9:
            raise ValueError(f"leg {number + 1} of {length:g} mm is shorter than the bends at its ends")
    return math.fsum(outside_lengths_mm) - math.fsum(bend.deduction_mm for bend in bends)
