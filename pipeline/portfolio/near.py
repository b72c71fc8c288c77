"""One record with all that it points at, and what it would be with an edit: the view from an engineer's bench.

A command that adds one line to one record need not read two hundred others: it reads the record, the catalogues, and
the records that this one names. The same rules are applied as in a check of the whole workspace.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.report import sort_findings
from pipeline.gates.money_rules import check_money
from pipeline.gates.standing import Standing, compute_standings
from pipeline.lineage.freshness import PartLineage, compute_lineage
from pipeline.model.catalogue import Catalogues
from pipeline.model.named_files import find_named_files
from pipeline.model.part import Part
from pipeline.model.workspace import EvidenceFile, FileState, Workspace
from pipeline.portfolio.check import check_part, report_cycles
from pipeline.portfolio.stated_limits import put_limits
from pipeline.reading.evidence import look_at_file, read_evidence_list
from pipeline.reading.shape import parse_shape
from pipeline.reading.source import decode_source, read_source
from pipeline.reading.tree import Tree, parse_tree
from pipeline.reading.workspace import build_part_path, read_catalogues

if TYPE_CHECKING:
    from pipeline.portfolio.portfolio import PartFile


@dataclass(frozen=True)
class Near:
    """One record, read and judged, in the middle of what it points at.

    part, lineage, standing : None where the record cannot be used; `findings` then say why.
    content : the record's bytes, None where it is not there yet.
    others : the records that this one names, directly or through them.
    """

    root: Path
    number: str
    catalogues: Catalogues
    today: dt.date
    content: bytes | None
    others: Mapping[str, Part]
    files: Mapping[str, EvidenceFile]
    listed: Mapping[str, str]
    part: Part | None = None
    tree: Tree | None = None
    lineage: PartLineage | None = None
    standing: Standing | None = None
    workspace: Workspace | None = None
    findings: tuple[Finding, ...] = field(default=())

    @property
    def path(self) -> str:
        """The record's path in the workspace."""
        return build_part_path(self.number)

    @property
    def folder(self) -> str:
        """The part's folder in the workspace."""
        return f"projects/{self.number}"

    @property
    def text(self) -> str:
        """The record's text, as it is parsed."""
        return "" if self.tree is None else self.tree.text

    def build_part_file(self) -> PartFile:
        """Return the record as pages and costs want it. Raises ValueError where it cannot be used."""
        if self.part is None or self.lineage is None or self.standing is None or self.workspace is None:
            raise ValueError(f"{self.number} cannot be used until its findings are mended")
        from pipeline.portfolio.money import build_rates
        from pipeline.portfolio.portfolio import PartFile  # costs are for those who ask for them: a hook does not

        rates = build_rates(self.catalogues)
        return PartFile(self.part, self.lineage, self.standing, self.findings, self.workspace, rates)


def read_near(
    root: Path,
    number: str,
    today: dt.date | None = None,
    catalogues: Catalogues | None = None,
    files: Mapping[str, EvidenceFile] | None = None,
) -> tuple[Near | None, tuple[Finding, ...]]:
    """Read a record with all that it points at; None, with the findings, where the catalogues cannot be used.

    A record that is not there yet gives a Near without content, and no findings.
    catalogues, files : what was read already: the catalogues, and evidence files by path in the part's folder.
    """
    problems: list[Finding] = []
    catalogues = catalogues or read_catalogues(root, {}, problems)
    if catalogues is None:
        return None, sort_findings(problems)
    day = today or catalogues.shop.as_of or dt.date.today()
    file = root / build_part_path(number)
    content = None
    if file.exists():
        source, problems_of_text = read_source(root, build_part_path(number))
        content = file.read_bytes() if source is not None else b""
        if source is None:
            near = Near(root, number, catalogues, day, b"", {}, {}, {}, findings=problems_of_text)
            return near, ()
    listed, bad_lines = read_evidence_list(root, f"projects/{number}")
    near = Near(root, number, catalogues, day, content, {}, files or {}, listed, findings=bad_lines)
    return (near if content is None else preview(near, content)), ()


