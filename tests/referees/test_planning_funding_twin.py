"""The funding plan against a slow, obvious twin: try every release of every tool in every quarter. Invented cases.

The twin shares no code with the program: it counts cash, needs, overlaps and worth in its own plain words.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product as combine

import numpy as np
import pytest

from pipeline.planning.funding_account import compute_nudged_worth
from pipeline.planning.funding_amounts import compute_tie_width
from pipeline.planning.funding_case import (
    EitherOr,
    FundingCase,
    Overlap,
    Product,
    ProductKind,
    Quarter,
    Resource,
    Tool,
    Use,
)
from pipeline.planning.funding_plan import compute_plan


def build_small_case(seed: int) -> FundingCase:
    """Return an invented portfolio of a few tools with everything in it that a case can have."""
    rng = np.random.default_rng(seed)
    quarters = int(rng.integers(1, 4))
    names = [f"T{i}" for i in range(int(rng.integers(2, 5)))]
    tools = tuple(_build_tool(rng, name, quarters) for name in names)
    products: list[Product] = []
    for number in range(int(rng.integers(2, 5))):
        products.append(_build_product(rng, number, names, [p.key for p in products], quarters))
    keys = [p.key for p in products]
    overlaps = (
        Overlap(keys[0], keys[-1], float(rng.integers(0, 9))),
        Overlap(keys[1], keys[0], float(rng.integers(0, 5))),
    )
    groups = (EitherOr(tuple(rng.choice(names + keys, 2, replace=False).tolist())),) if rng.random() < 0.4 else ()
    resources = (Resource("press", tuple(float(rng.integers(2, 9)) for _ in range(quarters))),)
    cash = tuple(Quarter(f"Q{q}", float(rng.integers(0, 14)), 0.0) for q in range(quarters))
    opening, discount = float(rng.integers(0, 10)), float(rng.choice([0.0, 0.02]))
    return FundingCase(
        cash, tools, tuple(products), overlaps, groups, resources, opening, float(rng.choice([0, 0.5])), discount
    )


def _build_tool(rng: np.random.Generator, name: str, quarters: int) -> Tool:
    pays = tuple(float(v) for v in rng.integers(0, 8, int(rng.integers(1, 4))))
    uses = (Use("press", tuple(float(v) for v in rng.integers(0, 4, 2))),) if rng.random() < 0.5 else ()
    tool = Tool(name, pays, int(rng.integers(0, 3)), uses)
    chance = rng.random()
    if chance < 0.25:
        return replace(tool, earliest=int(rng.integers(0, quarters + 1)), earliest_why="fit check not proven")
    if chance < 0.35:
        return replace(tool, not_before=int(rng.integers(0, quarters)), not_after=int(rng.integers(0, quarters)))
    if chance < 0.45:
        return replace(tool, on_hand_from=int(rng.integers(-1, 3)))
    return replace(tool, must=chance < 0.52, must_not=chance > 0.95)


def _build_product(rng: np.random.Generator, number: int, tools: list[str], made: list[str], quarters: int) -> Product:
    used = tuple(sorted(rng.choice(tools, int(rng.integers(0 if made else 1, 3)), replace=False).tolist()))
    children = tuple(rng.choice(made, 1).tolist()) if made and rng.random() < 0.4 else ()
    worth = tuple(float(v) for v in rng.integers(-3, 22, int(rng.integers(1, quarters + 2))))
    spread = tuple(float(v) for v in rng.integers(0, 6, 1))
    kind = ProductKind.ASSEMBLY if children else ProductKind.PART
    chance = rng.random()
    must, must_not = chance < 0.05, chance > 0.95
    return Product(f"P{number}", worth, used, children, kind, spread, int(rng.integers(0, 2)), must, must_not)


def at(values: tuple[float, ...], position: int) -> float:
    """Return the value of a quarter; the last one holds on."""
    return values[position] if position < len(values) else values[-1]


class Twin:
    """Every choice of a case, one after the other."""

    def __init__(self, case: FundingCase) -> None:
        self.case, self.count = case, len(case.quarters)
        self.products = {p.key: p for p in case.products}

    def find_best(self) -> float | None:
        """Return the greatest worth of all choices; None when no choice is allowed."""
        choices = [self.list_quarters(tool) for tool in self.case.tools]
        best: float | None = None
        for picked in combine(*choices):
            when = {t.key: q for t, q in zip(self.case.tools, picked, strict=True)}
            if self.fits(when):
                worth = self.find_best_sale(when)
                best = worth if best is None or (worth is not None and worth > best) else best
        return best

    def list_quarters(self, tool: Tool) -> list[int | None]:
        if tool.must_not or tool.on_hand_from is not None:
            return [None]
        after = self.count - 1 if tool.not_after is None else tool.not_after
        ok = [q for q in range(self.count) if q >= tool.earliest and q >= (tool.not_before or 0) and q <= after]
        return ok if tool.must else [None, *ok]

    def fits(self, when: dict[str, int | None]) -> bool:
        cash, tail = self.case.opening_cash, 0.0
        for quarter in range(self.count):
            cash += self.case.quarters[quarter].new_cash - self.case.quarters[quarter].committed
            for tool in self.case.tools:
                for k, pay in enumerate(tool.payments):
                    start = when[tool.key]
                    cash -= pay if start is not None and start + k == quarter else 0.0
            if cash < -1e-9 or self.overloads(when, quarter):
                return False
        for tool in self.case.tools:
            for k, pay in enumerate(tool.payments):
                start = when[tool.key]
                tail += pay if start is not None and start + k >= self.count else 0.0
        return cash - tail >= -1e-9

    def overloads(self, when: dict[str, int | None], quarter: int) -> bool:
        for resource in self.case.resources:
            used = 0.0
            for tool in self.case.tools:
                start = when[tool.key]
                for use in tool.uses:
                    if start is not None and use.resource == resource.key and 0 <= quarter - start < len(use.amounts):
                        used += use.amounts[quarter - start]
            if used > at(resource.capacity, quarter) + 1e-9:
                return True
        return False

    def find_supply(self, key: str, when: dict[str, int | None]) -> float:
        """Return the quarter from which a product can be had, itself and all that it is made from."""
        item, there = self.products[key], 0.0
        for tool in self.case.tools:
            if tool.key in item.tools:
                start = when[tool.key]
                if tool.on_hand_from is not None:
                    there = max(there, tool.on_hand_from)
                else:
                    there = max(there, np.inf if start is None else start + tool.ready_after)
        for child in item.children:
            there = max(there, self.find_supply(child, when))
        return there + item.lead

    def find_best_sale(self, when: dict[str, int | None]) -> float | None:
        paid = sum(
            pay / (1 + self.case.discount) ** (start + k)
            for tool in self.case.tools
            for k, pay in enumerate(tool.payments)
            if (start := when[tool.key]) is not None
        )
        gains = {key: self.find_gain(key, when) for key in self.products}
        able = [k for k, gain in gains.items() if gain is not None and not self.products[k].must_not]
        best: float | None = None
        for marks in combine((False, True), repeat=len(able)):
            sold = {k for k, mark in zip(able, marks, strict=True) if mark}
            if all(p.key in sold for p in self.case.products if p.must) and not self.clashes(sold, when):
                worth = sum(gains[k] or 0.0 for k in sold) - paid
                worth -= sum(o.lost for o in self.case.overlaps if o.first in sold and o.second in sold)
                best = worth if best is None else max(best, worth)
        return best

    def find_gain(self, key: str, when: dict[str, int | None]) -> float | None:
        start, item = self.find_supply(key, when), self.products[key]
        if start == np.inf:
            return None
        later = range(int(start), max(int(start) + 1, self.count + 12))
        last = self.find_latest(key)
        return max(
            at(item.worth, q) - self.case.price_on_downside * at(item.downside, q)
            for q in later
            if q <= max(last, start)
        )

    def find_latest(self, key: str) -> float:
        """Return the last quarter in which a sale may start: the last of the plan, or the last possible supply."""
        everything = {
            t.key: next((q for q in reversed(self.list_quarters(t)) if q is not None), None) for t in self.case.tools
        }
        return max(self.count - 1, self.find_supply(key, everything))

    def clashes(self, sold: set[str], when: dict[str, int | None]) -> bool:
        for group in self.case.either_or:
            released = [t.key for t in self.case.tools if t.key in group.keys and when[t.key] is not None]
            on_hand = [t.key for t in self.case.tools if t.key in group.keys and t.on_hand_from is not None]
            free = released + [k for k in group.keys if k in sold]
            if len(free) + min(len(on_hand), 1) > 1 and free:
                return True
        return False


def compare(seed: int) -> bool:
    """Compare one seeded case; return whether it had a plan."""
    case = build_small_case(seed)
    expected, answer = Twin(case).find_best(), compute_plan(case)
    if expected is None:
        assert answer.plan is None and answer.faults, f"seed {seed}: the twin finds no plan, the program does"
        return False
    assert answer.plan is not None, f"seed {seed}: {answer.faults}"
    assert answer.plan.is_proven
    assert answer.plan.worth == pytest.approx(expected, abs=compute_tie_width(case) + 1e-9), f"seed {seed}"
    assert compute_nudged_worth(case, answer.plan.releases, answer.plan.launches) <= expected + 1e-9
    return True


@pytest.mark.parametrize("block", range(4))
def test_the_plan_is_worth_what_the_best_of_all_choices_is_worth(block: int) -> None:
    planned = sum(compare(seed) for seed in range(50 * block, 50 * block + 50))
    assert planned >= 25  # most of the seeded cases have a plan; the others check that none is invented


@pytest.mark.slow
@pytest.mark.parametrize("block", range(4, 24))
def test_the_plan_is_worth_what_the_best_of_all_choices_is_worth_at_length(block: int) -> None:
    planned = sum(compare(seed) for seed in range(50 * block, 50 * block + 50))
    assert planned >= 25


def test_the_twin_itself_can_say_no() -> None:
    """A plan that is not the best is worth less to the twin: the comparison can fail."""
    case = FundingCase(
        (Quarter("Q", 5.0),),
        (Tool("A", (5.0,)), Tool("B", (5.0,))),
        (Product("a", (9.0,), ("A",)), Product("b", (8.0,), ("B",))),
    )
    assert Twin(case).find_best() == 4.0
    assert Twin(replace(case, products=case.products[1:])).find_best() == 3.0
