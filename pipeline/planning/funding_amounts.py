"""What one tool costs and takes, what one product is worth, and how plans of equal worth are told apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.planning.funding_case import FundingCase, Product, Tool, find_value_at
from pipeline.planning.funding_needs import compute_needs

TIE_WIDTH = 1e-5
"""Plans whose worth differs by less than this share of the largest worth or payment in the case count as equal."""


def compute_tool_cost(tool: Tool, quarter: int, discount: float) -> float:
    """Return all payments of a tool released in `quarter`, as money of today (`discount` is interest for a quarter).

    >>> compute_tool_cost(Tool("T1", (50.0, 0.0, 50.0)), 0, 0.0)
    100.0
    """
    return sum(pay / (1.0 + discount) ** (quarter + k) for k, pay in enumerate(tool.payments))


def compute_product_worth(case: FundingCase, product: Product, quarter: int) -> float:
    """Return what counts for the plan: worth less the price on its downside, for a sale that starts in `quarter`.

    >>> p = Product("P", (10.0, 8.0), downside=(4.0,))
    >>> compute_product_worth(FundingCase((), (), (p,), price_on_downside=0.5), p, 1)
    6.0
    """
    return find_value_at(product.worth, quarter) - case.price_on_downside * find_value_at(product.downside, quarter)


def compute_paid_by(tool: Tool, released: int, quarter: int, quarter_count: int) -> float:
    """Return what a tool released in `released` has cost by the end of `quarter`.

    `quarter == quarter_count` stands for the time after the last quarter: everything is paid by then.
    """
    due = len(tool.payments) if quarter >= quarter_count else quarter - released + 1
    return sum(tool.payments[: max(due, 0)])


@dataclass(frozen=True)
class Nudges:
    """The small preferences that choose between plans of equal worth; see `compute_nudges`."""

    tools: Mapping[str, float]
    step: float

    def find_tool(self, key: str, quarter: int) -> float:
        """Return the nudge against releasing this tool in this quarter, as money."""
        return self.tools[key] + self.step * (quarter + 1)

    def find_product(self, quarter: int) -> float:
        """Return the nudge against starting a sale in this quarter, as money."""
        return self.step * (quarter + 1)


def compute_tie_width(case: FundingCase) -> float:
    """Return how far apart in money two plans of "equal worth" can be: TIE_WIDTH of the largest worth or payment.

    >>> compute_tie_width(FundingCase((), (Tool("T", (40.0,)),), (Product("P", (100.0,)),)))
    0.001
    """
    sizes = [abs(v) for p in case.products for v in p.worth] + [sum(t.payments) for t in case.tools]
    return TIE_WIDTH * max(sizes, default=0.0)


def compute_nudges(case: FundingCase, tie_width: float) -> Nudges:
    """Return the preferences between plans of equal worth, all of them together less than `tie_width` of money.

    In order of weight: pay less in all (0.90 of the width); do less, and sooner (0.09); take the tools whose keys come
    first in alphabetical order (0.01). The rule is part of the objective, so that the answer is one and the same plan.
    """
    keys = sorted(t.key for t in case.tools)
    paid = sum(sum(t.payments) for t in case.tools)
    reach = len(case.quarters) + max((max(t.ready_after, t.on_hand_from or 0) for t in case.tools), default=0)
    reach += max((needs.lead for needs in compute_needs(case).values()), default=0)
    count = len(keys) + len(case.products)
    payments = {t.key: sum(t.payments) / paid if paid > 0 else 0.0 for t in case.tools}
    ranks = {key: (rank / len(keys)) ** 2 / len(keys) for rank, key in enumerate(keys, 1)}
    step = 0.09 * tie_width / max(count * reach, 1)
    return Nudges({key: tie_width * (0.90 * payments[key] + 0.01 * ranks[key]) for key in keys}, step)


def compute_use(tool: Tool, resource: str, released: int, quarter: int) -> float:
    """Return what a tool released in `released` takes of a resource in `quarter`.

    >>> from pipeline.planning.funding_case import (Use)
    >>> compute_use(Tool("T", (), uses=(Use("press", (2.0, 5.0)),)), "press", 1, 2)
    5.0
    """
    offset = quarter - released
    return sum(u.amounts[offset] for u in tool.uses if u.resource == resource and 0 <= offset < len(u.amounts))
