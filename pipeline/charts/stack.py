"""A stack: contributors laid end to end that close in a gap, and the gap against its limits."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.charts.sheet import Sheet, check_finite, choose_ticks, word_number
from pipeline.views.shapes_charts import StackDrawing
from pipeline.views.shapes_marks import ReadingShape

_WIDTH, _ROW, _TOP, _LEFT = 480.0, 24.0, 26.0, 150.0


def render_stack(chart: StackDrawing) -> str:
    """Draw the chain as signed arrows with their share of the variance; below it the gap, predicted and measured.

    Raises ValueError for no contributor or a number that is not finite.
    """
    _check_stack(chart)
    bottom = _TOP + _ROW * (len(chart.links) + 1)
    sheet = Sheet(_WIDTH, bottom + 104)
    _draw_chain(sheet, chart)
    sheet.line(0, bottom + 2, _WIDTH, bottom + 2, "hair", 1.0)
    _draw_gap(sheet, chart, bottom + 30)
    return sheet.render(chart.title, chart.words)


def _draw_chain(sheet: Sheet, chart: StackDrawing) -> None:
    total = 0.0
    ends = [0.0]
    for link in chart.links:
        total += link.nominal
        ends.append(total)
    low, high = min(ends), max(ends)
    span = (high - low) or 1.0
    right = _WIDTH - 164

    def place(value: float) -> float:
        return _LEFT + (value - low) / span * (right - _LEFT)

    sheet.words(_LEFT - 10, 12, f"chain, {chart.unit}", "end", "soft")
    sheet.words(_WIDTH, 12, "share of spread", "end", "soft")
    for at, link in enumerate(chart.links):
        y = _TOP + _ROW * at + _ROW / 2
        _draw_arrow(sheet, place(ends[at]), place(ends[at + 1]), y)
        sheet.line(place(ends[at + 1]), y, place(ends[at + 1]), y + _ROW, "line", 0.8)
        sheet.words(_LEFT - 10, y + 4, link.label, "end")
        sheet.words(_WIDTH - 58, y + 4, f"{link.nominal:+.2f} ±{link.half_range:.2f}", "end", "soft")
        sheet.box(_WIDTH - 50, y - 4, 50 * min(max(link.share, 0.0), 1.0), 8, "tone")
    y = _TOP + _ROW * len(chart.links) + _ROW / 2
    sheet.words(_LEFT - 10, y + 4, "gap", "end", bold=True)
    end = place(total) if abs(place(total) - place(0)) > 3 else place(0) + (3 if total >= 0 else -3)
    sheet.line(place(0), y, end, y, "flag", 5.0)
    sheet.line(place(0), _TOP + _ROW / 2, place(0), y + 6, "line", 0.8)
    sheet.words(_WIDTH - 58, y + 4, f"{total:.2f}", "end", bold=True)


def _draw_arrow(sheet: Sheet, x0: float, x1: float, y: float) -> None:
    sheet.line(x0, y, x1, y, "ink", 1.5)
    step = 6 if x1 > x0 else -6
    if abs(x1 - x0) > 7:
        sheet.path(((x1, y), (x1 - step, y - 3), (x1 - step, y + 3)), "ink", 0.0, closed=True, fill="ink")


def _draw_gap(sheet: Sheet, chart: StackDrawing, y: float) -> None:
    low, high = _find_gap_scale(chart)
    right = _WIDTH - 12

    def place(value: float) -> float:
        return _LEFT + (value - low) / (high - low) * (right - _LEFT)

    _draw_limits(sheet, chart, place, y)
    sheet.words(_LEFT - 10, y + 4, "worst case", "end", "soft")
    sheet.line(place(chart.worst_low), y, place(chart.worst_high), y, "line", 1.25)
    for end in (chart.worst_low, chart.worst_high):
        sheet.line(place(end), y - 4, place(end), y + 4, "line", 1.25)
    sheet.words(_LEFT - 10, y + 22, "predicted", "end")
    sheet.range(place(chart.gap_low), place(chart.gap_likely), place(chart.gap_high), y + 18)
    for value in chart.measured:
        sheet.reading(place(value), y + 37, ReadingShape.SAMPLE)
    if chart.measured:
        sheet.words(_LEFT - 10, y + 41, "measured", "end", "soft")
    for tick in choose_ticks(low, high, 4):
        sheet.words(place(tick), y + 67, word_number(tick), "middle", "soft")
        sheet.line(place(tick), y + 50, place(tick), y + 54, "ink", 1.0)
    sheet.line(_LEFT, y + 50, right, y + 50, "ink", 1.0)
    sheet.words(_LEFT - 10, y + 67, f"gap, {chart.unit}", "end", "soft")


def _draw_limits(sheet: Sheet, chart: StackDrawing, place: Callable[[float], float], y: float) -> None:
    for edge, name in ((chart.lower, "least"), (chart.upper, "most")):
        if edge is not None:
            sheet.line(place(edge), y - 10, place(edge), y + 50, "ink", 2.0)
            sheet.words(place(edge), y - 14, f"{name} {word_number(edge)}", "middle", "soft")


def _find_gap_scale(chart: StackDrawing) -> tuple[float, float]:
    values = [chart.gap_low, chart.gap_high, chart.worst_low, chart.worst_high, *chart.measured]
    values += [edge for edge in (chart.lower, chart.upper) if edge is not None]
    edge = (max(values) - min(values)) * 0.08 or 1.0
    return min(values) - edge, max(values) + edge


def _check_stack(chart: StackDrawing) -> None:
    if not chart.links:
        raise ValueError(f"stack {chart.title!r} has no contributor; give at least one")
    for link in chart.links:
        check_finite(f"contributor {link.label!r}", link.nominal, link.half_range, link.share)
    gaps = (chart.gap_low, chart.gap_likely, chart.gap_high, chart.worst_low, chart.worst_high)
    check_finite(f"gap of {chart.title!r}", *gaps, chart.lower, chart.upper, *chart.measured)
