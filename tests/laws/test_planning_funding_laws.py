"""What must hold for every funding plan, on invented portfolios that hypothesis makes."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TypeVar

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.planning.funding_amounts import compute_tie_width
from pipeline.planning.funding_case import (
    EitherOr,
    FundingCase,
    Overlap,
    Product,
    Quarter,
    Resource,
    Tool,
    Use,
    replace_budget,
)
from pipeline.planning.funding_frontier import compute_frontier
from pipeline.planning.funding_plan import FundingPlan, compute_plan

Item = TypeVar("Item")
AMOUNTS = st.integers(0, 3000).map(lambda cents: cents / 100)
FEW = settings(max_examples=40, deadline=None, derandomize=True)


@st.composite
def cases(draw: st.DrawFn) -> FundingCase:
    """Make a portfolio of up to six tools, six products and four quarters."""
    count = draw(st.integers(1, 4))
    quarters = tuple(Quarter(f"Q{q}", draw(AMOUNTS)) for q in range(count))
    tools = tuple(draw(_tools(f"T{i}", count)) for i in range(draw(st.integers(1, 6))))
    keys = [t.key for t in tools]
    products = []
    for number in range(draw(st.integers(1, 6))):
        made = [p.key for p in products]
        products.append(draw(_products(f"P{number}", keys, made, count)))
    names = [p.key for p in products]
    pairs = st.tuples(st.sampled_from(names), st.sampled_from(names)).filter(lambda p: p[0] != p[1])
    overlaps = (
        draw(st.lists(st.builds(lambda p, v: Overlap(*p, v), pairs, AMOUNTS), max_size=3)) if len(names) > 1 else []
    )
    groups = [EitherOr(tuple(draw(st.permutations(names + keys))[:2]))] if draw(st.booleans()) else []
    press = Resource("press", (draw(AMOUNTS),))
    opening = draw(AMOUNTS)
    return FundingCase(quarters, tools, tuple(products), tuple(overlaps), tuple(groups), (press,), opening, 0.5, 0.01)


@st.composite
def _tools(draw: st.DrawFn, key: str, count: int) -> Tool:
    payments = tuple(draw(st.lists(AMOUNTS, min_size=1, max_size=3)))
    uses = (Use("press", tuple(draw(st.lists(AMOUNTS, min_size=1, max_size=2)))),) if draw(st.booleans()) else ()
    return Tool(key, payments, draw(st.integers(0, 2)), uses, draw(st.integers(0, count)), "fit check not proven")


@st.composite
def _products(draw: st.DrawFn, key: str, tools: list[str], made: list[str], count: int) -> Product:
    worth = tuple(3 * v for v in draw(st.lists(AMOUNTS, min_size=1, max_size=count + 2)))
    used = tuple(draw(st.lists(st.sampled_from(tools), max_size=3, unique=True)))
    children = tuple(draw(st.lists(st.sampled_from(made), max_size=2, unique=True))) if made else ()
    return Product(key, worth, used, children, downside=(draw(AMOUNTS) / 2,), lead=draw(st.integers(0, 1)))


def solve(case: FundingCase) -> FundingPlan:
    plan = compute_plan(case).plan
    assert plan is not None and plan.is_proven
    return plan


@FEW
@given(cases(), AMOUNTS, st.integers(0, 3))
def test_more_cash_in_any_quarter_never_lowers_worth(case: FundingCase, more: float, quarter: int) -> None:
    quarter %= len(case.quarters)
    richer = tuple(replace(q, new_cash=q.new_cash + more * (k == quarter)) for k, q in enumerate(case.quarters))
    assert solve(replace(case, quarters=richer)).worth >= solve(case).worth - compute_tie_width(case)


@FEW
@given(cases())
def test_cash_is_never_below_zero_and_adds_up(case: FundingCase) -> None:
    plan = solve(case)
    tools = {t.key: t for t in case.tools}
    for quarter in range(len(case.quarters)):
        had = case.opening_cash + sum(q.new_cash for q in case.quarters[: quarter + 1])
        paid = sum(p for k, r in plan.releases.items() for o, p in enumerate(tools[k].payments) if r + o <= quarter)
        assert had - paid >= -1e-6
        assert abs(plan.account.cash[quarter].left - (had - paid)) < 1e-6
    total = case.opening_cash + sum(q.new_cash for q in case.quarters)
    assert plan.account.cash[-1].left >= -1e-6 and abs(plan.account.cash[-1].left - (total - plan.spend)) < 1e-6


@FEW
@given(cases())
def test_nothing_earns_before_all_that_it_needs_is_there(case: FundingCase) -> None:
    plan, tools, products = solve(case), {t.key: t for t in case.tools}, {p.key: p for p in case.products}

    def is_there(key: str, start: int) -> bool:
        item = products[key]
        by = start - item.lead
        own = all(t in plan.releases and plan.releases[t] + tools[t].ready_after <= by for t in item.tools)
        return own and by >= 0 and all(is_there(child, by) for child in item.children)

    assert all(is_there(key, start) for key, start in plan.launches.items())
    assert all(plan.releases[t.key] >= t.earliest for t in case.tools if t.key in plan.releases)


@FEW
@given(cases(), st.randoms(use_true_random=False))
def test_the_order_of_records_changes_nothing(case: FundingCase, chance: random.Random) -> None:
    def shuffled(items: tuple[Item, ...]) -> tuple[Item, ...]:
        return tuple(chance.sample(items, len(items)))

    products = tuple(replace(p, tools=shuffled(p.tools), children=shuffled(p.children)) for p in case.products)
    groups = tuple(replace(g, keys=shuffled(g.keys)) for g in case.either_or)
    mixed = replace(
        case,
        tools=shuffled(case.tools),
        products=shuffled(products),
        overlaps=shuffled(case.overlaps),
        either_or=groups,
    )
    assert repr(compute_plan(mixed)) == repr(compute_plan(case))


@FEW
@given(cases())
def test_a_frontier_never_falls_and_each_point_keeps_to_its_budget(case: FundingCase) -> None:
    points = compute_frontier(case, (0, 5, 20, 60)).points
    worths = [p.plan.worth for p in points if p.plan is not None]
    assert len(worths) == 4 and worths == sorted(worths)
    for point in points:
        assert point.plan is not None and point.plan.spend <= point.budget + case.opening_cash + 1e-6


@FEW
@given(cases())
def test_a_plan_is_worth_no_less_than_doing_nothing_and_no_more_than_without_limits(case: FundingCase) -> None:
    plan = solve(case)
    rich = solve(replace(replace_budget(case, 1e4), resources=(), tools=tuple(replace(t, uses=()) for t in case.tools)))
    assert -compute_tie_width(case) <= plan.worth <= rich.worth + compute_tie_width(case)
