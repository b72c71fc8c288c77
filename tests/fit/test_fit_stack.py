"""Stacks: boundaries, refusals, words; the published figures are in tests/published/test_fit_stack_published.py."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.coatings import (
    CoatedFeature,
    build_coating,
    build_gap_coating,
    compute_coated_size,
    compute_coating_factor,
)
from pipeline.fit.contributors import Contributor, Distribution, compute_spread_factor
from pipeline.fit.stack import Span, StackVerdict, compute_chance_outside, compute_stack, is_inside
from pipeline.fit.stack_advice import compute_remedy, describe_chance, describe_stack
from pipeline.fit.stack_simulation import compute_counted_chance, simulate_stack


def test_asymmetrical_limits_move_the_mean_and_not_the_nominal() -> None:
    result = compute_stack([Contributor("a", 10.0, 0.0, 0.3), Contributor("b", 9.0, -0.1, 0.0, sensitivity=-1)])
    assert result.nominal_gap_mm == pytest.approx(1.0, abs=1e-12)
    assert result.mean_gap_mm == pytest.approx(1.0 + 0.15 + 0.05, abs=1e-12)
    assert (result.worst.low_mm, result.worst.high_mm) == pytest.approx((1.0, 1.4), abs=1e-12)


def test_example_of_a_rim_in_a_flange() -> None:
    """Worked by hand (invented inputs): bore radius less half the rim less one plated face."""
    result = compute_stack(
        [
            Contributor("rim_od", 112.40, -0.25, 0.25, sensitivity=-0.5),
            Contributor("flange bore radius", 57.00, -0.40, 0.40),
            build_gap_coating("plate", 0.040, -0.010, 0.010, faces=1),
        ],
        lower_limit_mm=0.30,
        upper_limit_mm=1.20,
    )
    assert result.nominal_gap_mm == pytest.approx(57.0 - 56.2 - 0.04, abs=1e-12)
    assert result.worst_half_mm == pytest.approx(0.125 + 0.40 + 0.01, abs=1e-12)
    assert result.rss_half_mm == pytest.approx(math.sqrt(0.125**2 + 0.4**2 + 0.01**2), abs=1e-12)
    assert result.biggest.name == "flange bore radius"
    assert result.verdict is StackVerdict.RSS
    assert result.steps[0].label == "nominal gap"
    assert result.steps[0].formula == "-0.5 × 112.4 +1 × 57 -1 × 0.04"


def test_a_limit_that_is_just_met_is_met_despite_binary_dust() -> None:
    parts = [Contributor("a", 0.8, -0.1, 0.1), Contributor("b", 0.1, 0.0, 0.0, sensitivity=-1)]
    result = compute_stack(parts, lower_limit_mm=0.6, upper_limit_mm=0.8)
    assert result.verdict is StackVerdict.WORST_CASE
    assert compute_stack(parts, lower_limit_mm=0.6 + 1e-6, upper_limit_mm=0.8).verdict is not StackVerdict.WORST_CASE


def test_no_tolerance_at_all_gives_certain_answers() -> None:
    still = [Contributor("a", 1.0, 0.0, 0.0)]
    inside = compute_stack(still, lower_limit_mm=1.0, upper_limit_mm=1.0)
    assert inside.chance.outside == 0.0
    assert inside.rows[0].variance_share == 0.0
    assert inside.verdict is StackVerdict.WORST_CASE
    outside = compute_stack(still, lower_limit_mm=1.1)
    assert (outside.chance.below, outside.chance.above, outside.chance.outside) == (1.0, None, 1.0)
    simulated = simulate_stack(still, lower_limit_mm=1.1, draws=100)
    assert simulated.outside is not None and simulated.outside.chance == 1.0
    assert sum(simulated.histogram_counts) == 100


def test_inflation_stops_at_the_worst_case() -> None:
    result = compute_stack([Contributor("a", 1.0, -0.1, 0.1)], inflation_factor=1.5)
    assert result.inflated_half_mm == result.worst_half_mm
    assert "held at the worst case" in result.steps[4].formula


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda: compute_stack([]), "without contributors"),
        (lambda: compute_stack([Contributor("a", 1, 0, 1), Contributor("a", 2, 0, 1)]), "a is in the stack twice"),
        (lambda: compute_stack([Contributor("a", 1, 0, 1)], lower_limit_mm=2, upper_limit_mm=1), "wrong way round"),
        (lambda: compute_stack([Contributor("a", 1, 0, 1)], lower_limit_mm=math.nan), "not both finite"),
        (lambda: compute_stack([Contributor("a", 1, 0, 1)], inflation_factor=0.9), "would shrink"),
        (lambda: Contributor("a", math.nan, 0, 1), "nominal_mm is nan"),
        (lambda: Contributor("a", 1, 0.2, 0.1), "below the lower one"),
        (lambda: Contributor("a", 1, 0, 1, sensitivity=0), "no part in the gap"),
        (lambda: Contributor("a", 1, 0, 1, sigma_level=0), "above 0"),
        (lambda: compute_spread_factor(Distribution.NORMAL, -1), "above 0"),
        (lambda: simulate_stack([Contributor("a", 1, 0, 1)], draws=99), "99 draws"),
        (lambda: simulate_stack([]), "without contributors"),
        (lambda: compute_chance_outside(0, -1), "impossible"),
        (lambda: compute_counted_chance(3, 2), "3 hits of 2 draws"),
        (lambda: compute_remedy(compute_stack([Contributor("a", 1, 0, 1)], lower_limit_mm=0)), "has one"),
        (lambda: describe_chance(1.5), "between 0 and 1"),
        (lambda: build_gap_coating("plate", 0.01, -0.02, 0.0), "may be -0.01 mm thick"),
        (lambda: build_gap_coating("plate", 0.01, faces=0), "0 coated faces"),
        (lambda: compute_coating_factor(CoatedFeature.HOLE_DIAMETER, faces=2), "coated all round"),
        (lambda: compute_coating_factor(CoatedFeature.SLOT_WIDTH, faces=3), "write 1 or 2"),
        (
            lambda: compute_coating_factor(CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER, thread_angle_deg=180),
            "thread angle",
        ),
        (lambda: compute_coated_size(0.1, 0.05, CoatedFeature.HOLE_DIAMETER), "closes a hole"),
        (lambda: compute_coated_size(1.0, -0.05, CoatedFeature.FACE), "impossible"),
    ],
)
def test_the_impossible_is_refused_in_words(build, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        build()


def test_coating_factors_by_feature() -> None:
    expected = {
        CoatedFeature.FACE: 1.0,
        CoatedFeature.OUTSIDE_WIDTH: 2.0,
        CoatedFeature.SLOT_WIDTH: -2.0,
        CoatedFeature.SHAFT_DIAMETER: 2.0,
        CoatedFeature.HOLE_DIAMETER: -2.0,
        CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER: 4.0,
        CoatedFeature.INTERNAL_THREAD_PITCH_DIAMETER: -4.0,
    }
    for feature in CoatedFeature:
        assert compute_coating_factor(feature) == pytest.approx(expected[feature], abs=1e-12)
    assert compute_coating_factor(CoatedFeature.OUTSIDE_WIDTH, faces=1) == 1.0


def test_a_plated_hole_in_a_stack_closes_by_twice_the_plate() -> None:
    hole = Contributor("hole", 8.0, 0.0, 0.1)
    pin = Contributor("pin", 7.9, -0.05, 0.0, sensitivity=-1)
    plate = build_coating("plate", 0.02, feature=CoatedFeature.HOLE_DIAMETER, dimension_sensitivity=1.0)
    bare, plated = compute_stack([hole, pin]), compute_stack([hole, pin, plate])
    assert plated.nominal_gap_mm == pytest.approx(bare.nominal_gap_mm - 0.04, abs=1e-12)


def test_words_name_the_interference_and_where_to_tighten() -> None:
    result = compute_stack(
        [Contributor("bore", 10.0, -0.2, 0.2), Contributor("plug", 9.9, -0.05, 0.05, sensitivity=-1)],
        lower_limit_mm=0.0,
        upper_limit_mm=0.2,
    )
    words = " ".join(describe_stack(result))
    assert "no method keeps the gap inside its limits" in words
    assert "interfere by up to 0.150 mm" in words
    assert "bore carries 94% of the scatter" in words


def test_verdict_without_limits() -> None:
    result = compute_stack([Contributor("a", 1.0, -0.1, 0.1)])
    assert result.verdict is StackVerdict.NO_LIMITS
    assert result.chance.outside is None
    assert "No limits are given" in describe_stack(result)[0]


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "none"), (1.0, "100 %"), (0.05, "5.0 %"), (0.01, "1.0 %"), (0.004, "1 in 250"), (2e-5, "1 in 50,000")],
)
def test_chances_in_words(chance: float, words: str) -> None:
    assert describe_chance(chance) == words


def test_same_seed_same_figures_and_another_seed_others() -> None:
    parts = [Contributor("a", 1.0, -0.1, 0.1), Contributor("b", 0.5, -0.1, 0.1, distribution=Distribution.UNIFORM)]
    assert simulate_stack(parts, draws=1000, seed=3) == simulate_stack(parts, draws=1000, seed=3)
    assert simulate_stack(parts, draws=1000, seed=3) != simulate_stack(parts, draws=1000, seed=4)


def test_one_sided_limits_and_touching_spans() -> None:
    assert is_inside(Span(0.0, 5.0), 0.0, None)
    assert not is_inside(Span(-0.001, 5.0), 0.0, None)
    assert is_inside(Span(0.0, 5.0), None, 5.0)
