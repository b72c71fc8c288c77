"""What to do next, part by part, as the terminal and the home page show it."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.model.words import GateState
from pipeline.portfolio.portfolio import PartFile, Portfolio

_RANK = {
    GateState.STALE: 1,
    GateState.READY: 2,
    GateState.IN_WORK: 3,
    GateState.NOT_STARTED: 4,
    GateState.HELD: 5,
}


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
        steps = file.standing.todo
        lines += [f"    {index}. {step}" for index, step in enumerate(steps[:limit], 1)]
        if len(steps) > limit:
            lines.append(f"    and {len(steps) - limit} more: pipeline next {file.number} --limit {len(steps)}")
        if file.standing.state is GateState.HELD:
            lines.append("    held: decide go, rework or drop to take it up again")
    return lines
