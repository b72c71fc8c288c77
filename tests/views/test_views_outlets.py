"""The feed and the calendars: worked by hand on the sample, held against RFC 4287 and RFC 5545 on the demo's own records."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from pipeline.portfolio.moves import MoveKind
from pipeline.portfolio.outlook import look_out
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.portfolio.told_moves import find_told_moves
from pipeline.views.calendar_text import escape_text, fold_line, render_calendar
from pipeline.views.csv_tables import join_line
from pipeline.views.due_days import build_calendars, find_due_days
from pipeline.views.feed import DAYS, LEAST, MOST, build_feed
from pipeline.views.feed_text import render_feed
from pipeline.views.review_moves import word_move
from pipeline.views.shapes_outlets import DayCalendar, DueDay, Feed, FeedEntry

ROOT = Path(__file__).parents[2]
ATOM = "{http://www.w3.org/2005/Atom}"
DAY = dt.date(2026, 11, 30)
MADE_AT = 1_764_496_800  # 30 Nov 2025, 10:00 UTC
HOSTILE = "<script>alert(1)</script> ]]> &amp; \"q\" 'a' \x00\x0b\ufffe {{ x }} https://x.invalid/?a=1&b=2"
SITE = "https://parts.invalid/site/"
Write = Callable[..., Path]


@pytest.fixture(scope="module")
def demo() -> Portfolio:
    """The repository's own records."""
    return look_out(build_portfolio(ROOT), ROOT, with_flow=False)


def read(root: Path, day: dt.date | None = None) -> Portfolio:
    return build_portfolio(root, day)


def find_feed(portfolio: Portfolio) -> Feed:
    feed = build_feed(portfolio)
    assert feed is not None
    return feed


# --- the feed ---------------------------------------------------------------------------------------------------


def test_feed_of_the_sample_is_what_its_record_says(sample: Write) -> None:
    """Worked by hand from the record of the sample."""
    extra = "waivers:\n  - {of: tooling.proofs, on: 2026-05-20, until: 2026-05-25, by: ann, risk: bob, exposure: 900 USD, instead: a second look, why: no laboratory free}\n"
    feed = find_feed(read(sample(extra)))
    assert [(one.on.isoformat(), one.title.removeprefix("SD-100 Sample hook: "), one.who) for one in feed.entries] == [
        ("2026-05-25", "the waiver of tooling.proofs ended", ""),
        ("2026-05-20", "tooling.proofs set aside", "Ann"),
        ("2026-02-10", "fit check gate proven", "Bob"),
        ("2026-02-03", "prototype gate proven", "Bob"),
        ("2026-01-25", "model gate proven", "Bob"),
        ("2026-01-15", "measure gate proven", "Bob"),
        ("2026-01-10", "work began", ""),
    ]
    assert [one.href for one in feed.entries][2] == "parts/SD-100.html#gate-fit-check"
    assert (feed.updated.isoformat(), feed.title) == ("2026-05-25", "Sample shop: what moved")


ENDED = (
    "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-28}}\n"
    "quotes:\n  Q1: {from: foundry, of: A, on: 2026-03-01, valid_to: 2026-05-20, money: USD, tools: {die: 9000}, piece: {500: 4.20}}\n"
    "waivers:\n  - {of: tooling.proofs, on: 2026-05-20, until: 2026-05-25, by: ann, risk: bob, exposure: 900 USD, instead: a look, why: busy}\n"
)
SAID_ONCE = (MoveKind.TOOL_STEP, MoveKind.WAIVER_ENDED, MoveKind.QUOTE_ENDED, MoveKind.NEW)


def test_feed_and_review_say_a_step_and_an_end_in_the_same_words(sample: Write) -> None:
    portfolio = read(sample(ENDED))
    file = portfolio.parts["SD-100"]
    told = {move.kind: join_line(word_move(file, move)) for move in find_told_moves(portfolio)}
    entries = {one.kind: one for one in find_feed(portfolio).entries}
    for kind in SAID_ONCE:
        assert entries[kind.value].title == f"SD-100 Sample hook: {told[kind]}"
        assert entries[kind.value].words == told[kind]
    assert told[MoveKind.TOOL_STEP] == "tool die: ordered"
    assert told[MoveKind.QUOTE_ENDED].startswith("quote Q1 of ")