def preview(near: Near, content: bytes, attached: Mapping[str, str] | None = None) -> Near:
    """Return what the record would be with these bytes. Nothing is written.

    attached : files (path in the part's folder -> sha256) that are to be written and listed with the record.
    """
    source, findings = decode_source(near.path, content)
    tree, more = (None, ()) if source is None else parse_tree(near.path, source.text)
    part, last = (None, ()) if tree is None else parse_shape(tree, Part, record=near.number)
    found = (*findings, *more, *last)
    if part is None or tree is None or found:
        empty = replace(near, content=content, part=None, tree=tree, lineage=None, standing=None, workspace=None)
        return replace(empty, findings=sort_findings(found))
    part = put_limits(part)
    others = dict(near.others)
    _read_others(near.root, part, others)
    listed = {**near.listed, **(attached or {})}
    files = {name: _look(near, name, listed, attached or {}) for name, _ in find_named_files(part)}
    return _judge(replace(near, content=content, part=part, tree=tree, others=others, files=files, listed=listed))


def _look(near: Near, name: str, listed: Mapping[str, str], attached: Mapping[str, str]) -> EvidenceFile:
    if name in attached:
        return EvidenceFile(name, FileState.INTACT, attached[name], attached[name])
    known = near.files.get(name)
    return known if known is not None else look_at_file(near.root, near.folder, name, listed.get(name))


def _judge(near: Near) -> Near:
    part, tree = near.part, near.tree
    assert part is not None and tree is not None
    parts = dict(sorted({**near.others, near.number: part}.items()))
    files = {(near.number, name): file for name, file in near.files.items()}
    workspace = Workspace(parts, near.catalogues, files, near.today)

    def locate(path: str, pointer: Pointer) -> Location:
        return tree.locate(pointer) if path == near.path else Location(path)

    lineage = compute_lineage(workspace)
    standings = compute_standings(workspace, lineage)
    traced, standing = lineage.parts[near.number], standings[near.number]
    findings = check_part(part, traced, standing, workspace, locate)
    shared = (*check_money(workspace, locate), *report_cycles(workspace, locate))
    findings += [finding for finding in shared if finding.record == near.number]
    found = sort_findings(findings)
    return replace(near, lineage=traced, standing=standing, workspace=workspace, findings=found)


def _find_named_parts(part: Part) -> Iterator[str]:
    """Yield the numbers of other records that this one names."""
    for component in part.made_of.values():
        if component.part is not None:
            yield component.part
    for interface in part.interfaces.values():
        if interface.meets is not None:
            yield interface.meets
    yield from (use.split("/")[0] for use in part.uses_tools)
    for tool in part.tools.values():
        yield from (other.split("/")[0] for other in tool.made_to_fit if "/" in other)
    yield from (old.number for old in part.supersedes)
    if part.demand is not None:
        yield from part.demand.takes_from


def _read_others(root: Path, part: Part, others: dict[str, Part]) -> None:
    """Read the records that a part names, and those that they name."""
    waiting = list(dict.fromkeys(_find_named_parts(part)))
    while waiting:
        number = waiting.pop()
        if number in others or number == part.part or not (root / build_part_path(number)).is_file():
            continue
        source, _ = read_source(root, build_part_path(number))
        tree, _ = (None, ()) if source is None else parse_tree(source.path, source.text)
        other, _ = (None, ()) if tree is None else parse_shape(tree, Part, record=number)
        if other is not None and other.part == number:
            others[number] = put_limits(other)
            waiting.extend(_find_named_parts(other))


def find_new_faults(
    before: Iterable[Finding], after: Iterable[Finding], pointers: Iterable[str]
) -> tuple[Finding, ...]:
    """Return the errors that an edit itself would bring: those at or below the places that it writes.

    Errors elsewhere (a gate that goes stale, a hold call) are news, not mistakes of the edit.
    """
    known = {(f.rule, f.pointer, f.message) for f in before}
    places = tuple(pointers)
    return tuple(
        f
        for f in after
        if f.severity == "error"
        and (f.rule, f.pointer, f.message) not in known
        and (not f.pointer or any(f.pointer == p or f.pointer.startswith((p + ".", p + "[")) for p in places))
    )
