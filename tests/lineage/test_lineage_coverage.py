"""The matrix of applications and hands; cycles; superseded numbers; signed statements one by one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from lineage.lineage_story import check_story, write_story

from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.model.words import Hand
from pipeline.portfolio.check import check_workspace

TWO = (
    "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
    "  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
)
HANDS = "hands: {left: SD-100-L, right: SD-100-R, relation: %s}\n"


def write_check(key: str, on: str = "2026-02-05", **changes: str) -> str:
    """Return one fit check of the sample, with changed fields."""
    fields = {"with": "P1", "on": on, "by": "ann", "seen_by": "bob", "car": "car-1", "fits": "saloon",
              "gaps": "{seat: [0.4]}", "result": "good"} | changes  # fmt: skip
    if fields["fits"] == "estate":
        fields["car"] = "car-2"
    return f"  {key}: {{{', '.join(f'{k}: {v}' for k, v in fields.items())}}}\n"


def find_matrix(root: Path) -> dict[tuple[str, str], tuple[CellState, str | None]]:
    """Return the state and the deciding fit check of every cell of the sample."""
    checked = check_workspace(root)
    assert checked.workspace is not None
    coverage = compute_coverage(checked.workspace.parts["SD-100"], checked.lineage.parts["SD-100"])
    assert coverage.good == sum(cell.state is CellState.GOOD for cell in coverage.cells)
    assert coverage.share == coverage.good / len(coverage.cells)
    return {(cell.application, str(cell.hand)): (cell.state, cell.check) for cell in coverage.cells}


GOOD, BAD, OPEN, MISSING, STALE = (
    CellState.GOOD, CellState.BAD, CellState.OPEN, CellState.MISSING, CellState.STALE,
)  # fmt: skip


def test_one_body_of_two_is_half_covered(sample: Callable[..., Path]) -> None:
    root = sample(TWO)
    assert find_matrix(root) == {("saloon", "none"): (GOOD, "F1"), ("estate", "none"): (MISSING, None)}


@pytest.mark.parametrize("relation", ["mirror", "unique", "mirror-except, except: [hard]"])
def test_a_left_one_proves_no_right_one_whatever_the_relation(relation: str, sample: Callable[..., Path]) -> None:
    section = (
        TWO + HANDS % relation + "fit_checks:\n" + write_check("F1", hand="left") + write_check("F2", fits="estate")
    )
    assert find_matrix(sample(section)) == {
        ("saloon", "left"): (GOOD, "F1"),
        ("saloon", "right"): (MISSING, None),
        ("estate", "left"): (MISSING, None),  # F2 does not say which hand it tried: it counts for neither
        ("estate", "right"): (MISSING, None),
    }


SEQUENCES: list[tuple[str, list[tuple[str, str, str]], tuple[CellState, str | None]]] = [
    ("bad after good", [("F1", "2026-02-05", "good"), ("F2", "2026-02-06", "bad")], (BAD, "F2")),
    ("good after bad", [("F1", "2026-02-05", "bad"), ("F2", "2026-02-06", "good")], (GOOD, "F2")),
    ("order in the record does not matter", [("F2", "2026-02-06", "bad"), ("F1", "2026-02-05", "good")], (BAD, "F2")),
    ("not judged after good", [("F1", "2026-02-05", "good"), ("F2", "2026-02-06", "open")], (GOOD, "F1")),
    ("not judged after bad", [("F1", "2026-02-05", "bad"), ("F2", "2026-02-06", "open")], (BAD, "F1")),
    ("not judged alone", [("F1", "2026-02-05", "open")], (OPEN, "F1")),
    ("never tried", [], (MISSING, None)),
]


@pytest.mark.parametrize(("checks", "cell"), [s[1:] for s in SEQUENCES], ids=[s[0] for s in SEQUENCES])
def test_the_latest_judged_trial_decides_a_cell(
    checks: list[tuple[str, str, str]], cell: tuple[CellState, str | None], sample: Callable[..., Path]
) -> None:
    lines = "".join(write_check(key, on, result=result) for key, on, result in checks)
    root = sample(f"fit_checks:{' {}' if not checks else ''}\n{lines}decisions: []\n")
    assert find_matrix(root) == {("saloon", "none"): cell}


REVISION_B = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, from: [M1, M2]}\n  B: {on: 2026-02-10, by: ann, changed: [length]}\n"
)


def test_a_stale_trial_says_so_until_a_fresh_one_takes_its_place(sample: Callable[..., Path]) -> None:
    old = "fit_checks:\n" + write_check("F1")
    assert find_matrix(sample(REVISION_B + old)) == {("saloon", "none"): (STALE, "F1")}
    again = (
        "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n  P2: {of: B, process: print, on: 2026-02-11}\n"
        + old
        + write_check("F2", "2026-02-12", **{"with": "P2"})
    )
    assert find_matrix(sample(REVISION_B + again)) == {("saloon", "none"): (GOOD, "F2")}


def test_a_fit_check_older_than_a_bad_stale_one_still_counts(sample: Callable[..., Path]) -> None:
    """A bad trial of an older revision is no word about the new one."""
    section = (
        "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n  P2: {of: B, process: print, on: 2026-02-11}\nfit_checks:\n"
        + write_check("F2", "2026-02-12", **{"with": "P2"})
        + write_check("F3", "2026-02-13", result="bad")
    )
    assert find_matrix(sample(REVISION_B + section)) == {("saloon", "none"): (GOOD, "F2")}


def test_the_matrix_has_a_cell_for_every_application_and_hand(sample: Callable[..., Path]) -> None:
    assert [hand for _, hand in find_matrix(sample(TWO + HANDS % "mirror"))] == [Hand.LEFT, Hand.RIGHT] * 2


CYCLES: list[tuple[str, dict[str, str], dict[str, str], str]] = [
    ("a tool that fits itself", {"made_to_fit: [die]": "made_to_fit: [mask]"}, {}, "tools.mask"),
    ("two tools", {"  die: {kind: die,": "  die: {kind: die, made_to_fit: [mask],"}, {}, "tools.die"),
    ("tools of two records", {"  die: {kind: die,": "  die: {kind: die, made_to_fit: [SD-200/cap],"}, {}, "tools.die"),
    ("an assembly in itself", {"engineer: ann\n": "engineer: ann\nmade_of: {x: {part: SD-300}}\n"}, {}, "made_of"),
    ("measurements that replace each other", {"by: ann, with: arm, at: 20 C, file: evidence/m1.csv": "by: ann, replaces: M2, with: arm, at: 20 C",
     "by: ann, with: arm, at: 20 C, file: evidence/m2.csv": "by: ann, replaces: M1, with: arm, at: 20 C"}, {}, "measurements.M1"),
    ("numbers that supersede each other", {"engineer: ann\n": "engineer: ann\nsupersedes: [{number: SD-200, on: 2026-01-01}]\n"},
     {"name: Cap\n": "name: Cap\nsupersedes: [{number: SD-100, on: 2026-01-01}]\n"}, "supersedes"),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "other", "pointer"), [c[1:] for c in CYCLES], ids=[c[0] for c in CYCLES])
def test_a_cycle_is_a_finding_and_the_rest_is_judged(
    edits: dict[str, str], other: dict[str, str], pointer: str, sample: Callable[..., Path]
) -> None:
    checked = check_workspace(write_story(sample, edits, other))
    found = [(f.record, f.pointer) for f in checked.findings if f.rule == "R215"]
    assert found == [("SD-100", pointer)]
    assert set(checked.standings) == {"SD-100", "SD-200", "SD-300"}


def test_no_cycle_in_a_diamond(sample: Callable[..., Path]) -> None:
    edits = {
        "made_to_fit: [die]": "made_to_fit: [die, trim]",
        "  trim: {kind: die,": "  trim: {kind: die, made_to_fit: [die],",
    }
    assert not [f for f in check_workspace(write_story(sample, edits)).findings if f.rule == "R215"]


A = "  A: {on: 2026-01-20, by: ann, file: evidence/a.stl, from: [M1, M2]}\n"


def find_kept(sample: Callable[..., Path], changed: str, statements: str, more: str = "") -> set[str]:
    """Return what goes stale in the first record when revision B carries these statements."""
    edit = {A: f"{A}  B: {{on: 2026-05-01, by: ann, changed: [{changed}], no_effect: [{statements}]}}\n{more}"}
    stale = check_story(write_story(sample, edit))
    return {name.removeprefix("SD-100/") for name in stale if name.startswith("SD-100/")}


def write_statement(features: str, keeps: str, by: str = "ann", seen_by: str = "bob") -> str:
    """Return a no-effect statement."""
    return f"{{features: [{features}], keeps: [{keeps}], by: {by}, seen_by: {seen_by}, on: 2026-05-02, why: edge only}}"


LENGTH = {"prototypes.P1", "fit_checks.F1", "quotes.Q1", "tools.die", "tools.mask", "first_articles.FA1",
          "sample_runs.S1"}  # fmt: skip
WIDTH = {"prototypes.P1", "prototypes.P2", "fit_checks.F2", "quotes.Q1", "quotes.Q2", "tools.trim", "tools.gauge",
         "first_articles.FA2"}  # fmt: skip
STATEMENTS: list[tuple[str, str, str, set[str]]] = [
    ("keeps one thing", "length", write_statement("length", "F1"), LENGTH - {"fit_checks.F1"}),
    ("keeps three things", "length", write_statement("length", "F1, Q1, FA1"),
     LENGTH - {"fit_checks.F1", "quotes.Q1", "first_articles.FA1"}),
    ("keeps a mask that follows the mould", "length", write_statement("length", "mask"), LENGTH - {"tools.mask"}),
    ("keeps a run of pieces", "length", write_statement("length", "S1"), LENGTH - {"sample_runs.S1"}),
    ("names one of two changed features", "length, width", write_statement("length", "F1, Q1"),
     (LENGTH | WIDTH) - {"fit_checks.F1"}),
    ("two statements add up", "length, width", f"{write_statement('length', 'Q1')}, {write_statement('width', 'Q1')}",
     (LENGTH | WIDTH) - {"quotes.Q1"}),
    ("names what did not change", "length", write_statement("width", "F1, F2"), LENGTH),
    ("signed and seen by one person", "length", write_statement("length", "F1", seen_by="ann"), LENGTH),
    ("keeps what is not touched", "length", write_statement("length", "F2"), LENGTH),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "statements", "stale"), [s[1:] for s in STATEMENTS], ids=[s[0] for s in STATEMENTS]
)
def test_a_statement_keeps_exactly_what_it_names(
    changed: str, statements: str, stale: set[str], sample: Callable[..., Path]
) -> None:
    assert find_kept(sample, changed, statements) == stale


def test_a_statement_speaks_of_its_own_revision_only(sample: Callable[..., Path]) -> None:
    again = "  C: {on: 2026-05-03, by: ann, changed: [length]}\n"
    assert find_kept(sample, "length", write_statement("length", "F1"), again) == LENGTH


def test_a_statement_takes_away_no_other_reason(sample: Callable[..., Path]) -> None:
    edit = {
        A: f"{A}  B: {{on: 2026-05-01, by: ann, changed: [length], no_effect: [{write_statement('length', 'F1')}]}}\n"
    }
    root = write_story(sample, edit)
    (root / "projects/SD-100/evidence/f1.jpg").unlink()
    assert check_story(root)["SD-100/fit_checks.F1"] == ("the file evidence/f1.jpg of fit check F1 is missing",)
