"""A workspace as it once stood, from bytes that git kept: read by the same door as the one on disk, written nowhere.

Source of the bytes is the caller's affair: nothing here knows of git.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.findings.finding import Finding
from pipeline.model.catalogue import CATALOGUE_FILES, Catalogues
from pipeline.model.named_files import find_named_files
from pipeline.model.part import Part
from pipeline.model.quantity import Frozen
from pipeline.model.workspace import EvidenceFile, FileState, Workspace
from pipeline.reading.evidence import LIST_NAME, parse_evidence_list
from pipeline.reading.large_files import REFERENCE_ENDING, parse_pointer, parse_reference
from pipeline.reading.shape import parse_shape
from pipeline.reading.source import decode_source
from pipeline.reading.tree import Tree, parse_tree
from pipeline.reading.workspace import Reading

_RECORD = re.compile(r"projects/([^/]+)/part\.yaml")


@dataclass(frozen=True, slots=True)
class NamedFile:
    """An evidence file that a past record names: its path in the workspace, its name in the part's folder, and the hash
    that the list of that day gives it (None: not listed)."""

    number: str
    path: str
    name: str
    listed: str | None


@dataclass(frozen=True, slots=True)
class PastRecords:
    """The records of a past state. `broken`: folders whose record could not be read as it stood; `borrowed`: catalogues
    that could not be used as they stood, so that today's stand in for them; `findings` say why."""

    parts: Mapping[str, Part]
    catalogues: Catalogues
    named: tuple[NamedFile, ...]
    broken: tuple[str, ...]
    borrowed: tuple[str, ...]
    findings: tuple[Finding, ...]


def read_past_records(files: Mapping[str, bytes], present: Reading) -> PastRecords:
    """Read the records and catalogues of a past state.

    files : path in the workspace -> bytes: records, catalogues, lists of hashes. present : the workspace of today; a
    file that is the same today is not parsed again. Nothing that the bytes hold raises. Raises ValueError where
    `present` has no workspace.
    """
    if present.workspace is None:
        raise ValueError("the catalogues of today cannot be used, so no other state can be judged")
    findings: list[Finding] = []
    catalogues, borrowed = _read_catalogues(files, present, findings)
    parts, broken = _read_parts(files, present, findings)
    named = tuple(file for part in parts.values() for file in _find_named(part, files))
    return PastRecords(parts, catalogues, named, broken, borrowed, tuple(findings))


def _parse(path: str, content: bytes, present: Reading, findings: list[Finding]) -> tuple[Tree | None, bool]:
    """Return the tree of a file, and whether it says what it says today."""
    source, problems = decode_source(path, content)
    today = present.trees.get(path)
    if source is not None and today is not None and source.text == today.text:
        return today, True
    tree, more = (None, ()) if source is None else parse_tree(path, source.text)
    findings.extend((*problems, *more))
    return (None if problems or more else tree), False


def _read_catalogues(
    files: Mapping[str, bytes], present: Reading, findings: list[Finding]
) -> tuple[Catalogues, tuple[str, ...]]:
    assert present.workspace is not None
    found: dict[str, Frozen] = {}
    borrowed = []
    for name, model in CATALOGUE_FILES.items():
        path = f"shared/{name}.yaml"
        today: Frozen = getattr(present.workspace.catalogues, name)
        tree, is_same = _parse(path, files[path], present, findings) if path in files else (None, False)
        value = today if is_same else None
        if tree is not None and not is_same:
            value, problems = parse_shape(tree, model)
            findings.extend(problems)
        if value is None:
            borrowed.append(path)
        found[name] = value if value is not None else today
    return Catalogues.model_construct(None, **found), tuple(borrowed)


def _read_parts(
    files: Mapping[str, bytes], present: Reading, findings: list[Finding]
) -> tuple[dict[str, Part], tuple[str, ...]]:
    assert present.workspace is not None
    parts: dict[str, Part] = {}
    broken = []
    for path in sorted(files):
        match = _RECORD.fullmatch(path)
        if match is None:
            continue
        number = match.group(1)
        tree, is_same = _parse(path, files[path], present, findings)
        part = present.workspace.parts.get(number) if is_same else None
        if part is None and tree is not None:
            part, problems = parse_shape(tree, Part, record=number)
            findings.extend(problems)
        if part is None or part.part != number:
            broken.append(number)
            continue
        parts[number] = part
    return parts, tuple(broken)


def _find_named(part: Part, files: Mapping[str, bytes]) -> Iterator[NamedFile]:
    folder = f"projects/{part.part}"
    path = f"{folder}/{LIST_NAME}"
    listed, _ = parse_evidence_list(path, files.get(path, b"").decode("utf-8-sig", "replace"))
    for name in dict.fromkeys(name for name, _ in find_named_files(part)):
        yield NamedFile(part.part, f"{folder}/{name}", name, listed.get(name))


def judge_content(name: str, listed: str | None, content: bytes | None) -> EvidenceFile:
    """Return what an evidence file was: its state by its bytes (None: it was not there) and the listed hash.

    >>> judge_content("evidence/a.csv", None, b"1").state.value
    'not listed'
    """
    if content is None:
        return EvidenceFile(name, FileState.MISSING, listed)
    digest, size = hashlib.sha256(content).hexdigest(), len(content)
    if listed is None:
        return EvidenceFile(name, FileState.UNLISTED, None, digest, size)
    pointer = parse_pointer(content)
    if pointer is not None and digest != listed:
        state = FileState.REFERENCE if pointer.sha256 == listed else FileState.CHANGED
        return EvidenceFile(name, state, listed, pointer.sha256, pointer.size)
    if digest != listed:
        return EvidenceFile(name, FileState.CHANGED, listed, digest, size)
    is_reference = name.endswith(REFERENCE_ENDING) and parse_reference(content) is not None
    kept = FileState.REFERENCE if pointer is not None or is_reference else FileState.INTACT
    return EvidenceFile(name, kept, listed, digest, size)


def parse_plain(content: bytes) -> Mapping[str, Any] | None:
    """Return the plain values of the bytes of a record, or of a piece of one; None where they cannot be read."""
    source, _ = decode_source("past", content)
    tree, findings = (None, ()) if source is None else parse_tree("past", source.text)
    return None if tree is None or findings else tree.value


def build_past_workspace(
    records: PastRecords, files: Mapping[tuple[str, str], EvidenceFile], day: dt.date
) -> Workspace:
    """Return the workspace of a past state, judged as of `day`; `files` by (part number, name)."""
    return Workspace(records.parts, records.catalogues, files, day, records.broken)