STALE = """\
revisions:
  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}
  B: {on: 2026-05-11, by: ann, from: [M1, M2], changed: [length], why: too long}
"""


def test_a_gate_that_goes_stale_is_a_new_entry_and_its_decision_keeps_its_id(sample: Write) -> None:
    """RFC 4287, 4.2.6: the id of an entry never changes, whatever becomes of it."""
    before, after = (find_feed(read(sample(part))).entries for part in ("", STALE))
    old, new = ({one.id: one for one in entries} for entries in (before, after))
    decided = next(one for one in before if one.title.endswith("fit check gate proven"))
    assert new[decided.id].title.endswith("fit check gate: go")
    assert set(old) <= set(new)
    fresh = [one for one in after if one.id not in old]
    assert {(one.kind, one.on.isoformat()) for one in fresh} == {("gone stale", "2026-05-11")}
    assert any("revision B" in one.words for one in fresh)


def test_the_day_of_the_build_changes_no_entry(sample: Write) -> None:
    root = sample()
    days = (dt.date(2026, 6, 1), dt.date(2026, 6, 20))
    one, other = (find_feed(read(root, day)).entries for day in days)
    assert one == other != ()


def test_two_decisions_of_one_day_are_two_entries(sample: Write) -> None:
    twice = "decisions:\n" + "".join(
        f"  - {{gate: measure, on: 2026-01-15, by: bob, say: rework, why: {why}}}\n" for why in ("too few", "too worn")
    )
    entries = find_feed(read(sample(twice))).entries
    assert len({one.id for one in entries}) == len(entries)
    assert sum(one.kind == "decided" for one in entries) == 2


def test_feed_is_long_enough_and_no_longer(demo: Portfolio) -> None:
    entries = find_feed(demo).entries
    assert min(LEAST, len(entries)) <= len(entries) <= MOST
    assert [one.on for one in entries] == sorted((one.on for one in entries), reverse=True)
    assert {"proven", "gone stale", "decided", "tool step", "hold call", "ready for decision"} <= {
        one.kind for one in entries
    }
    assert DAYS > 28


def test_a_broken_workspace_has_no_feed_and_no_calendar(sample: Write) -> None:
    broken = read(sample("", {"shared/gates.yaml": "gates: 3\n"}))
    assert broken.workspace is None
    assert build_feed(broken) is None and build_calendars(broken) == () and find_due_days(broken) == ()


def check_atom(text: str) -> list[str]:
    """Return what breaks RFC 4287, by clause."""
    root = ElementTree.fromstring(text.encode("utf-8"))
    wrong = [] if root.tag == f"{ATOM}feed" else ["2: the document is no feed of the Atom namespace"]
    entries = root.findall(f"{ATOM}entry")
    for container in (root, *entries):
        for name in ("id", "title", "updated"):
            if len(container.findall(f"{ATOM}{name}")) != 1:
                wrong.append(f"4.1.1, 4.1.2: exactly one {name}")
        moment = container.findtext(f"{ATOM}updated") or ""
        if not re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)", moment):
            wrong.append(f"3.3: {moment} is no RFC 3339 moment with capitals T and Z")
        identity = container.findtext(f"{ATOM}id") or ""
        if not re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", identity):
            wrong.append(f"4.2.6, RFC 4122, 3: {identity} is no absolute IRI in its normal form")
        links = container.findall(f"{ATOM}link")
        alternates = [
            (one.get("type"), one.get("hreflang")) for one in links if one.get("rel", "alternate") == "alternate"
        ]
        if len(alternates) != len(set(alternates)):
            wrong.append("4.1.1, 4.1.2: two alternates of one type")
        if not alternates and container.find(f"{ATOM}content") is None:
            wrong.append("4.1.2: an entry without content has an alternate link")
        wrong += ["4.2.7.1: a link without href" for one in links if not one.get("href")]
        wrong += [
            "4.2.2.1: a category without term" for one in container.findall(f"{ATOM}category") if not one.get("term")
        ]
        wrong += [
            "3.2.1: a person without a name"
            for one in container.findall(f"{ATOM}author")
            if not one.findtext(f"{ATOM}name")
        ]
        for name in ("title", "subtitle", "summary"):
            for one in container.findall(f"{ATOM}{name}"):
                if one.get("type", "text") == "text" and len(one):
                    wrong.append(f"3.1.1.1: {name} of the type text has child elements")
                if not (one.text or "").strip():
                    wrong.append(f"4.1.1.1, 4.2.14: {name} is empty")
    if root.find(f"{ATOM}author") is None and not all(one.find(f"{ATOM}author") is not None for one in entries):
        wrong.append("4.1.1: a feed has an author, or each entry has")
    if not any(one.get("rel") == "self" for one in root.findall(f"{ATOM}link")):
        wrong.append("4.1.1: a feed should have a link to itself")
    ids = [one.findtext(f"{ATOM}id") for one in (root, *entries)]
    if len(ids) != len(set(ids)):
        wrong.append("4.1.1, 4.2.6: two entries of one id")
    if max((one.findtext(f"{ATOM}updated") or "" for one in entries), default="") > (
        root.findtext(f"{ATOM}updated") or ""
    ):
        wrong.append("4.2.15: the feed was updated when its youngest entry was")
    return wrong


