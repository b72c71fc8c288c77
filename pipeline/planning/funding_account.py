"""What a choice of tools and products comes to, and which rules of the case it breaks; counted without the matrices."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.planning.funding_amounts import (
    compute_nudges,
    compute_paid_by,
    compute_tie_width,
    compute_tool_cost,
    compute_use,
)
from pipeline.planning.funding_case import FundingCase, find_value_at
from pipeline.planning.funding_needs import compute_needs, compute_tool_window
from pipeline.planning.funding_words import render_amount, render_quarter

MONEY_TOLERANCE = 1e-7
"""Share of the largest payment by which a sum of payments may differ from cash through rounding of floats."""


@dataclass(frozen=True)
class CashRow:
    """Cash of one quarter; the row after the last quarter holds payments that fall later."""

    quarter: int
    name: str
    new_cash: float
    committed: float
    paid: float
    left: float


@dataclass(frozen=True)
class Account:
    """What a choice of tools and products comes to.

    earned: worth of products on sale. overlap_lost: lost between pairs on sale. downside: priced spread. tooling:
    payments as money of today. worth = earned - overlap_lost - downside - tooling. spend: payments as paid.
    """

    earned: float
    overlap_lost: float
    downside: float
    tooling: float
    worth: float
    spend: float
    cash: tuple[CashRow, ...]


def compute_account(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> Account:
    """Return what a choice comes to: worth and its pieces, spend, cash by quarter (it may go below zero here).

    releases: tool key -> quarter of release; launches: product key -> quarter in which its sale starts.
    """
    tools, products = {t.key: t for t in case.tools}, {p.key: p for p in case.products}
    earned = math.fsum(find_value_at(products[k].worth, q) for k, q in launches.items())
    spread = math.fsum(find_value_at(products[k].downside, q) for k, q in launches.items())
    lost = math.fsum(o.lost for o in case.overlaps if o.first in launches and o.second in launches)
    tooling = math.fsum(compute_tool_cost(tools[k], q, case.discount) for k, q in releases.items())
    spend = math.fsum(p for k in releases for p in tools[k].payments)
    downside = case.price_on_downside * spread
    worth = math.fsum((earned, -lost, -downside, -tooling))
    return Account(earned, lost, downside, tooling, worth, spend, compute_cash(case, releases))


def compute_cash(case: FundingCase, releases: Mapping[str, int]) -> tuple[CashRow, ...]:
    """Return cash by quarter for these releases, with one more row for payments after the last quarter."""
    tools, count = {t.key: t for t in case.tools}, len(case.quarters)
    rows, left, before = [], [case.opening_cash], 0.0
    for quarter in range(count + 1):
        paid_by = math.fsum(compute_paid_by(tools[k], q, quarter, count) for k, q in releases.items())
        new, committed, name = 0.0, 0.0, f"after {case.quarters[-1].name}"
        if quarter < count:
            row = case.quarters[quarter]
            new, committed, name = row.new_cash, row.committed, row.name
        left += [new, -committed]
        rows.append(CashRow(quarter, name, new, committed, paid_by - before, math.fsum((*left, -paid_by))))
        before = paid_by
    return tuple(rows)


def compute_nudged_worth(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> float:
    """Return worth less the nudges of `compute_nudges`: what the plan of `compute_plan` has most of."""
    nudges = compute_nudges(case, compute_tie_width(case))
    total = [nudges.find_tool(k, q) for k, q in releases.items()] + [nudges.find_product(q) for q in launches.values()]
    return compute_account(case, releases, launches).worth - math.fsum(total)


def check_plan(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> tuple[str, ...]:
    """Return every rule of the case that a choice breaks, in words; empty when it keeps them all.

    Rules: windows and instructions; cash not below zero in any quarter nor after the last; capacities; either-or;
    nothing on sale before everything that it needs is there.
    """
    return (
        *_check_windows(case, releases, launches),
        *_check_cash(case, releases),
        *_check_capacity(case, releases),
        *_check_either_or(case, releases, launches),
        *_check_needs(case, releases, launches),
    )


def _check_windows(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> list[str]:
    broken = []
    for tool in sorted(case.tools, key=lambda t: t.key):
        window, quarter = compute_tool_window(tool, len(case.quarters)), releases.get(tool.key)
        if quarter is not None and not window.first <= quarter <= window.last:
            broken.append(f"{tool.key} is released in {render_quarter(case, quarter)}, outside its window")
        if tool.must and quarter is None and tool.on_hand_from is None:
            broken.append(f"{tool.key} is told to be in and is out")
    for product in sorted(case.products, key=lambda p: p.key):
        if (product.must and product.key not in launches) or (product.must_not and product.key in launches):
            broken.append(f"{product.key} is not as instructed")
    return broken


def _check_cash(case: FundingCase, releases: Mapping[str, int]) -> list[str]:
    largest = max((p for t in case.tools for p in t.payments), default=0.0)
    return [
        f"cash is {render_amount(row.left, case.currency)} in {row.name}"
        for row in compute_cash(case, releases)
        if row.left < -MONEY_TOLERANCE * max(largest, 1e-9)
    ]


def _check_capacity(case: FundingCase, releases: Mapping[str, int]) -> list[str]:
    broken = []
    for resource in sorted(case.resources, key=lambda r: r.key):
        for quarter, used in enumerate(compute_resource_use(case, resource.key, releases)):
            room = find_value_at(resource.capacity, quarter)
            if used > room + MONEY_TOLERANCE * max(room, used):
                broken.append(f"{resource.key} is used {used:g} of {room:g} in {render_quarter(case, quarter)}")
    return broken


def compute_resource_use(case: FundingCase, resource: str, releases: Mapping[str, int]) -> tuple[float, ...]:
    """Return what the releases take of a resource in every quarter of the plan."""
    tools = {t.key: t for t in case.tools if t.uses}
    taken = [(tools[k], q) for k, q in sorted(releases.items()) if k in tools]
    quarters = range(len(case.quarters))
    return tuple(math.fsum(compute_use(t, resource, q, quarter) for t, q in taken) for quarter in quarters)


def _check_either_or(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> list[str]:
    on_hand = {t.key for t in case.tools if t.on_hand_from is not None}
    taken = (tuple(sorted(set(g.keys) & (releases.keys() | launches.keys() | on_hand))) for g in case.either_or)
    return [f"{' and '.join(keys)} are taken, one may be" for keys in taken if len(keys) > 1 and set(keys) - on_hand]


def _check_needs(case: FundingCase, releases: Mapping[str, int], launches: Mapping[str, int]) -> list[str]:
    tools, needs, broken = {t.key: t for t in case.tools}, compute_needs(case), []
    for key, start in sorted(launches.items()):
        if start < needs[key].lead:
            broken.append(f"{key} is on sale before its own lead has passed")
        for tool_key, lag in needs[key].lags.items():
            there = find_first_parts(case, tools[tool_key].key, releases)
            if there is None or there + lag > start:
                broken.append(f"{key} is on sale in {render_quarter(case, start)} without {tool_key}")
    return broken


def find_first_parts(case: FundingCase, tool: str, releases: Mapping[str, int]) -> int | None:
    """Return the quarter in which parts come off a tool; None when it is neither on hand nor released.

    Raises KeyError for a tool that is not in the case.
    """
    found = next((t for t in case.tools if t.key == tool), None)
    if found is None:
        raise KeyError(f"{tool} is not a tool of this plan")
    if found.on_hand_from is not None:
        return max(found.on_hand_from, 0)
    return releases[tool] + found.ready_after if tool in releases else None
