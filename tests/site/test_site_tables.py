"""Every table of every page type goes into a spreadsheet: as a file that lies beside the page, or saved by the page itself."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.views.csv_tables import guard_cell, render_csv

pytestmark = pytest.mark.browser
PAGES = (
    "index.html", "review.html", "parts/index.html", "parts/TW-101.html", "vehicles.html", "spend.html", "flow.html", "buying.html",
    "registers.html", "suppliers.html", "resources.html", "tools.html", "measured/TW-101.html", "money/TW-101.html",
    "releases/TW-101.html", "quotes/TW-101.html", "travellers/TW-101.html", "methods/gates.html", "rules/G606.html", "rules/index.html",
    "marks.html", "guide.html",
)  # fmt: skip
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
FORMULA = re.compile(r"[=@\t\r]|[+-](?![0-9.]+$)")
# Of each table: how many rows its body has and their first words, and where its own file or its button is.
TABLES = """() => Array.from(document.querySelectorAll("main table"), table => {
    const words = node => { const copy = node.cloneNode(true); copy.querySelectorAll("svg").forEach(it => it.remove());
        return copy.textContent.replace(/\\s+/g, " ").trim(); };
    const rows = Array.from(table.tBodies, body => Array.from(body.rows)).flat();
    let foot = (table.closest(".area") || table).nextElementSibling;
    while (foot && /^(P|BUTTON)$/.test(foot.tagName) && !foot.matches(".tablefoot")) foot = foot.nextElementSibling;
    if (!foot || !foot.matches(".tablefoot")) foot = null;
    const link = foot && foot.querySelector("a[href]");
    return { caption: table.caption ? words(table.caption) : "", rows: rows.length,
             values: rows.map(row => Array.from(row.cells, words)), link: link && link.href, file: table.dataset.file || "",
             button: Boolean(foot && foot.querySelector("button")) };
})"""


def read_csv(text: str) -> list[list[str]]:
    """Read as RFC 4180 says: CRLF ends a row, a quote within quotes is doubled; `strict` refuses anything else."""
    assert text.endswith("\r\n") and not re.search(r'(?<!\r)\n(?=(?:[^"]*"[^"]*")*[^"]*$)', text)
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert not [cell for row in rows for cell in row if FORMULA.match(cell)]
    return rows


@pytest.mark.parametrize("page", PAGES)
def test_each_table_of_a_page_becomes_csv(demo_site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(demo_site / page)
    watched.page.evaluate(OPEN_ALL)
    tables = watched.page.evaluate(TABLES)
    assert tables
    for at, table in enumerate(tables):
        assert bool(table["link"]) + table["button"] + bool(table["file"]) == 1, (page, table["caption"])
        if table["file"]:
            rows = read_csv(((demo_site / page).parent / table["file"]).read_bytes().decode("utf-8"))
            shown = {tuple(re.sub(r"\W+", "", cell) for cell in values) for values in table["values"]}
            filed = [re.sub(r"\W+", "", "".join(row)) for row in rows]
            assert all(any(all(cell in row for cell in cells[:2]) for row in filed) for cells in shown), table[
                "caption"
            ]
        elif table["link"]:
            path = Path(table["link"].removeprefix("file://"))
            rows = read_csv(path.read_bytes().decode("utf-8"))
            check_rows(rows, table["values"])
        else:
            rows = read_csv(
                watched.page.evaluate("at => tableCsv.render(document.querySelectorAll('main table')[at])", at)
            )
            assert len({len(row) for row in rows}) == 1, (page, table["caption"])
            assert len(rows) >= table["rows"]
            check_values(rows[-table["rows"] :], table["values"])
    assert watched.said == []


def check_rows(rows: list[list[str]], values: list[list[str]]) -> None:
    """A file has every row that the page has under a head, in its order, and the part or the key that begins it."""
    body = [row for row in values if len(row) > 1]  # heads of groups stand in a column of their own in the file
    if len(rows) - 1 != len(body):  # a page may end with a row of totals, or show the first rows of many
        assert 0 <= len(body) - (len(rows) - 1) <= 1
    keys = ["".join(row).replace(",", "") for row in rows[1:]]
    for key, shown in zip(keys, body, strict=False):
        first = shown[0].removesuffix(" critical").split(" ")[0]
        assert first.replace(",", "") in key, (shown, key)


def check_values(rows: list[list[str]], values: list[list[str]]) -> None:
    """What the page saves itself is what it shows, cell by cell; drawings are words, numbers are plain."""
    for row, shown in zip(rows, values, strict=True):
        for cell, words in zip(row, shown, strict=False):
            plain = re.sub(r"[\s,−'-]+|Working.*", "", words)
            assert plain[:40] in re.sub(r"[\s,−'-]+", "", cell) or not plain, (cell, words)


CELLS = (
    "=1+1", "+2", "-0.25", "−0.25", "1,234", "@SUM(A1)", "-3 to 4", "+49 30", "a \"quoted\" word", "one, two", "＝1", "–", "  =1", "1e5", "plain",
)  # fmt: skip


def test_page_and_files_guard_cells_alike(demo_site: Path, open_page: Callable[..., Any]) -> None:
    """The script's rule is that of the files: the same cells give the same bytes."""
    page = open_page(demo_site / "index.html").page
    made = page.evaluate(
        """cells => { const table = document.createElement("table"), row = table.createTBody().insertRow();
        cells.forEach(text => { row.insertCell().textContent = text; });
        return tableCsv.render(table); }""",
        list(CELLS),
    )
    stripped = [cell.strip() for cell in CELLS]
    assert made == render_csv(stripped, ())
    assert guard_cell("=1+1") == "'=1+1"


