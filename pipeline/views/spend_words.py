"""Amounts, dates, releases and reasons of a spending plan in words."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable

from pipeline.planning.funding_plan import FundingPlan
from pipeline.planning.funding_reasons import Reason, ReasonKind, ToolReason
from pipeline.portfolio.funding_quarters import QUARTERS, count_quarters, list_quarters
from pipeline.portfolio.funding_tools import ToolSet
from pipeline.portfolio.spending import Spending
from pipeline.views.addresses import find_part_page
from pipeline.views.money_words import word_whole
from pipeline.views.shapes_marks import Link
from pipeline.views.wording import word_day, word_list

_CENTS = re.compile(r"(?<![\d,.])(\d[\d,]*\.\d+)(?= [A-Z]{3}\b)")
_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def tidy_words(text: str) -> str:
    """Return a sentence of the planning room as a page writes it: whole money, days as the trade writes them.

    >>> tidy_words("it adds 1,234.50 USD; forecast for 2027-01-04")
    'it adds 1,235 USD; forecast for 4 Jan 2027'
    """
    whole = _CENTS.sub(lambda m: f"{float(m.group(1).replace(',', '')) + 1e-9:,.0f}", text)
    return _DAY.sub(lambda m: word_day(dt.date.fromisoformat(m.group(0))), whole)


def word_amount(spending: Spending, amount: float) -> str:
    """Return whole money with its currency."""
    return f"{word_whole(amount)} {spending.funding.currency}"


def word_quarter(spending: Spending, quarter: int) -> str:
    """Return the name of a quarter, also of one after the plan."""
    if quarter < QUARTERS:
        return spending.funding.case.quarters[quarter].name
    return f"after {spending.funding.case.quarters[-1].name}"


def link_set(one: ToolSet) -> Link:
    """Return a set of tools as a link to its part's tools."""
    return Link(one.key, find_part_page(one.part, "tools"))


def word_first(spending: Spending, one: ToolSet, quarter: int) -> str:
    """Return what must come first for a release in a quarter, where that is not yet so; empty where it is."""
    if one.ready.is_now:
        return ""
    if not one.ready.known:
        return one.ready.why
    day = spending.funding.today + dt.timedelta(weeks=one.ready.likely)
    soon = "not proven yet: " if count_quarters(day, spending.funding.today) == quarter else ""
    return tidy_words(f"{soon}{one.ready.why}; {one.ready.word_day(spending.funding.today)}")


def list_releases(spending: Spending, plan: FundingPlan, quarter: int) -> list[ToolSet]:
    """Return the sets that a plan releases in a quarter, dearest first."""
    found = [spending.funding.sets[key] for key, at in plan.releases.items() if at == quarter]
    return sorted(found, key=lambda one: (-one.cost, one.key))


def word_keys(keys: Iterable[str], limit: int = 5) -> str:
    """Return keys of sets in a sentence; none is said as nothing."""
    return word_list(keys, limit) or "nothing"


def find_told(spending: Spending, tool: str) -> str:
    """Return what was said about a set by its part's record or by the asker: "in", "out" or nothing."""
    case, part = spending.funding.case, spending.funding.sets[tool].part
    own = next(t for t in case.tools if t.key == tool)
    product = next((p for p in case.products if p.key == part), None)
    is_shared = spending.funding.sets[tool].shared
    if own.must_not:
        return "out"
    return "in" if own.must or (product is not None and product.must and not is_shared) else ""


def word_reason(spending: Spending, reason: ToolReason) -> str:
    """Return why a set is in its quarter or out, in one or two sentences."""
    why = reason.why
    words = tidy_words(why.words)
    if reason.quarter is not None and find_told(spending, reason.tool) == "in" and why.kind is ReasonKind.EARNS:
        words = _word_told(spending, why, reason.products)
    if reason.why_not_earlier is not None and reason.quarter:
        words += " " + tidy_words(reason.why_not_earlier.words)
    return words


def _word_told(spending: Spending, why: Reason, products: tuple[str, ...]) -> str:
    """Say of what is told to be in what it carries and what it costs or brings."""
    amount = why.amount or 0.0
    carries = f"It carries {word_list(products)}" if products else "It carries nothing in this plan"
    change = "more" if amount < 0 else "less"
    return (
        f"It is told to be in. {carries}; without it, all else as planned, the plan is worth "
        f"{word_amount(spending, abs(amount))} {change}."
    )


def find_moves(before: FundingPlan, after: FundingPlan) -> list[tuple[str, int, int]]:
    """Return the tools that both plans release, in different quarters: key, quarter before, quarter after."""
    both = sorted(before.releases.keys() & after.releases.keys())
    return [(k, before.releases[k], after.releases[k]) for k in both if before.releases[k] != after.releases[k]]


def word_change(spending: Spending, before: FundingPlan | None, after: FundingPlan | None) -> str:
    """Return what differs from one plan to the other: what comes in, goes out, comes earlier, waits."""
    if before is None or after is None:
        return "" if after is None else f"{word_keys(after.releases, 12)} can be released"
    entering = sorted(after.releases.keys() - before.releases.keys())
    leaving = sorted(before.releases.keys() - after.releases.keys())
    moves = find_moves(before, after)
    earlier = [f"{k} ({word_quarter(spending, b)})" for k, a, b in moves if b < a]
    later = [f"{k} ({word_quarter(spending, b)})" for k, a, b in moves if b > a]
    pieces = [
        f"{words} {word_list(keys, 6)}"
        for words, keys in (("in:", entering), ("out:", leaving), ("earlier:", earlier), ("later:", later))
        if keys
    ]
    return "; ".join(pieces)


def word_quarters(spending: Spending) -> str:
    """Return first and last quarter of the plan."""
    names = list_quarters(spending.funding.today)
    return f"{names[0]} to {names[-1]}"
