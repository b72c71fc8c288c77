"""Amounts, quarters and lists of keys in words, one way everywhere in the funding plan."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipeline.planning.funding_case import FundingCase


def render_amount(value: float, currency: str = "") -> str:
    """Return an amount with thousands separated and at most two decimals.

    >>> render_amount(1234.5, "USD"), render_amount(-0.001)
    ('1,234.5 USD', '0')
    """
    text = f"{value:,.2f}".rstrip("0").rstrip(".")
    text = "0" if text == "-0" else text.replace("-", "−")
    return f"{text} {currency}".rstrip()


def render_quarter(case: FundingCase, quarter: int) -> str:
    """Return the name of a quarter; quarters after the last one are counted from it.

    >>> from pipeline.planning.funding_case import (Quarter)
    >>> render_quarter(FundingCase((Quarter("2026 Q1", 1.0),), (), ()), 2)
    '2 quarters after 2026 Q1'
    """
    last = len(case.quarters) - 1
    if quarter <= last:
        return case.quarters[max(quarter, 0)].name
    return f"{quarter - last} quarter{'s' if quarter - last > 1 else ''} after {case.quarters[last].name}"


def render_keys(keys: Iterable[str], most: int = 6) -> str:
    """Return keys as a list in words, the first `most` of them named.

    >>> render_keys(["T1", "T2", "T3"]), render_keys(["T1", "T2", "T3"], most=2)
    ('T1, T2 and T3', 'T1, T2 and 1 more')
    """
    names: Sequence[str] = list(keys)
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"
