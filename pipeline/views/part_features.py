"""Features with their limits, the readings of originals and samples drawn against them, and a verdict in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.fit.stated_limits import describe_class
from pipeline.gates.judgement import Bench
from pipeline.gates.measured import compute_ratio, find_readings
from pipeline.lineage.nodes import is_provable
from pipeline.model.part import Feature
from pipeline.model.part import Reading as Value
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import Condition, Gate, GateState
from pipeline.portfolio.measurements import convert_scale
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_method_page
from pipeline.views.shapes_marks import (
    LimitsMark,
    Line,
    Link,
    Mark,
    Reading,
    ReadingShape,
    Run,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_part import FeatureLine
from pipeline.views.states import build_bench
from pipeline.views.wording import (
    count_decimals,
    with_unit,
    word_added,
    word_count,
    word_limits,
    word_list,
    word_number,
    word_span,
    word_unit,
)

_SHAPES = {
    Condition.NOS: ReadingShape.NOS,
    Condition.USED: ReadingShape.USED,
    Condition.RESTORED: ReadingShape.RESTORED,
    Condition.REPRODUCTION: ReadingShape.LEFT_OUT,
}
_CONDITIONS = {
    Condition.NOS: "new old stock",
    Condition.USED: "used",
    Condition.RESTORED: "restored",
    Condition.REPRODUCTION: "reproduction",
}


@dataclass(frozen=True)
class FoundReading:
    """One reading of a feature in the feature's unit.

    label : original or sample. node : its evidence. spread : expanded uncertainty, 0 where nothing is known of it.
    counted : it counts for the feature and was not called worn. sample : made by us, not an original.
    """

    label: str
    node: str
    value: float
    spread: float
    spread_source: str
    shape: ReadingShape
    counted: bool
    condition: str
    sample: bool = False


def build_features(file: PartFile, anchors: Anchors) -> tuple[FeatureLine, ...]:
    """Make one line for each feature."""
    bench = build_bench(file)
    return tuple(_build_feature(file, anchors, bench, key, feature) for key, feature in file.part.features.items())


def _build_feature(file: PartFile, anchors: Anchors, bench: Bench, key: str, feature: Feature) -> FeatureLine:
    readings = find_feature_readings(file, bench, key)
    places = count_places(feature, readings)
    mark, verdict = _judge(file, bench, key, readings, places)
    added = word_added(feature.since, "added or made critical")
    return FeatureLine(
        key=key,
        name=feature.what,
        critical=feature.critical,
        nominal=word_number(feature.nominal, places),
        limits=word_stated_limits(feature, places),
        unit=word_unit(feature.unit) or "–",
        drawing=_draw(feature, readings, places),
        originals=_word_labels(readings),
        verdict=(*verdict, Run(added)) if added else verdict,
        mark=mark,
        working=_build_working(file, anchors, bench, key, readings, places),
    )


def word_stated_limits(feature: Feature, places: int) -> str:
    """Return limits as deviations, with the class beside them where one gives them: ``+0.000 to +0.018 (H7)``."""
    words = word_limits(feature.limits, places)
    return words if describe_class(feature) is None else f"{words} ({feature.tolerance})"


def _word_labels(readings: tuple[FoundReading, ...]) -> str:
    """Return whose readings there are, by condition: ``O1, O2 used; O3 worn``."""
    groups: dict[str, dict[str, None]] = {}
    for reading in readings:
        groups.setdefault(reading.condition, {})[reading.label] = None
    return "; ".join(f"{', '.join(labels)} {condition}" for condition, labels in groups.items()) or "none"


def count_places(feature: Feature, readings: tuple[FoundReading, ...] = ()) -> int:
    """Return the decimals at which a feature is written: those of its nominal, limits and readings, four at most."""
    values = [feature.nominal, *(r.value for r in readings)]
    if feature.limits is not None:
        values += [one for one in (feature.limits.lower, feature.limits.upper) if one is not None]
    return min(max(count_decimals(round(value, 4)) for value in values), 4)


def find_feature_readings(file: PartFile, bench: Bench, key: str) -> tuple[FoundReading, ...]:
    """Return every reading of a feature: originals first, then samples and tests of ours."""
    counted = set(find_readings(bench, key))
    found = []
    for name, measurement in file.part.measurements.items():
        value = measurement.gives.get(key)
        original = file.part.originals.get(measurement.of)
        if value is None or original is None or not file.lineage.was_good(f"measurements.{name}"):
            continue
        counts = name in counted and not value.worn
        shape = _SHAPES[original.condition] if counts else ReadingShape.LEFT_OUT
        condition = "worn" if value.worn else _CONDITIONS[original.condition]
        spread, source = _find_spread(file, key, measurement.with_, value)
        found.append(
            FoundReading(
                measurement.of,
                f"measurements.{name}",
                _convert(file, key, value),
                spread,
                source,
                shape,
                counts,
                condition,
            )
        )
    return (*found, *_find_samples(file, key))


def _find_samples(file: PartFile, key: str) -> list[FoundReading]:
    found = []
    for name, article in file.part.first_articles.items():
        fresh = file.lineage.is_fresh(f"first_articles.{name}")
        shape = ReadingShape.SAMPLE if fresh else ReadingShape.LEFT_OUT
        for value in article.gives.get(key, ()):
            node = f"first_articles.{name}"
            found.append(FoundReading(name, node, value, 0.0, "not stated", shape, fresh, "first article", True))
    for name, test in file.part.tests.items():
        given = test.gives.get(key)
        if given is not None:
            given, _ = convert_scale(given, file.part.features[key])
            spread = 0.0 if given.u is None else given.u * _find_factor(file, key, given)
            source = "not stated" if given.u is None else "stated in the report"
            node = f"tests.{name}"
            fresh = file.lineage.is_fresh(node)
            shape = ReadingShape.SAMPLE if fresh else ReadingShape.LEFT_OUT
            value = _convert(file, key, given)
            found.append(FoundReading(name, node, value, spread, source, shape, fresh, "test", True))
    return found


def _find_factor(file: PartFile, key: str, value: Value) -> float:
    """Return what a reading is multiplied by to stand in the feature's unit (lengths only; other units must agree)."""
    unit = file.part.features[key].unit
    if value.unit is None or value.unit == unit:
        return 1.0
    return LENGTH_UNITS.get(value.unit, 1.0) / LENGTH_UNITS.get(unit, 1.0)


