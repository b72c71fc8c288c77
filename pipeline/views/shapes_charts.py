"""Inputs of the figures: numbers to draw and the words that say them. The charts room turns each into SVG.

Every chart has ``title`` and ``words``: they become the drawing's title and description. Units are those of the
trade and are named in
``unit``. Order of the tuples is the order on the page.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.views.shapes_marks import Mark, ReadingShape
from pipeline.views.shapes_money import TornadoChart
from pipeline.views.shapes_spend import CashChart, FrontierChart, SpendChart


@dataclass(frozen=True)
class LadderStep:
    """What one change costs when it is found at this stage. ``words`` is the label beside the mark, e.g.
    ``20,484 (15,975 to 54,775)``.

    ``now`` is the stage the part stands at today.
    """

    label: str
    low: float
    likely: float
    high: float
    words: str
    now: bool = False


@dataclass(frozen=True)
class LadderChart:
    """Cost of one change by the stage at which it is found; ``unit`` is the currency code."""

    title: str
    words: str
    unit: str
    steps: tuple[LadderStep, ...]


@dataclass(frozen=True)
class DeviationPoint:
    """One reading: deviation from nominal and expanded uncertainty, in the chart's unit."""

    label: str
    value: float
    spread: float = 0.0
    shape: ReadingShape = ReadingShape.USED


@dataclass(frozen=True)
class DeviationRow:
    """A feature's (or a station's) limits as deviations from nominal, and its readings."""

    label: str
    lower: float | None
    upper: float | None
    points: tuple[DeviationPoint, ...]


@dataclass(frozen=True)
class DeviationPlot:
    """Deviations from nominal, one row a feature, all on one scale."""

    title: str
    words: str
    unit: str
    rows: tuple[DeviationRow, ...]


@dataclass(frozen=True)
class StackLink:
    """One contributor of a stack: signed mean contribution and half range to the gap, and its share of the
    variance, 0 to 1.
    """

    label: str
    nominal: float
    half_range: float
    share: float


@dataclass(frozen=True)
class StackDrawing:
    """A chain of contributors that closes in a gap.

    ``gap_low``, ``gap_likely``, ``gap_high`` is what is predicted (the ends at the stated confidence);
    ``worst_low`` and ``worst_high`` is worst case;
    ``lower`` and ``upper`` are the limits. ``measured`` are gaps measured at fit checks.
    """

    title: str
    words: str
    unit: str
    links: tuple[StackLink, ...]
    gap_low: float
    gap_likely: float
    gap_high: float
    worst_low: float
    worst_high: float
    lower: float | None
    upper: float | None
    measured: tuple[float, ...] = ()


@dataclass(frozen=True)
class RoundnessPlot:
    """A roundness trace about its least-squares circle.

    ``angles_deg`` and ``deviations_um`` have one length (at least 8), deviations in micrometres from the
    least-squares radius.
    ``tolerance_um`` is the roundness tolerance (width of the ring) or None.
    """

    title: str
    words: str
    angles_deg: tuple[float, ...]
    deviations_um: tuple[float, ...]
    tolerance_um: float | None = None


@dataclass(frozen=True)
class SpreadChart:
    """How a predicted quantity is spread: bin edges (one more than counts), counts, limits, and the value now."""

    title: str
    words: str
    unit: str
    edges: tuple[float, ...]
    counts: tuple[float, ...]
    lower: float | None = None
    upper: float | None = None


@dataclass(frozen=True)
class CurvePoint:
    """A point of a curve with an optional range about it and an optional label drawn beside it."""

    x: float
    y: float
    low: float | None = None
    high: float | None = None
    label: str = ""


@dataclass(frozen=True)
class Curve:
    """One line of a :class:`CurveChart`, drawn in the line kind of its mark and labelled at its end."""

    label: str
    points: tuple[CurvePoint, ...]
    mark: Mark = Mark.PROVEN
    steps: bool = False


@dataclass(frozen=True)
class CurveChart:
    """Curves over one axis: frontier of spend against worth, quotes by yearly volume, survival of a stage."""

    title: str
    words: str
    x_label: str
    y_label: str
    curves: tuple[Curve, ...]
    at: float | None = None
    at_label: str = ""


@dataclass(frozen=True)
class ColumnStack:
    """One column: a label under it and one amount per series, in the order of the chart's series."""

    label: str
    amounts: tuple[float, ...]
    words: str = ""


@dataclass(frozen=True)
class ColumnChart:
    """Stacked columns: cash out by quarter, arrivals and departures. ``limit`` draws the budget of each column."""

    title: str
    words: str
    unit: str
    series: tuple[tuple[str, Mark], ...]
    columns: tuple[ColumnStack, ...]
    limits: tuple[float | None, ...] = ()


@dataclass(frozen=True)
class AgeItem:
    """A part in work: its stage, its age in weeks, whether it needs somebody."""

    label: str
    stage: int
    weeks: float
    flag: bool = False


@dataclass(frozen=True)
class AgeChart:
    """Age of what is in work at each stage, against the 50th and 85th percentile of how long the stage takes
    (weeks, None = too few).
    """

    title: str
    words: str
    stages: tuple[str, ...]
    half: tuple[float | None, ...]
    most: tuple[float | None, ...]
    items: tuple[AgeItem, ...]


@dataclass(frozen=True)
class QrCode:
    """A code to be read by a telephone: ``text`` is what it holds, ``words`` say it."""

    title: str
    words: str
    text: str


Chart = (
    LadderChart
    | DeviationPlot
    | StackDrawing
    | RoundnessPlot
    | SpreadChart
    | CurveChart
    | ColumnChart
    | AgeChart
    | TornadoChart
    | SpendChart
    | CashChart
    | FrontierChart
    | QrCode
)
"""Anything that :func:`pipeline.charts.draw.render_chart` can draw."""
