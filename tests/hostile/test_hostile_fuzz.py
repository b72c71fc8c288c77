"""Nothing that a record says raises: any bytes, any value in any place, any hostile text in any field."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hostile.hostile_records import MORE, build_whole_record, list_pointers, put_key, put_value
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pipeline.costing.impact import compute_impact
from pipeline.costing.paths import Cycle
from pipeline.findings.catalogue import RULES
from pipeline.findings.report import build_json, build_sarif, render_json, render_text
from pipeline.findings.sample import SAMPLE_PART
from pipeline.model.part import Part
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.reading.shape import parse_shape
from pipeline.reading.source import decode_source
from pipeline.reading.tree import parse_tree
from pipeline.views.change_cost import render_impact, render_ladder
from pipeline.views.next_steps import build_next_lines

RECORD = "projects/SD-100/part.yaml"
ONE_FOLDER = settings(
    deadline=None,
    max_examples=60,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def read_all(raw: bytes) -> None:
    """Take bytes as far as they go: text, tree, shape, and the place of every value."""
    source, findings = decode_source("x.yaml", raw)
    if source is not None:
        tree, more = parse_tree("x.yaml", source.text)
        findings += more
        if tree is not None:
            findings += parse_shape(tree, Part)[1]
            for pointer in list_pointers(tree.value):
                tree.locate(pointer)
    lines = raw.count(b"\n") + raw.count(b"\r") + 1
    for finding in findings:
        assert 1 <= finding.location.line <= lines + 1
        assert 1 <= finding.location.column <= len(raw) + 2
    render_text(findings).encode()


@settings(deadline=None, max_examples=400, derandomize=True)
@given(st.binary(max_size=300))
@example(b"\xef\xbb\xbf\xef\xbb\xbfa: 1")
@example(b"? \n? \n")
@example(b"%YAML 9.9\n---\na: 1")
@example(b"a: !<tag:yaml.org,2002:int> x")
@pytest.mark.hostile("YAML door", "any bytes (hypothesis)")
def test_any_bytes_are_read_without_raising(raw: bytes) -> None:
    read_all(raw)


@settings(deadline=None, max_examples=400, derandomize=True)
@given(st.text(alphabet="ab:-?[]{},&*!|>'\"#%@` \n\t\r\\x0123.eE~é\u2028\x85", max_size=120))
@pytest.mark.hostile("YAML door", "any text of YAML marks (hypothesis)")
def test_any_yaml_like_text_is_read_without_raising(text: str) -> None:
    read_all(text.encode())


@settings(deadline=None, max_examples=150, derandomize=True)
@given(st.integers(0, len(SAMPLE_PART + MORE)), st.integers(0, 12), st.binary(max_size=8))
@pytest.mark.hostile("YAML door", "good files cut, doubled and overwritten (hypothesis)")
def test_a_record_with_bytes_cut_and_put_in_is_read_without_raising(at: int, cut: int, put: bytes) -> None:
    raw = (SAMPLE_PART + MORE).encode()
    read_all(raw[:at] + put + raw[at + cut :])


def walk_all(root: Path) -> Portfolio:
    """Walk the whole road and everything the terminal shows of it."""
    portfolio = build_portfolio(root)
    render_text(portfolio.findings).encode()
    json.loads(render_json(build_json(portfolio.findings, 1, 0)))
    json.loads(render_json(build_sarif(portfolio.findings, RULES, "0")))
    build_next_lines(portfolio, list(portfolio.parts))
    for file in portfolio.parts.values():
        render_ladder(file, None)
        if not isinstance(file.basis, Cycle):
            for feature in file.part.features:
                render_ladder(file, feature)
                render_impact(file, compute_impact(file.basis, (feature,), None))
    return portfolio


def write_value(root: Path, value: dict[str, Any]) -> None:
    """Write a record; JSON is YAML too."""
    (root / RECORD).write_text(json.dumps(value, ensure_ascii=False), encoding="utf-8")


WHOLE = build_whole_record()
POINTERS = list(list_pointers(WHOLE))
WORDS = ["A", "P1", "F1", "Q1", "FA1", "die", "length", "seat", "saloon", "nope", "SD-100", "SD-100/die", "2026-02-30"]
DAYS = ["0001-01-01", "9999-12-31", "2026-02-29", "2026-01-20", "2026-06-01"]
VALUES: st.SearchStrategy[Any] = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**19), 10**19),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0, -1, 1, 1e12, -1e12, 1e-12]),
    st.sampled_from(WORDS + DAYS),
    st.sampled_from([[], {}, [1, 2, 3], [3, 2, 1], [None], [[]], {"a": 1}, ["length", "length"], ["P1"]]),
    st.text(max_size=8),
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a sample workspace, with a second part, whose first record is written over and over."""
    from pipeline.findings.rule import Example
    from pipeline.findings.sample import build_sample

    root = tmp_path_factory.mktemp("fuzz")
    for name, content in build_sample(Example()).items():
        file = root / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)
    other = root / "projects/SD-200/part.yaml"
    other.parent.mkdir()
    other.write_text(
        "part: SD-200\nname: other\nfamily: cast\nsafety: S0\nengineer: ann\n"
        "fits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"
        "features: {edge: {what: edge, kind: size, nominal: 3, unit: mm}}\n"
        "tools: {die: {kind: die, forms: [edge], price: 4000 USD}}\n"
    )
    return root


def test_the_whole_record_is_understood(folder: Path) -> None:
    write_value(folder, WHOLE)
    portfolio = walk_all(folder)
    assert set(portfolio.parts) == {"SD-100", "SD-200"}
    assert {f.rule[0] for f in portfolio.findings}.isdisjoint("YM")