def _convert(file: PartFile, key: str, value: Value) -> float:
    value, _ = convert_scale(value, file.part.features[key])
    return value.value * _find_factor(file, key, value)


def _find_spread(file: PartFile, key: str, instrument: str, value: Value) -> tuple[float, str]:
    """Return the expanded uncertainty of a reading in the feature's unit, and where it comes from."""
    feature = file.part.features[key]
    value, _ = convert_scale(value, feature)
    if value.u is not None:
        return value.u * _find_factor(file, key, value), "stated in the report, 95 %"
    found = file.workspace.catalogues.resources.instruments.get(instrument)
    factor = LENGTH_UNITS.get(feature.unit)
    if found is None or found.mpe_mm is None or factor is None:
        return 0.0, "not stated"
    mpe = found.mpe_mm + found.mpe_per_m * abs(feature.nominal) * factor / 1000
    return 2 * mpe / math.sqrt(3) / factor, f"from the limit of {instrument}, ±{mpe:.4g} mm: 2 × MPE / √3"


def _draw(feature: Feature, readings: tuple[FoundReading, ...], places: int) -> LimitsMark | None:
    if not readings:
        return None
    lower, upper = (None, None) if feature.limits is None else (feature.limits.lower, feature.limits.upper)
    deviations = [r.value - feature.nominal for r in readings]
    reach = max([abs(one) for one in (lower, upper) if one] or [max(map(abs, deviations)) or 1.0])
    low = min(0.0 if lower is None else lower, 0.0) - 0.6 * reach
    high = max(0.0 if upper is None else upper, 0.0) + 0.6 * reach
    shown = tuple(Reading(r.label, d, r.spread, r.shape) for r, d in zip(readings, deviations, strict=True))
    return LimitsMark(lower, upper, low, high, shown, _word_drawing(feature, readings, places))


def _word_drawing(feature: Feature, readings: tuple[FoundReading, ...], places: int) -> str:
    parts = []
    for reading in readings:
        text = f"{reading.label} {word_number(reading.value - feature.nominal, places, signed=True)}"
        parts.append(text + ("" if reading.counted else " (left out)"))
    limits = word_limits(feature.limits, places)
    return f"limits {with_unit(limits, feature.unit)}; {', '.join(parts)}"


