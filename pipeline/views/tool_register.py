"""The register of tools: where each lies, whose it is, what it was made to fit, and whether that still stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from pipeline.gates.standing import HoldCall
from pipeline.model.part import Tool
from pipeline.model.words import ToolOwner, ToolStep
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.tool_orders import ToolOrder, compute_tool_orders, find_users
from pipeline.views.addresses import REGISTERS, TOOLS, Anchors, find_part_page
from pipeline.views.money_words import word_whole
from pipeline.views.part_offers import name_tool_kind
from pipeline.views.reasons import build_reason_line
from pipeline.views.shapes_marks import Cell, Column, Line, Link, Mark, Row, Run, Table, Tone, build_line
from pipeline.views.shapes_site import PageHead, Section, SectionsPage, Tally
from pipeline.views.states import find_tool_mark, link_supplier, name_supplier
from pipeline.views.wording import word_count, word_day, word_list, word_money, word_number

OWNERS = {
    ToolOwner.US: "ours",
    ToolOwner.SUPPLIER: "the supplier's",
    ToolOwner.SHARED: "shared",
    ToolOwner.NOT_STATED: "not stated",
}
NEARLY_WORN = 0.9
"""Share of its life from which a tool is worth a word (common practice, no source)."""
NO_TOOL = "No tool is on record. Write them in a record under tools: with what they form, who makes and owns them."
NOTHING = "No tool is on hold, late, worn or made to a revision that was superseded."
COMPLETE = "Of every tool that is ordered the owner is stated, of every accepted one the place."
LOUD_COLUMNS = (Column("tool"), Column("part"), Column("what"), Column("why"), Column("made by"))


@dataclass(frozen=True)
class RegisteredTool:
    """One tool of the register. hold : the hold call on it, of the record that keeps it or of one that uses it."""

    file: PartFile
    key: str
    tool: Tool
    order: ToolOrder
    hold: HoldCall | None
    users: tuple[str, ...]

    @property
    def is_made(self) -> bool:
        """True from the order on: money is spent on it."""
        return self.tool.state not in (None, ToolStep.QUOTED)

    @property
    def is_superseded(self) -> bool:
        """True when what it was made to no longer stands."""
        return not self.file.lineage.is_fresh(f"tools.{self.key}")

    @property
    def life(self) -> int | None:
        """Shots that it is good for: as recorded, else the usual of its kind."""
        kind = self.file.workspace.catalogues.tool_kinds.kinds.get(self.tool.kind)
        return self.tool.life_shots or (None if kind is None or not kind.wears else kind.life_shots)


def list_tools(portfolio: Portfolio) -> tuple[RegisteredTool, ...]:
    """Return every tool, by the number of its part, each part's in the order of its record."""
    holds = {
        call.tool if "/" in call.tool else f"{file.number}/{call.tool}": call
        for file in portfolio.parts.values()
        for call in file.standing.hold_calls
    }
    return tuple(
        RegisteredTool(
            file,
            order.key,
            file.part.tools[order.key],
            order,
            holds.get(f"{number}/{order.key}"),
            find_users(file.shop).get((number, order.key), ()),
        )
        for number, file in sorted(portfolio.parts.items())
        for order in compute_tool_orders(file)
    )


def build_tool_register(portfolio: Portfolio) -> SectionsPage:
    """Make the page: what needs somebody first, then every tool."""
    summary = "Every tool: whose it is, where it lies, what it was made to, and whether that still stands."
    head = PageHead("Tools", TOOLS, summary, "registers", (Link("Registers", REGISTERS),))
    tools = list_tools(portfolio)
    if not tools:
        return SectionsPage(head, build_line(NO_TOOL), ())
    sections = (_build_loud(tools), _build_lacking(tools), _build_all(tools))
    return SectionsPage(head, (), sections, _build_tallies(tools))


def _build_tallies(tools: tuple[RegisteredTool, ...]) -> tuple[Tally, ...]:
    counts = (
        (sum(one.hold is not None for one in tools), "on hold", "on hold", "loud", Mark.STALE),
        (sum(one.is_made and one.is_superseded for one in tools), "made to what was superseded",
         "made to what was superseded", "loud", Mark.STALE),
        (sum(one.order.is_late for one in tools), "late", "late", "loud", Mark.PLANNED),
        (sum(one.tool.state is ToolStep.ACCEPTED for one in tools), "accepted", "accepted", "all", Mark.PROVEN),
        (len(tools), "tool", "tools", "all", None),
    )  # fmt: skip
    return tuple(Tally(str(n), one if n == 1 else many, f"{TOOLS}#{at}", mark) for n, one, many, at, mark in counts)


# --- what needs somebody --------------------------------------------------------------------------


