"""The simulator of many worlds at once equals a plain event loop that runs one world after the other."""

from __future__ import annotations

import heapq
import random

import numpy as np
import pytest

from pipeline.planning.flow_simulation import FlowPlan, Job, Resource, Step, draw_steps, simulate
from pipeline.planning.flow_spread import Exponential, Fixed, Pert


def make_plan(seed: int) -> FlowPlan:
    rng = random.Random(seed)
    resources = tuple(
        Resource(name, rng.uniform(5, 60), rng.choice([1, 1, 2, 3])) for name in ("arm", "printer", "mara")
    )
    jobs = []
    for n in range(12):
        steps: list[Step] = []
        for k in range(rng.randrange(0, 6)):
            resource = rng.choice(["arm", "printer", "mara", None])
            after = tuple(s.name for s in steps if rng.random() < 0.5)
            work = Pert(1, rng.uniform(2, 10), 25) if resource else Fixed(0.0)
            started = resource is not None and not after and rng.random() < 0.2
            waited = 0.0 if after else rng.uniform(0, 4)
            worked = 0.5 if started else 0.0
            steps.append(Step(f"s{k}", resource, work, Exponential(1.5), after, worked, waited, started))
        jobs.append(Job(f"TW-{n}", tuple(steps), rng.choice([0.0, 0.0, rng.uniform(0, 6)])))
    return FlowPlan(tuple(jobs), resources)


def run_one_world(plan: FlowPlan, hours: np.ndarray, outside: np.ndarray) -> list[float]:
    """A heap of steps that are ready, by time; servers as a heap of the times at which they are free."""
    free = {r.name: [0.0] * r.servers for r in plan.resources}
    rate = {r.name: r.hours_per_week / r.servers for r in plan.resources}
    ends: list[dict[str, float]] = [{} for _ in plan.jobs]
    ready = [
        (-1e9 if step.is_started else (job.not_before if job.not_before > 0 else -step.waited), j, k)
        for j, job in enumerate(plan.jobs)
        for k, step in enumerate(job.steps)
        if not step.after
    ]
    heapq.heapify(ready)
    while ready:
        since, j, k = heapq.heappop(ready)
        job, step = plan.jobs[j], plan.jobs[j].steps[k]
        start, busy = since, 0.0
        if step.resource is not None:
            start = max(since, heapq.heappop(free[step.resource]))
            busy = hours[j, k] / rate[step.resource]
            heapq.heappush(free[step.resource], start + busy)
        ends[j][step.name] = start + busy + outside[j, k]
        for kk, follower in enumerate(job.steps):
            if step.name in follower.after and all(name in ends[j] for name in follower.after):
                since = max(ends[j][name] for name in follower.after)
                floor = job.not_before if job.not_before > 0 else -follower.waited
                heapq.heappush(ready, (max(since, floor), j, kk))
    return [
        max([*end.values(), job.not_before, 0.0]) if end else max(job.not_before, 0.0)
        for end, job in zip(ends, plan.jobs, strict=True)
    ]


@pytest.mark.parametrize("seed", range(12))
def test_all_worlds_at_once_equal_one_after_the_other(seed: int) -> None:
    plan = make_plan(seed)
    draws = draw_steps(plan, seed, 25)
    together = simulate(plan, seed, 25).finish
    for world in range(25):
        assert together[world].tolist() == pytest.approx(run_one_world(plan, draws.hours[world], draws.outside[world]))
