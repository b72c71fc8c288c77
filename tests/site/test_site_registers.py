"""Registers and travellers in a browser: the way there, sorting and narrowing, one printed page, readable everywhere."""

from __future__ import annotations

import datetime as dt
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from real_browser import follow

from pipeline.portfolio.portfolio import build_portfolio
from pipeline.views.traveller import TravellerSheet, build_traveller

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
REGISTERS = ("registers.html", "suppliers.html", "resources.html", "tools.html")
PAGE = re.compile(rb"/Type\s*/Page\b")


@pytest.mark.parametrize("register", ["Suppliers", "Resources", "Tools"])
def test_a_register_is_two_clicks_from_home(demo_site: Path, open_page: Callable[..., Any], register: str) -> None:
    page = open_page(demo_site / "index.html", width=390, script=False).page
    follow(page.get_by_role("navigation", name="Site").get_by_role("link", name="Registers"))
    follow(page.locator("main").get_by_role("link", name=register, exact=True))
    assert page.locator("h1").inner_text() == register
    assert page.locator("header [aria-current]").inner_text() == "Registers"


def test_the_head_keeps_to_one_line(demo_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(demo_site / "tools.html").page
    tops = page.evaluate(
        "Array.from(document.querySelectorAll('.top li, .top input'), it => it.getBoundingClientRect().top)"
    )
    assert max(tops) - min(tops) < 20


def test_tools_are_sorted_by_day_and_narrowed_by_word_and_state(demo_site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(demo_site / "tools.html").page
    table = page.locator("#all table")
    table.get_by_role("button", name="accepted").click()
    cells = [text for text in table.locator("tbody td:nth-child(11)").all_inner_texts() if text != "–"]
    days = [dt.datetime.strptime(text, "%d %b %Y") for text in cells]
    assert len(days) > 5 and days == sorted(days)
    every = table.locator("tbody tr").count()
    page.locator(".narrow select").nth(1).select_option("accepted")
    shown = table.locator("tbody tr:visible")
    assert 0 < shown.count() < every
    assert set(table.locator("tbody tr:visible td:nth-child(4)").all_inner_texts()) == {"accepted"}
    page.locator(".narrow input").fill("tw-104 RACK")
    assert [row.split("\t")[0].strip() for row in shown.all_inner_texts()] == ["TW-104 rack"]
    assert page.locator(".found").inner_text() == f"1 of {every} rows"
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def list_shown(page: Any) -> list[str]:
    """The tools that the register shows, in their order."""
    return [text.split("\n")[0].strip() for text in page.locator("#all tbody tr:visible th").all_inner_texts()]


@pytest.mark.parametrize("refused", [False, True], ids=["address", "after the sign #"])
def test_what_is_narrowed_and_sorted_lives_in_the_address(
    demo_site: Path, open_page: Callable[..., Any], refused: bool
) -> None:
    """Opened as a file: some browsers let no script change such an address, then what follows # carries it."""
    watched = open_page(demo_site / "tools.html")
    page = watched.page
    assert "?" not in page.url
    if refused:
        page.evaluate("() => { history.replaceState = () => { throw new Error('refused') } }")
    page.locator("#all table").get_by_role("button", name="price").click()
    page.locator("#all table").get_by_role("button", name="price").click()
    page.locator(".narrow select").nth(1).select_option("accepted")
    page.locator(".narrow input").fill("tw-1")
    shown, address = list_shown(page), page.url
    assert address.endswith(("#" if refused else "") + "?q=tw-1&state=accepted&sort=-price")
    assert len(shown) > 2 and shown != sorted(shown)
    again = open_page(address).page
    assert list_shown(again) == shown
    assert again.locator(".narrow input").input_value() == "tw-1"
    assert again.locator("#all th[aria-sort]").get_attribute("aria-sort") == "descending"
    again.locator(".narrow input").fill("")
    again.locator(".narrow select").nth(1).select_option("")
    assert again.url.endswith("?sort=-price")
    assert watched.said == []


def test_an_address_that_says_nothing_known_shows_every_tool(demo_site: Path, open_page: Callable[..., Any]) -> None:
    plain = list_shown(open_page(demo_site / "tools.html").page)
    watched = open_page((demo_site / "tools.html").as_uri() + "?state=molten&sort=-forms-or-checks&further=1&sort=x")
    assert list_shown(watched.page) == plain and watched.said == []
    watched.page.locator(".narrow select").nth(0).select_option(index=1)
    assert "further=1" in watched.page.url and "state=molten" not in watched.page.url


@pytest.mark.parametrize("page", REGISTERS)
def test_registers_print_without_losing_a_column(demo_site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(demo_site / page, width=720)
    watched.page.emulate_media(media="print")
    right = watched.page.evaluate(
        "Math.max(...Array.from(document.querySelectorAll('table'), it => it.getBoundingClientRect().right))"
    )
    assert right <= 722  # what an A4 sheet is wide inside its margins
    assert (
        watched.page.evaluate(
            "Array.from(document.querySelectorAll('td, th')).filter(it => !it.getClientRects().length).length"
        )
        == 0
    )


@pytest.mark.parametrize("register", REGISTERS)
def test_registers_are_read_on_a_phone(demo_site: Path, open_page: Callable[..., Any], register: str) -> None:
    watched = open_page(demo_site / register, width=390)
    watched.page.evaluate("document.querySelectorAll('details').forEach(it => { it.open = true })")
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert watched.said == []


def test_a_traveller_shows_limits_on_a_phone_and_its_boxes_on_paper(
    demo_site: Path, open_page: Callable[..., Any]
) -> None:
    page = open_page(demo_site / "travellers/TW-124.html", width=390).page
    heads = page.locator(".looks thead th:visible")
    assert heads.all_inner_texts() == ["covers", "nominal", "limits"]
    for table in (".looks", ".tries"):
        cells = "it => Math.max(...[...it.querySelectorAll('td, th')].map(cell => cell.getBoundingClientRect().right))"
        assert page.locator(table).evaluate(cells) <= 390, table
    page.set_viewport_size({"width": 720, "height": 1000})  # the width of A4
    page.emulate_media(media="print")
    assert page.locator(".looks thead th:visible").count() == 6 and page.locator(".box:visible").count() > 0


@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.slow)])
def test_every_traveller_of_the_demo_prints_on_one_page(
    demo_site: Path, open_page: Callable[..., Any], paper: str
) -> None:
    sheets = sorted((demo_site / "travellers").glob("*.html"))
    dropped = {"TW-198"}
    assert {it.stem for it in sheets} == {it.name for it in (ROOT / "projects").iterdir()} - dropped
    page = open_page(sheets[0]).page
    for sheet in sheets:
        page.goto(sheet.as_uri())
        assert len(PAGE.findall(page.pdf(format=paper))) == 1, sheet.name


