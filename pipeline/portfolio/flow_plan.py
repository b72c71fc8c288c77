"""What remains to be done of every part in work, and with what: the plan that a forecast simulates."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from pipeline.gates.standing import GATE_EVIDENCE
from pipeline.lineage.freshness import PartLineage
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Part
from pipeline.model.words import GATES, Gate, Role, ToolStep
from pipeline.planning.flow_simulation import FlowPlan, Job, Resource, Step
from pipeline.planning.flow_spread import Fixed, Pert
from pipeline.portfolio.flow_stays import Stay
from pipeline.portfolio.flow_usual import LEAST_FINISHED, Usual


@dataclass(frozen=True, slots=True)
class Need:
    """What one part takes of one resource in one stage: hours, as a range."""

    resource: str
    hours: Pert


@dataclass(frozen=True)
class Shopfloor:
    """The shop's resources as the simulation takes them. `names`: id -> name; `hours`: id -> hours a week; each
    engineer has a share of the hours of modelling, under `model:<person>`."""

    catalogues: Catalogues
    day: dt.date

    @cached_property
    def engineers(self) -> tuple[str, ...]:
        """The engineers who are in the shop on the day."""
        people = self.catalogues.people.people
        return tuple(
            k for k, p in people.items() if Role.ENGINEER in p.roles and (p.until is None or p.until >= self.day)
        )

    @cached_property
    def hours(self) -> dict[str, float]:
        """Hours a week by resource id."""
        found: dict[str, float] = {}
        for key, resource in self.catalogues.resources.resources.items():
            if self.is_of_engineers(key):
                share = resource.hours_per_week / max(len(self.engineers), 1)
                found |= {f"{key}:{person}": share for person in self.engineers}
            else:
                found[key] = resource.hours_per_week
        return found

    def is_of_engineers(self, key: str) -> bool:
        """True for a resource that is used in modelling only: it is the engineers' own time."""
        return bool(self.engineers) and self.catalogues.resources.resources[key].used_in == (Gate.MODEL,)

    def name(self, key: str) -> str:
        """Return the name of a resource, with its engineer."""
        base, _, person = key.partition(":")
        found = self.catalogues.resources.resources[base].name
        if not person:
            return found
        people = self.catalogues.people.people
        return f"{found}: {people[person].name if person in people else person}"

    def find_needs(self, part: Part, gate: Gate) -> tuple[Need, ...]:
        """Return what a part takes in a stage: the resources that are used in it by its family."""
        return tuple(self._find_needs(part, gate))

    def _find_needs(self, part: Part, gate: Gate) -> Iterator[Need]:
        for key, resource in self.catalogues.resources.resources.items():
            if gate not in resource.used_in or resource.hours_each is None:
                continue
            if resource.families and part.family not in resource.families:
                continue
            each = resource.hours_each
            hours = Pert(each.low, each.likely, each.high)
            yield Need(f"{key}:{part.engineer}" if self.is_of_engineers(key) else key, hours)

    def build_resources(self) -> tuple[Resource, ...]:
        """Return the resources that have any hours."""
        return tuple(Resource(key, hours) for key, hours in self.hours.items() if hours > 0)


def is_resource_used(lineage: PartLineage, stay: Stay, day: dt.date) -> bool:
    """True when evidence of the stage itself was brought since the part came into it: what it queued for is done."""
    sections = GATE_EVIDENCE[stay.gate]
    return any(
        node.section in sections and node.on is not None and stay.arrived < node.on <= day
        for node in lineage.nodes.values()
    )


def is_waiting_for_resources(part: Part, stay: Stay, day: dt.date) -> bool:
    """True when a part in a stage can use its resources now: in the tooling stage, from the first trial on."""
    if stay.gate is not Gate.TOOLING:
        return True
    return any((tool.steps.get(ToolStep.ON_TRIAL) or dt.date.max) <= day for tool in part.tools.values())


def build_job(
    part: Part,
    lineage: PartLineage,
    stay: Stay,
    usual: Mapping[tuple[str, Gate], Usual],
    floor: Shopfloor,
    day: dt.date,
) -> Job | None:
    """Return what remains of a part in work; None where too few have finished one of its stages.

    Each stage takes what it usually lasts, given how long it has lasted, and no less than its turns at its resources.
    In the tooling stage these come at the end, when there are pieces to measure and to try.
    """
    steps: list[Step] = []
    before: tuple[str, ...] = ()
    for gate in GATES[GATES.index(stay.gate) :]:
        found = usual.get((part.family, gate))
        if found is None or found.pooled < LEAST_FINISHED:
            return None
        is_now = gate is stay.gate
        waited = stay.find_age(day) if is_now else 0.0
        length = Step(gate.value, outside=found.spread, after=before, waited=waited)
        needs = () if is_now and is_resource_used(lineage, stay, day) else floor.find_needs(part, gate)
        start = (gate.value,) if gate is Gate.TOOLING else before
        turns = [
            Step(
                f"{gate} {need.resource}", need.resource, need.hours, Fixed(0.0), start, waited=0.0 if start else waited
            )
            for need in needs
            if floor.hours.get(need.resource, 0.0) > 0
        ]
        steps += [length, *turns]
        before = tuple(step.name for step in (length, *turns))
    return Job(part.part, tuple(steps))


def build_plan(jobs: Sequence[Job], floor: Shopfloor) -> FlowPlan:
    """Return the plan of all jobs with the shop's resources."""
    return FlowPlan(tuple(jobs), floor.build_resources())
