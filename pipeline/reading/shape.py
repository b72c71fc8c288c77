"""From plain values to model types; every complaint of the types becomes a finding with a place and a way out."""

from __future__ import annotations

import difflib
import json
import types
import typing
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from pipeline.findings.finding import Finding, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import shape as rules
from pipeline.reading.tree import Tree

M = TypeVar("M", bound=BaseModel)

MAX_ROUNDS = 12


def parse_shape(tree: Tree, model: type[M], record: str = "") -> tuple[M | None, tuple[Finding, ...]]:
    """Validate a tree. Returns the object, or None and one finding for every complaint."""
    try:
        return model.model_validate_json(tree.plain), ()
    except ValidationError as error:
        return None, _explain_all(tree, model, error, record)


def salvage_shape(tree: Tree, model: type[M], stand_ins: Mapping[str, Any]) -> M | None:
    """Validate what is left of a broken tree after the refused values are taken out.

    stand_ins : values for first keys that are missing or refused, such as the number of the folder.
    The result is used only to look for further mistakes in the same run; it never counts.
    """
    value = tree.value
    for _ in range(MAX_ROUNDS):
        try:
            return model.model_validate_json(json.dumps(value))
        except ValidationError as error:
            details = error.errors(include_url=False)
            removed = sum(_remove(value, tuple(detail["loc"])) for detail in details)
            added = {key: stand_in for key, stand_in in stand_ins.items() if key not in value}
            value |= added
            if removed == 0 and not added:
                return None
    return None


def _remove(value: Any, loc: Pointer) -> bool:
    """Take the refused value (or the entry that lacks a key) out of plain data; True if something went."""
    steps = _steps_in(value, loc)
    if not steps:
        return False
    parent = value
    for step in steps[:-1]:
        parent = parent[step]
    last = steps[-1]
    if isinstance(parent, dict) and last in parent:
        del parent[last]
        return True
    if isinstance(parent, list) and isinstance(last, int) and last < len(parent):
        parent[last] = None
        return True
    return False


def _steps_in(value: Any, loc: Pointer) -> list[str | int]:
    """Return the steps of `loc` that exist in plain data (pydantic adds steps of its own, such as `[key]`)."""
    steps: list[str | int] = []
    for step in loc:
        if isinstance(value, dict) and str(step) in value:
            value = value[str(step)]
            steps.append(str(step))
        elif isinstance(value, list) and isinstance(step, int) and step < len(value):
            value = value[step]
            steps.append(step)
        else:
            break
    return steps


def _explain_all(tree: Tree, model: type[BaseModel], error: ValidationError, record: str) -> tuple[Finding, ...]:
    findings: dict[tuple[Any, ...], Finding] = {}
    value = tree.value
    for detail in error.errors(include_url=False):
        finding = _explain(tree, value, model, detail, record)
        findings.setdefault((finding.location, finding.rule, finding.pointer), finding)
    return tuple(findings.values())


def _explain(tree: Tree, value: dict[str, Any], model: type[BaseModel], detail: ErrorDetails, record: str) -> Finding:
    kind, loc = detail["type"], tuple(detail["loc"])
    pointer: Pointer = tuple(_steps_in(value, loc))
    rule, message, fix = _choose_words(model, detail, pointer)
    at_key = kind == "extra_forbidden" or "[key]" in loc
    place = tree.locate(pointer, key=at_key)
    shown = (*pointer, str(loc[-1])) if kind == "missing" and loc else pointer
    return rule.build_finding(place, message, fix=fix, record=record, pointer=shown)


def _choose_words(model: type[BaseModel], detail: ErrorDetails, pointer: Pointer) -> tuple[Rule, str, str | None]:
    kind, loc, context = detail["type"], detail["loc"], detail.get("ctx") or {}
    shown = _show(detail.get("input"))
    if kind == "missing":
        name = str(loc[-1])
        if not pointer:
            return (
                rules.MISSING_KEY,
                f'the file has no "{name}"',
                f"add `{name}:` {_describe_field(model, loc)}".rstrip(),
            )
        return rules.MISSING_KEY, f'"{name}" is missing here', f"add `{name}:` {_describe_field(model, loc)}".rstrip()
    if kind == "extra_forbidden":
        return rules.UNKNOWN_KEY, f'"{loc[-1]}" is not a key that belongs here', _suggest_key(model, loc)
    if kind in ("enum", "literal_error"):
        expected = str(context.get("expected", "")).replace("'", "")
        return rules.UNKNOWN_WORD, f"{shown} is not one of the words used here", f"write one of: {expected}"
    if kind.startswith("record_"):
        return _RECORD_RULES[kind], str(context.get("message", detail["msg"])), None
    if kind in ("float_type", "int_type", "int_from_float", "finite_number", "decimal_type"):
        return rules.NOT_A_NUMBER, f"{shown} is not a {'whole ' if kind.startswith('int') else ''}number", None
    if kind in _BOUNDS:
        limit = next((context[k] for k in ("gt", "ge", "lt", "le") if k in context), "")
        return rules.OUT_OF_BOUNDS, f"{shown} is not {_BOUNDS[kind]} {limit}", None
    if kind == "string_pattern_mismatch":
        return (
            rules.BAD_FORM,
            f"{shown} does not have the form that is wanted here",
            _FORM_FIX.get(str(context.get("pattern"))),
        )
    if kind in ("string_too_short", "string_too_long", "too_short", "too_long"):
        limit = context.get("min_length", context.get("max_length", ""))
        word = "shorter than" if "short" in kind else "longer than"
        return rules.BAD_LENGTH, f"{shown} is {word} {limit}", None
    return rules.WRONG_TYPE, f"{shown} is {_WANTED.get(kind, 'not what is wanted here')}", _TYPE_FIX.get(kind)


