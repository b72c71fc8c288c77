"""A sheet to draw on: lines of the house's kinds, words and shapes, written as SVG that follows the page's colours."""

from __future__ import annotations

import hashlib
import io
import re
import warnings
from collections.abc import Sequence
from html import escape
from typing import Any

from pipeline.views.shapes_marks import Mark, ReadingShape

# Colours are placeholders while matplotlib draws; the finished SVG names the page's custom property, with a fallback
# for a file that is opened alone. A placeholder is never shown.
_COLOURS = {
    "ink": ("#010101", "#1b2430"),
    "soft": ("#010102", "#566070"),
    "line": ("#010103", "#a4adb7"),
    "hair": ("#010104", "#dadee0"),
    "tone": ("#010105", "#34617f"),
    "tone-soft": ("#010106", "#c4d6e2"),
    "flag": ("#010107", "#a83f17"),
    "flag-soft": ("#010108", "#f6e3d9"),
    "paper": ("#010109", "#fbfaf6"),
}
_DASHES: dict[Mark, tuple[float, ...]] = {
    Mark.MISSING: (6, 5),
    Mark.PLANNED: (15, 4, 2.5, 4),
    Mark.WAIVED: (15, 3.5, 2.5, 3.5, 2.5, 3.5),
}
_ANCHORS = {"start": "left", "middle": "center", "end": "right"}
_FONT = "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif"
_WEIGHT = 650
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
        import matplotlib
        from matplotlib.figure import Figure

        self.width, self.height = width, height
        self._rc = matplotlib.rc_context
        with self._rc(_settings()):
            figure = Figure(figsize=(width / 72, height / 72), facecolor="none")
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set_axis_off()
            axes.set_xlim(0, width)
            axes.set_ylim(height, 0)
        self._figure, self._axes = figure, axes

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
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        patch = PathPatch(
            Path(list(points) + ([points[0]] if closed else []), closed=closed),
            edgecolor=_COLOURS[colour][0] if width else "none",
            facecolor="none" if fill == "none" else _COLOURS[fill][0],
            linewidth=width,
            capstyle="butt",
            joinstyle="miter",
            clip_on=False,
            hatch="//////" if hatch else None,
        )
        if dashes:
            patch.set_linestyle((0, tuple(one / width for one in dashes)))
        self._axes.add_patch(patch)

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
        self._axes.text(
            x,
            y,
            _clean(text),
            ha=_ANCHORS[anchor],
            va="baseline",
            color=_COLOURS[colour][0],
            fontsize=size,
            fontweight="bold" if bold else "normal",
            clip_on=False,
            parse_math=False,
        )

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
        out = io.StringIO()
        metadata = {"Date": None, "Creator": None, "Format": None, "Type": None}
        with warnings.catch_warnings(), self._rc(_settings()):
            # the reader's own font draws the words; whether matplotlib's has the letter is no matter
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            self._figure.savefig(out, format="svg", transparent=True, metadata=metadata)
        return _finish(out.getvalue(), self.width, self.height, title, words)


def _settings() -> Any:
    return {
        "svg.fonttype": "none",
        "svg.hashsalt": "workshop drawing",
        "font.family": "DejaVu Sans",
        "hatch.linewidth": 1.1,
        "hatch.color": _COLOURS["flag"][0],
        "path.simplify": False,
        "text.usetex": False,
    }


def _clean(text: str) -> str:
    """One line of text that XML can hold: line breaks become blanks, characters that XML forbids a replacement mark."""
    flat = " ".join(text.split())
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in flat)


_QUIET = {
    ("stroke-linejoin", "miter"),
    ("stroke-linejoin", "round"),
    ("stroke-opacity", "1"),
    ("font-size", "12px"),
    ("text-anchor", "start"),
}


def _attributes(match: re.Match[str]) -> str:
    """Turn a style into presentation attributes, for a strict content policy forbids inline style. Drop defaults."""
    pairs = [
        (name.strip(), value.strip()) for name, _, value in (it.partition(":") for it in match.group(1).split(";"))
    ]
    kept = []
    for name, value in pairs:
        if name == "font-weight":
            kept.append(f'font-weight="{_WEIGHT}"')
        elif name and name != "font-family" and (name, value) not in _QUIET:
            kept.append(f'{name}="{value.removesuffix("px")}"')
    return " ".join(kept)


def _short_path(match: re.Match[str]) -> str:
    """Write a path without line breaks, to a tenth of a unit: nobody sees more, and the page stays light."""
    words = []
    for word in match.group(1).split():
        words.append(word.upper() if word.isalpha() else f"{round(float(word), 1):g}")
    return ' d="' + re.sub(r" ?([A-Z]) ?", r"\1", " ".join(words)) + '"'


def _finish(svg: str, width: float, height: float, title: str, words: str) -> str:
    key = "c" + hashlib.sha256(f"{svg}\0{title}\0{words}".encode()).hexdigest()[:10]
    inner = svg[svg.index(">", svg.index("<svg ")) + 1 : svg.rindex("</svg>")]
    inner = re.sub(r"<metadata>.*?</metadata>|<style [^>]*>.*?</style>|<!--.*?-->", "", inner, flags=re.S)
    inner = re.sub(r"<defs>\s*</defs>", "", inner)
    used = set(re.findall(r'<[^>]*(?:url\(#|href="#)([^)"]+)', inner))
    inner = re.sub(r"<[^>]+>", lambda tag: _finish_tag(tag.group(0), key, used), inner)
    inner = _unwrap_groups(re.sub(r">\s+<", "><", inner).strip())
    inner = re.sub(r'<path d="[^"]*" fill="none"/>', "", inner)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-labelledby="{key}t {key}d" font-family="{_FONT}" font-size="12" stroke-linejoin="miter">'
        f'<title id="{key}t">{escape(_clean(title))}</title><desc id="{key}d">{escape(_clean(words))}</desc>'
        f"{inner}</svg>\n"
    )


def _finish_tag(tag: str, key: str, used: set[str]) -> str:
    """Tidy one tag. Only tags are touched: a text may hold what looks like an attribute."""
    tag = re.sub(r'style="([^"]*)"', _attributes, tag)
    tag = re.sub(r' id="([^"]*)"', lambda m: f' id="{key}{m.group(1)}"' if m.group(1) in used else "", tag)
    tag = re.sub(r'(url\(#|href="#)([^)"]+)', rf"\g<1>{key}\g<2>", tag)
    tag = re.sub(r' transform="rotate\(-0 [^"]*\)"', "", tag)
    tag = re.sub(r' d="([^"]*)"', _short_path, tag)
    for name, (placeholder, fallback) in _COLOURS.items():
        tag = tag.replace(placeholder, f"var(--{name}, {fallback})")
    return tag


def _unwrap_groups(inner: str) -> str:
    """Drop groups that carry nothing; matplotlib wraps each stroke in one or two."""
    before = ""
    while before != inner:
        before = inner
        inner = re.sub(r"<g>((?:(?!</?g[ >]).)*)</g>", r"\1", inner, flags=re.S)
    return inner
