"""Law of the round trip: a command changes only the lines that it must, on every record of the demo and on made-up
ones; comments, order, blanks, quotes and line ends of all the rest stay to the byte."""

from __future__ import annotations

import difflib
from functools import cache
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.demo.source import find_demo_source
from pipeline.reading.spans import Span, find_spans
from pipeline.reading.tree import parse_tree
from pipeline.writing.encoding import edit_bytes
from pipeline.writing.flow_text import render_flow, simplify
from pipeline.writing.records import PART_ORDER, append_item, insert_entry, set_value

SOURCE = find_demo_source()
RECORDS = sorted(path.parent.name for path in SOURCE.glob("projects/*/part.yaml"))
MAPS = ("originals", "measurements", "prototypes", "fit_checks", "tests", "quotes", "tools", "first_articles", "changes",
        "gauge_studies", "sample_runs", "sight_lines", "revisions", "features", "interfaces", "fits")  # fmt: skip
LISTS = ("decisions", "waivers")
ENTRY = {"of": "A", "on": "2026-05-20", "gives": {"x": 1.5}, "why": "a: b # c"}


@cache
def read_record(number: str) -> str:
    return (SOURCE / "projects" / number / "part.yaml").read_bytes().decode("utf-8")


def count_changes(before: str, after: str) -> tuple[list[str], list[str]]:
    """Return the lines that are gone and those that came."""
    lines = list(difflib.unified_diff(before.splitlines(keepends=True), after.splitlines(keepends=True), n=0))[2:]
    return [line[1:] for line in lines if line[0] == "-"], [line[1:] for line in lines if line[0] == "+"]


@pytest.mark.parametrize("number", RECORDS)
def test_a_new_entry_changes_no_line_of_any_demo_record(number: str) -> None:
    text = read_record(number)
    for section in MAPS:
        after = insert_entry(text, section, "ZZ9", ENTRY)
        gone, come = count_changes(text, after)
        is_flow = any(line.startswith(f"{section}: {{") for line in gone)
        assert not gone or is_flow, (section, gone)
        assert len([line for line in come if line.strip()]) <= (1 if is_flow else 2 + len(ENTRY))
    for section in LISTS:
        gone, come = count_changes(text, append_item(text, section, ENTRY))
        assert not gone and len([line for line in come if line.strip()]) <= 2


@pytest.mark.parametrize("number", RECORDS)
def test_a_new_value_changes_one_line_of_any_demo_record(number: str) -> None:
    text = read_record(number)
    root = find_spans(text)
    assert root is not None
    for pointer, span in list(_walk(root, ()))[::29]:
        after = set_value(text, pointer, "another value: #1")
        gone, come = count_changes(text, after)
        lines = text[span.start : span.end].count("\n") + 1
        assert len(gone) <= lines and len(come) <= 1, (pointer, gone, come)
        assert _count_comments(after) >= _count_comments(text) - text[span.start : span.end].count("#")


@pytest.mark.parametrize("number", RECORDS)
def test_a_step_of_a_tool_changes_the_line_of_that_tool_alone(number: str) -> None:
    text = read_record(number)
    tree, _ = parse_tree("x", text)
    assert tree is not None
    for name, tool in tree.value.get("tools", {}).items():
        if "accepted" not in tool.get("steps", {}):
            place: tuple[str, ...] = ("tools", name, "steps")
            value: Any = {"accepted": "2027-01-04"}
            if "steps" in tool:
                place, value = (*place, "accepted"), "2027-01-04"
            gone, come = count_changes(text, set_value(text, place, value))
            assert len(gone) == len(come) == 1 and come[0].lstrip().startswith(f"{name}:")


def _count_comments(text: str) -> int:
    return sum(" #" in line or line.startswith("#") for line in text.splitlines())


def _walk(span: Span, pointer: tuple[str | int, ...]) -> Any:
    for key, child in span.inside.items() if isinstance(span.inside, dict) else enumerate(span.inside):
        yield (*pointer, key), child
        yield from _walk(child, (*pointer, key))


@pytest.mark.parametrize("number", RECORDS[:8])
def test_windows_line_ends_and_a_byte_order_mark_change_nothing_about_it(number: str) -> None:
    plain = read_record(number)
    windows = b"\xef\xbb\xbf" + plain.replace("\n", "\r\n").encode()
    for edit in (lambda t: insert_entry(t, "fit_checks", "ZZ9", ENTRY), lambda t: append_item(t, "waivers", ENTRY)):
        made = edit_bytes(windows, edit)
        assert made == b"\xef\xbb\xbf" + edit(plain).replace("\n", "\r\n").encode()


