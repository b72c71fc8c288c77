"""Is everything the same that a kept result relied on? Digests of records, files and answers, each reckoned once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from pipeline.portfolio.reliance import EMPTINESS, EVERYTHING, NotPlain, Reliance, compute_digest, take_notes

Line = tuple[str, Any, str]
"""What a result relied on: the name of a list, the key in it, and the digest of what stood there."""


class Ledger:
    """Digests of what can be relied on, by the name of the list and the key in it.

    entries : how to find the entry of a list by its key. wholes : how to find a list as a whole. What neither of them
    knows has no digest, and what relies on it is never the same.
    """

    def __init__(self, entries: Mapping[str, Callable[[Any], Any]], wholes: Mapping[str, Callable[[], Any]]) -> None:
        self._entries, self._wholes = entries, wholes
        self._known: dict[Reliance, str | None] = {}

    def find(self, reliance: Reliance) -> str | None:
        """Return the digest of what stands there today; None where it has none."""
        if reliance not in self._known:
            self._known[reliance] = self._compute(reliance)
        return self._known[reliance]

    def _compute(self, reliance: Reliance) -> str | None:
        name, key = reliance
        whole, find = self._wholes.get(name), self._entries.get(name)
        try:
            with take_notes(aside=True):
                if key in (EVERYTHING, EMPTINESS):
                    return None if whole is None else compute_digest(whole() if key == EVERYTHING else not whole())
                return None if find is None else compute_digest(find(key))
        except NotPlain:
            return None

    def write(self, relied: Iterable[Reliance]) -> list[Line] | None:
        """Return what a result relied on, to be kept with it; None where something has no digest: do not keep it."""
        lines: list[Line] = []
        for name, key in sorted(relied, key=repr):
            digest = self.find((name, key))
            if digest is None:
                return None
            lines.append((name, key, digest))
        return lines

    def confirm(self, lines: Iterable[Any]) -> bool:
        """Return whether all of it stands there still."""
        return all(self.find((name, tuple(key) if isinstance(key, list) else key)) == digest
                   for name, key, digest in lines)  # fmt: skip
