"""A record cut into lines that belong to one dated entry each, so that it can be shown as it stood on a day.

Comments and layout stay: the record of the last day is the record itself, byte for byte.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

from pipeline.model.named_files import find_named_files
from pipeline.model.part import Part

_SECTION = re.compile(r"([A-Za-z_]+):")
_ENTRY = re.compile(r"  (?:- |([A-Za-z0-9][A-Za-z0-9_.-]*):)")
_STEP = re.compile(r"(quoted|ordered|cutting|on trial|accepted): (\d{4}-\d{2}-\d{2})(, )?")
DATED_SECTIONS = (
    "measurements", "revisions", "prototypes", "fit_checks", "tests", "quotes", "tools", "first_articles",
    "gauge_studies", "sample_runs", "changes", "decisions", "waivers",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Piece:
    """Lines of a record: which section and entry they belong to (none: they stand from the first day)."""

    lines: tuple[str, ...]
    section: str
    entry: str | None
    on: dt.date | None


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that was recorded: the entry, the day, and who did it."""

    on: dt.date
    section: str
    entry: str
    by: str


def find_entry_day(part: Part, section: str, entry: str) -> dt.date | None:
    """Return the day of an entry; a tool's is the day of its first step, a waiver's without one that of its gate."""
    if section in ("decisions", "waivers"):
        found = getattr(part, section)[int(entry)]
        if section == "waivers" and found.on is None:
            gate = found.of.split(".")[0].replace("-", " ")
            days = [d.on for d in part.decisions if d.gate is not None and d.gate.value == gate]
            return max(days, default=None)
        day: dt.date | None = found.on
        return day
    item = getattr(part, section)[entry]
    if section == "tools":
        return min(item.steps.values(), default=None)
    on: dt.date = item.on
    return on


def cut_record(text: str, part: Part) -> tuple[Piece, ...]:
    """Cut a record into pieces: one for each entry of a dated section, the rest as it stands."""
    pieces: list[Piece] = []
    section, count, block = "", 0, False
    for line in text.splitlines(keepends=True):
        head = _SECTION.match(line)
        if head:
            section, count = head.group(1), 0
            block = section in DATED_SECTIONS and not line.split(":", 1)[1].split("#")[0].strip()
            pieces.append(Piece((line,), section, None, None))
            continue
        entry = _ENTRY.match(line) if block else None
        if entry:
            name = entry.group(1) if entry.group(1) is not None else str(count)
            count += 1
            pieces.append(Piece((line,), section, name, find_entry_day(part, section, name)))
        elif block and line.startswith("   ") and pieces[-1].entry is not None:
            last = pieces[-1]
            pieces[-1] = Piece((*last.lines, line), last.section, last.entry, last.on)
        else:
            pieces.append(Piece((line,), section, None, None))
    return tuple(pieces)


def render_on(pieces: tuple[Piece, ...], day: dt.date | None) -> str:
    """Return the record as it stood at the end of a day; as it is, if the day is None.

    A section whose entries are all younger is left out whole, and a tool shows only the steps that it had reached.
    """
    if day is None:
        return "".join(line for piece in pieces for line in piece.lines)
    shown = [p for p in pieces if p.on is None or p.on <= day]
    filled = {p.section for p in shown if p.entry is not None}
    emptied = {p.section for p in pieces if p.entry is not None} - filled
    text: list[str] = []
    for piece in shown:
        if piece.entry is None and piece.section in emptied:
            continue
        lines = piece.lines
        if piece.section == "tools" and piece.entry is not None:
            lines = tuple(_trim_steps(line, day) for line in lines)
        text += lines
    return "".join(text)


def _trim_steps(line: str, day: dt.date) -> str:
    trimmed = _STEP.sub(lambda m: m.group() if dt.date.fromisoformat(m.group(2)) <= day else "", line)
    return re.sub(r", \}", "}", trimmed) if trimmed != line else line


def list_events(part: Part) -> tuple[Event, ...]:
    """Return everything that was recorded of a part, by day; a tool has one event for each step."""
    events: list[Event] = []
    for section in DATED_SECTIONS:
        entries = getattr(part, section)
        names = [str(i) for i in range(len(entries))] if isinstance(entries, tuple) else list(entries)
        for name in names:
            item = entries[int(name)] if isinstance(entries, tuple) else entries[name]
            if section == "tools":
                events += [Event(day, section, f"{name}: {step}", part.engineer) for step, day in item.steps.items()]
                continue
            day = find_entry_day(part, section, name)
            by = getattr(item, "by", None) or part.engineer
            if day is not None:
                events.append(Event(day, section, name, by))
    rank = {section: place for place, section in enumerate(DATED_SECTIONS)}
    return tuple(sorted(events, key=lambda e: (e.on, rank[e.section], e.entry)))


def find_file_days(part: Part) -> dict[str, dt.date | None]:
    """Return evidence file -> the day on which the first entry that names it was recorded (None: the first day)."""
    days: dict[str, dt.date | None] = {}
    for name, pointer in find_named_files(part):
        day = find_entry_day(part, pointer[0], pointer[1]) if len(pointer) > 2 else None
        if name not in days or (day is not None and days[name] is not None and day < days[name]):  # type: ignore[operator]
            days[name] = day
        elif day is None:
            days[name] = None
    return days
