"""Opening the evidence of all parts, or taking what was found in it the last time where nothing has changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.findings.finding import Finding
from pipeline.lineage.freshness import Lineage
from pipeline.model.workspace import Workspace
from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.ledger import Ledger
from pipeline.portfolio.plain_values import decode, encode
from pipeline.portfolio.reliance import Reliance, compute_digest, take_notes
from pipeline.reading.workspace import Reading, build_part_path

if TYPE_CHECKING:
    from pipeline.portfolio.measurements import PartMeasured

ROOM = "deep"


@dataclass(frozen=True)
class Measured:
    """What a deep check leaves of a part: what was measured (None: not opened this time), and what that relied on."""

    found: PartMeasured | None
    relied: frozenset[Reliance]


class DeepCheck:
    """The deep check of the parts of a workspace. Numerical libraries are loaded only for a part that is opened."""

    def __init__(
        self, root: Path, workspace: Workspace, lineage: Lineage, reading: Reading, cache: BuildCache | None
    ) -> None:
        self.root, self.workspace, self.lineage, self.reading = root, workspace, lineage, reading
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
            "part": space.parts.get,
            "file": space.files.get,
            "lineage": self.lineage.parts.get,
            "text": lambda number: trees[build_part_path(number)].text,
        }
        return Ledger(entries, {"part": lambda: dict(space.parts), "file": lambda: dict(space.files)})

    def check(self, number: str) -> tuple[list[Finding], Measured]:
        """Return the findings of one part's evidence and measurements, and what is known of these."""
        return self._recall(number) or self._look(number)

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

    def _look(self, number: str) -> tuple[list[Finding], Measured]:
        from pipeline.portfolio.measuring_findings import check_measuring

        with take_notes(aside=True) as relied:
            part = self.workspace.parts[number]
            lineage = self.lineage.parts[number]
            findings, found = check_measuring(part, lineage, self.workspace, self.root, self.reading.locate)
        lines = self.ledger.write(relied | {("lineage", number), ("text", number)})
        if lines is not None:
            self.cache.keep(ROOM, number, self.stamp, {"relied": lines, "findings": [encode(one) for one in findings]})
        return findings, Measured(found, frozenset(relied))


def _read_relied(lines: list[Any]) -> Iterator[Reliance]:
    for name, key, _ in lines:
        if name not in ("lineage", "text"):
            yield name, tuple(key) if isinstance(key, list) else key