def _find_loud(one: RegisteredTool) -> Iterator[tuple[str, Line]]:
    """Yield why a tool needs somebody, the loudest first: a word for it, and the reason."""
    if one.hold is not None:
        maker = name_supplier(one.file.workspace.catalogues, one.order.maker) if one.order.maker else "the toolmaker"
        planned = one.hold.cut_planned
        when = "" if planned is None else f", to be cut {word_day(planned)}"
        yield "on hold", build_line(Run(f"ask {maker} to wait{when}: ", Tone.FLAG), *_say_superseded(one))
    elif one.is_made and one.is_superseded:
        yield "superseded", _say_superseded(one)
    order = one.order
    if order.is_late and order.due is not None:
        over = word_number(order.weeks_over or 0.0, 1)
        yield "late", build_line(f"promised for {word_day(order.due)} in {order.promised_in}, {over} weeks over")
    life, shots = one.life, one.tool.shots
    if life is not None and shots is not None and shots >= NEARLY_WORN * life:
        yield "worn", build_line(f"{shots:,} shots made of {life:,}: plan its refurbishment or a new one")


def _find_lacking(one: RegisteredTool) -> Iterator[tuple[str, Line]]:
    """Yield what should be on record of a tool and is not."""
    if one.is_made and one.tool.owner is ToolOwner.NOT_STATED:
        yield (
            "owner not stated",
            build_line("it is ordered: write owner: once the supplier has confirmed whose it is"),
        )
    if one.tool.state is ToolStep.ACCEPTED and one.tool.place is None:
        yield "no place", build_line("it is accepted: write place: with where it lies and is insured")


def _say_superseded(one: RegisteredTool) -> Line:
    reasons = one.file.lineage.reasons.get(f"tools.{one.key}", ())
    if reasons:
        return build_reason_line(one.file, reasons[0].words)
    return build_line(one.hold.words if one.hold is not None else "")


def _build_loud(tools: tuple[RegisteredTool, ...]) -> Section:
    loud = [(one, reasons) for one in tools if (reasons := tuple(_find_loud(one)))]
    ordered = sorted(loud, key=lambda pair: _rank_loud(pair[1][0][0]))
    rows = tuple(_build_loud_row(one, reasons) for one, reasons in ordered)
    table = Table(
        "Tools that need somebody", LOUD_COLUMNS, rows, NOTHING, "data/tools-loud.csv" if rows else "", folds=True
    )
    return Section("loud", "Tools that need somebody", word_count(len(loud), "tool"), (), (), (table,))


def _build_lacking(tools: tuple[RegisteredTool, ...]) -> Section:
    rows = tuple(_build_loud_row(one, reasons) for one in tools if (reasons := tuple(_find_lacking(one))))
    table = Table(
        "Place or owner not on record",
        LOUD_COLUMNS,
        rows,
        COMPLETE,
        "data/tools-lacking.csv" if rows else "",
        folds=True,
    )
    count = word_count(len(rows), "tool")
    return Section("lacking", "Place or owner not on record", count, (), (), (table,), fold=bool(rows))


def _build_loud_row(one: RegisteredTool, reasons: tuple[tuple[str, Line], ...]) -> Row:
    what: list[Run] = []
    why: list[Run] = []
    for word, line in reasons:
        what += [*([Run(", ")] if what else []), Run(word, Tone.FLAG if _rank_loud(word) < 3 else Tone.PLAIN)]
        why += [*([Run("; ")] if why else []), *line]
    mark = Mark.STALE if _rank_loud(reasons[0][0]) < 2 else find_tool_mark(one.tool)
    name = build_line(one.file.part.name)
    return Row((Cell((_link_tool(one),), mark), Cell(name), *map(Cell, (tuple(what), tuple(why), (_link_maker(one),)))))


def _rank_loud(what: str) -> int:
    return {"on hold": 0, "superseded": 1, "late": 2, "worn": 3}.get(what, 4)


# --- every tool -----------------------------------------------------------------------------------


def _build_all(tools: tuple[RegisteredTool, ...]) -> Section:
    currency = tools[0].file.workspace.catalogues.money.currency
    columns = (
        Column("tool", sort=True),
        Column("kind", sort=True),
        Column("forms or checks"),
        Column("state", sort=True),
        Column("whose", sort=True),
        Column("lies at", sort=True),
        Column("shots", "made of life", True, True),
        Column("price", currency, True, True),
        Column("ordered", number=True, sort=True),
        Column("due", number=True, sort=True),
        Column("accepted", number=True, sort=True),
        Column("made to fit", sort=True),
    )
    rows = tuple(_build_row(one, currency) for one in tools)
    table = Table("Every tool", columns, rows, NO_TOOL, "data/tools.csv", filter_by=(1, 3, 4, 5), folds=True)
    note = "Shots in grey: the usual life of the kind. Due: the day of the order and the weeks that were promised."
    return Section("all", "Every tool", word_count(len(rows), "tool"), (), (), (table,), build_line(note))


