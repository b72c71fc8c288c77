"""How findings are said: order, repeats, safe text, bounded length, the same list whatever the order of finding."""

from __future__ import annotations

import json
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.findings.catalogue import BY_ID, GROUPS, RULES
from pipeline.findings.finding import (
    Finding,
    Location,
    Related,
    Severity,
    clean_text,
    escape_hidden,
    render_pointer,
)
from pipeline.findings.report import build_json, build_sarif, render_json, render_summary, render_text, sort_findings


def build(path: str = "a", line: int = 1, column: int = 1, rule: str = "Y001", message: str = "x") -> Finding:
    """Return a finding."""
    return BY_ID[rule].build_finding(Location(path, line, column), message)


def test_findings_come_by_place_and_once() -> None:
    wanted = [build("a", 2, 9), build("a", 10, 1), build("a", 10, 1, "Y002"), build("b", 1, 1)]
    shuffled = wanted * 3
    random.Random(1).shuffle(shuffled)
    assert list(sort_findings(shuffled)) == wanted


@pytest.mark.parametrize(
    ("pointer", "text"),
    [((), ""), (("a",), "a"), (("a", 0), "a[0]"), (("a", "b", 2, "c"), "a.b[2].c"), ((0,), "[0]")],
)
def test_a_pointer_is_written_as_a_person_reads_it(pointer: tuple[str | int, ...], text: str) -> None:
    assert render_pointer(pointer) == text


@settings(deadline=None, derandomize=True)
@given(st.text(alphabet=st.characters(codec=None, exclude_categories=()), max_size=50))
def test_shown_text_holds_nothing_hidden_and_can_be_written_anywhere(text: str) -> None:
    shown = escape_hidden(text)
    shown.encode("utf-8")
    assert not any(c in "\n\r\t\x1b\x00\x7f\x9b\u202e\u2066\u200b\ufeff\u2028" for c in shown)
    assert escape_hidden(shown) == shown
    json.loads(render_json({"text": text}))
    render_json({"text": text}).encode("utf-8")
    assert json.loads(render_json({"text": text})) == {"text": text}


@pytest.mark.parametrize("length", [299, 300, 301, 5_000])
def test_long_text_is_cut_and_says_so(length: int) -> None:
    shown = clean_text("x" * length)
    assert len(shown) == min(length, 300)
    assert shown.endswith("…") is (length > 300)


def test_text_has_place_rule_related_places_and_fix() -> None:
    related = (Related(Location("b", 7, 3), "the other one"),)
    finding = BY_ID["R203"].build_finding(Location("a", 2, 4), "m", record="r", pointer=("part",), related=related)
    assert render_text([finding]).splitlines() == [
        "a:2:4: error R203 part: m",
        "    see: b:7:3 the other one",
        f"    fix: {BY_ID['R203'].fix}",
    ]


@pytest.mark.parametrize(
    ("severities", "records", "broken", "text"),
    [
        ([], 0, 0, "0 records: 0 errors, 0 warnings, 0 notes"),
        (["error"], 1, 0, "1 record: 1 error, 0 warnings, 0 notes"),
        (["error", "error", "note"], 3, 1, "3 records, 1 of them unreadable and left out: 2 errors, 0 warnings, 1 note"),
    ],
)  # fmt: skip
def test_the_last_line_counts(severities: list[str], records: int, broken: int, text: str) -> None:
    findings = [
        BY_ID["Y001"].build_finding(Location("a", i + 1), "x", severity=Severity(s)) for i, s in enumerate(severities)
    ]
    assert render_summary(findings, records, broken) == text


def test_json_and_sarif_hold_the_same_findings() -> None:
    findings = [build("a", 2, 9), build("b", 1, 1, "R203")]
    data = build_json(findings, 2, 1)
    results = build_sarif(findings, RULES, "0")["runs"][0]["results"]
    assert [(f["rule"], f["path"], f["line"]) for f in data["findings"]] == [
        (
            r["ruleId"],
            r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"],
            r["locations"][0]["physicalLocation"]["region"]["startLine"],
        )
        for r in results
    ]


def test_every_rule_stands_in_exactly_one_group() -> None:
    grouped = [rule.id for _, rules in GROUPS for rule in rules]
    assert sorted(grouped) == [rule.id for rule in RULES]
    assert len(grouped) == len(set(grouped)) == len(BY_ID)
