"""What an import becomes, told to a person and to a program."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pipeline.findings.finding import escape_hidden
from pipeline.portfolio.importing import ImportPlan, Outcome, RowPlan

MOST_GUESSES = 40


def render_import(
    plan: ImportPlan, written: Sequence[str], *, wrote: bool, update: bool, show_all: bool = False
) -> str:
    """Return the lines of the terminal: columns, guesses, refusals with addresses, differences, and a count."""
    lines = ["Columns:"]
    lines += [f"  {letter:<3} {heading or '(no heading)':<24} -> {to}" for letter, heading, to in plan.columns]
    lines += [f"note: {note}" for note in plan.notes]
    guesses = [note for row in plan.rows for note in row.notes if note.kind == "guessed"]
    if guesses:
        lines.append("Guessed:")
        shown = guesses if show_all else guesses[:MOST_GUESSES]
        lines += [f"  {note.address:<6} {note.to}: {note.words}" for note in shown]
        lines += [f"  and {len(guesses) - len(shown)} more (--all)"] if len(guesses) > len(shown) else []
    for row in plan.rows:
        lines += _tell_row(row, update=update, show_all=show_all)
    counts = ", ".join(f"{plan.count(one)} {one}" for one in Outcome if plan.count(one))
    lines.append(f"{len(plan.rows)} rows: {counts or 'none'}.")
    lines.append(f"Wrote {len(written)} records." if wrote else "Nothing was written; --write writes the new records.")
    return "\n".join(escape_hidden(line) for line in lines)


def _tell_row(row: RowPlan, *, update: bool, show_all: bool) -> Iterator[str]:
    if row.outcome is Outcome.REFUSED:
        yield f"refused row {row.row}{f' ({row.number})' if row.number else ''}: {row.words}"
    elif row.outcome is Outcome.DIFFERS:
        count = len(row.differences)
        yield f"differs row {row.row} ({row.number}): {count} value{'s' if count > 1 else ''}"
        if update:
            yield from (f"    {place}: {old or '(nothing)'} -> {new}" for place, (old, new) in row.differences.items())
    elif show_all or row.outcome is Outcome.REPEAT:
        yield f"{row.outcome} row {row.row} ({row.number}){f': {row.words}' if row.words else ''}"


def build_import_dict(plan: ImportPlan, written: Sequence[str], *, wrote: bool) -> dict[str, Any]:
    """Return the import as plain data."""
    return {
        "format": "repro-pipeline import 1",
        "columns": [{"column": c, "heading": h, "to": t} for c, h, t in plan.columns],
        "notes": list(plan.notes),
        "rows": [
            {
                "row": row.row,
                "part": row.number,
                "outcome": row.outcome.value,
                "words": row.words,
                "cells": [{"address": n.address, "to": n.to, "kind": n.kind, "words": n.words} for n in row.notes],
                "differences": {place: {"old": old, "new": new} for place, (old, new) in row.differences.items()},
            }
            for row in plan.rows
        ],
        "written": list(written),
        "wrote": wrote,
    }
