"""What leaves the house, as data: who leaves and why, what is said, what is reckoned, which words go along."""

from __future__ import annotations

import dataclasses
import datetime as dt
import doctest
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

import pipeline.portfolio.edition_findings
import pipeline.portfolio.editions
from pipeline.gates.standing import compute_standings
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.edition import Edition, LetOut, OuterField
from pipeline.model.part import Part
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.editions import build_outer_catalogue, list_embargoed
from pipeline.portfolio.letting_out import find_leaving, find_leaving_words, find_reason
from pipeline.portfolio.outer_part import (
    OuterCatalogue,
    OuterEvent,
    OuterPart,
    OuterStage,
    OuterState,
    OuterTrialState,
)
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.reading.workspace import read_workspace
from pipeline.views.outer_feed import MOST, build_outer_feed
from pipeline.views.outer_home import build_home_page
from pipeline.views.outer_part_page import build_part_page
from pipeline.views.outer_parts import build_parts_page
from pipeline.views.outer_vehicles import build_vehicles_page
from pipeline.views.part_head import build_title_block
from pipeline.views.shapes_marks import Mark

EVERY = ", ".join(field.value for field in OuterField)
ALL = {"shared/editions.yaml": f"editions: {{all: {{parts: [open, announced, released], fields: [{EVERY}]}}}}\n"}
TOOLS_ACCEPTED = """\
tools:
  die: {kind: die, forms: [length], price: 9000 USD, by: foundry, steps: {ordered: 2026-05-12, cutting: 2026-05-14, accepted: 2026-05-21}}
first_articles:
  N1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, settings: evidence/o1.csv, pieces: 3, finished: true, covers: [length], result: good}
decisions:
  - {gate: measure, on: 2026-01-15, by: bob, say: go}
  - {gate: model, on: 2026-01-25, by: bob, say: go}
  - {gate: prototype, on: 2026-02-03, by: bob, say: go}
  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}
  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}
  - {release: tooling, on: 2026-05-10, by: kim, say: go}
"""
DONE = TOOLS_ACCEPTED + "  - {gate: tooling, on: 2026-05-25, by: bob, say: go, second: kim}\n"
BARE = "part: %s\nname: %s\nfamily: cast\nsafety: S0\nengineer: ann\nfits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1953}\n%s"


def build_one(root: Path, name: str = "all", today: dt.date | None = None) -> OuterCatalogue:
    """Return an edition of a workspace."""
    return build_outer_catalogue(build_portfolio(root, today), name, {})


@pytest.mark.parametrize("module", [pipeline.portfolio.editions, pipeline.portfolio.edition_findings])
def test_examples_in_the_docstrings_hold(module: Any) -> None:
    assert doctest.testmod(module).failed == 0


# --- who leaves ---------------------------------------------------------------------------------------

RELEASED, ANNOUNCED, TOOLED, OPEN = LetOut.RELEASED, LetOut.ANNOUNCED, LetOut.TOOLING_RELEASED, LetOut.OPEN
WHO = [
    # record, what the edition asks for, why it leaves
    ("", {OPEN}, OPEN),
    ("", {ANNOUNCED, RELEASED, TOOLED}, None),
    ("announce: 2026-05-31\n", {ANNOUNCED}, ANNOUNCED),
    ("announce: 2026-06-01\n", {ANNOUNCED}, ANNOUNCED),
    ("announce: 2026-06-02\n", {ANNOUNCED, OPEN}, None),
    ("confidential: true\n", {OPEN, ANNOUNCED}, None),
    ("confidential: true\nannounce: 2026-06-02\n", {OPEN, ANNOUNCED}, None),
    ("confidential: true\nannounce: 2026-06-01\n", {OPEN}, OPEN),
    ("confidential: true\nannounce: 2026-06-01\n", {ANNOUNCED, OPEN}, ANNOUNCED),
    (DONE, {RELEASED, OPEN}, RELEASED),
    (DONE, {TOOLED}, TOOLED),
    (DONE, {ANNOUNCED}, None),
    (DONE + "announce: 2026-06-02\n", {RELEASED, TOOLED, OPEN, ANNOUNCED}, None),
    (DONE + "confidential: true\n", {RELEASED, TOOLED, OPEN, ANNOUNCED}, None),
    ("announce: 2026-05-31\ndecisions:\n  - {gate: quote, on: 2026-05-20, by: kim, say: drop, why: nobody asks}\n", {ANNOUNCED, OPEN}, None),
    ("announce: 2026-05-31\n", set(), None),
]  # fmt: skip


