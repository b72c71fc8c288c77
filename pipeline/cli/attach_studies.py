"""What every kind of evidence is made of when it is attached, and the kinds that are tables: studies and runs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.cli.asking import Asker

if TYPE_CHECKING:
    from pipeline.model.part import Part
    from pipeline.portfolio.near import Near


@dataclass(frozen=True)
class Entry:
    """One new entry: its section, its fields (the file comes later), and an original that comes with it."""

    section: str
    fields: dict[str, Any]
    original: tuple[str, dict[str, Any]] | None = None
    settings: Path | None = None


def take_person(asker: Asker, near: Near, given: str | None, flag: str, question: str, **more: Any) -> str | None:
    """Ask for a person; the one at this machine is offered."""
    from pipeline.history.user import read_user_email
    from pipeline.views.bench import find_person

    people = near.catalogues.people.people
    if given is None and not more.get("optional") and "default" not in more:
        email = read_user_email(near.root)
        more["default"] = find_person(near.catalogues, email)
    return asker.take_choice(given, flag, question, people, **more)


def list_tools(part: Part) -> tuple[str, ...]:
    """Return the tools that can make a part: its own, and those that another part's record keeps."""
    return (*part.tools, *(use.split("/")[1] for use in part.uses_tools))


def take_gauge_study(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    """Ask for what a gauge study must say: which feature, which instrument, who ran it."""
    part = near.part
    assert part is not None
    entry = {
        "feature": asker.take_choice(flags["feature"], "--feature", "Of which feature", part.features), "on": day,
        "by": take_person(asker, near, flags["by"], "--by", "Who ran it"),
        "with": _take_instrument(asker, near, flags), "file": ...,
    }  # fmt: skip
    return Entry("gauge_studies", entry)


def take_sample_run(asker: Asker, near: Near, flags: Mapping[str, Any], day: dt.date) -> Entry:
    """Ask for what a run of pieces must say: which feature, off which tools, of which revision."""
    from pipeline.cli.answers import parse_count, parse_some_of

    part, lineage = near.part, near.lineage
    assert part is not None and lineage is not None
    entry = {
        "feature": asker.take_choice(flags["feature"], "--feature", "Which feature", part.features),
        "tools": asker.take(flags["tools"], "--tools", "Tools that made them", parse_some_of(list_tools(part), "tool")),
        "of": asker.take_choice(flags["of"], "--of", "Of which revision", part.revisions, default=lineage.current),
        "on": day, "by": take_person(asker, near, flags["by"], "--by", "Who measured"),
        "with": _take_instrument(asker, near, flags), "file": ...,
        "subgroup": asker.take(flags["subgroup"], "--subgroup", "Pieces taken together", parse_count, optional=True),
    }  # fmt: skip
    return Entry("sample_runs", entry)


def _take_instrument(asker: Asker, near: Near, flags: Mapping[str, Any]) -> str | None:
    instruments = near.catalogues.resources.instruments
    return asker.take_choice(flags["instrument"], "--with", "With which instrument", instruments)
