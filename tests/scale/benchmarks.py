"""How fast, as ratios against a floor in the same run: `python3 tests/scale/benchmarks.py [--quick] [--write]`.

Every row runs the work and its floor by turns, several times, and divides the medians. A second table says where the
time of a build and a check goes, by room (`where.py`). `--write` puts both into DEVELOPERS.md. Nothing here is a test:
machines differ, ratios less so.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(Path(__file__).parent))

PIPELINE = [sys.executable, "-m", "pipeline"]
FLOOR_YAML = (
    "import sys,yaml,pathlib\n"
    "for p in sorted(pathlib.Path(sys.argv[1]).glob('projects/*/part.yaml')):\n"
    "    yaml.load(p.read_bytes(), Loader=yaml.CSafeLoader)\n"
)


@dataclass(frozen=True)
class Row:
    """One line of the table: the work, its floor, the figure, the goal, and whether it is met (None: no goal)."""

    work: str
    floor: str
    figure: str
    goal: str
    met: bool | None


@dataclass(frozen=True)
class Run:
    """Seconds of wall time and peak memory (MB) of one process."""

    seconds: float
    memory: float


def run_once(command: Sequence[str], cwd: Path = ROOT) -> Run:
    """Run a command to its end in a process of its own; findings (exit 1) are fine, anything else is not."""
    start = time.perf_counter()
    process = subprocess.Popen(
        command, cwd=cwd, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    assert process.stderr is not None
    errors = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        raise RuntimeError(f"{' '.join(command)} failed: {errors.decode()[-400:]}")
    return Run(seconds, usage.ru_maxrss / 1024)


def compare(work: Callable[[], Run], floor: Callable[[], Run], times: int) -> tuple[float, float, float]:
    """Return (ratio of the medians, seconds of the work, MB of the work), run by turns."""
    works, floors = [], []
    for _ in range(times):
        floors.append(floor())
        works.append(work())
    seconds = statistics.median(run.seconds for run in works)
    return seconds / statistics.median(run.seconds for run in floors), seconds, max(run.memory for run in works)


def judge(work: str, floor: str, ratio: float, seconds: float, goal: float) -> Row:
    """Return a row whose goal is a ratio."""
    return Row(work, floor, f"{ratio:.2f} × ({seconds:.2f} s)", f"≤ {goal:g} ×", ratio <= goal)


def make_workspace(folder: Path, parts: int, seed: int = 1, history: bool = False) -> Path:
    """Write a synthetic workspace of any size, with pictures, and with its history where that is wanted."""
    from pipeline.demo.source import read_demo_files, write_tree
    from pipeline.demo.story import build_history
    from pipeline.demo.synthetic import build_synthetic_parts
    from pipeline.history.replay import write_history
    from pipeline.reading.workspace import read_workspace

    plain = folder / "plain"
    files = read_demo_files(("shared", "site"))
    write_tree(plain, files)
    reading = read_workspace(plain)
    assert reading.workspace is not None
    made = build_synthetic_parts(parts, seed, reading.workspace.catalogues, reading.workspace.today)
    write_tree(plain, made)
    if not history:
        return plain
    workspace = read_workspace(plain).workspace
    assert workspace is not None
    write_history(folder / "told", build_history(workspace, {**files, **made}))
    return folder / "told"


def make_plain_site(folder: Path, pages: int) -> Path:
    """Write a plain MkDocs project of pages of 6 kB with a minimal theme and its own search."""
    docs, theme = folder / "docs", folder / "theme"
    docs.mkdir(parents=True)
    theme.mkdir()
    (theme / "main.html").write_text("<!doctype html><title>{{ page.title }}</title><main>{{ page.content }}</main>")
    paragraph = (
        "A **surviving original** was measured, modelled and tried, and `a value` was written down; see the list. "
    )
    body = "\n\n".join([f"## Section {i}\n\n" + paragraph * 5 + "\n\n- one\n- two\n- three" for i in range(10)])
    for index in range(pages):
        (docs / f"p{index}.md").write_text(f"# Page {index}\n\n{body}\n")
    (docs / "index.md").write_text("# Start\n")
    nav = "nav: [index.md]\nvalidation: {nav: {omitted_files: ignore}}\n"
    (folder / "mkdocs.yml").write_text(
        f"site_name: Plain\ntheme: {{name: null, custom_dir: theme}}\nplugins: [search]\n{nav}"
    )
    return folder


def build_plain(folder: Path) -> Run:
    """Build the plain site."""
    return run_once([sys.executable, "-m", "mkdocs", "build", "-q", "-f", str(folder / "mkdocs.yml")])


def clear_cache(workspace: Path) -> None:
    """Take away everything that a build left for the next one."""
    shutil.rmtree(workspace / ".pipeline", ignore_errors=True)
    shutil.rmtree(workspace / "build", ignore_errors=True)


def measure_start(times: int) -> list[Row]:
    """`pipeline --help` against a bare process that imports click."""
    found = compare(
        lambda: run_once([*PIPELINE, "--help"]), lambda: run_once([sys.executable, "-c", "import click"]), times
    )
    return [judge("`pipeline --help`, cold process", "a bare process that imports click", found[0], found[1], 2.5)]


def measure_check(workspace: Path, parts: int, times: int) -> tuple[Row, float, float]:
    """`pipeline check` against the same files through yaml's C loader; also seconds and MB."""
    found = compare(
        lambda: run_once([*PIPELINE, "check", "-w", str(workspace)]),
        lambda: run_once([sys.executable, "-c", FLOOR_YAML, str(workspace)]),
        times,
    )
    row = judge(f"`pipeline check`, {parts:,} records", "the same files through yaml's C loader", found[0], found[1], 3)
    return row, found[1], found[2]


