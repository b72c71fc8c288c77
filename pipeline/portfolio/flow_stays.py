"""How a part went through its stages, from its recorded decisions: when it came into each, when and how it left."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from pipeline.lineage.freshness import PartLineage
from pipeline.model.part import Part
from pipeline.model.words import GATES, Gate, Say
from pipeline.planning.flow_counts import Visit


class Ending(StrEnum):
    """How a stay ended, or stands."""

    PASSED = "passed"
    DROPPED = "dropped"
    HELD = "held"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Stay:
    """A part's stay in a stage: the gate of that name ends it with its first go. `left` is None while it lasts; a
    dropped part left on the day of that decision without having finished."""

    number: str
    family: str
    gate: Gate
    arrived: dt.date
    left: dt.date | None
    ending: Ending

    def find_age(self, day: dt.date) -> float:
        """Return how long it lasted, or has lasted by a day, in weeks."""
        return ((self.left or day) - self.arrived).days / 7


def find_first_day(part: Part, lineage: PartLineage) -> dt.date | None:
    """Return the day on which work began: as recorded, else that of the first evidence or decision."""
    days = [node.on for node in lineage.nodes.values() if node.on is not None] + [d.on for d in part.decisions]
    known = [day for day in (part.opened, min(days, default=None)) if day is not None]
    return min(known, default=None)


def find_stays(
    part: Part, first: dt.date | None, day: dt.date, recorded: Mapping[int, dt.date] | None = None
) -> tuple[Stay, ...]:
    """Return the stays of a part as its record stood at the end of a day, in the order of the gates.

    recorded : place of a decision -> the day on which it was recorded; one that was recorded later was not known.

    A stage begins when the one before it is passed, and ends with the first go for its gate: a gate that went stale
    later does not send the clock back (its age is told by its evidence). A gate that was passed before an earlier one
    ends with it.
    """
    if first is None or first > day:
        return ()
    seen = recorded or {}
    decided = sorted((d.on, i) for i, d in enumerate(part.decisions) if max(d.on, seen.get(i, d.on)) <= day)
    passed: dict[Gate, dt.date] = {}
    for on, index in decided:
        decision = part.decisions[index]
        if decision.gate is not None and decision.say is Say.GO:
            passed.setdefault(decision.gate, on)
    last = part.decisions[decided[-1][1]] if decided else None
    return tuple(_walk(part, first, passed, None if last is None else last.say, last.on if last else day))


def _walk(
    part: Part, first: dt.date, passed: Mapping[Gate, dt.date], last: Say | None, last_on: dt.date
) -> Iterator[Stay]:
    arrived = first
    for gate in GATES:
        if gate in passed:
            left = max(arrived, passed[gate])
            yield Stay(part.part, part.family, gate, arrived, left, Ending.PASSED)
            arrived = left
            continue
        if last is Say.DROP:
            yield Stay(part.part, part.family, gate, arrived, max(arrived, last_on), Ending.DROPPED)
        else:
            yield Stay(part.part, part.family, gate, arrived, None, Ending.HELD if last is Say.HOLD else Ending.OPEN)
        return


def find_released(stays: tuple[Stay, ...]) -> dt.date | None:
    """Return the day on which a part was released for sale: its tooling gate's first go."""
    return next((s.left for s in stays if s.gate is Gate.TOOLING and s.ending is Ending.PASSED), None)


def build_visits(stays: tuple[Stay, ...], origin: dt.date) -> list[Visit]:
    """Return stays as visits of stages, in weeks from a day (earlier ones negative)."""
    return [
        Visit(s.number, s.gate.value, _weeks(s.arrived, origin), None if s.left is None else _weeks(s.left, origin))
        for s in stays
    ]


def build_whole_visits(parts: Mapping[str, tuple[Stay, ...]], origin: dt.date) -> list[Visit]:
    """Return one visit of the whole pipeline for each part: from its first day until it is released or dropped."""
    visits = []
    for number, stays in parts.items():
        if stays:
            end = stays[-1].left if len(stays) == len(GATES) or stays[-1].ending is Ending.DROPPED else None
            left = None if end is None else _weeks(end, origin)
            visits.append(Visit(number, "all", _weeks(stays[0].arrived, origin), left))
    return visits


def _weeks(day: dt.date, origin: dt.date) -> float:
    return (day - origin).days / 7
