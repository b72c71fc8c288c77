"""The tooling release sheet in a browser: one page on A4 and Letter, no column lost, nothing fetched, nothing said."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pipeline.portfolio.portfolio import build_portfolio
from pipeline.views.quote_sheet import build_quote_sheet
from pipeline.views.release_sheet import build_release_sheet

ROOT = Path(__file__).parents[2]
PARTS = (
    "TW-101",
    "TW-118",
    "TW-183",
    "TW-186",
    "TW-190",
    "TW-109",
    "TW-220",
)  # hold call, ten tools, S1, S2, ready, bare


@pytest.fixture(scope="module")
def sheets(theme_samples: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Release sheets of the demo, rendered without MkDocs."""
    folder = tmp_path_factory.mktemp("sheets")
    for piece in ("css", "js", "img"):
        shutil.copytree(theme_samples.THEME / piece, folder / piece)
    (folder / "releases").mkdir()
    environment, portfolio = theme_samples.build_environment(), build_portfolio(ROOT)
    for number in PARTS:
        view = build_release_sheet(portfolio.parts[number])
        html = environment.get_template("release.html").render(view=view, base_url="..", page=None)
        (folder / "releases" / f"{number}.html").write_text(html, encoding="utf-8")
    (folder / "quotes").mkdir()
    for number in ("TW-101", "TW-220"):
        view = build_quote_sheet(portfolio.parts[number])
        html = environment.get_template("quotes.html").render(view=view, base_url="..", page=None)
        (folder / "quotes" / f"{number}.html").write_text(html, encoding="utf-8")
    return folder


@pytest.mark.parametrize("number", PARTS)
def test_it_prints_on_one_page(sheets: Path, open_page: Callable[..., Any], number: str) -> None:
    watched = open_page(sheets / "releases" / f"{number}.html")
    for paper in ("A4", "Letter"):
        pages = re.findall(rb"/Type\s*/Page\b", watched.page.pdf(format=paper))
        assert len(pages) == 1, paper
    assert watched.said == []
    assert all(address.startswith("file:") for address in watched.asked)


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_scrolls_sideways(sheets: Path, open_page: Callable[..., Any], width: int) -> None:
    for number in ("TW-101", "TW-118"):
        page = open_page(sheets / "releases" / f"{number}.html", width=width).page
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_what_is_in_the_way_is_read_on_a_phone_without_a_hand_on_it(
    sheets: Path, open_page: Callable[..., Any]
) -> None:
    page = open_page(sheets / "releases" / "TW-118.html", width=390).page
    right = "it => Math.max(...[...it.querySelectorAll('td, th')].map(cell => cell.getBoundingClientRect().right))"
    for caption in ("What is in the way", "What is probably still wrong", "Tools"):
        table = page.locator(f"table:has(caption:text-is('{caption}'))")
        assert table.count() == 1 and table.evaluate(right) <= 390, caption


def test_no_column_is_lost_in_print(sheets: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(sheets / "releases" / "TW-101.html", width=720).page
    page.emulate_media(media="print")
    hidden = page.evaluate(
        "[...document.querySelectorAll('.release th, .release td')].filter(e => !e.classList.contains('blank') && e.getClientRects().length === 0).length"
    )
    assert hidden == 0
    assert page.locator(".sign tbody tr").count() == 3


def test_a_hostile_name_stays_text(theme_samples: ModuleType, tmp_path: Path) -> None:
    from dataclasses import replace

    view = build_release_sheet(build_portfolio(ROOT).parts["TW-101"])
    view = replace(view, block=replace(view.block, name=theme_samples.HOSTILE), release=theme_samples.HOSTILE)
    html = theme_samples.build_environment().get_template("release.html").render(view=view, base_url="..", page=None)
    assert "<script>alert" not in html
    assert "<img src=x" not in html


def test_the_comparison_of_quotes_prints_whole(sheets: Path, open_page: Callable[..., Any]) -> None:
    watched = open_page(sheets / "quotes" / "TW-101.html")
    page = watched.page
    assert page.locator(".quotes thead th").count() == 5
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    for paper, most in (("A4", 3), ("Letter", 4)):  # Letter is 18 mm shorter
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) <= most
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 720, "height": 1000})
    wide = page.evaluate("[...document.querySelectorAll('.quotes')].map(e => e.getBoundingClientRect().right)")
    assert max(wide) <= 722  # no column runs off an A4 page
    assert watched.said == []
    assert open_page(sheets / "quotes" / "TW-220.html").page.locator(".empty").count() >= 1
