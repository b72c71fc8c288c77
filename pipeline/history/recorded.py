"""The dated facts of every record: when each was first recorded and last changed, in which commit, by whom."""

from __future__ import annotations

import fnmatch
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property, partial
from pathlib import Path
from typing import TypeVar

from pipeline.history.blobs import BlobReader
from pipeline.history.cache import Remembered, read_cache, write_cache
from pipeline.history.commits import Commit, RawCommit, RecordChange, build_commit, parse_moment
from pipeline.history.conditions import Condition, ConditionKind
from pipeline.history.facts import HIDDEN, Collect, FactReader, Parse, collect_facts, is_item, place_items
from pipeline.history.raw_log import LoggedCommit, read_raw_log
from pipeline.history.repository import Repository
from pipeline.history.tracking import Blocks, Node, State, Tracker, Trail

_Built = TypeVar("_Built")
_CLOCK_TOLERANCE = timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class FactHistory:
    """One fact of a record. `value` is its text now (for a removed fact, its last); `first` recorded it,
    `last_changed` gave it its present value (or removed it: then `is_removed`); `returned` put it back after a
    removal, if ever. `is_floor`: the first commit is where a shallow clone was cut, so the fact was recorded then or
    earlier."""

    key: str
    value: str
    first: Commit
    last_changed: Commit
    returned: Commit | None = None
    is_removed: bool = False
    is_floor: bool = False


@dataclass(frozen=True, slots=True)
class FileHistory:
    """A file beside a record (evidence). `blob` is None if it was deleted, in `last_changed`."""

    path: str
    blob: str | None
    first: Commit
    last_changed: Commit
    changes: tuple[RecordChange, ...]


@dataclass(frozen=True, slots=True)
class BrokenVersion:
    """A version of a record that could not be read: its facts were left as they were before."""

    commit: Commit
    path: str
    blob: str


@dataclass(frozen=True, slots=True)
class RecordHistory:
    """A record: its facts in the order of the record (removed ones last), every commit that changed it (oldest first),
    where it was before it was moved, the versions that could not be read, and whether it was deleted."""

    path: str
    facts: Mapping[str, FactHistory]
    changes: tuple[RecordChange, ...]
    earlier_paths: tuple[str, ...]
    broken: tuple[BrokenVersion, ...]
    is_deleted: bool


@dataclass(frozen=True, slots=True)
class Author:
    """Somebody who committed under the records: the address, the name used last, how many commits, and the last one's
    day."""

    email: str
    name: str
    commits: int
    last: datetime


class _Lazy(Mapping[str, _Built]):
    """Histories by path, built when looked at."""

    def __init__(self, remembered: Remembered, is_record: bool, build: Callable[[str, Node, Trail], _Built]) -> None:
        self._remembered = remembered
        self._build = build
        self._is_record = is_record

    @cached_property
    def _paths(self) -> dict[str, None]:
        return self._remembered.find_paths(self._is_record)

    def __getitem__(self, path: str) -> _Built:
        if path not in self._paths:
            raise KeyError(path)
        trail, node = self._remembered.find_node(path)
        return self._build(path, node, trail)

    def __iter__(self) -> Iterator[str]:
        return iter(self._paths)

    def __len__(self) -> int:
        return len(self._paths)


@dataclass(frozen=True, slots=True)
class History:
    """All that git knows of the records. `records` and `files` are by path, built when looked at; deleted ones are
    among them. `is_complete` is False where damage ended the reading early. `read_commits` and `parsed_pieces` say
    what this reading cost (0 and 0 where the cache knew everything)."""

    head: str
    records: Mapping[str, RecordHistory]
    files: Mapping[str, FileHistory]
    authors: Mapping[str, Author]
    conditions: tuple[Condition, ...]
    is_complete: bool
    read_commits: int
    parsed_pieces: int


