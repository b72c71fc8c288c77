"""Quarters of the calendar, and weeks as quarters of a plan."""

from __future__ import annotations

import datetime as dt
import math

QUARTERS = 8
"""Quarters that a spending plan looks ahead, today's among them."""
WEEKS = 13.0
"""Weeks in a quarter."""


def name_quarter(day: dt.date) -> str:
    """Return the quarter of a day as shared/money.yaml writes it.

    >>> name_quarter(dt.date(2026, 11, 30))
    '2026-Q4'
    """
    return f"{day.year}-Q{(day.month - 1) // 3 + 1}"


def list_quarters(today: dt.date, count: int = QUARTERS) -> tuple[str, ...]:
    """Return the names of quarters from today's on.

    >>> list_quarters(dt.date(2026, 11, 30), 3)
    ('2026-Q4', '2027-Q1', '2027-Q2')
    """
    first = today.year * 4 + (today.month - 1) // 3
    return tuple(f"{at // 4}-Q{at % 4 + 1}" for at in range(first, first + count))


def find_start(name: str) -> dt.date:
    """Return the first day of a quarter.

    >>> find_start("2027-Q2")
    datetime.date(2027, 4, 1)
    """
    return dt.date(int(name[:4]), int(name[-1]) * 3 - 2, 1)


def count_quarters(day: dt.date, today: dt.date) -> int:
    """Return how many quarters after today's a day lies; 0 for today's quarter and all before it.

    >>> count_quarters(dt.date(2027, 1, 4), dt.date(2026, 11, 30))
    1
    """
    quarters = (day.year - today.year) * 4 + (day.month - 1) // 3 - (today.month - 1) // 3
    return max(0, quarters)


def find_offset(weeks: float) -> int:
    """Return in which quarter after a release something happens that takes `weeks`.

    A release is taken to fall in the middle of its quarter, so 6.5 weeks later the next one begins. Common practice
    (no source).

    >>> find_offset(0), find_offset(6), find_offset(14), find_offset(20)
    (0, 0, 1, 2)
    """
    return math.floor((weeks + WEEKS / 2) / WEEKS)


def find_weeks_left(today: dt.date) -> float:
    """Return the weeks that are left of today's quarter.

    >>> round(find_weeks_left(dt.date(2026, 11, 30)), 1)
    4.6
    """
    following = list_quarters(today, 2)[1]
    return (find_start(following) - today).days / 7
