"""Dated facts: what is first recorded, changed, removed, brought back, moved; the cache; the cutting into pieces."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from history_stories import RECORD, build, parse, plan, reopen, run

from pipeline.history.facts import FactReader, collect_facts, split_block, split_record
from pipeline.history.past import find_changes_between, read_commits_since
from pipeline.history.recorded import History, read_record_history
from pipeline.history.replay import MAIN, PlannedCommit, write_history

BASE = b"part: TW-1\nrevisions:\n  A: {on: 2026-01-05, by: mara}\ndecisions:\n  - {gate: measure, say: go}\n"


def subjects(history: History, path: str = RECORD) -> dict[str, tuple[str, str, bool]]:
    facts = history.records[path].facts.values()
    return {fact.key: (fact.first.subject[-1], fact.last_changed.subject[-1], fact.is_removed) for fact in facts}


def test_first_recorded_and_last_changed(tmp_path: Path) -> None:
    second = BASE.replace(b"  A:", b"  # a comment\n  A:   ") + b"  - {gate: model, say: hold}\n"
    third = second.replace(b"hold", b"go").replace(b"mara", b"ito")
    history = read_record_history(build(tmp_path / "w", {RECORD: BASE}, {RECORD: second}, {RECORD: third}), parse=parse)
    assert subjects(history) == {
        "part": ("0", "0", False),
        "revisions.A": ("0", "2", False),
        "decisions[0]": ("0", "0", False),
        "decisions[1]": ("1", "2", False),
    }
    fact = history.records[RECORD].facts["decisions[1]"]
    assert (fact.first.author, fact.first.email) == ("Mara", "mara@example.invalid")
    assert fact.value == '{"gate":"model","say":"go"}'


def test_an_item_put_in_front_does_not_touch_the_others(tmp_path: Path) -> None:
    front = BASE.replace(b"decisions:\n", b"decisions:\n  - {gate: model, say: go}\n")
    history = read_record_history(build(tmp_path / "w", {RECORD: BASE}, {RECORD: front}), parse=parse)
    found = subjects(history)
    assert found["decisions[0]"] == ("1", "1", False) and found["decisions[1]"] == ("0", "0", False)


def test_what_is_removed_stays_known_and_what_returns_says_so(tmp_path: Path) -> None:
    without = BASE.replace(b"  A: {on: 2026-01-05, by: mara}\n", b"  B: {on: 2026-01-06}\n")
    versions = ({RECORD: BASE}, {RECORD: without}, {RECORD: BASE})
    repository = build(tmp_path / "w", *versions)
    fact = read_record_history(repository, parse=parse).records[RECORD].facts["revisions.A"]
    assert fact.first.subject == "commit 0" and fact.returned is not None and fact.returned.subject == "commit 2"
    gone = read_record_history(repository, parse=parse).records[RECORD].facts["revisions.B"]
    assert gone.is_removed and gone.last_changed.subject == "commit 2" and "2026-01-06" in gone.value


def test_a_deleted_record_stays_known_and_a_revived_one_keeps_its_past(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: BASE, "projects/b": b""}, {RECORD: None}, {RECORD: BASE})
    record = read_record_history(repository, parse=parse).records[RECORD]
    assert [change.kind for change in record.changes] == ["added", "deleted", "added"] and not record.is_deleted
    assert record.facts["part"].first.subject == "commit 0"
    run(tmp_path / "w", "rm", "-q", RECORD)
    run(tmp_path / "w", "commit", "-qm", "commit 3")
    record = read_record_history(reopen(tmp_path / "w"), parse=parse).records[RECORD]
    assert record.is_deleted and record.facts["part"].is_removed


def test_a_moved_and_edited_record_keeps_its_past(tmp_path: Path) -> None:
    moved = "projects/TW-9/part.yaml"
    evidence = {"projects/TW-1/evidence/a.csv": b"1,2\n"}
    move = {RECORD: None, moved: BASE.replace(b"TW-1", b"TW-9"), "projects/TW-1/evidence/a.csv": None}
    move |= {"projects/TW-9/evidence/a.csv": b"1,2\n"}
    history = read_record_history(build(tmp_path / "w", {RECORD: BASE, **evidence}, move), parse=parse)
    record = history.records[moved]
    assert list(history.records) == [moved] and record.earlier_paths == (RECORD,)
    assert record.changes[-1].kind == "renamed" and record.changes[-1].old_path == RECORD
    assert subjects(history, moved)["part"] == ("0", "1", False)
    assert subjects(history, moved)["revisions.A"] == ("0", "0", False)
    assert history.files["projects/TW-9/evidence/a.csv"].first.subject == "commit 0"


def test_two_unlike_records_are_no_move(tmp_path: Path) -> None:
    other = "projects/TW-9/part.yaml"
    new = b"part: TW-9\nname: hub\nfamily: turned\nrevisions:\n  Z: {on: 2026-02-01}\n"
    history = read_record_history(build(tmp_path / "w", {RECORD: BASE}, {RECORD: None, other: new}), parse=parse)
    assert history.records[other].earlier_paths == () and history.records[RECORD].is_deleted


def test_a_merge_keeps_the_dates_of_both_sides_and_owns_what_it_changed_itself(tmp_path: Path) -> None:
    ours, theirs = BASE + b"name: ours\n", BASE.replace(b"mara", b"ito")
    both = theirs + b"name: ours\nfamily: cast\n"
    first, second = plan({RECORD: BASE}, {RECORD: ours})
    commits = [
        first,
        PlannedCommit(first.at, "Ito", "ito", "commit b", {RECORD: theirs}, "side"),
        second,
        PlannedCommit(second.at, "Ito", "ito", "commit m", {RECORD: both}, MAIN, ("side",)),
    ]
    write_history(tmp_path / "w", commits)
    found = subjects(read_record_history(reopen(tmp_path / "w"), parse=parse))
    assert found["revisions.A"] == ("0", "b", False)
    assert found["name"] == ("1", "1", False) and found["family"] == ("m", "m", False)


def test_authors_are_counted(tmp_path: Path) -> None:
    history = read_record_history(build(tmp_path / "w", {RECORD: BASE}, {RECORD: BASE + b"x: 1\n"}), parse=parse)
    assert [(a.email, a.commits) for a in history.authors.values()] == [("mara@example.invalid", 2)]


def full(history: History) -> dict[str, object]:
    return {**dict(history.records), **dict(history.files)}


def test_the_cache_answers_the_same_and_a_new_commit_reads_only_itself(tmp_path: Path) -> None:
    other = "projects/TW-2/part.yaml"
    folder, cache = tmp_path / "w", tmp_path / "cache" / "history.sqlite"
    build(folder, {RECORD: BASE, "projects/TW-1/e.csv": b"1"}, {other: b"part: TW-2\n"}, {RECORD: BASE + b"name: x\n"})
    cold = read_record_history(reopen(folder), parse=parse, cache=cache)
    warm = read_record_history(reopen(folder), parse=parse, cache=cache)
    assert (cold.read_commits, warm.read_commits, warm.parsed_pieces) == (3, 0, 0)
    assert full(warm) == full(cold) and warm.authors == cold.authors
    (folder / RECORD).write_bytes(BASE + b"name: y\n")
    run(folder, "commit", "-qam", "commit 3")
    later = read_record_history(reopen(folder), parse=parse, cache=cache)
    assert later.read_commits == 1 and full(later) == full(read_record_history(reopen(folder), parse=parse))
    run(folder, "mv", "projects/TW-1", "projects/TW-7")
    run(folder, "commit", "-qm", "commit 4")
    moved = read_record_history(reopen(folder), parse=parse, cache=cache)
    fresh = read_record_history(reopen(folder), parse=parse)
    assert moved.read_commits == 1 and full(moved) == full(fresh) and RECORD not in moved.records
    again = read_record_history(reopen(folder), parse=parse, cache=cache)
    assert full(again) == full(fresh) and again.read_commits == 0


def test_new_commits_that_do_not_stand_on_the_remembered_head_are_read_afresh(tmp_path: Path) -> None:
    folder, cache = tmp_path / "w", tmp_path / "history.sqlite"
    build(folder, {RECORD: BASE}, {RECORD: BASE + b"name: x\n"})
    run(folder, "branch", "side", "HEAD~1")
    read_record_history(reopen(folder), parse=parse, cache=cache)
    run(folder, "checkout", "-q", "side")
    (folder / "projects/TW-1/new.csv").write_bytes(b"1")
    run(folder, "add", ".")
    run(folder, "commit", "-qm", "commit s")
    run(folder, "checkout", "-q", "main")
    run(folder, "merge", "-q", "--no-ff", "-m", "commit m", "side")
    merged = read_record_history(reopen(folder), parse=parse, cache=cache)
    assert merged.read_commits == 4 and full(merged) == full(read_record_history(reopen(folder), parse=parse))
    run(folder, "reset", "-q", "--hard", "HEAD~1")
    assert full(read_record_history(reopen(folder), parse=parse, cache=cache)) == full(
        read_record_history(reopen(folder), parse=parse)
    )


@pytest.mark.parametrize("harm", ["rubbish", "row", "version", "empty", "format"])
def test_a_damaged_or_foreign_cache_is_ignored(tmp_path: Path, harm: str) -> None:
    folder, cache = tmp_path / "w", tmp_path / "history.sqlite"
    repository = build(folder, {RECORD: BASE}, {RECORD: BASE + b"name: x\n"})
    fresh = full(read_record_history(repository, parse=parse, cache=cache))
    if harm == "rubbish":
        cache.write_bytes(b"SQLite format 3\0" + b"\xff" * 4000)
    elif harm == "empty":
        cache.write_bytes(b"")
    elif harm in ("row", "format"):
        with closing(sqlite3.connect(cache)) as store, store:
            row = b"{}" if harm == "row" else b'{"format":"other"}'
            store.execute("UPDATE kept SET row = ? WHERE name LIKE ?", (row, "folder:%" if harm == "row" else "head"))
    again = read_record_history(repository, parse=parse, cache=cache, version="2" if harm == "version" else "")
    assert full(again) == fresh and again.read_commits == 2


def test_distinct_pieces_are_parsed_once(tmp_path: Path) -> None:
    seen: list[bytes] = []

    def counted(content: bytes) -> object:
        seen.append(content)
        return parse(content)

    versions = [{RECORD: BASE + b"name: n%d\n" % (n % 3)} for n in range(9)]
    read_record_history(build(tmp_path / "w", *versions), parse=counted)  # type: ignore[arg-type]
    assert len(seen) == len(set(seen)) and len(seen) == 3  # the record once, and two other names


@pytest.mark.parametrize(
    "content",
    [
        b"a: &x {b: 1}\nc: *x\n",
        b"a:\n  b: 1\n  b: 2\n",
        b"a: 1\na: 2\n",
        b"---\na: 1\n",
        b"a: {b: 1,\nc: {d: 2}}\n",
        b'a: "x\n  y: z"\nb: 1\n',
        b"a: |\n  b: 1\n  c: 2\nd: 3\n",
        b"a:\n- x\n- y: 1\n  z: 2\n",
        b"a:\n    - x\n    # note\n    - y\nb:\n",
        b"a:\r\n  b: 1\r\n  c: 2\r\n",
        b"\xef\xbb\xbfa: 1\nb: 2\n",
        b"a:\n  b:\n    c: 1\n  d: [1,\n  e: 2]\n",
        b"a:\n   b: 1\n  c: 2\n",
        b"? a\n: b\n",
        b"a: 1\n\tb: 2\n",
        b"a:\n  - - 1\n    - 2\n  - 3\n",
        b"tools:\n  die:\n    steps:\n      ordered: {on: x}\n  trim: {}\n",
        b"a: >-\n\n  text\n\n  b: c\n\nd: e\n",
        "größe: 1\nb: 2\n".encode("latin-1"),
        b"# only a comment\n",
        b"a: &a [*a]\nb: 1\n",
        b"a: {on: 1, by: 2, 3: 4}\n",
        b"",
    ],
)
def test_cutting_never_changes_what_a_record_says(content: bytes) -> None:
    cut, whole = (FactReader(parse, collect_facts, splits=splits).read_version(content) for splits in (True, False))
    assert (cut is None) == (whole is None)
    if cut is not None and whole is not None:
        assert {key: value for block in cut for key, value in block.items()} == whole[0]


def test_cutting_does_cut() -> None:
    blocks = split_record(BASE)
    assert blocks is not None and len(blocks) == 3
    assert split_block(b"a:\n  b: {x: 1}\n  c: 2\n") == [b"a:\n  b: {x: 1}\n", b"a:\n  c: 2\n"]


def test_changes_and_commits_between_two_points(tmp_path: Path) -> None:
    new = "projects/TW-9/part.yaml"
    versions = ({RECORD: BASE, "a": b"1", "b": b"2"}, {RECORD: None, new: BASE, "a": b"3"}, {"b": None, "c": b"4"})
    repository = build(tmp_path / "w", *versions)
    changes, conditions = find_changes_between(repository, "HEAD~2")
    assert [(c.kind, c.path, c.old_path) for c in changes] == [
        ("modified", "a", None), ("deleted", "b", None), ("added", "c", None), ("renamed", new, RECORD),
    ]  # fmt: skip
    commits, _ = read_commits_since(repository, "2026-01-05")
    assert [commit.subject for commit in commits] == ["commit 1", "commit 2"] and conditions == ()


def test_items_that_an_anchor_ties_together_are_not_learnt_apart() -> None:
    reader = FactReader(parse, collect_facts)
    for value in (b"1", b"2"):
        content = b"part: T\na:\n  A: &x " + value + b"\n  B: *x\n  C: 3\n  D: 4\n"
        blocks = reader.read_version(content)
        assert blocks is not None and blocks[-1]["a.B"] == value.decode()


def test_only_what_is_wanted_is_parsed_and_moves_are_still_found(tmp_path: Path) -> None:
    seen: list[bytes] = []

    def watched(content: bytes) -> object:
        seen.append(content)
        return parse(content)

    moved = "projects/TW-9/part.yaml"
    first = BASE + b"features:\n  a: {nominal: 1}\nname: rim\n"
    second = first.replace(b"TW-1", b"TW-9") + b"waivers: []\n"
    repository = build(tmp_path / "w", {RECORD: first}, {RECORD: None, moved: second})
    wanted = ("decisions", "waivers")
    history = read_record_history(repository, parse=watched, only=wanted, cache=tmp_path / "c")  # type: ignore[arg-type]
    assert list(history.records[moved].facts) == ["decisions[0]", "waivers"]
    assert history.records[moved].earlier_paths == (RECORD,)
    assert not any(b"nominal" in content for content in seen)
    everything = read_record_history(repository, parse=parse, cache=tmp_path / "c")
    assert "features.a" in everything.records[moved].facts
