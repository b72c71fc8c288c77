"""What a result relies on: the records, files and answers that were looked at while it was made.

A page of one part shows something of other parts too: what is inside it, what uses its tool, what the shop learnt from
its changes. Instead of guessing which, the lists of parts and files note each look (`Watched`), and an answer that was
kept notes again what it was made from. A page may be taken from a cache when everything that it relied on is the same.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import threading
from collections.abc import ItemsView, Iterable, Iterator, KeysView, Mapping, ValuesView
from contextlib import contextmanager
from decimal import Decimal
from enum import Enum
from pathlib import PurePath
from typing import Any, TypeVar, cast

from pydantic import BaseModel

Key = TypeVar("Key")
Value = TypeVar("Value")
Reliance = tuple[str, Any]
"""What was looked at: the name of a list and the key in it; EVERYTHING as the key for the list as a whole,
EMPTINESS for whether there is anything in it."""

EVERYTHING, EMPTINESS = "*", "?"


class _Notes(threading.local):
    """The notebooks that are open in this thread, the innermost last."""

    def __init__(self) -> None:
        self.open: list[set[Reliance]] = []


_NOTES = _Notes()


def note(name: str, key: Any) -> None:
    """Write down a look at an entry of a list, for the innermost result that is being made."""
    if _NOTES.open:
        _NOTES.open[-1].add((name, key))


def note_all(relied: Iterable[Reliance]) -> None:
    """Write down what an answer relied on that was made before."""
    if _NOTES.open:
        _NOTES.open[-1].update(relied)


@contextmanager
def take_notes(*, aside: bool = False) -> Iterator[set[Reliance]]:
    """Collect what is looked at inside. A result around it relies on the same, unless the notes are put ``aside``."""
    mine: set[Reliance] = set()
    _NOTES.open.append(mine)
    try:
        yield mine
    finally:
        _NOTES.open.pop()
        if not aside:
            note_all(mine)


class Watched(dict[Key, Value]):
    """A list of records or files that notes each look: at one entry (also at one that is not there), or at all."""

    def __init__(self, name: str, entries: Mapping[Key, Value]) -> None:
        super().__init__(entries)
        self.name = name

    def __getitem__(self, key: Key) -> Value:
        note(self.name, key)
        return super().__getitem__(key)

    def get(self, key: Key, default: Any = None) -> Any:
        """Return an entry, or what stands for none."""
        note(self.name, key)
        return super().get(key, default)

    def __contains__(self, key: object) -> bool:
        note(self.name, key)
        return super().__contains__(key)

    def __iter__(self) -> Iterator[Key]:
        note(self.name, EVERYTHING)
        return super().__iter__()

    def __bool__(self) -> bool:
        note(self.name, EMPTINESS)
        return super().__len__() > 0

    def __len__(self) -> int:
        note(self.name, EVERYTHING)
        return super().__len__()

    def keys(self) -> KeysView[Key]:  # type: ignore[override]
        """Return all keys."""
        note(self.name, EVERYTHING)
        return cast("KeysView[Key]", super().keys())

    def values(self) -> ValuesView[Value]:  # type: ignore[override]
        """Return all entries."""
        note(self.name, EVERYTHING)
        return cast("ValuesView[Value]", super().values())

    def items(self) -> ItemsView[Key, Value]:  # type: ignore[override]
        """Return all keys with their entries."""
        note(self.name, EVERYTHING)
        return cast("ItemsView[Key, Value]", super().items())


class NotPlain(TypeError):
    """A value of a kind that has no digest here: what relies on it is made anew each time."""


def compute_digest(value: Any) -> str:
    """Return the sha256 (hex) of a value: equal values give equal digests, in every process.

    Sees dataclasses, models, enums, mappings (in their order), sequences, sets, numbers, texts, days, paths and arrays.
    Raises NotPlain for anything else.
    """
    found: list[str] = []
    _spell(value, found)
    return hashlib.sha256("\x1f".join(found).encode("utf-8", "surrogatepass")).hexdigest()


class Digests:
    """Digests of values that do not change and are asked for more than once, each reckoned once."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[Any, str]] = {}

    def find(self, value: Any) -> str:
        """Return the digest of a value. Raises NotPlain as `compute_digest` does."""
        known = self._known.get(id(value))
        if known is None:
            known = self._known[id(value)] = value, compute_digest(value)  # held, so that no other gets its id
        return known[1]


_PLAIN = frozenset({str, int, float, bool, type(None), bytes, Decimal, dt.date, dt.datetime, dt.time, dt.timedelta})


def _spell(value: Any, out: list[str]) -> None:
    kind = type(value)
    if kind in _PLAIN:
        out.append(repr(value))
        return
    spell = _SPELLED.get(kind)
    if spell is None:
        spell = _SPELLED[kind] = _choose_spelling(kind)
    spell(value, out)


def _spell_many(value: Iterable[Any], out: list[str]) -> None:
    out.append("(")
    for one in value:
        _spell(one, out)
    out.append(")")


def _spell_set(value: Iterable[Any], out: list[str]) -> None:
    _spell_many(sorted(compute_digest(one) for one in value), out)


def _spell_mapping(value: Mapping[Any, Any], out: list[str]) -> None:
    out.append("{")
    for key, one in value.items():
        _spell(key, out)
        _spell(one, out)
    out.append("}")


def _spell_array(value: Any, out: list[str]) -> None:
    out.append(f"{value.dtype.str}{value.shape}{hashlib.sha256(value.tobytes()).hexdigest()}")


def _choose_spelling(kind: type[Any]) -> Any:
    """Return how values of a type are spelled; looked up once a type."""
    if hasattr(kind, "spell_reliance"):
        return lambda value, out: out.append(value.spell_reliance())
    if issubclass(kind, Enum):
        return lambda value, out: out.append(f"{kind.__qualname__}.{value.name}")
    if dataclasses.is_dataclass(kind):
        names = tuple(field.name for field in dataclasses.fields(kind))
        return _spell_fields(kind, names)
    if issubclass(kind, BaseModel):
        return _spell_fields(kind, tuple(kind.model_fields))
    if issubclass(kind, Mapping):
        return _spell_mapping
    if issubclass(kind, tuple | list):
        return _spell_many
    if issubclass(kind, frozenset | set):
        return _spell_set
    if issubclass(kind, PurePath):
        return lambda value, out: out.append(repr(str(value)))
    if issubclass(kind, str | int | float | dt.date | dt.tzinfo):
        return lambda value, out: out.append(repr(value))
    if hasattr(kind, "dtype") and hasattr(kind, "tobytes"):
        return _spell_array
    raise NotPlain(f"{kind.__module__}.{kind.__qualname__} has no digest")


def _spell_fields(kind: type[Any], names: tuple[str, ...]) -> Any:
    head = f"{kind.__module__}.{kind.__qualname__}"

    def spell(value: Any, out: list[str]) -> None:
        out.append(head)
        for name in names:
            _spell(getattr(value, name), out)

    return spell


_SPELLED: dict[type[Any], Any] = {}
