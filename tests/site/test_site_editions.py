"""The outer editions of the demo in a real browser: what a dealer and a customer see, wide and narrow, light and dark."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from real_browser import follow

from pipeline.sitegen.build import build_site
from pipeline.sitegen.link_check import check_links

ROOT = Path(__file__).parents[2]
PAGES = (
    "index.html",
    "parts/index.html",
    "parts/TW-134.html",
    "parts/TW-210.html",
    "vehicles.html",
    "marks.html",
    "404.html",
)
WCAG = {"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
STAYS = ("TW-101", "TW-121", "TW-124", "TW-147", "TW-152", "TW-160", "TW-161", "TW-184", "TW-190", "TW-198", "TW-220")
NAMES = ("Mara", "Bram", "Nell", "Sefa", "North Die", "Cobalt", "git", "rules/", "review.html", "Working")


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The demo's two outer editions, built in a copy of its workspace."""
    root = tmp_path_factory.mktemp("editions")
    for name in ("projects", "shared", "site"):
        shutil.copytree(ROOT / name, root / name)
    built = {name: build_site(root, edition=name) for name in ("public", "partner")}
    assert [one.warnings for one in built.values()] == [(), ()]
    return {name: one.out for name, one in built.items()}


def test_demo_shows_what_is_announced_and_nothing_else(sites: dict[str, Path]) -> None:
    for name, site in sites.items():
        files = {path.relative_to(site).as_posix(): path.read_bytes() for path in site.rglob("*") if path.is_file()}
        pages = {at: text.decode() for at, text in files.items() if at.endswith(".html")}
        assert [str(broken) for broken in check_links(pages, set(files))] == []
        everything = b"".join(files.values()).decode("utf-8", "ignore")
        stays = set(STAYS) - ({"TW-152"} if name == "partner" else set())
        assert [number for number in stays if number in everything] == []
        assert [word for word in NAMES if re.search(rf"(?<![\w.]){word}(?!\w)", everything)] == []
        assert {"TW-104", "TW-109", "TW-134", "TW-210"} <= set(re.findall(r"TW-\d+", everything))


def test_data_of_the_demo_hold_to_their_schema(sites: dict[str, Path]) -> None:
    import json

    for site in sites.values():
        data, schema = (json.loads((site / "data" / f"parts{end}.json").read_text("utf-8")) for end in ("", ".schema"))
        jsonschema.validate(data, schema)
        jsonschema.Draft202012Validator.check_schema(schema)
        assert all(part["safety"]["caution"] for part in data["parts"])


@pytest.mark.browser
@pytest.mark.parametrize("scheme", [pytest.param("light", marks=pytest.mark.slow), "dark"])
def test_no_page_has_an_axe_violation_or_scrolls_sideways(
    sites: dict[str, Path], open_page: Callable[..., Any], scheme: str
) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    for page in PAGES if scheme == "light" else PAGES[:3]:
        watched = open_page(sites["partner"] / page, width=390 if scheme == "light" else 1280, scheme=scheme)
        results = axe.run(watched.page, options=WCAG)
        assert results.violations_count == 0, (page, results.generate_report())
        assert watched.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, page
        assert watched.said == [] and all(url.startswith("file:") for url in watched.asked), page


@pytest.mark.browser
def test_dealer_finds_a_part_by_its_old_number(sites: dict[str, Path], open_page: Callable[..., Any]) -> None:
    watched = open_page(sites["public"] / "index.html")
    watched.page.keyboard.press("/")
    watched.page.keyboard.type("bx-1190")
    watched.page.keyboard.press("Enter")
    watched.page.wait_for_selector("#parts tbody tr")
    assert watched.page.locator("#count").inner_text() == "1 of 11 parts"
    assert "BX-1190" in watched.page.locator("#parts tbody").inner_text()
    follow(watched.page.locator("#parts tbody a").first)
    assert watched.page.locator("h1").inner_text() == "Heater control knob"
    assert watched.said == []


@pytest.mark.browser
def test_list_sorts_by_quarter_and_price_and_keeps_it_in_the_address(
    sites: dict[str, Path], open_page: Callable[..., Any]
) -> None:
    page = open_page(sites["public"] / "parts" / "index.html").page
    page.get_by_role("button", name="expected").click()
    assert "sort=expected" in page.url
    told = [cell.inner_text() for cell in page.locator("#parts tbody td[data-label=expected]").all()]
    order = [("", "") if words == "now" else (words[3:], words[:2]) for words in told]
    assert order == sorted(order) and order[0] == ("", "") and order[-1] > ("2027", "Q1")
    page.get_by_role("button", name="price").click()
    prices = [float(cell.inner_text()) for cell in page.locator("#parts tbody td[data-label=price]").all()]
    assert prices == sorted(prices) and "sort=price" in page.url


@pytest.mark.browser
def test_pages_read_without_script_and_print_whole(sites: dict[str, Path], open_page: Callable[..., Any]) -> None:
    for name in ("index.html", "parts/index.html", "parts/TW-134.html"):
        watched = open_page(sites["public"] / name, script=False)
        assert watched.page.locator("main a").count() > 3
        watched.page.emulate_media(media="print")
        watched.page.set_viewport_size({"width": 718, "height": 1000})
        wide = watched.page.evaluate(
            "Math.max(...[...document.querySelectorAll('main *')].map(it => it.getBoundingClientRect().right))"
        )
        assert wide <= 719, (name, wide)


@pytest.mark.browser
@pytest.mark.skipif(
    "PIPELINE_PICTURES" not in os.environ, reason="set PIPELINE_PICTURES to a folder to have pictures made"
)
def test_pictures_of_each_page_type(sites: dict[str, Path], open_page: Callable[..., Any]) -> None:
    folder = Path(os.environ["PIPELINE_PICTURES"])
    for edition, site in sites.items():
        for page in PAGES:
            if (site / page).is_file():
                name = f"{edition}-{page.replace('/', '-').removesuffix('.html')}.png"
                open_page(site / page).page.screenshot(path=str(folder / name), full_page=True)
                assert (folder / name).stat().st_size > 5_000
