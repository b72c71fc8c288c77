"""One file of points or readings as features with uncertainty and verdict, and the record entry that it makes."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from pipeline.findings.finding import Finding
from pipeline.gates.reading_uncertainty import CONFIDENCE, Warmth, build_uncertainty_parts, build_warmth
from pipeline.measuring.uncertainty import Budget, Component, build_budget
from pipeline.measuring.uncertainty_ratio import RatioCheck
from pipeline.measuring.verdict import Verdict
from pipeline.model.catalogue import Instrument
from pipeline.model.part import Feature, Part, Reading
from pipeline.model.quantity import LENGTH_UNITS, Temperature
from pipeline.model.words import FeatureKind
from pipeline.model.workspace import Workspace
from pipeline.portfolio.evidence_values import FileValue, compute_file_value
from pipeline.portfolio.fits import FitKind, find_groups, fit_feature
from pipeline.portfolio.measurements import bring_to_20, build_component, check_ratio, decide_value
from pipeline.reading.evidence import LIST_NAME, read_hash
from pipeline.reading.points import LOOSE, PointFile, ReadingFile
from pipeline.writing.evidence_list import add_hashes
from pipeline.writing.flow_text import AsTyped
from pipeline.writing.plans import Plan, PlannedFile, read_bytes_if_there
from pipeline.writing.records import insert_entry


@dataclass(frozen=True)
class FileFeature:
    """What a file gives one feature. value is None with the reason in `problem`.

    unit : of every value here. budget : instrument and scatter, in mm for lengths; None where no error limit is known.
    expanded : its expanded uncertainty. scatter_only : expanded from the scatter alone, where that is all there is.
    told : how it was brought to 20 degrees for the verdict.
    """

    name: str
    unit: str
    value: FileValue | None
    problem: str = ""
    feature: Feature | None = None
    budget: Budget | None = None
    expanded: float | None = None
    scatter_only: float | None = None
    verdict: Verdict | None = None
    no_verdict: str = ""
    ratio: RatioCheck | None = None
    told: str = ""


@dataclass(frozen=True)
class EntryFacts:
    """Who measured what, when, with what, at which temperature; None where it is not known."""

    of: str | None = None
    on: dt.date | None = None
    by: str | None = None
    with_: str | None = None
    at: str | None = None

    def find_missing(self) -> tuple[str, ...]:
        """Return the options that would fill what is missing."""
        return tuple(
            f"--{name.rstrip('_')}" for name in ("of", "on", "by", "with_", "at") if getattr(self, name) is None
        )


def list_features(content: PointFile | ReadingFile) -> list[str]:
    """Return the features that a file speaks of, in its order; groups `pitch.1` and `pitch.2` are one.

    >>> list_features(ReadingFile("a.csv", {"rim": (1.0,)}, {"rim": "mm"}, {"rim": 2}))
    ['rim']
    """
    names = content.readings if isinstance(content, ReadingFile) else content.groups
    bases = (
        name.rpartition(".")[0] if name.rpartition(".")[2] in ("1", "2", "datum") and "." in name else name
        for name in names
    )
    return list(dict.fromkeys(bases))


def measure_features(
    content: PointFile | ReadingFile,
    names: Iterable[str],
    part: Part | None,
    instrument: Instrument | None,
    workspace: Workspace | None,
    kind: FitKind | None = None,
    at: str | None = None,
) -> tuple[FileFeature, ...]:
    """Return what a file gives each feature, with uncertainty and verdict as far as record and instrument allow.

    at : temperature as records write it (`21.5 C`); sizes are judged at 20 degrees where the part's expansion is known.
    """
    warmth = _find_warmth(part, workspace, at)
    return tuple(_measure_one(content, name, part, instrument, workspace, kind, warmth) for name in names)


def _find_warmth(part: Part | None, workspace: Workspace | None, at: str | None) -> Warmth | None:
    if part is None or workspace is None or at is None:
        return None
    try:
        celsius = Temperature.model_validate(at).celsius
    except ValidationError:
        return None
    return build_warmth(part, workspace.catalogues, celsius)


def _measure_one(
    content: PointFile | ReadingFile,
    name: str,
    part: Part | None,
    instrument: Instrument | None,
    workspace: Workspace | None,
    kind: FitKind | None,
    warmth: Warmth | None,
) -> FileFeature:
    feature = None if part is None else part.features.get(name)
    stand_in = feature if feature is not None else _stand_in(name, content, kind)
    try:
        value = (
            _fit_as(content, name, kind, stand_in) if kind is not None else compute_file_value(name, stand_in, content)
        )
    except ValueError as error:
        return FileFeature(name, stand_in.unit, None, str(error), feature)
    found = FileFeature(name, stand_in.unit, value, "", feature)
    return _judge(found, stand_in, instrument, workspace, warmth)


def _stand_in(name: str, content: PointFile | ReadingFile, kind: FitKind | None) -> Feature:
    """A feature for a name that no record knows, so that it can be fitted: a size, or an angle where asked for."""
    unit = content.units.get(name, "mm") if isinstance(content, ReadingFile) else "mm"
    is_angle = kind is FitKind.ANGLE
    return Feature(
        what=name or "points",
        kind=FeatureKind.ANGLE if is_angle else FeatureKind.SIZE,
        nominal=0.0,
        unit="deg" if is_angle else unit,
    )


def _fit_as(content: PointFile | ReadingFile, name: str, kind: FitKind, feature: Feature) -> FileValue:
    """Fit what was asked for, whatever the record says of the feature."""
    if isinstance(content, ReadingFile):
        raise ValueError("the file holds single readings: there are no points to fit")
    groups = find_groups(name, content.groups)
    fit = fit_feature(name, kind, groups)
    factor = LENGTH_UNITS.get(feature.unit, 1.0) if fit.unit == "mm" else 1.0
    u = None if fit.scatter_u is None else fit.scatter_u / factor
    line = min((content.lines[g] for g in content.groups if g == name or g.startswith(f"{name}.")), default=1)
    return FileValue(fit.value / factor, u, fit.dof, fit.count, fit.how, content.unit, line, fit)


def _judge(
    found: FileFeature,
    feature: Feature,
    instrument: Instrument | None,
    workspace: Workspace | None,
    warmth: Warmth | None,
) -> FileFeature:
    value = found.value
    if value is None:
        return found
    factor = LENGTH_UNITS.get(feature.unit, 1.0)
    sized = feature if feature.nominal else feature.model_copy(update={"nominal": value.value})
    known = value.scatter_u is not None and value.scatter_u > 0
    parts, _ = build_uncertainty_parts(Reading(value=value.value), sized, instrument, warmth, has_scatter=known)
    correction, told = (0.0, "") if warmth is None else bring_to_20(sized, value.value, warmth.celsius, warmth)
    found = replace(found, told=told)
    scatter = None
    if value.scatter_u is not None and value.scatter_u > 0:
        name = "scatter of the points" if value.fit is not None else "repeatability"
        basis = f"type A, {value.count} {'points' if value.fit is not None else 'readings'}"
        scatter = Component(name, value.scatter_u * factor, dof=value.dof, basis=basis)
    if not parts:
        alone = None if scatter is None else build_budget([scatter], confidence=CONFIDENCE).expanded / factor
        why = "the measuring uncertainty is not known: name the instrument with --with"
        return replace(found, scatter_only=alone, no_verdict=why if found.feature is not None else "")
    budget = build_budget([*map(build_component, parts), *([scatter] if scatter else [])], confidence=CONFIDENCE)
    expanded = budget.expanded / factor
    if found.feature is None or workspace is None:
        return replace(found, budget=budget, expanded=expanded)
    guard = workspace.catalogues.money.guard_factor
    verdict, why = decide_value(found.feature, value.value + correction / factor, budget, guard)
    ratio = check_ratio(found.feature, expanded, workspace)
    return replace(found, budget=budget, expanded=expanded, verdict=verdict, no_verdict=why, ratio=ratio)


def build_entry(found: Iterable[FileFeature], facts: EntryFacts, file: str) -> dict[str, Any]:
    """Return the entry of `measurements` that the file makes; what is not known stands in angle brackets."""
    gives = {one.name: _build_given(one) for one in found if one.value is not None and one.name != LOOSE}
    return {
        "of": facts.of or "<original>",
        "on": facts.on or "<day>",
        "by": facts.by or "<who>",
        "with": facts.with_ or "<instrument>",
        "at": facts.at or "<temperature>",
        "file": file,
        "gives": gives,
    }


def _build_given(one: FileFeature) -> Any:
    """Return a value with two figures of its uncertainty, in the unit system of its file."""
    value = one.value
    if value is None:
        raise ValueError(f"{one.name} has no value")
    unit, factor = one.unit, 1.0
    if value.file_unit in LENGTH_UNITS and unit in LENGTH_UNITS and (value.file_unit == "in") != (unit == "in"):
        unit, factor = value.file_unit, LENGTH_UNITS[one.unit] / LENGTH_UNITS[value.file_unit]
    spread = None if one.expanded is None else one.expanded * factor
    places = 4 if spread is None else max(0, 1 - math.floor(math.log10(spread)))
    given: dict[str, Any] = {"value": AsTyped(f"{value.value * factor:.{places}f}")}
    if unit != one.unit:
        given["unit"] = unit
    if spread is not None:
        given["U"] = AsTyped(f"{spread:.{places}f}")
    return given if len(given) > 1 else given["value"]


def plan_entry(root: Path, part: Part, key: str, entry: Mapping[str, Any]) -> Plan:
    """Return the plan that puts an entry into the record and its file's hash into the list; nothing is overwritten.

    Raises ValueError where the file is listed with another hash or the record does not take the entry, OSError where a
    file cannot be read.
    """
    folder = f"projects/{part.part}"
    file = str(entry["file"])
    digest, _ = read_hash(root / folder / file)
    listed = read_bytes_if_there(root, f"{folder}/{LIST_NAME}")
    record = read_bytes_if_there(root, f"{folder}/part.yaml") or b""
    after = insert_entry(record.decode("utf-8"), "measurements", key, dict(entry))
    return Plan(
        (
            PlannedFile(f"{folder}/{LIST_NAME}", listed, add_hashes(listed, {file: digest})),
            PlannedFile(f"{folder}/part.yaml", record, after.encode("utf-8")),
        )
    )


def find_measurement_of(part: Part, file: str) -> str | None:
    """Return the measurement that names a file already, None where none does."""
    return next((key for key, entry in part.measurements.items() if entry.file == file), None)


def list_faults(part: Part, workspace: Workspace, facts: EntryFacts, found: Iterable[FileFeature]) -> list[str]:
    """Return why an entry may not be written: names that nobody knows, features without a value."""
    faults = []
    if facts.of is not None and facts.of not in part.originals:
        faults.append(
            f"--of {facts.of}: {part.part} has no such original; it has {', '.join(part.originals) or 'none'}"
        )
    if facts.by is not None and facts.by not in workspace.catalogues.people.people:
        faults.append(f"--by {facts.by}: shared/people.yaml has no such person")
    if facts.with_ is not None and facts.with_ not in workspace.catalogues.resources.instruments:
        faults.append(f"--with {facts.with_}: shared/resources.yaml has no such instrument")
    faults += [f"{one.name}: {one.problem}" for one in found if one.value is None]
    unknown = [one.name or "(no name)" for one in found if one.feature is None]
    if unknown:
        faults.append(f"the record has no feature {', '.join(unknown)}; name those to write with --feature")
    return faults


def word_findings(findings: Iterable[Finding]) -> list[str]:
    """Return findings of a file as lines."""
    return [f"{one.location}: {one.rule} {one.message}" for one in findings]
