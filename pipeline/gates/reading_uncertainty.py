"""Uncertainty of one recorded reading, in plain Python, so that judging a gate loads no numerical library.

The parts named here are the parts of the budget that a page shows; `pipeline.portfolio.measurements` hands them to the
measuring room for that, and both give the same figure (JCGM 100:2008).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.gates.judgement import Bench
from pipeline.model.catalogue import Catalogues, Instrument
from pipeline.model.part import Feature, Measurement, Part, Reading
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import FeatureKind

CONFIDENCE = math.erf(math.sqrt(2.0))
"""95.45 %: k = 2 for many degrees of freedom, the column 95.45 of JCGM 100:2008, table G.2, for few."""


class PartShape(StrEnum):
    """What a stated value means."""

    EXPANDED = "expanded, k = 2"
    RECTANGULAR = "rectangular, half width"
    STANDARD = "standard"


@dataclass(frozen=True, slots=True)
class UncertaintyPart:
    """One thing that makes a reading uncertain; `value` in mm for lengths, else in the unit of the feature."""

    name: str
    value: float
    shape: PartShape
    dof: float
    basis: str

    @property
    def standard(self) -> float:
        """Standard uncertainty."""
        return self.value / {PartShape.EXPANDED: 2.0, PartShape.RECTANGULAR: math.sqrt(3.0)}.get(self.shape, 1.0)


@dataclass(frozen=True, slots=True)
class Warmth:
    """Temperature of a part while it was read, and how its material grows (1e-6 per K: least, likely, greatest)."""

    celsius: float
    within: float
    least: float
    likely: float
    greatest: float
    source: str

    @property
    def doubt(self) -> float:
        """Half width of the coefficient, 1e-6 per K."""
        return (self.greatest - self.least) / 2


def find_warmth(bench: Bench, measurement: Measurement) -> Warmth | None:
    """Return how warm a part was and how it grows; None where its material's expansion is not recorded."""
    return build_warmth(bench.part, bench.catalogues, measurement.at.celsius)


def build_warmth(part: Part, catalogues: Catalogues, celsius: float) -> Warmth | None:
    """Return how a part grows at a temperature: by its own material, else its family's; None where neither is known."""
    family = catalogues.families.families.get(part.family)
    found = part.expansion or (None if family is None else family.expansion)
    if found is None:
        return None
    grows, within = found.per_k, catalogues.shop.temperature_within
    return Warmth(celsius, within, grows.low, grows.likely, grows.high, found.source)


def grows_with_warmth(feature: Feature) -> bool:
    """True for lengths that follow the part's temperature: sizes, distances, thicknesses."""
    return feature.unit in LENGTH_UNITS and feature.kind in _SIZED


_SIZED = frozenset({FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS})


def find_factor(feature: Feature, reading: Reading) -> float:
    """Return what one unit of the reading is in mm; 1 where it is no length."""
    return LENGTH_UNITS.get(reading.unit or feature.unit, 1.0)


def build_uncertainty_parts(
    reading: Reading,
    feature: Feature,
    instrument: Instrument | None,
    warmth: Warmth | None = None,
    *,
    has_scatter: bool = False,
) -> tuple[tuple[UncertaintyPart, ...], tuple[str, ...]]:
    """Return the parts of a reading's budget, and a sentence for each thing that is left out of it.

    A stated U stands for everything. Without it the instrument's error limit counts (for lengths), the scatter of two
    or more repeated readings, else the repeatability that a gauge study of the instrument found on features of this
    kind, the reproducibility that it found, and, where the material's expansion is known, the temperature of the part.
    No parts at all means that the uncertainty is not known.

    has_scatter : the scatter of the value is known and counted elsewhere; a study's repeatability is left out then.

    Source: JCGM 100:2008, 4.2 (type A; 4.2.4: known from an earlier study), 4.3.7 (error limit, rectangular), H.1.3 to
    H.1.7 (temperature, first and second order); ISO 10360-12 (limit that grows with length).
    """
    factor = find_factor(feature, reading)
    if reading.u is not None:
        basis = "stated with the reading; repeatability and temperature are part of it"
        return (UncertaintyPart("stated U", reading.u * factor, PartShape.EXPANDED, math.inf, basis),), ()
    parts, left_out = [], []
    if instrument is None or instrument.mpe_mm is None or feature.unit not in LENGTH_UNITS:
        left_out.append("the instrument's error limit for this unit is not recorded")
    else:
        size = abs(feature.nominal) * LENGTH_UNITS[feature.unit]
        limit = instrument.mpe_mm + instrument.mpe_per_m * size / 1000
        basis = f"type B, error limit {instrument.mpe_mm:g} mm + {instrument.mpe_per_m:g} mm/m"
        parts.append(UncertaintyPart("instrument, error limit", limit, PartShape.RECTANGULAR, math.inf, basis))
    count = len(reading.readings)
    studied = _build_studied_parts(feature, instrument)
    if count >= 2:
        spread = statistics.stdev(reading.readings) * factor / math.sqrt(count)
        parts.append(
            UncertaintyPart("repeatability", spread, PartShape.STANDARD, count - 1, f"type A, {count} readings")
        )
    elif not studied:
        left_out.append("one reading: its repeatability is not known")
    elif not has_scatter:
        parts.append(studied[0])
    parts += studied[1:]
    if warmth is not None and grows_with_warmth(feature) and any(p.shape is not PartShape.STANDARD for p in parts):
        size = abs(feature.nominal) * LENGTH_UNITS[feature.unit] or abs(reading.value) * factor
        parts += _build_warmth_parts(size, warmth)
    return tuple(parts), tuple(left_out)


