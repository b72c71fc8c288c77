"""The way to all registers: what each holds, how much of it, and what in it needs somebody."""

from __future__ import annotations

from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import BUYING, REGISTERS, RESOURCES, SUPPLIERS, TOOLS, VEHICLES
from pipeline.views.buyer import find_buyer_lines
from pipeline.views.money_words import build_row
from pipeline.views.shapes_marks import Column, Line, Mark, Run, Table, Tone, build_line
from pipeline.views.shapes_site import PageHead, Section, SectionsPage
from pipeline.views.wording import word_count

BROKEN = "Nothing can be shown until the catalogues in shared/ are mended; the review names what is wrong with them."


def build_registers_page(portfolio: Portfolio, pages: tuple[SectionsPage, ...]) -> SectionsPage:
    """Make the page. pages : the registers of suppliers, resources and tools, whose counts are shown."""
    head = PageHead("Registers", REGISTERS, "Who supplies, what is waited for, which tools there are.", "registers")
    if portfolio.workspace is None:
        return SectionsPage(head, build_line(BROKEN), ())
    by_address = {page.head.href: page for page in pages}
    cars = len(portfolio.workspace.catalogues.vehicles.vehicles)
    rows = (
        (_link("Suppliers", SUPPLIERS), _count(by_address, SUPPLIERS),
         "open offers, promised against actual, changes and what they cost, tools there"),
        (_link("Resources", RESOURCES), _count(by_address, RESOURCES),
         "what waits for the arm, the printer, the vehicles, the plater, the engineers"),
        (_link("Tools", TOOLS), _count(by_address, TOOLS),
         "every tool: whose, where, shots, state, made to which revision"),
        (_link("Buying", BUYING), _say_buying(len(find_buyer_lines(portfolio))),
         "offers that run out or were made to an old revision, soonest first"),
        (_link("Vehicles", VEHICLES), build_line(word_count(cars, "vehicle")),
         "which parts fit which vehicle, body and year; where the holes are"),
    )  # fmt: skip
    columns = (Column("register"), Column("now"), Column("what it answers"))
    table = Table("Registers", columns, tuple(build_row(row) for row in rows), BROKEN)
    return SectionsPage(head, (), (Section("registers", "All registers", "", (), (), (table,)),))


def _link(name: str, address: str) -> Line:
    return (Run(name, href=address),)


def _say_buying(count: int) -> Line:
    words = "no offer needs the buyer" if count == 0 else f"{count} need the buyer"
    return (Run(words, Tone.FLAG if count else Tone.PLAIN, f"{BUYING}#buyer"),)


def _count(pages: dict[str, SectionsPage], address: str) -> Line:
    """Return the tallies of a register in one line, each as a link to what is behind it."""
    runs: list[Run] = []
    for tally in pages[address].tallies if address in pages else ():
        tone = Tone.FLAG if tally.mark is Mark.STALE and tally.count != "0" else Tone.PLAIN
        runs += [*([Run(", ")] if runs else []), Run(f"{tally.count} {tally.words}", tone, tally.href)]
    return tuple(runs) or build_line("nothing on record")
