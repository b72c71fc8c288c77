"""Drawn cups and sight lines in a record: blank and draws, the view in a mirror, findings, pages."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.fit.sight_requirements import CAUTION
from pipeline.gates.drawn import plan_cups
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.portfolio.sight import check_sight_lines
from pipeline.views.forming import build_forming_sections
from pipeline.views.part_sheets import build_measured_page, has_measured_page
from pipeline.views.shapes_marks import Line

Sample = Callable[..., Path]
FEATURES = (
    "features:\n  length: {what: l, kind: size, nominal: 50, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  tall: {what: height, kind: distance, nominal: %s, unit: %s}\n  wall: {what: wall, kind: thickness, nominal: 1, unit: mm}\n"
)
ROUTE = 'route:\n  - {op: "10", what: draw, draws: {diameter: length, height: tall%s}}\n'
SIGHT = (
    "sight_lines:\n  V1: {glass: [-550, 850, 1000], aim_at: [14000, 2400, 400], width: %s, height: %s, "
    "eyes: [[0, 350, 1150]], %sasks: %s%s}\n"
)


def build(sample: Sample, part: str, *, deep: bool = False) -> PartFile:
    return build_portfolio(sample(part + "decisions: []\n"), deep=deep).parts["SD-100"]


def text(line: Line) -> str:
    return "".join(run.text for run in line)


def test_a_cup_of_the_route_gets_its_blank_and_draws(sample: Sample) -> None:
    """Handbook, equal area: d = 50, h = 100: D = sqrt(50^2 + 4 x 50 x 100) = 150; ratios 0.55, 0.78, 0.80, 0.82 (common
    practice, no source): 82.5, 64.35, 51.48, 50, so four draws."""
    file = build(sample, FEATURES % ("100", "mm") + ROUTE % "")
    cup = next(iter(plan_cups(file.part, file.workspace.catalogues)))
    assert cup.plan is not None and cup.plan.blank_mm == 150.0
    assert [round(step.diameter_mm, 2) for step in cup.plan.steps] == [82.5, 64.35, 51.48, 50]
    section = build_forming_sections(file)[0]
    assert section.aside == "blank 150.0 mm, 4 draws" and section.working is not None
    assert section.working.formula[0] == "blank = √(d² + 4 d h) = √(50² + 4 × 50 × 100) = 150.0 mm"
    assert section in build_measured_page(file).sections


def test_wall_trim_inches_and_the_familys_ratios_are_reckoned_with(sample: Sample) -> None:
    file = build(sample, FEATURES % ("1", "in") + ROUTE % ", wall: wall, trim: 2")
    cup = next(iter(plan_cups(file.part, file.workspace.catalogues)))
    assert cup.plan is not None
    assert (cup.plan.diameter_mm, cup.plan.height_mm) == (49.0, pytest.approx(25.4 - 0.5 + 2))
    assert cup.plan.blank_mm == pytest.approx(math.sqrt(49**2 + 4 * 49 * 26.9))


def test_a_cup_that_cannot_be_is_told(sample: Sample) -> None:
    file = build(sample, FEATURES % ("0", "mm") + ROUTE % "", deep=True)
    told = next(f for f in file.findings if f.rule == "Q824")
    assert told.pointer == "route[0].draws" and "needs no draw" in told.message
    file = build(sample, FEATURES % ("100", "mm") + (ROUTE % "").replace("tall}", "tell}"))
    assert any(f.pointer == "route[0].draws.height" and "tall" in f.fix for f in file.findings)


def test_a_mirror_is_held_against_the_published_figure_for_its_side(sample: Sample) -> None:
    """49 CFR 571.111 S5.2.1: level road 2.4 m wide from 10.7 m behind the eyes to the horizon, in flat glass."""
    file = build(sample, "safety: S1\n" + SIGHT % (190, 120, "side: 800, ", "us-111-driver", ""), deep=True)
    found = next(iter(check_sight_lines(file.part)))
    assert found.result is not None and found.result.meets is True and not found.fault
    section = build_forming_sections(file)[0]
    assert "Safety class S1. " + CAUTION in text(section.intro) and "49 CFR 571.111 S5.2.1" in text(section.intro)
    assert section.working is not None and section.working.limits == CAUTION
    assert has_measured_page(file)
    small = build(sample, SIGHT % (60, 40, "side: 800, ", "us-111-driver", ""), deep=True)
    told = next(f for f in small.findings if f.rule == "Q825")
    assert told.pointer == "sight_lines.V1" and "falls short" in told.message
    assert "In the plane of this glass the first eye needs" in text(build_forming_sections(small)[0].after)


@pytest.mark.parametrize(
    ("more", "asks", "curved", "words"),
    [("", "us-111-driver", "", "needs side_mm"), ("side: 800, ", "us-999", "", "there is us-111-driver, us-111-passenger"),
     ("side: 800, ", "us-111-inside", "", "needs rear_mm")],
)  # fmt: skip
def test_what_a_sight_line_lacks_is_told(sample: Sample, more: str, asks: str, curved: str, words: str) -> None:
    file = build(sample, SIGHT % (190, 120, more, asks, curved), deep=True)
    told = next(f for f in file.findings if f.rule == "Q824")
    assert words in told.message
    assert words in text(build_forming_sections(file)[0].intro)


def test_curved_glass_is_refused_or_left_to_a_measurement(sample: Sample) -> None:
    """49 CFR 571.111 S5.4 (from memory): 889 to 1651 mm on the passenger's side; the driver's side wants flat glass."""
    for asks, radius, meets in (
        ("us-111-passenger", 1200, None),
        ("us-111-passenger", 600, False),
        ("us-111-driver", 1200, False),
    ):
        file = build(sample, SIGHT % (150, 105, "side: 800, ", asks, f", radius: {radius}"))
        found = next(iter(check_sight_lines(file.part)))
        assert found.result is not None and found.result.meets is meets
        assert CAUTION in text(build_forming_sections(file)[0].intro)
