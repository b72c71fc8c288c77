"""Whatever happens while a command writes: every file is the old one or the new one, whole; the same command, given
again, ends where it would have ended at once; the demo and a new workspace are there whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from faults.trouble import call, choose_moments, hash_files, interrupt, kill, refuse, run_child
from hostile.unprivileged import entered_by_all

from pipeline.cli.program import group
from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.portfolio.check import check_workspace

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="faults are tried in forked processes")

SHEET = "part,name,family,safety,engineer,application,vehicle,body,years\nSD-101,hook one,cast,S0,ann,a,finch,saloon,1951-1953\nSD-102,hook two,cast,S0,ann,a,finch,saloon,1951-1953\n"
NEW = b"solid new\nendsolid new\n"
COMMANDS: dict[str, tuple[str, ...]] = {
    "attach": ("attach", "SD-100", "FILE", "--kind", "measurement", "--of", "O3", "--condition", "nos", "--from", "x",
               "--with", "arm", "--at", "20 C", "--gives", "length=40.01", "--by", "ann", "--yes"),
    "decide": ("decide", "SD-100", "quote", "go", "--by", "kim", "--choose", "Q1", "--yes"),
    "revise": ("revise", "SD-100", "FILE", "--changed", "length", "--why", "too long", "--by", "ann", "--yes"),
    "import": ("import", "SHEET", "--write"),
}  # fmt: skip
OLD_OR_NEW = "each file the old one or the new one, whole; nothing recorded is lost; the same command again ends right"


def write_shop(root: Path) -> Path:
    """Write the sample workspace and the files that commands take."""
    for name, content in build_sample(Example()).items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
    (root.parent / "new.stl").write_bytes(NEW)
    (root.parent / "sheet.csv").write_text(SHEET)
    return root


def build_call(name: str, root: Path) -> Callable[[], int]:
    """Return the command on a workspace."""
    places = {"FILE": root.parent / "new.stl", "SHEET": root.parent / "sheet.csv"}
    return call(*(places.get(word, word) for word in COMMANDS[name]), "-w", root)


def read_records(root: Path) -> dict[str, bytes]:
    """Return every file of the workspace but locks."""
    return {
        p.relative_to(root).as_posix(): p.read_bytes()
        for p in sorted(root.rglob("*"))
        if p.is_file() and ".pipeline" not in p.parts
    }  # fmt: skip


def check_whole(root: Path, before: dict[str, bytes], after: dict[str, bytes], at: int, how: object) -> None:
    """Each file is as before or as after; what lies beside them is a temporary file that no reader takes for a record."""
    for name, content in read_records(root).items():
        if name in before or name in after:
            assert content in (before.get(name), after.get(name)), (at, name)
        else:
            assert Path(name).name.startswith(".") and name.endswith(".part"), (at, name)
    assert set(before) <= set(read_records(root))
    checked = check_workspace(root)
    assert checked.workspace is not None and "SD-100" in checked.workspace.parts
    empty = [folder.name for folder in (root / "projects").iterdir() if not (folder / "part.yaml").exists()]
    said = [f.message for f in checked.findings if f.rule[0] in "YMR"]
    assert said == [f"projects/{name} holds no part.yaml" for name in sorted(empty)]  # a kill may leave a folder
    assert not empty or how is kill, empty


@pytest.mark.parametrize(
    "how",
    [
        pytest.param(kill, marks=pytest.mark.fault("kill -9 while a command writes records", OLD_OR_NEW), id="kill"),
        pytest.param(
            refuse(errno.ENOSPC),
            marks=pytest.mark.fault("full disk while a command writes records", OLD_OR_NEW),
            id="full disk",
        ),
        pytest.param(
            interrupt, marks=pytest.mark.fault("Ctrl-C while a command writes records", OLD_OR_NEW), id="Ctrl-C"
        ),
    ],
)
@pytest.mark.parametrize(
    ("name", "many"),
    [
        *((name, 1) for name in ("attach", "import")),
        *(pytest.param(name, 40, marks=pytest.mark.slow) for name in COMMANDS),
    ],
)
def test_a_command_that_is_stopped_at_every_moment(
    name: str, many: int, how: Callable[[], None], tmp_path: Path
) -> None:
    done = write_shop(tmp_path / "done" / "w")
    before = read_records(done)
    end = run_child(build_call(name, done), done)
    assert end.code == 0, end.said
    after = read_records(done)
    assert after != before
    for at in choose_moments(end.operations, many):
        root = write_shop(tmp_path / str(at) / "w")
        stopped = run_child(build_call(name, root), root, at, how, every=how is not kill and how is not interrupt)
        assert (
            "mistake in the program" not in stopped.said
            and "Traceback" not in stopped.said
            and "UNCAUGHT" not in stopped.said
        ), (at, stopped.said)
        check_whole(root, before, after, at, how)
        again = run_child(build_call(name, root), root)
        now = read_records(root)
        assert now == after, (
            at,
            stopped.said,
            again.said,
            sorted(set(now) ^ set(after)),
            [n for n in now if now[n] != after.get(n)],
        )
        shutil.rmtree(root.parent)


@pytest.mark.fault(
    "kill -9 during the demo", "no folder that looks like a workspace and is none; the next demo is right"
)
def test_a_demo_that_is_killed(tmp_path: Path) -> None:
    clean = tmp_path / "clean" / "d"
    clean.parent.mkdir()
    words = ("--parts", "3", "--no-site")
    whole = run_child(call("demo", clean, *words), clean.parent)
    assert whole.code == 0, whole.said
    target = tmp_path / "broken" / "d"
    target.parent.mkdir()
    for at in choose_moments(whole.operations, 3):
        end = run_child(call("demo", target, *words), target.parent, at)
        assert end.code < 0
        assert not target.exists() or hash_records(target) == hash_records(clean), at
        if target.exists():
            shutil.rmtree(target)
    end = run_child(call("demo", target, *words), target.parent)
    assert end.code == 0 and hash_records(target) == hash_records(clean), end.said


def hash_records(folder: Path) -> dict[str, str]:
    """Return the hashes of a workspace's own files; git's index holds times of the disk."""
    return {
        name: found for name, found in hash_files(folder).items() if not name.startswith((".git/index", ".git/logs"))
    }


@pytest.mark.parametrize(
    "fault",
    [
        pytest.param(
            n,
            marks=pytest.mark.fault(
                f"{w} during the demo", "nothing is left at its place or beside it; the reason is told, exit 2"
            ),
            id=w,
        )
        for n, w in ((errno.ENOSPC, "full disk"), (errno.EROFS, "read-only target"))
    ],
)
def test_a_demo_without_room(fault: int, tmp_path: Path) -> None:
    place = tmp_path / "place"
    place.mkdir()
    for at in (2, 40):
        end = run_child(call("demo", place / "d", "--parts", "3", "--no-site"), place, at, refuse(fault))
        assert end.code == 2 and os.strerror(fault) in end.said and "Traceback" not in end.said, end.said
        assert not (place / "d").exists() and not list(place.iterdir())


@pytest.mark.fault("Ctrl-C during the demo", "nothing is left; exit 130 and one line")
def test_a_demo_that_is_interrupted(tmp_path: Path) -> None:
    place = tmp_path / "place"
    place.mkdir()
    end = run_child(call("demo", place / "d", "--parts", "3", "--no-site"), place, 60, interrupt)
    assert end.code == 130 and "Stopped" in end.said, end.said
    assert not list(place.iterdir())


@pytest.mark.fault(
    "a demo, or a new workspace, where something is already", "it stays untouched; the reason is told, exit 2"
)
@pytest.mark.parametrize("words", [("demo",), ("init",)])
def test_nothing_is_written_over(words: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full/letter").write_text("keep")
    (tmp_path / "link").symlink_to(tmp_path / "full")
    (tmp_path / "file").write_text("keep")
    before = hash_files(tmp_path / "full")
    for name in ("full", "link", "file"):
        end = run_child(call(*words, tmp_path / name), tmp_path / "full")
        assert end.code == 2 and "Traceback" not in end.said
    assert hash_files(tmp_path / "full") == before


def as_nobody(action: Callable[[], int]) -> Callable[[], int]:
    """Return an action that gives up all rights first."""

    def act() -> int:
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)
        os.environ["HOME"] = "/nonexistent"
        return action()

    return act


@contextlib.contextmanager
def read_only(root: Path) -> Iterator[None]:
    """Let a folder be read and not written: mounted so for the one who may do all, by its rights for others."""
    if os.geteuid() != 0:
        paths = [root, *root.rglob("*")]
        for path in reversed(paths):
            path.chmod(0o555 if path.is_dir() else 0o444)
        try:
            yield
        finally:
            for path in paths:
                path.chmod(0o755 if path.is_dir() else 0o644)
        return
    if subprocess.run(["mount", "--bind", root, root], check=False, capture_output=True).returncode != 0:
        pytest.skip("no right to mount a folder read-only")
    try:
        subprocess.run(["mount", "-o", "remount,ro,bind", root], check=True, capture_output=True)
        yield
    finally:
        subprocess.run(["umount", "-l", root], check=True)


@pytest.mark.fault(
    "a workspace that may be read and not written",
    "reading commands answer; writing ones tell why, exit 2; a site is built elsewhere",
)
def test_a_workspace_that_may_only_be_read(tmp_path: Path) -> None:
    root = write_shop(tmp_path / "w")
    before = read_records(root)
    out = tmp_path / "out"
    out.mkdir(mode=0o777)
    out.chmod(0o777)
    with read_only(root):
        for words in (["check"], ["next"], ["quotes"], ["plan"], ["review"], ["build", "--out", str(out / "site")]):
            end = run_child(call(*words, "-w", root), root)
            assert end.code in (0, 1) and "Traceback" not in end.said, (words, end.said)
        for name in ("attach", "decide", "import"):
            end = run_child(build_call(name, root), root)
            assert end.code in (1, 2) and re.search("ermission denied|ead-only file", end.said), (
                name,
                end.code,
                end.said,
            )
        end = run_child(call("build", "-w", root), root)
        assert end.code == 2 and re.search("ermission denied|ead-only file", end.said), end.said
    assert read_records(root) == before
    assert (out / "site/index.html").is_file()


@pytest.mark.fault(
    "evidence that may not be read, or is a device or a pipe", "told as missing, never waited for; the others go on"
)
@pytest.mark.parametrize("kind", ["no right", "pipe", "device", "folder"])
def test_evidence_that_cannot_be_read(kind: str, tmp_path: Path) -> None:
    import signal

    root = write_shop(tmp_path / "w")
    file = root / "projects/SD-100/evidence/o1.csv"
    if kind == "no right":
        file.chmod(0)
    else:
        file.unlink()
        os.mkfifo(file) if kind == "pipe" else file.mkdir() if kind == "folder" else file.symlink_to("/dev/zero")
    CliRunner().invoke(
        group, ["check", "--deep", "-w", str(write_shop(tmp_path / "other"))]
    )  # imports, while it has the right
    signal.alarm(60)
    try:
        with entered_by_all(tmp_path):
            end = run_child(as_nobody(call("check", "--deep", "-w", root)), root)
    finally:
        signal.alarm(0)
        if kind == "no right":
            file.chmod(0o644)
    assert end.code == 1 and "o1.csv" in end.said and "Traceback" not in end.said, end.said
    assert "mistake in the program" not in end.said


@pytest.mark.fault("a hard link where evidence should be", "counts by its bytes; written over by nothing")
def test_a_hard_link_is_replaced_and_its_other_name_keeps_the_bytes(tmp_path: Path) -> None:
    root = write_shop(tmp_path / "w")
    record, other = root / "projects/SD-100/part.yaml", tmp_path / "other-name.yaml"
    os.link(record, other)
    before = other.read_bytes()
    end = run_child(build_call("decide", root), root)
    assert end.code == 0, end.said
    assert other.read_bytes() == before != record.read_bytes()


@pytest.mark.fault("an output that goes away (closed pipe, full disk behind a redirect)", "no stack of calls")
def test_an_output_that_cannot_take_the_words(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    root = write_shop(tmp_path / "w")

    def action() -> int:
        full = os.open("/dev/full", os.O_WRONLY)
        os.dup2(full, 1)
        return call("check", "-w", root)()

    end = run_child(action, root)
    assert end.code == 2 and "No space left" in end.said and "mistake in the program" not in end.said, end.said