def read_record_history(
    repository: Repository,
    under: str = "projects",
    parse: Parse | None = None,
    facts: Collect = collect_facts,
    *,
    name: str = "part.yaml",
    splits: bool = True,
    only: Iterable[str] | None = None,
    cache: Path | None = None,
    version: str = "",
    now: datetime | None = None,
) -> History:
    """Read who recorded what, and when, for every record `under/**/name` (a glob such as `*.yaml` will do).

    `parse` turns the bytes of a record, or of a piece of one, into a plain map, or None if they cannot be read; it
    must not raise. `facts` turns that map into texts by key. With `splits`, records are cut into pieces and each
    distinct piece is parsed once: `facts` of a record must then be the facts of its pieces put together, as those of
    `collect_facts` are. `only` names the top-level keys whose facts are wanted (None: all): the rest is not parsed,
    which is several times quicker, and a version that is broken there is not noticed. `cache` names a file to remember
    the answer in by head; `version` must change whenever `parse` or `facts` would answer differently. `now` (aware)
    lets commits dated in the future be reported. Never raises for what the repository holds.
    """
    prefix = under.strip("/") + "/" if under.strip("/") else ""
    wanted = None if only is None else frozenset(only)
    chosen = "all" if wanted is None else ",".join(sorted(wanted))
    asked = "\n".join((prefix, name, repository.prefix, str(splits), chosen, version, *sorted(repository.floors)))
    is_record = _build_test(prefix, name)
    known = read_cache(cache, asked, is_record) if cache is not None else None
    if known is not None and known.head == repository.head:
        return _finish(known, repository, now, 0, 0, True)
    reader = FactReader(parse or _parse_nothing, facts, splits, wanted)
    with BlobReader(repository) as blobs:
        versions = _Versions(blobs, reader, is_record, prefix)
        reading = None if known is None else _read_on(repository, known, versions)
        reading = reading or _read_all(repository, versions, is_record)
    if cache is not None and reading.is_complete:
        write_cache(cache, asked, reading.remembered)
    return _finish(reading.remembered, repository, now, reading.commits, reader.parsed, reading.is_complete)


def _build_test(prefix: str, name: str) -> Callable[[str], bool]:
    """Whether a path is that of a record. A plain name needs no glob: this is asked for every file of the workspace."""
    if not any(mark in name for mark in "*?["):
        return lambda path: path.startswith(prefix) and (path.endswith(f"/{name}") or path == name)
    return lambda path: path.startswith(prefix) and fnmatch.fnmatchcase(path.rpartition("/")[2], name)


def _parse_nothing(_content: bytes) -> None:
    return None


@dataclass(frozen=True, slots=True)
class _Reading:
    remembered: Remembered
    commits: int
    is_complete: bool


def _read_all(repository: Repository, versions: _Versions, is_record: Callable[[str], bool]) -> _Reading:
    log = read_raw_log(repository, repository.head, look=versions.look)
    remembered = Remembered(repository.head, is_record)
    remembered.conditions = [*log.conditions, *_walk(log.commits, {}, remembered, versions)]
    return _Reading(remembered, len(log.commits), not log.conditions)


def _read_on(repository: Repository, known: Remembered, versions: _Versions) -> _Reading | None:
    """Only what was committed since the remembered head; None where the new commits do not all stand on it."""
    log = read_raw_log(repository, repository.head, known.head, versions.look)
    commits = log.commits
    new = {commit.raw[0] for commit in commits}
    stands = {parent for commit in commits for parent in commit.parents} - new
    rooted = all(commit.parents for commit in commits)
    if log.conditions or not commits or commits[-1].raw[0] != repository.head or stands != {known.head} or not rooted:
        return None
    base = known.open_folders({change.path for commit in commits for change in commit.files})
    known.head = repository.head
    known.conditions += _walk(commits, {next(iter(stands)): base}, known, versions)
    return _Reading(known, len(commits), True)


def _walk(
    commits: list[LoggedCommit], base: Mapping[str, State], remembered: Remembered, versions: _Versions
) -> list[Condition]:
    for commit in commits:
        versions.keep_own(commit)
    tracker = Tracker(remembered.trail, remembered.is_record, versions.read)
    remembered.put_state(tracker.walk(commits, base))
    for commit in commits:
        if commit.files:
            remembered.add_author(commit.raw)
        remembered.add_moment(commit.raw)
    return versions.conditions


