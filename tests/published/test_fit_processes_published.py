"""Shrinkage, drawn cups and bends against figures from outside the project."""

from __future__ import annotations

import pytest

from pipeline.fit.bends import compute_bend, compute_k_factor, compute_k_from_deduction
from pipeline.fit.drawing_dies import RatioSet, compute_blank_diameter, compute_one_draw_limit, plan_draws
from pipeline.fit.shrinkage import compute_measured_shrinkage, compute_mould_scale
from pipeline.fit.shrinkage_tables import find_shrinkage
from pipeline.fit.sources import Standing


def test_cavity_is_part_over_one_less_shrinkage() -> None:
    """100 mm at 2 %: 102.041 and not 102.000. ISO 294-4 counts shrinkage on the mould (definition seen in a glossary)."""
    assert 100 * compute_mould_scale(0.02) == pytest.approx(102.0408, abs=5e-5)
    assert compute_measured_shrinkage(102.0408, 100.0, 0.01).value == pytest.approx(0.02, abs=1e-6)


@pytest.mark.parametrize(
    ("material", "low", "high"),
    [
        ("PMMA general purpose", 0.2, 0.9),
        ("ABS medium impact", 0.5, 0.8),
        ("PA66 unfilled", 1.0, 2.5),
        ("PA glass filled", 0.5, 1.0),
        ("PC", 0.5, 0.7),
        ("POM", 2.0, 3.5),
        ("PP", 1.0, 3.0),
        ("steel", 2.0, 2.0),
        ("grey iron", 1.0, 1.0),
    ],
)
def test_shrinkage_ranges_in_percent(material: str, low: float, high: float) -> None:
    """Public moulding and foundry tables (seen)."""
    row = find_shrinkage(material)
    assert row is not None
    assert (100 * row.low, 100 * row.high) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize(("inch_per_foot", "percent"), [(1 / 8, 1.04), (3 / 16, 1.56), (7 / 32, 1.82)])
def test_pattern_rules_in_inches_a_foot(inch_per_foot: float, percent: float) -> None:
    """Shrink rules: 1/8 in a foot is 1.04 %, 3/16 1.56 %, 7/32 1.82 % (seen). They add to the casting, not the pattern."""
    shrinkage = compute_measured_shrinkage(12 + inch_per_foot, 12, 0.001).value
    assert 100 * (compute_mould_scale(shrinkage) - 1) == pytest.approx(percent, abs=0.005)


# d, h, blank, D/d, draws and diameters with .55/.78/.80/.82: equal area, sharp corner (formula standard, derived).
DRAWS = (
    (50, 20, 80.623, 1.612, (50,)),
    (50, 25, 86.603, 1.732, (50,)),
    (50, 40, 102.470, 2.049, (56.36, 50)),
    (50, 50, 111.803, 2.236, (61.49, 50)),
    (50, 100, 150.0, 3.0, (82.5, 64.35, 51.48, 50)),
    (50, 200, 206.155, 4.123, (113.39, 88.44, 70.75, 58.02, 50)),
    (80, 60, 160.0, 2.0, (88.0, 80)),
    (100, 30, 148.324, 1.483, (100,)),
)


@pytest.mark.parametrize(("diameter", "height", "blank", "ratio", "diameters"), DRAWS)
def test_blank_and_draws(
    diameter: float, height: float, blank: float, ratio: float, diameters: tuple[float, ...]
) -> None:
    plan = plan_draws(diameter, height)
    assert plan.blank_mm == pytest.approx(blank, abs=6e-4)
    assert plan.blank_mm / diameter == pytest.approx(ratio, abs=6e-4)
    assert plan.draws == len(diameters)
    assert [step.diameter_mm for step in plan.steps] == pytest.approx(diameters, abs=6e-3)


@pytest.mark.parametrize(("ratio", "limit"), [(0.55, 0.5764), (0.50, 0.75), (0.60, 0.4444)])
def test_height_of_one_draw(ratio: float, limit: float) -> None:
    """h/d of one draw at limiting draw ratios 1.8, 2.0, 1.67 (derived from D/d)."""
    assert compute_one_draw_limit(ratio) == pytest.approx(limit, abs=1e-4)


def test_ratios_of_a_published_cup_need_a_set_of_their_own() -> None:
    """Large cup: 1129 -> 470.51 -> 332.5, draw ratios 2.4 and 1.42.

    Source: Chinese Journal of Mechanical Engineering 2022, table 8 (seen). Its first draw, 0.417, is below the usual
    0.55, which is why a plan carries the set that it was made with.
    """
    published = RatioSet("published large cup", 1 / 2.4, (1 / 1.42,), Standing.SEEN)
    height = (1129**2 - 332.5**2) / (4 * 332.5)
    assert compute_blank_diameter(332.5, height) == pytest.approx(1129, rel=1e-12)
    assert plan_draws(332.5, height, published).draws == 2
    assert plan_draws(332.5, height, published).steps[0].diameter_mm == pytest.approx(470.51, rel=0.002)
    assert plan_draws(332.5, height).draws == 4


def test_corner_term_of_the_handbook() -> None:
    """Blank of a cup with corner radius r: √(d² + 4 d h - 1.72 r d - 0.57 r²), handbook formula, from memory.

    Handbooks print 0.56 or 0.57; the exact factors are 8 - 2π = 1.717 and 4π - 12 = 0.566.
    """
    diameter, height, radius = 60.0, 40.0, 6.0
    handbook = (diameter**2 + 4 * diameter * height - 1.72 * radius * diameter - 0.57 * radius**2) ** 0.5
    assert compute_blank_diameter(diameter, height, corner_radius_mm=radius) == pytest.approx(handbook, abs=0.01)


@pytest.mark.parametrize(("ratio", "k_factor"), [(1, 0.325), (2, 0.40026), (5, 0.49974), (8, 0.5)])
def test_k_factor(ratio: float, k_factor: float) -> None:
    """DIN 6935: k = 0.65 + 0.5 log10(R/t), K = k / 2 (formula seen; k = 1 above R/t 5 from memory)."""
    assert compute_k_factor(ratio, 1) == pytest.approx(k_factor, abs=1e-5)


def test_bend_of_a_square_corner() -> None:
    """R 2, t 1.5, K 0.4: allowance 4.0841, deduction 2.9159 (derived)."""
    bend = compute_bend(2, 1.5, k_factor=0.4)
    assert (bend.allowance_mm, bend.deduction_mm) == pytest.approx((4.0841, 2.9159), abs=5e-5)


@pytest.mark.parametrize(
    ("thickness", "radius", "deduction", "k_factor"),
    [(0.048, 0.03, 0.072, 0.4891), (0.12, 0.03, 0.18, 0.3866), (0.036, 0.09, 0.085, 0.4532)],
)
def test_shop_rows_invert(thickness: float, radius: float, deduction: float, k_factor: float) -> None:
    """Rows of a shop's bend table in inches (seen)."""
    assert compute_k_from_deduction(radius, thickness, deduction) == pytest.approx(k_factor, abs=5e-5)


def test_a_misprinted_shop_row_is_not_copied() -> None:
    """The row .074/.030/.112 of the same table prints K .4318 (seen); its own deduction inverts to .4205 (derived)."""
    found = compute_k_from_deduction(0.03, 0.074, 0.112)
    assert found == pytest.approx(0.4205, abs=5e-5)
    assert abs(found - 0.4318) > 0.01
