"""The flow of all parts: what came and went, how long stages last, what stands, what queues, when it will be done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pipeline.gates.standing import Standing
from pipeline.lineage.freshness import Lineage
from pipeline.model.words import GATES, Gate, GateState
from pipeline.model.workspace import Workspace
from pipeline.planning.flow_ageing import OpenAge, compute_open_ages
from pipeline.planning.flow_backtest import BackTest, Snapshot, score_forecasts
from pipeline.planning.flow_counts import LittleCheck, Visit, compute_littles_law
from pipeline.planning.flow_queue import ResourceQueue, compute_resource_queues
from pipeline.planning.flow_simulation import FlowPlan, Job, JobForecast
from pipeline.planning.flow_spread import compute_mean
from pipeline.planning.survival import SurvivalCurve
from pipeline.portfolio.flow_forecast import Simulation, compute_key, keep_simulation, read_simulation, run_simulation
from pipeline.portfolio.flow_plan import (
    Shopfloor,
    build_job,
    build_plan,
    is_resource_used,
    is_waiting_for_resources,
)
from pipeline.portfolio.flow_stays import (
    Ending,
    Stay,
    build_whole_visits,
    find_first_day,
    find_released,
    find_stays,
)
from pipeline.portfolio.flow_usual import LEAST_FINISHED, Usual, build_curve, build_usual
from pipeline.portfolio.portfolio import Portfolio

SEED = 20
SNAPSHOTS_BACK = (52, 44, 36, 28, 20, 12)
"""Weeks before the day spoken of at which the earlier forecasts of the back-test are made."""

LITTLE_WEEKS = 26


@dataclass(frozen=True, slots=True)
class Turn:
    """A part that waits for a resource: since when it is in its stage, and the hours that it is likely to take."""

    number: str
    gate: Gate
    arrived: dt.date
    hours: float


@dataclass(frozen=True, slots=True)
class AtResource:
    """What is at a resource now: `turns` in the order in which they come (first come, first served, then by number);
    its queue; `limit` on parts at once."""

    key: str
    name: str
    queue: ResourceQueue
    turns: tuple[Turn, ...]
    limit: int | None

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts whose turn it is or who wait, by number."""
        return tuple(sorted(turn.number for turn in self.turns))

    @property
    def over(self) -> int:
        """How many parts are there beyond the limit."""
        return 0 if self.limit is None else max(len(self.parts) - self.limit, 0)