def _judge(
    file: PartFile, bench: Bench, key: str, readings: tuple[FoundReading, ...], places: int
) -> tuple[Mark, Line]:
    """Return the mark and the verdict of one feature."""
    feature = file.part.features[key]
    samples = [r for r in readings if r.sample and r.counted]
    originals = [r for r in readings if not r.sample and r.counted]
    if not originals and not samples:
        left = [r.label for r in readings]
        return Mark.MISSING, build_line(f"no reading counts ({word_list(left)} left out)" if left else "not measured")
    outside = [r for r in samples if not _is_inside(feature, r.value)]
    if outside:
        worst = max(outside, key=lambda r: _find_excess(feature, r.value))
        over = with_unit(word_number(_find_excess(feature, worst.value), places), feature.unit)
        return Mark.MISSING, build_line(Run(f"{worst.label} is outside the limits by {over}", Tone.FLAG))
    sentences = [*_word_samples(samples), *_word_originals(file, bench, key, originals, readings, places)]
    proven = file.standing.gates[Gate.TOOLING if samples else Gate.MEASURE].state is GateState.PROVEN
    return (Mark.PROVEN if proven else Mark.IN_HAND), build_line("; ".join(sentences))


def _is_inside(feature: Feature, value: float) -> bool:
    """True where a value lies on or inside the limits, to a billionth of the unit."""
    return feature.limits is None or _find_excess(feature, value) <= 1e-9


def _find_excess(feature: Feature, value: float) -> float:
    """Return by how much a value leaves the limits; zero or less inside."""
    if feature.limits is None:
        return 0.0
    deviation = value - feature.nominal
    over = -math.inf if feature.limits.upper is None else deviation - feature.limits.upper
    under = -math.inf if feature.limits.lower is None else feature.limits.lower - deviation
    return max(over, under)


def _word_samples(samples: list[FoundReading]) -> list[str]:
    names = list(dict.fromkeys(r.label for r in samples))
    return [f"{word_list(names)} within limits"] if samples else []


def _word_originals(
    file: PartFile,
    bench: Bench,
    key: str,
    originals: list[FoundReading],
    readings: tuple[FoundReading, ...],
    places: int,
) -> list[str]:
    feature = file.part.features[key]
    sentences = []
    if originals:
        deviations = [r.value - feature.nominal for r in originals]
        count = word_count(len({r.label for r in originals}), "original")
        span = with_unit(word_span(deviations, places, signed=True), feature.unit)
        sentences.append(f"{count}, {span} from nominal")
    left = [r for r in readings if not r.counted and not r.sample]
    if left:
        sentences.append(f"{word_list([f'{r.label} ({r.condition})' for r in left])} left out")
    ratio = compute_ratio(bench, key)
    if ratio is not None and feature.critical:
        least = file.workspace.catalogues.money.ratio_least
        enough = "enough" if ratio >= least else f"less than the {least:g} wanted"
        sentences.append(f"limits are {ratio:.1f} times the uncertainty: {enough}")
    return sentences


def _build_working(
    file: PartFile, anchors: Anchors, bench: Bench, key: str, readings: tuple[FoundReading, ...], places: int
) -> Working | None:
    feature = file.part.features[key]
    originals = [r for r in readings if not r.sample and r.counted]
    given = describe_class(feature)
    if not readings and given is None:
        return None
    formula = [] if given is None else [f"limits by their class: {given.words}"]
    if originals:
        total = " + ".join(word_number(r.value, places) for r in originals)
        mean = math.fsum(r.value for r in originals) / len(originals)
        formula.append(f"mean of counted originals = ({total}) / {len(originals)} = {word_number(mean, places + 1)}")
    ratio = compute_ratio(bench, key)
    if ratio is not None and feature.limits is not None:
        formula.append(f"half the limits / least uncertainty = {ratio:.2f}")
    inputs = tuple(
        WorkingInput(
            r.label,
            _word_value(r, feature, places),
            (Run(r.node.partition(".")[2], href=anchors.link(r.node)), Run(f"; {r.spread_source}")),
        )
        for r in readings
    )
    if not is_provable(file.workspace.catalogues, "first-article", feature):
        formula.append("A first article alone cannot prove this: it needs a test of its own.")
    source = "JCGM 100:2008, 4.3.7 (rectangular limits) and 6.2 (expanded uncertainty)"
    source += "" if given is None else f"; limits: {given.source}"
    limits = "The mean does not weigh wear, uncertainty or how few originals there are."
    return Working(tuple(formula), inputs, source, limits, Link("Readings and limits", find_method_page("readings")))


def _word_value(reading: FoundReading, feature: Feature, places: int) -> str:
    value = word_number(reading.value, places)
    if reading.spread:
        value += f" ± {word_number(reading.spread, max(places, 3 if places else 1))}"
    return with_unit(value, feature.unit)