def build_site(workspace: Path) -> Run:
    """Build a workspace's site."""
    return run_once([*PIPELINE, "build", "-w", str(workspace)])


def build_another_day(workspace: Path) -> Run:
    """Build the site of a day on which none was built: figures are there, every page is made anew."""
    mark = workspace / ".pipeline" / "day"
    day = dt.date.fromisoformat(mark.read_text()) + dt.timedelta(1) if mark.exists() else dt.date(2026, 12, 1)
    mark.parent.mkdir(exist_ok=True)
    mark.write_text(day.isoformat())
    return run_once([*PIPELINE, "build", "-w", str(workspace), "--on", day.isoformat()])


SERVED = """
import sys, time
from pathlib import Path
from pipeline.sitegen.build import build_site
root, record = Path(sys.argv[1]), Path(sys.argv[2])
def edit():
    record.write_text(record.read_text("utf-8") + "# and again\\n", "utf-8")
    start = time.perf_counter()
    build_site(root)
    return time.perf_counter() - start
edit()
print(edit())
"""


def build_served(workspace: Path, record: Path) -> Run:
    """Edit a record in a process that has built the site before, as `pipeline serve` has, and build it again."""
    command = [sys.executable, "-c", SERVED, str(workspace), str(record)]
    done = subprocess.run(
        command, cwd=ROOT, check=True, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    return Run(float(done.stdout.split()[-1]), 0.0)


def measure_build(workspace: Path, plain: Path, parts: int, times: int) -> tuple[list[Row], float]:
    """`pipeline build` cold, on another day, again and after an edit, against plain MkDocs pages; seconds cold, too."""

    def cold() -> Run:
        clear_cache(workspace)
        return build_site(workspace)

    floor = f"`mkdocs build` of {parts:,} Markdown pages of 6 kB"
    first = compare(cold, lambda: build_plain(plain), times)
    rows = [judge(f"`pipeline build`, {parts:,} parts, nothing cached, every plot drawn", floor, first[0], first[1], 3)]
    later = compare(lambda: build_another_day(workspace), lambda: build_plain(plain), times)
    rows.append(judge("the same on another day: plots cached, every page made anew", floor, later[0], later[1], 1))
    build_site(workspace)
    again = compare(lambda: build_site(workspace), lambda: build_plain(plain), times)
    rows.append(judge("the same again, nothing changed", floor, again[0], again[1], 0.25))
    record = sorted(workspace.glob("projects/*/part.yaml"))[0]

    def edited() -> Run:
        record.write_text(record.read_text("utf-8") + "# looked at again\n", "utf-8")
        return build_site(workspace)

    after = compare(edited, lambda: build_plain(plain), times)
    rows.append(judge("one record edited, then build", floor, after[0], after[1], 0.25))
    served = compare(lambda: build_served(workspace, record), lambda: build_plain(plain), times)
    rows.append(judge("one record edited under `pipeline serve`", floor, served[0], served[1], 0.25))
    return rows, first[1]


def measure_large(place: Path, parts: int, times: int) -> list[Row]:
    """A large workspace with its history: build with plots cached, and memory."""
    workspace = make_workspace(place / "large", parts, history=True)
    plain = make_plain_site(place / "large-plain", parts)
    build_site(workspace)
    found = compare(lambda: build_another_day(workspace), lambda: build_plain(plain), times)
    count = subprocess.run(["git", "-C", workspace, "rev-list", "--count", "HEAD"], capture_output=True, check=True)
    name = f"{parts:,} parts, {int(count.stdout):,} commits, another day"
    memory = max(found[2], run_once([*PIPELINE, "check", "-w", str(workspace)]).memory)
    return [
        judge(name, f"`mkdocs build` of {parts:,} such pages", found[0], found[1], 0.6),
        Row(f"memory, {name}", "-", f"{memory:.0f} MB", "≤ 300 MB", memory <= 300),
        *measure_weight(workspace / "build" / "site", parts),
    ]


def measure_weight(site: Path, parts: int) -> list[Row]:
    """Weights of the heaviest part page, of the search index and of the site."""
    pages = [page.stat().st_size for page in site.glob("parts/*.html") if page.name != "index.html"]
    index = (site / "data" / "parts.js").stat().st_size
    whole = sum(file.stat().st_size for file in site.rglob("*") if file.is_file())
    return [
        Row("weight: the heaviest part page", "-", f"{max(pages) / 1000:.0f} kB", "≤ 150 kB", max(pages) <= 150_000),
        Row(f"weight: search index, {parts:,} parts", "-", f"{index / 1e6:.2f} MB", "≤ 1 MB", index <= 1_000_000),
        Row(f"weight: site, per 200 parts of {parts:,}", "-", f"{whole / parts * 200 / 1e6:.1f} MB", "≤ 40 MB",
            whole / parts * 200 <= 40e6),
    ]  # fmt: skip


def compute_slope(sizes: Sequence[int], seconds: Sequence[float]) -> float:
    """Return the slope of a straight line through log(size), log(seconds)."""
    xs, ys = [math.log(n) for n in sizes], [math.log(t) for t in seconds]
    mx, my = statistics.mean(xs), statistics.mean(ys)
    return sum((x - mx) * (y - my) for x, y in zip(xs, ys, strict=True)) / sum((x - mx) ** 2 for x in xs)


def measure_growth(place: Path, sizes: Sequence[int], times: int) -> list[Row]:
    """How check and build grow with the number of parts."""
    check, build = [], []
    for size in sizes:
        workspace = make_workspace(place / f"growth-{size}", size)
        check.append(
            statistics.median(run_once([*PIPELINE, "check", "-w", str(workspace)]).seconds for _ in range(times))
        )
        build_site(workspace)
        build.append(statistics.median(build_another_day(workspace).seconds for _ in range(times)))
    span = f"from {sizes[0]:,} to {sizes[-1]:,} parts"
    rows = []
    for name, seconds in (("check", check), ("build on another day", build)):
        slope = compute_slope(sizes, seconds)
        rows.append(Row(f"growth of {name} {span}", "log-log slope", f"{slope:.2f}", "≤ 1.1", slope <= 1.1))
    return rows


def measure_rooms(quick: bool) -> list[Row]:
    """Rows that the rooms' own benchmarks give: functions `measure_rows(quick)` of the modules `bench_*.py`."""
    import importlib

    rows: list[Row] = []
    for path in sorted(Path(__file__).parent.glob("bench_*.py")):
        module = importlib.import_module(path.stem)
        rows += [Row(*row) for row in module.measure_rows(quick)]
    return rows


def render_table(rows: Sequence[Row]) -> str:
    """Return the table in Markdown."""
    words = {True: "yes", False: "**no**", None: "-"}
    lines = ["| work | floor in the same run | figure | goal | met |", "| --- | --- | --- | --- | --- |"]
    lines += [f"| {r.work} | {r.floor} | {r.figure} | {r.goal} | {words[r.met]} |" for r in rows]
    return "\n".join(lines)


def find_where(workspace: Path) -> str:
    """Return the table of where the time of a check and of three builds goes."""
    from where import render_shares, sample

    build = ["build", "-w", str(workspace)]
    clear_cache(workspace)
    columns = {"build, nothing cached": sample(build), "build, another day": sample([*build, "--on", "2027-03-01"])}
    sample(build)
    record = sorted(workspace.glob("projects/*/part.yaml"))[0]
    record.write_text(record.read_text("utf-8").replace("name: ", "name: New ", 1), "utf-8")
    columns["build, one record edited"] = sample(build)
    columns["check"] = sample(["check", "-w", str(workspace)])
    return render_shares(columns)


def measure_all(quick: bool) -> tuple[list[Row], str]:
    """Measure everything: the rows, and where the time goes."""
    times = 3 if quick else 5
    with tempfile.TemporaryDirectory(prefix="pipeline-bench-") as name:
        place = Path(name)
        small = make_workspace(place / "small", 200)
        plain = make_plain_site(place / "plain", 200)
        rows = measure_start(times)
        rows.append(measure_check(small, 200, times)[0])
        rows += measure_build(small, plain, 200, times)[0]
        where = find_where(small)
        rows += measure_growth(place, (100, 400) if quick else (200, 1000, 5000), 1 if quick else 2)
        rows += measure_large(place, 400 if quick else 2000, 1 if quick else 3)
    return rows + measure_rooms(quick), where


def write_table(name: str, table: str) -> None:
    """Put a table between its marks in DEVELOPERS.md."""
    page = ROOT / "DEVELOPERS.md"
    text = page.read_text("utf-8")
    block = f"<!-- {name} -->\n{table}\n<!-- /{name} -->"
    page.write_text(re.sub(rf"<!-- {name} -->.*?<!-- /{name} -->", lambda _: block, text, flags=re.S), "utf-8")


def main() -> None:
    """Measure, print, and write where that is wanted."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="smaller sizes and fewer runs")
    parser.add_argument("--write", action="store_true", help="put the table into DEVELOPERS.md")
    options = parser.parse_args()
    rows, where = measure_all(options.quick)
    table = render_table(rows)
    print(f"{table}\n\n{where}")
    if options.write:
        write_table("benchmarks", table)
        write_table("where", where)


if __name__ == "__main__":
    main()
