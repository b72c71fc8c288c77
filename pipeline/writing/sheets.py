"""Rows as a spreadsheet in which nothing is worked out: CSV and xlsx."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

LIVE = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet program takes for the beginning of a formula (common practice, no source)."""


def guard_text(value: Any) -> Any:
    """Return a value that no spreadsheet program takes for a formula: text that begins like one gets an apostrophe.

    >>> [guard_text(v) for v in ("=1+1", "@x", "plain", -4)]
    ["'=1+1", "'@x", 'plain', -4]
    """
    return f"'{value}" if isinstance(value, str) and value.lstrip(" ").startswith(LIVE) else value


def render_csv(headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Return rows as CSV (RFC 4180, CRLF); no cell begins like a formula."""
    table = io.StringIO(newline="")
    writer = csv.writer(table, lineterminator="\r\n")
    writer.writerow([guard_text(name) for name in headings])
    for row in rows:
        writer.writerow([guard_text("" if value is None else value) for value in row])
    return table.getvalue()


def render_xlsx(title: str, headings: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    """Return rows as a workbook: text as text, days as days, numbers as numbers, no formula."""
    import openpyxl

    book = openpyxl.Workbook()
    page = book.active
    page.title = title
    page.append(list(headings))
    for number, row in enumerate(rows, 2):
        for column, value in enumerate(row, 1):
            cell = page.cell(number, column)
            cell.value = None if value == "" else value
            if isinstance(value, str) and value:
                cell.data_type, cell.number_format = "s", "@"
    page.freeze_panes = "B2"
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()
