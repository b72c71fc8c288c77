"""Everything that can be wrong with a repository is a condition with clear words; what can be read is read."""

from __future__ import annotations

import os
from datetime import timedelta
from pathlib import Path

import pytest
from history_stories import RECORD, START, build, parse, plan, reopen, run

from pipeline.history.conditions import ConditionKind, parse_refusal
from pipeline.history.past import read_state_at
from pipeline.history.recorded import read_record_history
from pipeline.history.replay import write_history
from pipeline.history.repository import find_point, is_ancestor, open_repository, read_head, read_signatures


def test_no_git(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    opened = open_repository(tmp_path)
    assert opened.repository is None and [c.kind for c in opened.conditions] == ["no-git"]
    assert "install git" in opened.conditions[0].fix


def test_no_repository_and_no_commits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path.parent))
    assert [c.kind for c in open_repository(tmp_path).conditions] == ["not-a-repository"]
    run(tmp_path, "init", "-q")
    assert [c.kind for c in open_repository(tmp_path).conditions] == ["no-commits"]


def test_a_repository_of_another_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build(tmp_path / "w", {RECORD: b"part: TW-1\n"})
    monkeypatch.setenv("GIT_TEST_ASSUME_DIFFERENT_OWNER", "1")
    condition = open_repository(tmp_path / "w").conditions[0]
    assert condition.kind == "owned-by-another" and "safe.directory" in condition.fix


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give a folder away")
def test_a_folder_that_was_given_away(tmp_path: Path) -> None:
    build(tmp_path / "w", {RECORD: b"part: TW-1\n"})
    for path in (tmp_path / "w", tmp_path / "w" / ".git"):
        os.chown(path, 12345, 12345)
    assert open_repository(tmp_path / "w").conditions[0].kind == "owned-by-another"


def test_a_detached_head_is_read_and_said(tmp_path: Path) -> None:
    first = build(tmp_path / "w", {RECORD: b"part: TW-1\n"}, {RECORD: b"part: TW-1\nname: rim\n"})
    run(tmp_path / "w", "checkout", "-q", f"{first.head}~1")
    opened = open_repository(tmp_path / "w")
    assert opened.repository is not None and [c.kind for c in opened.conditions] == ["detached-head"]
    history = read_record_history(opened.repository, parse=parse)
    assert list(history.records[RECORD].facts) == ["part"]
    assert not is_ancestor(opened.repository, first.head)


def test_a_shallow_clone_says_that_its_dates_are_floors(tmp_path: Path) -> None:
    build(
        tmp_path / "w",
        {RECORD: b"part: TW-1\n"},
        {RECORD: b"part: TW-1\nname: rim\n"},
        {RECORD: b"part: TW-1\nname: x\n"},
    )
    run(tmp_path, "clone", "-q", "--depth", "2", (tmp_path / "w").as_uri(), "clone")
    opened = open_repository(tmp_path / "clone")
    assert opened.repository is not None and [c.kind for c in opened.conditions] == ["shallow"]
    facts = read_record_history(opened.repository, parse=parse).records[RECORD].facts
    assert facts["part"].is_floor and facts["name"].is_floor
    assert facts["name"].last_changed.subject == "commit 2"


def test_a_broken_version_is_skipped_and_said(tmp_path: Path) -> None:
    good, better = b"part: TW-1\nname: rim\n", b"part: TW-1\nname: rim\nengineer: mara\n"
    repository = build(tmp_path / "w", {RECORD: good}, {RECORD: b"part: [TW-1\nname: rim\n"}, {RECORD: better})
    history = read_record_history(repository, parse=parse)
    record = history.records[RECORD]
    assert record.facts["name"].first.subject == "commit 0" and record.facts["name"].last_changed.subject == "commit 0"
    assert record.facts["engineer"].first.subject == "commit 2"
    assert [broken.commit.subject for broken in record.broken] == ["commit 1"]
    said = [condition for condition in history.conditions if condition.kind == "broken-record"]
    assert len(said) == 1 and said[0].message.startswith(RECORD)


def test_a_clock_in_the_future(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: b"part: TW-1\n"}, {RECORD: b"part: TW-2\n"}, days=30)
    early = read_record_history(repository, parse=parse, now=START + timedelta(days=5))
    assert [c.kind for c in early.conditions] == ["clock-ahead"] and "2026-02-04" in early.conditions[0].message
    assert read_record_history(repository, parse=parse, now=START + timedelta(days=30)).conditions == ()
    assert read_record_history(repository, parse=parse).conditions == ()


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


