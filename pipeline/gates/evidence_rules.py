"""Findings about evidence: files, days, calibration, units, what it claims to prove, who signed it."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable, Iterator

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import evidence as rules
from pipeline.findings.rules import measuring
from pipeline.gates.hardness_readings import convert_hardness_reading, is_other_scale
from pipeline.gates.judgement import find_outside
from pipeline.lineage.freshness import PartLineage
from pipeline.lineage.nodes import is_provable, rank_revision_name
from pipeline.model.catalogue import Catalogues
from pipeline.model.named_files import find_named_files
from pipeline.model.part import Feature, Measurement, Part
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import TOOL_STEPS, Condition, FeatureKind, Result
from pipeline.model.workspace import FileState, Workspace

Locate = Callable[[str, Pointer], Location]
Found = tuple[Rule, Pointer, str]


def check_evidence(part: Part, lineage: PartLineage, workspace: Workspace, locate: Locate) -> list[Finding]:
    """Return the findings of one part's evidence."""
    path = f"projects/{part.part}/part.yaml"
    found = [
        *_check_files(part, workspace),
        *_check_days(part, lineage, workspace.today),
        *_check_revisions(part, lineage),
        *_check_measurements(part, workspace.catalogues),
        *_check_studies(part, workspace.catalogues),
        *_check_what_can_be_measured(part),
        *_check_good_results(part),
        *_check_draws(part, workspace.catalogues),
        *_check_scales(part),
        *_check_proof(part, workspace.catalogues),
        *_check_signatures(part),
    ]
    return [
        rule.build_finding(locate(path, pointer), message, record=part.part, pointer=pointer)
        for rule, pointer, message in found
    ]


_FILE_RULES = {
    FileState.MISSING: (rules.MISSING_FILE, "is not there"),
    FileState.CHANGED: (rules.CHANGED_FILE, "is not the file that was attached: its hash differs"),
    FileState.UNLISTED: (rules.UNLISTED_FILE, "has no hash in evidence.sha256"),
    FileState.OUTSIDE: (rules.FILE_OUTSIDE, "is a link, or lies behind one"),
}


def _check_files(part: Part, workspace: Workspace) -> Iterator[Found]:
    seen: set[str] = set()
    for name, pointer in find_named_files(part):
        file = workspace.files.get((part.part, name))
        if file is None or file.state not in _FILE_RULES or name in seen:
            continue
        seen.add(name)
        rule, words = _FILE_RULES[file.state]
        yield rule, pointer, f"{name} {words}"


def _check_days(part: Part, lineage: PartLineage, today: dt.date) -> Iterator[Found]:
    for node in lineage.nodes.values():
        pointer: Pointer = (node.section, node.key, "on")
        if node.on is None or node.section in ("originals", "tools"):
            continue
        if node.on > today:
            yield rules.FUTURE, pointer, f"{node.label} is dated {node.on}; today is {today}"
        for parent in node.parents:
            ancestor = lineage.nodes.get(parent)
            if ancestor is None or ancestor.on is None or ancestor.section == "tools":
                continue
            if ancestor.on > node.on:
                message = f"{node.label} of {node.on} is older than {ancestor.label} of {ancestor.on}, its origin"
                yield rules.BEFORE_ANCESTOR, pointer, message
    for key, tool in part.tools.items():
        reached = [(step, tool.steps[step]) for step in TOOL_STEPS if step in tool.steps]
        for (before, first), (after, second) in itertools.pairwise(reached):
            if second < first:
                message = f"{key} was {after} on {second}, before it was {before} on {first}"
                yield rules.STEP_ORDER, ("tools", key, "steps", after.value), message


