"""Nothing that a repository says is executed: every way that git has of starting a program is armed, and none goes
off."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from history_stories import RECORD, build, parse, reopen, run
from told_demo import copy_demo

from pipeline.history.past import find_changes_between, read_commits_since, read_state_at
from pipeline.history.recorded import read_record_history
from pipeline.history.replay import write_history
from pipeline.history.repository import (
    Repository,
    find_point,
    find_revision,
    is_ancestor,
    open_repository,
    read_head,
    read_signatures,
)
from pipeline.history.safe_git import build_environment
from pipeline.portfolio.outlook import look_out
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.views.flow import build_flow_page
from pipeline.views.review_page import build_review_page


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
        "gpg.openpgp.program": script, "gpg.x509.program": script, "gpg.ssh.defaultKeyCommand": script, "diff.tool": "trap",
        "difftool.trap.cmd": script, "core.untrackedCache": "true", "remote.origin.vcs": "trap", "tar.tar.gz.command": script,
        "url.ext::evil.insteadOf": "https://", "include.path": "../more-config", "blame.ignoreRevsFile": script,
    }  # fmt: skip
    for name, value in settings.items():
        run(folder, "-c", "core.fsmonitor=false", "config", name, str(value))
    (folder / "more-config").write_text(
        f"[alias]\n  rev-parse = !{script}\n  log = !{script}\n[core]\n  pager = {script}\n"
    )
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


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_the_trap_works_when_git_is_used_as_typed(folder: Path, tmp_path: Path) -> None:
    arm(folder, tmp_path / "sprung")
    subprocess.run(
        ["git", "-c", "protocol.ext.allow=always", "diff", "HEAD~1"], cwd=folder, capture_output=True, check=False
    )
    assert (tmp_path / "sprung").exists()


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_no_reading_executes_anything(folder: Path, tmp_path: Path) -> None:
    arm(folder, tmp_path / "sprung")
    read_everything(reopen(folder))
    assert not (tmp_path / "sprung").exists()


def photograph(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file of a workspace and of its repository: contents and the moment of its last change."""
    return {
        path.relative_to(folder).as_posix(): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


def detach(folder: Path) -> None:
    run(folder, "-c", "core.hooksPath=/dev/null", "checkout", "-q", "--detach", "HEAD")


def leave_merge_half_done(folder: Path) -> None:
    (folder / ".git" / "MERGE_HEAD").write_text(run(folder, "rev-parse", "HEAD~1") + "\n")
    (folder / ".git" / "index.lock").write_text("")


def graft_and_shallow(folder: Path) -> None:
    (folder / ".git" / "info").mkdir(exist_ok=True)
    (folder / ".git" / "info" / "grafts").write_text(run(folder, "rev-parse", "HEAD") + "\n")


@pytest.mark.parametrize("state", [None, detach, leave_merge_half_done, graft_and_shallow])
@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_reading_changes_not_one_byte(folder: Path, tmp_path: Path, state: Callable[[Path], None] | None) -> None:
    """No lock, no refreshed index, no packed references, no log of what was read."""
    if state is not None:
        state(folder)
    arm(folder, tmp_path / "sprung")
    before = photograph(folder)
    read_everything(reopen(folder))
    assert photograph(folder) == before and not (tmp_path / "sprung").exists()


@pytest.mark.hostile("git", "replacement objects and grafts that would rewrite the past")
def test_grafts_do_not_rewrite_the_past(folder: Path) -> None:
    before = read_record_history(reopen(folder), parse=parse)
    graft_and_shallow(folder)
    after = read_record_history(reopen(folder), parse=parse)
    assert after.read_commits == before.read_commits == 2
    assert after.records[RECORD].facts == before.records[RECORD].facts


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_the_whole_road_executes_nothing(tmp_path: Path) -> None:
    """Story, findings, review, flow, pages, and the record of a review, on the demo with every trap armed."""
    work = copy_demo(tmp_path / "w")
    arm(work, tmp_path / "sprung")
    portfolio = look_out(build_portfolio(work), work, asked="HEAD~20", signatures=True)
    page = build_review_page(portfolio)
    assert any(group.items for group in page.groups) and build_flow_page(portfolio).sections
    close = [sys.executable, "-m", "pipeline", "review", "--close", "--by", "ito", "--yes", "-w", str(work)]
    assert subprocess.run(close, capture_output=True, check=False).returncode == 0
    assert (work / "shared/reviews.yaml").is_file()
    assert not (tmp_path / "sprung").exists()


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_a_signature_is_never_checked_by_what_the_repository_names(folder: Path, tmp_path: Path) -> None:
    """A commit with a signature (an invented one) makes git start its checker: the machine's, or none at all."""
    arm(folder, tmp_path / "sprung")
    plain = run(folder, "-c", "core.fsmonitor=false", "cat-file", "commit", "HEAD").split("\n\n", 1)
    for kind in ("PGP SIGNATURE", "SSH SIGNATURE", "SIGNED MESSAGE"):
        lines = f"-----BEGIN {kind}-----\n\naW52ZW50ZWQ=\n-----END {kind}-----".replace("\n", "\n ")
        signed = f"{plain[0]}\ngpgsig {lines}\n\n{plain[1]}\n".encode()
        digest = run(folder, "hash-object", "-t", "commit", "-w", "--stdin", input=signed)
        run(folder, "-c", "core.hooksPath=/dev/null", "update-ref", "refs/heads/main", digest)
        found = read_signatures(reopen(folder), (digest,))
        assert found.get(digest) != "G" and not (tmp_path / "sprung").exists(), kind


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
def test_a_repository_of_another_user_starts_nothing(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    arm(folder, tmp_path / "sprung")
    monkeypatch.setenv("GIT_TEST_ASSUME_DIFFERENT_OWNER", "1")
    opened = open_repository(folder)
    assert opened.repository is None and [c.kind for c in opened.conditions] == ["owned-by-another"]
    assert not (tmp_path / "sprung").exists()


@pytest.mark.hostile("git", "links, submodules, odd names, repositories and work trees elsewhere")
def test_a_work_tree_that_points_elsewhere_shows_nothing_of_it(folder: Path, tmp_path: Path) -> None:
    """`core.worktree` of a repository may name any folder: what is read is what was committed, never what lies there."""
    elsewhere = tmp_path / "elsewhere" / "projects" / "SECRET"
    elsewhere.mkdir(parents=True)
    (elsewhere / "part.yaml").write_bytes(b"part: SECRET\n")
    run(folder, "config", "core.worktree", str(tmp_path / "elsewhere"))
    opened = open_repository(folder)
    if opened.repository is not None:
        read = read_record_history(opened.repository, parse=parse)
        assert not any("SECRET" in path for path in (*read.records, *read.files))
        assert "SECRET" not in "".join(read_state_at(opened.repository, "HEAD").blobs)
    else:
        assert opened.conditions[0].message and opened.conditions[0].fix


@pytest.mark.hostile("git", "links, submodules, odd names, repositories and work trees elsewhere")
def test_links_and_submodules_are_no_records(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "secret.yaml").write_text("part: SECRET\n")
    link = folder / "projects" / "TW-2" / "part.yaml"
    link.parent.mkdir(parents=True)
    link.symlink_to(tmp_path / "secret.yaml")
    run(folder, "add", "--", "projects")
    run(folder, "update-index", "--add", "--cacheinfo", f"160000,{run(folder, 'rev-parse', 'HEAD')},projects/TW-3")
    run(folder, "commit", "-qm", "a link and a submodule")
    history = read_record_history(reopen(folder), parse=parse)
    assert list(history.records) == [RECORD]
    assert not any(
        path.startswith(("projects/TW-2", "projects/TW-3")) for path in read_state_at(reopen(folder), "HEAD").blobs
    )


@pytest.mark.skipif(sys.platform == "win32", reason="Windows allows none of these names")
@pytest.mark.parametrize(
    "name",
    [
        "a\nb",
        "tab\there",
        'quo"te',
        "-n",
        "--format=%H",
        ":(top)x",
        "*",
        "\\x",
        "na\u00efve",
        "a b ",
        "$(touch x)",
        "\x1b[31m",
    ],
)
@pytest.mark.hostile("git", "links, submodules, odd names, repositories and work trees elsewhere")
def test_odd_names_are_read_as_they_are(folder: Path, name: str) -> None:
    path = folder / "projects" / name / "part.yaml"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"part: odd\n")
    run(folder, "add", "--", "projects")
    run(folder, "commit", "-qm", "odd")
    repository = reopen(folder)
    history = read_record_history(repository, parse=parse)
    assert history.records[f"projects/{name}/part.yaml"].facts["part"].value == "odd"
    assert read_state_at(repository, "HEAD").files[f"projects/{name}/part.yaml"] == b"part: odd\n"
    changes, _ = find_changes_between(repository, "HEAD~1")
    assert [change.path for change in changes] == [f"projects/{name}/part.yaml"] and not (folder / "x").exists()


@pytest.mark.hostile(
    "git",
    "hooks, filters, fsmonitor, external diff and text converters, pagers, signature programs, fetching: never run",
)
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
@pytest.mark.hostile("git", "revisions, branches and folders that look like options")
def test_what_looks_like_an_option_names_nothing(folder: Path, revision: str) -> None:
    repository = reopen(folder)
    digest, conditions = find_revision(repository, revision)
    assert digest is None and [condition.kind for condition in conditions] == ["unknown-revision"]
    assert find_point(repository, revision)[0] is None
    assert not (folder / "x").exists()


@pytest.mark.hostile("git", "revisions, branches and folders that look like options")
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


@pytest.mark.hostile("git", "links, submodules, odd names, repositories and work trees elsewhere")
def test_a_repository_inside_the_work_tree_without_git_folder_is_refused(folder: Path) -> None:
    trap = folder / "evil"
    run(folder, "init", "-q", "--bare", "evil")
    opened = open_repository(trap)
    assert opened.repository is None and opened.conditions[0].kind == "no-work-tree"


@pytest.mark.hostile("git", "the caller's git variables")
def test_the_callers_git_variables_do_not_point_elsewhere(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    head = reopen(folder).head
    for name in ("GIT_DIR", "GIT_WORK_TREE", "GIT_OBJECT_DIRECTORY", "GIT_INDEX_FILE"):
        monkeypatch.setenv(name, "/nowhere")
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_EXTERNAL_DIFF", "touch x")
    assert reopen(folder).head == head
    kept = build_environment({"GIT_DIR": "x", "PATH": "p", "git_dir": "y"})
    assert "GIT_DIR" not in kept and "git_dir" not in kept and kept["PATH"] == "p"


@pytest.mark.hostile("git", "replacement objects and grafts that would rewrite the past")
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
@pytest.mark.hostile("git", "paths that lead out, reserved names")
def test_a_replayed_history_cannot_leave_its_folder(tmp_path: Path, path: str) -> None:
    with pytest.raises(ValueError, match=r"Windows|leaves the workspace"):
        write_history(tmp_path / "w", [(date(2026, 1, 1), "a", "b", "c", {path: b""})])
