"""The text of a new record: written plainly, or copied from a sibling for the other hand or other years."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.findings.sample import split_sections
from pipeline.model.words import GateState
from pipeline.writing.flow_text import render_flow, render_key, render_scalar

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near

COPIED = ("marking", "features", "interfaces", "route", "demand", "redo")
"""What a sibling has in common: what the part is. What was measured, tried, quoted and decided is its own."""


@dataclass(frozen=True, slots=True)
class Beginning:
    """What a new record says: header values, applications, and what is known of features and interfaces."""

    number: str
    name: str
    family: str
    safety: str
    engineer: str
    opened: dt.date
    fits: Mapping[str, Mapping[str, str]]
    hands: Mapping[str, Any] | None = None
    features: Mapping[str, Mapping[str, Any]] | None = None
    interfaces: Mapping[str, Mapping[str, Any]] | None = None
    note: str | None = None


def render_beginning(beginning: Beginning, copied: Mapping[str, str] | None = None, mark: str = "\n") -> str:
    """Return the text of a new record. copied : section -> text of a sibling, taken over as it stands.

    Raises ValueError on a value that cannot stand in a record.
    """
    lines = [f"part: {beginning.number}", f"name: {render_scalar(beginning.name)}", f"family: {beginning.family}"]
    lines += [f"safety: {beginning.safety}", f"engineer: {beginning.engineer}", f"opened: {beginning.opened}"]
    if beginning.note:
        lines.append(f"note: {render_scalar(beginning.note)}")
    if beginning.hands:
        lines.append(f"hands: {render_flow(beginning.hands)}")
    lines += ["fits:", *_render_entries(beginning.fits)]
    text = "\n".join(lines) + "\n"
    for section, entries in (("features", beginning.features), ("interfaces", beginning.interfaces)):
        if entries:
            text += f"\n{section}:\n" + "\n".join(_render_entries(entries)) + "\n"
    for section in COPIED:
        if copied and section in copied and f"\n{section}:" not in text:
            text += "\n" + _trim(copied[section])
    return text.replace("\n", mark)


def _render_entries(entries: Mapping[str, Mapping[str, Any]]) -> list[str]:
    wide = max((len(render_key(key)) for key in entries), default=0) + 2
    return [f"  {f'{render_key(key)}:':<{wide}}{render_flow(value)}" for key, value in entries.items()]


def _trim(section: str) -> str:
    """Return a section without what follows it: blank lines, and the comment above the next section."""
    lines = section.replace("\r\n", "\n").split("\n")
    while lines and (not lines[-1].strip() or lines[-1].startswith("#")):
        lines.pop()
    return "\n".join(lines) + "\n"


def copy_sections(text: str) -> dict[str, str]:
    """Return the sections of a sibling's record that a new one takes over, comments and all."""
    found = split_sections(text.replace("\r\n", "\n"))
    return {name: found[name] for name in COPIED if name in found}


def find_sibling_fits(fits: Mapping[str, Any], years: str | None) -> dict[str, dict[str, str]]:
    """Return a sibling's applications, with other years where they are given."""
    return {
        key: {"vehicle": fit.vehicle, "body": fit.body, "years": years or _render_years(fit.years)}
        for key, fit in fits.items()
    }


def _render_years(years: Any) -> str:
    return str(years.first) if years.first == years.last else f"{years.first}-{years.last}"


