"""Findings about evidence at the edges that no example of the catalogue shows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.findings.finding import Finding
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
STATED = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
    "  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length], "
    "no_effect: [{features: [%s], keeps: [F1], by: ann, seen_by: %s, on: %s, why: an edge}]}\n"
)
CUP = (
    "features:\n  length: {what: diameter, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  tall: {what: height, kind: distance, nominal: %s, unit: %s}\n"
    "  sheet: {what: sheet, kind: thickness, nominal: %s, unit: mm}\n"
    "route:\n  - {op: draw, what: draw, draws: {diameter: length, height: tall%s}}\n"
)


def find_messages(root: Path, rule: str) -> list[tuple[str, str]]:
    """Return (pointer, message) of every finding of one rule."""
    found: list[Finding] = [f for f in check_workspace(root).findings if f.rule == rule]
    return [(f.pointer, f.message) for f in found]


@pytest.mark.parametrize(
    ("features", "seen_by", "on", "words"),
    [
        ("length", "bob", "2026-05-20", []),
        ("hard", "bob", "2026-05-20", ["revision B did not change hard"]),
        ("length", "ann", "2026-05-20", ["signed and seen by the same person, ann"]),
        ("length", "bob", "2026-05-19", ["signed on 2026-05-19, before revision B of 2026-05-20"]),
    ],
)
def test_a_no_effect_statement_that_keeps_nothing_is_told(
    features: str, seen_by: str, on: str, words: list[str], sample: Sample
) -> None:
    found = find_messages(sample("decisions: []\n" + STATED % (features, seen_by, on)), "P503")
    assert found == [("revisions.B.no_effect[0]", one) for one in words]


@pytest.mark.parametrize(("on", "told"), [("2026-12-01", False), ("2026-12-02", True)])
def test_a_study_wants_its_instrument_in_calibration_on_its_day(on: str, told: bool, sample: Sample) -> None:
    part = f"gauge_studies:\n  G1: {{feature: length, on: {on}, by: ann, with: arm, file: evidence/o1.csv}}\ndecisions: []\n"
    found = find_messages(sample(part), "D403")
    words = "arm is calibrated from 2025-06-01 to 2026-12-01, not on 2026-12-02"
    assert found == ([("gauge_studies.G1.with", words)] if told else [])


@pytest.mark.parametrize(
    ("tall", "unit", "sheet", "wall", "words"),
    [
        ("20", "mm", "1", ", wall: sheet", []),
        ("20", "deg", "1", "", ["diameter, height and wall are features in a unit of length"]),
        ("20", "mm", "1", ", wall: hard", ["diameter, height and wall are features in a unit of length"]),
        # 1 mm high on the outside, half a sheet of 2 mm less on the mean line: nothing is left to draw
        ("1", "mm", "2", ", wall: sheet", ["a cup 0 mm high needs no draw; write a height above 0"]),
    ],
)
def test_a_cup_that_cannot_be_reckoned_says_why(
    tall: str, unit: str, sheet: str, wall: str, words: list[str], sample: Sample
) -> None:
    hard = "  hard: {what: hardness, kind: hardness, nominal: 50, unit: HRC}\n"
    part = (CUP % (tall, unit, sheet, wall)).replace("route:", hard + "route:")
    found = find_messages(sample(part + "decisions: []\n"), "Q824")
    assert found == [("route[0].draws", one) for one in words]
