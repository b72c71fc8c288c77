"""A commit, and what it did to one file."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from enum import StrEnum

from pipeline.findings.finding import escape_hidden


class ChangeKind(StrEnum):
    """What a commit did to a file."""

    ADDED = "added"
    MODIFIED = "modified"
    RENAMED = "renamed"
    DELETED = "deleted"


@dataclass(frozen=True, slots=True)
class Commit:
    """One commit. `author` and `email` are as written in the commit (no mail map); `committed_at` (when it was
    recorded in this history) and `authored_at` (when its author says it was made) are aware, in the zone that the
    commit gives."""

    hash: str
    author: str
    email: str
    committed_at: datetime
    authored_at: datetime
    subject: str


@dataclass(frozen=True, slots=True)
class RecordChange:
    """What one commit did to one file: `old_blob` is None where it was added, `new_blob` where it was deleted;
    `old_path` is given where it was renamed. Paths are relative to the workspace, with `/`."""

    commit: Commit
    path: str
    kind: ChangeKind
    old_blob: str | None
    new_blob: str | None
    old_path: str | None = None


RawCommit = tuple[str, str, str, str, str, str]
"""hash, author, email, committed (`seconds +hhmm`), authored, subject: as git prints them, and as the cache keeps
them."""


def parse_moment(text: str) -> datetime:
    """Git's raw date, `seconds +hhmm`, as an aware moment. A zone or second that no clock has becomes the nearest one
    that Python can hold, so that a forged commit cannot stop a reading.

    >>> parse_moment("0 +0100").isoformat()
    '1970-01-01T01:00:00+01:00'
    """
    seconds, _, zone = text.partition(" ")
    try:
        minutes = int(zone[1:3]) * 60 + int(zone[3:5])
        offset = timezone(timedelta(minutes=-minutes if zone.startswith("-") else minutes))
        return datetime.fromtimestamp(int(seconds), offset)
    except (ValueError, OverflowError, OSError):
        return _nearest_moment(seconds)


def _nearest_moment(seconds: str) -> datetime:
    try:
        number = int(seconds)
    except ValueError:
        number = 0
    return datetime.fromtimestamp(min(max(number, 0), 253_402_214_400), UTC)


def build_commit(raw: RawCommit) -> Commit:
    """A commit from its plain values. Anybody can write anything into a commit: what steers a terminal, turns text
    round on a page or cannot be seen is written out (`\\x1b`)."""
    digest, author, email, committed, authored, subject = raw
    name, address, words = (escape_hidden(text) for text in (author, email, subject))
    return Commit(digest, name, address, parse_moment(committed), parse_moment(authored), words)
