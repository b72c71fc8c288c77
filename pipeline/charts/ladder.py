"""The cost-of-change ladder: what one change costs by the stage at which it is found."""

from __future__ import annotations

from pipeline.charts.sheet import Sheet, check_finite, estimate_width
from pipeline.views.shapes_charts import LadderChart

_WIDTH, _ROW, _TOP = 500.0, 25.0, 22.0


def render_ladder(chart: LadderChart) -> str:
    """Draw low, likely and high of each stage on one linear scale from zero, so that lengths compare as money does.

    Raises ValueError for no step, a number that is not finite, or low > likely or likely > high.
    """
    _check_ladder(chart)
    left = min(12 + max(estimate_width(step.label, bold=step.now) for step in chart.steps), 190.0)
    top = max(max(step.high for step in chart.steps), 1e-9)
    right = left + _find_length(chart, _WIDTH - left, top)
    sheet = Sheet(_WIDTH, _TOP + _ROW * len(chart.steps) + 4)
    sheet.words(left - 8, 12, "found at", "end", "soft")
    sheet.words(left, 12, chart.unit, colour="soft")
    sheet.line(left, _TOP - 4, left, _TOP + _ROW * len(chart.steps), "line", 1.0)
    for at, step in enumerate(chart.steps):
        y = _TOP + _ROW * at + _ROW / 2
        low, likely, high = (left + value / top * (right - left) for value in (step.low, step.likely, step.high))
        colour = "flag" if step.now else "ink"
        sheet.words(left - 8, y + 4, step.label, "end", "flag" if step.now else "soft", bold=step.now)
        if low - left > 1:
            sheet.line(left, y, low, y, "hair", 1.0)
        sheet.range(low, likely, high, y, colour)
        sheet.words(max(high, likely + 5) + 7, y + 4, step.words, colour=colour, bold=step.now)
    return sheet.render(chart.title, chart.words)


def _find_length(chart: LadderChart, room: float, top: float) -> float:
    """Find the longest scale at which every label still fits behind its own mark."""
    lengths = [room]
    for step in chart.steps:
        if step.high > 0:
            lengths.append((room - 9 - estimate_width(step.words, bold=step.now)) * top / step.high)
    return max(min(lengths), 80.0)


def _check_ladder(chart: LadderChart) -> None:
    if not chart.steps:
        raise ValueError(f"ladder {chart.title!r} has no step; give at least one")
    for step in chart.steps:
        check_finite(f"ladder step {step.label!r}", step.low, step.likely, step.high)
        if not 0 <= step.low <= step.likely <= step.high:
            raise ValueError(
                f"ladder step {step.label!r}: {step.low}, {step.likely}, {step.high} is not 0 <= low <= likely <= high"
            )
