"""Quotes on one footing: every line of cost over the horizon, for the same good pieces, in one currency."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal

from pipeline.costing.money import round_money
from pipeline.costing.quote_sides import Purchase, Side, build_side, find_missing
from pipeline.costing.quote_terms import Quote, Scope, find_failed_terms

WEEKS_PER_YEAR = Decimal(52)


@dataclass(frozen=True)
class Quantities:
    """What is made for the good pieces: pieces paid for, one order, shots, tool sets, refurbishments.

    `priced` is the order quantity at which the unit price is read: that of one order, except at an end of a range,
    where a minimum order that is not stated must not make pieces cheaper at the dear end.
    """

    bought: int
    order: Decimal
    priced: Decimal
    shots: int
    sets: int
    refurbishments: int


LINES = {
    "tool": ("tool", "tool_life", "yield_share", "minimum_order"),
    "duty on the tool": ("tool", "tool_duty", "tool_life", "yield_share", "minimum_order"),
    "samples": ("samples",),
    "pieces": ("piece", "yield_share", "minimum_order"),
    "duty on pieces": ("piece", "duty", "yield_share", "minimum_order"),
    "freight": ("freight", "yield_share", "minimum_order"),
    "secondary operations": ("secondary", "yield_share", "minimum_order"),
    "refurbishment": ("refurbishment", "refurbish_every", "tool_life", "yield_share", "minimum_order"),
    "finance of payments before delivery": ("tool", "weeks"),
    "carrying cost of stock": ("piece", "duty", "freight", "secondary", "yield_share", "minimum_order"),
    "delay": ("weeks",),
}
"""Every line of a footing, and the points of the quote that it rests on."""


@dataclass(frozen=True)
class CostLine:
    """One line, unrounded, in the home currency: from `low` to `high`; no high where nothing bounds it."""

    name: str
    low: Decimal
    high: Decimal | None


@dataclass(frozen=True)
class Footing:
    """One quote on the common footing. Amounts are unrounded unless said; round once, when they are shown.

    Attributes:
        name, currency: of the quote; the home currency.
        good: good pieces over the horizon. quantities: at the cheap end.
        landed: one piece at the door. landed_good: the same for each good piece (divided by the yield).
        headline: unit price + tool price / good pieces: what a quick look compares, and should not.
        lines: all lines.
        missing: points that are not stated and that money rests on, in words.
        failed: pass-or-fail terms that are refused or not stated.
    """

    name: str
    currency: str
    good: int
    quantities: Quantities
    landed: Decimal
    landed_good: Decimal
    headline: Decimal
    lines: tuple[CostLine, ...]
    missing: tuple[str, ...]
    failed: tuple[str, ...]

    @property
    def is_complete(self) -> bool:
        """Whether every point that money rests on is stated or not wanted."""
        return not self.missing

    @property
    def low(self) -> Decimal:
        """The least that it can come to, rounded: for an incomplete quote, "at least" this."""
        return round_money(sum((line.low for line in self.lines), Decimal(0)), self.currency)

    @property
    def high(self) -> Decimal | None:
        """The most that it can come to, rounded; None where a missing point has no bound."""
        highs = [line.high for line in self.lines]
        known = [high for high in highs if high is not None]
        return round_money(sum(known, Decimal(0)), self.currency) if len(known) == len(highs) else None

    @property
    def total(self) -> Decimal | None:
        """The total, rounded once; None for an incomplete quote, which has no total but a range."""
        return self.low if self.is_complete else None

    @property
    def per_good(self) -> Decimal | None:
        """The total for each good piece, to four decimals; None for an incomplete quote."""
        if not self.is_complete:
            return None
        return (sum((line.low for line in self.lines), Decimal(0)) / self.good).quantize(Decimal("0.0001"))

    @property
    def rounding(self) -> Decimal:
        """What must be added to the rounded lines to give the rounded total; show it as a line of its own."""
        return self.low - sum((round_money(line.low, self.currency) for line in self.lines), Decimal(0))

    @property
    def tool_share(self) -> Decimal | None:
        """Tool, its duty and refurbishment as a share of the total; None for an incomplete quote."""
        tool = sum((line.low for line in self.lines if line.name in _TOOL_LINES), Decimal(0))
        return tool / self.low if self.is_complete and self.low > 0 else None


_TOOL_LINES = ("tool", "duty on the tool", "refurbishment")


def divide_up(whole: Decimal | int, part: Decimal | int) -> int:
    """How many parts a whole needs, rounded up.

    >>> divide_up(8000, Decimal("0.94"))
    8511
    """
    return int((Decimal(whole) / Decimal(part)).to_integral_value(rounding=ROUND_CEILING))


def compute_quantities(side: Side, pieces_per_shot: int, good: int, years: int) -> Quantities:
    """What must be made and bought for so many good pieces.

    A refurbishment is due each time a set has made so many shots and must go on; a new set needs none at its start.
    """
    bought = max(divide_up(good, side.yield_share), divide_up(side.least_order, 1))
    shots = divide_up(bought, pieces_per_shot)
    sets = 1 if side.tool_life is None else max(1, divide_up(shots, side.tool_life))
    wanted = Decimal(divide_up(bought, years)) if side.wanted_order is None else side.wanted_order
    refurbishments = 0
    if side.refurbish_every is not None:
        life = Decimal(shots) if side.tool_life is None else side.tool_life
        full = divide_up(min(life, Decimal(shots)), side.refurbish_every) - 1
        rest = divide_up(shots - (sets - 1) * life, side.refurbish_every) - 1
        refurbishments = full * (sets - 1) + max(0, rest)
    order = min(max(wanted, side.least_order), Decimal(bought))
    priced = min(max(wanted, side.price_least), Decimal(bought))
    return Quantities(bought, order, priced, shots, sets, refurbishments)


def find_unit_price(quote: Quote, side: Side, order: Decimal) -> Decimal:
    """The unit price at an order quantity, in the home currency: the last price break that the order reaches."""
    reached = [step.price for step in quote.breaks if step.quantity <= order]
    return reached[-1] * side.fx if reached else side.piece


def compute_lines(
    quote: Quote, side: Side, purchase: Purchase, shortest_weeks: Decimal, price_order: Decimal | None = None
) -> tuple[Quantities, Side, dict[str, Decimal]]:
    """The money of every line at one end, unrounded, with the quantities and the side at its reached unit price.

    Args:
        price_order: order quantity at which the unit price is read, where it is not the one that is placed.
    """
    made = compute_quantities(side, quote.pieces_per_shot, purchase.good, purchase.years)
    read_at = made.priced if price_order is None else price_order
    side = replace(side, piece=find_unit_price(quote, side, read_at))
    tool = made.sets * side.tool
    stock = made.order / 2 * side.landed / side.yield_share
    money = {
        "tool": tool,
        "duty on the tool": tool * side.tool_duty,
        "samples": side.samples,
        "pieces": made.bought * side.piece,
        "duty on pieces": made.bought * side.piece * side.duty,
        "freight": made.bought * side.freight,
        "secondary operations": made.bought * side.secondary,
        "refurbishment": made.refurbishments * side.refurbishment,
        "finance of payments before delivery": side.prepaid * side.tool * purchase.money_rate / WEEKS_PER_YEAR,
        "carrying cost of stock": stock * purchase.holding_rate * purchase.years,
        "delay": max(Decimal(0), side.weeks - shortest_weeks) * purchase.delay_per_week,
    }
    return made, side, money


def find_shortest(quotes: Sequence[Quote]) -> Decimal:
    """The fewest weeks to good pieces that any quote states; 0 where none does.

    >>> find_shortest([])
    Decimal('0')
    """
    stated = [quote.weeks.low for quote in quotes if quote.weeks.scope is Scope.STATED]
    return min((weeks for weeks in stated if weeks is not None), default=Decimal(0))


def compute_footing(quote: Quote, purchase: Purchase, shortest_weeks: Decimal | None = None) -> Footing:
    """One quote on the common footing, every line visible.

    Pieces paid for = good pieces / yield, up to a whole piece; shots = those / pieces per shot; a new set of tools when
    the life is used up; stock carried = half an order at its landed cost for each good piece.

    Args:
        shortest_weeks: lead time of the quickest maker; the quote's own if not given (no delay).

    Raises:
        ValueError: no fresh rate of a currency.

    Source: total cost of ownership, common practice (no source).

    >>> import datetime as dt
    >>> from pipeline.costing.money import Rates
    >>> from pipeline.costing.quote_terms import Milestone, build_not_wanted, build_stated
    >>> day, free = dt.date(2026, 1, 1), build_not_wanted()
    >>> quote = Quote("A", "USD", day, day, tool=build_stated(1000), milestones=(Milestone("order", Decimal(1)),),
    ...     samples=free, weeks=build_stated(10), tool_life=free, refurbish_every=free, refurbishment=free,
    ...     piece=build_stated(2), minimum_order=free, yield_share=build_stated("0.8"), freight=free, secondary=free,
    ...     duty=free, tool_duty=free)
    >>> purchase = Purchase((400, 400), Rates("USD"), day, Decimal(0), Decimal(0))
    >>> compute_footing(quote, purchase).total
    Decimal('3000.00')
    """
    cheap = build_side(quote, purchase)
    shortest = cheap.weeks if shortest_weeks is None else shortest_weeks
    missing = find_missing(quote)
    if missing:
        made, at_price, lines = _compute_range(quote, cheap, purchase, shortest)
    else:
        made, at_price, money = compute_lines(quote, cheap, purchase, shortest)
        lines = tuple(CostLine(name, money[name], money[name]) for name in LINES)
    return Footing(
        name=quote.name,
        currency=purchase.rates.home,
        good=purchase.good,
        quantities=made,
        landed=at_price.landed,
        landed_good=at_price.landed / at_price.yield_share,
        headline=at_price.piece + at_price.tool / purchase.good,
        lines=lines,
        missing=missing,
        failed=find_failed_terms(quote, purchase.terms),
    )


def _compute_range(
    quote: Quote, cheap: Side, purchase: Purchase, shortest_weeks: Decimal
) -> tuple[Quantities, Side, tuple[CostLine, ...]]:
    """Lines from the cheap to the dear end. The unit price is read at the largest order for the cheap end and at the
    smallest for the dear one, so that no value within the bounds can lie outside the range."""
    dear = build_side(quote, purchase, dear=True)
    orders = [
        compute_quantities(side, quote.pieces_per_shot, purchase.good, purchase.years).priced for side in (cheap, dear)
    ]
    made, at_price, low = compute_lines(quote, cheap, purchase, shortest_weeks, max(orders))
    top = compute_lines(quote, dear, purchase, shortest_weeks, min(orders))[2]
    lines = tuple(
        CostLine(name, low[name], None if dear.unbounded.intersection(points) else max(low[name], top[name]))
        for name, points in LINES.items()
    )
    return made, at_price, lines
