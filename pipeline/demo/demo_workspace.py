"""A whole demo workspace: hand-written records, synthetic ones up to a number, and the history that led to them."""

from __future__ import annotations

import itertools
import re
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline.demo.source import read_demo_files, write_tree
from pipeline.demo.story import build_history
from pipeline.demo.synthetic import build_synthetic_parts
from pipeline.history.replay import write_history
from pipeline.reading.workspace import read_workspace

_MONEY = "shared/money.yaml"
_THIS_QUARTER = 0.6
"""Of a budget in proportion to the parts: synthetic parts have cheaper tools than those written by hand."""


@dataclass(frozen=True, slots=True)
class DemoWritten:
    """What was written: how many parts by hand, how many synthetic, how many commits (0: git is not there)."""

    by_hand: int
    synthetic: int
    commits: int


def write_demo(
    folder: Path, parts: int = 200, seed: int = 7, say: Callable[[str], None] = lambda _: None
) -> DemoWritten:
    """Write the demo workspace into a new or empty folder.

    It is made beside the folder and moved into place at the end: an interrupted demo leaves nothing behind that looks
    like one. parts : how many parts in all. seed : of the synthetic ones. say : told what is going on.
    Raises OSError when the folder cannot be written.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as place:
        workshop = Path(place)
        files = read_demo_files()
        write_tree(workshop / "plain", files)
        reading = read_workspace(workshop / "plain")
        if reading.workspace is None:
            raise ValueError("the demo's own catalogues cannot be read; install repro-pipeline again")
        by_hand = len(reading.workspace.parts)
        wanted = max(0, parts - by_hand)
        say(f"{by_hand} parts written by hand; making {wanted} synthetic ones (seed {seed})")
        workspace = reading.workspace
        made = build_synthetic_parts(wanted, seed, workspace.catalogues, workspace.today, frozenset(workspace.parts))
        factor = _THIS_QUARTER * (by_hand + wanted) / by_hand
        files[_MONEY] = grow_budgets(files[_MONEY], max(1.0, factor), max(1.0, factor / 3))
        write_tree(workshop / "plain", {**made, _MONEY: files[_MONEY]})
        commits = _replay(workshop, {**files, **made}, say)
        _move(workshop / ("told" if commits else "plain"), folder)
    return DemoWritten(by_hand, wanted, commits)


def grow_budgets(money: bytes, first: float, later: float) -> bytes:
    """Return shared/money.yaml with the budget of the first quarter and those of the later ones multiplied.

    What is promised already is paid in the first: it grows with the shop. Later ones grow less, so that an owner has to
    choose.

    >>> grow_budgets(b"budgets:\\n  2026-Q4: 30000\\n  2027-Q1: 75000\\n", 2, 1.5)
    b'budgets:\\n  2026-Q4: 60000\\n  2027-Q1: 112000\\n'
    """
    factors = itertools.chain([first], itertools.repeat(later))

    def grow(found: re.Match[bytes]) -> bytes:
        return found.group(1) + str(int(round(int(found.group(2)) * next(factors), -3))).encode("ascii")

    return re.sub(rb"(?m)^(  \d{4}-Q[1-4]: )(\d+)", grow, money)


def _replay(workshop: Path, files: dict[str, bytes], say: Callable[[str], None]) -> int:
    """Write the workspace again with its history; 0 where git is not to be had."""
    if shutil.which("git") is None:
        say("git is not installed: the workspace has no history")
        return 0
    workspace = read_workspace(workshop / "plain").workspace
    if workspace is None:  # pragma: no cover - it was read a moment ago
        return 0
    history = build_history(workspace, files)
    say(f"replaying {len(history)} commits from the days in the records")
    write_history(workshop / "told", history)
    return len(history)


def _move(source: Path, folder: Path) -> None:
    if folder.exists():
        folder.rmdir()  # empty: the caller has looked
    source.replace(folder)
