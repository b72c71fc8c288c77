"""From which point of the records a site is made: the commit, and the moment that two builds share."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from pipeline.history.repository import open_repository, read_head


@dataclass(frozen=True)
class RecordPoint:
    """The commit checked out (short id, empty without git) and the seconds since 1970 that stand in what is built."""

    commit: str
    seconds: int


def find_record_point(root: Path, today: dt.date) -> RecordPoint:
    """Return the point of a workspace: its head's own moment; without git, midnight (UTC) of the day spoken of."""
    midnight = int(dt.datetime.combine(today, dt.time(), dt.UTC).timestamp())
    repository = open_repository(root).repository
    if repository is None:
        return RecordPoint("", midnight)
    head, _ = read_head(repository)
    return RecordPoint("", midnight) if head is None else RecordPoint(head.hash[:7], int(head.committed_at.timestamp()))
