"""From the demo's records to the inputs of a plan: what is promised, what waits for what, what is paid once."""

from __future__ import annotations

import datetime as dt
import math
from decimal import Decimal
from itertools import pairwise
from pathlib import Path

import pytest
from portfolio.spend_workspaces import ROOT, copy_demo, fund, fund_copy

from pipeline.costing.worth import compute_mean_worth
from pipeline.planning.funding_case import EitherOr, FundingCase, ProductKind, find_value_at
from pipeline.planning.funding_faults import FaultKind
from pipeline.planning.funding_plan import PlanAnswer, compute_plan
from pipeline.planning.funding_reasons import ReasonKind, explain_plan
from pipeline.portfolio.case import build_part_case, compute_case_result
from pipeline.portfolio.funding import Funding, Wishes
from pipeline.portfolio.funding_quarters import count_quarters, list_quarters
from pipeline.portfolio.funding_ready import forecast_ready
from pipeline.portfolio.portfolio import Portfolio, build_portfolio

CLIP = "projects/TW-206/part.yaml"
CLIP_TOOLS = ("demand: {per", "tools:\n  strip: {kind: stamping-die, price: 5200 USD}\ndemand: {per")


@pytest.fixture(scope="module")
def demo() -> Portfolio:
    return build_portfolio(ROOT)


@pytest.fixture(scope="module")
def funding(demo: Portfolio) -> Funding:
    return fund(demo)


@pytest.fixture(scope="module")
def answer(funding: Funding) -> PlanAnswer:
    return compute_plan(funding.case)


def _sum_due(funding: Funding, part: str) -> dict[str, Decimal]:
    """Payments of a part's signed tools by quarter."""
    found: dict[str, Decimal] = {}
    for one in funding.signed_sets:
        for line in one.due if one.part == part else ():
            name = list_quarters(funding.today)[count_quarters(line.on, funding.today)]
            found[name] = found.get(name, Decimal(0)) + line.amount
    return found


# --- cash ---------------------------------------------------------------------------------------------


def test_quarters_start_today_and_unstated_budgets_are_said(funding: Funding) -> None:
    names = [quarter.name for quarter in funding.case.quarters]
    assert names == ["2026-Q4", "2027-Q1", "2027-Q2", "2027-Q3", "2027-Q4", "2028-Q1", "2028-Q2", "2028-Q3"]
    assert [q.new_cash for q in funding.case.quarters] == [30_000, 75_000, 45_000, 60_000, 45_000, 60_000, 45_000, 0]
    assert funding.unstated == ("2028-Q3",)
    assert funding.carries


