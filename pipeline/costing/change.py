"""A change to some features: what it reaches, in which order, and how heavily each tool may have to change."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import accumulate
from typing import NamedTuple

from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_classes import ChangeClass, Mix
from pipeline.costing.ranges import ZERO
from pipeline.costing.redo import RedoGraph, find_affected

_ONE = Decimal(1)
_CLASSES = tuple(ChangeClass)

Choice = tuple[tuple[int, ...], ...]
"""For each tool that a change reaches: which of its effects it must bear, as places in ``by_class``, light to heavy."""


class Case(NamedTuple):
    """One way in which a change can turn out: its chance, the class that names it, and what each tool must bear.

    ``name`` is ``None`` where no tool is touched that is priced by class.
    """

    weight: Decimal
    name: ChangeClass | None
    choice: Choice


@dataclass(frozen=True, slots=True)
class Change:
    """A change to some features, ready to be priced at any stage.

    ``features``: keys, ``None`` for the whole part. ``reached``: positions of the items it reaches, rising.
    ``tools``: those of them that are priced by class. ``cases``: how it can turn out, light to heavy; no two alike.
    """

    features: tuple[str, ...] | None
    reached: tuple[int, ...]
    tools: tuple[int, ...]
    cases: tuple[Case, ...]


def build_change(basis: ChangeBasis, features: Collection[str] | None) -> Change:
    """Make a change to these features ready to be priced; ``None`` is a change of the whole part with the family's mix.

    Several features that change at once are one error with one cause: a heavy case for one is a heavy case for all
    (their classes move together), and each tool takes the heaviest of what its features ask for. So more features never
    cost less.
    Raises ``ValueError`` on no features or one that is not in the basis.
    """
    graph = basis.graph
    if features is None:
        return build_plain_change(graph, None, find_affected(graph, None), basis.part_mix)
    keys = tuple(sorted(set(features)))
    _check_known(basis, keys)
    if len(keys) == 1:
        return build_plain_change(graph, keys, find_affected(graph, keys), basis.by_feature[keys[0]].mix)
    reach = {key: frozenset(find_affected(graph, (key,))) for key in keys}
    reached = tuple(sorted(frozenset().union(*reach.values())))
    tools = tuple(tool for tool in graph.tools if tool in reached)
    cases = _build_joint_cases(graph, tools, {key: (basis.by_feature[key].mix, reach[key]) for key in keys})
    return Change(keys, reached, tools, cases)


def _check_known(basis: ChangeBasis, keys: tuple[str, ...]) -> None:
    if not keys:
        raise ValueError("no feature is named; name the features that change, or take the whole part")
    for key in keys:
        if key not in basis.by_feature:
            known = ", ".join(sorted(basis.by_feature)) or "none"
            raise ValueError(f'"{key}" is not a feature of this part; its features are {known}')


def build_plain_change(
    graph: RedoGraph, features: tuple[str, ...] | None, reached: tuple[int, ...], mix: Mix
) -> Change:
    """Make a change ready whose features have one mix: all tools that are reached change by one class."""
    tools = tuple(tool for tool in graph.tools if tool in reached)
    falls = [graph.falls[tool] for tool in tools]
    cases = [
        Case(weight, one, tuple((fall[one.weight_order],) for fall in falls))
        for one, weight in sorted(mix, key=lambda pair: pair[0].weight_order)
        if weight > 0
    ]
    return Change(features, reached, tools, merge_cases(graph, tools, cases))


def _build_joint_cases(
    graph: RedoGraph, tools: tuple[int, ...], mixes: Mapping[str, tuple[Mix, frozenset[int]]]
) -> tuple[Case, ...]:
    """Cut the chance from 0 to 1 where any feature's class changes; in each piece every feature has one class."""
    bands = {key: _stack_mix(mix) for key, (mix, _) in mixes.items()}
    cases = []
    floor = ZERO
    for cut in sorted({top for band in bands.values() for top, _ in band}):
        chosen = {key: next(place for top, place in band if top >= cut) for key, band in bands.items()}
        choice = tuple(
            _order(graph.falls[tool][chosen[key]] for key, (_, reach) in mixes.items() if tool in reach)
            for tool in tools
        )
        cases.append(Case(cut - floor, _CLASSES[max(chosen.values())], choice))
        floor = cut
    return merge_cases(graph, tools, cases)


def _stack_mix(mix: Mix) -> list[tuple[Decimal, int]]:
    """Stack the weights light to heavy: (top of the band, place of the class); the last top is 1 exactly."""
    counted = sorted((one.weight_order, weight) for one, weight in mix if weight > 0)
    tops = list(accumulate(weight for _, weight in counted))
    tops[-1] = _ONE
    return [(top, place) for top, (place, _) in zip(tops, counted, strict=True)]


def _order(places: Iterable[int]) -> tuple[int, ...]:
    return tuple(sorted(set(places)))


def merge_cases(graph: RedoGraph, tools: Sequence[int], cases: Sequence[Case]) -> tuple[Case, ...]:
    """Put cases together that come to the same for these tools, such as an insert where no tool has one.

    A merged case is named after what the tools do if all do the same, else after the lightest class that leads to it.
    """
    merged: dict[Choice, tuple[Decimal, ChangeClass | None]] = {}
    for weight, name, choice in cases:
        if choice in merged:
            merged[choice] = (merged[choice][0] + weight, merged[choice][1])
        else:
            merged[choice] = (weight, _find_name(graph, tools, choice) or name)
    return tuple(Case(weight, name, choice) for choice, (weight, name) in merged.items())


def _find_name(graph: RedoGraph, tools: Sequence[int], choice: Choice) -> ChangeClass | None:
    borne = {
        graph.items[tool].by_class[one].change_class for tool, ones in zip(tools, choice, strict=True) for one in ones
    }
    return borne.pop() if len(borne) == 1 else None
