"""A sheet to draw on: lines of the house's kinds, words and shapes, written as SVG that follows the page's colours."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.charts.plate import Anchor, Pen, Stroke, Words, draw_plate
from pipeline.charts.tidying import COLOURS, clean_text, tidy_svg
from pipeline.views.shapes_marks import Mark, ReadingShape

_DASHES: dict[Mark, tuple[float, ...]] = {
    Mark.MISSING: (6, 5),
    Mark.PLANNED: (15, 4, 2.5, 4),
    Mark.WAIVED: (15, 3.5, 2.5, 3.5, 2.5, 3.5),
}
_ANCHORS: dict[str, Anchor] = {"start": "left", "middle": "center", "end": "right"}
LETTER = 6.7
"""Width to reserve for one letter of 12 units, on the safe side of common system fonts."""


def estimate_width(words: str, size: float = 12.0, bold: bool = False) -> float:
    """Estimate the width of a text in user units, a little too wide rather than too narrow.

    >>> round(estimate_width("20,484"), 1)
    40.2
    """
    return len(words) * LETTER * size / 12.0 * (1.18 if bold else 1.0)


def choose_ticks(low: float, high: float, count: int = 5) -> tuple[float, ...]:
    """Choose round values between two ends (at most ``count`` + 1 of them).

    >>> choose_ticks(0, 100)
    (0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
    """
    from matplotlib.ticker import MaxNLocator

    values = MaxNLocator(nbins=count, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    slack = (high - low) * 1e-9
    return tuple(float(value) for value in values if low - slack <= value <= high + slack)


def word_number(value: float) -> str:
    """Word a tick: thousands separated, no trailing zeros.

    >>> word_number(20000.0), word_number(-0.25), word_number(0.0)
    ('20,000', '-0.25', '0')
    """
    text = f"{round(value, 9):,.9f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def check_finite(name: str, *values: float | None) -> None:
    """Raise ValueError when a number to draw is NaN or infinite; None is passed over."""
    for value in values:
        if value is not None and not abs(value) < float("inf"):
            raise ValueError(f"{name}: {value} cannot be drawn; give a finite number")


class Sheet:
    """A plane of ``width`` x ``height`` user units, origin at the top left, y downward."""

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self._strokes: list[Stroke] = []
        self._texts: list[Words] = []

    def path(
        self,
        points: Sequence[tuple[float, float]],
        colour: str = "ink",
        width: float = 1.25,
        dashes: tuple[float, ...] = (),
        closed: bool = False,
        fill: str = "none",
        hatch: bool = False,
    ) -> None:
        """Draw a line through points, or a closed shape; ``hatch`` fills it as a cut section."""
        corners = [*points, points[0]] if closed else list(points)
        pen = Pen(
            COLOURS[colour][0] if width else "none",
            "none" if fill == "none" else COLOURS[fill][0],
            width,
            tuple(dashes),
            "//////" if hatch else "",
        )
        self._strokes.append(Stroke(corners, closed, pen))

    def line(self, x0: float, y0: float, x1: float, y1: float, colour: str = "ink", width: float = 1.25) -> None:
        """Draw a continuous line."""
        self.path(((x0, y0), (x1, y1)), colour, width)

    def box(
        self, x: float, y: float, width: float, height: float, fill: str, edge: str = "ink", stroke: float = 0.0
    ) -> None:
        """Draw a filled rectangle."""
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.path(corners, edge, stroke, closed=True, fill=fill)

    def hatched(self, x: float, y: float, width: float, height: float) -> None:
        """Draw a hatched rectangle: stale."""
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.path(corners, "flag", 1.0, closed=True, fill="flag-soft", hatch=True)

    def marked(self, points: Sequence[tuple[float, float]], mark: Mark, colour: str = "ink") -> None:
        """Draw a line of the mark's kind; a stale line is short-dashed and flagged, for it has no area to hatch."""
        if mark is Mark.STALE:
            self.path(points, "flag", 2.0, (2.0, 2.0))
        else:
            self.path(points, colour, 3.0 if mark is Mark.PROVEN else 1.5, _DASHES.get(mark, ()))

    def words(
        self,
        x: float,
        y: float,
        text: str,
        anchor: str = "start",
        colour: str = "ink",
        bold: bool = False,
        size: float = 12.0,
    ) -> None:
        """Write a text whose base line starts, centres or ends at x. It is never read as mathematics."""
        colour = COLOURS[colour][0]
        self._texts.append(Words(x, y, clean_text(text), _ANCHORS[anchor], colour, size, "bold" if bold else "normal"))

    def range(self, low: float, likely: float, high: float, y: float, colour: str = "ink", half: float = 5.0) -> None:
        """Draw low, likely and high (already in user units): a dimension line with end strokes and a solid lozenge."""
        if high > low:
            self.line(low, y, high, y, colour)
            for end in (low, high):
                self.line(end, y - half, end, y + half, colour)
        reach = half - 0.3
        lozenge = ((likely, y - reach), (likely + reach, y), (likely, y + reach), (likely - reach, y))
        self.path(lozenge, colour, 0.0, closed=True, fill=colour)

    def reading(self, x: float, y: float, shape: ReadingShape, colour: str = "tone") -> None:
        """Draw one reading; its shape tells the condition of the original."""
        from math import cos, pi, sin

        if shape is ReadingShape.NOS:
            points = [(x - 3.5, y - 3.5), (x + 3.5, y - 3.5), (x + 3.5, y + 3.5), (x - 3.5, y + 3.5)]
        elif shape is ReadingShape.RESTORED:
            points = [(x, y - 5), (x + 5, y), (x, y + 5), (x - 5, y)]
        elif shape is ReadingShape.SAMPLE:
            points = [(x, y - 4.5), (x + 4.6, y + 3.5), (x - 4.6, y + 3.5)]
        else:
            points = [(x + 3.7 * cos(pi * i / 8), y + 3.7 * sin(pi * i / 8)) for i in range(16)]
        is_open = shape in (ReadingShape.LEFT_OUT, ReadingShape.RESTORED)
        self.path(points, colour, 1.5, closed=True, fill="paper" if is_open else colour)

    def render(self, title: str, words: str) -> str:
        """Finish the drawing: SVG with a title and a description, the same bytes for the same drawing."""
        svg = draw_plate(self.width, self.height, self._strokes, self._texts)
        return tidy_svg(svg, self.width, self.height, title, words)
