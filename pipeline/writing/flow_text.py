"""Values as YAML text on one line, as the records write them: bare where that is safe, quoted where it is not."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import Enum
from typing import Any

_PLAIN = re.compile(r"[^\W_]([\w ./()'%+°²³×–—\-;]*[\w./()'%+°²³×–—\-])?\Z")
_PLAIN_DIGITS = re.compile(
    r"\d{4}-\d{2}-\d{2}\Z|\d{4}-\d{4}\Z|\d+(\.\d+)? [A-Z]{3}\Z|\d+(\.\d+)? [CF]\Z|\d[\d.]* [^\W\d_]{2}[\w .()-]*\Z"
)
_WORDS = frozenset({"true", "false", "null", "yes", "no", "on", "off", "y", "n"})


class AsTyped(str):
    """A number in the very digits that a person typed: the last nought of `112.40` says how fine it was read."""


def render_scalar(value: Any) -> str:
    """Return one value as YAML text that reads back as the same value, in a flow map or behind a key.

    Raises ValueError on a value that a record cannot hold (NaN, infinities, bytes).

    >>> [render_scalar(v) for v in ("boxed stock", "1953", "a: b", AsTyped("112.40"), True, None)]
    ['boxed stock', '"1953"', '"a: b"', '112.40', 'true', 'null']
    """
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, AsTyped):
        return str(value)
    if isinstance(value, Enum):
        return render_scalar(value.value)
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, int | Decimal):
        return str(value)
    if isinstance(value, float):
        return _render_float(value)
    if isinstance(value, str):
        return value if is_plain(value) else json.dumps(value, ensure_ascii=False)
    raise ValueError(f"{type(value).__name__} {value!r} cannot stand in a record")


def _render_float(value: float) -> str:
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f"{value} is no number that can stand in a record")
    if value == int(value) and abs(value) < 1e15:
        return str(int(value))
    shown = repr(value)
    return format(Decimal(shown), "f") if "e" in shown else shown


def is_plain(text: str) -> bool:
    """True when text may stand without quotes and still be text, to this reader and to other YAML readers."""
    if text.casefold() in _WORDS or _PLAIN.match(text) is None:
        return False
    if not text[0].isdigit():
        return True
    return _PLAIN_DIGITS.match(text) is not None


def render_key(key: str) -> str:
    """Return a key: bare where a reader takes it for the same key, quoted else. Keys are text to
    this reader whatever they look like, so `on` and order quantities stay bare.

    >>> [render_key(k) for k in ("rim_od", "800", "a b", "on")]
    ['rim_od', '800', 'a b', 'on']
    """
    bare = re.fullmatch(r"[A-Za-z][\w.-]*|\d+", key, re.ASCII) is not None and key not in ("true", "false", "null")
    return key if bare else render_scalar(key)


def render_flow(value: Any) -> str:
    """Return a value on one line: maps in braces, lists in brackets.

    >>> render_flow({"of": "A", "gaps": {"seat": [0.4, 0.5]}, "why": "a, b"})
    '{of: A, gaps: {seat: [0.4, 0.5]}, why: "a, b"}'
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{render_key(str(k))}: {render_flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(render_flow(v) for v in value) + "]"
    return render_scalar(value)


def simplify(value: Any) -> Any:
    """Return a value as the reader will read it back: days and enums as text, numbers as numbers, tuples as lists."""
    if isinstance(value, Mapping):
        return {str(k): simplify(v) for k, v in value.items()}
    if isinstance(value, AsTyped):
        return float(value) if re.search(r"[.eE]", value) else int(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return float(value) if "." in str(value) else int(value)
    if isinstance(value, float) and value == int(value) and abs(value) < 1e15:
        return int(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [simplify(v) for v in value]
    return value
