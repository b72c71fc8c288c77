"""The buyer's list: which quotes run out soon, which have run out, which can no longer be ordered on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pipeline.gates.quoted import find_chosen
from pipeline.lineage.freshness import Cause
from pipeline.model.part import Quote
from pipeline.model.words import ToolStep
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.quotes import NO_VALIDITY
from pipeline.views.addresses import CALENDAR, find_part_page
from pipeline.views.money_words import build_row, build_table, say
from pipeline.views.reasons import word_features
from pipeline.views.shapes_marks import Column, Run, Tone
from pipeline.views.shapes_site import Section
from pipeline.views.states import name_supplier
from pipeline.views.wording import word_count, word_day

NOTHING = "No quote runs out soon, and none that is open was made on an old revision."


@dataclass(frozen=True)
class BuyerLine:
    """One quote that needs the buyer: days left (negative once it has run out, None without a last day), and why."""

    number: str
    name: str
    key: str
    supplier: str
    days: int | None
    valid_to: str
    why: str
    chosen: bool


def find_buyer_lines(portfolio: Portfolio, days: int | None = None) -> tuple[BuyerLine, ...]:
    """Return the quotes that need the buyer, the soonest first; those without a last day come last.

    Quotes of parts that are released, dropped or whose tools are all on order are done with, and so is a supplier's
    older quote once there is a newer one.

    days : how far to look ahead; the shop's own (`quote_warning_days`), if None.
    """
    lines = [line for file in portfolio.parts.values() for line in _find_lines(file, days)]
    return tuple(sorted(lines, key=lambda one: (one.days is None, one.days or 0, one.number, one.key)))


def is_buying_over(file: PartFile) -> bool:
    """True when no quote of a part can matter any more."""
    tools = [tool for tool in file.part.tools.values() if tool.state in (None, ToolStep.QUOTED)]
    return file.standing.released or file.standing.is_dropped or (bool(file.part.tools) and not tools)


def _find_lines(file: PartFile, days: int | None) -> Iterator[BuyerLine]:
    if is_buying_over(file):
        return
    ahead = file.workspace.catalogues.shop.quote_warning_days if days is None else days
    for key in find_open_quotes(file):
        quote = file.part.quotes[key]
        left = None if quote.valid_to is None else (quote.valid_to - file.workspace.today).days
        found = file.lineage.reasons.get(f"quotes.{key}", ())
        reasons = [reason for reason in found if reason.cause is not Cause.EXPIRED]
        was_used = left is not None and left < 0 and len(reasons) == len(found)  # ordered on before it ran out
        is_ending = left is None or (left <= ahead and not was_used)
        if is_ending or reasons:
            why = [NO_VALIDITY if left is None else _word_days(left)] if is_ending else []
            why += [word_features(file, reasons[0].words)] if reasons else []
            supplier = name_supplier(file.workspace.catalogues, quote.from_)
            chosen = key == find_chosen(file.part)
            yield BuyerLine(
                file.number, file.part.name, key, supplier, left, word_day(quote.valid_to), "; ".join(why), chosen
            )


def find_open_quotes(file: PartFile) -> tuple[str, ...]:
    """Return each supplier's newest quote."""
    newest: dict[str, str] = {}
    ordered: Sequence[tuple[str, Quote]] = sorted(file.part.quotes.items(), key=lambda item: (item[1].on, item[0]))
    for key, quote in ordered:
        newest[quote.from_] = key
    return tuple(key for key in file.part.quotes if key in newest.values())


def _word_days(left: int) -> str:
    if left < 0:
        return f"ran out {word_count(-left, 'day')} ago"
    return "runs out today" if left == 0 else f"runs out in {word_count(left, 'day')}"


def build_buyer_section(portfolio: Portfolio, days: int | None = None) -> Section:
    """Make the buyer's list as a section of a page."""
    ahead = days
    if ahead is None:
        ahead = 30 if portfolio.workspace is None else portfolio.workspace.catalogues.shop.quote_warning_days
    columns = (
        Column("part", whole=True),
        Column("name"),
        Column("quote"),
        Column("from"),
        Column("valid to", whole=True),
        Column("days left", "", True),
        Column("why"),
    )
    rows = [
        build_row(
            (
                (Run(one.number, href=find_part_page(one.number, "quotes")),),
                one.name,
                one.key + (", chosen" if one.chosen else ""),
                one.supplier,
                one.valid_to,
                "–" if one.days is None else str(one.days).replace("-", "−"),
                (Run(one.why, Tone.FLAG),),
            )
        )
        for one in find_buyer_lines(portfolio, days)
    ]
    table = replace(build_table("Quotes that need the buyer", columns, rows, NOTHING, "buying/quotes.csv"), folds=True)
    words = f"Quotes that run out within {word_count(ahead, 'day')}, have run out, "
    words += "or no longer stand for the model as it is."
    intro = (*say(words), Run(" "), Run("The same days as a calendar", href=CALENDAR), Run("."))
    return Section("buyer", "Quotes that need the buyer", word_count(len(rows), "quote"), intro, (), (table,))


def build_buyer_json(portfolio: Portfolio, days: int | None = None) -> list[dict[str, Any]]:
    """Return the buyer's list for a program."""
    return [
        {
            "part": one.number,
            "quote": one.key,
            "supplier": one.supplier,
            "days": one.days,
            "why": one.why,
            "chosen": one.chosen,
        }
        for one in find_buyer_lines(portfolio, days)
    ]
