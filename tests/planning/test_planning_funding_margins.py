"""Cut line, shadow values, price of must-dos, frontier. The worked example (invented inputs), in thousands."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.planning.funding_case import FundingCase, Overlap, Product, Quarter, Tool, compute_total_cash
from pipeline.planning.funding_faults import FaultKind
from pipeline.planning.funding_frontier import build_budget_steps, compute_frontier, find_frontier_neighbours
from pipeline.planning.funding_margins import compute_cut_line, compute_must_costs, compute_shadow_values
from pipeline.planning.funding_plan import FundingPlan, compute_plan

COSTS = {"T1": 38, "T2": 21, "T3": 4, "T4": 3, "T5": 12, "T6": 9, "T7": 3.5, "T8": 5, "T9": 16}
NEEDS = {
    "lamp assembly": (104, ("T1", "T2", "T3", "T4")), "lamp lens": (30, ("T2", "T3")), "handle set": (41, ("T5", "T6", "T7")),
    "catch kit": (9, ("T7",)), "seal kit": (15, ("T8", "T4")), "badge": (24, ("T9",)),
}  # fmt: skip


def build_case(*cash: float) -> FundingCase:
    tools = tuple(Tool(k, (float(v),)) for k, v in COSTS.items())
    products = tuple(Product(k, (float(w),), t) for k, (w, t) in NEEDS.items())
    quarters = tuple(Quarter(f"Q{k + 1}", c) for k, c in enumerate(cash))
    return FundingCase(quarters, tools, products, (Overlap("lamp assembly", "lamp lens", 12.0),))


def solve(case: FundingCase) -> FundingPlan:
    plan = compute_plan(case).plan
    assert plan is not None
    return plan


def list_efficient_points() -> list[tuple[float, float]]:
    """Enumerate all sets of products by hand: (spend, net) of those that no cheaper set equals."""
    found = []
    for mask in range(2 ** len(NEEDS)):
        sold = [p for i, p in enumerate(NEEDS) if mask >> i & 1]
        spend = sum(COSTS[t] for t in {t for p in sold for t in NEEDS[p][1]})
        lost = 12 if {"lamp assembly", "lamp lens"} <= set(sold) else 0
        found.append((float(spend), float(sum(NEEDS[p][0] for p in sold) - lost - spend)))
    points, best = [], -1.0
    for spend, net in sorted(found, key=lambda f: (f[0], -f[1])):
        if net > best:
            points.append((spend, net))
            best = net
    return points


def test_the_frontier_is_the_best_of_all_sets_at_every_budget() -> None:
    efficient = list_efficient_points()
    budgets = sorted({b + d for b, _ in efficient for d in (-0.25, 0.0, 0.25) if b + d >= 0})
    frontier = compute_frontier(build_case(75.0), budgets)
    assert frontier.is_complete and [p.budget for p in frontier.points] == budgets
    for point in frontier.points:
        assert point.plan is not None
        expected = max((net, -spend) for spend, net in efficient if spend <= point.budget)
        assert (point.plan.worth, -point.plan.spend) == pytest.approx(expected)


def test_budget_steps_reach_from_nothing_to_everything_worth_having() -> None:
    steps = build_budget_steps(build_case(75.0), 4)
    assert steps == pytest.approx((0.0, 111.5 / 3, 2 * 111.5 / 3, 75.0, 111.5), abs=1e-9)
    with pytest.raises(ValueError, match="1 steps"):
        build_budget_steps(build_case(75.0), 1)


def test_a_budget_between_two_solved_points_shows_both_and_invents_none() -> None:
    frontier = compute_frontier(build_case(75.0), (45, 75, 95))
    below, above = find_frontier_neighbours(frontier, 80)
    assert below is not None and above is not None and (below.budget, above.budget) == (75, 95)
    assert find_frontier_neighbours(frontier, 40)[0] is None
    assert find_frontier_neighbours(frontier, 95) == (frontier.points[-1], None)


def test_a_frontier_says_where_the_must_dos_do_not_fit() -> None:
    case = build_case(75.0)
    case = replace(case, tools=tuple(replace(t, must=t.key == "T1") for t in case.tools))
    points = compute_frontier(case, (30, 38, 75)).points
    assert [p.plan is None for p in points] == [True, False, False]
    assert points[0].faults[0].kind is FaultKind.MUST_BEYOND_CASH and points[0].faults[0].amount == pytest.approx(8.0)


def test_cut_line_names_what_enters_and_leaves() -> None:
    case = build_case(75.0)
    line = compute_cut_line(case, solve(case), step=16.0, count=2)
    steps = {s.change: s for s in line.steps}
    assert line.is_complete and sorted(steps) == [-32.0, -16.0, 16.0, 32.0]
    up = steps[16.0]
    assert (up.budget, up.entering, up.leaving) == (91.0, ("T5", "T6"), ("T8",))
    assert up.worth_change == pytest.approx(10.0)  # 81.5 against 71.5
    assert steps[-32.0].worth_change == pytest.approx(33.5 - 71.5)  # 43: handle set, catch kit, badge for 40.5
    assert "T1" in steps[-32.0].leaving
    with pytest.raises(ValueError, match="step"):
        compute_cut_line(case, solve(case), step=0.0)


def test_cut_line_leaves_out_budgets_below_zero() -> None:
    case = build_case(20.0)
    assert [s.change for s in compute_cut_line(case, solve(case), 15.0).steps] == [-15.0, 15.0, 30.0, 45.0]


def test_shadow_value_of_cash_is_found_by_solving_again_and_never_rises_with_time() -> None:
    case = build_case(45.0, 30.0, 16.0)
    case = replace(
        case, products=tuple(replace(p, worth=tuple(p.worth[0] * f for f in (1, 0.9, 0.8))) for p in case.products)
    )
    plan = solve(case)
    values = compute_shadow_values(case, plan, unit=16.0)
    assert [v.quarter for v in values] == [0, 1, 2]
    assert values[0].worth_change >= values[1].worth_change >= values[2].worth_change >= 0
    assert values[0].worth_change > 0
    richer = replace(case, quarters=(replace(case.quarters[0], new_cash=61.0), *case.quarters[1:]))
    assert values[0].worth_change == pytest.approx(solve(richer).worth - plan.worth)
    assert values[0].value == pytest.approx(values[0].worth_change / 16.0)


def test_one_unit_that_buys_nothing_is_worth_nothing() -> None:
    case = build_case(75.0)
    (value,) = compute_shadow_values(case, solve(case), unit=1.0)
    assert value.value == 0.0 and value.entering == () == value.leaving


def test_what_a_must_do_costs() -> None:
    case = build_case(45.0)
    case = replace(case, tools=tuple(replace(t, must=t.key in ("T8", "T7")) for t in case.tools))
    plan = solve(case)
    costs = {c.key: c for c in compute_must_costs(case, plan)}
    assert set(costs) == {"T7", "T8"}
    assert costs["T7"].worth_cost == 0.0 and costs["T7"].entering == ()  # the plan has it anyway
    assert costs["T8"].worth_cost == pytest.approx(33.5 - plan.worth)
    assert costs["T8"].worth_cost is not None and costs["T8"].worth_cost > 0 and costs["T8"].leaving == ("T4", "T8")


def test_a_series_stopped_by_hand_keeps_what_is_solved() -> None:
    def stop(done: int, total: int) -> None:
        assert total == 3
        if done == 2:
            raise KeyboardInterrupt

    frontier = compute_frontier(build_case(75.0), (45, 75, 95), on_step=stop)
    assert not frontier.is_complete and [p.budget for p in frontier.points] == [45, 75]


def test_budget_keeps_the_rhythm_of_its_quarters() -> None:
    points = compute_frontier(build_case(30.0, 15.0), (90,)).points
    assert points[0].plan is not None
    assert [row.new_cash for row in points[0].plan.account.cash] == [60.0, 30.0, 0.0]
    assert compute_total_cash(build_case(30.0, 15.0)) == 45.0
