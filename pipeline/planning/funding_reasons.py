"""Why each tool is in or out of a plan, and in its quarter and no earlier: the one thing that decides it.

A tool that is out is judged in two steps. First one more plan without limits of cash and capacity: what that plan
leaves out too is not out for want of them. Then what the tool needs is added to the plan as it stands: where every
way that gains lacks cash, cash decides, and the least that is missing is named with its quarter; where cash is
there, capacity decides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from pipeline.planning.funding_bundles import (
    Excess,
    Standing,
    Ways,
    build_standing,
    compute_worth_carried,
    find_excess,
    find_ways,
)
from pipeline.planning.funding_case import FundingCase, Tool
from pipeline.planning.funding_faults import describe_empty_window
from pipeline.planning.funding_frontier import lift_cash
from pipeline.planning.funding_plan import FundingPlan, compute_plan
from pipeline.planning.funding_words import render_amount, render_keys, render_quarter


class ReasonKind(StrEnum):
    """What decides that a tool is in, is out, or is not released a quarter earlier."""

    EARNS = "earns its cost"
    MUST = "told to be in"
    ON_HAND = "released already"
    CASH = "cash"
    CAPACITY = "capacity"
    UNPROVEN_GATE = "an unproven gate"
    KEPT_OUT = "kept out by instruction"
    WINDOW = "outside its window"
    WORTH = "worth below zero"
    WAITS_FOR_TOOL = "waits for another tool"
    EITHER_OR = "the other of an either-or"
    NOBODY_NEEDS = "no product needs it"
    AT_ONCE = "released at once"
    NO_GAIN = "nothing gained by earlier"
    NOT_SEARCHED = "search stopped early"


@dataclass(frozen=True)
class Reason:
    """A deciding reason with its figures; those that do not apply are None or empty.

    amount: money or units that are missing, or the worth that is below zero. quarter: where they are missing.
    resource: of what. waits_for: tools that would have to come too, or first.
    """

    kind: ReasonKind
    words: str
    amount: float | None = None
    quarter: int | None = None
    resource: str | None = None
    waits_for: tuple[str, ...] = ()


@dataclass(frozen=True)
class ToolReason:
    """One tool: the quarter of its release (None: out, or on hand), why, what it carries, and why not earlier."""

    tool: str
    quarter: int | None
    why: Reason
    products: tuple[str, ...]
    why_not_earlier: Reason | None = None


@dataclass(frozen=True)
class _Facts:
    """A plan, what it leaves free, and the tools that come in without limits of cash and capacity."""

    standing: Standing
    free: frozenset[str]

    @property
    def case(self) -> FundingCase:
        return self.standing.case

    @property
    def plan(self) -> FundingPlan:
        return self.standing.plan

    def render(self, amount: float) -> str:
        return render_amount(amount, self.case.currency)


def explain_plan(case: FundingCase, plan: FundingPlan, gap: float | None = None) -> tuple[ToolReason, ...]:
    """Return for every tool of a case, in order of keys, the reason for its place in the plan.

    plan: an answer of `compute_plan` for this very case. gap: for the plan without limits, as there.
    """
    without_uses = replace(case, resources=(), tools=tuple(replace(t, uses=()) for t in case.tools))
    free = compute_plan(lift_cash(without_uses), gap).plan
    facts = _Facts(build_standing(case, plan), frozenset() if free is None else frozenset(free.releases))
    return tuple(_explain(facts, tool) for tool in facts.standing.tools.values())


def _explain(facts: _Facts, tool: Tool) -> ToolReason:
    wanted, quarter = facts.standing.users[tool.key], facts.plan.releases.get(tool.key)
    carried = tuple(p for p in wanted if p in facts.plan.launches)
    if tool.on_hand_from is not None:
        return ToolReason(tool.key, None, Reason(ReasonKind.ON_HAND, "It is released already."), carried)
    if quarter is not None:
        why = _explain_in(facts, tool, carried)
        return ToolReason(tool.key, quarter, why, carried, _explain_timing(facts, tool, quarter))
    return ToolReason(tool.key, None, _explain_out(facts, tool, wanted), wanted)


def _explain_in(facts: _Facts, tool: Tool, carried: tuple[str, ...]) -> Reason:
    amount = compute_worth_carried(facts.standing, tool.key)
    carries = f"It carries {render_keys(carried)}" if carried else "It carries nothing in this plan"
    told = "It is told to be in. " if tool.must else ""
    less = f"the plan is worth {facts.render(amount)} less" if amount > 0 else f"{facts.render(-amount)} more is left"
    words = f"{told}{carries}; without it, all else as planned, {less}."
    return Reason(ReasonKind.MUST if tool.must else ReasonKind.EARNS, words, amount)


def _explain_timing(facts: _Facts, tool: Tool, quarter: int) -> Reason:
    if quarter == 0:
        return Reason(ReasonKind.AT_ONCE, "It is released in the first quarter.")
    if quarter == facts.standing.windows[tool.key].first:
        return _explain_window_start(facts, tool)
    excess = find_excess(facts.standing, {tool.key: quarter - 1}, {tool.key: quarter})
    if excess is not None:
        return _render_excess(facts, excess, "A quarter earlier it would take")
    partners = _find_partners(facts.standing, tool)
    stuck = tuple(k for k in partners if _is_stuck(facts, k))
    if stuck:
        words = f"Its products wait for {render_keys(stuck)} anyway."
        return Reason(ReasonKind.WAITS_FOR_TOOL, words, waits_for=stuck)
    together = {k: facts.plan.releases[k] for k in (tool.key, *partners)}
    excess = find_excess(facts.standing, {k: q - 1 for k, q in together.items()}, together) if partners else None
    if excess is not None:
        return _render_excess(
            facts, excess, f"A quarter earlier, with {render_keys(partners)}, it would take", partners
        )
    return Reason(ReasonKind.NO_GAIN, "Releasing it earlier would add no worth.")


def _is_stuck(facts: _Facts, key: str) -> bool:
    """True for a tool that cannot be released earlier than the plan has it, or is on hand from its own date."""
    return key not in facts.plan.releases or facts.plan.releases[key] == facts.standing.windows[key].first


def _explain_window_start(facts: _Facts, tool: Tool) -> Reason:
    start = max(tool.earliest, tool.not_before or 0)
    when = render_quarter(facts.case, start)
    if tool.earliest == start:
        why = tool.earliest_why or "it is not ready"
        return Reason(ReasonKind.UNPROVEN_GATE, f"It can be released from {when}: {why}.", quarter=start)
    return Reason(ReasonKind.WINDOW, f"It is not to be released before {when}.", quarter=start)


def _find_partners(standing: Standing, tool: Tool) -> tuple[str, ...]:
    """Return the other tools that hold back every product of this one; none when it alone holds back a product."""
    found: set[str] = set()
    for product in standing.users[tool.key]:
        lags, start = standing.needs[product].lags, standing.plan.launches.get(product)
        if start is not None:
            last = {k for k, lag in lags.items() if standing.there[k] + lag >= start}
            if last == {tool.key}:
                return ()
            found |= last - {tool.key}
    return tuple(sorted(found))


def _explain_out(facts: _Facts, tool: Tool, wanted: tuple[str, ...]) -> Reason:
    if not wanted:
        return Reason(ReasonKind.NOBODY_NEEDS, "No product needs it.")
    if facts.standing.windows[tool.key].is_empty:
        return _explain_empty_window(facts, tool)
    ways = find_ways(facts.standing, tool.key)
    if not ways.bundles:
        return _explain_no_way(facts, ways)
    if tool.key in facts.free:
        return _explain_short(facts, tool, ways)
    return _explain_unwanted(facts, tool, ways)


def _explain_empty_window(facts: _Facts, tool: Tool) -> Reason:
    words = describe_empty_window(facts.case, tool)
    if tool.must_not:
        return Reason(ReasonKind.KEPT_OUT, words)
    if tool.earliest > facts.standing.windows[tool.key].last:
        return Reason(ReasonKind.UNPROVEN_GATE, words, quarter=tool.earliest)
    return Reason(ReasonKind.WINDOW, words, quarter=tool.not_before)


def _explain_no_way(facts: _Facts, ways: Ways) -> Reason:
    if ways.blockers:
        whys = " ".join(describe_empty_window(facts.case, facts.standing.tools[k]) for k in ways.blockers)
        words = f"It waits for {render_keys(ways.blockers)}. {whys}"
        return Reason(ReasonKind.WAITS_FOR_TOOL, words, waits_for=ways.blockers)
    if ways.rivals:
        return Reason(ReasonKind.EITHER_OR, f"Only one of an either-or is taken, and {render_keys(ways.rivals)} is.")
    return Reason(ReasonKind.KEPT_OUT, "Every product that needs it is kept out by instruction.")


def _explain_short(facts: _Facts, tool: Tool, ways: Ways) -> Reason:
    """Name what the way that is nearest to fitting lacks; where one of them has its cash, that is capacity."""
    short = [(b, b.excess) for b in ways.bundles if b.excess is not None]
    if not short or any(b.gain > 0 and b.excess is None for b in ways.bundles):
        return _explain_fitting(facts, tool, ways)
    gaining = [pair for pair in short if pair[0].gain > 0] or short
    paid = [pair for pair in gaining if pair[1].resource is not None]
    bundle, excess = min(
        paid or gaining, key=lambda pair: (pair[1].amount, -pair[0].gain, pair[0].product, pair[0].quarter)
    )
    others = tuple(k for k in bundle.tools if k != tool.key)
    together = f" together with {render_keys(others)}" if others else ""
    start = f"For {bundle.product}{together} it costs {facts.render(bundle.cost)}, which takes"
    return _render_excess(facts, excess, start, others)


def _explain_fitting(facts: _Facts, tool: Tool, ways: Ways) -> Reason:
    best = max((b for b in ways.bundles if b.excess is None), key=lambda b: (b.gain, b.product, -b.quarter))
    others = tuple(k for k in best.tools if k != tool.key)
    if best.gain > 0 and not facts.plan.is_proven:
        words = (
            f"It would add {facts.render(best.gain)} with {best.product}, but the search ended before it was placed."
        )
        return Reason(ReasonKind.NOT_SEARCHED, words, best.gain, waits_for=others)
    words = f"With {best.product} it would add no worth that counts."
    return Reason(ReasonKind.WORTH, words, best.gain, waits_for=others)


def _render_excess(facts: _Facts, excess: Excess, start: str, waits: tuple[str, ...] = ()) -> Reason:
    last = len(facts.case.quarters) - 1
    when = render_quarter(facts.case, excess.quarter) if excess.quarter <= last else "the time after the plan"
    if excess.resource is None:
        words = f"{start} {facts.render(excess.amount)} more cash than is left; it is missing from {when} on."
        return Reason(ReasonKind.CASH, words, excess.amount, excess.quarter, None, waits)
    words = f"{start} {excess.amount:g} more of {excess.resource} than is left in {when}."
    return Reason(ReasonKind.CAPACITY, words, excess.amount, excess.quarter, excess.resource, waits)


def _explain_unwanted(facts: _Facts, tool: Tool, ways: Ways) -> Reason:
    """Not even a plan without limits takes it: worth, an either-or, or others that do the same better."""
    best = max(ways.bundles, key=lambda b: (b.gain, b.product, -b.quarter))
    others = tuple(k for k in best.tools if k != tool.key)
    if best.gain <= 0:
        words = f"Its best use, {best.product}, would lower the worth of the plan by {facts.render(-best.gain)}."
        return Reason(ReasonKind.WORTH, words, best.gain, None, None, others)
    if best.excess is None:
        return _explain_fitting(facts, tool, ways)
    start = f"With {best.product} it would add {facts.render(best.gain)}, a larger plan does without it; it takes"
    return _render_excess(facts, best.excess, start, others)
