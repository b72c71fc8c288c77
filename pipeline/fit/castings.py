"""ISO 8062-3: dimensional casting tolerance grades, which are total tolerances."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from pipeline.fit.sources import Source, Standing

GRADES = tuple(range(1, 17))
_STEPS_MM = (10, 16, 25, 40, 63, 100, 160, 250, 400, 630)
_TOTAL_MM: tuple[tuple[float | None, ...], ...] = (
    (0.09, 0.13, 0.18, 0.26, 0.36, 0.52, 0.74, 1, 1.5, 2, 2.8, 4.2, None, None, None, None),
    (0.1, 0.14, 0.2, 0.28, 0.38, 0.54, 0.78, 1.1, 1.6, 2.2, 3, 4.4, None, None, None, None),
    (0.11, 0.15, 0.22, 0.3, 0.42, 0.58, 0.82, 1.2, 1.7, 2.4, 3.2, 4.6, 6, 8, 10, 12),
    (0.12, 0.17, 0.24, 0.32, 0.46, 0.64, 0.9, 1.3, 1.8, 2.6, 3.6, 5, 7, 9, 11, 14),
    (0.13, 0.18, 0.26, 0.36, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 10, 12, 16),
    (0.14, 0.2, 0.28, 0.4, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2, 4.4, 6, 9, 11, 14, 18),
    (0.15, 0.22, 0.3, 0.44, 0.62, 0.88, 1.2, 1.8, 2.5, 3.6, 5, 7, 10, 12, 16, 20),
    (None, 0.24, 0.34, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 14, 18, 22),
    (None, None, 0.4, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2, 4.4, 6.2, 9, 12, 16, 20, 25),
    (None, None, None, 0.64, 0.9, 1.2, 1.8, 2.6, 3.6, 5, 7, 10, 14, None, None, None),
)


@dataclass(frozen=True)
class CastingTolerance:
    """A casting tolerance: `total_mm` from limit to limit, half on each side unless the drawing says otherwise."""

    grade: int
    nominal_mm: float
    total_mm: float
    source: Source

    @property
    def plus_minus_mm(self) -> float:
        """Half of the total, the deviation on each side in mm."""
        return self.total_mm / 2


def find_casting_tolerance(nominal_mm: float, grade: int) -> CastingTolerance:
    """Return the total linear tolerance of a casting of a DCTG grade.

    Args:
        nominal_mm: nominal size in mm, above 0 and up to 630; a size on a border belongs to the row below it.
        grade: 1 to 16 for DCTG 1 to DCTG 16.

    Errors:
        ValueError: a grade or size outside the table, or a place where the table has no value.

    Source: ISO 8062-3:2007 Table 2 (seen; the rows over 630 mm and DCTG 14 to 16 of the last row are not carried).

    Example:
        >>> tolerance = find_casting_tolerance(112.4, 6)
        >>> tolerance.total_mm, tolerance.plus_minus_mm
        (0.88, 0.44)
    """
    if grade not in GRADES:
        raise ValueError(f"DCTG {grade} does not exist; write a grade from 1 to 16")
    if not 0 < nominal_mm <= _STEPS_MM[-1]:
        raise ValueError(f"{nominal_mm:g} mm is outside the table; it covers sizes above 0 and up to 630 mm")
    total = _TOTAL_MM[bisect_left(_STEPS_MM, nominal_mm)][grade - 1]
    if total is None:
        raise ValueError(
            f"the table has no DCTG {grade} at {nominal_mm:g} mm; choose another grade or state the limits"
        )
    return CastingTolerance(grade, nominal_mm, total, Source("ISO 8062-3:2007 Table 2", Standing.SEEN))
