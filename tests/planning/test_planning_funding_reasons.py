"""Why tools are in or out, what stands idle. The worked example (invented inputs) and small invented cases."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.planning.funding_account import compute_account
from pipeline.planning.funding_case import EitherOr, FundingCase, Overlap, Product, Quarter, Resource, Tool, Use
from pipeline.planning.funding_idle import find_idle_spend
from pipeline.planning.funding_plan import FundingPlan, PlanEnd, compute_plan
from pipeline.planning.funding_reasons import ReasonKind, ToolReason, explain_plan

COSTS = {"T1": 38, "T2": 21, "T3": 4, "T4": 3, "T5": 12, "T6": 9, "T7": 3.5, "T8": 5, "T9": 16}
NEEDS = {
    "lamp assembly": (104, ("T1", "T2", "T3", "T4")), "lamp lens": (30, ("T2", "T3")), "handle set": (41, ("T5", "T6", "T7")),
    "catch kit": (9, ("T7",)), "seal kit": (15, ("T8", "T4")), "badge": (24, ("T9",)),
}  # fmt: skip


def build_case(budget: float = 75.0) -> FundingCase:
    tools = tuple(Tool(k, (float(v),)) for k, v in COSTS.items())
    products = tuple(Product(k, (float(w),), t) for k, (w, t) in NEEDS.items())
    return FundingCase((Quarter("2026 Q1", budget),), tools, products, (Overlap("lamp assembly", "lamp lens", 12.0),))


def change_tool(case: FundingCase, key: str, **change: object) -> FundingCase:
    return replace(case, tools=tuple(replace(t, **change) if t.key == key else t for t in case.tools))  # type: ignore[arg-type]


def solve(case: FundingCase) -> tuple[FundingPlan, dict[str, ToolReason]]:
    plan = compute_plan(case).plan
    assert plan is not None
    return plan, {r.tool: r for r in explain_plan(case, plan)}


def test_cash_says_how_much_is_missing_and_when_and_what_must_come_too() -> None:
    _, reasons = solve(build_case())
    assert reasons["T9"].why.kind is ReasonKind.CASH
    assert (reasons["T9"].why.amount, reasons["T9"].why.quarter) == (15.5, 0)  # 16 against the 0.5 that is left
    assert reasons["T5"].why.kind is ReasonKind.CASH
    assert (reasons["T5"].why.amount, reasons["T5"].why.waits_for) == (20.5, ("T6",))
    assert reasons["T5"].why.words == (
        "For handle set together with T6 it costs 21, which takes 20.5 more cash than is left; "
        "it is missing from 2026 Q1 on."
    )


def test_a_tool_that_is_in_says_what_it_carries_and_what_it_adds() -> None:
    _, reasons = solve(build_case())
    assert reasons["T1"].why.kind is ReasonKind.EARNS
    assert reasons["T1"].products == ("lamp assembly",)
    assert reasons["T1"].why.amount == pytest.approx(104 - 12 - 38)
    assert reasons["T4"].products == ("lamp assembly", "seal kit")
    assert reasons["T1"].why_not_earlier is not None and reasons["T1"].why_not_earlier.kind is ReasonKind.AT_ONCE


def test_instructions_gates_windows_and_the_tools_that_wait_for_them() -> None:
    case = change_tool(build_case(200.0), "T6", must_not=True)
    case = change_tool(case, "T9", earliest=3, earliest_why="fit check not proven, forecast 2026 Q4")
    case = change_tool(case, "T8", not_before=2)
    _, reasons = solve(case)
    assert reasons["T6"].why.kind is ReasonKind.KEPT_OUT
    assert (reasons["T5"].why.kind, reasons["T5"].why.waits_for) == (ReasonKind.WAITS_FOR_TOOL, ("T6",))
    assert reasons["T9"].why.kind is ReasonKind.UNPROVEN_GATE
    assert "fit check not proven, forecast 2026 Q4" in reasons["T9"].why.words and reasons["T9"].why.quarter == 3
    assert reasons["T8"].why.kind is ReasonKind.WINDOW


def test_worth_below_zero_is_no_want_of_cash() -> None:
    case = build_case(20.0)
    dear = replace(
        case,
        tools=(*case.tools, Tool("T0", (50.0,)), Tool("TX", (1.0,))),
        products=(*case.products, Product("horn", (30.0,), ("T0",))),
    )
    _, reasons = solve(dear)
    assert (reasons["T0"].why.kind, reasons["T0"].why.amount) == (ReasonKind.WORTH, -20.0)
    assert reasons["TX"].why.kind is ReasonKind.NOBODY_NEEDS


def test_capacity_names_the_resource_and_the_quarter() -> None:
    quarters = (Quarter("Q1", 100.0), Quarter("Q2", 0.0))
    tools = (Tool("A", (5.0,), uses=(Use("press", (0.0, 4.0)),)), Tool("B", (5.0,), uses=(Use("press", (3.0, 3.0)),)))
    products = (Product("a", (20.0, 0.0), ("A",)), Product("b", (15.0, 0.0), ("B",)))
    _, reasons = solve(FundingCase(quarters, tools, products, resources=(Resource("press", (5.0,)),)))
    assert reasons["A"].quarter == 0
    why = reasons["B"].why
    assert (why.kind, why.resource, why.quarter, why.amount) == (ReasonKind.CAPACITY, "press", 1, 2.0)


def test_either_or_names_what_is_taken() -> None:
    case = replace(build_case(200.0), either_or=(EitherOr(("badge", "handle set")),))
    _, reasons = solve(case)
    assert reasons["T9"].why.kind is ReasonKind.EITHER_OR or reasons["T5"].why.kind is ReasonKind.EITHER_OR
    out = reasons["T9"] if reasons["T9"].quarter is None else reasons["T5"]
    assert "handle set" in out.why.words or "badge" in out.why.words


def test_why_not_a_quarter_earlier() -> None:
    quarters = tuple(Quarter(f"Q{q}", 10.0) for q in range(1, 5))
    tools = (
        Tool("A", (10.0,)), Tool("B", (10.0,), earliest=1, earliest_why="prototype not proven"), Tool("C", (10.0,)),
        Tool("D", (1.0,), not_before=3), Tool("E", (0.0,), on_hand_from=0),
    )  # fmt: skip
    products = (
        Product("a", (40.0, 36.0, 32.0, 28.0), ("A",)), Product("b", (39.0, 36.0, 31.0, 26.0), ("B",)),
        Product("c", (30.0, 27.0, 24.0, 21.0), ("C", "E")), Product("d", (9.0,), ("D",)),
    )  # fmt: skip
    _, reasons = solve(FundingCase(quarters, tools, products))
    assert [reasons[k].quarter for k in "ABCDE"] == [0, 1, 2, 3, None]
    timing = {k: reasons[k].why_not_earlier for k in "ABCD"}
    assert timing["B"] is not None and timing["B"].kind is ReasonKind.UNPROVEN_GATE
    assert "prototype not proven" in timing["B"].words
    assert timing["C"] is not None and timing["C"].kind is ReasonKind.CASH
    assert (timing["C"].amount, timing["C"].quarter) == (10.0, 1)
    assert timing["D"] is not None and timing["D"].kind is ReasonKind.WINDOW
    assert reasons["E"].why.kind is ReasonKind.ON_HAND


def test_a_must_do_that_earns_nothing_says_so_and_stands_idle() -> None:
    case = change_tool(build_case(45.0), "T1", must=True)
    plan, reasons = solve(case)
    assert reasons["T1"].why.kind is ReasonKind.MUST and reasons["T1"].why.amount == -38.0
    idle = {i.tool: i for i in find_idle_spend(case, plan)}
    assert set(idle) == {"T1"}
    assert (idle["T1"].spent, idle["T1"].earns_from, idle["T1"].waits_for) == (38.0, None, ("T2", "T3", "T4"))
    assert idle["T1"].words == "T1: 38 spent from 2026 Q1 on earns nothing in this plan; it waits for T2, T3 and T4."


def test_money_waits_for_the_tool_that_comes_later() -> None:
    quarters = (Quarter("Q1", 20.0), Quarter("Q2", 20.0), Quarter("Q3", 0.0))
    tools = (
        Tool("A", (5.0,), ready_after=1),
        Tool("B", (30.0,), earliest=1, earliest_why="model open", ready_after=1),
        Tool("C", (1.0,)),
    )
    products = (Product("ab", (90.0,), ("A", "B")), Product("c", (5.0,), ("C",)))
    case = FundingCase(quarters, (replace(tools[0], must=True, not_after=0), *tools[1:]), products)
    plan, reasons = solve(case)
    (idle,) = find_idle_spend(case, plan)
    assert (idle.tool, idle.idle_from, idle.earns_from, idle.waits_for) == ("A", 1, 2, ("B",))
    assert "earns nothing until Q3" in idle.words
    assert reasons["B"].quarter == 1


@pytest.mark.parametrize("budget", [0.0, 10.0, 30.0, 45.0, 60.0, 75.0, 95.0, 111.5, 200.0])
def test_no_tool_is_out_that_would_fit_and_gain(budget: float) -> None:
    """Cash is named only where it is missing: the amount named, brought in, changes what can be afforded."""
    case = build_case(budget)
    plan, reasons = solve(case)
    for reason in reasons.values():
        if reason.quarter is None:
            assert reason.why.kind in (ReasonKind.CASH, ReasonKind.WORTH)
            if reason.why.kind is ReasonKind.CASH:
                assert reason.why.amount is not None and reason.why.amount > 0
                richer = compute_plan(replace(case, opening_cash=reason.why.amount)).plan
                assert richer is not None and richer.worth > plan.worth


def test_tools_that_come_together_say_what_holds_the_pair_back() -> None:
    """A and B are of use together only; cash for both is there in Q2, for one of them in Q1."""
    quarters = (Quarter("Q1", 10.0), Quarter("Q2", 10.0))
    tools = (Tool("A", (10.0,)), Tool("B", (10.0,)), Tool("C", (0.0,), not_before=1))
    case = FundingCase(quarters, tools, (Product("ab", (50.0, 45.0), ("A", "B")),), discount=0.01)
    plan, reasons = solve(case)
    assert dict(plan.releases) == {"A": 1, "B": 1}  # paid later, as neither earns earlier
    for key, other in (("A", "B"), ("B", "A")):
        timing = reasons[key].why_not_earlier
        assert timing is not None and timing.kind is ReasonKind.CASH
        assert (timing.amount, timing.quarter, timing.waits_for) == (10.0, 0, (other,))


def test_what_a_tool_carries_is_the_worth_without_it() -> None:
    """The figure beside a tool equals a full count of the plan without it and without what it carries."""
    case = build_case(95.0)
    plan, reasons = solve(case)
    for key in plan.releases:
        releases = {k: q for k, q in plan.releases.items() if k != key}
        launches = {p: q for p, q in plan.launches.items() if p not in reasons[key].products}
        assert reasons[key].why.amount == pytest.approx(plan.worth - compute_account(case, releases, launches).worth)


# -- plans as they are handed in: what is said of a place does not depend on how the plan was found ------------------


def place(case: FundingCase, releases: dict[str, int], launches: dict[str, int], *, proven: bool = True) -> FundingPlan:
    """Return a plan with these releases and launches."""
    account = compute_account(case, releases, launches)
    end = PlanEnd.GOAL if proven else PlanEnd.TIME
    return FundingPlan(releases, launches, account, account.worth, 0.0, proven, end, "")


def explain(case: FundingCase, plan: FundingPlan) -> dict[str, ToolReason]:
    return {reason.tool: reason for reason in explain_plan(case, plan)}


PAIR = FundingCase(
    (Quarter("Q1", 100.0), Quarter("Q2", 0.0)),
    (Tool("A", (10.0,)), Tool("B", (10.0,))),
    (Product("ab", (50.0,), ("A", "B")), Product("a", (30.0,), ("A",), must_not=True)),
)


@pytest.mark.parametrize(
    ("earliest", "kind", "words", "waits"),
    [
        (1, ReasonKind.WAITS_FOR_TOOL, "Its products wait for B anyway.", ("B",)),
        (0, ReasonKind.NO_GAIN, "Releasing it earlier would add no worth.", ()),
    ],
)
def test_a_tool_that_could_come_earlier_says_what_holds_its_products(
    earliest: int, kind: ReasonKind, words: str, waits: tuple[str, ...]
) -> None:
    case = change_tool(PAIR, "B", earliest=earliest)
    timing = explain(case, place(case, {"A": 1, "B": 1}, {"ab": 1}))["A"].why_not_earlier
    assert timing is not None and (timing.kind, timing.words, timing.waits_for) == (kind, words, waits)


def test_a_tool_that_alone_holds_back_its_product_waits_for_nobody() -> None:
    """B stands there from the first quarter; A could have, too: nothing is named that would have to come with it."""
    timing = explain(PAIR, place(PAIR, {"A": 1, "B": 0}, {"ab": 1}))["A"].why_not_earlier
    assert timing is not None and (timing.kind, timing.waits_for) == (ReasonKind.NO_GAIN, ())


def test_a_tool_that_carries_nothing_says_so() -> None:
    found = explain(PAIR, place(PAIR, {"A": 0, "B": 0}, {}))["A"]
    assert found.why.words == "It carries nothing in this plan; without it, all else as planned, 10 more is left."


LONE = FundingCase((Quarter("Q1", 100.0),), (Tool("A", (10.0,)),), (Product("a", (30.0,), ("A",)),))


@pytest.mark.parametrize(
    ("proven", "kind", "words"),
    [
        (False, ReasonKind.NOT_SEARCHED, "It would add 20 with a, but the search ended before it was placed."),
        (True, ReasonKind.WORTH, "With a it would add no worth that counts."),
    ],
)
def test_a_tool_that_would_fit_and_gain_says_that_the_search_ended_before_it(
    proven: bool, kind: ReasonKind, words: str
) -> None:
    why = explain(LONE, place(LONE, {}, {}, proven=proven))["A"].why
    assert (why.kind, why.words, why.amount) == (kind, words, 20.0)


# two products that take 60 from each other: with all the cash in the world a alone is sold, not both
RIVALS = FundingCase(
    (Quarter("Q1", 20.0),),
    (Tool("A", (50.0,)), Tool("B", (30.0,))),
    (Product("a", (100.0,), ("A",)), Product("b", (60.0,), ("B",))),
    (Overlap("a", "b", 60.0),),
)


def test_the_second_best_says_that_a_larger_plan_does_without_it() -> None:
    why = explain(RIVALS, place(RIVALS, {}, {}))["B"].why
    assert (why.kind, why.amount, why.quarter) == (ReasonKind.CASH, 10.0, 0)
    assert why.words == (
        "With b it would add 30, a larger plan does without it; it takes 10 more cash than is left; "
        "it is missing from Q1 on."
    )
    rich = replace(RIVALS, opening_cash=20.0)
    assert explain(rich, place(rich, {}, {}, proven=False))["B"].why.kind is ReasonKind.NOT_SEARCHED


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"products": (Product("a", (30.0,), ("A",), must_not=True),)}, ReasonKind.KEPT_OUT,
         "Every product that needs it is kept out by instruction."),
        ({"tools": (Tool("A", (10.0,), not_before=1),)}, ReasonKind.WINDOW,
         "A is not to be released before 1 quarter after Q1 and the last quarter for it is Q1."),
        ({"tools": (Tool("A", (10.0,)), Tool("Z", (1.0,), on_hand_from=0)), "either_or": (EitherOr(("A", "Z")),)}, ReasonKind.EITHER_OR,
         "Only one of an either-or is taken, and Z is."),
    ],
)  # fmt: skip
def test_a_tool_without_any_way_in_says_what_is_in_the_way(
    change: dict[str, object], kind: ReasonKind, words: str
) -> None:
    case = replace(LONE, **change)  # type: ignore[arg-type]
    why = explain(case, place(case, {}, {}))["A"].why
    assert (why.kind, why.words) == (kind, words)


def test_a_way_that_begins_after_a_window_has_closed_is_no_way() -> None:
    """A may come in the first quarter only, and the cash is there in the second: what is named is the first quarter."""
    quarters = (Quarter("Q1", 0.0), Quarter("Q2", 100.0))
    case = replace(LONE, quarters=quarters, tools=(Tool("A", (10.0,), not_after=0),))
    why = explain(case, place(case, {}, {}))["A"].why
    assert (why.kind, why.amount, why.quarter) == (ReasonKind.CASH, 10.0, 0)


def test_a_tool_gains_with_the_others_that_it_completes_as_far_as_they_add_worth() -> None:
    """A gives a (30); with it b (5 more) and c (which takes 40 from a) could be sold too: 30 + 5 - 10, and no c."""
    products = (Product("a", (30.0,), ("A",)), Product("b", (5.0,), ("A",)), Product("c", (20.0,), ("A",)))
    case = replace(LONE, products=products, overlaps=(Overlap("a", "c", 40.0),))
    why = explain(case, place(case, {}, {}, proven=False))["A"].why
    assert (why.kind, why.amount) == (ReasonKind.NOT_SEARCHED, 25.0)


def test_room_on_the_press_is_not_named_where_cash_is_what_lacks() -> None:
    tools = (Tool("A", (10.0,), uses=(Use("press", (1.0,)),)),)
    case = replace(LONE, quarters=(Quarter("Q1", 4.0),), tools=tools, resources=(Resource("press", (5.0,)),))
    why = explain(case, place(case, {}, {}))["A"].why
    assert (why.kind, why.amount, why.resource) == (ReasonKind.CASH, 6.0, None)
    enough = replace(case, opening_cash=6.0)
    assert explain(enough, place(enough, {}, {}, proven=False))["A"].why.kind is ReasonKind.NOT_SEARCHED
