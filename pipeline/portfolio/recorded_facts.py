"""The dated facts of a record, each with what git knows of it: recorded when and by whom, and changed since or not."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.history.commits import Commit
from pipeline.history.contradictions import Contradiction
from pipeline.history.facts import collect_facts
from pipeline.history.recorded import FactHistory, RecordHistory
from pipeline.model.part import Part

DATED = (
    "originals", "measurements", "revisions", "prototypes", "fit_checks", "tests", "quotes", "first_articles",
    "gauge_studies", "sample_runs", "changes",
)  # fmt: skip
"""Sections whose entries are one fact each; decisions and waivers are list items, a tool has a fact for each step."""


@dataclass(frozen=True, slots=True)
class RecordedFact:
    """One fact of a record as it stands on disk, and its past.

    key : as the record spells it (`fit_checks.F2`, `decisions[3]`, `tools.die.steps.ordered`). by, on : who is said to
    have done it, and on which day (None: the record does not say). fact : what git knows; None where no commit holds
    it yet. is_edited : the entry on disk is not the one that was committed last. doubts : where git contradicts it.
    """

    key: str
    section: str
    entry: str
    by: str | None
    on: dt.date | None
    fact: FactHistory | None
    is_edited: bool = False
    doubts: tuple[Contradiction, ...] = ()

    @property
    def recorded(self) -> Commit | None:
        """The commit that first recorded it; None where there is none yet."""
        return None if self.fact is None else self.fact.first

    @property
    def order(self) -> tuple[int, str]:
        """Where it stands among facts of one day: in the order in which evidence descends, a decision last."""
        sections = (*DATED, "tools", "waivers", "decisions")
        return (sections.index(self.section), self.entry.rjust(6))

    @property
    def pointer(self) -> tuple[str | int, ...]:
        """Where it stands in the record."""
        if self.section in ("decisions", "waivers"):
            return (self.section, int(self.entry))
        if self.section == "tools":
            tool, _, step = self.entry.partition(":")
            return ("tools", tool, "steps", step) if step else ("tools", tool)
        return (self.section, self.entry)


def find_facts(part: Part, tree: Mapping[str, Any], record: RecordHistory | None) -> tuple[RecordedFact, ...]:
    """Return the dated facts of a record, in the order of its sections.

    tree : the plain values of the record on disk. record : its history; None where no commit holds it. A list item is
    found in the history by its text, since its place may differ from that in the last commit.
    """
    known = {} if record is None else {key: fact for key, fact in record.facts.items() if not fact.is_removed}
    written = _collect_safely(tree)
    items: dict[tuple[str, str], list[FactHistory]] = {}
    for key, fact in known.items():
        if key.endswith("]"):
            items.setdefault((key.partition("[")[0], fact.value), []).append(fact)
    found = []
    for section, entry, key, by, on in _list_entries(part):
        text = written.get(key, "")
        if key.endswith("]"):
            same = items.get((section, text))
            found.append(RecordedFact(key, section, entry, by, on, same.pop(0) if same else None))
        else:
            named = known.get(key)
            edited = named is not None and named.value != text
            found.append(RecordedFact(key, section, entry, by, on, named, edited))
    return tuple(found)


def _collect_safely(tree: Mapping[str, Any]) -> Mapping[str, str]:
    try:
        return collect_facts(tree)
    except (RecursionError, ValueError):
        return {}


def _list_entries(part: Part) -> Iterator[tuple[str, str, str, str | None, dt.date | None]]:
    """Yield section, entry, key, by and on of every dated fact."""
    for section in DATED:
        for name, entry in getattr(part, section).items():
            by = getattr(entry, "by", None)
            yield section, name, f"{section}.{name}", by, getattr(entry, "on", None)
    for name, tool in part.tools.items():
        for step, day in tool.steps.items():
            yield "tools", f"{name}:{step}", f"tools.{name}.steps.{step}", None, day
    for index, decision in enumerate(part.decisions):
        yield "decisions", str(index), f"decisions[{index}]", decision.by, decision.on
    for index, waiver in enumerate(part.waivers):
        yield "waivers", str(index), f"waivers[{index}]", waiver.by, waiver.on
