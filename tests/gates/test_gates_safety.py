"""A part that can hurt someone: who must have looked at it, and who may test it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.findings.rules import gates as rules
from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
REVIEW = "safety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory}\n"
TEST = (
    "tests:\n  T1: {kind: %s, of: P1, on: 2026-05-21, by: %s, covers: [hard], file: evidence/o1.csv, result: good%s}\n"
)
LICENSED = {
    "shared/people.yaml": SAMPLE_SHARED["shared/people.yaml"] + "  lee: {name: Lee, roles: [licensed engineer]}\n"
    "  ida: {name: Ida, roles: [laboratory]}\n"
}


def find_messages(root: Path, rule: str) -> list[tuple[str, str]]:
    """Return (pointer, message) of every finding of one rule."""
    return [(f.pointer, f.message) for f in check_workspace(root).findings if f.rule == rule]


@pytest.mark.parametrize(
    ("part", "told"),
    [("", False), (REVIEW, False), ("safety: S1\n", True), ("safety: S1\n" + REVIEW, False), ("safety: S2\n", True)],
)
def test_a_part_that_is_more_than_cosmetic_wants_its_regulations_looked_up(
    part: str, told: bool, sample: Sample
) -> None:
    found = find_messages(sample(part + "decisions: []\n"), rules.SAFETY_UNREVIEWED.id)
    grade = "S2" if "S2" in part else "S1"
    words = f"class {grade}: no review of the regulations and no test plan"
    assert found == ([("safety", words)] if told else [])


@pytest.mark.parametrize(
    ("kind", "by", "at", "told"),
    [
        ("hardness-test", "ann", ", at: lab", False),  # accredited
        ("hardness-test", "ann", ", at: foundry", True),  # a maker, and no laboratory
        ("hardness-test", "ann", "", True),
        ("hardness-test", "lee", "", False),
        ("hardness-test", "ida", "", False),
        ("print", "ann", "", False),  # wants no laboratory
        ("sawing", "ann", "", False),  # no kind that is known: told as a link that leads nowhere
    ],
)
def test_a_test_that_wants_a_laboratory_is_made_by_one_or_by_a_licensed_engineer(
    kind: str, by: str, at: str, told: bool, sample: Sample
) -> None:
    found = find_messages(
        sample(TEST % (kind, by, at) + "decisions: []\n", dict(LICENSED)), rules.TEST_NOT_COMPETENT.id
    )
    words = "T1 is a hardness-test, made by ann without a laboratory or a licensed engineer"
    assert found == ([("tests.T1", words)] if told else [])
