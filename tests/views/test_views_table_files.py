"""Every table of a page gets a file of its own, and tables with a shape of their own say the same as text."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from pipeline.views.csv_part_tables import (
    list_part_tables,
    render_coverage_csv,
    render_findings_csv,
    render_gates_csv,
    render_history_csv,
    render_lineage_csv,
    render_quotes_csv,
    render_releases_csv,
    render_rules_csv,
    render_stale_csv,
)
from pipeline.views.shapes_lineage import LineageDrawing, LineageEdge, LineageFeature, LineageNode
from pipeline.views.shapes_marks import Cell, Column, Commit, FindingLine, Link, Mark, Row, Table, build_line
from pipeline.views.shapes_part import (
    CoverageMatrix,
    CoverageRow,
    GateDetail,
    HistoryLine,
    QuoteColumn,
    QuoteComparison,
    QuoteGroup,
    QuoteRow,
    RequirementLine,
)
from pipeline.views.shapes_site import (
    MatrixCell,
    MethodPage,
    PageHead,
    RuleGroup,
    RuleLine,
    RulesPage,
    Section,
    SectionsPage,
)
from pipeline.views.shapes_spend import SpendPoint, SpendQuarter, SpendRelease
from pipeline.views.table_files import file_tables, find_page_tables


def make_table(caption: str, href: str = "", rows: int = 1) -> Table:
    """A table of one column."""
    return Table(caption, (Column("what"),), (Row((Cell(build_line("x")),)),) * rows, "nothing", href)


def make_page(*tables: Table) -> SectionsPage:
    """A page with its tables in one section."""
    return SectionsPage(PageHead("Page", "page.html"), (), (Section("all", "All", tables=tables),))


def list_addresses(view: object) -> list[str]:
    """The addresses of a page's tables, in their order."""
    return [table.csv_href for table in find_page_tables(view)]


def test_each_table_with_rows_gets_an_address_named_after_it() -> None:
    page = make_page(
        make_table("Worth, rate & payback"),
        make_table("Kept", "data/kept.csv"),
        make_table("Empty", rows=0),
        make_table("reach of the arm: 3,628 (3,481 to 3,775) USD"),
        make_table("Stack: rim to flange"),
        make_table("–"),
        make_table("word " * 30),
    )
    assert list_addresses(file_tables(page, "money/TW-1")) == [
        "money/TW-1/worth-rate-payback.csv",
        "data/kept.csv",
        "",
        "money/TW-1/reach-of-the-arm.csv",
        "money/TW-1/stack-rim-to-flange.csv",
        "money/TW-1/table.csv",
        f"money/TW-1/{'word-' * 11}word.csv",
    ]


def test_two_tables_of_one_name_are_told_apart_and_none_takes_an_address_that_is_in_use() -> None:
    page = make_page(make_table("Tools"), make_table("tools"), make_table("Other", "p/tools.csv"))
    assert list_addresses(file_tables(page, "p")) == ["p/tools-2.csv", "p/tools-3.csv", "p/tools.csv"]


def test_a_page_without_such_tables_stays_the_same_object() -> None:
    page = make_page(make_table("Kept", "data/kept.csv"))
    assert file_tables(page, "p") is page
    assert file_tables(None, "p") is None and list_addresses(None) == []


def test_the_legend_of_symbols_has_no_file() -> None:
    example = Section("example", "Example", tables=(make_table("Rates"),))
    page = MethodPage(PageHead("M", "m.html"), "", (), make_table("Symbols"), (), (), example=example)
    filed = file_tables(page, "methods/m")
    assert filed.symbols.csv_href == "" and list_addresses(filed) == ["methods/m/rates.csv"]


def read(text: str) -> list[list[str]]:
    """Rows of a CSV, each as long as its head."""
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert {len(row) for row in rows} == {len(rows[0])}
    return rows


