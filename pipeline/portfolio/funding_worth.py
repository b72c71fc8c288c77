"""What a part earns by the quarter in which its sale starts, and what parts take from each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from pipeline.costing.case import Case, Sibling, ToolPayment, build_demand_shape
from pipeline.costing.estimate import Floats, build_estimate
from pipeline.costing.worth import compute_mean_worth, compute_worth, find_yearly, list_means
from pipeline.costing.worth_simulation import simulate_levels
from pipeline.portfolio.case import SEED, build_part_case
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import keep_for_part

DRAWS = 2_000
"""Of the spread of what a part earns; the seed is that of the case pages."""


@dataclass(frozen=True)
class Earning:
    """What a part earns if its sale started today, tooling not deducted, in workspace currency.

    mean : expected present worth. p10, p90 : one draw in ten is lower, higher. yearly : contribution of a full year.
    shape : share of it in each year of sales. draws : yearly contributions, for the spread of the cash curve.
    lost_share : of a delayed sale, that is lost for good. demand : low and high demand as factors of the likely one.
    """

    mean: float
    p10: float
    p90: float
    yearly: float
    fixed: float
    shape: tuple[float, ...]
    lost_share: float
    demand: tuple[float, float]
    draws: Floats

    @property
    def downside(self) -> float:
        """Mean less P10: the spread that is priced."""
        return max(0.0, self.mean - self.p10)


def strip_tooling(case: Case, siblings: tuple[Sibling, ...]) -> Case:
    """Return the case as if its tools were free and its sale began at once, with these siblings only."""
    return replace(
        case, tooling=build_estimate(0.0), payments=(ToolPayment(1.0, 0.0),), launch=build_estimate(0.0),
        errors_week=0.0, siblings=siblings,
    )  # fmt: skip


def compute_earning(file: PartFile, planned: frozenset[str]) -> Earning | None:
    """Return what a part earns; None where it has no case.

    planned : parts of the plan. What this part takes from those is counted once as an overlap of the two and left out
    here; what it takes from parts that are on sale already is counted here.
    """
    case = build_part_case(file).case
    if case is None:
        return None
    rules = file.workspace.catalogues.money
    bare = strip_tooling(case, tuple(s for s in case.siblings if s.name not in planned))
    worth, yearly = _draw(file, bare)
    mean = compute_mean_worth(bare, rules.money_rate)
    ranked = np.sort(worth)
    demand = file.part.demand
    lost = rules.lost_share if demand is None or demand.lost_share is None else demand.lost_share
    likely = case.demand.likely or 1.0
    return Earning(
        mean, float(ranked[len(ranked) // 10]), float(ranked[-1 - len(ranked) // 10]),
        float(find_yearly(bare, list_means(bare))), case.fixed_per_year, build_demand_shape(case), lost,
        (case.demand.low / likely, case.demand.high / likely), yearly,
    )  # fmt: skip


def _draw(file: PartFile, case: Case) -> tuple[Floats, Floats]:
    levels = simulate_levels(case, DRAWS, SEED)
    return compute_worth(case, levels, file.workspace.catalogues.money.money_rate), find_yearly(case, levels)


@keep_for_part
def list_taken(file: PartFile) -> tuple[tuple[str, float], ...]:
    """Return what this part takes from each sibling over its years, if its sale started today: number, present money.

    A sibling cannot lose more pieces than it sells.
    """
    case = build_part_case(file).case
    return () if case is None else tuple((s.name, _compute_taken(file, case, s)) for s in case.siblings)


def _compute_taken(file: PartFile, case: Case, sibling: Sibling) -> float:
    other = file.shop.parts[sibling.name].part.demand
    pieces = case.demand.mean * sibling.lost
    most = pieces if other is None else min(pieces, other.per_year.likely)
    capped = Sibling(sibling.name, sibling.lost * (most / pieces if pieces else 0.0), sibling.margin)
    rate = file.workspace.catalogues.money.money_rate
    without = compute_mean_worth(strip_tooling(case, ()), rate)
    return max(0.0, without - compute_mean_worth(strip_tooling(case, (capped,)), rate))


def spread_worth(earning: Earning, first: int, discount: float, count: int) -> tuple[float, ...]:
    """Return worth by the quarter in which the sale starts, as money of today.

    first : the quarter in which it could start; each quarter later loses a quarter's contribution times the share of
    a delayed sale that is lost for good, at most all that the part earns. discount : interest for a quarter.
    """
    waiting = max(0.0, earning.yearly / 4 * earning.lost_share)
    most = max(0.0, earning.mean)
    return tuple(
        (earning.mean - min(most, waiting * max(0, quarter - first))) / (1.0 + discount) ** quarter
        for quarter in range(count)
    )


def merge_taken(taken: Mapping[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """Return what is lost for each pair once: where both records name each other, the larger of the two.

    >>> merge_taken({("A", "B"): 5.0, ("B", "A"): 7.0, ("C", "A"): 2.0})
    {('A', 'B'): 7.0, ('A', 'C'): 2.0}
    """
    merged: dict[tuple[str, str], float] = {}
    for pair, lost in sorted(taken.items()):
        first, second = sorted(pair)
        merged[first, second] = max(lost, merged.get((first, second), 0.0))
    return merged
