"""Which round size would the draughtsman have written, and could a round size be there by accident?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from pipeline.measuring.distributions import compute_normal_above, compute_student_above
from pipeline.measuring.points import Floats, check_number

INCH = 25.4
_PERIOD_MM = 1270.0  # a whole number of steps of every grid below, so that shares over it are exact


@dataclass(frozen=True, slots=True)
class Grid:
    """Round sizes that a drawing of the time would use.

    Attributes:
        name: how the trade calls the step, e.g. "1/64 in".
        step_mm: distance between neighbours.
        is_inch: written in inches.
        denominator: of a fraction of an inch; 0 for decimals.
        decimals: figures after the point when written as a decimal.
    """

    name: str
    step_mm: float
    is_inch: bool
    denominator: int = 0
    decimals: int = 0

    def write(self, index: int) -> str:
        """The size of a grid point in the drawing's words."""
        if not self.is_inch:
            return f"{index * self.step_mm:.{self.decimals}f} mm"
        if not self.denominator:
            return f"{index * self.step_mm / INCH:.{self.decimals}f} in"
        value = Fraction(index, self.denominator)
        whole, rest = divmod(abs(value), 1)
        sign = "-" if value < 0 else ""
        body = f"{whole} {rest}" if whole and rest else f"{rest or whole}"
        return f"{sign}{body} in"


def _fraction(denominator: int) -> Grid:
    return Grid("1 in" if denominator == 1 else f"1/{denominator} in", INCH / denominator, True, denominator)


INCH_GRIDS: tuple[Grid, ...] = (
    *(_fraction(d) for d in (1, 2, 4, 8, 16, 32, 64)),
    Grid("0.1 in", INCH * 0.1, True, decimals=1),
    Grid("0.05 in", INCH * 0.05, True, decimals=2),
    Grid("0.01 in", INCH * 0.01, True, decimals=2),
    Grid("0.005 in", INCH * 0.005, True, decimals=3),
    Grid("0.001 in", INCH * 0.001, True, decimals=3),
)
METRIC_GRIDS: tuple[Grid, ...] = (
    Grid("10 mm", 10.0, False),
    Grid("5 mm", 5.0, False),
    Grid("1 mm", 1.0, False),
    Grid("0.5 mm", 0.5, False, decimals=1),
    Grid("0.1 mm", 0.1, False, decimals=1),
    Grid("0.05 mm", 0.05, False, decimals=2),
)
ALL_GRIDS: tuple[Grid, ...] = tuple(sorted(INCH_GRIDS + METRIC_GRIDS, key=lambda grid: (-grid.step_mm, grid.is_inch)))


@dataclass(frozen=True, slots=True)
class Candidate:
    """One round size inside the bound.

    Attributes:
        text: as a drawing would write it.
        size_mm: in mm.
        grid: the coarsest grid that holds it.
        offset_mm: size less measured mean.
        p: chance of a mean at least this far from the size, were the size the true one.
        chance_alone: chance that this grid has a point in a bound of this width wherever the true size lies.
        chance_by_accident: the same for this grid or any coarser one that was looked at. Near 1 means that the
            agreement says nothing.
    """

    text: str
    size_mm: float
    grid: Grid
    offset_mm: float
    p: float
    chance_alone: float
    chance_by_accident: float


