"""The page of tooling spend in a real browser: the budget moves between solved plans, by mouse and by keyboard; it reads
without a script, on a phone, in the dark and on paper."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from real_browser import follow

from pipeline.sitegen.build import build_site
from pipeline.sitegen.spend_data import write_points
from pipeline.views.shapes_site import PageHead
from pipeline.views.shapes_spend import SpendPage, SpendPoint

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
WCAG = {"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
STEP = 2500


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's site, built in a copy of its workspace."""
    root = tmp_path_factory.mktemp("spend")
    for name in ("projects", "shared", "site"):
        shutil.copytree(ROOT / name, root / name)
    return build_site(root).out


def _read_points(site: Path) -> list[dict[str, Any]]:
    text = (site / "data" / "spend.js").read_text("utf-8")
    points: list[dict[str, Any]] = json.loads(re.fullmatch(r"window\.spendPoints = (.*);\n", text, re.S).group(1))  # type: ignore[union-attr]
    return points


def _shown(page: Any) -> str:
    words: str = page.locator("#panel .standing dd").first.inner_text()
    return words


def _axe(page: Any) -> list[tuple[str, str]]:
    from axe_playwright_python.sync_playwright import Axe

    violations = Axe().run(page, options=WCAG).response["violations"]
    return [(one["id"], node["html"][:160]) for one in violations for node in one["nodes"][:3]]


# --- the slider ---------------------------------------------------------------------------------------------


def test_the_page_opens_on_the_stated_budget(site: Path, open_page: Callable[..., Any]) -> None:
    watched = open_page(site / "spend.html")
    page = watched.page
    assert _shown(page) == "360,000 USD"
    assert page.locator("#stands").inner_text() == "You stand on a solved budget: 360,000 USD, the stated one."
    assert watched.said == []
    assert [url for url in watched.asked if not url.startswith(site.as_uri())] == []


def test_between_two_points_the_lower_one_is_shown_and_nothing_invented(
    site: Path, open_page: Callable[..., Any]
) -> None:
    page = open_page((site / "spend.html").as_uri() + "?budget=88000").page
    assert page.locator("#stands").inner_text() == (
        "You stand at 88,000 USD, between the solved budgets 75,000 USD and 100,000 USD. Shown is what 75,000 USD buys; "
        "nothing is claimed for the amounts between."
    )
    assert _shown(page) == "75,000 USD"
    points = _read_points(site)
    at = next(one for one in points if one["budget"] == 75_000)
    plain = page.evaluate("html => new DOMParser().parseFromString(html, 'text/html').body.textContent", at["panel"])
    page.evaluate(
        "document.querySelectorAll('#panel .tablefoot.made').forEach(it => it.remove())"
    )  # the page's own button
    assert " ".join(page.locator("#panel").evaluate("it => it.textContent").split()) == " ".join(plain.split())