def test_demo_feed_keeps_the_rules_of_atom(demo: Portfolio) -> None:
    """Source: RFC 4287, clause by clause; the clauses stand in `check_atom`."""
    text = render_feed(find_feed(demo))
    assert check_atom(text) == []
    assert len(ElementTree.fromstring(text).findall(f"{ATOM}entry")) >= 50
    assert render_feed(find_feed(look_out(build_portfolio(ROOT), ROOT, with_flow=False))) == text


@pytest.mark.parametrize(
    ("old", "new", "clause"),
    (
        ('<feed xmlns="http://www.w3.org/2005/Atom"', '<feed xmlns="urn:x"', "2:"),
        ("<title>T</title>", "", "4.1.1, 4.1.2: exactly one title"),
        ("2026-11-30T00:00:00Z", "2026-11-30", "3.3"),
        ("urn:uuid:", "uuid:", "4.2.6, RFC"),
        ('rel="self"', 'rel="alternate"', "4.1.1: a feed should"),
        ("<author><name>M</name></author>", "", "4.1.1: a feed has an author"),
        ('term="proven"', 'term=""', "4.2.2.1"),
        ('<summary type="text">words', '<summary type="text"><b/>words', "3.1.1.1"),
        ("00000000-0000-0000-0000-000000000002", "00000000-0000-0000-0000-000000000001", "4.1.1, 4.2.6"),
    ),
)
def test_the_rules_of_atom_can_be_broken(old: str, new: str, clause: str) -> None:
    text = render_feed(make_feed("words"))
    assert check_atom(text) == [] and old in text
    assert any(one.startswith(clause) for one in check_atom(text.replace(old, new)))


def make_feed(words: str, title: str = "T") -> Feed:
    ids = [f"urn:uuid:00000000-0000-0000-0000-00000000000{n}" for n in (1, 2)]
    entry = FeedEntry(ids[1], DAY, words, words, "parts/TW-101.html#gate-model", "proven")
    return Feed(ids[0], title, "S", "M", "feed.xml", "review.html", DAY, (entry,))


