"""Stacked columns: cash out by quarter against its budget, arrivals and departures."""

from __future__ import annotations

from pipeline.charts.axes import Frame, draw_left_axis
from pipeline.charts.sheet import Sheet, check_finite, estimate_width, word_number
from pipeline.views.shapes_charts import ColumnChart
from pipeline.views.shapes_marks import Mark

_WIDTH, _HEIGHT = 480.0, 250.0


def render_columns(chart: ColumnChart) -> str:
    """Draw a column for each label, its amounts stacked; each series has a texture of its own and is named beside.

    Raises ValueError for no column, amounts that do not match the series, or numbers that are negative or not finite.
    """
    _check_columns(chart)
    limits = chart.limits or (None,) * len(chart.columns)
    most = max([*(sum(column.amounts) for column in chart.columns), *(limit for limit in limits if limit is not None)])
    room = 26 + max(estimate_width(name) for name, _ in chart.series)
    left = 16 + estimate_width(word_number(round(most)))
    frame = Frame(left, _WIDTH - room, _HEIGHT - 42, 30, 0, len(chart.columns), 0, (most or 1.0) * 1.05)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_left_axis(sheet, frame, chart.unit)
    sheet.line(frame.left, frame.bottom, frame.right, frame.bottom, "ink", 1.0)
    for at, (column, limit) in enumerate(zip(chart.columns, limits, strict=True)):
        _draw_column(sheet, frame, chart, at)
        middle = frame.x(at + 0.5)
        sheet.words(middle, frame.bottom + 16, column.label, "middle", "soft")
        if column.words:
            sheet.words(middle, frame.bottom + 31, column.words, "middle", "soft", size=11)
        if limit is not None:
            sheet.line(frame.x(at + 0.06), frame.y(limit), frame.x(at + 0.94), frame.y(limit), "flag", 2.0)
    _name_series(sheet, frame, chart)
    return sheet.render(chart.title, chart.words)


def _draw_column(sheet: Sheet, frame: Frame, chart: ColumnChart, at: int) -> None:
    x, width, total = frame.x(at + 0.18), frame.x(at + 0.82) - frame.x(at + 0.18), 0.0
    for (_, mark), amount in zip(chart.series, chart.columns[at].amounts, strict=True):
        if amount > 0:
            y = frame.y(total + amount)
            _fill_piece(sheet, mark, x, y, width, frame.y(total) - y)
            total += amount


def _fill_piece(sheet: Sheet, mark: Mark, x: float, y: float, width: float, height: float) -> None:
    if mark is Mark.STALE:
        sheet.hatched(x, y, width, height)
    elif mark is Mark.PROVEN:
        sheet.box(x, y, width, height, "tone", "tone", 1.0)
    elif mark in (Mark.PLANNED, Mark.MISSING, Mark.WAIVED):
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        sheet.path(corners, "tone", 1.25, (6, 4) if mark is Mark.MISSING else (13, 4, 2, 4), closed=True)
    else:
        sheet.box(x, y, width, height, "tone-soft", "tone", 1.0)


def _name_series(sheet: Sheet, frame: Frame, chart: ColumnChart) -> None:
    y = frame.top + 8
    for name, mark in reversed(chart.series):
        _fill_piece(sheet, mark, frame.right + 6, y - 8, 9, 9)
        sheet.words(frame.right + 20, y, name)
        y += 18


def _check_columns(chart: ColumnChart) -> None:
    if not chart.columns or not chart.series:
        raise ValueError(f"columns {chart.title!r}: nothing to draw; give at least one series and one column")
    if chart.limits and len(chart.limits) != len(chart.columns):
        raise ValueError(f"columns {chart.title!r}: {len(chart.limits)} limits for {len(chart.columns)} columns")
    for column in chart.columns:
        if len(column.amounts) != len(chart.series):
            raise ValueError(f"column {column.label!r}: {len(column.amounts)} amounts for {len(chart.series)} series")
        check_finite(f"column {column.label!r}", *column.amounts)
        if min(column.amounts) < 0:
            raise ValueError(f"column {column.label!r}: {min(column.amounts)} is below zero; stacked amounts cannot be")
