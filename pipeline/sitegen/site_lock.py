"""One build of a site at a time: a lock beside the site, given back by the system if the builder dies."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO


class SiteBusy(Exception):
    """Another build of the same site is running."""


@contextlib.contextmanager
def lock_site(out: Path) -> Iterator[None]:
    """Hold the lock of a site while it is built.

    Raises SiteBusy when another process holds it. The lock file stays; the lock itself ends with the process.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    path = out.parent / f".{out.name}.lock"
    with path.open("a+b") as stream:
        if not _take(stream):
            raise SiteBusy(f"another build of {out} is running; wait for it, or build elsewhere with --out")
        try:
            yield
        finally:
            _give_back(stream)


def _take(stream: IO[bytes]) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            stream.seek(0)
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _give_back(stream: IO[bytes]) -> None:
    if sys.platform == "win32":
        import msvcrt

        stream.seek(0)
        with contextlib.suppress(OSError):
            msvcrt.locking(stream.fileno(), msvcrt.LK_UNLCK, 1)
    else:
        import fcntl

        fcntl.flock(stream.fileno(), fcntl.LOCK_UN)
