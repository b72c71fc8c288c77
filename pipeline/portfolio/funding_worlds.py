"""How otherwise demand, cost and dates may come out, from the ranges that the records and the catalogues state."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.model.quantity import Range
from pipeline.planning.funding_sureness import Spread, WorldModel
from pipeline.portfolio.funding import Funding
from pipeline.portfolio.funding_quarters import WEEKS, find_offset

MOST_LATE = 4


def build_world_model(funding: Funding, tool_spread: Range) -> WorldModel:
    """Return from what worlds are drawn: each part's demand, each quoted price, weeks of tools and of open gates.

    Demand takes the record's low, likely and high; a quoted tool price what usually becomes of it; parts come off a
    tool later as its weeks may, and gates are proven later as the flow's forecast of them may, or the usual weeks of
    their stages.
    """
    demand = {
        number: Spread(min(1.0, one.demand[0]), 1.0, max(1.0, one.demand[1]))
        for number, one in funding.earnings.items()
    }
    likely = tool_spread.likely or 1.0
    cost = Spread(tool_spread.low / likely, 1.0, max(1.0, tool_spread.high / likely))
    delay = {one.key: compute_late_chances(one.weeks) for one in funding.sets.values()}
    waiting = [
        compute_late_chances((one.ready.low, one.ready.likely, one.ready.high))
        for one in funding.open_sets
        if one.ready.known and not one.ready.is_now
    ]
    return WorldModel(
        any_cost=cost, demand=demand, delay=dict(sorted(delay.items())), gate_delay=average_chances(waiting) or (1.0,)
    )


def compute_late_chances(weeks: tuple[float, float, float]) -> tuple[float, ...]:
    """Return the chances that something comes 0, 1, 2 ... quarters after the quarter of its likely week.

    weeks : low, likely and high of a triangular distribution.

    >>> compute_late_chances((4.0, 4.0, 4.0))
    (1.0,)
    >>> [round(chance, 2) for chance in compute_late_chances((14.0, 22.0, 36.0))]
    [0.96, 0.04]
    """
    low, likely, high = weeks
    if high <= likely:
        return (1.0,)
    start = find_offset(likely)
    ends = [(start + k + 1) * WEEKS - WEEKS / 2 for k in range(MOST_LATE)]
    below = [_compute_below(end, low, likely, high) for end in ends]
    chances = [below[0], *(b - a for a, b in pairwise(below))]
    chances[-1] += 1.0 - below[-1]
    while len(chances) > 1 and chances[-1] <= 1e-12:
        chances.pop()
    chances[0] += 1.0 - sum(chances)
    return tuple(chances)


def _compute_below(at: float, low: float, likely: float, high: float) -> float:
    """Chance that a triangular quantity stays below a value at or above its likely one."""
    if at >= high:
        return 1.0
    return 1.0 - (high - at) ** 2 / ((high - low) * (high - likely))


def average_chances(chances: Sequence[tuple[float, ...]]) -> tuple[float, ...]:
    """Return the mean of several lists of chances; empty for none.

    >>> average_chances([(1.0,), (0.5, 0.5)])
    (0.75, 0.25)
    """
    if not chances:
        return ()
    width = max(map(len, chances))
    return tuple(sum(one[k] for one in chances if k < len(one)) / len(chances) for k in range(width))
