"""The hook judges what is staged, not what lies on disk, and keeps nothing back that is none of its business."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.cli.hook_command import MARK, build_hook
from pipeline.demo.source import find_demo_source
from pipeline.history.staged import read_staged
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.near import read_near
from pipeline.portfolio.staged_check import NEWS, check_staged

REPO = Path(__file__).parents[2]
RECORD = "projects/SD-100/part.yaml"


class Repo:
    """A repository on disk, driven as a person drives git."""

    def __init__(self, root: Path) -> None:
        self.root = root
        who = {f"GIT_{role}_{what}": value for role in ("AUTHOR", "COMMITTER")
               for what, value in (("NAME", "Ann"), ("EMAIL", "ann@example.invalid"))}  # fmt: skip
        self.env = {**os.environ, **who, "PYTHONPATH": str(REPO), "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
                    "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"}  # fmt: skip
        self.git("init", "-q")
        self.git("add", "-A")
        self.git("commit", "-q", "-m", "start", "--no-verify")

    def git(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(["git", *words], cwd=self.root, env=self.env, capture_output=True, text=True, check=False)

    def pipeline(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "pipeline", *words],
            cwd=self.root,
            env=self.env,
            capture_output=True,
            text=True,
            check=False,
        )

    def edit(self, old: str, new: str, path: str = RECORD) -> None:
        file = self.root / path
        text = file.read_text("utf-8")
        assert old in text
        file.write_text(text.replace(old, new), "utf-8")


@pytest.fixture
def repo(sample: Callable[..., Path]) -> Repo:
    return Repo(sample())


def test_the_index_is_read_and_not_the_disk(repo: Repo) -> None:
    assert not read_staged(repo.root).changed
    repo.edit("nominal: 40", "nominal: forty")
    assert check_staged(repo.root).findings == (), "a fault that is only on disk is not staged"
    repo.git("add", RECORD)
    repo.edit("nominal: forty", "nominal: 40")
    found = check_staged(repo.root)
    assert [f.rule for f in found.blockers] == ["M104"] and found.numbers == ("SD-100",)
    assert found.blockers[0].location.path == RECORD


def test_evidence_is_judged_as_it_is_staged(repo: Repo) -> None:
    evidence = "projects/SD-100/evidence/o1.csv"
    (repo.root / evidence).write_text("other\n", "utf-8")
    repo.git("add", evidence)
    (repo.root / evidence).unlink()
    assert [f.rule for f in check_staged(repo.root).blockers] == ["E302"]
    repo.git("rm", "-q", "--cached", "-f", evidence)
    assert [f.rule for f in check_staged(repo.root).blockers] == ["E301"]


def test_a_record_that_names_a_file_nobody_staged_is_kept_back(repo: Repo) -> None:
    repo.edit("with: P1, on", "with: P1, file: evidence/f1.png, on")
    (repo.root / "projects/SD-100/evidence/f1.png").write_bytes(b"x")
    repo.git("add", RECORD)
    assert "E301" in {f.rule for f in check_staged(repo.root).blockers}
    repo.git("add", "-A")
    rules = {f.rule for f in check_staged(repo.root).findings}
    assert "E303" in rules and "E301" not in rules, "staged, and not yet in the list"


def test_the_list_changed_alone_is_held_against_the_files(repo: Repo) -> None:
    path = "projects/SD-100/evidence.sha256"
    text = (repo.root / path).read_text("utf-8")
    (repo.root / path).write_text("0" * 64 + text[64:], "utf-8")
    repo.git("add", path)
    assert [f.rule for f in check_staged(repo.root).blockers] == ["E302"]


def test_a_catalogue_is_checked_and_a_foreign_file_is_not(repo: Repo) -> None:
    (repo.root / "notes.txt").write_text("x", "utf-8")
    repo.git("add", "notes.txt")
    assert check_staged(repo.root).findings == ()
    repo.edit("hourly: {engineer: 75", "hourly: {engineer: much", "shared/money.yaml")
    repo.git("add", "shared/money.yaml")
    assert [f.rule for f in check_staged(repo.root).blockers] == ["M104"]


def test_what_follows_from_an_honest_edit_is_told_and_keeps_nothing_back(repo: Repo) -> None:
    repo.edit(
        "  A: {on: 2026-01-20,",
        "  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length], why: long}\n  A: {on: 2026-01-20,",
    )
    repo.git("add", RECORD)
    found = check_staged(repo.root)
    assert {f.rule for f in found.findings} & NEWS and not found.blockers


def test_git_keeps_a_commit_back_and_lets_a_good_one_pass(repo: Repo) -> None:
    assert repo.pipeline("hook", "install").returncode == 0
    assert repo.pipeline("hook", "install").returncode == 0, "our own hook is renewed"
    repo.edit("nominal: 40", "nominal: forty")
    kept = repo.git("commit", "-q", "-a", "-m", "bad")
    assert kept.returncode == 1 and "M104" in kept.stderr and "nothing was committed" in kept.stderr
    kept = repo.git("commit", "-q", "-m", "bad", "--", RECORD)
    assert kept.returncode == 1 and "M104" in kept.stderr, "a commit of some paths has an index of its own"
    repo.git("checkout", "-q", "HEAD", "--", ".")
    repo.edit("name: Sample hook", "name: Better hook")
    assert repo.git("commit", "-q", "-a", "-m", "good").returncode == 0
    assert repo.git("log", "--format=%s").stdout.split() == ["good", "start"]


def test_a_hook_of_somebody_else_is_left_alone(repo: Repo) -> None:
    hook = repo.root / ".git/hooks/pre-commit"
    hook.parent.mkdir(exist_ok=True)
    hook.write_text("#!/bin/sh\nexit 0\n", "utf-8")
    refused = repo.pipeline("hook", "install")
    assert refused.returncode == 1 and "pipeline hook run" in refused.stderr
    assert hook.read_text("utf-8") == "#!/bin/sh\nexit 0\n"


def test_the_folder_that_git_takes_its_hooks_from_is_honoured(repo: Repo) -> None:
    repo.git("config", "core.hooksPath", ".hooks")
    assert repo.pipeline("hook", "install").returncode == 0
    assert MARK in (repo.root / ".hooks/pre-commit").read_text("utf-8")


def test_a_workspace_inside_a_repository_is_found(sample: Callable[..., Path], tmp_path: Path) -> None:
    inner = sample()
    (tmp_path / "top").mkdir()
    inner.rename(tmp_path / "top/work shop")
    repo = Repo(tmp_path / "top")
    inner = tmp_path / "top/work shop"
    assert repo.pipeline("hook", "install", "-w", str(inner)).returncode == 0
    assert '-w "work shop"' in build_hook("work shop/")
    repo.edit("nominal: 40", "nominal: forty", f"work shop/{RECORD}")
    kept = repo.git("commit", "-q", "-a", "-m", "bad")
    assert kept.returncode == 1 and "M104" in kept.stderr


def test_results_come_as_json_and_sarif(repo: Repo) -> None:
    repo.edit("nominal: 40", "nominal: forty")
    repo.git("add", RECORD)
    assert json.loads(repo.pipeline("hook", "run", "--format", "json").stdout)["findings"][0]["rule"] == "M104"
    assert json.loads(repo.pipeline("hook", "run", "--format", "sarif").stdout)["version"] == "2.1.0"


def test_only_what_is_staged_is_read_however_many_records_there_are(repo: Repo) -> None:
    text = (repo.root / RECORD).read_text("utf-8")
    for number in range(150):
        folder = repo.root / f"projects/SD-{200 + number}"
        folder.mkdir()
        (folder / "part.yaml").write_text(text.replace("SD-100", folder.name), "utf-8")
    repo.git("add", "-A")
    repo.git("commit", "-q", "-m", "many", "--no-verify")
    repo.edit("name: Sample hook", "name: Better hook")
    repo.git("add", RECORD)
    check_staged(repo.root)
    start = time.process_time()
    assert check_staged(repo.root).numbers == ("SD-100",)
    one = time.process_time() - start
    start = time.process_time()
    check_workspace(repo.root)
    assert one < (time.process_time() - start) / 4, "one staged record costs like all of them"


@pytest.mark.parametrize("number", sorted(p.parent.name for p in find_demo_source().glob("projects/*/part.yaml")))
def test_one_record_alone_is_judged_as_in_the_whole_workspace(number: str, demo_checked: object) -> None:
    near, _ = read_near(find_demo_source(), number)
    assert near is not None
    whole = demo_checked
    assert near.findings == tuple(f for f in whole.findings if f.record == number)  # type: ignore[attr-defined]
    assert near.standing == whole.standings[number]  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def demo_checked() -> object:
    return check_workspace(find_demo_source())


def test_what_a_commit_waits_for_loads_no_tables_and_no_numerical_library() -> None:
    code = (
        "import sys, pipeline.cli.hook_command, pipeline.portfolio.staged_check\n"
        "print([m for m in sys.modules if m.split('.')[0] in ('numpy', 'scipy', 'networkx', 'jinja2', 'mkdocs')"
        " or m.startswith(('pipeline.fit.', 'pipeline.measuring.', 'pipeline.costing.', 'pipeline.views.'))])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]", said
