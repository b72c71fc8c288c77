"""Order, longest path and cycles of things that must be done one after another (critical path method)."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

Time = TypeVar("Time", int, Decimal)
_NOW = Decimal(0)


@dataclass(frozen=True, slots=True)
class Cycle:
    """An error value: things that wait for each other in a ring. ``edges`` are (earlier, later), round the ring."""

    edges: tuple[tuple[str, str], ...]

    @property
    def message(self) -> str:
        """The ring in words, with every edge named."""
        ring = ", ".join(f"{later} after {earlier}" for earlier, later in self.edges)
        return f"these wait for each other in a ring, so none can be redone first: {ring}"


@dataclass(frozen=True, slots=True)
class LongestPath:
    """``length``: time from the first start to the last finish; ``keys``: one longest chain, in order."""

    length: Decimal
    keys: tuple[str, ...]


def order_by_precedence(after: Mapping[str, Collection[str]]) -> tuple[str, ...] | Cycle:
    """Put keys in an order in which each comes after all that it waits for; ties go by key.

    ``after``: for each key, the keys that come before it (every one of them a key as well; a strange key raises
    ``KeyError``). The same graph gives the same order however the mapping is ordered. A ring comes back as a ``Cycle``.

    >>> order_by_precedence({"c": ["a"], "b": ["a"], "a": []})
    ('a', 'b', 'c')
    """
    waiting = {key: len(set(before)) for key, before in after.items()}
    later: dict[str, list[str]] = {key: [] for key in after}
    for key, before in after.items():
        for one in set(before):
            later[one].append(key)
    ready = [key for key, count in waiting.items() if count == 0]
    heapq.heapify(ready)
    order: list[str] = []
    while ready:
        key = heapq.heappop(ready)
        order.append(key)
        for follower in later[key]:
            waiting[follower] -= 1
            if waiting[follower] == 0:
                heapq.heappush(ready, follower)
    return tuple(order) if len(order) == len(after) else _find_cycle(after, set(after).difference(order))


def _find_cycle(after: Mapping[str, Collection[str]], left: set[str]) -> Cycle:
    """Walk back from the first key that is left: each has a predecessor that is left, so the walk must close."""
    walk = [min(left)]
    seen = {walk[0]: 0}
    while True:
        previous = min(left.intersection(after[walk[-1]]))
        if previous in seen:
            ring = walk[seen[previous] :][::-1]
            break
        seen[previous] = len(walk)
        walk.append(previous)
    turn = ring.index(min(ring))
    ring = ring[turn:] + ring[:turn]
    return Cycle(tuple(zip(ring, ring[1:] + ring[:1], strict=True)))


def compute_finish_times(before: Sequence[Sequence[int]], durations: Sequence[Time]) -> list[Time]:
    """Compute when each of n things is finished if each starts as soon as all before it are finished.

    ``before[i]``: positions before ``i``, all smaller than ``i``; ``durations``: n times in one unit, none below zero.
    Side by side counts once. Source: critical path method, forward pass (Kelley and Walker 1959; from memory).

    >>> compute_finish_times([[], [], [0, 1]], [2, 3, 1])
    [2, 3, 4]
    """
    finish = list(durations)
    update_finish_times(before, durations, finish, range(len(durations)))
    return finish


def update_finish_times(
    before: Sequence[Sequence[int]], durations: Sequence[Time], finish: list[Time], positions: Iterable[int]
) -> None:
    """Compute the finish times anew, in place, at these positions (rising); the others are taken as they stand."""
    for position in positions:
        waits = before[position]
        if not waits:
            finish[position] = durations[position]
            continue
        start = finish[waits[0]]
        for one in waits:
            if finish[one] > start:
                start = finish[one]
        finish[position] = start + durations[position]


def compute_longest_path(durations: Mapping[str, Decimal], after: Mapping[str, Collection[str]]) -> LongestPath | Cycle:
    """Compute the longest path of a network whose activities are its nodes.

    ``durations``: time of each activity, none below zero; ``after``: what each waits for (an activity without an entry
    waits for nothing). Of several longest paths the first by key is given. Raises ``ValueError`` on an unknown key or
    a negative time.
    Source: critical path method (Kelley and Walker 1959; from memory).

    >>> compute_longest_path({"a": Decimal(2), "b": Decimal(3), "c": Decimal(1)}, {"c": ["a", "b"]})
    LongestPath(length=Decimal('4'), keys=('b', 'c'))
    """
    network = {key: after.get(key, ()) for key in durations}
    _check_network(durations, network, after)
    order = order_by_precedence(network)
    if isinstance(order, Cycle):
        return order
    place = {key: position for position, key in enumerate(order)}
    before = [tuple(place[one] for one in network[key]) for key in order]
    finish = compute_finish_times(before, [durations[key] for key in order])
    return LongestPath(max(finish, default=_NOW), tuple(order[i] for i in find_longest_chain(before, finish)))


def find_longest_chain(before: Sequence[Sequence[int]], finish: Sequence[Time]) -> tuple[int, ...]:
    """Find one chain that leads to the last finish; ties go to the smaller position."""
    if not finish:
        return ()
    chain = [finish.index(max(finish))]
    while before[chain[-1]]:
        waits = sorted(before[chain[-1]])
        chain.append(max(waits, key=lambda one: finish[one]))
    return tuple(reversed(chain))


def _check_network(
    durations: Mapping[str, Decimal], network: Mapping[str, Collection[str]], after: Mapping[str, Collection[str]]
) -> None:
    for key, duration in durations.items():
        if duration < 0:
            raise ValueError(f'"{key}" takes {duration}; write a time from 0 up')
    unknown = sorted(set(after).union(*network.values()).difference(durations))
    if unknown:
        raise ValueError(
            f'"{unknown[0]}" is waited for or waits but has no time; known are {", ".join(sorted(durations))}'
        )
