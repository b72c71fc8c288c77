"""The binary program of a funding plan as sparse matrices.

Columns are cumulative: "tool released by quarter t" and "product on sale by quarter t". In this form "a product
needs its tools" is one difference of two columns a quarter, the tightest way to say it (the rows without cash form
a closure problem, whose linear relaxation is integral: Picard 1976, Management Science 22, from memory), and a
shared tool is one set of columns that everything points at, so it is paid once. Columns that cannot be used
(before a window opens, after it closes) do not exist.

Rows and objective are scaled by powers of two, which loses nothing, so that the solver's absolute tolerances mean
the same for a case in single units of money and one in thousands.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pipeline.planning.funding_amounts import (
    compute_nudges,
    compute_paid_by,
    compute_product_worth,
    compute_tie_width,
    compute_tool_cost,
    compute_use,
)
from pipeline.planning.funding_case import FundingCase, Tool, find_value_at
from pipeline.planning.funding_needs import Needs, Window, compute_needs, compute_product_window, compute_tool_window

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


@dataclass(frozen=True)
class Columns:
    """Where the columns of one tool or product start, and the quarters that they stand for."""

    start: int
    window: Window

    def find_at(self, quarter: int) -> int:
        """Return the column that says "by this quarter", which is not before the window opens."""
        return self.start + min(quarter, self.window.last) - self.window.first

    @property
    def final(self) -> int:
        """The column that says "at all"."""
        return self.start + self.window.last - self.window.first


@dataclass(frozen=True)
class Program:
    """Minimise `cost @ x` with `row_lower <= matrix @ x <= row_upper`, `lower <= x <= upper`, x whole where marked.

    The matrix is held by rows (indptr, indices, data). `scale` turns worth into minus the objective. `cash_rows[q]`
    is the row of quarter q (the last one: payments after the last quarter), with its scale in `cash_scales`;
    `resource_rows` the same for (resource, quarter).
    """

    cost: Floats
    lower: Floats
    upper: Floats
    whole: Ints
    indptr: Ints
    indices: Ints
    data: Floats
    row_lower: Floats
    row_upper: Floats
    scale: float
    tie_width: float
    tools: Mapping[str, Columns]
    products: Mapping[str, Columns]
    cash_rows: Mapping[int, int]
    cash_scales: Mapping[int, float]
    resource_rows: Mapping[tuple[str, int], int]
    resource_scales: Mapping[tuple[str, int], float]
    needs: Needs


@dataclass
class _Rows:
    indices: list[int] = field(default_factory=list)
    data: list[float] = field(default_factory=list)
    indptr: list[int] = field(default_factory=lambda: [0])
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)

    def add(self, entries: Mapping[int, float], upper: float, lower: float = -math.inf) -> int:
        self.indices += entries.keys()
        self.data += entries.values()
        return self._close(upper, lower)

    def add_implication(self, if_column: int, then_column: int) -> None:
        self.indices += (if_column, then_column)
        self.data += (1.0, -1.0)
        self._close(0.0, -math.inf)

    def _close(self, upper: float, lower: float) -> int:
        self.indptr.append(len(self.indices))
        self.lower.append(lower)
        self.upper.append(upper)
        return len(self.upper) - 1


def find_scale(largest: float, target: float) -> float:
    """Return the power of two that brings `largest` to between half of `target` and `target`; 1 for zero.

    >>> find_scale(3.0, 100.0)
    32.0
    """
    return 1.0 if largest <= 0 else 2.0 ** math.floor(math.log2(target / largest))


def _spread_increments(
    columns: Columns, value_at: Callable[[int], float], into: dict[int, float], factor: float
) -> None:
    """Add to a row the coefficients that make cumulative columns count `value_at(quarter of the step)` once."""
    window = columns.window
    values = [factor * value_at(t) for t in range(window.first, window.last + 1)]
    for position, value in enumerate(values):
        following = values[position + 1] if position + 1 < len(values) else 0.0
        if value != following:
            into[columns.start + position] = into.get(columns.start + position, 0.0) + value - following


class _Builder:
    """Puts one program together, always in the order of keys, so that the order of records cannot matter."""

    def __init__(self, case: FundingCase, with_nudge: bool) -> None:
        self.case, self.count = case, len(case.quarters)
        self.tool_of = {t.key: t for t in sorted(case.tools, key=lambda t: t.key)}
        self.product_of = {p.key: p for p in sorted(case.products, key=lambda p: p.key)}
        self.needs = compute_needs(case)
        self.windows = {key: compute_tool_window(t, self.count) for key, t in self.tool_of.items()}
        self.width = 0
        self.tools = self._place({k: w for k, w in self.windows.items() if not w.is_empty})
        self.products = self._place(self._find_product_windows())
        self.pairs = self._find_pairs()
        self.rows = _Rows()
        self.tie_width = compute_tie_width(case) if with_nudge else 0.0

    def _place(self, windows: Mapping[str, Window]) -> dict[str, Columns]:
        placed = {}
        for key, window in windows.items():
            placed[key] = Columns(self.width, window)
            self.width += window.last - window.first + 1
        return placed

    def _find_product_windows(self) -> dict[str, Window]:
        windows = {
            key: compute_product_window(product, self.needs[key], self.tool_of, self.windows)
            for key, product in self.product_of.items()
        }
        return {key: self._extend(key, window) for key, window in windows.items() if not window.is_empty}

    def _extend(self, key: str, window: Window) -> Window:
        """Let a sale start later than it could, up to the last quarter, where waiting is worth more."""
        later = range(window.last, max(self.count, window.last + 1))
        worths = [compute_product_worth(self.case, self.product_of[key], quarter) for quarter in later]
        return Window(window.first, window.last + worths.index(max(worths)))

    def _find_pairs(self) -> dict[tuple[str, str], float]:
        pairs: dict[tuple[str, str], float] = {}
        for overlap in sorted(self.case.overlaps, key=lambda o: (*sorted((o.first, o.second)), o.lost)):
            first, second = sorted((overlap.first, overlap.second))
            if first in self.products and second in self.products and overlap.lost > 0:
                pairs[first, second] = pairs.get((first, second), 0.0) + overlap.lost
        return pairs

    def add_orders(self) -> None:
        for columns in (*self.tools.values(), *self.products.values()):
            for position in range(columns.start, columns.final):
                self.rows.add_implication(position, position + 1)
        for key, columns in self.products.items():
            for tool_key, lag in self.needs[key].lags.items():
                self._add_need(columns, self.tool_of[tool_key], lag)

    def _add_need(self, product: Columns, tool: Tool, lag: int) -> None:
        if tool.on_hand_from is not None:
            return
        for quarter in range(product.window.first, product.window.last + 1):
            column = self.tools[tool.key].find_at(quarter - lag - tool.ready_after)  # no sale begins before its tools
            self.rows.add_implication(product.start + quarter - product.window.first, column)

    def add_cash(self) -> tuple[dict[int, int], dict[int, float]]:
        rows, scales, cash = {}, {}, self.case.opening_cash
        for quarter in range(self.count + 1):
            if quarter < self.count:
                cash += self.case.quarters[quarter].new_cash - self.case.quarters[quarter].committed
            entries: dict[int, float] = {}
            for key, columns in self.tools.items():
                tool = self.tool_of[key]
                paid = [compute_paid_by(tool, t, quarter, self.count) for t in range(columns.window.last + 1)]
                _spread_increments(columns, paid.__getitem__, entries, 1.0)
            scale = find_scale(max(map(abs, entries.values()), default=0.0), 128.0)
            rows[quarter] = self.rows.add({k: v * scale for k, v in entries.items()}, cash * scale)
            scales[quarter] = scale
        return rows, scales

    def add_resources(self) -> tuple[dict[tuple[str, int], int], dict[tuple[str, int], float]]:
        rows, scales = {}, {}
        for resource in sorted(self.case.resources, key=lambda r: r.key):
            for quarter in range(self.count):
                entries = self._find_uses(resource.key, quarter)
                if entries:
                    scale = find_scale(max(map(abs, entries.values())), 128.0)
                    room = find_value_at(resource.capacity, quarter) * scale
                    rows[resource.key, quarter] = self.rows.add({k: v * scale for k, v in entries.items()}, room)
                    scales[resource.key, quarter] = scale
        return rows, scales

    def _find_uses(self, resource: str, quarter: int) -> dict[int, float]:
        entries: dict[int, float] = {}
        for key, columns in self.tools.items():
            if any(use.resource == resource for use in self.tool_of[key].uses):
                tool = self.tool_of[key]
                _spread_increments(columns, lambda t, tool=tool: compute_use(tool, resource, t, quarter), entries, 1.0)  # type: ignore[misc]
        return {k: v for k, v in sorted(entries.items()) if v != 0.0}

    def add_either_or(self) -> None:
        for group in sorted(tuple(sorted(set(g.keys))) for g in self.case.either_or):
            taken = sum(1 for k in group if k in self.tool_of and self.tool_of[k].on_hand_from is not None)
            columns = [c for k in group for c in (self.tools.get(k), self.products.get(k)) if c is not None]
            if columns:
                self.rows.add({c.final: 1.0 for c in columns}, float(1 - taken) if taken < 2 else 0.0)

    def add_pairs(self) -> None:
        for position, (first, second) in enumerate(self.pairs):
            loss = self.width + position
            self.rows.add({self.products[first].final: 1.0, self.products[second].final: 1.0, loss: -1.0}, 1.0)

    def build_cost(self) -> Floats:
        worth: dict[int, float] = {}
        nudge = compute_nudges(self.case, self.tie_width)
        for key, columns in self.tools.items():
            tool = self.tool_of[key]
            _spread_increments(
                columns,
                lambda t, tool=tool: compute_tool_cost(tool, t, self.case.discount) + nudge.find_tool(tool.key, t),  # type: ignore[misc]
                worth, -1.0,
            )  # fmt: skip
        for key, columns in self.products.items():
            product = self.product_of[key]
            _spread_increments(
                columns,
                lambda t, product=product: compute_product_worth(self.case, product, t) - nudge.find_product(t),  # type: ignore[misc]
                worth, 1.0,
            )  # fmt: skip
        cost = np.zeros(self.width + len(self.pairs))
        cost[list(worth)] = [-v for v in worth.values()]
        cost[self.width :] = list(self.pairs.values())
        return cost

    def build_bounds(self) -> tuple[Floats, Floats]:
        lower, upper = np.zeros(self.width + len(self.pairs)), np.ones(self.width + len(self.pairs))
        for key, columns in self.tools.items():
            lower[columns.final] = float(self.tool_of[key].must)
        for key, columns in self.products.items():
            lower[columns.final] = float(self.product_of[key].must)
        return lower, upper


def build_program(case: FundingCase, with_nudge: bool = True) -> Program:
    """Build the program of a case that has no blocking faults (`find_case_faults`).

    with_nudge: whether ties are broken within the objective (see `compute_nudges`). Maximises worth less priced
    downside, tool payments brought to today and overlaps; the solver minimises, so the cost is its negative.
    Raises ValueError on a circle of assemblies.
    """
    builder = _Builder(case, with_nudge)
    builder.add_orders()
    cash_rows, cash_scales = builder.add_cash()
    resource_rows, resource_scales = builder.add_resources()
    builder.add_either_or()
    builder.add_pairs()
    cost, (lower, upper) = builder.build_cost(), builder.build_bounds()
    scale = find_scale(float(np.max(np.abs(cost), initial=0.0)), 1024.0)
    whole = np.ones(len(cost), dtype=np.int32)
    whole[builder.width :] = 0  # what an overlap costs follows from the two products
    rows = builder.rows
    return Program(
        cost * scale, lower, upper, whole,
        np.array(rows.indptr, dtype=np.int32), np.array(rows.indices, dtype=np.int32), np.array(rows.data),
        np.array(rows.lower), np.array(rows.upper), scale, builder.tie_width,
        builder.tools, builder.products, cash_rows, cash_scales, resource_rows, resource_scales, builder.needs,
    )  # fmt: skip
