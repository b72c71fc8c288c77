"""From a tool as recorded to what can be redone of it: redesign once it is ordered, change or remake once it is cut."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.change_classes import ClassPrice, build_class_effects
from pipeline.costing.ranges import NOTHING, Range
from pipeline.costing.redo import RedoItem, RedoKind, Station
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line, build_amount_line


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """A tool, with what its change costs.

    ``price``: money, ``None`` when not known. ``class_prices``: by change class; none for what is remade rather than
    changed (masks, patterns, soft gauges), which costs its price and takes ``remake_weeks``. ``inserts``: built with
    inserts.
    ``forms``: features that it forms or checks; ``None`` is all, the empty set is none of its own.
    ``made_to_fit``: keys of tools whose part this tool fits, so that it follows them. ``redesign``: working of its
    redesign, if any.
    ``after``: keys of items that are redone first (quotes, revisions). ``made_at``: the stage at which it exists.
    ``is_ordered`` / ``is_made``: what is true today.
    """

    key: str
    name: str
    price: Decimal | None
    kind: RedoKind = RedoKind.TOOL_CHANGE
    class_prices: tuple[ClassPrice, ...] = ()
    inserts: bool = False
    forms: frozenset[str] | None = frozenset()
    made_to_fit: tuple[str, ...] = ()
    redesign: tuple[Line, ...] = ()
    redesign_weeks: Range = NOTHING
    remake_weeks: Range = NOTHING
    after: tuple[str, ...] = ()
    station: Station | None = None
    made_at: Stage = Stage.TOOL_CUT
    is_ordered: bool = False
    is_made: bool = False
    origin: str = ""


def build_tool_items(tool: ToolFacts) -> tuple[RedoItem, ...]:
    """Build what can be redone of a tool: ``<key>.redesign`` where it has a redesign, and ``<key>.redo``.

    >>> mask = ToolFacts("mask", "paint mask", Decimal(900), kind=RedoKind.REMAKE, made_to_fit=("mould",))
    >>> [(item.key, item.follows, str(item.cost.likely)) for item in build_tool_items(mask)]
    [('mask.redo', ('mould.redo',), '900.00')]
    """
    redo = _build_change(tool) if tool.class_prices else _build_remake(tool)
    return (_build_redesign(tool), redo) if tool.redesign else (redo,)


def build_all_tool_items(tools: Iterable[ToolFacts]) -> tuple[RedoItem, ...]:
    """Build what can be redone of all of a part's tools."""
    return tuple(item for tool in tools for item in build_tool_items(tool))


def _build_redesign(tool: ToolFacts) -> RedoItem:
    return RedoItem(
        key=f"{tool.key}.redesign",
        kind=RedoKind.TOOL_REDESIGN,
        label=f"redesign of {tool.name}",
        stage=min(Stage.TOOL_ORDERED, tool.made_at),
        lines=tool.redesign,
        weeks=tool.redesign_weeks,
        after=tool.after,
        covers=tool.forms,
        redesign_of=f"{tool.key}.redo",
        exists=tool.is_ordered or tool.is_made,
        origin=tool.origin,
    )


def _build_change(tool: ToolFacts) -> RedoItem:
    label = f"change to {tool.name}"
    return RedoItem(
        key=f"{tool.key}.redo",
        kind=tool.kind,
        label=label,
        stage=tool.made_at,
        after=tool.after,
        follows=_name_followed(tool),
        covers=tool.forms,
        by_class=build_class_effects(label, tool.price, tool.class_prices, inserts=tool.inserts),
        station=tool.station,
        exists=tool.is_made,
        origin=tool.origin,
    )


def _build_remake(tool: ToolFacts) -> RedoItem:
    label = f"remake of {tool.name}"
    return RedoItem(
        key=f"{tool.key}.redo",
        kind=tool.kind,
        label=label,
        stage=tool.made_at,
        lines=(build_amount_line(label, tool.price, "made new at its price"),),
        weeks=tool.remake_weeks,
        after=tool.after,
        follows=_name_followed(tool),
        covers=tool.forms,
        station=tool.station,
        exists=tool.is_made,
        origin=tool.origin,
    )


def _name_followed(tool: ToolFacts) -> tuple[str, ...]:
    return tuple(f"{other}.redo" for other in tool.made_to_fit)