def _build_row(one: RegisteredTool, currency: str) -> Row:
    tool, order = one.tool, one.order
    mark = Mark.STALE if one.hold is not None or one.is_superseded else find_tool_mark(tool)
    state: Line = (Run("on hold", Tone.FLAG),) if one.hold is not None else (Run(_word_state(tool)),)
    due = (Run(word_day(order.due), Tone.FLAG if order.is_late else Tone.PLAIN),)
    return Row(
        (
            Cell((_link_tool(one), *_say_users(one)), mark),
            Cell(build_line(name_tool_kind(one.file, tool))),
            Cell(build_line(_word_purpose(one))),
            Cell(state),
            Cell((Run(OWNERS[tool.owner], Tone.FLAG if _is_owner_lacking(one) else Tone.PLAIN),)),
            Cell(_say_place(one)),
            Cell(_say_shots(one)),
            Cell(build_line(_word_price(one, currency))),
            Cell(build_line(word_day(order.ordered))),
            Cell(due),
            Cell(build_line(word_day(order.accepted))),
            Cell(_say_revision(one)),
        )
    )


def _word_state(tool: Tool) -> str:
    return "not quoted" if tool.state is None else tool.state.value


def _is_owner_lacking(one: RegisteredTool) -> bool:
    return one.is_made and one.tool.owner is ToolOwner.NOT_STATED


def _link_tool(one: RegisteredTool) -> Run:
    anchor = Anchors(one.file.part, one.file.lineage.nodes).find(f"tools.{one.key}")
    return Run(f"{one.file.number} {one.key}", href=find_part_page(one.file.number, anchor))


def _link_maker(one: RegisteredTool) -> Run:
    link = link_supplier(one.file.workspace.catalogues, one.order.maker)
    return Run(link.text, href=link.href)


def _say_users(one: RegisteredTool) -> Line:
    if not one.users:
        return ()
    runs = [Run(", used by ", Tone.SOFT)]
    for at, number in enumerate(one.users):
        runs += [*([Run(", ", Tone.SOFT)] if at else []), Run(number, href=find_part_page(number, "tools"))]
    return tuple(runs)


def _word_purpose(one: RegisteredTool) -> str:
    tool, features = one.tool, one.file.part.features
    pieces = [
        f"{word} {word_list([features[key].what if key in features else key for key in keys], 2)}"
        for word, keys in (("forms", tool.forms), ("checks", tool.checks))
        if keys
    ]
    if tool.made_to_fit:
        pieces.append(f"follows {word_list(tool.made_to_fit, 3)}")
    return "; ".join(pieces) or "the whole part"


def _say_place(one: RegisteredTool) -> Line:
    if one.tool.place is not None:
        return build_line(one.tool.place)
    if one.tool.state is ToolStep.ACCEPTED:
        return (Run("not on record", Tone.FLAG),)
    return (Run("being made: "), _link_maker(one)) if one.is_made else build_line("–")


def _say_shots(one: RegisteredTool) -> Line:
    life, shots = one.life, one.tool.shots
    if life is None:
        return build_line("–" if shots is None else f"{shots:,}")
    made = "–" if shots is None else f"{shots:,}"
    worn = shots is not None and shots >= NEARLY_WORN * life
    tone = Tone.FLAG if worn else Tone.PLAIN if one.tool.life_shots else Tone.SOFT
    return (Run(f"{made} of ", Tone.FLAG if worn else Tone.PLAIN), Run(f"{life:,}", tone))


def _word_price(one: RegisteredTool, currency: str) -> str:
    price: Decimal | None = one.order.price
    stated = one.tool.price
    if stated is None:
        return "–"
    if price is None:
        return f"no rate: {word_money(stated.amount, stated.currency)}"
    return word_whole(price) + (
        "" if stated.currency == currency else f" ({word_money(stated.amount, stated.currency)})"
    )


def _say_revision(one: RegisteredTool) -> Line:
    """Return the revision that a tool was made to, and whether what it covers is still so."""
    base, current = one.file.lineage.nodes[f"tools.{one.key}"].base, one.file.lineage.current
    if base is None:
        return build_line("no model yet")
    if one.is_superseded:
        return (Run(f"{base}, superseded", Tone.FLAG), Run(f" (now {current})" if base != current else ""))
    if base == current:
        return build_line(f"{base}, current")
    return build_line(f"{base}, untouched by {current}")
