"""The tooling release sheet: every blocker, waiver, payment and caution, and when it may be signed."""

from __future__ import annotations

import functools
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from pipeline.model.words import GATES, GateState
from pipeline.portfolio.portfolio import PartFile, Portfolio, build_portfolio
from pipeline.portfolio.tooling_cash import compute_tooling_cash
from pipeline.views.release_sheet import build_release_sheet
from pipeline.views.shapes_marks import Table
from pipeline.views.terminal_sections import word_line

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]


@functools.cache
def demo() -> Portfolio:
    return build_portfolio(ROOT)


def list_texts(table: Table) -> list[list[str]]:
    return [[word_line(cell.line) for cell in row.cells] for row in table.rows]


def test_the_rim_must_not_be_signed() -> None:
    sheet = build_release_sheet(demo().parts["TW-101"])
    assert not sheet.may_sign
    assert word_line(sheet.verdict) == "Not to be signed yet: 1 hold call and 6 things in the way."
    assert sheet.hold is not None
    blockers = list_texts(sheet.blockers)
    assert [
        "prototype",
        "went stale: P1 no longer stands for revision D",
        "build a prototype of revision D",
    ] in blockers
    assert [row[0] for row in list_texts(sheet.waivers)] == ["fit-check.coverage", "fit-check.finish"]
    assert list_texts(sheet.waivers)[0][1:3] == ["before metal is cut", "9,600 USD"]
    assert "released" in sheet.release
    assert any("NOT" not in run.text and "Q1" in run.text for run in sheet.quote)


def test_every_unmet_requirement_of_every_gate_before_tooling_is_on_the_sheet() -> None:
    for file in demo().parts.values():
        shown = " ".join(" ".join(row) for row in list_texts(build_release_sheet(file).blockers))
        for gate in GATES[:-1]:
            standing = file.standing.gates[gate]
            if standing.state is not GateState.PROVEN:
                assert gate.value in shown
                for requirement in standing.open_requirements:
                    assert requirement.answer.words in shown


def test_a_part_with_every_gate_proven_may_be_signed() -> None:
    sheet = build_release_sheet(demo().parts["TW-109"])
    assert sheet.may_sign
    assert not sheet.blockers.rows
    assert "Every gate before tooling is proven" in word_line(sheet.verdict)


def test_parts_that_are_not_proven_may_not() -> None:
    for file in demo().parts.values():
        proven = all(file.standing.gates[gate].state is GateState.PROVEN for gate in GATES[:-1])
        assert build_release_sheet(file).may_sign <= proven


def test_cash_by_milestone_adds_up_to_the_cent() -> None:
    for file in demo().parts.values():
        rows = list_texts(build_release_sheet(file).cash)
        cash = compute_tooling_cash(file)
        if not cash.due:
            continue
        at = next(index for index, row in enumerate(rows) if row[0] == "total")
        amounts = [Decimal(row[2].replace(",", "")) for row in rows[: at + 1]]
        assert sum(amounts[:-1], Decimal(0)) == amounts[-1] == cash.total.quantize(Decimal("0.01"))


def test_tools_have_price_owner_and_life() -> None:
    rows = list_texts(build_release_sheet(demo().parts["TW-101"]).tools)
    assert rows[0] == ["die, die-casting die", "ordered", "38,000 USD", "ours", "100,000"]
    assert rows[1] == ["trim, trim die", "quoted", "6,500 USD", "ours", "80,000 usual"]


def test_what_a_change_costs_now_and_after_rises() -> None:
    rows = list_texts(build_release_sheet(demo().parts["TW-118"]).changes)
    assert [row[0] for row in rows] == ["today", "at tool ordered", "at tool cut", "at first article", "at released"]
    likely = [int(row[1].split(" ")[0].replace(",", "")) for row in rows]
    assert likely == sorted(likely)


def test_an_expired_waiver_is_flagged() -> None:
    (row, *_) = list_texts(build_release_sheet(demo().parts["TW-112"]).waivers)
    assert "(ran out)" in row[1]


def test_the_sheet_names_who_may_sign_and_says_of_no_part_that_it_is_safe() -> None:
    for file in demo().parts.values():
        sheet = build_release_sheet(file)
        assert [one.role for one in sheet.signatures] == ["owner", "lead", "second signature"]
        assert sheet.signatures[0].people == "The owner"
        assert "Nothing on this sheet says that the part is safe" in sheet.cautions[-1].words
        if file.part.safety.value != "S0":
            assert sheet.cautions[0].strong


def test_a_part_with_nothing_but_a_name_has_a_sheet(sample: Sample) -> None:
    bare = "originals: {}\nfeatures: {}\ninterfaces: {}\nmeasurements: {}\nrevisions: {}\nprototypes: {}\nfit_checks: {}\nquotes: {}\ntools: {}\ndecisions: []\n"
    file: PartFile = build_portfolio(sample(bare)).parts["SD-100"]
    sheet = build_release_sheet(file)
    assert not sheet.may_sign
    assert word_line(sheet.quote) == "No quote can be reckoned with."
    assert "No case" in word_line(sheet.case)
