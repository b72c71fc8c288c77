"""Cash of a spending plan: payments by quarter under the cash line, and cumulative cash as a range."""

from __future__ import annotations

from pipeline.charts.axes import Frame, draw_left_axis
from pipeline.charts.sheet import Sheet, check_finite, estimate_width, word_number
from pipeline.views.shapes_spend import CashChart, SpendChart

_WIDTH, _HEIGHT = 520.0, 270.0


def render_spend(chart: SpendChart) -> str:
    """Draw promised and planned payments of each quarter, stacked, under the cash that can be spent in it.

    Cash that rises out of the drawing is cut off and its amount written there. Raises ValueError for no quarter, a
    payment below zero, or a number that is not finite.
    """
    _check_spend(chart)
    frame = _build_spend_frame(chart)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_left_axis(sheet, frame, chart.unit)
    sheet.line(frame.left, frame.bottom, frame.right, frame.bottom, "ink", 1.0)
    for at, column in enumerate(chart.columns):
        x, width = frame.x(at + 0.2), frame.x(at + 0.8) - frame.x(at + 0.2)
        middle, foot = frame.y(column.promised), frame.y(column.promised + column.planned)
        if column.promised > 0:
            sheet.box(x, middle, width, frame.bottom - middle, "tone", "tone", 1.0)
        if column.planned > 0:
            sheet.box(x, foot, width, middle - foot, "tone-soft", "tone", 1.25)
        sheet.words(frame.x(at + 0.5), frame.bottom + 16, column.label, "middle", "soft", size=11)
        if column.words:
            sheet.words(frame.x(at + 0.5), frame.bottom + 31, column.words, "middle", size=11)
    _draw_cash_line(sheet, frame, chart)
    _name_parts(sheet, frame)
    return sheet.render(chart.title, chart.words)


def _build_spend_frame(chart: SpendChart) -> Frame:
    paid = max(column.promised + column.planned for column in chart.columns)
    cash = max(column.cash for column in chart.columns)
    ceiling = max(min(cash * 1.08, paid * 2.0), paid * 1.15) or cash * 1.08 or 1.0
    left = 16 + estimate_width(word_number(round(ceiling)))
    return Frame(left, _WIDTH - 6, _HEIGHT - 60, 34, 0, len(chart.columns), 0, ceiling)


def _draw_cash_line(sheet: Sheet, frame: Frame, chart: SpendChart) -> None:
    """Draw the cash as steps; where it leaves the drawing, an arrow and the amount stand at its edge."""
    for at, column in enumerate(chart.columns):
        left, right = frame.x(at + 0.06), frame.x(at + 0.94)
        if column.cash <= frame.ceiling:
            y = frame.y(max(0.0, column.cash))
            sheet.line(left, y, right, y, "flag", 2.25)
        else:
            middle, y = frame.x(at + 0.5), frame.top
            sheet.line(left, y, right, y, "flag", 1.0)
            sheet.path(((middle - 4, y), (middle, y - 6), (middle + 4, y)), "flag", 0.0, closed=True, fill="flag")
        words = _word_short(column.cash)
        y = max(frame.y(max(0.0, min(column.cash, frame.ceiling))) - 6, frame.top - 9)
        sheet.words(frame.x(at + 0.5), y, words, "middle", "flag", size=11)


def _word_short(value: float) -> str:
    """Word an amount in whole thousands, for little room.

    >>> _word_short(217855.2), _word_short(540.0)
    ('218k', '0.5k')
    """
    thousands = value / 1000
    return f"{thousands:,.0f}k" if abs(thousands) >= 10 else f"{thousands:.1f}k".replace(".0k", "k")


