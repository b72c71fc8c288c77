"""Gauge studies, capability, attribute samples, outliers and hardness on edges and bad input."""

import pytest

from pipeline.measuring.attribute_samples import compute_pieces_needed, compute_reject_bound
from pipeline.measuring.capability import compute_capability, compute_indices
from pipeline.measuring.gauge_study import StudyReading, arrange_study, study_by_anova, study_by_ranges
from pipeline.measuring.hardness import HardnessScale, convert_hardness
from pipeline.measuring.outliers import compute_grubbs_critical, find_outlier
from pipeline.measuring.range_constants import compute_range_moments
from pipeline.measuring.tolerance_intervals import compute_two_sided_factor, find_tolerance_interval


def rows(cells):
    return [StudyReading(p, a, v) for (p, a), values in cells.items() for v in values]


GOOD = rows({("1", "A"): (1.0, 1.1), ("1", "B"): (1.1, 1.2), ("2", "A"): (2.0, 2.1), ("2", "B"): (2.2, 2.1)})
HRC, HV, HBW, RM = HardnessScale.HRC, HardnessScale.HV, HardnessScale.HBW, HardnessScale.RM

BAD = [
    (lambda: study_by_anova([]), "0 readings"),
    (lambda: study_by_anova(GOOD[:-1]), "part 2, appraiser B: 1 readings where others have 2"),
    (lambda: study_by_anova([r for r in GOOD if (r.part, r.appraiser) != ("2", "B")]), "0 readings where others"),
    (lambda: study_by_ranges(rows({("1", "A"): (1.0, 1.1)})), "at least two parts"),
    (lambda: study_by_ranges(rows({("1", "A"): (1.0,), ("2", "A"): (2.0,)})), "at least two parts and two readings"),
    (lambda: study_by_ranges([*GOOD[:-1], StudyReading("2", "B", float("nan"))]), "finite"),
    (lambda: study_by_ranges(GOOD, tolerance=0), "tolerance of the study"),
    (lambda: study_by_anova(rows({(p, a): (1.0, 1.0) for p in "12" for a in "AB"})), "all readings of the study are"),
    (lambda: study_by_ranges(rows({(p, a): (1.0, 1.0) for p in "12" for a in "AB"})), "finer reading"),
    (lambda: compute_capability([1, 2], 0, 3), "at least 3"),
    (lambda: compute_capability([1, 1, 1], 0, 3), "no spread"),
    (lambda: compute_capability([1, 2, 3], None, None), "nominal without limits"),
    (lambda: compute_capability([1, 2, 3], 1, 1), "tolerance of zero"),
    (lambda: compute_capability([1, 2, 3], 0, 4, subgroup_sizes=[2, 2]), "hold 4 readings but 3"),
    (lambda: compute_capability([1, 2, 3], 0, 4, subgroup_sizes=[1, 1, 1]), "one reading"),
    (lambda: compute_indices(1, 0, 0, 2), "greater than 0"),
    (lambda: compute_reject_bound(3, 2), "exchange"),
    (lambda: compute_reject_bound(0, 0), "1 or more"),
    (lambda: compute_pieces_needed(1.0), "between 0 and 1"),
    (lambda: compute_grubbs_critical(2), "3 or more"),
    (lambda: compute_grubbs_critical(5, sides=3), "1 or 2"),
    (lambda: find_outlier([1, 2]), "at least 3"),
    (lambda: find_outlier([2, 2, 2]), "equal"),
    (lambda: compute_two_sided_factor(1), "2 or more"),
    (lambda: compute_two_sided_factor(5, coverage=1.0), "between 0 and 1"),
    (lambda: find_tolerance_interval([5.0]), "at least two"),
    (lambda: compute_range_moments(1), "2 to 100"),
    (lambda: convert_hardness(39.9, HRC, HV), "runs from 40 to 68"),
    (lambda: convert_hardness(68.1, HRC, HV), "outside the table"),
    (lambda: convert_hardness(66, HRC, HBW), "runs from 40 to 65"),
    (lambda: convert_hardness(60, HRC, RM), "runs from 40 to 59"),
    (lambda: convert_hardness(302, HV, HRC), "runs from 392 to 940"),
    (lambda: convert_hardness(50, HRC, HRC), "nothing to convert"),
    (lambda: convert_hardness(float("nan"), HRC, HV), "finite"),
]


@pytest.mark.parametrize(("call", "words"), BAD)
def test_impossible_arguments_are_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_order_of_readings_within_a_study_does_not_matter():
    assert study_by_anova(GOOD[::-1]).gauge == pytest.approx(study_by_anova(GOOD).gauge)
    assert arrange_study(GOOD)[0].shape == (2, 2, 2)


