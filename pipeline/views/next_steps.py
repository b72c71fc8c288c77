"""What to do next, part by part, as the terminal and the home page show it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.model.words import Gate, GateState
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.states import name_person, name_supplier

_RANK = {
    GateState.STALE: 1,
    GateState.READY: 2,
    GateState.IN_WORK: 3,
    GateState.NOT_STARTED: 4,
    GateState.HELD: 5,
}


@dataclass(frozen=True)
class Action:
    """One step: what to do, why (may be empty), who does it, and the day by which it is wanted, if one is known."""

    do: str
    why: str
    who: str
    due: dt.date | None = None


def find_actions(file: PartFile) -> tuple[Action, ...]:
    """Return the next steps of a part, most pressing first, with why and who."""
    engineer = name_person(file.workspace.catalogues, file.part.engineer)
    whys = _find_whys(file)
    actions = []
    calls = {
        f"ask {call.toolmaker or 'the toolmaker'} to wait with {call.tool}": call for call in file.standing.hold_calls
    }
    for step in file.standing.todo:
        call = calls.get(step)
        if call is not None:
            maker = name_supplier(file.workspace.catalogues, call.toolmaker) if call.toolmaker else "the toolmaker"
            actions.append(
                Action(f"ask {maker} to wait with {call.tool}", "the metal is not cut yet", "buyer", call.cut_planned)
            )
            continue
        gate, why = whys.get(step, (file.standing.gate, ""))
        if step.startswith("decide the ") and gate is not None:
            policy = file.workspace.catalogues.gates.gates[gate]
            actions.append(Action(step, "all that the gate wants is in hand", " or ".join(policy.decided_by)))
        else:
            actions.append(Action(step, why, "buyer" if gate is Gate.QUOTE else engineer))
    return tuple(actions)


def _find_whys(file: PartFile) -> dict[str, tuple[Gate | None, str]]:
    """Return step -> the gate that wants it and what the requirement found."""
    whys: dict[str, tuple[Gate | None, str]] = {}
    for gate, standing in file.standing.gates.items():
        for requirement in standing.open_requirements:
            for step in requirement.answer.todo:
                whys.setdefault(step, (gate, requirement.answer.words))
    return whys


def order_by_need(files: Sequence[PartFile]) -> list[PartFile]:
    """Return the parts that need somebody: hold calls, then stale, ready, in work, not started, held."""
    waiting = [f for f in files if f.standing.hold_calls or not (f.standing.released or f.standing.is_dropped)]
    return sorted(waiting, key=lambda f: (not f.standing.hold_calls, _RANK.get(f.standing.state, 9), f.number))


def describe_place(file: PartFile) -> str:
    """Return where a part stands in a few words."""
    standing = file.standing
    if standing.hold_calls:
        return "HOLD CALL"
    if standing.released:
        return "released"
    return f"{standing.gate} gate {standing.state}" if standing.gate is not None else str(standing.state)


def build_next_lines(
    portfolio: Portfolio, numbers: Sequence[str], engineer: str | None = None, limit: int = 3
) -> list[str]:
    """Return lines for the terminal: a head for each part, then its next steps."""
    files = [portfolio.parts[n] for n in numbers if engineer in (None, portfolio.parts[n].part.engineer)]
    lines: list[str] = []
    for file in order_by_need(files):
        lines.append(f"{file.number}  {file.part.name}: {describe_place(file)}  ({file.part.engineer})")
        steps = find_actions(file)
        lines += [f"    {index}. {step.do}" for index, step in enumerate(steps[:limit], 1)]
        if len(steps) > limit:
            lines.append(f"    and {len(steps) - limit} more: pipeline next {file.number} --limit {len(steps)}")
        if file.standing.state is GateState.HELD:
            lines.append("    held: decide go, rework or drop to take it up again")
    return lines