def parse_feature_line(text: str, kinds: Sequence[str], units: Sequence[str]) -> tuple[str, dict[str, Any]]:
    """Return (id, feature) from one line: `id | what | kind | nominal | limits | unit | critical`.

    Limits are two deviations (`-0.25 0.25`), `+-0.25`, or a class (`H7`, `ISO 2768-m`, `DCTG 6`), and may be left out;
    `critical` is the word or nothing.
    Raises ValueError with what is wrong.

    >>> line = "rim | outside diameter | size | 112.40 | +-0.25 | mm | critical"
    >>> parse_feature_line(line, ["size"], ["mm"])[1]["limits"]
    ['-0.25', '0.25']
    """
    from pipeline.fit.stated_limits import is_class
    from pipeline.writing.flow_text import AsTyped

    parts = [part.strip() for part in text.split("|")]
    if len(parts) not in (6, 7):
        raise ValueError(f'"{text}" is not `id | what | kind | nominal | limits | unit | critical`')
    key, what, kind, nominal, limits, unit = parts[:6]
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", key) or not what:
        raise ValueError(f'"{key}" is not an id, or nothing says what it is')
    if kind not in kinds:
        raise ValueError(f'"{kind}" is not a kind of feature; there is {", ".join(kinds)}')
    if unit not in units:
        raise ValueError(f'"{unit}" is not a unit; there is {", ".join(units)}')
    number = r"[-+]?(?:0|[1-9]\d*)(?:\.\d+)?"
    if not re.fullmatch(number, nominal):
        raise ValueError(f'"{nominal}" is not a number')
    entry: dict[str, Any] = {"what": what, "kind": kind, "nominal": AsTyped(nominal.removeprefix("+"))}
    if limits and is_class(limits):
        entry["tolerance"] = limits
    elif limits:
        even = re.fullmatch(r"(?:\+-|±|\+/-)\s*(\d+(?:\.\d+)?)", limits)
        found = [f"-{even.group(1)}", even.group(1)] if even else limits.replace(",", " ").split()
        if len(found) != 2 or not all(re.fullmatch(number, one) for one in found):
            raise ValueError(f'"{limits}" is not a pair of limits; write -0.25 0.25 or +-0.25')
        entry["limits"] = [AsTyped(one.removeprefix("+")) for one in found]
    entry["unit"] = unit
    if len(parts) == 7 and parts[6]:
        if parts[6] != "critical":
            raise ValueError(f'"{parts[6]}" is not the word critical')
        entry["critical"] = True
    return key, entry


def parse_interface_line(text: str, features: Sequence[str]) -> tuple[str, dict[str, Any]]:
    """Return (id, interface) from one line: `id | what | gap limits | features`. Raises ValueError with what is wrong.

    >>> parse_interface_line("seat | hook to sill | 0.1 0.9 | length", ["length"])[1]["features"]
    ['length']
    """
    from pipeline.writing.flow_text import AsTyped

    parts = [part.strip() for part in text.split("|")]
    if len(parts) != 4:
        raise ValueError(f'"{text}" is not `id | what | gap limits | features`')
    key, what, limits, named = parts
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", key) or not what:
        raise ValueError(f'"{key}" is not an id, or nothing says what it is')
    gap = limits.replace(",", " ").split()
    if len(gap) != 2 or not all(re.fullmatch(r"-?(?:0|[1-9]\d*)(?:\.\d+)?", one) for one in gap):
        raise ValueError(f'"{limits}" are not two limits of a gap in mm, e.g. 0.1 0.9')
    names = named.replace(",", " ").split()
    unknown = [name for name in names if name not in features]
    if unknown or not names:
        raise ValueError(f"there is no feature {', '.join(unknown) or 'named'}; there is {', '.join(features)}")
    return key, {"what": what, "gap": {"limits": [AsTyped(one) for one in gap]}, "features": names}


def describe_limits(after: Near, key: str) -> tuple[str, ...]:
    """Say what a feature's class gives, where its limits are stated by one."""
    from pipeline.fit.stated_limits import describe_class

    feature = None if after.part is None else after.part.features.get(key)
    found = None if feature is None else describe_class(feature)
    return () if found is None else (f"{key}: {found.words} ({found.source})",)


def describe_gates_moved(near: Near, after: Near) -> tuple[str, ...]:
    """Say which gates a change to what a part is would move back, and what they want now."""
    if near.standing is None or after.standing is None:
        return ()
    lines = []
    for gate, found in after.standing.gates.items():
        before = near.standing.gates[gate]
        if before.state not in (GateState.PROVEN, GateState.READY) or found.state is before.state:
            continue
        known = {requirement.id for requirement in before.open_requirements}
        wanted = [f"{r.id}: {r.answer.words}" for r in found.open_requirements if r.id not in known]
        lines.append(f"the {gate} gate goes from {before.state} to {found.state}: {'; '.join(wanted)}")
        if found.claims and not before.claims and found.decision is not None:
            lines.append(f"the decision of {found.decision.on} is not older, so it is judged by this too: decide again")
    return tuple(lines)
