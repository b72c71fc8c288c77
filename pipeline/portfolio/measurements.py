"""What was measured on a part, with its uncertainty, its verdict, and what several originals say of the nominal.

Lengths are reckoned in millimetres and given back in the unit of the feature. Nothing that a record says raises: where
a figure cannot be given, a sentence stands in its place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.gates.hardness_readings import convert_hardness_reading, is_other_scale
from pipeline.gates.judgement import Bench
from pipeline.gates.measured import is_in_calibration
from pipeline.gates.reading_uncertainty import (
    CONFIDENCE,
    PartShape,
    UncertaintyPart,
    Warmth,
    build_uncertainty_parts,
    find_warmth,
    grows_with_warmth,
)
from pipeline.lineage.freshness import PartLineage
from pipeline.measuring.capability import Capability, compute_capability
from pipeline.measuring.instruments import FeatureShape
from pipeline.measuring.uncertainty import (
    Budget,
    Component,
    Distribution,
    Temperature,
    build_budget,
    compute_temperature_correction,
)
from pipeline.measuring.uncertainty_ratio import RatioCheck, check_test_ratio
from pipeline.measuring.verdict import Verdict, decide_conformity
from pipeline.model.catalogue import NeedParameters
from pipeline.model.part import Feature, Part, Reading
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import Condition, FeatureKind
from pipeline.model.workspace import Workspace
from pipeline.portfolio.evidence_values import EvidenceValues, FileValue, read_evidence_values
from pipeline.portfolio.nominals import NominalFinding, estimate_feature
from pipeline.portfolio.portfolio import EVIDENCE_ROOT, MEASURED, PartFile
from pipeline.portfolio.reliance import note_all, take_notes
from pipeline.portfolio.study_values import StudyValues, read_study_values
from pipeline.portfolio.tool_shrinkage import ToolShrinkage, check_tools


@dataclass(frozen=True)
class MeasuredValue:
    """One feature of one original, as one measurement gave it; all values in the unit of the feature.

    value : as recorded, brought to 20 degrees where the expansion is known. budget : its rows in mm for lengths.
    expanded : expanded uncertainty, None where it is not known. verdict : None with the reason in `no_verdict`.
    left_out : why it does not count, empty where it does. notes : what the uncertainty leaves out.
    correction_mm : what was added to bring it to 20 degrees. warmth : how the part grows, None where that is not known.
    """

    measurement: str
    original: str
    condition: Condition
    value: float
    recorded: Reading
    budget: Budget | None
    expanded: float | None
    verdict: Verdict | None
    no_verdict: str
    ratio: RatioCheck | None
    left_out: str
    notes: tuple[str, ...]
    file_value: FileValue | None = None
    correction_mm: float = 0.0
    warmth: Warmth | None = None

    @property
    def is_counted(self) -> bool:
        """True when nothing speaks against it."""
        return not self.left_out


@dataclass(frozen=True)
class SampleValues:
    """A feature over the pieces of a first article, in the unit of the feature, against its limits.

    inside : pieces inside the limits, None without limits. capability : None with the reason in `no_capability`.
    """

    article: str
    values: tuple[float, ...]
    inside: int | None
    capability: Capability | None
    no_capability: str


@dataclass(frozen=True)
class FeatureMeasured:
    """All that was measured of one feature. nominal : what the originals say of it."""

    key: str
    feature: Feature
    values: tuple[MeasuredValue, ...]
    nominal: NominalFinding
    samples: tuple[SampleValues, ...] = ()

    @property
    def ratio(self) -> RatioCheck | None:
        """The best test uncertainty ratio among the readings that count."""
        found = [one.ratio for one in self.values if one.ratio is not None and one.is_counted]
        return max(found, key=lambda one: one.ratio, default=None)


@dataclass(frozen=True)
class PartMeasured:
    """All that was measured of a part. evidence, studies : what files said, empty where they were not opened."""

    features: Mapping[str, FeatureMeasured]
    tools: tuple[ToolShrinkage, ...] = ()
    evidence: EvidenceValues = field(default_factory=EvidenceValues)
    studies: StudyValues = field(default_factory=StudyValues)


def build_measurements(
    part: Part, lineage: PartLineage, workspace: Workspace, root: Path | None = None
) -> PartMeasured:
    """Return what was measured of a part.

    root : folder of the workspace; evidence files are opened and fitted where it is given. Sizes are brought to 20
    degrees (ISO 1) where the expansion of the material is recorded; where it is not, that is left undone, and said.
    """
    evidence = EvidenceValues() if root is None else read_evidence_values(root, part, workspace)
    bench = Bench(part, lineage, workspace, NeedParameters())
    features = {key: _measure_feature(bench, key, feature, evidence) for key, feature in part.features.items()}
    studies = StudyValues() if root is None else read_study_values(root, part, workspace)
    return PartMeasured(features, check_tools(part, lineage), evidence, studies)


def _measure_feature(bench: Bench, key: str, feature: Feature, evidence: EvidenceValues) -> FeatureMeasured:
    values = tuple(
        _measure_value(bench, name, key, feature, evidence.values.get((name, key)))
        for name, measurement in bench.part.measurements.items()
        if key in measurement.gives and measurement.of in bench.part.originals
    )
    samples = tuple(
        _sample(name, article.gives[key], feature)
        for name, article in bench.part.first_articles.items()
        if article.gives.get(key)
    )
    nominal = estimate_feature(bench.part, feature, values, is_error=is_one_sided(feature))
    return FeatureMeasured(key, feature, values, nominal, samples)


def _measure_value(bench: Bench, name: str, key: str, feature: Feature, found: FileValue | None) -> MeasuredValue:
    measurement = bench.part.measurements[name]
    recorded = measurement.gives[key]
    reading, scale = convert_scale(recorded, feature)
    instrument = bench.catalogues.resources.instruments.get(measurement.with_)
    warmth = find_warmth(bench, measurement)
    parts, left_out = build_uncertainty_parts(reading, feature, instrument, warmth)
    value = convert_reading(reading, feature)
    correction, told = bring_to_20(feature, value, measurement.at.celsius, warmth)
    budget = _build_budget(parts)
    factor = LENGTH_UNITS.get(feature.unit, 1.0)
    value += correction / factor
    expanded = None if budget is None else budget.expanded / factor
    verdict, no_verdict = decide_value(feature, value, budget, bench.catalogues.money.guard_factor)
    return MeasuredValue(
        measurement=name,
        original=measurement.of,
        condition=bench.part.originals[measurement.of].condition,
        value=value,
        recorded=recorded,
        budget=budget,
        expanded=expanded,
        verdict=verdict,
        no_verdict=no_verdict,
        ratio=None if expanded is None else check_ratio(feature, expanded, bench.workspace),
        left_out=find_reason_left_out(bench, name, key) or _find_scale_fault(recorded, feature),
        notes=(*left_out, *(one for one in (told, scale) if one)),
        file_value=found,
        correction_mm=correction,
        warmth=warmth,
    )


def convert_scale(reading: Reading, feature: Feature) -> tuple[Reading, str]:
    """Return a hardness in the scale of its feature, and how it was converted; any other reading as it is."""
    if not is_other_scale(reading, feature):
        return reading, ""
    try:
        found = convert_hardness_reading(reading, feature)
    except ValueError:
        return reading, ""
    return found.reading, f"{found.words}; {found.caution}"


def _find_scale_fault(reading: Reading, feature: Feature) -> str:
    """Return why a hardness in another scale does not count: the table does not hold it. Empty where it does."""
    if not is_other_scale(reading, feature):
        return ""
    try:
        convert_hardness_reading(reading, feature)
    except ValueError as error:
        return str(error)
    return ""


def convert_reading(reading: Reading, feature: Feature) -> float:
    """Return a recorded value in the unit of its feature; other units than these must agree (a rule says so)."""
    reading, _ = convert_scale(reading, feature)
    unit = reading.unit or feature.unit
    if unit == feature.unit or unit not in LENGTH_UNITS or feature.unit not in LENGTH_UNITS:
        return reading.value
    return reading.value * LENGTH_UNITS[unit] / LENGTH_UNITS[feature.unit]


def find_reason_left_out(bench: Bench, name: str, key: str) -> str:
    """Return why a reading does not count, empty where it does."""
    measurement = bench.part.measurements[name]
    original = bench.part.originals[measurement.of]
    if original.condition is Condition.REPRODUCTION:
        return "a reproduction is no original"
    if measurement.gives[key].worn:
        return "recorded as worn"
    if not is_in_calibration(bench, measurement):
        return f"{measurement.with_} was out of calibration on {measurement.on}"
    if any(other.replaces == name for other in bench.part.measurements.values()):
        return "replaced by a later measurement"
    if not bench.has_file(measurement.file):
        return "its file is missing, changed or not listed"
    return ""


def bring_to_20(feature: Feature, value: float, celsius: float, warmth: Warmth | None) -> tuple[float, str]:
    """Return the correction to 20 degrees (mm, ISO 1), and what was done or left undone; nothing to say at 20."""
    if not grows_with_warmth(feature) or abs(celsius - 20) < 0.05:
        return 0.0, ""
    size = value * LENGTH_UNITS[feature.unit]
    if warmth is None:
        steel = abs(11.5e-6 * size * (celsius - 20))
        note = f"measured at {celsius:.1f} °C and not brought to 20 °C: the material's expansion is not recorded"
        return 0.0, f"{note} (in steel it would be {steel:.4f} mm)"
    grown = Temperature(celsius, warmth.within, warmth.likely * 1e-6, warmth.doubt * 1e-6)
    correction = compute_temperature_correction(size, grown)
    return correction, f"brought to 20 °C by {warmth.likely:g}e-6 per K, {warmth.source} ({correction:+.4f} mm)"


_SHAPES = {
    PartShape.EXPANDED: Distribution.EXPANDED,
    PartShape.RECTANGULAR: Distribution.RECTANGULAR,
    PartShape.STANDARD: Distribution.STANDARD,
}


def _build_budget(parts: tuple[UncertaintyPart, ...]) -> Budget | None:
    """Return the budget of a reading; None where nothing but scatter is known of it."""
    if not parts or all(part.shape is PartShape.STANDARD for part in parts):
        return None
    return build_budget([build_component(part) for part in parts], confidence=CONFIDENCE)


def build_component(part: UncertaintyPart) -> Component:
    """Return a part of a reading's uncertainty as a row of a budget."""
    factor = 2.0 if part.shape is PartShape.EXPANDED else None
    return Component(part.name, part.value, _SHAPES[part.shape], 1.0, part.dof, factor, part.basis)


