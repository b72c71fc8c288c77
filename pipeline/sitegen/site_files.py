"""Every file of the site: pages from views, tables, data, and copies of evidence."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jinja2

from pipeline.findings.catalogue import RULES
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.reliance import Reliance, take_notes
from pipeline.portfolio.spending import plan_spending
from pipeline.sitegen.evidence_copies import Copy, find_copies
from pipeline.sitegen.rendering import render_page
from pipeline.sitegen.spend_data import write_points
from pipeline.views import addresses
from pipeline.views.calendar_text import render_calendar
from pipeline.views.csv_part_tables import (
    list_part_tables,
    render_findings_csv,
    render_releases_csv,
    render_rules_csv,
)
from pipeline.views.csv_tables import (
    render_evidence_csv,
    render_features_csv,
    render_home_csv,
    render_parts_csv,
    render_review_csv,
    render_table_csv,
    render_vehicle_csv,
    render_years_csv,
)
from pipeline.views.due_days import build_calendars
from pipeline.views.feed import build_feed
from pipeline.views.feed_text import render_feed
from pipeline.views.flow import build_flow_page
from pipeline.views.home_page import build_home_page
from pipeline.views.marks_page import build_legend
from pipeline.views.method_pages import build_method_index, build_method_pages
from pipeline.views.part_page import build_part_page
from pipeline.views.part_sheets import (
    build_buying_page,
    build_measured_page,
    build_money_page,
    find_measured_page,
    find_money_page,
    has_measured_page,
    has_release_sheet,
)
from pipeline.views.parts_page import build_parts_page
from pipeline.views.portfolio_data import build_portfolio_data, build_portfolio_schema
from pipeline.views.quote_sheet import build_quote_sheet, find_quote_sheet
from pipeline.views.registers_page import build_registers_page
from pipeline.views.release_sheet import build_release_sheet, find_release_sheet
from pipeline.views.resource_register import build_resource_register
from pipeline.views.review_page import build_review_page
from pipeline.views.rules_pages import build_rule_page, build_rules_page
from pipeline.views.shapes_part import PartPage
from pipeline.views.shapes_parts import PartsPage, render_parts_index
from pipeline.views.shapes_site import HomePage, ReviewPage, RulePage, RulesPage, VehiclesPage
from pipeline.views.shapes_spend import SpendPage
from pipeline.views.spend import build_spend_page
from pipeline.views.supplier_register import build_supplier_register
from pipeline.views.table_files import file_tables, find_page_tables
from pipeline.views.tool_register import build_tool_register
from pipeline.views.traveller import TravellerSheet, build_traveller, find_traveller, has_traveller
from pipeline.views.vehicles_page import build_vehicles_page

NOT_FOUND = "404.html"


@dataclass(frozen=True)
class PartViews:
    """The views of one part's pages, its copies of evidence, and what was looked at while they were made."""

    pages: Mapping[str, tuple[str, Any]]
    copies: tuple[Copy, ...]
    relied: frozenset[Reliance]


def build_part_views(file: PartFile, root: Path, site: str) -> PartViews:
    """Make the view of every page of one part, and note what they rely on."""
    with take_notes(aside=True) as relied:
        found = find_copies(root, file)
        view = build_part_page(file, found.published, found.picture)
        pages = {
            addresses.find_part_page(file.number): ("part.html", view),
            **_build_sheets(file, site, found.published),
        }
        pages = _file_all(pages)
    return PartViews(pages, found.copies, frozenset(relied))


def build_shop_views(portfolio: Portfolio, root: Path) -> dict[str, tuple[str, Any]]:
    """Make the view of every page that is of no single part."""
    spend = build_spend_page(plan_spending(portfolio, root))
    pages: dict[str, tuple[str, Any]] = {
        addresses.HOME: ("home.html", build_home_page(portfolio)),
        addresses.REVIEW: ("review.html", build_review_page(portfolio)),
        addresses.PARTS: ("parts.html", build_parts_page(portfolio)),
        addresses.FLOW: ("sections.html", build_flow_page(portfolio)),
        addresses.BUYING: ("sections.html", build_buying_page(portfolio)),
        addresses.VEHICLES: ("vehicles.html", build_vehicles_page(portfolio)),
        addresses.SPEND: ("spend.html", spend),
        addresses.SPEND_DATA: ("spend_data.html", spend),
        addresses.RULES: ("rules.html", build_rules_page(portfolio)),
        addresses.METHODS: ("sections.html", build_method_index(portfolio)),
        addresses.MARKS: ("marks.html", build_legend()),
        NOT_FOUND: ("404.html", None),
    }
    pages |= {addresses.find_rule_page(rule.id): ("rule.html", build_rule_page(portfolio, rule)) for rule in RULES}
    pages |= {page.head.href: ("method.html", page) for page in build_method_pages(portfolio)}
    pages |= _build_registers(portfolio)
    return _file_all(pages)