def test_promised_payments_stand_in_the_quarters_of_their_milestones(funding: Funding) -> None:
    """By hand. TW-152: wax 5,600 and gauge 1,000, half at order (paid), half at approved samples, 0.9 x 15 weeks
    after the order of 19 Oct 2026: 21 Jan 2027. The nest (800) is released and not ordered: 400 today, 400 13.5 weeks on.
    TW-101: the die's two further shares of 11,400 fall in March and April 2027."""
    assert _sum_due(funding, "TW-152") == {"2026-Q4": Decimal(400), "2027-Q1": Decimal(3700)}
    die = {
        line.on: line.amount
        for one in funding.signed_sets
        for line in one.due
        if (one.part, line.tool) == ("TW-101", "die")
    }
    assert list(die.values()) == [Decimal(11_400), Decimal(11_400)]
    assert [(day.year, (day.month - 1) // 3 + 1) for day in die] == [(2027, 1), (2027, 2)]
    assert sum(_sum_due(funding, "TW-186").values()) == Decimal(15_120)


def test_what_is_promised_is_paid_before_anything_else(funding: Funding, answer: PlanAnswer) -> None:
    assert answer.plan is not None
    total = sum((one.cost for one in funding.signed_sets), Decimal(0))
    assert math.isclose(sum(row.committed for row in answer.plan.account.cash), float(total))
    assert all(row.left >= -1e-6 for row in answer.plan.account.cash)
    assert not any(funding.sets[key].signed for key in answer.plan.releases)


def test_a_release_is_not_chosen_again_and_its_part_is_counted_on(funding: Funding) -> None:
    on_hand = {tool.key: tool.on_hand_from for tool in funding.case.tools if tool.on_hand_from is not None}
    assert {"TW-101 tools", "TW-152 tools", "TW-186 tools"} <= set(on_hand)
    assert {"TW-101", "TW-152", "TW-186"} <= {product.key for product in funding.case.products}
    assert on_hand["TW-101 tools"] == 2  # 20 weeks from 30 Nov 2026 is 19 Apr 2027


# --- what waits for what --------------------------------------------------------------------------------


def test_the_lamp_waits_for_its_lens(funding: Funding, answer: PlanAnswer) -> None:
    lamp = next(p for p in funding.case.products if p.key == "TW-160")
    assert lamp.kind is ProductKind.ASSEMBLY
    assert lamp.children == ("TW-161",)
    assert answer.plan is not None
    assert answer.plan.launches["TW-160"] >= answer.plan.releases["TW-161 tools"] + 1
    why = {reason.tool: reason for reason in explain_plan(funding.case, answer.plan)}
    later = why["TW-160 tools"].why_not_earlier
    assert later is not None
    assert (later.kind, later.waits_for) == (ReasonKind.WAITS_FOR_TOOL, ("TW-161 tools",))


def test_without_the_lens_there_is_no_lamp(demo: Portfolio) -> None:
    found = fund(demo, Wishes(must_not=("TW-161",)))
    plan = compute_plan(found.case).plan
    assert plan is not None
    assert not {"TW-160", "TW-161"} & plan.launches.keys()
    why = {reason.tool: reason.why for reason in explain_plan(found.case, plan)}
    assert why["TW-161 tools"].kind is ReasonKind.KEPT_OUT
    assert why["TW-160 tools"].kind is ReasonKind.WAITS_FOR_TOOL
    both = compute_plan(fund(demo, Wishes(must=("TW-160",), must_not=("TW-161",))).case)
    assert both.plan is None
    assert both.faults[0].kind is FaultKind.MUST_NEVER_POSSIBLE


def test_the_kit_needs_only_what_is_not_on_sale(funding: Funding, answer: PlanAnswer) -> None:
    kit = next(p for p in funding.case.products if p.key == "TW-210")
    assert (kit.kind, kit.children, kit.tools) == (ProductKind.KIT, ("TW-172",), ("TW-210 release",))
    assert answer.plan is not None
    assert answer.plan.launches["TW-210"] >= answer.plan.launches["TW-172"]


def test_a_shared_tool_is_on_hand_and_costs_nothing_more(funding: Funding) -> None:
    knob = next(p for p in funding.case.products if p.key == "TW-172")
    assert set(knob.tools) == {"TW-172 release", "TW-171/form"}
    form = next(t for t in funding.case.tools if t.key == "TW-171/form")
    assert form.on_hand_from == 0
    assert funding.sets["TW-172 release"].cost == 0


def test_a_shared_tool_that_is_not_cut_yet_is_paid_once(tmp_path: Path) -> None:
    """The sibling's record with its tools still to be bought: two parts are made with the form tool of one."""
    record = "projects/TW-171/part.yaml"
    root = copy_demo(tmp_path)
    text = (root / record).read_text("utf-8")
    for old in (
        ", ordered: 2026-01-05, cutting: 2026-01-12, on trial: 2026-02-02, accepted: 2026-02-20",
        ", ordered: 2026-01-05, cutting: 2026-01-12, accepted: 2026-02-20",
        "  - {release: tooling, on: 2025-12-23, by: owner, second: ito, say: go}\n",
        "  - {gate: tooling,    on: 2026-02-26, by: ito,   second: nell, say: go, why: released for sale}\n",
    ):
        assert old in text
        text = text.replace(old, "")
    (root / record).write_text(text, "utf-8")
    found = fund(build_portfolio(root))
    form = [tool for tool in found.case.tools if tool.key == "TW-171/form"]
    assert [sum(tool.payments) for tool in form] == [420.0]
    assert all("TW-171/form" in p.tools for p in found.case.products if p.key in ("TW-171", "TW-172"))
    plan = compute_plan(found.case).plan
    assert plan is not None
    assert {"TW-171", "TW-172"} <= plan.launches.keys()
    due = sum(float(found.sets[key].cost) for key in plan.releases)
    assert math.isclose(plan.account.spend, due)


def test_an_either_or_tools_one_of_two(tmp_path: Path, funding: Funding) -> None:
    assert funding.case.either_or == ()  # TW-206 has no tool with a price yet
    assert "No tool is on record" in next(one.why for one in funding.left_out if one.part == "TW-206")
    found = fund_copy(tmp_path, {CLIP: CLIP_TOOLS})
    assert found.case.either_or == (EitherOr(("TW-205 tools", "TW-206/strip")),)
    plan = compute_plan(found.case).plan
    assert plan is not None
    assert len({"TW-205", "TW-206"} & plan.launches.keys()) == 1


def test_assemblies_in_a_circle_are_left_out_in_words(tmp_path: Path) -> None:
    found = fund_copy(tmp_path, {"projects/TW-161/part.yaml": ("demand:", "made_of: {lamp: {part: TW-160}}\ndemand:")})
    left = {one.part: one.why for one in found.left_out}
    assert left["TW-160"] == "TW-160 is made from TW-161 is made from TW-160: none of them can ever be complete."
    assert "TW-161" in left
    assert compute_plan(found.case).plan is not None


# --- worth --------------------------------------------------------------------------------------------


def test_worth_is_that_of_the_business_case_without_its_tools(demo: Portfolio, funding: Funding) -> None:
    """TW-205 by hand: contribution of each year at its middle, at 10 % a year, less the errors that are still in it."""
    case = build_part_case(demo.parts["TW-205"]).case
    assert case is not None
    yearly = case.demand.mean * (case.price.mean - case.landed.mean)
    sales = sum((yearly - case.fixed_per_year) * 1.10 ** -(year + 0.5) for year in range(8))
    errors = sum(risk.mean * risk.late for risk in case.errors)
    assert math.isclose(funding.earnings["TW-205"].mean, sales - errors, rel_tol=1e-9)


def test_the_page_of_the_part_and_the_plan_agree(demo: Portfolio, funding: Funding) -> None:
    """Worth of a part that is ready: the case as the part's page shows it differs by its launch and tool payments only."""
    file = demo.parts["TW-109"]
    case, result = build_part_case(file).case, compute_case_result(file)
    assert case is not None and result is not None
    paid = case.tooling.mean * sum(p.share * 1.10 ** (-p.week / 52) for p in case.payments)
    errors = sum(risk.mean * risk.late for risk in case.errors)
    launched = (result.expected_worth + paid + errors * 1.10 ** (-case.errors_week / 52)) * 1.10 ** (
        case.launch.mean / 52
    )
    assert math.isclose(launched - errors, funding.earnings["TW-109"].mean, rel_tol=1e-9)
    assert math.isclose(result.expected_worth, compute_mean_worth(case, 0.10))


def test_a_later_start_is_worth_less_and_the_first_quarter_nothing_less(funding: Funding) -> None:
    quarterly = 1.10**0.25 - 1
    for product in funding.case.products:
        values = product.worth[:12]
        assert all(a >= b for a, b in pairwise(values)), product.key
        assert math.isclose(values[0], funding.earnings[product.key].mean)
        assert math.isclose(values[1] * (1 + quarterly), values[0]) or values[1] * (1 + quarterly) < values[0]


def test_pairs_that_take_from_each_other_are_counted_once(funding: Funding) -> None:
    pairs = [(o.first, o.second) for o in funding.case.overlaps]
    assert pairs == [("TW-160", "TW-161"), ("TW-172", "TW-210")]
    assert all(o.lost > 0 for o in funding.case.overlaps)


def test_what_is_taken_from_a_part_on_sale_is_in_the_worth(demo: Portfolio, funding: Funding) -> None:
    """TW-210 takes 0.30 of a TW-171, which is on sale: that margin is gone whatever the plan says."""
    case = build_part_case(demo.parts["TW-210"]).case
    assert case is not None
    lost = {s.name: s.lost * s.margin for s in case.siblings}
    with_all = case.demand.mean * (case.price.mean - case.landed.mean - lost["TW-171"])
    assert math.isclose(funding.earnings["TW-210"].yearly, with_all, rel_tol=1e-9)


# --- when it is ready ---------------------------------------------------------------------------------------


def test_only_a_proven_part_is_released_now(demo: Portfolio, funding: Funding) -> None:
    assert forecast_ready(demo.parts["TW-109"]).is_now
    tools = {tool.key: tool for tool in funding.case.tools}
    assert (tools["TW-109 tools"].earliest, tools["TW-109 tools"].earliest_why) == (0, "")
    lens = tools["TW-161 tools"]
    assert lens.earliest == 1
    assert lens.earliest_why.startswith("the quote gate is in work: ")
    assert "(quote.offers)" in lens.earliest_why
    assert lens.earliest_why.endswith(
        "forecast for 2027-01-04"
    )  # 5 weeks, the likely length of its family's quote stage


def test_a_part_on_hold_has_no_forecast(demo: Portfolio) -> None:
    found = forecast_ready(demo.parts["TW-190"])
    assert not found.known
    assert found.why.startswith("the measure gate is held")


def test_the_weeks_of_every_open_stage_add_up(demo: Portfolio) -> None:
    """TW-134: fit check (likely 4 weeks) and quote (5) are open: 9 weeks from 30 Nov 2026 is 1 Feb 2027."""
    found = forecast_ready(demo.parts["TW-134"])
    assert (found.low, found.likely, found.high) == (5, 9, 19)
    assert dt.date(2026, 11, 30) + dt.timedelta(weeks=found.likely) == dt.date(2027, 2, 1)


# --- the owner's word in the record ---------------------------------------------------------------------------


def test_what_the_record_says_of_the_plan_is_kept(tmp_path: Path) -> None:
    found = fund_copy(
        tmp_path,
        {
            "projects/TW-109/part.yaml": ("demand:", "plan: {not_before: 2027-Q2, not_after: 2027-Q4}\ndemand:"),
            "projects/TW-205/part.yaml": ("demand:", "plan: {must: false, why: the stamped one is coming}\ndemand:"),
            "projects/TW-147/part.yaml": ("demand:", "plan: {must: true}\ndemand:"),
        },
    )
    plan = compute_plan(found.case).plan
    assert plan is not None
    assert plan.releases["TW-109 tools"] == 2
    assert "TW-205" not in plan.launches
    assert "TW-147" in plan.launches
    tools = {tool.key: tool for tool in found.case.tools}
    assert (tools["TW-109 tools"].not_before, tools["TW-109 tools"].not_after) == (2, 4)
    assert tools["TW-205 tools"].must_not


def test_a_release_by_the_owner_is_where_the_next_plan_starts(
    tmp_path: Path, funding: Funding, answer: PlanAnswer
) -> None:
    """The plan says release TW-109; the owner signs; the next plan has it promised, to the cent, and asks no more."""
    assert answer.plan is not None and answer.plan.releases["TW-109 tools"] == 0
    signed = "decisions:\n  - {release: tooling, on: 2026-11-30, by: owner, second: ito, say: go, why: plan}\n"
    found = fund_copy(tmp_path, {"projects/TW-109/part.yaml": ("decisions:\n", signed)})
    assert found.sets["TW-109 tools"].signed
    assert "TW-109 tools" not in {one.key for one in found.open_sets}
    before, after = (sum(q.committed for q in one.case.quarters) for one in (funding, found))
    assert after - before == pytest.approx(float(funding.sets["TW-109 tools"].cost))
    plan = compute_plan(found.case).plan
    assert plan is not None
    assert {k: v for k, v in answer.plan.releases.items() if k != "TW-109 tools"} == dict(plan.releases)
    assert math.isclose(plan.account.cash[-1].left, answer.plan.account.cash[-1].left)


def test_a_release_that_nobody_may_sign_promises_nothing(tmp_path: Path) -> None:
    signed = "decisions:\n  - {release: tooling, on: 2026-11-30, by: buyer, second: ito, say: go}\n"
    found = fund_copy(tmp_path, {"projects/TW-109/part.yaml": ("decisions:\n", signed)})
    assert not found.sets["TW-109 tools"].signed


def test_a_hold_after_the_release_takes_the_promise_back(tmp_path: Path) -> None:
    words = (
        "decisions:\n  - {release: tooling, on: 2026-11-20, by: owner, second: ito, say: go}\n"
        "  - {release: tooling, on: 2026-11-25, by: owner, second: ito, say: hold, why: wait for spring}\n"
    )
    found = fund_copy(tmp_path, {"projects/TW-109/part.yaml": ("decisions:\n", words)})
    assert not found.sets["TW-109 tools"].signed


# --- bad input ------------------------------------------------------------------------------------------------


def test_no_budget_is_said_in_words(tmp_path: Path) -> None:
    money = (ROOT / "shared/money.yaml").read_text("utf-8")
    start, end = money.index("budgets:"), money.index("carry_over:")
    found = fund_copy(tmp_path, {"shared/money.yaml": (money[start:end], "")})
    faults = {fault.kind: fault.words for fault in compute_plan(found.case).faults}
    assert FaultKind.COMMITTED_BEYOND_CASH in faults
    assert "exceed the cash by" in faults[FaultKind.COMMITTED_BEYOND_CASH]
    assert FaultKind.NO_BUDGET in faults


def test_told_to_be_in_and_out_is_said_in_words(demo: Portfolio) -> None:
    found = compute_plan(fund(demo, Wishes(must=("TW-109",), must_not=("TW-109",))).case)
    assert found.plan is None
    assert found.faults[0].words == "TW-109 is told to be in and told to be out."


def test_a_wish_that_names_nothing_is_kept_apart(demo: Portfolio) -> None:
    found = fund(demo, Wishes(must=("TW-112", "TW-999"), must_not=("TW-109/die",)))
    assert found.unknown == ("TW-112", "TW-999")
    assert next(p for p in found.case.products if p.key == "TW-109").must_not  # a tool of its set stands for the part


def test_every_part_is_planned_on_sale_dropped_or_left_out_with_a_reason(demo: Portfolio, funding: Funding) -> None:
    planned, left = {p.key for p in funding.case.products}, {one.part for one in funding.left_out}
    for number, file in demo.parts.items():
        done = file.standing.released or file.standing.is_dropped
        assert done + (number in planned) + (number in left) == 1, number
    assert all(one.why.endswith(".") and len(one.why) > 20 for one in funding.left_out)


def test_the_order_of_the_records_changes_nothing(demo: Portfolio, funding: Funding) -> None:
    shop = next(iter(demo.parts.values())).shop
    before = dict(shop.parts)
    try:
        shop.parts.clear()
        shop.parts.update(reversed(before.items()))
        assert fund(demo).case == funding.case
    finally:
        shop.parts.clear()
        shop.parts.update(before)


def test_capacity_of_the_first_quarter_is_what_is_left_of_it(funding: Funding) -> None:
    """The arm is free 24 hours a week; from 30 Nov to 1 Jan are 32 days, a full quarter has 13 weeks."""
    arm = next(r for r in funding.case.resources if r.key == "arm")
    assert math.isclose(arm.capacity[0], 24 * 32 / 7)
    assert arm.capacity[1] == 24 * 13


def test_cash_that_lapses_limits_every_quarter(tmp_path: Path, answer: PlanAnswer) -> None:
    found = fund_copy(tmp_path, {"shared/money.yaml": ("carry_over: true", "carry_over: false")})
    assert not found.carries
    plan = compute_plan(found.case).plan
    assert plan is not None and answer.plan is not None
    assert all(row.paid + row.committed <= row.new_cash + 1e-6 for row in plan.account.cash[:-1])
    assert plan.worth <= answer.plan.worth + 1e-6


def test_a_value_for_every_quarter(funding: Funding) -> None:
    case: FundingCase = funding.case
    assert all(find_value_at(p.downside, 3) >= 0 for p in case.products)
    assert {t.key for t in case.tools} == {k for p in case.products for k in p.tools}