class _Versions:
    """The facts of versions: read while git still works on the log, the newest first, so that what was added line by
    line is learnt from the version that has all of it."""

    def __init__(self, blobs: BlobReader, reader: FactReader, is_record: Callable[[str], bool], prefix: str) -> None:
        self._blobs = blobs
        self._reader = reader
        self._is_record = is_record
        self._prefix = prefix
        self._known: dict[str, Blocks | None] = {}
        self.conditions: list[Condition] = []

    def keep_own(self, commit: LoggedCommit) -> None:
        """Take the files that are not under the records out of a commit."""
        if self._prefix and commit.files:
            commit.files = [change for change in commit.files if change.path.startswith(self._prefix)]

    def look(self, commits: Sequence[LoggedCommit]) -> None:
        """Read the records of some commits."""
        self._read_all(c.new_blob for commit in commits for c in commit.files if c.new_blob and self._is_record(c.path))

    def _read_all(self, hashes: Iterable[str]) -> None:
        for digest, content in self._blobs.read(digest for digest in hashes if digest not in self._known):
            if isinstance(content, Condition):
                self.conditions.append(content)
            self._known[digest] = None if isinstance(content, Condition) else self._reader.read_version(content)

    def read(self, _path: str, blob: str) -> Blocks | None:
        """Return the facts of a version; None where it cannot be read."""
        if blob not in self._known:
            self._read_all([blob])
        return self._known[blob]


def _finish(
    remembered: Remembered, repository: Repository, now: datetime | None, commits: int, parsed: int, is_complete: bool
) -> History:
    conditions = [*remembered.conditions, *_find_broken(remembered), *_find_clocks_ahead(remembered, now)]
    records = _Lazy(remembered, True, partial(_build_record, floors=repository.floors))
    files = _Lazy(remembered, False, _build_file)
    authors = {
        email: Author(email, name, count, parse_moment(last))
        for email, (name, count, last) in remembered.authors.items()
    }
    return History(
        remembered.head,
        records,
        files,
        authors,
        tuple(conditions),
        is_complete,
        commits,
        parsed,
    )


def _find_broken(remembered: Remembered) -> Iterator[Condition]:
    for digest, path in sorted(remembered.broken):
        yield Condition(ConditionKind.BROKEN_RECORD, path, f"commit {digest[:12]}")


def _find_clocks_ahead(remembered: Remembered, now: datetime | None) -> Iterator[Condition]:
    for moment, digest in remembered.newest if now is not None else ():
        at = parse_moment(f"{moment} +0000")
        if now is not None and at > now + _CLOCK_TOLERANCE:
            yield Condition(ConditionKind.CLOCK_AHEAD, digest[:12], at.isoformat())


def _build_record(path: str, node: Node, trail: Trail, floors: frozenset[str]) -> RecordHistory:
    commits = _Commits(trail.commits)
    values = node.join_values()
    removed = [key for key in node.marks if key not in values]
    placed = {**place_items(values), **_name_removed(removed)}
    keys = {key: shown for key, shown in placed.items() if not key.startswith(HIDDEN)}
    lineage = trail.find_lineage(node.lineage)
    return RecordHistory(
        path,
        {shown: _build_fact(shown, key, values, node, commits, floors) for key, shown in keys.items()},
        _build_changes(trail, lineage, commits),
        node.earlier,
        tuple(BrokenVersion(commits[digest], at, blob) for digest, at, blob in trail.broken.get(lineage, ())),
        node.blob is None,
    )


class _Commits(dict[str, Commit]):
    def __init__(self, raw: Mapping[str, RawCommit]) -> None:
        super().__init__()
        self._raw = raw

    def __missing__(self, digest: str) -> Commit:
        commit = self[digest] = build_commit(self._raw[digest])
        return commit


def _name_removed(keys: Iterable[str]) -> dict[str, str]:
    """Keys for facts that are gone: list items have no place any more."""
    return {key: place.replace("[", "[removed ") if is_item(key) else key for key, place in place_items(keys).items()}


def _build_fact(
    shown: str, key: str, values: Mapping[str, str], node: Node, commits: _Commits, floors: frozenset[str]
) -> FactHistory:
    first, last, returned, gone = node.marks[key]
    value = values.get(key, gone or "")
    back = commits[returned] if returned else None
    return FactHistory(shown, value, commits[first], commits[last], back, key not in values, first in floors)


def _build_changes(trail: Trail, lineage: str, commits: _Commits) -> tuple[RecordChange, ...]:
    return tuple(
        RecordChange(commits[digest], path, kind, old, new, before)
        for digest, path, kind, old, new, before in trail.changes.get(lineage, ())
    )


def _build_file(path: str, node: Node, trail: Trail) -> FileHistory:
    commits = _Commits(trail.commits)
    first, last, _, _ = node.marks["content"]
    lineage = trail.find_lineage(node.lineage)
    return FileHistory(path, node.blob, commits[first], commits[last], _build_changes(trail, lineage, commits))
