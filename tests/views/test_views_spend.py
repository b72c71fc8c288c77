"""The page of tooling spend: its figures are the study's, the terminal's are the page's, and it has a word for every fault."""

from __future__ import annotations

import csv
import dataclasses
import doctest
import io
import json
from pathlib import Path

import pytest
from portfolio.spend_workspaces import ROOT, copy_demo

from pipeline.portfolio.funding import Wishes
from pipeline.portfolio.funding_study import StudySettings
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.portfolio.spending import Spending, plan_spending
from pipeline.views import spend_words
from pipeline.views.csv_tables import render_table_csv
from pipeline.views.method_pages import build_method_pages
from pipeline.views.money_words import word_whole
from pipeline.views.shapes_spend import SpendPage
from pipeline.views.spend import build_spend_page, build_working
from pipeline.views.spend_terminal import build_plan_data, render_plan, render_why
from pipeline.views.spend_words import tidy_words
from pipeline.views.terminal_sections import word_line
from pipeline.views.wording import word_list

SMALL = StudySettings(worlds=4)


@pytest.fixture(scope="module")
def demo() -> Portfolio:
    return build_portfolio(ROOT)


@pytest.fixture(scope="module")
def spending(demo: Portfolio) -> Spending:
    found = plan_spending(demo, None, settings=SMALL)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def tight(demo: Portfolio) -> Spending:
    found = plan_spending(demo, None, settings=dataclasses.replace(SMALL, budget=100_000.0))
    assert found is not None
    return found


@pytest.fixture(scope="module")
def page(spending: Spending) -> SpendPage:
    return build_spend_page(spending)


def _answers(page: SpendPage) -> dict[str, str]:
    return {title: word_line(line) for title, line in page.answers}


def _find(page: SpendPage, anchor: str) -> list[list[str]]:
    table = next(section for section in page.sections if section.anchor == anchor).tables[0]
    return [[word_line(cell.line) for cell in row.cells] for row in table.rows]


def test_examples_in_the_words_hold() -> None:
    assert doctest.testmod(spend_words).failed == 0


# --- the answers at the top ---------------------------------------------------------------------------------


def test_the_first_questions_of_a_spending_meeting_come_first(page: SpendPage) -> None:
    assert [title for title, _ in page.answers] == [
        "Release now", "Just below the line", "What it is worth", "How sure", "What waiting costs",
    ]  # fmt: skip


def test_release_now_tells_what_is_proven_from_what_is_not_yet(spending: Spending, page: SpendPage) -> None:
    now = _answers(page)["Release now"]
    first, later = now.split("once proven:")
    assert first.startswith("TW-109 tools: 23,700 USD in all, 9,480 USD of it due in 2026-Q4.")
    assert spending.study.plan is not None
    for key, quarter in spending.study.plan.releases.items():
        if quarter == 0:
            assert (key in first) == spending.funding.sets[key].ready.is_now
            assert (key in later) != spending.funding.sets[key].ready.is_now


def test_just_below_the_line_names_the_tool_the_cash_and_the_quarter(tight: Spending, page: SpendPage) -> None:
    below = _answers(build_spend_page(tight))["Just below the line"]
    reasons = [r for r in tight.study.reasons if r.quarter is None and r.why.kind.value == "cash"]
    nearest = min(reasons, key=lambda r: r.why.amount or 0.0)
    assert below.startswith(f"{nearest.tool}. For {nearest.tool.split()[0]} it costs ")
    assert nearest.why.amount is not None and nearest.why.quarter is not None
    assert f"{nearest.why.amount:,.0f} USD more cash than is left" in below
    assert f"from {tight.funding.case.quarters[nearest.why.quarter].name} on" in below
    first = next(p for p in tight.study.points if p.budget > 100_000 and p.plan and nearest.tool in p.plan.releases)
    assert f"The first solved budget that has {nearest.tool} is {first.budget:,.0f} USD." in below
    assert _answers(page)["Just below the line"].startswith("Nothing is out for want of cash. Waiting for cash until")


def test_worth_and_waiting_are_differences_of_solved_plans(spending: Spending, page: SpendPage) -> None:
    study = spending.study
    assert study.plan is not None and study.base is not None and study.waiting is not None
    answers = _answers(page)
    assert f"add {word_whole(study.plan.worth - study.base)} USD of present worth" in answers["What it is worth"]
    assert "Proven: no other plan is worth more." in answers["What it is worth"]
    assert f"loses {word_whole(study.plan.worth - study.waiting)} USD" in answers["What waiting costs"]


