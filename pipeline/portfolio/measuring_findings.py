"""Findings that need the evidence files opened and the numbers reckoned: `pipeline check --deep`, and the site."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from pipeline.findings.finding import Finding, Location, Pointer, Related, Severity
from pipeline.findings.rules import measuring as rules
from pipeline.lineage.freshness import PartLineage
from pipeline.measuring.nominal import NominalStatus
from pipeline.measuring.uncertainty_ratio import RatioState
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Part
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import FeatureKind
from pipeline.model.workspace import Workspace
from pipeline.portfolio.measurements import (
    FeatureMeasured,
    MeasuredValue,
    PartMeasured,
    build_measurements,
    compute_agreement,
)
from pipeline.portfolio.sight import check_sight_lines
from pipeline.portfolio.studied_spread import find_spread_fault
from pipeline.portfolio.study_values import RunResult, StudyResult

Locate = Callable[[str, Pointer], Location]
_INCH_OR_MM = {"in": "inches", "mm": "millimetres", "cm": "millimetres", "um": "millimetres"}
_COUNTED = frozenset({FeatureKind.FUNCTION, FeatureKind.MARKING})


def check_measuring(
    part: Part, lineage: PartLineage, workspace: Workspace, root: Path, locate: Locate
) -> tuple[list[Finding], PartMeasured]:
    """Return the findings of one part's measurements, and what was measured."""
    measured = build_measurements(part, lineage, workspace, root)
    told = _Maker(part, measured, locate, workspace.catalogues)
    return [*measured.evidence.findings, *measured.studies.findings, *told.make()], measured