def decide_value(
    feature: Feature, value: float, budget: Budget | None, guard_share: float
) -> tuple[Verdict | None, str]:
    """Return the verdict on a value (unit of the feature), or None and the sentence that says why there is none.

    guard_share : guard band as a share of the expanded uncertainty (0.822 U is 1.645 u at k = 2).
    """
    if feature.limits is None:
        return None, "the feature has no limits: nothing can be decided"
    if budget is None:
        return None, "the measuring uncertainty is not known: no decision has a stated risk"
    lower, upper = find_edges(feature)
    u = budget.combined / LENGTH_UNITS.get(feature.unit, 1.0)
    try:
        return decide_conformity(value, u, lower, upper, guard_share * budget.coverage_factor), ""
    except ValueError as error:
        return None, str(error)


def find_edges(feature: Feature) -> tuple[float | None, float | None]:
    """Return the lower and upper limit of a feature, in its unit.

    What cannot be below zero (run-out, flatness, position, a colour difference) has no lower limit at zero: a perfect
    part would lie on it, and no measurement could prove it good.
    """
    if feature.limits is None:
        return None, None
    lower = None if feature.limits.lower is None else feature.nominal + feature.limits.lower
    upper = None if feature.limits.upper is None else feature.nominal + feature.limits.upper
    if is_one_sided(feature) and upper is not None and upper > 0:
        return None, upper
    return lower, upper


