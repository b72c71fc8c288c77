"""Low, likely and high of an amount of money or of weeks, and rounding to the cent."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

CENT = Decimal("0.01")
ZERO = Decimal(0)

Number = Decimal | int | float | str


class Range(NamedTuple):
    """A three-point figure: ``low <= likely <= high``; money in the workspace's currency or weeks.

    It is checked where it enters a record of this room (``check_range``), not at each construction,
    because the ladder makes thousands of them.
    """

    low: Decimal
    likely: Decimal
    high: Decimal


NOTHING = Range(ZERO, ZERO, ZERO)


def to_decimal(value: Number) -> Decimal:
    """Take a number as it is written: a float goes through its shortest text, so 28.4 is 28.4 and not 28.39999.

    >>> to_decimal(28.4)
    Decimal('28.4')
    """
    return value if isinstance(value, Decimal) else Decimal(str(value))


def build_range(low: Number, likely: Number | None = None, high: Number | None = None) -> Range:
    """Build a range from one value (all three equal) or from low, likely and high.

    Raises ``ValueError`` when the three are not in rising order, below zero or not finite.

    >>> build_range(6)
    Range(low=Decimal('6'), likely=Decimal('6'), high=Decimal('6'))
    >>> build_range(1, 2, 3).high
    Decimal('3')
    """
    first = to_decimal(low)
    middle = first if likely is None else to_decimal(likely)
    last = middle if high is None else to_decimal(high)
    found = Range(first, middle, last)
    check_range(found, "this range")
    return found


def check_range(found: Range, name: str) -> None:
    """Raise ``ValueError``, naming ``name``, unless ``0 <= low <= likely <= high`` and all three are finite."""
    low, likely, high = found
    if not (low.is_finite() and likely.is_finite() and high.is_finite()):
        raise ValueError(f"{name} is {low}, {likely}, {high}; write three finite numbers")
    if low < 0:
        raise ValueError(f"{name} starts at {low}, below zero; write a number from 0 up")
    if low > likely or likely > high:
        raise ValueError(f"{name} is low {low}, likely {likely}, high {high}; write them in rising order")


def round_to_cent(amount: Decimal) -> Decimal:
    """Round money to two decimals, halves away from zero.

    >>> round_to_cent(Decimal("323.076923"))
    Decimal('323.08')
    """
    return amount.quantize(CENT, ROUND_HALF_UP)


def round_range(found: Range) -> Range:
    """Round all three figures to the cent."""
    return Range(*(value.quantize(CENT, ROUND_HALF_UP) for value in found))


def add_ranges(ranges: Iterable[Range]) -> Range:
    """Add ranges point by point; nothing gives zero.

    Lows add to lows and highs to highs: the outcome is the widest there can be, as if all went well or badly together.

    >>> add_ranges([build_range(1, 2, 3), build_range(10)]).high
    Decimal('13')
    """
    low = likely = high = ZERO
    for one in ranges:
        low += one[0]
        likely += one[1]
        high += one[2]
    return Range(low, likely, high)


def find_greatest(ranges: Iterable[Range]) -> Range:
    """Find the greatest low, the greatest likely and the greatest high; nothing gives zero."""
    low = likely = high = ZERO
    for one in ranges:
        low, likely, high = max(low, one[0]), max(likely, one[1]), max(high, one[2])
    return Range(low, likely, high)


def mix_ranges(parts: Iterable[tuple[Decimal, Range]]) -> Range:
    """Mix alternatives: the least low, the weighted likely, the greatest high over those whose weight is above zero.

    The weights are taken as they are; they should add to 1. Nothing gives zero.

    >>> mix_ranges([(Decimal("0.75"), build_range(10, 20, 30)), (Decimal("0.25"), build_range(100))])
    Range(low=Decimal('10'), likely=Decimal('40.00'), high=Decimal('100'))
    """
    counted = [(weight, one) for weight, one in parts if weight > 0]
    if not counted:
        return NOTHING
    likely = sum((weight * one[1] for weight, one in counted), ZERO)
    return Range(min(one[0] for _, one in counted), likely, max(one[2] for _, one in counted))


def render_number(value: Decimal) -> str:
    """Write a plain number without needless zeros: 6, 0.5, 1,600.

    >>> render_number(Decimal("6.00")), render_number(Decimal("1600"))
    ('6', '1,600')
    """
    text = f"{value:,f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def render_money(value: Decimal) -> str:
    """Write money with two decimals and thousands apart: 1,600.00."""
    return f"{round_to_cent(value):,f}"


def render_range(found: Range, render: Callable[[Decimal], str] = render_number) -> str:
    """Write a range as one value where all three are equal, else as ``low to high, likely likely``.

    >>> render_range(build_range(2, 3, 5))
    '2 to 5, likely 3'
    """
    if found.low == found.high:
        return render(found.likely)
    return f"{render(found.low)} to {render(found.high)}, likely {render(found.likely)}"
