"""When will it be done: the remaining steps of every job through resources of finite capacity, in many simulated
worlds at once.

Each step waits for the steps before it, then in the queue of its resource (first come, first served), is worked on
there, and may then wait for something outside (a plater, a customs office) without holding the resource. Steps that
already lasted a while are drawn given that they did. All worlds advance together: one pass of the loop serves one step
in every world. Pure numpy.

Source: event-by-event simulation of first-come-first-served stations with several servers (A. M. Law, Simulation
Modeling and Analysis); common random numbers for comparisons (same, chapter on variance reduction).
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.planning.flow_spread import Fixed, Spread, draw, is_outlived

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
_NOTHING = Fixed(0.0)
MEDIAN, PROMISE, EARLY, LATE = 0.5, 0.85, 0.075, 0.925


@dataclass(frozen=True, slots=True)
class Step:
    """A step that remains. `after`: names of steps of the same job that must end first (steps that are done are left
    out). `work`: hours at `resource` (None: no resource, then `work` must be nothing). `outside`: weeks after that
    without it. `worked`: hours already done. `waited`: weeks since the step became ready (its place in the queue; for
    a step without work also how much of `outside` is over). `is_started`: it holds its resource now."""

    name: str
    resource: str | None = None
    work: Spread = _NOTHING
    outside: Spread = _NOTHING
    after: tuple[str, ...] = ()
    worked: float = 0.0
    waited: float = 0.0
    is_started: bool = False


@dataclass(frozen=True, slots=True)
class Job:
    """A part (or a tool) with the steps that remain; none means that it is done now. `not_before`: weeks from now."""

    name: str
    steps: tuple[Step, ...]
    not_before: float = 0.0


@dataclass(frozen=True, slots=True)
class Resource:
    """`hours_per_week` (> 0) is the capacity of all its `servers` (>= 1) together: two engineers of 20 h are 40 h, 2
    servers. One step is worked on by one server."""

    name: str
    hours_per_week: float
    servers: int = 1


@dataclass(frozen=True, slots=True)
class FlowPlan:
    """What is to be done and with what. Names of jobs and of resources, and of steps within a job, are unique."""

    jobs: tuple[Job, ...]
    resources: tuple[Resource, ...]


@dataclass(frozen=True, slots=True)
class JobForecast:
    """Weeks from now to the end of a job: half of the worlds were done by `median`, 85 % by `promise`; 85 % of them
    ended between `early` and `late`. `mean` with its Monte Carlo standard error. `outlived`: the steps that have
    lasted longer than their estimate allows, so that the forecast is weak."""

    job: str
    median: float
    promise: float
    early: float
    late: float
    mean: float
    standard_error: float
    outlived: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ResourceUse:
    """A resource over the simulation: `wait` is the mean time in weeks that a step waited for it from now on, `load`
    its hours of work per world, `idle_share` how much of its capacity was unused until its last step ended (means over
    worlds)."""

    resource: str
    wait: float
    load: float
    idle_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """`finish`: worlds x jobs, weeks from now. `step_finish`: worlds x jobs x steps (NaN where a job has fewer);
    `step_start` likewise, when a step got its resource. `uses` in the order of the plan's resources."""

    finish: FloatArray
    step_start: FloatArray
    step_finish: FloatArray
    uses: tuple[ResourceUse, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A plan as arrays; J jobs, K steps at most. `resource` J x K (-1: none); `followers` J x K x D (-1: none);
    `waits_for` J x K how many steps come before (-1: no such step); `ready` J x K when a first step became ready
    (weeks, past ones negative); `rates` hours per week of one server; `servers` how many."""

    resource: IntArray
    followers: IntArray
    waits_for: IntArray
    ready: FloatArray
    rates: FloatArray
    servers: IntArray


def build_network(plan: FlowPlan) -> Network:
    """Arrays of a plan. Raises ValueError for a name that is unknown or comes twice, a capacity that is not above 0,
    work without a resource, or steps that wait for each other."""
    places = _check_plan(plan)
    count, most = len(plan.jobs), max((len(job.steps) for job in plan.jobs), default=0)
    resource, waits_for = np.full((count, most), -1), np.full((count, most), -1)
    ready, followers = np.full((count, most), np.inf), [[[] for _ in range(most)] for _ in range(count)]  # type: ignore[var-annotated]
    for j, job in enumerate(plan.jobs):
        names = {step.name: k for k, step in enumerate(job.steps)}
        for k, step in enumerate(job.steps):
            resource[j, k] = places.get(step.resource or "", -1)
            waits_for[j, k] = len(set(step.after))
            ready[j, k] = max(job.not_before, -step.waited) if job.not_before > 0 else -step.waited
            for before in sorted(set(step.after)):
                followers[j][names[before]].append(k)
    widest = max((len(found) for row in followers for found in row), default=0)
    padded = np.array([[found + [-1] * (widest - len(found)) for found in row] for row in followers], dtype=np.int64)
    rates = np.array([found.hours_per_week / found.servers for found in plan.resources])
    servers = np.array([found.servers for found in plan.resources], dtype=np.int64)
    return Network(resource, padded.reshape(count, most, widest), waits_for, ready, rates, servers)


def _check_plan(plan: FlowPlan) -> dict[str, int]:
    places = {resource.name: place for place, resource in enumerate(plan.resources)}
    _check_unique([resource.name for resource in plan.resources], "resources")
    _check_unique([job.name for job in plan.jobs], "jobs")
    for resource in plan.resources:
        if not 0.0 < resource.hours_per_week < float("inf") or resource.servers < 1:
            raise ValueError(
                f"{resource.name}: {resource.hours_per_week} h a week for {resource.servers}: both must be above 0"
            )
    for job in plan.jobs:
        _check_job(job, places)
    return places


def _check_unique(names: Sequence[str], what: str) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{what} that come twice: {', '.join(twice)}")


def _check_job(job: Job, places: Mapping[str, int]) -> None:
    names = [step.name for step in job.steps]
    _check_unique(names, f"steps of {job.name}")
    for step in job.steps:
        unknown = sorted(set(step.after) - set(names))
        if unknown:
            raise ValueError(f"{job.name}: {step.name} waits for {', '.join(unknown)}, which is no step of this job")
        if step.resource is not None and step.resource not in places:
            raise ValueError(f"{job.name}: {step.name} needs {step.resource}, which is no resource of the plan")
        if step.resource is None and step.work != _NOTHING:
            raise ValueError(f"{job.name}: {step.name} has work but no resource to do it")
    open_steps, done = {step.name: set(step.after) for step in job.steps}, set[str]()
    while free := [name for name, before in open_steps.items() if before <= done]:
        done |= set(free)
        open_steps = {name: before for name, before in open_steps.items() if name not in done}
    if open_steps:
        raise ValueError(f"{job.name}: steps wait for each other in a circle: {', '.join(open_steps)}")


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """What every step takes in every world: hours that remain, and weeks outside; both worlds x jobs x steps."""

    hours: FloatArray
    outside: FloatArray


def draw_steps(plan: FlowPlan, seed: int, worlds: int) -> Draws:
    """Draw every step of a plan. The numbers of a step depend on the seed and on the names of its job and itself
    alone, so a job that is added or taken away leaves those of the others as they were. Raises ValueError for worlds <
    1."""
    if worlds < 1:
        raise ValueError(f"worlds is {worlds}: at least one is needed")
    most = max((len(job.steps) for job in plan.jobs), default=0)
    hours, outside = np.zeros((worlds, len(plan.jobs), most)), np.zeros((worlds, len(plan.jobs), most))
    for j, job in enumerate(plan.jobs):
        for k, step in enumerate(job.steps):
            rng = np.random.default_rng([seed, zlib.crc32(f"{job.name}\0{step.name}".encode())])
            uniforms = rng.random((2, worlds))
            hours[:, j, k] = draw(step.work, uniforms[0], step.worked) - step.worked
            lasted = step.waited if step.resource is None and not step.after else 0.0
            outside[:, j, k] = draw(step.outside, uniforms[1], lasted)
    return Draws(hours, outside)


def simulate(plan: FlowPlan, seed: int, worlds: int = 1000) -> Simulated:
    """Simulate a plan. The same plan, seed and number of worlds give the same figures. Raises ValueError for an
    impossible plan (`build_network`).

    >>> die = Job("TW-101", (Step("cut", "shop", Fixed(20.0)), Step("plate", outside=Fixed(2.0), after=("cut",))))
    >>> simulate(FlowPlan((die,), (Resource("shop", 10.0),)), seed=1, worlds=3).finish.tolist()
    [[4.0], [4.0], [4.0]]
    """
    started = tuple(tuple(step.is_started and step.resource is not None for step in job.steps) for job in plan.jobs)
    return run_network(build_network(plan), draw_steps(plan, seed, worlds), plan, started)


def run_network(
    network: Network, draws: Draws, plan: FlowPlan, started: tuple[tuple[bool, ...], ...] = ()
) -> Simulated:
    """Run the queues on given draws (all worlds in step)."""
    worlds, count, most = draws.hours.shape
    run = _Run(network, draws, started)
    for _ in range(int(np.count_nonzero(network.waits_for >= 0))):
        run.serve_next()
    last = np.where(np.isnan(run.finish), -np.inf, run.finish).max(axis=2) if most else np.zeros((worlds, count))
    floors = np.array([max(job.not_before, 0.0) for job in plan.jobs])
    finish = np.maximum(last, floors) if count else last.reshape(worlds, 0)
    return Simulated(
        finish, run.start, run.finish, tuple(run.summarise(r.name, i) for i, r in enumerate(plan.resources))
    )


class _Run:
    """The state of all worlds."""

    def __init__(self, network: Network, draws: Draws, started: tuple[tuple[bool, ...], ...]) -> None:
        self.network, self.draws = network, draws
        worlds, count, most = draws.hours.shape
        self.rows = np.arange(worlds)
        arrivals = network.ready.copy()
        for j, row in enumerate(started):
            for k, is_started in enumerate(row):
                arrivals[j, k] = -1e9 if is_started else arrivals[j, k]
        self.arrived = np.broadcast_to(np.where(network.waits_for > 0, -np.inf, arrivals), draws.hours.shape).copy()
        self.pending = np.broadcast_to(network.waits_for, draws.hours.shape).copy()
        self.ready = np.where(self.pending == 0, self.arrived, np.inf)
        self.floor = np.where(network.waits_for > 0, network.ready, -np.inf)
        self.first = self.ready.min(axis=2) if most else np.zeros((worlds, count))
        self.start, self.finish = np.full(draws.hours.shape, np.nan), np.full(draws.hours.shape, np.nan)
        most_servers = int(network.servers.max(initial=1))
        self.free = np.where(np.arange(most_servers) < network.servers[:, None], 0.0, np.inf)
        self.free = np.broadcast_to(self.free, (worlds, *self.free.shape)).copy()
        self.waits = np.zeros((worlds, len(network.servers)))
        self.served, self.busy = self.waits.copy(), self.waits.copy()

    def serve_next(self) -> None:
        """In every world serve the step that became ready first: that is the order of arrival at every resource."""
        rows = self.rows
        j = self.first.argmin(axis=1)
        k = self.ready[rows, j].argmin(axis=1)
        since = self.ready[rows, j, k]
        self.ready[rows, j, k] = np.inf
        start, busy = since.copy(), np.zeros(rows.size)
        place = self.network.resource[j, k]
        held = np.flatnonzero(place >= 0)
        if held.size:
            start[held], busy[held] = self._hold(held, j[held], k[held], place[held], since[held])
        finish = start + busy + self.draws.outside[rows, j, k]
        self.start[rows, j, k], self.finish[rows, j, k] = start, finish
        self._release(j, k, finish)
        self.first[rows, j] = self.ready[rows, j].min(axis=1)

    def _hold(
        self, worlds: IntArray, j: IntArray, k: IntArray, place: IntArray, since: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        server = self.free[worlds, place].argmin(axis=1)
        start = np.maximum(since, self.free[worlds, place, server])
        busy = self.draws.hours[worlds, j, k] / self.network.rates[place]
        self.free[worlds, place, server] = start + busy
        self.waits[worlds, place] += start - np.maximum(since, 0.0)
        self.served[worlds, place] += 1.0
        self.busy[worlds, place] += busy
        return start, busy

    def _release(self, j: IntArray, k: IntArray, finish: FloatArray) -> None:
        """Tell the steps that follow; those that wait for nothing else become ready (never before their own floor)."""
        rows = self.rows
        for follower in self.network.followers[j, k].T:
            told = np.flatnonzero(follower >= 0)
            w, jj, kk = rows[told], j[told], follower[told]
            self.arrived[w, jj, kk] = np.maximum(self.arrived[w, jj, kk], finish[told])
            self.pending[w, jj, kk] -= 1
            opened = self.pending[w, jj, kk] == 0
            w, jj, kk = w[opened], jj[opened], kk[opened]
            self.ready[w, jj, kk] = np.maximum(self.arrived[w, jj, kk], self.floor[jj, kk])

    def summarise(self, name: str, place: int) -> ResourceUse:
        """The use of one resource, as means over worlds."""
        served = float(self.served[:, place].sum())
        free = np.where(np.isinf(self.free[:, place]), 0.0, self.free[:, place])
        capacity = float((free.max(axis=1) * self.network.servers[place]).sum())
        busy = float(self.busy[:, place].sum())
        load = busy * float(self.network.rates[place]) / self.rows.size
        wait = float(self.waits[:, place].sum()) / served if served else 0.0
        return ResourceUse(name, wait, load, 1.0 - busy / capacity if capacity > 0.0 else 1.0)


def forecast_jobs(plan: FlowPlan, seed: int, worlds: int = 1000) -> tuple[JobForecast, ...]:
    """When each job will be done, as odds, in the order of the plan. Quantiles are observed ones (a world's figure
    that at least that share reached, never between two worlds): "done by then in at least 85 % of the worlds"."""
    return build_forecasts(plan, simulate(plan, seed, worlds))


def build_forecasts(plan: FlowPlan, simulated: Simulated) -> tuple[JobForecast, ...]:
    """Forecasts from a simulation of the same plan."""
    levels = [MEDIAN, PROMISE, EARLY, LATE]
    worlds = simulated.finish.shape[0]
    forecasts = []
    for j, job in enumerate(plan.jobs):
        finish = simulated.finish[:, j]
        median, promise, early, late = (float(x) for x in np.quantile(finish, levels, method="inverted_cdf"))
        error = float(finish.std(ddof=1)) / worlds**0.5 if worlds > 1 else float("nan")
        outlived = tuple(step.name for step in job.steps if _has_outlived(step))
        forecasts.append(JobForecast(job.name, median, promise, early, late, float(finish.mean()), error, outlived))
    return tuple(forecasts)


@dataclass(frozen=True, slots=True)
class StepsForecast:
    """Weeks from now until some steps of a job are all done: half of the worlds by `median`, 85 % by `promise`, 85 %
    between `early` and `late`. `steps`: which ones remain of those."""

    job: str
    median: float
    promise: float
    early: float
    late: float
    steps: tuple[str, ...]


def forecast_steps(
    plan: FlowPlan, simulated: Simulated, is_wanted: Callable[[Step], bool]
) -> tuple[StepsForecast, ...]:
    """When the wanted steps of each job are done, from a simulation of the same plan; jobs of which none remains are
    left out.

    >>> die = Job("TW-101", (Step("cut", outside=Fixed(3.0)), Step("plate", outside=Fixed(2.0), after=("cut",))))
    >>> plan = FlowPlan((die,), ())
    >>> forecast_steps(plan, simulate(plan, seed=1, worlds=5), lambda step: step.name == "cut")[0].median
    3.0
    """
    forecasts = []
    for j, job in enumerate(plan.jobs):
        places = [k for k, step in enumerate(job.steps) if is_wanted(step)]
        if places:
            ends = np.maximum(simulated.step_finish[:, j, places].max(axis=1), max(job.not_before, 0.0))
            levels = np.quantile(ends, [MEDIAN, PROMISE, EARLY, LATE], method="inverted_cdf")
            median, promise, early, late = (float(level) for level in levels)
            names = tuple(job.steps[k].name for k in places)
            forecasts.append(StepsForecast(job.name, median, promise, early, late, names))
    return tuple(forecasts)


def _has_outlived(step: Step) -> bool:
    if step.resource is not None:
        return step.worked > 0.0 and is_outlived(step.work, step.worked)
    return not step.after and step.waited > 0.0 and is_outlived(step.outside, step.waited)


@dataclass(frozen=True, slots=True)
class ExtraHour:
    """What more hours a week at one resource would bring: `gain` in weeks (weights times weeks) over all jobs, mean
    over the worlds, with the standard error of that paired difference; `moved` is the share of jobs that end earlier
    on average."""

    resource: str
    hours: float
    gain: float
    standard_error: float
    moved: float


def find_best_extra_hour(
    plan: FlowPlan,
    seed: int,
    worlds: int = 400,
    hours: float = 1.0,
    weights: Mapping[str, float] | None = None,
    only: frozenset[str] | None = None,
) -> tuple[ExtraHour, ...]:
    """Where `hours` more a week (all servers together) would help most: every resource tried in turn on the same random
    numbers, best first. `weights` by job name (1 if not given): what a week of that job is worth. `only`: names of the
    resources to try (None: all). Raises ValueError for hours <= 0 or an impossible plan.

    Source: common random numbers (Law, Simulation Modeling and Analysis).
    """
    if not hours > 0.0:
        raise ValueError(f"hours is {hours}: it must be above 0")
    draws = draw_steps(plan, seed, worlds)
    started = tuple(tuple(s.is_started and s.resource is not None for s in job.steps) for job in plan.jobs)
    worth = np.array([1.0 if weights is None else weights.get(job.name, 1.0) for job in plan.jobs])
    before = run_network(build_network(plan), draws, plan, started).finish
    found = []
    for place, resource in enumerate(plan.resources):
        if only is not None and resource.name not in only:
            continue
        more = replace(resource, hours_per_week=resource.hours_per_week + hours)
        tried = replace(plan, resources=(*plan.resources[:place], more, *plan.resources[place + 1 :]))
        saved = before - run_network(build_network(tried), draws, tried, started).finish
        gains = saved @ worth
        error = float(gains.std(ddof=1)) / worlds**0.5 if worlds > 1 else float("nan")
        moved = float(np.mean(saved.mean(axis=0) > 1e-9)) if plan.jobs else 0.0
        found.append(ExtraHour(resource.name, hours, float(gains.mean()), error, moved))
    return tuple(sorted(found, key=lambda extra: (-extra.gain, extra.resource)))
