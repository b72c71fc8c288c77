"""The facts of one version of a record, as short texts that can be compared, and how to find them without parsing the
same lines again for every commit.

A record that was committed twenty times is mostly the same lines twenty times. It is cut where a new key or list item
starts and each distinct piece is parsed once. Wherever cutting could change the meaning (a piece that does not parse
alone, a key that comes twice, an alias, a document mark) the whole is parsed instead, so that the facts are those of
the whole record.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

Facts = Mapping[str, str]
Parse = Callable[[bytes], Mapping[str, Any] | None]
Collect = Callable[[Mapping[str, Any]], Facts]

DEEPER: Mapping[str, int] = {"tools": 4}


def collect_facts(tree: Mapping[str, Any], depth: int = 2, deeper: Mapping[str, int] = DEEPER) -> dict[str, str]:
    """The facts of a parsed record: one for each key or list item down to `depth` levels, `deeper` for the top-level
    keys named there. Keys read like `revisions.C`, `decisions[0]`, `tools.die.steps.ordered`; values are the text of a
    scalar, else JSON with sorted keys, so that layout, key order and comments make no difference.

    >>> collect_facts({"part": "T-1", "revisions": {"C": {"by": "mara"}}, "decisions": [{"say": "go"}], "waivers": []})
    {'part': 'T-1', 'revisions.C': '{"by":"mara"}', 'decisions[0]': '{"say":"go"}', 'waivers': '[]'}
    """
    found: dict[str, str] = {}
    for name, value in tree.items():
        found.update(_walk(str(name), value, deeper.get(str(name), depth) - 1))
    return found


def _walk(key: str, value: Any, levels: int) -> Iterator[tuple[str, str]]:
    if levels > 0 and value and isinstance(value, Mapping):
        for name, item in value.items():
            yield from _walk(f"{key}.{name}", item, levels - 1)
    elif levels > 0 and value and isinstance(value, list | tuple):
        for place, item in enumerate(value):
            yield from _walk(f"{key}[{place}]", item, levels - 1)
    else:
        yield key, render_value(value)


def render_value(value: Any) -> str:
    """The comparable text of a value.

    >>> render_value("go"), render_value(None), render_value({"b": 1, "a": [1.5, True]})
    ('go', 'null', '{"a":[1.5,true],"b":1}')
    """
    if isinstance(value, str):
        return value
    return json.dumps(_name_keys(value), sort_keys=True, ensure_ascii=False, default=str, separators=(",", ":"))


def _name_keys(value: Any) -> Any:
    """The same value with every key a text: keys of several types (YAML 1.1 reads `on` as true) have no order."""
    if isinstance(value, Mapping):
        return {str(name): _name_keys(item) for name, item in value.items()}
    return [_name_keys(item) for item in value] if isinstance(value, list | tuple) else value


_TOP = re.compile(rb"\n(?=[^\s#-])")
_TIES = re.compile(rb"[&*!]")
_TOP_KEY = re.compile(rb"([A-Za-z_][\w-]*):(?=[\s])")
_HEADER = re.compile(rb"[A-Za-z_][\w-]*:[ \t]*(?:#[^\n]*)?\r?\n")
_ITEM_KEY = re.compile(rb"([A-Za-z0-9_][\w.-]*):(?=[\s])")


def split_record(content: bytes) -> list[bytes] | None:
    """The blocks of a record, each starting where a line starts with neither a blank, a comment nor a list item; None
    where the record does not start with a block."""
    starts = [found.end() for found in _TOP.finditer(content)]
    if content[:1].strip() and content[:1] not in (b"#", b"-"):
        starts.insert(0, 0)
    head = content[: starts[0]] if starts else content
    if not starts or any(line.strip() and not line.lstrip().startswith(b"#") for line in head.splitlines()):
        return None
    return [content[start:end] for start, end in pairwise([*starts, len(content)])]


def split_block(block: bytes) -> list[bytes] | None:
    """The items of a block that is a map or a list in block style, each with the block's own header so that it can be
    parsed alone; None where the block is something else, a key comes twice, or an anchor may tie items together."""
    header = _HEADER.match(block)
    if header is None or _TIES.search(block):
        return None
    items = _cut_items(block[header.end() :])
    if not items or len(items) < 2:
        return None
    is_list = items[0].lstrip().startswith(b"- ")
    names = [found.group(1) if (found := _ITEM_KEY.match(item.lstrip())) else None for item in items]
    if is_list:
        return [header.group() + item for item in items] if all(i.lstrip().startswith(b"- ") for i in items) else None
    return [header.group() + item for item in items] if None not in names and len(set(names)) == len(names) else None


def _cut_items(body: bytes) -> list[bytes] | None:
    lines = body.splitlines(keepends=True)
    first = next((line for line in lines if line.strip() and not line.lstrip().startswith(b"#")), None)
    if first is None:
        return None
    indent = len(first) - len(first.lstrip(b" "))
    items: list[list[bytes]] = []
    for line in lines:
        depth = len(line) - len(line.lstrip(b" "))
        bare = line[depth:]
        if not bare.strip() or (bare.startswith(b"#") and not items):
            if items:
                items[-1].append(line)
        elif depth < indent and not bare.startswith(b"#"):
            return None
        elif depth == indent and not bare.startswith(b"#"):
            items.append([line])
        else:
            items[-1].append(line)
    return [b"".join(item) for item in items]


HIDDEN = "\0"
_PLACE = re.compile(r"\[\d+\]$")


def is_item(key: str) -> bool:
    """Whether an internal key names a list item."""
    return "[]" in key


def name_items(facts: Mapping[str, str]) -> dict[str, str]:
    """Internal keys: a list item is named after its text instead of its place, so that it stays the same item wherever
    it stands (`decisions[]` and a digest of the text; a second item of the same text gets `#2`). The order stays.

    >>> list(name_items({"part": "T-1", "decisions[0]": "go", "decisions[1]": "go"}))
    ['part', 'decisions[]1ec558a60b5d', 'decisions[]1ec558a60b5d#2']
    """
    named: dict[str, str] = {}
    for key, value in facts.items():
        name = _PLACE.sub(lambda _: "[]" + _digest(value), key)  # noqa: B023 (called at once)
        again = 1
        while (f"{name}#{again}" if again > 1 else name) in named:
            again += 1
        named[f"{name}#{again}" if again > 1 else name] = value
    return named


def _digest(text: str) -> str:
    return hashlib.sha1(text.encode("utf-8", "surrogatepass"), usedforsecurity=False).hexdigest()[:12]


def place_items(keys: Iterable[str]) -> dict[str, str]:
    """internal key -> the key that a person knows: list items get their places back, counted in the order given.

    >>> list(place_items(["part", "decisions[]1ec558a60b5d", "decisions[]1ec558a60b5d#2"]).values())
    ['part', 'decisions[0]', 'decisions[1]']
    """
    counted: Counter[str] = Counter()
    placed: dict[str, str] = {}
    for key in keys:
        base, mark, _ = key.partition("[]")
        placed[key] = f"{base}[{counted[base]}]" if mark else key
        counted[base] += 1
    return placed


class FactReader:
    """Reads the facts of versions. What is mostly new is parsed whole and its pieces are learnt from the answer; of
    what is mostly known only the new pieces are parsed. `only`: the top-level keys that are wanted; other
    blocks are not parsed and give one hidden fact (its key starts with `HIDDEN`). `parsed` counts the calls
    of `parse`."""

    def __init__(self, parse: Parse, collect: Collect, splits: bool = True, only: Container[str] | None = None) -> None:
        self._parse = parse
        self._collect = collect
        self._splits = splits
        self._only = only
        self._blocks: dict[bytes, tuple[bytes, dict[str, str]] | None] = {}
        self._pieces: dict[bytes, dict[str, str] | None] = {}
        self.parsed = 0

    def read_version(self, content: bytes) -> tuple[dict[str, str], ...] | None:
        """The facts of a version as one map for each block (the same block gives the same object), or None if the
        record cannot be read. The keys are internal ones (`name_items`)."""
        blocks = (split_record(content) if self._splits else None) or []
        if self._only is None and 2 * sum(block not in self._blocks for block in blocks) > len(blocks):
            self._learn_record(content, blocks)
        found = [self._read_block(block) for block in blocks]
        known = [block for block in found if block is not None]
        if known and len({name for name, _ in known}) == len(found):
            return tuple(facts for _, facts in known)
        whole = self._read_piece(content)
        return None if whole is None else (name_items(whole),)

    def _learn_record(self, content: bytes, blocks: Sequence[bytes]) -> None:
        """Parse a record once for all its blocks, if they are as many as its keys and nothing ties them together."""
        if _TIES.search(content):
            return
        tree = self._parse_once(content)
        names = [found.group(1) if (found := _TOP_KEY.match(block)) else b"" for block in blocks]
        if tree is None or len(tree) != len(blocks) or not all(names):
            self._pieces[content] = None if tree is None else self._collect_safely(tree)
            return
        for block, name, (key, value) in zip(blocks, names, tree.items(), strict=True):
            if block not in self._blocks:
                facts = self._learn_block(block, key, value)
                self._blocks[block] = None if facts is None else (name, name_items(facts))

    def _learn_block(self, block: bytes, key: str, value: Any) -> dict[str, str] | None:
        """The facts of a block that was parsed, and of each of its items, if they are as many as its texts."""
        items = split_block(block)
        if items is None or not isinstance(value, Mapping | list) or len(items) != len(value):
            return self._collect_safely({key: value})
        parts = [{name: part} for name, part in value.items()] if isinstance(value, Mapping) else [[v] for v in value]
        facts = [self._collect_safely({key: part}) for part in parts]
        self._pieces.update(zip(items, facts, strict=True))
        known = [fact for fact in facts if fact is not None]
        return join_items(known) if len(known) == len(facts) else None

    def _read_block(self, block: bytes) -> tuple[bytes, dict[str, str]] | None:
        """The key of a block and its facts; None where it must not be taken out of its record."""
        if block not in self._blocks:
            key = _TOP_KEY.match(block)
            facts = self._read_wanted(key.group(1).decode(), block) if key is not None else None
            self._blocks[block] = None if key is None or facts is None else (key.group(1), name_items(facts))
        return self._blocks[block]

    def _read_wanted(self, name: str, block: bytes) -> dict[str, str] | None:
        """The facts of a block, or one hidden fact (the digest of its text) if nobody wants to know them."""
        if self._only is None or name in self._only:
            return self._read_items(block)
        return {f"{HIDDEN}{name}": hashlib.sha1(block, usedforsecurity=False).hexdigest()[:12]}

    def _read_items(self, block: bytes) -> dict[str, str] | None:
        learnt = self._pieces.get(block)
        if learnt:
            return learnt  # it holds one item, and a longer version of it was taken apart
        items = split_block(block) or []
        if 2 * sum(item not in self._pieces for item in items) >= len(items):
            tree = self._parse_once(block)
            return self._learn_block(block, *next(iter(tree.items()))) if tree is not None and len(tree) == 1 else None
        facts = [self._read_piece(item) for item in items]
        if any(not fact for fact in facts):
            return self._read_piece(block)
        return join_items([fact for fact in facts if fact is not None])

    def _read_piece(self, piece: bytes) -> dict[str, str] | None:
        if piece not in self._pieces:
            tree = self._parse_once(piece)
            self._pieces[piece] = None if tree is None else self._collect_safely(tree)
        return self._pieces[piece]

    def _parse_once(self, content: bytes) -> Mapping[str, Any] | None:
        self.parsed += 1
        return self._parse(content)

    def _collect_safely(self, tree: Mapping[str, Any]) -> dict[str, str] | None:
        """A tree that holds itself (by an alias) has no facts."""
        try:
            return dict(self._collect(tree))
        except (RecursionError, ValueError):
            return None


def join_items(facts: Sequence[Mapping[str, str]]) -> dict[str, str]:
    """The facts of a block from those of its items: each list item was parsed as a list of one, so its place is put
    right."""
    joined: dict[str, str] = {}
    for place, fact in enumerate(facts):
        for key, value in fact.items():
            name, bracket, rest = key.partition("[0]")
            is_item = bool(bracket) and "." not in name
            joined[f"{name}[{place}]{rest}" if is_item else key] = value
    return joined
