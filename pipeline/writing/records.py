"""Edits of a record's text that change nothing but what they must.

An edit is made in the text itself, at the place that the reader gives, instead of writing the whole record anew: so
every comment, blank, order, line end and quote of the rest stays to the byte. (A round trip through a YAML writer keeps
comments and order, but not alignment, quotes and line breaks.) Every result is read back and compared with what was
meant before it is returned.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.findings.finding import Pointer
from pipeline.model.part import Part
from pipeline.reading.spans import Span, SpanKind, find_spans
from pipeline.reading.tree import parse_tree
from pipeline.writing.flow_text import render_flow, render_key, simplify

PART_ORDER = tuple(Part.model_fields)
"""Sections of a record in the order in which a record tells its story."""

BLOCK_SECTIONS = frozenset({"quotes"})
"""Sections whose entries are too long for one line; a first entry is written in lines there."""


class EditError(ValueError):
    """An edit that cannot be made: the place is taken, or the text does not take it."""


def insert_entry(text: str, section: str, key: str, entry: Any, order: Sequence[str] = PART_ORDER) -> str:
    """Return the text with one more entry `key: entry` at the end of a section, which is made where it is missing.

    The entry is written like the last one there: on one line in braces, or in lines; keys are aligned as they are.
    Raises EditError when the section has that key, or is not a map.

    >>> insert_entry("fits:\\n  a: {x: 1}  # first\\n", "fits", "b", {"x": 2})
    'fits:\\n  a: {x: 1}  # first\\n  b: {x: 2}\\n'
    """
    root = _find_root(text)
    span = root.find((section,))
    if span is None:
        made = _insert_section(text, root, section, _render_first(section, key, entry, _find_break(text)), order)
    elif span.kind is SpanKind.SCALAR and span.start == span.end:
        made = _insert_lines(text, _end_of_line(text, span.key_end), [f"  {render_key(key)}: {render_flow(entry)}"])
    elif not isinstance(span.inside, Mapping):
        raise EditError(f"`{section}` is not a map of entries")
    elif key in span.inside:
        raise EditError(f"`{section}` has an entry `{key}` already")
    elif span.flow:
        made = _insert_in_flow(text, span, f"{render_key(key)}: {render_flow(entry)}")
    else:
        made = _insert_in_block(text, span, key, entry)
    return _prove(text, made, (section, key), entry)


def append_item(text: str, section: str, item: Any, order: Sequence[str] = PART_ORDER) -> str:
    """Return the text with one more item at the end of a list such as `decisions`, which is made where it is missing.

    >>> append_item("part: A1\\n", "decisions", {"gate": "measure", "say": "go"})
    'part: A1\\n\\ndecisions:\\n  - {gate: measure, say: go}\\n'
    """
    root = _find_root(text)
    span = root.find((section,))
    shown = render_flow(item)
    if span is None:
        made = _insert_section(text, root, section, [f"{section}:", f"  - {shown}"], order)
        return _prove(text, made, (section, 0), item)
    if span.kind is SpanKind.SCALAR and span.start == span.end:
        made = _insert_lines(text, _end_of_line(text, span.key_end), [f"  - {shown}"])
        return _prove(text, made, (section, 0), item)
    if span.kind is not SpanKind.LIST:
        raise EditError(f"`{section}` is not a list")
    if span.flow:
        made = _insert_in_flow(text, span, shown)
    else:
        last = span.last
        assert last is not None
        dash = text.rfind("-", 0, last.start + (1 if last.start == last.end else 0))
        made = _insert_lines(text, _end_of_line(text, last.end), [f"{' ' * _find_column(text, dash)}- {shown}"])
    return _prove(text, made, (section, len(span.inside)), item)


def set_value(text: str, pointer: Pointer, value: Any, order: Sequence[str] = PART_ORDER) -> str:
    """Return the text with one value set, at a place that exists or as a new key of a map that exists.

    >>> set_value("fits:\\n  a: {x: 1}  # first\\n", ("fits", "a", "x"), 2)
    'fits:\\n  a: {x: 2}  # first\\n'
    """
    root = _find_root(text)
    span = root.find(pointer)
    if span is not None:
        made = _replace(text, span, value)
        return _prove(text, made, pointer, value)
    parent = root.find(pointer[:-1])
    key = str(pointer[-1])
    if parent is None or not isinstance(parent.inside, Mapping):
        raise EditError(f"there is no place for {'.'.join(map(str, pointer))}")
    if len(pointer) == 1 and not root.flow:
        made = _insert_section(text, root, key, [f"{render_key(key)}: {render_flow(value)}"], order)
    elif parent.flow:
        made = _insert_in_flow(text, parent, f"{render_key(key)}: {render_flow(value)}")
    else:
        made = _insert_in_block(text, parent, key, value)
    return _prove(text, made, pointer, value)


def add_keys(text: str, pointer: Pointer, values: Mapping[str, Any]) -> str:
    """Return the text with further keys in a map that exists. Raises EditError where one is there already."""
    for key, value in values.items():
        if _find_root(text).find((*pointer, key)) is not None:
            raise EditError(f"{'.'.join(map(str, pointer))} has `{key}` already")
        text = set_value(text, (*pointer, key), value)
    return text


def _find_root(text: str) -> Span:
    span = find_spans(text)
    if span is None or span.kind is not SpanKind.MAP:
        raise EditError("the record is empty or not a map; it must be mended by hand first")
    return span


def _find_break(text: str) -> str:
    """Return the line end that the text uses; LF where it has none."""
    found = re.search(r"\r\n|\n|\r", text)
    return found.group() if found else "\n"


def _end_of_line(text: str, offset: int) -> int:
    """Return the place behind the last character of the line, before its line end."""
    found = re.compile(r"\r\n|\n|\r").search(text, offset)
    return len(text) if found is None else found.start()


def _find_column(text: str, offset: int) -> int:
    return offset - max(text.rfind("\n", 0, offset), text.rfind("\r", 0, offset)) - 1


def _insert_lines(text: str, at: int, lines: Sequence[str]) -> str:
    """Insert whole lines behind the line that ends at `at`."""
    mark = _find_break(text)
    return text[:at] + "".join(mark + line for line in lines) + (text[at:] or mark)


def _insert_in_flow(text: str, span: Span, shown: str) -> str:
    last = span.last
    if last is None:
        return text[: span.start + 1] + shown + text[span.start + 1 :]
    at = max(last.end, last.key_end)
    return text[:at] + ", " + shown + text[at:]


def _insert_in_block(text: str, span: Span, key: str, value: Any) -> str:
    last = span.last
    assert last is not None
    indent = " " * _find_column(text, last.key_start)
    in_lines = last.kind is SpanKind.MAP and not last.flow
    if in_lines and isinstance(value, Mapping) and value:
        lines = _render_block(key, value, indent)
    else:
        lines = [f"{indent}{_pad_key(text, span, key)}{render_flow(value)}"]
    return _insert_lines(text, _end_of_line(text, max(last.end, last.key_end)), lines)


def _pad_key(text: str, span: Span, key: str) -> str:
    """Return `key: ` with blanks behind it where the neighbours' values stand in one column."""
    head = f"{render_key(key)}: "
    assert isinstance(span.inside, Mapping)
    same_line = [s for s in span.inside.values() if s.start > s.key_end and "\n" not in text[s.key_end : s.start]]
    columns = {s.start - s.key_start for s in same_line}
    padded = any(s.start - s.key_end > 2 for s in same_line)
    return head.ljust(columns.pop()) if len(columns) == 1 and padded and len(same_line) > 1 else head


