"""Draws the demo's invented evidence from its records: points, readings, meshes, pictures and reports.

Real work measures first and records after. A demonstration has it the other way round: the record says what was read,
and this module makes files that a fit of the points gives back. Same record, same files. Pure: it takes records and
returns bytes; nothing here touches a disk.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from pipeline.model.part import Feature, FirstArticle, FitCheck, Measurement, Part, Quote, Test
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import FeatureKind

Floats = npt.NDArray[np.float64]
Rows = list[tuple[str, Floats]]

CHANGED_AFTER_LISTING = ("TW-215", "evidence/o1-points.csv")
"""The one file that the demo changes after its hash was listed, so that the site can show what that looks like."""

_ROUND_WORDS = ("diameter", "bore", "hole", "outside", "inside", "stem", "neck")
_CENTRE_WORDS = ("screw", "hole", "bolt", "pin", "stud", "boss", "ear")
_NOISE_MM = 0.012


def build_evidence(part: Part, build_picture: bool = True) -> dict[str, bytes]:
    """Return path (relative to the part's folder) -> content for every file of the record but the drawing.

    part : the record.
    build_picture : also draw the photographs (PNG), which take longest.
    """
    files: dict[str, bytes] = {}
    for path, content in _build_texts(part):
        files[path] = content.encode("utf-8")
    for index, (key, revision) in enumerate(part.revisions.items()):
        if revision.file is not None:
            steps_to_last = len(part.revisions) - 1 - index
            files[revision.file] = build_mesh(part.part, f"{part.part} revision {key}, invented", 0.2 * steps_to_last)
    if build_picture:
        files.update(_build_pictures(part))
    return files


def _build_texts(part: Part) -> Iterator[tuple[str, str]]:
    for key, measurement in part.measurements.items():
        if measurement.file is not None:
            yield measurement.file, build_points(part, key)
    for key, quote in part.quotes.items():
        if quote.file is not None:
            yield quote.file, build_quote_letter(part, key, quote)
    for key, test in part.tests.items():
        if test.file is not None:
            yield test.file, build_report(part, key, test)
    for key, article in part.first_articles.items():
        if article.settings is not None:
            yield article.settings, build_settings(part, key, article)
        if article.file is not None:
            yield article.file, build_article_report(part, key, article)
    for key, tool in part.tools.items():
        if tool.file is not None:
            yield tool.file, build_shrinkage_table(part, key)
    if part.safety_review is not None and part.safety_review.file is not None:
        yield part.safety_review.file, build_safety_note(part)


# ---- points and readings -------------------------------------------------------------------------------------------


def build_points(part: Part, key: str) -> str:
    """Return the text of one measurement's file: points where an arm was used, else single readings.

    The unit stands in a comment; each feature has its own group, or two (`pitch.1`, `pitch.2`) where the reading is a
    distance or an angle between them. A least-squares fit of the groups gives the recorded value to 0.001 mm.
    """
    measurement = part.measurements[key]
    head = [
        "# invented data of a demonstration; nothing real was measured",
        f"# part: {part.part}  measurement: {key}  original: {measurement.of}  day: {measurement.on}",
        f"# instrument: {measurement.with_}  by: {measurement.by}  temperature: {measurement.at.celsius:.1f} C",
    ]
    if measurement.with_.startswith("arm"):
        return "\n".join(head + _list_point_lines(part, key, measurement)) + "\n"
    return "\n".join(head + _list_reading_lines(part, key, measurement)) + "\n"


def _list_point_lines(part: Part, key: str, measurement: Measurement) -> list[str]:
    units = {part.features[name].unit for name in measurement.gives}
    unit = "in" if "in" in units else "mm"
    scale = LENGTH_UNITS[unit]
    lines, rows = [f"# unit: {unit}"], []
    for name, reading in measurement.gives.items():
        feature = part.features[name]
        value = reading.value * LENGTH_UNITS[feature.unit] if feature.unit in LENGTH_UNITS else reading.value
        how, groups = build_groups(name, feature, value, _seed(part.part, key, name))
        lines.append(f"# {name}: {how}")
        rows += [(group, xyz / scale) for group, xyz in groups]
    digits = 6 if unit == "in" else 4
    lines.append("group,x,y,z")
    for group, xyz in rows:
        lines += [f"{group}," + ",".join(f"{v:.{digits}f}" for v in point) for point in xyz.tolist()]
    return lines


def _list_reading_lines(part: Part, key: str, measurement: Measurement) -> list[str]:
    lines = ["# value of each feature: mean of its readings", "feature,n,reading,unit"]
    for name, reading in measurement.gives.items():
        unit = reading.unit or part.features[name].unit
        values = reading.readings or _spread_readings(reading.value, reading.u, _seed(part.part, key, name))
        lines += [f"{name},{n},{value:.6g},{unit}" for n, value in enumerate(values, 1)]
    return lines


def _spread_readings(mean: float, u: float | None, seed: int) -> tuple[float, ...]:
    """Six readings with exactly this mean, spread by a third of the expanded uncertainty."""
    noise = np.random.default_rng(seed).normal(size=6)
    noise -= noise.mean()
    spread = (u if u is not None else 0.01 * abs(mean)) / 3
    return tuple((mean + spread * noise / max(1e-9, noise.std())).tolist())


def build_groups(name: str, feature: Feature, value_mm: float, seed: int) -> tuple[str, Rows]:
    """Return how a reading follows from its points, and the points (mm) of one feature by group."""
    rng = np.random.default_rng(seed)
    what = feature.what.lower()
    if feature.kind is FeatureKind.SIZE and any(word in what for word in _ROUND_WORDS):
        return "diameter of the least-squares circle", [(name, _build_circle(rng, value_mm, (0.0, 0.0)))]
    if feature.kind is FeatureKind.DISTANCE and any(word in what for word in _CENTRE_WORDS):
        first = _build_circle(rng, 5.0, (0.0, 0.0))
        second = _build_circle(rng, 5.0, (value_mm, 0.0))
        return "distance of the centres of two least-squares circles", [(f"{name}.1", first), (f"{name}.2", second)]
    if feature.kind in (FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS):
        groups = [(f"{name}.1", _build_face(rng, 0.0)), (f"{name}.2", _build_face(rng, value_mm))]
        return "distance of the means of two faces along x", groups
    return _FORMS.get(feature.kind, _build_deviations)(name, value_mm, rng)


def _build_circle(rng: np.random.Generator, diameter: float, centre: tuple[float, float]) -> Floats:
    """24 points evenly round a circle whose least-squares fit has exactly this diameter and centre."""
    angle = np.arange(24) * (2 * np.pi / 24)
    noise = rng.normal(0.0, _NOISE_MM, 24)
    for wave in (np.ones(24), np.cos(angle), np.sin(angle)):  # what a fit would take for size and place
        noise -= wave * (noise @ wave) / (wave @ wave)
    radius = diameter / 2 + noise
    xyz = np.column_stack(
        [centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), rng.normal(0, 0.3, 24)]
    )
    return np.asarray(xyz, dtype=np.float64)


def _build_face(rng: np.random.Generator, place: float) -> Floats:
    noise = rng.normal(0.0, _NOISE_MM, 9)
    y, z = np.meshgrid([-6.0, 0.0, 6.0], [-4.0, 0.0, 4.0])
    return np.column_stack([place + noise - noise.mean(), y.ravel(), z.ravel()])


def _build_runout(name: str, value: float, rng: np.random.Generator) -> tuple[str, Rows]:
    angle = np.arange(36) * (2 * np.pi / 36)
    wave = np.cos(angle - rng.uniform(0, 6)) + 0.25 * np.cos(3 * angle + 1) + rng.normal(0, 0.05, 36)
    radius = 30.0 + value * (wave - wave.min()) / (wave.max() - wave.min())
    xyz = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(36)])
    return "trace about the datum axis z through 0,0: greatest less smallest radius", [(name, xyz)]


def _build_flatness(name: str, value: float, rng: np.random.Generator) -> tuple[str, Rows]:
    x, y = (grid.ravel() for grid in np.meshgrid(np.linspace(-20, 20, 5), np.linspace(-15, 15, 4)))
    base = np.column_stack([x, y, np.ones_like(x)])
    noise = rng.normal(size=len(x))
    noise -= base @ np.linalg.lstsq(base, noise, rcond=None)[0]
    z = noise * value / (noise.max() - noise.min())
    return "range of the residuals of the least-squares plane", [(name, np.column_stack([x, y, z]))]


def _build_angle(name: str, value: float, rng: np.random.Generator) -> tuple[str, Rows]:
    groups: Rows = []
    for number, turn in ((1, 0.0), (2, math.radians(value))):
        along, off = np.linspace(2, 20, 9), rng.normal(0.0, _NOISE_MM, 9)
        base = np.column_stack([along, np.ones(9)])
        off -= base @ np.linalg.lstsq(base, off, rcond=None)[0]
        x, y = along * math.cos(turn) - off * math.sin(turn), along * math.sin(turn) + off * math.cos(turn)
        groups.append((f"{name}.{number}", np.column_stack([x, y, np.zeros(9)])))
    return "angle in degrees between two least-squares lines", groups


def _build_position(name: str, value: float, rng: np.random.Generator) -> tuple[str, Rows]:
    turn = rng.uniform(0, 2 * math.pi)
    centre = (value / 2 * math.cos(turn), value / 2 * math.sin(turn))
    return "twice the distance of the circle's centre from 0,0", [(name, _build_circle(rng, 4.0, centre))]


def _build_deviations(name: str, value: float, rng: np.random.Generator) -> tuple[str, Rows]:
    x = np.linspace(-18, 18, 13)
    wave = np.abs(np.cos(x / 7 + rng.uniform(0, 1)))
    return "greatest deviation from the nominal line, along z", [
        (name, np.column_stack([x, np.zeros(13), value * wave / wave.max()]))
    ]


_FORMS: dict[FeatureKind, Callable[[str, float, np.random.Generator], tuple[str, Rows]]] = {
    FeatureKind.RUNOUT: _build_runout,
    FeatureKind.FLATNESS: _build_flatness,
    FeatureKind.ANGLE: _build_angle,
    FeatureKind.POSITION: _build_position,
}


def _seed(*words: str) -> int:
    return zlib.crc32("/".join(words).encode())


# ---- papers --------------------------------------------------------------------------------------------------------


def build_report(part: Part, key: str, test: Test) -> str:
    """Return a test report: Markdown, or a table where the file is a CSV."""
    if test.file is not None and test.file.endswith(".csv"):
        lines = [f"# invented data; {test.kind} {key} of {test.of}, {test.on}", "feature,n,value,unit"]
        for name in test.covers:
            reading = test.gives.get(name)
            values = () if reading is None else _spread_readings(reading.value, reading.u, _seed(part.part, key, name))
            lines += [f"{name},{n},{v:.5g},{part.features[name].unit}" for n, v in enumerate(values, 1)]
        return "\n".join(lines) + "\n"
    lines = [
        f"# Report: {test.kind.replace('-', ' ')}",
        "",
        "Invented for a demonstration; no laboratory made this.",
        "",
        f"- sample: {part.part} {part.name}, {test.of}",
        f"- day: {test.on}, by {test.by}" + (f" at {test.at}" if test.at is not None else ""),
        f"- covers: {', '.join(part.features[name].what for name in test.covers)}",
        f"- result: {test.result.value}",
        "",
        *_list_result_table(part, key, test),
        "This report speaks of the samples that were tested. It does not say that the part is safe.",
    ]
    return "\n".join(lines) + "\n"


def _list_result_table(part: Part, key: str, test: Test) -> list[str]:
    if not test.gives:
        return ["No figure was asked for; every sample met the plan.", ""]
    lines = ["| feature | reading | unit |", "| --- | ---: | --- |"]
    for name, reading in test.gives.items():
        values = reading.readings or _spread_readings(reading.value, reading.u, _seed(part.part, key, name))
        lines += [f"| {part.features[name].what} | {value:.4g} | {part.features[name].unit} |" for value in values]
        u = "" if reading.u is None else f" ± {reading.u:g} (95 %)"
        lines.append(f"| mean | {reading.value:g}{u} | {part.features[name].unit} |")
    return [*lines, ""]


def build_quote_letter(part: Part, key: str, quote: Quote) -> str:
    """Return a supplier's letter that says what the record says."""
    lines = [f"# Offer {key}", "", "Invented for a demonstration.", ""]
    lines += [f"{part.part} {part.name}, revision {quote.of}. Day {quote.on}, held until {quote.valid_to or 'not said'}."]
    lines += ["", "| tool | price |", "| --- | ---: |"]
    lines += [f"| {name} | {price:,.0f} {quote.money} |" for name, price in quote.tools.items()]
    lines += ["", "| order of | price of a piece |", "| ---: | ---: |"]
    lines += [f"| {quantity} | {price:.2f} {quote.money} |" for quantity, price in quote.piece.items()]
    weeks = "not said" if quote.weeks is None else f"{quote.weeks:g} weeks"
    return "\n".join([*lines, "", f"Lead time: {weeks}. Tools belong to: {quote.owns_tool.value}."]) + "\n"


_SETTINGS = {
    "die-cast-plated": (("metal temperature", 422, "C"), ("die temperature", 185, "C"), ("plunger speed", 2.4, "m/s")),
    "moulded": (("melt temperature", 238, "C"), ("mould temperature", 62, "C"), ("holding pressure", 48, "MPa")),
    "cut-and-sew": (("layers in the cut", 6, "none"), ("stitches", 3.2, "per cm"), ("thread tension", 1.1, "N")),
    "turned-plated": (("spindle speed", 2200, "1/min"), ("feed", 0.06, "mm"), ("plating time", 26, "min")),
}


def build_settings(part: Part, key: str, article: FirstArticle) -> str:
    """Return the process settings with which the pieces were made, one row a piece and setting."""
    family = "moulded" if part.family.startswith("moulded") else part.family
    rng = np.random.default_rng(_seed(part.part, key, "settings"))
    lines = [f"# invented data; {part.part} {key}, revision {article.of}, {article.on}", "piece,setting,value,unit"]
    for piece in range(1, article.pieces + 1):
        for name, value, unit in _SETTINGS[family]:
            lines.append(f"{piece},{name},{value * (1 + rng.normal(0, 0.004)):.4g},{unit}")
    return "\n".join(lines) + "\n"


def build_article_report(part: Part, key: str, article: FirstArticle) -> str:
    """Return the first-article report: each piece against the limits."""
    lines = [f"# First article {key}", "", "Invented for a demonstration.", ""]
    lines += [f"{article.pieces} pieces of revision {article.of}, {'finished' if article.finished else 'bare'}."]
    lines += ["", "| feature | piece | reading | lowest | highest | inside |", "| --- | ---: | ---: | ---: | ---: | --- |"]
    for name, values in article.gives.items():
        feature = part.features[name]
        limits = feature.limits
        for number, value in enumerate(values, 1):
            inside = limits is None or limits.is_inside(value - feature.nominal)
            low = "" if limits is None or limits.lower is None else f"{feature.nominal + limits.lower:g}"
            high = "" if limits is None or limits.upper is None else f"{feature.nominal + limits.upper:g}"
            lines.append(f"| {feature.what} | {number} | {value:g} | {low} | {high} | {'yes' if inside else 'NO'} |")
    return "\n".join([*lines, "", f"Result: {article.result.value}. By {article.by}, seen by {article.seen_by}."]) + "\n"


def build_shrinkage_table(part: Part, key: str) -> str:
    """Return cavity and moulding sizes of ten shots whose mean is the measured shrinkage."""
    tool = part.tools[key]
    if tool.shrinkage is None or tool.shrinkage.measured is None:
        raise ValueError(f"{part.part} {key} has no measured shrinkage to draw a table from")
    noise = np.random.default_rng(_seed(part.part, key, "shrinkage")).normal(0, 0.00015, 10)
    shares = tool.shrinkage.measured + noise - noise.mean()
    cavity = 46.231
    lines = ["# invented data; linear shrinkage = 1 - moulding / cavity", "shot,cavity_mm,moulding_mm,shrinkage"]
    lines += [f"{n},{cavity},{cavity * (1 - s):.4f},{s:.5f}" for n, s in enumerate(shares.tolist(), 1)]
    return "\n".join(lines) + "\n"


def build_safety_note(part: Part) -> str:
    """Return the note of the safety review: what is to be checked, by whom."""
    review = part.safety_review
    if review is None:
        raise ValueError(f"{part.part} has no safety review")
    listed = "\n".join(f"- {key}" for key in review.regulations)
    return (
        f"# Safety review of {part.part} {part.name}\n\nInvented for a demonstration.\n\n{review.on}, {review.by}.\n\n"
        f"To be checked, in the edition that applies where the part is sold and used:\n\n{listed}\n\n{review.plan}\n\n"
        "This note does not say that the part is safe. Local codes and licensed practice decide.\n"
    )


# ---- shapes: meshes and photographs --------------------------------------------------------------------------------

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
    body = b"".join(struct.pack("<12fH", *_normal(t), *t[0], *t[1], *t[2], 0) for t in triangles)
    return label.encode("ascii", "replace")[:80].ljust(80) + struct.pack("<I", len(triangles)) + body


def _build_loops(number: str, larger_by: float) -> list[Floats]:
    """Rings of points that, joined one to the next and the last to the first, close the shape."""
    angle = np.arange(_SIDES) * (2 * np.pi / _SIDES)
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


def _build_pictures(part: Part) -> Iterator[tuple[str, bytes]]:
    for _, prototype in part.prototypes.items():
        if prototype.file is not None:
            yield prototype.file, build_photograph(part.part, prototype.coated)
    for key, check in part.fit_checks.items():
        if check.file is not None:
            yield check.file, build_photograph(part.part, True, (key, check))


def build_photograph(number: str, bright: bool, check: tuple[str, FitCheck] | None = None) -> bytes:
    """Return a drawn 'photograph' (PNG, 360 x 240): the part in low light, on the bench or against the body."""
    y, x = np.mgrid[0:240, 0:360].astype(np.float64)
    depth, solid = _build_relief(number, x - 180, y - 120)
    slope_y, slope_x = np.gradient(depth)
    light = (0.55 * -slope_x + 0.65 * -slope_y + 0.9) / np.sqrt(1 + slope_x**2 + slope_y**2)
    tone = np.clip(0.30 + 0.42 * light, 0, 1) if bright else np.clip(0.36 + 0.26 * light, 0, 0.8)
    bench = 0.34 + 0.10 * (y / 240) - 0.10 * np.hypot((x - 180) / 300, (y - 120) / 220)
    if check is not None:
        bench = _build_body_panel(x, y, _seed(number, check[0]))
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
