"""Writes are atomic: after a kill, a full disk or a refusal the old file or the new one is there, whole."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from pipeline.writing.files import write_bytes, write_text

ROOT = Path(__file__).parents[2]
OLD, NEW = b"old\n" * 250_000, b"new!\n" * 1_000_000


def list_names(folder: Path) -> list[str]:
    """Return the names in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_and_written_over(tmp_path: Path) -> None:
    file = tmp_path / "deep/er/part.yaml"
    write_text(file, "größe: 1\n")
    assert file.read_bytes() == "größe: 1\n".encode()
    write_bytes(file, b"")
    assert file.read_bytes() == b""
    assert list_names(file.parent) == ["part.yaml"]


def test_line_ends_are_kept_as_they_are(tmp_path: Path) -> None:
    write_text(tmp_path / "a", "a\nb\r\nc")
    assert (tmp_path / "a").read_bytes() == b"a\nb\r\nc"


@pytest.mark.skipif(sys.platform == "win32", reason="no such rights there")
@pytest.mark.parametrize("mode", [0o600, 0o644, 0o664, 0o755])
def test_the_rights_of_a_file_stay(mode: int, tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(OLD)
    file.chmod(mode)
    write_bytes(file, NEW)
    assert file.stat().st_mode & 0o777 == mode


@pytest.mark.skipif(sys.platform == "win32", reason="no such rights there")
def test_a_new_file_has_the_rights_that_the_user_wants(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_bytes(tmp_path / "a", b"x")
    finally:
        os.umask(before)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize(
    "step", ["os.fsync", "pathlib.Path.replace", "pathlib.Path.chmod", "os.fdopen", "tempfile.mkstemp"]
)
@pytest.mark.fault("any step of a write fails", "the old file, whole, and nothing beside it")
def test_a_failure_at_any_step_leaves_the_old_file_whole_and_nothing_beside_it(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "part.yaml"
    file.write_bytes(OLD)

    def fail(*_: Any, **__: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(step, fail)
    with pytest.raises(OSError, match="No space left"):
        write_bytes(file, NEW)
    monkeypatch.undo()
    assert file.read_bytes() == OLD
    assert list_names(tmp_path) == ["part.yaml"]


@pytest.mark.fault("Ctrl-C during a write", "the old file, whole, and nothing beside it")
def test_a_stop_by_the_user_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "part.yaml"
    file.write_bytes(OLD)

    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(file, NEW)
    assert file.read_bytes() == OLD
    assert list_names(tmp_path) == ["part.yaml"]


def test_a_folder_in_the_place_of_the_file_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a/b").mkdir(parents=True)
    with pytest.raises(OSError):
        write_bytes(tmp_path / "a", b"x")
    assert list_names(tmp_path) == ["a"]
    assert list_names(tmp_path / "a") == ["b"]


WRITER = """
import sys
from pathlib import Path
from pipeline.writing.files import write_bytes
file, contents = Path(sys.argv[1]), (b"old\\n" * 250_000, b"new!\\n" * 1_000_000)
print("ready", flush=True)
for turn in range(100_000):
    write_bytes(file, contents[turn % 2])
"""


@pytest.mark.skipif(sys.platform == "win32", reason="processes are killed in another way there")
@pytest.mark.fault("kill -9 during a write", "the old file or the new one, whole")
def test_a_kill_at_any_moment_leaves_the_old_file_or_the_new_one_whole(tmp_path: Path) -> None:
    file = tmp_path / "part.yaml"
    file.write_bytes(OLD)
    seen = set()
    for turn in range(12):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(file)], cwd=ROOT, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT)}
        )  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        time.sleep(0.003 + 0.007 * turn)
        process.send_signal(signal.SIGKILL)
        process.wait(30)
        process.stdout.close()
        content = file.read_bytes()
        assert content in (OLD, NEW)
        seen.add(len(content))
    leftovers = [name for name in list_names(tmp_path) if name != "part.yaml"]
    assert all(name.startswith(".part.yaml.") and name.endswith(".part") for name in leftovers)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no such permissions here")
@pytest.mark.fault("a folder without the right to write", "the old file, whole")
def test_a_folder_that_may_not_be_written_keeps_its_file(tmp_path: Path) -> None:
    from hostile.unprivileged import entered_by_all, run_as_nobody

    folder = tmp_path / "locked"
    folder.mkdir()
    file = folder / "part.yaml"
    file.write_bytes(OLD)
    folder.chmod(0o555)

    def is_refused() -> bool:
        try:
            write_bytes(file, NEW)
        except PermissionError:
            return True
        return False

    try:
        with entered_by_all(tmp_path):
            assert run_as_nobody(lambda: file.read_bytes() == OLD)
            assert run_as_nobody(is_refused)
    finally:
        folder.chmod(0o755)
    assert file.read_bytes() == OLD
    assert list_names(folder) == ["part.yaml"]


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="a small disk is made by root on Linux")
@pytest.mark.fault("full disk during a write", "the old file, whole")
def test_a_full_disk_leaves_the_old_file_whole(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if made.returncode != 0:
        pytest.skip("no small disk can be made here")
    try:
        file = disk / "part.yaml"
        file.write_bytes(OLD)
        with pytest.raises(OSError):
            write_bytes(file, NEW)
        assert file.read_bytes() == OLD
        assert list_names(disk) == ["part.yaml"]
    finally:
        subprocess.run(["umount", str(disk)], check=True)
