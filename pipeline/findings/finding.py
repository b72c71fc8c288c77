"""One thing that is wrong, where it stands, and the way out."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

Pointer = tuple[str | int, ...]


class Severity(StrEnum):
    """How much it matters. An error keeps a record or a claim from counting."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


SEVERITY_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True, slots=True, order=True)
class Location:
    """A place in a file: path relative to the workspace with `/`, line and column from 1."""

    path: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.path}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Related:
    """Another place that a finding speaks of."""

    location: Location
    message: str


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that was broken, with the actual value in the message and what to type in the fix."""

    rule: str
    severity: Severity
    location: Location
    message: str
    fix: str
    record: str = ""
    pointer: str = ""
    related: tuple[Related, ...] = ()

    @property
    def sort_key(self) -> tuple[str, int, int, str, str, str]:
        """Findings are listed by place, then rule, so that the same records give the same list."""
        return (self.location.path, self.location.line, self.location.column, self.rule, self.pointer, self.message)


def place_message(finding: Finding) -> str:
    """Return a finding's message behind the place in the record that it speaks of, each named once.

    >>> build = lambda pointer, words: Finding("Q810", Severity.NOTE, Location("part.yaml"), words, "", pointer=pointer)
    >>> place_message(build("features.od.limits", "od: the tolerance is 2 times the uncertainty"))
    'features.od.limits: the tolerance is 2 times the uncertainty'
    >>> place_message(build("decisions[6]", "decisions[6] was recorded by mara"))
    'decisions[6] was recorded by mara'
    >>> place_message(build("", "no workspace"))
    'no workspace'
    """
    pointer, message = finding.pointer, finding.message
    if not pointer or message.startswith((f"{pointer} ", f"{pointer}: ")):
        return message
    step, colon, rest = message.partition(": ")
    return f"{pointer}: {rest if colon and step in pointer.split('.') else message}"


def render_pointer(pointer: Pointer) -> str:
    """Return a pointer as a person reads it.

    >>> render_pointer(("features", "rim_od", "limits", 0))
    'features.rim_od.limits[0]'
    """
    text = ""
    for step in pointer:
        text += f"[{step}]" if isinstance(step, int) else (f".{step}" if text else str(step))
    return text


_UNSAFE = re.compile(
    "[\x00-\x1f\x7f-\x9f\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\u3164"
    "\ud800-\udfff\ufeff\uffa0\ufff9-\ufffb\U000e0000-\U000e007f]"
)


def escape_hidden(text: str) -> str:
    """Return text with every control, escape, direction and zero-width character written out.

    >>> escape_hidden("red\\x1b[31m")
    'red\\\\x1b[31m'
    """
    return _UNSAFE.sub(lambda match: match.group().encode("unicode_escape", "surrogatepass").decode("ascii"), text)


def clean_text(text: str, limit: int = 300) -> str:
    """Return text that a terminal and a page can show: no control, escape or bidirectional characters, bounded length.

    >>> clean_text("red\\x1b[31m")
    'red\\\\x1b[31m'
    """
    shown = escape_hidden(text)
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"
