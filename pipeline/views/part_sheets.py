"""Pages that go with a part's page: measurements in full, and what is bought for the whole shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from urllib.parse import quote

from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import BUYING, PARTS, find_part_page
from pipeline.views.buyer import build_buyer_section
from pipeline.views.calibration import build_calibration_sections
from pipeline.views.case import build_case_sections
from pipeline.views.forming import build_forming_sections
from pipeline.views.loop import build_advice_section
from pipeline.views.measurements import build_measurement_sections
from pipeline.views.part_costs import build_calibrated_section, build_impact_section
from pipeline.views.quote_sheet import find_quote_sheet
from pipeline.views.quotes import build_quote_sections
from pipeline.views.release_sheet import find_release_sheet
from pipeline.views.shapes_marks import Link, Run, Table, build_line
from pipeline.views.shapes_site import PageHead, Section, SectionsPage
from pipeline.views.stacks import build_stack_sections
from pipeline.views.traveller import find_traveller, has_traveller


def find_measured_page(number: str) -> str:
    """Return the address of a part's measurements in full.

    >>> find_measured_page("TW-101")
    'measured/TW-101.html'
    """
    return f"measured/{quote(number)}.html"


def has_measured_page(file: PartFile) -> bool:
    """True when something was measured, or the record says how the part is drawn or what it must show."""
    part = file.part
    is_drawn = any(operation.draws is not None for operation in part.route)
    return bool(part.measurements or part.gauge_studies or part.sample_runs or part.sight_lines or is_drawn)


def has_release_sheet(file: PartFile) -> bool:
    """True when tooling money may have to be signed for: there are tools or offers, and the part is not dropped."""
    return bool(file.part.tools or file.part.quotes) and not file.standing.is_dropped


def list_sheets(file: PartFile) -> tuple[Link, ...]:
    """Return the links from a part's page to the pages that go with it."""
    number = file.number
    links = [Link("Money in full", find_money_page(number))]
    if has_measured_page(file):
        links.insert(0, Link("Measurements in full", find_measured_page(number)))
    if has_traveller(file):
        links.append(Link("Traveller to print", find_traveller(number)))
    if has_release_sheet(file):
        links.append(Link("Tooling release sheet", find_release_sheet(number)))
    if file.part.quotes:
        links.append(Link("Quotes to print", find_quote_sheet(number)))
    return tuple(links)


def build_measured_page(file: PartFile, copies: Mapping[str, str] | None = None) -> SectionsPage:
    """Make the page of a part's measurements: readings, uncertainty, fits, nominals and stacks with their working.

    copies : address in the site of each file that it has a copy of, by the record's own path.
    """
    number, name = file.number, file.part.name
    head = PageHead(
        f"{number} measurements",
        find_measured_page(number),
        f"{name}: what was measured, how sure it is, and what the stacks make of it.",
        "parts",
        (Link("Parts", PARTS), Link(f"{number} {name}", find_part_page(number))),
    )
    sections = (*build_measurement_sections(file, copies), *build_forming_sections(file), *build_stack_sections(file))
    return SectionsPage(head, build_line("Every figure opens to its formula, its inputs and its source."), sections)


def find_money_page(number: str) -> str:
    """Return the address of a part's money in full.

    >>> find_money_page("TW-101")
    'money/TW-101.html'
    """
    return f"money/{quote(number)}.html"


def build_money_page(file: PartFile) -> SectionsPage:
    """Make the page of a part's money: when it goes out, what the part is worth, and what that turns on."""
    number, name = file.number, file.part.name
    head = PageHead(
        f"{number} money",
        find_money_page(number),
        f"{name}: when money goes out, what the part is worth, and what that turns on.",
        "parts",
        (Link("Parts", PARTS), Link(f"{number} {name}", find_part_page(number))),
    )
    costs = [one for one in (build_calibrated_section(file), build_impact_section(file)) if one is not None]
    cash = build_quote_sections(file)
    sections = (
        build_advice_section(file),
        *costs,
        *(replace(section, tables=_leave_out(section.tables, cash)) for section in build_case_sections(file)),
        *cash,
    )
    return SectionsPage(head, (), tuple(replace(section, fold=False) for section in sections))


def _leave_out(tables: tuple[Table, ...], shown: tuple[Section, ...]) -> tuple[Table, ...]:
    """Return the tables that no other section of the page shows."""
    captions = {table.caption for section in shown for table in section.tables}
    return tuple(table for table in tables if table.caption not in captions)


def build_money_summary(file: PartFile) -> tuple[Section, ...]:
    """Make the short form of a part's money for its own page: does a loop pay, is it worth its tooling."""
    advice = build_advice_section(file)
    impact = build_impact_section(file)
    found = [(advice, "What else would buy more, and what the answer turns on")]
    if impact is not None:
        found.append((impact, "What follows a change to each feature, in which order, in how many weeks, at what cost"))
    found += [(one, "What it turns on, and when money goes out") for one in build_case_sections(file)]
    return tuple(_shorten(file, section, words) for section, words in found)


def _shorten(file: PartFile, section: Section, words: str) -> Section:
    link = Run(words, href=f"{find_money_page(file.number)}#{section.anchor}")
    return replace(section, figures=(), tables=(), after=build_line(link, "."), working=None)


def build_buying_page(portfolio: Portfolio) -> SectionsPage:
    """Make the buyer's page: what runs out, and how well changes were foreseen."""
    head = PageHead("Buying", BUYING, "Offers that run out, and what changes really cost.", "buying")
    sections = (build_buyer_section(portfolio), *build_calibration_sections(portfolio))
    return SectionsPage(head, (), sections)
