"""Each move of a review in words: what proved a gate, what made one stale, what a figure was and is."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from pipeline.model.quantity import Limits, Money, Range
from pipeline.model.words import GateState, ToolStep
from pipeline.portfolio.moves import Move, MoveKind, Value
from pipeline.portfolio.outlook import find_story
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.history import build_commit
from pipeline.views.part_evidence import SECTION_GATES, build_reasons
from pipeline.views.part_gates import word_decision
from pipeline.views.shapes_marks import Commit, Line, Run, Tone, build_line
from pipeline.views.states import name_supplier
from pipeline.views.watch import find_ended_waivers, find_stale_since
from pipeline.views.wording import count_decimals, word_day, word_limits, word_money, word_number, word_unit


def word_move(file: PartFile, move: Move) -> Line:
    """Return a move in words."""
    words = {
        MoveKind.PROVEN: _word_proven,
        MoveKind.RELEASED: _word_proven,
        MoveKind.STALE: _word_stale,
        MoveKind.DECIDED: _word_decided,
        MoveKind.FIGURE: _word_figure,
        MoveKind.WAIVED: _word_waived,
        MoveKind.HOLD_ENDED: _word_hold_ended,
    }.get(move.kind)
    return words(file, move) if words is not None else build_line(word_plain(file, move))


def word_plain(file: PartFile, move: Move) -> str:
    """Return a move that one sentence says whole: the same one in the review, in the terminal and in the feed."""
    match move.kind:
        case MoveKind.READY:
            roles = file.workspace.catalogues.gates.gates[move.gate].decided_by if move.gate is not None else ()
            return f"all that the {move.gate} gate wants is in hand; the {' or the '.join(roles)} decides"
        case MoveKind.REOPENED:
            return f"the {move.gate} gate is open again: {_find_first_words(file, move)}"
        case MoveKind.TOOL_STEP:
            return f"tool {move.subject}"
        case MoveKind.WAIVER_ENDED:
            return f"the waiver of {move.subject} ended"
        case MoveKind.QUOTE_ENDED:
            supplier = name_supplier(file.workspace.catalogues, file.part.quotes[move.subject].from_)
            return f"quote {move.subject} of {supplier} ran out"
        case MoveKind.NEW:
            return "work began"
        case MoveKind.RENUMBERED:
            return f"was {move.old} before"
        case MoveKind.REVIVED:
            return "taken up again after it was dropped"
        case MoveKind.DROPPED:
            last = max(file.part.decisions, key=lambda d: d.on, default=None)
            return "dropped" if last is None else _lower(word_decision(file, last))
        case _:
            return str(move.kind)


def _find_first_words(file: PartFile, move: Move) -> str:
    standing = file.standing.gates.get(move.gate) if move.gate is not None else None
    return next((r.answer.words for r in standing.open_requirements), "") if standing is not None else ""


def _word_proven(file: PartFile, move: Move) -> Line:
    decision = file.standing.gates[move.gate].decision if move.gate is not None else None
    said = "" if decision is None else _lower(word_decision(file, decision))
    name = "released for sale" if move.kind is MoveKind.RELEASED else f"{move.gate} gate"
    return (Run(name, Tone.STRONG), Run(f": {said}"))


def _word_decided(file: PartFile, move: Move) -> Line:
    decision = file.part.decisions[int(move.place.partition("[")[2].rstrip("]"))]
    subject = "tooling money" if decision.gate is None else f"{decision.gate} gate"
    return build_line(f"{subject}: {_lower(word_decision(file, decision))}")


def _word_waived(file: PartFile, move: Move) -> Line:
    waiver = file.part.waivers[int(move.place.partition("[")[2].rstrip("]"))]
    until = word_day(waiver.until) if isinstance(waiver.until, dt.date) else waiver.until
    exposure = word_money(waiver.exposure.amount, waiver.exposure.currency)
    return build_line(
        f"{waiver.of} set aside until {until}; instead {waiver.instead}; greatest exposure {exposure}: {waiver.why}"
    )


def _word_hold_ended(file: PartFile, move: Move) -> Line:
    tool = file.part.tools.get(move.subject)
    if tool is not None and tool.state in (ToolStep.CUTTING, ToolStep.ON_TRIAL, ToolStep.ACCEPTED):
        said = Run("its metal is cut, whatever it stood on", Tone.FLAG)
        return (Run(f"the hold call on {move.subject} ended: "), said)
    return build_line(f"the hold call on {move.subject} ended")


def _word_stale(file: PartFile, move: Move) -> Line:
    return (Run(f"{move.gate}: ", Tone.STRONG), *explain_stale(file, move)[1])


def explain_stale(file: PartFile, move: Move | None = None) -> tuple[dt.date | None, Line]:
    """Return since when and why a part's gates (or the gate of a move) are stale: what changed, or the waiver that ran
    out."""
    gates = [gate for gate in file.standing.gates.values() if gate.state is GateState.STALE]
    if move is not None:
        gates = [gate for gate in gates if gate.gate is move.gate]
    for node in file.lineage.nodes.values():
        reasons = file.lineage.reasons.get(node.id, ())
        if reasons and SECTION_GATES.get(node.section) in {gate.gate for gate in gates}:
            return find_stale_since(file), build_reasons(file, reasons, 1)
    for requirement in (r for gate in gates for r in gate.open_requirements):
        for waiver in find_ended_waivers(file, requirement.id):
            day = waiver.until if isinstance(waiver.until, dt.date) else None
            ended = f"ran out on {word_day(day)}" if day is not None else f"ended: {waiver.until}"
            return day, build_line(f"the waiver of {requirement.id} {ended}; {requirement.answer.words}")
    first = next((r.answer.words for gate in gates for r in gate.open_requirements), "")
    return find_stale_since(file), build_line(first)


def _word_figure(file: PartFile, move: Move) -> Line:
    del file
    unit = word_unit(move.unit)
    old, new = word_value(move.old, unit), word_value(move.new, unit)
    return (Run(f"{move.subject}: {old} → "), Run(new, Tone.STRONG))


def word_value(value: Value, unit: str = "") -> str:
    """Return a figure as a person writes it, with its unit or currency.

    >>> word_value(None), word_value(12.5, "mm"), word_value(Range(low=1, likely=2, high=3), "pieces")
    ('not stated', '12.5 mm', '2 (1 to 3) pieces')
    """
    tail = f" {unit}" if unit else ""
    match value:
        case None:
            return "not stated"
        case Money():
            return word_money(value.amount, value.currency)
        case Range():
            spread = f" ({word_number(value.low)} to {word_number(value.high)})" if value.low != value.high else ""
            return f"{word_number(value.likely)}{spread}{tail}"
        case Limits():
            found = [one for one in (value.lower, value.upper) if one is not None]
            return word_limits(value, max(map(count_decimals, found), default=0)) + tail
        case float() | int() | Decimal():
            return f"{word_number(float(value))}{tail}"
        case _:
            return str(value)


def find_move_commit(file: PartFile, move: Move) -> Commit | None:
    """Return the commit that shows a move; None where no one commit does, or no history was read."""
    story, told = find_story(file)
    if story is None or told is None or not move.place:
        return None
    found = told.find_commit(move.place)
    return None if found is None else build_commit(story, found, file)


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]
