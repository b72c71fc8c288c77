"""Shapes of the invented parts: closed meshes (STL) and drawn photographs (PNG)."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import numpy.typing as npt

from pipeline.demo.evidence_points import Floats, build_seed

Profile = tuple[tuple[float, float], ...]

_ROUND: dict[str, Profile] = {  # closed section of a turned shape: (radius, height) in mm
    "TW-101": ((44, 0), (56.2, 0), (56.2, 3), (53, 9), (48, 11), (44, 8)),
    "TW-112": ((3, 9), (8, 11), (15, 9), (19, 0), (17.5, 0), (13, 7), (3, 7)),
    "TW-118": ((4, 34), (20, 33), (31, 27), (35.8, 18), (35.8, 0), (34.9, 0), (34.9, 17), (30, 26), (4, 32)),
    "TW-124": ((6, 3.2), (15, 3.2), (16, 4.2), (22, 4.2), (23, 3), (23, 0), (6, 0)),
    "TW-126": ((3.25, 16), (8, 16), (13, 12), (15, 6), (13, 1), (7, 0), (3.25, 0)),
    "TW-131": ((8.1, 0), (12.1, 0), (12.1, 20), (8.1, 20)),
    "TW-147": ((13.5, 120), (14.7, 120), (16, 80), (24, 40), (44, 12), (66, 0), (64, 0), (42, 11), (22, 39)),
    "TW-171": ((2.1, 14), (9, 14), (11.1, 12), (11.1, 3), (8, 0), (2.1, 0)),
    "TW-172": ((2.1, 14), (9, 14), (11.1, 12), (11.1, 3), (8, 0), (2.1, 0)),
    "TW-184": ((2, 14.3), (9, 14.3), (12, 10), (12, 4), (5.5, 3), (5.5, 0), (7, -4), (3, -7), (2, -7)),
}
_FLAT: dict[str, tuple[float, float, float, float, float]] = {  # width, height, corner radius, hole radius, thickness
    "TW-104": (74, 44, 14, 20.6, 18),
    "TW-109": (84, 46, 22, 12.7, 6),
    "TW-121": (54, 62, 20, 2, 3),
    "TW-134": (148, 26, 12, 5, 9),
    "TW-138": (98, 62, 22, 15, 12),
    "TW-140": (118, 62, 10, 2, 12),
    "TW-152": (44, 26, 6, 3.2, 3.2),
    "TW-160": (104, 50, 24, 6, 17.5),
    "TW-161": (88.9, 41.3, 18, 2, 9),
    "TW-186": (92, 58, 8, 7.1, 3),
    "TW-199": (79.4, 38, 6, 2, 5),
    "TW-205": (34, 22, 10, 7, 1.6),
    "TW-215": (88.9, 50, 4, 2, 1),
}
_SIDES = 32


def build_mesh(number: str, label: str, larger_by: float = 0.0) -> bytes:
    """Return a closed mesh of a part as binary STL, in millimetres.

    number : part with a shape of its own in this module; label : up to 80 characters for the header;
    larger_by : added to the outer radius or width, for an earlier revision.
    """
    loops = _build_loops(number, larger_by)
    count = len(loops)
    triangles = []
    for i in range(count):
        a, b = loops[i], loops[(i + 1) % count]
        for j in range(_SIDES):
            k = (j + 1) % _SIDES
            triangles += [(a[j], a[k], b[k]), (a[j], b[k], b[j])]
    volume = sum(float(np.dot(a, np.cross(b, c))) for a, b, c in triangles) / 6
    if volume < 0:  # the section was walked the other way round: turn the faces outwards
        triangles = [(a, c, b) for a, b, c in triangles]
    body = b"".join(struct.pack("<12fH", *_normal(t), *t[0], *t[1], *t[2], 0) for t in triangles)
    return label.encode("ascii", "replace")[:80].ljust(80) + struct.pack("<I", len(triangles)) + body


def _build_loops(number: str, larger_by: float) -> list[Floats]:
    """Rings of points that, joined one to the next and the last to the first, close the shape."""
    angle = np.arange(_SIDES, dtype=np.float64) * (2 * np.pi / _SIDES)
    if number in _ROUND:
        widest = max(r for r, _ in _ROUND[number])
        profile = [(r + larger_by / 2 if r == widest else r, z) for r, z in _ROUND[number]]
        return [np.column_stack([r * np.cos(angle), r * np.sin(angle), np.full(_SIDES, z)]) for r, z in profile]
    width, height, corner, hole, thick = _FLAT[number]
    outer = _build_outline(width + larger_by, height, corner, angle)
    inner = np.column_stack([hole * np.cos(angle), hole * np.sin(angle)])
    steps = ((inner, 0.0), (outer, 0.0), (outer, thick), (inner, thick))
    return [np.column_stack([ring, np.full(_SIDES, z)]) for ring, z in steps]


def _build_outline(width: float, height: float, corner: float, angle: Floats) -> Floats:
    """Points of a rounded rectangle, one for each direction from its middle."""
    core = np.array([width / 2 - corner, height / 2 - corner])
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    low, high = np.zeros(len(angle)), np.full(len(angle), width + height)
    for _ in range(50):
        middle = (low + high) / 2
        out = np.maximum(np.abs(direction * middle[:, None]) - core, 0.0)
        inside = np.hypot(out[:, 0], out[:, 1]) <= corner
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return np.asarray(direction * low[:, None], dtype=np.float64)


def _normal(triangle: tuple[Floats, Floats, Floats]) -> tuple[float, float, float]:
    a, b, c = triangle
    n = np.cross(b - a, c - a)
    length = float(np.linalg.norm(n))
    x, y, z = (n / length if length > 0 else n).tolist()
    return x, y, z


def build_photograph(number: str, bright: bool, trial: str | None = None) -> bytes:
    """Return a drawn 'photograph' (PNG, 360 x 240): the part in low light, on the bench or against the body.

    number : part with a shape of its own; bright : plated or finished; trial : key of the fit check, for one on a body.
    """
    y, x = np.mgrid[0:240, 0:360].astype(np.float64)
    depth, solid = _build_relief(number, x - 180, y - 120)
    slope_y, slope_x = np.gradient(depth)
    light = (0.55 * -slope_x + 0.65 * -slope_y + 0.9) / np.sqrt(1 + slope_x**2 + slope_y**2)
    tone = np.clip(0.30 + 0.42 * light, 0, 1) if bright else np.clip(0.36 + 0.26 * light, 0, 0.8)
    bench = 0.34 + 0.10 * (y / 240) - 0.10 * np.hypot((x - 180) / 300, (y - 120) / 220)
    if trial is not None:
        bench = _build_body_panel(x, y, build_seed(number, trial))
    shadow = _build_relief(number, x - 188, y - 129)[1] & ~solid
    picture = np.where(solid, tone, np.where(shadow, bench * 0.55, bench))
    return _write_png(np.clip(picture * 63, 0, 63).astype(np.uint8))


def _build_body_panel(x: Floats, y: Floats, seed: int) -> Floats:
    """A painted panel with a seam, and the blade of a feeler gauge."""
    turn = np.random.default_rng(seed).uniform(-0.25, 0.25)
    across = (y - 120) + turn * (x - 180)
    panel = 0.56 + 0.10 * np.tanh(across / 60) - 0.28 * np.exp(-((across - 78) ** 2) / 6)
    blade = (np.abs(across + 40) < 9) & (x > 262)
    return np.where(blade, 0.86 - 0.1 * (np.abs(across + 40) > 7), panel)


def _build_relief(number: str, x: Floats, y: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Height of the part's face in picture elements, and where there is part."""
    if number in _ROUND:
        profile = sorted(_ROUND[number])
        scale = 96 / max(r for r, _ in profile)
        radius = np.hypot(x, y) / scale
        upper = {r: max(z for q, z in profile if q == r) for r, _ in profile}
        depth = np.interp(radius, list(upper), list(upper.values())) * scale
        return depth, (radius <= max(upper)) & (radius >= min(upper))
    width, height, corner, hole, thick = _FLAT[number]
    scale = 270 / max(width, 1.5 * height)
    u, v = np.abs(x) / scale - (width / 2 - corner), np.abs(y) / scale - (height / 2 - corner)
    edge = np.hypot(np.maximum(u, 0), np.maximum(v, 0)) + np.minimum(np.maximum(u, v), 0) - corner
    bore = hole - np.hypot(x, y) / scale
    inside = -np.maximum(edge, bore)
    depth = min(thick, 8) * scale * np.sqrt(np.clip(1 - (1 - np.clip(inside / 5, 0, 1)) ** 2, 0, 1))
    return depth, inside >= 0


def _write_png(levels: npt.NDArray[np.uint8]) -> bytes:
    """Encode levels 0-63 as a PNG with a palette of warm greys (ISO/IEC 15948)."""
    height, width = levels.shape
    palette = b"".join(bytes((int(14 + 3.75 * n), int(16 + 3.68 * n), int(22 + 3.48 * n))) for n in range(64))
    rows = b"".join(b"\0" + row.tobytes() for row in levels)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
        (b"PLTE", palette),
        (b"IDAT", zlib.compress(rows, 9)),
        (b"IEND", b""),
    )
    packed = (struct.pack(">I", len(d)) + kind + d + struct.pack(">I", zlib.crc32(kind + d)) for kind, d in chunks)
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)
