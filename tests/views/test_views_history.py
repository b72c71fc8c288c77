"""Pages say what git knows: every dated fact with its commit, every doubt, moves with old and new, dates with odds."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from told_demo import copy_demo, find_told_demo, run_git

from pipeline.model.quantity import Limits, Price, Range
from pipeline.portfolio.outlook import find_outlook, look_out
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.views.flow import build_flow_page, build_forecast_sections
from pipeline.views.next_steps import build_next_lines
from pipeline.views.part_page import build_part_page
from pipeline.views.portfolio_data import build_portfolio_data, build_portfolio_schema
from pipeline.views.review_dates import word_part_dates, word_shop_trust
from pipeline.views.review_moves import word_value
from pipeline.views.review_page import build_review_page
from pipeline.views.shapes_marks import Line
from pipeline.views.shapes_site import ReviewPage
from pipeline.views.wording import word_day

LATE = {"GIT_AUTHOR_DATE": "2026-11-30T10:00:00Z", "GIT_COMMITTER_DATE": "2026-11-30T10:00:00Z"}


def word(line: Line) -> str:
    return "".join(run.text for run in line)


@pytest.fixture(scope="module")
def portfolio() -> Portfolio:
    folder = find_told_demo(200)
    return look_out(build_portfolio(folder), folder)


def list_items(page: ReviewPage, anchor: str) -> list[str]:
    group = next(group for group in page.groups if group.anchor == anchor)
    return [f"{item.part.text} {word(item.line)}" for item in group.items]


def test_history_of_a_part_has_every_dated_fact_youngest_first(portfolio: Portfolio) -> None:
    outlook = find_outlook(portfolio)
    assert outlook is not None
    for number in ("TW-101", "TW-163", "TW-301"):
        page = build_part_page(portfolio.parts[number], {})
        dated = [fact for fact in outlook.story.parts[number].facts if fact.on is not None]
        assert [line.on for line in page.history] == [
            word_day(f.on) for f in sorted(dated, key=lambda f: str(f.on), reverse=True)
        ]
        assert all(line.commit is not None and len(line.commit.short) == 7 for line in page.history)
    first = build_part_page(portfolio.parts["TW-101"], {}).history[-1]
    assert first.commit is not None and (first.on, first.who) == (first.commit.on, first.commit.who)


def test_evidence_leads_to_its_commit(portfolio: Portfolio) -> None:
    page = build_part_page(portfolio.parts["TW-101"], {})
    lines = {line.id: line for line in page.evidence}
    f2 = lines["F2"]
    assert (
        f2.commit is not None
        and f2.commit.doubt == ""
        and (f2.on, f2.by.split(",")[0]) == (f2.commit.on, f2.commit.who)
    )
    assert all(line.commit is not None for line in page.evidence)


def test_without_an_outlook_pages_say_so() -> None:
    file = build_portfolio(find_told_demo(30)).parts["TW-101"]
    page = build_part_page(file, {})
    assert page.history == () and "git log" in page.no_history
    assert build_forecast_sections(file) == ()
    assert all(line.commit is None for line in page.evidence)


def test_doubts_stand_beside_the_commit(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    record = folder / "projects/TW-101/part.yaml"
    text = record.read_text("utf-8")
    assert "drophead promised for June" in text
    record.write_text(text.replace("drophead promised for June", "drophead promised for July"), "utf-8")
    page = build_part_page(look_out(build_portfolio(folder), folder).parts["TW-101"], {})
    doubts = [line.commit.doubt for line in page.history if line.commit is not None and line.commit.doubt]
    assert doubts == ["not committed yet"]
    run_git(folder, "commit", "-qam", "tidied", **LATE)
    page = build_part_page(look_out(build_portfolio(folder), folder).parts["TW-101"], {})
    doubts = [line.commit.doubt for line in page.history if line.commit is not None and line.commit.doubt]
    assert len(doubts) == 1 and doubts[0].startswith("changed on 30 Nov 2026, 189 days later, by Ito")
    assert "H904" in [finding.rule.text for finding in page.findings]


def test_figures_are_told_with_old_and_new(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    record = folder / "projects/TW-101/part.yaml"
    text = record.read_text("utf-8")
    changed = text.replace("nominal: 112.4", "nominal: 112.6").replace("price: 38000 USD", "price: 41500 USD")
    record.write_text(changed, "utf-8")
    run_git(folder, "commit", "-qam", "what the toolmaker asked for", **LATE)
    page = build_review_page(look_out(build_portfolio(folder), folder, asked="HEAD~1", with_flow=False))
    figures = list_items(page, "figures")
    assert any("outside diameter: 112.4 mm → 112.6 mm" in line for line in figures), figures
    if "price: 38000 USD" in text:
        assert any("38,000 USD → 41,500 USD" in line for line in figures), figures
    group = next(group for group in page.groups if group.anchor == "figures")
    assert all(item.commit is not None and item.commit.who == "Ito" for item in group.items)
    assert page.groups[0].anchor == "hold-calls"
    assert ["new since then" in line for line in list_items(page, "hold-calls")] == [False]  # it was there before


def test_a_decision_that_proved_a_gate_is_told_once(portfolio: Portfolio) -> None:
    page = build_review_page(portfolio)
    proven, decided = list_items(page, "proven"), list_items(page, "decided")
    assert proven and decided
    assert not {line.replace("released for sale", "tooling gate") for line in proven} & set(decided)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (None, "mm", "not stated"), (0.0, "mm", "0 mm"), (-0.25, "mm", "−0.25 mm"), ("12.4 in", "mm", "12.4 in"),
        (Price.model_validate("6.90 USD"), "", "6.90 USD"), (Range(low=2, likely=2, high=2), "pieces", "2 pieces"),
        (Range(low=1, likely=2, high=4), "", "2 (1 to 4)"), (Limits.model_validate([-0.1, 0.1]), "mm", "±0.1 mm"),
    ],
)  # fmt: skip
def test_values_are_written_with_their_unit(value: object, unit: str, words: str) -> None:
    assert word_value(value, unit) == words  # type: ignore[arg-type]


# --- the flow -----------------------------------------------------------------------------------------


def test_the_flow_page_has_a_sentence_for_every_plot_and_a_working_for_every_figure(portfolio: Portfolio) -> None:
    page = build_flow_page(portfolio)
    assert [s.anchor for s in page.sections] == [
        "movement",
        "ageing",
        "queues",
        "backtest",
        "forecasts",
        "all-forecasts",
        "durations",
        "little",
    ]
    figures = [figure for section in page.sections for figure in section.figures]
    assert len(figures) >= 5 and all(len(word(figure.note).split()) > 8 and figure.chart.words for figure in figures)
    assert all(
        section.working is not None for section in page.sections if section.anchor not in ("movement", "all-forecasts")
    )
    assert any("80 %" in tally.count for tally in page.tallies)
    tables = {table.csv_href for section in page.sections for table in section.tables}
    assert len(tables - {""}) == 6 and all(href.startswith("flow/") for href in tables - {""})


def test_part_and_flow_page_give_the_same_dates(portfolio: Portfolio) -> None:
    page = build_flow_page(portfolio)
    table = next(s for s in page.sections if s.anchor == "all-forecasts").tables[0]
    shown = {word(row.cells[0].line).split()[0]: row for row in table.rows}
    outlook = find_outlook(portfolio)
    assert outlook is not None and outlook.flow is not None
    assert set(shown) == {stay.number for stay in outlook.flow.open_stays}
    for number in ("TW-101", "TW-109", "TW-190"):
        (section,) = build_forecast_sections(portfolio.parts[number])
        row = [word(cell.line) for cell in shown[number].cells]
        if row[2] == "–":
            assert section.aside == "no forecast" and "held" in word(section.intro)
        else:
            assert section.aside == f"likely by {row[2]}; 85 % by {row[3]}"
            assert f"Likely released by {row[2]}" in word(section.intro)
    released = next(n for n, stays in outlook.flow.stays.items() if stays[-1].left is not None)
    assert build_forecast_sections(portfolio.parts[released]) == ()


def test_gates_to_be_proven_again_weaken_a_date(portfolio: Portfolio) -> None:
    (section,) = build_forecast_sections(portfolio.parts["TW-101"])
    assert "to be proven again, not counted" in word(section.intro)


def test_a_shop_without_a_past_is_told_what_would_fill_the_page(tmp_path: Path) -> None:
    portfolio = build_portfolio(find_told_demo(30))
    assert portfolio.workspace is not None
    assert "opened:" in word(build_flow_page(portfolio).intro)
    young = replace(portfolio.workspace, today=dt.date(2025, 6, 1))
    early = look_out(replace(portfolio, checked=replace(portfolio.checked, workspace=young)), tmp_path)
    page = build_flow_page(early)
    backtest = next(s for s in page.sections if s.anchor == "backtest")
    assert "Not known yet" in word(backtest.intro) and "No earlier forecast" in backtest.tables[0].empty


# --- dates on the review ------------------------------------------------------------------------------


def test_the_review_names_what_is_likely_next_and_how_such_days_came_out(portfolio: Portfolio) -> None:
    outlook = find_outlook(portfolio)
    assert outlook is not None and outlook.flow is not None
    flow = outlook.flow
    page = build_review_page(portfolio)
    group = next(group for group in page.groups if group.anchor == "dates")
    soon = sorted((f.median, f.job) for f in flow.forecasts.values() if f.median <= 13.0)
    assert [item.part.text for item in group.items] == [job for _, job in soon] and len(soon) > 5
    rows = next(s for s in build_flow_page(portfolio).sections if s.anchor == "all-forecasts").tables[0].rows
    shown = {word(row.cells[0].line).split()[0]: [word(cell.line) for cell in row.cells] for row in rows}
    for item in group.items:
        row = shown[item.part.text]
        weak = f"; weak: {row[5]}" if row[5] else ""
        assert word(item.line) == f"likely by {row[2]}, 85 % by {row[3]}{weak}" and item.on == row[2]
    hits = flow.backtest.in_range
    said = f"Of {hits.of} earlier forecasts, {hits.hit / hits.of * 100:.0f} % came out inside their 85 % range."
    assert said in [word(note) for note in page.notes]
    lines = build_next_lines(portfolio, ["TW-112", "TW-190", "TW-152"], word_dates=word_part_dates)
    row = shown["TW-112"]
    assert f"    released: likely by {row[2]}, 85 % by {row[3]}" in lines and word_shop_trust(portfolio) == said
    assert not any("TW-190" in line and "date" in line for line in lines)  # held: no date is given


def test_too_young_a_shop_gives_no_day_and_says_why() -> None:
    folder = find_told_demo(30)
    young = look_out(build_portfolio(folder), folder)
    page = build_review_page(young)
    group = next(group for group in page.groups if group.anchor == "dates")
    assert group.items == () and "not known yet" in group.empty
    assert not any("earlier forecasts" in word(note) for note in page.notes)
    lines = build_next_lines(young, ["TW-112"], word_dates=word_part_dates)
    assert any(line.startswith("    no date of release: fewer than 8 parts have finished") for line in lines)
    assert "not known yet" in word_shop_trust(young)
    plain = build_portfolio(folder)
    assert build_next_lines(young, ["TW-112"]) == lines[:-1]  # nobody asked
    assert build_next_lines(plain, ["TW-112"], word_dates=word_part_dates) == lines[:-1]  # nothing was reckoned
    assert all(group.anchor != "dates" for group in build_review_page(plain).groups)


def test_document_of_the_portfolio_has_the_days_of_the_forecast(portfolio: Portfolio) -> None:
    outlook = find_outlook(portfolio)
    assert outlook is not None and outlook.flow is not None
    document = build_portfolio_data(portfolio)
    jsonschema.validate(document, build_portfolio_schema(), cls=jsonschema.Draft202012Validator)
    told = {part["number"]: part["forecast"] for part in document["parts"] if part["forecast"] is not None}
    assert set(told) == set(outlook.flow.forecasts) and len(told) > 50
    assert all(one["early"] <= one["likely"] <= one["sure"] and one["likely"] <= one["late"] for one in told.values())
    section = next(one for one in build_flow_page(portfolio).sections if one.anchor == "all-forecasts")
    shown = {row.cells[0].line[0].text: word(row.cells[2].line) for row in section.tables[0].rows}
    assert all(shown[number] == word_day(dt.date.fromisoformat(one["likely"])) for number, one in told.items())