def test_a_damaged_blob_loses_nothing_else(tmp_path: Path) -> None:
    other = "projects/TW-2/part.yaml"
    repository = build(
        tmp_path / "w", {RECORD: b"part: TW-1\n"}, {other: b"part: TW-2\n"}, {RECORD: b"part: TW-1\nname: x\n"}
    )
    unpack(tmp_path / "w")
    damage(tmp_path / "w", run(tmp_path / "w", "rev-parse", f"HEAD~2:{RECORD}"))
    history = read_record_history(repository, parse=parse)
    assert history.is_complete and "corrupt-object" in {c.kind for c in history.conditions}
    assert history.records[other].facts["part"].value == "TW-2"
    assert history.records[RECORD].facts["name"].first.subject == "commit 2"
    past = read_state_at(repository, "HEAD~1")
    assert list(past.files) == [other] and [c.kind for c in past.conditions] == ["corrupt-object"]


@pytest.mark.parametrize("what", ["HEAD~1", "HEAD~1^{tree}"])
def test_a_damaged_commit_or_tree_is_said_and_not_cached(tmp_path: Path, what: str) -> None:
    repository = build(tmp_path / "w", *({RECORD: b"part: TW-%d\n" % n} for n in range(4)))
    unpack(tmp_path / "w")
    damage(tmp_path / "w", run(tmp_path / "w", "rev-parse", what))
    history = read_record_history(repository, parse=parse, cache=tmp_path / "c" / "h.sqlite")
    assert not history.is_complete and history.conditions[0].kind == "corrupt-object", history.conditions
    assert not (tmp_path / "c" / "h.sqlite").exists()


def test_a_damaged_head_is_said(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: b"part: TW-1\n"})
    unpack(tmp_path / "w")
    damage(tmp_path / "w", repository.head)
    opened = open_repository(tmp_path / "w")
    commit, conditions = read_head(repository)
    assert opened.repository is None and opened.conditions[0].kind == "corrupt-object", opened.conditions
    assert commit is None and conditions[0].kind == "corrupt-object"


def test_days_moments_and_revisions(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", *({RECORD: b"part: TW-%d\n" % n} for n in range(3)), days=10)
    assert read_state_at(repository, "2026-01-14").files[RECORD] == b"part: TW-0\n"
    assert read_state_at(repository, "2026-01-15").files[RECORD] == b"part: TW-1\n"
    assert read_state_at(repository, START + timedelta(days=10)).files[RECORD] == b"part: TW-1\n"
    assert read_state_at(repository, START + timedelta(days=10, seconds=-1)).files[RECORD] == b"part: TW-0\n"
    assert read_state_at(repository, "HEAD").files[RECORD] == b"part: TW-2\n"
    nothing = read_state_at(repository, "2025-12-31")
    assert nothing.commit is None and [c.kind for c in nothing.conditions] == ["unknown-revision"]
    assert find_point(repository, "no-such-branch")[0] is None


def test_a_workspace_inside_a_larger_repository(tmp_path: Path) -> None:
    inner = {f"shop/{RECORD}": b"part: TW-1\n", "other/projects/X/part.yaml": b"part: X\n"}
    write_history(tmp_path / "w", plan(inner, {f"shop/{RECORD}": b"part: TW-1\nname: rim\n"}))
    repository = reopen(tmp_path / "w" / "shop")
    history = read_record_history(repository, parse=parse)
    assert list(history.records) == [RECORD] and history.records[RECORD].facts["name"].first.subject == "commit 1"
    assert read_state_at(repository, "HEAD").files == {RECORD: b"part: TW-1\nname: rim\n"}


def test_signatures_are_read_only_on_request(tmp_path: Path) -> None:
    repository = build(tmp_path / "w", {RECORD: b"part: TW-1\n"})
    assert read_signatures(repository, (repository.head, "--output=x")) == {repository.head: "N"}


def test_git_too_old_is_told_plainly() -> None:
    assert (
        parse_refusal(b"fatal: unrecognized argument: --diff-merges=first-parent\n").kind is ConditionKind.GIT_TOO_OLD
    )


def test_every_condition_has_words_and_a_way_out() -> None:
    from pipeline.history.conditions import Condition

    for kind in ConditionKind:
        condition = Condition(kind, "subject", "detail")
        assert len(condition.message) > 20 and len(condition.fix) > 10
