"""Findings about money: rates that are too old, quotes without validity, no volume, payments, prices."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from decimal import Decimal
from itertools import pairwise

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import money as rules
from pipeline.gates.quoted import find_chosen
from pipeline.model.catalogue import MoneyRules, Rate
from pipeline.model.part import Part, Quote
from pipeline.model.quantity import Money
from pipeline.model.words import ToolStep
from pipeline.model.workspace import Workspace

Locate = Callable[[str, Pointer], Location]
Found = tuple[Rule, Pointer, str]

MONEY_PATH = "shared/money.yaml"
_HOLDS_BACK = ("approved finished samples", "delivery")


def check_money(workspace: Workspace, locate: Locate) -> list[Finding]:
    """Return the findings about money of the catalogue and of every part."""
    money = workspace.catalogues.money
    findings = [
        rule.build_finding(locate(MONEY_PATH, pointer), message, pointer=pointer)
        for rule, pointer, message in _check_rates(money)
    ]
    for number, part in workspace.parts.items():
        path = f"projects/{number}/part.yaml"
        findings += [
            rule.build_finding(locate(path, pointer), message, record=number, pointer=pointer)
            for rule, pointer, message in _check_part(part, money, workspace.today)
        ]
    return findings


def _check_rates(money: MoneyRules) -> Iterator[Found]:
    seen: dict[tuple[str, dt.date], int] = {}
    for index, rate in enumerate(money.rates):
        first = seen.setdefault((rate.money, rate.on), index)
        if first != index:
            words = f"{rate.money} has {money.rates[first].rate:g} and {rate.rate:g} on {rate.on}"
            yield rules.RATE_TWICE, ("rates", index), words


def _check_part(part: Part, money: MoneyRules, today: dt.date) -> Iterator[Found]:
    yield from _check_currencies(part, money, today)
    for key, quote in part.quotes.items():
        pointer: Pointer = ("quotes", key)
        if quote.valid_to is None:
            yield rules.NO_VALIDITY, pointer, f"{key} of {quote.from_} does not say until when it holds"
        yield from _check_payments(key, quote)
        yield from _check_breaks(key, quote)
        if quote.order is not None and quote.order < (quote.least_order or 0):
            words = f"{quote.order} pieces at a time; {quote.from_} takes no order under {quote.least_order}"
            yield rules.ORDER_TOO_SMALL, ("quotes", key, "order"), words
    yield from _check_demand(part, money, today)


def _check_currencies(part: Part, money: MoneyRules, today: dt.date) -> Iterator[Found]:
    for pointer, currency in _find_live_currencies(part, today):
        rate = find_last_rate(money, currency, today)
        age = None if rate is None else (today - rate.on).days
        if rate is not None and age is not None and age > money.rate_limit_days:
            words = f"the last rate of {currency} is of {rate.on}, {age} days old; {money.rate_limit_days} are allowed"
            yield rules.RATE_TOO_OLD, pointer, words


def _find_live_currencies(part: Part, today: dt.date) -> Iterator[tuple[Pointer, str]]:
    """Yield the currencies that a sum of today would need: live quotes, tools that are not paid yet, the price."""
    for key, quote in part.quotes.items():
        if quote.valid_to is None or quote.valid_to >= today:
            yield ("quotes", key, "money"), quote.money
    for key, tool in part.tools.items():
        if tool.price is not None and tool.state is not ToolStep.ACCEPTED:
            yield ("tools", key, "price"), tool.price.currency
    if part.demand is not None:
        yield ("demand", "price"), part.demand.price.currency
        if part.demand.cost is not None:
            yield ("demand", "cost"), part.demand.cost.currency


def find_last_rate(money: MoneyRules, currency: str, on: dt.date) -> Rate | None:
    """Return the last rate of a currency by a day; None for the workspace currency, or where there is none."""
    rows = [rate for rate in money.rates if rate.money == currency and rate.on <= on]
    return None if currency == money.currency or not rows else max(rows, key=lambda rate: rate.on)


def _check_payments(key: str, quote: Quote) -> Iterator[Found]:
    steps = [payment.at for payment in quote.pay]
    for index, at in enumerate(steps):
        if at in steps[:index]:
            yield rules.PAYMENT_TWICE, ("quotes", key, "pay", index), f'{key} lists a payment "{at}" twice'
    if quote.pay and quote.tools and not set(steps) & set(_HOLDS_BACK):
        words = f"{key}: the whole tool price is paid by {steps[-1]}"
        yield rules.ALL_PAID_FIRST, ("quotes", key, "pay"), words


def _check_breaks(key: str, quote: Quote) -> Iterator[Found]:
    ordered = sorted((int(quantity), quantity) for quantity in quote.piece)
    for (_, fewer), (_, more) in pairwise(ordered):
        if quote.piece[more] > quote.piece[fewer]:
            words = f"{more} pieces cost {quote.piece[more]:g} each, {fewer} only {quote.piece[fewer]:g}"
            yield rules.PRICE_RISES, ("quotes", key, "piece", more), words


def _check_demand(part: Part, money: MoneyRules, today: dt.date) -> Iterator[Found]:
    demand = part.demand
    if demand is None:
        return
    if demand.per_year.likely == 0:
        yield rules.NO_VOLUME, ("demand", "per_year"), "the likely demand is 0 pieces a year"
    price, cost = _convert(money, demand.price, today), _find_least_cost(part, money, today)
    if price is not None and cost is not None and cost[0] >= price:
        words = f"a good piece costs at least {cost[0]:.2f} {money.currency} ({cost[1]}) and is sold for {price:.2f}"
        yield rules.SOLD_AT_A_LOSS, ("demand", "price"), words


def _convert(money: MoneyRules, amount: Money, on: dt.date) -> Decimal | None:
    if amount.currency == money.currency:
        return amount.amount
    rate = find_last_rate(money, amount.currency, on)
    fresh = rate is not None and (on - rate.on).days <= money.rate_limit_days
    return amount.amount * Decimal(str(rate.rate)) if rate is not None and fresh else None


def _find_least_cost(part: Part, money: MoneyRules, today: dt.date) -> tuple[Decimal, str] | None:
    """Return the least that a good piece can cost, and from where: what a quote leaves out is not even in it."""
    chosen = find_chosen(part)
    quotes = {k: q for k, q in part.quotes.items() if k == chosen or chosen not in part.quotes}
    found = []
    for key, quote in quotes.items():
        piece = _convert(money, Money(amount=Decimal(str(min(quote.piece.values()))), currency=quote.money), today)
        if piece is not None:
            extra = Decimal(str((quote.freight or 0.0) + (quote.secondary or 0.0)))
            landed = (piece * (1 + Decimal(str(quote.duty or 0.0))) + extra) / Decimal(str(quote.yield_ or 1.0))
            found.append((landed, f"quote {key}"))
    if found:
        return min(found)
    own = None if part.demand is None or part.demand.cost is None else _convert(money, part.demand.cost, today)
    return None if own is None else (own, "demand.cost")
