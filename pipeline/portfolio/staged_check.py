"""The records that are staged for a commit, checked as they are staged."""

from __future__ import annotations

import hashlib
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.findings.finding import Finding
from pipeline.findings.report import sort_findings
from pipeline.findings.rules import gates as gate_rules
from pipeline.history.staged import Staged, read_staged
from pipeline.lineage.references import check_catalogues
from pipeline.model.workspace import EvidenceFile, FileState
from pipeline.portfolio.near import read_near
from pipeline.reading.evidence import LIST_NAME, parse_evidence_list
from pipeline.reading.large_files import REFERENCE_ENDING, parse_pointer, parse_reference
from pipeline.reading.tree import Tree
from pipeline.reading.workspace import Reading, build_part_path, read_catalogues

NEWS = frozenset({gate_rules.HOLD_CALL.id, gate_rules.WENT_STALE.id, gate_rules.WAIVER_EXPIRED.id})
"""Rules that tell how things stand after an honest edit: told, but no reason to keep the edit out of the history."""

_PART = re.compile(r"projects/([^/]+)/")
_SHARED = re.compile(r"shared/[^/]+\.ya?ml\Z")


@dataclass(frozen=True, slots=True)
class StagedCheck:
    """What is wrong with what is staged. `numbers`: the records that were looked at."""

    numbers: tuple[str, ...]
    findings: tuple[Finding, ...]
    trouble: str = ""

    @property
    def blockers(self) -> tuple[Finding, ...]:
        """Errors that keep the commit back."""
        return tuple(f for f in self.findings if f.severity == "error" and f.rule not in NEWS)


def check_staged(root: Path, staged: Staged | None = None) -> StagedCheck:
    """Check the staged records and catalogues of a workspace. The files on disk are not looked at."""
    staged = staged or read_staged(root)
    if staged.conditions:
        return StagedCheck((), (), staged.conditions[0].message)
    numbers = tuple(sorted({m.group(1) for path in staged.changed if (m := _PART.match(path))}))
    numbers = tuple(n for n in numbers if build_part_path(n) in staged.blobs)
    shared_changed = any(_SHARED.match(path) for path in staged.changed)
    if not numbers and not shared_changed:
        return StagedCheck((), ())
    with tempfile.TemporaryDirectory(prefix="pipeline-staged-") as place:
        return _check(Path(place), staged, numbers, shared_changed)


def _check(place: Path, staged: Staged, numbers: tuple[str, ...], shared_changed: bool) -> StagedCheck:
    texts = [path for path in staged.blobs if _SHARED.match(path)]
    texts += [f"projects/{n}/{name}" for n in numbers for name in ("part.yaml", LIST_NAME)]
    _write(place, staged, texts)
    trees: dict[str, Tree] = {}
    findings: list[Finding] = []
    catalogues = read_catalogues(place, trees, findings)
    if catalogues is None:
        return StagedCheck(numbers, sort_findings(findings))
    if shared_changed:
        findings += check_catalogues(catalogues, Reading(None, (), trees).locate)
    _write(place, staged, list(_find_named(place, staged, numbers)))
    for number in numbers:
        near, problems = read_near(place, number, None, catalogues, _look_at_staged(staged, number))
        findings += problems if near is None else near.findings
    return StagedCheck(numbers, sort_findings(findings))


def _write(place: Path, staged: Staged, paths: list[str]) -> None:
    for path, content in staged.read(paths).items():
        target = place / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)


_NUMBER = re.compile(r"[A-Z0-9][A-Z0-9-]{1,23}")


def _find_named(place: Path, staged: Staged, numbers: tuple[str, ...]) -> Iterator[str]:
    """Yield the paths of the records that the staged ones may name, and those that these may name."""
    seen = set(numbers)
    waiting = list(numbers)
    while waiting:
        number = waiting.pop()
        file = place / build_part_path(number)
        text = file.read_text("utf-8", "replace") if file.is_file() else ""
        for other in set(_NUMBER.findall(text)) - seen:
            path = build_part_path(other)
            if path in staged.blobs:
                seen.add(other)
                waiting.append(other)
                _write(place, staged, [path])
                yield path


def _look_at_staged(staged: Staged, number: str) -> dict[str, EvidenceFile]:
    """Return the staged evidence of a part. A file that this commit does not touch, and whose line in the list it does
    not touch, is taken to be what the last check found: only what changes is hashed."""
    folder = f"projects/{number}/"
    list_path = folder + LIST_NAME
    text = staged.read([list_path]).get(list_path, b"").decode("utf-8-sig", "replace")
    listed, _ = parse_evidence_list(list_path, text)
    list_changed = list_path in staged.changed
    mine = [path for path in staged.blobs if path.startswith(folder)]
    names = {path: path[len(folder) :] for path in mine if path not in (list_path, folder + "part.yaml")}
    to_hash = [path for path in names if path in staged.changed or (list_changed and names[path] in listed)]
    contents = staged.read(to_hash)
    found = {}
    for path, name in names.items():
        content = contents.get(path)
        found[name] = _judge_file(name, listed.get(name), content)
    return found


def _judge_file(name: str, listed: str | None, content: bytes | None) -> EvidenceFile:
    if listed is None:
        return EvidenceFile(name, FileState.UNLISTED)
    if content is None:
        return EvidenceFile(name, FileState.INTACT, listed, listed)
    digest = hashlib.sha256(content).hexdigest()
    pointer = parse_pointer(content)
    if pointer is not None and digest != listed:
        state = FileState.REFERENCE if pointer.sha256 == listed else FileState.CHANGED
        return EvidenceFile(name, state, listed, pointer.sha256, pointer.size)
    state = FileState.INTACT if digest == listed else FileState.CHANGED
    if state is FileState.INTACT and name.endswith(REFERENCE_ENDING) and parse_reference(content) is not None:
        state = FileState.REFERENCE
    return EvidenceFile(name, state, listed, digest, len(content))
