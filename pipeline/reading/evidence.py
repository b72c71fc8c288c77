"""Evidence files as they lie on disk, against the list of hashes that the record keeps.

The list is `evidence.sha256` beside `part.yaml`, in the form that `sha256sum -c` reads, so that anybody can verify a
record without this program.
"""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from pipeline.findings.finding import Finding, Location
from pipeline.findings.rules import evidence as rules
from pipeline.model.named_files import find_named_files
from pipeline.model.part import Part
from pipeline.model.workspace import EvidenceFile, FileState
from pipeline.reading.large_files import MAX_POINTER, REFERENCE_ENDING, read_pointer, read_reference
from pipeline.reading.source import is_link_inside, read_source

LIST_NAME = "evidence.sha256"
_LINE = re.compile(r"([0-9a-f]{64}) [ *](\S.*)")


def read_evidence_list(root: Path, folder: str) -> tuple[dict[str, str], tuple[Finding, ...]]:
    """Return path -> sha256 (hex) of one part's list; an absent list is an empty one."""
    path = f"{folder}/{LIST_NAME}"
    if not (root / path).exists():
        return {}, ()
    source, findings = read_source(root, path)
    if source is None:
        return {}, findings
    return parse_evidence_list(path, source.text)


def parse_evidence_list(path: str, text: str) -> tuple[dict[str, str], tuple[Finding, ...]]:
    """Parse the lines `<64 hex digits>  <path>`."""
    listed: dict[str, str] = {}
    findings: list[Finding] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        match = _LINE.fullmatch(line)
        if match is None or match.group(2) in listed:
            what = "a line that is not `<sha256>  <path>`" if match is None else f"{match.group(2)} twice"
            findings.append(rules.BAD_LIST.build_finding(Location(path, number), f"the list holds {what}"))
            continue
        listed[match.group(2)] = match.group(1)
    return listed, tuple(findings)


def read_hash(file: Path) -> tuple[str, int]:
    """Return the sha256 of a file in hex, and its size in bytes; reads in bounded memory."""
    with file.open("rb") as stream:
        digest = hashlib.file_digest(stream, "sha256")
        return digest.hexdigest(), stream.tell()


def read_evidence_files(root: Path, folder: str, part: Part) -> tuple[dict[str, EvidenceFile], tuple[Finding, ...]]:
    """Look at every file that a part names. Returns path -> what was found; findings are made by the caller's rules."""
    listed, findings = read_evidence_list(root, folder)
    files = {name: look_at_file(root, folder, name, listed.get(name)) for name, _ in find_named_files(part)}
    return files, findings


def look_at_file(root: Path, folder: str, name: str, listed: str | None) -> EvidenceFile:
    """Return what lies on disk where a record names a file.

    A git LFS pointer counts by the hash of the file that it stands for; a `.ref` file by what it refers to.
    """
    file = root / folder / name
    try:
        if is_link_inside(root, file):
            return EvidenceFile(name, FileState.OUTSIDE, listed)
        if not file.is_file():
            return EvidenceFile(name, FileState.MISSING, listed)
        found, size = read_hash(file)
        pointer = read_pointer(file) if size < MAX_POINTER else None
        is_reference = name.endswith(REFERENCE_ENDING) and read_reference(file) is not None
    except OSError:
        return EvidenceFile(name, FileState.MISSING, listed)
    if pointer is not None and listed != found:
        found, size = pointer.sha256, pointer.size
    if listed is None:
        return EvidenceFile(name, FileState.UNLISTED, None, found, size)
    kept = FileState.REFERENCE if pointer is not None or is_reference else FileState.INTACT
    state = kept if found == listed else FileState.CHANGED
    return EvidenceFile(name, state, listed, found, size)
