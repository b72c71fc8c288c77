"""Money, chances and weeks as the pages about money write them, and small pieces of tables."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal

from pipeline.costing.errors_left import render_chance, render_count
from pipeline.costing.money import round_money
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.shapes_marks import Cell, Column, Line, Row, Run, Table, Tone, build_line
from pipeline.views.wording import MINUS

COMMON_PRACTICE = "common practice, no source"


def find_currency(file: PartFile) -> str:
    """Return the workspace currency."""
    return file.workspace.catalogues.money.currency


def word_whole(amount: Decimal | float) -> str:
    """Return an estimate of money in whole units, with a true minus: cents would claim what nobody knows.

    >>> word_whole(6378.2), word_whole(-346.4), word_whole(-0.2)
    ('6,378', '−346', '0')
    """
    text = f"{abs(amount):,.0f}"
    return (MINUS if amount < 0 and text != "0" else "") + text


def word_cents(amount: Decimal, currency: str) -> str:
    """Return money that is added up, rounded once to the cent.

    >>> word_cents(Decimal("1234.565"), "USD"), word_cents(Decimal("-0.01"), "USD")
    ('1,234.57', '−0.01')
    """
    rounded = round_money(amount, currency)
    return (MINUS if rounded < 0 else "") + f"{abs(rounded):,}"


def word_range(low: float, likely: float, high: float) -> str:
    """Return low to high with the likely value, or the one value where there is no range.

    >>> word_range(500, 800, 1100), word_range(68, 68, 68)
    ('500 to 1,100, likely 800', '68')
    """
    if low == high:
        return _word_short(likely)
    return f"{_word_short(low)} to {_word_short(high)}, likely {_word_short(likely)}"


def _word_short(value: float) -> str:
    digits = 0 if abs(value) >= 100 or float(value).is_integer() else 2
    return (MINUS if value < 0 else "") + f"{abs(value):,.{digits}f}"


def word_weeks(weeks: float | None) -> str:
    """Return a number of weeks with one decimal where it has one.

    >>> word_weeks(2.0), word_weeks(7.47), word_weeks(math.inf)
    ('2', '7.5', 'any')
    """
    if weeks is None:
        return "–"
    if math.isinf(weeks):
        return "any"
    return f"{weeks:.1f}".removesuffix(".0")


def word_left(mean: float, chance_of_none: float) -> tuple[str, str]:
    """Return the errors expected to be left and the chance of none, as far as they deserve.

    >>> word_left(0.31, 0.862), word_left(0.001, 0.999)
    (('about 0.3', '86 %'), ('less than 0.01', 'over 99 %'))
    """
    count = render_count(mean)
    return (count if count.startswith("less") else f"about {count}"), render_chance(chance_of_none)


def build_row(cells: Iterable[str | Line], strong: bool = False) -> Row:
    """Make a row of a table from texts and lines."""
    tone = Tone.STRONG if strong else Tone.PLAIN
    return Row(tuple(Cell((Run(one, tone),) if isinstance(one, str) else one) for one in cells))


def build_table(
    caption: str, columns: Iterable[Column | str], rows: Iterable[Row], empty: str, csv_href: str = ""
) -> Table:
    """Make a table; a column given as text has no unit and holds text."""
    heads = tuple(Column(one) if isinstance(one, str) else one for one in columns)
    return Table(caption, heads, tuple(rows), empty, csv_href)


def say(text: str, tone: Tone = Tone.PLAIN) -> Line:
    """Make a line of one run; no line of no text."""
    return build_line(Run(text, tone)) if text else ()
