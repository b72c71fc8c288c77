"""What a change costs, as figures that open to their working: by class of tool change, and mixed over features."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import partial
from typing import NamedTuple

from pipeline.costing.change_classes import ChangeClass
from pipeline.costing.delay import Delay
from pipeline.costing.ranges import NOTHING, ZERO, Range, mix_ranges, render_money, render_number, round_range
from pipeline.costing.redo import RedoGraph
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

Lines = tuple[Line, ...]


class Exact(NamedTuple):
    """Figures before rounding, for sums over figures: direct cost, weeks, and total with the cost of delay."""

    direct: Range
    weeks: Range
    total: Range


NO_COST = Exact(NOTHING, NOTHING, NOTHING)


class ClassRow(NamedTuple):
    """The cost of a change if the tools change by one class.

    ``change_class``: ``None`` when no tool that is priced by class is touched. ``weight``: chance of this row, 0 to 1.
    ``exact``: before rounding. ``waiting``: what delay costs. ``write_lines`` makes the working when a page asks for
    it.
    """

    change_class: ChangeClass | None
    weight: Decimal
    exact: Exact
    waiting: Delay
    write_lines: Callable[[], Lines]

    @property
    def direct(self) -> Range:
        """Cost of what is redone, to the cent."""
        return round_range(self.exact.direct)

    @property
    def weeks(self) -> Range:
        """Weeks lost."""
        return self.exact.weeks

    @property
    def delay(self) -> Range:
        """Cost of those weeks, to the cent."""
        return round_range(self.waiting.compute_exact(self.exact.weeks))

    @property
    def total(self) -> Range:
        """Direct cost and delay together, rounded once, to the cent."""
        return round_range(self.exact.total)

    @property
    def lines(self) -> Lines:
        """Working of ``direct``: lines that add to it (of a row mixed over features, their likely amounts do)."""
        return self.write_lines()


class Part(NamedTuple):
    """One of several cases that exclude each other: whose it is, its chance from 0 to 1, and its figure."""

    label: str
    weight: Decimal
    figure: Figure


@dataclass(frozen=True, slots=True)
class Figure:
    """What a change costs when it is found at one point.

    ``stage``: the stage of the ladder, or for *today* the latest stage whose things exist (``None``: nothing does).
    ``exact``: before rounding. ``own_positions``: what is redone in ``graph``. ``write_rows`` makes the rows by
    class when a page asks for them. ``parts``: for a figure over several features, the figures it is mixed from.
    ``low`` and ``high`` run over classes and ranges, ``likely`` is weighted by the mix of classes. Direct cost, delay
    and total are each rounded once from exact figures, so that a weighted figure's parts may miss its total by a cent.
    """

    stage: Stage | None
    exact: Exact
    waiting: Delay = field(repr=False)
    graph: RedoGraph = field(repr=False, compare=False)
    own_positions: tuple[int, ...] = field(repr=False)
    write_rows: Callable[[], tuple[ClassRow, ...]] = field(repr=False, compare=False)
    parts: tuple[Part, ...] = field(default=(), repr=False, compare=False)

    @property
    def positions(self) -> tuple[int, ...]:
        """What is redone, as positions in ``graph``, in the order of work; if mixed, all that the parts redo."""
        if not self.parts:
            return self.own_positions
        return tuple(sorted(set().union(*(part.figure.positions for part in self.parts))))

    @property
    def redone(self) -> tuple[str, ...]:
        """Keys of what is redone, in the order of work."""
        return tuple(self.graph.items[position].key for position in self.positions)

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels of what is redone and has no price: then the figure is a least."""
        return tuple(self.graph.items[one].label for one in self.positions if not self.graph.priced[one])

    @property
    def direct(self) -> Range:
        """Cost of what is redone, to the cent."""
        return round_range(self.exact.direct)

    @property
    def weeks(self) -> Range:
        """Weeks lost; likely is the mean over the classes of change."""
        return self.exact.weeks

    @property
    def delay(self) -> Range:
        """Cost of those weeks, to the cent."""
        return round_range(self.waiting.compute_exact(self.exact.weeks))

    @property
    def total(self) -> Range:
        """Direct cost and delay together, to the cent."""
        return round_range(self.exact.total)

    @property
    def is_whole(self) -> bool:
        """Whether everything that is redone has a price."""
        return not self.missing

    @property
    def rows(self) -> tuple[ClassRow, ...]:
        """By class of tool change, light to heavy; one row without a class where no such tool is touched."""
        return self.write_rows()

    @property
    def lines(self) -> Lines:
        """Working of ``direct``, whose likely amounts add to it (before rounding to the cent).

        A line that differs by class shows its mixing; a figure over several features has a line for each of its parts.
        """
        if self.parts:
            return tuple(write_part_line(part.label, part.weight, part.figure.exact) for part in self.parts)
        rows = self.rows
        return mix_lines([row.weight for row in rows], [row.lines for row in rows])

    @property
    def delay_working(self) -> str:
        """How the cost of delay was reckoned, in words."""
        return self.waiting.render_working(self.weeks)


