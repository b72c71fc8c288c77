"""Budget against worth, as solved points: each with its own choice of tools, nothing between them invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline.planning.funding_account import MONEY_TOLERANCE, compute_account
from pipeline.planning.funding_case import FundingCase, compute_total_cash, replace_budget
from pipeline.planning.funding_faults import Fault, find_case_faults
from pipeline.planning.funding_plan import FundingPlan, compute_plan
from pipeline.planning.funding_series import OnStep, solve_series


@dataclass(frozen=True)
class FrontierPoint:
    """One solved budget. plan is None where nothing fits (must-dos beyond the cash); then faults say why."""

    budget: float
    plan: FundingPlan | None
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class Frontier:
    """Solved points by rising budget; `is_complete` is False when the series was stopped by hand."""

    points: tuple[FrontierPoint, ...]
    is_complete: bool


def build_budget_steps(case: FundingCase, count: int = 20) -> tuple[float, ...]:
    """Return budgets for a frontier: `count` even steps from 0 to what everything worth having costs.

    The case's own budget is one of them. "Everything worth having" is the plan with unlimited cash; with it go the
    committed payments, less the opening cash. Raises ValueError for fewer than two steps.
    """
    if count < 2:
        raise ValueError(f"{count} steps make no frontier; ask for 2 or more")
    own = compute_total_cash(case)
    if any(f.blocking for f in find_case_faults(lift_cash(case))):
        return (own,)
    rich = compute_plan(lift_cash(case)).plan
    spend = 0.0 if rich is None else rich.spend
    top = max(own, spend + sum(q.committed for q in case.quarters) - case.opening_cash)
    return tuple(sorted({own, *(top * k / (count - 1) for k in range(count))}))


def lift_cash(case: FundingCase) -> FundingCase:
    """Return the case with so much opening cash that cash decides nothing."""
    needed = sum(p for t in case.tools for p in t.payments) + sum(
        q.committed - min(q.new_cash, 0) for q in case.quarters
    )
    return replace(case, opening_cash=max(case.opening_cash, 0.0) + needed + 1.0)


def compute_frontier(
    case: FundingCase,
    budgets: Sequence[float],
    gap: float | None = None,
    time_limit_s: float | None = None,
    on_step: OnStep | None = None,
) -> Frontier:
    """Solve the case at each budget (total new cash, spread over quarters as the case spreads its own).

    Worth never falls as the budget rises: where a point was not solved to proof and came out below the one before,
    it takes over that plan, which it can pay too. time_limit_s: for each point. Raises ValueError for a budget
    below 0.

    >>> from pipeline.planning.funding_case import (Product, Quarter, Tool)
    >>> tools, products = (Tool("die", (6.0,)),), (Product("bezel", (9.0,), ("die",)),)
    >>> frontier = compute_frontier(FundingCase((Quarter("Q1", 10.0),), tools, products), (5, 6))
    >>> [point.plan.worth for point in frontier.points]
    [0.0, 3.0]
    """
    steps = sorted({float(b) for b in budgets})
    cases = [replace_budget(case, b) for b in steps]
    series = solve_series(cases, len(cases), gap, time_limit_s, on_step)
    points: list[FrontierPoint] = []
    for budget, at_budget, answer in zip(steps, cases, series.answers, strict=False):
        before = points[-1].plan if points else None
        plan = _keep_better(at_budget, before, answer.plan)
        points.append(FrontierPoint(budget, plan, answer.faults if plan is answer.plan else ()))
    return Frontier(tuple(points), series.is_complete)


def _keep_better(case: FundingCase, before: FundingPlan | None, plan: FundingPlan | None) -> FundingPlan | None:
    if before is None or (plan is not None and plan.worth >= before.worth):
        return plan
    account = compute_account(case, before.releases, before.launches)
    if min(row.left for row in account.cash) < -MONEY_TOLERANCE * max(account.spend, 1.0):
        return plan
    if plan is None:
        return replace(before, account=account)
    bound = max(plan.bound, account.worth)
    gap = (bound - account.worth) / max(abs(account.worth), 1e-9)
    return replace(plan, releases=before.releases, launches=before.launches, account=account, bound=bound, gap=gap)


def find_frontier_neighbours(frontier: Frontier, budget: float) -> tuple[FrontierPoint | None, FrontierPoint | None]:
    """Return the solved points at or below and above a budget: what a slider may show and what it stands before."""
    below = [p for p in frontier.points if p.budget <= budget]
    above = [p for p in frontier.points if p.budget > budget]
    return (below[-1] if below else None, above[0] if above else None)
