"""The sections, tables and comparisons of a page as lines of a terminal: the same views, so they cannot disagree."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from pipeline.views.shapes_marks import Line, Table
from pipeline.views.shapes_part import QuoteComparison
from pipeline.views.shapes_site import Section

WIDTH, WIDEST = 110, 46
"""Letters of a line of text, and of the widest column of a table before it is broken into lines."""


def word_line(line: Line) -> str:
    """Return a line of runs as plain text."""
    return "".join(run.text for run in line)


def render_sections(sections: Iterable[Section]) -> list[str]:
    """Return the lines of sections: title, text, the words of each drawing, tables, text."""
    lines: list[str] = []
    for section in sections:
        lines += ["", section.title.upper() + (f"  ({section.aside})" if section.aside else "")]
        lines += _wrap(word_line(section.intro))
        for table in section.tables:
            lines += ["", *render_table(table)]
        for figure in section.figures:
            lines += ["", *_wrap(figure.chart.words), *_wrap(word_line(figure.note))]
        lines += _wrap(word_line(section.after))
    return lines[1:]


def _wrap(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH) if text else []


def render_table(table: Table) -> list[str]:
    """Return a table as aligned columns, numbers to the right, long cells on several lines."""
    lines = [f"  {table.caption}"] if table.caption else []
    if not table.rows:
        return [*lines, *(f"  {one}" for one in _wrap(table.empty))]
    heads = [f"{column.label} {column.unit}".strip() for column in table.columns]
    texts = [[word_line(cell.line) for cell in row.cells] for row in table.rows]
    return lines + _align([heads, *texts], [column.number for column in table.columns])


def _align(rows: Sequence[Sequence[str]], numbers: Sequence[bool]) -> list[str]:
    widths = [min(WIDEST, max(len(row[at]) for row in rows)) for at in range(len(numbers))]
    lines = []
    for index, row in enumerate(rows):
        cells = [textwrap.wrap(text, width) or [""] for text, width in zip(row, widths, strict=True)]
        for part in range(max(map(len, cells))):
            texts = [cell[part] if part < len(cell) else "" for cell in cells]
            pairs = zip(texts, widths, numbers, strict=True)
            lines.append("  " + "  ".join(t.rjust(w) if n else t.ljust(w) for t, w, n in pairs).rstrip())
        if index == 0:
            lines.append("  " + "  ".join("-" * width for width in widths))
    return lines


def render_comparison(comparison: QuoteComparison) -> list[str]:
    """Return quotes side by side as lines."""
    if not comparison.columns:
        return _wrap(comparison.empty)
    lines = _wrap(word_line(comparison.summary))
    heads = ["", *(f"{one.id} {one.supplier.text}" for one in comparison.columns)]
    states = ["", *(one.state for one in comparison.columns)]
    for group in comparison.groups:
        rows = [[f"{row.label} {row.unit}".strip(), *row.values] for row in group.rows]
        numbers = [False, *(True for _ in comparison.columns)]
        lines += [
            "",
            group.title.upper(),
            *_align([heads, states, *rows] if group is comparison.groups[0] else [heads, *rows], numbers),
        ]
    return lines