def _build_studied_parts(feature: Feature, instrument: Instrument | None) -> list[UncertaintyPart]:
    """Return what a gauge study found: the repeatability of one reading, then the reproducibility where there is any.

    None of it where the instrument was not studied on features of this kind, or in a unit that does not go with it.
    """
    found = None if instrument is None else instrument.studies.get(feature.kind)
    is_length = feature.unit in LENGTH_UNITS
    if found is None or (found.unit not in LENGTH_UNITS if is_length else found.unit != feature.unit):
        return []
    factor = LENGTH_UNITS[found.unit] if is_length else 1.0
    basis = f"type A, gauge study {found.of}, {found.dof} degrees of freedom"
    spread = found.repeatability * factor
    parts = [UncertaintyPart("repeatability, gauge study", spread, PartShape.STANDARD, found.dof, basis)]
    if found.reproducibility > 0:
        people = found.people - 1
        basis = f"type A, gauge study {found.of}, {found.people} people, {people} degrees of freedom"
        between = found.reproducibility * factor
        parts.append(UncertaintyPart("reproducibility, gauge study", between, PartShape.STANDARD, people, basis))
    return parts


def _build_warmth_parts(size: float, warmth: Warmth) -> list[UncertaintyPart]:
    """Return what temperature adds (mm): of the part, of its coefficient, and of the product of both."""
    flat = PartShape.RECTANGULAR
    known = f"type B, ±{warmth.within:g} °C at {warmth.likely:g}e-6/K"
    doubt = f"type B, {warmth.least:g} to {warmth.greatest:g}e-6/K: {warmth.source}"
    first = size * warmth.likely * 1e-6 * warmth.within
    second = size * abs(warmth.celsius - 20) * warmth.doubt * 1e-6
    both = size * warmth.within * warmth.doubt * 1e-6 / 3
    return [
        UncertaintyPart("temperature of the part", first, flat, math.inf, known),
        UncertaintyPart("coefficient of expansion", second, flat, math.inf, doubt),
        UncertaintyPart("both together (second order)", both, PartShape.STANDARD, math.inf, "product of the two"),
    ]


def compute_expanded(parts: Sequence[UncertaintyPart]) -> float | None:
    """Return the expanded uncertainty at `CONFIDENCE`, None where it is not known.

    Scatter alone, without an error limit or a stated U, is no uncertainty: it says nothing of what all readings share.

    >>> part = UncertaintyPart("instrument, error limit", 0.03, PartShape.RECTANGULAR, math.inf, "")
    >>> round(compute_expanded([part]), 6)
    0.034641
    """
    combined = math.hypot(*(part.standard for part in parts)) if parts else 0.0
    if combined <= 0 or all(part.shape is PartShape.STANDARD for part in parts):
        return None
    below = sum((part.standard / combined) ** 4 / part.dof for part in parts)
    dof = math.inf if below == 0 or 1 / below > 1e6 else max(1, math.floor(round(1 / below, 2)))
    return compute_coverage_factor(dof) * combined


def compute_coverage_factor(dof: float) -> float:
    """Return the two-sided Student factor at `CONFIDENCE` for a whole number of degrees of freedom.

    Source: M. Abramowitz, I. Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4 (closed forms).

    >>> round(compute_coverage_factor(5), 2), round(compute_coverage_factor(math.inf), 6)
    (2.65, 2.0)
    """
    if math.isinf(dof):
        return 2.0
    low, high = 0.0, math.pi / 2
    while high - low > 1e-15:  # fifty halvings of a quarter turn
        middle = (low + high) / 2
        low, high = (middle, high) if _compute_share_inside(middle, int(dof)) < CONFIDENCE else (low, middle)
    return math.tan((low + high) / 2) * math.sqrt(dof)


def _compute_share_inside(angle: float, dof: int) -> float:
    """Chance that |t| is below tan(angle) * sqrt(dof)."""
    cosine, sine = math.cos(angle), math.sin(angle)
    term, total = (1.0, 0.0) if dof % 2 == 0 else (cosine, 0.0)
    for step in range(dof % 2 + 1, dof, 2) if dof > 1 else ():
        total += term
        term *= step / (step + 1) * cosine * cosine
    if dof % 2 == 0:
        return sine * total
    return 2 / math.pi * (angle + (sine * total if dof > 1 else 0.0))