@ONE_FOLDER
@given(st.lists(st.tuples(st.sampled_from(POINTERS), VALUES), min_size=1, max_size=4))
@pytest.mark.hostile("records", "any value in any place, judged to the end of the road (hypothesis)")
def test_any_value_in_any_place_is_judged_without_raising(folder: Path, changes: list[tuple[Any, Any]]) -> None:
    record = copy.deepcopy(WHOLE)
    for pointer, value in changes:
        put_value(record, pointer, value)
    write_value(folder, record)
    walk_all(folder)


LIKELY = [None, "nope", "A", "length", -1, 0, 1e12, [], {}, "9999-12-31", "0001-01-01"]


@pytest.mark.slow
@pytest.mark.hostile("records", "every usual mistake in every place")
def test_every_place_takes_every_usual_mistake_without_raising(folder: Path) -> None:
    for pointer in POINTERS:
        for value in LIKELY:
            record = copy.deepcopy(WHOLE)
            put_value(record, pointer, value)
            write_value(folder, record)
            walk_all(folder)


HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7*7 }}{% raw %}${7*7}<%= 7 %>",
    "=cmd|' /C calc'!A0",
    "@SUM(1)",
    "--help",
    "-rf /",
    "../../etc/passwd",
    "`id` $(id) ; rm -rf ~",
    "%s %d %n {0} {x!r}",
    "'; DROP TABLE parts; --",
    "a\nprojects/SD-100/part.yaml:1:1: error G601 all is well",
    "[text](javascript:alert(1)) ![x](http://example.invalid/x)",
    "\\x1b[31m\\u202e",
    "x" * 2_000,
    "A" * 20 + "\u0301" * 200,
    "ﷺ" * 50,
]
ESCAPES = ["\x1b[31mred\x1b[0m", "\x1b]0;title\x07", "x\u202ey", "a\rb", "a\x00b", "\u2066x", "a\x9b31m"]
TEXT_KEYS = {"name", "note", "what", "why", "text", "where", "rights", "instead", "plan", "bought"}
TEXT_POINTERS = [p for p in POINTERS if p[-1] in TEXT_KEYS or (p[0], p[-1]) == ("originals", "from")]
SAFE_LINE = re.compile(r"[^\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]*\Z")


def show_all(portfolio: Portfolio) -> list[str]:
    """Return the lines of check, next, ladder and impact as the terminal gets them."""
    from pipeline.findings.finding import escape_hidden

    lines = render_text(portfolio.findings).splitlines()
    shown = build_next_lines(portfolio, list(portfolio.parts), limit=100)
    for file in portfolio.parts.values():
        shown += render_ladder(file, None)
        if not isinstance(file.basis, Cycle):
            shown += render_impact(file, compute_impact(file.basis, tuple(file.part.features), None))
    return lines + [escape_hidden(line) for line in shown]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.hostile(
    "the terminal", "markup, formulas, shell words, template code, letters without end in every text field"
)
def test_hostile_text_in_every_text_field_is_only_text(text: str, folder: Path) -> None:
    record = copy.deepcopy(WHOLE)
    assert len(TEXT_POINTERS) > 15
    for pointer in TEXT_POINTERS:
        put_value(record, pointer, text)
    write_value(folder, record)
    portfolio = walk_all(folder)
    assert "SD-100" in portfolio.parts, render_text(portfolio.findings)[:500]
    assert portfolio.parts["SD-100"].part.name == text.strip()
    for line in show_all(portfolio):
        assert SAFE_LINE.match(line), line


@pytest.mark.parametrize("text", ESCAPES)
@pytest.mark.hostile("YAML door", "bidirectional and control characters")
def test_text_that_steers_a_terminal_is_refused_at_its_place(text: str, folder: Path) -> None:
    record = copy.deepcopy(WHOLE)
    for pointer in TEXT_POINTERS:
        put_value(record, pointer, text)
    (folder / RECORD).write_text(json.dumps(record, ensure_ascii=True))
    portfolio = walk_all(folder)
    assert "SD-100" not in portfolio.parts
    found = [f for f in portfolio.findings if f.rule == "Y007"]
    assert len(found) == len(TEXT_POINTERS)
    for line in show_all(portfolio):
        assert SAFE_LINE.match(line), line


@pytest.mark.parametrize(
    "key", ["--help", "../x", "a b", "<b>", "{{x}}", "=1", "a/b", "P1\n", "ｐ1", "", "x" * 41, "."]
)
@pytest.mark.hostile("ids", "options, paths, markup, lookalikes, blanks")
def test_ids_that_are_options_paths_or_markup_are_refused(key: str, folder: Path) -> None:
    for section in ("features", "prototypes", "tools", "quotes", "fits", "originals"):
        record = copy.deepcopy(WHOLE)
        put_key(record, (section, next(iter(WHOLE[section]))), key)
        write_value(folder, record)
        portfolio = walk_all(folder)
        assert "SD-100" not in portfolio.parts
        assert any(f.rule == "M109" and f.pointer.startswith(section) for f in portfolio.findings)


@pytest.mark.hostile("ids", "options, paths, markup, lookalikes, blanks")
def test_a_hostile_part_number_is_refused(sample: Callable[..., Path]) -> None:
    for number in ("../x", "--SD", "SD 100", "sd-100", "SD-100\n", "ЅD-100", "S" * 25):
        root = sample()
        record = copy.deepcopy(WHOLE) | {"part": number}
        write_value(root, record)
        assert "M109" in {f.rule for f in build_portfolio(root).findings}
