"""Were the promises kept: forecasts made from the past as it stood then, held against what happened since. Pure.

A forecast counts once the day by which it had to be right is over, whatever happened: to wait until the item is
finished would count only the quick ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from pipeline.planning.flow_simulation import FlowPlan, JobForecast, forecast_jobs

Forecaster = Callable[[FlowPlan, int], Sequence[JobForecast]]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The plan as it was known at `at` (weeks from any one origin)."""

    at: float
    plan: FlowPlan


@dataclass(frozen=True, slots=True)
class PastForecast:
    """A forecast made at `at`, all on the one scale of weeks: `median`, `promise` (85 %), `early` and `late` (the 85 %
    range), and when the job really ended (None: not by `now`)."""

    at: float
    job: str
    median: float
    promise: float
    early: float
    late: float
    ended: float | None


@dataclass(frozen=True, slots=True)
class Hits:
    """How many of `of` forecasts came true: `share` (None if there were none) with its 95 % interval."""

    hit: int
    of: int
    share: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class BackTest:
    """`by_median` should be near 0.50, `by_promise` near 0.85, `in_range` near 0.85. `forecasts`: all of them, also
    those whose day is not over."""

    forecasts: tuple[PastForecast, ...]
    by_median: Hits
    by_promise: Hits
    in_range: Hits


def make_past_forecasts(
    snapshots: Sequence[Snapshot], ended: Mapping[str, float | None], seed: int, forecast: Forecaster = forecast_jobs
) -> tuple[PastForecast, ...]:
    """Forecast every job of every snapshot that has steps left; `ended`: when each job really ended (None or missing:
    not yet). Jobs that the record says had ended by the snapshot are left out.

    Source: rolling-origin evaluation (Hyndman and Athanasopoulos, Forecasting: Principles and Practice, section 5.10).
    """
    made = []
    for snapshot in snapshots:
        remaining = {job.name for job in snapshot.plan.jobs if job.steps}
        for found in forecast(snapshot.plan, seed):
            end = ended.get(found.job)
            if found.job in remaining and (end is None or end > snapshot.at):
                made.append(_put_on_scale(snapshot.at, found, end))
    return tuple(made)


def _put_on_scale(at: float, found: JobForecast, ended: float | None) -> PastForecast:
    return PastForecast(at, found.job, at + found.median, at + found.promise, at + found.early, at + found.late, ended)


def score_forecasts(forecasts: Sequence[PastForecast], now: float) -> BackTest:
    """Score forecasts as known at `now`: each figure over the forecasts whose own day (median, promise, late end) is
    not after `now`. A job dropped since then has no end: leave its forecasts out before scoring.

    Source: coverage of prediction intervals; interval of a share: E. B. Wilson, JASA 22 (1927) 209-212. Forecasts of
    one job at several dates depend on each other, so the interval is narrower than it should be.
    """
    by_median = [_is_by(f.ended, f.median) for f in forecasts if f.median <= now]
    by_promise = [_is_by(f.ended, f.promise) for f in forecasts if f.promise <= now]
    in_range = [_is_by(f.ended, f.late) and not _is_before(f.ended, f.early) for f in forecasts if f.late <= now]
    return BackTest(tuple(forecasts), count_hits(by_median), count_hits(by_promise), count_hits(in_range))


def _is_by(ended: float | None, day: float) -> bool:
    return ended is not None and ended <= day


def _is_before(ended: float | None, day: float) -> bool:
    return ended is not None and ended < day


def count_hits(outcomes: Sequence[bool], confidence: float = 0.95) -> Hits:
    """A share with its Wilson interval; with no outcomes the share is None and the interval is 0 to 1.

    Source: Wilson 1927.

    >>> hits = count_hits([True] * 8 + [False] * 2)
    >>> (hits.share, round(hits.low, 3), round(hits.high, 3))
    (0.8, 0.49, 0.943)
    """
    of, hit = len(outcomes), sum(outcomes)
    if not of:
        return Hits(0, 0, None, 0.0, 1.0)
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    share, spread = hit / of, z * z / of
    middle = (share + spread / 2.0) / (1.0 + spread)
    width = z * (share * (1.0 - share) / of + spread / (4.0 * of)) ** 0.5 / (1.0 + spread)
    return Hits(hit, of, share, max(middle - width, 0.0), min(middle + width, 1.0))


def run_backtest(snapshots: Sequence[Snapshot], ended: Mapping[str, float | None], now: float, seed: int) -> BackTest:
    """Forecast from every snapshot and score what is known at `now`."""
    return score_forecasts(make_past_forecasts(snapshots, ended, seed), now)
