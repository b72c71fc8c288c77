"""What is tried against the program, counted from the tests' own marks without running them.

`@pytest.mark.hostile(where, what)`: something meant to do harm. `@pytest.mark.fault(what, holds)`: something that goes
wrong around the program, and what must hold then. A case is one collected test, slow ones included.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FOLDERS = ("tests/hostile", "tests/faults", "tests/history", "tests/reading", "tests/writing", "tests/sitegen")
Mark = tuple[str, str, str]
"""Name of the mark, and its two words."""


class Collector:
    """A plugin of pytest that writes down the marks of all collected tests."""

    def __init__(self) -> None:
        self.found: list[Mark] = []

    def pytest_itemcollected(self, item: pytest.Item) -> None:
        """Note the marks of one test."""
        for name in ("hostile", "fault"):
            self.found += [(name, *mark.args) for mark in item.iter_markers(name)]


def collect() -> list[Mark]:
    """Return every mark of every case. Runs pytest in a process of its own, which only collects."""
    there = [folder for folder in FOLDERS if (ROOT / folder).is_dir()]
    env = {**os.environ, "PYTEST_ADDOPTS": ""}
    done = subprocess.run(
        [sys.executable, str(Path(__file__)), *there], cwd=ROOT, env=env, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise RuntimeError(done.stdout[-2000:] + done.stderr[-2000:])
    return [tuple(mark) for mark in json.loads(done.stdout.splitlines()[-1])]


def render_hostile(marks: list[Mark]) -> str:
    """Return the table of what is meant to do harm."""
    cases: dict[str, int] = defaultdict(int)
    tried: dict[str, dict[str, None]] = defaultdict(dict)
    for name, where, what in marks:
        if name == "hostile":
            cases[where] += 1
            tried[where][what] = None
    rows = [f"| {where} | {'; '.join(sorted(tried[where]))} | {cases[where]} |" for where in sorted(cases)]
    total = f"| **all** | | **{sum(cases.values())}** |"
    return "\n".join(["| where | what is tried | cases |", "| --- | --- | ---: |", *rows, total])


def render_faults(marks: list[Mark]) -> str:
    """Return the table of what goes wrong around the program."""
    cases: dict[Mark, int] = defaultdict(int)
    for mark in marks:
        if mark[0] == "fault":
            cases[mark] += 1
    rows = [f"| {what} | {holds} | {cases[name, what, holds]} |" for name, what, holds in sorted(cases)]
    total = f"| **all** | | **{sum(cases.values())}** |"
    return "\n".join(["| what goes wrong | what must hold | cases |", "| --- | --- | ---: |", *rows, total])


if __name__ == "__main__":
    collector = Collector()
    code = pytest.main(
        ["--collect-only", "-q", "--override-ini=addopts=--import-mode=importlib --strict-markers", *sys.argv[1:]],
        plugins=[collector],
    )
    print(json.dumps(collector.found))
    sys.exit(0 if code == 0 else 1)
