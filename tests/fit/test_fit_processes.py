"""Shrinkage, drawn cups and bends: which way a correction goes, borders and refusals."""

from __future__ import annotations

import math

import pytest

from pipeline.fit.bends import compute_bend, compute_flat_length, compute_k_factor, compute_k_from_deduction
from pipeline.fit.drawing_dies import (
    USUAL_RATIOS,
    RatioSet,
    compute_blank_diameter,
    compute_one_draw_limit,
    plan_draws,
)
from pipeline.fit.shrinkage import (
    FormedBy,
    Shrinkage,
    ShrinkageReading,
    SteelMove,
    check_shrinkage,
    compute_cavity_size,
    compute_measured_shrinkage,
    compute_mould_scale,
)
from pipeline.fit.shrinkage_tables import SHRINKAGES, ShrinkageUse, find_shrinkage
from pipeline.fit.sources import Standing


def test_shrinkage_table_is_in_order_and_says_what_it_stands_on() -> None:
    assert len({(row.material, row.use) for row in SHRINKAGES}) == len(SHRINKAGES)
    for row in SHRINKAGES:
        assert 0 < row.low <= row.high < 0.05
        assert row.standing in (Standing.SEEN, Standing.FROM_MEMORY)
        if row.use in (ShrinkageUse.DIE_CAVITY, ShrinkageUse.INVESTMENT):
            assert row.standing is Standing.FROM_MEMORY
    assert find_shrinkage("unobtainium") is None


@pytest.mark.parametrize(
    ("part_mm", "formed_by", "move"),
    [
        (99.85, FormedBy.CAVITY, SteelMove.METAL_OFF),  # outside too small: the cavity has to grow
        (99.85, FormedBy.CORE, SteelMove.METAL_ON),  # opening too small: the core has to grow
        (100.15, FormedBy.CAVITY, SteelMove.METAL_ON),
        (100.15, FormedBy.CORE, SteelMove.METAL_OFF),
        (100.0, FormedBy.CAVITY, SteelMove.NONE),
    ],
)
def test_which_way_the_steel_goes(part_mm: float, formed_by: FormedBy, move: SteelMove) -> None:
    reading = ShrinkageReading("width", 100.0 / 0.995, part_mm, 0.02, 0.002, formed_by)
    feature = check_shrinkage(0.005, [reading]).features[0]
    assert feature.move is move
    assert feature.meant_mm == pytest.approx(100.0, abs=1e-9)
    assert feature.error_mm == pytest.approx(part_mm - 100.0, abs=1e-9)


def test_new_cavity_gives_the_part_that_was_meant() -> None:
    feature = check_shrinkage(0.005, [ShrinkageReading("width", 100.503, 99.85, 0.02)]).features[0]
    assert feature.new_cavity_mm * (1 - feature.measured.value) == pytest.approx(feature.meant_mm, abs=1e-9)
    assert feature.new_cavity_mm > 100.503


def test_uneven_shrinkage_is_called_uneven() -> None:
    along = ShrinkageReading("along the flow", 100.0, 99.7, 0.02)
    across = ShrinkageReading("across the flow", 100.0, 99.2, 0.02)
    check = check_shrinkage(0.005, [along, across])
    assert not check.is_even
    assert check.mean.value == pytest.approx(0.0055, abs=1e-9)
    assert check.mean.uncertainty == pytest.approx(0.0002 / math.sqrt(2), rel=1e-9)
    assert "correct each by its own figure" in check.words[-1]
    even = check_shrinkage(0.005, [along, ShrinkageReading("length", 200.0, 199.4, 0.02)])
    assert even.is_even


def test_shrinkage_within_its_uncertainty_agrees() -> None:
    check = check_shrinkage(0.005, [ShrinkageReading("width", 100.0, 99.49, 0.02)])
    assert not check.differs
    assert not check.features[0].differs
    assert check.words == ("Measured shrinkage 0.51 % ± 0.02 % agrees with the 0.50 % that the tool was cut for.",)


def test_words_of_a_difference() -> None:
    check = check_shrinkage(0.005, [ShrinkageReading("width", 100.503, 99.85, 0.02)])
    assert check.words[0] == "Measured shrinkage 0.65 % ± 0.02 % differs from the 0.50 % that the tool was cut for."
    assert check.words[1] == "width: 0.150 mm too small; to correct it, take metal off the tool."


def test_a_draw_plan_carries_its_ratio_set() -> None:
    plan = plan_draws(50, 40)
    assert plan.ratios is USUAL_RATIOS
    assert plan.ratios.standing is Standing.COMMON_PRACTICE
    assert plan.one_draw_height_mm == pytest.approx(0.5764 * 50, abs=0.01)
    strict = RatioSet("stainless, careful", 0.60, (0.85,), Standing.COMMON_PRACTICE)
    assert plan_draws(50, 40, strict).draws == 3
    assert strict.find_ratio(1) == 0.60
    assert strict.find_ratio(9) == 0.85


