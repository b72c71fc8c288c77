"""What a tool would bring and take if it were added to a plan that stays as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.planning.funding_account import MONEY_TOLERANCE, compute_resource_use
from pipeline.planning.funding_amounts import compute_paid_by, compute_product_worth, compute_tool_cost, compute_use
from pipeline.planning.funding_case import FundingCase, Product, Tool, find_value_at
from pipeline.planning.funding_needs import Needs, Window, compute_needs, compute_tool_window
from pipeline.planning.funding_plan import FundingPlan


@dataclass(frozen=True)
class Excess:
    """The first thing that releases go beyond: cash (resource is None) or a capacity, by how much and when.

    For cash, quarter is the first in which it is missing (one after the last: payments after the plan) and amount
    the most that is missing in any quarter.
    """

    amount: float
    quarter: int
    resource: str | None


@dataclass(frozen=True)
class Bundle:
    """One way to use a tool: the product, all tools that it still lacks, and what adding them does to the plan.

    quarter: release, or the first quarter after it in which a tool may be released. gain: worth added (may be below
    zero). cost: payments in all. excess: what it goes beyond; None when it would fit.
    """

    product: str
    tools: tuple[str, ...]
    quarter: int
    gain: float
    cost: float
    excess: Excess | None


@dataclass(frozen=True)
class Ways:
    """All ways to use a tool that is out; blockers: tools that its products need and that can never be released;
    rivals: what is taken of an either-or that would have to go."""

    bundles: tuple[Bundle, ...]
    blockers: tuple[str, ...]
    rivals: tuple[str, ...]


@dataclass(frozen=True)
class Standing:
    """A plan with what it leaves free, so that additions can be judged without counting everything again.

    cash_left: by quarter, and after the last; there: tool -> quarter of its first parts; lost: product -> products
    that it overlaps with -> amount; users: tool -> products that need it.
    """

    case: FundingCase
    plan: FundingPlan
    needs: Needs
    tools: Mapping[str, Tool]
    windows: Mapping[str, Window]
    products: Mapping[str, Product]
    cash_left: tuple[float, ...]
    room: Mapping[str, tuple[float, ...]]
    there: Mapping[str, int]
    lost: Mapping[str, Mapping[str, float]]
    users: Mapping[str, tuple[str, ...]]


def build_standing(case: FundingCase, plan: FundingPlan) -> Standing:
    """Return a plan with what it leaves free of cash and capacity."""
    tools = {t.key: t for t in sorted(case.tools, key=lambda t: t.key)}
    there = {k: max(t.on_hand_from, 0) for k, t in tools.items() if t.on_hand_from is not None}
    there |= {k: q + tools[k].ready_after for k, q in plan.releases.items()}
    room = {}
    for resource in sorted(case.resources, key=lambda r: r.key):
        used = compute_resource_use(case, resource.key, plan.releases)
        room[resource.key] = tuple(find_value_at(resource.capacity, q) - u for q, u in enumerate(used))
    lost: dict[str, dict[str, float]] = {}
    for overlap in case.overlaps:
        for one, other in ((overlap.first, overlap.second), (overlap.second, overlap.first)):
            pairs = lost.setdefault(one, {})
            pairs[other] = pairs.get(other, 0.0) + overlap.lost
    windows = {k: compute_tool_window(t, len(case.quarters)) for k, t in tools.items()}
    products = {p.key: p for p in sorted(case.products, key=lambda p: p.key)}
    left = tuple(row.left for row in plan.account.cash)
    needs = compute_needs(case)
    users = {k: tuple(p for p in needs if k in needs[p].lags) for k in tools}
    return Standing(case, plan, needs, tools, windows, products, left, room, there, lost, users)


def find_excess(
    standing: Standing, added: Mapping[str, int], removed: Mapping[str, int] | None = None
) -> Excess | None:
    """Return what a plan goes beyond when tools are added (and removed: tool -> its quarter): cash, else a capacity."""
    changes = [(standing.tools[k], q, 1.0) for k, q in added.items()]
    changes += [(standing.tools[k], q, -1.0) for k, q in (removed or {}).items()]
    count = len(standing.case.quarters)
    left = [
        free - sum(sign * compute_paid_by(t, q, quarter, count) for t, q, sign in changes)
        for quarter, free in enumerate(standing.cash_left)
    ]
    tolerance = MONEY_TOLERANCE * max([1e-9, *(p for t, _, _ in changes for p in t.payments)])
    short = [quarter for quarter, cash in enumerate(left) if cash < -tolerance]
    if short:
        return Excess(-min(left), short[0], None)
    for resource, room in standing.room.items():
        for quarter, free in enumerate(room):
            used = sum(sign * compute_use(t, resource, q, quarter) for t, q, sign in changes)
            if used > free + MONEY_TOLERANCE * max(used, 1.0):
                return Excess(used - free, quarter, resource)
    return None


def find_first_sale(standing: Standing, product: str, added: Mapping[str, int]) -> int | None:
    """Return the first quarter in which a product can be on sale with tools added; None when a tool is missing."""
    start = standing.needs[product].lead
    for key, lag in standing.needs[product].lags.items():
        there = added[key] + standing.tools[key].ready_after if key in added else standing.there.get(key)
        if there is None:
            return None
        start = max(start, there + lag)
    return start


def find_ways(standing: Standing, tool: str) -> Ways:
    """Return every way to use a tool that is out of a plan, by product and quarter, and what stands in the way."""
    bundles: list[Bundle] = []
    blockers: set[str] = set()
    rivals: set[str] = set()
    for key in standing.users[tool]:
        lags = standing.needs[key].lags
        if not standing.products[key].must_not:
            missing = tuple(k for k in sorted(lags) if k not in standing.there)
            stuck = {k for k in missing if standing.windows[k].is_empty}
            taken = find_rivals(standing, {key, *missing})
            blockers, rivals = blockers | stuck, rivals | set(taken)
            if not stuck and not taken:
                bundles += _list_bundles(standing, key, missing)
    return Ways(tuple(bundles), tuple(sorted(blockers)), tuple(sorted(rivals)))


def find_rivals(standing: Standing, keys: set[str]) -> tuple[str, ...]:
    """Return what is taken already of the either-ors that these tools and products belong to."""
    taken = standing.there.keys() | standing.plan.launches.keys()
    groups = [set(g.keys) for g in standing.case.either_or]
    return tuple(sorted({k for g in groups if g & keys for k in g - keys if k in taken}))


def _list_bundles(standing: Standing, product: str, missing: tuple[str, ...]) -> list[Bundle]:
    bundles = []
    first = min(standing.windows[k].first for k in missing)
    for quarter in range(first, len(standing.case.quarters)):
        added = {k: max(quarter, standing.windows[k].first) for k in missing}
        if all(added[k] <= standing.windows[k].last for k in missing):
            gain = _compute_gain(standing, product, added)
            cost = sum(p for k in added for p in standing.tools[k].payments)
            bundles.append(Bundle(product, missing, quarter, gain, cost, find_excess(standing, added)))
    return bundles


def _compute_gain(standing: Standing, product: str, added: Mapping[str, int]) -> float:
    """Return what a plan gains with tools added: by the product and by others that they complete and that add worth."""
    sold = set(standing.plan.launches)
    gain = -sum(compute_tool_cost(standing.tools[k], q, standing.case.discount) for k, q in added.items())
    others = sorted({key for tool in added for key in standing.users[tool]} - sold - {product})
    for key in (product, *others):
        start = find_first_sale(standing, key, added)
        is_free = key == product or not (standing.products[key].must_not or find_rivals(standing, {key}))
        if start is not None and is_free:
            worth = compute_product_worth(standing.case, standing.products[key], start)
            worth -= sum(v for other, v in standing.lost.get(key, {}).items() if other in sold)
            if key == product or worth > 0:
                gain, sold = gain + worth, sold | {key}
    return gain


def compute_worth_carried(standing: Standing, tool: str) -> float:
    """Return what a plan would be worth less without a tool and the products that it carries, all else as planned.

    Below zero for a tool that costs more than it carries, as a must-do may.
    """
    launches = standing.plan.launches
    carried = [p for p in standing.users[tool] if p in launches]
    worth = sum(compute_product_worth(standing.case, standing.products[p], launches[p]) for p in carried)
    gone: set[str] = set()
    for product in carried:
        gone.add(product)
        pairs = standing.lost.get(product, {}).items()
        worth -= sum(amount for other, amount in pairs if other in launches and other not in gone)
    quarter = standing.plan.releases.get(tool)
    return (
        worth if quarter is None else worth - compute_tool_cost(standing.tools[tool], quarter, standing.case.discount)
    )
