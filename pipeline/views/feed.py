"""The feed of gate events: what was proven, went stale, was decided, set aside or ordered, the youngest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline.model.part import Decision, Waiver
from pipeline.model.words import ToolStep
from pipeline.portfolio.moves import Move, MoveKind
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.told_moves import find_told_moves
from pipeline.views.addresses import FEED, REVIEW, find_part_page, name_gate_anchor
from pipeline.views.csv_tables import join_line
from pipeline.views.feed_text import name_id
from pipeline.views.part_head import build_hold
from pipeline.views.review_moves import explain_stale, word_move, word_plain
from pipeline.views.review_page import leave_out_doubles
from pipeline.views.shapes_marks import Line
from pipeline.views.shapes_outlets import Feed, FeedEntry
from pipeline.views.states import name_person
from pipeline.views.watch import find_stale_since

DAYS = 60
LEAST, MOST = 100, 500
"""A reader that looks once a month misses nothing: every entry of the last sixty days, at least a hundred, at most five
hundred (common practice, no source)."""

_ANCHORS = {MoveKind.TOOL_STEP: "tools", MoveKind.QUOTE_ENDED: "quotes", MoveKind.HOLD_CALL: "gates"}


def build_feed(portfolio: Portfolio) -> Feed | None:
    """Make the feed; None where the catalogues cannot be used."""
    workspace = portfolio.workspace
    if workspace is None:
        return None
    maker, today = workspace.catalogues.shop.name, workspace.today
    found = sorted(_find_dated(portfolio), key=lambda one: (-one[0].toordinal(), one[1], one[2].place, one[2].subject))
    recent = sum((today - on).days <= DAYS for on, *_ in found)
    kept = found[: min(max(recent, LEAST), MOST)]
    entries = _number_doubles([_build_entry(portfolio.parts[m.number], on, title, m) for on, title, m in kept])
    updated = entries[0].on if entries else today
    subtitle = "Gates proven and gone stale, decisions, waivers and steps of tools, by the days in the records."
    return Feed(name_id(maker, "feed"), f"{maker}: what moved", subtitle, maker, FEED, REVIEW, updated, entries)


def _find_dated(portfolio: Portfolio) -> Iterator[tuple[dt.date, str, Move]]:
    """Yield day, title and move of everything that has a day, no later than today."""
    for move in leave_out_doubles(find_told_moves(portfolio)):
        file = portfolio.parts[move.number]
        on = _find_day(file, move)
        if on is not None and on <= file.workspace.today:
            yield on, f"{file.number} {file.part.name}: {_name_move(file, move)}", move


def _build_entry(file: PartFile, on: dt.date, title: str, move: Move) -> FeedEntry:
    words = join_line(_word_hold(file) if move.kind is MoveKind.HOLD_CALL else word_move(file, move))
    maker = file.workspace.catalogues.shop.name
    identity = name_id(maker, file.number, *_identify(file, move), on.isoformat())
    return FeedEntry(identity, on, title, words, _find_place(move), move.kind.value, _find_doer(file, move))


def _word_hold(file: PartFile) -> Line:
    hold = build_hold(file)
    return () if hold is None else hold.line


def _find_place(move: Move) -> str:
    anchor = name_gate_anchor(move.gate) if move.gate is not None else _ANCHORS.get(move.kind, "")
    return find_part_page(move.number, anchor)


def _find_day(file: PartFile, move: Move) -> dt.date | None:
    """Return the day of a move: what the record says, or the day of what made it so."""
    match move.kind:
        case MoveKind.STALE:
            return explain_stale(file, move)[0] or file.standing.last_evidence
        case MoveKind.HOLD_CALL:
            return find_stale_since(file) or file.standing.last_evidence
        case MoveKind.WAIVER_ENDED if move.on is None:
            return _find_event_day(file, _find_waiver(file, move))
        case _:
            return move.on


def _find_event_day(file: PartFile, waiver: Waiver) -> dt.date | None:
    """Return the day of the event that ended a waiver: the first cut of metal, or the first article."""
    if waiver.until == "first article":
        return min((article.on for article in file.part.first_articles.values()), default=None)
    cut = (ToolStep.CUTTING, ToolStep.ON_TRIAL, ToolStep.ACCEPTED)
    return min((t.steps[step] for t in file.part.tools.values() for step in cut if step in t.steps), default=None)


def _find_decision(file: PartFile, move: Move) -> Decision | None:
    return file.part.decisions[_read_place(move)] if move.place.startswith("decisions[") else None


def _find_waiver(file: PartFile, move: Move) -> Waiver:
    return file.part.waivers[_read_place(move)]


def _read_place(move: Move) -> int:
    return int(move.place.partition("[")[2].rstrip("]"))


def _identify(file: PartFile, move: Move) -> tuple[str, str]:
    """Return what an entry is of. A decision keeps its identity when the gate that it proved goes stale."""
    decision = _find_decision(file, move)
    if decision is not None:
        return f"decision {decision.say.value}", "tooling" if decision.gate is None else decision.gate.value
    return move.kind.value, move.subject or ("" if move.gate is None else move.gate.value)


def _find_doer(file: PartFile, move: Move) -> str:
    decision = _find_decision(file, move)
    if decision is not None:
        return name_person(file.workspace.catalogues, decision.by)
    if move.kind is MoveKind.WAIVED:
        return name_person(file.workspace.catalogues, _find_waiver(file, move).by)
    return ""


def _name_move(file: PartFile, move: Move) -> str:
    decision = _find_decision(file, move)
    match move.kind:
        case MoveKind.PROVEN | MoveKind.STALE:
            return f"{move.gate} gate {move.kind}"
        case MoveKind.READY:
            return f"{move.gate} gate ready for a decision"
        case MoveKind.DECIDED if decision is not None:
            return f"{'tooling money' if decision.gate is None else f'{decision.gate} gate'}: {decision.say}"
        case MoveKind.HOLD_CALL:
            return f"hold call on {move.subject}"
        case MoveKind.WAIVED:
            return f"{move.subject} set aside"
        case MoveKind.TOOL_STEP | MoveKind.WAIVER_ENDED | MoveKind.QUOTE_ENDED | MoveKind.NEW:
            return word_plain(file, move)
        case _:
            return move.kind.value


def _number_doubles(entries: Sequence[FeedEntry]) -> tuple[FeedEntry, ...]:
    """Two decisions of one kind, gate and day are two entries: the later ones are told apart by their words."""
    seen: set[str] = set()
    found = []
    for entry in entries:
        identity = entry.id
        while identity in seen:
            identity = name_id(identity, entry.words)
        seen.add(identity)
        found.append(replace(entry, id=identity))
    return tuple(found)
