"""The page of one part, put together in the order in which it is read."""

from __future__ import annotations

from pipeline.model.part import Component
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import PARTS, Anchors, find_part_file, find_part_page
from pipeline.views.findings_lines import build_finding_line
from pipeline.views.flow import build_forecast_sections
from pipeline.views.history import build_history, word_history_note, word_no_history
from pipeline.views.loop import build_errors_section
from pipeline.views.next_steps import describe_place
from pipeline.views.part_costs import build_ladder
from pipeline.views.part_evidence import Published, build_evidence
from pipeline.views.part_features import build_features
from pipeline.views.part_gates import (
    build_actions,
    build_coverage,
    build_gates,
    build_rail,
    build_release_words,
    word_nothing_to_do,
)
from pipeline.views.part_head import build_cautions, build_hold, build_picture, build_title_block
from pipeline.views.part_interfaces import build_interfaces
from pipeline.views.part_lineage import build_lineage
from pipeline.views.part_offers import build_tools
from pipeline.views.part_sheets import build_money_summary, list_sheets
from pipeline.views.quotes import build_quote_comparison
from pipeline.views.shapes_marks import Cell, Column, Line, Link, Mark, Row, Run, Table, build_line
from pipeline.views.shapes_part import PartPage
from pipeline.views.shapes_site import PageHead, Section
from pipeline.views.states import name_supplier
from pipeline.views.wording import word_count, word_day, word_money, word_number, word_share

NO_HISTORY = (
    "The history is not read into this page. Git has it: git log -p -- projects/{number}/part.yaml shows who recorded "
    "what, and when."
)


def build_part_page(file: PartFile, published: Published, picture: str = "") -> PartPage:
    """Make the page of one part.

    published : address in the site of each evidence file that the site has a copy of. picture : address of the picture
    that may be shown; empty for none.
    """
    anchors = Anchors(file.part, file.lineage.nodes)
    ladder, no_ladder = build_ladder(file)
    number, name = file.number, file.part.name
    family = file.workspace.catalogues.families.families[file.part.family].name
    head = PageHead(
        f"{number} {name}",
        find_part_page(number),
        f"{name}, {family}; {describe_place(file)}",
        "parts",
        (Link("Parts", PARTS), Link(family, f"{PARTS}")),
    )
    return PartPage(
        head=head,
        block=build_title_block(file),
        picture=build_picture(file, picture),
        no_picture=_word_no_picture(file, picture),
        hold=build_hold(file),
        cautions=build_cautions(file),
        rail=build_rail(file),
        actions=build_actions(file),
        no_action=word_nothing_to_do(file),
        ladder=ladder,
        no_ladder=no_ladder,
        coverage=build_coverage(file, anchors),
        features=build_features(file, anchors),
        no_features="No feature is recorded. Write one under features: with its nominal and limits.",
        gates=build_gates(file, anchors),
        evidence=build_evidence(file, anchors, published),
        no_evidence="No evidence yet. Measure an original, and write it under originals: and measurements:.",
        lineage=build_lineage(file, anchors),
        interfaces=build_interfaces(file, anchors),
        quotes=build_quote_comparison(file),
        tools=build_tools(file, anchors, find_part_file(number, "tools.csv")),
        further=tuple(section for section in _build_further(file) if section is not None),
        history=build_history(file, anchors),
        no_history=word_no_history(file, NO_HISTORY.format(number=number)),
        history_note=word_history_note(file),
        findings=tuple(build_finding_line(finding) for finding in file.findings),
        record=Link(f"The record: projects/{number}/part.yaml", find_part_file(number, "part.yaml")),
        sheets=list_sheets(file),
    )


def _word_no_picture(file: PartFile, picture: str) -> str:
    if file.part.picture is not None and not picture:
        why = "it is missing, too large or of a kind that a page does not show"
        return f"The picture {file.part.picture} cannot be shown: {why}."
    return "No picture yet. Put one into evidence/ and name it under picture: in the record."


def _build_further(file: PartFile) -> tuple[Section | None, ...]:
    return (
        *build_forecast_sections(file),
        build_errors_section(file),
        *build_money_summary(file),
        _build_assembly(file),
        _build_route(file),
        _build_changes(file),
        _build_business(file),
    )


def _build_assembly(file: PartFile) -> Section | None:
    """Make the table of what an assembly is made of: the slowest child governs."""
    if not file.part.made_of:
        return None
    columns = (
        Column("component"),
        Column("what"),
        Column("count", number=True),
        Column("from"),
        Column("price", "a piece", True),
        Column("weeks", number=True),
    )
    rows = tuple(_build_component_row(file, key, component) for key, component in file.part.made_of.items())
    table = Table("Made of", columns, rows, "No component is recorded.", find_part_file(file.number, "assembly.csv"))
    return Section("assembly", "Made of", "the slowest part governs", (), (), (table,), (), None, True)


def _build_component_row(file: PartFile, key: str, component: Component) -> Row:
    mark, what = _describe_component(file, component)
    suppliers = ", ".join(name_supplier(file.workspace.catalogues, one) for one in component.from_) or "–"
    price = "–" if component.price is None else word_money(component.price.amount, component.price.currency)
    weeks = "–" if component.weeks is None else word_number(component.weeks)
    texts = (str(component.count), suppliers, price, weeks)
    return Row((Cell(build_line(key), mark), Cell(what), *(Cell(build_line(text)) for text in texts)))


