"""The list of parts, and the data file that lets the page filter, sort and search it."""

from __future__ import annotations

import json
from dataclasses import dataclass

from pipeline.views.shapes_marks import Mark, RangeMark
from pipeline.views.shapes_site import PageHead


@dataclass(frozen=True)
class Facet:
    """Something to filter by. ``key`` stands in the address (``?family=spring``). ``plural`` is its word for
    all values: ``all families``.
    """

    key: str
    label: str
    plural: str


@dataclass(frozen=True)
class PartRow:
    """One part in the list.

    ``facets`` has one tuple of values for each facet of the page, in that order (a part fits several vehicles).
    ``texts`` has one string for each search
    field of the page, in that order; only what may be found belongs there. ``age_days`` sorts, ``age`` is
    shown. ``stake_value`` sorts, ``stake`` is shown.
    ``stage_order`` sorts by gate. ``rail`` has one mark for each gate.
    """

    number: str
    name: str
    href: str
    fits: str
    family: str
    gate: str
    stage_order: int
    state: str
    mark: Mark
    rail: tuple[Mark, ...]
    rail_words: str
    engineer: str
    safety: str
    age: str
    age_days: int
    stake: str
    stake_value: float
    next: str
    facets: tuple[tuple[str, ...], ...]
    texts: tuple[str, ...]
    stake_mark: RangeMark | None = None


@dataclass(frozen=True)
class PartsPage:
    """Every part. Template ``parts.html``. ``fields`` name the search fields, used to say what matched
    (``name``, ``fits``, ``supplier``).

    ``index_href`` is where the result of :func:`render_parts_index` is written; ``unit`` is the currency of the
    column *at stake*.
    """

    head: PageHead
    rows: tuple[PartRow, ...]
    facets: tuple[Facet, ...]
    fields: tuple[str, ...]
    unit: str
    index_href: str
    csv_href: str
    empty: str


def render_parts_index(page: PartsPage) -> str:
    """Write the data file of the list of parts: one statement, ``window.partsIndex = {...};``.

    Format (version 1): ``fields`` names of the search fields; ``facets`` ``[{key, label, plural, values}]``
    with values sorted; ``rows`` in
    the order of the table, each ``[texts, facet value indexes, sort keys]`` where the sort keys are number,
    name, stage, age in days and money at stake.
    The text is plain ASCII with ``<`` escaped, so that it is harmless wherever it is put.

    >>> head = PageHead("Parts", "parts/index.html")
    >>> page = PartsPage(head, (), (), ("number",), "USD", "data/parts.js", "", "none")
    >>> render_parts_index(page)
    'window.partsIndex = {"version":1,"fields":["number"],"facets":[],"rows":[]};\\n'
    """
    values = [sorted({value for row in page.rows for value in row.facets[i]}) for i in range(len(page.facets))]
    places = [{value: at for at, value in enumerate(column)} for column in values]
    tree = {
        "version": 1,
        "fields": list(page.fields),
        "facets": [
            {"key": facet.key, "label": facet.label, "plural": facet.plural, "values": column}
            for facet, column in zip(page.facets, values, strict=True)
        ],
        "rows": [_index_row(row, places) for row in page.rows],
    }
    text = json.dumps(tree, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return f"window.partsIndex = {text.replace('<', chr(92) + 'u003c')};\n"


def _index_row(row: PartRow, places: list[dict[str, int]]) -> list[object]:
    chosen = [sorted(place[value] for value in set(mine)) for place, mine in zip(places, row.facets, strict=True)]
    return [list(row.texts), chosen, [row.number, row.name, row.stage_order, row.age_days, row.stake_value]]
