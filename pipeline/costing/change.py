"""A change to some features: what it reaches, in which order, and how heavily each tool may have to change."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import accumulate
from typing import NamedTuple

from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_classes import ChangeClass, Mix
from pipeline.costing.ranges import ZERO
from pipeline.costing.redo import RedoGraph, contract_order, find_affected

_ONE = Decimal(1)


class Scenario(NamedTuple):
    """One way in which a change can turn out: which classes each tool priced by class must bear, by position."""

    weight: Decimal
    name: ChangeClass
    classes: Mapping[int, tuple[ChangeClass, ...]]


@dataclass(frozen=True)
class Change:
    """A change to some features, ready to be priced at any stage: what it reaches, in order, how it can turn out."""

    features: tuple[str, ...] | None
    reached: tuple[int, ...]
    before: tuple[tuple[int, ...], ...]
    scenarios: tuple[Scenario, ...]


def build_change(basis: ChangeBasis, features: Collection[str] | None) -> Change:
    """Make a change to these features ready to be priced; ``None`` is a change of the whole part with the family's mix.

    Several features that change at once are one error with one cause: a heavy case for one is a heavy case for all
    (their classes move together), and each tool takes the heaviest of what its features ask for. So more features
    never cost less.
    Raises ``ValueError`` on no features or one that is not in the basis.
    """
    if features is None:
        reached = find_affected(basis.graph, None)
        return _ready(
            basis.graph, None, reached, _split_scenarios(basis.graph, {"": (basis.part_mix, frozenset(reached))})
        )
    keys = tuple(sorted(set(features)))
    _check_known(basis, keys)
    reach = {key: frozenset(find_affected(basis.graph, (key,))) for key in keys}
    mixes = {key: (basis.by_feature[key].mix, reach[key]) for key in keys}
    return _ready(
        basis.graph, keys, tuple(sorted(frozenset().union(*reach.values()))), _split_scenarios(basis.graph, mixes)
    )


def _check_known(basis: ChangeBasis, keys: tuple[str, ...]) -> None:
    if not keys:
        raise ValueError("no feature is named; name the features that change, or take the whole part")
    for key in keys:
        if key not in basis.by_feature:
            known = ", ".join(sorted(basis.by_feature)) or "none"
            raise ValueError(f'"{key}" is not a feature of this part; its features are {known}')


def _ready(
    graph: RedoGraph, features: tuple[str, ...] | None, reached: tuple[int, ...], scenarios: tuple[Scenario, ...]
) -> Change:
    return Change(features, reached, contract_order(graph, reached), scenarios)


def _split_scenarios(graph: RedoGraph, mixes: Mapping[str, tuple[Mix, frozenset[int]]]) -> tuple[Scenario, ...]:
    """Cut the chance from 0 to 1 where any feature's class changes; in each piece every feature has one class."""
    bands = {key: _stack_mix(mix) for key, (mix, _) in mixes.items()}
    tools = [position for position, item in enumerate(graph.items) if item.by_class]
    pieces = []
    floor = ZERO
    for cut in sorted({top for band in bands.values() for top, _ in band}):
        chosen = {key: next(one for top, one in band if top >= cut) for key, band in bands.items()}
        borne = {
            tool: _order_classes(chosen[key] for key, (_, reach) in mixes.items() if tool in reach) for tool in tools
        }
        pieces.append(Scenario(cut - floor, _order_classes(chosen.values())[-1], borne))
        floor = cut
    return tuple(pieces)


def _stack_mix(mix: Mix) -> list[tuple[Decimal, ChangeClass]]:
    """Stack the weights light to heavy: (top of the band, class); the last top is 1 exactly."""
    counted = sorted(((one, weight) for one, weight in mix if weight > 0), key=lambda pair: pair[0].weight_order)
    tops = list(accumulate(weight for _, weight in counted))
    tops[-1] = _ONE
    return [(top, one) for top, (one, _) in zip(tops, counted, strict=True)]


def _order_classes(classes: Iterable[ChangeClass]) -> tuple[ChangeClass, ...]:
    return tuple(sorted(set(classes), key=lambda one: one.weight_order))