def _name_parts(sheet: Sheet, frame: Frame) -> None:
    y, x = _HEIGHT - 8, frame.left
    for fill, name in (("tone", "promised before"), ("tone-soft", "released by this plan")):
        sheet.box(x, y - 8, 9, 9, fill, "tone", 1.0)
        sheet.words(x + 14, y, name, size=11)
        x += 30 + estimate_width(name, 11)
    sheet.line(x, y - 4, x + 14, y - 4, "flag", 2.25)
    sheet.words(x + 19, y, "cash that can be spent", size=11)


def render_cash(chart: CashChart) -> str:
    """Draw cumulative cash: the range between low and high as an area, the expected value as a line, zero marked.

    Raises ValueError for fewer than two quarters, lists of different length, or a number that is not finite.
    """
    _check_cash(chart)
    low, high = min(0.0, *chart.low), max(0.0, *chart.high)
    room = (high - low) * 0.06 or 1.0
    left = 16 + max(estimate_width(word_number(round(end))) for end in (low, high))
    frame = Frame(left, _WIDTH - 74, _HEIGHT - 60, 34, 0, len(chart.labels) - 1, low - room, high + room)
    sheet = Sheet(_WIDTH, _HEIGHT)
    draw_left_axis(sheet, frame, chart.unit)
    xs = [frame.x(at) for at in range(len(chart.labels))]
    area = [
        *zip(xs, map(frame.y, chart.high), strict=True),
        *reversed([*zip(xs, map(frame.y, chart.low), strict=True)]),
    ]
    sheet.path(area, "tone", 0.75, closed=True, fill="tone-soft")
    sheet.path([*zip(xs, map(frame.y, chart.mean), strict=True)], "ink", 2.25)
    sheet.line(frame.left, frame.y(0), frame.right, frame.y(0), "flag", 1.25)
    _draw_quarters(sheet, frame, chart)
    _name_ends(sheet, frame, chart)
    return sheet.render(chart.title, chart.words)


def _draw_quarters(sheet: Sheet, frame: Frame, chart: CashChart) -> None:
    sheet.line(frame.left, frame.bottom, frame.right, frame.bottom, "ink", 1.0)
    for at, label in enumerate(chart.labels):
        sheet.line(frame.x(at), frame.bottom, frame.x(at), frame.bottom + 4, "ink", 1.0)
        if at % 2 == 0:
            sheet.words(frame.x(at), frame.bottom + 17, label, "middle", "soft", size=11)
    if chart.planned < len(chart.labels):
        x = frame.x(chart.planned - 0.5)
        sheet.path(((x, frame.top), (x, frame.bottom)), "line", 1.0, (6, 4))
        sheet.words(x - 5, frame.top + 4, "end of the plan", "end", "soft", size=11)


def _name_ends(sheet: Sheet, frame: Frame, chart: CashChart) -> None:
    """Name the three at their ends, apart from each other."""
    ends = [frame.y(chart.high[-1]), frame.y(chart.mean[-1]), frame.y(chart.low[-1])]
    ends[0] = min(ends[0], ends[1] - 14)
    ends[2] = max(ends[2], ends[1] + 14)
    for y, name, bold in zip(ends, ("high", "expected", "low"), (False, True, False), strict=True):
        sheet.words(frame.right + 7, y + 4, name, bold=bold, size=11)


def _check_spend(chart: SpendChart) -> None:
    if not chart.columns:
        raise ValueError(f"payments {chart.title!r}: no quarter to draw; give at least one")
    for column in chart.columns:
        check_finite(f"quarter {column.label!r}", column.promised, column.planned, column.cash)
        if min(column.promised, column.planned) < 0:
            raise ValueError(f"quarter {column.label!r}: a payment below zero cannot be drawn")


def _check_cash(chart: CashChart) -> None:
    sizes = {len(chart.labels), len(chart.low), len(chart.mean), len(chart.high)}
    if len(sizes) > 1 or len(chart.labels) < 2:
        raise ValueError(f"cash {chart.title!r}: lists of {sorted(sizes)} quarters; give two or more, all alike")
    check_finite(f"cash {chart.title!r}", *chart.low, *chart.mean, *chart.high)
