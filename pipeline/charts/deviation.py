"""Readings as deviations from nominal, against limits."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.charts.sheet import Sheet, check_finite, choose_ticks, estimate_width, word_number
from pipeline.views.shapes_charts import DeviationPlot, DeviationRow

_WIDTH, _ROW, _TOP = 480.0, 30.0, 12.0


def render_deviations(chart: DeviationPlot) -> str:
    """Draw one row a feature: limits as tall strokes, readings with their uncertainty, all on one scale.

    Raises ValueError for no row or a number that is not finite.
    """
    _check_rows(chart)
    low, high = _find_scale(chart.rows)
    left = min(14 + max(estimate_width(row.label) for row in chart.rows), 200.0)
    right = _WIDTH - 12

    def place(value: float) -> float:
        return left + (value - low) / (high - low) * (right - left)

    bottom = _TOP + _ROW * len(chart.rows)
    sheet = Sheet(_WIDTH, bottom + 36)
    sheet.line(place(0), _TOP - 4, place(0), bottom, "line", 1.0)
    for at, row in enumerate(chart.rows):
        y = _TOP + _ROW * at + _ROW / 2
        sheet.words(left - 10, y + 4, row.label, "end")
        _draw_row(sheet, row, y, place)
    sheet.line(left, bottom, right, bottom, "ink", 1.0)
    for tick in choose_ticks(low, high, 4):
        sheet.line(place(tick), bottom, place(tick), bottom + 4, "ink", 1.0)
        sheet.words(place(tick), bottom + 17, word_number(tick), "middle", "soft")
    sheet.words(right, bottom + 31, f"{chart.unit} from nominal", "end", "soft")
    return sheet.render(chart.title, chart.words)


def _draw_row(sheet: Sheet, row: DeviationRow, y: float, place: Callable[[float], float]) -> None:
    for edge in (row.lower, row.upper):
        if edge is not None:
            sheet.line(place(edge), y - 9, place(edge), y + 9, "ink", 2.0)
    for point in row.points:
        if point.spread > 0:
            sheet.line(place(point.value - point.spread), y, place(point.value + point.spread), y, "tone", 1.5)
    for point in row.points:
        sheet.reading(place(point.value), y, point.shape)


def _find_scale(rows: tuple[DeviationRow, ...]) -> tuple[float, float]:
    values = [0.0]
    for row in rows:
        values += [edge for edge in (row.lower, row.upper) if edge is not None]
        values += [point.value + sign * point.spread for point in row.points for sign in (-1, 1)]
    low, high = min(values), max(values)
    edge = (high - low) * 0.06 or 1.0
    return low - edge, high + edge


def _check_rows(chart: DeviationPlot) -> None:
    if not chart.rows:
        raise ValueError(f"deviation plot {chart.title!r} has no row; give at least one")
    for row in chart.rows:
        check_finite(f"deviation row {row.label!r}", row.lower, row.upper)
        for point in row.points:
            check_finite(f"reading {point.label!r}", point.value, point.spread)
