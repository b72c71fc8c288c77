"""The cost of one change at one stage, or today: what is redone, at what price by class, in how many weeks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from pipeline.costing.change import Change, Scenario
from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_classes import ChangeClass, ClassEffect, find_effect
from pipeline.costing.figures import NO_COST, ClassRow, Exact, Figure, build_figure, build_row, merge_rows, mix_exact
from pipeline.costing.paths import compute_finish_times
from pipeline.costing.ranges import NOTHING, ZERO, Range, add_ranges, find_greatest, mix_ranges
from pipeline.costing.redo import RedoGraph
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

_ONE = Decimal(1)
_IN_PRICE = "in the price of the tool's change"


class _Scope(NamedTuple):
    """What is redone in one figure, by position among what the change reaches."""

    stage: Stage
    redone: tuple[int, ...]
    flat: Range
    weeks: tuple[list[Decimal], list[Decimal], list[Decimal]]
    tools: tuple[int, ...]


def compute_figure(basis: ChangeBasis, change: Change, stage: Stage | None) -> Figure:
    """Compute what a change costs when it is found at ``stage``, or today (``None``: what exists or is committed now).

    All that the change reaches and that exists at that stage is redone. Weeks are the longest path through it (side by
    side counts once), or the shop's stated weeks. Source: common practice (no source); critical path method for the
    weeks.
    """
    scope = _find_scope(basis.graph, change, stage)
    if scope is None:
        return build_figure(stage, NO_COST, (), basis.delay)
    rows = _build_rows(basis, change, scope)
    exact = mix_exact([(row.weight, row.exact) for row in rows])
    graph = basis.graph
    redone = [change.reached[one] for one in scope.redone]
    keys = tuple(graph.items[one].key for one in redone)
    missing = tuple(graph.items[one].label for one in redone if not graph.priced[one])
    return build_figure(scope.stage, exact, rows, basis.delay, keys, missing)


def _find_scope(graph: RedoGraph, change: Change, stage: Stage | None) -> _Scope | None:
    items = [graph.items[position] for position in change.reached]
    if stage is None:
        redone = tuple(place for place, item in enumerate(items) if item.exists)
    else:
        redone = tuple(place for place, item in enumerate(items) if item.stage <= stage)
    if not redone:
        return None
    weeks = ([ZERO] * len(items), [ZERO] * len(items), [ZERO] * len(items))
    for place in redone:
        weeks[0][place], weeks[1][place], weeks[2][place] = items[place].weeks
    return _Scope(
        stage=max(items[place].stage for place in redone) if stage is None else stage,
        redone=redone,
        flat=add_ranges(graph.costs[change.reached[place]] for place in redone),
        weeks=weeks,
        tools=tuple(place for place in redone if items[place].by_class),
    )


def _build_rows(basis: ChangeBasis, change: Change, scope: _Scope) -> tuple[ClassRow, ...]:
    """Price each way in which the tools can change; ways that come to the same for these tools are one row."""
    if not scope.tools:
        return (_build_row(basis, change, scope, None, _ONE, {}),)
    merged: dict[tuple[ChangeClass, tuple[tuple[ClassEffect, ...], ...]], Decimal] = {}
    for scenario in change.scenarios:
        effects = tuple(_find_effects(basis.graph, change, scenario, place) for place in scope.tools)
        classes = {effect.change_class for one in effects for effect in one}
        name = classes.pop() if len(classes) == 1 else scenario.name
        merged[name, effects] = merged.get((name, effects), ZERO) + scenario.weight
    rows = [
        _build_row(basis, change, scope, name, weight, dict(zip(scope.tools, effects, strict=True)))
        for (name, effects), weight in merged.items()
    ]
    return _merge_names(rows)


def compute_item_weeks(graph: RedoGraph, change: Change, place: int) -> Range:
    """Compute how long one item that a change reaches takes by itself; a tool's weeks are mixed over its classes."""
    item = graph.items[change.reached[place]]
    if not item.by_class:
        return item.weeks
    return mix_ranges(
        [
            (scenario.weight, find_greatest(effect.weeks for effect in _find_effects(graph, change, scenario, place)))
            for scenario in change.scenarios
        ]
    )