KEY = st.from_regex(r"[A-Za-z][A-Za-z0-9_-]{0,6}", fullmatch=True).filter(lambda k: k not in ("true", "false", "null"))
TEXT = st.text(
    st.characters(
        min_codepoint=32, max_codepoint=0x17F, exclude_characters="\x7f" + "".join(map(chr, range(0x80, 0xA0))) + "\xad"
    ),
    min_size=1,
    max_size=14,
)
SCALAR = st.one_of(st.integers(-10**6, 10**6), st.floats(-1e6, 1e6, allow_nan=False).map(lambda x: round(x, 4)), TEXT,
                   st.booleans(), st.none())  # fmt: skip
VALUE = st.recursive(
    SCALAR, lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEY, inner, max_size=3)), max_leaves=6
)
ENTRIES = st.dictionaries(KEY, st.dictionaries(KEY, VALUE, min_size=1, max_size=4), min_size=1, max_size=4)
COMMENT = st.one_of(st.just(""), st.just("   # a note, {not: a map}"), st.just(" # - x"))


@st.composite
def records(draw: st.DrawFn) -> str:
    """A record in the styles that people use: entries on a line or in lines, comments, blanks, odd order, CRLF."""
    lines = [draw(st.sampled_from(["# head", ""])), f"part: A1{draw(COMMENT)}", "name: x"]
    for section in draw(st.lists(st.sampled_from(MAPS), unique=True, max_size=4)):
        entries = draw(ENTRIES)
        indent = " " * draw(st.integers(1, 4))
        lines += [*draw(st.sampled_from([[], [""], ["", "# above"]])), f"{section}:{draw(COMMENT)}"]
        wide = draw(st.sampled_from([0, 12]))
        for key, entry in entries.items():
            if draw(st.booleans()):
                lines.append(f"{indent}{f'{key}:':<{wide}} {render_flow(entry)}{draw(COMMENT)}")
            else:
                lines.append(f"{indent}{key}:{draw(COMMENT)}")
                lines += [f"{indent}  {name}: {render_flow(value)}{draw(COMMENT)}" for name, value in entry.items()]
            lines += draw(st.sampled_from([[], [], [f"{indent}# between"], [""]]))
    if draw(st.booleans()):
        lines += ["decisions:", "  - {say: go}" + draw(COMMENT)]
    return draw(st.sampled_from(["\n", "\r\n"])).join(lines) + draw(st.sampled_from(["", "\n", "\n\n# end\n"]))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(records(), st.sampled_from(MAPS), KEY, st.dictionaries(KEY, VALUE, min_size=1, max_size=3))
def test_any_record_keeps_every_byte_around_a_new_entry(
    text: str, section: str, key: str, entry: dict[str, Any]
) -> None:
    before, findings = parse_tree("", text)
    assert before is not None and not findings, findings
    if key in (before.value.get(section) or {}):
        key = key + "_9"
    after = insert_entry(text, section, key, entry)
    tree, _ = parse_tree("", after)
    assert tree is not None
    assert tree.value[section][key] == simplify(entry)
    assert _is_kept(text, after)
    assert {k: v for k, v in tree.value.items() if k != section} == {
        k: v for k, v in before.value.items() if k != section
    }
    assert list(tree.value) == _expect_order(list(before.value), section)


def _is_kept(text: str, after: str) -> bool:
    """True when `after` is `text` with one piece put in."""
    head = 0
    while head < len(text) and head < len(after) and text[head] == after[head]:
        head += 1
    tail = 0
    while tail < len(text) - head and text[-1 - tail] == after[-1 - tail]:
        tail += 1
    return head + tail >= len(text)


def _expect_order(before: list[str], section: str) -> list[str]:
    """A section that is there stays; a new one comes behind the last that the story tells before it."""
    if section in before:
        return before
    rank = {name: place for place, name in enumerate(PART_ORDER)}
    at = max((i for i, name in enumerate(before) if rank[name] < rank[section]), default=-1) + 1
    return [*before[:at], section, *before[at:]]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(VALUE)
def test_any_value_reads_back_as_it_was_written(value: Any) -> None:
    tree, findings = parse_tree("", f"a: {render_flow(value)}\nb: {{c: {render_flow(value)}, d: 1}}\n")
    assert tree is not None and not findings
    assert tree.value == {"a": simplify(value), "b": {"c": simplify(value), "d": 1}}


def test_the_law_can_fail() -> None:
    """The measure itself: an edit that touches a byte elsewhere is seen."""
    assert _is_kept("a: 1\nb: 2\n", "a: 1\nx: 9\nb: 2\n")
    assert not _is_kept("a: 1\nb: 2\n", "a: 1\nx: 9\nb:  3\n")
    assert count_changes("a: 1 # x\n", "a: 1\n")[0] == ["a: 1 # x\n"]
