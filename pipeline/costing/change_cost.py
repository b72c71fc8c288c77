"""The cost of one change at one stage, or today: what is redone, at what price by class, in how many weeks."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from functools import partial
from typing import NamedTuple

from pipeline.costing.change import Case, Change, merge_cases
from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_classes import ClassEffect
from pipeline.costing.figures import NO_COST, ClassRow, Exact, Figure, merge_rows, mix_exact
from pipeline.costing.paths import compute_finish_times
from pipeline.costing.ranges import NOTHING, Range, add_ranges, find_greatest, mix_ranges
from pipeline.costing.redo import RedoGraph
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

_ONE = Decimal(1)
_IN_PRICE = "in the price of the tool's change"
_NO_TOOL = (Case(_ONE, None, ()),)


class _Scope(NamedTuple):
    """What is redone in one figure: positions, rising; its flat cost; the positions of the tools among it."""

    stage: Stage
    redone: tuple[int, ...]
    flat: Range
    tools: tuple[int, ...]


def compute_figure(basis: ChangeBasis, change: Change, stage: Stage | None) -> Figure:
    """Compute what a change costs when it is found at ``stage``, or today (``None``: what exists or is committed now).

    All that the change reaches and that exists at that stage is redone. Weeks are the longest path through it (side by
    side counts once; what is left alone takes no time but still hands on the order), or the shop's stated weeks.
    Source: common practice (no source); critical path method for the weeks.
    """
    items = basis.graph.items
    if stage is None:
        redone = tuple([position for position in change.reached if items[position].exists])
        stage = max((items[position].stage for position in redone), default=None)
    else:
        redone = tuple([position for position in change.reached if items[position].stage <= stage])
    rows = build_rows(basis, change, stage, redone)
    exact = mix_exact([(row.weight, row.exact) for row in rows]) if rows else NO_COST
    return Figure(stage, exact, basis.delay, basis.graph, redone, partial(tuple, rows))


def build_rows(
    basis: ChangeBasis, change: Change, stage: Stage | None, redone: tuple[int, ...]
) -> tuple[ClassRow, ...]:
    """Build the rows of a figure: one for each class of change that the tools among what is redone can come to."""
    if not redone or stage is None:
        return ()
    graph = basis.graph
    tools = pick_tools(change, redone)
    flat = add_ranges([graph.costs[position] for position in redone])
    scope = _Scope(stage, redone, flat, tuple([change.tools[place] for place in tools]))
    return _merge_names([_build_row(basis, scope, case) for case in pick_cases(graph, change, tools)])


def pick_tools(change: Change, redone: Collection[int]) -> tuple[int, ...]:
    """Places among the change's tools of those that are redone."""
    return tuple([place for place, tool in enumerate(change.tools) if tool in redone])


def pick_cases(graph: RedoGraph, change: Change, tools: tuple[int, ...]) -> Sequence[Case]:
    """The cases as far as the tools at hand tell them apart; one without a name when there is no such tool."""
    if not tools:
        return _NO_TOOL
    if len(tools) == len(change.tools):
        return change.cases
    cut = [Case(one.weight, one.name, tuple([one.choice[place] for place in tools])) for one in change.cases]
    return merge_cases(graph, [change.tools[place] for place in tools], cut)


def _merge_names(rows: Sequence[ClassRow]) -> tuple[ClassRow, ...]:
    """Put rows of one class together; several arise only where features with unlike mixes change at once."""
    names = [row.change_class for row in rows]
    if len(set(names)) == len(names):
        return tuple(rows)
    groups = [[row for row in rows if row.change_class is name] for name in dict.fromkeys(names)]
    return tuple(group[0] if len(group) == 1 else merge_rows(group) for group in groups)


def _build_row(basis: ChangeBasis, scope: _Scope, case: Case) -> ClassRow:
    graph = basis.graph
    borne = dict(zip(scope.tools, case.choice, strict=True))
    extras = [price_tool(graph, tool, ones, scope.redone) for tool, ones in borne.items()]
    direct = add_ranges([scope.flat, *extras])
    stated = find_stated_weeks(basis, scope.stage, find_greatest(bear_weeks(graph, *one) for one in borne.items()))
    weeks = stated or _compute_path_weeks(graph, scope.redone, borne)
    total = add_ranges((direct, basis.delay.compute_exact(weeks)))
    lines = partial(_write_lines, graph, scope.redone, borne)
    return ClassRow(case.name, case.weight, Exact(direct, weeks, total), basis.delay, lines)


def find_stated_weeks(basis: ChangeBasis, stage: Stage, class_weeks: Range) -> Range | None:
    """The shop's recovery weeks at a stage, with the change class's where they come on top; ``None``: not stated.

    A cut tool is never recovered sooner than one that is only ordered: where soft tools are remade and no class adds
    weeks, the weeks stated for the earlier stages stay the least.
    """
    stated = basis.stated_weeks
    if stated is None or stage not in stated.by_stage:
        return None
    base = stated.by_stage[stage]
    if stage < stated.adds_class_from:
        return base
    earlier = [weeks for one, weeks in stated.by_stage.items() if one < stated.adds_class_from]
    return find_greatest((add_ranges((base, class_weeks)), *earlier))


