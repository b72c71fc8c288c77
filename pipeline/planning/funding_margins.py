"""What a little more or less would change: the cut line, one more unit of cash, the price of a must-do.

All by solving the whole plan again, never by a relaxed dual, so each figure is a plan that could be carried out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.planning.funding_case import FundingCase, compute_total_cash, replace_budget, replace_cash
from pipeline.planning.funding_faults import Fault
from pipeline.planning.funding_plan import FundingPlan
from pipeline.planning.funding_series import OnStep, solve_series


@dataclass(frozen=True)
class CutStep:
    """One step of budget up or down: what enters and leaves against today's plan, and what that does to worth.

    plan is None where nothing fits any more; then faults say why.
    """

    budget: float
    change: float
    entering: tuple[str, ...]
    leaving: tuple[str, ...]
    worth_change: float | None
    plan: FundingPlan | None
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class CutLine:
    """Steps by rising budget, today's budget left out; `is_complete` is False when it was stopped by hand."""

    steps: tuple[CutStep, ...]
    is_complete: bool


@dataclass(frozen=True)
class ShadowValue:
    """What one more unit of cash in one quarter adds to worth, for each unit, and the tools that enter or leave."""

    quarter: int
    unit: float
    worth_change: float
    value: float
    entering: tuple[str, ...]
    leaving: tuple[str, ...]


@dataclass(frozen=True)
class MustCost:
    """What one instruction costs: the worth that the plan would gain without it, and what would change.

    worth_cost is None where the plan could not be solved without it either.
    """

    key: str
    worth_cost: float | None
    entering: tuple[str, ...]
    leaving: tuple[str, ...]


def compute_cut_line(
    case: FundingCase,
    plan: FundingPlan,
    step: float,
    count: int = 3,
    gap: float | None = None,
    on_step: OnStep | None = None,
) -> CutLine:
    """Solve the plan for `count` steps of budget down and up; `step` is money, more than 0.

    Budget is total new cash, spread over the quarters as the case spreads its own; steps below 0 are left out.
    """
    if not step > 0 or count < 1:
        raise ValueError(f"{count} steps of {step:g} make no cut line; give a step above 0 and at least one")
    own = compute_total_cash(case)
    changes = [k * step for k in range(-count, count + 1) if k != 0 and own + k * step >= 0]
    cases = [replace_budget(case, own + change) for change in changes]
    series = solve_series(cases, len(cases), gap, None, on_step)
    steps = []
    for change, answer in zip(changes, series.answers, strict=False):
        entering, leaving = find_changes(plan, answer.plan)
        gain = None if answer.plan is None else answer.plan.worth - plan.worth
        steps.append(CutStep(own + change, change, entering, leaving, gain, answer.plan, answer.faults))
    return CutLine(tuple(steps), series.is_complete)


def find_changes(before: FundingPlan, after: FundingPlan | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the tools that enter and those that leave between two plans, each in order of keys."""
    if after is None:
        return (), tuple(sorted(before.releases))
    return (
        tuple(sorted(after.releases.keys() - before.releases.keys())),
        tuple(sorted(before.releases.keys() - after.releases.keys())),
    )


def compute_shadow_values(
    case: FundingCase, plan: FundingPlan, unit: float = 1.0, gap: float | None = None, on_step: OnStep | None = None
) -> tuple[ShadowValue, ...]:
    """Return for each quarter what `unit` more cash in it adds to worth, by solving again.

    Cash is carried over, so a unit is worth no less the earlier it comes. One unit may buy nothing while ten buy a
    tool: choose a unit that matters. Stopped by hand, the quarters solved so far come back.
    """
    if not unit > 0:
        raise ValueError(f"a unit of {unit:g} adds no cash; give more than 0")
    cases = [replace_cash(case, quarter, unit) for quarter in range(len(case.quarters))]
    series = solve_series(cases, len(cases), gap, None, on_step)
    values = []
    for quarter, answer in enumerate(series.answers):
        if answer.plan is not None:
            gain = max(0.0, answer.plan.worth - plan.worth)
            values.append(ShadowValue(quarter, unit, gain, gain / unit, *find_changes(plan, answer.plan)))
    return tuple(values)


def compute_must_costs(
    case: FundingCase, plan: FundingPlan, gap: float | None = None, on_step: OnStep | None = None
) -> tuple[MustCost, ...]:
    """Return for each must-do what it costs: worth of the best plan without this one instruction, less this plan's.

    Nothing is lost by an instruction that the plan would follow anyway. Stopped by hand, those solved so far come
    back.
    """
    keys = sorted([t.key for t in case.tools if t.must] + [p.key for p in case.products if p.must])
    cases = [_without_must(case, key) for key in keys]
    series = solve_series(cases, len(cases), gap, None, on_step)
    costs = []
    for key, answer in zip(keys, series.answers, strict=False):
        cost = None if answer.plan is None else max(0.0, answer.plan.worth - plan.worth)
        costs.append(MustCost(key, cost, *find_changes(plan, answer.plan)))
    return tuple(costs)


def _without_must(case: FundingCase, key: str) -> FundingCase:
    tools = tuple(replace(t, must=False) if t.key == key else t for t in case.tools)
    products = tuple(replace(p, must=False) if p.key == key else p for p in case.products)
    return replace(case, tools=tools, products=products)
