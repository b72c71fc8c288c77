"""Strokes and words handed straight to matplotlib's SVG renderer: no figure, axes and artists are built for them.

An artist for each stroke costs some twenty times what its line of SVG does. What is written is the same, and
`tests/referees/test_charts_plate_twin.py` holds it against a figure drawn the usual way.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, Literal, NamedTuple

Anchor = Literal["left", "center", "right"]

SETTINGS: dict[str, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "workshop drawing",
    "hatch.linewidth": 1.0,
    "path.simplify": True,
    "path.simplify_threshold": 1 / 9,
    "text.usetex": False,
}
FONT = "DejaVu Sans"


class Pen(NamedTuple):
    """How a stroke looks: colours of its edge and its inside (`none`: not there), width and dashes in user units."""

    edge: str
    face: str
    width: float
    dashes: tuple[float, ...]
    hatch: str


class Stroke(NamedTuple):
    """A line through corners, or a shape that closes on its first one, which then stands again at the end."""

    corners: Sequence[tuple[float, float]]
    closed: bool
    pen: Pen


class Words(NamedTuple):
    """A text whose base line starts (`left`), centres (`center`) or ends (`right`) at x."""

    x: float
    y: float
    text: str
    anchor: Anchor
    colour: str
    size: float
    weight: str


def draw_plate(width: float, height: float, strokes: Iterable[Stroke], words: Iterable[Words]) -> str:
    """Return the SVG document of a plane of width x height user units, y downward: all strokes, over them all words."""
    from matplotlib.backends.backend_svg import RendererSVG
    from matplotlib.path import Path
    from matplotlib.transforms import Affine2D

    out = io.StringIO()
    quiet = {"Date": None, "Creator": None, "Format": None, "Type": None}
    with _keep_settings():
        renderer: Any = RendererSVG(width, height, out, metadata=quiet)  # type: ignore[no-untyped-call]
        upward = Affine2D().scale(1.0, -1.0).translate(0.0, height)
        for stroke in strokes:
            context, face = _dip(stroke.pen)
            renderer.draw_path(context, Path(stroke.corners, closed=stroke.closed), upward, face)
        for one in words:
            text = _set_type(one.anchor)
            text.set_position((one.x, height - one.y))
            renderer.draw_text(_choose_ink(one.colour), one.x, one.y, one.text, _choose_type(one.size, one.weight), 0,
                               mtext=text)  # fmt: skip
        renderer.finalize()
    return out.getvalue()


@contextmanager
def _keep_settings() -> Iterator[None]:
    """Set the few settings that the renderer asks for; to copy all of them, as the library does, costs a tenth."""
    import matplotlib

    settings: Any = matplotlib.rcParams
    before = {name: settings[name] for name in SETTINGS}
    settings.update(SETTINGS)
    try:
        yield
    finally:
        settings.update(before)


@cache
def _dip(pen: Pen) -> tuple[Any, Any]:
    """Return the state of the renderer for a pen, and the colour of the inside (None: open)."""
    from matplotlib.backend_bases import GraphicsContextBase
    from matplotlib.colors import to_rgba

    context = GraphicsContextBase()
    edge = to_rgba(pen.edge)
    context.set_linewidth(pen.width if edge[3] else 0)
    context.set_capstyle("butt")
    context.set_joinstyle("miter")
    if pen.hatch:
        context.set_hatch(pen.hatch)
        context.set_hatch_color(edge)
    context.set_foreground(edge, isRGBA=True)
    context.set_dashes(0, list(pen.dashes) if pen.dashes and edge[3] else None)
    return context, None if pen.face == "none" else to_rgba(pen.face)


@cache
def _choose_ink(colour: str) -> Any:
    from matplotlib.backend_bases import GraphicsContextBase

    context = GraphicsContextBase()
    context.set_foreground(colour)
    return context


@cache
def _choose_type(size: float, weight: str) -> Any:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family=[FONT], size=size, weight=weight)


@cache
def _set_type(anchor: Anchor) -> Any:
    """Return the text whose place and anchor the renderer asks for; one for all words of that anchor."""
    from matplotlib.text import Text

    return Text(0, 0, "", horizontalalignment=anchor)
