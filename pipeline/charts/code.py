"""A two-dimensional code that a telephone reads: the address of a page, for a sheet of paper that left the desk."""

from __future__ import annotations

from html import escape

from pipeline.findings.finding import clean_text
from pipeline.views.shapes_charts import QrCode

QUIET = 4
"""Modules of quiet ground on each side. Source: ISO/IEC 18004:2015, 6.3.8 (from memory)."""
INK, GROUND = ("code-ink", "#000000"), ("code-ground", "#ffffff")
"""Dark on light in both schemes and on paper: many readers take nothing else."""


def render_code(chart: QrCode) -> str:
    """Draw a QR code, one user unit a module, error correction M (about 15 % of it may be soiled).

    Raises ValueError where there is no text, or more than the largest code holds. Source: ISO/IEC 18004:2015.
    """
    if not chart.text:
        raise ValueError(f"drawing {chart.title!r} has no text; give the address that it leads to")
    rows = _find_modules(chart)
    size = len(rows) + 2 * QUIET
    dark = "".join(_draw_row(row, y) for y, row in enumerate(rows, QUIET))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}" role="img" class="code" '
        f'shape-rendering="crispEdges" aria-label="{escape(clean_text(f"{chart.title}: {chart.words}", 400))}">'
        f'<path fill="{_name(GROUND)}" d="M0 0h{size}v{size}H0z"/><path fill="{_name(INK)}" d="{dark}"/></svg>\n'
    )


def _find_modules(chart: QrCode) -> tuple[bytes, ...]:
    import segno

    try:
        code = segno.make_qr(
            chart.text, error="m", boost_error=False, encoding="utf-8" if not chart.text.isascii() else None
        )
    except segno.DataOverflowError:
        raise ValueError(f"drawing {chart.title!r} has {len(chart.text)} letters; a code holds about 2,300") from None
    return tuple(bytes(row) for row in code.matrix)


def _draw_row(row: bytes, y: int) -> str:
    """Return the dark modules of a row as boxes, one for each run.

    >>> _draw_row(bytes([1, 1, 0, 1]), 4)
    'M4 4h2v1h-2zM7 4h1v1h-1z'
    """
    boxes, x = [], 0
    while x < len(row):
        length = 0
        while x + length < len(row) and row[x + length]:
            length += 1
        if length:
            boxes.append(f"M{x + QUIET} {y}h{length}v1h-{length}z")
        x += length or 1
    return "".join(boxes)


def _name(colour: tuple[str, str]) -> str:
    return f"var(--{colour[0]}, {colour[1]})"
