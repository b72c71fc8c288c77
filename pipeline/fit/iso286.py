"""ISO 286 limits and fits to 500 mm: a tolerance class to its limits, a pair of classes to its clearance."""

from __future__ import annotations

import re
from bisect import bisect_left
from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.iso286_tables import (
    CLEARANCE_LETTERS,
    FINE_STEPS_MM,
    GRADES,
    MAIN_STEPS_MM,
    SHAFT_LETTERS,
    SHAFT_LOWER_FINE_UM,
    SHAFT_LOWER_UM,
    SHAFT_UPPER_FINE_UM,
    SHAFT_UPPER_UM,
    STANDARD_TOLERANCES_UM,
)


class FitKind(StrEnum):
    """What a pair of limits always, sometimes or never leaves."""

    CLEARANCE = "clearance fit"
    TRANSITION = "transition fit"
    INTERFERENCE = "interference fit"


@dataclass(frozen=True)
class SizeLimits:
    """Limits of one tolerance class at one size; deviations in µm, sizes in mm."""

    tolerance_class: str
    nominal_mm: float
    upper_um: float
    lower_um: float

    @property
    def is_hole(self) -> bool:
        """Whether the class is one of a hole (a capital letter)."""
        return self.tolerance_class[0].isupper()

    @property
    def upper_mm(self) -> float:
        """Upper deviation in mm."""
        return self.upper_um / 1000

    @property
    def lower_mm(self) -> float:
        """Lower deviation in mm."""
        return self.lower_um / 1000

    @property
    def greatest_mm(self) -> float:
        """Greatest size in mm."""
        return self.nominal_mm + self.upper_mm

    @property
    def least_mm(self) -> float:
        """Least size in mm."""
        return self.nominal_mm + self.lower_mm


@dataclass(frozen=True)
class FitRange:
    """Least and greatest clearance of a hole on a shaft, in µm; a negative clearance is an interference."""

    hole: SizeLimits
    shaft: SizeLimits
    least_um: float
    greatest_um: float
    kind: FitKind

    @property
    def words(self) -> str:
        """The fit in one sentence for a page."""
        name = f"{self.hole.nominal_mm:g} {self.hole.tolerance_class}/{self.shaft.tolerance_class}"
        if self.kind is FitKind.CLEARANCE:
            return f"{name}: clearance of {self.least_um:g} to {self.greatest_um:g} µm."
        if self.kind is FitKind.INTERFERENCE:
            return f"{name}: interference of {0 - self.greatest_um:g} to {-self.least_um:g} µm."
        return f"{name}: from {-self.least_um:g} µm interference to {self.greatest_um:g} µm clearance."


def compute_standard_tolerance(nominal_mm: float, grade: int) -> float:
    """Return the standard tolerance of an IT grade in µm.

    Args:
        nominal_mm: nominal size in mm, above 0 and up to 500; a size on a border belongs to the range below it.
        grade: 4 to 16 for IT4 to IT16. IT14 and coarser are not for sizes of 1 mm and less.

    Errors:
        ValueError: a size or grade that the table does not cover.

    Source: ISO 286-1:2010 Table 1.

    Example:
        >>> compute_standard_tolerance(25, 7), compute_standard_tolerance(30, 7), compute_standard_tolerance(30.01, 7)
        (21, 21, 25)
    """
    if grade not in GRADES:
        raise ValueError(f"IT{grade} is not in the table; write a grade from {GRADES[0]} to {GRADES[-1]}")
    index = _find_range(nominal_mm, MAIN_STEPS_MM)
    if grade >= 14 and nominal_mm <= 1:
        raise ValueError(f"IT{grade} is not for sizes of 1 mm and less; the size is {nominal_mm:g} mm")
    return STANDARD_TOLERANCES_UM[grade][index]


def _find_range(nominal_mm: float, steps: tuple[int, ...]) -> int:
    if not 0 < nominal_mm <= steps[-1]:
        raise ValueError(f"{nominal_mm:g} mm is outside the table; it covers sizes above 0 and up to {steps[-1]} mm")
    return bisect_left(steps, nominal_mm)


def compute_limits(nominal_mm: float, tolerance_class: str) -> SizeLimits:
    """Return the limits of a tolerance class, such as `H7` for a hole or `g6` for a shaft.

    Holes A to H mirror the shafts; K, M and N up to IT8 and P to U up to IT7 take the special rule, which adds the
    difference Δ of the grade to the grade below, so that H7/p6 and P7/h6 come to the same fit.

    Args:
        nominal_mm: nominal size in mm, above 0 and up to 500.
        tolerance_class: a letter of c d e f g h js k m n p r s t u (capital for a hole) and a grade of 4 to 16.

    Errors:
        ValueError: a class or size that these tables do not cover (among them j and J, whose limits follow no rule).

    Source: ISO 286-1:2010 Tables 1 to 5 and 4.3.2.5 (Δ); M6 over 250 to 315 mm is -9 µm, the standard's own exception.

    Example:
        >>> limits = compute_limits(40, "P7")
        >>> limits.upper_um, limits.lower_um, round(limits.least_mm, 3)
        (-17, -42, 39.958)
    """
    letter, grade = _parse_class(tolerance_class)
    tolerance = compute_standard_tolerance(nominal_mm, grade)
    if letter.lower() == "js":
        return SizeLimits(tolerance_class, nominal_mm, tolerance / 2, -tolerance / 2)
    if letter.islower():
        upper, lower = _find_shaft_deviations(letter, grade, nominal_mm, tolerance)
        return SizeLimits(tolerance_class, nominal_mm, upper, lower)
    if letter.lower() in CLEARANCE_LETTERS:
        lower = 0 - _find_shaft_deviations(letter.lower(), grade, nominal_mm, tolerance)[0]
        return SizeLimits(tolerance_class, nominal_mm, lower + tolerance, lower)
    upper = _find_hole_upper(letter, grade, nominal_mm)
    return SizeLimits(tolerance_class, nominal_mm, upper, upper - tolerance)


