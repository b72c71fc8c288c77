"""Money of records in workspace currency, at dated rates."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from pipeline.costing.money import Amount, Rate, Rates
from pipeline.model.catalogue import Catalogues
from pipeline.model.quantity import Money


def build_rates(catalogues: Catalogues) -> Rates:
    """Return the dated rates of shared/money.yaml; of two rates of one currency and day (a finding) the later line."""
    rules = catalogues.money
    last = {(r.money, r.on): r for r in rules.rates if r.money != rules.currency}
    rows = tuple(Rate(r.money, r.on, Decimal(str(r.rate)), r.source) for r in last.values())
    return Rates(rules.currency, rows, rules.rate_limit_days)


def convert_money(rates: Rates, amount: Decimal | float, currency: str, on: dt.date) -> Decimal | None:
    """Return an amount in workspace currency, None where no rate is young enough.

    Money that cannot be converted is left out and said to be missing; it is never taken at one to one.
    """
    try:
        return rates.convert(Amount(Decimal(str(amount)), currency), on).value
    except ValueError:
        return None


def convert_price(rates: Rates, price: Money | None, on: dt.date) -> Decimal | None:
    """Return a price in workspace currency, None where there is none or no rate for it."""
    return None if price is None else convert_money(rates, price.amount, price.currency, on)
