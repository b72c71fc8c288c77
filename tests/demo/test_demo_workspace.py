"""`pipeline demo` and `pipeline init`: whole or not at all, never over something else."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli.program import group
from pipeline.demo import demo_workspace
from pipeline.demo.demo_workspace import write_demo
from pipeline.demo.empty import write_empty_workspace
from pipeline.findings.finding import Severity
from pipeline.portfolio.check import check_workspace

HAND_WRITTEN = 30


def hash_tree(root: Path) -> str:
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.is_file() and ".git" not in path.relative_to(root).parts:
            digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def test_a_demo_has_its_parts_and_a_clean_history(tmp_path: Path) -> None:
    written = write_demo(tmp_path / "demo", parts=36, seed=7)
    assert (written.by_hand, written.synthetic) == (HAND_WRITTEN, 6)
    log = subprocess.run(
        ["git", "-C", tmp_path / "demo", "log", "--format=%H"], capture_output=True, text=True, check=True
    )
    assert len(log.stdout.split()) == written.commits > 300
    status = subprocess.run(["git", "-C", tmp_path / "demo", "status", "--porcelain"], capture_output=True, check=True)
    assert status.stdout == b""
    checked = check_workspace(tmp_path / "demo")
    assert {f.rule for f in checked.findings if f.severity is Severity.ERROR} == {"G606", "E302"}


def test_budgets_grow_with_the_number_of_parts() -> None:
    text = b"budgets:\n  2026-Q4: 30000\n  2027-Q1: 75000\nmoney_rate: 0.10\n"
    assert demo_workspace.grow_budgets(text, 1, 1) == text
    grown = demo_workspace.grow_budgets(text, 200 / 30, 2)
    assert b"2026-Q4: 200000\n  2027-Q1: 150000\nmoney_rate: 0.10" in grown


def test_two_demos_are_the_same_to_the_hash_of_their_last_commit(tmp_path: Path) -> None:
    heads = []
    for name in ("a", "b"):
        write_demo(tmp_path / name, parts=32, seed=3)
        head = subprocess.run(["git", "-C", tmp_path / name, "rev-parse", "HEAD"], capture_output=True, check=True)
        heads.append(head.stdout)
    assert heads[0] == heads[1]
    assert hash_tree(tmp_path / "a") == hash_tree(tmp_path / "b")


def test_without_git_there_is_a_workspace_without_a_history(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_workspace.shutil, "which", lambda _: None)
    said: list[str] = []
    written = write_demo(tmp_path / "demo", parts=31, say=said.append)
    assert written.commits == 0
    assert any("git is not installed" in line for line in said)
    assert len(check_workspace(tmp_path / "demo").standings) == 31


def test_an_interrupted_demo_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo_workspace, "_replay", stop)
    with pytest.raises(KeyboardInterrupt):
        write_demo(tmp_path / "demo", parts=31)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["demo", "init"])
def test_a_folder_with_something_in_it_is_refused_and_left_alone(tmp_path: Path, command: str) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine")
    result = CliRunner().invoke(group, [command, str(tmp_path / "full")])
    assert result.exit_code == 2
    assert "not empty" in result.output
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["mine.txt"]


def test_a_link_is_refused(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    result = CliRunner().invoke(group, ["init", str(tmp_path / "link")])
    assert result.exit_code == 2
    assert list((tmp_path / "real").iterdir()) == []


def test_an_empty_workspace_has_no_finding_and_a_schema_for_every_file(tmp_path: Path) -> None:
    write_empty_workspace(tmp_path / "new", 'Works "of" <Kim> & Co: #1', "EUR")
    checked = check_workspace(tmp_path / "new")
    assert checked.findings == ()
    assert checked.workspace is not None
    assert checked.workspace.catalogues.shop.name == 'Works "of" <Kim> & Co: #1'
    assert checked.workspace.catalogues.money.currency == "EUR"
    assert {p.name for p in (tmp_path / "new" / "schemas").iterdir()} >= {"part.schema.json", "families.schema.json"}


def test_init_then_demo_run_from_any_folder(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "pipeline", "demo", "here", "--parts", "31", "--no-site"],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert "30 parts by hand, 1 synthetic" in run.stdout
