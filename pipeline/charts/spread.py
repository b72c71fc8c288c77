"""How a predicted quantity is spread, against its limits."""

from __future__ import annotations

from pipeline.charts.axes import Frame, draw_bottom_axis
from pipeline.charts.sheet import Sheet, check_finite, word_number
from pipeline.views.shapes_charts import SpreadChart

_WIDTH, _HEIGHT = 480.0, 190.0


def render_spread(chart: SpreadChart) -> str:
    """Draw counts between edges; what lies outside the limits is hatched.

    Raises ValueError for edges that do not rise, a wrong number of counts, or numbers that are not finite.
    """
    _check_spread(chart)
    low = min([chart.edges[0], *(edge for edge in (chart.lower, chart.upper) if edge is not None)])
    high = max([chart.edges[-1], *(edge for edge in (chart.lower, chart.upper) if edge is not None)])
    room = (high - low) * 0.04
    frame = Frame(12, _WIDTH - 12, _HEIGHT - 36, 24, low - room, high + room, 0, max(chart.counts) or 1.0)
    sheet = Sheet(_WIDTH, _HEIGHT)
    for count, left, right in zip(chart.counts, chart.edges, chart.edges[1:], strict=False):
        _draw_bin(sheet, frame, chart, count, left, right)
    for edge, name in ((chart.lower, "least"), (chart.upper, "most")):
        if edge is not None:
            sheet.line(frame.x(edge), 18, frame.x(edge), frame.bottom, "ink", 2.0)
            sheet.words(frame.x(edge), 13, f"{name} {word_number(edge)}", "middle", "soft")
    draw_bottom_axis(sheet, frame, chart.unit)
    return sheet.render(chart.title, chart.words)


def _draw_bin(sheet: Sheet, frame: Frame, chart: SpreadChart, count: float, left: float, right: float) -> None:
    if count <= 0:
        return
    middle = (left + right) / 2
    outside = (chart.lower is not None and middle < chart.lower) or (chart.upper is not None and middle > chart.upper)
    x, width, y = frame.x(left), frame.x(right) - frame.x(left), frame.y(count)
    if outside:
        sheet.hatched(x, y, width, frame.bottom - y)
    else:
        sheet.box(x, y, width, frame.bottom - y, "tone-soft", "tone", 0.75)


def _check_spread(chart: SpreadChart) -> None:
    if len(chart.counts) < 1 or len(chart.edges) != len(chart.counts) + 1:
        raise ValueError(
            f"spread {chart.title!r}: {len(chart.edges)} edges for {len(chart.counts)} counts; "
            "give one edge more than counts"
        )
    check_finite(f"spread {chart.title!r}", *chart.edges, *chart.counts, chart.lower, chart.upper)
    if any(b <= a for a, b in zip(chart.edges, chart.edges[1:], strict=False)):
        raise ValueError(f"spread {chart.title!r}: edges must rise")
