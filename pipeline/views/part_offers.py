"""Quotes side by side as stated in the record, and the tools: what they form, cost, and where they stand."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.gates.quoted import find_chosen, find_unstated
from pipeline.lineage.freshness import Cause
from pipeline.model.part import Part, Quote, Tool
from pipeline.model.words import ToolOwner, ToolStep
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_part_page
from pipeline.views.shapes_marks import Cell, Column, Line, Mark, Row, Run, Table, Tone, build_line
from pipeline.views.shapes_part import QuoteColumn, QuoteComparison, QuoteGroup, QuoteRow
from pipeline.views.states import find_tool_mark, link_supplier, name_supplier
from pipeline.views.wording import word_count, word_day, word_list, word_money, word_number, word_share

NOT_STATED = "not stated"
NO_QUOTE = (
    "No quote is recorded. The buyer writes one under quotes: with its revision and the day to which it is valid."
)
NO_TOOL = "No tool is recorded. A quote names them; write them under tools: with what they form and their price."


def build_quotes(file: PartFile) -> QuoteComparison:
    """Make the comparison of quotes: only what the offers state; the same line for all, silence said as such."""
    quotes = file.part.quotes
    if not quotes:
        return QuoteComparison((), (), (), NO_QUOTE)
    columns = tuple(_build_column(file, key, quote) for key, quote in quotes.items())
    groups = (
        QuoteGroup("Offer", tuple(_build_rows(file, _OFFER))),
        QuoteGroup("Money", (*_build_rows(file, _MONEY), *_build_price_breaks(file))),
        QuoteGroup("What is in it", tuple(_build_rows(file, _SCOPE))),
    )
    return QuoteComparison(columns, groups, _build_summary(file), NO_QUOTE)


def _build_column(file: PartFile, key: str, quote: Quote) -> QuoteColumn:
    reasons = file.lineage.reasons.get(f"quotes.{key}", ())
    is_best = find_chosen(file.part) == key
    link = link_supplier(file.workspace.catalogues, quote.from_)
    if any(reason.cause is Cause.EXPIRED for reason in reasons):
        return QuoteColumn(key, link, f"ran out on {word_day(quote.valid_to)}", Mark.STALE, is_best)
    if reasons:
        return QuoteColumn(key, link, f"stale: made on revision {quote.of}", Mark.STALE, is_best)
    days = "" if quote.valid_to is None else f"{word_count((quote.valid_to - file.workspace.today).days, 'day')} left"
    state = "chosen" if is_best else days or "no end stated"
    if is_best and quote.valid_to is not None and quote.valid_to >= file.workspace.today:
        state = f"chosen, {days}"
    return QuoteColumn(key, link, state, Mark.PROVEN if is_best else Mark.IN_HAND, is_best)


def _build_summary(file: PartFile) -> Line:
    """Say which offer is chosen and what the others leave out."""
    chosen = find_chosen(file.part)
    runs = [Run(f"{chosen} is chosen. " if chosen else "No offer is chosen yet. ", Tone.STRONG)]
    for key, quote in file.part.quotes.items():
        missing = [name.replace("_", " ") for name in find_unstated(file.part, quote)]
        if missing:
            runs.append(Run(f"{key} does not state {word_list(missing)}. "))
    runs.append(
        Run("Prices are as offered: other terms, lives and currencies stand beside them and are not evened out here.")
    )
    return tuple(runs)


Write = Callable[[PartFile, Quote], str]


def _stated(value: float | int | None, unit: str = "") -> str:
    if value is None:
        return NOT_STATED
    return word_number(float(value)) + (f" {unit}" if unit else "")


def _yes(value: bool | None) -> str:
    return NOT_STATED if value is None else "yes" if value else "no"


def _word_tools_price(_: PartFile, quote: Quote) -> str:
    return word_money(round(sum(quote.tools.values()), 2), quote.money) if quote.tools else NOT_STATED


def _word_payments(_: PartFile, quote: Quote) -> str:
    return "; ".join(f"{word_share(p.share)} at {p.at}" for p in quote.pay) or NOT_STATED


def _word_refurbish(_: PartFile, quote: Quote) -> str:
    if quote.refurbish is None:
        return NOT_STATED
    return f"{word_money(quote.refurbish.cost, quote.money)} every {quote.refurbish.every:,} shots"


def _word_ours(amount: float | None, file: PartFile) -> str:
    return NOT_STATED if amount is None else word_money(amount, file.workspace.catalogues.money.currency)


def _word_duty(value: float | None) -> str:
    return NOT_STATED if value is None else word_share(value)


_OFFER: tuple[tuple[str, str, bool, Write], ...] = (
    ("for revision", "", False, lambda _, q: q.of),
    ("offered on", "", False, lambda _, q: word_day(q.on)),
    ("valid to", "", False, lambda _, q: NOT_STATED if q.valid_to is None else word_day(q.valid_to)),
    ("lead time", "weeks", True, lambda _, q: _stated(q.weeks)),
    ("least order", "pieces", True, lambda _, q: _stated(q.least_order)),
    ("yield", "", True, lambda _, q: NOT_STATED if q.yield_ is None else word_share(q.yield_)),
)
_MONEY: tuple[tuple[str, str, bool, Write], ...] = (
    ("all tools", "", True, _word_tools_price),
    ("paid", "", False, _word_payments),
    ("samples", "", True, lambda _, q: NOT_STATED if q.samples is None else word_money(q.samples, q.money)),
    ("freight", "a piece", True, lambda f, q: _word_ours(q.freight, f)),
    ("duty on pieces", "", True, lambda _, q: _word_duty(q.duty)),
    ("duty on tools", "", True, lambda _, q: _word_duty(q.tool_duty)),
    ("outside operations", "a piece", True, lambda f, q: _word_ours(q.secondary, f)),
)
_SCOPE: tuple[tuple[str, str, bool, Write], ...] = (
    ("tools", "", False, lambda _, q: ", ".join(q.tools) or NOT_STATED),
    ("life of the tools", "shots", True, lambda _, q: _stated(q.life_shots)),
    ("refurbishment", "", False, _word_refurbish),
    (
        "tool belongs to",
        "",
        False,
        lambda _, q: NOT_STATED if q.owns_tool is ToolOwner.NOT_STATED else str(q.owns_tool),
    ),
    ("stored and insured", "", False, lambda _, q: _yes(q.storage)),
    ("tool drawings handed over", "", False, lambda _, q: _yes(q.drawings)),
    ("tool released against payment", "", False, lambda _, q: _yes(q.releases_tool)),
    ("left out on purpose", "", False, lambda _, q: ", ".join(q.not_wanted) or "nothing"),
)


def _build_rows(file: PartFile, lines: tuple[tuple[str, str, bool, Write], ...]) -> list[QuoteRow]:
    quotes = file.part.quotes.values()
    return [
        QuoteRow(label, unit, tuple(write(file, q) for q in quotes), number) for label, unit, number, write in lines
    ]


def _build_price_breaks(file: PartFile) -> list[QuoteRow]:
    """One line for each order quantity that any offer names."""
    quotes = list(file.part.quotes.values())
    quantities = sorted({int(quantity) for quote in quotes for quantity in quote.piece})
    return [
        QuoteRow(
            f"piece, {quantity:,} at a time",
            "",
            tuple(word_money(q.piece[str(quantity)], q.money) if str(quantity) in q.piece else "–" for q in quotes),
        )
        for quantity in quantities
    ]


# --- tools ----------------------------------------------------------------------------------------


def build_tools(file: PartFile, anchors: Anchors, csv_href: str) -> Table:
    """Make the table of tools, those shared with another record at its end."""
    columns = (
        Column("tool"),
        Column("kind"),
        Column("forms, checks or fits"),
        Column("price", "as quoted", True),
        Column("life", "shots", True),
        Column("stands"),
        Column("cut to", "revision"),
        Column("made by, kept at"),
    )
    own = [_build_tool_row(file, anchors, key, tool) for key, tool in file.part.tools.items()]
    shared = [row for use in file.part.uses_tools if (row := _build_shared_row(file, use)) is not None]
    rows = (*own, *shared)
    return Table("Tools", columns, rows, NO_TOOL, csv_href if rows else "", folds=True)


def _build_tool_row(file: PartFile, anchors: Anchors, key: str, tool: Tool) -> Row:
    node = file.lineage.nodes[f"tools.{key}"]
    is_stale = not file.lineage.is_fresh(node.id)
    mark = Mark.STALE if is_stale else find_tool_mark(tool)
    stands = word_tool_state(tool) + ("; stale" if is_stale else "")
    return Row(
        (
            Cell(build_line(key), mark),
            Cell(build_line(name_tool_kind(file, tool))),
            Cell(_build_purpose(file, anchors, tool)),
            Cell(build_line("–" if tool.price is None else word_money(tool.price.amount, tool.price.currency))),
            Cell(build_line("–" if tool.life_shots is None else f"{tool.life_shots:,}")),
            Cell(build_line(stands)),
            Cell(build_line(node.base or "–")),
            Cell(build_line(_word_place(file, tool))),
        ),
        anchors.find(node.id),
    )


def name_tool_kind(file: PartFile, tool: Tool) -> str:
    """Return the kind of a tool in words."""
    kind = file.workspace.catalogues.tool_kinds.kinds.get(tool.kind)
    return tool.kind if kind is None else kind.name.lower()


def word_tool_state(tool: Tool) -> str:
    """Return the last state a tool reached and when, and the day on which cutting is planned."""
    if tool.state is None:
        return "not quoted"
    words = f"{tool.state} {word_day(tool.steps[tool.state])}"
    if tool.cut_planned is not None and ToolStep.CUTTING not in tool.steps:
        words += f", to be cut {word_day(tool.cut_planned)}"
    return words


def _build_purpose(file: PartFile, anchors: Anchors, tool: Tool) -> Line:
    """Return what a tool forms and checks, and which tools' parts it must fit."""
    features = file.part.features
    runs: list[Run] = []
    for word, keys in (("forms", tool.forms), ("checks", tool.checks)):
        if keys:
            names = word_list([features[key].what if key in features else key for key in keys], 6)
            runs.append(Run(f"{'; ' if runs else ''}{word} {names}"))
    for at, other in enumerate(tool.made_to_fit):
        runs.append(Run(("; " if runs else "") + "made to fit " if at == 0 else ", "))
        node = other.replace("/", "/tools.") if "/" in other else f"tools.{other}"
        runs.append(Run(other, href=anchors.link(node)))
    return tuple(runs) or build_line("everything")


def _word_place(file: PartFile, tool: Tool) -> str:
    maker = name_supplier(file.workspace.catalogues, tool.by) if tool.by else ""
    owner = "" if tool.owner is ToolOwner.NOT_STATED else f"owned by {tool.owner}"
    return ", ".join(dict.fromkeys(one for one in (maker, tool.place or "", owner) if one)) or "–"


def _build_shared_row(file: PartFile, use: str) -> Row | None:
    number, key = use.split("/")
    other: Part | None = file.workspace.parts.get(number)
    tool = None if other is None else other.tools.get(key)
    if tool is None:
        return None
    where = (Run("kept in the record of "), Run(number, href=find_part_page(number, "tools")))
    return Row(
        (
            Cell(build_line(key), find_tool_mark(tool)),
            Cell(build_line(name_tool_kind(file, tool))),
            Cell(where),
            Cell(build_line("–" if tool.price is None else word_money(tool.price.amount, tool.price.currency))),
            Cell(build_line("–" if tool.life_shots is None else f"{tool.life_shots:,}")),
            Cell(build_line(word_tool_state(tool))),
            Cell(build_line("–")),
            Cell(build_line(_word_place(file, tool))),
        )
    )
