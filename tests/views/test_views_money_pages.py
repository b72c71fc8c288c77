"""The pages about money: every part has them, drawings can be drawn, the terminal says the same, and what must not be said."""

from __future__ import annotations

import functools
import json
import re
from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.charts.draw import render_chart
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.views.buyer import build_buyer_section, find_buyer_lines
from pipeline.views.calibration import build_calibration_sections
from pipeline.views.case import build_case_json, build_case_sections, render_case
from pipeline.views.loop import build_loop_json, build_loop_sections, render_loop
from pipeline.views.quotes import build_quote_comparison, build_quote_sections, build_quotes_json, render_quotes
from pipeline.views.shapes_money import TornadoBar, TornadoChart
from pipeline.views.shapes_part import QuoteComparison
from pipeline.views.shapes_site import Section
from pipeline.views.terminal_sections import render_sections, word_line

ROOT = Path(__file__).parents[2]
DRAWN = ("TW-101", "TW-109", "TW-210")  # every kind of drawing: hold call, two complete offers, a kit
NUMBERS = sorted(path.name for path in (ROOT / "projects").iterdir())


@functools.cache
def demo() -> Portfolio:
    return build_portfolio(ROOT)


def list_sections(number: str) -> tuple[Section, ...]:
    file = demo().parts[number]
    return (*build_loop_sections(file), *build_quote_sections(file), *build_case_sections(file))


@pytest.mark.parametrize("number", NUMBERS)
def test_every_part_has_its_sections_and_their_drawings(number: str) -> None:
    sections = list_sections(number)
    assert [one.anchor for one in sections] == ["errors-left", "another-loop", "quote-cash", "worth"]
    for section in sections:
        assert section.intro or section.tables
        for figure in section.figures:
            assert figure.chart.words.endswith(".")
            if number in DRAWN:
                assert render_chart(figure.chart).startswith("<svg")
        for table in section.tables:
            assert table.rows or table.empty
            assert all(len(row.cells) == len(table.columns) for row in table.rows)


@pytest.mark.parametrize("number", NUMBERS)
def test_answers_for_programs_are_json_without_nan(number: str) -> None:
    file = demo().parts[number]
    for answer in (build_loop_json(file), build_quotes_json(file), build_case_json(file, draws=200)):
        json.dumps(answer, allow_nan=False)


def test_the_terminal_shows_what_the_page_shows() -> None:
    file = demo().parts["TW-118"]
    for lines, sections in (
        (render_loop(file), build_loop_sections(file)),
        (render_case(file), build_case_sections(file)),
    ):
        shown = " ".join(" ".join(lines).split())
        for section in sections:
            assert " ".join(word_line(section.intro).split()) in shown
            for table in section.tables:
                for row in table.rows:
                    first = word_line(row.cells[0].line).split()[0]
                    assert first in shown


def test_errors_are_never_summed_into_one_chance() -> None:
    """One row for each mode, and no row and no sentence with a chance over all of them."""
    for number in NUMBERS:
        section = build_loop_sections(demo().parts[number])[0]
        (table,) = section.tables
        names = [word_line(row.cells[0].line) for row in table.rows]
        assert len(names) == len(set(names)) <= 6
        assert not [name for name in names if name in ("all", "total", "together")]
        words = word_line(section.intro) + word_line(section.after)
        assert "%" not in words
        assert "safe" not in words


def test_modes_that_nothing_can_see_are_listed_by_name() -> None:
    words = word_line(build_loop_sections(demo().parts["TW-118"])[0].intro)
    assert words == "No check that counts so far can see errors of marking and legal."
    rows = build_loop_sections(demo().parts["TW-118"])[0].tables[0].rows
    fit = next(row for row in rows if word_line(row.cells[0].line) == "fit")
    assert [word_line(cell.line) for cell in fit.cells][1:3] == ["about 0.04", "96 %"]


def test_money_is_silent_on_safety() -> None:
    """TW-183 is of class S1: the advice says that tests are made whatever the money says. TW-118 is cosmetic."""
    serious, cosmetic = (word_line(build_loop_sections(demo().parts[n])[1].intro) for n in ("TW-183", "TW-118"))
    assert "Money decides no question of safety" in serious
    assert "safety" not in cosmetic


def find_row(comparison: QuoteComparison, title: str, label: str) -> tuple[str, ...]:
    group = next(one for one in comparison.groups if one.title.startswith(title))
    return next(row.values for row in group.rows if row.label == label)


