"""What moves a figure: one bar an input, from its low to its high end, about the figure as it stands."""

from __future__ import annotations

from pipeline.charts.axes import Frame, draw_bottom_axis
from pipeline.charts.sheet import Sheet, check_finite, estimate_width
from pipeline.views.shapes_money import TornadoBar, TornadoChart

_WIDTH, _ROW, _TOP, _LABEL = 560.0, 24.0, 26.0, 290.0


def render_tornado(chart: TornadoChart) -> str:
    """Draw a bar for each input; a bar whose ends lie on both sides of zero is hatched, because it turns the answer.

    Raises ValueError for no bar, or a number that is not finite.
    """
    _check_tornado(chart)
    sheet = Sheet(_WIDTH, _TOP + _ROW * len(chart.bars) + 44)
    frame = _build_frame(chart)
    for at, bar in enumerate(chart.bars):
        _draw_bar(sheet, frame, bar, _TOP + _ROW * at + _ROW / 2)
    if frame.low < 0 < frame.high:
        sheet.line(frame.x(0), _TOP - 4, frame.x(0), frame.bottom, "flag", 1.25)
    sheet.line(frame.x(chart.base), _TOP - 4, frame.x(chart.base), frame.bottom, "ink", 1.5)
    half = estimate_width(chart.base_label) / 2
    sheet.words(min(max(frame.x(chart.base), frame.left + half), _WIDTH - half - 4), 14, chart.base_label, "middle")
    draw_bottom_axis(sheet, frame, chart.unit)
    return sheet.render(chart.title, chart.words)


def _build_frame(chart: TornadoChart) -> Frame:
    values = [chart.base, *(value for bar in chart.bars for value in (bar.at_low, bar.at_high))]
    room = 8 + max(estimate_width(words, 11.0) for bar in chart.bars for words in (bar.low_words, bar.high_words))
    left = 14 + min(_LABEL, max(estimate_width(bar.label) for bar in chart.bars)) + room
    low, high = min(values), max(values)
    return Frame(
        left, _WIDTH - room - 6, _TOP + _ROW * len(chart.bars), _TOP, low, high if high > low else low + 1, 0, 1
    )


def _draw_bar(sheet: Sheet, frame: Frame, bar: TornadoBar, y: float) -> None:
    sheet.words(4, y + 4, bar.label)
    ends = sorted(((bar.at_low, bar.low_words), (bar.at_high, bar.high_words)))
    left, right = frame.x(ends[0][0]), frame.x(ends[1][0])
    if bar.turns:
        sheet.hatched(left, y - 7, max(right - left, 1.0), 14)
    else:
        sheet.box(left, y - 7, max(right - left, 1.0), 14, "tone-soft", "tone", 0.75)
    sheet.words(left - 4, y + 4, ends[0][1], "end", "soft", size=11)
    sheet.words(right + 4, y + 4, ends[1][1], "start", "soft", size=11)


def _check_tornado(chart: TornadoChart) -> None:
    if not chart.bars:
        raise ValueError(f"drawing {chart.title!r} has no bar; give at least one input that moves the figure")
    check_finite(f"drawing {chart.title!r}", chart.base)
    for bar in chart.bars:
        check_finite(f"bar {bar.label!r}", bar.at_low, bar.at_high)
