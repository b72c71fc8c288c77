"""Stacks and coatings against figures from outside the project; the source and its standing stand beside each."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.coatings import CoatedFeature, build_gap_coating, compute_coating_factor
from pipeline.fit.contributors import Contributor, Distribution, compute_spread_factor
from pipeline.fit.stack import compute_chance_outside, compute_stack
from pipeline.fit.stack_simulation import compute_counted_chance, simulate_stack


def test_ten_parts_of_a_tenth() -> None:
    """Ten parts ±0.1: worst case 1.0, RSS 0.316; each would need ±0.0316 to get that in the worst case.

    Source: public worked example of RSS tolerance analysis (seen).
    """
    result = compute_stack([Contributor(f"part {i}", 5.0, -0.1, 0.1) for i in range(10)])
    assert result.worst_half_mm == pytest.approx(1.0, abs=1e-9)
    assert result.rss_half_mm == pytest.approx(0.316, abs=5e-4)
    assert result.rss_half_mm / 10 == pytest.approx(0.0316, abs=5e-5)


def test_three_dimensions_of_a_public_example() -> None:
    """±0.20, ±0.10, ±0.15: worst case 0.45, RSS 0.269 (seen, a second public worked example)."""
    tolerances = (0.20, 0.10, 0.15)
    result = compute_stack([Contributor(f"d{t}", 1.0, -t, t) for t in tolerances])
    assert result.worst_half_mm == pytest.approx(0.45, abs=1e-9)
    assert result.rss_half_mm == pytest.approx(0.269, abs=5e-4)


def test_three_parts_in_a_housing() -> None:
    """Housing 4.020 ±.005 less 2.000 ±.005, 1.500 ±.003, .500 ±.002: gap .020, worst .005..035, RSS .00794, .012...028.

    Source: public worked example, in inches there; a stack is the same in any unit (seen).
    """
    result = compute_stack(
        [
            Contributor("A", 2.000, -0.005, 0.005, sensitivity=-1),
            Contributor("B", 1.500, -0.003, 0.003, sensitivity=-1),
            Contributor("C", 0.500, -0.002, 0.002, sensitivity=-1),
            Contributor("housing", 4.020, -0.005, 0.005),
        ]
    )
    assert result.nominal_gap_mm == pytest.approx(0.020, abs=1e-12)
    assert (result.worst.low_mm, result.worst.high_mm) == pytest.approx((0.005, 0.035), abs=1e-12)
    assert result.rss_half_mm == pytest.approx(0.00794, abs=5e-6)
    assert (result.rss.low_mm, result.rss.high_mm) == pytest.approx((0.012, 0.028), abs=5e-4)


def test_plated_gap_worked_example() -> None:
    """Worked example (invented inputs), answers derived: gap .72, worst .95, RSS .522, least -.23 and .198."""
    parts = [
        Contributor("first", 0.80, -0.25, 0.25),
        Contributor("second", 0.0, -0.4, 0.4),
        Contributor("third", 0.0, -0.2, 0.2),
        Contributor("fourth", 0.0, -0.1, 0.1),
        build_gap_coating("plate on both parts", 0.04, faces=2),
    ]
    result = compute_stack(parts, lower_limit_mm=0.0)
    assert result.mean_gap_mm == pytest.approx(0.72, abs=1e-9)
    assert result.worst_half_mm == pytest.approx(0.95, abs=1e-9)
    assert result.rss_half_mm == pytest.approx(0.522, abs=5e-4)
    assert result.worst.low_mm == pytest.approx(-0.23, abs=1e-9)
    assert result.rss.low_mm == pytest.approx(0.198, abs=5e-4)


def test_three_sigma_leaves_2700_in_a_million() -> None:
    """The RSS span holds 99.73 % of a centred normal gap (seen; any table of the normal)."""
    result = compute_stack([Contributor("a", 1.0, -0.3, 0.3)], lower_limit_mm=0.7, upper_limit_mm=1.3)
    assert result.chance.outside == pytest.approx(0.0027, abs=5e-6)
    assert compute_chance_outside(0.0, 1.0, lower_mm=-6.0).below == pytest.approx(9.8659e-10, rel=1e-4)


@pytest.mark.parametrize(
    ("distribution", "factor"),
    [
        (Distribution.NORMAL, 1.0),
        (Distribution.UNIFORM, 1.732),
        (Distribution.TRIANGULAR, 1.225),
        (Distribution.ELLIPTICAL, 1.5),
    ],
)
def test_inflation_factors_of_distributions(distribution: Distribution, factor: float) -> None:
    """Three standard deviations over half the tolerance; Scholz, Tolerance Stack Analysis Methods (1995), memory."""
    assert 3 * compute_spread_factor(distribution) == pytest.approx(factor, abs=5e-4)


def test_spread_of_a_half_width_of_four() -> None:
    """Half width 4: rectangular 2.3, triangular 1.6. JCGM 100:2008 4.3.7 and 4.4.6, from memory, recomputed."""
    assert 4 * compute_spread_factor(Distribution.UNIFORM) == pytest.approx(2.3, abs=0.05)
    assert 4 * compute_spread_factor(Distribution.TRIANGULAR) == pytest.approx(1.6, abs=0.05)


def test_four_rectangular_inputs_by_monte_carlo() -> None:
    """Four standardised rectangular inputs: 95 % of the sum within ±3.88 (normal: ±3.92). JCGM 101:2008 9.2, seen."""
    unit = math.sqrt(3)
    parts = [Contributor(f"x{i}", 0.0, -unit, unit, distribution=Distribution.UNIFORM) for i in range(4)]
    counted = simulate_stack(parts, lower_limit_mm=-3.88, upper_limit_mm=3.88, draws=400_000, seed=101)
    assert counted.outside is not None
    assert counted.outside.chance == pytest.approx(0.05, abs=0.0015)


def test_thread_coatings() -> None:
    """60°: the pitch diameter moves by four thicknesses; major and minor diameters by two (seen, two public pages).

    One of them: 5 µm on both threads takes 40 µm of clearance; 5 µm on a rod and its hole takes 20 µm.
    """
    bolt = compute_coating_factor(CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER)
    nut = compute_coating_factor(CoatedFeature.INTERNAL_THREAD_PITCH_DIAMETER)
    assert (bolt - nut) * 5 == pytest.approx(40.0, abs=1e-9)
    rod = compute_coating_factor(CoatedFeature.SHAFT_DIAMETER)
    hole = compute_coating_factor(CoatedFeature.HOLE_DIAMETER)
    assert (rod - hole) * 5 == pytest.approx(20.0, abs=1e-9)


def test_rule_of_three_for_no_hits() -> None:
    """No hits of 59 leaves at most 5 % at 95 % one-sided (seen as "59 pieces"); two-sided 95 % is the 97.5 % bound."""
    counted = compute_counted_chance(0, 59)
    assert counted.high == pytest.approx(1 - 0.025 ** (1 / 59), rel=1e-9)
    assert 1 - 0.05 ** (1 / 59) < 0.05 < 1 - 0.05 ** (1 / 58)
