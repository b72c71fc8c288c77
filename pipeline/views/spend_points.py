"""A plan at one budget as a page shows it: its quarters, its two drawings, what the next budget changes."""

from __future__ import annotations

from pipeline.planning.funding_account import CashRow
from pipeline.planning.funding_frontier import FrontierPoint
from pipeline.planning.funding_plan import FundingPlan
from pipeline.portfolio.funding_curve import CashCurve
from pipeline.portfolio.funding_quarters import list_quarters
from pipeline.portfolio.spending import Spending
from pipeline.views.shapes_marks import build_line
from pipeline.views.shapes_site import Figure
from pipeline.views.shapes_spend import CashChart, SpendChart, SpendColumn, SpendPoint, SpendQuarter, SpendRelease
from pipeline.views.spend_words import (
    link_set,
    list_releases,
    tidy_words,
    word_amount,
    word_change,
    word_first,
)
from pipeline.views.wording import word_count


def build_points(spending: Spending) -> tuple[SpendPoint, ...]:
    """Return every solved budget, in rising order."""
    points = spending.study.points
    following = [*points[1:], None]
    return tuple(build_point(spending, one, after) for one, after in zip(points, following, strict=True))


def build_point(spending: Spending, point: FrontierPoint, after: FrontierPoint | None) -> SpendPoint:
    """Return one solved budget with what the next one changes."""
    plan, words = point.plan, word_amount(spending, point.budget)
    if plan is None:
        why = tidy_words(" ".join(f"{fault.words} To mend it: {fault.fix}." for fault in point.faults))
        return SpendPoint(
            point.budget, words, "–", why or "No plan fits this budget.", word_next(spending, point, after), (), ()
        )
    added = plan.worth - (spending.study.base or 0.0)
    return SpendPoint(
        point.budget,
        words,
        word_amount(spending, added),
        word_summary(spending, plan),
        word_next(spending, point, after),
        tuple(_build_quarter(spending, plan, row) for row in plan.account.cash[:-1]),
        build_figures(spending, plan),
    )


def word_summary(spending: Spending, plan: FundingPlan) -> str:
    """Return a plan in one sentence."""
    now = list_releases(spending, plan, 0)
    released = f"{word_count(len(plan.releases), 'release')} for {word_amount(spending, plan.spend)}"
    first = spending.funding.case.quarters[0].name
    return f"{released}, {word_count(len(now), 'of them')} in {first}.".replace(" of thems ", " of them ")


def word_next(spending: Spending, point: FrontierPoint, after: FrontierPoint | None) -> str:
    """Return what the next larger solved budget changes."""
    if after is None:
        return "This is the largest budget that was solved."
    more = word_amount(spending, after.budget - point.budget)
    if after.plan is None:
        return f"With {more} more nothing fits yet."
    if point.plan is not None and (point.plan.releases, point.plan.launches) == (
        after.plan.releases,
        after.plan.launches,
    ):
        return f"With {more} more nothing changes."
    change = word_change(spending, point.plan, after.plan)
    gain = "" if point.plan is None else f"; worth {word_amount(spending, after.plan.worth - point.plan.worth)} more"
    return f"With {more} more: {change}{gain}."


def _build_quarter(spending: Spending, plan: FundingPlan, row: CashRow) -> SpendQuarter:
    releases = tuple(
        SpendRelease(
            link_set(one),
            spending.funding.names.get(one.part, ""),
            word_amount(spending, float(one.cost)),
            word_first(spending, one, row.quarter),
        )
        for one in list_releases(spending, plan, row.quarter)
    )
    return SpendQuarter(
        row.name, releases, word_amount(spending, row.committed + row.paid), word_amount(spending, row.left)
    )


def build_figures(spending: Spending, plan: FundingPlan) -> tuple[Figure, ...]:
    """Return the two drawings of a plan: payments under the cash line, and cumulative cash."""
    curve = spending.draw_curve(plan)
    note = (
        "Cash out for tools, promised payments among them, and contributions of the parts of this plan coming in. "
        "Low and high are P10 and P90: one world in ten is below, one above."
    )
    return (
        Figure(build_spend_chart(spending, plan), build_line(_word_cash_note(spending))),
        Figure(build_cash_chart(spending, curve), build_line(note)),
    )


def _word_cash_note(spending: Spending) -> str:
    carry = (
        "What is not spent is carried on." if spending.funding.carries else "What is not spent in its quarter lapses."
    )
    unstated = spending.funding.unstated
    return carry + (f" No budget is stated for {', '.join(unstated)}: taken as 0." if unstated else "")


def build_spend_chart(spending: Spending, plan: FundingPlan) -> SpendChart:
    """Return payments by quarter under the cash that can be spent in it."""
    rows = plan.account.cash[:-1]
    columns = []
    for row in rows:
        count = sum(at == row.quarter for at in plan.releases.values())
        cash = row.left + row.paid + row.committed if spending.funding.carries else row.new_cash
        columns.append(SpendColumn(row.name[2:], row.committed, row.paid, cash, f"{count} new" if count else ""))
    words = "; ".join(
        f"{row.name}: {word_amount(spending, row.committed)} promised, {word_amount(spending, row.paid)} planned, "
        f"{word_amount(spending, row.left)} left"
        for row in rows
    )
    return SpendChart("Payments by quarter under the cash", words + ".", spending.funding.currency, tuple(columns))


def build_cash_chart(spending: Spending, curve: CashCurve) -> CashChart:
    """Return cumulative cash as a range."""
    names = list_quarters(spending.funding.today, len(curve.mean))
    back = (
        "does not come back within these quarters" if curve.back is None else f"is back at zero in {names[curve.back]}"
    )
    words = (
        f"Expected cash is deepest in {names[curve.deepest_at]} at {word_amount(spending, curve.deepest)} and {back}. "
        f"At the end of {names[-1]}: {word_amount(spending, curve.low[-1])} low, "
        f"{word_amount(spending, curve.mean[-1])} expected, {word_amount(spending, curve.high[-1])} high."
    )
    labels = tuple(name[2:] for name in names)
    planned = len(spending.funding.case.quarters)
    return CashChart(
        "Cash added up: low, expected, high", words, spending.funding.currency, labels, curve.low, curve.mean,
        curve.high, planned,
    )  # fmt: skip


def find_own(spending: Spending) -> int:
    """Return the place of the stated budget among the points; -1 where it is not among them."""
    found = [at for at, point in enumerate(spending.study.points) if point.budget == spending.study.own]
    return found[0] if found else -1