def test_draws_at_the_limit_and_just_over() -> None:
    limit = compute_one_draw_limit(0.55) * 80
    assert plan_draws(80, limit).draws == 1
    assert plan_draws(80, limit * 1.001).draws == 2


def test_every_draw_keeps_the_area_of_the_blank() -> None:
    plan = plan_draws(50, 200)
    for step in plan.steps:
        assert compute_blank_diameter(step.diameter_mm, step.height_mm) == pytest.approx(plan.blank_mm, rel=1e-12)
        assert step.ratio >= step.least_ratio - 1e-9
    assert plan.steps[-1].height_mm == pytest.approx(200, rel=1e-12)


def test_evened_draws_use_each_limit_to_the_same_power() -> None:
    plan = plan_draws(50, 100)
    ratios = [after / before for before, after in zip((plan.blank_mm, *plan.evened_mm), plan.evened_mm, strict=False)]
    powers = [math.log(ratio) / math.log(plan.ratios.find_ratio(n)) for n, ratio in enumerate(ratios, start=1)]
    assert powers == pytest.approx([powers[0]] * 4, rel=1e-12)
    assert powers[0] <= 1
    assert plan.evened_mm[-1] == 50


def test_blank_with_flange_and_corner() -> None:
    assert compute_blank_diameter(50, 20, flange_mm=50) == compute_blank_diameter(50, 20)
    assert compute_blank_diameter(50, 20, flange_mm=70) == pytest.approx(math.sqrt(70**2 + 4 * 50 * 20))
    # A half sphere is a cup whose corner is its radius and its height: its blank is √2 d.
    assert compute_blank_diameter(50, 25, corner_radius_mm=25) == pytest.approx(math.sqrt(2) * 50, rel=1e-12)


def test_flat_length_of_a_channel() -> None:
    bend = compute_bend(2, 1.5, k_factor=0.4)
    assert compute_flat_length([20, 40, 20], [bend, bend]) == pytest.approx(80 - 2 * 2.9159, abs=1e-4)
    assert compute_flat_length([30], []) == 30


def test_bend_angles() -> None:
    """A hardly bent sheet needs hardly a deduction; two bends of 45° need less than one of 90°."""
    assert compute_bend(2, 1, angle_deg=0.01).deduction_mm == pytest.approx(0, abs=1e-3)
    half, full = compute_bend(2, 1, angle_deg=45), compute_bend(2, 1, angle_deg=90)
    assert 2 * half.deduction_mm < full.deduction_mm
    assert compute_k_factor(5, 1) == pytest.approx(0.49974, abs=1e-5)
    assert compute_k_factor(5.2, 1) == 0.5


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: compute_mould_scale(0.5), "write it as a share"),
        (lambda: compute_mould_scale(float("nan")), "write it as a share"),
        (lambda: Shrinkage(0.006, 0.005, 0.007), "not in order"),
        (lambda: compute_cavity_size(0, Shrinkage(0, 0, 0)), "above 0"),
        (lambda: compute_measured_shrinkage(100, -1, 0.1), "above 0"),
        (lambda: compute_measured_shrinkage(100, 99, -0.1), "below 0"),
        (lambda: compute_measured_shrinkage(100, 40, 0.1), "are both the same feature"),
        (lambda: check_shrinkage(0.005, []), "no measured feature"),
        (lambda: check_shrinkage(0.005, [ShrinkageReading("rib", 10, 9.9, 0.0)]), "rib has no uncertainty"),
        (lambda: RatioSet("empty", 0.5, (), Standing.SEEN), "no redraw ratio"),
        (lambda: RatioSet("odd", 0.5, (1.0,), Standing.SEEN), "impossible"),
        (lambda: compute_blank_diameter(0, 1), "impossible"),
        (lambda: compute_blank_diameter(50, 10, corner_radius_mm=11), "does not go into"),
        (lambda: compute_blank_diameter(50, 10, flange_mm=40), "narrower than the cup"),
        (lambda: compute_one_draw_limit(1), "above 0 and below 1"),
        (lambda: plan_draws(50, 0), "needs no draw"),
        (lambda: plan_draws(1, 5000), "does not come to"),
        (lambda: compute_k_factor(0, 1), "impossible"),
        (lambda: compute_k_factor(0.05, 1), "trial bend"),
        (lambda: compute_bend(2, 1, angle_deg=175), "outside 0 to 170"),
        (lambda: compute_bend(2, 1, k_factor=0.7), "outside 0 to 0.5"),
        (lambda: compute_k_from_deduction(2, 1, 20), "check radius"),
        (lambda: compute_flat_length([10], [compute_bend(2, 1)]), "do not match"),
        (lambda: compute_flat_length([1, 10], [compute_bend(2, 1)]), "leg 1 of 1 mm is shorter"),
    ],
)
def test_the_impossible_is_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()
