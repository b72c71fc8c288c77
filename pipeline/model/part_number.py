"""Part numbers that cannot be: a record's number is the name of its folder and of its page, on every system."""

from __future__ import annotations

NUMBER_PATTERN = r"^[A-Z0-9][A-Z0-9-]{1,23}$"
INDEX = "INDEX"
"""The list of parts is parts/index.html, and many systems do not tell upper and lower case apart."""
DEVICES = frozenset(
    {"CON", "PRN", "AUX", "NUL"} | {f"{name}{digit}" for name in ("COM", "LPT") for digit in range(1, 10)}
)
"""Names that Windows keeps for devices, with any ending. Source: Microsoft's file naming conventions (from memory)."""
KEPT_NUMBERS = frozenset({INDEX} | DEVICES)


def find_number_fault(number: str) -> str | None:
    """Return why a number of the right form cannot be a part's; None where nothing is wrong with it.

    >>> find_number_fault("INDEX")
    'INDEX is the name of the list of parts: the page of such a part would take its place on many systems'
    >>> find_number_fault("TW-101") is None
    True
    """
    if number == INDEX:
        return f"{INDEX} is the name of the list of parts: the page of such a part would take its place on many systems"
    return f"{number} is a reserved name on Windows: no folder can have it there" if number in DEVICES else None
