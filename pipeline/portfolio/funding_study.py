"""Everything that is asked of a spending plan, in one go: the plan, why, how sure, what a step of budget changes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pipeline.planning.funding_account import compute_account
from pipeline.planning.funding_case import FundingCase, compute_total_cash, replace_cash
from pipeline.planning.funding_faults import Fault
from pipeline.planning.funding_frontier import FrontierPoint, lift_cash
from pipeline.planning.funding_idle import IdleSpend, find_idle_spend
from pipeline.planning.funding_margins import CutStep, MustCost, ShadowValue, compute_must_costs, find_changes
from pipeline.planning.funding_plan import FundingPlan, PlanEnd, compute_plan
from pipeline.planning.funding_ranking import rank_stand_alone
from pipeline.planning.funding_reasons import ToolReason, explain_plan
from pipeline.planning.funding_series import solve_series
from pipeline.planning.funding_solver import OnProgress, Progress
from pipeline.planning.funding_sureness import Sureness, WorldModel, compute_sureness
from pipeline.portfolio.funding_budget import build_budget_steps, change_budget, compute_promised, find_round
from pipeline.portfolio.funding_limits import has_quarter_limit, lift_quarter_limit, limit_each_quarter

OnStage = Callable[[str, int, int], None]
"""Called with what is being done, how many solved, of how many."""


@dataclass(frozen=True)
class StudySettings:
    """How much is solved. time_limit_s : for each solve, a stop for the worst case only; gap : None means proven
    optimal up to 250 parts. worlds, seed : of the sureness. budget : asked for, instead of the stated one."""

    points: int = 14
    cut_steps: int = 3
    worlds: int = 16
    seed: int = 2026
    gap: float | None = None
    time_limit_s: float = 30.0
    budget: float | None = None


USUAL = StudySettings()


@dataclass(frozen=True)
class Study:
    """A plan with all its answers.

    What was not reached because of a stop by hand is empty; is_complete says so. own : the budget of the plan in all;
    stated : that of shared/money.yaml. points : by rising budget. base : worth without any further release. waiting :
    worth if nothing may be released in today's quarter. rich : the plan with all the cash that it could use. alone :
    worth of ranking each part on its own, as it would really come out. cut_step, unit : money of a step of the cut
    line, and of the value of more cash.
    """

    plan: FundingPlan | None
    faults: tuple[Fault, ...]
    own: float
    stated: float
    promised: float
    points: tuple[FrontierPoint, ...] = ()
    base: float | None = None
    waiting: float | None = None
    rich: FundingPlan | None = None
    alone: float | None = None
    alone_order: tuple[str, ...] = ()
    reasons: tuple[ToolReason, ...] = ()
    idle: tuple[IdleSpend, ...] = ()
    cut_step: float = 0.0
    cut: tuple[CutStep, ...] = ()
    unit: float = 0.0
    shadow: tuple[ShadowValue, ...] = ()
    must_costs: tuple[MustCost, ...] = ()
    sureness: Sureness | None = None
    worlds: int = 0
    seed: int = 0
    is_complete: bool = True


class _Stopped(Exception):
    """The asker stopped the search; what is solved so far stays."""


def compute_study(
    case: FundingCase, model: WorldModel, settings: StudySettings = USUAL, on_stage: OnStage | None = None
) -> Study:
    """Return the plan of a case with all its answers.

    A KeyboardInterrupt ends the search in good order: the study then holds what was complete by then. The same case,
    model and settings give the same study, unless a time limit is met.
    """
    stated, budget = case, settings.budget
    case = stated if budget is None else change_budget(stated, budget)
    total = compute_total_cash(stated)
    answer = compute_plan(case, settings.gap, settings.time_limit_s, _watch(on_stage))
    study = Study(
        answer.plan, answer.faults, total if budget is None else budget, total,
        compute_promised(case), worlds=settings.worlds,
        seed=settings.seed,
    )  # fmt: skip
    if answer.plan is not None and answer.plan.end is PlanEnd.INTERRUPTED:
        return replace(study, is_complete=False)
    return _Student(stated, case, model, settings, on_stage, study).study_all()


def _watch(on_stage: OnStage | None) -> OnProgress | None:
    """Report a sign of life while the plan itself is solved."""
    if on_stage is None:
        return None
    report = on_stage

    def tell(progress: Progress) -> None:
        del progress
        report("the plan", 0, 1)

    return tell


class _Student:
    """Goes from answer to answer, keeping what it has."""

    def __init__(
        self,
        stated: FundingCase,
        case: FundingCase,
        model: WorldModel,
        settings: StudySettings,
        on_stage: OnStage | None,
        study: Study,
    ) -> None:
        self.stated, self.case, self.model, self.settings, self.on_stage, self.study = (
            stated,
            case,
            model,
            settings,
            on_stage,
            study,
        )
        self.faults: list[tuple[Fault, ...]] = []

    def study_all(self) -> Study:
        """Return the study, as far as it came."""
        steps = [self.add_points] if self.study.plan is None else [
            self.add_reasons, self.add_points, self.add_cut, self.add_shadow, self.add_must_costs, self.add_sureness,
        ]  # fmt: skip
        try:
            for step in steps:
                step()
        except (_Stopped, KeyboardInterrupt):
            self.study = replace(self.study, is_complete=False)
        return self.study

    @property
    def plan(self) -> FundingPlan:
        """The plan; only asked for where there is one."""
        assert self.study.plan is not None
        return self.study.plan

    def solve(self, what: str, cases: Sequence[FundingCase]) -> list[FundingPlan | None]:
        """Solve one case after the other; raises _Stopped where the asker stops it, keeping nothing of the series."""
        series = solve_series(
            cases, len(cases), self.settings.gap, self.settings.time_limit_s,
            None if self.on_stage is None else lambda done, total: self.tell(what, done, total),
        )  # fmt: skip
        if not series.is_complete:
            raise _Stopped
        self.faults = [answer.faults for answer in series.answers]
        return [answer.plan for answer in series.answers]

    def tell(self, what: str, done: int, total: int) -> None:
        """Report progress."""
        if self.on_stage is not None:
            self.on_stage(what, done, total)

    def add_reasons(self) -> None:
        """Why each tool is in or out, what is idle, what ranking on its own would earn, the ends of the scale."""
        ranking = rank_stand_alone(self.case)
        kept_out = tuple(
            replace(t, must=False, must_not=True) if t.on_hand_from is None else t for t in self.case.tools
        )
        no_must = tuple(replace(p, must=False) for p in self.case.products)
        nothing = replace(self.case, tools=kept_out, products=no_must)
        later = tuple(replace(t, not_before=max(1, t.not_before or 0)) for t in self.case.tools)
        ends = [nothing, self.lift(self.case), replace(self.case, tools=later)]
        base, rich, waiting = self.solve("the ends of the scale", ends)
        self.study = replace(
            self.study,
            reasons=explain_plan(self.case, self.plan, self.settings.gap),
            idle=find_idle_spend(self.case, self.plan),
            alone=ranking.account.worth, alone_order=ranking.taken,
            base=None if base is None else base.worth, rich=rich, waiting=None if waiting is None else waiting.worth,
        )  # fmt: skip

    def lift(self, case: FundingCase) -> FundingCase:
        """Return the case in which cash decides nothing; other limits stay."""
        return lift_cash(lift_quarter_limit(case))

    def add_points(self) -> None:
        """The plan at each budget. More cash is never worth less: a point can always pay the plan of the one before."""
        budgets = build_budget_steps(self.stated, self.settings.points)
        budgets = tuple(sorted({*budgets, self.study.own}))
        cases = [change_budget(self.stated, budget) for budget in budgets]
        points: list[FrontierPoint] = []
        plans = self.solve("budgets", cases)
        for budget, case, plan, faults in zip(budgets, cases, plans, self.faults, strict=True):
            before = points[-1].plan if points else None
            if before is not None and plan is not None and plan.worth < before.worth:
                plan = replace(before, account=compute_account(case, before.releases, before.launches))
            own = budget == self.study.own and self.study.plan is not None
            points.append(FrontierPoint(budget, self.study.plan if own else plan, faults))
        self.study = replace(self.study, points=tuple(points))

    def add_cut(self) -> None:
        """What enters and leaves for each step of budget down and up."""
        step = find_round(max(self.study.own - self.study.promised, self.study.own * 0.1) / 20)
        changes = [k * step for k in range(-self.settings.cut_steps, self.settings.cut_steps + 1) if k]
        changes = [c for c in changes if self.study.own + c >= self.study.promised]
        plans = self.solve("steps of budget", [change_budget(self.stated, self.study.own + c) for c in changes])
        steps = [
            CutStep(self.study.own + c, c, *find_changes(self.plan, plan),
                    None if plan is None else plan.worth - self.plan.worth, plan, faults)
            for c, plan, faults in zip(changes, plans, self.faults, strict=True)
        ]  # fmt: skip
        self.study = replace(self.study, cut_step=step, cut=tuple(steps))

    def add_shadow(self) -> None:
        """What more cash in one quarter adds, by solving again."""
        unit = find_round(max(self.study.own - self.study.promised, self.study.own * 0.1) / 60)
        more = [replace_cash(self.case, quarter, unit) for quarter in range(len(self.case.quarters))]
        limited = has_quarter_limit(self.case)
        plans = self.solve("value of more cash", [limit_each_quarter(case) if limited else case for case in more])
        values = []
        for quarter, plan in enumerate(plans):
            if plan is not None:
                gain = max(0.0, plan.worth - self.plan.worth)
                values.append(ShadowValue(quarter, unit, gain, gain / unit, *find_changes(self.plan, plan)))
        self.study = replace(self.study, unit=unit, shadow=tuple(values))

    def add_must_costs(self) -> None:
        """What each must-do costs."""
        costs = compute_must_costs(
            self.case, self.plan, self.settings.gap, lambda done, total: self.tell("must-dos", done, total)
        )
        self.study = replace(self.study, must_costs=costs)

    def add_sureness(self) -> None:
        """In how many worlds each tool is chosen."""
        found = compute_sureness(
            self.case, self.plan, self.model, self.settings.seed, self.settings.worlds,
            on_step=lambda done, total: self.tell("worlds", done, total),
        )  # fmt: skip
        self.study = replace(self.study, sureness=found, is_complete=found.is_complete)
