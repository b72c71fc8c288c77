"""One writer at a time: a lock that the operating system takes back when a program ends, however it ends."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from pipeline.keeping.kept_folder import make_kept_folder
from pipeline.reading.source import is_link_inside

LOCK_FOLDER = ".pipeline/locks"
WAIT_SECONDS = 60.0
"""Nobody is asked anything while a lock is held, so whoever holds it gives it back within a moment."""


class LockedError(OSError):
    """Another command has held the lock longer than anybody wants to wait."""


@contextlib.contextmanager
def take_lock(root: Path, name: str, wait: float = WAIT_SECONDS) -> Iterator[None]:
    """Hold the lock `name` of a workspace. Raises LockedError after `wait` seconds.

    It is held on an open file below `.pipeline/locks` (git ignores it); the file stays, the lock goes with the program,
    so a crash leaves nothing that somebody must take away.
    """
    folder = root / LOCK_FOLDER
    if is_link_inside(root, folder / f"{name}.lock"):
        raise LockedError(f"{LOCK_FOLDER} is a link or lies behind one; take the link away")
    make_kept_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    handle = os.open(folder / f"{name}.lock", os.O_RDWR | os.O_CREAT, 0o666)
    try:
        _wait_for(handle, name, wait)
        yield
    finally:
        os.close(handle)


def _wait_for(handle: int, name: str, wait: float) -> None:
    end = time.monotonic() + wait
    while not _try_lock(handle):
        if time.monotonic() > end:
            raise LockedError(f"another command is writing {name}; try again when it is done")
        time.sleep(0.02)


def _try_lock(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, 0, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