@pytest.mark.parametrize(("record", "asked", "why"), WHO, ids=range(len(WHO)))
def test_who_leaves_and_why(sample: Callable[..., Path], record: str, asked: set[LetOut], why: LetOut | None) -> None:
    """The sample speaks of 2026-06-01: an announcement opens on its day, and nothing opens a confidential part sooner."""
    workspace = read_workspace(sample(record)).workspace
    assert workspace is not None
    standings = compute_standings(workspace, compute_lineage(workspace))
    part, edition = workspace.parts["SD-100"], Edition(parts=tuple(asked))
    assert find_reason(part, standings["SD-100"], edition, workspace.today) is why
    assert find_leaving(workspace, standings, edition) == ({} if why is None else {"SD-100": why})


def test_numbers_of_hands_are_kept_in_too(sample: Callable[..., Path]) -> None:
    root = sample("confidential: true\nhands: {left: SD-100-L, right: SD-100-R, relation: mirror}\n")
    assert list_embargoed(build_portfolio(root)) == ("SD-100", "SD-100-L", "SD-100-R")
    assert list_embargoed(build_portfolio(sample("announce: 2026-06-01\nconfidential: true\n"))) == ()


# --- which words go along -----------------------------------------------------------------------------


def list_texts(value: Any) -> Iterator[str]:
    """Yield every text in what leaves of a part."""
    if isinstance(value, str):
        yield str(value)
    elif isinstance(value, tuple):
        for one in value:
            yield from list_texts(one)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from list_texts(getattr(value, field.name))


def test_words_that_are_checked_are_the_words_that_leave(sample: Callable[..., Path]) -> None:
    """The rules about words look at the same texts that an edition says: each is found in the other."""
    from hostile.hostile_records import MORE

    record = MORE.replace("2027-01-01\nopened", "2026-05-01\nopened").replace("picture: evidence/hook-a.stl\n", "")
    root = sample(record.replace("other: {part: SD-200}", "other: {bought: x}"), ALL)
    portfolio = build_portfolio(root)
    part = portfolio.parts["SD-100"].part
    (outer,) = build_one(root).parts
    edition = Edition(fields=tuple(OuterField))
    checked = {text for _, text in find_leaving_words(part, edition)}
    leaving = set(list_texts(outer))
    assert checked <= leaving
    shared = portfolio.checked.workspace
    assert shared is not None
    catalogue = str(shared.catalogues)
    typed = {text for text in leaving if text in str(part) and text not in catalogue and text not in ("left", "right")}
    assert typed <= checked | {part.part} | {one.value for one in (*OuterState, *OuterTrialState)}


def test_findings_name_the_edition_and_the_part_that_stays(sample: Callable[..., Path]) -> None:
    other = BARE % (
        "SD-200",
        "Second",
        "confidential: true\nhands: {left: SD-200-L, right: SD-200-R, relation: mirror}\n",
    )
    root = sample("announce: 2026-05-01\nname: Hook to sd-200-r\n", {"projects/SD-200/part.yaml": other})
    (found,) = [f for f in check_workspace(root).findings if f.rule == "L501"]
    assert '"Hook to sd-200-r" names sd-200-r, which stays in; it leaves in partner and public' in found.message
    assert (found.location.path, found.pointer) == ("projects/SD-100/part.yaml", "name")
    assert found.related[0].location.path == "projects/SD-200/part.yaml"


