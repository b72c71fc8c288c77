"""The register of suppliers: open offers, promised against actual, changes and what they cost, tools that lie there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal

from pipeline.lineage.freshness import Cause
from pipeline.model.catalogue import Supplier
from pipeline.model.part import Quote
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.tool_orders import ToolChange, ToolOrder
from pipeline.views.addresses import (
    BUYING,
    REGISTERS,
    SUPPLIERS,
    TOOLS,
    find_part_page,
    find_supplier,
    name_supplier_anchor,
)
from pipeline.views.buyer import BuyerLine, find_buyer_lines, find_open_quotes, is_buying_over
from pipeline.views.money_words import build_row, word_weeks, word_whole
from pipeline.views.part_offers import name_tool_kind
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import PageHead, Section, SectionsPage, Tally
from pipeline.views.tool_register import OWNERS, RegisteredTool, list_tools
from pipeline.views.wording import MINUS, word_count, word_day, word_list, word_money, word_number, word_share

NO_SUPPLIER = "No supplier is on record. Write who quotes, cuts, plates or tests into shared/suppliers.yaml."
NOTHING_YET = "Nothing on record with them yet: no open offer, no tool, no change."


@dataclass(frozen=True)
class OpenOffer:
    """An offer that can still be ordered on, and what the buyer should know of it (None: nothing)."""

    file: PartFile
    key: str
    line: BuyerLine | None

    @property
    def quote(self) -> Quote:
        """The offer as recorded."""
        return self.file.part.quotes[self.key]


@dataclass(frozen=True)
class SupplierEntry:
    """All that is on record with one supplier. tools : what it makes, once ordered. there : tools that lie there."""

    key: str
    name: str
    entry: Supplier | None
    offers: tuple[OpenOffer, ...]
    tools: tuple[RegisteredTool, ...]
    there: tuple[RegisteredTool, ...]

    @property
    def orders(self) -> tuple[ToolOrder, ...]:
        """Its orders."""
        return tuple(one.order for one in self.tools)

    @property
    def changes(self) -> tuple[tuple[ToolOrder, ToolChange], ...]:
        """The changes of its tools, oldest first."""
        found = [(order, change) for order in self.orders for change in order.changes]
        return tuple(sorted(found, key=lambda pair: (pair[1].change.on, pair[1].number, pair[1].key)))

    @property
    def is_bare(self) -> bool:
        """True when nothing is on record with it."""
        return not (self.offers or self.tools or self.there)


def list_suppliers(portfolio: Portfolio) -> tuple[SupplierEntry, ...]:
    """Return every supplier of the catalogue, and those that only records name, by name."""
    if portfolio.workspace is None:
        return ()
    known = portfolio.workspace.catalogues.suppliers.suppliers
    offers = _find_offers(portfolio)
    made: dict[str, list[RegisteredTool]] = {}
    there: dict[str, list[RegisteredTool]] = {}
    names = {name: key for key, one in known.items() for name in (key.casefold(), one.name.casefold())}
    for one in list_tools(portfolio):
        if one.is_made and one.order.maker is not None:
            made.setdefault(one.order.maker, []).append(one)
        place = None if one.tool.place is None else names.get(one.tool.place.casefold())
        if place is not None:
            there.setdefault(place, []).append(one)
    keys = dict.fromkeys((*known, *offers, *made))
    entries = (
        SupplierEntry(
            key,
            known[key].name if key in known else key,
            known.get(key),
            tuple(offers.get(key, ())),
            tuple(made.get(key, ())),
            tuple(there.get(key, ())),
        )
        for key in keys
    )
    return tuple(sorted(entries, key=lambda one: (one.name.casefold(), one.key)))


def _find_offers(portfolio: Portfolio) -> dict[str, list[OpenOffer]]:
    lines = {(line.number, line.key): line for line in find_buyer_lines(portfolio)}
    found: dict[str, list[OpenOffer]] = {}
    for number, file in sorted(portfolio.parts.items()):
        for key in () if is_buying_over(file) else find_open_quotes(file):
            offer = OpenOffer(file, key, lines.get((number, key)))
            found.setdefault(file.part.quotes[key].from_, []).append(offer)
    return found


def build_supplier_register(portfolio: Portfolio) -> SectionsPage:
    """Make the page: all suppliers side by side, then each with its tables."""
    head = PageHead(
        "Suppliers",
        SUPPLIERS,
        "Open offers, promised against actual, what changes cost, and tools that lie there.",
        "registers",
        (Link("Registers", REGISTERS),),
    )
    entries = list_suppliers(portfolio)
    if portfolio.workspace is None or not entries:
        return SectionsPage(head, build_line(NO_SUPPLIER), ())
    currency = portfolio.workspace.catalogues.money.currency
    busy = [one for one in entries if not one.is_bare]
    sections = (_build_overview(entries, currency), *(_build_section(one, currency) for one in busy))
    intro = build_line("Offers that run out stand soonest first under ", Run("Buying", href=f"{BUYING}#buyer"), ".")
    return SectionsPage(head, intro, sections, _build_tallies(busy))


def _build_tallies(busy: list[SupplierEntry]) -> tuple[Tally, ...]:
    offers = [offer for one in busy for offer in one.offers]
    late = sum(order.is_late for one in busy for order in one.orders)
    flagged = sum(offer.line is not None for offer in offers)
    return (
        Tally(str(len(offers)), "open offer" if len(offers) == 1 else "open offers", f"{SUPPLIERS}#overview"),
        Tally(str(flagged), "of them need the buyer", f"{BUYING}#buyer", Mark.STALE),
        Tally(str(late), "tool is late" if late == 1 else "tools are late", f"{TOOLS}#loud", Mark.PLANNED),
    )


# --- side by side ---------------------------------------------------------------------------------


def _build_overview(entries: tuple[SupplierEntry, ...], currency: str) -> Section:
    columns = (
        Column("supplier", sort=True),
        Column("does"),
        Column("open offers", number=True, sort=True),
        Column("next to run out", number=True, sort=True),
        Column("tools made", "accepted of ordered", True, True),
        Column("over the promise", "weeks a tool", True, True),
        Column("over the offer", currency, True, True),
        Column("changes", number=True, sort=True),
        Column("they cost", currency, True, True),
        Column("tools there", number=True, sort=True),
    )
    rows = tuple(_build_overview_row(one) for one in entries)
    table = Table("Suppliers side by side", columns, rows, NO_SUPPLIER, "data/suppliers.csv", folds=True)
    return Section(
        "overview", "Side by side", word_count(len(rows), "supplier"), (), (), (table,), (), _explain(entries)
    )


def _build_overview_row(one: SupplierEntry) -> Row:
    name = Run(one.name, href="" if one.is_bare else find_supplier(one.key))
    does = word_list(one.entry.does, 3) if one.entry is not None and one.entry.does else "–"
    costs = [change.actual for _, change in one.changes if change.actual is not None]
    accepted = sum(order.accepted is not None for order in one.orders)
    row = build_row(
        (
            (name, *(() if one.entry is not None else (Run(" not in the catalogue", Tone.FLAG),))),
            does.replace("-", " "),
            str(len(one.offers)) if one.offers else "–",
            _say_next_end(one.offers),
            f"{accepted} of {len(one.orders)}" if one.orders else "–",
            word_over(compute_weeks_over(one.orders)),
            word_over_money(compute_money_over(one.orders)),
            str(len(one.changes)) if one.changes else "–",
            word_whole(sum(costs, Decimal(0))) if costs else "–",
            str(len(one.there)) if one.there else "–",
        )
    )
    return replace(row, anchor=name_supplier_anchor(one.key)) if one.is_bare else row


def _say_next_end(offers: tuple[OpenOffer, ...]) -> Line:
    days = [(offer.quote.valid_to, offer) for offer in offers if offer.quote.valid_to is not None]
    if not days:
        return build_line("none states a day" if offers else "–")
    day, offer = min(days, key=lambda pair: (pair[0], pair[1].file.number))
    return (Run(word_day(day), Tone.PLAIN if offer.line is None else Tone.FLAG),)


def compute_weeks_over(orders: Iterable[ToolOrder]) -> float | None:
    """Return the mean of weeks beyond the promise, over tools accepted or late; None where there is none.

    >>> compute_weeks_over([]) is None
    True
    """
    over = [order.weeks_over for order in orders if order.weeks_over is not None]
    return sum(over) / len(over) if over else None


def compute_money_over(orders: Iterable[ToolOrder]) -> Decimal | None:
    """Return what tools cost beyond their offers, changes included; None where no tool has both figures."""
    over = [one.cost - one.quoted for one in orders if one.cost is not None and one.quoted is not None]
    return sum(over, Decimal(0)) if over else None


def word_over(weeks: float | None) -> str:
    """Return weeks beyond a promise with their sign.

    >>> word_over(4.04), word_over(-1.5), word_over(None)
    ('+4.0', '−1.5', '–')
    """
    return "–" if weeks is None else word_number(weeks, 1, signed=True)


def word_over_money(amount: Decimal | None) -> str:
    """Return money beyond an offer with its sign; as agreed where there is no difference."""
    if amount is None:
        return "–"
    whole = word_whole(amount)
    return "0" if whole == "0" else whole if whole.startswith(MINUS) else f"+{whole}"


def _explain(entries: tuple[SupplierEntry, ...]) -> Working:
    counted = sum(order.weeks_over is not None for one in entries for order in one.orders)
    return Working(
        (
            "weeks of a tool = (accepted − ordered) / 7; of one that is not accepted, (today − ordered) / 7 once late",
            "over the promise = mean of (weeks − weeks promised)",
            "over the offer = sum of (price on record + what its changes cost − price offered)",
        ),
        (WorkingInput("tools counted for weeks", str(counted), build_line("accepted, or late today")),),
        "common practice, no source",
        "The promise is that of the offer which names the tool and stood on the day of the order; else that of the "
        "tool's record; else the supplier's usual. A change may be our own doing: a figure here blames nobody.",
    )


# --- one supplier ---------------------------------------------------------------------------------


def _build_section(one: SupplierEntry, currency: str) -> Section:
    made = (
        (_build_offers, one.offers, "open offer"),
        (_build_promises, one.orders, "tool ordered"),
        (_build_changes, one.changes, "change"),
        (_build_there, one.there, "tool there"),
    )
    tables = tuple(build(one, currency) for build, found, _ in made if found)
    counts = [word_count(len(found), *_PLURALS[word]) for _, found, word in made if found]
    return Section(
        name_supplier_anchor(one.key), one.name, ", ".join(counts), _say_supplier(one), (), tables, fold=True
    )


_PLURALS = {
    "open offer": ("open offer", "open offers"),
    "tool ordered": ("tool ordered", "tools ordered"),
    "change": ("change", "changes"),
    "tool there": ("tool there", "tools there"),
}


def _say_supplier(one: SupplierEntry) -> Line:
    if one.entry is None:
        return (Run("Not in shared/suppliers.yaml: records name it by this id.", Tone.FLAG),)
    facts = [
        f"does {word_list(one.entry.does, 8).replace('-', ' ')}" if one.entry.does else "",
        one.entry.country or "",
        f"usually promises {word_weeks(one.entry.promised_weeks)} weeks" if one.entry.promised_weeks else "",
        f"accredited: {one.entry.accredited}" if one.entry.accredited else "",
    ]
    words = "; ".join(fact for fact in facts if fact)
    return build_line(f"{words[:1].upper()}{words[1:]}.") if words else ()


def _find_csv(one: SupplierEntry, what: str) -> str:
    return f"data/supplier-{one.key}-{what}.csv"


def _build_offers(one: SupplierEntry, currency: str) -> Table:
    del currency
    columns = (
        Column("part"),
        Column("offer"),
        Column("on revision"),
        Column("dated", number=True),
        Column("valid to", number=True),
        Column("days left", number=True),
        Column("tools", "as offered", True),
        Column("weeks", number=True),
        Column("what to know"),
    )
    ordered = sorted(
        one.offers, key=lambda offer: (offer.quote.valid_to is None, offer.quote.valid_to, offer.file.number)
    )
    rows = tuple(_build_offer_row(offer) for offer in ordered)
    return Table(f"Open offers of {one.name}", columns, rows, NOTHING_YET, _find_csv(one, "offers"), folds=True)


def _build_offer_row(offer: OpenOffer) -> Row:
    file, quote, line = offer.file, offer.quote, offer.line
    reasons = file.lineage.reasons.get(f"quotes.{offer.key}", ())
    left = None if quote.valid_to is None else (quote.valid_to - file.workspace.today).days
    gone = any(reason.cause is not Cause.EXPIRED for reason in reasons) or (line is not None and (left or 0) < 0)
    stands = "stands" if left is None or left >= 0 else "ordered on before it ran out"
    current = file.lineage.current
    tools = word_money(sum(quote.tools.values()), quote.money) if quote.tools else "–"
    texts: tuple[Line, ...] = (
        (Run(file.number, href=find_part_page(file.number, "quotes")), Run(f" {file.part.name}", Tone.SOFT)),
        build_line(offer.key),
        build_line(quote.of if quote.of == current else f"{quote.of} (now {current or '–'})"),
        build_line(word_day(quote.on)),
        build_line(word_day(quote.valid_to)),
        build_line("–" if left is None else word_number(left, 0)),
        build_line(tools),
        build_line(word_weeks(quote.weeks)),
        build_line(stands) if line is None else (Run(line.why, Tone.FLAG),),
    )
    return Row((Cell(texts[0], Mark.STALE if gone else Mark.IN_HAND), *map(Cell, texts[1:])))


def _build_promises(one: SupplierEntry, currency: str) -> Table:
    columns = (
        Column("tool"),
        Column("kind"),
        Column("ordered", number=True),
        Column("promised", "weeks", True),
        Column("taken", "weeks", True),
        Column("over", "weeks", True),
        Column("accepted", number=True),
        Column("offered", currency, True),
        Column("on record", currency, True),
        Column("changes", currency, True),
        Column("over the offer", currency, True),
        Column("promised in"),
    )
    rows = tuple(_build_promise_row(tool) for tool in one.tools)
    return Table(
        f"Promised against actual, {one.name}", columns, rows, NOTHING_YET, _find_csv(one, "promises"), folds=True
    )


def _build_promise_row(one: RegisteredTool) -> Row:
    order = one.order
    over = None if order.cost is None or order.quoted is None else order.cost - order.quoted
    open_changes = sum(change.actual is None for change in order.changes)
    changes = word_whole(order.changes_cost) if order.changes_cost else "–" if not open_changes else ""
    changes += f"{' + ' if changes else ''}{open_changes} open" if open_changes else ""
    late = Tone.FLAG if (order.weeks_over or 0.0) > 0 else Tone.PLAIN
    running = "" if order.accepted is not None else " so far"
    return build_row(
        (
            (_link_tool(one),),
            name_tool_kind(one.file, one.tool),
            word_day(order.ordered),
            word_weeks(order.promised_weeks),
            ("–" if order.weeks is None else word_number(order.weeks, 1)) + running,
            (Run(word_over(order.weeks_over), late),),
            word_day(order.accepted) if order.accepted is not None else str(one.tool.state),
            "–" if order.quoted is None else word_whole(order.quoted),
            "–" if order.price is None else word_whole(order.price),
            changes,
            (Run(word_over_money(over), Tone.FLAG if over is not None and over > 0 else Tone.PLAIN),),
            order.promised_in or "nowhere",
        )
    )


def _link_tool(one: RegisteredTool) -> Run:
    return Run(f"{one.file.number} {one.key}", href=find_part_page(one.file.number, "tools"))


def _build_changes(one: SupplierEntry, currency: str) -> Table:
    columns = (
        Column("change"),
        Column("on", number=True),
        Column("tool"),
        Column("what"),
        Column("found at"),
        Column("predicted", currency, True),
        Column("actual", currency, True),
        Column("of the prediction", number=True),
        Column("weeks", number=True),
    )
    rows = [_build_change_row(order, change) for order, change in one.changes]
    costs = [change.actual for _, change in one.changes if change.actual is not None]
    if len(costs) > 1:
        total = ("all", "", "", "", "", "", word_whole(sum(costs, Decimal(0))), "", "")
        rows.append(build_row(total, strong=True))
    return Table(
        f"Changes of its tools, {one.name}", columns, tuple(rows), NOTHING_YET, _find_csv(one, "changes"), folds=True
    )


def _build_change_row(order: ToolOrder, one: ToolChange) -> Row:
    change = one.change
    share = None if not one.predicted or one.actual is None else float(one.actual / one.predicted)
    return build_row(
        (
            (Run(f"{one.number} {one.key}", href=find_part_page(one.number, "changes")),),
            word_day(change.on),
            order.key if order.number == one.number else f"{order.number} {order.key}",
            change.what,
            str(change.found_at),
            "–" if one.predicted is None else word_whole(one.predicted),
            (Run("no cost yet", Tone.FLAG),) if one.actual is None else word_whole(one.actual),
            "–" if share is None else word_share(round(share, 2)),
            word_weeks(change.weeks),
        )
    )


def _build_there(one: SupplierEntry, currency: str) -> Table:
    columns = (
        Column("tool"),
        Column("kind"),
        Column("state"),
        Column("whose"),
        Column("shots", "made of life", True),
        Column("price on record", currency, True),
    )
    rows = tuple(_build_there_row(tool) for tool in one.there)
    return Table(f"Tools that lie at {one.name}", columns, rows, NOTHING_YET, _find_csv(one, "tools"), folds=True)


def _build_there_row(one: RegisteredTool) -> Row:
    shots = "–" if one.tool.shots is None else f"{one.tool.shots:,}"
    return build_row(
        (
            (_link_tool(one),),
            name_tool_kind(one.file, one.tool),
            "on hold" if one.hold is not None else "not quoted" if one.tool.state is None else one.tool.state.value,
            OWNERS[one.tool.owner],
            shots if one.life is None else f"{shots} of {one.life:,}",
            "–" if one.order.price is None else word_whole(one.order.price),
        )
    )
