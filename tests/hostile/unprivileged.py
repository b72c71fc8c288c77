"""Something done without the rights that the one who runs the tests may have."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path


def run_as_nobody(action: Callable[[], bool]) -> bool:
    """Run something in a child process without rights; True when it says so."""
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:
                os.setgid(65534)
                os.setuid(65534)
            os._exit(0 if action() else 1)
        except BaseException:
            os._exit(2)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


@contextlib.contextmanager
def entered_by_all(folder: Path) -> Iterator[None]:
    """Let everybody enter a folder of the tests and those above it, and take that back afterwards."""
    top = Path(tempfile.gettempdir()).resolve()
    above = [path for path in (folder, *folder.parents) if path != top and top in path.parents]
    modes = [(path, path.stat().st_mode) for path in above]
    for path, mode in modes:
        path.chmod(mode | 0o055)
    try:
        yield
    finally:
        for path, mode in modes:
            path.chmod(mode)