def test_shared_words_are_looked_at_where_they_stand(sample: Callable[..., Path]) -> None:
    told = "editions:\n  public:\n    intro: Ask Kim about SD-200.\n"
    files = {
        "projects/SD-200/part.yaml": BARE % ("SD-200", "Second", "confidential: true\n"),
        "shared/editions.yaml": told,
    }
    found = [f for f in check_workspace(sample("announce: 2026-05-01\n", files)).findings if f.rule.startswith("L")]
    assert {(f.rule, str(f.location)) for f in found} == {
        ("L501", "shared/editions.yaml:3:12"), ("L502", "shared/editions.yaml:3:12"),
    }  # fmt: skip


# --- what is said -------------------------------------------------------------------------------------


def build_outer(sample: Callable[..., Path], record: str, files: dict[str, str | None] | None = None) -> OuterPart:
    """Return what leaves of the sample part where all is said."""
    parts = build_one(sample(record, {**ALL, **(files or {})})).parts
    return next(part for part in parts if part.number == "SD-100")


def test_state_and_stage_follow_the_gates(sample: Callable[..., Path]) -> None:
    hold = "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: hold, why: no reason to tell}\n"
    for record, state, stage in (
        (DONE, OuterState.FOR_SALE, OuterStage.DONE),
        ("", OuterState.COMING, OuterStage.PREPARING),
        (hold, OuterState.PAUSED, None),
        (
            TOOLS_ACCEPTED,
            OuterState.COMING,
            OuterStage.TOOLING,
        ),
    ):
        part = build_outer(sample, record)
        assert (part.state, part.stage) == (state, stage)
    assert "no reason" not in str(build_outer(sample, hold))


def test_part_of_which_nothing_is_known_is_planned(sample: Callable[..., Path]) -> None:
    root = sample("", {**ALL, "projects/SD-200/part.yaml": BARE % ("SD-200", "Second", "")})
    assert [part.stage for part in build_one(root).parts] == [OuterStage.PREPARING, OuterStage.PLANNED]


FAMILY = "shared/families.yaml"
WEEKS = "    weeks: {quote: [2, 3, 4], tooling: [10, 20, 30]}\n"


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        # 2026-06-01: the quote gate takes 4 weeks at most, the tooling 30: 2027-01-25
        ("", "2027-Q1"),
        ("plan: {not_before: 2027-Q3}\n", "2027-Q3"),
        ("plan: {not_before: 2026-Q3}\n", "2027-Q1"),
        ("plan: {must: false}\n", ""),
        (DONE, ""),
        ("decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: hold}\n", ""),
        # ordered on 2026-05-12: 30 weeks from there is 2026-12-08
        (TOOLS_ACCEPTED, "2026-Q4"),
    ],
)
def test_expected_quarter(sample: Callable[..., Path], more: str, expected: str) -> None:
    """Common practice, no source: the long end of what a family's stages usually take, counted from the order."""
    from pipeline.findings.sample import SAMPLE_SHARED

    files: dict[str, str | None] = {FAMILY: SAMPLE_SHARED[FAMILY] + WEEKS}
    assert build_outer(sample, more, files).expected == expected


def test_family_without_usual_weeks_has_no_quarter(sample: Callable[..., Path]) -> None:
    assert build_outer(sample, "").expected == ""


@pytest.mark.parametrize(
    ("record", "planned"),
    [("announce: 2026-05-01\n", True), (DONE, False), ("", None)],
    ids=["announced", "for sale", "neither"],
)
def test_price_is_said_of_what_is_announced_or_for_sale(
    sample: Callable[..., Path], record: str, planned: bool | None
) -> None:
    price = build_outer(sample, record + "demand: {per_year: [100, 200, 300], price: 68 USD, cost: 20 USD}\n").price
    assert (None if price is None else price.planned) == planned
    assert "20" not in str(price)


