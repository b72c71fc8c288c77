"""What ranking every product on its own would earn: the usual way, shown beside the plan for comparison."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from pipeline.planning.funding_account import Account, check_plan, compute_account, find_first_parts
from pipeline.planning.funding_amounts import compute_product_worth, compute_tool_cost
from pipeline.planning.funding_case import FundingCase, Product
from pipeline.planning.funding_needs import Needs, compute_needs, compute_tool_window


@dataclass(frozen=True)
class StandAloneRanking:
    """Products in the order in which they were taken, what that releases and launches, and what it comes to."""

    taken: tuple[str, ...]
    releases: Mapping[str, int]
    launches: Mapping[str, int]
    account: Account


def rank_stand_alone(case: FundingCase) -> StandAloneRanking:
    """Rank products by net worth for each unit of their own tooling, then take them down the list while cash lasts.

    Every product is charged with all its tools, also those that another has paid for already, and overlaps are not
    seen: that is what judging each case on its own does. Then it is accounted for as it would really come out
    (shared tools paid once, overlaps lost). Tools are released as soon as cash by quarter, windows, capacities
    and either-ors let them; must-dos are not looked at. The case must be free of blocking faults.
    Source: common practice (no source).
    """
    needs = compute_needs(case)
    costs = {p.key: _compute_own_cost(case, needs[p.key].lags) for p in case.products}
    cash = case.opening_cash + sum(q.new_cash - q.committed for q in case.quarters)
    releases: dict[str, int] = {}
    launches: dict[str, int] = {}
    taken = []
    for product in _sort_by_ratio(case, costs):
        placed = _place(case, needs, product, releases, launches) if costs[product.key] <= cash else None
        if placed is not None:
            cash -= costs[product.key]
            releases, launches = placed
            taken.append(product.key)
    return StandAloneRanking(tuple(taken), releases, launches, compute_account(case, releases, launches))


def _compute_own_cost(case: FundingCase, lags: Mapping[str, int]) -> float:
    return sum(compute_tool_cost(t, 0, 0.0) for t in case.tools if t.key in lags and t.on_hand_from is None)


def _sort_by_ratio(case: FundingCase, costs: Mapping[str, float]) -> list[Product]:
    net = {p.key: compute_product_worth(case, p, 0) - costs[p.key] for p in case.products if not p.must_not}
    worth_it = [p for p in case.products if net.get(p.key, 0.0) > 0]
    return sorted(worth_it, key=lambda p: (-net[p.key] / max(costs[p.key], 1e-9), p.key))


def _place(
    case: FundingCase, needs: Needs, product: Product, releases: Mapping[str, int], launches: Mapping[str, int]
) -> tuple[dict[str, int], dict[str, int]] | None:
    tools = {t.key: t for t in case.tools}
    lags = needs[product.key].lags
    missing = [k for k in lags if k not in releases and tools[k].on_hand_from is None]
    windows = {k: compute_tool_window(tools[k], len(case.quarters)) for k in missing}
    for quarter in range(len(case.quarters)):
        wanted = {k: max(quarter, windows[k].first) for k in missing}
        if all(wanted[k] <= windows[k].last for k in missing):
            tried = {**releases, **wanted}
            start = max([needs[product.key].lead, *((find_first_parts(case, k, tried) or 0) + lags[k] for k in lags)])
            sold = {**launches, product.key: start}
            if not check_plan(_without_musts(case), tried, sold):
                return dict(sorted(tried.items())), dict(sorted(sold.items()))
    return None


def _without_musts(case: FundingCase) -> FundingCase:
    tools = tuple(replace(t, must=False) for t in case.tools)
    return replace(case, tools=tools, products=tuple(replace(p, must=False) for p in case.products))
