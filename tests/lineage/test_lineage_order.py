"""What comes first stands first: chains of any length, branches that meet again, rings."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.lineage.order import order_parents_first


def look_up(parents: dict[str, str]) -> Callable[[str], str]:
    """Return a function that gives the parents of a letter, none where nothing is said."""
    return lambda name: parents.get(name, "")


@pytest.mark.parametrize(
    ("names", "parents", "order"),
    [
        ("", {}, ""),
        ("cab", {}, "cab"),  # nothing between them: as they are given
        ("ab", {"a": "b"}, "ba"),
        ("abc", {"a": "b", "b": "c"}, "cba"),
        ("aab", {}, "ab"),  # each once
        ("a", {"a": "xy", "y": "z"}, "xzya"),  # parents that nobody asked for stand there too, in their order
        ("abcd", {"a": "bc", "b": "d", "c": "d"}, "dbca"),  # d is the parent of two and stands before both, once
        ("ab", {"a": "b", "b": "a"}, "ba"),  # a ring: the one that was met first comes last
        ("abc", {"a": "b", "b": "c", "c": "a"}, "cba"),
        ("cab", {"a": "b", "b": "c", "c": "a"}, "bac"),
        ("a", {"a": "a"}, "a"),
        ("ab", {"a": "ab"}, "ba"),
    ],
)
def test_each_name_stands_after_its_parents(names: str, parents: dict[str, str], order: str) -> None:
    assert order_parents_first(names, look_up(parents)) == tuple(order)


LETTERS = st.sampled_from("abcdefgh")


@given(st.permutations("abcdefgh"), st.lists(st.tuples(LETTERS, LETTERS), max_size=20))
def test_without_a_ring_every_parent_stands_before_its_child(names: list[str], pairs: list[tuple[str, str]]) -> None:
    """A parent comes earlier in the alphabet, so there is no ring."""
    parents: dict[str, str] = {}
    for child, parent in ((max(pair), min(pair)) for pair in pairs if len(set(pair)) == 2):
        parents[child] = parents.get(child, "") + parent
    order = order_parents_first(names, look_up(parents))
    assert sorted(order) == sorted(names)
    assert all(order.index(parent) < order.index(child) for child in parents for parent in parents[child])


def test_a_chain_may_be_longer_than_calls_can_be_deep() -> None:
    order = order_parents_first(["0"], lambda name: [str(int(name) + 1)] if int(name) < 50_000 else [])
    assert order[0] == "50000" and order[-1] == "0" and len(order) == 50_001
