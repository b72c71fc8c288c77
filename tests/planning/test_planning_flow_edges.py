"""Edges of the flow: spreads of every kind, what is left out of a forecast, refusals in words."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from pipeline.planning.flow_backtest import Snapshot, make_past_forecasts
from pipeline.planning.flow_queue import compute_steady_queue
from pipeline.planning.flow_simulation import (
    FlowPlan,
    Job,
    Resource,
    Step,
    draw_steps,
    find_best_extra_hour,
    forecast_steps,
    simulate,
)
from pipeline.planning.flow_spread import Exponential, Fixed, Observed, Pert, Spread, compute_mean, draw, is_outlived
from pipeline.planning.survival import compute_band, compute_quantile, compute_quantile_interval, compute_survival

SEEN = Observed((2.0, 6.0), (0.25, 0.75), 0.5)
FULL = Observed((2.0, 6.0), (0.25, 1.0), math.inf)


@pytest.mark.parametrize(
    ("spread", "mean"),
    [
        (Fixed(3.0), 3.0),
        (Pert(1, 2, 9), 3.0),
        (Exponential(2.5), 2.5),
        (SEEN, 0.25 * 2 + 0.5 * 6 + 0.25 * (6 + 2)),  # a quarter goes on past 6 for two weeks more on average
        (FULL, 0.25 * 2 + 0.75 * 6),
    ],
)
def test_the_mean_of_every_spread(spread: Spread, mean: float) -> None:
    assert compute_mean(spread) == pytest.approx(mean)
    uniforms = (np.arange(100_000) + 0.5) / 100_000
    assert float(draw(spread, uniforms).mean()) == pytest.approx(mean, rel=2e-3), "what is drawn has it too"


@pytest.mark.parametrize(
    ("spread", "last"), [(Fixed(3.0), 3.0), (Pert(1, 2, 9), 8.999), (Pert(0, 0, 0), 0.0), (SEEN, 5.999), (Exponential(1), 1e9)]
)  # fmt: skip
def test_a_step_has_outlived_its_estimate_from_its_end_on(spread: Spread, last: float) -> None:
    assert not is_outlived(spread, last)
    assert is_outlived(spread, last + 0.002) is not isinstance(spread, Exponential)


JOB = Job("TW-101", (Step("cut", outside=Fixed(3.0)),))
DONE = Job("TW-102", ())


@pytest.mark.parametrize(("ended", "forecast"), [(None, True), (9.0, True), (5.0, False), (4.0, False)])
def test_a_job_that_had_ended_by_the_day_is_no_test_of_a_forecast(ended: float | None, forecast: bool) -> None:
    snapshot = Snapshot(5.0, FlowPlan((JOB, DONE), ()))
    found = make_past_forecasts((snapshot,), {"TW-101": ended}, seed=1)
    assert [one.job for one in found] == (["TW-101"] if forecast else [])


def test_only_jobs_that_have_a_wanted_step_are_told() -> None:
    plan = FlowPlan((JOB, Job("TW-103", (Step("plate", outside=Fixed(2.0)),))), ())
    found = forecast_steps(plan, simulate(plan, seed=1, worlds=5), lambda step: step.name == "plate")
    assert [(one.job, one.median) for one in found] == [("TW-103", 2.0)]


def test_an_extra_hour_is_tried_on_the_named_resources_alone() -> None:
    """By hand: 20 h at 10 h a week are two weeks; at 11 h a week 20 / 11: 0.18 weeks are saved."""
    job = Job("TW-101", (Step("measure", resource="arm", work=Fixed(20.0)),))
    plan = FlowPlan((job,), (Resource("arm", 10.0), Resource("press", 10.0)))
    everything = find_best_extra_hour(plan, seed=1, worlds=3)
    assert [one.resource for one in everything] == ["arm", "press"]
    assert [one.gain for one in everything] == pytest.approx([2 - 20 / 11, 0.0])
    assert [one.resource for one in find_best_extra_hour(plan, seed=1, worlds=3, only=frozenset({"press"}))] == [
        "press"
    ]


def test_where_all_finished_at_once_nothing_goes_on_after_it() -> None:
    """Five items of three weeks each: no exposure after the first finish, so no tail."""
    curve = compute_survival([3.0] * 5, [True] * 5)
    assert compute_quantile(curve, 0.5) == 3.0
    assert curve.tail_rate == pytest.approx(1 / 3)  # over all ages: five finishes in fifteen weeks
    assert compute_survival([0.0, 0.0], [True, True]).tail_rate == math.inf, "done on the day it came: nothing lasts"


CURVE = compute_survival([3, 5, 5, 8], [True, True, False, False])
REFUSED: list[tuple[str, Callable[[], object], str]] = [
    ("nobody arrives", lambda: compute_steady_queue(0, 3), "arrivals 0, services 3, servers 1: all must be above 0"),
    ("nobody serves", lambda: compute_steady_queue(2, 3, 0), "servers 0: all must be above 0"),
    ("no world", lambda: draw_steps(FlowPlan((JOB,), ()), 1, 0), "worlds is 0: at least one is needed"),
    ("no hour more", lambda: find_best_extra_hour(FlowPlan((JOB,), ()), 1, hours=0.0), "hours is 0.0: it must be above 0"),
    ("less than no time", lambda: draw(Fixed(1.0), np.array([0.5]), -0.1), "lasted is -0.1: it must be 0 or more"),
    ("a share of all", lambda: compute_quantile(CURVE, 1.0), "share is 1.0: it must lie between 0 and 1"),
    ("an interval of nothing", lambda: compute_quantile_interval(CURVE, 0.0), "share is 0.0: it must lie between 0 and 1"),
    ("a sure band", lambda: compute_band(CURVE, 1.0), "confidence is 1.0: it must lie between 0 and 1"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_cannot_be_is_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
