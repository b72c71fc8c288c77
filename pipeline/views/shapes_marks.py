"""Marks and words that every page shares: line kinds, runs of text, links, small drawings, tables.

Everything here is already rounded and worded. A template adds no number and no sentence of its own.

Conventions, valid for every shape of this room:

* ``href`` is a path from the root of the site, percent-encoded, without a leading slash, with an optional
``?query`` and
  ``#anchor`` (``parts/TW-101.html#F2``). A template always puts the page's way to the root in front of it, so that an
  ``href`` can never become a foreign address or a script. An empty ``href`` means: no link.
* Text is plain text. Templates escape it; it never holds markup.
* Numbers that are drawn are floats; the same numbers in words stand beside them in a ``words`` field, which is
what a screen
  reader speaks.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Mark(Enum):
    """What a line means, the same on every drawing. Values are the CSS class and the key of the legend."""

    PROVEN = "proven"
    """Continuous thick: proven, decided by a person with the right role."""
    READY = "ready"
    """Continuous thin with an arrow: all evidence is in hand, a decision is wanted."""
    IN_HAND = "in-hand"
    """Continuous thin: evidence in hand, not yet decided."""
    MISSING = "missing"
    """Dashed: not there yet."""
    PLANNED = "planned"
    """Long dash and dot: planned, ordered or forecast."""
    WAIVED = "waived"
    """Long dash and two dots: set aside under a waiver that expires."""
    STALE = "stale"
    """Hatched: was good, and no longer counts."""
    HELD = "held"
    """Continuous thin with a zigzag: interrupted by a hold."""
    DROPPED = "dropped"
    """Continuous thin, crossed out: given up."""
    NOT_NEEDED = "not-needed"
    """A short rule: nothing is wanted here."""


MARK_WORDS: dict[Mark, str] = {
    Mark.PROVEN: "proven",
    Mark.READY: "ready for decision",
    Mark.IN_HAND: "evidence in hand",
    Mark.MISSING: "not there yet",
    Mark.PLANNED: "planned",
    Mark.WAIVED: "waived",
    Mark.STALE: "stale",
    Mark.HELD: "held",
    Mark.DROPPED: "dropped",
    Mark.NOT_NEEDED: "not needed",
}
"""One word or phrase for each mark, used where a shape gives none of its own."""


class Tone(Enum):
    """How loud a run of text is. ``FLAG`` is kept for *changed or needs you*."""

    PLAIN = "plain"
    STRONG = "strong"
    SOFT = "soft"
    FLAG = "flag"


@dataclass(frozen=True)
class Run:
    """A stretch of text in one tone, perhaps a link."""

    text: str
    tone: Tone = Tone.PLAIN
    href: str = ""


Line = tuple[Run, ...]
"""One sentence or one line made of runs."""


def build_line(*parts: str | Run) -> Line:
    """Make a line of plain strings and runs.

    >>> build_line("fit check ", Run("F2", href="parts/TW-101.html#F2"))[0].text
    'fit check '
    """
    return tuple(Run(part) if isinstance(part, str) else part for part in parts)


@dataclass(frozen=True)
class Link:
    """Words that lead somewhere in the site."""

    text: str
    href: str


class ReadingShape(Enum):
    """How one reading is drawn on a limits mark. Shape tells the condition, so that it reads in greyscale."""

    USED = "used"
    """Filled dot: a used original."""
    NOS = "nos"
    """Filled square: new old stock."""
    RESTORED = "restored"
    """Open diamond: re-plated or repaired; never counted for coated features."""
    LEFT_OUT = "left-out"
    """Open dot: measured, not counted (worn, outlier, reproduction)."""
    SAMPLE = "sample"
    """Filled triangle: a sample of our own, a first article."""


@dataclass(frozen=True)
class Reading:
    """One reading: ``value`` and expanded uncertainty ``spread`` (0.0 = not stated) in the unit of its mark."""

    label: str
    value: float
    spread: float = 0.0
    shape: ReadingShape = ReadingShape.USED


@dataclass(frozen=True)
class LimitsMark:
    """Readings against limits, as deviations from nominal.

    ``scale_low`` and ``scale_high`` are the ends of the drawn scale. A reading beyond them is drawn as an arrow
    at the end.
    ``lower`` or ``upper`` is None where there is no limit on that side. ``words`` says the drawing, e.g.
    ``limits -0.25 to +0.25 mm; O1 -0.04, O2 +0.01, O3 -0.28 (left out)``.
    """

    lower: float | None
    upper: float | None
    scale_low: float
    scale_high: float
    readings: tuple[Reading, ...]
    words: str


@dataclass(frozen=True)
class RangeMark:
    """Low, likely and high on a scale that a whole column shares: a dimension line, its likely value a solid
    lozenge.
    """

    low: float
    likely: float
    high: float
    scale_low: float
    scale_high: float
    words: str


@dataclass(frozen=True)
class TrendMark:
    """A small trend line over equal steps, oldest first; ``words`` says it."""

    values: tuple[float, ...]
    words: str


Drawing = LimitsMark | RangeMark | TrendMark
"""Any small drawing that fits in a table cell."""


@dataclass(frozen=True)
class Cell:
    """A cell of a :class:`Table`: a line of text, with perhaps a mark before it and a small drawing after it."""

    line: Line = ()
    mark: Mark | None = None
    drawing: Drawing | None = None


@dataclass(frozen=True)
class Column:
    """A column head. The unit stands here once, not in each cell. ``number`` aligns right with tabular figures.

    ``sort`` makes the head a button that sorts the rows in the page. ``whole`` keeps each cell on one line (a day, a
    part number).
    """

    label: str
    unit: str = ""
    number: bool = False
    sort: bool = False
    whole: bool = False


@dataclass(frozen=True)
class Row:
    """A row of a table. ``anchor`` is an id to link to, unique in its page; ``mark`` hatches or flags the first
    cell.
    """

    cells: tuple[Cell, ...]
    anchor: str = ""


@dataclass(frozen=True)
class Table:
    """Any plain table. The first cell of each row is its head. ``empty`` says what would fill it and how.

    ``caption`` is spoken by a screen reader and is not drawn where the section's title says the same. ``filter_by``
    are the columns (from 0) by whose words a long table can be narrowed in the page, besides a search in all of them.
    ``folds``: its numbers may wrap, and on a phone each row becomes lines, the column's name before each value.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    empty: str
    csv_href: str = ""
    filter_by: tuple[int, ...] = ()
    folds: bool = False


