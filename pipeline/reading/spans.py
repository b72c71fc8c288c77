"""Where each value of a YAML text begins and ends, to the character, so that an edit can leave all the rest alone."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from yaml.nodes import CollectionNode, MappingNode, Node, ScalarNode, SequenceNode

from pipeline.findings.finding import Pointer
from pipeline.reading.tree import RecordLoader

_BREAK = re.compile(r"\r\n|\r|\n")


class SpanKind(StrEnum):
    """What a value is."""

    SCALAR = "scalar"
    MAP = "map"
    LIST = "list"


@dataclass(frozen=True, slots=True)
class Span:
    """One value of a text, in character offsets.

    start, end : the value itself; `end` is the place behind its last character. The end of a block map or list is the
    end of its last value, comments that follow are not part of it. An empty value has start == end.
    key_start, key_end : its key; the value's own start, twice, for an item of a list.
    flow : written in brackets (`{...}`, `[...]`); False for scalars.
    """

    start: int
    end: int
    key_start: int
    key_end: int
    kind: SpanKind
    flow: bool
    inside: Mapping[str, Span] | Sequence[Span] = field(default=())

    def find(self, pointer: Pointer) -> Span | None:
        """Return the span that a pointer leads to, None where there is none."""
        span: Span | None = self
        for step in pointer:
            if span is None:
                return None
            if isinstance(span.inside, Mapping):
                span = span.inside.get(str(step))
            else:
                span = span.inside[step] if isinstance(step, int) and 0 <= step < len(span.inside) else None
        return span

    @property
    def last(self) -> Span | None:
        """The last value inside, None where there is none."""
        values = list(self.inside.values()) if isinstance(self.inside, Mapping) else list(self.inside)
        return values[-1] if values else None


class _Lines:
    """Turns the marks of the loader into offsets."""

    def __init__(self, text: str) -> None:
        self.starts = [0, *(match.end() for match in _BREAK.finditer(text))]
        self.size = len(text)

    def place(self, line: int, column: int) -> int:
        """Return the offset of a line and column, both from 0."""
        return min(self.starts[min(line, len(self.starts) - 1)] + column, self.size)


def find_spans(text: str) -> Span | None:
    """Return the span of the whole text's value, with those of all values inside; None for an empty text.

    The text must be one that `parse_tree` accepts; raises yaml.YAMLError else.

    >>> span = find_spans("a: {b: 1}  # note")
    >>> (span.find(("a", "b")).start, span.find(("a",)).end)
    (7, 9)
    """
    loader = RecordLoader(text)
    try:
        node = loader.get_single_node()
    finally:
        loader.dispose()
    return None if node is None else _build(_Lines(text), text, node, None)


def _build(lines: _Lines, text: str, node: Node, key: Node | None) -> Span:
    start = lines.place(node.start_mark.line, node.start_mark.column)
    end = lines.place(node.end_mark.line, node.end_mark.column)
    named = node if key is None else key
    key_start = lines.place(named.start_mark.line, named.start_mark.column)
    key_end = start if key is None else lines.place(named.end_mark.line, named.end_mark.column)
    inside: Mapping[str, Span] | Sequence[Span] = ()
    kind, flow = SpanKind.SCALAR, False
    if isinstance(node, CollectionNode):
        flow = bool(node.flow_style)
    if isinstance(node, MappingNode):
        kind = SpanKind.MAP
        pairs = [(k, v) for k, v in node.value if isinstance(k, ScalarNode)]
        inside = {k.value: _build(lines, text, v, k) for k, v in reversed(pairs)}
        inside = {name: inside[name] for name in dict.fromkeys(k.value for k, _ in pairs)}
    elif isinstance(node, SequenceNode):
        kind = SpanKind.LIST
        inside = tuple(_build(lines, text, item, None) for item in node.value)
    if kind is SpanKind.SCALAR:
        start, end = _trim_scalar(text, node, start, end)
    elif not flow:
        found = list(inside.values()) if isinstance(inside, Mapping) else list(inside)
        end = max((max(span.end, span.key_end) for span in found), default=start)
    return Span(start, end, key_start, key_end, kind, flow, inside)


def _trim_scalar(text: str, node: Node, start: int, end: int) -> tuple[int, int]:
    """A block scalar ends behind its last line's text; a value that is left out has no length."""
    if getattr(node, "style", None) in ("|", ">"):
        return start, start + len(text[start:end].rstrip())
    return (start, start) if node.value == "" and getattr(node, "style", None) is None else (start, end)
