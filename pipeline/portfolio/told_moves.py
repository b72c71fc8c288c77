"""Everything that the records of today tell with a day: gates, decisions, waivers, tool steps, quotes that ran out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipeline.model.part import Part
from pipeline.model.words import ToolStep
from pipeline.portfolio.moves import Move, MoveKind, find_moves
from pipeline.portfolio.portfolio import Portfolio
from pipeline.portfolio.review import build_empty, build_present


def find_told_moves(portfolio: Portfolio) -> tuple[Move, ...]:
    """Return every move from nothing to the records of today, parts in the order of the records.

    What the records no longer show (a gate that was stale and was proven anew) is not among them: the review, which
    compares with a past state, is the place for that. Decisions of a later day than today are left out.
    """
    workspace = portfolio.workspace
    if workspace is None:
        return ()
    moves = list(find_moves(build_empty(workspace, workspace.today), build_present(portfolio)))
    for number, file in portfolio.parts.items():
        moves += _tell_tool_steps(number, file.part, workspace.today)
        moves += _tell_quotes(number, file.part, workspace.today)
    told = (move for move in moves if move.on is None or move.on <= workspace.today)
    return tuple(move for move in told if move.number in portfolio.parts)


def _tell_tool_steps(number: str, part: Part, today: dt.date) -> Iterator[Move]:
    """Steps that a tool reached; a quoted price is no step."""
    for key, tool in part.tools.items():
        for step, day in tool.steps.items():
            if step is not ToolStep.QUOTED and day <= today:
                yield Move(MoveKind.TOOL_STEP, number, day, None, f"{key}: {step}", f"tools.{key}.steps.{step}")


def _tell_quotes(number: str, part: Part, today: dt.date) -> Iterator[Move]:
    """Quotes that ran out before any tool was ordered."""
    orders = [tool.steps[ToolStep.ORDERED] for tool in part.tools.values() if ToolStep.ORDERED in tool.steps]
    for key, quote in part.quotes.items():
        if quote.valid_to is not None and quote.valid_to < min([*orders, today]):
            yield Move(MoveKind.QUOTE_ENDED, number, quote.valid_to, subject=key, place=f"quotes.{key}")
