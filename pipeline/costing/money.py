"""Money: decimal amounts with their currency, dated exchange rates, and one rounding at the end."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from pipeline.costing.bounds import check_count, check_finite, check_positive

# ISO 4217 minor units that are not two digits, for the currencies a tool is likely to be bought in.
_MINOR_UNITS = {"JPY": 0, "KRW": 0, "VND": 0, "ISK": 0, "CLP": 0, "KWD": 3, "BHD": 3, "TND": 3}


def build_decimal(value: Decimal | int | float | str) -> Decimal:
    """The decimal that a person would have written: a float goes through its shortest text, not its binary digits.

    Raises:
        ValueError: NaN or infinite.

    >>> build_decimal(0.1)
    Decimal('0.1')
    """
    number = value if isinstance(value, Decimal) else Decimal(str(value))
    check_finite(number, "an amount")
    return number


def round_money(value: Decimal | int | float, currency: str = "USD") -> Decimal:
    """Round half up to the currency's minor unit (a cent, where ISO 4217 gives two digits).

    Use it once, on what is shown. Source: commercial rounding, common practice (no source); digits from ISO 4217.

    >>> round_money(Decimal("2.675"))
    Decimal('2.68')
    >>> round_money(Decimal("2.675"), "JPY")
    Decimal('3')
    """
    digits = _MINOR_UNITS.get(currency, 2)
    return build_decimal(value).quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)


def check_currency(code: str) -> None:
    """Refuse what is not the form of an ISO 4217 code.

    Raises:
        ValueError: not three capital letters.

    >>> check_currency("usd")
    Traceback (most recent call last):
    ...
    ValueError: "usd" is not a currency; three capital letters are wanted (ISO 4217), e.g. USD
    """
    if re.fullmatch(r"[A-Z]{3}", code) is None:
        raise ValueError(f'"{code}" is not a currency; three capital letters are wanted (ISO 4217), e.g. USD')


@dataclass(frozen=True)
class Amount:
    """An amount of one currency, unrounded. Two currencies never add up: convert at a dated rate first.

    >>> Amount(Decimal("12.50"), "USD") + Amount(Decimal("0.255"), "USD")
    Amount(value=Decimal('12.755'), currency='USD')
    """

    value: Decimal
    currency: str

    def __post_init__(self) -> None:
        check_currency(self.currency)
        check_finite(self.value, f"an amount in {self.currency}")

    def _value_of(self, other: Amount) -> Decimal:
        if other.currency != self.currency:
            raise ValueError(
                f"{self.currency} and {other.currency} cannot be mixed; convert one of them at a dated rate first"
            )
        return other.value

    def __add__(self, other: Amount) -> Amount:
        return Amount(self.value + self._value_of(other), self.currency)

    def __lt__(self, other: Amount) -> bool:
        return self.value < self._value_of(other)

    def __str__(self) -> str:
        return f"{round_money(self.value, self.currency):,} {self.currency}"


def compute_sum(amounts: Iterable[Amount], currency: str) -> Amount:
    """The unrounded sum of amounts of one currency (zero of it for none).

    Raises:
        ValueError: an amount is in another currency.

    >>> str(compute_sum([Amount(Decimal("1.005"), "USD"), Amount(Decimal("1.005"), "USD")], "USD"))
    '2.01 USD'
    """
    total = Amount(Decimal(0), currency)
    for amount in amounts:
        total = total + amount
    return total


@dataclass(frozen=True)
class Rate:
    """What one unit of `currency` cost in the home currency on a day, and who said so."""

    currency: str
    on: dt.date
    rate: Decimal
    source: str

    def __post_init__(self) -> None:
        check_currency(self.currency)
        check_positive(self.rate, f"the rate of {self.currency} on {self.on}")
        if not self.source.strip():
            raise ValueError(f"the rate of {self.currency} on {self.on} has no source; say who published it")


@dataclass(frozen=True)
class Rates:
    """Dated exchange rates into one home currency, and how many days old a rate may be.

    >>> rates = Rates("USD", (Rate("EUR", dt.date(2026, 10, 1), Decimal("1.08"), "bank's day list"),), limit_days=30)
    >>> str(rates.convert(Amount(Decimal(100), "EUR"), dt.date(2026, 10, 20)))
    '108.00 USD'
    >>> rates.convert(Amount(Decimal(100), "EUR"), dt.date(2026, 12, 1))
    Traceback (most recent call last):
    ...
    ValueError: the rate of EUR is of 2026-10-01, 61 days before 2026-12-01; one no older than 30 days is wanted
    """

    home: str
    rows: tuple[Rate, ...] = ()
    limit_days: int = 90

    def __post_init__(self) -> None:
        check_currency(self.home)
        check_count(self.limit_days, "the age limit of a rate in days", least=1)
        seen: set[tuple[str, dt.date]] = set()
        for row in self.rows:
            if (row.currency, row.on) in seen:
                raise ValueError(f"{row.currency} has two rates on {row.on}; one a day is wanted")
            seen.add((row.currency, row.on))

    def find_rate(self, currency: str, on: dt.date) -> Rate:
        """The last rate published on or before the day.

        Raises:
            ValueError: no rate by then, or the last one is older than the limit.
        """
        if currency == self.home:
            return Rate(currency, on, Decimal(1), "the home currency")
        rows = [row for row in self.rows if row.currency == currency and row.on <= on]
        if not rows:
            raise ValueError(f"no rate of {currency} into {self.home} by {on}; give one with its day and source")
        last = max(rows, key=lambda row: row.on)
        age = (on - last.on).days
        if age > self.limit_days:
            raise ValueError(
                f"the rate of {currency} is of {last.on}, {age} days before {on}; "
                f"one no older than {self.limit_days} days is wanted"
            )
        return last

    def convert(self, amount: Amount, on: dt.date) -> Amount:
        """The amount in the home currency at the last rate before the day, unrounded.

        Raises:
            ValueError: as `find_rate`.
        """
        return Amount(amount.value * self.find_rate(amount.currency, on).rate, self.home)
