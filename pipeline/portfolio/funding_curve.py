"""Money out and in of a plan, added up quarter by quarter: low, expected, high."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from pipeline.costing.estimate import Estimate, map_uniforms
from pipeline.model.quantity import Range
from pipeline.planning.funding_account import compute_cash
from pipeline.planning.funding_plan import FundingPlan
from pipeline.portfolio.funding import Funding
from pipeline.portfolio.funding_worth import DRAWS

MORE_QUARTERS = 4
"""Quarters after the plan that the curve goes on for, so that it is seen what the last tools bring."""


@dataclass(frozen=True)
class CashCurve:
    """Cumulative cash at the end of each quarter from today's on: P10, mean, P90, not discounted.

    Tooling payments (those promised too) go out, contributions of the parts of the plan come in. back : first quarter
    from which the mean stays at zero or above; None within the curve. deepest : lowest mean and its quarter.
    """

    low: tuple[float, ...]
    mean: tuple[float, ...]
    high: tuple[float, ...]
    back: int | None
    deepest: float
    deepest_at: int


def compute_cash_curve(funding: Funding, plan: FundingPlan, tool_spread: Range, seed: int) -> CashCurve:
    """Return the curve of a plan. One draw is one world: each part has one level of demand, price and cost in it.

    tool_spread : what becomes of a quoted tool price. Promised payments are taken as they are.
    """
    count = len(funding.case.quarters) + MORE_QUARTERS
    flows = np.zeros((DRAWS, count))
    for row in compute_cash(funding.case, {}):
        flows[:, row.quarter] -= row.committed
    tools = {tool.key: tool for tool in funding.case.tools}
    for key, quarter in plan.releases.items():
        factor = _draw_factor(key, tool_spread, seed)
        for offset, payment in enumerate(tools[key].payments):
            flows[:, min(quarter + offset, count - 1)] -= payment * factor
    for key, start in plan.launches.items():
        _add_sales(flows, funding, key, start)
    _take_overlaps(flows, funding, plan)
    return _summarise(np.cumsum(flows, axis=1))


def _draw_factor(key: str, spread: Range, seed: int) -> np.ndarray:
    uniforms = np.random.default_rng([seed, zlib.crc32(key.encode())]).random(DRAWS)
    return np.asarray(map_uniforms(Estimate(spread.low, spread.likely, spread.high), uniforms))


def _add_sales(flows: np.ndarray, funding: Funding, key: str, start: int) -> None:
    earning = funding.earnings[key]
    for quarter in range(start, flows.shape[1]):
        year = (quarter - start) // 4
        if year < len(earning.shape):
            flows[:, quarter] += (earning.draws * earning.shape[year] - earning.fixed) / 4


def _take_overlaps(flows: np.ndarray, funding: Funding, plan: FundingPlan) -> None:
    """Spread what two parts take from each other evenly over the years in which both are sold."""
    for overlap in funding.case.overlaps:
        if overlap.first in plan.launches and overlap.second in plan.launches:
            start = max(plan.launches[overlap.first], plan.launches[overlap.second])
            quarters = 4 * min(len(funding.earnings[k].shape) for k in (overlap.first, overlap.second))
            flows[:, start : start + quarters] -= overlap.lost / quarters


def _summarise(cash: np.ndarray) -> CashCurve:
    ranked, mean = np.sort(cash, axis=0), cash.mean(axis=0)
    low, high = ranked[len(ranked) // 10], ranked[-1 - len(ranked) // 10]
    below = np.flatnonzero(mean < 0)
    back = 0 if not len(below) else int(below[-1]) + 1
    at = int(np.argmin(mean))
    return CashCurve(
        tuple(map(float, low)), tuple(map(float, mean)), tuple(map(float, high)),
        back if back < cash.shape[1] else None, float(min(0.0, mean[at])), at,
    )  # fmt: skip
