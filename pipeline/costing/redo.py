"""What must be redone when features of a part change: items, what they cover, what drags what, in which order."""

from __future__ import annotations

import enum
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from operator import gt

from pipeline.costing.change_classes import ClassEffect, check_class_effects, find_falls
from pipeline.costing.paths import Cycle, order_by_precedence
from pipeline.costing.ranges import NOTHING, Range, add_ranges, check_range
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line


class RedoKind(enum.Enum):
    """What kind of thing is redone, in the trade's words."""

    MEASUREMENT = "measurement"
    REVISION = "revision"
    PROTOTYPE = "prototype"
    FIT_CHECK = "fit check"
    QUOTE = "quote"
    TOOL_REDESIGN = "tool redesign"
    TOOL_CHANGE = "tool change"
    TRIM_TOOL = "trim tool"
    REMAKE = "mask or pattern remake"
    GAUGE = "gauge"
    FIXTURE = "fixture"
    SETUP = "setup"
    SAMPLE = "sample"
    PLATING_TRIAL = "plating trial"
    FIRST_ARTICLE = "first article"
    STOCK = "stock"
    RETURNS = "returns"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Station:
    """Where a tool stands among the operations of a drawn part: ``row`` names the row, ``order`` counts along it."""

    row: str
    order: int


@dataclass(frozen=True, slots=True)
class RedoItem:
    """One thing that a change may make us do again.

    ``key``: unique in the part. ``label``: words for a page. ``stage``: the stage from which it exists. ``lines``: the
    working of its cost (none: no price is known). ``weeks``: its own duration, low / likely / high.
    ``after``: keys that, where they are redone as well, must be redone first. ``follows``: keys that *drag* it along:
    when one of them is redone, so is this, afterwards (a mask follows the tool whose part it fits).
    ``covers``: features that it shows or forms; ``None`` means all, the empty set means that it only follows others.
    ``by_class``: for a tool whose change costs by class, the effects (then ``lines`` and ``weeks`` stay empty).
    ``redesign_of``: for a redesign, the key of the tool's change or remake; the two are redone together, the redesign
    first.
    ``station``: an early station of a drawn part drags every later one; a trim tool is dragged and drags nothing.
    ``exists``: it really exists or is committed now. ``origin``: what it came from, in words (``made from revision
    C``).
    Raises ``ValueError`` on an empty key, weeks out of order, or a price both flat and by class.
    """

    key: str
    kind: RedoKind
    label: str
    stage: Stage
    lines: tuple[Line, ...] = ()
    weeks: Range = NOTHING
    after: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    covers: frozenset[str] | None = None
    by_class: tuple[ClassEffect, ...] = ()
    redesign_of: str | None = None
    station: Station | None = None
    exists: bool = False
    origin: str = ""

    def __post_init__(self) -> None:
        if not self.key:
            raise ValueError(f'"{self.label}" has no key; give each item that can be redone its own')
        if self.weeks is not NOTHING:
            check_range(self.weeks, f'the weeks of "{self.label}"')
        if self.by_class:
            if self.lines or self.weeks != NOTHING:
                raise ValueError(f'"{self.label}" is priced by change class and flat; write one of the two')
            check_class_effects(self.by_class, self.label)

    @property
    def is_priced(self) -> bool:
        """Whether every line (or every class) has an amount."""
        lines = [one.line for one in self.by_class] if self.by_class else self.lines
        return bool(lines) and all(line.amount is not None for line in lines)

    @property
    def cost(self) -> Range:
        """Flat cost: the sum of the lines that have an amount (zero for an item that is priced by class)."""
        if len(self.lines) == 1:
            return self.lines[0].amount or NOTHING
        return add_ranges([line.amount for line in self.lines if line.amount is not None])


