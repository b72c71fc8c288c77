"""The log and the objects as they are read: many at a time, the newest first, and nothing lost at a damaged one."""

from __future__ import annotations

from pathlib import Path

import pytest
from history_stories import RECORD, build, parse, run

from pipeline.history import blobs, raw_log
from pipeline.history.blobs import BlobReader, read_blobs
from pipeline.history.conditions import Condition
from pipeline.history.past import read_commits_since
from pipeline.history.raw_log import LoggedCommit, read_raw_log
from pipeline.history.recorded import read_record_history
from pipeline.history.repository import Repository

COMMITS = 2 * raw_log.AT_ONCE + 50


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Repository:
    """A record that grew by one line of evidence with each commit."""
    head = b"part: TW-1\nrevisions:\n"
    lines = [b"  R%d: {on: 2026-01-05}\n" % n for n in range(COMMITS)]
    return build(
        tmp_path_factory.mktemp("long") / "w", *({RECORD: head + b"".join(lines[: n + 1])} for n in range(COMMITS))
    )


def unpack(folder: Path) -> None:
    for pack in list((folder / ".git" / "objects" / "pack").glob("*.pack")):
        content = pack.read_bytes()
        for part in list(pack.parent.iterdir()):
            part.chmod(0o644)
            part.unlink()
        run(folder, "unpack-objects", "-q", input=content)


def damage(folder: Path, digest: str) -> None:
    path = folder / ".git" / "objects" / digest[:2] / digest[2:]
    path.chmod(0o644)
    path.write_bytes(b"rubbish")


def test_the_log_is_shown_newest_first_and_given_parents_first(long: Repository) -> None:
    seen: list[LoggedCommit] = []
    log = read_raw_log(long, long.head, look=seen.extend)
    assert [commit.raw[5] for commit in log.commits] == [f"commit {n}" for n in range(COMMITS)]
    assert seen == log.commits[::-1] and log.conditions == []
    assert all(a.raw[0] in b.parents for a, b in zip(log.commits, log.commits[1:], strict=False))
    some, _ = read_commits_since(long, "HEAD~3")
    assert [commit.subject for commit in some] == [f"commit {n}" for n in range(COMMITS - 3, COMMITS)]


def test_every_line_of_a_long_history_has_its_own_commit_and_is_parsed_once(long: Repository) -> None:
    history = read_record_history(long, parse=parse)
    facts = history.records[RECORD].facts
    assert len(facts) == COMMITS + 1 and history.read_commits == COMMITS
    assert all(facts[f"revisions.R{n}"].first.subject == f"commit {n}" for n in range(COMMITS))
    assert history.parsed_pieces <= 3  # the newest version holds all that the older ones say


def test_what_came_before_a_damaged_commit_is_given(tmp_path: Path) -> None:
    count = raw_log.AT_ONCE + 20
    repository = build(tmp_path / "w", *({RECORD: b"part: TW-%d\n" % n} for n in range(count)))
    unpack(tmp_path / "w")
    damage(tmp_path / "w", run(tmp_path / "w", "rev-parse", f"HEAD~{count - 8}^{{tree}}"))
    history = read_record_history(repository, parse=parse)
    assert not history.is_complete and history.conditions[0].kind == "corrupt-object"
    assert history.read_commits >= 7 and history.records[RECORD].facts["part"].first.subject == "commit 0"


def test_contents_come_in_order_around_what_is_missing_or_damaged(tmp_path: Path) -> None:
    folder = tmp_path / "w"
    count = 3 * blobs.AT_ONCE + 5
    repository = build(folder, {f"f{n:04d}": b"%d" % n * (1 + 50 * (n % 7)) for n in range(count)})
    unpack(folder)
    names = run(folder, "ls-tree", "-r", "HEAD").splitlines()
    hashes = [line.split()[2] for line in names]
    bad = {0, 1, blobs.AT_ONCE - 1, blobs.AT_ONCE, 2 * blobs.AT_ONCE + 7, count - 1}
    for place in bad:
        damage(folder, hashes[place])
    asked = [*hashes[:100], "f" * 40, *hashes[100:], hashes[3], repository.head]
    found = list(read_blobs(repository, asked))
    assert [digest for digest, _ in found] == list(dict.fromkeys(asked))
    by_hash = dict(found)
    for place, digest in enumerate(hashes):
        content = by_hash[digest]
        if place in bad:
            assert isinstance(content, Condition) and content.kind == "corrupt-object", place
        else:
            assert content == b"%d" % place * (1 + 50 * (place % 7))
    kinds = {
        digest: found.kind for digest in ("f" * 40, repository.head) if isinstance(found := by_hash[digest], Condition)
    }
    assert kinds == {"f" * 40: "object-not-here", repository.head: "corrupt-object"}  # a commit is no file


def test_one_process_answers_again_and_again_and_a_reader_may_leave_early(tmp_path: Path) -> None:
    folder = tmp_path / "w"
    repository = build(folder, {f"f{n}": b"%d" % n for n in range(200)})
    hashes = [line.split()[2] for line in run(folder, "ls-tree", "-r", "HEAD").splitlines()]
    contents = dict(read_blobs(repository, hashes))
    with BlobReader(repository) as reader:
        assert dict(reader.read(hashes[:3])) == {digest: contents[digest] for digest in hashes[:3]}
        assert dict(reader.read([])) == {}
        half = reader.read(hashes)
        assert next(half) == (hashes[0], contents[hashes[0]])
        half.close()
        assert dict(reader.read(hashes[150:])) == {digest: contents[digest] for digest in hashes[150:]}
