"""A workspace: all parts and all catalogues, read and ready."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Part


class FileState(StrEnum):
    """What lies on disk where a record names a file."""

    INTACT = "intact"
    MISSING = "missing"
    CHANGED = "changed"
    UNLISTED = "not listed"
    OUTSIDE = "outside the workspace"
    REFERENCE = "kept elsewhere"


@dataclass(frozen=True, slots=True)
class EvidenceFile:
    """One evidence file as found: its state, its hash in the list and its hash on disk (sha256, hex)."""

    path: str
    state: FileState
    listed: str | None = None
    found: str | None = None
    size: int | None = None


@dataclass(frozen=True, slots=True)
class Workspace:
    """Parts by number (sorted), catalogues, evidence files by (part number, path), and the day that is spoken of."""

    parts: Mapping[str, Part]
    catalogues: Catalogues
    files: Mapping[tuple[str, str], EvidenceFile]
    today: dt.date
    broken: tuple[str, ...] = field(default=())