def bear_weeks(graph: RedoGraph, tool: int, ones: tuple[int, ...]) -> Range:
    """Weeks of a tool's change: the greatest of what it must bear."""
    effects = graph.items[tool].by_class
    return effects[ones[0]].weeks if len(ones) == 1 else find_greatest(effects[one].weeks for one in ones)


# --- money of a tool -------------------------------------------------------------------------------------------------


def price_tool(graph: RedoGraph, tool: int, ones: tuple[int, ...], redone: Collection[int]) -> Range:
    """What a tool's change adds to the flat cost, in which its redesign is counted already."""
    redesign = graph.redesigns.get(tool)
    is_redesigned = redesign is not None and redesign in redone
    key = (tool, ones, is_redesigned)
    if key not in graph.reckoned:
        both, paid = _price_with_redesign(graph, tool, ones, redesign if is_redesigned else None)
        graph.reckoned[key] = _subtract(both, paid)
    return graph.reckoned[key]


def _price_with_redesign(
    graph: RedoGraph, tool: int, ones: tuple[int, ...], redesign: int | None
) -> tuple[Range, Range]:
    """Price of a tool's redesign and change together (the greatest of what it must bear), and of the redesign alone."""
    paid = NOTHING if redesign is None else graph.costs[redesign]
    effects = [graph.items[tool].by_class[one] for one in ones]
    return find_greatest(_add_redesign(effect, paid) for effect in effects), paid


def _add_redesign(effect: ClassEffect, paid: Range) -> Range:
    """Price of a change with the redesign before it; a price that holds the redesign is never below the redesign's."""
    amount = effect.line.amount or NOTHING
    return find_greatest((amount, paid)) if effect.redesign_in_price else add_ranges((amount, paid))


def _subtract(one: Range, other: Range) -> Range:
    return Range(one[0] - other[0], one[1] - other[1], one[2] - other[2])


def _write_lines(graph: RedoGraph, redone: tuple[int, ...], choice: Mapping[int, tuple[int, ...]]) -> tuple[Line, ...]:
    """List the working of a row in the order of work."""
    written: dict[int, tuple[Line, ...]] = {}
    for tool, ones in choice.items():
        redesign = graph.redesigns.get(tool)
        redesign = redesign if redesign in redone else None
        both, paid = _price_with_redesign(graph, tool, ones, redesign)
        effect = graph.items[tool].by_class[ones[-1]]
        if redesign is None or _is_apart(effect, both, paid):
            both = _subtract(both, paid)
        else:
            written[redesign] = tuple(Line(one.label, _IN_PRICE, NOTHING) for one in graph.lines[redesign])
        written[tool] = (_write_tool_line(effect.line, both),)
    return tuple(line for position in redone for line in written.get(position, graph.lines[position]))


def _is_apart(effect: ClassEffect, both: Range, paid: Range) -> bool:
    """Whether a tool's change and its redesign are two prices; a price that nobody knows holds no redesign."""
    if effect.line.amount is None:
        return True
    return not effect.redesign_in_price and _subtract(both, paid) == effect.line.amount


def _write_tool_line(stated: Line, amount: Range) -> Line:
    if stated.amount is None or amount == stated.amount:
        return stated
    return Line(stated.label, f"{stated.working}, not below a lighter change or the redesign in it", amount)


# --- weeks -----------------------------------------------------------------------------------------------------------


def _compute_path_weeks(graph: RedoGraph, redone: tuple[int, ...], borne: Mapping[int, tuple[int, ...]]) -> Range:
    """Longest path through what is redone, in one case of tool change."""
    lengths = []
    for point in range(3):
        durations = mask_ticks(graph.ticks[point], redone)
        for tool, ones in borne.items():
            durations[tool] = max([graph.class_ticks[tool][one][point] for one in ones])
        lengths.append(max(compute_finish_times(graph.before, durations)) * graph.week_unit)
    return Range(*lengths)


def mask_ticks(ticks: Sequence[int], kept: Sequence[int]) -> list[int]:
    """The time of what is kept; everything else takes none."""
    masked = [0] * len(ticks)
    for position in kept:
        masked[position] = ticks[position]
    return masked


def compute_item_weeks(graph: RedoGraph, change: Change, position: int) -> Range:
    """Compute how long one item that a change reaches takes by itself; a tool's weeks are mixed over its cases."""
    if position not in change.tools:
        return graph.items[position].weeks
    place = change.tools.index(position)
    return mix_ranges([(case.weight, bear_weeks(graph, position, case.choice[place])) for case in change.cases])