def test_contents_are_whole_or_not_told(sample: Callable[..., Path]) -> None:
    """Half a list would be wrong, and would tell that something is kept back."""
    kit = "made_of:\n  a: {part: SD-200, count: 2}\n  b: {part: SD-300}\n  c: {bought: card by Kim, from: [foundry]}\n"
    both = {
        "projects/SD-200/part.yaml": BARE % ("SD-200", "Second", ""),
        "projects/SD-300/part.yaml": BARE % ("SD-300", "Third", ""),
    }
    whole = build_outer(sample, kit, both)
    assert [(one.number, one.name, one.count) for one in whole.contents] == [
        ("SD-200", "Second", 2),
        ("SD-300", "Third", 1),
    ]
    secret = {**both, "projects/SD-300/part.yaml": BARE % ("SD-300", "Third", "confidential: true\n")}
    assert build_outer(sample, kit, secret).contents == ()


def test_hazard_is_said_in_the_words_of_the_catalogue(sample: Callable[..., Path]) -> None:
    from pipeline.findings.sample import SAMPLE_SHARED

    safety = SAMPLE_SHARED["shared/safety.yaml"] + "hazards: {cadmium: do not heat}\n"
    originals = "originals:\n  O1: {condition: used, from: x, hazard: cadmium inside the lip}\n  O2: {condition: nos, from: y, hazard: smells of Kim}\n"
    part = build_outer(sample, originals, {"shared/safety.yaml": safety})
    assert [(one.name, one.care) for one in part.hazards] == [("cadmium", "do not heat"), ("", "")]
    assert "Kim" not in str(part) and "lip" not in str(part)


def test_trials_say_no_names_and_no_days(sample: Callable[..., Path]) -> None:
    part = build_outer(sample, "")
    assert [(trial.fit.body, trial.state) for trial in part.trials] == [("saloon", OuterTrialState.TRIED)]
    assert "2026" not in str(part.trials) and "car-1" not in str(part.trials)


ANNOUNCED_ON, ON_SALE = OuterEvent.ANNOUNCED, OuterEvent.FOR_SALE


@pytest.mark.parametrize(
    ("record", "news"),
    [
        ("", []),
        ("announce: 2026-05-31\n", [(ANNOUNCED_ON, "2026-05-31")]),
        (DONE, [(ON_SALE, "2026-05-25")]),
        (TOOLS_ACCEPTED + "announce: 2026-05-31\n", [(ANNOUNCED_ON, "2026-05-31")]),
        (DONE + "announce: 2026-03-01\n", [(ANNOUNCED_ON, "2026-03-01"), (ON_SALE, "2026-05-25")]),
        # ready before it was announced: outsiders learn both on the day of the announcement
        (DONE + "confidential: true\nannounce: 2026-05-30\n", [(ANNOUNCED_ON, "2026-05-30"), (ON_SALE, "2026-05-30")]),
        (DONE.replace("2026-05-25", "2026-07-01"), []),  # decided on a day that is to come
    ],
)  # fmt: skip
def test_news_are_what_is_said_anyhow_with_its_day(
    sample: Callable[..., Path], record: str, news: list[tuple[OuterEvent, str]]
) -> None:
    found = build_outer(sample, record).news
    assert [(one.event, one.on.isoformat()) for one in found] == news


def test_the_feed_is_made_of_the_news_youngest_first(three: OuterCatalogue) -> None:
    feed = build_outer_feed(three)
    assert [(one.on.isoformat(), one.title, one.who) for one in feed.entries] == [
        ("2026-05-25", "SD-100 Sample hook: for sale now", ""),
        ("2026-05-05", "SD-200 Second: announced", ""),
    ]
    assert (feed.updated.isoformat(), feed.page, feed.href) == ("2026-05-25", "index.html", "feed.xml")
    many = dataclasses.replace(three, parts=three.parts * 60)
    assert len(build_outer_feed(many).entries) == MOST
    other = dataclasses.replace(three, shop=dataclasses.replace(three.shop, edition="partner"))
    assert not {one.id for one in feed.entries} & {one.id for one in build_outer_feed(other).entries}


