"""YAML text as plain values, and the line and column of each of them.

The loader knows only text, whole numbers, decimal numbers, true, false and null. `no`, `on`, `12:30` and days stay
text, because a record must read back exactly as it was written.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Any

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from pipeline.findings.finding import Finding, Location, Pointer, Related
from pipeline.findings.rules import text as rules
from pipeline.reading.source import describe_hidden, find_hidden

MAX_DEPTH = 20
MAX_NODES = 50_000
MAX_ALIASES_TOLD = 20

_SafeLoader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class RecordLoader(_SafeLoader):  # type: ignore[misc]
    """The C loader with a narrow idea of what is not text."""

    def resolve(self, kind: type[Node], value: str, implicit: tuple[bool, bool]) -> str:
        """Return the tag of a node. Does what the base class does, less what records never use (paths, wildcards).

        It is asked for every value of every record, which makes it worth its few lines.
        """
        if kind is ScalarNode:
            if implicit[0]:
                for tag, pattern in self.yaml_implicit_resolvers.get(value[:1], ()):
                    if pattern.match(value):
                        return tag  # type: ignore[no-any-return]
            return _STR
        return _SEQ if kind is SequenceNode else _MAP


_INT = re.compile(r"[-+]?(?:0|[1-9][0-9]*)\Z")
_FLOAT = re.compile(r"[-+]?(?:(?:0|[1-9][0-9]*)(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?\Z")
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)\Z|\.(?:nan|NaN|NAN)\Z")

RecordLoader.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("tag:yaml.org,2002:bool", re.compile(r"(?:true|false)\Z"), "tf"),
    ("tag:yaml.org,2002:null", re.compile(r"(?:~|null|)\Z"), ["~", "n", ""]),
    ("tag:yaml.org,2002:int", _INT, "-+0123456789"),
    ("tag:yaml.org,2002:float", _FLOAT, "-+0123456789."),
    ("tag:repro-pipeline,not-finite", _NOT_FINITE, "-+."),
):
    RecordLoader.add_implicit_resolver(_tag, _pattern, _first)

_MAP, _SEQ, _STR = "tag:yaml.org,2002:map", "tag:yaml.org,2002:seq", "tag:yaml.org,2002:str"
_PLAIN = {"tag:yaml.org,2002:bool", "tag:yaml.org,2002:null", "tag:yaml.org,2002:int", "tag:yaml.org,2002:float", _STR}


@dataclass(frozen=True, slots=True)
class Tree:
    """Plain values of one file. `text` is kept so that positions can be found again when they are asked for.

    plain : the values as JSON. Thousands of records stay in memory at once, and few ask for their values again.
    """

    path: str
    text: str
    plain: str

    @property
    def value(self) -> dict[str, Any]:
        """The values, read anew at each asking: whoever has them may change them."""
        found: dict[str, Any] = json.loads(self.plain)
        return found

    def locate(self, pointer: Pointer, *, key: bool = False) -> Location:
        """Return where the value at `pointer` stands (with `key`, where its key stands).

        A pointer that leads past the end of the tree gives the deepest place that exists: never an invented one.
        """
        return _locate(self.path, _index(self.text), pointer, key=key)


def dump_plain(value: Any) -> str:
    """Return plain values as JSON."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _compose(text: str) -> Node | None:
    loader = RecordLoader(text)
    try:
        return loader.get_single_node()  # type: ignore[no-any-return]
    finally:
        loader.dispose()


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a value and its key stand (line and column from 1), and the values in it."""

    at: tuple[int, int]
    key: tuple[int, int]
    inside: Mapping[str, _Place] | Sequence[_Place]
    is_empty: bool


@lru_cache(maxsize=4)
def _index(text: str) -> _Place | None:
    """Return the places of all values of a text; kept, since findings come many to a file."""
    node = _compose(text)
    return None if node is None else _build_place(node, node)


def _build_place(key: Node, node: Node) -> _Place:
    inside: dict[str, _Place] | tuple[_Place, ...] = ()
    if isinstance(node, MappingNode):
        inside = {}
        for child_key, child in node.value:
            if isinstance(child_key, ScalarNode):
                inside.setdefault(child_key.value, _build_place(child_key, child))
    elif isinstance(node, SequenceNode):
        inside = tuple(_build_place(child, child) for child in node.value)
    is_empty = node.start_mark.index == node.end_mark.index
    return _Place(_count_from_1(node), _count_from_1(key), inside, is_empty)


def _count_from_1(node: Node) -> tuple[int, int]:
    return node.start_mark.line + 1, node.start_mark.column + 1


def _locate(path: str, place: _Place | None, pointer: Pointer, *, key: bool) -> Location:
    if place is None:
        return Location(path)
    mark = place.at
    for step in pointer:
        found = _find_child(place, step)
        if found is None:
            break
        place = found
        mark = place.key if key or place.is_empty else place.at
    return Location(path, *mark)


def _find_child(place: _Place, step: str | int) -> _Place | None:
    if isinstance(place.inside, Mapping):
        return place.inside.get(str(step))
    return place.inside[step] if isinstance(step, int) and 0 <= step < len(place.inside) else None


def parse_tree(path: str, text: str) -> tuple[Tree | None, tuple[Finding, ...]]:
    """Parse one YAML file. Returns the tree (None if it cannot be used at all) and every problem of the text."""
    aliases = tuple(islice(find_aliases(path, text), MAX_ALIASES_TOLD))
    if aliases:
        return None, aliases
    try:
        node = _compose(text)
    except yaml.YAMLError as error:
        return None, (_explain_syntax(path, error),)
    except RecursionError:
        return None, (rules.TOO_DEEP.build_finding(Location(path), "the file is nested without end"),)
    if not isinstance(node, MappingNode):
        message = "the file is empty" if node is None else "the file holds no map of `key: value` lines"
        return None, (rules.NOT_A_MAP.build_finding(Location(path), message),)
    converter = _Converter(path, text)
    value = converter.convert_map(node, 1)
    tree = Tree(path, text, dump_plain(value))
    return (None if converter.fatal else tree), tuple(converter.findings)


def _explain_syntax(path: str, error: yaml.YAMLError) -> Finding:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    place = Location(path, mark.line + 1, mark.column + 1) if mark is not None else Location(path)
    problem = str(getattr(error, "problem", None) or getattr(error, "reason", None) or "unreadable text")
    context = getattr(error, "context", None)
    if "nesting" in problem or "depth" in problem:
        return rules.TOO_DEEP.build_finding(place, problem)
    if "alias" in problem:
        return rules.ALIAS.build_finding(place, problem)
    fix = "indent with blanks; a tab cannot indent YAML" if "'\\t'" in problem or "tab" in problem else None
    start = getattr(error, "context_mark", None)
    began = () if start is None else (Related(Location(path, start.line + 1, start.column + 1), "it begins here"),)
    related = tuple(one for one in began if one.location != place)
    message = f"{problem}{f' ({context})' if context else ''}"
    return rules.SYNTAX.build_finding(place, message, fix=fix, related=related)


class _Converter:
    """Turns nodes into plain values and collects what is wrong with the text on the way."""

    def __init__(self, path: str, text: str) -> None:
        self.path = path
        self.may_hide = "\\" in text  # only an escape can write what the text itself may not hold
        self.findings: list[Finding] = []
        self.fatal = False
        self.nodes = 0

    def _place(self, node: Node) -> Location:
        return Location(self.path, node.start_mark.line + 1, node.start_mark.column + 1)

    def _refuse_tag(self, node: Node) -> Finding:
        return rules.TAG.build_finding(self._place(node), f"the tag {node.tag} is not used in records")

    def convert(self, node: Node, depth: int) -> Any:
        """Return the plain value of one node."""
        self.nodes += 1
        if self.nodes > MAX_NODES or depth > MAX_DEPTH:
            if not self.fatal:
                what = f"more than {MAX_NODES:,} values" if self.nodes > MAX_NODES else f"more than {MAX_DEPTH} levels"
                self.findings.append(rules.TOO_DEEP.build_finding(self._place(node), f"the file has {what}"))
            self.fatal = True
            return None
        if type(node) is ScalarNode:
            return self.convert_scalar(node)
        if type(node) is MappingNode:
            return self.convert_map(node, depth + 1)
        if node.tag != _SEQ:
            self.findings.append(self._refuse_tag(node))
        return [self.convert(item, depth + 1) for item in node.value]

    def convert_map(self, node: MappingNode, depth: int) -> dict[str, Any]:
        """Return a map; a key that stands twice is a finding, and its first value is kept."""
        if node.tag != _MAP:
            self.findings.append(self._refuse_tag(node))
        result: dict[str, Any] = {}
        first: dict[str, Node] = {}
        for key_node, value_node in node.value:
            if type(key_node) is not ScalarNode or key_node.value == "<<":
                self.findings.append(rules.KEY.build_finding(self._place(key_node), "a key must be one word"))
                continue
            key = key_node.value
            self.refuse_hidden(key_node)
            if key in result:
                where = self._place(first[key])
                message = f'"{key}" stands twice in the same map; the first is on line {where.line}'
                self.findings.append(rules.DUPLICATE_KEY.build_finding(self._place(key_node), message))
                continue
            first[key] = key_node
            result[key] = self.convert(value_node, depth)
        return result

    def convert_scalar(self, node: ScalarNode) -> Any:
        """Return text, int, float, bool or None."""
        tag, value = node.tag, node.value
        if tag == _STR:
            self.refuse_hidden(node)
            return value
        if tag == "tag:yaml.org,2002:int":
            return self._parse_int(node)
        if tag == "tag:yaml.org,2002:float":
            return self._parse_float(node)
        if tag == "tag:yaml.org,2002:null":
            return None
        if tag == "tag:yaml.org,2002:bool":
            return value == "true"
        rule, message = rules.TAG, f"the tag {tag} is not used in records"
        if tag == "tag:repro-pipeline,not-finite":
            rule, message = rules.NOT_FINITE, f'"{value}" is no number that can be measured'
        self.findings.append(rule.build_finding(self._place(node), message))
        return value

    def refuse_hidden(self, node: ScalarNode) -> None:
        """An escape in double quotes can write a character that the text itself may not hold."""
        if not self.may_hide:
            return
        hidden = find_hidden(node.value)
        if hidden is None and "\r" in node.value:
            hidden = node.value.index("\r")  # line ends come as \n: this one was written to go back over a line
        if hidden is not None:
            message = describe_hidden(node.value[hidden])
            self.findings.append(rules.HIDDEN_CHARACTER.build_finding(self._place(node), message))

    def _parse_int(self, node: ScalarNode) -> Any:
        if len(node.value) <= 18 and _INT.match(node.value):
            return int(node.value)
        return self._refuse_number(node)

    def _parse_float(self, node: ScalarNode) -> Any:
        if len(node.value) <= 40 and _FLOAT.match(node.value):
            number = float(node.value)
            if math.isfinite(number):
                return number
        return self._refuse_number(node)

    def _refuse_number(self, node: ScalarNode) -> None:
        message = f'"{node.value[:40]}" is not a number of usual length'
        self.findings.append(rules.NOT_FINITE.build_finding(self._place(node), message))


def _place_event(path: str, event: Any) -> Location:
    return Location(path, event.start_mark.line + 1, event.start_mark.column + 1)


def find_aliases(path: str, text: str) -> Iterator[Finding]:
    """Yield a finding for each anchor and alias of the text."""
    if "*" not in text and "&" not in text:
        return
    try:
        for event in yaml.parse(text, Loader=RecordLoader):
            if isinstance(event, yaml.AliasEvent):
                yield rules.ALIAS.build_finding(
                    _place_event(path, event), f"`*{event.anchor}` stands for a value written elsewhere"
                )
            elif isinstance(event, yaml.NodeEvent) and event.anchor is not None:
                yield rules.ALIAS.build_finding(
                    _place_event(path, event), f"`&{event.anchor}` marks a value to be used again"
                )
    except (yaml.YAMLError, RecursionError):
        return
