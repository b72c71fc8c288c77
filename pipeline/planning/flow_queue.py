"""How long is the queue at each resource, in weeks, and what the textbook says a queue of that load does. Pure.

Source: D. Gross and C. M. Harris, Fundamentals of Queueing Theory (M/M/c); A. K. Erlang 1917 for the waiting
probability.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ResourceQueue:
    """What waits at a resource: `weeks` of its whole capacity to work off `hours` of work (infinite where it has none,
    0 where nothing waits)."""

    resource: str
    hours: float
    hours_per_week: float
    weeks: float


def compute_resource_queues(hours: Mapping[str, float], capacity: Mapping[str, float]) -> tuple[ResourceQueue, ...]:
    """The queue at every resource that has work or capacity, longest first (then by name). `hours`: work that waits
    there now; `capacity`: hours per week. Raises ValueError for negative or non-finite figures.

    Source: work in hours over capacity in hours per week; common practice (no source).

    >>> queues = compute_resource_queues({"arm": 30.0, "printer": 10.0}, {"arm": 12.0, "printer": 40.0})
    >>> [(queue.resource, queue.weeks) for queue in queues]
    [('arm', 2.5), ('printer', 0.25)]
    """
    for name, figure in [*hours.items(), *capacity.items()]:
        if not 0.0 <= figure < math.inf:
            raise ValueError(f"{name}: {figure} hours; it must be 0 or more")
    names = dict.fromkeys([*capacity, *hours])
    queues = [_build_queue(name, hours.get(name, 0.0), capacity.get(name, 0.0)) for name in names]
    return tuple(sorted(queues, key=lambda queue: (-queue.weeks, queue.resource)))


def _build_queue(name: str, hours: float, capacity: float) -> ResourceQueue:
    weeks = hours / capacity if capacity > 0.0 else (math.inf if hours > 0.0 else 0.0)
    return ResourceQueue(name, hours, capacity, weeks)


@dataclass(frozen=True, slots=True)
class SteadyQueue:
    """A queue in the long run: `utilisation`; `idle` the share of time with nobody there; `must_wait` the share that
    waits; `waiting` and `present` mean numbers (Lq, L); `wait` and `stay` mean times (Wq, W)."""

    utilisation: float
    idle: float
    must_wait: float
    waiting: float
    present: float
    wait: float
    stay: float


def compute_steady_queue(arrivals: float, services: float, servers: int = 1) -> SteadyQueue:
    """M/M/c: random arrivals at rate `arrivals` (> 0), each of `servers` serves at rate `services` (> 0), both per
    unit of time. A rough guide to why a resource that is nearly full makes everything wait. Raises ValueError for
    figures that are not above 0, or a load that never lets the queue settle (arrivals >= services x servers).

    Source: Gross and Harris, chapter 2 (M/M/c); Erlang's C formula.

    >>> queue = compute_steady_queue(2, 3)
    >>> (round(queue.present, 12), round(queue.stay, 12))
    (2.0, 1.0)
    """
    if not (arrivals > 0.0 and services > 0.0) or servers < 1:
        raise ValueError(f"arrivals {arrivals}, services {services}, servers {servers}: all must be above 0")
    load = arrivals / services
    if load >= servers:
        raise ValueError(
            f"{arrivals} arrive and at most {services * servers} can be served: the queue grows without end"
        )
    utilisation = load / servers
    term, total = 1.0, 1.0
    for n in range(1, servers):
        term *= load / n
        total += term
    full = term * load / servers / (1.0 - utilisation)
    idle = 1.0 / (total + full)
    must_wait = full * idle
    waiting = must_wait * utilisation / (1.0 - utilisation)
    wait = waiting / arrivals
    return SteadyQueue(utilisation, idle, must_wait, waiting, waiting + load, wait, wait + 1.0 / services)
