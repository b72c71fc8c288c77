"""ISO 2768-1: what a dimension without a tolerance of its own is allowed, for lengths, broken edges and angles."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.sources import Source, Standing


class GeneralClass(StrEnum):
    """Tolerance class of ISO 2768-1, written on the drawing as, say, ISO 2768-m."""

    FINE = "f"
    MEDIUM = "m"
    COARSE = "c"
    VERY_COARSE = "v"


@dataclass(frozen=True)
class GeneralTolerance:
    """A symmetrical general tolerance: ± `plus_minus` in `unit` (mm or degrees)."""

    general_class: GeneralClass
    nominal: float
    plus_minus: float
    unit: str
    source: Source


_LINEAR_STEPS_MM = (3, 6, 30, 120, 400, 1000, 2000, 4000)
_LINEAR_MM: dict[GeneralClass, tuple[float | None, ...]] = {
    GeneralClass.FINE: (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    GeneralClass.MEDIUM: (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2),
    GeneralClass.COARSE: (0.2, 0.3, 0.5, 0.8, 1.2, 2, 3, 4),
    GeneralClass.VERY_COARSE: (None, 0.5, 1, 1.5, 2.5, 4, 6, 8),
}
_EDGE_STEPS_MM = (3, 6)
_EDGE_MM: dict[GeneralClass, tuple[float, ...]] = {
    GeneralClass.FINE: (0.2, 0.5, 1),
    GeneralClass.MEDIUM: (0.2, 0.5, 1),
    GeneralClass.COARSE: (0.4, 1, 2),
    GeneralClass.VERY_COARSE: (0.4, 1, 2),
}
_ANGLE_STEPS_MM = (10, 50, 120, 400)
_ANGLE_MINUTES: dict[GeneralClass, tuple[int, ...]] = {
    GeneralClass.FINE: (60, 30, 20, 10, 5),
    GeneralClass.MEDIUM: (60, 30, 20, 10, 5),
    GeneralClass.COARSE: (90, 60, 30, 15, 10),
    GeneralClass.VERY_COARSE: (180, 120, 60, 30, 20),
}
_LEAST_MM = 0.5


def find_linear_tolerance(nominal_mm: float, general_class: GeneralClass | str) -> GeneralTolerance:
    """Return the general tolerance of a length, diameter, radius or distance.

    Args:
        nominal_mm: nominal size in mm, 0.5 to 4000 (f: to 2000; v: above 3); a size on a border belongs below it.
        general_class: f, m, c or v.

    Errors:
        ValueError: an unknown class, or a size for which the class has no value: the drawing has to state it there.

    Source: ISO 2768-1:1989 Table 1 (seen in two public tables that agree).

    Example:
        >>> find_linear_tolerance(45, "m").plus_minus
        0.3
    """
    chosen = _read_class(general_class)
    if not _LEAST_MM <= nominal_mm <= _LINEAR_STEPS_MM[-1]:
        raise ValueError(f"{nominal_mm:g} mm is outside 0.5 to 4000 mm; state the tolerance beside the dimension")
    value = _LINEAR_MM[chosen][bisect_left(_LINEAR_STEPS_MM, nominal_mm)]
    if value is None:
        raise ValueError(f"class {chosen} has no value at {nominal_mm:g} mm; state the tolerance beside the dimension")
    return GeneralTolerance(chosen, nominal_mm, value, "mm", Source("ISO 2768-1:1989 Table 1", Standing.SEEN))


def find_broken_edge_tolerance(nominal_mm: float, general_class: GeneralClass | str) -> GeneralTolerance:
    """Return the general tolerance of an external radius or chamfer height.

    Args:
        nominal_mm: nominal radius or chamfer height in mm, 0.5 or more; a size on a border belongs below it.
        general_class: f, m, c or v.

    Errors:
        ValueError: an unknown class or a size below 0.5 mm.

    Source: ISO 2768-1:1989 Table 2 (seen in a public table, all four classes).

    Example:
        >>> find_broken_edge_tolerance(2, "c").plus_minus
        0.4
    """
    chosen = _read_class(general_class)
    if not nominal_mm >= _LEAST_MM:
        raise ValueError(f"{nominal_mm:g} mm is below 0.5 mm; state the tolerance beside the dimension")
    value = _EDGE_MM[chosen][bisect_left(_EDGE_STEPS_MM, nominal_mm)]
    return GeneralTolerance(chosen, nominal_mm, value, "mm", Source("ISO 2768-1:1989 Table 2", Standing.SEEN))


def find_angle_tolerance(shorter_leg_mm: float, general_class: GeneralClass | str) -> GeneralTolerance:
    """Return the general tolerance of an angle in degrees, by the length of its shorter leg.

    Args:
        shorter_leg_mm: length of the shorter leg in mm, above 0; a length on a border belongs below it.
        general_class: f, m, c or v.

    Errors:
        ValueError: an unknown class or a leg that is not above 0.

    Source: ISO 2768-1:1989 Table 3 (from memory; f, m and c also seen on a public page, which misprints v as c).

    Example:
        >>> find_angle_tolerance(30, "m").plus_minus
        0.5
    """
    chosen = _read_class(general_class)
    if not shorter_leg_mm > 0:
        raise ValueError(f"a leg of {shorter_leg_mm:g} mm is impossible; write the length of the shorter leg")
    minutes = _ANGLE_MINUTES[chosen][bisect_left(_ANGLE_STEPS_MM, shorter_leg_mm)]
    source = Source("ISO 2768-1:1989 Table 3", Standing.FROM_MEMORY)
    return GeneralTolerance(chosen, shorter_leg_mm, minutes / 60, "deg", source)


def _read_class(general_class: GeneralClass | str) -> GeneralClass:
    try:
        return GeneralClass(general_class)
    except ValueError:
        raise ValueError(f'"{general_class}" is not a class of ISO 2768-1; write f, m, c or v') from None