@dataclass(frozen=True)
class Flow:
    """The flow of a workspace as of its day.

    stays : the stays of every part in its stages. firsts : the day on which work on it began. usual : how long a stage
    lasts for a family. simulation : what was simulated. without : parts in work without a forecast, with the reason.
    """

    workspace: Workspace
    lineage: Lineage
    floor: Shopfloor
    firsts: Mapping[str, dt.date]
    stays: Mapping[str, tuple[Stay, ...]]
    usual: Mapping[tuple[str, Gate], Usual]
    plan: FlowPlan
    simulation: Simulation
    without: Mapping[str, str]
    standings: Mapping[str, Standing]

    @property
    def day(self) -> dt.date:
        """The day that is spoken of; weeks count from it."""
        return self.workspace.today

    @cached_property
    def forecasts(self) -> dict[str, JobForecast]:
        """Forecasts by part."""
        return {forecast.job: forecast for forecast in self.simulation.forecasts}

    @cached_property
    def open_stays(self) -> tuple[Stay, ...]:
        """The stay of every part in work, held ones among them."""
        return tuple(stays[-1] for stays in self.stays.values() if stays and stays[-1].left is None)

    def find_redone(self, number: str) -> tuple[Gate, ...]:
        """Return the gates of a part that were passed and must be proven again: a forecast does not count them."""
        passed = {stay.gate for stay in self.stays[number] if stay.ending is Ending.PASSED}
        gates = self.standings[number].gates
        return tuple(gate for gate in GATES if gate in passed and gates[gate].state is not GateState.PROVEN)

    @cached_property
    def visits(self) -> list[Visit]:
        """Visits of stages of all parts, in weeks from the day."""
        return [
            Visit(
                s.number,
                s.gate.value,
                _weeks(s.arrived, self.day),
                None if s.left is None else _weeks(s.left, self.day),
            )
            for stays in self.stays.values()
            for s in stays
        ]

    @cached_property
    def whole(self) -> list[Visit]:
        """One visit of the whole pipeline for each part."""
        return build_whole_visits(self.stays, self.day)

    @cached_property
    def curves(self) -> dict[Gate, SurvivalCurve]:
        """How long each stage lasts, over all families."""
        every = [stay for stays in self.stays.values() for stay in stays]
        return {gate: build_curve([stay for stay in every if stay.gate is gate], self.day) for gate in GATES}

    @cached_property
    def ages(self) -> tuple[OpenAge, ...]:
        """The age of everything in work against how long its stage lasts for its family, longest standing first."""
        found: list[OpenAge] = []
        for family in dict.fromkeys(stay.family for stay in self.open_stays):
            known = {g.value: u.curve for (f, g), u in self.usual.items() if f == family and u.curve is not None}
            mine = [
                Visit(stay.number, stay.gate.value, _weeks(stay.arrived, self.day))
                for stay in self.open_stays
                if stay.family == family and stay.ending is not Ending.HELD
            ]
            found += compute_open_ages(mine, known, 0.0)
        return tuple(sorted(found, key=lambda age: (-age.share_faster, -age.age, age.item)))

    def compute_little(self, gate: Gate | None = None, weeks: int = LITTLE_WEEKS) -> LittleCheck:
        """Return Little's law over the last weeks, of one stage or of the whole pipeline."""
        visits = self.whole if gate is None else [visit for visit in self.visits if visit.stage == gate.value]
        return compute_littles_law(visits, -float(weeks), 0.0)

    @cached_property
    def resources(self) -> tuple[AtResource, ...]:
        """What queues at each resource now, longest queue first."""
        waiting: dict[str, list[Turn]] = {key: [] for key in self.floor.hours}
        for stay in self.open_stays:
            part = self.workspace.parts[stay.number]
            if stay.ending is Ending.HELD or is_resource_used(self.lineage.parts[stay.number], stay, self.day):
                continue
            if not is_waiting_for_resources(part, stay, self.day):
                continue
            for need in self.floor.find_needs(part, stay.gate):
                turn = Turn(stay.number, stay.gate, stay.arrived, compute_mean(need.hours))
                waiting.setdefault(need.resource, []).append(turn)
        hours = {key: sum(turn.hours for turn in turns) for key, turns in waiting.items() if turns}
        queues = compute_resource_queues(hours, self.floor.hours)
        entries = self.workspace.catalogues.resources.resources
        return tuple(
            AtResource(q.resource, self.floor.name(q.resource), q,
                       tuple(sorted(waiting[q.resource], key=lambda turn: (turn.arrived, turn.number))),
                       entries[q.resource.partition(":")[0]].limit)
            for q in queues
        )  # fmt: skip

    @cached_property
    def asked(self) -> dict[str, float]:
        """How much of a resource's hours the parts asked for that came into its stages in the last weeks: 1 is all of
        them. Resources without hours are left out."""
        start = self.day - dt.timedelta(weeks=LITTLE_WEEKS)
        hours: dict[str, float] = {}
        for stay in (stay for stays in self.stays.values() for stay in stays if start < stay.arrived <= self.day):
            for need in self.floor.find_needs(self.workspace.parts[stay.number], stay.gate):
                hours[need.resource] = hours.get(need.resource, 0.0) + compute_mean(need.hours)
        known = {key: each * LITTLE_WEEKS for key, each in self.floor.hours.items() if each > 0}
        return {key: hours.get(key, 0.0) / whole for key, whole in known.items()}

    @cached_property
    def backtest(self) -> BackTest:
        """Forecasts of earlier days held against what happened since; parts dropped since are left out."""
        dropped = {n for n, stays in self.stays.items() if stays and stays[-1].ending is Ending.DROPPED}
        return score_forecasts([f for f in self.simulation.past if f.job not in dropped], 0.0)


def _weeks(day: dt.date, origin: dt.date) -> float:
    return (day - origin).days / 7


def compute_flow(
    portfolio: Portfolio,
    root: Path | None = None,
    seed: int = SEED,
    recorded: Mapping[str, Mapping[int, dt.date]] | None = None,
) -> Flow | None:
    """Reckon the flow of a portfolio; None where its catalogues cannot be used.

    root : where to keep what was simulated (None: nowhere), by what it was reckoned from, so that an edit that moves no
    date costs nothing. recorded : part -> place of a decision -> the day on which git first saw it: a forecast of an
    earlier day knows only what was recorded by then.
    """
    workspace, lineage = portfolio.workspace, portfolio.checked.lineage
    if workspace is None:
        return None
    numbers = [number for number in workspace.parts if number in portfolio.parts]
    maker = _make_maker(workspace, lineage, numbers, recorded or {})
    firsts = maker.firsts
    stays = maker.find_all(workspace.today)
    usual = maker.build_usual(stays, workspace.today)
    floor = Shopfloor(workspace.catalogues, workspace.today)
    plan, without = maker.build(stays, usual, floor)
    key = compute_key((seed, workspace.today, plan.resources, maker.list_inputs()))
    found = read_simulation(root, key) if root is not None else None
    if found is None:
        found = run_simulation(plan, maker.build_snapshots(), maker.find_ended(stays), seed)
        if root is not None:
            keep_simulation(root, key, found)
    return Flow(workspace, lineage, floor, firsts, stays, usual, plan, found, without, portfolio.checked.standings)


