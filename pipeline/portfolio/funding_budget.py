"""Other budgets than the stated one: what is promised is always paid first, the rest grows or shrinks."""

from __future__ import annotations

import math
from dataclasses import replace

from pipeline.planning.funding_case import FundingCase, compute_total_cash, replace_budget
from pipeline.portfolio.funding_limits import has_quarter_limit, limit_each_quarter


def compute_promised(case: FundingCase) -> float:
    """Return all payments that were promised before the plan."""
    return math.fsum(q.committed for q in case.quarters)


def find_least_budget(case: FundingCase) -> float:
    """Return the smallest budget in all at which every promised payment can be made in its quarter.

    It is the promised total where the stated budget pays for each quarter in time; else the stated budget scaled up
    until it does. Infinite where cash comes too late at any scale.
    """
    promised, new, scale = 0.0, 0.0, 0.0
    for quarter in case.quarters:
        promised, new = promised + quarter.committed, new + quarter.new_cash
        if promised > 1e-9:
            scale = max(scale, promised / new if new > 0 else math.inf)
    total = compute_total_cash(case)
    if total <= 0:
        return compute_promised(case)
    return compute_promised(case) if scale <= 1 else total * scale


def change_budget(case: FundingCase, budget: float) -> FundingCase:
    """Return the case with `budget` as its new cash in all.

    Below the stated budget the cash that is free after the promised payments shrinks in proportion, so promises stay
    paid; above it every quarter's cash grows in proportion. Raises ValueError for a budget below zero.
    """
    if not budget >= 0:
        raise ValueError(f"a budget of {budget:g} is below zero; give 0 or more")
    total, promised = compute_total_cash(case), compute_promised(case)
    if budget >= total or budget < promised or total <= promised or find_least_budget(case) > total:
        changed = replace_budget(case, budget)
    else:
        share = (budget - promised) / (total - promised)
        quarters = tuple(replace(q, new_cash=q.committed + (q.new_cash - q.committed) * share) for q in case.quarters)
        changed = replace(case, quarters=quarters)
    return limit_each_quarter(changed) if has_quarter_limit(case) else changed


def find_round(amount: float) -> float:
    """Return a round amount near one: 1, 2, 2.5 or 5 times a power of ten.

    >>> find_round(23_000.0), find_round(370.0), find_round(0.0)
    (25000.0, 500.0, 1.0)
    """
    if amount <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(amount))
    return min((step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0)), key=lambda one: abs(math.log(one / amount)))


def build_budget_steps(case: FundingCase, count: int = 14) -> tuple[float, ...]:
    """Return the budgets at which the plan is solved: round amounts, the stated budget and the least one among them.

    They reach from the least budget to a quarter more than the stated one, or than the least.
    """
    own, least = compute_total_cash(case), find_least_budget(case)
    if not math.isfinite(least):
        return (own,)
    top = max(own, least) * 1.25
    if top <= 0:
        top = math.fsum(p for t in case.tools if t.on_hand_from is None for p in t.payments)
    step = find_round((top - least) / count)
    first = math.ceil(least / step)
    steps = {own, *(step * k for k in range(first, math.floor(top / step) + 1))}
    return tuple(sorted({b for b in (*steps, math.ceil(least)) if b > 0 or own == 0}))
