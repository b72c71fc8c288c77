"""A review read from git equals one made from plain checkouts: both commits on disk, each read and judged by itself."""

from __future__ import annotations

import datetime as dt
import subprocess
from collections import Counter
from pathlib import Path

import pytest
from told_demo import copy_demo, find_told_demo, run_git

from pipeline.model.words import Gate, GateState
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.portfolio.moves import MoveKind
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.portfolio.review import Since, choose_since, review_since


def check_out(source: Path, revision: str, place: Path, day: dt.date) -> Checked:
    """A commit as plain files, read by the ordinary road."""
    place.mkdir()
    archive = subprocess.run(["git", "archive", revision], cwd=source, capture_output=True, check=True)
    subprocess.run(["tar", "-x", "-C", str(place)], input=archive.stdout, check=True)
    return check_workspace(place, day)


def tell_twin(before: Checked, after: Checked) -> Counter[tuple[str, ...]]:
    """What moved, the obvious way: every state of every gate, every decision and every nominal, side by side."""
    assert before.workspace is not None and after.workspace is not None
    told: Counter[tuple[str, ...]] = Counter()
    old_parts, new_parts = before.workspace.parts, after.workspace.parts
    for number, part in new_parts.items():
        old = old_parts.get(number)
        if old is None:
            told[number, "new"] += 1
        for gate in Gate:
            now = after.standings[number].gates[gate].state
            was = before.standings[number].gates[gate].state if old is not None else GateState.NOT_STARTED
            if now is not was and now in (GateState.PROVEN, GateState.STALE, GateState.READY):
                told[number, str(now), str(gate)] += 1
        known = list(old.decisions) if old is not None else []
        for decision in part.decisions:
            if decision in known:
                known.remove(decision)
            else:
                told[number, "decided", str(decision.on)] += 1
        for key, feature in part.features.items():
            if old is not None and key in old.features and old.features[key].nominal != feature.nominal:
                told[number, "figure", key, f"{old.features[key].nominal}", f"{feature.nominal}"] += 1
        calls = {call.tool for call in after.standings[number].hold_calls}
        calls -= {call.tool for call in before.standings[number].hold_calls} if old is not None else set()
        told.update((number, "hold call", tool) for tool in calls)
        if after.standings[number].is_dropped and (old is None or not before.standings[number].is_dropped):
            told[number, "dropped"] += 1
        if old is not None and before.standings[number].is_dropped and not after.standings[number].is_dropped:
            told[number, "revived"] += 1
    told.update((number, "gone") for number in old_parts if number not in new_parts)
    return told


def tell_review(folder: Path, revision: str, day: dt.date) -> Counter[tuple[str, ...]]:
    """The same, from the review under test."""
    portfolio = build_portfolio(folder)
    review = review_since(folder, portfolio, Since(revision, day, revision))
    assert review.moves is not None, review.conditions
    told: Counter[tuple[str, ...]] = Counter()
    gates = {
        MoveKind.PROVEN: GateState.PROVEN, MoveKind.RELEASED: GateState.PROVEN, MoveKind.STALE: GateState.STALE,
        MoveKind.READY: GateState.READY,
    }  # fmt: skip
    plain = {MoveKind.NEW: "new", MoveKind.DROPPED: "dropped", MoveKind.REVIVED: "revived", MoveKind.GONE: "gone"}
    for move in review.moves:
        if move.kind in gates:
            told[move.number, str(gates[move.kind]), str(move.gate)] += 1
        elif move.kind in plain:
            told[move.number, plain[move.kind]] += 1
        elif move.kind is MoveKind.DECIDED:
            told[move.number, "decided", str(move.on)] += 1
        elif move.kind is MoveKind.HOLD_CALL:
            told[move.number, "hold call", move.subject] += 1
        elif move.kind is MoveKind.FIGURE and move.place.startswith("features.") and isinstance(move.new, float):
            told[move.number, "figure", move.place.partition(".")[2], f"{move.old}", f"{move.new}"] += 1
    return told


@pytest.mark.parametrize("back", [40, 250])
def test_review_of_the_demo_equals_checkouts(tmp_path: Path, back: int) -> None:
    folder = find_told_demo(70)
    revision = run_git(folder, "rev-parse", f"HEAD~{back}")
    day = dt.date.fromisoformat(run_git(folder, "show", "-s", "--format=%cs", revision))
    today = dt.date(2026, 11, 30)
    twin = tell_twin(
        check_out(folder, revision, tmp_path / "old", day), check_out(folder, "HEAD", tmp_path / "new", today)
    )
    assert tell_review(folder, revision, day) == twin
    assert len(twin) > 10


def test_bent_workspace_equals_checkouts(tmp_path: Path) -> None:
    """Edits that git and disk must agree on: nominals, a dropped part, a deleted one, evidence changed with its list."""
    folder = copy_demo(tmp_path / "w", 30)
    base, day = run_git(folder, "rev-parse", "HEAD"), dt.date(2026, 11, 30)
    record = folder / "projects/TW-101/part.yaml"
    text = record.read_text("utf-8")
    changed = text.replace("nominal: 112.40", "nominal: 112.45")
    changed = changed if changed != text else text.replace("nominal: 112.4,", "nominal: 112.45,")
    assert changed != text
    record.write_text(changed, "utf-8")
    other = folder / "projects/TW-140/part.yaml"
    other.write_text(other.read_text("utf-8").rstrip("\n") + "\n", "utf-8")
    run_git(folder, "rm", "-rq", "projects/TW-220")
    evidence = sorted((folder / "projects/TW-109/evidence").glob("*.csv"))[0]
    evidence.write_bytes(evidence.read_bytes() + b"\n")
    when = {"GIT_AUTHOR_DATE": "2026-11-30T12:00:00Z", "GIT_COMMITTER_DATE": "2026-11-30T12:00:00Z"}
    run_git(folder, "commit", "-qam", "bent", **when)
    twin = tell_twin(check_out(folder, base, tmp_path / "old", day), check_out(folder, "HEAD", tmp_path / "new", day))
    assert tell_review(folder, base, day) == twin
    assert twin["TW-220", "gone"] == 1
    assert any(key[:2] == ("TW-101", "figure") for key in twin)
    backwards = tell_twin(check_out(folder, "HEAD", tmp_path / "b", day), check_out(folder, base, tmp_path / "a", day))
    head = run_git(folder, "rev-parse", "HEAD")
    run_git(folder, "checkout", "-q", base)
    assert tell_review(folder, head, day) == backwards  # and the other way round: evidence that was changed then
    assert backwards["TW-220", "new"] == 1


def test_renumbered_part_is_followed(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w", 30)
    run_git(folder, "mv", "projects/TW-126", "projects/TW-126R")
    record = folder / "projects/TW-126R/part.yaml"
    record.write_text(record.read_text("utf-8").replace("part: TW-126", "part: TW-126R", 1), "utf-8")
    run_git(folder, "commit", "-qam", "another number")
    portfolio = build_portfolio(folder)
    moves = review_since(folder, portfolio, choose_since(folder, portfolio, "HEAD~1")).moves
    assert moves is not None
    mine = {(m.kind, m.old, m.new) for m in moves if m.number == "TW-126R"}
    assert mine == {(MoveKind.RENUMBERED, "TW-126", "TW-126R")}
    assert not any(m.kind in (MoveKind.NEW, MoveKind.GONE) for m in moves)
