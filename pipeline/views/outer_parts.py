"""The list of the parts that are let out, and the data file that lets the page filter, sort and search it."""

from __future__ import annotations

import json
from collections.abc import Iterable

from pipeline.portfolio.outer_part import OuterCatalogue, OuterPart, OuterState
from pipeline.views.csv_tables import render_csv
from pipeline.views.outer_addresses import (
    PARTS,
    PARTS_CSV,
    PARTS_DATA,
    PARTS_JSON,
    PARTS_SCHEMA,
    find_part_page,
)
from pipeline.views.outer_shapes import OuterPartsPage, OuterRow
from pipeline.views.outer_words import STATE_MARKS, list_numbers, word_fits, word_price, word_quarter, word_state
from pipeline.views.shapes_parts import Facet
from pipeline.views.shapes_site import PageHead
from pipeline.views.wording import word_count, word_money

SORTS = ("number", "name", "state", "expected", "price")
"""The words that stand in the address for what the list is sorted by, in the order of the sort keys."""

_LAST = "9999"


def build_parts_page(catalogue: OuterCatalogue) -> OuterPartsPage:
    """Make the list of all parts of an edition, in the order of their numbers."""
    parts = catalogue.parts
    currencies = {part.price.currency for part in parts if part.price is not None}
    unit = currencies.pop() if len(currencies) == 1 else ""
    facets = _list_facets(parts)
    return OuterPartsPage(
        head=PageHead("Parts", PARTS, f"{word_count(len(parts), 'part')}, for sale or coming.", "parts"),
        rows=tuple(_build_row(part, unit, tuple(v[at] for _, v in facets)) for at, part in enumerate(parts)),
        facets=tuple(facet for facet, _ in facets),
        fields=("number", "name", "fits", "family"),
        has_expected=any(part.expected for part in parts),
        has_price=any(part.price is not None for part in parts),
        unit=unit,
        index_href=PARTS_DATA,
        csv_href=PARTS_CSV,
        json_href=PARTS_JSON,
        schema_href=PARTS_SCHEMA,
        empty="Nothing is announced yet. Come back: parts are listed here once they are.",
    )


def _build_row(part: OuterPart, unit: str, facets: tuple[tuple[str, ...], ...]) -> OuterRow:
    order = list(OuterState).index(part.state)
    price = "" if part.price is None else word_price(part.price)
    if part.price is not None and unit:
        price = word_money(part.price.amount, "").strip()  # the head says the currency, and that it is a plan
    return OuterRow(
        number=part.number,
        name=part.name,
        href=find_part_page(part.number),
        family=part.family,
        fits=word_fits(part.fits),
        mark=STATE_MARKS[part.state],
        state="on hold" if part.state is OuterState.PAUSED else part.state.value,
        expected=word_quarter(part.expected) or ("now" if part.state is OuterState.FOR_SALE else "not known yet"),
        price=price,
        replaces=", ".join(part.replaces),
        facets=facets,
        texts=(" ".join(list_numbers(part)), part.name, word_fits(part.fits), part.family),
        keys=(
            part.number,
            part.name,
            order,
            part.expected or ("0" if part.state is OuterState.FOR_SALE else _LAST),
            -1.0 if part.price is None else float(part.price.amount),
        ),
    )


def _list_facets(parts: tuple[OuterPart, ...]) -> list[tuple[Facet, list[tuple[str, ...]]]]:
    """Return what to filter by with the values of each part; a filter that tells nothing apart is left away."""
    found: list[tuple[Facet, list[tuple[str, ...]]]] = [
        (Facet("vehicle", "vehicle", "all vehicles"), [_unique(fit.vehicle for fit in part.fits) for part in parts]),
        (Facet("body", "body", "all bodies"), [_unique(fit.body for fit in part.fits) for part in parts]),
        (Facet("year", "year", "all years"), [_list_years(part) for part in parts]),
        (Facet("state", "to be had", "all"), [(word_state(part).partition(",")[0],) for part in parts]),
        (Facet("family", "family", "all families"), [(part.family,) if part.family else () for part in parts]),
        (Facet("safety", "safety class", "all safety classes"), [(part.safety.name,) for part in parts]),
    ]
    return [(facet, values) for facet, values in found if any(values)]


def _unique(values: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(values))


def _list_years(part: OuterPart) -> tuple[str, ...]:
    return tuple(map(str, sorted({year for fit in part.fits for year in range(fit.first, fit.last + 1)})))


def render_outer_index(page: OuterPartsPage) -> str:
    """Write the data file of the list: ``window.partsIndex = {...};``, read by the same script as the internal one.

    ``sorts`` are the words that stand in the address for the sort keys. The text is plain ASCII with ``<`` escaped.
    """
    values = [sorted({value for row in page.rows for value in row.facets[i]}) for i in range(len(page.facets))]
    places = [{value: at for at, value in enumerate(column)} for column in values]
    tree = {
        "version": 1,
        "fields": list(page.fields),
        "sorts": list(SORTS),
        "facets": [
            {"key": facet.key, "label": facet.label, "plural": facet.plural, "values": column}
            for facet, column in zip(page.facets, values, strict=True)
        ],
        "rows": [
            [
                list(row.texts),
                [sorted(place[v] for v in mine) for place, mine in zip(places, row.facets, strict=True)],
                list(row.keys),
            ]
            for row in page.rows
        ],
    }
    text = json.dumps(tree, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return f"window.partsIndex = {text.replace('<', chr(92) + 'u003c')};\n"


def render_outer_csv(page: OuterPartsPage) -> str:
    """Return the list as CSV, with the columns that this edition fills."""
    columns = {
        "number": [row.number for row in page.rows],
        "part": [row.name for row in page.rows],
        "family": [row.family for row in page.rows],
        "fits": [row.fits for row in page.rows],
        "replaces": [row.replaces for row in page.rows],
        "to be had": [row.state for row in page.rows],
        "expected": [row.expected if page.has_expected else "" for row in page.rows],
        f"price ({page.unit})" if page.unit else "price": [row.price for row in page.rows],
    }
    kept = {name: cells for name, cells in columns.items() if any(cells) or name in ("number", "part")}
    return render_csv(tuple(kept), zip(*kept.values(), strict=True))
