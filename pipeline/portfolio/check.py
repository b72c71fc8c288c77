"""From a folder to what is known and what is wrong: the part of the road that `pipeline check` walks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.findings.finding import Finding, Location
from pipeline.findings.report import sort_findings
from pipeline.findings.rules import links as link_rules
from pipeline.gates.claims import Locate, check_standing
from pipeline.gates.evidence_rules import check_evidence
from pipeline.gates.money_rules import check_money
from pipeline.gates.spend_rules import check_spend
from pipeline.gates.standing import Standing, compute_standings
from pipeline.lineage.freshness import Lineage, PartLineage, compute_lineage
from pipeline.lineage.graph import find_cycles
from pipeline.lineage.references import check_catalogues, check_references
from pipeline.model.part import Part
from pipeline.model.workspace import Workspace
from pipeline.portfolio.edition_findings import check_editions
from pipeline.portfolio.reliance import Digests, Watched
from pipeline.portfolio.stated_limits import put_all_limits, put_limits
from pipeline.reading.evidence import read_evidence_files
from pipeline.reading.workspace import STAND_IN, Reading, build_part_path, read_workspace

if TYPE_CHECKING:
    from pipeline.portfolio.build_cache import BuildCache
    from pipeline.portfolio.deep_check import Measured


@dataclass(frozen=True, slots=True)
class Checked:
    """A workspace that was read, traced and judged. `workspace` is None when the catalogues cannot be used.

    measured : what was measured of each part, from its record and its evidence files; empty without a deep check.
    """

    reading: Reading
    workspace: Workspace | None
    lineage: Lineage
    standings: Mapping[str, Standing]
    findings: tuple[Finding, ...]
    measured: Mapping[str, Measured] = field(default_factory=dict)
    digests: Digests = field(default_factory=Digests, repr=False, compare=False)

    def spell_record(self, number: str) -> str | None:
        """Return all that a record says, as one text: equal texts give equal parts under the same catalogues. None
        where there is no such part."""
        if self.workspace is None or number not in self.workspace.parts:
            return None
        return self.reading.trees[build_part_path(number)].plain

    def spell_records(self) -> dict[str, str | None]:
        """Return what all records say, by number."""
        return {number: self.spell_record(number) for number in (self.workspace.parts if self.workspace else ())}


def check_workspace(
    root: Path,
    today: dt.date | None = None,
    only: tuple[str, ...] = (),
    *,
    deep: bool = False,
    cache: BuildCache | None = None,
) -> Checked:
    """Read a workspace, link it, trace it and judge it.

    root : folder with `projects/` and `shared/`. today : day to speak of.
    only : part numbers to report on; all if empty.
    deep : open the evidence files too, fit their points and hold the values of the record against them.
    cache : where the values of unchanged files, and what a deep check found before, are looked up and kept.
    """
    reading = read_workspace(root, today, keeper=cache)
    if reading.workspace is None:
        return Checked(reading, None, Lineage({}), {}, sort_findings(reading.findings))
    workspace = _watch(put_all_limits(reading.workspace))
    reading = replace(reading, workspace=workspace)
    findings = [*reading.findings, *check_catalogues(workspace.catalogues, reading.locate)]
    for folder in reading.salvaged:
        findings += _check_salvaged(root, folder, workspace, reading)
    findings += report_cycles(workspace, reading.locate)
    findings += check_money(workspace, reading.locate)
    lineage = compute_lineage(workspace)
    standings = compute_standings(workspace, lineage)
    findings += check_spend(workspace, standings, reading.locate)
    findings += check_editions(workspace, standings, reading.locate)
    for number, part in workspace.parts.items():
        findings += check_part(part, lineage.parts[number], standings[number], workspace, reading.locate)
    measured: dict[str, Measured] = {}
    digests = Digests()
    if deep:
        from pipeline.portfolio.deep_check import DeepCheck

        checked = Checked(reading, workspace, lineage, standings, (), digests=digests)
        check = DeepCheck(root, checked, workspace, cache)
        for number, told, found in check.check(n for n in workspace.parts if not only or n in only):
            measured[number] = found
            findings += told
    if only:
        findings = [f for f in findings if f.record in only or not f.record]
    return Checked(reading, workspace, lineage, standings, sort_findings(findings), measured, digests)


def check_part(
    part: Part, lineage: PartLineage, standing: Standing, workspace: Workspace, locate: Locate
) -> list[Finding]:
    """Return what is wrong with one part by itself: its links, its evidence, its gates.

    What points nowhere is mended first: its gates would only repeat it.
    """
    findings = check_references(part, workspace, locate)
    is_linked = all(finding.rule == link_rules.YEARS_OUTSIDE.id for finding in findings)
    findings += check_evidence(part, lineage, workspace, locate)
    if is_linked:
        findings += check_standing(part, standing, lineage, workspace, locate)
    return findings


def _watch(workspace: Workspace) -> Workspace:
    """Return the workspace whose parts and files note each look at them."""
    return replace(workspace, parts=Watched("part", workspace.parts), files=Watched("file", workspace.files))


def _check_salvaged(root: Path, folder: str, workspace: Workspace, reading: Reading) -> list[Finding]:
    """Look for further mistakes in what could be understood of a broken record: links, files, days, signatures.

    What is said inside an entry that was told already is left out: half an entry would be judged. Gates are not judged.
    """
    part = put_limits(reading.salvaged[folder])
    told = [f.pointer for f in reading.findings if f.record == folder and f.pointer]
    mentioned = _collect_keys(reading.trees[build_part_path(folder)].value) | {STAND_IN}
    links = check_references(part, workspace, reading.locate, mentioned)
    files, problems = read_evidence_files(root, f"projects/{folder}", part)
    known = {**workspace.files, **{(part.part, name): file for name, file in files.items()}}
    alone = replace(workspace, parts={part.part: part}, files=known)
    evidence = check_evidence(part, compute_lineage(alone).parts[part.part], alone, reading.locate)
    return [*links, *problems, *(f for f in evidence if not any(_overlaps(f.pointer, one) for one in told))]


def _overlaps(one: str, other: str) -> bool:
    """True when one pointer leads to, or into, the entry of the other."""
    first, second = ((pointer + ".").replace("[", ".") for pointer in (one, other))
    return first.startswith(second) or second.startswith(first)


def _collect_keys(value: dict[str, Any]) -> frozenset[str]:
    """Return the ids of all entries of a record's sections."""
    return frozenset(key for section in value.values() if isinstance(section, dict) for key in section)


def report_cycles(workspace: Workspace, locate: Locate) -> list[Finding]:
    """Return the rings of evidence that comes before itself, each at the record in which it begins."""
    findings = []
    for cycle in find_cycles(workspace):
        number, _, rest = cycle[0].partition("/")
        pointer = tuple(rest.split(".", 1))
        path = f"projects/{number}/part.yaml"
        place = locate(path, pointer) if number in workspace.parts else Location(path)
        message = " comes before ".join((*cycle, cycle[0]))
        findings.append(link_rules.CYCLE.build_finding(place, message, record=number, pointer=pointer))
    return findings