@dataclass(frozen=True)
class RedoGraph:
    """Items in an order in which each comes after all that it waits for; ties go by key.

    ``before[i]``: positions that item ``i`` waits for. ``drags[i]``: positions that item ``i`` drags along when it is
    redone.
    """

    items: tuple[RedoItem, ...]
    before: tuple[tuple[int, ...], ...]
    drags: tuple[tuple[int, ...], ...]

    @cached_property
    def place(self) -> Mapping[str, int]:
        """Position of each key."""
        return {item.key: position for position, item in enumerate(self.items)}

    @cached_property
    def covering(self) -> Mapping[str | None, list[int]]:
        """Positions of the items that name each feature; under ``None`` those that cover every feature."""
        found: dict[str | None, list[int]] = {None: []}
        for position, item in enumerate(self.items):
            for feature in (None,) if item.covers is None else item.covers:
                found.setdefault(feature, []).append(position)
        return found

    @cached_property
    def always(self) -> frozenset[int]:
        """Positions that every change reaches: what covers all features, and what that drags along."""
        reached: set[int] = set()
        _spread(self.drags, reached, self.covering[None])
        return frozenset(reached)

    @cached_property
    def costs(self) -> tuple[Range, ...]:
        """Flat cost of each item."""
        return tuple(item.cost for item in self.items)

    @cached_property
    def lines(self) -> tuple[tuple[Line, ...], ...]:
        """Working of each item's flat cost; an item with none has one line that says so."""
        return tuple(item.lines or (Line(item.label, "no price stated", None),) for item in self.items)

    @cached_property
    def priced(self) -> tuple[bool, ...]:
        """Whether each item is priced."""
        return tuple(item.is_priced for item in self.items)

    @cached_property
    def redesigns(self) -> Mapping[int, int]:
        """Position of a tool's change or remake -> position of its redesign."""
        return {
            self.place[item.redesign_of]: position
            for position, item in enumerate(self.items)
            if item.redesign_of is not None
        }

    @cached_property
    def tools(self) -> tuple[int, ...]:
        """Positions of the tools that are priced by class of change."""
        return tuple(position for position, item in enumerate(self.items) if item.by_class)

    @cached_property
    def falls(self) -> Mapping[int, tuple[int, ...]]:
        """For each such tool, which of its effects meets each class of change: its own or the next heavier."""
        return {tool: find_falls(self.items[tool].by_class) for tool in self.tools}

    @cached_property
    def stages(self) -> tuple[Stage, ...]:
        """Stage from which each item exists."""
        return tuple(item.stage for item in self.items)

    @cached_property
    def week_unit(self) -> Decimal:
        """A power of ten, a week at most, in which all weeks of this graph are whole numbers."""
        written = [item.weeks for item in self.items if item.weeks is not NOTHING]
        written += [effect.weeks for tool in self.tools for effect in self.items[tool].by_class]
        # a sum keeps the finest exponent of its terms, and is much faster than asking each term for its own
        finest = min(int(total.as_tuple().exponent) for total in add_ranges(written))
        return Decimal(1).scaleb(min(finest, 0))

    @cached_property
    def is_rising(self) -> bool:
        """Whether each tool's heavier classes cost at least as much and take at least as long as its lighter ones.

        Then the lightest case of a change gives its lows and the heaviest its highs.
        """
        return all(self._is_rising(tool) for tool in self.tools)

    def _is_rising(self, tool: int) -> bool:
        redesign = self.redesigns.get(tool)
        paid = NOTHING if redesign is None else self.costs[redesign]
        effects = self.items[tool].by_class
        for lighter, heavier in pairwise(effects):
            one, other = lighter.line.amount or NOTHING, heavier.line.amount or NOTHING
            if heavier.redesign_in_price and not lighter.redesign_in_price:
                one = add_ranges((one, paid))
            if any(map(gt, one, other)) or any(map(gt, lighter.weeks, heavier.weeks)):
                return False
        return True

    @cached_property
    def ticks(self) -> tuple[tuple[int, ...], ...]:
        """Flat weeks of all items in ``week_unit``: lows, likelies, highs (whole numbers add fast and exactly)."""
        found = [count_ticks(item.weeks, self.week_unit) for item in self.items]
        return tuple(zip(*found, strict=True)) or ((), (), ())

    @cached_property
    def class_ticks(self) -> Mapping[int, tuple[tuple[int, int, int], ...]]:
        """For each tool priced by class, the weeks of its effects in ``week_unit``: low, likely and high."""
        unit = self.week_unit
        return {tool: tuple(count_ticks(one.weeks, unit) for one in self.items[tool].by_class) for tool in self.tools}

    @cached_property
    def reckoned(self) -> dict[tuple[int, tuple[int, ...], bool], Range]:
        """Prices of tool changes that were reckoned before: (tool, its effects, with its redesign) -> added cost."""
        return {}

    @cached_property
    def is_stage_ordered(self) -> bool:
        """Whether nothing waits for a thing of a later stage; then what comes later delays nothing earlier."""
        return all(self.stages[one] <= self.stages[here] for here, before in enumerate(self.before) for one in before)

    @cached_property
    def behind_tools(self) -> tuple[int, ...]:
        """Positions of the tools priced by class and of all that waits for one of them."""
        found: set[int] = set()
        for position, before in enumerate(self.before):
            if self.items[position].by_class or not found.isdisjoint(before):
                found.add(position)
        return tuple(sorted(found))


def build_redo_graph(items: Iterable[RedoItem]) -> RedoGraph | Cycle:
    """Build the graph of what can be redone for a part.

    The order in which the items are given changes nothing. A ring of items that wait for each other comes back as a
    ``Cycle``.
    Raises ``ValueError`` on a key used twice, an unknown key, or two redesigns of one tool.

    >>> part = RedoItem("C", RedoKind.REVISION, "revision C", Stage.MODEL)
    >>> check = RedoItem("F1", RedoKind.FIT_CHECK, "fit check F1", Stage.FIT_CHECK, after=("C",))
    >>> [item.key for item in build_redo_graph([check, part]).items]
    ['C', 'F1']
    """
    by_key = _index(items)
    draggers = _find_draggers(by_key)
    before = {key: draggers[key].union(item.after) for key, item in by_key.items()}
    for redesign, tool in _find_redesigns(by_key):
        before[tool].add(redesign)
        draggers[tool].add(redesign)
        draggers[redesign].add(tool)
    order = order_by_precedence(before)
    if isinstance(order, Cycle):
        return order
    return _assemble(tuple(by_key[key] for key in order), before, draggers)


