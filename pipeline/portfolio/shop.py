"""All parts of a workspace together, for what one part takes from the others, and what was reckoned once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from pipeline.portfolio.portfolio import PartFile

Answer = TypeVar("Answer")


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
            file.kept[key] = function(file)
        answer: Answer = file.kept[key]
        return answer

    return keep


def keep_for_shop(function: Callable[[Shop], Answer]) -> Callable[[Shop], Answer]:
    """Reckon something of the whole shop when it is first asked for, and keep it."""
    key = f"{function.__module__}.{function.__qualname__}"

    @functools.wraps(function)
    def keep(shop: Shop) -> Answer:
        if key not in shop.kept:
            shop.kept[key] = function(shop)
        answer: Answer = shop.kept[key]
        return answer

    return keep
