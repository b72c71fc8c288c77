"""What moved between two states of a workspace: gates, decisions, waivers, parts, and figures with old and new."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from pipeline.gates.standing import Standing, is_waiver_live
from pipeline.lineage.freshness import Lineage
from pipeline.model.part import Part, Quote
from pipeline.model.quantity import Limits, Price, Range
from pipeline.model.words import Gate, GateState, ToolStep
from pipeline.model.workspace import Workspace


class MoveKind(StrEnum):
    """What moved. The order is that of a review: what is loudest stands first."""

    HOLD_CALL = "hold call"
    HOLD_ENDED = "hold call ended"
    READY = "ready for decision"
    PROVEN = "proven"
    RELEASED = "released for sale"
    STALE = "gone stale"
    REOPENED = "reopened"
    DECIDED = "decided"
    TOOL_STEP = "tool step"
    WAIVED = "waived"
    WAIVER_ENDED = "waiver ended"
    QUOTE_ENDED = "quote ended"
    NEW = "new"
    RENUMBERED = "renumbered"
    REVIVED = "revived"
    DROPPED = "dropped"
    GONE = "record gone"
    FIGURE = "figure"


Value = str | float | Decimal | Price | Range | Limits | None


@dataclass(frozen=True, slots=True)
class Move:
    """One move of one part.

    on : the day that the record gives it; None where it has none (a figure, a gate that fell open). place : the key of
    the fact in the record, as the history names it (`decisions[3]`, `features.length`), "" where no one fact shows it.
    subject : what it is of: a tool, a requirement, a quote, the name of a figure. old, new : a figure before and after
    (None: was not there), in `unit`; for a renumbered part its numbers.
    """

    kind: MoveKind
    number: str
    on: dt.date | None = None
    gate: Gate | None = None
    subject: str = ""
    place: str = ""
    old: Value = None
    new: Value = None
    unit: str = ""


@dataclass(frozen=True)
class State:
    """A workspace, traced and judged as of its own day."""

    workspace: Workspace
    lineage: Lineage
    standings: Mapping[str, Standing]

    @property
    def day(self) -> dt.date:
        """The day that it is judged as of."""
        return self.workspace.today


def find_moves(before: State, after: State, renumbered: Mapping[str, str] | None = None) -> tuple[Move, ...]:
    """Return what moved from one state to the other, by kind in the order of a review, then by part.

    renumbered : number after -> number before, of records that were moved; others are told apart by their number.
    A part whose record could not be read in one of the states is compared in neither.
    """
    old_numbers = dict(renumbered or {})
    unread = {*before.workspace.broken, *after.workspace.broken}
    moves: list[Move] = []
    for number in after.workspace.parts:
        old = old_numbers.get(number, number)
        if number in unread or old in unread:
            continue
        if old in before.workspace.parts:
            moves += _compare_part(before, after, old, number)
        else:
            moves += _tell_new(after, number)
    taken = {*after.workspace.parts, *old_numbers.values(), *unread}
    moves += [Move(MoveKind.GONE, number) for number in before.workspace.parts if number not in taken]
    order = {kind: place for place, kind in enumerate(MoveKind)}
    return tuple(sorted(moves, key=lambda move: (order[move.kind], move.number)))


def _tell_new(after: State, number: str) -> Iterator[Move]:
    """Everything about a part that was not there: it is new, and what was decided of it since is told too."""
    part, standing = after.workspace.parts[number], after.standings[number]
    days = [node.on for node in after.lineage.parts[number].nodes.values() if node.on is not None]
    yield Move(MoveKind.NEW, number, part.opened or min(days, default=None))
    yield from _tell_hold_calls(None, standing, number)
    yield from _compare_gates(None, standing, number)
    yield from _compare_decisions(None, part)
    yield from _compare_waivers(None, part, after.day, after.day)
    if standing.is_dropped:
        yield Move(MoveKind.DROPPED, number, max((d.on for d in part.decisions), default=None))


def _compare_part(before: State, after: State, old_number: str, number: str) -> Iterator[Move]:
    old, new = before.workspace.parts[old_number], after.workspace.parts[number]
    was, now = before.standings[old_number], after.standings[number]
    if old_number != number:
        yield Move(MoveKind.RENUMBERED, number, place="part", old=old_number, new=number)
    yield from _tell_hold_calls(was, now, number)
    yield from _compare_gates(was, now, number)
    if old is not new:
        yield from _compare_decisions(old, new)
        yield from _compare_tool_steps(old, new)
        yield from compare_figures(old, new)
    yield from _compare_waivers(old, new, before.day, after.day)
    yield from _compare_quotes(new, before.day, after.day)
    if was.is_dropped != now.is_dropped:
        kind = MoveKind.DROPPED if now.is_dropped else MoveKind.REVIVED
        yield Move(kind, number, max((d.on for d in new.decisions), default=None))


def _tell_hold_calls(was: Standing | None, now: Standing, number: str) -> Iterator[Move]:
    old = {call.tool for call in was.hold_calls} if was is not None else set()
    new = {call.tool for call in now.hold_calls}
    for call in now.hold_calls:
        if call.tool not in old:
            yield Move(MoveKind.HOLD_CALL, number, subject=call.tool, place=f"tools.{call.tool}")
    for tool in sorted(old - new):
        yield Move(MoveKind.HOLD_ENDED, number, subject=tool, place=f"tools.{tool}")


def _compare_gates(was: Standing | None, now: Standing, number: str) -> Iterator[Move]:
    for gate, standing in now.gates.items():
        old = GateState.NOT_STARTED if was is None else was.gates[gate].state
        if standing.state is old:
            continue
        decided = None if standing.decision is None else standing.decision.on
        place = "" if standing.decision_index is None else f"decisions[{standing.decision_index}]"
        if standing.state is GateState.PROVEN:
            kind = MoveKind.RELEASED if gate is Gate.TOOLING else MoveKind.PROVEN
            yield Move(kind, number, decided, gate, place=place)
        elif standing.state is GateState.STALE:
            yield Move(MoveKind.STALE, number, None, gate)
        elif standing.state is GateState.READY:
            yield Move(MoveKind.READY, number, now.last_evidence, gate)
        elif old is GateState.PROVEN and standing.state in (GateState.IN_WORK, GateState.NOT_STARTED):
            yield Move(MoveKind.REOPENED, number, None, gate)


def _compare_decisions(old: Part | None, new: Part) -> Iterator[Move]:
    """Decisions that were not there before, each as often as it stands there."""
    known = list(old.decisions) if old is not None else []
    for index, decision in enumerate(new.decisions):
        if decision in known:
            known.remove(decision)
            continue
        yield Move(MoveKind.DECIDED, new.part, decision.on, decision.gate, place=f"decisions[{index}]")


def _compare_tool_steps(old: Part, new: Part) -> Iterator[Move]:
    """Steps that a tool reached: an order, first metal, a trial, the acceptance. A quoted price is no step."""
    for key, tool in new.tools.items():
        before = old.tools[key].steps if key in old.tools else {}
        for step, day in tool.steps.items():
            if step is not ToolStep.QUOTED and step not in before:
                yield Move(MoveKind.TOOL_STEP, new.part, day, None, f"{key}: {step}", f"tools.{key}.steps.{step}")


def _compare_waivers(old: Part | None, new: Part, then: dt.date, now: dt.date) -> Iterator[Move]:
    known = list(old.waivers) if old is not None else []
    for index, waiver in enumerate(new.waivers):
        place = f"waivers[{index}]"
        if waiver in known:
            known.remove(waiver)
            was_live = old is not None and is_waiver_live(old, waiver, then)
        else:
            was_live = True
            yield Move(MoveKind.WAIVED, new.part, waiver.on, subject=waiver.of, place=place)
        if was_live and not is_waiver_live(new, waiver, now):
            day = waiver.until if isinstance(waiver.until, dt.date) else None
            yield Move(MoveKind.WAIVER_ENDED, new.part, day, subject=waiver.of, place=place)


def _compare_quotes(new: Part, then: dt.date, now: dt.date) -> Iterator[Move]:
    """Quotes that ran out between the two days, of parts whose tools are not ordered."""
    if any(tool.state not in (None, ToolStep.QUOTED) for tool in new.tools.values()):
        return
    for key, quote in new.quotes.items():
        if quote.valid_to is not None and then <= quote.valid_to < now and quote.on <= then:
            yield Move(MoveKind.QUOTE_ENDED, new.part, quote.valid_to, subject=key, place=f"quotes.{key}")


def compare_figures(old: Part, new: Part) -> Iterator[Move]:
    """Yield every figure that decides money or metal and is not what it was: nominals and limits, demand and price,
    prices of tools, what a quote says."""
    yield from _compare_features(old, new)
    yield from _compare_demand(old, new)
    for key, tool in new.tools.items():
        before = old.tools.get(key)
        if before is not None and before.price != tool.price:
            yield _figure(new, f"price of {key}", f"tools.{key}.price", before.price, tool.price)
    for key, quote in new.quotes.items():
        if key in old.quotes:
            yield from _compare_quote(new, key, old.quotes[key], quote)


def _figure(part: Part, subject: str, place: str, old: Value, new: Value, unit: str = "") -> Move:
    return Move(MoveKind.FIGURE, part.part, None, None, subject, place, old, new, unit)


def _compare_features(old: Part, new: Part) -> Iterator[Move]:
    for key, feature in new.features.items():
        before = old.features.get(key)
        if before is None:
            continue
        place = f"features.{key}"
        if (before.nominal, before.unit) != (feature.nominal, feature.unit):
            was: Value = before.nominal if before.unit == feature.unit else f"{before.nominal:g} {before.unit}"
            yield _figure(new, feature.what, place, was, feature.nominal, feature.unit)
        if before.limits != feature.limits:
            yield _figure(new, f"limits of {feature.what}", place, before.limits, feature.limits, feature.unit)


def _compare_demand(old: Part, new: Part) -> Iterator[Move]:
    was, now = old.demand, new.demand
    if was is None and now is None:
        return
    figures: tuple[tuple[str, str, str], ...] = (
        ("pieces a year", "per_year", "pieces"), ("price", "price", ""), ("landed cost of a piece", "cost", ""),
    )  # fmt: skip
    for subject, field, unit in figures:
        before, after = (None if demand is None else getattr(demand, field) for demand in (was, now))
        if before != after:
            yield _figure(new, subject, f"demand.{field}", before, after, unit)


def _compare_quote(part: Part, key: str, old: Quote, new: Quote) -> Iterator[Move]:
    for tool in dict.fromkeys((*old.tools, *new.tools)):
        was, now = old.tools.get(tool), new.tools.get(tool)
        if was != now:
            yield _figure(part, f"{tool} in quote {key}", f"quotes.{key}", was, now, new.money)
    for count in dict.fromkeys((*old.piece, *new.piece)):
        was, now = old.piece.get(count), new.piece.get(count)
        if was != now:
            yield _figure(part, f"piece price for {count} in quote {key}", f"quotes.{key}", was, now, new.money)
    if old.weeks != new.weeks:
        yield _figure(part, f"lead time in quote {key}", f"quotes.{key}", old.weeks, new.weeks, "weeks")
