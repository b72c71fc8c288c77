"""Each rule's bad example gives exactly that rule; its good one gives none."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.findings.catalogue import RULES
from pipeline.findings.rule import Rule
from pipeline.portfolio.check import check_workspace

NEEDS_A_LINK = {"E304"}  # its example is a symbolic link, which no text shows; see test_reading_evidence.py


@pytest.mark.parametrize("rule", [r for r in RULES if r.id not in NEEDS_A_LINK], ids=lambda rule: rule.id)
def test_bad_example_gives_exactly_its_rule(rule: Rule, sample: Callable[..., Path]) -> None:
    findings = check_workspace(sample(rule.bad.part, dict(rule.bad.files)), deep=rule.deep).findings
    assert {f.rule for f in findings} == {rule.id}, [f"{f.rule} {f.location} {f.message}" for f in findings]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_good_example_gives_none(rule: Rule, sample: Callable[..., Path]) -> None:
    findings = check_workspace(sample(rule.good.part, dict(rule.good.files)), deep=rule.deep).findings
    assert not findings, [f"{f.rule} {f.location} {f.message}" for f in findings]


def test_ids_are_unique_and_well_formed() -> None:
    ids = [rule.id for rule in RULES]
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[A-Z][0-9]{3}", rule_id) for rule_id in ids)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_a_rule_says_why_and_how_to_mend(rule: Rule) -> None:
    assert len(rule.title.split()) >= 2
    assert rule.why.endswith(".")
    assert len(rule.fix.split()) >= 3
    assert not rule.fix.endswith(".")