def guess_drawing_sizes(
    mean_mm: float,
    half_width_mm: float,
    standard_u_mm: float,
    dof: float = float("inf"),
    grids: Sequence[Grid] = ALL_GRIDS,
    most_per_grid: int = 3,
) -> tuple[Candidate, ...]:
    """Round sizes inside the bound of a mean, simplest (coarsest grid) first, nearest first within a grid.

    A fine grid always has a point inside: 0.001 in inside a bound of 0.1 mm proves nothing, 1/16 in does. Each
    candidate carries that chance, over its own grid and all coarser ones in the list, because they were all tried.

    Args:
        mean_mm: estimated mean size.
        half_width_mm: half width of its bound, above zero.
        standard_u_mm: standard uncertainty of the mean, above zero.
        dof: its degrees of freedom.
        grids: grids to try.
        most_per_grid: most candidates from one grid; a bound that holds hundreds of steps names no size.

    Raises:
        ValueError: a width or uncertainty not above zero, no grids, or a value that is not finite.

    Source: common practice for the grids (no source); the chance is the exact share of positions over 1270 mm.

    >>> first = guess_drawing_sizes(112.70, 0.05, 0.02)[0]
    >>> first.text, round(first.offset_mm, 4), round(first.chance_alone, 3)
    ('4 7/16 in', 0.0125, 0.063)
    """
    mean = check_number(mean_mm, "mean")
    half = check_number(half_width_mm, "half width of the bound", above=0)
    u = check_number(standard_u_mm, "standard uncertainty of the mean", above=0)
    if not grids:
        raise ValueError("no grids of round sizes are given")
    found: list[Candidate] = []
    ordered = sorted(grids, key=lambda grid: (-grid.step_mm, grid.is_inch))
    for place, grid in enumerate(ordered):
        fresh = [size for size in _find_inside(mean, half, grid) if not _is_held(size * grid.step_mm, found)]
        if not fresh:
            continue
        shared = compute_accident_share(2 * half, ordered[: place + 1])
        found.extend(_build(index, grid, mean, u, dof, half, shared) for index in fresh[:most_per_grid])
    return tuple(found)


def _find_inside(mean: float, half: float, grid: Grid) -> list[int]:
    """Indices of the grid points inside the bound, nearest first."""
    slack = 1e-9 * grid.step_mm
    first = int(np.ceil((mean - half - slack) / grid.step_mm))
    last = int(np.floor((mean + half + slack) / grid.step_mm))
    middle = round(mean / grid.step_mm)
    near = range(max(first, middle - 50), min(last, middle + 50) + 1)
    return sorted(near, key=lambda index: (abs(index * grid.step_mm - mean), index))


def _is_held(size: float, found: Sequence[Candidate]) -> bool:
    return any(abs(candidate.size_mm - size) < 1e-6 for candidate in found)


def _build(index: int, grid: Grid, mean: float, u: float, dof: float, half: float, shared: float) -> Candidate:
    size = index * grid.step_mm
    away = abs(size - mean) / u
    tail = compute_normal_above(away) if np.isinf(dof) else compute_student_above(away, dof)
    return Candidate(
        text=grid.write(index),
        size_mm=size,
        grid=grid,
        offset_mm=size - mean,
        p=2 * float(tail),
        chance_alone=min(1.0, 2 * half / grid.step_mm),
        chance_by_accident=shared,
    )


def compute_accident_share(width_mm: float, grids: Sequence[Grid]) -> float:
    """Share of all positions at which a bound of this width holds a point of at least one of the grids.

    Args:
        width_mm: full width of the bound, zero or more.
        grids: one or more grids, each of which divides 1270 mm.

    Source: measure of the union of intervals about the grid points, over a common period.

    >>> round(compute_accident_share(0.1, [METRIC_GRIDS[2]]), 6)
    0.1
    >>> round(compute_accident_share(0.1, [METRIC_GRIDS[2], METRIC_GRIDS[3]]), 6)
    0.2
    """
    width = check_number(width_mm, "width of the bound", least=0)
    if any(width >= grid.step_mm for grid in grids):
        return 1.0
    gaps, counts = _count_gaps(tuple(grids))
    return float(counts @ np.minimum(gaps, width) / _PERIOD_MM)


@lru_cache(maxsize=128)
def _count_gaps(grids: tuple[Grid, ...]) -> tuple[Floats, Floats]:
    """Distinct distances between neighbours of all grids together, and how often each comes in the period."""
    numbers = [round(_PERIOD_MM / grid.step_mm) for grid in grids]
    points = np.unique(np.round(np.concatenate([np.arange(n) * (_PERIOD_MM / n) for n in numbers]), 9))
    gaps, counts = np.unique(np.round(np.diff(points, append=points[0] + _PERIOD_MM), 9), return_counts=True)
    return np.asarray(gaps, dtype=np.float64), np.asarray(counts, dtype=np.float64)
