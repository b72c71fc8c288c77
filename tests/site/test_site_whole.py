"""Long part numbers stay whole, and wide tables of measurements fit a desk and fold on a phone: as a browser shows them."""

from __future__ import annotations

import doctest
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.sitegen import rendering
from pipeline.sitegen.build import build_site
from pipeline.sitegen.rendering import keep_whole
from pipeline.views.csv_tables import render_table_csv
from pipeline.views.shapes_marks import Cell, Column, Row, Table, build_line

LONG = "TW-1234-56-LHD-7890-XY"
ORIGINALS = 10
PAGES = ("index.html", "parts/index.html", f"parts/{LONG}.html", "review.html", "tools.html", "suppliers.html", "vehicles.html",
         f"measured/{LONG}.html", f"money/{LONG}.html", f"quotes/{LONG}.html", f"travellers/{LONG}.html")  # fmt: skip
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
# Words of a kind that stand on more than one line, with what they stand in.
SPLIT = """source => { const found = [], kind = new RegExp(source, "g");
    const walker = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
        if (node.parentElement.closest("figcaption")) continue; // the address under a code
        for (const hit of node.data.matchAll(kind)) {
            const range = document.createRange();
            range.setStart(node, hit.index);
            range.setEnd(node, hit.index + hit[0].length);
            const tops = Array.from(range.getClientRects()).filter(it => it.width > 0).map(it => Math.round(it.top));
            if (new Set(tops).size > 1) found.push(hit[0] + " in " + node.parentElement.outerHTML.slice(0, 120));
        }
    }
    return found; }"""
SIDEWAYS = "Array.from(document.querySelectorAll('.area')).filter(it => it.scrollWidth > it.clientWidth + 1).map(it => it.ariaLabel)"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample's part under a long number, with ten originals that were each read twice, some without uncertainty."""
    originals = "".join(
        f"  O{n}: {{condition: {'used' if n % 2 else 'nos'}, from: lent}}\n" for n in range(1, ORIGINALS + 1)
    )
    read = [(n, time) for n in range(1, ORIGINALS + 1) for time in (1, 2)]
    measured = "".join(
        f"  M{n}{time}: {{of: O{n}, on: 2026-01-10, by: ann, with: arm, at: 20 C, gives: "
        f"{{length: {40 + n / 100:.2f}, hard: {50 + n / 10:.1f}}}}}\n"
        for n, time in read
    )
    part = f"originals:\n{originals}measurements:\n{measured}"
    part += f"hands: {{left: {LONG}, right: {LONG[:-2]}ZZ, relation: mirror}}\n"
    part += "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M11, M21]}\n"
    root = tmp_path_factory.mktemp("whole")
    for name, content in build_sample(Example(part, {})).items():
        target = root / name.replace("SD-100", LONG)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content.replace(b"SD-100", LONG.encode()))
    return build_site(root).out


def test_examples_run() -> None:
    assert doctest.testmod(rendering).failed == 0


def test_what_has_no_hyphen_or_is_a_word_is_left_as_it_is() -> None:
    for text, shown in (
        ("rim & hub", "rim &amp; hub"),
        ("side-lamp, A-frame, X-ray, T-2000a", "side-lamp, A-frame, X-ray, T-2000a"),
        ("<b>TW-1</b>", '&lt;b&gt;<span class="whole">TW-1</span>&lt;/b&gt;'),
        (
            "from 2026-01-10 in 2027-Q1",
            'from <span class="whole">2026-01-10</span> in <span class="whole">2027-Q1</span>',
        ),
    ):
        assert str(keep_whole(text)) == shown


@pytest.mark.browser
@pytest.mark.parametrize("page", PAGES)
def test_no_part_number_breaks_at_its_hyphens(site: Path, open_page: Callable[..., Any], page: str) -> None:
    assert (site / page).is_file()
    for width, media in ((1280, "screen"), (390, "screen"), (720, "print")):
        shown = open_page(site / page, width=width).page
        shown.emulate_media(media=media)
        shown.evaluate(OPEN_ALL)
        assert shown.evaluate(SPLIT, re.escape(LONG[:-2]) + "[A-Z]{2}") == [], (width, media)
        assert shown.evaluate("document.documentElement.scrollWidth") <= width, (width, media)


@pytest.mark.browser
def test_the_list_gives_a_long_number_its_room(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "parts/index.html").page
    number, name = (page.locator(f"#parts tbody tr > {cell}").first.bounding_box() for cell in ("th", "td"))
    text = page.locator("#parts tbody th .whole").first.bounding_box()
    assert text["x"] + text["width"] <= number["x"] + number["width"] <= name["x"] + 1


@pytest.mark.browser
def test_measurements_side_by_side_fit_a_desk_and_fold_on_a_phone(site: Path, open_page: Callable[..., Any]) -> None:
    side = "table:has(caption:text-is('Values of each original, by feature'))"
    desk = open_page(site / f"measured/{LONG}.html").page
    desk.evaluate(OPEN_ALL)
    assert desk.evaluate(SIDEWAYS) == []
    assert desk.locator(f"{side} thead th:visible").count() == ORIGINALS + 3
    assert desk.evaluate(SPLIT, "±\u00a0[0-9.]+") == []
    phone = open_page(site / f"measured/{LONG}.html", width=390).page
    phone.evaluate(OPEN_ALL)
    row = phone.locator(f"{side} tbody tr").first
    labels = row.locator("td:visible").evaluate_all("cells => cells.map(it => it.dataset.label)")
    assert labels[:3] == ["unit", "nominal", "O1, used"] and len(labels) == ORIGINALS + 2
    lefts = row.locator("td:visible").evaluate_all(
        "cells => cells.map(it => Math.round(it.getBoundingClientRect().left))"
    )
    assert len(set(lefts)) == 1, "one line under the other"
    folded = phone.evaluate(
        "Array.from(document.querySelectorAll('.by-line')).filter(it => it.scrollWidth > 390).length"
    )
    assert folded == 0


@pytest.mark.browser
def test_a_folded_row_leaves_out_what_says_nothing_and_a_desk_shows_it(
    site: Path, open_page: Callable[..., Any]
) -> None:
    for width, seen in ((1280, True), (390, False)):
        page = open_page(site / f"parts/{LONG}.html", width=width).page
        page.evaluate(OPEN_ALL)
        empty = page.locator(".by-line td.none")
        assert empty.count() > 0 and empty.first.is_visible() is seen, width


def test_a_file_holds_plain_blanks() -> None:
    table = Table("t", (Column("a"),), (Row((Cell(build_line("40.02\u00a0±\u00a00.03")),)),), "")
    assert render_table_csv(table) == "a\r\n40.02 ± 0.03\r\n"
