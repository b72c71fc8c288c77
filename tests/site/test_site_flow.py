"""Review, flow and part history of the demo with its history, in a real browser: both schemes, a phone, no script."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from told_demo import copy_demo

from pipeline.sitegen.build import build_site
from pipeline.sitegen.link_check import check_links

pytestmark = pytest.mark.slow
PAGES = (
    "flow.html",
    "review.html",
    "parts/TW-101.html",
    "methods/flow.html",
    "methods/history.html",
    "methods/plan.html",
    "rules/H904.html",
)
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
WCAG = {"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
CONTRAST = {"preload": False, "runOnly": {"type": "rule", "values": ["color-contrast"]}}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A demo of 70 parts with its history, built."""
    built = build_site(copy_demo(tmp_path_factory.mktemp("flow") / "w", 70))
    assert built.warnings == ()
    return built.out


def find_violations(page: Any, options: dict[str, Any]) -> list[tuple[str, str]]:
    from axe_playwright_python.sync_playwright import Axe

    violations = Axe().run(page, options=options).response["violations"]
    return [(one["id"], node["html"][:160]) for one in violations for node in one["nodes"][:3]]


def test_every_link_leads_somewhere_and_every_table_has_its_file(site: Path) -> None:
    files = [path.relative_to(site).as_posix() for path in site.rglob("*") if path.is_file()]
    pages = {name: (site / name).read_text("utf-8") for name in PAGES}
    assert check_links(pages, files) == []
    tables = set(re.findall(r'href="\./(flow/[a-z]+\.csv)"', pages["flow.html"]))
    assert tables == {f"flow/{n}.csv" for n in ("ageing", "queues", "forecasts", "backtest", "durations", "little")}
    assert (site / "flow/forecasts.csv").read_text("utf-8-sig").startswith("part,stage,likely by")


@pytest.mark.browser
@pytest.mark.parametrize("page", PAGES)
def test_page_is_clean_in_both_schemes(site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(site / page)
    watched.page.evaluate(OPEN_ALL)
    assert find_violations(watched.page, WCAG) == []
    watched.page.emulate_media(color_scheme="dark")
    assert find_violations(watched.page, CONTRAST) == []
    assert watched.said == []
    assert [url for url in watched.asked if not url.startswith(site.as_uri())] == []


@pytest.mark.browser
@pytest.mark.parametrize("page", PAGES)
def test_nothing_scrolls_sideways(site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(site / page)
    watched.page.evaluate(OPEN_ALL)
    for width in (1280, 640, 390):
        watched.page.set_viewport_size({"width": width, "height": 900})
        assert watched.page.evaluate("document.documentElement.scrollWidth") <= width, width


@pytest.mark.browser
def test_flow_and_review_read_without_a_script(site: Path, open_page: Callable[..., Any]) -> None:
    flow = open_page(site / "flow.html", width=390, script=False).page
    text = flow.locator("main").inner_text()
    assert "inside their 85 % range" in text and "One more hour a week" in text and "Most is asked of" in text
    assert flow.locator("#all-forecasts tbody tr").count() > 30 > flow.locator("#forecasts tbody tr").count() > 5
    assert flow.locator("main svg.drawing, main figure svg").count() >= 4
    flow.locator("#durations summary").first.click()
    assert flow.get_by_text("Parts that are still there count as longer").is_visible()
    review = open_page(site / "review.html", width=390, script=False).page
    heads = review.locator("main h2").all_inner_texts()
    assert heads[0].startswith("Hold calls") and any(head.startswith("Figures that changed") for head in heads)
    assert any(head.startswith("Likely released within 13 weeks") for head in heads)


@pytest.mark.browser
def test_history_and_forecast_open_on_the_part(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page((site / "parts/TW-101.html").as_uri() + "#history").page
    rows = page.locator("#history tbody tr")
    assert rows.count() > 25 and rows.first.is_visible()
    assert re.search(r"16 Nov 2026, Mara,\s*[0-9a-f]{7}", rows.first.inner_text().replace("\n", " "))
    page.locator("#forecast summary").first.click()
    assert "Likely released by" in page.locator("#forecast").inner_text()