def is_one_sided(feature: Feature) -> bool:
    """True for an error that is zero at best: its nominal and its lower limit are zero."""
    lower = None if feature.limits is None else feature.limits.lower
    return feature.kind in _ERRORS and feature.nominal == 0 and lower in (0, None)


_ERRORS = frozenset(
    {FeatureKind.RUNOUT, FeatureKind.FLATNESS, FeatureKind.POSITION, FeatureKind.PROFILE, FeatureKind.COLOUR}
)


def find_shape(feature: Feature) -> FeatureShape | None:
    """Return what a feature is, as far as it decides the instrument; None where no gauge of length measures it."""
    words = feature.what.lower()
    if feature.kind is FeatureKind.SIZE:
        is_inside = feature.shape == "hole" or any(word in words for word in ("bore", "hole", "inside"))
        return FeatureShape.BORE if is_inside else FeatureShape.OUTSIDE
    if feature.kind is FeatureKind.DISTANCE:
        is_high = any(word in words for word in ("height", "depth", "step"))
        return FeatureShape.HEIGHT if is_high else FeatureShape.DISTANCE
    if feature.kind is FeatureKind.THICKNESS:
        return FeatureShape.COATING if feature.unit == "um" else FeatureShape.THICKNESS
    return _PLAIN_SHAPES.get(feature.kind)


