"""Impact preview: what follows from a change to these features found now, in which order, when, at what cost, why."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.change import Change, build_change
from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_cost import compute_figure, compute_item_weeks
from pipeline.costing.figures import Figure
from pipeline.costing.paths import compute_finish_times, find_longest_chain
from pipeline.costing.ranges import NOTHING, Range, add_ranges, round_range
from pipeline.costing.redo import RedoGraph, RedoItem, RedoKind, find_covering
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line


@dataclass(frozen=True, slots=True)
class ImpactStep:
    """One thing that is redone.

    ``cost``: money low / likely / high to the cent, likely weighted by class of change; ``lines`` are its working, and
    a line without an amount says that a price is missing, so that the cost is a least.
    ``starts`` / ``finishes``: weeks from the day of the change, if all goes at its low, likely or high pace and
    nothing waits for people or machines. ``is_critical``: on the longest path at the likely pace.
    ``reason``: why, in words. ``path``: keys from what covers a changed feature down to this item, each dragging the
    next.
    """

    key: str
    kind: RedoKind
    label: str
    stage: Stage
    cost: Range
    starts: Range
    finishes: Range
    is_critical: bool
    reason: str
    path: tuple[str, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Impact:
    """What a change to ``features`` sets in motion.

    ``found``: the stage at which it is found, ``None`` for today. ``steps``: in an order in which they can be done,
    ties by key.
    ``path_weeks``: the longest path through the steps, each tool at the mean of its classes. ``figure``: cost, delay,
    rows by class, and weeks (the shop's stated ones where it states them, else the mean of the longest paths by class).
    """

    features: tuple[str, ...]
    found: Stage | None
    steps: tuple[ImpactStep, ...]
    path_weeks: Range
    figure: Figure


def compute_impact(basis: ChangeBasis, features: Collection[str], found: Stage | None = None) -> Impact:
    """Compute what follows from a change to these features, found today (``None``) or at a stage of the ladder.

    Raises ``ValueError`` on no features or one that the part does not have. A ring among the items is met earlier: then
    ``build_redo_graph`` returned a ``Cycle``, and there is no basis to ask. Source: common practice (no source).
    """
    change = build_change(basis, features)
    figure = compute_figure(basis, change, found)
    redone = frozenset(basis.graph.place[key] for key in figure.redone)
    schedule = _schedule(basis.graph, change, redone)
    paths = _find_drag_paths(basis.graph, change.features or ())
    lines = dict(_deal_lines(basis.graph, figure))
    steps = tuple(
        _build_step(basis.graph, change, position, schedule, paths[position], lines[position])
        for position in sorted(redone)
    )
    return Impact(change.features or (), found, steps, schedule.length, figure)


@dataclass(frozen=True, slots=True)
class _Schedule:
    """Starts and finishes by position in the graph; what is left alone takes no time but hands on the order."""

    starts: tuple[Range, ...]
    finishes: tuple[Range, ...]
    critical: frozenset[int]
    length: Range


def _schedule(graph: RedoGraph, change: Change, redone: frozenset[int]) -> _Schedule:
    weeks = [
        compute_item_weeks(graph, change, position) if position in redone else NOTHING
        for position in range(len(graph.items))
    ]
    points = [compute_finish_times(graph.before, [one[point] for one in weeks]) for point in range(3)]
    finishes = tuple(map(Range, *points))
    starts = tuple(_subtract(finish, one) for finish, one in zip(finishes, weeks, strict=True))
    chain = frozenset(find_longest_chain(graph.before, points[1]))
    return _Schedule(starts, finishes, chain, Range(*(max(point, default=Decimal(0)) for point in points)))


def _subtract(finish: Range, weeks: Range) -> Range:
    return Range(*(end - length for end, length in zip(finish, weeks, strict=True)))


def _deal_lines(graph: RedoGraph, figure: Figure) -> Iterator[tuple[int, tuple[Line, ...]]]:
    """Deal a figure's lines out to its items: they stand in the order of work, as many to an item as it has."""
    lines = iter(figure.lines)
    for key in figure.redone:
        position = graph.place[key]
        yield position, tuple(next(lines) for _ in graph.lines[position])


def _find_drag_paths(graph: RedoGraph, features: Sequence[str]) -> Mapping[int, tuple[int, ...]]:
    """Find the shortest way from an item that covers a changed feature to each item that is reached."""
    covering = sorted({position for feature in features for position in find_covering(graph, feature)})
    paths: dict[int, tuple[int, ...]] = {position: (position,) for position in covering}
    todo = list(covering)
    for position in todo:
        for dragged in graph.drags[position]:
            if dragged not in paths:
                paths[dragged] = (*paths[position], dragged)
                todo.append(dragged)
    return paths


def _build_step(
    graph: RedoGraph, change: Change, position: int, schedule: _Schedule, path: tuple[int, ...], lines: tuple[Line, ...]
) -> ImpactStep:
    item = graph.items[position]
    trail = [graph.items[one] for one in path]
    return ImpactStep(
        key=item.key,
        kind=item.kind,
        label=item.label,
        stage=item.stage,
        cost=round_range(add_ranges(line.amount for line in lines if line.amount is not None)),
        starts=schedule.starts[position],
        finishes=schedule.finishes[position],
        is_critical=position in schedule.critical,
        reason=_write_reason(trail, change.features or ()),
        path=tuple(one.key for one in trail),
        lines=lines,
    )


def _write_reason(trail: Sequence[RedoItem], features: Sequence[str]) -> str:
    """Say why the last item of a trail is redone: what it covers, or what drags it and what that covers."""
    first, item = trail[0], trail[-1]
    covers = _write_cover(first, features)
    if len(trail) > 1:
        between = "".join(f", which follows {one.label}" for one in reversed(trail[:-2]))
        covers = f"follows {trail[-2].label}{between}, which {covers}"
    return f"{item.origin}, {covers}" if item.origin else covers


def _write_cover(item: RedoItem, features: Sequence[str]) -> str:
    if item.covers is None:
        return "covers every feature"
    return "covers " + ", ".join(feature for feature in features if feature in item.covers)