_RECORD_RULES = {
    "record_number": rules.NOT_A_NUMBER,
    "record_day": rules.NOT_A_DAY,
    "record_money": rules.NOT_MONEY,
    "record_path": rules.BAD_PATH,
    "record_bounds": rules.OUT_OF_BOUNDS,
    "record_range": rules.WRONG_TYPE,
    "record_years": rules.BAD_FORM,
    "record_temperature": rules.BAD_FORM,
    "record_unit": rules.UNKNOWN_WORD,
    "record_contradiction": rules.CONTRADICTION,
    "record_kept_number": rules.KEPT_NUMBER,
}
_COMMA_FIX = "write decimals with a point, e.g. 112.4: a comma begins the next entry"
_BOUNDS = {
    "greater_than": "above",
    "greater_than_equal": "at least",
    "less_than": "below",
    "less_than_equal": "at most",
}
_WANTED = {
    "string_type": "not text",
    "bool_type": "neither true nor false",
    "model_type": "not a map of keys",
    "dict_type": "not a map of keys",
    "tuple_type": "not a list",
    "list_type": "not a list",
    "model_attributes_type": "not a map of keys",
}
_TYPE_FIX = {
    "string_type": 'write text; put quotes around it if it looks like a number, e.g. "1951"',
    "bool_type": "write true or false",
    "tuple_type": "write a list in square brackets, e.g. [a, b]",
    "list_type": "write a list in square brackets, e.g. [a, b]",
    "model_type": "write a map, e.g. {key: value}",
    "dict_type": "write a map, e.g. {key: value}",
}
_FORM_FIX = {
    r"^[A-Z0-9][A-Z0-9-]{1,23}$": "write a part number in capitals, digits and dashes, e.g. TW-101",
    r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$": "write a short id of letters, digits, _ . and -, e.g. rim_od",
    r"^[A-Z]{3}$": "write the ISO 4217 code in capitals, e.g. USD",
}


def _show(value: Any) -> str:
    if isinstance(value, str):
        return f'"{value[:60]}"'
    if value is None:
        return "an empty value"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a map"
    if isinstance(value, list | tuple):
        return "a list"
    return str(value)[:60]


def find_model(model: type[BaseModel], loc: Pointer) -> type[BaseModel] | None:
    """Return the model whose keys stand at `loc`, None where the path leads to plain values."""
    current: Any = model
    for step in loc:
        current = _strip(current)
        if isinstance(current, type) and issubclass(current, BaseModel):
            field = next((f for n, f in current.model_fields.items() if (f.alias or n) == step), None)
            if field is None:
                return None
            current = field.annotation
        else:
            args = typing.get_args(current)
            if not args:
                return None
            current = args[1] if typing.get_origin(current) is dict else args[0]
    current = _strip(current)
    return current if isinstance(current, type) and issubclass(current, BaseModel) else None


def _strip(annotation: Any) -> Any:
    """Peel Annotated and Optional off a type."""
    while True:
        origin = typing.get_origin(annotation)
        if origin is typing.Annotated:
            annotation = typing.get_args(annotation)[0]
        elif origin in (typing.Union, types.UnionType):
            left = [a for a in typing.get_args(annotation) if a is not type(None)]
            if len(left) != 1:
                return annotation
            annotation = left[0]
        else:
            return annotation


def _suggest_key(model: type[BaseModel], loc: tuple[int | str, ...]) -> str:
    owner = find_model(model, loc[:-1])
    if str(loc[-1]).isdecimal():  # {nominal: 112,40} reads as nominal: 112 and a key 40
        return _COMMA_FIX
    if owner is None:
        return "take it out"
    names = [f.alias or n for n, f in owner.model_fields.items()]
    close = difflib.get_close_matches(str(loc[-1]), names, n=1, cutoff=0.6)
    return f"did you mean `{close[0]}`?" if close else f"take it out; the keys here are {', '.join(names)}"


def _describe_field(model: type[BaseModel], loc: tuple[int | str, ...]) -> str:
    owner = find_model(model, loc[:-1])
    field = (
        None if owner is None else next((f for n, f in owner.model_fields.items() if (f.alias or n) == loc[-1]), None)
    )
    return f"({field.description})" if field is not None and field.description else ""
