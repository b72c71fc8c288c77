"""Refuse impossible arguments with a sentence that gives the actual value and what would be right."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from numbers import Integral

Number = float | int | Decimal


def check_finite(value: Number, what: str) -> None:
    """Refuse NaN and infinities.

    Raises:
        ValueError: `value` is not a finite number.

    >>> check_finite(float("nan"), "the price")
    Traceback (most recent call last):
    ...
    ValueError: the price is nan; a finite number is wanted
    """
    if isinstance(value, bool) or not math.isfinite(value):
        raise ValueError(f"{what} is {value}; a finite number is wanted")


def check_not_negative(value: Number, what: str) -> None:
    """Refuse what is below zero or not finite.

    Raises:
        ValueError: `value` < 0, NaN or infinite.

    >>> check_not_negative(-5, "the price of the die")
    Traceback (most recent call last):
    ...
    ValueError: the price of the die is -5; zero or more is wanted
    """
    check_finite(value, what)
    if value < 0:
        raise ValueError(f"{what} is {value}; zero or more is wanted")


def check_positive(value: Number, what: str) -> None:
    """Refuse zero, what is below zero, and what is not finite.

    Raises:
        ValueError: `value` <= 0, NaN or infinite.

    >>> check_positive(0, "the tool life in shots")
    Traceback (most recent call last):
    ...
    ValueError: the tool life in shots is 0; more than zero is wanted
    """
    check_finite(value, what)
    if value <= 0:
        raise ValueError(f"{what} is {value}; more than zero is wanted")


def check_probability(value: Number, what: str) -> None:
    """Refuse what lies outside 0..1.

    Raises:
        ValueError: `value` is not a probability or a share.

    >>> check_probability(1.2, "the yield")
    Traceback (most recent call last):
    ...
    ValueError: the yield is 1.2; a share from 0 to 1 is wanted
    """
    check_finite(value, what)
    if not 0 <= value <= 1:
        raise ValueError(f"{what} is {value}; a share from 0 to 1 is wanted")


def check_count(value: int, what: str, least: int = 0) -> None:
    """Refuse what is not a whole number of at least `least`.

    Raises:
        ValueError: `value` is no int, or too small.

    >>> check_count(0, "the number of draws", least=1)
    Traceback (most recent call last):
    ...
    ValueError: the number of draws is 0; a whole number of 1 or more is wanted
    """
    if isinstance(value, bool) or not isinstance(value, Integral) or value < least:
        raise ValueError(f"{what} is {value}; a whole number of {least} or more is wanted")


def check_shares(shares: Iterable[Number], what: str, tolerance: float = 1e-9) -> None:
    """Refuse shares that do not add up to the whole.

    Raises:
        ValueError: a share lies outside 0..1, or their sum is not 1.

    >>> check_shares([0.4, 0.3], "the payment milestones")
    Traceback (most recent call last):
    ...
    ValueError: the payment milestones add up to 0.7; shares that add up to 1 are wanted
    """
    kept = [float(share) for share in shares]
    for share in kept:
        check_probability(share, f"a share of {what}")
    if abs(math.fsum(kept) - 1) > tolerance:
        raise ValueError(f"{what} add up to {math.fsum(kept):g}; shares that add up to 1 are wanted")
