"""Numbers that travel with their unit: money, three-point estimates, limits, years, weeks."""

import datetime as dt
import re
from decimal import Decimal
from typing import Annotated, Any, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from pipeline.model.part_number import KEPT_NUMBERS, NUMBER_PATTERN, find_number_fault


class Frozen(BaseModel):
    """Base of every type in a record: immutable, no unknown keys, no NaN, no silent conversion."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, strict=True, defer_build=True)


def build_error(kind: str, message: str) -> PydanticCustomError:
    """Return an error that names its kind, so that the reading room can pick the rule without reading the words."""
    return PydanticCustomError("record_" + kind, "{message}", {"message": message})


def refuse_non_number(value: Any) -> Any:
    """Refuse text and true/false where a number is wanted."""
    if isinstance(value, bool):
        raise build_error("number", f"{str(value).lower()} is not a number")
    if isinstance(value, str):
        raise build_error("number", f'"{value}" is not a number')
    return value


def _parse_day(value: Any) -> Any:
    if isinstance(value, dt.date):
        return value
    if not isinstance(value, str):
        raise build_error("day", f"{value!r} is not a day; write it as 2026-05-20")
    try:
        if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
            raise ValueError
        return dt.date.fromisoformat(value)
    except ValueError:
        raise build_error("day", f'"{value}" is not a day of the calendar; write it as 2026-05-20') from None


MAX_NUMBER = 1e12

Number = Annotated[float, Field(ge=-MAX_NUMBER, le=MAX_NUMBER), BeforeValidator(refuse_non_number)]
Positive = Annotated[float, Field(gt=0, le=MAX_NUMBER), BeforeValidator(refuse_non_number)]
NotNegative = Annotated[float, Field(ge=0, le=MAX_NUMBER), BeforeValidator(refuse_non_number)]
Share = Annotated[float, Field(ge=0, le=1), BeforeValidator(refuse_non_number)]
Count = Annotated[int, Field(ge=0, le=10**9), BeforeValidator(refuse_non_number)]
Day = Annotated[dt.date, BeforeValidator(_parse_day)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2_000)]
Key = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")]


def _refuse_kept_number(value: str) -> str:
    fault = find_number_fault(value)
    if fault is not None:
        raise build_error("kept_number", fault)
    return value


PartNumber = Annotated[
    str,
    StringConstraints(pattern=NUMBER_PATTERN),
    AfterValidator(_refuse_kept_number),
    Field(json_schema_extra={"not": {"enum": sorted(KEPT_NUMBERS)}}),
]
MONEY_PATTERN = r"^\s*-?[0-9]+(\.[0-9]{1,4})?\s+[A-Z]{3}\s*$"
CurrencyCode = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]


def _parse_file(value: str) -> str:
    if "\\" in value:
        raise build_error("path", f'"{value}" uses a backslash; write paths with /')
    if value.startswith("/") or re.match(r"^[A-Za-z]:", value) or ".." in value.split("/"):
        raise build_error("path", f'"{value}" leaves the folder of the part; evidence lies in its evidence/ folder')
    if any(ord(c) < 32 or ord(c) == 127 for c in value):
        raise build_error("path", "a file name cannot hold control characters")
    return value


EvidencePath = Annotated[str, StringConstraints(min_length=1, max_length=240), AfterValidator(_parse_file)]


class Money(Frozen):
    """An amount with its ISO 4217 currency code. Written `38000 USD`."""

    amount: Decimal
    currency: CurrencyCode

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: Any) -> Any:
        if not isinstance(value, str):
            if isinstance(value, dict | Money):
                return value
            raise build_error("money", f"{value!r} has no currency; write it as 38000 USD")
        match = re.fullmatch(r"\s*(-?[0-9]+(?:\.[0-9]{1,4})?)\s+([A-Z]{3})\s*", value)
        if match is None:
            raise build_error(
                "money", f'"{value}" is not money; write it as 38000 USD (digits, a blank, the ISO 4217 code)'
            )
        amount = Decimal(match.group(1))
        if abs(amount) > Decimal(10) ** 12:
            raise build_error("money", f'"{value}" is more than any tool costs')
        return {"amount": amount, "currency": match.group(2)}

    def __str__(self) -> str:
        return f"{self.amount:,.2f} {self.currency}"


def _check_not_negative(value: Money) -> Money:
    if value.amount < 0:
        raise build_error("bounds", f"{value.amount} {value.currency} is below zero; a price cannot be negative")
    return value


Price = Annotated[Money, AfterValidator(_check_not_negative)]


class Range(Frozen):
    """Low, likely, high of one quantity. Written `[500, 800, 1100]`; one number means all three."""

    low: Number
    likely: Number
    high: Number

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: Any) -> Any:
        if isinstance(value, dict | Range):
            return value
        if isinstance(value, int | float) and not isinstance(value, bool):
            return {"low": value, "likely": value, "high": value}
        if isinstance(value, list | tuple) and len(value) == 3:
            return dict(zip(("low", "likely", "high"), value, strict=True))
        raise build_error("range", f"{value!r} is not a range; write it as [low, likely, high]")

    @model_validator(mode="after")
    def _check_order(self) -> Self:
        if not self.low <= self.likely <= self.high:
            raise build_error("contradiction", f"{self.low:g}, {self.likely:g}, {self.high:g} do not rise")
        return self


def _check_range_not_negative(value: Range) -> Range:
    if value.low < 0:
        raise build_error("bounds", f"{value.low:g} is below zero")
    return value


PositiveRange = Annotated[Range, AfterValidator(_check_range_not_negative)]


class Limits(Frozen):
    """Lower and upper limit; one of them may be left out with null. Written `[-0.25, 0.25]`."""

    lower: Number | None
    upper: Number | None

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: Any) -> Any:
        if isinstance(value, dict | Limits):
            return value
        if isinstance(value, list | tuple) and len(value) == 2:
            return {"lower": value[0], "upper": value[1]}
        raise build_error("range", f"{value!r} is not a pair of limits; write it as [-0.25, 0.25]")

    @model_validator(mode="after")
    def _check_order(self) -> Self:
        if self.lower is None and self.upper is None:
            raise build_error("contradiction", "both limits are empty; give at least one")
        if self.lower is not None and self.upper is not None and self.lower > self.upper:
            raise build_error("contradiction", f"lower limit {self.lower:g} is above upper limit {self.upper:g}")
        return self

    def is_inside(self, value: float) -> bool:
        """True when `value` (same unit as the limits) lies on or inside them."""
        return (self.lower is None or value >= self.lower) and (self.upper is None or value <= self.upper)


class Years(Frozen):
    """First and last model year, both included. Written `1951-1955` or `1953`."""

    first: Annotated[int, Field(ge=1880, le=2030)]
    last: Annotated[int, Field(ge=1880, le=2030)]

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: Any) -> Any:
        if isinstance(value, dict | Years):
            return value
        match = re.fullmatch(r"(\d{4})(?:\s*-\s*(\d{4}))?", str(value)) if isinstance(value, str | int) else None
        if match is None or isinstance(value, bool):
            raise build_error("years", f"{value!r} are not years; write them as 1951-1955")
        return {"first": int(match.group(1)), "last": int(match.group(2) or match.group(1))}

    @model_validator(mode="after")
    def _check_order(self) -> Self:
        if self.first > self.last:
            raise build_error("contradiction", f"first year {self.first} is after last year {self.last}")
        return self

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}–{self.last}"


class Temperature(Frozen):
    """A temperature in degrees Celsius. Written `21.5 C` (or `70.7 F`, converted)."""

    celsius: Annotated[float, Field(ge=-60, le=400)]

    @model_validator(mode="before")
    @classmethod
    def _parse(cls, value: Any) -> Any:
        if isinstance(value, dict | Temperature):
            return value
        match = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*(C|F)\s*", value) if isinstance(value, str) else None
        if match is None:
            raise build_error("temperature", f"{value!r} is not a temperature; write it as 21.5 C")
        degrees = float(match.group(1))
        return {"celsius": degrees if match.group(2) == "C" else (degrees - 32) / 1.8}


LENGTH_UNITS = {"mm": 1.0, "um": 0.001, "in": 25.4, "cm": 10.0}
"""Millimetres in one unit (1 in = 25.4 mm exactly, ISO/IEC 80000-3)."""

OTHER_UNITS = (
    "deg", "N", "Nm", "kg", "g", "HRC", "HV", "HBW", "HRA", "ShoreA", "C", "W", "dE", "GU", "%", "MPa", "none",
)  # fmt: skip
UNITS = (*LENGTH_UNITS, *OTHER_UNITS)


def _check_unit(value: str) -> str:
    if value not in UNITS:
        raise build_error("unit", f'"{value}" is not a unit that is known here; use one of {", ".join(UNITS)}')
    return value


Unit = Annotated[str, AfterValidator(_check_unit)]
