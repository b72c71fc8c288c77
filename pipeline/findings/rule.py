"""A rule: what is wanted, why, how to mend it, and an example of each kind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pipeline.findings.finding import Finding, Location, Pointer, Related, Severity, clean_text, render_pointer


@dataclass(frozen=True, slots=True)
class Past:
    """One commit of an example: on a day, by a person (`by` of the people, whose address is `<by>@example.invalid`).

    It holds the example as it stood that day (entries dated later are not there yet), or as it stands on the day
    `shows`. `part` and `files` put other sections and files into it, as those of an example do. `signature` is what git
    says of its signature, in git's letter (B: bad); "" where it is not signed.
    """

    on: str
    by: str
    part: str = ""
    files: Mapping[str, str | None] = field(default_factory=dict)
    shows: str = ""
    signature: str = ""


@dataclass(frozen=True, slots=True)
class Example:
    """Sections of a record that replace those of the sample record, and other files of the workspace.

    `part` holds whole top-level sections of `part.yaml`; `files` maps other paths of the workspace to their text
    (None takes the file away). `past` are the commits that led to it, oldest first; none: the example has no git.
    """

    part: str = ""
    files: Mapping[str, str | None] = field(default_factory=dict)
    past: tuple[Past, ...] = ()


@dataclass(frozen=True, slots=True)
class Rule:
    """One entry of the catalogue. The id is never used again for anything else.

    deep : found only when evidence files are opened and fitted (`pipeline check --deep`, and on the site).
    history : found only when git is read too (`pipeline check --history`, and on the site).
    """

    id: str
    title: str
    severity: Severity
    why: str
    fix: str
    bad: Example
    good: Example
    deep: bool = False
    history: bool = False

    def build_finding(
        self,
        location: Location,
        message: str,
        *,
        fix: str | None = None,
        record: str = "",
        pointer: Pointer = (),
        related: tuple[Related, ...] = (),
        severity: Severity | None = None,
    ) -> Finding:
        """Return a finding of this rule; the texts are made safe to show."""
        return Finding(
            rule=self.id,
            severity=severity or self.severity,
            location=location,
            message=clean_text(message, 600),
            fix=clean_text(fix or self.fix, 600),
            record=record,
            pointer=clean_text(render_pointer(pointer), 200),
            related=related,
        )