def _check_revisions(part: Part, lineage: PartLineage) -> Iterator[Found]:
    for key in lineage.order[1:]:
        if part.revisions[key].changed is None:
            message = f"revision {key} does not say which features it changed"
            yield rules.CHANGED_MISSING, ("revisions", key), message
    by_letter = sorted(part.revisions, key=rank_revision_name)
    if list(lineage.order) != by_letter:
        wrong = next(a for a, b in zip(lineage.order, by_letter, strict=True) if a != b)
        message = f"by day the revisions come as {', '.join(lineage.order)}"
        yield rules.REVISION_ORDER, ("revisions", wrong, "on"), message
    for key, revision in part.revisions.items():
        for index, statement in enumerate(revision.no_effect):
            pointer: Pointer = ("revisions", key, "no_effect", index)
            foreign = [f for f in statement.features if f not in (revision.changed or ()) and f in part.features]
            if foreign:
                yield rules.BAD_STATEMENT, pointer, f"revision {key} did not change {', '.join(foreign)}"
            if statement.seen_by == statement.by:
                yield rules.BAD_STATEMENT, pointer, f"signed and seen by the same person, {statement.by}"
            if statement.on < revision.on:
                yield rules.BAD_STATEMENT, pointer, f"signed on {statement.on}, before revision {key} of {revision.on}"


def _check_measurements(part: Part, catalogues: Catalogues) -> Iterator[Found]:
    for key, measurement in part.measurements.items():
        instrument = catalogues.resources.instruments.get(measurement.with_)
        if instrument is not None and not instrument.calibrated <= measurement.on <= instrument.due:
            message = f"{measurement.with_} is calibrated from {instrument.calibrated} to {instrument.due}, "
            yield rules.OUT_OF_CALIBRATION, ("measurements", key, "with"), message + f"not on {measurement.on}"
        yield from _check_units(part, key, measurement)
        original = part.originals.get(measurement.of)
        if original is None:
            continue
        only_here = all(_is_only_reproduced(part, name) for name in measurement.gives)  # told by a rule of its own
        if original.condition is Condition.REPRODUCTION and not only_here:
            yield rules.NOT_COUNTED, ("measurements", key, "of"), f"{measurement.of} is a reproduction"
        coated = [f for f in measurement.gives if f in part.features and part.features[f].coated]
        if original.condition is Condition.RESTORED and coated and not measurement.coating_off:
            message = f"{measurement.of} is restored: {', '.join(coated)} carries a new coating and does not count"
            yield rules.NOT_COUNTED, ("measurements", key, "of"), message


def _check_studies(part: Part, catalogues: Catalogues) -> Iterator[Found]:
    """A gauge study and a sample run want an instrument in calibration on their day."""
    for section, entries in (("gauge_studies", part.gauge_studies), ("sample_runs", part.sample_runs)):
        for key, entry in entries.items():
            instrument = catalogues.resources.instruments.get(entry.with_)
            if instrument is not None and not instrument.calibrated <= entry.on <= instrument.due:
                span = f"{instrument.calibrated} to {instrument.due}"
                message = f"{entry.with_} is calibrated from {span}, not on {entry.on}"
                yield rules.OUT_OF_CALIBRATION, (section, key, "with"), message


def _check_what_can_be_measured(part: Part) -> Iterator[Found]:
    for key, feature in part.features.items():
        fault = None if feature.tolerance is None else _find_class_fault(feature)
        if fault is not None:
            rule = measuring.CLASS_UNKNOWN if fault[0] else measuring.CLASS_DIFFERS
            yield rule, ("features", key, "tolerance"), f"{key}: {fault[1]}"
        limits = feature.limits
        is_counted = feature.kind in (FeatureKind.FUNCTION, FeatureKind.MARKING)  # 100 % of the points can be wanted
        if limits is not None and not is_counted and limits.lower is not None and limits.lower == limits.upper:
            message = f"{key} must be exactly {feature.nominal + limits.lower:g} {feature.unit}"
            yield measuring.ZERO_TOLERANCE, ("features", key, "limits"), message
        if _is_only_reproduced(part, key):
            of = sorted({m.of for m in part.measurements.values() if key in m.gives})
            message = f"{key} was measured on {', '.join(of)} only, which is no original"
            yield measuring.ONLY_REPRODUCTIONS, ("features", key), message


def _find_class_fault(feature: Feature) -> tuple[bool, str] | None:
    from pipeline.fit.stated_limits import find_class_fault  # most records state their limits

    return find_class_fault(feature)


def _check_good_results(part: Part) -> Iterator[Found]:
    """What a first article or a test measured, held against the limits where its result is called good."""
    for section, entries in (("first_articles", part.first_articles), ("tests", part.tests)):
        for key, entry in entries.items():
            for name, given in entry.gives.items() if entry.result is Result.GOOD else ():
                outside = find_outside(given, part.features.get(name))
                if outside:
                    shown = ", ".join(f"{value:g}" for value in outside)
                    message = f"{key} is called good; {name} reads {shown} {part.features[name].unit}"
                    yield measuring.GOOD_OUTSIDE, (section, key, "gives", name), message


