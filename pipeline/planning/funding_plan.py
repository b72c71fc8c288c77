"""The funding plan: which tools in which quarter, what is on sale from when, the cash that is left, how sure it is.

A plan is decoded from the solver's answer and then accounted for from the case itself, without the matrices, so
that a wrong matrix cannot pass unseen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from pipeline.planning.funding_account import Account, check_plan, compute_account, compute_nudged_worth
from pipeline.planning.funding_amounts import compute_tie_width
from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_faults import Fault, FaultKind, find_case_faults
from pipeline.planning.funding_program import Floats, Program, build_program
from pipeline.planning.funding_shortage import find_must_faults
from pipeline.planning.funding_solver import OnProgress, Solution, SolveEnd, solve_program
from pipeline.planning.funding_start import find_quick_plan
from pipeline.planning.funding_words import render_amount

PROVE_UP_TO = 250
"""Up to this many products a plan is solved to proven optimality, above to LARGE_GAP, unless the caller says."""
LARGE_GAP = 1e-4


class PlanEnd(StrEnum):
    """Why the search ended."""

    GOAL = "goal reached"
    TIME = "time limit"
    INTERRUPTED = "stopped by hand"


@dataclass(frozen=True)
class FundingPlan:
    """A plan.

    releases: tool -> quarter in which it is released, launches: product -> quarter in which its sale starts, both
    in order of keys (tools on hand already are not releases). bound: no plan can be worth more than this. gap:
    (bound - worth) as a share of worth. is_proven: nothing better exists, but for ties. words: the end in words.
    """

    releases: Mapping[str, int]
    launches: Mapping[str, int]
    account: Account
    bound: float
    gap: float
    is_proven: bool
    end: PlanEnd
    words: str

    @property
    def worth(self) -> float:
        """Net worth of the plan: what is earned less overlaps, priced downside and tooling."""
        return self.account.worth

    @property
    def spend(self) -> float:
        """All payments for the tools of the plan."""
        return self.account.spend


@dataclass(frozen=True)
class PlanAnswer:
    """A plan, or the faults for which there is none; faults that do not block stand beside a plan."""

    plan: FundingPlan | None
    faults: tuple[Fault, ...] = ()


def compute_plan(
    case: FundingCase,
    gap: float | None = None,
    time_limit_s: float | None = None,
    on_progress: OnProgress | None = None,
) -> PlanAnswer:
    """Return the plan of greatest worth that the cash, the capacities and the instructions allow.

    gap: relative gap at which to stop; None means proven optimal up to PROVE_UP_TO products and LARGE_GAP above.
    time_limit_s: seconds for the solver; the best plan so far is returned with its gap. on_progress: called about
    once a second. A KeyboardInterrupt during the search returns the best plan so far, which says so.
    Plans whose worth is equal within `compute_tie_width` are chosen between as `compute_nudges` states. The order
    of records changes nothing. What a record can cause comes back as faults; ValueError only for a bad gap or limit.
    Source: binary (0/1) integer programme with precedence and knapsack rows, solved by branch and cut (HiGHS).

    >>> from pipeline.planning.funding_case import (Product, Quarter, Tool)
    >>> tools = (Tool("die", (6.0,)), Tool("mould", (5.0,)))
    >>> products = (Product("bezel", (9.0,), ("die",)), Product("lens", (7.0,), ("mould",)))
    >>> answer = compute_plan(FundingCase((Quarter("Q1", 10.0),), tools, products))
    >>> dict(answer.plan.releases), answer.plan.worth
    ({'die': 0}, 3.0)
    """
    faults = find_case_faults(case)
    if any(f.blocking for f in faults):
        return PlanAnswer(None, faults)
    program = build_program(case)
    if gap is None:
        gap = 0.0 if len(case.products) <= PROVE_UP_TO else LARGE_GAP
    solution = solve_program(program, gap, time_limit_s, on_progress)
    if solution.end is SolveEnd.INFEASIBLE:
        return PlanAnswer(None, (*faults, *find_must_faults(case)))
    plan = _decode(case, program, solution)
    return PlanAnswer(plan, faults if plan is not None else (*faults, _report_empty(solution)))


def _report_empty(solution: Solution) -> Fault:
    words = f"The search ended before it had a first plan ({solution.end.value})."
    return Fault(FaultKind.STOPPED_EMPTY, (), words, "give it more time")


def _decode(case: FundingCase, program: Program, solution: Solution) -> FundingPlan | None:
    found = None if solution.x is None else _read_choice(program, solution.x)
    if solution.end in (SolveEnd.TIME, SolveEnd.INTERRUPTED):
        found = _keep_better(case, found)
    if found is None:
        return None
    releases, launches = found
    account = compute_account(case, releases, launches)
    broken = check_plan(case, releases, launches)
    if broken:
        raise RuntimeError(f"the solver's plan breaks a rule of the case: {broken[0]}")
    slack = max(0.0, -solution.bound / program.scale - compute_nudged_worth(case, releases, launches))
    return _build_plan(case, releases, launches, account, slack, solution.end)


Choice = tuple[dict[str, int], dict[str, int]]


def _read_choice(program: Program, x: Floats) -> Choice:
    chosen = (x > 0.5).tolist()
    releases, launches = (
        {
            key: columns.window.first + chosen[columns.start : columns.final + 1].index(True)
            for key, columns in group.items()
            if chosen[columns.final]
        }
        for group in (program.tools, program.products)
    )
    return releases, launches


def _keep_better(case: FundingCase, found: Choice | None) -> Choice | None:
    """Return the better of what a stopped search had found and a quick plan."""
    quick = find_quick_plan(case)
    if found is None or quick is None:
        return quick or found
    return quick if compute_account(case, *quick).worth > compute_account(case, *found).worth else found


def _build_plan(
    case: FundingCase,
    releases: Mapping[str, int],
    launches: Mapping[str, int],
    account: Account,
    slack: float,
    end: SolveEnd,
) -> FundingPlan:
    is_proven = slack <= compute_tie_width(case)
    slack = 0.0 if is_proven else slack
    gap = slack / max(abs(account.worth), 1e-9) if slack else 0.0
    ends = {SolveEnd.TIME: PlanEnd.TIME, SolveEnd.INTERRUPTED: PlanEnd.INTERRUPTED}
    plan_end = PlanEnd.GOAL if is_proven else ends.get(end, PlanEnd.GOAL)
    words = _render_end(case, plan_end, is_proven, slack, gap)
    return FundingPlan(releases, launches, account, account.worth + slack, gap, is_proven, plan_end, words)


def _render_end(case: FundingCase, end: PlanEnd, is_proven: bool, slack: float, gap: float) -> str:
    if is_proven:
        return "Proven: no other plan is worth more."
    most = "how much more is possible is not known"
    if math.isfinite(slack):
        most = f"no plan can be worth more than {render_amount(slack, case.currency)} above it (gap {gap:.2g})"
    stop = {PlanEnd.GOAL: "Solved to its goal", PlanEnd.TIME: "Stopped at the time limit"}
    return f"{stop.get(end, 'Stopped by hand')}: this is the best plan found, and {most}."
