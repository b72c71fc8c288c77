"""Counts, ages, queues, limits, forecasts, the extra hour and the back-test."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pipeline.planning.flow_ageing import AgeBand, compute_open_ages, compute_stage_survival, compute_work_limit
from pipeline.planning.flow_backtest import PastForecast, Snapshot, run_backtest, score_forecasts
from pipeline.planning.flow_counts import Visit, build_cumulative_flow, compute_littles_law
from pipeline.planning.flow_queue import compute_resource_queues, compute_steady_queue
from pipeline.planning.flow_simulation import (
    FlowPlan,
    Job,
    Resource,
    Step,
    draw_steps,
    find_best_extra_hour,
    forecast_jobs,
    simulate,
)
from pipeline.planning.flow_spread import Exponential, Fixed, Observed, Pert, build_observed, draw, is_outlived
from pipeline.planning.survival import compute_quantile, compute_survival

ARM = Resource("arm", 10.0)


def test_counts_at_the_edges() -> None:
    flow = build_cumulative_flow(
        [Visit("a", "s", 1, 2), Visit("b", "s", 2), Visit("c", "other", 0)], ["s", "t"], [0, 1, 2, 3]
    )
    assert flow.arrivals.tolist() == [[0, 1, 2, 2], [0, 0, 0, 0]]
    assert flow.departures.tolist() == [[0, 0, 1, 1], [0, 0, 0, 0]] and flow.in_work[0].tolist() == [0, 1, 1, 1]
    with pytest.raises(ValueError, match="rise"):
        build_cumulative_flow([], ["s"], [0, 0])
    with pytest.raises(ValueError, match="before it arrives"):
        Visit("a", "s", 3, 2)


def test_a_window_that_cuts_stays_says_so() -> None:
    check = compute_littles_law([Visit("a", "s", -5, 2), Visit("b", "s", 1), Visit("c", "s", 20)], 0, 10)
    assert (check.items, check.cut, check.arrived, check.left) == (2, 2, 1, 1) and check.in_work == pytest.approx(1.1)
    assert compute_littles_law([], 0, 1).in_work == 0.0
    with pytest.raises(ValueError, match="empty"):
        compute_littles_law([], 1, 1)


def test_ages_against_what_is_usual() -> None:
    visits = [Visit(str(n), "model", 0, float(n)) for n in range(1, 11)]
    visits += [Visit("young", "model", 6), Visit("slow", "model", 3), Visit("stuck", "model", 0), Visit("x", "new", 0)]
    curve = compute_stage_survival(visits[:10], "model", 20)
    ages = compute_open_ages(visits, {"model": curve}, 10.0)
    assert [(age.item, age.band) for age in ages] == [
        ("stuck", AgeBand.STUCK), ("slow", AgeBand.SLOW), ("young", AgeBand.USUAL), ("x", AgeBand.UNKNOWN),
    ]  # fmt: skip
    assert (ages[0].usual, ages[0].slow) == (5.0, 9.0) and ages[1].share_faster == pytest.approx(0.7)
    on_limit = compute_open_ages([Visit("a", "model", 0)], {"model": curve}, 9.0)
    assert on_limit[0].band is AgeBand.SLOW


def test_a_stage_is_seen_as_it_was_known_then() -> None:
    visits = [Visit("a", "s", 0, 3), Visit("b", "s", 1, 9), Visit("c", "s", 8)]
    then = compute_stage_survival(visits, "s", 5)
    assert (then.items, then.open_items, then.longest) == (2, 1, 4.0)


def test_limits_and_queues() -> None:
    assert (compute_work_limit(0.5, 3.6), compute_work_limit(0.0, 3.6)) == (1.8, 0.0)
    with pytest.raises(ValueError, match="0 or more"):
        compute_work_limit(-1.0, 1.0)
    queues = compute_resource_queues({"arm": 30, "car": 4, "idle": 0}, {"arm": 12, "mara": 20})
    assert [(queue.resource, queue.weeks) for queue in queues] == [
        ("car", math.inf),
        ("arm", 2.5),
        ("idle", 0),
        ("mara", 0),
    ]
    for bad in ({"arm": -1.0}, {"arm": math.nan}):
        with pytest.raises(ValueError, match="arm"):
            compute_resource_queues(bad, {})
    with pytest.raises(ValueError, match="without end"):
        compute_steady_queue(3, 3)


def test_late_entry_ties_and_empty_curves() -> None:
    late = compute_survival([5, 6, 7], [True, True, True], [0, 5, 0])
    assert late.at_risk.tolist() == [2, 2, 1]
    assert compute_survival([0, 2], [True, True]).survival.tolist() == [0.5, 0.0]
    empty = compute_survival([], [])
    assert compute_quantile(empty, 0.5) is None and empty.tail_rate == 0.0
    assert compute_survival([4, 5], [False, False]).tail_rate == 0.0
    for ages, done, starts in (
        ([-1], [True], None),
        ([math.nan], [True], None),
        ([1, 2], [True], None),
        ([1], [True], [2]),
    ):
        with pytest.raises(ValueError, match=r"negative|length|enters"):
            compute_survival(ages, done, starts)


def test_conditional_draws_are_the_right_ones() -> None:
    rng = np.random.default_rng(1)
    uniforms = rng.random(40_000)
    plain = draw(Pert(1, 2, 9), uniforms)
    assert plain.mean() == pytest.approx(3.0, abs=0.03) and plain.var() == pytest.approx(12 / 7, rel=0.04)
    conditional = draw(Pert(1, 2, 9), uniforms, lasted=4.0)
    assert conditional.mean() == pytest.approx(plain[plain > 4.0].mean(), abs=0.03)
    spread = build_observed(compute_survival([2, 4, 6, 8, 9], [True, True, True, False, False]))
    assert np.mean(draw(spread, uniforms, lasted=3.0) == 4.0) == pytest.approx(0.25, abs=0.01)
    beyond = draw(spread, uniforms, lasted=7.0) - 7.0
    assert spread.tail_rate == pytest.approx(1 / 11) and beyond.mean() == pytest.approx(11.0, rel=0.02)
    assert np.mean(draw(spread, uniforms) > 6.0) == pytest.approx(0.4, abs=0.01)
    for wrong in (lambda: Pert(3, 2, 9), lambda: Fixed(-1), lambda: Exponential(0), lambda: Observed((), (), 1)):
        with pytest.raises(ValueError, match=r"\w"):
            wrong()


def test_an_estimate_that_was_outlived_is_said() -> None:
    assert is_outlived(Pert(1, 2, 3), 3.0) and not is_outlived(Pert(1, 2, 3), 2.9)
    job = Job(
        "TW-1", (Step("plate", outside=Pert(1, 2, 3), waited=5.0), Step("fit", "arm", Fixed(1.0), after=("plate",)))
    )
    forecast = forecast_jobs(FlowPlan((job,), (ARM,)), seed=1)[0]
    assert forecast.outlived == ("plate",) and forecast.median > 0.1


def test_first_come_first_served_and_what_is_started_goes_on() -> None:
    jobs = (
        Job("a", (Step("s", "arm", Fixed(10.0), waited=1.0),)),
        Job("b", (Step("s", "arm", Fixed(10.0), waited=2.0),)),
        Job("c", (Step("s", "arm", Fixed(10.0), worked=5.0, is_started=True),)),
        Job("later", (Step("s", "arm", Fixed(10.0)),), not_before=10.0),
        Job("done", ()),
    )
    run = simulate(FlowPlan(jobs, (ARM,)), seed=1, worlds=2)
    assert run.finish[0].tolist() == [2.5, 1.5, 0.5, 11.0, 0.0]
    assert run.uses[0].load == pytest.approx(35.0) and run.uses[0].wait == pytest.approx((1.5 + 0.5) / 4)


def test_work_in_a_narrow_place_makes_the_forecast_later_than_its_own_hours() -> None:
    jobs = tuple(Job(f"j{n}", (Step("measure", "arm", Pert(5, 10, 20)),)) for n in range(10))
    forecasts = forecast_jobs(FlowPlan(jobs, (ARM,)), seed=3)
    assert all(f.early <= f.median <= f.promise <= f.late for f in forecasts)
    assert forecasts[9].median > 9.0 and forecasts[0].median < 1.5


def test_the_same_seed_gives_the_same_and_a_new_job_leaves_the_draws_of_others() -> None:
    jobs = tuple(Job(f"j{n}", (Step("a", "arm", Pert(1, 2, 9)),)) for n in range(3))
    plan = FlowPlan(jobs, (ARM,))
    assert forecast_jobs(plan, seed=7) == forecast_jobs(plan, seed=7) != forecast_jobs(plan, seed=8)
    more = replace(plan, jobs=(Job("new", jobs[0].steps), *jobs))
    assert (draw_steps(more, 7, 50).hours[:, 1:] == draw_steps(plan, 7, 50).hours).all()


def test_one_more_hour_helps_most_where_the_queue_is() -> None:
    jobs = tuple(
        Job(f"j{n}", (Step("m", "arm", Pert(5, 10, 20)), Step("p", "printer", Pert(1, 2, 3), after=("m",))))
        for n in range(8)
    )
    plan = FlowPlan(jobs, (ARM, Resource("printer", 40.0), Resource("idle", 5.0)))
    found = find_best_extra_hour(plan, seed=2, worlds=200)
    assert [extra.resource for extra in found] == ["arm", "printer", "idle"]
    assert found[0].gain > 20 * found[0].standard_error > 0 and found[0].moved == 1.0
    assert found[2].gain == 0.0 and found[2].standard_error == 0.0
    weighted = find_best_extra_hour(plan, seed=2, worlds=200, weights={job.name: 10.0 for job in jobs})
    assert weighted[0].gain == pytest.approx(10 * found[0].gain)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (FlowPlan((Job("a", (Step("s", "arm"),)),), ()), "no resource of the plan"),
        (FlowPlan((Job("a", (Step("s", after=("t",)),)),), ()), "no step of this job"),
        (FlowPlan((Job("a", (Step("s", after=("t",)), Step("t", after=("s",)))),), ()), "circle"),
        (FlowPlan((Job("a", ()), Job("a", ())), ()), "twice"),
        (FlowPlan((), (Resource("arm", 0.0),)), "above 0"),
        (FlowPlan((Job("a", (Step("s", work=Fixed(1.0)),)),), ()), "no resource to do it"),
    ],
)
def test_impossible_plans(plan: FlowPlan, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        simulate(plan, seed=1, worlds=2)


def test_no_jobs_at_all() -> None:
    assert forecast_jobs(FlowPlan((), (ARM,)), seed=1) == ()
    assert simulate(FlowPlan((Job("a", ()),), ()), seed=1, worlds=3).finish.tolist() == [[0.0]] * 3


def test_scores_count_what_is_over_whatever_happened() -> None:
    kept, broken = PastForecast(0, "a", 4, 8, 1, 9, 8.0), PastForecast(0, "b", 4, 8, 1, 9, None)
    early, open_still = PastForecast(0, "c", 4, 8, 3, 9, 2.0), PastForecast(5, "d", 20, 30, 10, 40, 6.0)
    score = score_forecasts([kept, broken, early, open_still], now=12.0)
    assert (score.by_promise.hit, score.by_promise.of) == (2, 3) and (score.by_median.hit, score.by_median.of) == (1, 3)
    assert (score.in_range.hit, score.in_range.of) == (1, 3) and len(score.forecasts) == 4
    assert score_forecasts([], 1.0).by_promise.share is None


def test_forecasts_of_a_true_model_are_calibrated_and_those_of_a_rosy_one_are_not() -> None:
    """60 separate shops, each with three jobs; what happens is one more world of the same model."""
    snapshots, rosy, ended = [], [], {}
    for n in range(60):
        jobs = tuple(
            Job(f"{n}-{k}", (Step("m", "arm", Pert(5, 10, 30)), Step("p", outside=Pert(1, 2, 6), after=("m",))))
            for k in range(3)
        )
        plan = FlowPlan(jobs, (ARM,))
        truth = simulate(plan, seed=1000 + n, worlds=1).finish[0]
        ended |= {job.name: float(end) for job, end in zip(jobs, truth, strict=True)}
        snapshots.append(Snapshot(0.0, plan))
        rosy.append(Snapshot(0.0, replace(plan, resources=(Resource("arm", 40.0),))))
    good, bad = (run_backtest(made, ended, now=500.0, seed=5) for made in (snapshots, rosy))
    assert good.by_promise.of == 180
    assert good.by_promise.low <= 0.85 <= good.by_promise.high and good.in_range.low <= 0.85 <= good.in_range.high
    assert good.by_median.low <= 0.5 <= good.by_median.high
    assert bad.by_promise.high < 0.85


@pytest.mark.parametrize(
    "module",
    ["survival", "flow_spread", "flow_simulation", "flow_counts", "flow_ageing", "flow_queue", "flow_backtest"],
)
def test_examples_in_the_documentation(module: str) -> None:
    import doctest
    import importlib

    result = doctest.testmod(importlib.import_module(f"pipeline.planning.{module}"))
    assert result.attempted > 0 and result.failed == 0
