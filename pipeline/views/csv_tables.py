"""Tables as comma-separated text that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

from pipeline.views.shapes_marks import MARK_WORDS, Cell, Line, Table
from pipeline.views.shapes_part import EvidenceLine, FeatureLine
from pipeline.views.shapes_parts import PartRow, PartsPage
from pipeline.views.shapes_site import HomePage, ReviewPage, VehicleMatrix
from pipeline.views.wording import MINUS

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?\Z")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def guard_cell(text: str) -> str:
    """Return a cell that a spreadsheet shows and never reckons with: an apostrophe before what could be a formula.

    A plain number stays one; a typographic minus becomes the plain one there. Source: OWASP, CSV injection (from
    memory).

    >>> guard_cell("=1+1"), guard_cell("-0.25"), guard_cell("−0.25")
    ("'=1+1", '-0.25', '-0.25')
    """
    plain = text.replace(MINUS, "-").replace(",", "")
    if _NUMBER.match(plain):
        return plain
    return f"'{text}" if text.startswith(_FORMULA) or text.lstrip(" \n").startswith(_FORMULA) else text


def render_csv(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table as CSV (RFC 4180: comma, double quotes, CRLF)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([guard_cell(name) for name in head])
    writer.writerows([guard_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def join_line(line: Line) -> str:
    """Return the plain text of a line."""
    return "".join(run.text for run in line)


def render_table_csv(table: Table) -> str:
    """Return a table of a page as CSV; a mark stands before its words, a unit in the head."""
    head = [f"{column.label} ({column.unit})" if column.unit else column.label for column in table.columns]
    return render_csv(head, ([_join_cell(cell) for cell in row.cells] for row in table.rows))


def _join_cell(cell: Cell) -> str:
    text = join_line(cell.line).replace("\u00a0", " ")
    return text if cell.drawing is None else f"{text} {cell.drawing.words}".strip()


def render_parts_csv(page: PartsPage) -> str:
    """Return the list of parts as CSV."""
    cost = f"one change found today ({page.unit})"
    head = ("number", "part", "family", "safety class", "fits", "gate", "state", "engineer", "days old", cost, "next")
    return render_csv(head, map(_list_part, page.rows))


def _list_part(row: PartRow) -> tuple[str, ...]:
    age = "" if row.age == "–" else str(row.age_days)
    stake = "" if row.stake == "–" else f"{row.stake_value:.0f}"
    first = (row.number, row.name, row.family, row.safety or "S0", row.fits, row.gate, row.state, row.engineer)
    return (*first, age, stake, row.next)


def render_home_csv(page: HomePage) -> str:
    """Return what needs each person as CSV."""
    rows = (
        (desk.person, need.kind, need.part.text, need.name, join_line(need.line), need.due)
        for desk in page.desks
        for need in desk.needs
    )
    return render_csv(("person", "what", "part", "name", "why", "by"), rows)


def render_review_csv(page: ReviewPage) -> str:
    """Return everything that a review lists as CSV."""
    rows = (
        (g.title, it.on, it.part.text, it.name, join_line(it.line), "" if it.commit is None else it.commit.short)
        for g in page.groups
        for it in g.items
    )
    return render_csv(("list", "on", "part", "name", "what moved", "record"), rows)


def render_vehicle_csv(matrix: VehicleMatrix) -> str:
    """Return the coverage of one vehicle as CSV."""
    head = ("family", "number", "part", *(f"{column.body} {column.years}" for column in matrix.columns))
    rows = (
        (group.title, row.part.text, row.name, *(cell.words for cell in row.cells))
        for group in matrix.groups
        for row in group.rows
    )
    return render_csv(head, rows)


def render_years_csv(matrix: VehicleMatrix) -> str:
    """Return the coverage of one vehicle by body and year as CSV."""
    rows = ((row.body, *(cell.words for cell in row.cells)) for row in matrix.by_year)
    return render_csv(("body", *matrix.by_year_head), rows)


def render_features_csv(features: Sequence[FeatureLine]) -> str:
    """Return the features of a part as CSV."""
    head = ("feature", "name", "critical", "nominal", "limits", "unit", "readings", "verdict")
    rows = (
        (f.key, f.name, "yes" if f.critical else "no", f.nominal, f.limits, f.unit,
         "" if f.drawing is None else f.drawing.words, join_line(f.verdict))
        for f in features
    )  # fmt: skip
    return render_csv(head, rows)


def render_evidence_csv(evidence: Sequence[EvidenceLine]) -> str:
    """Return the evidence of a part as CSV."""
    head = ("id", "kind", "what", "of", "covers", "on", "by", "stands", "freshness", "reason", "file")
    rows = (
        (e.id, e.kind, e.what, e.of, e.covers, e.on, e.by, MARK_WORDS[e.mark], e.freshness, join_line(e.reason),
         "" if e.file is None else e.file.text)
        for e in evidence
    )  # fmt: skip
    return render_csv(head, rows)
