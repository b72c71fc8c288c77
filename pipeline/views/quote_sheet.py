"""The quotes of one part on a page of their own, to print and take into a talk with the suppliers."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote as quote_address

from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import PARTS, find_part_page
from pipeline.views.part_head import build_title_block
from pipeline.views.quotes import build_quote_comparison, build_quote_sections
from pipeline.views.shapes_marks import Link
from pipeline.views.shapes_part import QuoteComparison, TitleBlock
from pipeline.views.shapes_site import PageHead, Section


@dataclass(frozen=True)
class QuoteSheet:
    """The printable comparison. Template ``quotes.html`` takes it."""

    head: PageHead
    block: TitleBlock
    comparison: QuoteComparison
    sections: tuple[Section, ...]
    back: Link


def find_quote_sheet(number: str) -> str:
    """Return the address of a part's printable comparison of quotes.

    >>> find_quote_sheet("TW-101")
    'quotes/TW-101.html'
    """
    return f"quotes/{quote_address(number)}.html"


def build_quote_sheet(file: PartFile) -> QuoteSheet:
    """Make the printable comparison of a part's quotes."""
    number = file.number
    trail = (Link("Parts", PARTS), Link(number, find_part_page(number)))
    summary = f"Quotes for {file.part.name}, side by side on one footing"
    return QuoteSheet(
        head=PageHead(f"Quotes {number}", find_quote_sheet(number), summary, "parts", trail),
        block=build_title_block(file),
        comparison=build_quote_comparison(file),
        sections=build_quote_sections(file),
        back=Link(f"The page of {number}", find_part_page(number)),
    )