def test_a_table_is_saved_under_its_name(demo_site: Path, open_page: Callable[..., Any], tmp_path: Path) -> None:
    page = open_page(demo_site / "methods" / "gates.html").page
    with page.expect_download() as waiting:
        page.get_by_role("button", name="This table as CSV: What each symbol means").press("Enter")
    download = waiting.value
    assert download.suggested_filename == "gates-What-each-symbol-means.csv"
    download.save_as(tmp_path / "saved.csv")
    rows = read_csv((tmp_path / "saved.csv").read_bytes().decode("utf-8"))
    assert (
        rows[0][0] == "symbol"
        and len(rows) == 1 + page.locator("main section >> table").first.locator("tbody tr").count()
    )


LEGENDS = {
    "What each symbol means", "Line kinds and what they mean", "Small drawings and what they mean", "Signatures",
    "What to try, one row for each interface", "Features to look at and to measure", "",
}  # fmt: skip
"""Tables without a file: legends, lines to sign, the forms of a traveller (whose rows are a CSV to fill in, linked below
them), and what people wrote themselves (no caption)."""
TABLE = re.compile(
    r"<table([^>]*)>(?:<caption[^>]*>([^<]*)</caption>)?.*?</table>(.*?)(?=<table|<h2|<section|\Z)", re.S
)
FOOT = re.compile(r'(?:</div>)?\s*(?:<p (?!class="tablefoot").*?</p>\s*)*<p class="tablefoot"><a href="([^"]+)"', re.S)


def test_every_table_but_a_legend_has_a_file_that_is_found_without_script(demo_site: Path) -> None:
    without: set[str] = set()
    pages = sorted(demo_site.rglob("*.html"))
    for path in pages:
        text = path.read_text(encoding="utf-8")
        for attributes, caption, after in TABLE.findall(text.partition("<main")[2]):
            foot, named = FOOT.match(after.lstrip()), re.search(r'data-file="([^"]+)"', attributes)
            href = foot[1] if foot else named[1] if named else None
            if href is None:
                without.add(caption)
                continue
            assert (path.parent / href).is_file(), (path.name, caption, href)
            assert len(re.findall(f'<a href="{re.escape(href)}" download>', text)) >= 1, (path.name, caption)
    assert without == LEGENDS, without ^ LEGENDS
    assert len(pages) > 200


def test_the_tables_of_a_part_say_in_their_files_what_the_page_says(demo_site: Path) -> None:
    folder = demo_site / "parts" / "TW-101"
    found = {path.stem: read_csv(path.read_bytes().decode("utf-8")) for path in folder.glob("*.csv")}
    assert {"gates", "coverage", "quotes", "history", "made-from", "would-go-stale"} <= set(found)
    lacks = {(row[0], row[5]) for row in found["gates"]}
    assert ("quote", "Ask 1 more for an offer on revision D") in lacks
    assert found["quotes"][0][:3] == ["group", "line", "unit"] and "Q1" in found["quotes"][0][3]
    assert found["coverage"][0][0] == "body" and len(found["coverage"]) > 1
    assert all(len({len(row) for row in rows}) == 1 for rows in found.values())
    assert {row[0] for row in found["history"][1:]} and found["history"][0][3] == "recorded on"


def test_lists_of_home_and_review_are_files_too(demo_site: Path, open_page: Callable[..., Any]) -> None:
    for address, words, count in (
        ("index.html", "These lists as CSV", ".desk tbody tr"),
        ("review.html", "All lists as CSV", ".review tbody tr"),
    ):
        page = open_page(demo_site / address, script=False).page
        link = page.get_by_role("link", name=words)
        rows = read_csv(((demo_site / address).parent / str(link.get_attribute("href"))).read_bytes().decode("utf-8"))
        assert len(rows) - 1 == page.locator(count).count() > 5


def test_no_two_tables_share_a_file(demo_site: Path) -> None:
    """A link under a table of one page leads to that table, and to no other page's."""
    found: dict[Path, set[tuple[str, str]]] = {}
    for path in sorted(demo_site.rglob("*.html")):
        text = path.read_text(encoding="utf-8")
        for match in re.finditer(
            r'<caption[^>]*>([^<]*)</caption>(?:(?!<caption).)*?<p class="tablefoot"><a href="([^"]+)"', text, re.S
        ):
            found.setdefault((path.parent / match[2]).resolve(), set()).add((path.name, match[1]))
    assert len(found) > 60
    shared = {path.name: {caption for _, caption in tables} for path, tables in found.items() if len(tables) > 1}
    assert set(shared.get("quotes.csv", ())) <= {
        "Quotes on one footing"
    }  # the sheet of quotes shows the part's own table
    assert set(shared) <= {"quotes.csv"}
    assert all(path.is_file() for path in found)
