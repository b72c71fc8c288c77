"""The same work for many things, by this process and a helper: on two processors it takes half the time.

The helper is a fork, so it has in memory all that this process has, and nothing is sent to it; what it made comes back
through a file. Where none can be had (another system, other threads, one processor, little work), or where it dies
or stands still, this process does all of it: slower, never otherwise.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import struct
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Sequence
from typing import IO, Any, Generic, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")
WORTH_A_HELPER = 16
"""Fewer things than this are done sooner than a helper is there."""
MOST = 10_000
"""What fits into the pipe from which both take; of more, this process does the rest."""
PATIENCE = 30.0
"""Seconds that the helper may take for its last thing when all others are done."""
_TURN = struct.Struct("<I")


class TwoHands(Generic[Item, Result]):
    """Work that is shared out: `start` it, do something else, `finish` it. do : has no effect but what it returns."""

    def __init__(self, items: Sequence[Item], do: Callable[[Item], Result], least: int = WORTH_A_HELPER) -> None:
        self.items, self.do, self.least = list(items), do, least
        self._turns: int | None = None
        self._helper: int | None = None
        self._file: IO[bytes] | None = None

    def start(self) -> TwoHands[Item, Result]:
        """Let the helper begin, where there is one to be had."""
        if len(self.items) >= self.least and is_helper_there():
            with contextlib.suppress(OSError):
                self._fork()
        return self

    def _fork(self) -> None:
        self._file = tempfile.TemporaryFile()  # noqa: SIM115 - closed when the work is finished
        self._turns, end = os.pipe()
        try:
            os.write(end, b"".join(_TURN.pack(at) for at in range(min(len(self.items), MOST))))
        finally:
            os.close(end)  # whoever finds the pipe empty is through
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # of threads: there are none of ours
            helper = os.fork()
        if helper == 0:
            self._help(self._file)
        self._helper = helper

    def _help(self, file: IO[bytes]) -> None:
        """Do what comes next until nothing is left; never comes back."""
        code = 1
        try:
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            while (at := self._take()) is not None:
                pickle.dump((at, self.do(self.items[at])), file)
                file.flush()
            code = 0
        finally:
            os._exit(code)

    def _take(self) -> int | None:
        turn = b"" if self._turns is None else os.read(self._turns, _TURN.size)
        return int(_TURN.unpack(turn)[0]) if len(turn) == _TURN.size else None

    def finish(self) -> list[Result]:
        """Do what is left, and return what came of each thing, in their order. Raises what `do` raises."""
        done: dict[int, Result] = {}
        try:
            while (at := self._take()) is not None:
                done[at] = self.do(self.items[at])
            done |= self._collect()
        finally:
            self._let_go()
        return [done[at] if at in done else self.do(item) for at, item in enumerate(self.items)]

    def _collect(self) -> dict[int, Any]:
        if self._helper is None or self._file is None:
            return {}
        self._wait(self._helper)
        self._file.seek(0)
        found: dict[int, Any] = {}
        with contextlib.suppress(EOFError, pickle.UnpicklingError, AttributeError, ValueError, IndexError):
            while True:  # our own helper wrote it a moment ago; where it died, the last one is cut off
                at, result = pickle.load(self._file)
                found[at] = result
        return found

    def _wait(self, helper: int) -> None:
        """Wait for the helper's last thing; one that stands still is ended."""
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            if os.waitpid(helper, os.WNOHANG)[0]:
                self._helper = None
                return
            time.sleep(0.005)
        self._end()

    def _end(self) -> None:
        if self._helper is not None:
            with contextlib.suppress(OSError):
                os.kill(self._helper, signal.SIGKILL)
                os.waitpid(self._helper, 0)
        self._helper = None

    def _let_go(self) -> None:
        self._end()
        if self._turns is not None:
            os.close(self._turns)
        if self._file is not None:
            self._file.close()
        self._turns, self._file = None, None


def is_helper_there() -> bool:
    """Return whether a helper can be had: two processors, and a system and a process that can be forked safely."""
    return (os.cpu_count() or 1) > 1 and sys.platform == "linux" and threading.active_count() == 1
