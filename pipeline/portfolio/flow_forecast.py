"""What is simulated of the flow: forecasts, waits, one more hour, and forecasts of earlier days held against what
happened. Kept between two runs by what it was reckoned from."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pipeline.planning
import pipeline.portfolio
from pipeline.keeping.seals import is_sealed, seal
from pipeline.model.words import Gate
from pipeline.planning.flow_backtest import PastForecast, Snapshot, make_past_forecasts
from pipeline.planning.flow_simulation import (
    ExtraHour,
    FlowPlan,
    JobForecast,
    ResourceUse,
    Simulated,
    Step,
    StepsForecast,
    build_forecasts,
    find_best_extra_hour,
    forecast_jobs,
    forecast_steps,
    simulate,
)
from pipeline.reading.source import is_link_inside

FOLDER = ".pipeline/flow"
WORLDS, EXTRA_WORLDS, PAST_WORLDS = 400, 80, 150
TRIED = 5
"""One more hour is tried at so many resources: those at which steps wait longest; elsewhere it helps less."""
MOST_WORK = 40_000_000
"""Steps x jobs x worlds of one simulation: above this there are fewer worlds, so that a large shop waits no longer."""

LEAST_WORLDS = 60


@dataclass(frozen=True)
class Simulation:
    """What was simulated. `worlds`: how many for the forecasts. All in weeks from the day spoken of; `past` on the same
    scale (earlier days negative). `ready`: when the stages before tooling are through."""

    forecasts: tuple[JobForecast, ...]
    uses: tuple[ResourceUse, ...]
    extra: tuple[ExtraHour, ...]
    past: tuple[PastForecast, ...]
    worlds: int
    ready: tuple[StepsForecast, ...] = ()


def choose_worlds(plan: FlowPlan, wanted: int) -> int:
    """Return how many worlds to simulate: as many as wanted, fewer for a very large plan.

    >>> choose_worlds(FlowPlan((), ()), 400)
    400
    """
    size = sum(len(job.steps) for job in plan.jobs) * max(len(plan.jobs), 1)
    return wanted if size == 0 else max(min(wanted, MOST_WORK // size), min(LEAST_WORLDS, wanted))


def run_simulation(
    plan: FlowPlan, snapshots: Sequence[Snapshot], ended: Mapping[str, float | None], seed: int
) -> Simulation:
    """Simulate a plan and the plans of earlier days. The same inputs and seed give the same figures."""
    worlds = choose_worlds(plan, WORLDS)
    simulated = simulate(plan, seed, worlds)
    extra = _try_extra_hours(plan, simulated.uses, seed)

    def forecast(earlier: FlowPlan, seed: int) -> Sequence[JobForecast]:
        return forecast_jobs(earlier, seed, choose_worlds(earlier, PAST_WORLDS))

    past = make_past_forecasts(snapshots, ended, seed, forecast)
    ready = _forecast_ready(plan, simulated)
    return Simulation(build_forecasts(plan, simulated), simulated.uses, extra, past, worlds, ready)


def forecast_ready_alone(plan: FlowPlan, seed: int) -> tuple[StepsForecast, ...]:
    """Return when the stages before tooling are through, and nothing else: the same figures as `run_simulation`'s."""
    return _forecast_ready(plan, simulate(plan, seed, choose_worlds(plan, WORLDS)))


def _forecast_ready(plan: FlowPlan, simulated: Simulated) -> tuple[StepsForecast, ...]:
    return forecast_steps(plan, simulated, _is_before_tooling)


def _is_before_tooling(step: Step) -> bool:
    """A stage has the name of its gate, a turn at a resource begins with it."""
    return not step.name.startswith(Gate.TOOLING.value)


def _try_extra_hours(plan: FlowPlan, uses: Sequence[ResourceUse], seed: int) -> tuple[ExtraHour, ...]:
    """One more hour a week at each of the resources that make steps wait longest; the others keep what they have."""
    longest = sorted(uses, key=lambda use: (-use.wait * use.load, use.resource))[:TRIED]
    names = {use.resource for use in longest if use.wait > 0}
    if not plan.jobs or not names:
        return ()
    return find_best_extra_hour(plan, seed, choose_worlds(plan, EXTRA_WORLDS), only=frozenset(names))


@cache
def compute_stamp() -> str:
    """Return what else the figures depend on: the code that reckons them (sha256, hex)."""
    digest = hashlib.sha256()
    for package in (pipeline.planning, pipeline.portfolio):
        folder = Path(str(package.__file__)).parent
        for path in sorted([*folder.glob("flow*.py"), *folder.glob("survival.py")]):
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def compute_key(inputs: object) -> str:
    """Return the key of a simulation: sha256 of what it is reckoned from, and of the code."""
    return hashlib.sha256(f"{compute_stamp()}\n{inputs!r}".encode()).hexdigest()


def keep_simulation(root: Path, key: str, found: Simulation) -> None:
    """Keep a simulation; what cannot be written is reckoned again the next time. Older ones are taken away."""
    if is_link_inside(root, root / FOLDER):
        return  # older ones are taken away below: never in a folder that lies elsewhere
    text = json.dumps(dataclasses.asdict(found), separators=(",", ":"))
    with contextlib.suppress(OSError):
        folder = root / FOLDER
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.iterdir():
            if old.name != key:
                old.unlink(missing_ok=True)
        draft = folder / f"{key}.{os.getpid()}"
        draft.write_text(f"{seal(key, text)}\n{text}", encoding="utf-8", newline="\n")
        draft.replace(folder / key)


def read_simulation(root: Path, key: str) -> Simulation | None:
    """Return a kept simulation; None where there is none, or it is not what was kept."""
    try:
        found, _, text = (root / FOLDER / key).read_text(encoding="utf-8").partition("\n")
        if not is_sealed(found, key, text):
            return None
        return _build_simulation(json.loads(text))
    except (OSError, ValueError, TypeError, KeyError):
        return None


def _build_simulation(plain: Mapping[str, Any]) -> Simulation:
    return Simulation(
        tuple(JobForecast(**{**one, "outlived": tuple(one["outlived"])}) for one in plain["forecasts"]),
        tuple(ResourceUse(**one) for one in plain["uses"]),
        tuple(ExtraHour(**one) for one in plain["extra"]),
        tuple(PastForecast(**one) for one in plain["past"]),
        plain["worlds"],
        tuple(StepsForecast(**{**one, "steps": tuple(one["steps"])}) for one in plain["ready"]),
    )


def find_day(weeks: float, day: dt.date) -> dt.date:
    """Return the day that lies so many weeks after another, the last one of the calendar at most.

    >>> find_day(1.5, dt.date(2026, 11, 30))
    datetime.date(2026, 12, 11)
    """
    days = min(round(weeks * 7 + 0.49), (dt.date.max - day).days)
    return day + dt.timedelta(days=days)
