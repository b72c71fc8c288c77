"""Solve one case after another; a stop by hand keeps what is solved so far."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_plan import PlanAnswer, PlanEnd, compute_plan

OnStep = Callable[[int, int], None]
"""Called in the calling thread with (solved so far, of how many)."""


@dataclass(frozen=True)
class Series:
    """Answers in the order of the cases; `is_complete` is False when the series was stopped by hand."""

    answers: tuple[PlanAnswer, ...]
    is_complete: bool


def solve_series(
    cases: Iterable[FundingCase],
    total: int,
    gap: float | None = None,
    time_limit_s: float | None = None,
    on_step: OnStep | None = None,
) -> Series:
    """Solve each case (see `compute_plan`); after a KeyboardInterrupt return the answers that are complete.

    total: how many cases there are, for `on_step`. time_limit_s: for each case.
    """
    answers: list[PlanAnswer] = []
    try:
        for case in cases:
            answer = compute_plan(case, gap, time_limit_s)
            if answer.plan is not None and answer.plan.end is PlanEnd.INTERRUPTED:
                return Series(tuple(answers), False)
            answers.append(answer)
            if on_step is not None:
                on_step(len(answers), total)
    except KeyboardInterrupt:
        return Series(tuple(answers), len(answers) == total)
    return Series(tuple(answers), True)