def mix_exact(parts: Sequence[tuple[Decimal, Exact]]) -> Exact:
    """Mix exact figures of cases that exclude each other; the weights add to 1."""
    counted = [(weight, one) for weight, one in parts if weight > 0]
    if len(counted) == 1:
        return counted[0][1]
    likely = [ZERO, ZERO, ZERO]
    for weight, (direct, weeks, total) in counted:
        likely[0] += weight * direct[1]
        likely[1] += weight * weeks[1]
        likely[2] += weight * total[1]
    lows = map(min, *[(one[0][0], one[1][0], one[2][0]) for _, one in counted])
    highs = map(max, *[(one[0][2], one[1][2], one[2][2]) for _, one in counted])
    return Exact(*map(Range, lows, likely, highs))


def mix_lines(weights: Sequence[Decimal], lists: Sequence[Lines]) -> Lines:
    """Mix lists that hold the same things in the same order into one: likely weighted, low and high over all."""
    if not lists:
        return ()
    if len(lists) == 1:
        return lists[0]
    return tuple(_mix_line(weights, lines) for lines in zip(*lists, strict=True))


def _mix_line(weights: Sequence[Decimal], lines: Lines) -> Line:
    first = lines[0]
    if all(line is first for line in lines):
        return first
    label = first.label.split(": ")[0]
    parts = [(weight, line.amount) for weight, line in zip(weights, lines, strict=True) if line.amount is not None]
    if len(parts) < len(lines):
        return Line(label, "no price stated for every class", None)
    words = " + ".join(f"{render_number(weight)} x {render_money(amount.likely)}" for weight, amount in parts)
    return Line(label, words, mix_ranges(parts))


def merge_rows(rows: Sequence[ClassRow], lines: Lines | None = None) -> ClassRow:
    """Mix rows of one class into one: weights add, likely figures are weighted, low and high run over all.

    ``lines``: the working of the mixed row; by default the rows' lines, mixed one by one.
    """
    total = sum((row.weight for row in rows), ZERO)
    shares = [row.weight / total for row in rows]
    exact = mix_exact([(share, row.exact) for share, row in zip(shares, rows, strict=True)])
    working = mix_lines(shares, [row.lines for row in rows]) if lines is None else lines
    return ClassRow(rows[0].change_class, total, exact, rows[0].waiting, partial(tuple, working))


def mix_figures(parts: Sequence[Part], stage: Stage | None) -> Figure:
    """Mix figures of cases that exclude each other, such as an error in one feature or in another; weights add to 1.

    Likely is weighted, low and high run over all with a weight above zero; the rows are mixed class by class.
    """
    counted = tuple(part for part in parts if part.weight > 0)
    if len(counted) == 1:
        return counted[0].figure
    exact = mix_exact([(part.weight, part.figure.exact) for part in counted])
    found = stage
    if stage is None:
        found = max((part.figure.stage for part in counted if part.figure.stage is not None), default=None)
    first = counted[0].figure
    return Figure(found, exact, first.waiting, first.graph, (), partial(_mix_rows, counted), counted)


def _mix_rows(parts: Sequence[Part]) -> tuple[ClassRow, ...]:
    gathered: dict[ChangeClass | None, list[tuple[str, Decimal, ClassRow]]] = {}
    for part in parts:
        for row in part.figure.rows:
            gathered.setdefault(row.change_class, []).append((part.label, part.weight * row.weight, row))
    order = sorted(gathered, key=lambda name: -1 if name is None else name.weight_order)
    return tuple(_mix_named(name, gathered[name], parts[0].figure.waiting) for name in order)


def _mix_named(name: ChangeClass | None, found: Sequence[tuple[str, Decimal, ClassRow]], waiting: Delay) -> ClassRow:
    total = sum((weight for _, weight, _ in found), ZERO)
    exact = mix_exact([(weight / total, row.exact) for _, weight, row in found])
    lines = tuple(write_part_line(label, weight / total, row.exact) for label, weight, row in found)
    return ClassRow(name, total, exact, waiting, partial(tuple, lines))


def write_part_line(label: str, weight: Decimal, exact: Exact) -> Line:
    """Write the line of one part of a mixed figure: its chance times its direct cost."""
    amount = Range(*(weight * value for value in exact.direct))
    share = render_number(weight.quantize(Decimal("0.0001")))
    return Line(f"error in {label}", f"{share} x {render_money(exact.direct.likely)}", amount)
