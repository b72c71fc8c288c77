"""Values of texts that were read before: the same as if they were parsed anew, in every case."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.portfolio.build_cache import BuildCache
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.reading import kept_trees
from pipeline.reading.kept_trees import ROOM, KeptTrees
from pipeline.reading.tree import parse_tree


class Shelf:
    """A keeper in memory, which counts what was of use."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], tuple[str, Any]] = {}
        self.used: list[str] = []

    def take_all(self, room: str, stamp: str) -> Iterator[tuple[str, Any]]:
        yield from ((name, v) for (r, name), (s, v) in list(self.kept.items()) if (r, s) == (room, stamp))

    def keep(self, room: str, name: str, stamp: str, value: Any) -> None:
        self.kept[(room, name)] = (stamp, value)

    def mark_used(self, room: str, name: str) -> None:
        assert room == ROOM
        self.used.append(name)


TEXTS = [
    "a: 1\nb: [x, 2.50, true, null, 1e3]\n", "a: {b: {c: '01'}}\n", "", "- a\n", "a: 1\na: 2\n", "a: &x 1\nb: *x\n",
    "a: [\n", "a: .nan\n", 'a: "\\u202e"\n', "a: 2024-01-01\nb: no\n", "a: !!python/none x\n", "ü: ß\n", "a: 9e999\n",
]  # fmt: skip


@pytest.mark.parametrize("text", TEXTS)
def test_what_was_kept_reads_as_what_is_parsed(text: str) -> None:
    shelf = Shelf()
    fresh = parse_tree("p", text)
    assert KeptTrees(shelf).parse("p", text) == fresh
    again = KeptTrees(shelf).parse("p", text)
    assert again == fresh
    is_clean = fresh[0] is not None and not fresh[1]
    assert shelf.used == (["p"] if is_clean else [])
    if again[0] is not None and fresh[0] is not None:
        assert repr(again[0].value) == repr(fresh[0].value), "1 and 1.0 and True are equal, and not the same"


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_text_after_any_other(first: str, second: str) -> None:
    shelf = Shelf()
    KeptTrees(shelf).parse("p", first)
    assert KeptTrees(shelf).parse("p", second) == parse_tree("p", second)


@pytest.mark.parametrize("value", [None, [], ["x"], ["d", 3], {"a": 1}, ["d", "[1]"], "text"])
def test_what_is_not_of_our_making_is_parsed_anew(value: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_trees, "_compute_digest", lambda _: "d")
    shelf = Shelf()
    shelf.keep(ROOM, "p", kept_trees.compute_stamp(), value)
    assert KeptTrees(shelf).parse("p", "a: 1\n") == parse_tree("p", "a: 1\n")


def check(root: Path) -> Checked:
    cache = BuildCache(root)
    try:
        return check_workspace(root, cache=cache)
    finally:
        cache.close()


@pytest.mark.parametrize(
    ("name", "edit"),
    [
        ("nothing", lambda text: text),
        ("another value", lambda text: text.replace("length", "width", 1)),
        ("a broken line", lambda text: text + "  - [\n"),
        ("an unknown key", lambda text: text + "colour: red\n"),
        ("a comment", lambda text: "# one line more\n" + text),
        ("other line ends", lambda text: text.replace("\n", "\r\n")),
    ],
)
def test_a_check_says_the_same_with_and_without(
    name: str, edit: Callable[[str], str], sample: Callable[..., Path]
) -> None:
    root = sample()
    assert check(root).findings == check_workspace(root).findings, name
    record = root / "projects/SD-100/part.yaml"
    record.write_bytes(edit(record.read_text("utf-8")).encode())
    expected = check_workspace(root)
    for found in (check(root), check(root)):
        assert found.findings == expected.findings
        assert found.workspace == expected.workspace
        assert found.reading.trees == expected.reading.trees


def test_a_workspace_that_cannot_be_written_is_checked_all_the_same(
    sample: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    root = sample()
    (root / ".pipeline").write_text("a file in the place of the folder")
    assert check(root).findings == check_workspace(root).findings