_PLAIN_SHAPES = {
    FeatureKind.POSITION: FeatureShape.POSITION,
    FeatureKind.PROFILE: FeatureShape.PROFILE,
    FeatureKind.RUNOUT: FeatureShape.RUNOUT,
    FeatureKind.FLATNESS: FeatureShape.FLATNESS,
}


def check_ratio(feature: Feature, expanded: float, workspace: Workspace) -> RatioCheck | None:
    """Return the test uncertainty ratio of a length and what would do instead; None without limits to compare with.

    expanded : expanded uncertainty in the unit of the feature.
    """
    factor = LENGTH_UNITS.get(feature.unit)
    if factor is None or feature.limits is None:
        return None
    money = workspace.catalogues.money
    lower, upper = (
        None if edge is None else (feature.nominal + edge) * factor
        for edge in (feature.limits.lower, feature.limits.upper)
    )
    wanted = max(money.ratio_wanted, money.ratio_least)
    size = abs(feature.nominal) * factor
    try:
        return check_test_ratio(
            expanded * factor, lower, upper, feature.nominal * factor, find_shape(feature), size, wanted,
            money.ratio_least,
        )  # fmt: skip
    except ValueError:
        return None  # a tolerance of zero, or one limit on the nominal: rules of their own speak of it


def _sample(article: str, values: tuple[float, ...], feature: Feature) -> SampleValues:
    """Return the pieces of a first article against the limits of a feature."""
    if feature.limits is None:
        return SampleValues(article, values, None, None, "the feature has no limits")
    lower, upper = find_edges(feature)
    inside = sum(is_within(value, lower, upper) for value in values)
    try:
        return SampleValues(article, values, inside, compute_capability(values, lower, upper), "")
    except ValueError as error:
        return SampleValues(article, values, inside, None, str(error))


def is_within(value: float, lower: float | None, upper: float | None) -> bool:
    """True when a value lies on or inside its limits, but for the dust of adding decimal numbers."""
    slack = 1e-9 * max(1.0, abs(value))
    return (lower is None or value >= lower - slack) and (upper is None or value <= upper + slack)


def compute_agreement(value: MeasuredValue) -> float | None:
    """Return how far a recorded value may lie from what its file gives (unit of the feature); None without a file.

    That is the expanded uncertainty of the reading, else twice the scatter in the file; never less than half a unit of
    the last figure that was written.
    """
    if value.file_value is None:
        return None
    text = f"{value.recorded.value!r}"
    rounding = 0.5 * 10.0 ** -len(text.partition(".")[2]) if "e" not in text else 0.0
    scatter = 0.0 if value.file_value.scatter_u is None else 2 * value.file_value.scatter_u
    return max(value.expanded if value.expanded is not None else scatter, rounding, math.ulp(abs(value.value)) * 4)


def take_measured(file: PartFile) -> PartMeasured:
    """Return what was measured of a part: with its evidence where that was opened, else from the record alone."""
    found = file.kept.get(MEASURED)
    if isinstance(found, PartMeasured):
        note_all(file.relied[MEASURED])
        return found
    with take_notes() as relied:
        found = build_measurements(file.part, file.lineage, file.workspace, file.kept.get(EVIDENCE_ROOT))
    file.kept[MEASURED], file.relied[MEASURED] = found, frozenset(relied)
    return found
