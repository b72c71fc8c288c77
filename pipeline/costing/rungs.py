"""All nine figures of one change in one pass over the graph: the fast twin of pricing stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import partial

from pipeline.costing.change import Case, Change
from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_cost import (
    bear_weeks,
    build_rows,
    compute_figure,
    find_stated_weeks,
    mask_ticks,
    pick_tools,
    price_tool,
)
from pipeline.costing.figures import NO_COST, Exact, Figure
from pipeline.costing.paths import compute_finish_times, update_finish_times
from pipeline.costing.ranges import NOTHING, ZERO, Range, add_ranges, find_greatest
from pipeline.costing.redo import RedoGraph
from pipeline.costing.stages import Stage

_STAGES = tuple(Stage)

Waves = Sequence[Sequence[int]]
"""Positions by the stage from which they exist."""


def compute_rungs(basis: ChangeBasis, change: Change) -> tuple[Figure, ...]:
    """Compute the nine figures of a change, the same as ``compute_figure`` at each stage but in one pass.

    Two things are used. Where nothing waits for a thing of a later stage, a thing is finished at the same time whatever
    exists after it, so one longest path serves all stages. Where heavier classes of change never cost or take less, the
    lightest case gives the lows and the heaviest the highs. Other graphs are priced stage by stage.
    """
    graph = basis.graph
    if not (graph.is_stage_ordered and graph.is_rising):
        return tuple(compute_figure(basis, change, stage) for stage in _STAGES)
    waves = _sort_by_stage(graph, change.reached)
    path = _compute_path_weeks(basis, change, waves)
    rungs: list[Figure] = []
    redone: tuple[int, ...] = ()
    tools: tuple[int, ...] = ()
    flat = extra = NOTHING
    for stage, wave in zip(_STAGES, waves, strict=True):
        redone = tuple(sorted((*redone, *wave)))
        flat = add_ranges([flat, *[graph.costs[position] for position in wave]])
        if len(tools) < len(change.tools) and (found := pick_tools(change, redone)) != tools:
            tools = found
            extra = _mix_extras(graph, change, tools, redone)
        exact = NO_COST
        if redone:
            direct = add_ranges((flat, extra))
            exact = _add_delay(basis, direct, _find_stated_weeks(basis, change, tools, stage) or path[stage])
        rows = partial(build_rows, basis, change, stage, redone)
        rungs.append(Figure(stage, exact, basis.delay, graph, redone, rows))
    return tuple(rungs)


def _sort_by_stage(graph: RedoGraph, positions: Sequence[int]) -> list[list[int]]:
    waves: list[list[int]] = [[] for _ in _STAGES]
    for position in positions:
        waves[graph.stages[position]].append(position)
    return waves


def _add_delay(basis: ChangeBasis, direct: Range, weeks: Range) -> Exact:
    rate = basis.delay.exact_per_week
    total = Range(direct[0] + weeks[0] * rate[0], direct[1] + weeks[1] * rate[1], direct[2] + weeks[2] * rate[2])
    return Exact(direct, weeks, total)


def _mix_extras(graph: RedoGraph, change: Change, tools: tuple[int, ...], redone: tuple[int, ...]) -> Range:
    """What the tools at hand add to the flat cost: of the lightest case, the mean of all cases, of the heaviest."""
    low = likely = high = ZERO
    for place in tools:
        tool = change.tools[place]
        prices = [price_tool(graph, tool, case.choice[place], redone) for case in change.cases]
        low += prices[0][0]
        high += prices[-1][2]
        for case, price in zip(change.cases, prices, strict=True):
            likely += case.weight * price[1]
    return Range(low, likely, high)


def _find_stated_weeks(basis: ChangeBasis, change: Change, tools: tuple[int, ...], stage: Stage) -> Range | None:
    """The shop's recovery weeks with those of the change classes, lightest, mean and heaviest, where it states them."""
    if basis.stated_weeks is None:
        return None
    likely = ZERO
    borne = [_find_longest(basis.graph, change, tools, case) for case in change.cases]
    for case, weeks in zip(change.cases, borne, strict=True):
        likely += case.weight * weeks[1]
    return find_stated_weeks(basis, stage, Range(borne[0][0], likely, borne[-1][2]))


def _find_longest(graph: RedoGraph, change: Change, tools: tuple[int, ...], case: Case) -> Range:
    return find_greatest([bear_weeks(graph, change.tools[place], case.choice[place]) for place in tools])


def _compute_path_weeks(basis: ChangeBasis, change: Change, waves: Waves) -> list[Range]:
    """Longest path at each stage: of the lightest case, the mean of all cases, of the heaviest."""
    stated = basis.stated_weeks
    if stated is not None and len(stated.by_stage) == len(_STAGES):
        return [NOTHING] * len(_STAGES)
    graph, cases = basis.graph, change.cases
    behind_tools = frozenset(graph.behind_tools) if change.tools else frozenset()
    behind = [[position for position in wave if position in behind_tools] for wave in waves]
    ahead = [[position for position in wave if position not in behind_tools] for wave in waves]
    lows = _compute_lengths(graph, change, 0, cases[:1], ahead, behind)[0]
    likelies = _compute_lengths(graph, change, 1, cases if change.tools else cases[:1], ahead, behind)
    highs = _compute_lengths(graph, change, 2, cases[-1:], ahead, behind)[0]
    unit = graph.week_unit
    means = likelies[0] if len(likelies) == 1 else _mix_lengths(cases, likelies)
    return [Range(low * unit, mean * unit, high * unit) for low, mean, high in zip(lows, means, highs, strict=True)]


def _mix_lengths(cases: Sequence[Case], lengths: Sequence[Sequence[int]]) -> list[Decimal | int]:
    means: list[Decimal | int] = []
    for ticks in zip(*lengths, strict=True):
        if ticks[0] == ticks[-1]:
            means.append(ticks[0])
        else:
            means.append(sum([case.weight * one for case, one in zip(cases, ticks, strict=True)], ZERO))
    return means


def _compute_lengths(
    graph: RedoGraph, change: Change, point: int, cases: Sequence[Case], ahead: Waves, behind: Waves
) -> list[list[int]]:
    """Longest path in ticks at each stage for each case; what waits for no tool is reckoned once for all of them."""
    durations = mask_ticks(graph.ticks[point], change.reached)
    finish = compute_finish_times(graph.before, durations)
    floor = _climb_stages(finish, ahead)
    lengths = []
    for case in cases:
        for tool, ones in zip(change.tools, case.choice, strict=True):
            durations[tool] = max([graph.class_ticks[tool][one][point] for one in ones])
        if change.tools:
            update_finish_times(graph.before, durations, finish, graph.behind_tools)
        lengths.append(list(map(max, floor, _climb_stages(finish, behind))))
    return lengths


def _climb_stages(finish: Sequence[int], waves: Waves) -> list[int]:
    """The greatest finish up to and with each stage."""
    greatest = 0
    lengths = []
    for wave in waves:
        for position in wave:
            if finish[position] > greatest:
                greatest = finish[position]
        lengths.append(greatest)
    return lengths
