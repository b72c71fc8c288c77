"""Solved budgets against the worth that they add: points, and the step that is sure between them."""

from __future__ import annotations

from itertools import pairwise

from pipeline.charts.axes import Frame, draw_bottom_axis, draw_left_axis
from pipeline.charts.sheet import Sheet, check_finite, estimate_width, word_number
from pipeline.views.shapes_spend import FrontierChart

_WIDTH, _HEIGHT = 560.0, 260.0


def render_frontier(chart: FrontierChart) -> str:
    """Draw every solved point as a lozenge and, between two of them, the worth of the lower one, which it has at least.

    Raises ValueError for no point, budgets that do not rise, or a number that is not finite.
    """
    _check_frontier(chart)
    frame = _build_frame(chart)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_bottom_axis(sheet, frame, f"budget in all, {chart.unit}")
    draw_left_axis(sheet, frame, f"worth added, {chart.unit}")
    if chart.most is not None:
        y = frame.y(chart.most)
        sheet.path(((frame.left, y), (frame.right, y)), "soft", 1.0, (6, 5))
        sheet.words(frame.right, y - 6, "with all the cash that it could use", "end", "soft", size=11)
    places = [(frame.x(b), frame.y(w)) for b, w in zip(chart.budgets, chart.worths, strict=True)]
    for a, b in pairwise(places):
        sheet.path((a, (b[0], a[1]), b), "tone", 1.25)
    for at, (x, y) in enumerate(places):
        is_own = at == chart.at
        size = 6.0 if is_own else 4.2
        colour = "flag" if is_own else "ink"
        sheet.path(((x, y - size), (x + size, y), (x, y + size), (x - size, y)), colour, 0.0, closed=True, fill=colour)
    if chart.at is not None:
        x, y = places[chart.at]
        side = "end" if x > (frame.left + frame.right) / 2 else "start"
        sheet.words(x, y + 22, chart.at_label, side, "flag")
    return sheet.render(chart.title, chart.words)


def _build_frame(chart: FrontierChart) -> Frame:
    most = max(*chart.worths, 0.0, chart.most or 0.0)
    least = min(0.0, *chart.worths)
    left = 18 + max(estimate_width(word_number(round(end))) for end in (most, least))
    low, high = chart.budgets[0], chart.budgets[-1]
    room = (high - low) * 0.03 or 1.0
    return Frame(left, _WIDTH - 12, _HEIGHT - 42, 34, low - room, high + room, least, most * 1.08 or 1.0)


def _check_frontier(chart: FrontierChart) -> None:
    if not chart.budgets or len(chart.budgets) != len(chart.worths):
        raise ValueError(f"frontier {chart.title!r}: {len(chart.budgets)} budgets for {len(chart.worths)} worths")
    check_finite(f"frontier {chart.title!r}", *chart.budgets, *chart.worths, chart.most)
    if any(b <= a for a, b in pairwise(chart.budgets)):
        raise ValueError(f"frontier {chart.title!r}: budgets must rise")
