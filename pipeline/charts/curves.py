"""Curves over one axis: a frontier of spend against worth, quotes by yearly volume, the survival of a stage."""

from __future__ import annotations

import itertools

from pipeline.charts.axes import Frame, draw_bottom_axis, draw_left_axis
from pipeline.charts.sheet import Sheet, check_finite, estimate_width, word_number
from pipeline.views.shapes_charts import Curve, CurveChart

_WIDTH, _HEIGHT = 480.0, 270.0


def render_curves(chart: CurveChart) -> str:
    """Draw each curve in the line kind of its mark, labelled at its end; ranges as thin bars with end strokes.

    Raises ValueError for no curve, an empty curve, or numbers that are not finite.
    """
    _check_curves(chart)
    frame = _build_frame(chart)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_bottom_axis(sheet, frame, chart.x_label)
    draw_left_axis(sheet, frame, chart.y_label)
    if chart.at is not None:
        sheet.line(frame.x(chart.at), frame.top, frame.x(chart.at), frame.bottom, "flag", 1.25)
        sheet.words(frame.x(chart.at) + 5, frame.top + 4, chart.at_label, colour="flag")
    for curve in chart.curves:
        _draw_curve(sheet, frame, curve)
    for y, label in _spread_labels([(frame.y(curve.points[-1].y), curve.label) for curve in chart.curves]):
        sheet.words(frame.right + 6, y + 4, label)
    return sheet.render(chart.title, chart.words)


def _build_frame(chart: CurveChart) -> Frame:
    xs = [point.x for curve in chart.curves for point in curve.points] + ([] if chart.at is None else [chart.at])
    ys = [0.0]
    for curve in chart.curves:
        for point in curve.points:
            ys += [value for value in (point.y, point.low, point.high) if value is not None]
    left = 16 + max(estimate_width(word_number(value)) for value in (round(min(ys)), round(max(ys))))
    room = 10 + max(estimate_width(curve.label) for curve in chart.curves)
    top = max(ys) + (max(ys) - min(ys)) * 0.05
    return Frame(left, max(_WIDTH - room, left + 120), _HEIGHT - 40, 30, min(xs), max(xs), min(ys), top or 1.0)


def _draw_curve(sheet: Sheet, frame: Frame, curve: Curve) -> None:
    places = [(frame.x(point.x), frame.y(point.y)) for point in curve.points]
    if curve.steps:
        places = [places[0]] + [corner for a, b in itertools.pairwise(places) for corner in ((b[0], a[1]), b)]
    for point in curve.points:
        if point.low is not None and point.high is not None:
            x = frame.x(point.x)
            sheet.line(x, frame.y(point.low), x, frame.y(point.high), "tone", 1.0)
            for end in (point.low, point.high):
                sheet.line(x - 3, frame.y(end), x + 3, frame.y(end), "tone", 1.0)
    if len(places) > 1:
        sheet.marked(places, curve.mark)
    for point in curve.points:
        if point.label:
            sheet.words(frame.x(point.x), frame.y(point.y) - 8, point.label, "middle", "soft", size=11)


def _spread_labels(labels: list[tuple[float, str]]) -> list[tuple[float, str]]:
    """Move labels apart that would overlap, from the top down."""
    placed: list[tuple[float, str]] = []
    for y, label in sorted(labels):
        placed.append((max(y, placed[-1][0] + 15) if placed else y, label))
    return placed


def _check_curves(chart: CurveChart) -> None:
    if not chart.curves or any(not curve.points for curve in chart.curves):
        raise ValueError(f"chart {chart.title!r} has a curve without points, or no curve; give each at least one point")
    check_finite(f"chart {chart.title!r}", chart.at)
    for curve in chart.curves:
        for point in curve.points:
            check_finite(f"curve {curve.label!r}", point.x, point.y, point.low, point.high)
