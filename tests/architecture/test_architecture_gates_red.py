"""Every gate of `.ci/run` is seen red once: each tool fails on a fault put there for it, and passes without it.

The doors between rooms have theirs in test_architecture_doors.py.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CI = ROOT / ".ci/run"
GOOD = '"""A module."""\n\n\ndef double(value: int) -> int:\n    """Return twice the value."""\n    return value * 2\n'
SEEDED = {
    "ruff check .": ("pipeline/module.py", "import os\n" + GOOD),
    "ruff format --check .": ("pipeline/module.py", GOOD.replace("value * 2", "value*2")),
    "mypy": ("pipeline/module.py", GOOD.replace("value * 2", 'f"{value}"')),
}


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A small package with the project's own settings."""
    (tmp_path / "pipeline").mkdir()
    (tmp_path / "pipeline/__init__.py").write_text('"""A package."""\n')
    (tmp_path / "pipeline/module.py").write_text(GOOD)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def run(words: str, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a command of `.ci/run` with the tools of this environment."""
    tools = str(Path(sys.executable).parent)
    env = {**os.environ, "PATH": f"{tools}{os.pathsep}{os.environ['PATH']}", **more}
    return subprocess.run(words, shell=True, cwd=cwd, env=env, capture_output=True, text=True, check=False)


@pytest.mark.slow
@pytest.mark.parametrize("words", SEEDED)
def test_a_tool_fails_on_its_fault_and_passes_without(words: str, house: Path) -> None:
    assert re.search(rf"^{re.escape(words)}$", CI.read_text("utf-8"), re.M), "`.ci/run` runs it as here"
    good = run(words, house)
    assert good.returncode == 0, good.stdout + good.stderr
    name, text = SEEDED[words]
    (house / name).write_text(text)
    assert run(words, house).returncode != 0


@pytest.mark.slow
def test_a_failing_test_an_unknown_mark_and_no_test_at_all_are_red(house: Path) -> None:
    (house / "tests").mkdir()
    test = house / "tests/test_it.py"
    words = f"{sys.executable} -m pytest -n 0 -p no:cacheprovider"
    for text, code in (
        ("def test_it():\n    assert True\n", 0),
        ("def test_it():\n    assert False\n", 1),
        ("import pytest\n@pytest.mark.sloow\ndef test_it():\n    assert True\n", 2),
        ("import nothing_of_this_name\n", 2),
        ("", 5),
    ):
        test.write_text(text)
        assert run(words, house).returncode == code, text


@pytest.mark.slow
def test_a_browser_that_is_not_there_is_red_where_it_is_required() -> None:
    words = f"{sys.executable} -m pytest -q -n 0 -p no:cacheprovider tests/hostile/test_hostile_site.py -k blocks_a_script -m browser"
    required = run(words, ROOT, PIPELINE_CHROMIUM="/no/browser", PIPELINE_REQUIRE_BROWSER="1")
    assert required.returncode == 1 and "no browser at /no/browser" in required.stdout
    asked = run(words, ROOT, PIPELINE_CHROMIUM="/no/browser", PIPELINE_REQUIRE_BROWSER="")
    assert asked.returncode == 0 and "skipped" in asked.stdout


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="a shell script")
@pytest.mark.parametrize(
    ("rules", "is_red"),
    [(["G606", "E302"], False), (["E302"], True), (["E302", "G606", "M104"], True), ([], True), (None, True)],
)
def test_an_unexpected_finding_in_the_demo_is_red(rules: list[str] | None, is_red: bool, tmp_path: Path) -> None:
    """The very lines of `.ci/run`, with a program in the place of `pipeline check` that says what it is told to."""
    said = (
        ""
        if rules is None
        else json.dumps(
            {"findings": [{"rule": r, "severity": "error"} for r in rules] + [{"rule": "R1", "severity": "warning"}]}
        )
    )
    fake = tmp_path / "pipeline"
    fake.write_text(f"#!/bin/sh\ncat <<'END'\n{said}\nEND\nexit 1\n")
    fake.chmod(0o755)
    lines = re.findall(r"^(?:found=|test \"\$found\").*$", CI.read_text("utf-8"), re.M)
    assert len(lines) == 2
    script = "set -euo pipefail\n" + "\n".join(lines)
    done = subprocess.run(
        ["bash", "-c", script],
        env={**os.environ, "PATH": f"{tmp_path}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode != 0) == is_red, done.stdout + done.stderr


def test_the_script_stops_at_the_first_red_gate() -> None:
    text = CI.read_text("utf-8")
    assert "set -euo pipefail" in text.splitlines()[:4]
    gates = [
        "python3 -m pytest",
        "python3 -m pytest -m slow",
        "ruff check .",
        "ruff format --check .",
        "mypy",
        "lint-imports",
    ]
    places = [re.search(rf"(^|&& ){re.escape(gate)}$", text, re.M) for gate in gates]
    assert all(places), gates
    assert [p.start() for p in places if p] == sorted(p.start() for p in places if p)
    assert not re.search(r"(ruff|mypy|lint-imports|pytest)[^\n]*\|\| true", text)


def test_a_page_that_is_out_of_date_is_red() -> None:
    from architecture.test_architecture_pages import find_block, render_rooms

    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    stale = text.replace("What a record is", "What a record was")
    assert find_block(text, "rooms") == render_rooms() != find_block(stale, "rooms")
