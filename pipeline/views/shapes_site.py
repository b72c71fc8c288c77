"""What every page has in common, and the pages that are not about one part: home, review, vehicles, rules,
methods, marks, sections.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.views.shapes_charts import Chart
from pipeline.views.shapes_marks import (
    Caution,
    Commit,
    FindingLine,
    LimitsMark,
    Line,
    Link,
    Mark,
    RangeMark,
    Table,
    TrendMark,
    Working,
)


@dataclass(frozen=True)
class NavItem:
    """One word of the head line. ``key`` is compared with :attr:`PageHead.nav` to mark where the reader is."""

    key: str
    text: str
    href: str


@dataclass(frozen=True)
class Site:
    """Facts of the whole site; templates know it as ``site``.

    ``as_of`` is the day the figures are for (the last commit), ``commit`` its short id; ``note`` is a line for
    every foot, such as
    ``Everything here is invented.``; ``logo_href`` may be empty.
    ``styles`` are further stylesheets of the maker (his own colours), by href. ``feed_href`` and ``calendar_href`` lead
    to the feed of gate events and the calendar of days; empty where the site has none.
    """

    maker: str
    edition: str
    as_of: str
    commit: str
    nav: tuple[NavItem, ...]
    home_href: str
    parts_href: str
    marks_href: str
    note: str = ""
    logo_href: str = ""
    styles: tuple[str, ...] = ()
    feed_href: str = ""
    calendar_href: str = ""


@dataclass(frozen=True)
class PageHead:
    """Title and place of a page. ``href`` is the page's own address; ``nav`` the key of its word in the head line."""

    title: str
    href: str
    summary: str = ""
    nav: str = ""
    trail: tuple[Link, ...] = ()


@dataclass(frozen=True)
class Figure:
    """A chart with the words under it and its working."""

    chart: Chart
    note: Line = ()
    working: Working | None = None


@dataclass(frozen=True)
class Section:
    """A titled piece of a page. ``fold`` closes it on screen (it prints open); ``aside`` is the quiet text
    after the title.
    """

    anchor: str
    title: str
    aside: str = ""
    intro: Line = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    after: Line = ()
    working: Working | None = None
    fold: bool = False


# --- home -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Need:
    """One thing that needs somebody. ``kind`` is its word: hold call, decision due, quote ends, waiver ends,
    ageing.
    """

    kind: str
    part: Link
    name: str
    line: Line
    due: str
    mark: Mark
    loud: bool = False


@dataclass(frozen=True)
class Desk:
    """What needs one person, soonest first. ``key`` is the person's id; ``calendar_href`` leads to their calendar."""

    key: str
    person: str
    role: str
    needs: tuple[Need, ...]
    calendar_href: str = ""


@dataclass(frozen=True)
class Tally:
    """A count of the head of a page, in words that lead to the list behind it."""

    count: str
    words: str
    href: str
    mark: Mark | None = None


@dataclass(frozen=True)
class HomePage:
    """What needs you, by person. Template ``home.html``."""

    head: PageHead
    holds: tuple[Need, ...]
    desks: tuple[Desk, ...]
    tallies: tuple[Tally, ...]
    quiet: str
    """What the page says when nothing needs anybody."""
    csv_href: str = ""


# --- review ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ReviewItem:
    """One move since the last review."""

    on: str
    part: Link
    name: str
    line: Line
    mark: Mark
    commit: Commit | None = None


@dataclass(frozen=True)
class ReviewGroup:
    """Moves of one kind; ``empty`` is said when there is none."""

    anchor: str
    title: str
    items: tuple[ReviewItem, ...]
    empty: str


@dataclass(frozen=True)
class ReviewPage:
    """What moved since a day or a commit. Template ``review.html``. ``notes`` say what limits it, a sentence each."""

    head: PageHead
    since: str
    until: str
    tallies: tuple[Tally, ...]
    groups: tuple[ReviewGroup, ...]
    notes: tuple[Line, ...] = ()
    csv_href: str = ""


# --- vehicles -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MatrixCell:
    """One crossing of a matrix. ``words`` is what it says beside its mark; keep it to a few words."""

    mark: Mark
    words: str = ""
    href: str = ""


