"""Each role's first question, asked in plain words: it starts at Home and has its answer after two clicks at most."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from icalendar import Calendar
from real_browser import follow

pytestmark = pytest.mark.browser
ATOM = "{http://www.w3.org/2005/Atom}"
MOST_CLICKS = 2
CUT = "TW-101"


@dataclass
class Visitor:
    """Somebody before the site, who counts their clicks; a choice in a list is one of them."""

    page: Any
    clicks: int = 0

    def click(self, thing: Any) -> None:
        follow(thing)
        self.count()

    def choose(self, name: str, value: str) -> None:
        self.page.select_option(f"select[name={name}]", value)
        self.count()

    def count(self) -> None:
        self.clicks += 1
        assert self.clicks <= MOST_CLICKS, "too many clicks"

    def sees(self, words: str, where: str = "main") -> bool:
        """True when the words are shown, within the first two screens of the page."""
        seen = self.page.locator(where).get_by_text(words).first
        return bool(seen.is_visible() and seen.bounding_box()["y"] < 1800)


@pytest.fixture
def visitor(demo_site: Path, open_page: Callable[..., Any]) -> Visitor:
    return Visitor(open_page(demo_site / "index.html").page)


def open_menu(visitor: Visitor, name: str) -> None:
    visitor.click(visitor.page.get_by_role("navigation", name="Site").get_by_role("link", name=name, exact=True))


def read_portfolio(site: Path) -> dict[str, dict[str, Any]]:
    data = json.loads((site / "data" / "portfolio.json").read_text(encoding="utf-8"))
    return {part["number"]: part for part in data["parts"]}


def test_lead_what_moved_since_monday_and_which_parts_are_held(demo_site: Path, visitor: Visitor) -> None:
    """What moved since Monday? Which parts are held?"""
    open_menu(visitor, "Review")
    root = ElementTree.parse(demo_site / "feed.xml").getroot()
    moved = {
        str(entry.findtext(f"{ATOM}title")).split(" ")[0]
        for entry in root.findall(f"{ATOM}entry")
        if str(entry.findtext(f"{ATOM}updated")) >= "2026-11-23"
    }
    shown = visitor.page.locator(".review").all_inner_texts()
    assert moved and all(any(number in text for text in shown) for number in moved)
    held = {n for n, p in read_portfolio(demo_site).items() if p["state"] == "held" or p["hold_calls"]}
    listed = visitor.page.locator(
        "#hold-calls tbody th a, #stopped tbody tr:has-text('Hold by') th a"
    ).all_inner_texts()
    assert set(listed) == held == {"TW-101", "TW-190"}
    assert visitor.clicks == 1


def test_engineer_what_do_i_do_next_on_my_part(demo_site: Path, visitor: Visitor) -> None:
    """What do I do next on my part?"""
    desk = visitor.page.get_by_role("region", name="Mara")
    assert desk.is_visible()
    visitor.click(desk.get_by_role("link", name=CUT, exact=True).first)
    steps = visitor.page.locator("ol.next li").all_inner_texts()
    assert steps[0].startswith("Ask North Die to wait with die.")
    assert visitor.page.locator("ol.next li").first.bounding_box()["y"] < 900, "it is on the first screen"
    assert visitor.clicks == 1


def test_engineer_finds_any_part_by_a_word_without_a_click(visitor: Visitor) -> None:
    """Where is the torsion spring? (With a letter wrong, and no hand on the mouse.)"""
    page = visitor.page
    page.keyboard.press("/")
    page.keyboard.type("torsoin")
    page.keyboard.press("Enter")
    page.wait_for_url("**/parts/index.html?q=torsoin")
    assert page.locator("#parts tbody tr").first.inner_text().startswith("TW-131")
    assert "torsion in" in page.locator("#parts tbody .hit").first.inner_text(), "it says what matched"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_url("**/parts/TW-131.html")
    assert page.locator("ol.next li").count() > 0
    assert visitor.clicks == 0


def test_owner_which_tool_next_with_this_cash_and_what_if_we_are_wrong(demo_site: Path, visitor: Visitor) -> None:
    """Which tool do I release next with this cash? And what would it cost if we are wrong?"""
    open_menu(visitor, "Tooling spend")
    page = visitor.page
    first = page.locator("main a", has_text=re.compile(r"^TW-\d+ (tools|release)$")).first
    assert visitor.sees("Release now") and first.bounding_box()["y"] < 900
    number = first.inner_text().split(" ")[0]
    visitor.click(first)
    page.wait_for_url(f"**/{number}.html*")
    costs = read_portfolio(demo_site)[number]["cost_of_change"]
    cut = next(one for one in costs["stages"] if one["stage"] == "tool cut")["cost"]["likely"]
    drawing = page.get_by_role("region", name="What one change costs").locator("svg").first
    assert f"{cut:,.0f}" in drawing.text_content(), "what a change costs once the tool is cut"
    assert costs["today"]["cost"]["likely"] < cut
    assert visitor.clicks == 2


def test_buyer_which_quotes_end_soon(demo_site: Path, visitor: Visitor) -> None:
    """Which quotes end soon?"""
    open_menu(visitor, "Buying")
    days = [
        int(text.replace("−", "-")) for text in visitor.page.locator("#buyer tbody td:nth-child(6)").all_inner_texts()
    ]
    assert days == sorted(days) and any(0 <= one <= 30 for one in days)
    link = visitor.page.get_by_role("link", name="The same days as a calendar")
    text = (demo_site / str(link.get_attribute("href")).removeprefix("./")).read_text(encoding="utf-8")
    events = [
        one for one in Calendar.from_ical(text).walk("VEVENT") if "quote ends" in one["CATEGORIES"].to_ical().decode()
    ]
    ends = {(str(one["SUMMARY"]).split(":")[0], one["DTSTART"].dt) for one in events}
    today = dt.date(2026, 11, 30)
    numbers = visitor.page.locator("#buyer tbody th").all_inner_texts()
    listed = {(number, today + dt.timedelta(days=left)) for number, left in zip(numbers, days, strict=True)}
    assert len(listed) > 5 and listed <= ends, "each of them is a day of the calendar that the page leads to"
    assert visitor.clicks == 1


def test_dealer_is_there_a_part_for_this_body_and_year(demo_site: Path, visitor: Visitor) -> None:
    """I have a 1953 estate: is there a part for it that I can buy?"""
    open_menu(visitor, "Vehicles")
    page = visitor.page
    matrix = page.locator("table", has=page.locator("caption", has_text="Parts of Tarnwick Sedge by body and years"))
    heads = [" ".join(one.split()) for one in matrix.locator("thead th").all_inner_texts()]
    at = next(place for place, head in enumerate(heads) if head.startswith("Estate"))
    rows = [
        (row.locator("th a").first.inner_text(), row.locator("td").nth(at - 1).inner_text())
        for row in matrix.locator("tbody tr:has(td):has(th a)").all()
    ]
    to_be_had = {number for number, cell in rows if cell.startswith("released")}
    parts = read_portfolio(demo_site)
    expected = {
        number
        for number, part in parts.items()
        if part["released"]
        and any(
            f["vehicle"] == "sedge" and f["body"] == "estate" and f["first"] <= 1953 <= f["last"] for f in part["fits"]
        )
    }
    assert expected and expected <= to_be_had
    assert visitor.clicks == 1


def test_dealer_narrows_the_list_to_a_body_and_a_year_by_address(
    demo_site: Path, open_page: Callable[..., Any]
) -> None:
    """The same question as an address that a colleague was sent: body, year and stage stand in it."""
    page = open_page(f"{(demo_site / 'parts' / 'index.html').as_uri()}?body=Estate&year=1953&gate=released").page
    shown = set(page.locator("#parts tbody th").all_inner_texts())
    expected = {
        number
        for number, part in read_portfolio(demo_site).items()
        if part["released"]
        and any(f["body"] == "estate" for f in part["fits"])
        and any(f["first"] <= 1953 <= f["last"] for f in part["fits"])
    }
    assert shown == expected != set()


def test_every_filter_that_a_workshop_asks_for_is_there_with_its_counts(
    demo_site: Path, open_page: Callable[..., Any]
) -> None:
    page = open_page(demo_site / "parts" / "index.html").page
    labels = [one.casefold() for one in page.locator("#filters label > span").all_inner_texts()[1:]]
    assert labels == [
        "vehicle",
        "body",
        "year",
        "hand",
        "family",
        "stage",
        "state",
        "readiness",
        "engineer",
        "waits for",
        "safety class",
        "supplier",
    ]
    for select in page.locator("#filters select").all():
        options = select.locator("option").all_inner_texts()
        assert len(options) > 1 and all(re.search(r" \(\d+\)$", one) for one in options[1:]), options
    parts = read_portfolio(demo_site)
    page.select_option("select[name=readiness]", "a decision is wanted")
    assert set(page.locator("#parts tbody th").all_inner_texts()) == {
        n for n, p in parts.items() if p["state"] == "ready for decision"
    }
    page.select_option("select[name=readiness]", "1 requirement missing")
    for number in page.locator("#parts tbody th").all_inner_texts():
        gates = [
            gate
            for name, gate in parts[number]["gates"].items()
            if name == parts[number]["gate"] or gate["state"] == "stale"
        ]
        wanted = [
            one for gate in gates for one in gate["requirements"] if one["met"] not in ("met", "waived", "not needed")
        ]
        assert len(wanted) == 1, number
    page.select_option("select[name=readiness]", "")
    waiting = page.locator("select[name=resource] option").nth(1).get_attribute("value")
    page.select_option("select[name=resource]", str(waiting))
    shown = set(page.locator("#parts tbody th").all_inner_texts())
    page.goto((demo_site / "flow.html").as_uri())
    queue = page.locator("#queues tbody tr", has=page.locator("th", has_text=str(waiting)))
    assert shown and all(number in queue.first.inner_text() or "more" in queue.first.inner_text() for number in shown)


# --- what leaves the site ------------------------------------------------------------------------------------------


def test_feed_and_calendars_are_linked_and_lead_to_what_exists(demo_site: Path) -> None:
    pages = {
        path.relative_to(demo_site).as_posix(): path.read_text(encoding="utf-8") for path in demo_site.rglob("*.html")
    }
    for address, text in pages.items():
        up = "../" * address.count("/") or "./"
        assert (
            text.count(f'<link rel="alternate" type="application/atom+xml" title="What moved" href="{up}feed.xml">')
            == 1
        ), address
    assert 'href="./feed.xml">The same as a feed</a>' in pages["review.html"]
    assert (
        'href="./calendar/all.ics">' in pages["index.html"] and 'href="./calendar/for-mara.ics">' in pages["index.html"]
    )
    ids = {address: set(re.findall(r'\bid="([^"]+)"', text)) for address, text in pages.items()}
    for link in ElementTree.parse(demo_site / "feed.xml").getroot().iter(f"{ATOM}link"):
        path, _, anchor = str(link.get("href")).partition("#")
        assert (demo_site / path).is_file() and (not anchor or anchor in ids[path]), link.get("href")
    calendars = {
        path.name: Calendar.from_ical(path.read_text(encoding="utf-8")) for path in (demo_site / "calendar").iterdir()
    }
    assert len(calendars) > 8 and len(calendars["all.ics"].walk("VEVENT")) > 40
    commit = re.search(r"record ([0-9a-f]{7})<", pages["index.html"])
    assert commit is not None
    stamps = {event["DTSTAMP"].dt for one in calendars.values() for event in one.walk("VEVENT")}
    assert len(stamps) == 1 and stamps.pop().year == 2026, "the moment of the records' last commit, not of the build"
