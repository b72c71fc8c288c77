"""What is remembered of a reading between two runs: plain values in sqlite, one row for each record's folder.

A row holds everything about its folder, so that a new commit reads and rewrites only the rows of the folders that it
touched. The file may be deleted at any time; one that is damaged, that another version of this module or somebody else
wrote, is ignored and written anew.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from pipeline.history.commits import ChangeKind, RawCommit
from pipeline.history.conditions import Condition, ConditionKind
from pipeline.history.tracking import Node, State, Trail
from pipeline.keeping.seals import is_sealed, seal

FORMAT = "recorded-3"
_NEWEST = 20


def find_folder(path: str) -> str:
    """The folder whose row holds a path: its first two parts.

    >>> find_folder("projects/TW-101/evidence/o1.csv"), find_folder("shared/money.yaml")
    ('projects/TW-101', 'shared')
    """
    parts = path.split("/")
    return "/".join(parts[: min(2, len(parts) - 1)])


class Remembered:
    """The state at a head: what is held as rows is opened when it is needed."""

    def __init__(self, head: str, is_record: Callable[[str], bool]) -> None:
        self.head = head
        self.is_record = is_record
        self.trail = Trail()
        self.state: State = {}
        self.rows: dict[str, bytes] = {}
        self.paths: dict[str, list[str]] = {}
        self.touched: set[str] = set()
        self.authors: dict[str, tuple[str, int, str]] = {}
        self.newest: list[tuple[int, str]] = []
        self.conditions: list[Condition] = []
        self.past_broken: list[tuple[str, str]] = []
        self._opened: tuple[bytes, Trail, State] | None = None

    @property
    def broken(self) -> set[tuple[str, str]]:
        """Commit and path of every version that could not be read."""
        fresh = ((digest, path) for entries in self.trail.broken.values() for digest, path, _ in entries)
        return {*self.past_broken, *fresh}

    def add_author(self, raw: RawCommit) -> None:
        """Count a commit for its author."""
        name, count, last = self.authors.get(raw[2], (raw[1], 0, raw[3]))
        is_newer = _read_seconds(raw[3]) >= _read_seconds(last)
        self.authors[raw[2]] = (raw[1] if is_newer else name, count + 1, raw[3] if is_newer else last)

    def add_moment(self, raw: RawCommit) -> None:
        """Keep the newest dates, to be held against the clock of a later day."""
        moment = (_read_seconds(raw[3]), raw[0])
        if len(self.newest) < _NEWEST or moment > self.newest[-1]:
            self.newest = sorted([*self.newest, moment], reverse=True)[:_NEWEST]

    def open_folders(self, paths: Iterable[str]) -> State:
        """The state of the folders that hold these paths, to walk on from."""
        opened: State = {}
        for folder in sorted({find_folder(path) for path in paths}):
            if folder in self.rows:
                decode_row(zlib.decompress(self.rows.pop(folder)), self.trail, opened)
            self.touched.add(folder)
        return opened

    def put_state(self, state: State) -> None:
        """Take over what a walk gave; folders that were not opened stay as they are."""
        self.state = state
        for folder in self.touched:
            self.paths.pop(folder, None)
        for path in state:
            self.paths.setdefault(find_folder(path), []).append(path)
        self.touched |= {find_folder(path) for path in state}

    def find_paths(self, is_record: bool) -> dict[str, None]:
        """All paths of records, or of other files, in order."""
        return dict.fromkeys(
            sorted(path for paths in self.paths.values() for path in paths if self.is_record(path) == is_record)
        )

    def find_node(self, path: str) -> tuple[Trail, Node]:
        """The node of a path and the trail that it refers to. The folder that was asked for last stays open: a record
        and its evidence lie in one."""
        row = self.rows.get(find_folder(path))
        if row is None:
            return self.trail, self.state[path]
        if self._opened is None or self._opened[0] is not row:
            trail, state = Trail(), State()
            decode_row(zlib.decompress(row), trail, state)
            self._opened = row, trail, state
        return self._opened[1], self._opened[2][path]


def _read_seconds(text: str) -> int:
    seconds = text.partition(" ")[0]
    return int(seconds) if seconds.lstrip("-").isdigit() else 0


def encode_row(trail: Trail, nodes: State) -> bytes:
    """One folder as JSON bytes."""
    lineages = {trail.find_lineage(node.lineage) for node in nodes.values()}
    changes = {lineage: trail.changes[lineage] for lineage in sorted(lineages) if lineage in trail.changes}
    broken = {lineage: trail.broken[lineage] for lineage in sorted(lineages) if lineage in trail.broken}
    used = {digest for node in nodes.values() for mark in node.marks.values() for digest in mark[:3] if digest}
    used |= {entry[0] for entries in changes.values() for entry in entries}
    used |= {found[0] for entries in broken.values() for found in entries}
    numbers = {digest: number for number, digest in enumerate(sorted(used))}
    plain = {
        "commits": [trail.commits[digest] for digest in numbers],
        "nodes": [_encode_node(path, node, trail, numbers) for path, node in nodes.items()],
        "changes": {name: [[numbers[e[0]], *e[1:]] for e in entries] for name, entries in changes.items()},
        "broken": {name: [[numbers[e[0]], *e[1:]] for e in entries] for name, entries in broken.items()},
    }
    return json.dumps(plain, separators=(",", ":")).encode()


def _encode_node(path: str, node: Node, trail: Trail, numbers: dict[str, int]) -> list[Any]:
    marks = {
        key: [numbers[first], numbers[last], numbers.get(returned, -1), gone]
        for key, (first, last, returned, gone) in node.marks.items()
    }
    return [path, trail.find_lineage(node.lineage), node.blob, node.join_values(), marks, node.earlier]


def decode_row(row: bytes, trail: Trail, state: State) -> None:
    """Put one folder back into a trail and a state."""
    plain = json.loads(row)
    commits: list[RawCommit] = [tuple(raw) for raw in plain["commits"]]
    hashes = [raw[0] for raw in commits]
    trail.commits.update((raw[0], raw) for raw in commits)
    for name, entries in plain["changes"].items():
        trail.changes[name] = [(hashes[n], at, ChangeKind(kind), *rest) for n, at, kind, *rest in entries]
    for name, entries in plain["broken"].items():
        trail.broken[name] = [(hashes[n], at, blob) for n, at, blob in entries]
    for path, lineage, blob, values, marks, earlier in plain["nodes"]:
        found = {
            key: (hashes[first], hashes[last], hashes[returned] if returned >= 0 else "", gone)
            for key, (first, last, returned, gone) in marks.items()
        }
        state[path] = Node(lineage, blob, (values,) if values else (), found, tuple(earlier))


def _encode_rows(remembered: Remembered) -> Iterator[tuple[str, bytes]]:
    folders: dict[str, State] = {}
    for path, node in remembered.state.items():
        folders.setdefault(find_folder(path), {})[path] = node
    for folder in sorted(remembered.touched & set(folders)):
        yield folder, zlib.compress(encode_row(remembered.trail, folders[folder]), 1)


def _encode_head(remembered: Remembered, asked: str) -> bytes:
    plain = {
        "format": FORMAT,
        "asked": hashlib.sha256(asked.encode("utf-8", "surrogateescape")).hexdigest(),
        "head": remembered.head,
        "authors": remembered.authors,
        "newest": remembered.newest,
        "broken": sorted(remembered.broken),
        "conditions": [[c.kind, c.subject, c.detail] for c in remembered.conditions],
    }
    return json.dumps(plain, separators=(",", ":")).encode()


def write_cache(path: Path, asked: str, remembered: Remembered) -> bool:
    """Remember a reading; False where the file cannot be written (the reading itself is not harmed)."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not remembered.rows:
            path.unlink(missing_ok=True)
        with closing(sqlite3.connect(path, timeout=2)) as store, store:
            store.execute("PRAGMA synchronous=OFF")
            store.execute("CREATE TABLE IF NOT EXISTS kept (name TEXT PRIMARY KEY, paths BLOB, row BLOB, seal TEXT)")
            gone = [(f"folder:{folder}",) for folder in sorted(remembered.touched - set(remembered.paths))]
            store.executemany("DELETE FROM kept WHERE name = ?", gone)
            store.executemany("INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)", _list_rows(remembered, asked))
    except (sqlite3.Error, OSError):
        return False
    return True