def plan_present(workspace: Workspace, lineage: Lineage, numbers: Iterable[str]) -> FlowPlan:
    """Return what remains to be done of some parts, as a simulation takes it: the plan that `compute_flow` simulates.

    It needs no history from git: what is on disk today is known today.
    """
    maker = _make_maker(workspace, lineage, numbers, {})
    stays = maker.find_all(workspace.today)
    floor = Shopfloor(workspace.catalogues, workspace.today)
    return maker.build(stays, maker.build_usual(stays, workspace.today), floor)[0]


def _make_maker(
    workspace: Workspace, lineage: Lineage, numbers: Iterable[str], recorded: Mapping[str, Mapping[int, dt.date]]
) -> _Maker:
    days = {number: find_first_day(workspace.parts[number], lineage.parts[number]) for number in numbers}
    firsts = {number: day for number, day in days.items() if day is not None and day <= workspace.today}
    return _Maker(workspace, lineage, firsts, recorded)


class _Maker:
    """Makes plans of the workspace as it stood on a day."""

    def __init__(
        self,
        workspace: Workspace,
        lineage: Lineage,
        firsts: Mapping[str, dt.date],
        recorded: Mapping[str, Mapping[int, dt.date]],
    ) -> None:
        self.workspace, self.lineage, self.firsts, self.recorded = workspace, lineage, firsts, recorded

    def find_all(self, day: dt.date) -> dict[str, tuple[Stay, ...]]:
        """The stays of every part as known at the end of a day."""
        parts, known = self.workspace.parts, {} if day >= self.workspace.today else self.recorded
        return {n: find_stays(parts[n], first, day, known.get(n)) for n, first in self.firsts.items()}

    def build_usual(self, stays: Mapping[str, tuple[Stay, ...]], day: dt.date) -> dict[tuple[str, Gate], Usual]:
        """How long stages last, as known on a day."""
        every = [stay for found in stays.values() for stay in found]
        return build_usual(every, self.workspace.catalogues, day)

    def build(
        self, stays: Mapping[str, tuple[Stay, ...]], usual: Mapping[tuple[str, Gate], Usual], floor: Shopfloor
    ) -> tuple[FlowPlan, dict[str, str]]:
        """The plan of everything in work on the shop floor's day, and why a part is not in it."""
        jobs: list[Job] = []
        without: dict[str, str] = {}
        for number, found in stays.items():
            if not found or found[-1].left is not None:
                continue
            if found[-1].ending is Ending.HELD:
                without[number] = "held: no date until it is taken up again"
                continue
            job = build_job(
                self.workspace.parts[number], self.lineage.parts[number], found[-1], usual, floor, floor.day
            )
            if job is None:
                without[number] = f"fewer than {LEAST_FINISHED} parts have finished one of the stages before it"
            else:
                jobs.append(job)
        return build_plan(jobs, floor), without

    def build_snapshots(self) -> list[Snapshot]:
        """The plans as they would have been made on earlier days, from nothing but what was decided by then."""
        snapshots = []
        for back in SNAPSHOTS_BACK:
            day = self.workspace.today - dt.timedelta(weeks=back)
            stays = self.find_all(day)
            plan, _ = self.build(stays, self.build_usual(stays, day), Shopfloor(self.workspace.catalogues, day))
            if plan.jobs:
                snapshots.append(Snapshot(-float(back), plan))
        return snapshots

    def find_ended(self, stays: Mapping[str, tuple[Stay, ...]]) -> dict[str, float | None]:
        """When each part was released, in weeks from today; None: not yet."""
        days = {number: find_released(found) for number, found in stays.items()}
        return {n: None if day is None else _weeks(day, self.workspace.today) for n, day in days.items()}

    def list_inputs(self) -> tuple[object, ...]:
        """Everything of the records that a simulation is reckoned from."""
        found: list[object] = []
        for number, first in self.firsts.items():
            part = self.workspace.parts[number]
            nodes = self.lineage.parts[number].nodes.values()
            seen = self.recorded.get(number, {})
            decided = [(d.gate, d.on, d.say, seen.get(i)) for i, d in enumerate(part.decisions)]
            evidence = sorted({(node.section, node.on) for node in nodes if node.on is not None})
            tools = [sorted(tool.steps.items()) for tool in part.tools.values()]
            found.append((number, part.family, part.engineer, first, decided, evidence, tools))
        catalogues = self.workspace.catalogues
        weeks = [(key, sorted(family.weeks.items())) for key, family in catalogues.families.families.items()]
        people = [(key, person.roles, person.until) for key, person in catalogues.people.people.items()]
        return (*found, weeks, people, catalogues.resources.resources)
