"""What a part's gauge studies and sample runs say: their tables opened and reckoned in the unit of the feature."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rules import measuring as rules
from pipeline.measuring.capability import Capability, compute_capability
from pipeline.measuring.gauge_study import GaugeStudy, StudyReading, study_by_anova, study_by_ranges
from pipeline.model.part import Feature, Part, SampleRun
from pipeline.model.part import GaugeStudy as StudyEntry
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.workspace import FileState, Workspace
from pipeline.reading.study_files import SampleFile, StudyFile, read_gauge_study, read_sample

Table = TypeVar("Table", StudyFile, SampleFile)


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
    tables = _Tables(root, part, workspace)
    studies = tuple(tables.read_studies())
    runs = tuple(tables.read_runs())
    return StudyValues(studies, runs, tuple(tables.findings))


class _Tables:
    """Opens the tables that one record names, and keeps what is wrong with them."""

    def __init__(self, root: Path, part: Part, workspace: Workspace) -> None:
        self.root, self.part, self.workspace = root, part, workspace
        self.findings: list[Finding] = []

    def read_studies(self) -> Iterator[StudyResult]:
        """Yield every gauge study whose table could be read."""
        for key, entry in self.part.gauge_studies.items():
            opened = self.open(("gauge_studies", key, "file"), entry, read_gauge_study)
            if opened is not None:
                table, feature, factor = opened
                readings = tuple(StudyReading(row.part, row.appraiser, row.value * factor) for row in table.rows)
                found = judge_study(key, entry, feature, readings)
                self.tell(("gauge_studies", key, "file"), entry, found.problem)
                yield found

    def read_runs(self) -> Iterator[RunResult]:
        """Yield every run of pieces whose table could be read."""
        for key, entry in self.part.sample_runs.items():
            opened = self.open(("sample_runs", key, "file"), entry, read_sample)
            if opened is not None:
                table, feature, factor = opened
                found = judge_run(key, entry, feature, tuple(value * factor for value in table.values))
                self.tell(("sample_runs", key, "file"), entry, found.problem if feature.limits is not None else "")
                yield found

    def open(
        self,
        pointer: Pointer,
        entry: StudyEntry | SampleRun,
        read: Callable[[Path, str], tuple[Table | None, tuple[Finding, ...]]],
    ) -> tuple[Table, Feature, float] | None:
        """Return a table, its feature and what one of its units is in the feature's; None where one is missing."""
        feature = self.part.features.get(entry.feature)
        file = self.workspace.files.get((self.part.part, entry.file))
        is_there = file is None or file.state in (FileState.INTACT, FileState.CHANGED, FileState.UNLISTED)
        if feature is None or not is_there:
            return None
        table, problems = read(self.root, self.find_path(entry))
        own = ".".join(map(str, pointer))
        self.findings += [replace(one, record=self.part.part, pointer=own) for one in problems]
        if table is None:
            return None
        factor = find_unit_factor(table.unit, feature.unit)
        if factor is None:
            self.tell(pointer, entry, f"the table is in {table.unit}, {entry.feature} in {feature.unit}")
            return None
        return table, feature, factor

    def find_path(self, entry: StudyEntry | SampleRun) -> str:
        """Return the path of a table in the workspace."""
        return f"projects/{self.part.part}/{entry.file}"

    def tell(self, pointer: Pointer, entry: StudyEntry | SampleRun, words: str) -> None:
        """Keep why a table gives no figure, if there is a reason."""
        if words:
            place = Location(self.find_path(entry), 1)
            message = f"{pointer[1]}: {words}"
            self.findings.append(
                rules.NOT_RECKONED.build_finding(place, message, record=self.part.part, pointer=pointer)
            )


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
