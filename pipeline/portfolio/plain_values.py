"""Dataclasses as plain lists and values, to be kept as JSON and brought back: never pickles, which can run code."""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from collections.abc import Mapping
from enum import Enum
from typing import Any


def encode(value: Any) -> Any:
    """Return a dataclass as plain lists and values, fields in order."""
    if dataclasses.is_dataclass(value):
        return [encode(getattr(value, field.name)) for field in dataclasses.fields(value)]
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {key: encode(one) for key, one in value.items()}
    if isinstance(value, tuple):
        return [encode(one) for one in value]
    return value


def decode(shape: Any, value: Any) -> Any:
    """Return the value of a type from what `encode` made of it. Raises ValueError, TypeError where it does not fit."""
    if isinstance(shape, type) and dataclasses.is_dataclass(shape):
        hints, fields = _find_hints(shape), dataclasses.fields(shape)
        if not isinstance(value, list) or len(value) != len(fields):
            raise ValueError(f"{value!r:.40} is no {shape}")
        return shape(*(decode(hints[f.name], one) for f, one in zip(fields, value, strict=True)))
    origin, inner = typing.get_origin(shape), typing.get_args(shape)
    if origin in (types.UnionType, typing.Union):
        return None if value is None else decode(next(one for one in inner if one is not type(None)), value)
    if origin is tuple:
        return tuple(decode(inner[0], one) for one in value)
    if origin is Mapping:
        return {key: decode(inner[1], one) for key, one in value.items()}
    if isinstance(shape, type) and issubclass(shape, Enum):
        return shape(value)
    if shape is float and isinstance(value, int | float):
        return value  # a whole number stays one: what is brought back is worded as what was made
    if not isinstance(value, shape):
        raise ValueError(f"{value!r:.40} is no {shape}")
    return value


@functools.cache
def _find_hints(shape: Any) -> dict[str, Any]:
    return typing.get_type_hints(shape)