def _is_only_reproduced(part: Part, feature: str) -> bool:
    """True when a feature was measured, and on reproductions alone."""
    of = {m.of for m in part.measurements.values() if feature in m.gives and m.of in part.originals}
    return bool(of) and all(part.originals[name].condition is Condition.REPRODUCTION for name in of)


_SLIPS = (25.4, 1 / 25.4, 1000.0, 0.001, 10.0, 0.1)


def _check_units(part: Part, key: str, measurement: Measurement) -> Iterator[Found]:
    for name, reading in measurement.gives.items():
        feature = part.features.get(name)
        if feature is None:
            continue
        pointer: Pointer = ("measurements", key, "gives", name)
        unit = reading.unit or feature.unit
        if is_other_scale(reading, feature):
            try:
                convert_hardness_reading(reading, feature)
            except ValueError as error:
                yield rules.WRONG_UNIT, pointer, str(error)
            continue
        if unit != feature.unit and not (unit in LENGTH_UNITS and feature.unit in LENGTH_UNITS):
            yield rules.WRONG_UNIT, pointer, f"the reading is in {unit}, the feature in {feature.unit}"
            continue
        value = reading.value * LENGTH_UNITS.get(unit, 1.0) / LENGTH_UNITS.get(feature.unit, 1.0)
        if abs(feature.nominal) < 1e-9 or abs(value - feature.nominal) <= 0.3 * abs(feature.nominal):
            continue
        for factor in _SLIPS:
            if abs(value * factor - feature.nominal) <= 0.05 * abs(feature.nominal):
                message = f"{reading.value:g} {unit} is {factor:.4g} times off the nominal {feature.nominal:g}"
                yield rules.WRONG_UNIT, pointer, message


def _check_draws(part: Part, catalogues: Catalogues) -> Iterator[Found]:
    """A cup that the dies of the record cannot draw, or whose blank cannot be reckoned."""
    if not any(operation.draws is not None for operation in part.route):
        return
    from pipeline.gates.drawn import describe_draw_fault, plan_cups  # a hook that checks one record waits for no tables

    for cup in plan_cups(part, catalogues):
        fault = describe_draw_fault(cup)
        if fault:
            rule = measuring.DRAWS_TOO_FEW if cup.plan is not None else measuring.NOT_BY_GEOMETRY
            yield rule, ("route", cup.index, "draws"), fault


def _check_scales(part: Part) -> Iterator[Found]:
    """A test in another scale than the drawing's proves nothing there: a conversion is an estimate."""
    for key, test in part.tests.items():
        for name, reading in test.gives.items():
            feature = part.features.get(name)
            if feature is not None and is_other_scale(reading, feature):
                message = f"{key} reads {reading.value:g} {reading.unit}; {name} is stated in {feature.unit}"
                yield measuring.OTHER_SCALE, ("tests", key, "gives", name), message


def _check_proof(part: Part, catalogues: Catalogues) -> Iterator[Found]:
    for section, field in (("prototypes", "process"), ("tests", "kind")):
        for key, entry in getattr(part, section).items():
            process = getattr(entry, field)
            if process not in catalogues.processes.processes:
                continue
            for index, name in enumerate(entry.covers or ()):
                feature = part.features.get(name)
                if feature is not None and not is_provable(catalogues, process, feature):
                    need = catalogues.processes.needs.get(feature.kind, "?")
                    message = f"{key} is a {process}: it cannot prove {need}, which {name} needs"
                    yield rules.CANNOT_PROVE, (section, key, "covers", index), message
    for key, feature in part.features.items():
        if feature.critical and feature.limits is None:
            yield rules.NO_LIMITS, ("features", key), f"{key} is critical and has no limits"


def _check_signatures(part: Part) -> Iterator[Found]:
    for section in ("fit_checks", "first_articles"):
        for key, entry in getattr(part, section).items():
            if entry.seen_by is not None and entry.seen_by == entry.by:
                message = f"{key} was made and seen by the same person, {entry.by}"
                yield rules.SIGNED_ALONE, (section, key, "seen_by"), message
