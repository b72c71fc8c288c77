"""Nothing that a repository says is executed: every way that git has of starting a program is armed, and none goes
off."""

from __future__ import annotations

import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest
from history_stories import RECORD, build, parse, reopen, run

from pipeline.history.past import find_changes_between, read_commits_since, read_state_at
from pipeline.history.recorded import read_record_history
from pipeline.history.replay import write_history
from pipeline.history.repository import Repository, find_point, find_revision, is_ancestor, open_repository, read_head
from pipeline.history.safe_git import build_environment


def arm(folder: Path, trap: Path) -> None:
    """Set every configuration that runs a command, in the repository's own files."""
    script = folder.parent / "trap.sh"
    script.write_text(f"#!/bin/sh\necho $0 $@ >> '{trap}'\nexit 0\n")
    script.chmod(0o755)
    hooks = folder / ".git" / "hooks"
    hooks.mkdir(exist_ok=True)
    for name in ("post-checkout", "pre-commit", "post-index-change", "reference-transaction", "fsmonitor-watchman"):
        shutil.copy(script, hooks / name)
    settings = {
        "core.fsmonitor": script, "core.hooksPath": hooks, "core.pager": script, "pager.log": script, "core.editor": script,
        "core.sshCommand": script, "core.gitProxy": script, "core.askPass": script, "core.alternateRefsCommand": script,
        "diff.external": script, "diff.trap.textconv": script, "diff.trap.command": script, "filter.trap.clean": script,
        "filter.trap.smudge": script, "filter.trap.process": script, "gpg.program": script, "gpg.ssh.program": script,
        "log.showSignature": "true", "credential.helper": script, "alias.log": f"!{script}", "alias.cat-file": f"!{script}",
        "remote.origin.url": f"ext::{script} %S", "remote.origin.uploadpack": script, "remote.origin.promisor": "true",
        "remote.origin.partialclonefilter": "blob:none", "protocol.ext.allow": "always", "protocol.file.allow": "always",
        "extensions.partialClone": "origin", "core.repositoryformatversion": "1", "interactive.diffFilter": script,
        "uploadpack.packObjectsHook": script, "sequence.editor": script, "merge.trap.driver": script,
    }  # fmt: skip
    for name, value in settings.items():
        run(folder, "-c", "core.fsmonitor=false", "config", name, str(value))
    (folder / ".git" / "info").mkdir(exist_ok=True)
    (folder / ".git" / "info" / "attributes").write_text("* diff=trap filter=trap merge=trap\n")


def read_everything(repository: Repository) -> None:
    read_head(repository)
    read_record_history(repository, parse=parse)
    read_state_at(repository, "HEAD")
    read_state_at(repository, date(2026, 1, 5))
    find_changes_between(repository, "HEAD~1", "HEAD")
    read_commits_since(repository, "HEAD~1")
    is_ancestor(repository, "HEAD~1")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    attributes = {".gitattributes": b"* diff=trap filter=trap merge=trap\n"}
    build(tmp_path / "w", {RECORD: b"part: TW-1\n", **attributes}, {RECORD: b"part: TW-1\nname: rim\n"})
    return tmp_path / "w"


def test_the_trap_works_when_git_is_used_as_typed(folder: Path, tmp_path: Path) -> None:
    arm(folder, tmp_path / "sprung")
    subprocess.run(
        ["git", "-c", "protocol.ext.allow=always", "diff", "HEAD~1"], cwd=folder, capture_output=True, check=False
    )
    assert (tmp_path / "sprung").exists()


def test_no_reading_executes_anything(folder: Path, tmp_path: Path) -> None:
    arm(folder, tmp_path / "sprung")
    read_everything(reopen(folder))
    assert not (tmp_path / "sprung").exists()


