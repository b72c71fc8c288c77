"""Work shared with a helper comes out as work done alone, whatever becomes of the helper."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pytest

from pipeline.portfolio import many_hands
from pipeline.portfolio.many_hands import ManyHands, count_helpers

ALONE = os.getpid()
needs_helper = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2, reason="a helper needs Linux and two processors"
)


def slowly(number: int) -> tuple[int, int]:
    """Return the square of a number and who reckoned it."""
    time.sleep(0.002)
    return number * number, os.getpid()


def run_alone(check: str) -> None:
    """Run a check in a process of its own: here other tests' threads may forbid a helper."""
    script = f"import sys\nsys.path.insert(0, {str(Path(__file__).parent)!r})\n" + (
        f"from {Path(__file__).stem} import ALONE, ManyHands, Path, os, slowly, time\n{check}"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-1500:]


@needs_helper
def test_all_work_and_the_order_stays() -> None:
    run_alone(
        "found = ManyHands(range(60), slowly).start().finish()\n"
        "assert [square for square, _ in found] == [number * number for number in range(60)]\n"
        "assert len({who for _, who in found}) == 1 + min(3, len(os.sched_getaffinity(0)) - 1)\n"
    )


@needs_helper
def test_four_processors_are_all_put_to_work() -> None:
    run_alone(
        "os.sched_getaffinity = lambda _: set(range(8))\n"
        "found = ManyHands(range(160), slowly).start().finish()\n"
        "assert [square for square, _ in found] == [number * number for number in range(160)]\n"
        "assert len({who for _, who in found}) == 4\n"
    )


@needs_helper
def test_a_helper_is_called_only_for_its_share_of_the_work() -> None:
    run_alone(
        "os.sched_getaffinity = lambda _: set(range(8))\n"
        "assert len({who for _, who in ManyHands(range(47), slowly).start().finish()}) <= 3\n"
    )


@needs_helper
def test_the_helper_goes_on_while_this_process_is_busy() -> None:
    run_alone(
        "hands = ManyHands(range(40), slowly).start()\n"
        "time.sleep(2)\n"
        "assert ALONE not in {who for _, who in hands.finish()}\n"
    )


@pytest.mark.parametrize("count", [0, 1, many_hands.WORTH_A_HELPER - 1])
def test_little_work_is_done_here(count: int) -> None:
    assert {who for _, who in ManyHands(range(count), slowly).start().finish()} <= {ALONE}


def test_no_fork_beside_other_threads() -> None:
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        assert not count_helpers()
        assert {who for _, who in ManyHands(range(30), slowly).start().finish()} == {ALONE}
    finally:
        stop.set()
        thread.join()


def die(number: int) -> int:
    """Die where this is the helper."""
    if os.getpid() != ALONE:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def stand_still(number: int) -> int:
    """Never come back where this is the helper."""
    while os.getpid() != ALONE:
        time.sleep(0.05)
    return number


def return_odd(number: int) -> object:
    """Return what cannot be sent."""
    return number if os.getpid() == ALONE else lambda: number


@pytest.mark.parametrize("do", [die, stand_still, return_odd])
def test_what_the_helper_does_not_bring_is_done_here(do: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(many_hands, "PATIENCE", 0.2)
    assert ManyHands(range(20), do).start().finish() == list(range(20))  # type: ignore[arg-type]


def test_no_place_for_the_file_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)
    assert [square for square, _ in ManyHands(range(20), slowly).start().finish()] == [n * n for n in range(20)]


def fail(number: int) -> int:
    """Refuse one number, in either process."""
    if number == 11:
        raise ValueError("eleven")
    return number


def test_a_fault_of_the_work_is_raised_here() -> None:
    with pytest.raises(ValueError, match="eleven"):
        ManyHands(range(20), fail).start().finish()


@needs_helper
def test_nothing_is_left_behind() -> None:
    run_alone(
        "before = len(list(Path('/proc/self/fd').iterdir()))\n"
        "for _ in range(3):\n"
        "    ManyHands(range(20), slowly).start().finish()\n"
        "assert len(list(Path('/proc/self/fd').iterdir())) == before\n"
        "try:\n"
        "    os.waitpid(-1, os.WNOHANG)\n"
        "except ChildProcessError:\n"
        "    pass\n"
        "else:\n"
        "    raise AssertionError('a child was left')\n"
    )
