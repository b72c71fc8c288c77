"""Decisions, waivers and the release of tooling money: what speaks against them, before anything is written."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipeline.gates.judgement import Bench, Met, Requirement
from pipeline.gates.standing import (
    REQUIREMENTS,
    find_decision_faults,
    find_waiver,
    is_waiver_live,
)
from pipeline.model.catalogue import GatePolicy
from pipeline.model.part import Decision, Waiver
from pipeline.model.words import GATES, Gate, GateState, Say
from pipeline.model.workspace import Workspace
from pipeline.portfolio.near import Near

MUST_SAY_WHY = (Say.REWORK, Say.HOLD, Say.DROP)


def describe_requirement(requirement: Requirement) -> str:
    """Return one requirement in a line: its name, what was found, and what would meet it."""
    todo = f"; {requirement.answer.todo[0]}" if requirement.answer.todo else ""
    return f"{requirement.id}: {requirement.answer.words}{todo}"


def find_signature_faults(near: Near, policy: GatePolicy, decision: Decision) -> Iterator[str]:
    """Yield why the names under a decision do not do: the wrong role, no second signature, or somebody who left."""
    people = near.catalogues.people.people
    for fault in find_decision_faults(decision, policy, _take_workspace(near)):
        kind, words = fault.split(": ", 1)
        who = ", ".join(k for k, p in people.items() if set(p.roles) & set(policy.decided_by))
        yield words + (f" (that is {who or 'nobody in shared/people.yaml'})" if kind == "role" else "")
    for name in (decision.by, decision.second):
        person = people.get(name) if name is not None else None
        if person is not None and person.until is not None and person.until < decision.on:
            yield f"{name} left on {person.until}"


def _take_workspace(near: Near) -> Workspace:
    if near.workspace is not None:
        return near.workspace
    raise ValueError(f"{near.number} cannot be judged until its findings are mended")


def find_gate_blockers(after: Near, gate: Gate) -> tuple[str, ...]:
    """Return every requirement that a go decision would claim without proof, from the record as it would be."""
    assert after.standing is not None
    standing = after.standing.gates[gate]
    beyond = (*standing.claims, *(r for r in standing.requirements if r.state is Met.STALE))
    lines = [describe_requirement(r) for r in dict.fromkeys(beyond)]
    lines += [f"{r.id} was met only after {standing.decision.on}" for r in standing.early if standing.decision]
    return tuple(lines)


def find_decision_notes(near: Near, gate: Gate, say: Say) -> tuple[str, ...]:
    """Return what a person should know before deciding: waived requirements, and earlier gates that are open."""
    assert near.standing is not None
    notes = []
    for requirement in near.standing.gates[gate].requirements:
        if requirement.state is Met.WAIVED and requirement.waiver is not None:
            notes.append(
                f"waived until {requirement.waiver.until}: {requirement.id}, at the risk of {requirement.waiver.risk}"
            )
    earlier = [g for g in GATES[: GATES.index(gate)] if near.standing.gates[g].state is not GateState.PROVEN]
    if earlier and say is Say.GO:
        notes.append(f"earlier gates that are not proven: {', '.join(earlier)}")
    return tuple(notes)


def find_waiver_faults(near: Near, waiver: Waiver) -> Iterator[str]:
    """Yield why a requirement cannot be set aside."""
    assert near.part is not None and near.standing is not None and near.lineage is not None
    gates = near.catalogues.gates
    if waiver.of in gates.cannot_be_waived:
        yield f"{waiver.of} cannot be waived; nor can {', '.join(n for n in gates.cannot_be_waived if n != waiver.of)}"
        return
    wanted = {r.id: r for standing in near.standing.gates.values() for r in standing.requirements}
    found = wanted.get(waiver.of)
    if found is None:
        known = ", ".join(name for name in wanted if name not in gates.cannot_be_waived)
        yield f"{near.number} has no requirement {waiver.of}; it has {known}"
        return
    if found.state is Met.MET:
        yield f"{waiver.of} is met ({found.answer.words}): there is nothing to waive"
    live = find_waiver(near.part, near.workspace, waiver.of) if near.workspace else None
    if live is not None:
        yield f"{waiver.of} is waived already, until {live.until}"
    if not is_waiver_live(near.part, waiver, near.today):
        yield f"a waiver until {waiver.until} would have run out already"
    if waiver.risk == waiver.by:
        yield "whoever waives a requirement does not carry its risk alone: name another person as risk owner"


def find_release_blockers(near: Near, decision: Decision) -> tuple[str, ...]:
    """Return everything that stands against the release of tooling money, each in one sentence."""
    return tuple(dict.fromkeys(_find_release_blockers(near, decision)))


def _find_release_blockers(near: Near, decision: Decision) -> Iterator[str]:
    part, standing, workspace = near.part, near.standing, near.workspace
    assert part is not None and standing is not None and workspace is not None and near.lineage is not None
    policy = near.catalogues.gates.release
    yield from find_signature_faults(near, policy, decision)
    for gate in GATES[:-1]:
        found = standing.gates[gate]
        if found.state is GateState.PROVEN and found.decision is not None and found.decision.on <= decision.on:
            continue
        yield from _describe_open_gate(gate, found.state, found.decision, found.faults, decision.on)
        yield from (f"{gate} gate: {describe_requirement(r)}" for r in found.open_requirements)
    for name, need in policy.needs.items():
        answer = REQUIREMENTS[name](Bench(part, near.lineage, workspace, need))
        if not answer.met and find_waiver(part, workspace, name) is None:
            yield f"release: {name}: {answer.words}" + (f"; {answer.todo[0]}" if answer.todo else "")
    yield from (f"hold call: {call.words}" for call in standing.hold_calls)
    yield from (f"{f.rule} {f.pointer}: {f.message}" for f in near.findings if f.severity == "error")
    if standing.release is not None and standing.release.say is Say.GO:
        yield f"tooling was released on {standing.release.on} by {standing.release.by} already"


def _describe_open_gate(
    gate: Gate, state: GateState, decision: Decision | None, faults: tuple[str, ...], day: dt.date
) -> Iterator[str]:
    if state is GateState.PROVEN and decision is not None:
        yield f"{gate} gate: decided on {decision.on}, after {day}"
    elif faults:
        yield f"{gate} gate: {'; '.join(fault.split(': ', 1)[1] for fault in faults)}"
    else:
        yield f"{gate} gate: {state}" + (
            "" if state is not GateState.READY else f'; decide it: pipeline decide PART "{gate}" go'
        )