@dataclass(frozen=True)
class VehicleColumn:
    """A body of a vehicle in a span of years."""

    body: str
    years: str


@dataclass(frozen=True)
class VehicleRow:
    """One part against the bodies of one vehicle; as many cells as the vehicle has columns. ``hole`` is a body
    that nothing covers.
    """

    part: Link
    name: str
    cells: tuple[MatrixCell, ...]
    hole: bool = False


@dataclass(frozen=True)
class VehicleGroup:
    """Rows of one area of the vehicle (lamps, trim) or one family."""

    title: str
    rows: tuple[VehicleRow, ...]


@dataclass(frozen=True)
class YearRow:
    """One body against the years of its vehicle; as many cells as :attr:`VehicleMatrix.by_year_head` has years."""

    body: str
    cells: tuple[MatrixCell, ...]


@dataclass(frozen=True)
class VehicleMatrix:
    """Coverage of one vehicle. ``totals`` has one short text per column, e.g. ``9 of 14 released``; ``by_year`` has
    the bodies against single years.
    """

    anchor: str
    name: str
    years: str
    columns: tuple[VehicleColumn, ...]
    groups: tuple[VehicleGroup, ...]
    totals: tuple[str, ...]
    summary: str
    csv_href: str = ""
    by_year_head: tuple[str, ...] = ()
    by_year: tuple[YearRow, ...] = ()
    by_year_csv: str = ""


@dataclass(frozen=True)
class VehiclesPage:
    """Coverage by vehicle, body and years. Template ``vehicles.html``."""

    head: PageHead
    vehicles: tuple[VehicleMatrix, ...]
    empty: str


# --- rules and methods ----------------------------------------------------------------------------


@dataclass(frozen=True)
class RuleLine:
    """A rule in the catalogue; ``broken`` is how many findings it gives today."""

    id: str
    title: str
    severity: str
    href: str
    broken: int = 0


@dataclass(frozen=True)
class RuleGroup:
    """Rules of one kind."""

    anchor: str
    title: str
    rules: tuple[RuleLine, ...]


@dataclass(frozen=True)
class RulesPage:
    """The catalogue of rules. Template ``rules.html``."""

    head: PageHead
    intro: str
    groups: tuple[RuleGroup, ...]


@dataclass(frozen=True)
class RulePage:
    """One rule. ``bad`` and ``good`` are records in plain text. Template ``rule.html``."""

    head: PageHead
    id: str
    title: str
    severity: str
    why: str
    fix: str
    bad: str
    good: str
    findings: tuple[FindingLine, ...]
    no_findings: str


@dataclass(frozen=True)
class MethodPage:
    """One method: what it answers, the formula, symbols, source, limits, cautions, a worked example. Template
    ``method.html``.
    """

    head: PageHead
    answers: str
    formula: tuple[str, ...]
    symbols: Table
    source: Line
    limits: tuple[str, ...]
    cautions: tuple[Caution, ...] = ()
    example: Section | None = None
    used_on: tuple[Link, ...] = ()


@dataclass(frozen=True)
class SectionsPage:
    """Any page made of titled sections: methods, suppliers, tools, resources, flow, spend. Template
    ``sections.html``.
    """

    head: PageHead
    intro: Line
    sections: tuple[Section, ...]
    tallies: tuple[Tally, ...] = ()
    cautions: tuple[Caution, ...] = ()


# --- marks ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MarkMeaning:
    """A mark, what it means, and what its line is called in the standard."""

    mark: Mark
    meaning: str
    line_kind: str


@dataclass(frozen=True)
class DrawingMeaning:
    """A small drawing as a sample, with what it says."""

    name: str
    drawing: LimitsMark | RangeMark | TrendMark
    meaning: str


@dataclass(frozen=True)
class MarksPage:
    """Every mark with its meaning; the test bed of the theme. Template ``marks.html``. Built by
    ``build_marks_page``.
    """

    head: PageHead
    marks: tuple[MarkMeaning, ...]
    drawings: tuple[DrawingMeaning, ...]
    charts: tuple[Figure, ...] = field(default=())
