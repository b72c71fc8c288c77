"""What a build left for the next one: plain values in one sqlite file, `.pipeline/cache.sqlite`, safe to delete.

Two builds may share it; what is locked, damaged, full or not to be written is gone without, never an error. A value
counts only as long as the stamp is right under which it was kept, and the seal of whoever keeps (`pipeline.keeping`).
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import sqlite3
import sys
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pipeline
from pipeline.keeping.kept_folder import make_kept_folder
from pipeline.keeping.seals import is_sealed, name_keeper, seal
from pipeline.reading.source import is_link_inside

PLACE = ".pipeline/cache.sqlite"
LAYOUT = 2
"""Raised when the tables change; a file of another layout is begun anew."""
MAX_BYTES = 400_000_000
"""Room for kept values, packed; beyond it the ones that were not used for longest go."""
PATIENCE = 2.0
"""Seconds to wait for another build that writes."""
_TABLE = """
CREATE TABLE IF NOT EXISTS kept (
  room TEXT NOT NULL, name TEXT NOT NULL, stamp TEXT NOT NULL, seal TEXT NOT NULL, value BLOB NOT NULL,
  used INTEGER NOT NULL, PRIMARY KEY (room, name)
)
"""


@functools.cache
def compute_code_stamp() -> str:
    """Return what every kept value depends on: all of this program's code and templates, and the libraries (sha256)."""
    digest = hashlib.sha256(f"{LAYOUT} {sys.version}".encode())
    digest.update("\n".join(sorted(_list_libraries())).encode())
    folder = Path(pipeline.__file__).parent
    for path in sorted(path for ending in ("*.py", "*.html") for path in folder.rglob(ending)):
        digest.update(f"\0{path.relative_to(folder).as_posix()}\0".encode())
        digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def _list_libraries() -> set[str]:
    """Return name and version of everything installed: the names of folders say it, and cost no reading."""
    return {found.name for place in sys.path for found in Path(place or ".").glob("*.dist-info")}


class BuildCache:
    """Values by room and name, each with the stamp under which it was kept. Used in one thread, and closed."""

    def __init__(self, root: Path | None) -> None:
        self._path = None if root is None or is_link_inside(root, root / PLACE) else root / PLACE
        self._connection = None if self._path is None else _open(self._path)
        self._new: dict[tuple[str, str], tuple[str, bytes]] = {}
        self._used: list[tuple[str, str]] = []

    def take_all(self, room: str, stamp: str) -> Iterator[tuple[str, Any]]:
        """Yield name and value of everything that was kept in a room under a stamp."""
        for name, packed in self.take_packed(room, stamp):
            value = unpack(packed)
            if value is not None:
                yield name, value

    def take_packed(self, room: str, stamp: str) -> Iterator[tuple[str, bytes]]:
        """Yield name and value, as it was packed, of everything that was kept in a room under a stamp."""
        own = _name_own(room)
        for name, found, packed in self._select(own, stamp):
            if is_sealed(found, own, name, stamp, packed):
                yield name, packed

    def _select(self, room: str, stamp: str) -> list[tuple[str, str, bytes]]:
        if self._connection is None:
            return []
        try:
            found = self._connection.execute(
                "SELECT name, seal, value FROM kept WHERE room = ? AND stamp = ? ORDER BY name", (room, stamp)
            )
            return [(str(name), str(digest), bytes(value)) for name, digest, value in found]
        except (sqlite3.Error, TypeError, ValueError):
            self._give_up()
            return []

    def mark_used(self, room: str, name: str) -> None:
        """Say that a value was of use, so that it stays longer than those that are not."""
        self._used.append((_name_own(room), name))

    def keep(self, room: str, name: str, stamp: str, value: Any) -> None:
        """Keep a plain value under a name, in place of what was there; it is written when the cache is closed."""
        self.keep_packed(room, name, stamp, pack(value))

    def keep_packed(self, room: str, name: str, stamp: str, packed: bytes) -> None:
        """Keep a value that was packed already."""
        self._new[(_name_own(room), name)] = stamp, packed

    def close(self) -> None:
        """Write what is new, let go what is too much, and close the file."""
        if self._connection is not None:
            # locked for long, full or read-only: the next build does the work again
            with contextlib.suppress(sqlite3.Error, OSError):
                self._write(self._connection)
        self._give_up()

    def _write(self, connection: sqlite3.Connection) -> None:
        if not self._new:
            return
        with connection:
            row = connection.execute("SELECT COALESCE(MAX(used), 0) + 1 FROM kept").fetchone()
            now = int(row[0])
            connection.executemany(
                "INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?, ?, ?)",
                (
                    (room, name, stamp, seal(room, name, stamp, packed), packed, now)
                    for (room, name), (stamp, packed) in self._new.items()
                ),
            )
            connection.executemany(
                "UPDATE kept SET used = ? WHERE room = ? AND name = ?", ((now, *one) for one in self._used)
            )
            _sweep(connection)

    def _give_up(self) -> None:
        """Go on without the file."""
        if self._connection is not None:
            self._connection.close()
        self._connection = None


def _name_own(room: str) -> str:
    """Return the name of a room of our own: two users of one folder do not write over what the other kept."""
    return f"{name_keeper()} {room}"


def pack(value: Any) -> bytes:
    """Return a plain value in little room."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return zlib.compress(text.encode("utf-8", "surrogatepass"), 1)


def unpack(packed: bytes) -> Any:
    """Return a plain value that was packed; None where it is damaged."""
    try:
        return json.loads(zlib.decompress(packed).decode("utf-8", "surrogatepass"))
    except (zlib.error, ValueError):
        return None


def _sweep(connection: sqlite3.Connection) -> None:
    total = int(connection.execute("SELECT COALESCE(SUM(LENGTH(value)), 0) FROM kept").fetchone()[0])
    if total <= MAX_BYTES:
        return
    going: list[tuple[str, str]] = []
    for room, name, size in connection.execute("SELECT room, name, LENGTH(value) FROM kept ORDER BY used, room, name"):
        going.append((room, name))
        total -= int(size)
        if total <= MAX_BYTES * 0.8:
            break
    connection.executemany("DELETE FROM kept WHERE room = ? AND name = ?", going)


def _open(path: Path) -> sqlite3.Connection | None:
    """Return the open file; None where there is none to be had. One that is damaged or of another layout is begun anew:
    whoever still has it open goes on with theirs."""
    for _ in range(2):
        try:
            make_kept_folder(path.parent)
            return _connect(path)
        except sqlite3.OperationalError:
            return None  # locked, read-only or no room
        except sqlite3.DatabaseError:
            if not _remove(path):
                return None
        except OSError:
            return None
    return None


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=PATIENCE)
    try:
        layout = int(connection.execute("PRAGMA user_version").fetchone()[0])
        if layout not in (0, LAYOUT):
            raise sqlite3.DatabaseError(f"layout {layout}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        if layout == 0:
            with connection:
                connection.execute(_TABLE)
                connection.execute(f"PRAGMA user_version = {LAYOUT}")
        connection.execute("SELECT room, name, stamp, seal, used FROM kept LIMIT 1").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _remove(path: Path) -> bool:
    try:
        for name in _list_names(path.name):
            path.with_name(name).unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _list_names(name: str) -> Iterable[str]:
    """Return the names of the files that sqlite keeps together."""
    return (name, f"{name}-wal", f"{name}-shm")
