"""Points and readings of invented measurements: a least-squares fit of the points gives the recorded value back."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from pipeline.model.part import Feature, Measurement, Part
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import FeatureKind

Floats = npt.NDArray[np.float64]
Rows = list[tuple[str, Floats]]

_ROUND_WORDS = ("diameter", "bore", "hole", "outside", "inside", "stem", "neck")
_CENTRE_WORDS = ("screw", "hole", "bolt", "pin", "stud", "boss", "ear")
_NOISE_MM = 0.012


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
        how, groups = build_groups(name, feature, value, build_seed(part.part, key, name))
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
        values = reading.readings or spread_readings(reading.value, reading.u, build_seed(part.part, key, name))
        lines += [f"{name},{n},{value:.6g},{unit}" for n, value in enumerate(values, 1)]
    return lines


def spread_readings(mean: float, u: float | None, seed: int) -> tuple[float, ...]:
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


def build_seed(*words: str) -> int:
    """Return a seed that follows from the words alone."""
    return zlib.crc32("/".join(words).encode())
