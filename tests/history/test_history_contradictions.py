"""Where git contradicts the record: each kind shown once at its limit and once just over."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from history_stories import RECORD, START, build, parse, reopen, run

from pipeline.history.contradictions import Claim, check_added, check_claims, check_continuity, check_evidence
from pipeline.history.recorded import History, read_record_history

DAY = START.date()
PEOPLE = {"Mara@example.invalid": "mara", "ito@example.invalid": "ito"}
TEXT = b"part: TW-1\ndecisions:\n  - {gate: measure, say: go}\n"


@pytest.fixture
def history(tmp_path: Path) -> History:
    return read_record_history(build(tmp_path / "w", {RECORD: TEXT}), parse=parse)


def kinds(history: History, claim: Claim, **limits: int) -> list[str]:
    return [found.kind for found in check_claims(history, [claim], PEOPLE, **limits)]


@pytest.mark.parametrize(("days", "expected"), [(14, []), (15, ["recorded-late"]), (-1, []), (-2, ["stated-ahead"])])
def test_days_at_and_over_the_limit(history: History, days: int, expected: list[str]) -> None:
    assert kinds(history, Claim(RECORD, "decisions[0]", "mara", DAY - timedelta(days=days))) == expected


def test_a_date_edited_long_after(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: TEXT}, {RECORD: TEXT.replace(b"go", b"hold")}, days=40)
    found = check_claims(
        read_record_history(repository, parse=parse), [Claim(RECORD, "decisions[0]", "mara", DAY)], PEOPLE
    )
    assert [(f.kind, f.days) for f in found] == [("changed-later", 40)] and "2026-02-14" in found[0].words


def test_people(history: History) -> None:
    claim = Claim(RECORD, "decisions[0]", "mara", DAY)
    assert kinds(history, claim) == []
    assert kinds(history, Claim(RECORD, "decisions[0]", "ito", DAY)) == ["never-committed"]
    assert kinds(history, Claim(RECORD, "decisions[0]", "mara", DAY, frozenset({"ito"}))) == ["author-not-allowed"]
    assert kinds(history, Claim(RECORD, "decisions[0]", "mara", DAY, frozenset())) == ["author-not-allowed"]
    strangers = check_claims(history, [claim], {"ito@example.invalid": "ito"})
    assert [found.kind for found in strangers] == ["author-unknown", "never-committed"]
    assert kinds(history, Claim(RECORD, "decisions[7]", "mara", DAY)) == ["not-recorded"]
    with pytest.raises(ValueError, match="0 or more"):
        check_claims(history, [], PEOPLE, late_after=-1)


def test_a_floor_is_not_called_late(tmp_path: Path) -> None:
    build(tmp_path / "w", {RECORD: TEXT}, {"x": b"1"}, days=60)
    run(tmp_path, "clone", "-q", "--depth", "1", (tmp_path / "w").as_uri(), "clone")
    history = read_record_history(reopen(tmp_path / "clone"), parse=parse)
    assert kinds(history, Claim(RECORD, "decisions[0]", "mara", DAY)) == []


def test_evidence_rewritten_after_its_decision(tmp_path: Path) -> None:
    path = "projects/TW-1/evidence/a.csv"
    repository = build(tmp_path / "w", {path: b"1"}, {path: b"2"}, {path: None}, days=10)
    files = read_record_history(repository, parse=parse).files
    found = check_evidence(files, [(RECORD, path, DAY)])
    assert [(f.kind, f.days) for f in found] == [("evidence-rewritten", 10), ("evidence-rewritten", 20)]
    assert (
        check_evidence(files, [(RECORD, path, DAY + timedelta(days=20)), (RECORD, "nothing", date(2020, 1, 1))]) == ()
    )


@pytest.mark.parametrize(("days", "expected"), [(-5, []), (0, []), (1, []), (2, ["stood-earlier"])])
def test_what_is_said_to_be_added_later_than_it_stood_in_the_record(
    tmp_path: Path, days: int, expected: list[str]
) -> None:
    text = b"part: TW-1\nfeatures:\n  eye: {nominal: 8}\n"
    history = read_record_history(build(tmp_path / "w", {RECORD: text}), parse=parse)
    day = DAY + timedelta(days=days)
    found = check_added(history.records[RECORD], {"features.eye": day, "features.gone": day + timedelta(days=99)})
    assert [one.kind for one in found] == expected
    assert all(one.days == days and f"stood in the record on {DAY}" in one.words for one in found)


def test_history_rewritten(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: TEXT}, {RECORD: TEXT + b"name: x\n"})
    remembered = repository.head
    assert check_continuity(repository, remembered) == ()
    run(tmp_path / "w", "commit", "-q", "--amend", "-m", "other")
    found = check_continuity(reopen(tmp_path / "w"), remembered)
    assert [f.kind for f in found] == ["history-rewritten"] and remembered[:12] in found[0].words
    assert check_continuity(reopen(tmp_path / "w"), "f" * 40)[0].kind == "history-rewritten"