def test_one_appraiser_is_a_repeatability_study():
    study = rows({("1", "A"): (1.0, 1.2), ("2", "A"): (2.0, 2.2), ("3", "A"): (3.1, 3.1)})
    for result in (study_by_anova(study), study_by_ranges(study)):
        assert result.reproducibility == 0 and result.repeatability > 0 and result.appraisers == 1
    # Pooled variance within parts (0.02 + 0.02 + 0) / 3, derived.
    assert study_by_anova(study).repeatability == pytest.approx((0.04 / 3) ** 0.5)


def test_kept_interaction_is_counted_as_reproducibility():
    crossed = rows(
        {("1", "A"): (0.0, 0.01), ("1", "B"): (1.0, 1.01), ("2", "A"): (1.0, 1.01), ("2", "B"): (0.0, 0.01),
         ("3", "A"): (0.5, 0.51), ("3", "B"): (0.5, 0.51)}
    )  # fmt: skip
    study = study_by_anova(crossed)
    assert study.interaction is not None and study.interaction > 0.5
    assert study.reproducibility >= study.interaction and "kept" in study.method
    assert study_by_anova(crossed, pool=True).interaction is None


def test_share_of_the_tolerance():
    study = study_by_anova(GOOD, tolerance=2.0)
    assert study.percent_tolerance == pytest.approx(100 * 6 * study.gauge / 2.0)
    assert study_by_anova(GOOD).percent_tolerance is None


def test_gauge_without_spread_has_endless_categories():
    still = rows({(p, a): (v, v) for p, v in (("1", 1.0), ("2", 2.0)) for a in "AB"})
    for result in (study_by_anova(still), study_by_ranges(still)):
        assert result.categories is None and result.gauge == pytest.approx(0, abs=1e-12)


def test_variance_shares_add_up_and_study_shares_do_not():
    study = study_by_anova(GOOD)
    assert study.percent_variance[2] + study.percent_variance[3] == pytest.approx(100)
    assert study.percent_study[2] + study.percent_study[3] > 100


READINGS = [9.98, 10.00, 10.02, 9.99, 10.01, 10.00, 10.03, 9.97, 10.0, 10.01]


def test_capability_from_subgroups_and_moving_ranges_says_which():
    groups = compute_capability(READINGS, 9.9, 10.1, subgroup_sizes=[5, 5])
    moving = compute_capability(READINGS, 9.9, 10.1)
    assert "subgroups" in groups.method and "moving ranges" in moving.method
    assert groups.within_dof == 8 and groups.pp == moving.pp
    within = [READINGS[:5], READINGS[5:]]
    square = sum(sum((x - sum(g) / 5) ** 2 for x in g) for g in within)
    assert groups.within_sd == pytest.approx((square / 8) ** 0.5)


def test_one_sided_capability():
    result = compute_capability(READINGS, None, 10.1)
    assert result.cp is None and result.pp is None
    assert result.ppk.value == pytest.approx((10.1 - result.mean) / (3 * result.overall_sd))
    assert compute_indices(0.1, 0.05, None, 0.4) == (None, pytest.approx(2.0))


def test_confidence_interval_of_pp_is_the_chi_square_one():
    # n 10: chi-square(9) .025 = 2.700, .975 = 19.023 (any handbook, from memory).
    pp = compute_capability(READINGS, 9.9, 10.1).pp
    assert pp.lower / pp.value == pytest.approx((2.700 / 9) ** 0.5, abs=1e-4)
    assert pp.upper / pp.value == pytest.approx((19.023 / 9) ** 0.5, abs=1e-4)


def test_readings_outside_are_counted():
    assert compute_capability([*READINGS, 10.2], 9.9, 10.1).count_outside == 1
    assert compute_capability([*READINGS, 10.1], 9.9, 10.1).count_outside == 0  # on the limit is inside


def test_more_rejects_never_lower_the_bound():
    bounds = [compute_reject_bound(r, 20) for r in range(21)]
    assert bounds == sorted(bounds) and bounds[-1] == 1.0


def test_hardness_names_row_or_interpolation():
    assert convert_hardness(50, HRC, HV).method == "row HRC 50 of the table"
    between = convert_hardness(50.5, HRC, HV)
    assert between.value == pytest.approx(520.5) and "linear interpolation between rows HRC 50 and 51" in between.method
    assert "A370" in between.source and "no proof" in between.caution


@pytest.mark.parametrize("given", list(HardnessScale))
@pytest.mark.parametrize("wanted", list(HardnessScale))
def test_hardness_there_and_back(given, wanted):
    if given is wanted:
        return
    value = {"HRC": 47.3, "HV": 470.0, "HBW": 440.0, "HRA": 74.0, "Rm (MPa)": 1570.0}[given]
    there = convert_hardness(value, given, wanted)
    assert convert_hardness(there.value, wanted, given).value == pytest.approx(value, rel=1e-9)
