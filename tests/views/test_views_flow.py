"""The sections of the flow page say the figures of a small shop that can be counted by hand."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.lineage.freshness import Lineage, PartLineage
from pipeline.model.catalogue import Resource, Resources
from pipeline.model.part import Decision, Part
from pipeline.model.words import GATES, Gate, Say
from pipeline.model.workspace import Workspace
from pipeline.planning.flow_backtest import PastForecast
from pipeline.planning.flow_simulation import ExtraHour
from pipeline.portfolio.flow import Flow, compute_flow
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.views.flow_durations import build_ageing_section, build_durations_section
from pipeline.views.flow_forecasts import (
    FEW,
    FIRST,
    build_backtest_section,
    build_forecasts_sections,
    is_list_long,
    word_trust,
)
from pipeline.views.flow_movement import build_little_section, build_movement_section
from pipeline.views.flow_queues import build_queue_section
from pipeline.views.shapes_marks import Line, Mark, Table
from pipeline.views.shapes_site import Section

TODAY = dt.date(2026, 11, 30)
GO, HOLD, DROP = Say.GO, Say.HOLD, Say.DROP


def word(line: Line) -> str:
    return "".join(run.text for run in line)


def list_rows(table: Table) -> list[list[str]]:
    return [[word(cell.line) for cell in row.cells] for row in table.rows]


def make_part(number: str, weeks_ago: int, passed: int, last: Say | None = None, each: int = 2) -> Part:
    """A part that began so many weeks ago and passed so many gates, each after `each` weeks; `last` stops it since."""
    opened = TODAY - dt.timedelta(weeks=weeks_ago)
    days = [opened + dt.timedelta(weeks=each * (n + 1)) for n in range(passed)]
    made = [
        Decision.model_construct(gate=gate, on=day, by="ito", say=GO, release=None)
        for gate, day in zip(GATES, days, strict=False)
    ]
    if last is not None:
        on = TODAY - dt.timedelta(weeks=1)
        made.append(Decision.model_construct(gate=GATES[passed], on=on, by="ito", say=last, release=None))
    return Part.model_construct(
        part=number, name="piece", family="die-cast-plated", opened=opened, tools={}, engineer="mara",
        decisions=tuple(made),
    )  # fmt: skip


@pytest.fixture(scope="module")
def flow() -> Flow:
    """Ten parts went through all six stages in two weeks each; one is five weeks in measuring, one one week, one is one
    week in quoting; one is held, one was dropped."""
    demo = build_portfolio(Path(__file__).parents[2])
    parts = [make_part(f"D-{n}", 20 + n, 6) for n in range(10)]
    parts += [make_part("W-1", 5, 0), make_part("W-2", 1, 0), make_part("W-3", 9, 4)]
    parts += [make_part("H-1", 6, 2, HOLD), make_part("X-1", 8, 1, DROP)]
    arm = Resource.model_validate_json(
        json.dumps(
            {
                "name": "Measuring arm",
                "hours_per_week": 24,
                "used_in": ["measure"],
                "hours_each": [3, 6, 14],
                "limit": 1,
            }
        )
    )
    desk = Resource.model_validate_json(
        json.dumps({"name": "Buyer's desk", "hours_per_week": 10, "used_in": ["quote"], "hours_each": [3, 3, 3]})
    )
    assert demo.workspace is not None
    catalogues = demo.workspace.catalogues.model_copy(
        update={"resources": Resources(resources={"arm": arm, "desk": desk})}
    )
    by_number = {part.part: part for part in parts}
    lineage = Lineage({number: PartLineage(number, {}, (), {}) for number in by_number})
    checked = replace(demo.checked, workspace=Workspace(by_number, catalogues, {}, TODAY), lineage=lineage)
    standings = {number: next(iter(demo.checked.standings.values())) for number in by_number}
    checked = replace(checked, standings=standings)
    found = compute_flow(replace(demo, checked=checked, parts=dict.fromkeys(by_number)))  # type: ignore[arg-type]
    assert found is not None
    return found


def find_note(section: Section, place: int = 0) -> str:
    return word(section.figures[place].note)


def test_movement_counts_who_came_and_went(flow: Flow) -> None:
    section = build_movement_section(flow)
    assert section.figures[0].chart.words == (
        "By 30 Nov 2026: measure 15; model 13; prototype 12; fit check 11; quote 11; tooling 10; released 10."
    )
    assert find_note(section).endswith("It is widest in measure: 2 parts came in and did not go on.")
    months = find_note(section, 1)
    assert "15 in twelve months against 11 that left, so work in progress grew" in months


def test_ages_are_held_against_the_family(flow: Flow) -> None:
    section = build_ageing_section(flow)
    assert section.aside == "1 of 3 parts"  # what is held waits for nobody, what was dropped is gone
    assert list_rows(section.tables[0]) == [
        ["W-1 piece", "measure", "5", "2.0", "2.0", "93 %", "–", "Mara"]
    ]  # 13 of 14
    assert "W-1 stands out most: 5 weeks in measure, where 85 % are through in 2.0." in find_note(section)


def test_stages_last_what_they_lasted(flow: Flow) -> None:
    section = build_durations_section(flow)
    rows = {row[0]: row[1:] for row in list_rows(section.tables[0])}
    assert rows["measure"] == ["13", "2", "2.0", "2.0 to 2.0", "2.0", "5.0"]
    assert rows["model"] == ["12", "1", "2.0", "2.0 to 2.0", "2.0", "5.0"]  # X-1 was dropped after five weeks of it
    assert rows["quote"][:3] == ["10", "1", "2.0"]
    assert "half of the parts are through measure after 2.0 weeks" in find_note(section)


def test_queues_are_hours_over_hours_a_week(flow: Flow) -> None:
    section = build_queue_section(flow)
    rows = {row[0]: row[1:] for row in list_rows(section.tables[0])}
    # two parts wait for the arm, (3 + 4 x 6 + 14) / 6 = 6.83 h each: 13.67 h of 24 a week; one for the desk, 3 h of 10
    assert rows["Measuring arm"][:6] == ["0.6", "14", "24", "12 %", "2", "1"]
    assert rows["Buyer's desk"][:6] == ["0.3", "3", "10", "13 %", "1", "–"]
    assert (rows["Measuring arm"][-1], rows["Buyer's desk"][-1]) == ("W-1 and 1 more", "W-3")
    assert word(section.intro) == (
        "The longest queue is at Measuring arm: 0.6 weeks of work for 2 parts. "
        "Over their limit: Measuring arm (2 parts, limit 1)."
    )
    over = {word(row.cells[0].line): row.cells[0].mark for row in section.tables[0].rows}
    assert over == {"Measuring arm": Mark.STALE, "Buyer's desk": None}


def test_one_more_hour_is_named_only_where_it_can_be_told_apart(flow: Flow) -> None:
    best, rest = ExtraHour("arm", 1.0, 4.2, 0.5, 0.6667), ExtraHour("desk", 1.0, 0.1, 0.2, 0.0)
    clear = replace(flow, simulation=replace(flow.simulation, extra=(best, rest)))
    assert word(build_queue_section(clear).after).startswith(
        "One more hour a week helps most at Measuring arm: 4.2 part-weeks in all, 67 % of the parts in work earlier."
    )
    rows = {row[0]: row for row in list_rows(build_queue_section(clear).tables[0])}
    assert rows["Measuring arm"][8] == "4.2 ± 1.0" and rows["Buyer's desk"][8] == "0.1 ± 0.4"
    blurred = replace(flow, simulation=replace(flow.simulation, extra=(replace(best, gain=1.0), rest)))
    assert word(build_queue_section(blurred).after).startswith(
        "One more hour a week at any one resource would bring no part forward that can be told apart."
    )


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"arm": 0.8, "desk": 0.5}, "Most is asked of Measuring arm: 80 % of its hours in 26 weeks. In the long run a queue so full "
         "holds 4.0 parts, if they come at random (M/M/1)."),
        ({"arm": 0.2, "desk": 1.12}, "Most is asked of Buyer's desk: 112 % of its hours in 26 weeks. More than it has: its queue grows "
         "until hours are added or work is taken away."),
        ({"arm": 0.0, "desk": 0.0}, ""),
        ({}, ""),
    ],
)  # fmt: skip
def test_a_load_is_read_as_the_queue_that_it_makes(flow: Flow, asked: dict[str, float], words: str) -> None:
    """M/M/1: load / (1 - load) parts in the long run, 4 at 80 % (Gross and Harris)."""
    loaded = replace(flow, simulation=replace(flow.simulation, extra=()))
    loaded.__dict__["asked"] = asked
    assert word(build_queue_section(loaded).after).strip() == words


def test_what_is_asked_of_a_resource_is_what_came_to_its_stages(flow: Flow) -> None:
    """In 26 weeks 11 of the 15 parts began (D-6 did 26 weeks ago, D-7 to D-9 earlier), and 11 came to the quote."""
    assert flow.asked == {"arm": pytest.approx(11 * 41 / 6 / (26 * 24)), "desk": pytest.approx(11 * 3 / (26 * 10))}


def test_littles_law_is_written_out(flow: Flow) -> None:
    section = build_little_section(flow)
    rows = {row[0]: row[1:] for row in list_rows(section.tables[0])}
    check = flow.compute_little(Gate.QUOTE)
    # in the last 26 weeks: ten parts stayed two weeks in quoting, W-3 one week so far
    assert rows["quote"][0] == f"{(10 * 2 + 1) / 26:.1f}" and (check.items, check.arrived, check.left) == (11, 11, 10)
    assert rows["quote"][-1] == f"{10 / 26 * 2:.1f}"  # enough: what leaves a week x the weeks by which half are through
    assert section.working is not None and "L = λ · W" in section.working.formula[1]


def test_forecasts_have_two_days_and_say_why_there_is_none(flow: Flow) -> None:
    (section,) = build_forecasts_sections(flow)
    rows = {row[0].split()[0]: row[1:] for row in list_rows(section.tables[0])}
    assert set(rows) == {"W-1", "W-2", "W-3", "H-1"} and section.aside == "4 parts"
    assert rows["H-1"] == ["prototype", "–", "–", "–", "held: no date until it is taken up again"]
    assert rows["W-1"][-1].startswith("measure has outlasted its like") or "outlasted" not in rows["W-2"][-1]
    marks = {word(row.cells[0].line).split()[0]: row.cells[0].mark for row in section.tables[0].rows}
    assert marks["H-1"] is Mark.HELD
    assert find_note(section).startswith("Of 3 parts in work ")


def lengthen(flow: Flow, dated: int, without: int) -> Flow:
    """The same flow with so many forecasts and so many parts without one."""
    one, *_ = flow.simulation.forecasts
    jobs = [replace(one, job=f"W-{1 + n % 3}", median=one.median + n) for n in range(dated)]
    why = {"H-1": "held: no date", **{f"W-{n}": "too few" for n in range(1, 4)}}
    left = {number: why[number] for number in list(why)[:without]}
    return replace(flow, simulation=replace(flow.simulation, forecasts=tuple(jobs)), without=left)


def test_a_long_list_of_forecasts_folds_behind_the_next_to_be_done(flow: Flow) -> None:
    """On the limit it stays one table; one part more, and the soonest stand first."""
    short, long = lengthen(flow, FIRST + FEW - 1, 1), lengthen(flow, FIRST + FEW, 1)
    assert not is_list_long(short) and is_list_long(long)
    assert [section.anchor for section in build_forecasts_sections(short)] == ["forecasts"]
    first, whole = build_forecasts_sections(long)
    assert (first.fold, whole.fold, whole.aside) == (False, True, f"{FIRST + FEW + 1} parts")
    assert list_rows(first.tables[0]) == list_rows(whole.tables[0])[:FIRST]
    assert first.working is not None and first.aside == f"{FIRST} of {whole.aside}"
    assert whole.tables[0].csv_href == "flow/forecasts.csv"


def test_a_long_list_without_any_date_says_where_the_reasons_are(flow: Flow, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.views.flow_forecasts.FIRST", 0)
    monkeypatch.setattr("pipeline.views.flow_forecasts.FEW", 0)
    first, whole = build_forecasts_sections(lengthen(flow, 0, 3))
    assert first.tables[0].rows == () and "the list below says why" in first.tables[0].empty
    assert len(whole.tables[0].rows) == 3 and first.figures == ()


def make_past(inside: int, outside: int) -> tuple[PastForecast, ...]:
    """Forecasts of 20 weeks back: median after 4 weeks, 85 % after 8, range from 2 to 9 weeks; outside: never ended."""
    return tuple(
        PastForecast(-20.0, f"p{n}", -16.0, -12.0, -18.0, -11.0, -15.0 if n < inside else None)
        for n in range(inside + outside)
    )


@pytest.mark.parametrize(
    ("inside", "outside", "words", "verdict"),
    [
        (17, 3, "85 % of 20 came out inside their 85 % range (95 % interval 64 to 95 %)", "That is what 85 % should give."),
        (60, 40, "60 % of 100 came out", "That is less than 85 %: take the dates with care."),
        (100, 0, "100 % of 100 came out", "That is more than 85 %: the ranges are wider than they need be."),
    ],
)  # fmt: skip
def test_the_back_test_says_what_its_share_means(
    flow: Flow, inside: int, outside: int, words: str, verdict: str
) -> None:
    past = replace(flow, simulation=replace(flow.simulation, past=make_past(inside, outside)))
    section = build_backtest_section(past)
    said = word(section.intro)
    total = inside + outside
    assert words in said and verdict in said and f"Of the 85 % days, {inside / total * 100:.0f} % were kept." in said
    kept = f"{inside / total * 100:.0f} % ({inside} of {total})"
    figures = [str(total), kept, f"0 % (0 of {total})", kept]
    assert list_rows(section.tables[0]) == [["13 Jul 2026", *figures], ["all together", *figures]]
    assert word_trust(past) == (
        f"Of {total} earlier forecasts, {inside / total * 100:.0f} % came out inside their 85 % range."
    )


def test_without_an_earlier_forecast_nothing_is_claimed(flow: Flow) -> None:
    young = replace(flow, simulation=replace(flow.simulation, past=()))
    assert "Not known yet" in word(build_backtest_section(young).intro) and "not known yet" in word_trust(young)
