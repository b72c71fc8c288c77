"""Small makers for the pages of methods, and the sources that the code itself names."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from pipeline.views.addresses import METHODS, find_method_page
from pipeline.views.shapes_marks import Caution, Cell, Column, Line, Link, Row, Table, build_line
from pipeline.views.shapes_site import MethodPage, PageHead, Section

_SOURCE = re.compile(r"Source:\s*(.+?)(?:\n\s*\n|\n\s*(?:Example|Errors|Raises|Args|>>>)|\Z)", re.DOTALL)


def find_source(thing: Callable[..., Any] | type) -> str:
    """Return the source that a function or class names in its docstring, on one line.

    Raises ValueError where it names none: a method without a source is not shown.
    """
    found = _SOURCE.search(inspect.getdoc(thing) or "")
    if found is None:
        raise ValueError(f"{thing.__qualname__} names no source in its docstring")
    return re.sub(r"\s+", " ", found.group(1)).replace("`", "").strip().rstrip(".")


def build_table(
    caption: str, heads: Sequence[str | Column], rows: Iterable[Sequence[str | Line]], csv: str = ""
) -> Table:
    """Make a table of plain texts and lines."""
    columns = tuple(head if isinstance(head, Column) else Column(head) for head in heads)
    made = tuple(Row(tuple(Cell(build_line(c) if isinstance(c, str) else c) for c in row)) for row in rows)
    return Table(caption, columns, made, "Nothing is recorded.", csv)


def build_symbols(*rows: tuple[str, str, str]) -> Table:
    """Make the table of symbols: symbol, meaning, unit."""
    return build_table("What each symbol means", ("symbol", "meaning", "unit"), rows)


def build_method(
    key: str,
    title: str,
    summary: str,
    answers: str,
    formula: tuple[str, ...],
    symbols: Table,
    source: str,
    limits: tuple[str, ...],
    cautions: tuple[Caution, ...] = (),
    example: Section | None = None,
    used_on: tuple[Link, ...] = (),
) -> MethodPage:
    """Make the page of one method."""
    head = PageHead(title, find_method_page(key), summary, "method", (Link("Method", METHODS),))
    line = build_line(source[:1].upper() + source[1:] + ("" if source.endswith(".") else "."))
    return MethodPage(head, answers, formula, symbols, line, limits, cautions, example, used_on)
