"""Every kind of move, told once and only where something moved: one record before and after, as plain files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.lineage.freshness import Lineage
from pipeline.model.words import Gate
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.moves import Move, MoveKind, State, find_moves
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.views.review_moves import word_move
from pipeline.views.shapes_marks import Line

GO = (
    "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
)
FIT = "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
QUOTE = "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
RELEASE = "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
ALL = GO + FIT + QUOTE + RELEASE
DIE = "tools:\n  die: {kind: die, forms: [length], price: %s USD, by: foundry, steps: {%s}}\n"
ORDERED = DIE % ("9000", "quoted: 2026-05-01, ordered: 2026-05-12")
B = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length]%s}\n"
STALE = B % ""
KEPT = (
    B
    % ", no_effect: [{features: [length], keeps: [F1, P1, Q1, die], by: ann, seen_by: bob, on: 2026-05-21, why: edge}]"
)
WAIVER = (
    "waivers:\n  - {of: fit-check.coverage, until: %s, by: bob, risk: kim, exposure: 900 USD, instead: x, why: y}\n"
)
TWO = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
DEMAND = "demand: {per_year: [100, 200, 400], price: %s USD, cost: 4.20 USD}\n"
QUOTED = "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: %s, money: USD, tools: {die: %s}, piece: {500: 4.20}, weeks: %s, yield: 0.95, freight: 0.1, duty: 0, owns_tool: us}\n"
OLD, NEW = dt.date(2026, 5, 25), dt.date(2026, 6, 1)

Told = tuple[MoveKind, str]
CASES: list[tuple[str, str, str, list[Told]]] = [
    ("nothing moved", ALL, ALL, []),
    ("a word was changed", ALL, ALL + "# looked at again\n", []),
    ("a gate was proven", GO, GO + FIT, [(MoveKind.PROVEN, "fit check"), (MoveKind.DECIDED, "fit check")]),
    ("a gate went stale", ALL, STALE + ALL, [(MoveKind.STALE, g) for g in ("prototype", "fit check", "quote")]),
    ("all that a gate wants came", GO.replace("  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n", ""), GO,
     [(MoveKind.READY, "fit check"), (MoveKind.PROVEN, "prototype"), (MoveKind.DECIDED, "prototype")]),
    ("a decision was taken back", GO + FIT, GO, [(MoveKind.READY, "fit check")]),
    ("a trial was taken out", GO + FIT, GO + FIT + "fit_checks: {}\n", [(MoveKind.REOPENED, "fit check")]),
    ("sent back for rework", GO + FIT, GO + FIT + FIT.replace("02-10", "05-26").replace("say: go", "say: rework"),
     [(MoveKind.REOPENED, "fit check"), (MoveKind.DECIDED, "fit check")]),
    ("a hold call", ORDERED + ALL, ORDERED + STALE + ALL,
     [(MoveKind.HOLD_CALL, "die"), *((MoveKind.STALE, g) for g in ("prototype", "fit check", "quote"))]),
    ("a hold call was answered by a statement", ORDERED + STALE + ALL, ORDERED + KEPT + ALL,
     [(MoveKind.HOLD_ENDED, "die"), *((MoveKind.PROVEN, g) for g in ("prototype", "fit check", "quote"))]),
    ("the metal was cut all the same", ORDERED + STALE + ALL,
     DIE % ("9000", "quoted: 2026-05-01, ordered: 2026-05-12, cutting: 2026-05-28") + STALE + ALL,
     [(MoveKind.HOLD_ENDED, "die"), (MoveKind.TOOL_STEP, "die: cutting")]),
    ("a tool was ordered", ALL, ORDERED + ALL, [(MoveKind.TOOL_STEP, "die: ordered")]),
    ("a waiver was written", TWO + GO, TWO + GO + WAIVER % "2026-09-01",
     [(MoveKind.READY, "fit check"), (MoveKind.WAIVED, "fit-check.coverage")]),
    ("a waiver ran out", TWO + GO + FIT + WAIVER % "2026-05-31", TWO + GO + FIT + WAIVER % "2026-05-31",
     [(MoveKind.STALE, "fit check"), (MoveKind.WAIVER_ENDED, "fit-check.coverage")]),
    ("a waiver runs to this very day", TWO + GO + FIT + WAIVER % "2026-06-01", TWO + GO + FIT + WAIVER % "2026-06-01", []),
    ("a waiver had run out before", TWO + GO + WAIVER % "2026-05-24", TWO + GO + WAIVER % "2026-05-24", []),
    ("a quote ran out", QUOTED % ("2026-05-31", 9000, 12) + GO, QUOTED % ("2026-05-31", 9000, 12) + GO, [(MoveKind.QUOTE_ENDED, "Q1")]),
    ("a quote runs to this very day", QUOTED % ("2026-06-01", 9000, 12) + GO, QUOTED % ("2026-06-01", 9000, 12) + GO, []),
    ("dropped", GO, GO + FIT.replace("say: go", "say: drop").replace("02-10", "05-28"),
     [(MoveKind.DECIDED, "fit check"), (MoveKind.DROPPED, "")]),
    ("taken up again", GO + FIT.replace("say: go", "say: drop"), GO + FIT.replace("say: go", "say: drop") + FIT.replace("02-10", "05-28"),
     [(MoveKind.PROVEN, "fit check"), (MoveKind.DECIDED, "fit check"), (MoveKind.REVIVED, "")]),
    ("the price of a tool", DIE % ("9000", "quoted: 2026-05-01"), DIE % ("9500.50", "quoted: 2026-05-01"), [(MoveKind.FIGURE, "price of die")]),
    ("the price on sale", DEMAND % "12.00", DEMAND % "13.00", [(MoveKind.FIGURE, "price")]),
    ("what a quote says", QUOTED % ("2026-08-01", 9000, 12), QUOTED % ("2026-08-01", 9400, 14),
     [(MoveKind.FIGURE, "die in quote Q1"), (MoveKind.FIGURE, "lead time in quote Q1")]),
]  # fmt: skip


def judge(root: Path, day: dt.date) -> State:
    checked = check_workspace(root, day)
    assert checked.workspace is not None and "SD-100" in checked.workspace.parts, checked.findings
    return State(checked.workspace, checked.lineage, checked.standings)


def name(move: Move) -> str:
    return move.subject or (str(move.gate) if move.gate is not None else "")


@pytest.mark.parametrize(("before", "after", "told"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_each_move_is_told_once(before: str, after: str, told: list[Told], sample: Callable[..., Path]) -> None:
    moves = find_moves(judge(sample(before), OLD), judge(sample(after), NEW))
    assert sorted((move.kind, name(move)) for move in moves) == sorted(told)
    order = list(MoveKind)
    assert [order.index(move.kind) for move in moves] == sorted(order.index(move.kind) for move in moves)


def test_every_kind_is_seen(sample: Callable[..., Path]) -> None:
    """Those that need another record, or a number of its own, are shown on the demo by the twin of reviews."""
    shown = {kind for case in CASES for kind, _ in case[3]}
    assert set(MoveKind) - shown == {MoveKind.NEW, MoveKind.GONE, MoveKind.RENUMBERED, MoveKind.RELEASED}


def join(line: Line) -> str:
    return "".join(run.text for run in line)


WORDS: list[tuple[str, str, MoveKind, str]] = [
    (ORDERED + STALE + ALL, DIE % ("9000", "ordered: 2026-05-12, cutting: 2026-05-28") + STALE + ALL, MoveKind.TOOL_STEP, "tool die: cutting"),
    (TWO + GO + WAIVER % "2026-05-31", TWO + GO + WAIVER % "2026-05-31", MoveKind.WAIVER_ENDED, "the waiver of fit-check.coverage ended"),
    (QUOTED % ("2026-05-31", 9000, 12) + GO, QUOTED % ("2026-05-31", 9000, 12) + GO, MoveKind.QUOTE_ENDED, "quote Q1 of the foundry ran out"),
    (GO + FIT, GO + FIT + "fit_checks: {}\n", MoveKind.REOPENED, "the fit check gate is open again: 0 of 1 applications fitted"),
    (DIE % ("9000", "quoted: 2026-05-01"), DIE % ("9500.50", "quoted: 2026-05-01"), MoveKind.FIGURE, "price of die: 9,000 USD → 9,500.50 USD"),
    (DEMAND % "12.00", DEMAND % "13.50", MoveKind.FIGURE, "price: 12 USD → 13.50 USD"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "kind", "words"), WORDS, ids=[str(row[2]) for row in WORDS])
def test_moves_in_words(before: str, after: str, kind: MoveKind, words: str, sample: Callable[..., Path]) -> None:
    root = sample(after)
    moves = [m for m in find_moves(judge(sample(before), OLD), judge(root, NEW)) if m.kind is kind]
    assert len(moves) == 1
    assert join(word_move(build_portfolio(root, NEW).parts["SD-100"], moves[0])).lower().startswith(words.lower())


@pytest.mark.parametrize("harm", ["features: [\n", "nonsense: 1\n", "\tx\n", "part: SD-999\n"])
def test_a_broken_record_is_compared_in_neither(harm: str, sample: Callable[..., Path]) -> None:
    """No YAML, a key that is unknown, a number that is not its folder's: it is neither gone nor new."""
    good = sample(GO)
    bad = sample(GO + FIT)
    record = bad / "projects/SD-100/part.yaml"
    text = record.read_text("utf-8")
    record.write_text(text.replace("part: SD-100\n", harm) if harm.startswith("part") else text + harm, "utf-8")
    checked = check_workspace(bad, NEW)
    assert checked.workspace is not None and checked.workspace.broken == ("SD-100",)
    after = State(checked.workspace, checked.lineage, checked.standings)
    assert find_moves(judge(good, OLD), after) == () and find_moves(after, judge(good, NEW)) == ()


def test_a_new_part_tells_what_was_decided_of_it(sample: Callable[..., Path]) -> None:
    checked = check_workspace(sample(GO), NEW)
    assert checked.workspace is not None
    empty = check_workspace(sample(GO), OLD).workspace
    assert empty is not None
    before = State(replace(empty, parts={}), Lineage({}), {})
    moves = find_moves(before, judge(sample(GO), NEW))
    kinds = [(move.kind, move.gate) for move in moves]
    assert (MoveKind.NEW, None) in kinds and (MoveKind.PROVEN, Gate.PROTOTYPE) in kinds
    assert (MoveKind.DECIDED, Gate.MEASURE) in kinds and (MoveKind.READY, Gate.FIT_CHECK) in kinds
    assert [move.number for move in find_moves(judge(sample(GO), OLD), before)] == ["SD-100"]