# --- tables ---------------------------------------------------------------------------------------------------


def test_every_tool_has_a_row_with_its_reason(spending: Spending, page: SpendPage) -> None:
    rows = _find(page, "ranking")
    assert {row[0].split(" ")[0] for row in rows} == {one.part for one in spending.funding.open_sets}
    assert all(row[5].endswith(".") and len(row[5]) > 15 for row in rows)
    sureness = {t.tool: t for t in spending.study.sureness.tools} if spending.study.sureness else {}
    for row, key in ((row, next(k for k in sureness if row[0].startswith(k))) for row in rows):
        assert row[4].startswith(f"{round(sureness[key].share * 4)} of 4")


def test_the_cut_line_has_the_plan_in_its_middle(spending: Spending, page: SpendPage) -> None:
    rows = _find(page, "cut-line")
    assert [row[1] for row in rows] == ["+60,000", "+40,000", "+20,000", "0", "−20,000", "−40,000", "−60,000"]
    assert rows[3][0] == word_whole(spending.study.own)
    for row, step in zip([*rows[:3], *rows[4:]], reversed(spending.study.cut), strict=True):
        assert step.worth_change is not None
        assert row[3].lstrip("+") == word_whole(step.worth_change)


def test_quarters_add_up_to_the_account(spending: Spending, page: SpendPage) -> None:
    assert spending.study.plan is not None
    for row, cash in zip(_find(page, "quarters"), spending.study.plan.account.cash, strict=False):
        assert row[0] == cash.name
        assert row[2:] == [word_whole(v) for v in (cash.new_cash, cash.committed, cash.paid, cash.left)]


def test_promised_payments_add_up_and_a_hold_call_is_said(spending: Spending, page: SpendPage) -> None:
    rows = _find(page, "promised")
    total = sum(float(row[3].replace(",", "")) for row in rows)
    assert total == pytest.approx(spending.study.promised)
    held = [row for row in rows if row[4].startswith("hold call")]
    assert {row[1] for row in held} == {"TW-101"}


def test_every_table_has_a_csv_that_no_spreadsheet_reckons_with(page: SpendPage) -> None:
    tables = [table for section in page.sections for table in section.tables]
    assert len({table.csv_href for table in tables}) == len(tables) == 9
    for table in tables:
        rows = list(csv.reader(io.StringIO(render_table_csv(table))))
        assert len(rows) == len(table.rows) + 1
        assert all(len(row) == len(table.columns) for row in rows)


def test_must_dos_and_idle_money_have_their_tables(demo: Portfolio) -> None:
    wishes = Wishes(must=("TW-109",), must_not=("TW-205",))
    found = plan_spending(demo, None, wishes, dataclasses.replace(SMALL, budget=125_000.0))
    assert found is not None
    page = build_spend_page(found)
    rows = _find(page, "must-dos")
    cost = found.study.must_costs[0]
    assert [row[0] for row in rows] == ["TW-109"]
    assert cost.worth_cost is not None and cost.worth_cost > 0
    assert rows[0][1] == word_whole(cost.worth_cost)
    assert next(row for row in _find(page, "ranking") if row[0].startswith("TW-109"))[5].startswith(
        "It is told to be in."
    )
    kept_out = next(row for row in _find(page, "ranking") if row[0].startswith("TW-205"))
    assert kept_out[1] == "out: told to be out"


# --- points of the slider ------------------------------------------------------------------------------------------


def test_points_are_what_was_solved_and_say_what_the_next_one_changes(spending: Spending, page: SpendPage) -> None:
    assert [point.budget for point in page.points] == [point.budget for point in spending.study.points]
    assert page.points[page.at].budget == spending.study.own == 360_000
    base = spending.study.base or 0.0
    for shown, solved in zip(page.points, spending.study.points, strict=True):
        assert solved.plan is not None
        assert shown.worth_words == f"{word_whole(solved.plan.worth - base)} USD"
        named = {one.tool.text: quarter.label for quarter in shown.quarters for one in quarter.releases}
        names = {k: spending.funding.case.quarters[q].name for k, q in solved.plan.releases.items()}
        assert named == names
        assert len(shown.figures) == 2
    before, after = (spending.study.points[at].plan for at in (1, 2))
    assert before is not None and after is not None
    entering = sorted(after.releases.keys() - before.releases.keys())
    assert entering and f"in: {word_list(entering, 6)}" in page.points[1].next_words
    gain = word_whole(after.worth - before.worth)
    assert page.points[1].next_words.endswith(f"worth {gain} USD more.")
    assert page.points[-1].next_words == "This is the largest budget that was solved."