def test_a_missing_object_of_a_partial_clone_is_not_fetched(folder: Path, tmp_path: Path) -> None:
    blob = run(folder, "rev-parse", f"HEAD:{RECORD}")
    packs = list((folder / ".git" / "objects" / "pack").glob("*.pack"))
    aside = [pack.rename(tmp_path / pack.name) for pack in packs]
    for pack in (folder / ".git" / "objects" / "pack").iterdir():
        pack.chmod(0o644)
        pack.unlink()
    for pack in aside:
        run(folder, "unpack-objects", "-q", input=pack.read_bytes())
    (folder / ".git" / "objects" / blob[:2] / blob[2:]).unlink()
    arm(folder, tmp_path / "sprung")
    repository = reopen(folder)
    history = read_record_history(repository, parse=parse)
    assert not (tmp_path / "sprung").exists()
    assert [condition.kind for condition in history.conditions][:1] == ["object-not-here"]
    assert history.records[RECORD].facts["part"].value == "TW-1"
    state = read_state_at(repository, "HEAD")
    assert [condition.kind for condition in state.conditions] == ["object-not-here"] and ".gitattributes" in state.blobs


@pytest.mark.parametrize(
    "revision", ["--output=x", "-n1", "--exec=touch x", "", "a\nb", "HEAD\0", "--upload-pack=x", "@{-9}"]
)
def test_what_looks_like_an_option_names_nothing(folder: Path, revision: str) -> None:
    repository = reopen(folder)
    digest, conditions = find_revision(repository, revision)
    assert digest is None and [condition.kind for condition in conditions] == ["unknown-revision"]
    assert find_point(repository, revision)[0] is None
    assert not (folder / "x").exists()


def test_a_branch_and_a_folder_that_look_like_options_are_read(folder: Path) -> None:
    odd = folder / "projects" / "--output=x" / "part.yaml"
    odd.parent.mkdir(parents=True)
    odd.write_bytes(b"part: odd\n")
    run(folder, "add", "--", "projects")
    run(folder, "commit", "-qm", "--amend")
    head = run(folder, "rev-parse", "HEAD")
    run(folder, "update-ref", "refs/heads/--delete", head)
    repository = reopen(folder)
    assert find_revision(repository, "refs/heads/--delete")[0] == head
    assert (
        read_record_history(repository, parse=parse).records["projects/--output=x/part.yaml"].facts["part"].value
        == "odd"
    )
    assert not (folder / "x").exists()


def test_a_repository_inside_the_work_tree_without_git_folder_is_refused(folder: Path) -> None:
    trap = folder / "evil"
    run(folder, "init", "-q", "--bare", "evil")
    opened = open_repository(trap)
    assert opened.repository is None and opened.conditions[0].kind == "no-work-tree"


def test_the_callers_git_variables_do_not_point_elsewhere(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    head = reopen(folder).head
    for name in ("GIT_DIR", "GIT_WORK_TREE", "GIT_OBJECT_DIRECTORY", "GIT_INDEX_FILE"):
        monkeypatch.setenv(name, "/nowhere")
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_EXTERNAL_DIFF", "touch x")
    assert reopen(folder).head == head
    kept = build_environment({"GIT_DIR": "x", "PATH": "p", "git_dir": "y"})
    assert "GIT_DIR" not in kept and "git_dir" not in kept and kept["PATH"] == "p"


def test_replacement_objects_do_not_rewrite_the_audit_trail(folder: Path) -> None:
    before = read_record_history(reopen(folder), parse=parse).records[RECORD].facts["name"].first
    head = run(folder, "rev-parse", "HEAD")
    forged = run(folder, "commit-tree", "-p", "HEAD~1", "-m", "forged", "HEAD^{tree}")
    run(folder, "replace", head, forged)
    assert read_record_history(reopen(folder), parse=parse).records[RECORD].facts["name"].first == before


@pytest.mark.parametrize(
    "path",
    [
        "../x",
        "/etc/x",
        "a/../b",
        ".git/config",
        "a/.GIT/hooks/x",
        "a\\b",
        "con.yaml",
        "a/aux",
        "b:c",
        "a.",
        "a /b",
        "a\nb",
        "",
    ],
)
def test_a_replayed_history_cannot_leave_its_folder(tmp_path: Path, path: str) -> None:
    with pytest.raises(ValueError, match=r"Windows|leaves the workspace"):
        write_history(tmp_path / "w", [(date(2026, 1, 1), "a", "b", "c", {path: b""})])
