"""The pages of methods say what the code does: their figures are the constants, their links lead to each other."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.planning.funding_amounts import TIE_WIDTH
from pipeline.planning.funding_plan import PROVE_UP_TO
from pipeline.portfolio.flow import LITTLE_WEEKS, SNAPSHOTS_BACK
from pipeline.portfolio.flow_usual import LEAST_FINISHED, RECORD_WORTH, WORTH
from pipeline.portfolio.funding_study import USUAL
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.views.addresses import find_method_page
from pipeline.views.method_pages import build_method_pages
from pipeline.views.shapes_marks import Line
from pipeline.views.shapes_site import MethodPage

ROOT = Path(__file__).parents[2]


def join(line: Line) -> str:
    return "".join(run.text for run in line)


@pytest.fixture(scope="module")
def portfolio() -> Portfolio:
    return build_portfolio(ROOT)


@pytest.fixture(scope="module")
def pages(portfolio: Portfolio) -> dict[str, MethodPage]:
    return {page.head.href: page for page in build_method_pages(portfolio)}


def read(page: MethodPage) -> str:
    """Everything that a page says, as one text."""
    words = [*page.formula, join(page.source), *page.limits, *(f"{c.title} {c.words} {c.check}" for c in page.cautions)]
    tables = [page.symbols, *(page.example.tables if page.example is not None else ())]
    words += [join(cell.line) for table in tables for row in table.rows for cell in row.cells]
    return "\n".join(words)


def test_the_plan_says_what_it_maximises_what_binds_it_and_what_is_asked_of_it(pages: dict[str, MethodPage]) -> None:
    page = pages[find_method_page("plan")]
    text = read(page)
    assert any(line.startswith("maximise") and "worth(p, t)" in line and "pay(i, t)" in line for line in page.formula)
    for word in ("cash, for every quarter", "hours, for each resource", "either-or", "a part needs all its tools"):
        assert any(line.startswith(word) for line in page.formula), word
    for word in ("triangular", "Regret", "one more unit of cash", "idle", "every point is a plan", "must-do"):
        assert word in text, word
    assert f"Up to {PROVE_UP_TO} parts" in text and f"within {TIE_WIDTH:g}" in text
    assert f"{USUAL.worlds} worlds (seed {USUAL.seed})" in text and f"{USUAL.points} budgets" in text
    assert "HiGHS" in text and "Picard" in text and "Dantzig" in text and "Monte Carlo" in text
    assert len(page.cautions) == 2 and "not a signature" in page.cautions[0].title


def test_the_flow_says_its_figures(pages: dict[str, MethodPage]) -> None:
    text = read(pages[find_method_page("flow")])
    assert f"{WORTH} · rest" in text and f"{RECORD_WORTH} · weeks on record" in text
    assert f"fewer than {LEAST_FINISHED} parts" in text and f"over {LITTLE_WEEKS} weeks" in text
    assert f"{len(SNAPSHOTS_BACK)} earlier days" in text
    for source in ("Kaplan and Meier 1958", "Ferguson", "Hill", "Little 1961", "A. M. Law"):
        assert source in text, source


def test_the_history_says_its_limits(portfolio: Portfolio, pages: dict[str, MethodPage]) -> None:
    assert portfolio.workspace is not None
    text = read(pages[find_method_page("history")])
    assert f"over {portfolio.workspace.catalogues.shop.late_record_days} days" in text
    for word in ("never a proof", "shallow clone", "Nothing in a repository is executed", "review --close"):
        assert word in text, word


def test_the_gates_say_by_what_a_past_decision_is_judged(pages: dict[str, MethodPage]) -> None:
    text = read(pages[find_method_page("gates")])
    assert "judged by what was there on its day" in text and "policy and the roles are today's" in text
    assert "features, interfaces and applications but those that say they were added since (`since`)" in text


def test_the_proofs_say_how_a_bad_piece_of_the_same_day_is_judged(pages: dict[str, MethodPage]) -> None:
    text = read(pages[find_method_page("proofs")])
    assert "the same day or before, until a newer good one is there" in text and "Common practice, no source" in text


def test_the_readings_say_what_a_gauge_study_adds(portfolio: Portfolio, pages: dict[str, MethodPage]) -> None:
    page = pages[find_method_page("readings")]
    text = read(page)
    for word in ("4.2.4", "Welch and Satterthwaite", "repeatability and reproducibility", "gauge study"):
        assert word in text, word
    assert page.example is not None
    studied = page.example.tables[1]
    cells = [["".join(run.text for run in cell.line) for cell in row.cells] for row in studied.rows]
    assert ["Outside micrometer 0-25 mm", "size", "TW-171/G1", "0.000119", "78", "0.000028", "3", "in"] in cells