def _assemble(
    items: tuple[RedoItem, ...], before: Mapping[str, set[str]], draggers: Mapping[str, set[str]]
) -> RedoGraph:
    place = {item.key: position for position, item in enumerate(items)}
    drags: list[list[int]] = [[] for _ in items]
    for position, item in enumerate(items):
        for key in draggers[item.key]:
            drags[place[key]].append(position)
    waits = tuple(tuple(sorted(place[key] for key in before[item.key])) for item in items)
    return RedoGraph(items, waits, tuple(map(tuple, drags)))


def _index(items: Iterable[RedoItem]) -> dict[str, RedoItem]:
    by_key: dict[str, RedoItem] = {}
    for item in items:
        if item.key in by_key:
            raise ValueError(f'two items have the key "{item.key}" ("{by_key[item.key].label}" and "{item.label}")')
        by_key[item.key] = item
    for item in by_key.values():
        _check_references(item, by_key)
    return by_key


def _check_references(item: RedoItem, by_key: Mapping[str, RedoItem]) -> None:
    redesigned = () if item.redesign_of is None else (item.redesign_of,)
    for word, keys in (("is redone after", item.after), ("follows", item.follows), ("is the redesign of", redesigned)):
        for key in keys:
            if key not in by_key:
                known = ", ".join(sorted(by_key))
                raise ValueError(f'"{item.key}" {word} "{key}", which is not among the items; known are {known}')


def _find_redesigns(by_key: Mapping[str, RedoItem]) -> list[tuple[str, str]]:
    """A tool is redone after its redesign, and the two are redone together, whether or not the record says so."""
    found: dict[str, str] = {}
    for key, item in sorted(by_key.items()):
        tool = item.redesign_of
        if tool is None:
            continue
        if tool in found:
            raise ValueError(f'"{found[tool]}" and "{key}" are both the redesign of "{tool}"; write one')
        found[tool] = key
    return [(redesign, tool) for tool, redesign in found.items()]


def _find_draggers(by_key: Mapping[str, RedoItem]) -> dict[str, set[str]]:
    draggers = {key: set(item.follows) for key, item in by_key.items()}
    rows: dict[str, dict[int, list[RedoItem]]] = {}
    for item in by_key.values():
        if item.station is not None:
            rows.setdefault(item.station.row, {}).setdefault(item.station.order, []).append(item)
    for row in rows.values():
        _chain_stations(row, draggers)
    return draggers


def _chain_stations(row: Mapping[int, list[RedoItem]], draggers: dict[str, set[str]]) -> None:
    """Let each station follow the nearest earlier one that forms metal; a trim tool is followed by none."""
    earlier: list[str] = []
    for order in sorted(row):
        for item in row[order]:
            draggers[item.key].update(earlier)
        forming = [item.key for item in row[order] if item.kind is not RedoKind.TRIM_TOOL]
        earlier = forming or earlier


def count_ticks(weeks: Range, unit: Decimal) -> tuple[int, int, int]:
    """Count weeks in a unit of which they are whole multiples."""
    if weeks is NOTHING:
        return (0, 0, 0)
    return (int(weeks[0] / unit), int(weeks[1] / unit), int(weeks[2] / unit))


def find_covering(graph: RedoGraph, feature: str) -> tuple[int, ...]:
    """Find the positions of the items that show or form a feature themselves."""
    return tuple(sorted((*graph.covering.get(feature, ()), *graph.covering[None])))


def find_affected(graph: RedoGraph, features: Collection[str] | None) -> tuple[int, ...]:
    """Find the positions of all items that a change to these features reaches, whether or not they exist yet.

    An item is reached when it covers one of the features or is dragged along by one that is reached. ``None`` is the
    whole part. Rising, so in an order in which they can be redone.
    """
    if features is None:
        return tuple(range(len(graph.items)))
    reached = set(graph.always)
    for feature in features:
        _spread(graph.drags, reached, graph.covering.get(feature, ()))
    return tuple(sorted(reached))


def _spread(drags: Sequence[Sequence[int]], reached: set[int], starts: Sequence[int]) -> None:
    """Add to ``reached`` the starts and all that they drag along."""
    todo = [position for position in starts if position not in reached]
    reached.update(todo)
    while todo:
        for position in drags[todo.pop()]:
            if position not in reached:
                reached.add(position)
                todo.append(position)
