"""The pages of many parts at once in little memory: packed until each is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.portfolio.build_cache import pack, unpack


@dataclass(frozen=True)
class PackedTexts:
    """Texts by address, packed together: those of one part have much in common."""

    addresses: tuple[str, ...]
    packed: bytes

    def read(self, address: str) -> str:
        """Return one text. Raises KeyError for an address that is not among them."""
        if not _OPEN or _OPEN[0][0] is not self:
            _OPEN[:] = [(self, unpack(self.packed) or {})]
        text: str = _OPEN[0][1][address]
        return text


_OPEN: list[tuple[PackedTexts, Mapping[str, str]]] = []
"""The texts that were read last, unpacked: they are read one after the other."""


def pack_texts(texts: Mapping[str, str]) -> PackedTexts:
    """Pack texts by address.

    >>> pack_texts({"a.html": "<p>", "a.csv": "1,2"}).read("a.csv")
    '1,2'
    """
    return PackedTexts(tuple(texts), pack(dict(texts)))
