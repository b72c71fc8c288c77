"""How well a figure of a table is founded: seen in print, recalled, derived, or a custom of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Standing(StrEnum):
    """How a figure came to be in a table, from the best founded to the least."""

    SEEN = "seen"
    DERIVED = "derived"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Source:
    """Where a figure comes from: the standard with its clause or the handbook, and how it was come by."""

    title: str
    standing: Standing

    def __str__(self) -> str:
        return f"{self.title} ({self.standing})"
