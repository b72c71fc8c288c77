"""The files of the workspace as they stood at a revision or a day, and what changed between two of them."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from pipeline.history.blobs import read_blobs
from pipeline.history.commits import ChangeKind, Commit, build_commit
from pipeline.history.conditions import Condition, parse_refusal
from pipeline.history.raw_log import read_raw_log
from pipeline.history.repository import Repository, find_point, read_commit
from pipeline.history.safe_git import run_git

When = str | date | datetime
RECORDS_AND_SHARED = ("projects/*/part.yaml", "shared/*.yaml", "shared/*.yml")


@dataclass(frozen=True, slots=True)
class PastState:
    """The workspace at one commit. `files`: contents of the files asked for, by path; `blobs`: the blob of every plain
    file of the workspace, by path (evidence that is the same has the same blob). `commit` is None where there was
    none."""

    commit: Commit | None
    files: Mapping[str, bytes]
    blobs: Mapping[str, str]
    conditions: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class PathChange:
    """A file that differs between two points: blobs are None where it is not there; `old_path` where it was moved."""

    path: str
    kind: ChangeKind
    old_blob: str | None
    new_blob: str | None
    old_path: str | None = None


def read_state_at(repository: Repository, when: When, patterns: Sequence[str] = RECORDS_AND_SHARED) -> PastState:
    """The state at a revision, a day (its end, UTC) or a moment. `patterns` are globs (`*` also crosses `/`) of the
    files whose contents are wanted. Damaged or missing objects are conditions; the other files still come."""
    digest, conditions = find_point(repository, when)
    if digest is None:
        return PastState(None, {}, {}, conditions)
    commit, more = read_commit(repository, digest)
    blobs, problems = _read_tree(repository, digest)
    wanted = {path: blob for path, blob in blobs.items() if any(fnmatch.fnmatchcase(path, glob) for glob in patterns)}
    contents = dict(read_blobs(repository, wanted.values()))
    damaged = [
        Condition(found.kind, path, found.subject[:12])
        for path, blob in wanted.items()
        if isinstance(found := contents[blob], Condition)
    ]
    files = {path: found for path, blob in wanted.items() if isinstance(found := contents[blob], bytes)}
    return PastState(commit, files, blobs, (*conditions, *more, *problems, *damaged))


def _read_tree(repository: Repository, digest: str) -> tuple[dict[str, str], tuple[Condition, ...]]:
    scope = [repository.prefix] if repository.prefix else []
    answer = run_git(repository.folder, ["ls-tree", "-r", "-z", "--full-tree", digest, "--", *scope])
    if answer.code != 0:
        return {}, (parse_refusal(answer.err, digest[:12]),)
    return dict(_parse_tree(answer.out, repository.prefix)), ()


def _parse_tree(out: bytes, prefix: str) -> Iterator[tuple[str, str]]:
    """Plain files only: links and submodules are no evidence."""
    for line in out.split(b"\0"):
        head, _, path = line.partition(b"\t")
        if head.startswith(b"100"):
            yield path.decode("utf-8", "surrogateescape")[len(prefix) :], head.split()[2].decode("ascii")


def find_changes_between(
    repository: Repository, old: When, new: When = "HEAD"
) -> tuple[tuple[PathChange, ...], tuple[Condition, ...]]:
    """The files that differ between two points, by path. A file that is gone and one that came with the same contents
    are one that was moved; what was also edited on the way is shown as deleted and added (`read_record_history`
    follows those).
    """
    first, problems = find_point(repository, old)
    second, more = find_point(repository, new)
    if first is None or second is None:
        return (), (*problems, *more)
    before, trouble = _read_tree(repository, first)
    after, worse = _read_tree(repository, second)
    return tuple(compare_trees(before, after)), (*trouble, *worse)


def compare_trees(before: Mapping[str, str], after: Mapping[str, str]) -> list[PathChange]:
    """Changes between two maps from path to blob, by path.

    >>> [f"{c.kind} {c.path}" for c in compare_trees({"a": "1", "b": "2"}, {"a": "3", "c": "2"})]
    ['modified a', 'renamed c']
    """
    gone: dict[str, list[str]] = {}
    for path in sorted(set(before) - set(after), reverse=True):
        gone.setdefault(before[path], []).append(path)
    changes = [
        PathChange(path, ChangeKind.MODIFIED, blob, after[path])
        for path, blob in before.items()
        if path in after and after[path] != blob
    ]
    for path in sorted(set(after) - set(before)):
        olds = gone.get(after[path])
        source = olds.pop() if olds else None
        old_blob = None if source is None else after[path]
        changes.append(
            PathChange(path, ChangeKind.RENAMED if source else ChangeKind.ADDED, old_blob, after[path], source)
        )
    changes += [PathChange(path, ChangeKind.DELETED, blob, None) for blob, paths in gone.items() for path in paths]
    return sorted(changes, key=lambda change: change.path)


def read_commits_since(
    repository: Repository, old: When, new: When = "HEAD"
) -> tuple[tuple[Commit, ...], tuple[Condition, ...]]:
    """The commits that `new` has and `old` has not, oldest first (parents before children)."""
    first, problems = find_point(repository, old)
    second, more = find_point(repository, new)
    if first is None or second is None:
        return (), (*problems, *more)
    log = read_raw_log(repository, second, first)
    return tuple(build_commit(logged.raw) for logged in log.commits), tuple(log.conditions)