def _describe_component(file: PartFile, component: Component) -> tuple[Mark, Line]:
    """Return the mark of a component and what it is; one of ours leads to its page and says where it stands."""
    if component.part is None:
        return (Mark.IN_HAND if component.from_ else Mark.MISSING), build_line(f"bought in: {component.bought}")
    child = file.workspace.parts.get(component.part)
    link = Run(component.part, href=find_part_page(component.part))
    name = "" if child is None else f" {child.name}"
    return Mark.IN_HAND, build_line(link, name)


def _build_route(file: PartFile) -> Section | None:
    """Make the process route: operations in order, inside and outside."""
    if not file.part.route:
        return None
    columns = (Column("operation"), Column("what"), Column("where"), Column("weeks", number=True), Column("tools"))
    rows = []
    for operation in file.part.route:
        place = name_supplier(file.workspace.catalogues, operation.at) if operation.at else "in the shop"
        weeks = (
            "–"
            if operation.weeks is None
            else _word_weeks(operation.weeks.low, operation.weeks.likely, operation.weeks.high)
        )
        texts = (
            operation.op,
            operation.what,
            place + (", outside" if operation.outside else ""),
            weeks,
            ", ".join(operation.uses) or "–",
        )
        rows.append(Row(tuple(Cell(build_line(text)) for text in texts)))
    table = Table(
        "Process route", columns, tuple(rows), "No operation is recorded.", find_part_file(file.number, "route.csv")
    )
    return Section("route", "Process route", word_count(len(rows), "operation"), (), (), (table,), (), None, True)


def _word_weeks(low: float, likely: float, high: float) -> str:
    return word_number(likely) if low == high else f"{word_number(likely)} ({word_number(low)} to {word_number(high)})"


def _build_changes(file: PartFile) -> Section | None:
    """Make the table of engineering changes: where each was found, what it was thought to cost, and what it did."""
    if not file.part.changes:
        return None
    columns = (
        Column("change"),
        Column("on"),
        Column("what"),
        Column("found at"),
        Column("mended in"),
        Column("predicted", number=True),
        Column("actual", number=True),
        Column("weeks", number=True),
    )
    rows = []
    for key, change in file.part.changes.items():
        money = [
            ("–" if one is None else word_money(one.amount, one.currency)) for one in (change.predicted, change.actual)
        ]
        weeks = "–" if change.weeks is None else word_number(change.weeks)
        foretold = "" if change.predicted_weeks is None else f" ({word_number(change.predicted_weeks)} predicted)"
        texts = (
            key,
            word_day(change.on),
            f"{change.what} ({change.mode})",
            str(change.found_at),
            change.fixed_in or "–",
            *money,
            weeks + foretold,
        )
        rows.append(Row(tuple(Cell(build_line(text)) for text in texts)))
    table = Table("Changes", columns, tuple(rows), "No change is recorded.", find_part_file(file.number, "changes.csv"))
    return Section("changes", "Changes so far", word_count(len(rows), "change"), (), (), (table,), (), None, True)


def _build_business(file: PartFile) -> Section | None:
    """Make what is recorded of demand, price, tooling release and older numbers."""
    rows = [*_find_demand_rows(file), *_find_other_rows(file)]
    if not rows:
        return None
    made = tuple(Row((Cell(build_line(name)), Cell(build_line(value)))) for name, value in rows)
    table = Table("On record", (Column("what"), Column("recorded")), made, "Nothing is recorded.")
    return Section("business", "Demand and release", "as recorded", (), (), (table,), (), None, True)


def _find_demand_rows(file: PartFile) -> list[tuple[str, str]]:
    demand = file.part.demand
    if demand is None:
        return []
    units = demand.per_year
    rows = [
        ("pieces a year", f"{word_number(units.likely)} ({word_number(units.low)} to {word_number(units.high)})"),
        ("price", word_money(demand.price.amount, demand.price.currency)),
        (
            "landed cost",
            "not recorded" if demand.cost is None else word_money(demand.cost.amount, demand.cost.currency),
        ),
        ("years counted", str(demand.years)),
        ("share of a full year in the first", word_share(demand.ramp)),
        ("share lost from year to year", word_share(demand.decay)),
    ]
    return rows + [(f"takes sales from {number}", word_share(share)) for number, share in demand.takes_from.items()]


def _find_other_rows(file: PartFile) -> list[tuple[str, str]]:
    rows = []
    release = build_release_words(file)
    if release:
        rows.append(("tooling release", release))
    marking = file.part.marking
    if marking is not None:
        words = ", ".join(one for one in (marking.kind, marking.text, marking.where, marking.rights) if one)
        rows.append(("marking", words))
    rows += [
        (f"replaces {old.number}", f"from {word_day(old.on)}" + (f": {old.why}" if old.why else ""))
        for old in file.part.supersedes
    ]
    stock = file.part.stock
    if stock is not None:
        rows.append(("stock", f"{word_count(stock.pieces, 'piece')} on the shelf, {stock.in_field:,} in the field"))
    return rows