@pytest.fixture(scope="module")
def sheet() -> TravellerSheet:
    return build_traveller(build_portfolio(ROOT).parts["TW-101"], "https://parts.example.invalid/")


def write_sheet(samples: ModuleType, folder: Path, view: TravellerSheet) -> Path:
    for piece in ("css", "js", "img"):
        shutil.copytree(samples.THEME / piece, folder / piece)
    html = samples.build_environment().get_template("traveller.html").render(view=view, base_url="..", page=None)
    (folder / "travellers").mkdir()
    (folder / "travellers/sheet.html").write_text(html, encoding="utf-8")
    return folder / "travellers/sheet.html"


@pytest.mark.parametrize(("times", "pages"), [(3, 1), (6, 2)])
def test_a_long_sheet_takes_a_second_page_with_its_head(
    sheet: TravellerSheet,
    theme_samples: ModuleType,
    open_page: Callable[..., Any],
    tmp_path: Path,
    times: int,
    pages: int,
) -> None:
    """Six applications and hands with three interfaces each are 18 rows: one page. With six each, 36: a second one."""
    groups = tuple(replace(group, rows=group.rows * times) for group in sheet.groups)
    page = open_page(write_sheet(theme_samples, tmp_path, replace(sheet, groups=groups))).page
    assert page.locator(".tries tbody tr:not(.group)").count() == 6 * times
    assert len(PAGE.findall(page.pdf(format="A4"))) == pages
    page.emulate_media(media="print")
    head = page.locator(".tries thead")
    assert head.evaluate("it => getComputedStyle(it).display") == "table-header-group"  # printed again on each page
    assert "TW-101 Side-lamp rim, revision D" in head.inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_code_on_the_sheet_is_read_in_both_schemes(
    sheet: TravellerSheet, theme_samples: ModuleType, open_page: Callable[..., Any], tmp_path: Path, scheme: str
) -> None:
    """Decoder: ZXing-C++, from a picture of the page as the browser shows it."""
    zxing = pytest.importorskip("zxingcpp", reason="the decoder is not installed; pip install '.[test]'")
    image = pytest.importorskip("PIL.Image")
    from io import BytesIO

    shot = open_page(write_sheet(theme_samples, tmp_path, sheet), scheme=scheme).page.locator(".code-of").screenshot()
    (found,) = zxing.read_barcodes(np.asarray(image.open(BytesIO(shot)).convert("L")))
    assert found.text == "https://parts.example.invalid/parts/TW-101.html"


def test_hostile_words_of_a_record_stay_text_on_the_sheet(sheet: TravellerSheet, theme_samples: ModuleType) -> None:
    bad = theme_samples.HOSTILE
    groups = tuple(
        replace(one, where=bad, cars=bad, rows=tuple(replace(row, what=bad) for row in one.rows))
        for one in sheet.groups
    )
    view = replace(sheet, groups=groups, block=replace(sheet.block, name=bad), code_words=bad)
    html = theme_samples.build_environment().get_template("traveller.html").render(view=view, base_url="..", page=None)
    assert "<script>alert" not in html and "<img src=x" not in html