def _file_all(pages: Mapping[str, tuple[str, Any]]) -> dict[str, tuple[str, Any]]:
    """Give every table of pages an address beside its page, where it has none of its own."""
    return {at: (name, file_tables(view, at.removesuffix(".html"))) for at, (name, view) in pages.items()}


def _build_registers(portfolio: Portfolio) -> dict[str, tuple[str, Any]]:
    """Make the registers and the page that leads to them."""
    made = (build_supplier_register(portfolio), build_resource_register(portfolio), build_tool_register(portfolio))
    return {page.head.href: ("sections.html", page) for page in (build_registers_page(portfolio, made), *made)}


def _build_sheets(file: PartFile, site: str, copies: Mapping[str, str]) -> dict[str, tuple[str, Any]]:
    """Make the pages that go with a part's page, where there is something to show on them."""
    number = file.number
    pages: dict[str, tuple[str, Any]] = {find_money_page(number): ("sections.html", build_money_page(file))}
    if has_measured_page(file):
        pages[find_measured_page(number)] = ("sections.html", build_measured_page(file, copies))
    if has_traveller(file):
        pages[find_traveller(number)] = ("traveller.html", build_traveller(file, site))
    if has_release_sheet(file):
        pages[find_release_sheet(number)] = ("release.html", build_release_sheet(file))
    if file.part.quotes:
        pages[find_quote_sheet(number)] = ("quotes.html", build_quote_sheet(file))
    return pages


def render_pages(pages: Mapping[str, tuple[str, Any]], environment: jinja2.Environment) -> dict[str, str]:
    """Render pages: address -> (template, view)."""
    texts = {at: render_page(environment, template, view, at) for at, (template, view) in pages.items()}
    if addresses.SPEND_DATA in texts:
        texts[addresses.SPEND_DATA] = write_points(pages[addresses.SPEND_DATA][1], texts[addresses.SPEND_DATA])
    return texts


def build_data_files(portfolio: Portfolio, made_at: int = 0, site: str = "") -> dict[str, str]:
    """Return the data of the site: the portfolio as JSON and its schema, the feed of gate events, calendars of days.

    made_at : seconds since 1970 of the records' last commit. site : address where the site is served, if it is known.
    """
    files: dict[str, str] = {
        addresses.PORTFOLIO: _render_json(build_portfolio_data(portfolio)),
        addresses.PORTFOLIO_SCHEMA: _render_json(build_portfolio_schema()),
    }
    feed = build_feed(portfolio)
    if feed is not None:
        files[feed.href] = render_feed(feed, site)
    files |= {one.href: render_calendar(one, made_at, site) for one in build_calendars(portfolio)}
    return files


def find_tables(pages: Mapping[str, tuple[str, Any]]) -> dict[str, str]:
    """Return the tables of pages as CSV, by address."""
    files: dict[str, str] = {}
    for address, (_, view) in pages.items():
        files |= dict(_find_tables(view, address.removesuffix(".html")))
    return files


def _render_json(data: Any) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"


def _find_tables(view: Any, stem: str) -> Iterator[tuple[str, str]]:
    match view:
        case PartsPage():
            yield view.index_href, render_parts_index(view)
            yield view.csv_href, render_parts_csv(view)
        case HomePage() if view.csv_href:
            yield view.csv_href, render_home_csv(view)
        case ReviewPage() if view.csv_href:
            yield view.csv_href, render_review_csv(view)
        case VehiclesPage():
            yield from ((m.csv_href, render_vehicle_csv(m)) for m in view.vehicles if m.csv_href)
            yield from ((m.by_year_csv, render_years_csv(m)) for m in view.vehicles if m.by_year)
        case TravellerSheet():
            yield view.csv_href, view.csv
        case PartPage():
            yield f"{stem}/features.csv", render_features_csv(view.features)
            yield f"{stem}/evidence.csv", render_evidence_csv(view.evidence)
            yield from list_part_tables(view, stem)
        case RulesPage():
            yield f"{stem}.csv", render_rules_csv(view)
        case RulePage() if view.findings:
            yield f"{stem}.csv", render_findings_csv(view.findings)
        case SpendPage() if view.points:
            yield addresses.SPEND_RELEASES, render_releases_csv(view.points)
    yield from ((table.csv_href, render_table_csv(table)) for table in find_page_tables(view) if table.csv_href)
