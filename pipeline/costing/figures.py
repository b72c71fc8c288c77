"""What a change costs, as figures that open to their working: by class of tool change, and mixed over features."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import NamedTuple

from pipeline.costing.change_classes import ChangeClass
from pipeline.costing.delay import Delay
from pipeline.costing.ranges import NOTHING, ZERO, Range, mix_ranges, render_money, render_number, round_range
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

_ONE = Decimal(1)


class Exact(NamedTuple):
    """Figures before rounding, for sums over figures."""

    direct: Range
    weeks: Range
    delay: Range
    total: Range


NO_COST = Exact(NOTHING, NOTHING, NOTHING, NOTHING)


@dataclass(frozen=True, slots=True)
class ClassRow:
    """The cost of a change if the tools change by one class.

    ``change_class``: ``None`` when no tool that is priced by class is touched. ``weight``: chance of this row, 0 to 1.
    Money to the cent, weeks as they come; ``lines`` add to ``direct`` point by point.
    """

    change_class: ChangeClass | None
    weight: Decimal
    direct: Range
    weeks: Range
    delay: Range
    total: Range
    lines: tuple[Line, ...]
    exact: Exact = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Figure:
    """What a change costs when it is found at one point.

    ``stage``: the stage of the ladder, or for *today* the latest stage whose things exist (``None``: nothing does).
    ``direct`` + ``delay`` = ``total``, money to the cent, each rounded once from exact figures, so that a weighted
    figure's parts may miss its total by a cent. ``low`` and ``high`` run over classes and ranges, ``likely`` is
    weighted by the mix of classes.
    ``rows``: by class, light to heavy. ``redone``: keys in the order of work. ``missing``: labels of what has no
    price: then the figure is a least. ``waiting``: what delay costs. ``parts``: for a figure over several features,
    the figures it is mixed from.
    """

    stage: Stage | None
    direct: Range
    weeks: Range
    delay: Range
    total: Range
    rows: tuple[ClassRow, ...]
    redone: tuple[str, ...]
    missing: tuple[str, ...]
    waiting: Delay = field(repr=False)
    parts: tuple[Part, ...] = field(repr=False)
    exact: Exact = field(repr=False, compare=False)

    @property
    def is_whole(self) -> bool:
        """Whether everything that is redone has a price."""
        return not self.missing

    @property
    def lines(self) -> tuple[Line, ...]:
        """Working of ``direct``, whose likely amounts add to it (before rounding to the cent).

        A line that differs by class shows its mixing; a figure over several features has a line for each of its parts.
        """
        if self.parts:
            return tuple(_write_part_line(part.label, part.weight, part.figure.exact) for part in self.parts)
        return mix_lines([row.weight for row in self.rows], [row.lines for row in self.rows])

    @property
    def delay_working(self) -> str:
        """How the cost of delay was reckoned, in words; for a figure mixed from several, of their mixed weeks."""
        return self.waiting.render_working(self.weeks)


class Part(NamedTuple):
    """One of several cases that exclude each other: whose it is, its chance from 0 to 1, and its figure."""

    label: str
    weight: Decimal
    figure: Figure


def build_figure(
    stage: Stage | None,
    exact: Exact,
    rows: tuple[ClassRow, ...],
    waiting: Delay,
    redone: tuple[str, ...] = (),
    missing: tuple[str, ...] = (),
    parts: tuple[Part, ...] = (),
) -> Figure:
    """Build a figure, rounding its money to the cent."""
    direct, delay, total = round_range(exact.direct), round_range(exact.delay), round_range(exact.total)
    return Figure(stage, direct, exact.weeks, delay, total, rows, redone, missing, waiting, parts, exact)


def build_row(name: ChangeClass | None, weight: Decimal, exact: Exact, lines: tuple[Line, ...]) -> ClassRow:
    """Build a row, rounding its money to the cent."""
    direct, delay, total = round_range(exact.direct), round_range(exact.delay), round_range(exact.total)
    return ClassRow(name, weight, direct, exact.weeks, delay, total, lines, exact)


def mix_exact(parts: Sequence[tuple[Decimal, Exact]]) -> Exact:
    """Mix exact figures of cases that exclude each other; the weights add to 1."""
    if len(parts) == 1:
        return parts[0][1]
    direct, weeks, delay, total = (mix_ranges([(weight, one[place]) for weight, one in parts]) for place in range(4))
    return Exact(direct, weeks, delay, total)


def mix_lines(weights: Sequence[Decimal], lists: Sequence[tuple[Line, ...]]) -> tuple[Line, ...]:
    """Mix lists that hold the same things in the same order into one: likely weighted, low and high over all."""
    if not lists:
        return ()
    if len(lists) == 1:
        return lists[0]
    return tuple(_mix_line(weights, lines) for lines in zip(*lists, strict=True))


def _mix_line(weights: Sequence[Decimal], lines: tuple[Line, ...]) -> Line:
    first = lines[0]
    if all(line is first for line in lines):
        return first
    label = first.label.split(": ")[0]
    parts = [(weight, line.amount) for weight, line in zip(weights, lines, strict=True) if line.amount is not None]
    if len(parts) < len(lines):
        return Line(label, "no price stated for every class", None)
    words = " + ".join(f"{render_number(weight)} x {render_money(amount.likely)}" for weight, amount in parts)
    return Line(label, words, mix_ranges(parts))


def merge_rows(rows: Sequence[ClassRow], lines: tuple[Line, ...] | None = None) -> ClassRow:
    """Mix rows of one class into one: weights add, likely figures are weighted, low and high run over all.

    ``lines``: the working of the mixed row; by default the rows' lines, mixed one by one.
    """
    total = sum((row.weight for row in rows), ZERO)
    shares = [row.weight / total for row in rows]
    exact = mix_exact([(share, row.exact) for share, row in zip(shares, rows, strict=True)])
    working = mix_lines(shares, [row.lines for row in rows]) if lines is None else lines
    return build_row(rows[0].change_class, total, exact, working)


def mix_figures(parts: Sequence[Part], stage: Stage | None, waiting: Delay) -> Figure:
    """Mix figures of cases that exclude each other, such as an error in one feature or in another; weights add to 1.

    Likely is weighted, low and high run over all with a weight above zero; the rows are mixed class by class.
    """
    counted = tuple(part for part in parts if part.weight > 0)
    if len(counted) == 1:
        return counted[0].figure
    exact = mix_exact([(part.weight, part.figure.exact) for part in counted])
    stages = [part.figure.stage for part in counted if part.figure.stage is not None]
    redone = tuple(dict.fromkeys(key for part in counted for key in part.figure.redone))
    missing = tuple(dict.fromkeys(label for part in counted for label in part.figure.missing))
    found = max(stages, default=None) if stage is None else stage
    return build_figure(found, exact, _mix_rows(counted), waiting, redone, missing, counted)


def _mix_rows(parts: Sequence[Part]) -> tuple[ClassRow, ...]:
    gathered: dict[ChangeClass | None, list[tuple[str, Decimal, ClassRow]]] = {}
    for part in parts:
        for row in part.figure.rows:
            gathered.setdefault(row.change_class, []).append((part.label, part.weight * row.weight, row))
    order = sorted(gathered, key=lambda name: -1 if name is None else name.weight_order)
    return tuple(_mix_named(name, gathered[name]) for name in order)


def _mix_named(name: ChangeClass | None, found: Sequence[tuple[str, Decimal, ClassRow]]) -> ClassRow:
    total = sum((weight for _, weight, _ in found), ZERO)
    exact = mix_exact([(weight / total, row.exact) for _, weight, row in found])
    lines = tuple(_write_part_line(label, weight / total, row.exact) for label, weight, row in found)
    return build_row(name, total, exact, lines)


def _write_part_line(label: str, weight: Decimal, exact: Exact) -> Line:
    amount = Range(*(weight * value for value in exact.direct))
    share = render_number(weight.quantize(Decimal("0.0001")))
    return Line(f"error in {label}", f"{share} x {render_money(exact.direct.likely)}", amount)
