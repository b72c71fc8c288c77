"""Findings about decisions, waivers, releases and safety."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import gates as rules
from pipeline.gates.judgement import Bench, Requirement
from pipeline.gates.standing import (
    GateStanding,
    Standing,
    find_decision_faults,
    is_waiver_live,
)
from pipeline.gates.tooled import is_competent
from pipeline.lineage.freshness import PartLineage
from pipeline.model.catalogue import NeedParameters
from pipeline.model.part import Part
from pipeline.model.words import GATES, GateState, SafetyLevel, Say, ToolStep
from pipeline.model.workspace import Workspace

Locate = Callable[[str, Pointer], Location]
Found = tuple[Rule, Pointer, str, str | None]


def check_standing(
    part: Part, standing: Standing, lineage: PartLineage, workspace: Workspace, locate: Locate
) -> list[Finding]:
    """Return the findings of one part's decisions, waivers, release, tools and safety."""
    path = f"projects/{part.part}/part.yaml"
    found: list[Found] = []
    for gate in standing.gates.values():
        found += _check_gate(gate, quiet=_find_reported_elsewhere(part, standing, workspace, gate))
    found += _check_waivers(part, standing, workspace)
    found += _check_release(part, standing, workspace)
    found += _check_safety(part, lineage, workspace)
    for call in standing.hold_calls:
        is_kept_here = call.tool in part.tools
        pointer: Pointer = ("tools", call.tool) if is_kept_here else ("uses_tools", part.uses_tools.index(call.tool))
        found.append((rules.HOLD_CALL, pointer, call.words, None))
    return [
        rule.build_finding(locate(path, pointer), message, fix=fix, record=part.part, pointer=pointer)
        for rule, pointer, message, fix in found
    ]


def _list_requirements(requirements: tuple[Requirement, ...]) -> str:
    return "; ".join(f"{r.id}: {r.answer.words}" for r in requirements)


def _find_reported_elsewhere(part: Part, standing: Standing, workspace: Workspace, gate: GateStanding) -> bool:
    """True when a stale gate is told by a louder finding: a hold call, or the waiver that ran out."""
    gone = {w.of for w in part.waivers if not is_waiver_live(part, w, workspace.today)}
    return bool(standing.hold_calls) or {r.id for r in gate.open_requirements} <= gone


def _check_gate(gate: GateStanding, *, quiet: bool) -> Iterator[Found]:
    if gate.decision is None or gate.decision_index is None or gate.state is GateState.DROPPED:
        return
    pointer: Pointer = ("decisions", gate.decision_index)
    for fault in gate.faults:
        kind, words = fault.split(": ", 1)
        rule = rules.WRONG_ROLE if kind == "role" else rules.SECOND_MISSING
        yield rule, pointer, f"the {gate.gate} gate: {words}", None
    if gate.claims:
        todo = "; ".join(t for r in gate.claims for t in r.answer.todo[:1])
        message = f"go for the {gate.gate} gate on {gate.decision.on}, but {_list_requirements(gate.claims)}"
        yield rules.CLAIM, pointer, message, f"{todo}; or waive it by name, or take the decision back" if todo else None
    if gate.early:
        message = f"go for the {gate.gate} gate on {gate.decision.on}, before {_list_requirements(gate.early)}"
        yield rules.BEFORE_EVIDENCE, pointer, message, None
    if gate.state is GateState.STALE and not quiet:
        stale = gate.open_requirements
        todo = "; ".join(t for r in stale for t in r.answer.todo[:1])
        message = f"the {gate.gate} gate of {gate.decision.on} went stale: {_list_requirements(stale)}"
        yield rules.WENT_STALE, pointer, message, todo or None


def _check_waivers(part: Part, standing: Standing, workspace: Workspace) -> Iterator[Found]:
    for index, waiver in enumerate(part.waivers):
        if waiver.of in workspace.catalogues.gates.cannot_be_waived:
            yield rules.CANNOT_WAIVE, ("waivers", index, "of"), f"{waiver.of} cannot be waived", None
        elif not is_waiver_live(part, waiver, workspace.today) and _is_wanted(standing, waiver.of):
            message = f"the waiver of {waiver.of} ran out ({waiver.until}) and the requirement is not met"
            yield rules.WAIVER_EXPIRED, ("waivers", index, "until"), message, None


def _is_wanted(standing: Standing, name: str) -> bool:
    return any(r.id == name for gate in standing.gates.values() for r in gate.open_requirements)


def _check_release(part: Part, standing: Standing, workspace: Workspace) -> Iterator[Found]:
    released_on: dt.date | None = None
    decision, index = standing.release, standing.release_index
    if decision is not None and index is not None and decision.say is Say.GO:
        pointer: Pointer = ("decisions", index)
        faults = find_decision_faults(decision, workspace.catalogues.gates.release, workspace)
        for fault in faults:
            kind, words = fault.split(": ", 1)
            rule = rules.WRONG_ROLE if kind == "role" else rules.SECOND_MISSING
            yield rule, pointer, f"the tooling release: {words}", None
        released_on = None if faults else decision.on
        blocked = [g for g in GATES[:-1] if not _was_decided(standing.gates[g], decision.on)]
        if blocked:
            message = f"tooling was released on {decision.on}, but not proven and decided then: {', '.join(blocked)}"
            yield rules.RELEASED_TOO_EARLY, pointer, message, None
    for key, tool in part.tools.items():
        ordered = tool.steps.get(ToolStep.ORDERED)
        if ordered is not None and (released_on is None or ordered < released_on):
            if decision is not None and decision.say is Say.GO and released_on is None:
                continue  # the release itself is reported
            when = "no release is recorded" if released_on is None else f"the release is of {released_on}"
            message = f"{key} was ordered on {ordered}; {when}"
            yield rules.ORDERED_UNRELEASED, ("tools", key, "steps", "ordered"), message, None


def _was_decided(gate: GateStanding, day: dt.date) -> bool:
    """True when a gate was decided by that day and was proven then (it may have gone stale since)."""
    if gate.decision is None or gate.decision.on > day or gate.decision.say is not Say.GO:
        return False
    return gate.state in (GateState.PROVEN, GateState.STALE, GateState.DROPPED) or bool(gate.claims)


def _check_safety(part: Part, lineage: PartLineage, workspace: Workspace) -> Iterator[Found]:
    if part.safety is not SafetyLevel.S0 and part.safety_review is None:
        message = f"class {part.safety}: no review of the regulations and no test plan"
        yield rules.SAFETY_UNREVIEWED, ("safety",), message, None
    bench = Bench(part, lineage, workspace, NeedParameters())
    for key, test in part.tests.items():
        if test.kind in workspace.catalogues.processes.processes and not is_competent(bench, test):
            message = f"{key} is a {test.kind}, made by {test.by} without a laboratory or a licensed engineer"
            yield rules.TEST_NOT_COMPETENT, ("tests", key), message, None
