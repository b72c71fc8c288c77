"""From what a person types to values of a record. Each function raises ValueError with what would be right."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from pydantic import ValidationError

from pipeline.cli.asking import choose, split_list
from pipeline.findings.finding import escape_hidden
from pipeline.model.part_number import find_number_fault
from pipeline.model.quantity import Money, Temperature, Years
from pipeline.reading.source import find_hidden
from pipeline.writing.flow_text import AsTyped

_NUMBER = re.compile(r"[-+]?(?:0|[1-9]\d*)(?:\.\d+)?\Z")
_KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}\Z")
_PART = re.compile(r"[A-Z0-9][A-Z0-9-]{1,23}\Z")


def parse_text(text: str) -> str:
    """Return text of one line, at most 2000 characters."""
    found = text.strip()
    if not found:
        raise ValueError("write something")
    if find_hidden(found) is not None or "\n" in found:
        raise ValueError(f'"{escape_hidden(found)[:60]}" holds a character that cannot be seen')
    if len(found) > 2000:
        raise ValueError(f"{len(found)} characters; at most 2000")
    return found


def parse_key(text: str) -> str:
    """Return a short id."""
    if not _KEY.match(text.strip()):
        raise ValueError(f'"{text}" is not an id: letters, digits, _ . and -, at most 40, e.g. rim_od')
    return text.strip()


def parse_part_number(text: str) -> str:
    """Return a part number."""
    number = text.strip()
    if not _PART.match(number):
        raise ValueError(f'"{text}" is not a part number: capitals, digits and dashes, e.g. TW-101')
    fault = find_number_fault(number)
    if fault is not None:
        raise ValueError(fault)
    return number


def parse_day(text: str) -> dt.date:
    """Return a day."""
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip()):
            raise ValueError
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f'"{text}" is not a day of the calendar; write it as 2026-05-20') from None


def parse_number(text: str) -> AsTyped:
    """Return a number with its digits as they were typed.

    >>> parse_number("+112.40")
    '112.40'
    """
    found = text.strip()
    if not _NUMBER.match(found):
        hint = " (write a decimal point, and no thousands mark)" if "," in found else ""
        raise ValueError(f'"{text}" is not a number{hint}')
    return AsTyped(found.removeprefix("+"))


def parse_not_negative(text: str) -> AsTyped:
    """Return a number that is not below zero."""
    found = parse_number(text)
    if found.startswith("-"):
        raise ValueError(f'"{text}" is below zero')
    return found


def parse_count(text: str) -> int:
    """Return a whole number of at least one."""
    if not re.fullmatch(r"[1-9]\d{0,8}", text.strip()):
        raise ValueError(f'"{text}" is not a whole number of at least 1')
    return int(text)


def parse_years(text: str) -> str:
    """Return years as records write them."""
    try:
        Years.model_validate(text.strip())
    except ValidationError:
        raise ValueError(f'"{text}" are not years; write them as 1951-1955') from None
    return text.strip()


def parse_money(text: str) -> str:
    """Return an amount with its currency as records write it."""
    try:
        Money.model_validate(text.strip())
    except ValidationError:
        raise ValueError(f'"{text}" is not money; write it as 38000 USD') from None
    return text.strip()


def parse_temperature(text: str) -> str:
    """Return a temperature as records write it.

    >>> parse_temperature("20.5C")
    '20.5 C'
    """
    found = re.sub(r"\s*([CF])$", r" \1", text.strip())
    try:
        Temperature.model_validate(found)
    except ValidationError:
        raise ValueError(f'"{text}" is not a temperature; write it as 21.5 C') from None
    return found


def parse_range(text: str) -> list[AsTyped] | AsTyped:
    """Return low, likely, high, or one number for all three."""
    found = [parse_number(one) for one in split_list(text)]
    if len(found) == 1:
        return found[0]
    if len(found) != 3 or not float(found[0]) <= float(found[1]) <= float(found[2]):
        raise ValueError(f'"{text}" is not low, likely, high in rising order, e.g. 500 800 1100')
    return found


def parse_limits(text: str) -> list[AsTyped | None]:
    """Return lower and upper deviation: `-0.25 0.25`, `0 0.6`, or `+-0.25` for both; `-` leaves a side open."""
    even = re.fullmatch(r"\s*(?:\+-|±|\+/-)\s*(\d+(?:\.\d+)?)\s*", text)
    if even:
        return [AsTyped(f"-{even.group(1)}"), AsTyped(even.group(1))]
    parts = split_list(text)
    if len(parts) != 2 or parts == ["-", "-"]:
        raise ValueError(f'"{text}" is not a pair of limits; write -0.25 0.25 or +-0.25')
    found = [None if part == "-" else parse_number(part) for part in parts]
    if found[0] is not None and found[1] is not None and float(found[0]) > float(found[1]):
        raise ValueError(f"the lower limit {found[0]} is above the upper limit {found[1]}")
    return found


def parse_yes(text: str) -> bool:
    """Return yes or no."""
    word = text.strip().casefold()
    if word in ("y", "yes", "true"):
        return True
    if word in ("n", "no", "false"):
        return False
    raise ValueError(f'"{text}" is neither yes nor no')


def parse_one_of(words: Any) -> Any:
    """Return a parser of one word of a list."""
    known = [str(word) for word in words]
    return lambda text: choose(text, known)


def parse_some_of(words: Any, kind: str) -> Any:
    """Return a parser of a list of known ids."""
    known = [str(word) for word in words]

    def parse(text: str) -> list[str]:
        found = split_list(text)
        if not found:
            raise ValueError(f"name at least one {kind}")
        return list(dict.fromkeys(choose(one, known) for one in found))

    return parse


def parse_pairs(text: str) -> dict[str, str]:
    """Return `key=value` pairs separated by commas or semicolons.

    >>> parse_pairs("die=38000, trim=6500")
    {'die': '38000', 'trim': '6500'}
    """
    found: dict[str, str] = {}
    for pair in (one for one in re.split(r"[;,]", text) if one.strip()):
        key, mark, value = pair.partition("=")
        if not mark or not key.strip() or not value.strip():
            raise ValueError(f'"{pair.strip()}" is not `name=value`')
        if key.strip() in found:
            raise ValueError(f"{key.strip()} stands twice")
        found[key.strip()] = value.strip()
    return found


def parse_number_pairs(known: Any, kind: str) -> Any:
    """Return a parser of `id=number` pairs, with ids of a list (any id, if the list is None)."""
    names = None if known is None else [str(one) for one in known]

    def parse(text: str) -> dict[str, AsTyped]:
        pairs = parse_pairs(text)
        if not pairs:
            raise ValueError(f"write {kind}=number")
        return {
            (parse_key(key) if names is None else choose(key, names)): parse_number(value)
            for key, value in pairs.items()
        }

    return parse


def parse_gaps(interfaces: Any) -> Any:
    """Return a parser of gaps: `seat=0.4 0.5; rim=0.6`."""
    names = [str(one) for one in interfaces]

    def parse(text: str) -> dict[str, list[AsTyped]]:
        found: dict[str, list[AsTyped]] = {}
        for pair in (one for one in text.split(";") if one.strip()):
            key, mark, values = pair.partition("=")
            if not mark:
                raise ValueError(f'"{pair.strip()}" is not `interface=gap gap gap`')
            found[choose(key.strip(), names)] = [parse_number(one) for one in split_list(values)]
        if not found or not all(found.values()):
            raise ValueError("write interface=gap gap, e.g. seat=0.4 0.5")
        return found

    return parse


def parse_piece_readings(known: Any) -> Any:
    """Return a parser of readings of several pieces: `rim_od=112.4 112.5, boss_pitch=41.9`.

    A comma, a semicolon or a blank separates; a word with `=` begins the next feature.
    """
    names = [str(one) for one in known]

    def parse(text: str) -> dict[str, list[AsTyped]]:
        found: dict[str, list[AsTyped]] = {}
        key = ""
        for word in re.sub(r"\s*=\s*", "=", text).replace(";", " ").replace(",", " ").split():
            name, mark, value = word.partition("=")
            if mark:
                key = choose(name, names)
                if key in found:
                    raise ValueError(f"{key} stands twice")
                found[key] = []
            elif not key:
                raise ValueError(f'"{word}" is not `feature=value value`')
            if value or not mark:
                found[key].append(parse_number(value if mark else word))
        empty = [name for name, values in found.items() if not values]
        if empty:
            raise ValueError(f"{empty[0]} has no reading")
        return found

    return parse


def parse_limits_or_class(text: str) -> list[AsTyped | None] | str:
    """Return limits as two deviations, or a class that gives them: H7, ISO 2768-m, DCTG 8."""
    from pipeline.fit.stated_limits import is_class

    found = text.strip()
    return found if is_class(found) else parse_limits(found)


def parse_link(text: str, features: Any) -> dict[str, Any]:
    """Return one signed link of a stack: `+ length`, `- coating plate x2`, `- sill depth 12.0 +-0.2` or `- pin 14 g6`.

    >>> parse_link("- sill depth 12.0 +-0.2", ["length"])
    {'name': 'sill depth', 'nominal': '12.0', 'limits': ['-0.2', '0.2'], 'sign': -1}
    """
    from pipeline.fit.stated_limits import is_class

    names = [str(one) for one in features]
    found = re.fullmatch(r"\s*([+-])\s*(\S.*?)\s*", text)
    if found is None:
        raise ValueError(f'"{text}" does not begin with + or -: write + length, - coating plate x2, or - sill 12 +-0.2')
    sign = 1 if found.group(1) == "+" else -1
    words = found.group(2)
    coating = re.fullmatch(r"coating\s+(\S+)(?:\s+x\s*([1-4]))?", words)
    if coating is not None:
        link: dict[str, Any] = {"coating": choose(coating.group(1), names), "sign": sign}
        return {**link, "faces": int(coating.group(2))} if coating.group(2) else link
    by_class = re.fullmatch(r"(\S.*?)\s+([+-]?[\d.]+)\s+(\S.*)", words)
    if by_class is not None and is_class(by_class.group(3)):
        nominal = parse_number(by_class.group(2))
        return {"name": by_class.group(1), "nominal": nominal, "tolerance": by_class.group(3), "sign": sign}
    limits_shown = r"(?:\+-|±|\+/-)\s*\S+|-?[\d.]+\s+[+-]?[\d.]+"
    stated = re.fullmatch(rf"(\S.*?)\s+([+-]?[\d.]+)\s+({limits_shown})", words)
    if stated is not None:
        limits = parse_limits(stated.group(3))
        return {"name": stated.group(1), "nominal": parse_number(stated.group(2)), "limits": limits, "sign": sign}
    return {"feature": choose(words, names), "sign": sign}
