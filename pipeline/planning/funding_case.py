"""What a funding plan is made from: quarters with cash, tools, products, overlaps, limits.

Every amount of money is in one currency and one unit (say thousands of it) throughout a case. Quarters are
counted from 0, the quarter in which the plan is made. `tuple` fields may come in any order: the answer does not
depend on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

__all__ = [
    "EitherOr",
    "FundingCase",
    "Overlap",
    "Product",
    "ProductKind",
    "Quarter",
    "Resource",
    "Tool",
    "Use",
    "compute_total_cash",
    "find_value_at",
    "replace_budget",
    "replace_cash",
]


class ProductKind(StrEnum):
    """What is sold: a part on its own, an assembly of parts, or a kit packed from them."""

    PART = "part"
    ASSEMBLY = "assembly"
    KIT = "kit"


@dataclass(frozen=True)
class Quarter:
    """One quarter of the plan.

    name: what a reader calls it, e.g. "2026 Q3". new_cash: money that becomes free for tooling in this quarter.
    committed: payments of this quarter that were promised before the plan; they are paid first.
    """

    name: str
    new_cash: float
    committed: float = 0.0


@dataclass(frozen=True)
class Use:
    """What releasing a tool takes of one resource: `amounts[k]` in the k-th quarter after release."""

    resource: str
    amounts: tuple[float, ...]


@dataclass(frozen=True)
class Tool:
    """A tool that can be released once, in one quarter.

    payments: money due k quarters after release (deposit, first shots, approval), each 0 or more.
    ready_after: quarters from release until good parts come off the tool.
    earliest: first quarter in which it may be released, with `earliest_why` (the gate or requirement that is not
    proven yet, and its forecast). not_before, not_after: the owner's own window. must, must_not: instructions.
    on_hand_from: set when the tool is released already: the first quarter in which parts come off it. Its open
    payments belong in `Quarter.committed`; `payments` are then ignored.
    """

    key: str
    payments: tuple[float, ...]
    ready_after: int = 0
    uses: tuple[Use, ...] = ()
    earliest: int = 0
    earliest_why: str = ""
    not_before: int | None = None
    not_after: int | None = None
    must: bool = False
    must_not: bool = False
    on_hand_from: int | None = None


@dataclass(frozen=True)
class Product:
    """Something that earns once all that it needs is there.

    tools: keys of the tools it is made with. children: keys of the products it is made from; it needs their tools
    too, whether or not the child is sold on its own. worth[q]: what it earns, tooling payments not deducted, if its
    sale starts in quarter q, as money of today; the last value holds for every later quarter, so one value means
    "the same whenever". downside[q]: the spread that is priced (a standard deviation, or mean less P10), same rule.
    lead: quarters between everything being there and the start of sale.
    """

    key: str
    worth: tuple[float, ...]
    tools: tuple[str, ...] = ()
    children: tuple[str, ...] = ()
    kind: ProductKind = ProductKind.PART
    downside: tuple[float, ...] = (0.0,)
    lead: int = 0
    must: bool = False
    must_not: bool = False


@dataclass(frozen=True)
class Overlap:
    """Worth that is lost once when both products are sold, because each takes sales from the other."""

    first: str
    second: str
    lost: float


@dataclass(frozen=True)
class EitherOr:
    """At most one of these tools and products is taken."""

    keys: tuple[str, ...]


@dataclass(frozen=True)
class Resource:
    """Something scarce besides cash (an engineer's hours, a press for trials): capacity in every quarter."""

    key: str
    capacity: tuple[float, ...]


@dataclass(frozen=True)
class FundingCase:
    """Everything that a plan is made from.

    opening_cash: money on hand at the start. price_on_downside: worth that is given up for one unit of downside
    (0 ignores it). discount: interest for a quarter at which tool payments are brought to today (worths are given
    as money of today). Payments that fall after the last quarter must be covered by the cash that is left then.
    """

    quarters: tuple[Quarter, ...]
    tools: tuple[Tool, ...]
    products: tuple[Product, ...]
    overlaps: tuple[Overlap, ...] = ()
    either_or: tuple[EitherOr, ...] = ()
    resources: tuple[Resource, ...] = ()
    opening_cash: float = 0.0
    price_on_downside: float = 0.0
    discount: float = 0.0
    currency: str = ""


def find_value_at(values: tuple[float, ...], quarter: int) -> float:
    """Return `values[quarter]`, or the last value when the tuple is shorter (one value means: always the same).

    >>> find_value_at((9.0, 8.0), 5)
    8.0
    """
    if not values:
        raise ValueError("a list of values by quarter is empty; give at least one value")
    return values[min(quarter, len(values) - 1)]


def compute_total_cash(case: FundingCase) -> float:
    """Return the budget: new cash of all quarters (opening cash and committed payments are not in it).

    >>> compute_total_cash(FundingCase((Quarter("Q1", 30.0), Quarter("Q2", 15.0)), (), ()))
    45.0
    """
    return sum(quarter.new_cash for quarter in case.quarters)


def replace_budget(case: FundingCase, budget: float) -> FundingCase:
    """Return the case with `budget` as its new cash, spread over the quarters as the case spreads its own.

    budget: total new cash, 0 or more. Where the case has no new cash at all, everything falls in quarter 0.

    >>> case = FundingCase((Quarter("Q1", 30.0), Quarter("Q2", 10.0)), (), ())
    >>> [q.new_cash for q in replace_budget(case, 60).quarters]
    [45.0, 15.0]
    """
    if not budget >= 0:
        raise ValueError(f"a budget of {budget:g} is below zero; give 0 or more")
    total = compute_total_cash(case)
    shares = [q.new_cash / total if total > 0 else float(k == 0) for k, q in enumerate(case.quarters)]
    quarters = tuple(replace(q, new_cash=budget * share) for q, share in zip(case.quarters, shares, strict=True))
    return replace(case, quarters=quarters)


def replace_cash(case: FundingCase, quarter: int, change: float) -> FundingCase:
    """Return the case with `change` more (or, below zero, less) new cash in one quarter.

    >>> replace_cash(FundingCase((Quarter("Q1", 30.0),), (), ()), 0, 1.0).quarters[0].new_cash
    31.0
    """
    if not 0 <= quarter < len(case.quarters):
        raise ValueError(f"quarter {quarter} is not in this plan; it has quarters 0 to {len(case.quarters) - 1}")
    changed = replace(case.quarters[quarter], new_cash=case.quarters[quarter].new_cash + change)
    return replace(case, quarters=(*case.quarters[:quarter], changed, *case.quarters[quarter + 1 :]))
