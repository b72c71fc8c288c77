"""Every page and every data file of an outer edition, from what is let out and from nothing else."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.portfolio.outer_part import OuterCatalogue
from pipeline.views.csv_tables import render_table_csv, render_vehicle_csv
from pipeline.views.feed_text import render_feed
from pipeline.views.outer_addresses import (
    FEED,
    HOME,
    MARKS,
    NOT_FOUND,
    PARTS,
    PARTS_CSV,
    PARTS_DATA,
    PARTS_JSON,
    PARTS_SCHEMA,
    VEHICLES,
    find_part_page,
)
from pipeline.views.outer_data import build_outer_data, build_outer_schema
from pipeline.views.outer_feed import build_outer_feed
from pipeline.views.outer_home import build_home_page
from pipeline.views.outer_part_page import build_part_page
from pipeline.views.outer_parts import build_parts_page, render_outer_csv, render_outer_index
from pipeline.views.outer_shapes import OuterMarksPage, OuterMissingPage
from pipeline.views.outer_vehicles import build_vehicles_page
from pipeline.views.shapes_marks import Mark
from pipeline.views.shapes_site import MarkMeaning, NavItem, PageHead, Site
from pipeline.views.table_files import file_tables, find_page_tables
from pipeline.views.wording import word_day

_NAV = (
    NavItem("home", "First page", HOME),
    NavItem("parts", "Parts", PARTS),
    NavItem("vehicles", "Vehicles", VEHICLES),
)
# Line kinds are named after ISO 128-2 (basic conventions for lines); what a line means here is our own.
_MARKS = (
    MarkMeaning(Mark.PROVEN, "To be had now; of a step or a trial: done.", "continuous thick line"),
    MarkMeaning(Mark.IN_HAND, "Being done now.", "continuous thin line"),
    MarkMeaning(Mark.PLANNED, "Coming: not for sale yet.", "long-dashed dotted line (chain line)"),
    MarkMeaning(
        Mark.MISSING, "Not there yet: a step to come, a body not tried, years without a part.", "dashed thin line"
    ),
    MarkMeaning(Mark.HELD, "On hold.", "continuous thin line with zigzag (break line)"),
    MarkMeaning(Mark.NOT_NEEDED, "Not for this body, or nothing is wanted here.", "short rule"),
)


@dataclass(frozen=True)
class OuterSite:
    """An outer site before it is rendered: address -> (template, view), and the text of each data file by address."""

    pages: dict[str, tuple[str, Any]]
    data: dict[str, str]


def build_outer_facts(
    catalogue: OuterCatalogue, written: Sequence[NavItem] = (), logo_href: str = "", styles: tuple[str, ...] = ()
) -> Site:
    """Make the facts of the whole site. written : hand-written pages of the head line that this edition lets out."""
    shop = catalogue.shop
    return Site(
        maker=shop.maker,
        edition=shop.edition,
        as_of=word_day(shop.today),
        commit="",
        nav=(*_NAV, *written),
        home_href=HOME,
        parts_href=PARTS,
        marks_href=MARKS,
        note=shop.note,
        logo_href=logo_href,
        styles=styles,
        feed_href=FEED,
    )


def build_outer_site(catalogue: OuterCatalogue) -> OuterSite:
    """Make the views of every page and the text of every data file."""
    parts, vehicles = build_parts_page(catalogue), build_vehicles_page(catalogue)
    pages: dict[str, tuple[str, Any]] = {
        HOME: ("outer_home.html", build_home_page(catalogue)),
        PARTS: ("outer_parts.html", parts),
        VEHICLES: ("outer_vehicles.html", vehicles),
        MARKS: ("outer_marks.html", OuterMarksPage(PageHead("What the lines mean", MARKS), _MARKS)),
        NOT_FOUND: ("outer_404.html", OuterMissingPage(PageHead("Not here", NOT_FOUND))),
    }
    for part in catalogue.parts:
        pages[find_part_page(part.number)] = ("outer_part.html", build_part_page(catalogue, part))
    data = {
        PARTS_DATA: render_outer_index(parts),
        PARTS_CSV: render_outer_csv(parts),
        PARTS_JSON: _render_json(build_outer_data(catalogue)),
        PARTS_SCHEMA: _render_json(build_outer_schema()),
        FEED: render_feed(build_outer_feed(catalogue)),
    }
    data |= {one.matrix.csv_href: render_vehicle_csv(one.matrix) for one in vehicles.vehicles}
    pages = {at: (name, file_tables(view, at.removesuffix(".html"))) for at, (name, view) in pages.items()}
    tables = [table for _, view in pages.values() for table in find_page_tables(view)]
    data |= {table.csv_href: render_table_csv(table) for table in tables if table.csv_href}
    return OuterSite(pages, data)


def _render_json(tree: Any) -> str:
    return json.dumps(tree, ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"
