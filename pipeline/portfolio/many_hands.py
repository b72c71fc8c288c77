"""The same work for many things, by this process and helpers: on two processors it takes half the time.

A helper is a fork, so it has in memory all that this process has, and nothing is sent to it; what it made comes back
through a file. Where none can be had (another system, other threads, one processor, little work), or where one dies
or stands still, this process does what is left: slower, never otherwise.
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
"""Fewer things than this for each are done sooner than a helper is there."""
MOST_HELPERS = 3
"""A helper takes memory of its own for what it changes; and what cannot be shared out is soon all that is left."""
MOST = 10_000
"""What fits into the pipe from which all take; of more, this process does the rest."""
PATIENCE = 30.0
"""Seconds that the helpers may take for their last thing when all others are done."""
_TURN = struct.Struct("<I")


class ManyHands(Generic[Item, Result]):
    """Work that is shared out: `start` it, do something else, `finish` it. do : has no effect but what it returns."""

    def __init__(self, items: Sequence[Item], do: Callable[[Item], Result], least: int = WORTH_A_HELPER) -> None:
        self.items, self.do, self.least = list(items), do, least
        self._turns: int | None = None
        self._helpers: list[_Helper] = []

    def start(self) -> ManyHands[Item, Result]:
        """Let the helpers begin, where there are any to be had."""
        count = min(count_helpers(), len(self.items) // self.least)
        if count:
            with contextlib.suppress(OSError):
                self._lay_out()
                for _ in range(count):
                    self._fork()
        return self

    def _lay_out(self) -> None:
        """Put everyone's turns into one pipe: whoever is free takes the next."""
        self._turns, end = os.pipe()
        try:
            os.write(end, b"".join(_TURN.pack(at) for at in range(min(len(self.items), MOST))))
        finally:
            os.close(end)  # whoever finds the pipe empty is through

    def _fork(self) -> None:
        file = tempfile.TemporaryFile()  # noqa: SIM115 - closed when the work is finished
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)  # of threads: there are none of ours
                process = os.fork()
        except OSError:
            file.close()
            raise
        if process == 0:
            self._help(file)
        self._helpers.append(_Helper(process, file))

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
        until = time.monotonic() + PATIENCE
        found: dict[int, Any] = {}
        for helper in self._helpers:
            helper.wait(until)
            found |= helper.read()
        return found

    def _let_go(self) -> None:
        for helper in self._helpers:
            helper.end()
            helper.file.close()
        if self._turns is not None:
            os.close(self._turns)
        self._turns, self._helpers = None, []


class _Helper:
    """A forked process, and the file into which it writes what it made."""

    def __init__(self, process: int, file: IO[bytes]) -> None:
        self.process: int | None = process
        self.file = file

    def wait(self, until: float) -> None:
        """Wait for its last thing; one that stands still is ended."""
        while self.process is not None and time.monotonic() < until:
            if os.waitpid(self.process, os.WNOHANG)[0]:
                self.process = None
                return
            time.sleep(0.005)
        self.end()

    def end(self) -> None:
        """End it, if it is there still."""
        if self.process is not None:
            with contextlib.suppress(OSError):
                os.kill(self.process, signal.SIGKILL)
                os.waitpid(self.process, 0)
        self.process = None

    def read(self) -> dict[int, Any]:
        """Return what it made: our own helper wrote it a moment ago; where it died, the last one is cut off."""
        self.file.seek(0)
        found: dict[int, Any] = {}
        with contextlib.suppress(EOFError, pickle.UnpicklingError, AttributeError, ValueError, IndexError):
            while True:
                at, result = pickle.load(self.file)
                found[at] = result
        return found


def count_helpers() -> int:
    """Return how many helpers can be had: other processors, and a system and a process that can be forked safely."""
    if sys.platform != "linux" or threading.active_count() != 1:
        return 0
    return min(len(os.sched_getaffinity(0)) - 1, MOST_HELPERS)
