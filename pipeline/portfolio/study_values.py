"""What a part's gauge studies and sample runs say: their tables opened and reckoned in the unit of the feature."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rules import measuring as rules
from pipeline.measuring.capability import Capability, compute_capability
from pipeline.measuring.gauge_study import GaugeStudy, StudyReading, study_by_anova, study_by_ranges
from pipeline.model.part import Feature, Part, SampleRun
from pipeline.model.part import GaugeStudy as StudyEntry
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.workspace import FileState, Workspace
from pipeline.reading.study_files import read_gauge_study, read_sample


@dataclass(frozen=True)
class StudyResult:
    """One gauge study, in the unit of its feature. ranges, anova : None with the reason in `problem`.

    share : part of the tolerance that the gauge takes (six standard deviations over its width) by analysis of variance,
    of the total spread where the feature has not two limits; None where it cannot be reckoned.
    """

    key: str
    entry: StudyEntry
    feature: Feature
    readings: tuple[StudyReading, ...]
    ranges: GaugeStudy | None
    anova: GaugeStudy | None
    problem: str = ""

    @property
    def is_of_tolerance(self) -> bool:
        """True where the share is one of the tolerance, not of the total spread."""
        return self.anova is not None and self.anova.percent_tolerance is not None

    @property
    def share(self) -> float | None:
        """Part of the tolerance that the gauge takes, of the total spread where there is no tolerance."""
        if self.anova is None:
            return None
        found = self.anova.percent_tolerance
        return (self.anova.percent_study[2] if found is None else found) / 100


@dataclass(frozen=True)
class RunResult:
    """One sample run, in the unit of its feature. inside : pieces inside the limits, None without limits.

    capability : None with the reason in `problem`.
    """

    key: str
    entry: SampleRun
    feature: Feature
    values: tuple[float, ...]
    inside: int | None
    capability: Capability | None
    problem: str = ""


@dataclass(frozen=True)
class StudyValues:
    """All studies and runs of a part whose tables could be read."""

    studies: tuple[StudyResult, ...] = ()
    runs: tuple[RunResult, ...] = ()
    findings: tuple[Finding, ...] = ()


def read_study_values(root: Path, part: Part, workspace: Workspace) -> StudyValues:
    """Open the tables of a part's gauge studies and sample runs; a table that is missing is told by its own rule."""
    findings: list[Finding] = []
    studies = list(_read_studies(root, part, workspace, findings))
    runs = list(_read_runs(root, part, workspace, findings))
    return StudyValues(tuple(studies), tuple(runs), tuple(findings))


def _is_there(workspace: Workspace, part: Part, name: str) -> bool:
    file = workspace.files.get((part.part, name))
    return file is None or file.state in (FileState.INTACT, FileState.CHANGED, FileState.UNLISTED)


def _read_studies(root: Path, part: Part, workspace: Workspace, findings: list[Finding]) -> Iterator[StudyResult]:
    for key, entry in part.gauge_studies.items():
        feature = part.features.get(entry.feature)
        if feature is None or not _is_there(workspace, part, entry.file):
            continue
        path = f"projects/{part.part}/{entry.file}"
        table, problems = read_gauge_study(root, path)
        pointer: Pointer = ("gauge_studies", key, "file")
        findings += _own(part, problems, pointer)
        factor = None if table is None else find_unit_factor(table.unit, feature.unit)
        if table is None:
            continue
        if factor is None:
            findings.append(_refuse_unit(part, path, pointer, table.unit, entry.feature, feature))
            continue
        readings = tuple(StudyReading(row.part, row.appraiser, row.value * factor) for row in table.rows)
        found = judge_study(key, entry, feature, readings)
        if found.problem:
            message = f"{key}: {found.problem}"
            place = Location(path, 1)
            findings.append(rules.NOT_RECKONED.build_finding(place, message, record=part.part, pointer=pointer))
        yield found


def judge_study(key: str, entry: StudyEntry, feature: Feature, readings: tuple[StudyReading, ...]) -> StudyResult:
    """Reckon one study by both methods; what cannot be reckoned is said, not raised."""
    width = None
    if feature.limits is not None and feature.limits.lower is not None and feature.limits.upper is not None:
        width = feature.limits.upper - feature.limits.lower or None
    try:
        return StudyResult(
            key, entry, feature, readings, study_by_ranges(readings, width), study_by_anova(readings, width)
        )
    except ValueError as error:
        return StudyResult(key, entry, feature, readings, None, None, str(error))


def _read_runs(root: Path, part: Part, workspace: Workspace, findings: list[Finding]) -> Iterator[RunResult]:
    for key, entry in part.sample_runs.items():
        feature = part.features.get(entry.feature)
        if feature is None or not _is_there(workspace, part, entry.file):
            continue
        path = f"projects/{part.part}/{entry.file}"
        table, problems = read_sample(root, path)
        pointer: Pointer = ("sample_runs", key, "file")
        findings += _own(part, problems, pointer)
        if table is None:
            continue
        factor = find_unit_factor(table.unit, feature.unit)
        if factor is None:
            findings.append(_refuse_unit(part, path, pointer, table.unit, entry.feature, feature))
            continue
        found = judge_run(key, entry, feature, tuple(value * factor for value in table.values))
        if found.problem and feature.limits is not None:
            message = f"{key}: {found.problem}"
            place = Location(path, 1)
            findings.append(rules.NOT_RECKONED.build_finding(place, message, record=part.part, pointer=pointer))
        yield found


def judge_run(key: str, entry: SampleRun, feature: Feature, values: tuple[float, ...]) -> RunResult:
    """Reckon the capability of one run; what cannot be reckoned is said, not raised."""
    from pipeline.portfolio.measurements import find_edges, is_within

    if feature.limits is None:
        return RunResult(key, entry, feature, values, None, None, "the feature has no limits")
    lower, upper = find_edges(feature)
    inside = sum(is_within(value, lower, upper) for value in values)
    try:
        sizes = _cut_subgroups(len(values), entry.subgroup)
        found = compute_capability(values, lower, upper, sizes)
    except ValueError as error:
        return RunResult(key, entry, feature, values, inside, None, str(error))
    return RunResult(key, entry, feature, values, inside, found)


def _cut_subgroups(count: int, size: int | None) -> tuple[int, ...] | None:
    if size is None:
        return None
    if count % size:
        raise ValueError(f"{count} pieces cannot be cut into subgroups of {size}")
    return (size,) * (count // size)


def find_unit_factor(unit: str, wanted: str) -> float | None:
    """Return what one unit is in another; None where they do not go together.

    >>> find_unit_factor("in", "mm"), find_unit_factor("HRC", "HV") is None
    (25.4, True)
    """
    if unit == wanted:
        return 1.0
    if unit not in LENGTH_UNITS or wanted not in LENGTH_UNITS:
        return None
    return LENGTH_UNITS[unit] / LENGTH_UNITS[wanted]


def _own(part: Part, problems: tuple[Finding, ...], pointer: Pointer) -> list[Finding]:
    """Findings of a table as findings of the record that names it."""
    return [replace(one, record=part.part, pointer=".".join(map(str, pointer))) for one in problems]


def _refuse_unit(part: Part, path: str, pointer: Pointer, unit: str, key: str, feature: Feature) -> Finding:
    message = f"the table is in {unit}, {key} in {feature.unit}"
    return rules.NOT_RECKONED.build_finding(Location(path, 1), message, record=part.part, pointer=pointer)
