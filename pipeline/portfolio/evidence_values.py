"""What the files behind a part's measurements say: points fitted, readings averaged, meshes looked at."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rules import measuring as rules
from pipeline.gates.hardness_readings import convert_hardness_reading, is_other_scale
from pipeline.model.part import Feature, Measurement, Part, Reading
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.workspace import FileState, Workspace
from pipeline.portfolio.fits import FeatureFit, choose_fit, find_groups, fit_feature
from pipeline.reading.meshes import Mesh, is_mesh_name, read_mesh
from pipeline.reading.points import PointFile, ReadingFile, read_measured_file
from pipeline.reading.qif import QifFile, read_qif

POINT_SUFFIXES = (".csv", ".txt", ".xyz", ".asc", ".pts")
SURFACE = "surface"
"""Name of the group of a free scan over the whole part, which is compared with the mesh of the revision."""


@dataclass(frozen=True)
class FileValue:
    """The value that a file gives a feature, in the feature's unit.

    scatter_u : standard uncertainty of the value from scatter alone, None where one value shows none.
    file_unit : unit of the file. line : where its points or readings begin. fit : None for single readings.
    """

    value: float
    scatter_u: float | None
    dof: float
    count: int
    how: str
    file_unit: str
    line: int
    fit: FeatureFit | None = None


@dataclass(frozen=True)
class EvidenceValues:
    """What the evidence files of one part gave.

    values : (measurement, feature) -> value. scans : measurement -> free scan in mm. meshes : revision -> mesh.
    """

    values: dict[tuple[str, str], FileValue] = field(default_factory=dict)
    scans: dict[str, PointFile] = field(default_factory=dict)
    meshes: dict[str, Mesh] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


def read_evidence_values(root: Path, part: Part, workspace: Workspace) -> EvidenceValues:
    """Open every file of points, readings, QIF results or triangles that a part's measurements and revisions name."""
    found = EvidenceValues()
    findings: list[Finding] = []
    for key, measurement in part.measurements.items():
        if measurement.file is None or not _is_there(workspace, part, measurement.file):
            continue
        path = f"projects/{part.part}/{measurement.file}"
        content, problems = read_values_file(root, path)
        findings += _own(part, problems, ("measurements", key, "file"))
        if content is None:
            continue
        if isinstance(content, PointFile) and SURFACE in content.groups:
            found.scans[key] = content
        for name, value in _find_values(part, key, measurement, content, findings):
            found.values[(key, name)] = value
    findings += _read_meshes(root, part, workspace, found.meshes)
    return replace(found, findings=tuple(findings))


def read_values_file(root: Path, path: str) -> tuple[PointFile | ReadingFile | None, tuple[Finding, ...]]:
    """Read a file of points, readings or QIF results; a file of another kind (a report, a picture) gives nothing."""
    name = path.lower()
    if name.endswith(".qif"):
        results, problems = read_qif(root, path)
        return (None if results is None else convert_qif(results)), problems
    if name.endswith(POINT_SUFFIXES):
        return read_measured_file(root, path)
    return None, ()


def convert_qif(results: QifFile) -> ReadingFile:
    """Return QIF results as readings by the name of their characteristic; several results sets are repeats."""
    readings: dict[str, list[float]] = {}
    units: dict[str, str] = {}
    lines: dict[str, int] = {}
    for value in results.values:
        readings.setdefault(value.name, []).append(value.value)
        units.setdefault(value.name, value.unit)
        lines.setdefault(value.name, value.line)
    return ReadingFile(results.path, {name: tuple(one) for name, one in readings.items()}, units, lines)


def _is_there(workspace: Workspace, part: Part, name: str) -> bool:
    file = workspace.files.get((part.part, name))
    return file is None or file.state in (FileState.INTACT, FileState.CHANGED, FileState.UNLISTED)


def _own(part: Part, problems: tuple[Finding, ...], pointer: Pointer) -> list[Finding]:
    """Findings of a file as findings of the record that names it."""
    return [replace(one, record=part.part, pointer=".".join(map(str, pointer))) for one in problems]


def _find_values(
    part: Part, key: str, measurement: Measurement, content: PointFile | ReadingFile, findings: list[Finding]
) -> Iterator[tuple[str, FileValue]]:
    for name in measurement.gives:
        feature = part.features.get(name)
        if feature is None:
            continue
        try:
            yield name, compute_file_value(name, feature, content)
        except ValueError as error:
            line = content.lines.get(name, content.lines.get(f"{name}.1", 1))
            place = Location(content.path, line)
            message = f"{name}: {error}"
            pointer = ("measurements", key, "gives", name)
            findings.append(rules.NOT_FIXED.build_finding(place, message, record=part.part, pointer=pointer))


def compute_file_value(name: str, feature: Feature, content: PointFile | ReadingFile) -> FileValue:
    """Return the value that a file gives a feature, in the feature's unit.

    Raises ValueError, with a sentence, where the file has nothing for it or its points do not fix it.
    """
    if isinstance(content, ReadingFile):
        return _average(name, feature, content)
    groups = find_groups(name, content.groups)
    if not groups:
        known = ", ".join(sorted(group or "(no name)" for group in content.groups)[:8])
        raise ValueError(f"the file has no points of this name; its groups are {known}")
    kind = choose_fit(feature.kind, groups, content.how.get(name, ""), feature.what)
    fit = fit_feature(name, kind, groups)
    factor = LENGTH_UNITS.get(feature.unit, 1.0) if fit.unit == "mm" else 1.0
    if (fit.unit == "deg") != (feature.unit == "deg"):
        raise ValueError(f"the fit gives {fit.unit} and the feature is in {feature.unit}")
    u = None if fit.scatter_u is None else fit.scatter_u / factor
    line = min(content.lines[group] for group in content.groups if group.split(".")[0] == name or group == name)
    how = content.how.get(name) or fit.how
    return FileValue(fit.value / factor, u, fit.dof, fit.count, how, content.unit, line, fit)


def _average(name: str, feature: Feature, content: ReadingFile) -> FileValue:
    if name not in content.readings:
        raise ValueError(f"the file has no reading of this name; it has {', '.join(list(content.readings)[:8])}")
    unit, values = content.units[name], content.readings[name]
    given = Reading(value=statistics.fmean(values), unit=unit)
    if is_other_scale(given, feature):
        found = convert_hardness_reading(given, feature)
        return FileValue(found.reading.value, None, 1, len(values), found.words, unit, content.lines[name])
    if unit != feature.unit and not (unit in LENGTH_UNITS and feature.unit in LENGTH_UNITS):
        raise ValueError(f"the file reads in {unit} and the feature is in {feature.unit}")
    factor = LENGTH_UNITS.get(unit, 1.0) / LENGTH_UNITS.get(feature.unit, 1.0)
    mean = statistics.fmean(values) * factor
    spread = statistics.stdev(values) * factor / math.sqrt(len(values)) if len(values) > 1 else None
    how = f"mean of {len(values)} readings" if len(values) > 1 else "one reading"
    return FileValue(mean, spread, max(len(values) - 1, 1), len(values), how, unit, content.lines[name])


def _read_meshes(root: Path, part: Part, workspace: Workspace, meshes: dict[str, Mesh]) -> list[Finding]:
    findings: list[Finding] = []
    for key, revision in part.revisions.items():
        if revision.file is None or not is_mesh_name(revision.file) or not _is_there(workspace, part, revision.file):
            continue
        mesh, problems = read_mesh(root, f"projects/{part.part}/{revision.file}")
        findings += _own(part, problems, ("revisions", key, "file"))
        if mesh is not None:
            meshes[key] = mesh
    return findings
