"""What several originals say of a nominal: wear, condition, coatings, and the round size that a draughtsman wrote."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.measuring.drawing_guess import Candidate
from pipeline.measuring.nominal import (
    Coating,
    LeftOut,
    LeftOutReason,
    NominalEstimate,
    NominalStatus,
    OriginalReading,
    estimate_nominal,
)
from pipeline.measuring.nominal import Condition as MeasuredCondition
from pipeline.measuring.nominal import Wear as MeasuredWear
from pipeline.model.part import Feature, Part
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import Condition, FeatureKind

if TYPE_CHECKING:
    from pipeline.portfolio.measurements import MeasuredValue

_FACES = {"shaft": 2.0, "hole": -2.0, "face": 1.0, "thread": 4.0}
"""Change of a size per thickness of a coating; a thread of 60 degrees on its pitch diameter."""
_DRAWN = frozenset({FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS})


@dataclass(frozen=True)
class NominalFinding:
    """What the originals say of one nominal.

    estimate : in mm for lengths, else in the unit of the feature; None where there is nothing to estimate from.
    sentence : in the unit of the feature. mean, bound : in the unit of the feature, None where unknown.
    left_out : originals that do not count, with why. guesses : round sizes inside the bound, simplest first.
    agrees : whether the recorded nominal lies inside the bound; None without a bound. notes : what to mind.
    """

    estimate: NominalEstimate | None
    sentence: str
    mean: float | None = None
    bound: tuple[float, float] | None = None
    left_out: tuple[LeftOut, ...] = ()
    guesses: tuple[Candidate, ...] = ()
    agrees: bool | None = None
    notes: tuple[str, ...] = ()

    @property
    def status(self) -> NominalStatus:
        """What the nominal rests on."""
        return NominalStatus.NO_ORIGINALS if self.estimate is None else self.estimate.status


def estimate_feature(
    part: Part, feature: Feature, values: Sequence[MeasuredValue], *, is_error: bool = False
) -> NominalFinding:
    """Return what the measured originals say of a feature's nominal.

    is_error : the feature is an error that is zero at best (run-out, flatness); its nominal is zero whatever the
    originals show, so they say only how well it was made.
    """
    entries, worn = _collect(part, feature, values)
    coating, notes = _find_coating(part, feature)
    allowance = math.sqrt(2) * max((one.expanded or 0.0 for one in values), default=0.0)
    factor = LENGTH_UNITS.get(feature.unit, 1.0)
    shared = min((one.budget.combined for one in values if one.budget is not None and one.is_counted), default=0.0)
    try:
        estimate = estimate_nominal(
            entries,
            wear=MeasuredWear(feature.wear.value),
            wear_allowance_mm=allowance * factor,
            coating=coating,
            shared_u_mm=shared,
        )
    except ValueError as error:
        return NominalFinding(None, f"no nominal follows: {error}", left_out=worn, notes=notes)
    if is_error and estimate.mean_mm is not None:
        return _report_error(feature, estimate, worn, notes, factor)
    return _report(feature, estimate, worn, notes, factor)


def _collect(
    part: Part, feature: Feature, values: Sequence[MeasuredValue]
) -> tuple[list[OriginalReading], tuple[LeftOut, ...]]:
    """Return one entry an original (mm for lengths); those that the record itself calls worn or unproven stay out."""
    factor = LENGTH_UNITS.get(feature.unit, 1.0)
    readings: dict[str, list[float]] = {}
    worn: dict[str, LeftOut] = {}
    for one in values:
        if one.is_counted or one.condition is Condition.REPRODUCTION:
            bare = part.measurements[one.measurement].coating_off and feature.coated
            off = _find_bare_correction(part, feature) if bare else 0.0
            readings.setdefault(one.original, []).append(one.value * factor + off)
        else:
            words = f"{one.original} ({one.measurement}): {one.left_out}."
            worn[one.original] = LeftOut(one.original, LeftOutReason.WORN, words)
    entries = []
    for original, found in readings.items():
        condition = part.originals[original].condition
        is_bare = any(part.measurements[v.measurement].coating_off for v in values if v.original == original)
        if condition is Condition.RESTORED and is_bare:
            condition = Condition.USED  # the plater's work was taken off before reading
        coating = _find_thickness(part, feature, original)
        entries.append(OriginalReading(original, MeasuredCondition(condition.value), tuple(found), coating))
    return entries, tuple(left for name, left in worn.items() if name not in readings)


def _find_faces(feature: Feature) -> float | None:
    """Return the change of a size per thickness of its coating; None where the record does not say which."""
    if feature.shape in _FACES:
        return _FACES[feature.shape]
    if feature.kind is FeatureKind.SIZE:
        return -2.0 if any(word in feature.what.lower() for word in ("bore", "hole", "inside")) else 2.0
    return None


def _find_thickness(part: Part, feature: Feature, original: str) -> float | None:
    """Return the measured thickness (mm) of the coating on one original, None where it was not measured."""
    coating = part.features.get(feature.coating or "")
    if coating is None or feature.coating is None or coating.unit not in LENGTH_UNITS:
        return None
    found = [
        m.gives[feature.coating].value * LENGTH_UNITS.get(m.gives[feature.coating].unit or coating.unit, 1.0)
        for m in part.measurements.values()
        if m.of == original and feature.coating in m.gives
    ]
    return sum(found) / len(found) if found else None


def _find_new_thickness(part: Part, feature: Feature) -> float | None:
    """Return the thickness (mm) that new parts carried: of unrestored, unworn originals, else the nominal."""
    coating = part.features.get(feature.coating or "")
    if coating is None or feature.coating is None or coating.unit not in LENGTH_UNITS:
        return None
    found = [
        m.gives[feature.coating].value * LENGTH_UNITS.get(m.gives[feature.coating].unit or coating.unit, 1.0)
        for m in part.measurements.values()
        if feature.coating in m.gives
        and not m.gives[feature.coating].worn
        and m.of in part.originals
        and part.originals[m.of].condition in (Condition.NOS, Condition.USED)
    ]
    return sum(found) / len(found) if found else coating.nominal * LENGTH_UNITS[coating.unit]


def _find_bare_correction(part: Part, feature: Feature) -> float:
    """Return what a reading with the coating off lacks of the size of a coated part (mm)."""
    new, faces = _find_new_thickness(part, feature), _find_faces(feature)
    return 0.0 if new is None or faces is None else faces * new


def _find_coating(part: Part, feature: Feature) -> tuple[Coating | None, tuple[str, ...]]:
    if not feature.coated:
        return None, ()
    faces, new = _find_faces(feature), _find_new_thickness(part, feature)
    if faces is None or new is None:
        return Coating(0.0, 0.0), ("how the coating changes this feature is not recorded: restored parts stay out",)
    return Coating(faces, new), ()


def _report(
    feature: Feature,
    estimate: NominalEstimate,
    worn: tuple[LeftOut, ...],
    notes: tuple[str, ...],
    factor: float,
) -> NominalFinding:
    mean = None if estimate.mean_mm is None else estimate.mean_mm / factor
    bound = estimate.bound_mm
    in_unit = None if bound is None else (bound[0] / factor, bound[1] / factor)
    is_drawn = feature.kind in _DRAWN and feature.unit in ("mm", "in", "cm") and feature.nominal > 0
    agrees = None if in_unit is None else in_unit[0] <= feature.nominal <= in_unit[1]
    return NominalFinding(
        estimate,
        _word(feature, estimate, mean, in_unit, worn),
        mean,
        in_unit,
        (*worn, *estimate.left_out),
        estimate.guesses if is_drawn else (),
        agrees,
        (*notes, *estimate.notes),
    )


def _report_error(
    feature: Feature, estimate: NominalEstimate, worn: tuple[LeftOut, ...], notes: tuple[str, ...], factor: float
) -> NominalFinding:
    """Return what the originals show of an error: its mean and its span, and no bound for a nominal."""
    unit, places = _find_writing(feature)
    values = [entry.value_mm / factor for entry in estimate.kept]
    mean = sum(values) / len(values)
    span = f"{min(values):.{places}f} to {max(values):.{places}f}" if len(values) > 1 else f"{mean:.{places}f}"
    many = f"{len(values)} originals" if len(values) > 1 else f"One original ({estimate.kept[0].original})"
    sentence = f"{many}: {span} {unit}".rstrip() + ", which is how well it was made; zero was meant."
    return NominalFinding(estimate, sentence, mean, None, (*worn, *estimate.left_out), (), None, notes)


def _find_writing(feature: Feature) -> tuple[str, int]:
    """Return how the unit is written, and with how many decimals."""
    unit = {"um": "µm", "none": ""}.get(feature.unit, feature.unit)
    return unit, 4 if feature.unit == "in" else 3 if feature.unit in LENGTH_UNITS and feature.unit != "um" else 1


def _word(
    feature: Feature,
    estimate: NominalEstimate,
    mean: float | None,
    bound: tuple[float, float] | None,
    worn: tuple[LeftOut, ...],
) -> str:
    """Return the estimate in the unit of the feature."""
    unit, places = _find_writing(feature)
    if mean is None:
        if estimate.status is NominalStatus.NO_ORIGINALS and worn:
            return "No reading of an original counts; see why each was left out."
        return estimate.sentence
    shown = f"{mean:.{places}f} {unit}".strip()
    if estimate.status is NominalStatus.ALL_WORN:
        side = "at least" if feature.wear.value == "shrinks" else "at most"
        return f"Only used parts count, and wear {feature.wear} this size: the original was {side} about {shown}."
    if estimate.status is NominalStatus.SINGLE_ORIGINAL:
        name = estimate.kept[0].original
        return f"One original ({name}): {shown} is its size; how pieces differ, and what was meant, is not known."
    if bound is None:
        return f"{estimate.count} originals, all {shown}: the step of the instrument hides how they differ."
    low, high = (f"{edge:.{places}f}" for edge in bound)
    return f"{estimate.count} originals: {shown}; the mean of all pieces lies between {low} and {high} at 95 %."
