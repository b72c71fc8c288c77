"""Numbers, days, money and lists as a page writes them: rounded once, here, with unit or currency."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from pipeline.findings.finding import clean_text

if TYPE_CHECKING:
    from pipeline.model.quantity import Limits


MINUS = "\u2212"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_UNITS = {"um": "µm", "deg": "°", "C": "°C", "dE": "ΔE", "none": "", "ShoreA": "Shore A"}


def word_day(day: dt.date | None, year: bool = True) -> str:
    """Return a day as the trade writes it; a dash where there is none.

    >>> word_day(dt.date(2026, 5, 20)), word_day(None)
    ('20 May 2026', '–')
    """
    if day is None:
        return "–"
    return f"{day.day} {_MONTHS[day.month - 1]}" + (f" {day.year}" if year else "")


def word_added(since: dt.date | None, what: str = "added") -> str:
    """Return, to stand behind other words, when an entry was added after gates were decided; nothing for others.

    >>> word_added(dt.date(2026, 4, 1)), word_added(None)
    ('; added on 1 Apr 2026', '')
    """
    return "" if since is None else f"; {what} on {word_day(since)}"


def word_count(count: int, thing: str, plural: str = "") -> str:
    """Return a count with its thing.

    >>> word_count(1, "day"), word_count(3, "body", "bodies")
    ('1 day', '3 bodies')
    """
    return f"{count:,} {thing if count == 1 else plural or thing + 's'}"


def word_ago(day: dt.date | None, today: dt.date) -> str:
    """Return how long ago a day was, or how long it is off.

    >>> word_ago(dt.date(2026, 5, 20), dt.date(2026, 5, 22)), word_ago(dt.date(2026, 5, 23), dt.date(2026, 5, 22))
    ('2 days ago', 'in 1 day')
    """
    if day is None:
        return ""
    days = (today - day).days
    if days == 0:
        return "today"
    return f"{word_count(days, 'day')} ago" if days > 0 else f"in {word_count(-days, 'day')}"


def word_list(names: Iterable[str], limit: int = 4) -> str:
    """Return names for a sentence, at most ``limit`` of them.

    >>> word_list(["F1", "F2", "Q1"]), word_list(["a", "b", "c"], 2)
    ('F1, F2 and Q1', 'a, b and 1 more')
    """
    shown = list(names)
    rest = len(shown) - limit
    if rest > 0:
        return f"{', '.join(shown[:limit])} and {rest} more"
    return shown[0] if len(shown) == 1 else " and ".join((", ".join(shown[:-1]), shown[-1])) if shown else ""


def word_unit(unit: str) -> str:
    """Return a unit as it is printed.

    >>> word_unit("um"), word_unit("mm")
    ('µm', 'mm')
    """
    return _UNITS.get(unit, unit)


def with_unit(text: str, unit: str) -> str:
    """Return a number with its unit; a degree sign of an angle stands close."""
    shown = word_unit(unit)
    return text if not shown else f"{text}{shown}" if shown == "°" else f"{text} {shown}"


def count_decimals(value: float) -> int:
    """Return how many decimals a person wrote.

    >>> count_decimals(112.4), count_decimals(40.0), count_decimals(0.015)
    (1, 0, 3)
    """
    text = f"{Decimal(repr(value)).normalize():f}"
    return len(text.partition(".")[2])


def word_number(value: float, decimals: int | None = None, signed: bool = False) -> str:
    """Return a number with a true minus and thousands apart; as written where no decimals are asked for.

    >>> word_number(-0.25), word_number(0.1, 2, signed=True), word_number(-0.001, 2)
    ('−0.25', '+0.10', '0.00')
    """
    places = min(count_decimals(value), 6) if decimals is None else decimals
    text = f"{abs(value):,.{places}f}"
    if float(text.replace(",", "")) == 0:
        return text
    return (MINUS if value < 0 else "+" if signed else "") + text


def word_limits(limits: Limits | None, decimals: int) -> str:
    """Return limits as deviations: ``±0.25``, ``−0.10 to +0.30``, ``at least +0.10``."""
    if limits is None:
        return "none"
    if limits.lower is None:
        return f"at most {word_number(limits.upper or 0.0, decimals, signed=True)}"
    if limits.upper is None:
        return f"at least {word_number(limits.lower, decimals, signed=True)}"
    if limits.lower == -limits.upper:
        return f"±{word_number(limits.upper, decimals)}"
    low, high = (word_number(one, decimals, signed=True) for one in (limits.lower, limits.upper))
    return f"{low} to {high}"


def word_gap(limits: Limits, unit: str) -> str:
    """Return the limits of a gap with their unit: ``gap 0.30 to 1.20 mm``."""
    found = [one for one in (limits.lower, limits.upper) if one is not None]
    places = max(2 if unit == "mm" else 0, *map(count_decimals, found))
    kind = "interference or gap" if found[0] < 0 else "gap"
    if limits.lower is None or limits.upper is None:
        side = "at most" if limits.lower is None else "at least"
        return f"{kind} {side} {with_unit(word_number(found[0], places), unit)}"
    return f"{kind} {word_number(limits.lower, places)} to {with_unit(word_number(limits.upper, places), unit)}"


def word_span(values: Sequence[float], decimals: int, signed: bool = False) -> str:
    """Return low to high of readings, or the one value."""
    low, high = (word_number(one, decimals, signed) for one in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def word_share(share: float) -> str:
    """Return a share as per cent; what is not nought never reads as nought.

    >>> word_share(0.25), word_share(0.0002), word_share(0.0)
    ('25 %', 'under 0.1 %', '0 %')
    """
    if 0 < share < 0.001:
        return "under 0.1 %"
    return f"{share * 100:.1f}".rstrip("0").rstrip(".") + " %"


def word_money(amount: Decimal | float, currency: str) -> str:
    """Return money with its currency, cents only where there are any.

    >>> word_money(38000, "USD"), word_money(Decimal("6.90"), "USD")
    ('38,000 USD', '6.90 USD')
    """
    value = Decimal(str(amount))
    return f"{value:,.0f} {currency}" if value == value.to_integral_value() else f"{value:,.2f} {currency}"


def write_sentence(text: str) -> str:
    """Return a phrase as a sentence: capital letter and full stop.

    >>> write_sentence("print revision D")
    'Print revision D.'
    """
    clean = clean_text(text, 600).strip()
    return clean if not clean else clean[0].upper() + clean[1:] + ("" if clean[-1] in ".!?…" else ".")


def shorten(text: str, letters: int) -> str:
    """Return a text of at most so many letters.

    >>> shorten("quarter-light hinge", 10)
    'quarter-l…'
    """
    return text if len(text) <= letters else text[: max(letters - 1, 1)].rstrip() + "…"