# --- what pages show ----------------------------------------------------------------------------------


@pytest.fixture
def three(sample: Callable[..., Path]) -> OuterCatalogue:
    """One part for sale, one coming, one on hold."""
    coming = BARE % ("SD-200", "Second", "announce: 2026-05-05\n")
    held = BARE % ("SD-300", "Third", "decisions:\n  - {gate: measure, on: 2026-05-15, by: bob, say: hold}\n")
    files = {
        **ALL,
        "projects/SD-200/part.yaml": coming,
        "projects/SD-300/part.yaml": held.replace("1951-1953", "1950-1956"),
    }
    return build_one(sample(DONE + "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1952}\n", files))


def test_first_page_has_two_shelves_newest_first(three: OuterCatalogue) -> None:
    page = build_home_page(three)
    assert [(shelf.title, [plate.number for plate in shelf.plates]) for shelf in page.shelves] == [
        ("To be had now", ["SD-100"]), ("Coming", ["SD-200", "SD-300"]),
    ]  # fmt: skip
    assert [plate.state for shelf in page.shelves for plate in shelf.plates] == ["for sale", "coming", "on hold"]
    assert [(line.vehicle.text, line.words) for line in page.vehicles] == [("Finch", "1 to be had, 2 coming")]


def test_vehicles_show_years_for_which_there_is_nothing(three: OuterCatalogue) -> None:
    """The saloon was built 1950 to 1956; what is on hold covers no year; no part is for the estate."""
    (one,) = build_vehicles_page(three).vehicles
    assert [(column.body, column.years) for column in one.matrix.columns] == [
        ("saloon", "1950–1956"),
        ("estate", "1952–1956"),
    ]
    assert one.matrix.totals == ("1 of 3", "none")
    assert [(hole.mark, hole.words) for hole in one.holes] == [
        (Mark.MISSING, "nothing yet for 1950 and 1954–1956"), (Mark.MISSING, "nothing yet"),
    ]  # fmt: skip


def test_list_says_only_what_the_edition_says(three: OuterCatalogue) -> None:
    page = build_parts_page(three)
    assert [(row.number, row.state) for row in page.rows] == [
        ("SD-100", "for sale"),
        ("SD-200", "coming"),
        ("SD-300", "on hold"),
    ]
    assert not page.has_expected and not page.has_price
    assert [facet.key for facet in page.facets] == ["vehicle", "body", "year", "state", "family", "safety"]


def test_every_page_of_a_part_begins_with_the_caution(three: OuterCatalogue) -> None:
    for part in three.parts:
        page = build_part_page(three, part)
        assert page.cautions[0].title == "A part that fits is not thereby a safe part."
        assert "Local codes and licensed practice decide" in page.cautions[0].check
    road = build_part_page(three, three.parts[1]).road
    assert road is not None and [gate.mark for gate in road.gates] == [Mark.MISSING] * 5


def test_part_type_has_no_room_for_more(three: OuterCatalogue) -> None:
    """A new field of a record cannot slip in: what leaves is a type of its own that shares no type with a record."""
    names = {field.name for field in dataclasses.fields(OuterPart)}
    assert not names & {
        "engineer",
        "note",
        "quotes",
        "tools",
        "measurements",
        "decisions",
        "waivers",
        "confidential",
        "plan",
    }
    assert not isinstance(three.parts[0], Part)


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ("", ""),
        ("confidential: true\n", "Confidential."),
        ("announce: 2026-06-02\n", "Confidential until 2 Jun 2026."),
        ("announce: 2026-06-01\n", "Announced on 1 Jun 2026; shown in the partner and public editions."),
        (DONE, "Shown in the partner and public editions."),
    ],
)
def test_own_page_says_who_is_shown_the_part(sample: Callable[..., Path], record: str, words: str) -> None:
    assert build_title_block(build_portfolio(sample(record)).parts["SD-100"]).confidential == words
