"""Drawn figures, kept by what they were drawn from: plain files in `.pipeline/charts`, safe to delete at any time."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path

import pipeline.charts
from pipeline.charts.draw import render_chart
from pipeline.views.shapes_charts import Chart

FOLDER = ".pipeline/charts"
WORTH_A_SECOND_PROCESS = 40
"""Fewer figures than this are drawn sooner than a second process has started."""


@cache
def compute_stamp() -> str:
    """Return what else a drawing depends on: the drawing code and the library it draws with (sha256, hex)."""
    digest = hashlib.sha256(version("matplotlib").encode())
    for path in sorted(Path(pipeline.charts.__file__).parent.glob("*.py")):
        digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def compute_key(chart: Chart) -> str:
    """Return the key of a figure: sha256 of its inputs and the stamp. The same numbers give the same key."""
    return hashlib.sha256(f"{compute_stamp()}\n{chart!r}".encode()).hexdigest()


class ChartCache:
    """Figures by key, in memory and on disk. What is damaged or cannot be written is drawn anew, never an error."""

    def __init__(self, root: Path | None) -> None:
        self.folder = None if root is None else root / FOLDER
        self.known: dict[str, str] = {}
        self.drawn = 0

    def draw(self, chart: Chart) -> str:
        """Return a figure as SVG."""
        key = compute_key(chart)
        if key not in self.known:
            self.prepare([chart])
        return self.known[key]

    def prepare(self, charts: Iterable[Chart]) -> None:
        """Draw all figures that are not known yet, in two processes where there are many."""
        wanted = {compute_key(chart): chart for chart in charts}
        missing = {key: chart for key, chart in wanted.items() if not self._has(key)}
        self.drawn += len(missing)
        for key, svg in _draw_all(missing).items():
            self.known[key] = svg
            self._keep(key, svg)

    def _has(self, key: str) -> bool:
        if key in self.known:
            return True
        found = None if self.folder is None else _read(self.folder / key[:2] / key)
        if found is None:
            return False
        self.known[key] = found
        return True

    def _keep(self, key: str, svg: str) -> None:
        if self.folder is None:
            return
        with contextlib.suppress(OSError):
            path = self.folder / key[:2] / key
            path.parent.mkdir(parents=True, exist_ok=True)
            _write(path, f"{hashlib.sha256(svg.encode()).hexdigest()}\n{svg}")


def _write(path: Path, text: str) -> None:
    """Write a kept figure; a half-written one would not match its hash, so nothing is flushed to the disk for it."""
    draft = path.with_suffix(f".{os.getpid()}")
    draft.write_text(text, encoding="utf-8", newline="\n")
    draft.replace(path)


def _read(path: Path) -> str | None:
    """Return a kept figure; None where there is none or it is not what was kept."""
    try:
        digest, _, svg = path.read_text(encoding="utf-8").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    return svg if hashlib.sha256(svg.encode()).hexdigest() == digest else None


def _draw_all(wanted: Mapping[str, Chart]) -> dict[str, str]:
    if len(wanted) < WORTH_A_SECOND_PROCESS or (os.cpu_count() or 1) < 2:
        return {key: render_chart(chart) for key, chart in wanted.items()}
    keys, charts = list(wanted), list(wanted.values())
    try:
        return _draw_in_two(keys, charts)
    except (OSError, RuntimeError):  # no process can be started here: slower, never wrong
        return {key: render_chart(chart) for key, chart in wanted.items()}


def _draw_in_two(keys: list[str], charts: list[Chart]) -> dict[str, str]:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        drawn = pool.map(render_chart, charts, chunksize=max(len(charts) // 8, 1))
        return dict(zip(keys, drawn, strict=True))
