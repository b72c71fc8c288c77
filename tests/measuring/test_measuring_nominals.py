"""Nominal sizes from originals: who counts, who does not, and what may be said."""

import numpy as np
import pytest

from pipeline.measuring.drawing_guess import (
    ALL_GRIDS,
    INCH_GRIDS,
    METRIC_GRIDS,
    compute_accident_share,
    guess_drawing_sizes,
)
from pipeline.measuring.nominal import (
    Coating,
    Condition,
    LeftOutReason,
    NominalStatus,
    OriginalReading,
    Wear,
    estimate_nominal,
)


def part(name, condition, *readings, coating=None):
    return OriginalReading(name, Condition(condition), readings, coating)


def test_a_mean_of_means_counts_each_original_once():
    found = estimate_nominal([part("O1", "nos", 10.0, 10.0, 10.0, 10.0), part("O2", "nos", 10.2)])
    assert found.mean_mm == pytest.approx(10.1)
    assert found.count == 2 and found.sd_mm == pytest.approx(0.141421, abs=1e-6)
    assert found.bound_mm == pytest.approx((10.1 - 12.706 * 0.1, 10.1 + 12.706 * 0.1), abs=1e-3)  # t.975(1) = 12.706
    assert found.population.factor > 30 and found.outlier is None


def test_no_originals_is_an_answer():
    found = estimate_nominal([])
    assert found.status is NominalStatus.NO_ORIGINALS
    assert found.mean_mm is None and found.bound_mm is None and found.guesses == () and "no nominal" in found.sentence


def test_only_reproductions_is_an_answer():
    found = estimate_nominal([part("R1", "reproduction", 10.0), part("R2", "reproduction", 10.1)])
    assert found.status is NominalStatus.ONLY_REPRODUCTIONS and found.mean_mm is None
    assert [left.reason for left in found.left_out] == [LeftOutReason.REPRODUCTION] * 2


def test_one_original_has_a_size_and_nothing_else():
    found = estimate_nominal([part("O1", "nos", 112.40, 112.42)], shared_u_mm=0.01)
    assert found.status is NominalStatus.SINGLE_ORIGINAL
    assert found.mean_mm == pytest.approx(112.41)
    assert found.bound_mm is None and found.population is None and found.guesses == ()
    assert "One original" in found.sentence


def test_reproductions_are_left_out_beside_originals():
    found = estimate_nominal([part("O1", "nos", 10.0), part("O2", "used", 10.1), part("R1", "reproduction", 99.0)])
    assert found.mean_mm == pytest.approx(10.05) and found.left_out[0].original == "R1"


def test_recoated_original_needs_its_thickness():
    plated = Coating(faces=2, original_mm=0.030)
    others = [part("O1", "nos", 112.40), part("O2", "nos", 112.42)]
    without = estimate_nominal([*others, part("O4", "restored", 112.50)], coating=plated)
    assert without.count == 2 and without.left_out[0].reason is LeftOutReason.RECOATED
    known = estimate_nominal([*others, part("O4", "restored", 112.50, coating=0.075)], coating=plated)
    assert known.count == 3
    assert known.kept[2].correction_mm == pytest.approx(-0.090) and known.kept[2].value_mm == pytest.approx(112.41)
    bore = estimate_nominal([part("O4", "restored", 9.91, coating=0.075)], coating=Coating(-2, 0.030))
    assert bore.mean_mm == pytest.approx(10.0)  # a bore grows when the coating is taken off


def test_recoated_original_counts_for_a_feature_without_coating():
    assert estimate_nominal([part("O1", "nos", 41.9), part("O4", "restored", 41.8)]).count == 2


def test_all_recoated_is_an_answer():
    found = estimate_nominal([part("O4", "restored", 10.0)], coating=Coating(2, 0.03))
    assert found.status is NominalStatus.NONE_USABLE and found.mean_mm is None


RIM = [part("O1", "used", 112.36), part("O2", "nos", 112.41), part("O3", "used", 112.12)]


def test_worn_originals_are_named_with_the_reason():
    found = estimate_nominal(RIM, wear=Wear.SHRINKS, wear_allowance_mm=0.10)
    assert [kept.original for kept in found.kept] == ["O1", "O2"]
    words = found.left_out[0].sentence
    assert "O3" in words and "0.290 mm smaller than O2" in words
    assert found.kept[0].worn_by_mm == pytest.approx(0.05)


def test_without_a_direction_of_wear_nobody_is_left_out():
    assert estimate_nominal(RIM).count == 3


def test_growing_bore_mirrors_a_shrinking_pin():
    pin = estimate_nominal(RIM, wear=Wear.SHRINKS, wear_allowance_mm=0.1)
    bore = estimate_nominal(
        [OriginalReading(p.original, p.condition, (-p.readings_mm[0],)) for p in RIM],
        wear=Wear.GROWS,
        wear_allowance_mm=0.1,
    )
    assert bore.mean_mm == pytest.approx(-pin.mean_mm) and len(bore.left_out) == 1


def test_only_worn_ones_give_a_limit_and_no_nominal():
    found = estimate_nominal(
        [part("O1", "used", 10.00), part("O3", "used", 9.98)], wear=Wear.SHRINKS, wear_allowance_mm=0.05
    )
    assert found.status is NominalStatus.ALL_WORN and found.guesses == ()
    assert "at least about 10.000" in found.sentence


