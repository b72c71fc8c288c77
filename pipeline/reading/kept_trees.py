"""What files were parsed into before: a text that was read without a fault gives the same values again, sooner.

Only values are kept, never verdicts: every record is still held against the model and judged anew. The key is the whole
text, so no clock and no file date is believed.
"""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import pipeline.reading.source as source_module
import pipeline.reading.tree as tree_module
from pipeline.findings.finding import Finding
from pipeline.reading.tree import Tree, parse_tree

ROOM = "trees"


class Keeper(Protocol):
    """Where values are kept from one run to the next, by room, name and stamp."""

    def take_all(self, room: str, stamp: str) -> Iterator[tuple[str, Any]]:
        """Yield name and value of all that was kept in a room under a stamp."""
        ...

    def keep(self, room: str, name: str, stamp: str, value: Any) -> None:
        """Keep a plain value."""
        ...

    def mark_used(self, room: str, name: str) -> None:
        """Say that a value was of use."""
        ...


@functools.cache
def compute_stamp() -> str:
    """Return what else the values depend on: the code that parses (sha256, hex), and the library under it."""
    import yaml

    digest = hashlib.sha256(yaml.__version__.encode())
    for module in (source_module, tree_module):
        digest.update(Path(str(module.__file__)).read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


class KeptTrees:
    """The values of texts, by path. Without a keeper everything is parsed."""

    def __init__(self, keeper: Keeper | None = None) -> None:
        self.keeper = keeper
        self._known: dict[str, tuple[str, str]] | None = None

    def parse(self, path: str, text: str) -> tuple[Tree | None, tuple[Finding, ...]]:
        """Return what `parse_tree` returns."""
        if self.keeper is None:
            return parse_tree(path, text)
        digest = _compute_digest(text)
        known = self._recall(self.keeper).get(path)
        if known is not None and known[0] == digest and known[1].startswith("{"):
            self.keeper.mark_used(ROOM, path)
            return Tree(path, text, known[1]), ()
        tree, findings = parse_tree(path, text)
        if tree is not None and not findings:
            self.keeper.keep(ROOM, path, compute_stamp(), [digest, tree.plain])
        return tree, findings

    def _recall(self, keeper: Keeper) -> dict[str, tuple[str, str]]:
        if self._known is None:
            self._known = {}
            for path, value in keeper.take_all(ROOM, compute_stamp()):
                if isinstance(value, list) and len(value) == 2 and all(isinstance(one, str) for one in value):
                    self._known[path] = (value[0], value[1])
        return self._known


def _compute_digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
