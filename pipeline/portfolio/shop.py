"""All parts of a workspace together, for what one part takes from the others, and what was reckoned once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pipeline.portfolio.reliance import note, note_all, take_notes

if TYPE_CHECKING:
    from pipeline.portfolio.portfolio import PartFile

Answer = TypeVar("Answer")
ANSWER = "answer"
"""Name under which a look at an answer of the whole shop is noted."""
ANSWERS: dict[str, Callable[[Shop], Any]] = {}
"""Every function that answers for the whole shop, by its name."""


@dataclass(eq=False)
class Shop:
    """The files of all parts by number, and what was reckoned from all of them."""

    parts: dict[str, PartFile] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict)


def keep_for_part(function: Callable[[PartFile], Answer]) -> Callable[[PartFile], Answer]:
    """Reckon something of one part when it is first asked for, and keep it with the part's file."""
    key = f"{function.__module__}.{function.__qualname__}"

    @functools.wraps(function)
    def keep(file: PartFile) -> Answer:
        if key not in file.kept:
            with take_notes() as relied:
                answer = function(file)
            file.kept[key], file.relied[key] = answer, frozenset(relied)
        else:
            note_all(file.relied[key])
        found: Answer = file.kept[key]
        return found

    return keep


class kept_property(Generic[Answer]):
    """A property of a part's file that is reckoned once: `keep_for_part`, for methods."""

    def __init__(self, function: Callable[[Any], Answer]) -> None:
        self.__doc__ = function.__doc__
        self._keep = keep_for_part(function)

    def __get__(self, file: Any, owner: Any = None) -> Answer:
        """Return the answer, reckoned or kept."""
        return self._keep(file)


def keep_for_shop(function: Callable[[Shop], Answer]) -> Callable[[Shop], Answer]:
    """Reckon something of the whole shop when it is first asked for, and keep it.

    What asks relies on the answer as a whole, not on each record that it was reckoned from.
    """
    key = f"{function.__module__}.{function.__qualname__}"

    @functools.wraps(function)
    def keep(shop: Shop) -> Answer:
        note(ANSWER, key)
        if key not in shop.kept:
            with take_notes(aside=True):
                shop.kept[key] = function(shop)
        answer: Answer = shop.kept[key]
        return answer

    ANSWERS[key] = keep
    return keep