def test_the_keyboard_moves_the_budget(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page((site / "spend.html").as_uri() + "?budget=75000").page
    page.locator("#cash").focus()
    page.keyboard.press("ArrowRight")
    assert "between the solved budgets 75,000 USD and 100,000 USD" in page.locator("#stands").inner_text()
    assert "showing 75,000 USD" in page.locator("#cash").get_attribute("aria-valuetext")
    for _ in range(9):
        page.keyboard.press("ArrowRight")
    assert _shown(page) == "100,000 USD"
    assert page.locator("#stands").inner_text() == "You stand on a solved budget: 100,000 USD."
    page.keyboard.press("Home")
    assert _shown(page) == "58,208 USD"
    page.keyboard.press("End")
    assert _shown(page) == "450,000 USD"


def test_every_stand_of_the_slider_shows_a_solved_point_at_or_below(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "spend.html").page
    budgets = [(one["budget"], one["words"]) for one in _read_points(site)]
    for value in range(60_000, 450_001, 13_700):
        page.evaluate(
            "value => { const it = document.getElementById('cash'); it.value = value; it.dispatchEvent(new Event('input')); }",
            value,
        )
        stands = float(page.locator("#cash").input_value())
        near = [words for budget, words in budgets if abs(budget - stands) <= STEP / 2]
        below = [words for budget, words in budgets if budget <= stands]
        assert _shown(page) == (near or below[-1:])[0], stands
        assert ("between" in page.locator("#stands").inner_text()) == (not near)


def test_buttons_go_from_point_to_point_and_back_to_the_stated_one(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page((site / "spend.html").as_uri() + "?budget=88000").page
    page.get_by_role("button", name="Solved budget below").click()
    assert _shown(page) == "75,000 USD" and "on a solved budget" in page.locator("#stands").inner_text()
    page.get_by_role("button", name="Solved budget above").click()
    assert _shown(page) == "100,000 USD"
    assert page.url.endswith("?budget=100000")
    again = open_page(page.url).page
    assert _shown(again) == "100,000 USD"
    page.get_by_role("button", name="Stated budget").click()
    assert _shown(page) == "360,000 USD" and "?" not in page.url


def test_what_is_not_a_number_in_the_address_is_the_stated_budget(site: Path, open_page: Callable[..., Any]) -> None:
    for wrong in ("x", "", "1e999", "%3Cscript%3E"):
        watched = open_page((site / "spend.html").as_uri() + f"?budget={wrong}")
        assert _shown(watched.page) == "360,000 USD", wrong
        assert watched.said == []
    assert _shown(open_page((site / "spend.html").as_uri() + "?budget=-5").page) == "58,208 USD"


def test_a_drawing_follows_the_point(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page((site / "spend.html").as_uri() + "?budget=100000").page
    svg = page.locator("#panel .drawing svg")
    assert svg.count() == 2
    assert svg.first.bounding_box()["height"] > 150
    assert "2027-Q1: 22,660 USD promised, 8,200 USD planned" in svg.first.locator("desc").text_content()
    link = page.locator("#panel .releases a").first
    assert link.get_attribute("href").startswith("./parts/TW-")
    follow(link)
    assert "/parts/TW-" in page.url


# --- reading it otherwise -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width", "scheme"),
    [
        (1280, "light"),
        (390, "dark"),
        *(pytest.param(*one, marks=pytest.mark.slow) for one in ((1280, "dark"), (390, "light"))),
    ],
)
def test_no_violation_and_nothing_sideways(site: Path, open_page: Callable[..., Any], scheme: str, width: int) -> None:
    page = open_page(site / "spend.html", width=width, scheme=scheme).page
    page.evaluate(OPEN_ALL)
    assert _axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_without_a_script_the_plan_and_the_table_of_points_read(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "spend.html", script=False).page
    assert not page.locator("#budget").is_visible()
    assert page.locator("#stands").inner_text() == "Shown is the plan for the stated budget, 360,000 USD."
    assert page.locator("#panel svg").count() == 2
    rows = page.locator("#frontier tbody tr")
    assert rows.count() == len(_read_points(site))
    assert "100,000" in rows.nth(2).inner_text() and "TW-161 tools" in rows.nth(2).inner_text()
    assert page.locator("#ranking tbody tr").count() >= 11
    assert "Just below the line" in page.locator("main").inner_text()


@pytest.mark.parametrize(("paper", "width"), (("A4", 703), ("Letter", 725)))  # less 12 mm at each side, 96 px an inch
def test_paper_holds_every_column(site: Path, open_page: Callable[..., Any], paper: str, width: int) -> None:
    page = open_page(site / "spend.html", width=width).page
    page.evaluate(OPEN_ALL)
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= width, paper
    assert not page.locator("#budget").is_visible()
    assert page.locator("#panel .standing").is_visible()
    assert page.locator("#promised table").bounding_box()["height"] > 100


def test_the_ranking_sorts_by_cost(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "spend.html").page
    head = page.locator("#ranking thead th", has_text="cost")
    head.get_by_role("button").click()
    costs = [int(text.replace(",", "")) for text in page.locator("#ranking tbody td.c-2").all_inner_texts()]
    assert costs == sorted(costs) and len(costs) >= 11


def test_every_table_downloads(site: Path) -> None:
    files = {path.name for path in (site / "spend").glob("*.csv")}
    assert files == {
        "budgets.csv", "cash-value.csv", "cut-line.csv", "idle.csv", "left-out.csv", "must-dos.csv", "promised.csv",
        "quarters.csv", "ranking.csv", "releases.csv",
    }  # fmt: skip
    text = (site / "spend.html").read_text("utf-8")
    assert all(f'href="./spend/{name}" download' in text for name in files if name not in ("idle.csv", "must-dos.csv"))


# --- the data file ------------------------------------------------------------------------------------------------


def test_text_of_a_record_stays_text_in_the_data_file() -> None:
    point = SpendPoint(1.0, '1 </script><script>alert("x")', "–", "", "", (), ())
    view = SpendPage(PageHead("t", "spend.html"), (), (), (), (point,), 0, 1.0, "USD", "", "data/spend.js", ())
    text = write_points(view, "<!--point--><p>\u2028 &lt;/script&gt;</p>\n")
    assert "</" not in text and "\u2028" not in text
    rows = json.loads(text.removeprefix("window.spendPoints = ").removesuffix(";\n"))
    assert rows == [{"budget": 1.0, "words": point.budget_words, "panel": "<p>\u2028 &lt;/script&gt;</p>"}]


@pytest.mark.slow
def test_two_builds_give_the_same_bytes(site: Path) -> None:
    root = site.parents[1]
    before = {name: (site / name).read_bytes() for name in ("spend.html", "data/spend.js", "spend/ranking.csv")}
    shutil.rmtree(root / ".pipeline" / "plans")
    assert build_site(root).out == site
    assert {name: (site / name).read_bytes() for name in before} == before
