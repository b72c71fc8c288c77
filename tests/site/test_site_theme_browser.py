"""The theme in a real browser: every page type, both schemes, wide and narrow, with and without scripts."""

from __future__ import annotations

import json
import os
import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.browser
PAGES = (
    "index.html", "review.html", "parts/index.html", "parts/TW-101.html", "parts/TW-000.html", "vehicles.html", "rules/index.html",
    "rules/M104.html", "methods/ladder.html", "sections.html", "marks.html", "prose.html", "404.html",
)  # fmt: skip
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
# preload is off, for axe would fetch the style sheets anew and the page's own policy forbids that
WCAG = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "preload": False,
}
CONTRAST = {"runOnly": {"type": "rule", "values": ["color-contrast"]}, "preload": False}


def _find_violations(page: Any, options: dict[str, Any]) -> list[tuple[str, str]]:
    from axe_playwright_python.sync_playwright import Axe

    violations = Axe().run(page, options=options).response["violations"]
    return [(one["id"], node["html"][:160]) for one in violations for node in one["nodes"][:3]]


@pytest.mark.parametrize("page", PAGES)
def test_page_is_clean(theme_site: Path, open_page: Callable[..., Any], page: str) -> None:
    """No violation in either scheme, nothing on the console, no request but for the site's own files."""
    watched = open_page(theme_site / page)
    watched.page.evaluate(OPEN_ALL)
    assert _find_violations(watched.page, WCAG) == []
    watched.page.emulate_media(color_scheme="dark")
    assert _find_violations(watched.page, CONTRAST) == []
    assert watched.said == []
    assert [url for url in watched.asked if not url.startswith(theme_site.as_uri())] == []
    assert len(watched.asked) >= 6


@pytest.mark.parametrize("page", PAGES)
def test_nothing_scrolls_sideways(theme_site: Path, open_page: Callable[..., Any], page: str) -> None:
    """At 1280 and 390 px, and at 640: what 200 % zoom leaves of 1280 (WCAG 2.2, 1.4.4 and 1.4.10)."""
    watched = open_page(theme_site / page)
    watched.page.evaluate(OPEN_ALL)
    for width in (1280, 640, 390):
        watched.page.set_viewport_size({"width": width, "height": 900})
        assert watched.page.evaluate("document.documentElement.scrollWidth") <= width, width