def test_the_comparison_shows_every_line_and_its_rounding() -> None:
    found = build_quote_comparison(demo().parts["TW-101"])
    group = next(one for one in found.groups if one.title.startswith("On one footing"))
    for at in range(len(found.columns)):
        money = [Decimal(row.values[at].replace(",", "").replace("−", "-")) for row in group.rows]
        assert sum(money[:-1], Decimal(0)) == money[-1]
    assert find_row(found, "What it comes to", "a good piece, landed")[0] == "12.61"
    assert [one.id for one in found.columns if one.best] == ["Q4"]


def test_silence_is_said_and_never_a_figure() -> None:
    found = build_quote_comparison(demo().parts["TW-118"])
    at = [one.id for one in found.columns].index("Q2")
    assert find_row(found, "Scope", "secondary operations")[at] == "not stated"
    assert find_row(found, "As offered", "yield")[at] == "not stated"
    assert " to " in find_row(found, "On one footing", "secondary operations")[at]
    assert find_row(found, "Pass or fail", "drawings")[at] == "fail"
    assert "incomplete" in found.columns[at].state
    assert find_row(found, "What it comes to", "a good piece, everything in it")[at] == "incomplete"


def test_a_part_without_quotes_says_what_to_write() -> None:
    found = build_quote_comparison(demo().parts["TW-220"])
    assert not found.columns
    assert "quotes:" in found.empty
    assert found.empty in "\n".join(render_quotes(demo().parts["TW-220"])).replace("\n", " ") + found.empty


def test_the_buyers_list_is_sorted_and_leaves_out_what_is_done_with() -> None:
    lines = find_buyer_lines(demo())
    days = [one.days for one in lines if one.days is not None]
    assert days == sorted(days)
    numbers = {one.number for one in lines}
    assert not numbers & {"TW-104", "TW-126", "TW-140", "TW-171", "TW-198"}  # released, dropped
    assert "TW-186" not in numbers  # ordered on before its quote ran out
    assert next(one for one in lines if one.number == "TW-161").days == -30
    assert not [one for one in lines if (one.number, one.key) == ("TW-101", "Q1")]  # the maker's newer quote stands


def test_the_buyers_list_looks_as_far_ahead_as_it_is_asked() -> None:
    """TW-101's Q4 is valid to 15 January 2027, 46 days after the day of the demo."""
    assert not [one for one in find_buyer_lines(demo(), 45) if one.key == "Q4"]
    assert [one.days for one in find_buyer_lines(demo(), 46) if one.key == "Q4"] == [46]
    assert build_buyer_section(demo(), 0).tables[0].rows


def test_calibration_says_when_cases_are_few_and_names_the_folk_rule() -> None:
    (section,) = build_calibration_sections(demo())
    text = "\n".join(render_sections((section,)))
    assert "few cases" in text
    assert "folk rule of ten" in text
    assert "(few)" in text
    assert len(section.tables[3].rows) == 13


def test_the_case_states_seed_draws_and_all_rates_or_none() -> None:
    (section,) = build_case_sections(demo().parts["TW-161"])
    assert section.aside == "10,000 simulated worlds, seed 2026"
    rate = next(row for row in section.tables[0].rows if word_line(row.cells[0].line).startswith("internal rate"))
    assert re.fullmatch(r"[\d.]+ %", word_line(rate.cells[4].line))
    (done,) = build_case_sections(demo().parts["TW-104"])
    rate = next(row for row in done.tables[0].rows if word_line(row.cells[0].line).startswith("internal rate"))
    assert "no money is left to be put in" in word_line(rate.cells[4].line)


def test_a_part_without_a_case_says_why() -> None:
    (section,) = build_case_sections(demo().parts["TW-220"])
    assert "What a piece costs is not known" in word_line(section.intro)


def test_worth_before_tooling_is_called_so() -> None:
    (section,) = build_case_sections(demo().parts["TW-112"])
    assert "before any tool is paid" in word_line(section.intro)


def test_the_drawing_of_what_moves_a_figure() -> None:
    bars = (TornadoBar("errors left", 900.0, -400.0, "0", "3"), TornadoBar("price", 100.0, 200.0, "9", "8", True))
    chart = TornadoChart("What moves it", "Errors move it most.", "USD", 150.0, "as it stands: 150", bars)
    drawn = render_chart(chart)
    assert drawn == render_chart(chart)
    assert "<title" in drawn
    assert "errors left" in drawn
    with pytest.raises(ValueError, match="no bar"):
        render_chart(TornadoChart("t", "w", "USD", 0.0, "b", ()))
    with pytest.raises(ValueError, match="cannot be drawn"):
        render_chart(TornadoChart("t", "w", "USD", float("nan"), "b", bars))


def test_the_drawings_of_a_part_stay_light() -> None:
    weight = sum(len(render_chart(figure.chart)) for section in list_sections("TW-118") for figure in section.figures)
    assert weight < 40_000
