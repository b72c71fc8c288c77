"""How many loops pay, one after another, and which other evidence would buy more."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.costing.bounds import check_count
from pipeline.costing.errors_left import FailureMode
from pipeline.costing.loop import (
    Loop,
    LoopResult,
    Stakes,
    compute_loop,
    compute_net,
    compute_stakes_after,
    list_gains,
)


@dataclass(frozen=True)
class LoopStep:
    """The n-th loop of a row of the same loops.

    Attributes:
        number: from 1.
        planned: net gain of this loop when the whole row is planned now, whatever the earlier ones find.
        after_clean: net gain of this loop when all the earlier ones found nothing.
    """

    number: int
    planned: float
    after_clean: float


@dataclass(frozen=True)
class LoopSeries:
    """How many loops pay.

    Attributes:
        steps: loop after loop, up to the first that no longer pays, or `most`.
        planned: how many pay when planned now.
        after_clean: how many pay if each finds nothing.
        calls_for_more: by mode, the least number of errors which, found by the next loop, make another one pay;
            None where a loop like this cannot see the mode or no number up to 20 does.
    """

    steps: tuple[LoopStep, ...]
    planned: int
    after_clean: int
    calls_for_more: Mapping[FailureMode, int | None]


def compute_series(stakes: Stakes, loop: Loop, most: int = 10) -> LoopSeries:
    """How many loops pay, one after another. Each finds less than the one before, so the first that fails ends the row.

    Args:
        most: stop here at the latest, 1 or more.

    Raises:
        ValueError: most below 1.

    >>> from pipeline.costing.errors_left import Remaining
    >>> from pipeline.costing.loop import Stake
    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 2, 1.0), late=20_000, now=3_000)}
    >>> series = compute_series(stakes, Loop("print and fit", 2_000, 0, 0, {FailureMode.FIT: 0.6}))
    >>> series.planned, series.after_clean, series.calls_for_more[FailureMode.FIT]
    (2, 1, 1)
    """
    check_count(most, "the most loops to look at", least=1)
    steps: list[LoopStep] = []
    clean = stakes
    for number in range(1, most + 1):
        steps.append(LoopStep(number, _net_planned(stakes, loop, number), compute_net(clean, loop)))
        clean = compute_stakes_after(clean, loop)
        if steps[-1].planned <= 0 and steps[-1].after_clean <= 0:
            break
    return LoopSeries(
        steps=tuple(steps),
        planned=_count_paying([step.planned for step in steps]),
        after_clean=_count_paying([step.after_clean for step in steps]),
        calls_for_more={mode: _find_calling(stakes, loop, mode) for mode in FailureMode if mode in stakes},
    )


def _count_paying(nets: Sequence[float]) -> int:
    return len(list(itertools.takewhile(lambda net: net > 0, nets)))


def _net_planned(stakes: Stakes, loop: Loop, number: int) -> float:
    missed = [(gain, (1 - loop.powers.get(gain.mode, 0.0)) ** (number - 1)) for gain in list_gains(stakes, loop)]
    return math.fsum(gain.saved * share for gain, share in missed) - loop.price


def _find_calling(stakes: Stakes, loop: Loop, mode: FailureMode, most: int = 20) -> int | None:
    if loop.powers.get(mode, 0.0) == 0 or stakes[mode].remaining.miss == 0:
        return None
    for found in range(most + 1):
        if compute_net(compute_stakes_after(stakes, loop, {mode: found}), loop) > 0:
            return found
    return None


def rank_evidence(stakes: Stakes, options: Sequence[Loop], seed: int = 0) -> tuple[LoopResult, ...]:
    """What other evidence would buy: every option by net gain, the best first; equal ones by name.

    `gain_per_money` and `gain_per_week` of each result give the other two orders. Each option is taken alone.

    Raises:
        ValueError: two options of one name.

    >>> from pipeline.costing.errors_left import Remaining
    >>> from pipeline.costing.loop import Stake
    >>> stakes = {mode: Stake(Remaining(1, 4, 1.0), 20_000, 3_000)
    ...           for mode in (FailureMode.FIT, FailureMode.MATERIAL_PROCESS)}
    >>> options = [Loop("print and fit", 2_000, 2, 300, {FailureMode.FIT: 0.8}),
    ...            Loop("plated sample", 1_400, 3, 300, {FailureMode.MATERIAL_PROCESS: 0.7, FailureMode.FIT: 0.5})]
    >>> [row.name for row in rank_evidence(stakes, options)]
    ['plated sample', 'print and fit']
    """
    names = [option.name for option in options]
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f'"{name}" is offered twice; give each piece of evidence its own name')
    results = [compute_loop(stakes, option, seed) for option in options]
    return tuple(sorted(results, key=lambda result: (-result.net, result.name)))
