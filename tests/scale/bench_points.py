"""Time fits of a long scan against numpy's own `lstsq` on the same points, and the memory of reading a million of them.

Run `python tests/scale/bench_points.py`.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from pipeline.measuring.made_points import FITS, build_feature_points, solve_linear_floor  # noqa: E402

POINTS = 100_000
GOAL_RATIO = 10.0
BYTES_A_POINT = 24
GOAL_MEMORY = 2.3
"""Peak memory as a multiple of the points themselves: a growing buffer is held twice while it moves."""

BenchRow = tuple[str, str, str, str, bool | None]


def time_median(work: Callable[[], object], times: int) -> float:
    """Return the median of the seconds that some work takes."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def measure_fit(feature: str, count: int, times: int) -> float:
    """Return how many times numpy's own `lstsq` a fit takes on the same points."""
    points = build_feature_points(feature, count, seed=1)
    fit = FITS[feature]
    fit(points[:1000])
    ratios = []
    for _ in range(times):  # by turns, so that a noisy moment meets both
        work = time_median(lambda: fit(points), 1)
        floor = time_median(lambda: solve_linear_floor(points), 3)
        ratios.append(work / floor)
    return statistics.median(ratios)


def write_scan(path: Path, count: int) -> None:
    """Write a file of so many points in one group."""
    rng = np.random.default_rng(1)
    with path.open("w", encoding="utf-8") as stream:
        stream.write("# unit: mm\ngroup,x,y,z\n")
        for start in range(0, count, 10_000):
            block = rng.uniform(-200, 200, (min(10_000, count - start), 3))
            stream.writelines(f"scan,{x:.4f},{y:.4f},{z:.4f}\n" for x, y, z in block.tolist())


def measure_reading(count: int) -> tuple[float, float]:
    """Return the seconds that reading so many points takes, and the peak memory beyond an idle process in bytes."""
    with tempfile.TemporaryDirectory() as folder:
        write_scan(Path(folder) / "big.csv", count)
        command = [sys.executable, __file__, "--read", folder]
        run = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT)
    seconds, kilobytes = map(float, run.stdout.split())
    return seconds, kilobytes * 1024


def read_peak_memory() -> float:
    """Return the peak memory of this process in kilobytes (an inherited peak of the parent does not count)."""
    status = Path("/proc/self/status")
    if status.exists():
        return float(status.read_text().split("VmHWM:")[1].split()[0])
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)


def read_here(folder: Path) -> None:
    """Read the file in this process and print seconds and kilobytes."""
    from pipeline.reading.points import read_measured_file

    before = read_peak_memory()
    start = time.perf_counter()
    _, findings = read_measured_file(folder, "big.csv")
    if findings:
        raise SystemExit(str(findings))
    print(time.perf_counter() - start, read_peak_memory() - before)


def measure_rows(quick: bool = False) -> list[BenchRow]:
    """Return the rows of the table: each fit against its floor, and the memory of a long file."""
    rows: list[BenchRow] = []
    for feature in FITS:
        ratio = measure_fit(feature, 20_000 if quick else POINTS, 3 if quick else 7)
        name = f"fit of a {feature}, {POINTS:,} points"
        rows.append(
            (name, "numpy's lstsq on the same points", f"{ratio:.1f} x", f"<= {GOAL_RATIO:g} x", ratio <= GOAL_RATIO)
        )
    count = 200_000 if quick else 1_000_000
    seconds, memory = measure_reading(count)
    share = memory / (BYTES_A_POINT * count)
    rows.append(
        (
            f"file of {count:,} points read ({seconds:.1f} s)",
            f"the points themselves, {BYTES_A_POINT * count / 1e6:.0f} MB",
            f"{share:.1f} x",
            f"<= {GOAL_MEMORY:g} x",
            share <= GOAL_MEMORY,
        )
    )
    return rows


if __name__ == "__main__":
    if "--read" in sys.argv:
        read_here(Path(sys.argv[-1]))
    else:
        for row in measure_rows("--quick" in sys.argv):
            print(" | ".join(map(str, row)))
