"""The worked example (invented inputs): nine tools, six products, three budgets, in thousands of money."""

from __future__ import annotations

import pytest

from pipeline.planning.funding_case import FundingCase, Overlap, Product, ProductKind, Quarter, Tool
from pipeline.planning.funding_plan import compute_plan
from pipeline.planning.funding_ranking import rank_stand_alone

COSTS = {
    "T1 bezel die": 38, "T2 lens mould": 21, "T3 mask set": 4, "T4 gasket die": 3, "T5 handle inner": 12,
    "T6 escutcheon": 9, "T7 spring form": 3.5, "T8 cutting dies": 5, "T9 badge": 16,
}  # fmt: skip
PRODUCTS = {
    "lamp assembly": (104, ("T1 bezel die", "T2 lens mould", "T3 mask set", "T4 gasket die")),
    "lamp lens alone": (30, ("T2 lens mould", "T3 mask set")),
    "handle set": (41, ("T5 handle inner", "T6 escutcheon", "T7 spring form")),
    "catch kit": (9, ("T7 spring form",)),
    "door seal + trim kit": (15, ("T8 cutting dies", "T4 gasket die")),
    "badge": (24, ("T9 badge",)),
}
# budget: products, spend, net, net of ranking every product on its own
ANSWERS = {
    45: ({"handle set", "catch kit", "badge"}, 40.5, 33.5, 32.5),
    75: ({"lamp assembly", "lamp lens alone", "catch kit", "door seal + trim kit"}, 74.5, 71.5, 40.5),
    95: ({"lamp assembly", "lamp lens alone", "handle set", "catch kit"}, 90.5, 81.5, 45.5),
}


def build_worked_case(budget: float) -> FundingCase:
    tools = tuple(Tool(key, (float(cost),)) for key, cost in COSTS.items())
    products = tuple(Product(key, (float(worth),), needs, kind=_kind(key)) for key, (worth, needs) in PRODUCTS.items())
    overlap = Overlap("lamp assembly", "lamp lens alone", 12.0)
    return FundingCase((Quarter("this quarter", budget),), tools, products, (overlap,))


def _kind(key: str) -> ProductKind:
    return ProductKind.KIT if "kit" in key else ProductKind.ASSEMBLY if "assembly" in key else ProductKind.PART


@pytest.mark.parametrize("budget", sorted(ANSWERS))
def test_choice_spend_and_net(budget: int) -> None:
    products, spend, net, _ = ANSWERS[budget]
    answer = compute_plan(build_worked_case(budget))
    assert answer.faults == () and answer.plan is not None
    assert set(answer.plan.launches) == products
    assert set(answer.plan.releases) == {t for p in products for t in PRODUCTS[p][1]}
    assert answer.plan.spend == spend
    assert answer.plan.worth == net
    assert answer.plan.account.cash[0].left == budget - spend
    assert answer.plan.account.overlap_lost == (12.0 if "lamp lens alone" in products else 0.0)


@pytest.mark.parametrize("budget", sorted(ANSWERS))
def test_ranking_each_product_on_its_own_earns_less(budget: int) -> None:
    ranking = rank_stand_alone(build_worked_case(budget))
    assert ranking.account.worth == ANSWERS[budget][3] < ANSWERS[budget][2]
