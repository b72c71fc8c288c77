"""How old is what is in work, held against how long it usually takes; and how much work in progress is too much.

A stage's usual durations come from the product-limit estimate (`survival`), so that items still open count as lasting
longer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.planning.flow_counts import Visit
from pipeline.planning.survival import SurvivalCurve, compute_quantile, compute_share_lasting, compute_survival

USUAL, SLOW = 0.50, 0.85


class AgeBand(StrEnum):
    """Where an age lies: within the time that half need, within what 85 % need, beyond that, or not known."""

    USUAL = "usual"
    SLOW = "slow"
    STUCK = "stuck"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class OpenAge:
    """An open item: its `age` in the stage; `share_faster` of like items had left by that age; `usual` and `slow` are
    the ages by which 50 % and 85 % leave (None: too few have left to tell)."""

    item: str
    stage: str
    age: float
    share_faster: float
    usual: float | None
    slow: float | None
    band: AgeBand


def compute_stage_survival(visits: Sequence[Visit], stage: str, now: float) -> SurvivalCurve:
    """The product-limit estimate of one stage from its visits as known at `now`: a visit that ends later is still open
    then, one that begins later is left out.

    Source: Kaplan and Meier 1958 (see `survival`).

    >>> float(compute_stage_survival([Visit("a", "model", 0, 3), Visit("b", "model", 2, 9)], "model", 6).times[0])
    3.0
    """
    known = [visit for visit in visits if visit.stage == stage and visit.arrived <= now]
    done = [visit.left is not None and visit.left <= now for visit in known]
    ends = [visit.left if visit.left is not None and visit.left <= now else now for visit in known]
    return compute_survival([end - visit.arrived for end, visit in zip(ends, known, strict=True)], done)


def compute_open_ages(visits: Sequence[Visit], curves: Mapping[str, SurvivalCurve], now: float) -> tuple[OpenAge, ...]:
    """The age of everything open at `now` against the curve of its stage, oldest standing first (by share, then age,
    then name). Stages without a curve, or with one on which nothing finished, are `unknown`.

    Source: percentiles of the product-limit estimate; 50 and 85 as limits: common practice (no source).
    """
    ages = [
        _place(visit, curves.get(visit.stage), now)
        for visit in visits
        if visit.arrived <= now and (visit.left is None or visit.left > now)
    ]
    return tuple(sorted(ages, key=lambda age: (-age.share_faster, -age.age, age.item, age.stage)))


def _place(visit: Visit, curve: SurvivalCurve | None, now: float) -> OpenAge:
    age = now - visit.arrived
    if curve is None or not curve.times.size:
        return OpenAge(visit.item, visit.stage, age, 0.0, None, None, AgeBand.UNKNOWN)
    usual, slow = compute_quantile(curve, USUAL), compute_quantile(curve, SLOW)
    faster = 1.0 - compute_share_lasting(curve, age)
    return OpenAge(visit.item, visit.stage, age, faster, usual, slow, _find_band(age, usual, slow))


def _find_band(age: float, usual: float | None, slow: float | None) -> AgeBand:
    """An age equal to a limit is still within it."""
    if usual is None or age <= usual:
        return AgeBand.USUAL if usual is not None else AgeBand.UNKNOWN
    return AgeBand.SLOW if slow is None or age <= slow else AgeBand.STUCK


def compute_work_limit(rate: float, stay: float) -> float:
    """The work in progress at which a stage that finishes `rate` items per unit of time lets each stay `stay` units:
    more than that only waits. Raises ValueError for negative arguments.

    Source: Little 1961, L = lambda W.

    >>> compute_work_limit(0.5, 3.6)
    1.8
    """
    if rate < 0.0 or stay < 0.0:
        raise ValueError(f"rate {rate} and stay {stay} must be 0 or more")
    return rate * stay
