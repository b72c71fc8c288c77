"""Axes of the plots: a frame that maps values to the sheet, and quiet ticks with no grid."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.charts.sheet import Sheet, choose_ticks, word_number


@dataclass(frozen=True)
class Frame:
    """Where values lie on the sheet: ``low``, ``high`` at left and right, ``floor``, ``ceiling`` at bottom and top."""

    left: float
    right: float
    bottom: float
    top: float
    low: float
    high: float
    floor: float
    ceiling: float

    def x(self, value: float) -> float:
        """Place a value of the bottom axis."""
        return self.left + (value - self.low) / ((self.high - self.low) or 1.0) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Place a value of the left axis."""
        return self.bottom - (value - self.floor) / ((self.ceiling - self.floor) or 1.0) * (self.bottom - self.top)


def draw_bottom_axis(sheet: Sheet, frame: Frame, label: str, count: int = 5) -> None:
    """Draw the bottom axis with round ticks and its label at the right end."""
    sheet.line(frame.left, frame.bottom, frame.right, frame.bottom, "ink", 1.0)
    for tick in choose_ticks(frame.low, frame.high, count):
        sheet.line(frame.x(tick), frame.bottom, frame.x(tick), frame.bottom + 4, "ink", 1.0)
        sheet.words(frame.x(tick), frame.bottom + 17, word_number(tick), "middle", "soft")
    sheet.words(frame.right, frame.bottom + 32, label, "end", "soft")


def draw_left_axis(sheet: Sheet, frame: Frame, label: str, count: int = 4) -> None:
    """Draw ticks and numbers of the left axis, with its label above it."""
    for tick in choose_ticks(frame.floor, frame.ceiling, count):
        sheet.line(frame.left - 4, frame.y(tick), frame.left, frame.y(tick), "ink", 1.0)
        sheet.words(frame.left - 8, frame.y(tick) + 4, word_number(tick), "end", "soft")
    sheet.line(frame.left, frame.top, frame.left, frame.bottom, "ink", 1.0)
    sheet.words(frame.left - 4, frame.top - 10, label, "start", "soft")