class _Maker:
    """Makes the findings of one part."""

    def __init__(self, part: Part, measured: PartMeasured, locate: Locate, catalogues: Catalogues) -> None:
        self.part = part
        self.shop, self.resources = catalogues.shop, catalogues.resources
        self.measured = measured
        self.locate = locate
        self.path = f"projects/{part.part}/part.yaml"

    def make(self) -> Iterator[Finding]:
        """Yield all of them."""
        for found in self.measured.features.values():
            for value in found.values:
                yield from self.check_file_value(found, value)
            yield from self.check_ratio(found)
            yield from self.check_originals(found)
        yield from self.check_tools()
        yield from self.check_studies()
        yield from self.check_runs()
        yield from self.check_sight()

    def check_sight(self) -> Iterator[Finding]:
        """A mirror that shows less than the published figure asks, or that cannot be reckoned."""
        for found in check_sight_lines(self.part) if self.part.sight_lines else ():
            pointer: Pointer = ("sight_lines", found.key)
            if found.fault:
                rule = rules.NOT_BY_GEOMETRY if found.result is None else rules.VIEW_SHORT
                place = self.locate(self.path, pointer)
                message = f"{found.key}: {found.fault}"
                yield rule.build_finding(place, message, record=self.part.part, pointer=pointer)

    def check_studies(self) -> Iterator[Finding]:
        """A gauge that takes too much of the tolerance, and what a study found that no reading counts yet."""
        for found in self.measured.studies.studies:
            yield from self.check_stated_spread(found)
            if found.share is None or found.share <= self.shop.gauge_share:
                continue
            pointer: Pointer = ("gauge_studies", found.key)
            of = "tolerance" if found.is_of_tolerance else "total spread"
            share, most = (f"{100 * one:.0f} %" for one in (found.share, self.shop.gauge_share))
            words = f"{found.entry.with_} takes {share} of the {of} of {found.entry.feature}; {most} at most"
            message = f"{found.key}: {words}"
            place = self.locate(self.path, pointer)
            yield rules.GAUGE_TOO_COARSE.build_finding(place, message, record=self.part.part, pointer=pointer)

    def check_stated_spread(self, found: StudyResult) -> Iterator[Finding]:
        """The figures of a study that shared/resources.yaml does not state, or states otherwise."""
        instrument = self.resources.instruments.get(found.entry.with_)
        fault = None if instrument is None else find_spread_fault(found, self.part.part, instrument)
        if fault is not None:
            pointer: Pointer = ("gauge_studies", found.key)
            rule, place = rules.SPREAD_NOT_STATED, self.locate(self.path, pointer)
            yield rule.build_finding(
                place, f"{found.key}: {fault.words}", fix=fault.fix, record=self.part.part, pointer=pointer,
                severity=Severity.WARNING if fault.differs else None,
            )  # fmt: skip

    def check_runs(self) -> Iterator[Finding]:
        """A run with pieces outside, or with less capability than wanted."""
        for found in self.measured.studies.runs:
            pointer: Pointer = ("sample_runs", found.key)
            message = describe_run_fault(found, self.shop.capability_wanted)
            if message:
                place = self.locate(self.path, pointer)
                yield rules.RUN_NOT_CAPABLE.build_finding(place, message, record=self.part.part, pointer=pointer)

    def check_file_value(self, found: FeatureMeasured, value: MeasuredValue) -> Iterator[Finding]:
        """A recorded value against what its file gives."""
        read = value.file_value
        allowed = compute_agreement(value)
        if read is None or allowed is None:
            return
        pointer: Pointer = ("measurements", value.measurement, "gives", found.key)
        place = self.locate(self.path, pointer)
        file = self.part.measurements[value.measurement].file
        related = (Related(Location(f"projects/{self.part.part}/{file}", read.line), read.how),)
        unit = value.recorded.unit or found.feature.unit
        if _INCH_OR_MM.get(unit) != _INCH_OR_MM.get(read.file_unit) and unit in LENGTH_UNITS:
            message = f"{found.key} is recorded in {unit}; its file is in {read.file_unit}"
            yield rules.OTHER_SYSTEM.build_finding(
                place, message, record=self.part.part, pointer=pointer, related=related
            )
        recorded = value.recorded.value * LENGTH_UNITS.get(unit, 1.0) / LENGTH_UNITS.get(found.feature.unit, 1.0)
        away = read.value - recorded
        if abs(away) > allowed * (1 + 1e-9):
            message = (
                f"{found.key} is recorded as {recorded:g} {found.feature.unit}; its file gives {read.value:.6g} "
                f"({read.how}), {abs(away):.3g} away where {allowed:.3g} is allowed{_word_slip(recorded, read.value)}"
            )
            yield rules.FIT_DIFFERS.build_finding(
                place, message, record=self.part.part, pointer=pointer, related=related
            )

    def check_ratio(self, found: FeatureMeasured) -> Iterator[Finding]:
        """The best ratio among the readings that count, and what would do instead."""
        ratio = found.ratio
        if ratio is None or ratio.state is not RatioState.TOO_SMALL:
            return
        pointer: Pointer = ("features", found.key, "limits")
        place = self.locate(self.path, pointer)
        severity = None if found.feature.critical else Severity.NOTE
        ways = ", ".join(way.name for way in ratio.instead)
        fix = f"measure it with: {ways}" if ways else "widen the limits, or have a laboratory measure it"
        yield rules.RATIO_SMALL.build_finding(
            place, f"{found.key}: {ratio.sentence}", fix=fix, record=self.part.part, pointer=pointer, severity=severity
        )

    def check_originals(self, found: FeatureMeasured) -> Iterator[Finding]:
        """One original, and a measured dimension without limits."""
        feature = found.feature
        pointer: Pointer = ("features", found.key)
        if feature.kind in _COUNTED or not found.values:
            return
        if feature.critical and found.nominal.status is NominalStatus.SINGLE_ORIGINAL:
            place = self.locate(self.path, pointer)
            message = f"{found.key}: {found.nominal.sentence}"
            yield rules.ONE_ORIGINAL.build_finding(place, message, record=self.part.part, pointer=pointer)
        if feature.limits is None and not feature.critical:
            place = self.locate(self.path, pointer)
            message = f"{found.key} was measured and has no limits"
            yield rules.NO_LIMITS_MEASURED.build_finding(place, message, record=self.part.part, pointer=pointer)

    def check_tools(self) -> Iterator[Finding]:
        """Shrinkage that is not the assumed one."""
        for tool in self.measured.tools:
            by_check = tool.check is not None and tool.check.differs
            if not tool.differs and not (tool.differs is None and by_check):
                continue
            pointer: Pointer = ("tools", tool.tool, "shrinkage")
            place = self.locate(self.path, pointer)
            message = f"{tool.tool}: {' '.join(_end(one) for one in tool.sentences)}"
            yield rules.SHRINKAGE_DIFFERS.build_finding(place, message, record=self.part.part, pointer=pointer)


def describe_run_fault(found: RunResult, wanted: float) -> str:
    """Say what is wrong with a run of pieces: some outside the limits, or too little room; empty where nothing is."""
    if found.inside is not None and found.inside < len(found.values):
        return f"{found.key}: {len(found.values) - found.inside} of {len(found.values)} pieces lie outside the limits"
    if found.capability is not None and found.capability.cpk.value < wanted:
        cpk = found.capability.cpk
        return f"{found.key}: Cpk {cpk.value:.2f} ({cpk.lower:.2f} to {cpk.upper:.2f}), {wanted:g} wanted"
    return ""


def _end(sentence: str) -> str:
    return sentence if sentence.endswith(".") else f"{sentence}."


def _word_slip(recorded: float, read: float) -> str:
    """Name the slip where the two differ by a factor that units make."""
    for factor, words in ((25.4, "inches and millimetres"), (1000.0, "micrometres and millimetres")):
        for one in (factor, 1 / factor):
            if recorded and abs(read / recorded - one) < 0.01 * one:
                return f"; the two differ as {words} do"
    return ""