def test_allowance_edge_counts_as_inside():
    entries = [part("O1", "nos", 10.0), part("O2", "used", 9.9)]
    assert estimate_nominal(entries, wear=Wear.SHRINKS, wear_allowance_mm=0.1).count == 2
    assert estimate_nominal(entries, wear=Wear.SHRINKS, wear_allowance_mm=0.0999).count == 1


def test_used_one_on_the_impossible_side_is_kept_and_noted():
    found = estimate_nominal([part("O1", "nos", 10.0), part("O2", "used", 10.3)], wear=Wear.SHRINKS)
    assert found.count == 2 and "O2" in found.notes[0] and "cannot explain" in found.notes[0]


def test_shared_uncertainty_is_not_averaged_away():
    entries = [part(f"O{i}", "nos", 10 + 0.001 * i) for i in range(10)]
    plain, shared = estimate_nominal(entries), estimate_nominal(entries, shared_u_mm=0.02)
    assert shared.bound_mm[1] - shared.bound_mm[0] > 2 * 1.96 * 0.02
    assert plain.bound_mm[1] - plain.bound_mm[0] < 0.01


def test_equal_originals_do_not_claim_perfection():
    found = estimate_nominal([part("O1", "nos", 10.0), part("O2", "nos", 10.0), part("O3", "nos", 10.0)])
    assert found.guesses == () and found.outlier is None and "step of the instrument" in found.notes[0]


def test_outlier_is_reported_and_not_dropped():
    entries = [part(f"O{i}", "nos", v) for i, v in enumerate((10.0, 10.01, 9.99, 10.0, 10.02, 10.9))]
    found = estimate_nominal(entries)
    assert found.outlier.is_outlier and found.outlier.suspect == 5 and found.count == 6


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: estimate_nominal([part("O1", "nos", 1.0), part("O1", "nos", 2.0)]), "given twice"),
        (lambda: estimate_nominal([part("O1", "nos")]), "0 readings of original O1"),
        (lambda: estimate_nominal([part("O1", "nos", float("nan"))]), "finite"),
        (lambda: estimate_nominal([part("O1", "nos", 1.0)], wear_allowance_mm=-1), "wear allowance"),
        (lambda: estimate_nominal([part("O1", "nos", 1.0)], shared_u_mm=-1), "shared uncertainty"),
        (lambda: estimate_nominal([part("O1", "restored", 1.0, coating=-1)]), "coating of original O1"),
        (lambda: estimate_nominal([], confidence=2), "between 0 and 1"),
        (lambda: guess_drawing_sizes(10, 0, 0.1), "greater than 0"),
        (lambda: guess_drawing_sizes(10, 0.1, 0.1, grids=()), "no grids"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_drawing_guess_puts_the_simplest_first():
    texts = [c.text for c in guess_drawing_sizes(25.42, 0.05, 0.02)]
    assert texts[0] == "1 in" and "25.4 mm" not in texts  # the same size is not named twice
    assert [c.grid.step_mm for c in guess_drawing_sizes(25.42, 0.05, 0.02)] == sorted(
        (c.grid.step_mm for c in guess_drawing_sizes(25.42, 0.05, 0.02)), reverse=True
    )


@pytest.mark.parametrize(
    ("mean", "text"),
    [
        (112.7125, "4 7/16 in"),
        (9.525, "3/8 in"),
        (-9.525, "-3/8 in"),
        (120.0, "120 mm"),
        (0.0, "0 in"),
        (12.5, "12.5 mm"),
    ],
)
def test_sizes_are_written_as_a_drawing_would(mean, text):
    found = guess_drawing_sizes(mean, 0.02, 0.01)
    assert found[0].text == text and found[0].p == pytest.approx(1)


def test_fine_grid_inside_a_wide_bound_proves_nothing():
    found = {c.grid.name: c for c in guess_drawing_sizes(112.40, 0.2, 0.09)}
    assert all(c.chance_by_accident == 1 for name, c in found.items() if name in ("0.1 mm", "0.001 in", "1/64 in"))
    assert max(c.chance_alone for c in found.values()) == 1.0


def test_accident_grows_with_every_grid_tried():
    found = guess_drawing_sizes(112.40, 0.03, 0.012)
    chances = [c.chance_by_accident for c in found]
    assert chances == sorted(chances) and all(c.chance_by_accident >= c.chance_alone - 1e-9 for c in found)


def test_accident_share_by_counting_positions():
    # Slow twin: try many positions of the bound (at random, so that they do not fall into step with a grid).
    grids = [g for g in ALL_GRIDS if g.name in ("1/8 in", "1 mm", "0.1 in")]
    places = np.random.default_rng(4).uniform(0, 1270, 1_000_000)
    width = 0.12
    hit = np.zeros(len(places), dtype=bool)
    for grid in grids:
        hit |= np.abs(places - np.round(places / grid.step_mm) * grid.step_mm) <= width / 2
    assert compute_accident_share(width, grids) == pytest.approx(hit.mean(), abs=1.5e-3)


def test_every_grid_divides_the_period():
    for grid in INCH_GRIDS + METRIC_GRIDS:
        assert 1270 / grid.step_mm == pytest.approx(round(1270 / grid.step_mm), abs=1e-6)


def test_wide_bound_does_not_list_hundreds():
    assert len(guess_drawing_sizes(1000, 200, 80)) <= 3 * len(ALL_GRIDS)
