"""Cash that lapses: a limit on each quarter's payments, where unspent cash is not carried on."""

from __future__ import annotations

from dataclasses import replace

from pipeline.planning.funding_case import FundingCase, Resource, Use

QUARTER_CASH = "cash of the quarter"
"""Key of the limit that stands for cash where what is not spent in a quarter lapses (`carry_over: false`)."""


def limit_each_quarter(case: FundingCase) -> FundingCase:
    """Return the case in which cash that is not spent in its quarter lapses.

    >>> from pipeline.planning.funding_case import Quarter, Tool
    >>> case = FundingCase((Quarter("Q1", 5.0, 2.0), Quarter("Q2", 4.0)), (Tool("die", (3.0, 3.0)),), ())
    >>> limit_each_quarter(case).resources
    (Resource(key='cash of the quarter', capacity=(3.0, 4.0)),)
    """
    capacity = tuple(max(0.0, q.new_cash - q.committed) for q in case.quarters)
    tools = tuple(
        replace(t, uses=(*(u for u in t.uses if u.resource != QUARTER_CASH), Use(QUARTER_CASH, t.payments)))
        for t in case.tools
    )
    others = tuple(r for r in case.resources if r.key != QUARTER_CASH)
    return replace(case, tools=tools, resources=(*others, Resource(QUARTER_CASH, capacity)))


def has_quarter_limit(case: FundingCase) -> bool:
    """True where unspent cash lapses."""
    return any(resource.key == QUARTER_CASH for resource in case.resources)


def lift_quarter_limit(case: FundingCase) -> FundingCase:
    """Return the case without that limit; other resources stay."""
    tools = tuple(replace(t, uses=tuple(u for u in t.uses if u.resource != QUARTER_CASH)) for t in case.tools)
    return replace(case, tools=tools, resources=tuple(r for r in case.resources if r.key != QUARTER_CASH))