def _render_block(key: str, value: Mapping[str, Any], indent: str) -> list[str]:
    return [f"{indent}{render_key(key)}:", *(f"{indent}  {render_key(k)}: {render_flow(v)}" for k, v in value.items())]


def _render_first(section: str, key: str, entry: Any, _mark: str) -> list[str]:
    if section in BLOCK_SECTIONS and isinstance(entry, Mapping) and entry:
        return [f"{section}:", *_render_block(key, entry, "  ")]
    return [f"{section}:", f"  {render_key(key)}: {render_flow(entry)}"]


def _insert_section(text: str, root: Span, section: str, lines: list[str], order: Sequence[str]) -> str:
    """Insert a section where a record tells it: behind the last section that comes before it in the story."""
    assert isinstance(root.inside, Mapping)
    if root.flow:
        raise EditError("the record is written on one line in braces; write its keys on lines of their own first")
    rank = {name: place for place, name in enumerate(order)}
    before = [s for name, s in root.inside.items() if rank.get(name, -1) < rank.get(section, len(rank))]
    after = before[-1] if before else root.last
    assert after is not None
    at = _end_of_line(text, max(after.end, after.key_end))
    rest = text[at:].lstrip("\r\n") if at < len(text) else ""
    tall = len(lines) > 1
    blank_follows = re.match(r"(\r\n|\n|\r)[ \t]*(\r\n|\n|\r|$)", text[at:]) is not None
    shown = ["", *lines] if tall else lines
    if tall and rest and not blank_follows:
        shown = [*shown, ""]
    return _insert_lines(text, at, shown)


def _replace(text: str, span: Span, value: Any) -> str:
    shown = render_flow(value)
    if span.start == span.end and span.kind is SpanKind.SCALAR:
        colon = text.index(":", span.key_end) + 1 if text[span.key_end - 1 : span.key_end] != ":" else span.key_end
        return text[:colon] + " " + shown + text[colon:]
    return text[: span.start] + shown + text[span.end :]


def _prove(before: str, after: str, pointer: Pointer, value: Any) -> str:
    """Read both texts and make sure that nothing differs but what was meant."""
    old, _ = parse_tree("", before)
    new, findings = parse_tree("", after)
    if old is None or new is None:
        raise EditError(f"the edit would not read back: {findings[0].message if findings else 'the record is broken'}")
    meant = _put(old.value, pointer, simplify(value))
    if meant != new.value:
        raise EditError(f"{'.'.join(map(str, pointer))} cannot be set without touching other values")
    return after


def _put(tree: Any, pointer: Pointer, value: Any) -> Any:
    """Return plain data with one value set; nothing of `tree` is changed."""
    if not pointer:
        return value
    step, rest = pointer[0], pointer[1:]
    if isinstance(step, int):
        items = list(tree or [])
        if step == len(items):
            return [*items, _put(None, rest, value)]
        return [*items[:step], _put(items[step], rest, value), *items[step + 1 :]]
    found = dict(tree or {})
    return {**found, step: _put(found.get(step), rest, value)}
