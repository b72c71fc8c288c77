"""Mutation testing of one module: small changes to its code, each of which some test should notice.

`python tests/scale/mutants.py pipeline/costing/ladder.py tests/costing tests/laws -n 30 --seed 7` makes 30 mutants, chosen
by the seed from all that can be made (`mutations.py`), tries the named tests on each in a copy of the source tree, and
prints which survived. The checkout is never touched. A first run notes which test runs which line; on a mutant only
the tests of its lines are tried, and all of them only where those notice nothing. `--write` puts the tally into
DEVELOPERS.md. A survivor that changes nothing is explained in `survivors.toml`; the command fails on any other one.
It is a command, not a part of the suite: a mutant costs a run of tests. It needs a system that can fork.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import coverage
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from mutants_table import Tally, explain, write_tally
from mutations import Mutant, list_mutants, write_mutant

ROOT = Path(__file__).parents[2]
LIBRARIES = ("numpy", "scipy.stats", "scipy.optimize", "networkx", "pydantic", "yaml", "click", "hypothesis")
"""Imported once, before the runs split off: none of them knows the module that is changed."""
MEMORY = 6 << 30
"""Bytes that one run may take: a loop without end must not take the machine with it."""


@dataclass(frozen=True)
class Watched:
    """What the first run saw: line of the module -> tests that run it, and seconds of each test, quickest first."""

    lines: dict[int, frozenset[str]]
    seconds: dict[str, float]

    def find_tests(self, lines: range) -> list[str]:
        """Return the tests that run any of the lines, quickest first; all of them for what runs at the import."""
        found = [self.lines.get(line, frozenset()) for line in lines]
        wanted = frozenset().union(*found)
        return [test for test in self.seconds if "" in wanted or test in wanted]


class _Watch:
    """Notes the seconds of each test, and names to coverage the test that runs."""

    def __init__(self, watch: coverage.Coverage) -> None:
        self.watch, self.seconds = watch, dict[str, float]()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item):  # type: ignore[no-untyped-def]
        start = time.perf_counter()
        self.watch.switch_context(item.nodeid)
        result = yield
        self.watch.switch_context("")
        self.seconds[item.nodeid] = time.perf_counter() - start
        return result


class _Choose:
    """Keeps the chosen tests alone, in their order."""

    def __init__(self, tests: Sequence[str]) -> None:
        self.place = {test: number for number, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.place), key=lambda item: self.place[item.nodeid]
        )


def _run_pytest(root: Path, names: Sequence[str], *plugins: object) -> int:
    """Run tests in this process, in the copy of the tree."""
    os.chdir(root)
    sys.path.insert(0, str(root))
    os.environ["PYTHONPATH"] = str(root)
    words = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "-m", "not slow and not browser", *names]
    return int(pytest.main(words, plugins=list(plugins)))


def _start(log: Path, work) -> int:  # type: ignore[no-untyped-def]
    """Start work in a process of its own group; it ends with what the work returns. Return its id."""
    pid = os.fork()
    if pid:
        with contextlib.suppress(PermissionError, ProcessLookupError):  # it did so itself, or is done already
            os.setpgid(pid, pid)
        return pid
    code = 99
    try:
        os.setpgid(0, 0)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))
        where = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(where, 1)
        os.dup2(where, 2)
        code = work()
    finally:
        os._exit(code)


def _wait(pid: int, limit: float) -> int | None:
    """Return how a process ended; None where it had to be stopped after `limit` seconds."""
    end, done, status = time.monotonic() + limit, 0, 0
    try:
        while not done and time.monotonic() < end:
            done, status = os.waitpid(pid, os.WNOHANG)
            time.sleep(0.01)
    finally:  # also where this process itself is told to end: nothing goes on behind it
        if not done:
            os.killpg(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
    return os.waitstatus_to_exitcode(status) if done else None


def watch_tests(root: Path, module: str, tests: Sequence[str], limit: float) -> Watched | None:
    """Run the tests on the code as it is; return which of them run which line, None where they fail."""
    seen = root / "seen.json"

    def work() -> int:
        watch = coverage.Coverage(
            data_file=None, include=[str(root / module)], config_file=False, check_preimported=True
        )
        plugin = _Watch(watch)
        watch.start()
        code = _run_pytest(root, tests, plugin)
        watch.stop()
        lines = watch.get_data().contexts_by_lineno(str(root / module))
        seen.write_text(json.dumps({"lines": lines, "seconds": plugin.seconds}))
        return code

    if _wait(_start(root / "log", work), limit) != 0:
        print((root / "log").read_text("utf-8")[-2000:])
        return None
    found = json.loads(seen.read_text("utf-8"))
    lines = {int(line): frozenset(names) for line, names in found["lines"].items()}
    return Watched(lines, dict(sorted(found["seconds"].items(), key=lambda pair: pair[1])))


def try_tests(root: Path, tests: Sequence[str], seconds: float) -> bool:
    """Return True when one of the tests fails, or they run without end."""
    files = list(dict.fromkeys(test.partition("::")[0] for test in tests))
    pid = _start(root / "log", lambda: _run_pytest(root, files, _Choose(tests)))
    return _wait(pid, 20 + 5 * seconds) != 0


def try_mutant(root: Path, module: str, text: str, mutant: Mutant, watched: Watched) -> bool:
    """Return True when the tests notice the mutant: those of its lines, else any."""
    target = root / module
    target.write_text(write_mutant(text, mutant), "utf-8")
    Path(importlib.util.cache_from_source(str(target))).unlink(missing_ok=True)
    near = watched.find_tests(mutant.lines)
    every = list(watched.seconds)
    for tests in (near, every) if len(near) < len(every) else (every,):
        if tests and try_tests(root, tests, sum(watched.seconds[test] for test in tests)):
            return True
    return False


def _copy_tree(place: Path) -> Path:
    left_out = shutil.ignore_patterns(".git", "build", ".pipeline", "__pycache__", "*_cache")
    return Path(shutil.copytree(ROOT, place, ignore=left_out, symlinks=True))


def try_module(module: str, tests: Sequence[str], count: int, seed: int, limit: float) -> Tally | None:
    """Try the mutants of one module; None where the tests fail on the code as it is."""
    text = (ROOT / module).read_text("utf-8")
    every = list_mutants(text)
    chosen = sorted(random.Random(seed).sample(range(len(every)), min(count, len(every))))
    with tempfile.TemporaryDirectory(prefix="mutants-") as place:
        root = _copy_tree(Path(place) / "tree")
        watched = watch_tests(root, module, tests, limit)
        if watched is None:
            return None
        survivors = []
        for mutant in (every[number] for number in chosen):
            if not try_mutant(root, module, text, mutant, watched):
                survivors.append(mutant.what)
                print(f"{module}:{mutant.lines.start}: survived: {mutant.what}", flush=True)
    return Tally(module, len(every), len(chosen), len(chosen) - len(survivors), tuple(survivors))


def main() -> int:
    """Run the command."""
    asked = argparse.ArgumentParser(description="Mutation testing of one module.")
    asked.add_argument("module")
    asked.add_argument("tests", nargs="+")
    asked.add_argument("-n", "--count", type=int, default=30)
    asked.add_argument("--seed", type=int, default=7)
    asked.add_argument("--limit", type=float, default=600.0, help="seconds that the first run of the tests may take")
    asked.add_argument("--write", action="store_true", help="put the tally into DEVELOPERS.md")
    given = asked.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that the copy of the tree goes, too
    for name in LIBRARIES:
        importlib.import_module(name)
    start = time.monotonic()
    tally = try_module(given.module, given.tests, given.count, given.seed, given.limit)
    if tally is None:
        print("the tests fail on the code as it is; nothing can be said")
        return 2
    print(
        f"{tally.module}: {tally.killed} of {tally.tried} killed ({tally.made} can be made), {time.monotonic() - start:.0f} s"
    )
    if given.write:
        write_tally(tally)
    return int(bool(explain(tally)[1]))


if __name__ == "__main__":
    sys.exit(main())
