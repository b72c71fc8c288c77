"""What a quote says, what it leaves out, and what is not wanted: the scope that comes before any sum."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum

from pipeline.costing.bounds import check_count, check_not_negative, check_positive, check_probability, check_shares
from pipeline.costing.money import build_decimal, check_currency

PASS_OR_FAIL = ("tool ownership", "storage", "drawings", "release against payment")
"""Terms that no price makes good: who owns the tool, where it is kept, who holds its drawings, and that it can be taken
away against payment. Common practice (no source)."""


class Scope(Enum):
    """What a quote says of one point."""

    STATED = "stated"
    NOT_STATED = "not stated"
    NOT_WANTED = "not wanted"


@dataclass(frozen=True)
class Said:
    """One point of a quote.

    Attributes:
        scope: stated, not stated, or not wanted (the buyer does without it or does it himself).
        low, high: the value, both alike where it is stated; where it is not, the buyer's own bounds, if he has any.
        currency: where it is not in the quote's own currency; meaningless for shares, counts and weeks.

    Raises:
        ValueError: negative, low above high, or stated without a value.
    """

    scope: Scope
    low: Decimal | None = None
    high: Decimal | None = None
    currency: str | None = None

    def __post_init__(self) -> None:
        for value in (self.low, self.high):
            if value is not None:
                check_not_negative(value, "a value in a quote")
        if self.scope is Scope.STATED and (self.low is None or self.low != self.high):
            raise ValueError("what a quote states needs one value; write 0 only where the quote says that it is free")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"the bounds {self.low} to {self.high} are out of order; the lower one comes first")
        if self.currency is not None:
            check_currency(self.currency)


def build_stated(value: Decimal | int | float | str, currency: str | None = None) -> Said:
    """A point that the quote states.

    Raises:
        ValueError: negative or not finite.

    >>> build_stated("6.90").high
    Decimal('6.90')
    """
    number = build_decimal(value)
    return Said(Scope.STATED, number, number, currency)


def build_not_stated(
    low: Decimal | int | float | str | None = None,
    high: Decimal | int | float | str | None = None,
    currency: str | None = None,
) -> Said:
    """A point that the quote leaves out, with the buyer's bounds where he has any. It never counts as zero.

    Raises:
        ValueError: negative, not finite, or out of order.

    >>> build_not_stated(high=4).scope.value
    'not stated'
    """
    ends = [None if end is None else build_decimal(end) for end in (low, high)]
    return Said(Scope.NOT_STATED, ends[0], ends[1], currency)


def build_not_wanted() -> Said:
    """A point that the buyer does not want from this maker.

    >>> build_not_wanted().scope.value
    'not wanted'
    """
    return Said(Scope.NOT_WANTED)


@dataclass(frozen=True)
class Milestone:
    """A part payment of the tool: what it is due at, its share of the price, and the week after the order.

    `week` is None for what is due when the first good pieces arrive.
    """

    at: str
    share: Decimal
    week: Decimal | None = None

    def __post_init__(self) -> None:
        check_probability(self.share, f'the share due at "{self.at}"')
        if self.week is not None:
            check_not_negative(self.week, f'the week of "{self.at}"')


@dataclass(frozen=True)
class PriceBreak:
    """A lower unit price from an order quantity on, in the quote's currency."""

    quantity: int
    price: Decimal

    def __post_init__(self) -> None:
        check_count(self.quantity, "the quantity of a price break", least=1)
        check_not_negative(self.price, f"the unit price from {self.quantity} pieces")


_UNSAID = build_not_stated()


@dataclass(frozen=True)
class Quote:
    """One maker's quote for the tools and pieces of a part. Every point that is not given is `not stated`.

    Attributes:
        name, currency: of the quote; ISO 4217.
        issued, valid_to: days. A quote without a last day of validity is refused.
        tool: price of one set of tools. samples: first articles, fixtures and the like, once.
        milestones: how the tool is paid; empty is `not stated`.
        weeks: from order to the first good pieces.
        tool_life: shots of one set. refurbish_every: shots between refurbishments. refurbishment: price of one.
        pieces_per_shot: pieces from one shot; 2 where a set makes both hands.
        piece: unit price; breaks: lower ones from a quantity on. minimum_order: pieces. order_quantity: pieces in one
            order as the buyer would place it; a year's need if not given.
        yield_share: good pieces of those paid for, above 0 and up to 1.
        freight, secondary: money for each piece. duty, tool_duty: shares of the piece's and the tool's price.
        payment_days: days after delivery at which pieces are paid.
        terms: for each pass-or-fail term, whether the quote accepts it; a term that is not there is not stated.
        spare: further points for the scope table that carry no money here.

    Raises:
        ValueError: no validity, validity before issue, milestones that do not add up to 1, zero tool life, yield
            outside 0..1, or price breaks that are out of order.
    """

    name: str
    currency: str
    issued: dt.date
    valid_to: dt.date | None
    tool: Said = _UNSAID
    samples: Said = _UNSAID
    milestones: tuple[Milestone, ...] = ()
    weeks: Said = _UNSAID
    tool_life: Said = _UNSAID
    refurbish_every: Said = _UNSAID
    refurbishment: Said = _UNSAID
    pieces_per_shot: int = 1
    piece: Said = _UNSAID
    breaks: tuple[PriceBreak, ...] = ()
    minimum_order: Said = _UNSAID
    order_quantity: int | None = None
    yield_share: Said = _UNSAID
    freight: Said = _UNSAID
    secondary: Said = _UNSAID
    duty: Said = _UNSAID
    tool_duty: Said = _UNSAID
    payment_days: Said = _UNSAID
    terms: Mapping[str, bool] = field(default_factory=dict)
    spare: Mapping[str, Scope] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_currency(self.currency)
        if self.valid_to is None:
            raise ValueError(f'"{self.name}" has no last day of validity; ask the maker until when it holds')
        if self.valid_to < self.issued:
            raise ValueError(f'"{self.name}" is valid to {self.valid_to}, before it was issued on {self.issued}')
        if self.milestones:
            check_shares([step.share for step in self.milestones], f'the payment milestones of "{self.name}"')
        self._check_counts()

    def _check_counts(self) -> None:
        check_count(self.pieces_per_shot, f'the pieces per shot of "{self.name}"', least=1)
        if self.order_quantity is not None:
            check_count(self.order_quantity, f'the order quantity of "{self.name}"', least=1)
        quantities = [step.quantity for step in self.breaks]
        if quantities != sorted(set(quantities)):
            raise ValueError(f'the price breaks of "{self.name}" are at {quantities}; ascending quantities are wanted')
        for value in (self.yield_share.low, self.yield_share.high):
            if value is not None:
                check_probability(value, f'the yield of "{self.name}"')
                check_positive(value, f'the yield of "{self.name}"')
        for what, said in (("tool life", self.tool_life), ("shots between refurbishments", self.refurbish_every)):
            if said.low is not None:
                check_positive(said.low, f'the {what} of "{self.name}"')

    def is_valid_on(self, on: dt.date) -> bool:
        """Whether the quote still holds on a day; its last day counts."""
        return self.valid_to is not None and on <= self.valid_to


