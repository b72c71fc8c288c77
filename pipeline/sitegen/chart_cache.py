"""Drawn figures, kept by what they were drawn from: plain files in `.pipeline/charts`, safe to delete at any time."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pipeline.charts
from pipeline.keeping.seals import is_sealed, seal
from pipeline.reading.source import is_link_inside

FOLDER = ".pipeline/charts"
KEPT = 40_000
"""Figures that stay on the disk; the oldest go first."""

_FALLBACK = re.compile(r"var\((--[a-z-]+), #[0-9a-f]{6}\)")


@cache
def compute_stamp() -> str:
    """Return what else a drawing depends on: the drawing code and the libraries it draws with (sha256, hex)."""
    digest = hashlib.sha256(f"{version('matplotlib')} {version('segno')}".encode())
    for path in sorted(Path(pipeline.charts.__file__).parent.glob("*.py")):
        digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def compute_key(chart: Any) -> str:
    """Return the key of a figure: sha256 of its inputs and the stamp. The same numbers give the same key."""
    return hashlib.sha256(f"{compute_stamp()}\n{chart!r}".encode()).hexdigest()


class ChartCache:
    """Figures by key, in memory and on disk. What is damaged or cannot be written is drawn anew, never an error."""

    def __init__(self, root: Path | None) -> None:
        self.folder = None if root is None or is_link_inside(root, root / FOLDER) else root / FOLDER
        self.known: dict[str, str] = {}
        self.drawn = 0

    def draw(self, chart: Any) -> str:
        """Return a figure as SVG: kept, or drawn now."""
        key = compute_key(chart)
        found = self.known.get(key) or self._read(key)
        if found is None:
            from pipeline.charts.draw import render_chart

            found = render_chart(chart)
            self.drawn += 1
            self._write(key, found)
        self.known[key] = found
        return found

    def draw_in_page(self, chart: Any) -> str:
        """Return a figure for a page, which has the colours itself: no fallbacks for a figure that stands alone."""
        return _FALLBACK.sub(r"var(\1)", self.draw(chart))

    def _read(self, key: str) -> str | None:
        """Return a kept figure; None where there is none or it is not what was kept."""
        if self.folder is None:
            return None
        try:
            found, _, svg = (self.folder / key[:2] / key).read_bytes().decode("utf-8").partition("\n")
        except (OSError, UnicodeDecodeError):
            return None
        return svg if is_sealed(found, key, svg) else None

    def _write(self, key: str, svg: str) -> None:
        """Keep a figure; a half-written one would not match its seal, so nothing is flushed to the disk for it."""
        if self.folder is None:
            return
        path = self.folder / key[:2] / key
        with contextlib.suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            draft = path.with_suffix(f".{os.getpid()}")
            draft.write_text(f"{seal(key, svg)}\n{svg}", encoding="utf-8", newline="\n")
            draft.replace(path)

    def sweep(self, most: int = KEPT) -> None:
        """Let the oldest figures go where there are too many; looked at only after something was drawn."""
        if self.folder is None or not self.drawn:
            return
        with contextlib.suppress(OSError):
            files = [entry for place in os.scandir(self.folder) if place.is_dir() for entry in os.scandir(place.path)]
            if len(files) > most:
                files.sort(key=lambda entry: (entry.stat().st_mtime, entry.name))
                for entry in files[: len(files) - most * 4 // 5]:
                    Path(entry.path).unlink(missing_ok=True)