RULE = Link("gate.rule", "rules/G606.html")
GATES = (
    GateDetail("gate-model", "model", "stale", Mark.STALE, (
        RequirementLine(Mark.PROVEN, "a revision", build_line("revision A")),
        RequirementLine(Mark.MISSING, "a source", (), "Name it", RULE),
    )),
)  # fmt: skip
COVERAGE = CoverageMatrix(
    ("left", "right"),
    (CoverageRow(Link("saloon", ""), (MatrixCell(Mark.PROVEN, "F1"), MatrixCell(Mark.MISSING))),),
    "1 of 2",
    "",
)
QUOTES = QuoteComparison(
    (QuoteColumn("Q1", Link("Foundry", ""), "good", Mark.PROVEN),),
    (QuoteGroup("Tool", (QuoteRow("price", "USD", ("9,000",)),)),),
    (),
    "",
)
HISTORY = (
    HistoryLine("5 May 2026", "Ann", build_line("=1+1 measured"), Commit("4f2c9ab", "6 May 2026", "Bob", "late")),
    HistoryLine("4 May 2026", "Ann", build_line("began")),
)
FINDINGS = (
    FindingLine(RULE, "error", "a.yaml:1", "wrong", "mend", Link("TW-1", "")),
    FindingLine(RULE, "warning", "b.yaml:2", "odd", "look"),
)
LINEAGE = LineageDrawing(
    ("originals", "measurements"),
    (LineageNode("O1", 0, 0, "original", "O1", "used", Mark.PROVEN, "#O1"), LineageNode("M1", 1, 0, "measurement", "M1", "5 May", Mark.STALE, "#M1")),
    (LineageEdge("O1", "M1", Mark.PROVEN),),
    (LineageFeature("length", "overall length", ("M1",), "1 piece of evidence: M1"),),
    "",
)  # fmt: skip


def test_tables_with_a_shape_of_their_own_say_what_the_page_says() -> None:
    assert read(render_gates_csv(GATES))[1:] == [
        ["model", "stale", "proven", "a revision", "revision A", "", ""],
        ["model", "stale", "not there yet", "a source", "", "Name it", "gate.rule"],
    ]
    assert read(render_coverage_csv(COVERAGE)) == [["body", "left", "right"], ["saloon", "F1", "not there yet"]]
    assert read(render_quotes_csv(QUOTES)) == [
        ["group", "line", "unit", "Q1 Foundry (good)"],
        ["Tool", "price", "USD", "9000"],
    ]
    assert read(render_history_csv(HISTORY))[1:] == [
        ["5 May 2026", "'=1+1 measured", "Ann", "6 May 2026", "Bob", "4f2c9ab", "late"],
        ["4 May 2026", "began", "Ann", "", "", "", ""],
    ]
    assert [row[:3] for row in read(render_findings_csv(FINDINGS))[1:]] == [
        ["gate.rule", "error", "TW-1"],
        ["gate.rule", "warning", ""],
    ]
    assert read(render_lineage_csv(LINEAGE))[1:] == [
        ["O1", "original", "used", "proven", ""],
        ["M1", "measurement", "5 May", "stale", "O1"],
    ]
    assert read(render_stale_csv(LINEAGE))[1:] == [["overall length", "1 piece of evidence: M1"]]


def test_the_catalogue_of_rules_and_the_releases_of_every_budget_are_whole() -> None:
    page = RulesPage(
        PageHead("Rules", "rules/index.html"),
        "",
        (RuleGroup("g", "Text", (RuleLine("Y001", "YAML", "error", "", 2),)),),
    )
    assert read(render_rules_csv(page))[1:] == [["Text", "Y001", "YAML", "error", "2"]]
    release = SpendRelease(Link("TW-1 die", ""), "Rim", "9,000 USD", "decide the quote gate")
    quarters = (SpendQuarter("2027-Q1", (release,), "4,500", "500"), SpendQuarter("2027-Q2", (), "0", "700"))
    assert read(render_releases_csv([SpendPoint(5.0, "5,000 USD", "", "", "", quarters, ())]))[1:] == [
        ["5,000 USD", "2027-Q1", "TW-1 die Rim, 9,000 USD decide the quote gate", "4500", "500"],
        ["5,000 USD", "2027-Q2", "nothing", "0", "700"],
    ]


class Bare:
    """A part's page as far as its own tables go, without rows."""

    gates, history, findings, lineage = (), (), (), None
    coverage, quotes = CoverageMatrix((), (), "", ""), QuoteComparison((), (), (), "")


class Full(Bare):
    """The same with rows in each table."""

    gates, history, findings, lineage, coverage, quotes = GATES, HISTORY, FINDINGS, LINEAGE, COVERAGE, QUOTES


def test_no_file_is_written_for_a_table_without_rows() -> None:
    assert list(list_part_tables(Bare(), "parts/TW-1")) == []  # type: ignore[arg-type]
    assert [at for at, _ in list_part_tables(Full(), "parts/TW-1")] == [  # type: ignore[arg-type]
        f"parts/TW-1/{name}.csv"
        for name in ("gates", "coverage", "quotes", "history", "findings", "made-from", "would-go-stale")
    ]
    plain = Full()
    plain.lineage = replace(LINEAGE, features=())
    assert "parts/TW-1/would-go-stale.csv" not in dict(list_part_tables(plain, "parts/TW-1"))  # type: ignore[arg-type]
