"""One cell of a spreadsheet as one value of a record: what it says, what was guessed, or why it is refused."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from pipeline.model.part_number import find_number_fault
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.reading.source import find_hidden
from pipeline.reading.spreadsheets import Cell
from pipeline.writing.flow_text import AsTyped
from pipeline.writing.sheets import LIVE

DAY_ORDERS = ("dmy", "mdy", "ymd")


class Refused(ValueError):
    """A cell that says nothing a record can hold, with what would be right."""


@dataclass(frozen=True, slots=True)
class Column:
    """How one column is read.

    to : place in the record, e.g. `name`, `fits.vehicle`, `features.length.nominal`. words : what its words mean here.
    day : order of days written in text. unit : unit of bare numbers. money : currency of bare amounts.
    """

    name: str
    to: str
    words: Mapping[str, str] = field(default_factory=dict)
    day: str | None = None
    unit: str | None = None
    money: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """A value, and what was guessed to get it ("" where nothing was)."""

    value: Any
    guess: str = ""


def read_cell(cell: Cell, column: Column, epoch: dt.date) -> Told:
    """Return what a cell says for its column. Raises Refused."""
    guess = ""
    if cell.is_formula:
        if cell.value is None:
            raise Refused("a formula whose value is not stored; open the sheet, save it, or paste the values")
        guess = "the value that the formula last showed"
    value = column.words.get(str(cell.value).strip(), cell.value) if cell.value is not None else None
    told = find_reader(column.to)(cell, value, column, epoch)
    return Told(told.value, "; ".join(one for one in (guess, told.guess) if one))


Reader = Callable[[Cell, Any, Column, dt.date], Told]


def find_reader(to: str) -> Reader:
    """Return the reader of a place in the record."""
    last = to.rpartition(".")[2]
    if to in ("part", "supersedes"):
        return _read_number
    if to in ("opened", "announce"):
        return _read_day
    if last == "years":
        return _read_years
    if last == "nominal":
        return _read_length
    if last in ("price", "cost"):
        return _read_money
    if last in ("low", "likely", "high", "per_year"):
        return _read_amount
    if to == "confidential" or last == "critical":
        return _read_yes
    return _read_text


def _read_text(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del column, epoch
    text = re.sub(r"\s+", " ", cell.shown or _show(value)).strip()
    guess = "" if text == str(value) else "blanks were tidied" if isinstance(value, str) else "a number taken as text"
    if len(text) > 1 and text[0] == "'" and text[1] in LIVE:
        text, guess = text[1:], ""
    elif text.startswith(LIVE) and not (text[0] == "-" and text[1:2] == " "):
        raise Refused(f'"{text[:30]}" begins like a formula; take the first character away')
    if find_hidden(text) is not None:
        raise Refused("it holds a character that cannot be seen")
    if len(text) > 2000:
        raise Refused(f"{len(text)} characters; at most 2000")
    return Told(text, guess)


def _show(value: Any) -> str:
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value)


def _read_number(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del column, epoch
    if isinstance(value, bool | dt.date):
        raise Refused(f"{value} is not a part number; format the column as text")
    text = cell.shown or _show(value).strip().removeprefix("'")
    made = re.sub(r"[\s_./]+", "-", text.upper()).strip("-")
    if not re.fullmatch(r"[A-Z0-9][A-Z0-9-]{1,23}", made):
        raise Refused(f'"{text[:40]}" is not a part number: capitals, digits and dashes, 2 to 24')
    fault = find_number_fault(made)
    if fault is not None:
        raise Refused(fault)
    if cell.shown is not None:
        return Told(made, f"leading noughts as the sheet shows them: {made}")
    return Told(made, "" if made == text else f'"{text}" written as {made}')


def _read_day(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del cell
    if isinstance(value, dt.date):
        return Told(value)
    if isinstance(value, bool):
        raise Refused("true or false is not a day")
    text = str(value).strip()
    if re.fullmatch(r"\d{5}(\.0+)?", text):
        return _read_serial(float(text), epoch)
    iso = re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ]00:00(?::00)?)?", text)
    if iso:
        return Told(
            _build_day(text, *(int(part) for part in iso.groups())), "" if "-" in text else "read as year first"
        )
    match = re.fullmatch(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4})", text)
    if match is None:
        raise Refused(f'"{text[:30]}" is not a day; write it as 2026-05-20')
    return _read_short_day(text, int(match.group(1)), int(match.group(2)), int(match.group(3)), column.day)


def _read_serial(serial: float, epoch: dt.date) -> Told:
    day = epoch + dt.timedelta(days=int(serial))
    if not 1880 <= day.year <= 2100:
        raise Refused(f"{serial:g} is no day between 1880 and 2100")
    return Told(day, f"day number {serial:g} read as {day}")


def _read_short_day(text: str, first: int, second: int, year: int, order: str | None) -> Told:
    if order is None and first > 12 >= second:
        order = "dmy"
    elif order is None and second > 12 >= first:
        order = "mdy"
    elif order is None and first == second:
        order = "dmy"
    elif order is None:
        raise Refused(f'"{text}" can be two days; say `day: dmy` or `day: mdy` for the column in the map')
    day, month = (first, second) if order == "dmy" else (second, first)
    return Told(_build_day(text, year, month, day), f'"{text}" read as {year:04}-{month:02}-{day:02}')


def _build_day(text: str, year: int, month: int, day: int) -> dt.date:
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise Refused(f'"{text}" is not a day of the calendar') from None


def _read_years(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del cell, column, epoch
    text = re.sub(r"\s*(?:-|–|—|to|/)\s*", "-", _show(value).strip())
    match = re.fullmatch(r"((?:18|19|20)\d{2})(?:-(\d{2}|\d{4}))?", text)
    if match is None:
        raise Refused(f'"{value}" are not years; write 1951-1955')
    first, last = match.group(1), match.group(2)
    if last is None:
        return Told(int(first))
    whole = last if len(last) == 4 else first[:2] + last
    if int(whole) < int(first):
        raise Refused(f'"{value}": the last year is before the first')
    return Told(f"{first}-{whole}", "" if str(value) == f"{first}-{whole}" else f'"{value}" read as {first}-{whole}')


_LENGTH = re.compile(
    r"(?P<whole>-?\d+(?:\.\d+)?)?(?:[ -]?(?P<top>\d+)/(?P<bottom>\d+))?\s*(?P<unit>\"|''|[A-Za-zµ]*)\.?"
)
_UNITS = {
    '"': "in",
    "''": "in",
    "in": "in",
    "inch": "in",
    "inches": "in",
    "mm": "mm",
    "cm": "cm",
    "um": "um",
    "µm": "um",
}


def _read_length(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    """Read a number with its unit; lengths become millimetres, exactly (1 in = 25.4 mm, ISO 80000-3)."""
    del cell, epoch
    if isinstance(value, bool | dt.date):
        raise Refused(f"{value} is not a number; the sheet may have turned it into a day")
    text = _show(value).strip()
    match = _LENGTH.fullmatch(text)
    if match is None or (match["whole"] is None and match["top"] is None):
        hint = "; write a decimal point" if "," in text else ""
        raise Refused(f'"{text[:30]}" is not a number with a unit{hint}')
    if match["bottom"] is not None and int(match["bottom"]) == 0:
        raise Refused(f'"{text}" divides by nothing')
    named = match["unit"]
    if named and named.casefold() not in _UNITS:
        raise Refused(f'"{named}" is not a unit of length that is known here')
    unit = _UNITS[named.casefold()] if named else column.unit
    if unit is None:
        raise Refused(f'"{text}" states no unit; say `unit: mm` or `unit: in` for the column in the map')
    amount = _read_mixed(match)
    size = amount * Decimal(str(LENGTH_UNITS[unit]))
    shown = format(size.quantize(Decimal("0.00001")).normalize(), "f") if unit != "mm" or match["bottom"] else text
    shown = re.sub(r"[^\d.-].*", "", shown)
    return Told(AsTyped(shown), "" if unit == "mm" else f"{text}{'' if named else ' ' + unit} read as {shown} mm")


def _read_mixed(match: re.Match[str]) -> Decimal:
    """Return the number of `4 1/2`: `4` and a half; of `1/2`; of `4.5`."""
    if match["bottom"] is None:
        return Decimal(match["whole"])
    part = Decimal(match["top"]) / Decimal(match["bottom"])
    whole = Decimal(match["whole"] or 0)
    return whole - part if whole < 0 else whole + part


def _read_money(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del cell, epoch
    text = _show(value).strip()
    match = re.fullmatch(r"(\d+(?:,\d{3})*(?:\.\d{1,4})?)(?:\s*([A-Z]{3}))?", text)
    if match is None or isinstance(value, bool | dt.date):
        raise Refused(f'"{text[:30]}" is not money; write 38000 USD')
    currency = match.group(2) or column.money
    if currency is None:
        raise Refused(f'"{text}" states no currency; say `money: USD` for the column in the map')
    amount = match.group(1).replace(",", "")
    guess = "" if match.group(2) and "," not in text else f'"{text}" read as {amount} {currency}'
    return Told(f"{amount} {currency}", guess)


def _read_amount(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del cell, epoch, column
    text = _show(value).strip()
    if isinstance(value, bool | dt.date) or not re.fullmatch(r"\d{1,9}(?:,\d{3})*(?:\.\d+)?", text):
        raise Refused(f'"{text[:30]}" is not a number')
    plain = text.replace(",", "")
    return Told(
        AsTyped(str(int(plain)) if plain.isdigit() else plain), f'"{text}" read as {plain}' if "," in text else ""
    )


def _read_yes(cell: Cell, value: Any, column: Column, epoch: dt.date) -> Told:
    del cell, epoch, column
    text = str(value).strip().casefold()
    if text in ("yes", "y", "true", "x", "1"):
        return Told(True, "" if text in ("yes", "true") else f'"{value}" read as yes')
    if text in ("no", "n", "false", "0"):
        return Told(False, "" if text in ("no", "false") else f'"{value}" read as no')
    raise Refused(f'"{value}" is neither yes nor no')
