"""Cutting a record into pieces never changes what it says, whatever came before it."""

from __future__ import annotations

from typing import Any

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.history.commits import parse_moment
from pipeline.history.facts import FactReader, collect_facts, name_items, place_items

LINES = st.sampled_from(
    [
        b"a: 1", b"b:", b"c: {x: 1,", b"  y: 2}", b"  y: 2", b"  z: {q: [1, 2]}", b"  - one", b"  - {k: v}", b"- two", b"- - 3",
        b"d: |", b"    text", b"  text: more", b"", b"# note", b"  # note", b'e: "open', b'  shut"', b"f: &t {x: 1}", b"g: *t",
        b"  h: *t", b"  i: &t 1", b"a: 2", b"---", b"...", b"  w:", b"    v: 1", b"    - u", b"<<: {m: 1}", b"on: yes", b"? k", b": v",
        b"\tq: 1", b"r: >-", b"s: 'it''s'", b"t: !!str 1", b"  'y': 3", b"  on: 1", b"k: [1,", b"2]", b"\xff: 1", b"l: - 1",
    ]
)  # fmt: skip
RECORDS = st.lists(st.lists(LINES, max_size=9).map(lambda lines: b"\n".join(lines) + b"\n"), min_size=1, max_size=5)


def parse(content: bytes) -> dict[str, Any] | None:
    """A strict parser: duplicate keys make a record unreadable."""
    try:
        node = yaml.compose(content, yaml.CSafeLoader)
        tree = yaml.load(content, yaml.CSafeLoader)
    except (yaml.YAMLError, UnicodeDecodeError, ValueError, TypeError):
        return None
    return tree if isinstance(tree, dict) and not has_twins(node, set()) else None


def has_twins(node: Any, seen: set[int]) -> bool:
    if id(node) in seen or not isinstance(node, yaml.CollectionNode):
        return False
    seen.add(id(node))
    if isinstance(node, yaml.SequenceNode):
        return any(has_twins(item, seen) for item in node.value)
    keys = [getattr(key, "value", None) for key, _ in node.value]
    texts = [str(key) for key in keys]
    return len(set(texts)) < len(texts) or any(has_twins(value, seen) for _, value in node.value)


@settings(max_examples=600, deadline=None)
@given(RECORDS)
def test_pieces_say_what_the_whole_says(records: list[bytes]) -> None:
    reader = FactReader(parse, collect_facts)
    for content in records:
        cut, whole = reader.read_version(content), FactReader(parse, collect_facts, splits=False).read_version(content)
        assert (cut is None) == (whole is None), content
        if cut is not None and whole is not None:
            assert [pair for block in cut for pair in block.items()] == list(whole[0].items()), content


@given(st.lists(st.sampled_from(["go", "hold", "drop"]), max_size=6))
def test_places_of_list_items_come_back(words: list[str]) -> None:
    facts = collect_facts({"part": "T", "decisions": words}) if words else {"part": "T"}
    assert list(place_items(name_items(facts)).values()) == list(facts)


@given(st.text(max_size=30))
def test_any_date_is_read(text: str) -> None:
    assert parse_moment(text).tzinfo is not None


@given(st.integers(-(10**14), 10**14), st.integers(-9999, 9999))
def test_any_number_as_a_date_is_read(seconds: int, zone: int) -> None:
    assert parse_moment(f"{seconds} {zone:+05d}").tzinfo is not None
