"""The history that is replayed from the records: every state is a valid record, the last one is the record itself."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest

from pipeline.demo.pieces import cut_record, list_events, render_on
from pipeline.demo.source import find_demo_source, read_demo_files
from pipeline.demo.story import build_history
from pipeline.model.part import Part
from pipeline.model.workspace import Workspace
from pipeline.reading.evidence import parse_evidence_list
from pipeline.reading.shape import parse_shape
from pipeline.reading.tree import parse_tree
from pipeline.reading.workspace import read_workspace


@pytest.fixture(scope="module")
def workspace() -> Workspace:
    found = read_workspace(find_demo_source()).workspace
    assert found is not None
    return found


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return read_demo_files(("projects", "shared"))


def test_the_last_day_is_the_record_byte_for_byte(workspace: Workspace, files: dict[str, bytes]) -> None:
    for number, part in workspace.parts.items():
        text = files[f"projects/{number}/part.yaml"].decode("utf-8")
        assert render_on(cut_record(text, part), None) == text


def test_replaying_every_commit_ends_with_the_files(workspace: Workspace, files: dict[str, bytes]) -> None:
    state: dict[str, bytes] = {}
    for commit in build_history(workspace, files):
        for path, content in commit.files.items():
            if content is None:
                del state[path]
            else:
                state[path] = content
    assert state == files


def test_every_commit_holds_valid_records_and_lists_only_files_that_are_there(
    workspace: Workspace, files: dict[str, bytes]
) -> None:
    present: set[str] = set()
    for commit in build_history(workspace, files):
        for path, content in commit.files.items():
            (present.add if content is not None else present.discard)(path)
        for path, content in commit.files.items():
            if path.endswith("part.yaml") and content is not None:
                tree, findings = parse_tree(path, content.decode("utf-8"))
                assert tree is not None, findings
                part, findings = parse_shape(tree, Part)
                assert part is not None, (commit.message, findings)
            if path.endswith("evidence.sha256") and content is not None:
                listed, findings = parse_evidence_list(path, content.decode("utf-8"))
                assert not findings
                assert {f"{path.rsplit('/', 1)[0]}/{name}" for name in listed} <= present


def test_commits_come_in_the_order_of_their_days_and_each_says_what_was_done(
    workspace: Workspace, files: dict[str, bytes]
) -> None:
    history = build_history(workspace, files)
    moments = [commit.at for commit in history]
    assert moments == sorted(moments)
    assert all(commit.message and commit.email.endswith("@example.invalid") for commit in history)
    assert any(commit.message == "TW-101: die ordered" for commit in history)


def test_a_record_shows_nothing_of_later_days(workspace: Workspace, files: dict[str, bytes]) -> None:
    part = workspace.parts["TW-101"]
    pieces = cut_record(files["projects/TW-101/part.yaml"].decode("utf-8"), part)
    before = render_on(pieces, dt.date(2026, 5, 13))
    assert "revisions:" in before
    assert "prototypes:" not in before  # P1 is of the 14th
    assert "ordered: 2026" not in render_on(pieces, dt.date(2026, 11, 1))
    assert "ordered: 2026-11-02" in render_on(pieces, dt.date(2026, 11, 2))


def test_the_record_only_grows(workspace: Workspace, files: dict[str, bytes]) -> None:
    for number in ("TW-101", "TW-124", "TW-131"):
        part = workspace.parts[number]
        pieces = cut_record(files[f"projects/{number}/part.yaml"].decode("utf-8"), part)
        days = sorted({event.on for event in list_events(part)})
        sizes = [len(render_on(pieces, day)) for day in days]
        assert all(a <= b for a, b in itertools.pairwise(sizes))
