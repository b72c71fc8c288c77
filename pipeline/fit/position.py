"""Tolerance of position: how far a hole or pin is off, what its size gives back at Ⓜ, and the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class PositionResult:
    """Position of a feature of size against its tolerance; all diameters of zones in mm.

    `margin_mm` is what is left of the allowed zone (negative: it is passed). `virtual_mm` is the size of the gauge pin
    (for a hole) or gauge hole (for a pin) that checks size and place together, None without Ⓜ.
    """

    deviation_mm: float
    bonus_mm: float
    allowed_mm: float
    margin_mm: float
    virtual_mm: float | None
    conforms: bool


def compute_position(dx_mm: float, dy_mm: float, dz_mm: float = 0.0) -> float:
    """Return the diameter of the smallest zone about the true position that holds the feature's axis, in mm.

    Args:
        dx_mm, dy_mm: distances of the axis from its true position in mm, with or without sign.
        dz_mm: third distance in mm for a spherical zone; 0 for a hole or pin.

    Errors:
        ValueError: a distance that is not finite.

    Source: ISO 1101:2017 17.12 and ASME Y14.5-2018 (from memory): twice the distance from true position.

    Example:
        >>> round(compute_position(0.08, 0.06), 12)
        0.2
    """
    if not all(math.isfinite(value) for value in (dx_mm, dy_mm, dz_mm)):
        raise ValueError(f"the distances {dx_mm}, {dy_mm}, {dz_mm} mm are not all finite")
    return 2 * math.sqrt(dx_mm**2 + dy_mm**2 + dz_mm**2)


def check_position(
    dx_mm: float,
    dy_mm: float,
    *,
    tolerance_mm: float,
    at_mmc: bool = False,
    is_hole: bool = True,
    actual_mm: float | None = None,
    least_mm: float | None = None,
    greatest_mm: float | None = None,
) -> PositionResult:
    """Return whether a hole or pin lies inside its position tolerance, with the bonus of its size at Ⓜ.

    Args:
        dx_mm, dy_mm: distances of the axis from its true position in mm.
        tolerance_mm: diameter of the position zone in mm, 0 or more.
        at_mmc: whether the drawing has Ⓜ; then the actual size and both limits of size are needed.
        is_hole: True for a hole (maximum material is its least size), False for a pin.
        actual_mm, least_mm, greatest_mm: actual (mating) size and limits of size in mm.

    Errors:
        ValueError: a negative tolerance, limits the wrong way round, a missing size at Ⓜ, or an actual size outside its
            limits: such a part is refused for size before its position is asked for.

    Source: ISO 2692:2021 and ASME Y14.5-2018 (from memory): bonus = departure from the maximum material size.

    Example:
        >>> result = check_position(0.08, 0.06, tolerance_mm=0.2, at_mmc=True,
        ...                         actual_mm=10.12, least_mm=10.0, greatest_mm=10.2)
        >>> round(result.bonus_mm, 9), round(result.allowed_mm, 9), result.conforms
        (0.12, 0.32, True)
    """
    if not tolerance_mm >= 0:
        raise ValueError(f"a position tolerance of {tolerance_mm:g} mm is impossible; it is 0 or more")
    deviation = compute_position(dx_mm, dy_mm)
    if not at_mmc:
        return _judge_position(deviation, 0.0, tolerance_mm, None)
    if actual_mm is None or least_mm is None or greatest_mm is None:
        raise ValueError("a position at maximum material needs the actual size and both limits of size")
    if greatest_mm < least_mm:
        raise ValueError(f"the limits of size {least_mm:g} to {greatest_mm:g} mm are the wrong way round")
    if not least_mm <= actual_mm <= greatest_mm:
        raise ValueError(f"the size {actual_mm:g} mm is outside {least_mm:g} to {greatest_mm:g} mm: refuse it for size")
    bonus = actual_mm - least_mm if is_hole else greatest_mm - actual_mm
    virtual = least_mm - tolerance_mm if is_hole else greatest_mm + tolerance_mm
    return _judge_position(deviation, bonus, tolerance_mm, virtual)


def _judge_position(deviation: float, bonus: float, tolerance: float, virtual: float | None) -> PositionResult:
    allowed = tolerance + bonus
    margin = allowed - deviation
    return PositionResult(deviation, bonus, allowed, margin, virtual, conforms=margin >= -1e-9)


def compute_round_zone(plus_minus_mm: float) -> float:
    """Return the diameter of the round zone through the corners of a ± square zone, in mm.

    The round zone holds 57 % more area than the square one at the same worst corner.

    Args:
        plus_minus_mm: half of the side of the square zone in mm, 0 or more.

    Errors:
        ValueError: a negative half side.

    Source: geometry of a square in its circle.

    Example:
        >>> round(compute_round_zone(0.1), 5)
        0.28284
    """
    if not plus_minus_mm >= 0:
        raise ValueError(f"± {plus_minus_mm:g} mm is impossible; it is 0 or more")
    return 2 * math.sqrt(2) * plus_minus_mm