def _list_rows(remembered: Remembered, asked: str) -> Iterator[tuple[str, bytes, bytes, str]]:
    for folder, row in _encode_rows(remembered):
        name, paths = f"folder:{folder}", "\0".join(remembered.paths[folder]).encode("utf-8", "surrogateescape")
        yield name, paths, row, seal(name, paths, row)
    head = _encode_head(remembered, asked)
    yield "head", b"", head, seal("head", b"", head)


def read_cache(path: Path, asked: str, is_record: Callable[[str], bool]) -> Remembered | None:
    """What an earlier reading that asked the same remembered; None where there is none, or it is damaged."""
    if not path.is_file():
        return None
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=2)) as store:
            rows = store.execute("SELECT name, paths, row, seal FROM kept").fetchall()
        if not all(is_sealed(found, name, paths, row) for name, paths, row, found in rows):
            return None
        return _build_remembered({name: (paths, row) for name, paths, row, _ in rows}, asked, is_record)
    except (sqlite3.Error, OSError, ValueError, KeyError, TypeError, IndexError, AttributeError):
        return None


def _build_remembered(
    rows: dict[str, tuple[bytes, bytes]], asked: str, is_record: Callable[[str], bool]
) -> Remembered | None:
    head = json.loads(rows["head"][1])
    same = hashlib.sha256(asked.encode("utf-8", "surrogateescape")).hexdigest()
    if head["format"] != FORMAT or head["asked"] != same:
        return None
    remembered = Remembered(head["head"], is_record)
    remembered.authors = {email: (name, count, last) for email, (name, count, last) in head["authors"].items()}
    remembered.newest = [(seconds, digest) for seconds, digest in head["newest"]]
    remembered.past_broken = [(digest, path) for digest, path in head["broken"]]
    remembered.conditions = [
        Condition(ConditionKind(kind), subject, detail) for kind, subject, detail in head["conditions"]
    ]
    for name, (paths, row) in rows.items():
        if name != "head":
            folder = name.removeprefix("folder:")
            remembered.rows[folder] = row
            remembered.paths[folder] = paths.decode("utf-8", "surrogateescape").split("\0")
    return remembered
