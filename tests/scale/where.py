"""Where the time of a command goes, by room: `python3 tests/scale/where.py build -w folder`.

The processor's clock interrupts the command every two milliseconds of its own time, and whoever is at work is counted:
the innermost of our modules on the stack, so that a library's time counts for the room that called it; loading modules
counts apart. These are the figures of a flame graph, without the drawing. A forked helper is not counted.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOADING, PAGES, OTHER = "loading modules", "templates", "the rest"
PERIOD = 0.002

_SAMPLER = """
import atexit, json, os, signal, sys
counts = {}
root = os.path.join(sys.argv[1], "pipeline") + os.sep
out, period, own = sys.argv[2], float(sys.argv[3]), os.getpid()

def place(frame):
    found = None
    while frame is not None:
        name = frame.f_code.co_filename
        if name.startswith("<frozen importlib"):
            return "loading modules"
        if found is None and name.startswith(root):
            found = name[len(root):]
        frame = frame.f_back
    return found or "the rest"

def look(_, frame):
    at = place(frame)
    counts[at] = counts.get(at, 0) + 1

def tell():
    if os.getpid() == own:
        signal.setitimer(signal.ITIMER_PROF, 0)
        with open(out, "w") as stream:
            json.dump(counts, stream)

signal.signal(signal.SIGPROF, look)
signal.setitimer(signal.ITIMER_PROF, period, period)
atexit.register(tell)
sys.argv = ["pipeline", *sys.argv[4:]]
from pipeline.cli import main
main()
"""


@dataclass(frozen=True)
class Shares:
    """Samples by room, and by module of ours; how many in all."""

    rooms: Mapping[str, float]
    modules: Mapping[str, float]
    samples: int


def sample(words: Sequence[str]) -> Shares:
    """Run a command and count where it is at work. Raises RuntimeError where it fails."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "counts.json"
        command = [sys.executable, "-c", _SAMPLER, str(ROOT), str(out), str(PERIOD), *words]
        done = subprocess.run(
            command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, check=False
        )
        if done.returncode not in (0, 1):
            raise RuntimeError(done.stderr.decode()[-400:])
        return count_shares(json.loads(out.read_text("utf-8")))


def count_shares(counts: Mapping[str, int]) -> Shares:
    """Turn counts by file into shares by room.

    >>> found = count_shares({"views/flow.py": 3, "sitegen/theme/part.html": 1, "loading modules": 4})
    >>> dict(found.rooms)
    {'loading modules': 0.5, 'views': 0.375, 'templates': 0.125}
    """
    total = sum(counts.values()) or 1
    rooms: dict[str, float] = {}
    for at, count in counts.items():
        room = at if at in (LOADING, OTHER) else PAGES if at.endswith(".html") else at.partition(os.sep)[0]
        rooms[room] = rooms.get(room, 0.0) + count / total
    modules = {at: count / total for at, count in counts.items() if at not in (LOADING, OTHER)}

    def order(found: Mapping[str, float]) -> dict[str, float]:
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    return Shares(order(rooms), order(modules), total)


def render_shares(columns: Mapping[str, Shares], least: float = 0.01) -> str:
    """Return the shares of several runs as one table in Markdown, without rooms that have less than `least` in all."""
    weights: dict[str, float] = {}
    for one in columns.values():
        for room, share in one.rooms.items():
            weights[room] = weights.get(room, 0.0) + share
    shown = [room for room in weights if any(one.rooms.get(room, 0) >= least for one in columns.values())]
    lines = ["| at work | " + " | ".join(columns) + " |", "| --- |" + " --- |" * len(columns)]
    lines += [
        f"| {room} | " + " | ".join(f"{one.rooms.get(room, 0):.0%}" for one in columns.values()) + " |"
        for room in sorted(shown, key=lambda room: (-weights[room], room))
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    found = sample(sys.argv[1:])
    print(render_shares({f"{' '.join(sys.argv[1:])} ({found.samples:,} samples)": found}))
    for at, share in list(found.modules.items())[:25]:
        print(f"{share:6.1%}  {at}")
