"""What was added to a record after gates were decided: features, interfaces and applications that say since when."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from pipeline.model.part import Application, Feature, Interface, Part

Addable = Feature | Interface | Application

ADDABLE_SECTIONS = {"features": "feature", "interfaces": "interface", "fits": "application"}
"""Sections of a record whose entries can say `since`, and the word for one entry."""


def is_added_after(entry: Addable, day: date | None) -> bool:
    """True when an entry says that it was added (a feature: or became critical) after a day; never without a day."""
    return day is not None and entry.since is not None and entry.since > day


def find_added(part: Part) -> Iterator[tuple[str, date]]:
    """Yield the place of every entry that says since when it is there (`interfaces.sill`), with that day."""
    for section in ADDABLE_SECTIONS:
        entries: dict[str, Addable] = getattr(part, section)
        yield from ((f"{section}.{key}", one.since) for key, one in entries.items() if one.since is not None)
