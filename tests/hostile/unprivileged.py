"""Something done without the rights that the one who runs the tests may have."""

from __future__ import annotations

import os
from collections.abc import Callable


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
