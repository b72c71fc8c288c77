"""What each product needs, tool by tool, through all its assemblies, and when it can be there at the earliest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.planning.funding_case import FundingCase, Product, Tool


@dataclass(frozen=True)
class ProductNeeds:
    """What one product needs, itself and all that it is made from.

    lags: tool key -> quarters from the tool's first good parts to the start of sale. lead: the same where no tool
    is waited for, the sum of leads along the longest way.
    """

    lags: Mapping[str, int]
    lead: int


Needs = Mapping[str, ProductNeeds]
"""Product key -> what it needs."""


@dataclass(frozen=True)
class Window:
    """First and last quarter in which something can happen, both included."""

    first: int
    last: int

    @property
    def is_empty(self) -> bool:
        """True when no quarter is left."""
        return self.last < self.first


def find_assembly_cycle(case: FundingCase) -> tuple[str, ...]:
    """Return the products of one circle of "is made from", in order from its smallest key; empty when there is none.

    >>> a, b = Product("A", (1.0,), children=("B",)), Product("B", (1.0,), children=("A",))
    >>> find_assembly_cycle(FundingCase((), (), (a, b)))
    ('A', 'B')
    """
    children = {p.key: tuple(sorted(set(p.children))) for p in case.products}
    done: set[str] = set()
    for root in sorted(children):
        circle = _walk_for_cycle(root, children, done)
        if circle:
            start = circle.index(min(circle))
            return tuple(circle[start:] + circle[:start])
    return ()


def _walk_for_cycle(root: str, children: Mapping[str, tuple[str, ...]], done: set[str]) -> list[str]:
    path: list[str] = []
    stack: list[tuple[str, int]] = [(root, 0)]
    while stack:
        key, position = stack.pop()
        if position == 0:
            if key in path:
                return path[path.index(key) :]
            if key in done:
                continue
            path.append(key)
        below = children.get(key, ())
        if position < len(below):
            stack += [(key, position + 1), (below[position], 0)]
        else:
            done.add(path.pop())
    return []


def compute_needs(case: FundingCase) -> Needs:
    """Return for each product every tool that it needs, its own and those of what it is made from.

    The figure beside a tool is the number of quarters from the tool's first good parts to the start of sale: the
    leads of all products on the way up, the longest way where there are several. Raises ValueError on a circle.

    >>> kit = Product("kit", (9.0,), tools=("T2",), children=("lens",), lead=1)
    >>> lens = Product("lens", (5.0,), tools=("T1",), lead=1)
    >>> compute_needs(FundingCase((), (), (kit, lens)))["kit"]
    ProductNeeds(lags={'T1': 2, 'T2': 1}, lead=2)
    """
    circle = find_assembly_cycle(case)
    if circle:
        raise ValueError(f"{' is made from '.join((*circle, circle[0]))}: a circle of assemblies")
    products = {p.key: p for p in case.products}
    found: dict[str, ProductNeeds] = {}
    for key in sorted(products):
        _fill_needs(key, products, found)
    return {key: found[key] for key in sorted(products)}


def _fill_needs(root: str, products: Mapping[str, Product], found: dict[str, ProductNeeds]) -> None:
    stack = [root]
    while stack:
        key = stack[-1]
        product = products[key]
        open_children = [c for c in sorted(set(product.children)) if c not in found]
        if open_children and key not in found:
            stack += open_children
            continue
        stack.pop()
        if key not in found:
            found[key] = _merge_needs(product, found)


def _merge_needs(product: Product, found: Mapping[str, ProductNeeds]) -> ProductNeeds:
    lags = dict.fromkeys(set(product.tools), product.lead)
    below = [found[child] for child in set(product.children)]
    for child in below:
        for tool, lag in child.lags.items():
            lags[tool] = max(lags.get(tool, 0), lag + product.lead)
    lead = product.lead + max((child.lead for child in below), default=0)
    return ProductNeeds({key: lags[key] for key in sorted(lags)}, lead)


def compute_tool_window(tool: Tool, quarter_count: int) -> Window:
    """Return the quarters in which a tool can be released; empty when there is none, as for one kept out.

    >>> compute_tool_window(Tool("T1", (5.0,), earliest=2, not_after=4), 8)
    Window(first=2, last=4)
    """
    if tool.must_not or tool.on_hand_from is not None:
        return Window(0, -1)
    first = max(0, tool.earliest, tool.not_before or 0)
    last = quarter_count - 1 if tool.not_after is None else min(quarter_count - 1, tool.not_after)
    return Window(first, last)


def compute_product_window(
    product: Product, needs: ProductNeeds, tools: Mapping[str, Tool], windows: Mapping[str, Window]
) -> Window:
    """Return the quarters in which the sale of a product can start; empty when something that it needs never comes.

    needs: as `compute_needs` gives for this product; windows: release windows of all tools.
    """
    first, last = needs.lead, needs.lead
    for key, lag in needs.lags.items():
        tool, window = tools[key], windows[key]
        if tool.on_hand_from is not None:
            there = max(tool.on_hand_from, 0) + lag
            first, last = max(first, there), max(last, there)
        elif window.is_empty:
            return Window(0, -1)
        else:
            lag += tool.ready_after
            first, last = max(first, window.first + lag), max(last, window.last + lag)
    return Window(0, -1) if product.must_not else Window(first, max(first, last))