@pytest.mark.parametrize("page", ("parts/TW-101.html", "parts/index.html", "vehicles.html"))
def test_narrow_page_is_clean(theme_site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(theme_site / page, width=390)
    watched.page.evaluate(OPEN_ALL)
    assert _find_violations(watched.page, WCAG) == []


def test_rail_is_six_rows_on_a_phone(theme_site: Path, open_page: Callable[..., Any]) -> None:
    tops = "Array.from(document.querySelectorAll('.rail li'), it => Math.round(it.getBoundingClientRect().top))"
    address = theme_site / "parts" / "TW-101.html"
    assert len(set(open_page(address, width=390).page.evaluate(tops))) == 6
    assert len(set(open_page(address, width=1280).page.evaluate(tops))) == 1


def test_page_reads_without_a_script(theme_site: Path, open_page: Callable[..., Any]) -> None:
    part = open_page(theme_site / "parts" / "TW-101.html", script=False).page
    assert "Hold call" in part.locator("main").inner_text()
    assert not part.locator(".asks").is_visible()
    part.locator("#lineage summary", has_text="The same as a table").click()
    assert part.get_by_text("P1, F1, F2, Q1, die and gauge").is_visible()
    parts = open_page(theme_site / "parts" / "index.html", script=False).page
    assert parts.locator("#parts tbody tr").count() == 200
    assert not parts.locator("#filters").is_visible()


def test_paper_shows_every_fold_without_a_script(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "TW-101.html", script=False).page
    table = page.locator("#evidence table")
    assert not table.is_visible()
    page.emulate_media(media="print")
    assert table.bounding_box()["height"] > 100  # type: ignore[index]
    assert page.locator("#F2").bounding_box()["width"] > 300  # type: ignore[index]


@pytest.mark.parametrize(("paper", "width"), (("A4", 703), ("Letter", 725)))  # less 12 mm at each side, 96 px an inch
def test_paper_loses_no_column(theme_site: Path, open_page: Callable[..., Any], paper: str, width: int) -> None:
    for address in ("parts/TW-101.html", "parts/index.html", "vehicles.html"):
        page = open_page(theme_site / address, width=width).page
        page.evaluate(OPEN_ALL)
        page.emulate_media(media="print")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, (paper, address)
        cut = "Array.from(document.querySelectorAll('th, td')).filter(it => it.scrollWidth > it.clientWidth + 1).map(it => it.textContent)"
        assert page.evaluate(cut) == [], (paper, address)


def test_link_into_a_fold_opens_it(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page((theme_site / "parts" / "TW-101.html").as_uri() + "#F2").page
    assert page.locator("#F2").is_visible()


def test_skip_link_and_focus_can_be_seen(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "index.html").page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0  # type: ignore[index]
    page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_reduced_motion_is_respected(theme_site: Path, open_page: Callable[..., Any]) -> None:
    behaviour = "getComputedStyle(document.documentElement).scrollBehavior"
    assert open_page(theme_site / "index.html").page.evaluate(behaviour) == "smooth"
    assert open_page(theme_site / "index.html", reduced_motion="reduce").page.evaluate(behaviour) == "auto"


def test_charts_follow_the_scheme(theme_site: Path, open_page: Callable[..., Any]) -> None:
    fill = "getComputedStyle(document.querySelector('.drawing text')).fill"
    light, dark = (open_page(theme_site / "marks.html", scheme=one).page.evaluate(fill) for one in ("light", "dark"))
    assert light != dark


def test_marks_differ_in_greyscale_print(theme_site: Path, open_page: Callable[..., Any]) -> None:
    """Every pair of line kinds, hatched beside dashed among them, differs in black and white."""
    import io
    from itertools import combinations

    import numpy as np
    from PIL import Image

    page = open_page(theme_site / "marks.html").page
    page.emulate_media(media="print")
    pictures = {}
    for row in page.locator("tr[id^=mark-]").all():
        raw = row.locator("svg.long").screenshot()
        grey = np.asarray(Image.open(io.BytesIO(raw)).convert("L").resize((176, 18)), dtype=float)
        pictures[row.get_attribute("id")] = grey < 128
    assert len(pictures) == 10
    for (one, a), (other, b) in combinations(pictures.items(), 2):
        assert (a ^ b).sum() >= 24, (one, other)


# --- lineage ------------------------------------------------------------------------------------------


def test_changed_feature_lights_what_goes_stale(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "TW-101.html").page
    button = page.get_by_role("button", name="screw boss distance")
    button.click()
    lit = page.evaluate("Array.from(document.querySelectorAll('[data-node].lit'), it => it.dataset.node)")
    assert sorted(lit) == ["F1", "F2", "P1", "Q1", "die", "gauge"]
    assert "5 weeks" in page.locator(".asks output").inner_text()
    button.click()
    assert page.locator("[data-node].lit").count() == 0
    page.locator('[data-node="F2"]').click()
    assert page.url.endswith("#F2") and page.locator("#F2").is_visible()


# --- the list of parts --------------------------------------------------------------------------------


def _rows(page: Any) -> list[str]:
    found: list[str] = page.evaluate("Array.from(document.querySelectorAll('#parts tbody th a'), it => it.textContent)")
    return found


def _read_index(site: Path) -> dict[str, Any]:
    text = (site / "data" / "parts.js").read_text(encoding="utf-8")
    index: dict[str, Any] = json.loads(re.fullmatch(r"window\.partsIndex = (.*);\n", text, re.S).group(1))  # type: ignore[union-attr]
    return index


def test_filters_count_what_they_would_give(theme_site: Path, open_page: Callable[..., Any]) -> None:
    """Every count on every filter equals a recount of the data file."""
    watched = open_page((theme_site / "parts" / "index.html").as_uri() + "?engineer=Mara&state=stale")
    index = _read_index(theme_site)
    keys = [facet["key"] for facet in index["facets"]]
    wanted = {"engineer": "Mara", "state": "stale"}

    def passes(row: Any, skip: str) -> bool:
        return all(
            index["facets"][keys.index(key)]["values"].index(value) in row[1][keys.index(key)]
            for key, value in wanted.items()
            if key != skip
        )

    shown = [row for row in index["rows"] if passes(row, "")]
    assert 0 < len(shown) < 40
    assert _rows(watched.page) == [row[0][0] for row in shown]
    assert watched.page.locator("#count").inner_text() == f"{len(shown)} of 200 parts"
    for at, facet in enumerate(index["facets"]):
        options = watched.page.locator(f"select[name={facet['key']}] option").all_inner_texts()[1:]
        counts = [
            sum(passes(row, facet["key"]) and value in row[1][at] for row in index["rows"])
            for value in range(len(facet["values"]))
        ]
        assert options == [f"{value} ({count})" for value, count in zip(facet["values"], counts, strict=True)]
    assert watched.said == []


def test_state_is_in_the_address(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "index.html").page
    page.select_option("select[name=stage]", "quote")
    page.fill("#query", "lamp")
    page.get_by_role("button", name="age").click()
    page.get_by_role("button", name="age").click()
    assert page.url.endswith("?q=lamp&stage=quote&sort=-age")
    again = open_page(page.url).page
    assert _rows(again) == _rows(page) != []
    ages = [int(text.split()[0]) for text in again.locator("#parts tbody td.n[data-label=age]").all_inner_texts()]
    assert ages == sorted(ages, reverse=True)
    again.get_by_role("button", name="Show all").click()
    assert again.locator("#count").inner_text() == "200 parts"
    assert "?" not in again.url


def test_every_column_sorts_both_ways_and_stays_in_the_address(theme_site: Path, open_page: Callable[..., Any]) -> None:
    """The order is that of a sort in Python: of keys of the data file, or of the words in the cells."""
    page = open_page(theme_site / "parts" / "index.html").page
    again = open_page(theme_site / "parts" / "index.html").page
    index = _read_index(theme_site)
    heads = page.locator("#parts thead th")
    assert heads.count() == page.locator("#parts thead th button").count() == 8
    for at in range(heads.count()):
        head = heads.nth(at)
        for down in (False, True):
            head.locator("button").click()
            assert head.get_attribute("aria-sort") == ("descending" if down else "ascending")
            if down:
                again.goto(page.url)
                assert _rows(again) == _rows(page)
            key = head.get_attribute("data-sort")
            if key is not None:
                numbers = {row[2][0]: row[2][int(key)] for row in index["rows"]}
                keys: list[Any] = [numbers[number] for number in _rows(page)]
            else:
                keys = [
                    words.casefold()
                    for words in page.locator(f"#parts tbody tr > :nth-child({at + 1})").all_inner_texts()
                ]
            assert keys == sorted(keys, reverse=down), (at, down)
        head.locator("button").click()
        assert page.locator("#parts thead [aria-sort]").count() == 0
    assert "sort" not in page.url


@pytest.mark.parametrize(
    ("query", "first"),
    (("TW-101", "TW-101"), ("tw101", "TW-101"), ("101", "TW-101"), ("tarnwick rim", "TW-101"), ("torsoin spring", "TW-110"), ("SPRNG", "TW-110"), ("coupe", None), ("lamp mara", None)),
)  # fmt: skip
def test_search_forgives_and_explains(
    theme_site: Path, open_page: Callable[..., Any], query: str, first: str | None
) -> None:
    page = open_page(theme_site / "parts" / "index.html").page
    page.fill("#query", query)
    rows = _rows(page)
    assert rows
    assert first is None or rows[0] == first
    assert page.locator("#parts tbody tr").first.locator(".hit mark").count() >= 1


def test_search_says_when_nothing_matches(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "index.html").page
    page.fill("#query", "zzzzqqqq")
    assert _rows(page) == []
    assert page.locator("#none").is_visible()


def test_search_field_of_any_page_leads_to_the_list(theme_site: Path, open_page: Callable[..., Any]) -> None:
    watched = open_page(theme_site / "marks.html")
    watched.page.keyboard.press("/")
    watched.page.keyboard.type("horn")
    watched.page.keyboard.press("Enter")
    watched.page.wait_for_url("**/parts/index.html?q=horn")
    assert watched.page.locator("#query").input_value() == "horn"
    assert len(_rows(watched.page)) > 0 and watched.said == []


def test_list_is_walked_by_keyboard_alone(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "index.html").page
    page.keyboard.press("/")
    page.keyboard.type("lens")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    second = _rows(page)[1]
    assert page.evaluate("document.activeElement.textContent") == second
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement.id") == "query"
    page.keyboard.press("Escape")
    assert page.locator("#query").input_value() == ""
    page.keyboard.type("TW-101")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url("**/TW-101.html")


def _distance(a: str, b: str) -> int:
    """Optimal string alignment distance, written out in full (the slow twin of the page's own)."""
    table = {(i, 0): i for i in range(len(a) + 1)} | {(0, j): j for j in range(len(b) + 1)}
    for i in range(1, len(a) + 1):
        for j in range(1, len(b) + 1):
            cost = a[i - 1] != b[j - 1]
            table[i, j] = min(table[i - 1, j] + 1, table[i, j - 1] + 1, table[i - 1, j - 1] + cost)
            if i > 1 and j > 1 and a[i - 1] == b[j - 2] and a[i - 2] == b[j - 1]:
                table[i, j] = min(table[i, j], table[i - 2, j - 2] + 1)
    return table[len(a), len(b)]


def test_typo_distance_agrees_with_its_slow_twin(theme_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(theme_site / "parts" / "index.html").page
    rng = random.Random(1)
    pairs = [["".join(rng.choices("abc", k=rng.randrange(0, 8))) for _ in range(2)] for _ in range(400)]
    found = page.evaluate("pairs => pairs.map(([a, b]) => partSearch.distance(a, b, 2))", pairs)
    assert found == [min(_distance(a, b), 3) for a, b in pairs]


def test_two_thousand_rows_filter_at_once(large_theme_site: Path, open_page: Callable[..., Any]) -> None:
    """Time from a keystroke, a choice or a click on a head to a page laid out again, beside what the browser itself takes
    to lay the shown rows out again. The ratio is held; PIPELINE_TIMED=1 asks for the goal too (95 % under 50 ms), for a
    machine that does nothing else."""
    page = open_page(large_theme_site / "parts" / "index.html").page
    times, floors = page.evaluate(
        """() => {
        const query = document.getElementById("query"), times = [];
        const type = text => { for (let n = 1; n <= text.length; n++) {
            query.value = text.slice(0, n);
            const start = performance.now();
            query.dispatchEvent(new Event("input", {bubbles: true}));
            document.body.getBoundingClientRect();
            times.push(performance.now() - start); } };
        ["rim", "tarnwick sedge", "torsoin sprng", "TW-1401", "quarter hinge"].forEach(type);
        query.value = "";
        document.querySelectorAll("#filters select").forEach(select => { for (const at of [1, 2, 0]) {
            if (at >= select.options.length) continue;
            select.selectedIndex = at;
            const start = performance.now();
            select.dispatchEvent(new Event("change", {bubbles: true}));
            document.body.getBoundingClientRect();
            times.push(performance.now() - start); } });
        document.querySelectorAll("#parts thead button").forEach(button => {
            const start = performance.now();
            button.click();
            document.body.getBoundingClientRect();
            times.push(performance.now() - start); });
        const body = document.querySelector("#parts tbody"), floors = [];
        for (let n = 0; n < 15; n++) {
            const start = performance.now(), rows = Array.from(body.rows).slice(0, 40);
            body.textContent = "";
            body.append(...rows);
            document.body.getBoundingClientRect();
            floors.push(performance.now() - start); }
        return [times, floors]; }"""
    )
    times.sort()
    half, most, floor = times[len(times) // 2], times[int(len(times) * 0.95)], sorted(floors)[len(floors) // 2]
    print(
        f"{len(times)} steps over 2,000 rows: half within {half:.1f} ms, 95 % within {most:.1f} ms, floor {floor:.1f} ms"
    )
    assert len(times) > 60
    assert half < 8 * floor
    assert most < 50 or os.environ.get("PIPELINE_TIMED") != "1"
