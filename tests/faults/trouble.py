"""Run something in a child process in which a file operation, chosen by its number, goes wrong.

Python tells an audit hook of every file that it opens, renames, makes or removes, before it does so. Here the hook counts
those below one folder and, at the chosen one, kills the process, refuses (disk full, no permission, ...) or does
something else. What a process was told of is the same in every run, so every moment between two operations can be tried.
Source: Python's table of audit events, PEP 578.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import signal
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Act = Callable[[], None]
_WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC


@dataclass(frozen=True)
class End:
    """How a child ended: its exit code (negative: the signal that killed it), what it said, how many operations it made."""

    code: int
    said: str
    operations: int


def kill() -> None:
    """Die at once, as by `kill -9` or when the power goes."""
    os.kill(os.getpid(), signal.SIGKILL)


def interrupt() -> None:
    """Be interrupted as by Ctrl-C."""
    raise KeyboardInterrupt


def refuse(number: int) -> Act:
    """Return an act that refuses the operation with an error of the system."""

    def act() -> None:
        raise OSError(number, os.strerror(number))

    act.lets_remove = True  # type: ignore[attr-defined]  # a full disk takes nothing more, and gives back what is removed
    return act


def hash_files(folder: Path) -> dict[str, str]:
    """Return path -> sha256 of every file in a folder."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }  # fmt: skip


def run_child(
    action: Callable[[], Any], place: Path, at: int = 0, act: Act = kill, reads: bool = False, every: bool = False
) -> End:
    """Run `action` in a forked child; its operation number `at` (from 1) below `place` meets `act`.

    reads : count files that are opened to be read, too. every : all operations from `at` on meet `act` (a full disk).
    """
    output = place.parent / f"said-{place.name}.txt"
    tally, told = os.pipe()
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.close(tally)
            sink = os.open(output, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            os.dup2(sink, 1)
            os.dup2(sink, 2)
            sys.stdout, sys.stderr = (os.fdopen(fd, "w", closefd=False) for fd in (1, 2))
            sys.addaudithook(_build_hook(str(place), at, act, reads, every, told))
            code = _read_code(action)
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 0
        except BaseException as error:
            print(f"UNCAUGHT {type(error).__name__}: {error}")
        finally:
            for stream in (sys.stdout, sys.stderr):
                with contextlib.suppress(OSError):
                    stream.flush()
            os._exit(code)
    os.close(told)
    counted = 0
    while piece := os.read(tally, 65_536):
        counted += len(piece)
    os.close(tally)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return End(status, output.read_text(errors="replace"), counted)


def _read_code(action: Callable[[], Any]) -> int:
    found = action()
    return found if isinstance(found, int) else 0


def _build_hook(
    place: str, at: int, act: Act, reads: bool, every: bool, told: int
) -> Callable[[str, tuple[Any, ...]], None]:
    main, count, busy = os.getpid(), 0, False

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        nonlocal count, busy
        if busy or os.getpid() != main or not _is_meant(event, arguments, place, reads):
            return
        count += 1
        os.write(told, b".")
        if event in ("os.remove", "os.rmdir") and getattr(act, "lets_remove", False):
            return
        busy = True
        try:
            if at and (count == at or (every and count > at)):
                act()
        finally:
            busy = False

    return hook


def _is_meant(event: str, arguments: tuple[Any, ...], place: str, reads: bool) -> bool:
    if event == "open":
        path, _, flags = arguments
        is_write = bool((flags or 0) & _WRITING)
        return (reads or is_write) and _is_below(path, place)
    if event in ("os.rename", "os.link"):
        return _is_below(arguments[0], place) or _is_below(arguments[1], place)
    if event in ("os.mkdir", "os.remove", "os.rmdir", "os.chmod", "os.truncate", "os.symlink"):
        return _is_below(arguments[0], place)
    return False


def _is_below(path: object, place: str) -> bool:
    try:
        return os.fsdecode(path).startswith(place)  # type: ignore[arg-type]
    except TypeError:
        return False


def call(*words: object) -> Callable[[], int]:
    """Return an action: the command line as the entry point runs it."""

    def action() -> int:
        from pipeline.cli.program import run

        sys.argv = ["pipeline", *map(str, words)]
        run()

    return action


def choose_moments(operations: int, many: int) -> list[int]:
    """Return so many moments, spread over all operations, the first and the last three always among them."""
    spread = {1 + round(i * (operations - 1) / max(many - 1, 1)) for i in range(many)}
    return sorted(spread | {operations, max(1, operations - 1), max(1, operations - 2)})
