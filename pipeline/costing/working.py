"""One line of working: what is paid for, how it was reckoned, how much; so that a page can open any figure."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.ranges import (
    Number,
    Range,
    build_range,
    check_range,
    render_money,
    render_number,
    render_range,
    round_range,
    to_decimal,
)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of working.

    ``label``: what it is, in words. ``working``: how it was reckoned (``6 h x 75.00``), empty when the amount was
    simply stated.
    ``amount``: money low / likely / high, or ``None`` when no price is stated; that never counts as zero in silence.
    Raises ``ValueError`` on a negative amount or one that is out of order.
    """

    label: str
    working: str
    amount: Range | None

    def __post_init__(self) -> None:
        if self.amount is not None:
            check_range(self.amount, f'the cost of "{self.label}"')


def build_amount_line(label: str, amount: Range | Number | None, working: str = "") -> Line:
    """Build a line from a stated amount; ``None`` says that no price is known.

    >>> build_amount_line("resin print", 380).amount.likely
    Decimal('380.00')
    """
    if amount is None:
        return Line(label, working or "no price stated", None)
    return Line(label, working, round_range(_take(amount)))


def build_hours_line(label: str, hours: Range | Number, rate: Number) -> Line:
    """Build a line of work: hours x rate per hour.

    >>> line = build_hours_line("measure again", 6, 75)
    >>> line.working, line.amount.likely
    ('6 h x 75.00', Decimal('450.00'))
    """
    return build_count_line(label, hours, "h", rate)


def build_count_line(label: str, count: Range | Number, unit: str, each: Number, lost: Number = 1) -> Line:
    """Build a line of so many at so much: ``count`` x ``each``, of which the share ``lost`` (0 to 1) is lost.

    Stock that is scrapped with a salvage of one tenth has ``lost`` 0.9. Raises ``ValueError`` outside 0 to 1 or below
    zero.

    >>> build_count_line("stock scrapped", 300, "pieces", 28.4, lost=0.9).working
    '300 pieces x 28.40 x 0.9'
    """
    quantity, price, share = _take(count), to_decimal(each), to_decimal(lost)
    check_range(quantity, f'the quantity of "{label}"')
    if price < 0:
        raise ValueError(f'the price of "{label}" is {price} per {unit}; write a price from 0 up')
    if not 0 <= share <= 1:
        raise ValueError(f'the lost share of "{label}" is {share}; write a share from 0 to 1')
    working = f"{render_range(quantity)} {unit} x {render_money(price)}"
    if share != 1:
        working += f" x {render_number(share)}"
    return Line(label, working, round_range(Range(*(value * price * share for value in quantity))))


def build_share_line(label: str, share: Range, price: Decimal | None, factor: Range | None = None) -> Line:
    """Build a line that is a share (0 to ...) of a price; a price of ``None`` leaves the amount unknown.

    ``factor``: what the shop's own changes say such an estimate is to be multiplied with, low / likely / high.

    >>> build_share_line("change to die", build_range("0.02", "0.05", "0.08"), Decimal(38000)).amount.likely
    Decimal('1900.00')
    """
    check_range(share, f'the share of "{label}"')
    shares = render_range(share)
    if price is None:
        return Line(label, f"{shares} of the tool's price; no price stated", None)
    if price < 0:
        raise ValueError(f'the price behind "{label}" is {price}; write a price from 0 up')
    working = f"{shares} x {render_money(price)}"
    if factor is None:
        return Line(label, working, round_range(Range(*(value * price for value in share))))
    check_range(factor, f'the factor of "{label}"')
    amount = round_range(Range(*(value * price * times for value, times in zip(share, factor, strict=True))))
    return Line(label, f"{working} x {render_range(factor)} (our own changes)", amount)


def _take(value: Range | Number) -> Range:
    return value if isinstance(value, Range) else build_range(value)