@dataclass(frozen=True)
class Picture:
    """A picture of the workspace, copied into the site. Width and height in pixels stop the page from jumping."""

    href: str
    words: str
    width: int
    height: int
    caption: str = ""


@dataclass(frozen=True)
class WorkingInput:
    """One input of a figure: its name, its value with unit, and where it comes from."""

    name: str
    value: str
    source: Line


@dataclass(frozen=True)
class Working:
    """How a figure was made. It folds under the figure.

    ``formula`` is plain text, one step a line; ``source`` names the standard or handbook, or says ``common
    practice, no source``.
    """

    formula: tuple[str, ...]
    inputs: tuple[WorkingInput, ...]
    source: str
    limits: str = ""
    method: Link | None = None


@dataclass(frozen=True)
class Caution:
    """One caution: what may go wrong, what to check, which rule applies; ``strong`` for what can hurt someone."""

    title: str
    words: str
    check: str = ""
    strong: bool = False


@dataclass(frozen=True)
class FindingLine:
    """One finding of the checker as a page shows it."""

    rule: Link
    severity: str
    where: str
    message: str
    fix: str
    part: Link | None = None


@dataclass(frozen=True)
class Commit:
    """What git knows of one line: short id, day, person. ``doubt`` says where git contradicts the record."""

    short: str
    on: str
    who: str
    doubt: str = ""
