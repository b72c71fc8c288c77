"""A good plan within a moment, by taking what earns most for its cash, one product after the other.

It stands in when a search is stopped before it has found anything better; nothing is proven about it.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.planning.funding_amounts import compute_paid_by, compute_product_worth, compute_tool_cost, compute_use
from pipeline.planning.funding_case import FundingCase, Product, Tool, find_value_at
from pipeline.planning.funding_needs import compute_needs, compute_tool_window
from pipeline.planning.funding_program import Floats


@dataclass(frozen=True)
class _Step:
    """Adding one product: the tools that it lacks with their quarters, the start of sale, worth added, cash taken."""

    product: str
    added: Mapping[str, int]
    start: int
    gain: float
    cost: float

    @property
    def ratio(self) -> float:
        return self.gain / max(self.cost, 1e-9)


class _Start:
    """Cash and capacity that are left, and what has been taken so far."""

    def __init__(self, case: FundingCase) -> None:
        self.case, self.count = case, len(case.quarters)
        self.tools = {t.key: t for t in sorted(case.tools, key=lambda t: t.key)}
        self.products = {p.key: p for p in sorted(case.products, key=lambda p: p.key)}
        self.needs = compute_needs(case)
        self.windows = {k: compute_tool_window(t, self.count) for k, t in self.tools.items()}
        self.there = {k: max(t.on_hand_from, 0) for k, t in self.tools.items() if t.on_hand_from is not None}
        self.releases: dict[str, int] = {}
        self.launches: dict[str, int] = {}
        flow = [q.new_cash - q.committed for q in case.quarters]
        self.cash: Floats = case.opening_cash + np.cumsum([*flow, 0.0])
        self.room = {
            r.key: np.array([find_value_at(r.capacity, q) for q in range(self.count)])
            for r in sorted(case.resources, key=lambda r: r.key)
        }
        self.lost: dict[str, dict[str, float]] = {}
        for o in case.overlaps:
            for one, other in ((o.first, o.second), (o.second, o.first)):
                self.lost.setdefault(one, {})[other] = self.lost.get(one, {}).get(other, 0.0) + o.lost

    def compute_paid(self, tool: Tool, quarter: int) -> Floats:
        return np.array([compute_paid_by(tool, quarter, q, self.count) for q in range(self.count + 1)])

    def fits(self, added: Mapping[str, int]) -> bool:
        paid = sum((self.compute_paid(self.tools[k], q) for k, q in added.items()), np.zeros(self.count + 1))
        if np.any(paid > self.cash):
            return False
        for resource, room in self.room.items():
            used = [
                sum(compute_use(self.tools[k], resource, q, t) for k, q in added.items()) for t in range(self.count)
            ]
            if np.any(np.array(used) > room):
                return False
        return True

    def is_free(self, keys: set[str]) -> bool:
        taken = self.there.keys() | self.launches.keys()
        return all(len(set(g.keys) & (taken | keys)) <= 1 for g in self.case.either_or if keys & set(g.keys))

    def find_step(self, product: Product) -> _Step | None:
        """Return the earliest way to add a product that fits; None when there is none that adds worth."""
        lags = self.needs[product.key].lags
        missing = [k for k in lags if k not in self.there]
        if any(self.windows[k].is_empty for k in missing) or not self.is_free({product.key, *missing}):
            return None
        for quarter in range(self.count):
            added = {k: max(quarter, self.windows[k].first) for k in missing}
            if any(added[k] > self.windows[k].last for k in missing):
                return None
            if self.fits(added):
                return self._value(product, added)
        return None

    def _value(self, product: Product, added: Mapping[str, int]) -> _Step | None:
        start = self.needs[product.key].lead
        for key, lag in self.needs[product.key].lags.items():
            there = added[key] + self.tools[key].ready_after if key in added else self.there[key]
            start = max(start, there + lag)
        gain = compute_product_worth(self.case, product, start)
        gain -= sum(v for other, v in self.lost.get(product.key, {}).items() if other in self.launches)
        gain -= sum(compute_tool_cost(self.tools[k], q, self.case.discount) for k, q in added.items())
        cost = sum(p for k in added for p in self.tools[k].payments)
        return _Step(product.key, added, start, gain, cost) if gain > 0 or product.must else None

    def take(self, step: _Step) -> None:
        for key, quarter in step.added.items():
            self.take_tool(key, quarter)
        self.launches[step.product] = step.start

    def take_tool(self, key: str, quarter: int) -> None:
        tool = self.tools[key]
        self.releases[key] = quarter
        self.there[key] = quarter + tool.ready_after
        self.cash = self.cash - self.compute_paid(tool, quarter)
        for resource, room in self.room.items():
            self.room[resource] = room - [compute_use(tool, resource, quarter, q) for q in range(self.count)]

    def take_musts(self) -> bool:
        """Take what is told to be in, as early as it fits; False when this simple way does not find room."""
        for key, tool in self.tools.items():
            if tool.must and tool.on_hand_from is None:
                window = self.windows[key]
                fitting = (q for q in range(window.first, window.last + 1) if self.fits({key: q}))
                quarter = next(fitting, None)
                if quarter is None or not self.is_free({key}):
                    return False
                self.take_tool(key, quarter)
        for product in self.products.values():
            step = self.find_step(product) if product.must else None
            if product.must and step is None:
                return False
            if step is not None:
                self.take(step)
        return True


def find_quick_plan(case: FundingCase) -> tuple[dict[str, int], dict[str, int]] | None:
    """Return releases and launches (key -> quarter) that keep every rule; None when must-dos are in the way.

    Products are taken by worth added for each unit of cash, counted anew as tools that they share are there; each
    as early as cash and capacity let it. The case must be free of blocking faults.
    Source: greedy rule for knapsack problems (Dantzig 1957, Operations Research 5, from memory).

    >>> from pipeline.planning.funding_case import (Quarter)
    >>> tools, products = (Tool("die", (6.0,)),), (Product("bezel", (9.0,), ("die",)),)
    >>> find_quick_plan(FundingCase((Quarter("Q1", 10.0),), tools, products))
    ({'die': 0}, {'bezel': 0})
    """
    start = _Start(case)
    if not start.take_musts():
        return None
    while _take_round(start):
        pass  # what is there now may make more products worth their remaining tools
    return dict(sorted(start.releases.items())), dict(sorted(start.launches.items()))


def _take_round(start: _Start) -> bool:
    """Take products by ratio until nothing that gains fits; return whether any was taken."""
    heap: list[tuple[float, str]] = []
    for key, product in start.products.items():
        step = None if key in start.launches or product.must_not else start.find_step(product)
        if step is not None:
            heapq.heappush(heap, (-step.ratio, key))
    taken = len(start.launches)
    while heap:
        before, key = heapq.heappop(heap)
        step = start.find_step(start.products[key])
        if step is not None and heap and -step.ratio > before and -step.ratio > heap[0][0]:
            heapq.heappush(heap, (-step.ratio, key))  # dearer than it was: let others go first
        elif step is not None:
            start.take(step)
    return len(start.launches) > taken
