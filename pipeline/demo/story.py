"""The history of a workspace, replayed from the days in its records: who recorded what, commit by commit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from pipeline.demo.pieces import Event, Piece, cut_record, find_file_days, list_events, render_on
from pipeline.history.replay import PlannedCommit
from pipeline.model.part import Part
from pipeline.model.words import Say
from pipeline.model.workspace import Workspace

_WORDS = {
    "measurements": "measurement", "revisions": "revision", "prototypes": "prototype", "fit_checks": "fit check",
    "tests": "test", "quotes": "quote", "first_articles": "first article", "changes": "change",
    "gauge_studies": "gauge study", "sample_runs": "sample run",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Step:
    """One commit to be: a moment, a person, a message, and what changes."""

    at: dt.datetime
    by: str
    message: str
    files: Mapping[str, bytes | None]


def build_history(workspace: Workspace, files: Mapping[str, bytes], first_by: str = "ito") -> list[PlannedCommit]:
    """Return the commits that lead to `files`; the last one leaves exactly those.

    files : every file of the workspace, path -> bytes. Catalogues and pages come first, then each record grows by the
    days of its entries. first_by : who sets the workspace up.
    """
    days = {number: _find_first_day(part) for number, part in workspace.parts.items()}
    start = min(days.values(), default=workspace.today) - dt.timedelta(days=14)
    record_paths = {path for path in files if _find_number(path) in workspace.parts}
    base = {path: content for path, content in files.items() if path not in record_paths}
    steps = [_Step(_at(start, 0), first_by, "Workspace with catalogues and pages", base)]
    for number, part in workspace.parts.items():
        steps += _build_part_steps(part, days[number], files)
    steps.sort(key=lambda step: (step.at, step.message))
    return [_plan(workspace, step) for step in steps]


def _plan(workspace: Workspace, step: _Step) -> PlannedCommit:
    person = workspace.catalogues.people.people.get(step.by)
    name = person.name if person is not None else step.by
    email = person.emails[0] if person is not None and person.emails else f"{step.by}@example.invalid"
    return PlannedCommit(step.at, name, email, step.message, step.files)


def _find_number(path: str) -> str:
    steps = path.split("/")
    return steps[1] if len(steps) > 2 and steps[0] == "projects" else ""


def _find_first_day(part: Part) -> dt.date:
    events = list_events(part)
    first = events[0].on - dt.timedelta(days=5) if events else None
    known = [day for day in (part.opened, first) if day is not None]
    return min(known) if known else dt.date(2026, 11, 23)


def _at(day: dt.date, order: int) -> dt.datetime:
    """Return a moment of a working day: the same day and order give the same moment."""
    minutes = 8 * 60 + (order * 7) % 540
    return dt.datetime.combine(day, dt.time(minutes // 60, minutes % 60, order % 60), dt.UTC)


def _build_part_steps(part: Part, opened: dt.date, files: Mapping[str, bytes]) -> Iterator[_Step]:
    folder = f"projects/{part.part}"
    pieces = cut_record(files[f"{folder}/part.yaml"].decode("utf-8"), part)
    own = {path.removeprefix(f"{folder}/"): content for path, content in files.items() if path.startswith(f"{folder}/")}
    file_days = find_file_days(part)
    events = list_events(part)
    salt = sum(map(ord, part.part))
    written: dict[str, bytes] = {}
    days = [(opened, ())] + [(day, tuple(found)) for day, found in groupby(events, key=lambda event: event.on)]
    for index, (day, found) in enumerate(days):
        is_last = index == len(days) - 1
        state = _build_state(pieces, own, file_days, None if is_last else day)
        changed = {f"{folder}/{n}": content for n, content in state.items() if written.get(n) != content}
        changed_or_gone: dict[str, bytes | None] = {
            **changed,
            **{f"{folder}/{n}": None for n in written if n not in state},
        }
        written = state
        if changed_or_gone:
            by = found[0].by if found else part.engineer
            yield _Step(_at(day, salt + index), by, _word_message(part, found), changed_or_gone)


def _build_state(
    pieces: tuple[Piece, ...], own: Mapping[str, bytes], file_days: Mapping[str, dt.date | None], day: dt.date | None
) -> dict[str, bytes]:
    """Return the files of a part's folder as they stood at the end of a day."""
    if day is None:
        return dict(own)
    present = {n for n in own if n.startswith("evidence/") and ((d := file_days.get(n)) is None or d <= day)}
    state = {name: own[name] for name in present}
    state["part.yaml"] = render_on(pieces, day).encode("utf-8")
    listed = own.get("evidence.sha256", b"").decode("utf-8").splitlines(keepends=True)
    kept = [line for line in listed if line.split("  ", 1)[-1].strip() in present]
    if kept:
        state["evidence.sha256"] = "".join(kept).encode("utf-8")
    return state


def _word_message(part: Part, events: tuple[Event, ...]) -> str:
    if not events:
        return f"{part.part}: {part.name} taken up"
    said = []
    for section, found in groupby(events, key=lambda event: event.section):
        names = [event.entry for event in found]
        if section == "decisions":
            said += [_word_decision(part, int(name)) for name in names]
        elif section == "waivers":
            said += [f"waiver of {part.waivers[int(name)].of}" for name in names]
        elif section == "tools":
            said.append(", ".join(name.replace(": ", " ") for name in names))
        else:
            said.append(f"{_WORDS[section]} {', '.join(names)}")
    return f"{part.part}: {'; '.join(said)}"


def _word_decision(part: Part, index: int) -> str:
    decision = part.decisions[index]
    subject = "tooling release" if decision.gate is None else f"{decision.gate} gate"
    said = {Say.GO: "go", Say.REWORK: "back to rework", Say.HOLD: "held", Say.DROP: "dropped"}[decision.say]
    return f"{subject}: {said}"
