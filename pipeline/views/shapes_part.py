"""Everything that the page of one part shows. Template ``part.html`` takes a :class:`PartPage`."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.views.shapes_charts import StackDrawing
from pipeline.views.shapes_lineage import LineageDrawing
from pipeline.views.shapes_marks import (
    Caution,
    Commit,
    FindingLine,
    LimitsMark,
    Line,
    Link,
    Mark,
    Picture,
    Run,
    Table,
    Working,
)
from pipeline.views.shapes_site import Figure, MatrixCell, PageHead, Section


@dataclass(frozen=True)
class TitleBlock:
    """The head of the drawing. ``changed`` is the reason for the revision triangle, empty if nothing changed
    since the last proof.

    ``fits`` has one line for each vehicle, as a link to it.
    """

    name: str
    number: str
    revision: str
    changed: str
    safety: str
    fits: tuple[Link, ...]
    family: str
    hands: str
    engineer: str
    last_evidence: str
    supersedes: str = ""
    confidential: str = ""
    synthetic: str = ""


@dataclass(frozen=True)
class HoldCall:
    """The loudest line of the site: evidence went stale after the order and before metal is cut."""

    title: str
    line: Line


@dataclass(frozen=True)
class RailPiece:
    """A piece of one gate's line; ``share`` 0 to 1, the pieces of a gate add up to 1."""

    mark: Mark
    share: float


@dataclass(frozen=True)
class RailGate:
    """One gate of the rail: its name, its state in a word, its line, and up to three short notes under it."""

    name: str
    state: str
    mark: Mark
    pieces: tuple[RailPiece, ...]
    notes: tuple[Run, ...]
    href: str = ""


@dataclass(frozen=True)
class GateRail:
    """The six gates; ``words`` says the whole rail in one sentence."""

    gates: tuple[RailGate, ...]
    words: str


@dataclass(frozen=True)
class NextAction:
    """What to do, and the quiet half sentence why or at what price. ``who`` may be empty."""

    do: Line
    why: str = ""
    who: str = ""
    due: str = ""


@dataclass(frozen=True)
class RequirementLine:
    """A requirement of a gate: what it wants, what proves it, or what is missing and how to put it there."""

    mark: Mark
    wants: str
    proof: Line
    lacking: str = ""
    rule: Link | None = None


@dataclass(frozen=True)
class GateDetail:
    """One gate in full. ``anchor`` is what the rail links to; ``decision`` says who decided what, when and why."""

    anchor: str
    name: str
    state: str
    mark: Mark
    requirements: tuple[RequirementLine, ...]
    decision: Line = ()


@dataclass(frozen=True)
class CoverageRow:
    """One application against the hands."""

    application: Link
    cells: tuple[MatrixCell, ...]


@dataclass(frozen=True)
class CoverageMatrix:
    """Application x hand. ``summary`` counts it: ``1 of 3 bodies covered by fresh fit checks``."""

    hands: tuple[str, ...]
    rows: tuple[CoverageRow, ...]
    summary: str
    empty: str


@dataclass(frozen=True)
class EvidenceLine:
    """One piece of evidence with its freshness. ``id`` is its anchor in the page.

    ``reason`` is the path by which it went stale, in words; ``file`` leads to the evidence, ``commit`` to who
    recorded it.
    """

    id: str
    kind: str
    what: str
    of: str
    covers: str
    on: str
    by: str
    mark: Mark
    freshness: str
    reason: Line = ()
    file: Link | None = None
    commit: Commit | None = None


@dataclass(frozen=True)
class FeatureLine:
    """One feature: numbers as text (aligned on the point), readings as a drawing, verdict in words."""

    key: str
    name: str
    critical: bool
    nominal: str
    limits: str
    unit: str
    drawing: LimitsMark | None
    originals: str
    verdict: Line
    mark: Mark
    working: Working | None = None


@dataclass(frozen=True)
class InterfaceDetail:
    """One interface: limits, what is predicted, what was measured; a stack drawing and a table of contributors."""

    anchor: str
    name: str
    limits: str
    mark: Mark
    verdict: Line
    drawing: StackDrawing | None
    contributors: Table | None
    working: Working | None = None


@dataclass(frozen=True)
class QuoteColumn:
    """One quote as a column. ``mark`` and ``state`` say whether it may support a release."""

    id: str
    supplier: Link
    state: str
    mark: Mark
    best: bool = False


@dataclass(frozen=True)
class QuoteRow:
    """One line of the comparison: one text a quote, ``not stated`` where the offer is silent. ``best`` is the
    index of the best cell.
    """

    label: str
    unit: str
    values: tuple[str, ...]
    number: bool = True
    best: int | None = None


@dataclass(frozen=True)
class QuoteGroup:
    """Lines under one head: scope and terms, tool price, one footing."""

    title: str
    rows: tuple[QuoteRow, ...]


@dataclass(frozen=True)
class QuoteComparison:
    """Quotes side by side. ``summary`` says which is cheapest at which volume."""

    columns: tuple[QuoteColumn, ...]
    groups: tuple[QuoteGroup, ...]
    summary: Line
    empty: str
    working: Working | None = None


@dataclass(frozen=True)
class HistoryLine:
    """One event of the record as git knows it."""

    on: str
    who: str
    line: Line
    commit: Commit | None = None


@dataclass(frozen=True)
class PartPage:
    """The page of one part, in the order in which it is read. ``further`` are sections that fold (another loop,
    business case, impact).
    """

    head: PageHead
    block: TitleBlock
    picture: Picture | None
    no_picture: str
    hold: HoldCall | None
    cautions: tuple[Caution, ...]
    rail: GateRail
    actions: tuple[NextAction, ...]
    no_action: str
    ladder: Figure | None
    no_ladder: str
    coverage: CoverageMatrix
    features: tuple[FeatureLine, ...]
    no_features: str
    gates: tuple[GateDetail, ...]
    evidence: tuple[EvidenceLine, ...]
    no_evidence: str
    lineage: LineageDrawing | None
    interfaces: tuple[InterfaceDetail, ...]
    quotes: QuoteComparison
    tools: Table
    further: tuple[Section, ...]
    history: tuple[HistoryLine, ...]
    no_history: str
    findings: tuple[FindingLine, ...]
    record: Link
    sheets: tuple[Link, ...] = ()
    history_note: str = ""
    """``sheets`` are printable sheets of this part; ``history_note`` says what limits the history that is shown."""