def test_drawings_say_their_figures_in_words(spending: Spending, page: SpendPage) -> None:
    payments, cash = page.points[page.at].figures
    assert spending.study.plan is not None
    row = spending.study.plan.account.cash[1]
    assert (
        f"2027-Q1: {word_whole(row.committed)} USD promised, {word_whole(row.paid)} USD planned" in payments.chart.words
    )
    assert "Expected cash is deepest in 2027-Q2" in cash.chart.words


# --- terminal and data -------------------------------------------------------------------------------------------------


def test_the_terminal_says_what_the_page_says(spending: Spending, page: SpendPage) -> None:
    text = " ".join(" ".join(render_plan(spending, whole=True)).split())
    for title, line in page.answers:
        assert f"{title}: {word_line(line)}" in text
    for anchor in ("ranking", "cut-line", "quarters"):
        for row in _find(page, anchor):
            for cell in row:
                assert all(word in text for word in cell.split()), cell


def test_data_for_programs_holds_the_same(spending: Spending) -> None:
    data = json.loads(json.dumps(build_plan_data(spending), allow_nan=False))
    study = spending.study
    assert study.plan is not None and study.base is not None
    assert data["plan"]["worth_added"] == round(study.plan.worth - study.base, 2)
    assert data["plan"]["releases"]["TW-109 tools"] == "2026-Q4"
    assert [one["budget"] for one in data["budgets"]] == [round(p.budget, 2) for p in study.points]
    assert {one["key"] for one in data["tools"]} == {r.tool for r in study.reasons}


@pytest.mark.parametrize(
    ("name", "words"),
    (
        ("TW-138", "It is released in 2027-Q1."),
        ("TW-138/core", "TW-138 tools, Thermostat housing cover: pattern, core, nest."),
        ("TW-101", "The money is released already"),
        ("TW-112", "TW-112 is not in the plan. No tool is on record"),
        ("TW-104", "TW-104 is on sale"),
        ("TW-198", "TW-198 is dropped."),
        ("TW-999", "The plan knows nothing of TW-999."),
        ("TW-172", "It takes no payment."),
    ),
)
def test_why_answers_for_any_name(spending: Spending, name: str, words: str) -> None:
    assert words in " ".join(" ".join(render_why(spending, name)).split())


# --- faults and empty workspaces ----------------------------------------------------------------------------------------


def test_no_plan_is_a_sentence_and_what_would_mend_it(tmp_path: Path) -> None:
    root = copy_demo(tmp_path, {"shared/money.yaml": ("2026-Q4: 30000", "2026-Q4: 10000")})
    found = plan_spending(build_portfolio(root), None, settings=SMALL)
    assert found is not None
    page = build_spend_page(found)
    (title, line), *_ = page.answers
    assert title == "No plan"
    assert "exceed the cash by 6,768 USD in 2026-Q4" in word_line(line)
    assert "To mend it: bring 6,768 USD more cash by 2026-Q4 or move a payment." in word_line(line)
    assert any(point.quarters for point in page.points)  # a larger budget is solved and can be looked at
    assert page.points[page.at].quarters == () and "exceed the cash" in page.points[page.at].summary


def test_a_workspace_without_a_part_says_what_would_fill_the_page(tmp_path: Path) -> None:
    root = copy_demo(tmp_path)
    for folder in (root / "projects").iterdir():
        (folder / "part.yaml").unlink()
    page = build_spend_page(plan_spending(build_portfolio(root), None))
    assert page.points == () and page.answers == ()
    assert "pipeline new" in page.empty


def test_tidy_words_touch_amounts_and_days_only() -> None:
    assert (
        tidy_words("adds 0.50 USD, 3.5 hours, G1.2 stays, 12,345.67 USD")
        == "adds 1 USD, 3.5 hours, G1.2 stays, 12,346 USD"
    )
    assert tidy_words("7,100 USD in 2027-Q1") == "7,100 USD in 2027-Q1"


def test_the_working_leads_to_the_method(demo: Portfolio, spending: Spending) -> None:
    method = build_working(spending).method
    assert method is not None and method.href in {page.head.href for page in build_method_pages(demo)}
