"""What a requirement says names the right evidence: words that mutation testing found nobody reading."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import find_requirement, write_policy

B = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
    "  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length]}\n"
)


@pytest.mark.parametrize(
    ("prototypes", "words"),
    [
        ("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n", "P1 no longer stands for revision B"),
        (
            "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n  P2: {of: B, process: print, on: 2026-05-25}\n",
            "P1 no longer stands for revision B",
        ),
        ("prototypes: {}\n", "no prototype yet"),
    ],
)
def test_a_prototype_that_fell_is_named_and_one_that_stands_is_not(
    prototypes: str, words: str, sample: Callable[..., Path]
) -> None:
    more = "decisions: []\nfit_checks: {}\n" + B + prototypes
    found = find_requirement(sample(more, write_policy(prototype_built="{least: 2}")), "prototype.built")
    assert found.answer.words == words
    assert found.answer.todo == ("build a prototype of revision B",)