def _find_effects(graph: RedoGraph, change: Change, scenario: Scenario, place: int) -> tuple[ClassEffect, ...]:
    position = change.reached[place]
    item = graph.items[position]
    wanted = [find_effect(item.by_class, one) for one in scenario.classes[position]]
    return tuple(one for count, one in enumerate(wanted) if one not in wanted[:count])


def _merge_names(rows: list[ClassRow]) -> tuple[ClassRow, ...]:
    """Put rows of one class together; several arise only where features with unlike mixes change at once."""
    names = [row.change_class for row in rows]
    if len(set(names)) == len(names):
        return tuple(rows)
    groups = [[row for row in rows if row.change_class is name] for name in dict.fromkeys(names)]
    return tuple(group[0] if len(group) == 1 else merge_rows(group) for group in groups)


def _build_row(
    basis: ChangeBasis,
    change: Change,
    scope: _Scope,
    name: ChangeClass | None,
    weight: Decimal,
    effects: Mapping[int, tuple[ClassEffect, ...]],
) -> ClassRow:
    direct, lines = _price_items(basis.graph, change, scope, effects)
    class_weeks = {place: find_greatest(effect.weeks for effect in ones) for place, ones in effects.items()}
    weeks = _compute_weeks(basis, change, scope, class_weeks)
    delay = basis.delay.compute_exact(weeks)
    return build_row(name, weight, Exact(direct, weeks, delay, add_ranges((direct, delay))), lines)


def _price_items(
    graph: RedoGraph, change: Change, scope: _Scope, effects: Mapping[int, tuple[ClassEffect, ...]]
) -> tuple[Range, tuple[Line, ...]]:
    """Add what is redone, and list the lines in the order of work."""
    direct = scope.flat
    special: dict[int, tuple[Line, ...]] = {}
    redone = {change.reached[place] for place in scope.redone}
    for place, ones in effects.items():
        tool = change.reached[place]
        redesign = graph.redesigns.get(tool)
        paid = graph.costs[redesign] if redesign is not None and redesign in redone else NOTHING
        both = find_greatest(_add_redesign(effect, paid) for effect in ones)
        direct = Range(*(flat + one - other for flat, one, other in zip(direct, both, paid, strict=True)))
        in_price = ones[-1].redesign_in_price and paid is not NOTHING
        special[tool] = (_write_tool_line(ones, both, NOTHING if in_price else paid),)
        if in_price and redesign is not None:
            special[redesign] = tuple(Line(one.label, _IN_PRICE, NOTHING) for one in graph.lines[redesign])
    lines: list[Line] = []
    for place in scope.redone:
        position = change.reached[place]
        lines += special.get(position) or graph.lines[position]
    return direct, tuple(lines)


def _add_redesign(effect: ClassEffect, paid: Range) -> Range:
    """Price of a change with the redesign before it; a price that holds the redesign is never below the redesign's."""
    amount = effect.line.amount or NOTHING
    return find_greatest((amount, paid)) if effect.redesign_in_price else add_ranges((amount, paid))


def _write_tool_line(effects: tuple[ClassEffect, ...], both: Range, redesign: Range) -> Line:
    heaviest = effects[-1].line
    amount = Range(*(one - other for one, other in zip(both, redesign, strict=True)))
    if heaviest.amount is None or amount == heaviest.amount:
        return heaviest
    return Line(heaviest.label, f"{heaviest.working}; the greatest of what its features ask for, redesign held", amount)


def _compute_weeks(basis: ChangeBasis, change: Change, scope: _Scope, class_weeks: Mapping[int, Range]) -> Range:
    stated = basis.stated_weeks
    if stated is not None and scope.stage in stated.by_stage:
        base = stated.by_stage[scope.stage]
        added = find_greatest(class_weeks.values()) if scope.stage >= stated.adds_class_from else NOTHING
        return add_ranges((base, added))
    return Range(*(_find_length(change.before, scope.weeks[point], class_weeks, point) for point in range(3)))


def _find_length(
    before: Sequence[Sequence[int]], flat: list[Decimal], class_weeks: Mapping[int, Range], point: int
) -> Decimal:
    durations = flat.copy()
    for place, weeks in class_weeks.items():
        durations[place] = weeks[point]
    return max(compute_finish_times(before, durations))
