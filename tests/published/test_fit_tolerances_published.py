"""General and casting tolerances, position and wheel run-out against printed tables."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.castings import GRADES, find_casting_tolerance
from pipeline.fit.general_tolerances import find_angle_tolerance, find_broken_edge_tolerance, find_linear_tolerance
from pipeline.fit.position import check_position, compute_position, compute_round_zone
from pipeline.fit.runout_limits import RunoutDirection, find_runout_limit

# ISO 2768-1:1989 Table 1, by upper end of the range: f, m, c, v (seen in two public tables that agree).
LINEAR = (
    (3, 0.05, 0.1, 0.2, None), (6, 0.05, 0.1, 0.3, 0.5), (30, 0.1, 0.2, 0.5, 1), (120, 0.15, 0.3, 0.8, 1.5),
    (400, 0.2, 0.5, 1.2, 2.5), (1000, 0.3, 0.8, 2, 4), (2000, 0.5, 1.2, 3, 6), (4000, None, 2, 4, 8),
)  # fmt: skip

# ISO 2768-1:1989 Table 2 for 0.5-3, over 3-6, over 6 mm (seen in a public table).
EDGES = {"f": (0.2, 0.5, 1), "m": (0.2, 0.5, 1), "c": (0.4, 1, 2), "v": (0.4, 1, 2)}

# ISO 2768-1:1989 Table 3 in minutes for legs to 10, 50, 120, 400 and over (from memory; f, m, c seen as well).
ANGLES = {"f": (60, 30, 20, 10, 5), "m": (60, 30, 20, 10, 5), "c": (90, 60, 30, 15, 10), "v": (180, 120, 60, 30, 20)}

# ISO 8062-3:2007 Table 2, total tolerances in mm of DCTG 1 to 16 by upper end of the range (seen, text of a page image).
CASTINGS = """
10 .09 .13 .18 .26 .36 .52 .74 1 1.5 2 2.8 4.2
16 .1 .14 .2 .28 .38 .54 .78 1.1 1.6 2.2 3 4.4
25 .11 .15 .22 .3 .42 .58 .82 1.2 1.7 2.4 3.2 4.6 6 8 10 12
40 .12 .17 .24 .32 .46 .64 .9 1.3 1.8 2.6 3.6 5 7 9 11 14
63 .13 .18 .26 .36 .5 .7 1 1.4 2 2.8 4 5.6 8 10 12 16
100 .14 .2 .28 .4 .56 .78 1.1 1.6 2.2 3.2 4.4 6 9 11 14 18
160 .15 .22 .3 .44 .62 .88 1.2 1.8 2.5 3.6 5 7 10 12 16 20
250 - .24 .34 .5 .7 1 1.4 2 2.8 4 5.6 8 11 14 18 22
400 - - .4 .56 .78 1.1 1.6 2.2 3.2 4.4 6.2 9 12 16 20 25
630 - - - .64 .9 1.2 1.8 2.6 3.6 5 7 10 14
"""


def test_linear_table() -> None:
    for size, *values in LINEAR:
        for general_class, value in zip("fmcv", values, strict=True):
            if value is None:
                with pytest.raises(ValueError, match="has no value"):
                    find_linear_tolerance(size, general_class)
            else:
                assert find_linear_tolerance(size, general_class).plus_minus == value


@pytest.mark.parametrize("general_class", list("fmcv"))
def test_edge_and_angle_tables(general_class: str) -> None:
    assert (
        tuple(find_broken_edge_tolerance(size, general_class).plus_minus for size in (3, 6, 7)) == EDGES[general_class]
    )
    minutes = tuple(find_angle_tolerance(leg, general_class).plus_minus * 60 for leg in (10, 50, 120, 400, 401))
    assert minutes == pytest.approx(ANGLES[general_class], abs=1e-9)


def test_casting_table_is_total_and_grows_both_ways() -> None:
    before: dict[int, float] = {}
    steps: list[float] = []
    for line in CASTINGS.split("\n")[1:-1]:
        size, *cells = line.split()
        row = {}
        for grade, cell in enumerate(cells, start=1):
            if cell != "-":
                tolerance = find_casting_tolerance(float(size), grade)
                row[grade] = float(cell)
                assert tolerance.total_mm == float(cell)
                assert tolerance.plus_minus_mm == float(cell) / 2
                assert tolerance.total_mm > before.get(grade, 0.0)
        for grade in GRADES:
            if grade not in row:
                with pytest.raises(ValueError, match="has no DCTG"):
                    find_casting_tolerance(float(size), grade)
        steps.extend(row[grade + 1] / row[grade] for grade in row if grade + 1 in row)
        before = row
    # Mean step between grades 1.39 here; the standard aims at √2 up to DCTG 13 (derived).
    assert sum(steps) / len(steps) == pytest.approx(1.387, abs=0.001)


def test_position_and_bonus() -> None:
    """dx .08, dy .06 -> Ø 0.2; hole 10.0-10.2, actual 10.12, Ø .2 at Ⓜ -> bonus .12, allowed .32.

    Source: ISO 2692 and ASME Y14.5-2018, formula from memory.
    """
    assert compute_position(0.08, 0.06) == pytest.approx(0.2, abs=1e-12)
    result = check_position(0.08, 0.06, tolerance_mm=0.2, at_mmc=True, actual_mm=10.12, least_mm=10.0, greatest_mm=10.2)
    assert (result.bonus_mm, result.allowed_mm) == pytest.approx((0.12, 0.32), abs=1e-12)


def test_square_zone_in_its_round_zone() -> None:
    """± 0.1 both ways fits a round zone of Ø 0.2828, which has π/2 of its area (57 % more). Textbook, derived."""
    diameter = compute_round_zone(0.1)
    assert diameter == pytest.approx(0.28284, abs=1e-5)
    assert math.pi / 4 * diameter**2 / 0.2**2 == pytest.approx(1.5708, abs=1e-4)


def test_wheel_runout() -> None:
    """Steel 0.8 radial, 0.8-1.0 lateral; alloy 0.25-0.7 and 0.25-0.8 (seen in several service manuals)."""
    expected = {
        ("steel wheel", "radial"): (0.8, 0.8),
        ("steel wheel", "lateral"): (0.8, 1.0),
        ("alloy wheel", "radial"): (0.25, 0.7),
        ("alloy wheel", "lateral"): (0.25, 0.8),
        ("any wheel", "radial"): (1.016, 1.016),
        ("any wheel", "lateral"): (1.143, 1.143),
    }
    for (item, direction), limits in expected.items():
        row = find_runout_limit(item, RunoutDirection(direction))
        assert row is not None
        assert (row.tightest_mm, row.loosest_mm) == pytest.approx(limits, abs=1e-9)
