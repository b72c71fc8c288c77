"""Hardness conversion for steel, inside the published table only."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from pipeline.measuring.points import check_number


class HardnessScale(StrEnum):
    """Scales of the table."""

    HRC = "HRC"
    HV = "HV"
    HBW = "HBW"
    HRA = "HRA"
    RM = "Rm (MPa)"


SOURCE = "ASTM A370-03a, table 2 (as ASTM E140, table 1), rows HRC 40 to 68"
_SCALES = (HardnessScale.HRC, HardnessScale.HV, HardnessScale.HBW, HardnessScale.HRA, HardnessScale.RM)

# HRC, HV, HBW (3000 kgf), HRA, approximate tensile strength in MPa; None where the table is blank.
TABLE: tuple[tuple[float, float, float | None, float, float | None], ...] = (
    (68, 940, None, 85.6, None),
    (67, 900, None, 85.0, None),
    (66, 865, None, 84.5, None),
    (65, 832, 739, 83.9, None),
    (64, 800, 722, 83.4, None),
    (63, 772, 706, 82.8, None),
    (62, 746, 688, 82.3, None),
    (61, 720, 670, 81.8, None),
    (60, 697, 654, 81.2, None),
    (59, 674, 634, 80.7, 2420),
    (58, 653, 615, 80.1, 2330),
    (57, 633, 595, 79.6, 2240),
    (56, 613, 577, 79.0, 2160),
    (55, 595, 560, 78.5, 2070),
    (54, 577, 543, 78.0, 2010),
    (53, 560, 525, 77.4, 1950),
    (52, 544, 512, 76.8, 1880),
    (51, 528, 496, 76.3, 1820),
    (50, 513, 482, 75.9, 1760),
    (49, 498, 468, 75.2, 1700),
    (48, 484, 455, 74.7, 1640),
    (47, 471, 442, 74.1, 1580),
    (46, 458, 432, 73.6, 1520),
    (45, 446, 421, 73.1, 1480),
    (44, 434, 409, 72.5, 1430),
    (43, 423, 400, 72.0, 1390),
    (42, 412, 390, 71.5, 1340),
    (41, 402, 381, 70.9, 1300),
    (40, 392, 371, 70.4, 1250),
)


@dataclass(frozen=True, slots=True)
class HardnessConversion:
    """A converted hardness.

    Attributes:
        value: in the wanted scale; about two figures of it mean something.
        scale: wanted scale.
        given: value that was converted.
        given_scale: its scale.
        method: a row of the table, or linear interpolation between which rows.
        source: the table.
        caution: what a conversion is not.
    """

    value: float
    scale: HardnessScale
    given: float
    given_scale: HardnessScale
    method: str
    source: str = SOURCE
    caution: str = "non-austenitic steel only; a converted value is no proof where a drawing names another scale"


def convert_hardness(value: float, given: HardnessScale, wanted: HardnessScale) -> HardnessConversion:
    """Convert a hardness of non-austenitic steel, only between rows that the table holds.

    Args:
        value: hardness (or tensile strength in MPa).
        given: its scale.
        wanted: scale wanted.

    Raises:
        ValueError: outside the rows in which both scales stand, or the same scale twice.

    Source: ASTM A370-03a table 2 (equals ASTM E140 table 1 but for HB 482 at HRC 50, 481 there); linear between rows.

    >>> convert_hardness(60, HardnessScale.HRC, HardnessScale.HV).value
    697.0
    >>> convert_hardness(45.5, HardnessScale.HRC, HardnessScale.HV).value
    452.0
    """
    if given is wanted:
        raise ValueError(f"both scales are {given}; nothing to convert")
    number = check_number(value, f"hardness in {given}")
    rows = _list_rows(given, wanted)
    low, high = rows[0], rows[-1]
    if not low[0] <= number <= high[0]:
        raise ValueError(
            f"{given} {number:g} is outside the table for {wanted}: it runs from {low[0]:g} to {high[0]:g}; "
            "measure in the wanted scale instead"
        )
    below, above = next(pair for pair in pairwise(rows) if number <= pair[1][0])
    return _between(number, below, above, given, wanted)


def _list_rows(given: HardnessScale, wanted: HardnessScale) -> list[tuple[float, float, float]]:
    """Rising (given, wanted, HRC of the row) where the table has both."""
    first, second = _SCALES.index(given), _SCALES.index(wanted)
    rows = []
    for row in reversed(TABLE):
        x, y = row[first], row[second]
        if x is not None and y is not None:
            rows.append((float(x), float(y), float(row[0])))
    return rows


def _between(
    number: float,
    below: tuple[float, float, float],
    above: tuple[float, float, float],
    given: HardnessScale,
    wanted: HardnessScale,
) -> HardnessConversion:
    for row in (below, above):
        if number == row[0]:
            return HardnessConversion(row[1], wanted, number, given, f"row HRC {row[2]:g} of the table")
    part = (number - below[0]) / (above[0] - below[0])
    result = below[1] + part * (above[1] - below[1])
    return HardnessConversion(
        result, wanted, number, given, f"linear interpolation between rows HRC {below[2]:g} and {above[2]:g}"
    )
