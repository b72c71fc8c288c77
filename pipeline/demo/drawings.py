"""Simple line drawings of synthetic parts, in the manner of a workshop drawing: outline, centre lines, one dimension."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable
from html import escape

_HEAD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 400" role="img" aria-label="{title}">\n<title>{title}</title>\n'
    '<g fill="none" stroke="currentColor" stroke-linejoin="round" stroke-linecap="round" '
    "font-family=\"system-ui, 'DejaVu Sans', sans-serif\">\n"
)


def draw_part(number: str, name: str, archetype: str, size: str, seed: int) -> bytes:
    """Return an SVG drawing of an invented part: ring, plate, lever, bent wire, coil or panel."""
    rng = random.Random(seed)
    title = escape(f"Drawing of {number} {name}", quote=True)
    body = _ARCHETYPES[archetype](rng)
    note = f'<text x="320" y="372" font-size="14" text-anchor="middle" fill="currentColor" stroke="none">{escape(size)}</text>'
    return (_HEAD.format(title=title) + "\n".join([*body, *_dimension(), note]) + "\n</g>\n</svg>\n").encode("utf-8")


def build_box(label: str, length: float, width: float, height: float) -> bytes:
    """Return a closed box as ASCII STL, in millimetres: the model of a synthetic part, as rough as the part is invented."""
    x, y, z = length, width, height
    corners = [
        (0.0, 0.0, 0.0),
        (x, 0.0, 0.0),
        (x, y, 0.0),
        (0.0, y, 0.0),
        (0.0, 0.0, z),
        (x, 0.0, z),
        (x, y, z),
        (0.0, y, z),
    ]
    faces = (
        ("0 0 -1", (0, 2, 1), (0, 3, 2)), ("0 0 1", (4, 5, 6), (4, 6, 7)), ("0 -1 0", (0, 1, 5), (0, 5, 4)),
        ("1 0 0", (1, 2, 6), (1, 6, 5)), ("0 1 0", (2, 3, 7), (2, 7, 6)), ("-1 0 0", (3, 0, 4), (3, 4, 7)),
    )  # fmt: skip
    lines = [f"solid {label}"]
    for normal, *triangles in faces:
        for triangle in triangles:
            lines += [f"facet normal {normal}", "outer loop"]
            lines += ["vertex " + " ".join(f"{v:.3f}" for v in corners[int(i)]) for i in triangle]
            lines += ["endloop", "endfacet"]
    return ("\n".join([*lines, f"endsolid {label}"]) + "\n").encode("ascii", "replace")


def _path(points: Iterable[tuple[float, float]], width: float = 1.8, closed: bool = True) -> str:
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{steps}{"Z" if closed else ""}" stroke-width="{width}"/>'


def _circle(x: float, y: float, r: float, width: float = 1.8) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" stroke-width="{width}"/>'


def _centre(x: float, y: float, reach: float) -> list[str]:
    dash = 'stroke-width="0.8" stroke-dasharray="14 3 3 3" opacity="0.75"'
    return [
        f'<path d="M{x - reach:.1f} {y:.1f}H{x + reach:.1f}" {dash}/>',
        f'<path d="M{x:.1f} {y - reach:.1f}V{y + reach:.1f}" {dash}/>',
    ]


def _dimension() -> list[str]:
    return [
        '<path d="M140 352H500" stroke-width="0.8"/>',
        '<path d="M140 352l9 -2.6v5.2zM500 352l-9 -2.6v5.2z" fill="currentColor" stroke="none"/>',
        '<path d="M140 330V358M500 330V358" stroke-width="0.8"/>',
    ]


def _ring(rng: random.Random) -> list[str]:
    outer, inner = rng.uniform(118, 140), rng.uniform(70, 95)
    holes = rng.choice((2, 3, 4))
    turn = rng.uniform(0, math.pi)
    middle = (outer + inner) / 2
    drawn = [
        _circle(320, 185, outer),
        _circle(320, 185, inner),
        _circle(320, 185, inner + 8, 1.1),
        *_centre(320, 185, 158),
    ]
    for index in range(holes):
        angle = turn + 2 * math.pi * index / holes
        drawn.append(_circle(320 + middle * math.cos(angle), 185 + middle * math.sin(angle), 7, 1.4))
    return drawn


def _plate(rng: random.Random) -> list[str]:
    w, h, cut = rng.uniform(150, 180), rng.uniform(60, 110), rng.uniform(14, 40)
    x0, x1, y0, y1 = 320 - w, 320 + w, 185 - h, 185 + h
    outline = [(x0 + cut, y0), (x1 - cut, y0), (x1, y0 + cut), (x1, y1), (x0, y1), (x0, y0 + cut)]
    drawn = [_path(outline), *_centre(320, 185, 190)]
    for side in (-1, 1):
        drawn.append(_circle(320 + side * (w - 34), 185 + h * 0.4, rng.uniform(8, 13), 1.4))
    slot = rng.uniform(40, 80)
    drawn.append(f'<rect x="{320 - slot:.1f}" y="170" width="{2 * slot:.1f}" height="30" rx="15" stroke-width="1.4"/>')
    return drawn


def _lever(rng: random.Random) -> list[str]:
    boss, tip = rng.uniform(34, 46), rng.uniform(16, 24)
    lift = rng.uniform(20, 70)
    drawn = [
        _circle(180, 200, boss),
        _circle(180, 200, boss * 0.42, 1.4),
        _circle(462, 200 - lift, tip),
        *_centre(180, 200, 64),
    ]
    drawn.append(
        f'<path d="M{180 + boss * 0.5:.1f} {200 - boss * 0.86:.1f}C290 {150 - lift:.1f} 380 {190 - lift:.1f} 462 {200 - lift - tip:.1f}" '
        'stroke-width="1.8"/>'
    )
    drawn.append(
        f'<path d="M{180 + boss * 0.6:.1f} {200 + boss * 0.8:.1f}C300 {232 - lift * 0.4:.1f} 390 {236 - lift:.1f} 462 {200 - lift + tip:.1f}" '
        'stroke-width="1.8"/>'
    )
    return drawn


def _wire(rng: random.Random) -> list[str]:
    x, y = 140.0, rng.uniform(120, 240)
    points = [(x, y)]
    for _ in range(rng.choice((4, 5, 6))):
        x += rng.uniform(50, 80)
        y = 185 + rng.uniform(-90, 90)
        points.append((min(x, 500), y))
    return [_path(points, 7, False), _path([(a + 0.0, b + 26) for a, b in points], 0.8, False)]


def _coil(rng: random.Random) -> list[str]:
    turns, height = rng.choice((7, 9, 11)), rng.uniform(55, 85)
    step = 300 / turns
    points = []
    for index in range(turns):
        points += [(170 + index * step, 185 + height), (170 + (index + 0.5) * step, 185 - height)]
    ends = [(140.0, 185 + height), *points, (500.0, 185 + height)]
    return [
        _path(ends, 5, False),
        '<path d="M130 185H510" stroke-width="0.8" stroke-dasharray="14 3 3 3" opacity="0.75"/>',
    ]


def _panel(rng: random.Random) -> list[str]:
    w, h, r = 180.0, rng.uniform(95, 130), rng.uniform(22, 50)
    drawn = [
        f'<rect x="{320 - w:.1f}" y="{185 - h:.1f}" width="{2 * w:.1f}" height="{2 * h:.1f}" rx="{r:.1f}" stroke-width="1.8"/>'
    ]
    inner = f'x="{328 - w:.1f}" y="{193 - h:.1f}" width="{2 * w - 16:.1f}" height="{2 * h - 16:.1f}" rx="{r - 6:.1f}"'
    drawn.append(f'<rect {inner} stroke-width="1" stroke-dasharray="5 4"/>')
    seams = rng.choice((2, 3, 4, 5))
    for index in range(1, seams):
        x = 320 - w + 2 * w * index / seams
        drawn.append(f'<path d="M{x:.1f} {185 - h:.1f}V{185 + h:.1f}" stroke-width="1.1"/>')
    return drawn


_ARCHETYPES: dict[str, Callable[[random.Random], list[str]]] = {
    "ring": _ring,
    "plate": _plate,
    "lever": _lever,
    "wire": _wire,
    "coil": _coil,
    "panel": _panel,
}
