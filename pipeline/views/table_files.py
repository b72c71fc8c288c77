"""A file for each table of a page: small tables get an address beside the page, named after what they show.

What is a mere legend of symbols stays without: `MethodPage.symbols`, the legend of marks, the lines to sign.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from typing import Any, TypeVar

from pipeline.views.shapes_marks import Table

HOLDERS = (
    "sections", "tables", "further", "tools", "interfaces", "contributors", "example", "blockers", "waivers",
    "exposure", "changes", "cash", "fits", "contents", "fitting",
)  # fmt: skip
"""Fields of pages and of their pieces in which tables stand."""

_FIGURES = re.compile(r":\s+[\d(−-].*")
"""A caption may end in figures, which change: an address keeps to what comes before."""

V = TypeVar("V")


def find_page_tables(view: Any) -> Iterator[Table]:
    """Yield every table of a page that is worth a file, in the page's order of fields."""
    if isinstance(view, Table):
        yield view
    elif isinstance(view, tuple):
        for one in view:
            yield from find_page_tables(one)
    elif dataclasses.is_dataclass(view):
        for name in HOLDERS:
            yield from find_page_tables(getattr(view, name, None))


def file_tables(view: V, stem: str) -> V:
    """Return a page whose tables with rows all have an address; those that have one keep it.

    stem : the page's own address without its ending, e.g. `money/TW-101`.
    """
    taken = {table.csv_href for table in find_page_tables(view)}
    filed: V = _file(view, stem, taken)
    return filed


def _file(thing: Any, stem: str, taken: set[str]) -> Any:
    if isinstance(thing, Table):
        return (
            thing
            if thing.csv_href or not thing.rows
            else dataclasses.replace(thing, csv_href=_name(thing, stem, taken))
        )
    if isinstance(thing, tuple):
        made = tuple(_file(one, stem, taken) for one in thing)
        return thing if all(new is old for new, old in zip(made, thing, strict=True)) else made
    if not dataclasses.is_dataclass(thing):
        return thing
    found = {name: getattr(thing, name) for name in HOLDERS if hasattr(thing, name)}
    filed = {name: _file(one, stem, taken) for name, one in found.items()}
    changed = {name: one for name, one in filed.items() if one is not found[name]}
    return dataclasses.replace(thing, **changed) if changed and not isinstance(thing, type) else thing


def _name(table: Table, stem: str, taken: set[str]) -> str:
    """Return a free address for a table, and take it.

    Two tables of one name are numbered in the order of the page.
    """
    words = _FIGURES.sub("", table.caption).lower()
    slug = re.sub(r"[^a-z0-9]+", "-", words).strip("-")[:60].rstrip("-") or "table"
    at, free = 1, f"{stem}/{slug}.csv"
    while free in taken:
        at += 1
        free = f"{stem}/{slug}-{at}.csv"
    taken.add(free)
    return free