POINTS = {
    "tool": "tool price",
    "milestones": "payment milestones",
    "tool_duty": "duty on the tool",
    "samples": "samples",
    "weeks": "weeks to good pieces",
    "tool_life": "tool life",
    "refurbish_every": "shots between refurbishments",
    "refurbishment": "refurbishment",
    "piece": "unit price",
    "minimum_order": "minimum order",
    "yield_share": "yield",
    "duty": "duty on pieces",
    "freight": "freight",
    "secondary": "secondary operations",
    "payment_days": "payment days",
}
"""Points of a quote: attribute of `Quote` and its words."""


def find_scope(quote: Quote, point: str) -> Scope:
    """What the quote says of a point (a key of `POINTS`).

    Raises:
        ValueError: no such point.
    """
    if point not in POINTS:
        raise ValueError(f'"{point}" is no point of a quote; the points are {", ".join(POINTS)}')
    if point == "milestones":
        wanted = quote.tool.scope is not Scope.NOT_WANTED
        return Scope.STATED if quote.milestones else Scope.NOT_STATED if wanted else Scope.NOT_WANTED
    said: Said = getattr(quote, point)
    return said.scope


@dataclass(frozen=True)
class ScopeRow:
    """One row of the scope table: a point in words, and what each quote says of it, in the order of the quotes."""

    point: str
    said: tuple[Scope, ...]

    @property
    def is_even(self) -> bool:
        """Whether all quotes say the same."""
        return len(set(self.said)) <= 1


def build_scope_table(quotes: Sequence[Quote]) -> tuple[ScopeRow, ...]:
    """Scope before money: every point, then every further point that any quote names.

    >>> day = dt.date(2026, 1, 1)
    >>> one = Quote("A", "USD", day, day, tool=build_stated(100))
    >>> [(row.point, row.said[0].value) for row in build_scope_table([one])][:2]
    [('tool price', 'stated'), ('payment milestones', 'not stated')]
    """
    rows = [ScopeRow(words, tuple(find_scope(quote, point) for quote in quotes)) for point, words in POINTS.items()]
    spare = sorted({point for quote in quotes for point in quote.spare})
    rows += [ScopeRow(point, tuple(quote.spare.get(point, Scope.NOT_STATED) for quote in quotes)) for point in spare]
    return tuple(rows)


def find_failed_terms(quote: Quote, wanted: Sequence[str] = PASS_OR_FAIL) -> tuple[str, ...]:
    """The pass-or-fail terms that a quote refuses or does not answer, in words.

    >>> day = dt.date(2026, 1, 1)
    >>> find_failed_terms(Quote("A", "USD", day, day, terms={"tool ownership": False}), ["tool ownership", "storage"])
    ('tool ownership: refused', 'storage: not stated')
    """
    words = []
    for term in wanted:
        answer = quote.terms.get(term)
        if answer is None:
            words.append(f"{term}: not stated")
        elif not answer:
            words.append(f"{term}: refused")
    return tuple(words)


@dataclass(frozen=True)
class Expiring:
    """A quote that runs out: `days` left on the day asked for, 0 on its last day, negative once it has run out."""

    name: str
    valid_to: dt.date
    days: int


def find_expiring(quotes: Sequence[Quote], on: dt.date, within_days: int = 30) -> tuple[Expiring, ...]:
    """The buyer's list: quotes that have run out or will within so many days, the soonest first.

    Raises:
        ValueError: within_days negative.

    >>> quote = Quote("A", "USD", dt.date(2026, 1, 1), dt.date(2026, 2, 1))
    >>> find_expiring([quote], dt.date(2026, 1, 20))[0].days
    12
    """
    check_count(within_days, "the number of days to look ahead")
    rows = [
        Expiring(quote.name, quote.valid_to, (quote.valid_to - on).days)
        for quote in quotes
        if quote.valid_to is not None and (quote.valid_to - on).days <= within_days
    ]
    return tuple(sorted(rows, key=lambda row: (row.valid_to, row.name)))
