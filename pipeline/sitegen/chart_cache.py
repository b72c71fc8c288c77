"""Drawn figures, kept by what they were drawn from: plain files in `.pipeline/charts`, safe to delete at any time."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Iterable
from concurrent.futures import Future, ProcessPoolExecutor
from functools import cache
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pipeline.charts

FOLDER = ".pipeline/charts"
WORTH_A_SECOND_PROCESS = 40
"""Fewer figures than this are drawn sooner than a second process has started."""
CHUNK = 5
_PLACE = re.compile(r"<!--figure ([0-9a-f]{64})-->")


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


def draw_charts(charts: list[Any]) -> list[str]:
    """Draw figures one after the other; runs in a second process too."""
    from pipeline.charts.draw import render_chart

    return [render_chart(chart) for chart in charts]


class ChartCache:
    """Figures by key, in memory and on disk. What is damaged or cannot be written is drawn anew, never an error.

    Many figures are drawn by a second process while this one renders pages: a page first holds a place for each figure
    (`hold_place`), and gets the figures at the end (`fill_places`), when this process draws what the other one has not
    got to yet.
    """

    def __init__(self, root: Path | None) -> None:
        self.folder = None if root is None else root / FOLDER
        self.known: dict[str, str] = {}
        self.drawn = 0
        self._wanted: dict[str, Any] = {}
        self._keys: dict[int, tuple[str, Any]] = {}
        self._pool: ProcessPoolExecutor | None = None
        self._chunks: list[tuple[list[str], Future[list[str]]]] = []

    def find_key(self, chart: Any) -> str:
        """Return the key of a figure, worked out once for each; the figure is held so that its place stays its own."""
        found = self._keys.get(id(chart))
        if found is None:
            found = self._keys[id(chart)] = (compute_key(chart), chart)
        return found[0]

    def draw(self, chart: Any) -> str:
        """Return a figure as SVG at once."""
        key = self.find_key(chart)
        if not self._has(key):
            self._keep_all([key], draw_charts([chart]))
        return self.known[key]

    def prepare(self, charts: Iterable[Any]) -> None:
        """Begin to draw all figures that are not known yet, in a second process where there are many."""
        for chart in charts:
            key = self.find_key(chart)
            if key not in self._wanted and not self._has(key):
                self._wanted[key] = chart
        if len(self._wanted) < WORTH_A_SECOND_PROCESS or (os.cpu_count() or 1) < 2:
            return
        keys = list(self._wanted)
        with contextlib.suppress(OSError, RuntimeError):  # no process can be started here: slower, never wrong
            self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"))
            for at in range(0, len(keys), CHUNK):
                some = keys[at : at + CHUNK]
                self._chunks.append((some, self._pool.submit(draw_charts, [self._wanted[key] for key in some])))

    def hold_place(self, chart: Any) -> str:
        """Return what stands in a page until its figures are drawn; no text of a record can look like it."""
        key = self.find_key(chart)
        if key not in self.known:
            self._wanted.setdefault(key, chart)
        return f"<!--figure {key}-->"

    def fill_places(self, pages: dict[str, str]) -> dict[str, str]:
        """Return the pages with their figures."""
        self._finish()
        return {at: _PLACE.sub(lambda match: self.known[match.group(1)], text) for at, text in pages.items()}

    def _finish(self) -> None:
        """Take what the second process drew, from the first on; draw the rest here, from the last on."""
        try:
            for keys, future in reversed(self._chunks):
                if future.cancel():
                    self._keep_all(keys, draw_charts([self._wanted[key] for key in keys]))
            for keys, future in self._chunks:
                if not future.cancelled():
                    with contextlib.suppress(OSError, RuntimeError):  # it died: its figures are drawn below
                        self._keep_all(keys, future.result())
        finally:
            if self._pool is not None:
                self._pool.shutdown()
            self._pool, self._chunks = None, []
        rest = [key for key in self._wanted if key not in self.known]
        self._keep_all(rest, draw_charts([self._wanted[key] for key in rest]))
        self._wanted = {}

    def _has(self, key: str) -> bool:
        if key in self.known:
            return True
        found = None if self.folder is None else _read(self.folder / key[:2] / key)
        if found is None:
            return False
        self.known[key] = found
        return True

    def _keep_all(self, keys: list[str], figures: list[str]) -> None:
        for key, svg in zip(keys, figures, strict=True):
            self.known[key] = svg
            self.drawn += 1
            if self.folder is not None:
                with contextlib.suppress(OSError):
                    _write(self.folder / key[:2] / key, f"{hashlib.sha256(svg.encode()).hexdigest()}\n{svg}")


def _write(path: Path, text: str) -> None:
    """Write a kept figure; a half-written one would not match its hash, so nothing is flushed to the disk for it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_suffix(f".{os.getpid()}")
    draft.write_text(text, encoding="utf-8", newline="\n")
    draft.replace(path)


def _read(path: Path) -> str | None:
    """Return a kept figure; None where there is none or it is not what was kept."""
    try:
        digest, _, svg = path.read_bytes().decode("utf-8").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    return svg if hashlib.sha256(svg.encode()).hexdigest() == digest else None
