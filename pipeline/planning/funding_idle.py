"""Money that is spent and earns nothing until another tool is there."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.planning.funding_account import find_first_parts
from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_needs import Needs, compute_needs
from pipeline.planning.funding_plan import FundingPlan
from pipeline.planning.funding_words import render_amount, render_keys, render_quarter


@dataclass(frozen=True)
class IdleSpend:
    """A released tool that stands idle: its cost, from when parts could come, from when something earns (None: never
    in this plan), and the tools that are waited for."""

    tool: str
    spent: float
    idle_from: int
    earns_from: int | None
    waits_for: tuple[str, ...]
    words: str


def find_idle_spend(case: FundingCase, plan: FundingPlan) -> tuple[IdleSpend, ...]:
    """Return the tools of a plan that are ready before anything earns with them, in order of keys.

    A tool of which the first product goes on sale as soon as its own parts allow is not idle.
    """
    needs, found = compute_needs(case), []
    for key in sorted(plan.releases):
        idle = _find_idle(case, plan, needs, key)
        if idle is not None:
            found.append(idle)
    return tuple(found)


def _find_idle(case: FundingCase, plan: FundingPlan, needs: Needs, key: str) -> IdleSpend | None:
    ready = find_first_parts(case, key, plan.releases)
    assert ready is not None
    uses = {p: start for p, start in sorted(plan.launches.items()) if key in needs[p].lags}
    if not uses:
        return _render_idle(case, plan, key, ready, None, _find_missing(case, plan, needs, key))
    first = min(uses, key=lambda p: uses[p] - needs[p].lags[key])
    if uses[first] - needs[first].lags[key] <= ready:
        return None
    return _render_idle(case, plan, key, ready, uses[first], _find_late(case, plan, needs, first, uses[first]))


def _find_late(case: FundingCase, plan: FundingPlan, needs: Needs, product: str, start: int) -> tuple[str, ...]:
    lags = needs[product].lags
    there = {k: (find_first_parts(case, k, plan.releases) or 0) + lag for k, lag in lags.items()}
    return tuple(k for k in sorted(lags) if there[k] >= start)


def _find_missing(case: FundingCase, plan: FundingPlan, needs: Needs, key: str) -> tuple[str, ...]:
    """Return what the nearest product of a tool still lacks: fewest tools, then the first key."""
    lacking = [
        tuple(k for k in sorted(needs[p].lags) if find_first_parts(case, k, plan.releases) is None)
        for p in sorted(needs)
        if key in needs[p].lags
    ]
    return min(lacking, key=len, default=())


def _render_idle(
    case: FundingCase, plan: FundingPlan, key: str, ready: int, earns: int | None, waits: tuple[str, ...]
) -> IdleSpend:
    spent = sum(next(t for t in case.tools if t.key == key).payments)
    until = "earns nothing in this plan" if earns is None else f"earns nothing until {render_quarter(case, earns)}"
    money, since = render_amount(spent, case.currency), render_quarter(case, plan.releases[key])
    reason = (
        f"it waits for {render_keys(waits)}" if waits else "a later start is worth more" if earns else "nothing sells"
    )
    return IdleSpend(key, spent, ready, earns, waits, f"{key}: {money} spent from {since} on {until}; {reason}.")
