"""Slow obvious twin of the plate: the same strokes and words as artists in a matplotlib figure, saved as SVG."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from typing import Any

import matplotlib
from hypothesis import given
from hypothesis import settings as limits
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from pipeline.charts.plate import FONT, SETTINGS, Pen, Stroke, Words, draw_plate
from pipeline.charts.tidying import COLOURS, tidy_svg

PLACES = st.floats(0, 400, width=32)
COLOUR = st.sampled_from(sorted(placeholder for placeholder, _ in COLOURS.values()))
PENS = st.builds(
    Pen,
    COLOUR,
    st.one_of(st.just("none"), COLOUR),
    st.sampled_from((1.0, 1.25, 1.5, 3.0)),
    st.sampled_from(((), (6.0, 5.0), (15.0, 4.0, 2.5, 4.0))),
    st.sampled_from(("", "//////")),
)
STROKES = st.builds(Stroke, st.lists(st.tuples(PLACES, PLACES), min_size=3, max_size=6), st.booleans(), PENS)
WORDS = st.builds(
    Words,
    PLACES,
    PLACES,
    st.text(st.characters(codec="ascii", categories=("L", "N", "P", "S")), min_size=1, max_size=12),
    st.sampled_from(("left", "center", "right")),
    COLOUR,
    st.sampled_from((10.0, 12.0, 13.5)),
    st.sampled_from(("normal", "bold")),
)


def draw_with_artists(width: float, height: float, strokes: Iterable[Stroke], words: Iterable[Words]) -> str:
    """Return the SVG of a figure whose axes span it, with one artist for each stroke and text."""
    out = io.StringIO()
    settings: Any = SETTINGS
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(width / 72, height / 72), facecolor="none")
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_axis_off()
        axes.set_xlim(0, width)
        axes.set_ylim(height, 0)
        for stroke in strokes:
            pen = stroke.pen
            patch = PathPatch(
                Path(stroke.corners, closed=stroke.closed),
                edgecolor=pen.edge,
                facecolor=pen.face,
                linewidth=pen.width,
                capstyle="butt",
                joinstyle="miter",
                clip_on=False,
                hatch=pen.hatch or None,
            )
            if pen.dashes:
                patch.set_linestyle((0, tuple(one / pen.width for one in pen.dashes)))
            axes.add_patch(patch)
        for one in words:
            axes.text(
                one.x,
                one.y,
                one.text,
                ha=one.anchor,
                va="baseline",
                color=one.colour,
                fontsize=one.size,
                fontweight=one.weight,
                fontfamily=FONT,
                clip_on=False,
                parse_math=False,
            )
        metadata = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(out, format="svg", transparent=True, metadata=metadata)
    return out.getvalue()


def _look(svg: str) -> str:
    """Return what a figure shows: without the groups and the empty background of the artists, and without its name."""
    tidy = tidy_svg(svg, 400, 400, "title", "words")
    bare = re.sub(r'</?g(?: id="[^"]*")?/?>|<path d="[^"]*" fill="none"/>', "", tidy)
    return re.sub(r'<path d="([^"]*)"([^>]*)/>', _take_apart, re.sub(r"\bc[0-9a-f]{10}", "", bare))


def _take_apart(path: re.Match[str]) -> str:
    """Return a path as one for each of its strokes: a plate joins open strokes of one pen that follow each other."""
    return "".join(f'<path d="{one}"{path.group(2)}/>' for one in re.split(r"(?<=.)\s*(?=M)", path.group(1)))


@limits(max_examples=40, deadline=None)
@given(st.lists(STROKES, max_size=4), st.lists(WORDS, max_size=3))
def test_the_plate_shows_what_a_figure_of_artists_shows(strokes: list[Stroke], words: list[Words]) -> None:
    assert _look(draw_plate(400, 400, strokes, words)) == _look(draw_with_artists(400, 400, strokes, words))


def test_a_long_curve_is_thinned_alike() -> None:
    curve = [(at / 2, 200 + (at % 3) * 0.02) for at in range(700)]
    strokes = [Stroke(curve, False, Pen("#010101", "none", 1.5, (), ""))]
    ours = _look(draw_plate(400, 400, strokes, []))
    assert ours == _look(draw_with_artists(400, 400, strokes, []))
    assert ours.count("L") < 600


def test_the_library_s_settings_are_as_they_were() -> None:
    before = dict(matplotlib.rcParams)
    draw_plate(10, 10, [Stroke([(0, 0), (1, 1)], False, Pen("#010101", "none", 1.0, (), "//////"))], [])
    assert dict(matplotlib.rcParams) == before