def _parse_class(tolerance_class: str) -> tuple[str, int]:
    found = re.fullmatch(r"([a-z]{1,2}|[A-Z]{1,2})(\d{1,2})", tolerance_class.strip())
    if found is None:
        raise ValueError(f'"{tolerance_class}" is not a tolerance class; write a letter and a grade, e.g. H7 or g6')
    letter, grade = found.group(1), int(found.group(2))
    if letter.lower() not in SHAFT_LETTERS:
        raise ValueError(f'the letter of "{tolerance_class}" is not in the table; it has {", ".join(SHAFT_LETTERS)}')
    return letter, grade


def _find_shaft_deviations(letter: str, grade: int, nominal_mm: float, tolerance: float) -> tuple[float, float]:
    """Return upper and lower deviation of a shaft in µm."""
    main, fine = _find_range(nominal_mm, MAIN_STEPS_MM), _find_range(nominal_mm, FINE_STEPS_MM)
    if letter in CLEARANCE_LETTERS:
        upper = SHAFT_UPPER_UM[letter][main] if letter in SHAFT_UPPER_UM else SHAFT_UPPER_FINE_UM[letter][fine]
        return upper, upper - tolerance
    lower = _find_shaft_lower(letter, grade, main, fine)
    if lower is None:
        raise ValueError(f"the standard gives no {letter} for {nominal_mm:g} mm; it starts above 24 mm")
    return lower + tolerance, lower


def _find_shaft_lower(letter: str, grade: int, main: int, fine: int) -> float | None:
    if letter == "k" and not 4 <= grade <= 7:
        return 0
    return SHAFT_LOWER_UM[letter][main] if letter in SHAFT_LOWER_UM else SHAFT_LOWER_FINE_UM[letter][fine]


def _find_hole_upper(letter: str, grade: int, nominal_mm: float) -> float:
    """Return the upper deviation of a hole K to U in µm."""
    main, fine = _find_range(nominal_mm, MAIN_STEPS_MM), _find_range(nominal_mm, FINE_STEPS_MM)
    if letter in ("K", "N") and grade > 8:
        return _find_coarse_upper(letter, nominal_mm)
    if letter == "M" and grade == 6 and 250 < nominal_mm <= 315:
        return -9
    shaft_grade = 7 if letter == "K" else grade  # k has its value only at IT4 to IT7
    lower = _find_shaft_lower(letter.lower(), shaft_grade, main, fine)
    if lower is None:
        raise ValueError(f"the standard gives no {letter} for {nominal_mm:g} mm; it starts above 24 mm")
    special = nominal_mm > 3 and grade <= (8 if letter in ("K", "M", "N") else 7)
    difference = STANDARD_TOLERANCES_UM[grade][main] - STANDARD_TOLERANCES_UM[grade - 1][main] if special else 0
    return difference - lower


def _find_coarse_upper(letter: str, nominal_mm: float) -> float:
    """Return the upper deviation of K and N coarser than IT8 in µm, which the standard gives outside the rule."""
    if letter == "K":
        if nominal_mm > 3:
            raise ValueError(f"the standard gives no K coarser than IT8 above 3 mm; the size is {nominal_mm:g} mm")
        return 0
    if nominal_mm <= 1:
        raise ValueError(f"the standard gives no N coarser than IT8 up to 1 mm; the size is {nominal_mm:g} mm")
    return -4 if nominal_mm <= 3 else 0


def compute_fit(nominal_mm: float, classes: str) -> FitRange:
    """Return the clearance range of a fit, such as `H7/g6` (hole first).

    Args:
        nominal_mm: common nominal size in mm, above 0 and up to 500.
        classes: class of the hole, a slash, class of the shaft.

    Errors:
        ValueError: the classes are not a hole and a shaft, or the tables do not cover them.

    Source: ISO 286-1:2010, 3.3 (clearance, interference, transition fit).

    Example:
        >>> compute_fit(25, "H7/g6").words
        '25 H7/g6: clearance of 7 to 41 µm.'
    """
    parts = [part.strip() for part in classes.split("/")]
    if len(parts) != 2 or not parts[0][:1].isupper() or not parts[1][:1].islower():
        raise ValueError(f'"{classes}" is not a fit; write the hole, a slash and the shaft, e.g. H7/g6')
    hole, shaft = (compute_limits(nominal_mm, part) for part in parts)
    least, greatest = hole.lower_um - shaft.upper_um, hole.upper_um - shaft.lower_um
    return FitRange(hole, shaft, least, greatest, _judge_fit(least, greatest))


def _judge_fit(least_um: float, greatest_um: float) -> FitKind:
    if least_um >= 0:
        return FitKind.CLEARANCE
    return FitKind.INTERFERENCE if greatest_um <= 0 else FitKind.TRANSITION
