"""A quote with every point filled in, at its cheap and its dear end, in the home currency."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.bounds import check_count, check_not_negative
from pipeline.costing.money import Rates
from pipeline.costing.quote_terms import PASS_OR_FAIL, POINTS, Quote, Said, Scope, find_scope


@dataclass(frozen=True)
class Purchase:
    """What is bought, the same for all quotes.

    Attributes:
        good_by_year: good pieces wanted in each year of the horizon.
        rates: exchange rates into the home currency. on: the day at which they are looked up.
        money_rate: cost of money a year, fraction. holding_rate: cost of stock a year as a share of its value, the
            money in it included.
        delay_per_week: money lost by each week that good pieces come later than from the quickest maker.
        terms: pass-or-fail terms that are asked for.

    Raises:
        ValueError: zero volume, a negative number.
    """

    good_by_year: tuple[int, ...]
    rates: Rates
    on: dt.date
    money_rate: Decimal
    holding_rate: Decimal
    delay_per_week: Decimal = Decimal(0)
    terms: tuple[str, ...] = PASS_OR_FAIL

    def __post_init__(self) -> None:
        for year, pieces in enumerate(self.good_by_year, start=1):
            check_count(pieces, f"the good pieces of year {year}")
        if sum(self.good_by_year) <= 0:
            raise ValueError("no good piece is wanted in any year; a volume of 1 or more is needed to compare quotes")
        check_not_negative(self.money_rate, "the cost of money a year")
        check_not_negative(self.holding_rate, "the cost of holding stock a year")
        check_not_negative(self.delay_per_week, "the cost of a week of delay")

    @property
    def good(self) -> int:
        """Good pieces over the horizon."""
        return sum(self.good_by_year)

    @property
    def years(self) -> int:
        """Years of the horizon."""
        return len(self.good_by_year)


@dataclass(frozen=True)
class Side:
    """A quote with every point filled in, at its cheap or at its dear end. Money in the home currency."""

    fx: Decimal
    tool: Decimal
    tool_duty: Decimal
    samples: Decimal
    weeks: Decimal
    tool_life: Decimal | None
    refurbish_every: Decimal | None
    refurbishment: Decimal
    piece: Decimal
    least_order: Decimal
    wanted_order: Decimal | None
    price_least: Decimal
    yield_share: Decimal
    duty: Decimal
    freight: Decimal
    secondary: Decimal
    prepaid: Decimal
    unbounded: frozenset[str]

    @property
    def landed(self) -> Decimal:
        """One piece at the door: unit price with duty, freight and secondary operations."""
        return self.piece * (1 + self.duty) + self.freight + self.secondary


def find_missing(quote: Quote) -> tuple[str, ...]:
    """The points that a quote leaves out and that its total rests on, in words.

    >>> day = dt.date(2026, 1, 1)
    >>> find_missing(Quote("A", "USD", day, day))[:2]
    ('tool price', 'payment milestones')
    """
    return tuple(
        words
        for point, words in POINTS.items()
        if point != "payment_days" and find_scope(quote, point) is Scope.NOT_STATED
    )


def build_side(quote: Quote, purchase: Purchase, dear: bool = False, fx: Decimal | None = None) -> Side:
    """Fill every point of a quote at its cheap or dear end, in the home currency.

    Where a point is not stated, the cheap end takes the buyer's lower bound (or the best that is possible: free, no
    scrap, endless tool life); the dear end takes his upper bound, and where he has none the point is put into
    `unbounded` and the lines that rest on it have no high.

    Args:
        dear: which end.
        fx: a rate to use for the quote's currency instead of the dated one, for a sensitivity.

    Raises:
        ValueError: no fresh rate of a currency.
    """
    rate = purchase.rates.find_rate(quote.currency, purchase.on).rate if fx is None else fx
    filled = _Filler(quote, purchase, dear, rate)
    least, most = quote.minimum_order.low, quote.minimum_order.high
    priced_at = (least if dear else most) or Decimal(0)
    weeks = filled.fill("weeks")
    return Side(
        fx=rate,
        tool=filled.fill_money("tool"),
        tool_duty=filled.fill("tool_duty"),
        samples=filled.fill_money("samples"),
        weeks=weeks,
        tool_life=filled.fill_good("tool_life"),
        refurbish_every=filled.fill_good("refurbish_every"),
        refurbishment=filled.fill_money("refurbishment"),
        piece=filled.fill_money("piece"),
        least_order=filled.fill("minimum_order"),
        wanted_order=None if quote.order_quantity is None else Decimal(quote.order_quantity),
        price_least=priced_at,
        yield_share=filled.fill_good("yield_share") or Decimal(1),
        duty=filled.fill("duty"),
        freight=filled.fill_money("freight"),
        secondary=filled.fill_money("secondary"),
        prepaid=_find_prepaid(quote, weeks, dear),
        unbounded=frozenset(filled.unbounded),
    )


class _Filler:
    """Fills points one after another and remembers those that nothing bounds."""

    def __init__(self, quote: Quote, purchase: Purchase, dear: bool, rate: Decimal) -> None:
        self.quote, self.purchase, self.dear, self.rate = quote, purchase, dear, rate
        self.unbounded: list[str] = []

    def fill(self, point: str) -> Decimal:
        """A point of which more costs more."""
        said: Said = getattr(self.quote, point)
        if self.dear and said.scope is Scope.NOT_STATED and said.high is None:
            self.unbounded.append(point)
        end = said.high if self.dear else said.low
        return end if end is not None else said.low if said.low is not None else Decimal(0)

    def fill_good(self, point: str) -> Decimal | None:
        """A point of which more costs less; None for no limit."""
        said: Said = getattr(self.quote, point)
        if self.dear and said.scope is Scope.NOT_STATED and said.low is None:
            self.unbounded.append(point)
        end = said.low if self.dear else said.high
        return end if end is not None else said.high

    def fill_money(self, point: str) -> Decimal:
        """An amount, in the home currency."""
        said: Said = getattr(self.quote, point)
        if said.currency is None or said.currency == self.quote.currency:
            return self.fill(point) * self.rate
        return self.fill(point) * self.purchase.rates.find_rate(said.currency, self.purchase.on).rate


def _find_prepaid(quote: Quote, weeks: Decimal, dear: bool) -> Decimal:
    """Weeks for which the whole tool price is out before delivery: sum of share x weeks early."""
    if not quote.milestones:
        return weeks if dear else Decimal(0)
    early = [step.share * max(Decimal(0), weeks - step.week) for step in quote.milestones if step.week is not None]
    return sum(early, Decimal(0))
