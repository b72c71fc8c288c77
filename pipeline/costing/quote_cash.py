"""What a quote asks for and when: cash by milestone and order, and its present value with the payment terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from pipeline.costing.bounds import check_not_negative
from pipeline.costing.quote_sides import Purchase, Side, build_side
from pipeline.costing.quote_terms import Quote
from pipeline.costing.quotes import WEEKS_PER_YEAR, Quantities, compute_lines, divide_up


@dataclass(frozen=True)
class CashLine:
    """Money out at a week after the order, unrounded, in the home currency."""

    week: Decimal
    what: str
    amount: Decimal


def build_cash(quote: Quote, purchase: Purchase, shortest_weeks: Decimal | None = None) -> tuple[CashLine, ...]:
    """What is paid when: tool milestones, samples, orders, refurbishments, stock; points not stated at their cheap end.

    Orders are spread evenly over each year from the first good pieces on and paid after the payment days. Stock costs
    here what is left of its rate after the cost of money, because the money is counted by its dates. In week order.

    Raises:
        ValueError: no fresh rate of a currency.
    """
    side = build_side(quote, purchase)
    shortest = side.weeks if shortest_weeks is None else shortest_weeks
    made, side, money = compute_lines(quote, side, purchase, shortest)
    lines = _list_tool_cash(quote, side)
    lines += [CashLine(side.weeks, name, money[name]) for name in ("samples", "delay")]
    lines.append(CashLine(side.weeks, "duty on the tool", side.tool * side.tool_duty))
    lines += _list_order_cash(quote, side, purchase, made)
    lines += _list_upkeep_cash(side, purchase, made)
    lines += _list_stock_cash(side, purchase, made)
    return tuple(sorted((line for line in lines if line.amount != 0), key=lambda line: (line.week, line.what)))


def _list_tool_cash(quote: Quote, side: Side) -> list[CashLine]:
    if not quote.milestones:
        return [CashLine(side.weeks, "tool", side.tool)]
    return [
        CashLine(side.weeks if step.week is None else step.week, f"tool: {step.at}", side.tool * step.share)
        for step in quote.milestones
    ]


def _list_order_cash(quote: Quote, side: Side, purchase: Purchase, made: Quantities) -> list[CashLine]:
    late = (quote.payment_days.low or Decimal(0)) / 7
    lines, before, wanted = [], 0, 0
    for year, good in enumerate(purchase.good_by_year):
        wanted += good
        until = divide_up(made.bought * wanted, purchase.good)
        pieces, before = until - before, until
        orders = max(1, divide_up(pieces, made.order))
        for number in range(orders):
            week = side.weeks + WEEKS_PER_YEAR * (year + Decimal(number) / orders) + late
            lines.append(CashLine(week, "pieces, landed", pieces * side.landed / orders))
    return lines


def _list_upkeep_cash(side: Side, purchase: Purchase, made: Quantities) -> list[CashLine]:
    """New sets and refurbishments, when their shots are reached if shots are spread evenly over the horizon."""
    span = WEEKS_PER_YEAR * purchase.years
    life = Decimal(made.shots) if side.tool_life is None else side.tool_life
    lines = []
    for number in range(made.sets):
        start = number * life
        if number:
            price = side.tool * (1 + side.tool_duty)
            lines.append(CashLine(side.weeks + span * start / made.shots, "tool: next set", price))
        end = min(start + life, Decimal(made.shots))
        steps = 0 if side.refurbish_every is None else max(0, divide_up(end - start, side.refurbish_every) - 1)
        for step in range(1, steps + 1):
            due = start + step * (side.refurbish_every or Decimal(0))
            lines.append(CashLine(side.weeks + span * due / made.shots, "refurbishment", side.refurbishment))
    return lines


def _list_stock_cash(side: Side, purchase: Purchase, made: Quantities) -> list[CashLine]:
    rate = max(Decimal(0), purchase.holding_rate - purchase.money_rate)
    yearly = made.order / 2 * side.landed / side.yield_share * rate
    return [
        CashLine(side.weeks + WEEKS_PER_YEAR * (year + Decimal("0.5")), "keeping of stock", yearly)
        for year in range(purchase.years)
    ]


def compute_present_value(lines: Sequence[CashLine], money_rate: Decimal) -> Decimal:
    """What payments are worth on the day of the order, unrounded: amount / (1 + rate) ** (week / 52).

    Raises:
        ValueError: the rate is negative.

    >>> compute_present_value([CashLine(Decimal(52), "tool", Decimal(110))], Decimal("0.1"))
    Decimal('100')
    """
    check_not_negative(money_rate, "the cost of money a year")
    growth = 1 + money_rate
    return sum((line.amount / _grow(growth, line.week) for line in lines), Decimal(0))


@lru_cache(maxsize=16384)
def _grow(growth: Decimal, week: Decimal) -> Decimal:
    """Return what one grows to by a week: a broken power takes long, and payments of many offers share their weeks."""
    return growth ** (week / WEEKS_PER_YEAR)
