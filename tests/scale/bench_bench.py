"""How long the commands of the bench take, against the time that `pipeline --help` takes: a person at a terminal waits
for both, and the ratio says what the work itself adds."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from benchmarks import PIPELINE, ROOT, run_once

GOAL = 12.0
"""Most times that a command may take of what `--help` takes: two seconds where the help comes in a sixth of one."""


def measure_rows(quick: bool = False) -> list[tuple[str, str, str, str, bool]]:
    """Return a row for attach, decide, fit, revise and the hook on a copy of the demo's workspace."""
    rounds = 3 if quick else 7
    with tempfile.TemporaryDirectory() as place:
        shop = Path(place) / "shop"
        for folder in ("projects", "shared"):
            shutil.copytree(ROOT / folder, shop / folder)
        (shop / "reading.csv").write_text("# unit: mm\nrim_od,112.40\n", "utf-8")
        subprocess.run(["git", "init", "-q"], cwd=shop, check=True)
        subprocess.run(["git", "add", "projects/TW-101", "shared"], cwd=shop, check=True)
        return [_measure(name, command, shop, rounds) for name, command in build_commands()]


def build_commands() -> Iterator[tuple[str, list[str]]]:
    """Yield (name, command); each is a dry run, which does all the work but the last rename."""
    part = "TW-101"
    yield "attach", ["attach", part, "reading.csv", "--kind", "measurement", "--of", "O1", "--with", "arm-1", "--at",
                     "20 C", "--gives", "rim_od=112.40", "--by", "mara", "--dry-run"]  # fmt: skip
    yield "decide", ["decide", part, "quote", "hold", "--by", "buyer", "--why", "wait", "--dry-run"]
    yield "fit", ["fit", part, "--with", "P1", "--car", "saloon-3", "--fits", "saloon-early", "--hand", "left", "--gaps",
                  "rim_to_wing=0.6", "--result", "good", "--by", "mara", "--seen-by", "ito", "--dry-run"]  # fmt: skip
    yield "revise", ["revise", part, "--changed", "rim_od", "--why", "x", "--by", "mara", "--dry-run"]
    yield "hook run", ["hook", "run"]


def _measure(name: str, command: list[str], shop: Path, rounds: int) -> tuple[str, str, str, str, bool]:
    own, floor = [], []
    for _ in range(rounds):
        floor.append(run_once([*PIPELINE, "--help"], shop).seconds)
        own.append(run_once([*PIPELINE, *command], shop).seconds)
    ratio = statistics.median(own) / statistics.median(floor)
    figure = f"{ratio:.1f} x ({statistics.median(own):.2f} s)"
    return f"pipeline {name}, one record of the demo", "pipeline --help", figure, f"at most {GOAL:g} x", ratio <= GOAL


if __name__ == "__main__":
    for work, _, figure, goal, met in measure_rows("--quick" in sys.argv):
        print(f"{work:<48} {figure:<20} {goal:<16} {'met' if met else 'not met'}")
