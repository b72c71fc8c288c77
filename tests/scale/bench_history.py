"""How fast the history of a big workspace is read: medians against `git log --raw` of the same repository.

Run: python tests/scale/bench_history.py [parts] [commits]   (2,000 parts and 20,000 commits if not given)
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

from pipeline.history.recorded import History, read_record_history
from pipeline.history.replay import PlannedCommit, write_history
from pipeline.history.repository import open_repository

START = datetime(2022, 1, 3, 8, tzinfo=UTC)
BLOCKS = ("originals", "measurements", "revisions", "prototypes", "fit_checks", "quotes")


def parse(content: bytes) -> dict[str, Any] | None:
    try:
        tree = yaml.load(content, yaml.CSafeLoader)
    except (yaml.YAMLError, UnicodeDecodeError, ValueError):
        return None
    return tree if isinstance(tree, dict) else None


def render_record(number: int, step: int) -> bytes:
    """A record of about 4.5 kB that has grown by one line of evidence or one decision for each of its commits."""
    lines = [
        f"part: TW-{number}",
        f"name: part number {number}",
        "family: die-cast-plated",
        "engineer: mara",
        "features:",
    ]
    fact = "{what: a distance, kind: distance, nominal: %d.%02d, limits: [-0.25, 0.25], unit: mm, critical: true}"
    lines += [f"  f{n}: " + fact % (number, n) for n in range(14)]
    for place, block in enumerate(BLOCKS):
        lines.append(f"{block}:")
        grown = 4 + (step + place) // len(BLOCKS)
        lines += [
            f"  X{n}: {{on: 2026-02-{n % 27 + 1:02d}, by: mara, file: evidence/{block}-{n}.csv, note: {number}}}"
            for n in range(grown)
        ]
    lines.append("decisions:")
    lines += [
        f"  - {{gate: measure, on: 2026-03-{n % 27 + 1:02d}, by: ito, say: go, why: step {n} of {number}}}"
        for n in range(1 + step // 3)
    ]
    return ("\n".join(lines) + "\n").encode()


def plan_commits(parts: int, commits: int) -> Iterator[PlannedCommit]:
    for n in range(commits):
        number, step = n % parts, n // parts
        files: dict[str, bytes | None] = {f"projects/TW-{number}/part.yaml": render_record(number, step)}
        if n % 4 == 0:
            files[f"projects/TW-{number}/evidence/e{step}.csv"] = b"%d,%d\n" % (number, step)
        yield PlannedCommit(START + timedelta(minutes=90 * n), f"Engineer {n % 5}", f"e{n % 5}", f"step {step}", files)


def measure(action: Callable[[], Any], times: int = 5) -> tuple[float, Any]:
    took, answer = [], None
    for _ in range(times):
        start = time.perf_counter()
        answer = action()
        took.append(time.perf_counter() - start)
    return statistics.median(took), answer


def read(folder: Path, cache: Path | None, only: tuple[str, ...] | None = None) -> History:
    repository = open_repository(folder).repository
    assert repository is not None
    return read_record_history(repository, parse=parse, cache=cache, only=only)


def add_commit(folder: Path, number: int) -> None:
    with (folder / "projects" / "TW-7" / "part.yaml").open("ab") as record:
        record.write(b"note%d: one more\n" % number)
    who = ("-c", "user.name=Mara", "-c", "user.email=mara@example.invalid")
    subprocess.run(["git", *who, "commit", "-qam", "one more"], cwd=folder, check=True)


GATE_FACTS = ("decisions", "waivers")


def measure_rows(quick: bool = False) -> list[tuple[str, str, str, str, bool | None]]:
    """Rows of the table of benchmarks: the history of gates against the raw log, and one new commit on top of it."""
    parts, commits, times = (400, 4000, 3) if quick else (2000, 20_000, 5)
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "w", Path(place) / "history.sqlite"
        write_history(folder, plan_commits(parts, commits))
        raw = ["git", "log", "--raw", "-z", "--no-abbrev"]
        pairs = []
        for _ in range(times):
            floor, _ = measure(lambda: subprocess.run(raw, cwd=folder, stdout=subprocess.DEVNULL, check=True), 1)
            pairs.append((measure(lambda: read(folder, None, GATE_FACTS), 1)[0], floor))
        seconds = statistics.median(took for took, _ in pairs)
        ratio = statistics.median(took / floor for took, floor in pairs)  # each against the floor right beside it
        read(folder, cache, GATE_FACTS)
        later = []
        for number in range(times):
            add_commit(folder, number)
            took, answer = measure(lambda: read(folder, cache, GATE_FACTS), 1)
            assert answer.read_commits == 1
            later.append(1000 * took)
    name = f"gate history of {commits:,} commits, nothing cached"
    new = statistics.median(later)
    return [
        (name, "`git log --raw` of that repository", f"{ratio:.2f} × ({seconds:.2f} s)", "≤ 3 ×", ratio <= 3),
        (f"one new commit on {commits:,}", "-", f"{new:.0f} ms", "≤ 50 ms", new <= 50),
    ]


def main(parts: int, commits: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder, cache = Path(place) / "w", Path(place) / "history.sqlite"
        made, _ = measure(lambda: write_history(folder, plan_commits(parts, commits)), 1)
        raw = ["git", "log", "--raw", "-z", "--no-abbrev"]
        floor, _ = measure(lambda: subprocess.run(raw, cwd=folder, stdout=subprocess.DEVNULL, check=True))
        cold, history = measure(lambda: read(folder, None))
        gates, _ = measure(lambda: read(folder, None, GATE_FACTS))
        stored, _ = measure(lambda: read(folder, cache), 1)
        warm, _ = measure(lambda: read(folder, cache))
        later = []
        for number in range(5):
            add_commit(folder, number)
            took, answer = measure(lambda: read(folder, cache), 1)
            assert answer.read_commits == 1
            later.append(took)
        size = cache.stat().st_size / 1e6
        print(f"{parts} parts, {commits} commits, {history.parsed_pieces} pieces parsed; written in {made:.1f} s")
        print(f"git log --raw          {floor:8.3f} s")
        print(f"decisions and waivers  {gates:8.3f} s  {gates / floor:5.2f} x  (nothing cached)")
        print(f"every fact             {cold:8.3f} s  {cold / floor:5.2f} x  (nothing cached)")
        print(f"  and written to cache {stored:8.3f} s  ({size:.1f} MB)")
        print(f"cached, same head      {warm * 1000:8.1f} ms")
        print(f"cached, one new commit {statistics.median(later) * 1000:8.1f} ms")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    main(*(given if len(given) == 2 else (2000, 20_000)))
