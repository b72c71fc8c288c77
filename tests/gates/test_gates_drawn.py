"""Drawn cups of a record: sizes on the mean line, whose ratios count, which tools are draw dies, and how many there are."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import write_family
from gates.test_gates_evidence_rules import find_messages

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.drawn import DrawnCup, describe_draw_fault, plan_cups
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
CUP = (
    "features:\n  length: {what: diameter, kind: size, nominal: 50, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  tall: {what: height, kind: distance, nominal: 100, unit: mm}\n"
    "  sheet: {what: sheet, kind: thickness, nominal: 2, unit: mm}\n"
    "route:\n  - {op: blank, what: cut the blank}\n  - {op: draw, what: draw, draws: {diameter: length, height: tall%s}}\n"
)
KINDS: dict[str, str | None] = {
    "shared/tool_kinds.yaml": SAMPLE_SHARED["shared/tool_kinds.yaml"]
    + "  draw-die: {name: draw die, changes: {new-tool: {share: 1, weeks: [10, 14, 20]}}}\n"
}


def find_cups(root: Path) -> list[DrawnCup]:
    """Return the cups that the sample draws."""
    workspace = check_workspace(root).workspace
    assert workspace is not None
    return list(plan_cups(workspace.parts["SD-100"], workspace.catalogues))


# By hand, equal area: blank = sqrt(d² + 4 d h) on the mean line. 50 wide and 100 high: 150 mm. With a sheet of 2 mm and
# 5 mm of trim: 48 wide, 100 - 1 + 5 = 104 high.
@pytest.mark.parametrize(
    ("more", "wide", "high", "blank"),
    [
        ("", 50.0, 100.0, 150.0),
        (", trim: 5", 50.0, 105.0, math.sqrt(50**2 + 4 * 50 * 105)),
        (", wall: sheet", 48.0, 99.0, math.sqrt(48**2 + 4 * 48 * 99)),
        (", wall: sheet, trim: 5", 48.0, 104.0, math.sqrt(48**2 + 4 * 48 * 104)),
    ],
)
def test_a_cup_is_reckoned_on_the_mean_line_of_its_wall(
    more: str, wide: float, high: float, blank: float, sample: Sample
) -> None:
    (cup,) = find_cups(sample(CUP % more + "decisions: []\n"))
    assert (cup.index, cup.problem) == (1, "") and cup.plan is not None
    assert (cup.plan.diameter_mm, cup.plan.height_mm) == (wide, high)
    assert cup.plan.blank_mm == pytest.approx(blank)


@pytest.mark.parametrize(
    ("family", "name", "widths"),
    [
        ("", "deep-drawing steel, usual", [82.5, 64.35, 51.48, 50.0]),  # 0.55, 0.78, 0.80 of what went before
        ("draw_ratios: [0.5, 0.75]", "family cast", [75.0, 56.25, 50.0]),  # 0.5 of 150, 0.75 of 75
        ("draw_ratios: [0.4, 0.9]", "family cast", [60.0, 54.0, 50.0]),
    ],
)
def test_the_familys_own_ratios_go_before_the_usual_ones(
    family: str, name: str, widths: list[float], sample: Sample
) -> None:
    (cup,) = find_cups(sample(CUP % "" + "decisions: []\n", write_family(family) if family else {}))
    assert cup.plan is not None and cup.plan.ratios.name == name
    assert [round(step.diameter_mm, 2) for step in cup.plan.steps] == widths


@pytest.mark.parametrize(
    ("ratios", "pointer", "words"),
    [
        ("[0.5, 1]", "families.cast.draw_ratios[1]", "1 is not below 1.0"),
        ("[0, 0.8]", "families.cast.draw_ratios[0]", "0 is not above 0.0"),
        ("[0.5]", "families.cast", "draw_ratios has the first draw only; add the ratio of the redraws"),
    ],
)
def test_ratios_that_no_cup_can_have_are_told_where_they_stand(
    ratios: str, pointer: str, words: str, sample: Sample
) -> None:
    files = write_family(f"draw_ratios: {ratios}")
    found = check_workspace(sample(CUP % "" + "decisions: []\n", files)).findings
    told = [(f.pointer, f.message) for f in found if f.location.path == "shared/families.yaml"]
    assert told == [(pointer, words)]


TOOLS = {
    "last": "{kind: draw-die, forms: [length], station: 4}",
    "first": "{kind: draw-die, forms: [length], station: 1}",
    "loose": "{kind: draw-die, forms: [length]}",
    "third": "{kind: draw-die, forms: [length], station: 3}",
    "die": "{kind: die, forms: [length], station: 2}",
}


@pytest.mark.parametrize(
    ("tools", "dies", "told"),
    [
        (("die",), (), False),  # no draw die yet: nothing to hold the plan against
        (("last",), ("last",), True),
        (("third", "first", "die", "last"), ("first", "third", "last"), True),  # one short of four; the die is none
        (("third", "first", "loose", "last"), ("loose", "first", "third", "last"), False),
    ],
)
def test_four_draws_want_four_draw_dies(
    tools: tuple[str, ...], dies: tuple[str, ...], told: bool, sample: Sample
) -> None:
    kept = "tools:\n" + "".join(f"  {key}: {TOOLS[key]}\n" for key in tools)
    root = sample(CUP % "" + kept + "quotes: {}\ndecisions: []\n", KINDS)
    (cup,) = find_cups(root)
    words = f"4 draws are wanted by the ratios of deep-drawing steel, usual; the record has {len(dies)} draw dies"
    assert cup.dies == dies
    assert describe_draw_fault(cup) == (words if told else "")
    assert find_messages(root, "Q823") == ([("route[1].draws", words)] if told else [])
