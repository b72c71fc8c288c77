"""Opening the evidence of all parts, or taking what was found in it the last time where nothing has changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.findings.finding import Finding
from pipeline.model.workspace import Workspace
from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.ledger import Ledger, Line
from pipeline.portfolio.many_hands import ManyHands
from pipeline.portfolio.plain_values import decode, encode
from pipeline.portfolio.reliance import Reliance, compute_digest, take_notes
from pipeline.reading.evidence import look_at_file
from pipeline.reading.workspace import build_part_path

if TYPE_CHECKING:
    from pipeline.portfolio.check import Checked
    from pipeline.portfolio.measurements import PartMeasured

ROOM = "deep"


@dataclass(frozen=True)
class Measured:
    """What a deep check leaves of a part: what was measured (None: not opened this time), and what that relied on."""

    found: PartMeasured | None
    relied: frozenset[Reliance]


@dataclass(frozen=True)
class Look:
    """What opening the evidence of a part gave. lines : what it relied on, as it is kept (None: not kept)."""

    findings: list[Finding]
    measured: Measured
    lines: list[Line] | None


class DeepCheck:
    """The deep check of the parts of a workspace. Numerical libraries are loaded only for a part that is opened."""

    def __init__(self, root: Path, checked: Checked, workspace: Workspace, cache: BuildCache | None) -> None:
        self.root, self.checked, self.workspace = root, checked, workspace
        self.lineage, self.reading = checked.lineage, checked.reading
        self.cache = cache or BuildCache(None)

    @cached_property
    def stamp(self) -> str:
        """What the findings of every part depend on."""
        shared = compute_digest((self.workspace.catalogues, self.workspace.today, self.workspace.broken))
        return f"{compute_code_stamp()}{shared}"

    @cached_property
    def kept(self) -> dict[str, Any]:
        """What was kept of earlier checks, by part."""
        return dict(self.cache.take_all(ROOM, self.stamp))

    @cached_property
    def ledger(self) -> Ledger:
        """What can be relied on: records with the places of their values, files, lineages."""
        space, trees = self.workspace, self.reading.trees
        entries: dict[str, Callable[[Any], Any]] = {
            "part": self.checked.spell_record,
            "file": space.files.get,
            "lineage": lambda number: self.checked.digests.find(self.lineage.parts[number]),
            "text": lambda number: trees[build_part_path(number)].text,
        }
        return Ledger(entries, {"part": self.checked.spell_records, "file": lambda: dict(space.files)})

    def check(self, numbers: Iterable[str]) -> Iterator[tuple[str, list[Finding], Measured]]:
        """Yield the findings of each part's evidence and measurements, and what is known of these."""
        numbers = list(numbers)
        known = {number: found for number in numbers if (found := self._recall(number)) is not None}
        missing = [number for number in numbers if number not in known]
        for number, look in zip(missing, ManyHands(missing, self.look).start().finish(), strict=True):
            known[number] = look.findings, look.measured
            if look.lines is not None and self._is_at_rest(number):
                told = [encode(one) for one in look.findings]
                self.cache.keep(ROOM, number, self.stamp, {"relied": look.lines, "findings": told})
        for number in numbers:
            yield number, *known[number]

    def _is_at_rest(self, number: str) -> bool:
        """True when the evidence of a part is still what its hashes were taken of: what was seen of a file that was
        taken away in between must not be kept under the hash that it had before."""
        known = {name: file for (owner, name), file in self.workspace.files.items() if owner == number}
        folder = build_part_path(number).rpartition("/")[0]
        return all(look_at_file(self.root, folder, name, file.listed) == file for name, file in known.items())

    def _recall(self, number: str) -> tuple[list[Finding], Measured] | None:
        kept = self.kept.get(number)
        try:
            if kept is None or not self.ledger.confirm(kept["relied"]):
                return None
            findings = [decode(Finding, one) for one in kept["findings"]]
            relied = frozenset(_read_relied(kept["relied"]))
        except (KeyError, TypeError, ValueError):
            return None
        self.cache.mark_used(ROOM, number)
        return findings, Measured(None, relied)

    def look(self, number: str) -> Look:
        """Open the evidence of a part. Keeps nothing, so that two processes may do it at once."""
        from pipeline.portfolio.measuring_findings import check_measuring

        with take_notes(aside=True) as relied:
            part = self.workspace.parts[number]
            lineage = self.lineage.parts[number]
            findings, found = check_measuring(part, lineage, self.workspace, self.root, self.reading.locate)
        lines = self.ledger.write(relied | {("lineage", number), ("text", number)})
        return Look(findings, Measured(found, frozenset(relied)), lines)


def _read_relied(lines: list[Any]) -> Iterator[Reliance]:
    for name, key, _ in lines:
        if name not in ("lineage", "text"):
            yield name, tuple(key) if isinstance(key, list) else key
