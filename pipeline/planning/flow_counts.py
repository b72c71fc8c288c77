"""What arrived, what left, what is in work: the cumulative flow and Little's law on a finite window. Pure numpy.

Source: J. D. C. Little, A proof for the queuing formula L = lambda W, Operations Research 9 (1961) 383-387; on a
finite window the identity of areas is exact (S. Stidham, Operations Research 22 (1974); Little, Operations Research 59
(2011) 536-549).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Visit:
    """An item's stay in a stage (or in the whole pipeline), in any one unit of time from any one origin: it `arrived`,
    and `left` (None: still there). left >= arrived."""

    item: str
    stage: str
    arrived: float
    left: float | None = None

    def __post_init__(self) -> None:
        if self.left is not None and not self.left >= self.arrived:
            raise ValueError(f"{self.item} leaves {self.stage} at {self.left}, before it arrives at {self.arrived}")


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeFlow:
    """Counts at `times` (T), by stage (S, in the order asked for): `arrivals` and `departures` so far, and `in_work`,
    their difference; each S x T. What happens at a time is counted at that time."""

    stages: tuple[str, ...]
    times: FloatArray
    arrivals: IntArray
    departures: IntArray
    in_work: IntArray


def build_cumulative_flow(visits: Sequence[Visit], stages: Sequence[str], times: Sequence[float]) -> CumulativeFlow:
    """The table behind a cumulative flow diagram. Visits of stages that were not asked for are left out. Raises
    ValueError if the times do not rise.

    Source: cumulative arrival and departure counts (G. F. Newell, Applications of Queueing Theory, chapter 1).

    >>> flow = build_cumulative_flow([Visit("a", "model", 0, 3), Visit("b", "model", 1)], ["model"], [0, 2, 4])
    >>> flow.in_work.tolist()
    [[1, 2, 1]]
    """
    moments = np.asarray(times, dtype=float)
    if (np.diff(moments) <= 0).any():
        raise ValueError("times must rise from one to the next")
    arrivals = [_count([v.arrived for v in visits if v.stage == stage], moments) for stage in stages]
    lefts = [[v.left for v in visits if v.stage == stage and v.left is not None] for stage in stages]
    departures = [_count(left, moments) for left in lefts]
    shape = (len(stages), moments.size)
    came, went = (np.array(rows, dtype=np.int64).reshape(shape) for rows in (arrivals, departures))
    return CumulativeFlow(tuple(stages), moments, came, went, came - went)


def _count(events: Sequence[float], times: FloatArray) -> IntArray:
    return np.searchsorted(np.sort(np.asarray(events, dtype=float)), times, side="right")


@dataclass(frozen=True, slots=True)
class LittleCheck:
    """Little's law on a window: `in_work` (L, mean number of items), `rate` (lambda, items seen per unit of time) and
    `stay` (W, mean time that an item spent inside the window); in_work = rate x stay exactly. `items`: how many were
    seen; `arrived` and `left` within the window. `cut`: how many stays reach over an edge of the window; where there
    are none, `stay` is the whole time in the stage, else it is shorter than that."""

    in_work: float
    rate: float
    stay: float
    items: int
    arrived: int
    left: int
    cut: int


def compute_littles_law(visits: Sequence[Visit], start: float, end: float) -> LittleCheck:
    """Little's law on the window from `start` to `end` (> start) for these visits (of one stage, or of the whole). A
    visit counts if it was there at any moment of the window (a visit of no length, if it arrived in it). With nothing
    seen, all figures are 0. Raises ValueError for an empty window.

    Source: Little 1961 and 2011; area identity.

    >>> check = compute_littles_law([Visit("a", "s", 0, 3), Visit("b", "s", 1, 4)], 0, 4)
    >>> (check.in_work, check.rate, check.stay)
    (1.5, 0.5, 3.0)
    """
    if not end > start:
        raise ValueError(f"the window from {start} to {end} is empty")
    seen = [v for v in visits if v.arrived < end and (v.left is None or v.left > start or start <= v.arrived == v.left)]
    stays = [min(end, end if v.left is None else v.left) - max(start, v.arrived) for v in seen]
    area, length = float(np.sum(stays)) if stays else 0.0, end - start
    arrived = sum(start <= v.arrived < end for v in seen)
    left = sum(v.left is not None and start < v.left <= end for v in seen)
    cut = sum(v.arrived < start or v.left is None or v.left > end for v in seen)
    stay = area / len(seen) if seen else 0.0
    return LittleCheck(area / length, len(seen) / length, stay, len(seen), arrived, left, cut)