def test_hostile_text_is_text_in_a_feed() -> None:
    text = render_feed(make_feed(HOSTILE, HOSTILE), SITE)
    assert check_atom(text) == []
    root = ElementTree.fromstring(text)
    shown = HOSTILE.replace("\x00", "\ufffd").replace("\x0b", "\ufffd").replace("\ufffe", "\ufffd")
    assert root.findtext(f"{ATOM}entry/{ATOM}title") == root.findtext(f"{ATOM}entry/{ATOM}summary") == shown
    assert root.findtext(f"{ATOM}title") == shown
    assert {one.tag.removeprefix(ATOM) for one in root.iter()} <= {
        "feed", "id", "title", "subtitle", "updated", "author", "name", "generator", "link", "entry", "category", "summary",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("site", "begins"),
    (("", ""), (SITE, SITE), ("https://parts.invalid/site", SITE), ("javascript:alert(1)", ""), ("parts.invalid", "")),
)
def test_links_are_relative_unless_the_site_has_an_address(site: str, begins: str) -> None:
    """RFC 3986, 5.1: a relative reference is resolved against where the feed was read from, the root of the site."""
    root = ElementTree.fromstring(render_feed(make_feed("words"), site))
    hrefs = [one.get("href") for one in root.iter(f"{ATOM}link")]
    assert hrefs == [f"{begins}{path}" for path in ("feed.xml", "review.html", "parts/TW-101.html#gate-model")]


# --- the calendars ----------------------------------------------------------------------------------------------


def test_days_of_the_sample_are_what_its_record_says(sample: Write) -> None:
    """Worked by hand. 1 June 2026 is a Monday; 12 weeks from 11 May are 3 August; the arm's calibration is on record."""
    more = """\
announce: 2026-09-01
waivers:
  - {of: tooling.proofs, on: 2026-05-20, until: 2026-06-25, by: ann, risk: bob, exposure: 900 USD, instead: a second look, why: no laboratory free}
  - {of: tooling.proofs, on: 2026-03-20, until: 2026-04-25, by: ann, risk: bob, exposure: 900 USD, instead: a look, why: no time}
tools:
  die: {kind: die, forms: [length], price: 9000 USD, by: foundry, weeks: [10, 12, 14], cut_planned: 2026-06-20, steps: {quoted: 2026-05-01, ordered: 2026-05-11}}
"""
    days = find_due_days(read(sample(more)))
    found = [(day.on.isoformat(), day.kind, day.title) for day in days if day.kind != "calibration ends"]
    assert found == [
        ("2026-06-01", "review", "Review of the parts"),
        ("2026-06-20", "cut", "SD-100: die is to be cut at the foundry"),
        ("2026-06-25", "waiver ends", "SD-100: waiver of tooling.proofs ends"),
        ("2026-08-03", "tools due", "SD-100: die due at the foundry"),
        ("2026-09-01", "announcement", "SD-100: may be shown to others"),
    ]
    assert next(day for day in days if day.kind == "waiver ends").who == {"ann", "bob"}


def test_a_quote_is_in_the_calendar_while_something_may_be_ordered_on_it(sample: Write) -> None:
    assert [(d.on.isoformat(), d.title) for d in find_due_days(read(sample())) if d.kind == "quote ends"] == [
        ("2026-08-01", "SD-100: quote Q1 of the foundry ends")
    ]
    ordered = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-11}}\n"
    assert [d for d in find_due_days(read(sample(ordered))) if d.kind == "quote ends"] == []


def test_a_day_that_moves_stays_the_same_event(sample: Write) -> None:
    """RFC 5545, 3.8.4.7: the UID names the event for ever; RFC 7986, 5.3: it is a UUID."""
    later = "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-09-15, money: USD, tools: {die: 9000}, piece: {500: 4.20}}\n"
    one, other = ({d.kind: d for d in find_due_days(read(sample(part)))}["quote ends"] for part in ("", later))
    assert one.id == other.id and one.on != other.on


def test_reviews_fall_every_so_many_days(sample: Write) -> None:
    root = sample("", {"shared/shop.yaml": "name: Sample shop\nreview_every_days: 14\n"})
    days = [dt.date(2026, 6, 1) + dt.timedelta(days=n) for n in range(29)]
    nexts = [next(d.on for d in find_due_days(read(root, day)) if d.kind == "review") for day in days]
    assert len(set(nexts)) == 3
    assert all(0 <= (on - day).days < 14 for on, day in zip(nexts, days, strict=True))
    assert {(b - a).days for a in nexts for b in nexts if b > a} <= {14, 28}


