"""Bad input is answered in words, never with a solver's status. Invented cases."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from pipeline.planning.funding_case import EitherOr, FundingCase, Overlap, Product, Quarter, Resource, Tool, Use
from pipeline.planning.funding_faults import Fault, FaultKind, find_case_faults
from pipeline.planning.funding_plan import compute_plan

A, B = Tool("A", (6.0, 4.0)), Tool("B", (8.0,))
CASE = FundingCase(
    (Quarter("Q1", 12.0), Quarter("Q2", 6.0)), (A, B), (Product("a", (30.0,), ("A",)), Product("b", (20.0,), ("B",)))
)
LOOP = (Product("a", (30.0,), ("A",), ("b",)), Product("b", (20.0,), ("B",), ("a",)))
PRESS = Resource("press", (3.0,))

BLOCKING = [
    ("no quarters", replace(CASE, quarters=()), FaultKind.NO_QUARTERS, (), "no cash"),
    ("must and must not", replace(CASE, tools=(replace(A, must=True, must_not=True), B)), FaultKind.MUST_AND_MUST_NOT, ("A",), "told to be in and told to be out"),
    ("circle", replace(CASE, products=LOOP), FaultKind.ASSEMBLY_CIRCLE, ("a", "b"), "a is made from b is made from a"),
    ("made from itself", replace(CASE, products=(replace(LOOP[0], children=("a",)),)), FaultKind.ASSEMBLY_CIRCLE, ("a",), "a is made from a"),
    ("negative price", replace(CASE, tools=(replace(A, payments=(-6.0,)), B)), FaultKind.NEGATIVE_AMOUNT, ("A",), "−6"),
    ("not a number", replace(CASE, products=(replace(LOOP[1], children=(), worth=(math.nan,)),)), FaultKind.NOT_A_NUMBER, ("b",), "nan"),
    ("no worth", replace(CASE, products=(replace(LOOP[1], children=(), worth=()),)), FaultKind.EMPTY_LIST, ("b",), "no worth"),
    ("same key", replace(CASE, tools=(A, A, B)), FaultKind.SAME_KEY_TWICE, ("A",), "more than one"),
    ("unknown tool", replace(CASE, tools=(A,)), FaultKind.UNKNOWN_KEY, ("B",), "not in this plan"),
    ("unknown overlap", replace(CASE, overlaps=(Overlap("a", "z", 1.0),)), FaultKind.UNKNOWN_KEY, ("z",), "overlap"),
    ("unknown resource", replace(CASE, tools=(replace(A, uses=(Use("oven", (1.0,)),)), B)), FaultKind.UNKNOWN_KEY, ("oven",), "uses oven"),
    ("committed", replace(CASE, quarters=(Quarter("Q1", 12.0, 5.0), Quarter("Q2", 1.0, 9.5))), FaultKind.COMMITTED_BEYOND_CASH, (), "by 1.5 in Q2"),
    ("never possible", replace(CASE, tools=(replace(A, must=True, earliest=5, earliest_why="fit check open"), B)), FaultKind.MUST_NEVER_POSSIBLE, ("A",), "fit check open"),
    ("product never possible", replace(CASE, tools=(replace(A, must_not=True), B), products=(replace(CASE.products[0], must=True), CASE.products[1])), FaultKind.MUST_NEVER_POSSIBLE, ("a", "A"), "kept out"),
    ("both of an either-or", replace(CASE, tools=(replace(A, must=True), replace(B, must=True)), either_or=(EitherOr(("A", "B")),)), FaultKind.MUST_BOTH_OF_EITHER_OR, ("A", "B"), "only one"),
]  # fmt: skip


@pytest.mark.parametrize(("case", "kind", "keys", "words"), [b[1:] for b in BLOCKING], ids=[b[0] for b in BLOCKING])
def test_blocking_fault(case: FundingCase, kind: FaultKind, keys: tuple[str, ...], words: str) -> None:
    answer = compute_plan(case)
    assert answer.plan is None
    found = [f for f in answer.faults if f.blocking]
    assert [(f.kind, f.keys) for f in found] == [(kind, keys)]
    assert words in found[0].words and found[0].fix


def find_only_fault(case: FundingCase) -> Fault:
    answer = compute_plan(case)
    assert answer.plan is None
    (fault,) = answer.faults
    return fault


def test_a_sound_case_has_no_faults() -> None:
    assert find_case_faults(CASE) == ()


def test_must_dos_that_just_fit_are_no_fault() -> None:
    """B takes 8 of 12 in Q1; A then 6 of the 10 in Q2, and its 4 after the plan: 18 of 18 in all."""
    answer = compute_plan(replace(CASE, tools=(replace(A, must=True), replace(B, must=True, not_after=0))))
    assert answer.plan is not None and dict(answer.plan.releases) == {"A": 1, "B": 0}
    assert answer.plan.account.cash[-1].left == 0.0


def test_a_must_do_beyond_all_cash_says_how_much_is_short_and_from_when() -> None:
    fault = find_only_fault(
        replace(CASE, tools=(replace(A, must=True, not_after=0), replace(B, must=True, not_after=0)))
    )
    assert fault.kind is FaultKind.MUST_BEYOND_CASH and fault.keys == ("A", "B")
    assert fault.amount == pytest.approx(2.0) and fault.quarter == 0  # 6 + 8 against 12
    assert "A and B need 2 more cash" in fault.words and "from Q1 on" in fault.words


def test_a_must_do_whose_last_payment_falls_after_the_plan_is_short_too() -> None:
    fault = find_only_fault(replace(CASE, tools=(replace(A, payments=(6.0, 0.0, 15.0), must=True), B)))
    assert fault.amount == pytest.approx(3.0) and fault.quarter == 2  # 21 against 18
    assert "from 1 quarter after Q2 on" in fault.words


def test_must_dos_beyond_capacity_name_the_resource() -> None:
    tools = tuple(replace(t, must=True, not_after=0, payments=(1.0,), uses=(Use("press", (2.0,)),)) for t in (A, B))
    fault = find_only_fault(replace(CASE, tools=tools, resources=(PRESS,)))
    assert fault.kind is FaultKind.MUST_BEYOND_CAPACITY
    assert fault.amount == pytest.approx(1.0) and fault.quarter == 0 and "press" in fault.words


def test_must_dos_that_exclude_each_other_through_their_tools() -> None:
    products = (replace(CASE.products[0], must=True), replace(CASE.products[1], must=True))
    fault = find_only_fault(replace(CASE, products=products, either_or=(EitherOr(("A", "B")),)))
    assert fault.kind is FaultKind.MUST_TOGETHER_IMPOSSIBLE and fault.keys == ("a", "b")


def test_no_budget_and_a_needless_tool_leave_a_plan_beside_the_words() -> None:
    case = replace(CASE, quarters=(Quarter("Q1", 0.0),), tools=(A, B, Tool("C", (1.0,))))
    answer = compute_plan(case)
    assert answer.plan is not None and dict(answer.plan.releases) == {}
    assert [(f.kind, f.keys, f.blocking) for f in answer.faults] == [
        (FaultKind.NO_BUDGET, (), False),
        (FaultKind.TOOL_NOBODY_NEEDS, ("C",), False),
    ]
    assert "needed by no product" in answer.faults[1].words


def test_nothing_to_plan_is_an_empty_plan() -> None:
    answer = compute_plan(FundingCase((Quarter("Q1", 5.0),), (), ()))
    assert answer.plan is not None and answer.plan.worth == 0.0 and answer.plan.is_proven


def test_a_long_chain_of_assemblies_is_no_circle_and_needs_no_recursion() -> None:
    chain = tuple(Product(f"p{i:04}", (1.0,), ("A",), (f"p{i - 1:04}",) if i else ()) for i in range(3000))
    assert find_case_faults(replace(CASE, tools=(A,), products=chain)) == ()


@pytest.mark.parametrize(("gap", "limit"), [(-0.1, None), (math.nan, None), (None, 0.0), (None, -1.0)])
def test_a_wrong_goal_is_the_callers_mistake(gap: float | None, limit: float | None) -> None:
    with pytest.raises(ValueError, match=r"gap|time limit"):
        compute_plan(CASE, gap=gap, time_limit_s=limit)