def test_each_person_has_a_calendar_of_their_own(demo: Portfolio) -> None:
    everything, *own = build_calendars(demo)
    assert demo.workspace is not None
    people = demo.workspace.catalogues.people.people
    assert {one.href for one in own} == {f"calendar/for-{key}.ics" for key in people if key != "perrin"}  # he has left
    for one in own:
        key = one.href.removeprefix("calendar/for-").removesuffix(".ics")
        assert one.days == tuple(day for day in everything.days if key in day.who)
    assert {d.kind for d in everything.days} >= {
        "quote ends", "waiver ends", "decision due", "review", "announcement", "tools due", "cut", "calibration ends",
    }  # fmt: skip


def list_lines(text: str) -> list[str]:
    return text.removesuffix("\r\n").split("\r\n")


@pytest.mark.parametrize("site", ("", SITE))
def test_demo_calendars_are_read_by_an_outside_reader(demo: Portfolio, site: str) -> None:
    """The referee is the library icalendar; clauses are those of RFC 5545."""
    for calendar in build_calendars(demo):
        text = render_calendar(calendar, MADE_AT, site)
        assert text.endswith("\r\n") and not re.search(r"\r(?!\n)|(?<!\r)\n", text), "3.1: lines end in CRLF"
        assert max(len(line.encode()) for line in list_lines(text)) <= 75, "3.1: no line is longer than 75 octets"
        read = Calendar.from_ical(text)
        assert read.errors == [] and str(read["VERSION"]) == "2.0" and read["PRODID"], "3.6, 3.7.3, 3.7.4"
        events = read.walk("VEVENT")
        assert len(events) == len(calendar.days)
        uids = [str(event["UID"]) for event in events]
        assert len(set(uids)) == len(uids), "3.8.4.7: a UID is one event's"
        for event, day in zip(events, calendar.days, strict=True):
            assert event.errors == []
            assert type(event["DTSTART"].dt) is dt.date and event["DTSTART"].dt == day.on, "3.6.1: a whole day"
            assert "DTEND" not in event and "DURATION" not in event, "3.6.1: a date without an end is that one day"
            assert event["DTSTAMP"].dt == dt.datetime.fromtimestamp(MADE_AT, dt.UTC), "3.8.7.2: in UTC"
            assert (str(event["SUMMARY"]), str(event["DESCRIPTION"])) == (day.title, day.words), "3.3.11"
            assert event["TRANSP"] == "TRANSPARENT", "3.8.2.7: it takes nobody's time"
            assert str(event.get("URL", "")) == (f"{SITE}{day.href}" if site and day.href else "")
            if day.every:
                assert event["RRULE"] == {"FREQ": ["DAILY"], "INTERVAL": [day.every]}, "3.3.10"
        assert render_calendar(calendar, MADE_AT, site) == text


def test_hostile_text_is_text_in_a_calendar() -> None:
    hostile = "a\r\nEND:VEVENT\r\nBEGIN:VALARM\nx; y, z\\n \x00\x1b ‽" + "ü" * 100
    day = DueDay("urn:uuid:00000000-0000-0000-0000-000000000001", DAY, hostile, hostile, "", "quote ends", frozenset())
    text = render_calendar(DayCalendar(hostile, hostile, "calendar/all.ics", (day,)), MADE_AT)
    assert max(len(line.encode()) for line in list_lines(text)) <= 75
    read = Calendar.from_ical(text)
    assert [one.name for one in read.walk()] == ["VCALENDAR", "VEVENT"]
    shown = hostile.replace("\r\n", "\n").replace("\x00", "\ufffd").replace("\x1b", "\ufffd")
    assert str(read.walk("VEVENT")[0]["SUMMARY"]) == shown


@given(st.text(st.characters(exclude_categories=("Cs",))))
def test_any_text_comes_back_from_a_calendar(text: str) -> None:
    """RFC 5545, 3.3.11 and 3.1: unfolded and unescaped it is what was written, controls but the line break apart."""
    line = fold_line(f"SUMMARY:{escape_text(text)}")
    assert all(len(piece.encode()) <= 75 for piece in list_lines(line))
    read = Calendar.from_ical(f"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n{line}END:VEVENT\r\nEND:VCALENDAR\r\n")
    plain = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", "\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
    assert str(read.walk("VEVENT")[0]["SUMMARY"]) == plain
