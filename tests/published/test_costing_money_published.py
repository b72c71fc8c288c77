"""Engineering economy, learning curves, order quantities and decision analysis against published figures."""

from __future__ import annotations

import pytest

from pipeline.costing import factors
from pipeline.costing.information import (
    Decision,
    compute_expected_value,
    compute_perfect_information,
    compute_sample_information,
)

# source: compound-interest factor tables of every engineering-economy textbook; status: from memory, recomputed
FACTORS = (
    (factors.compute_capital_recovery, 0.10, 5, 0.26380),
    (factors.compute_capital_recovery, 0.08, 10, 0.14903),
    (factors.compute_capital_recovery, 0.12, 3, 0.41635),
    (factors.compute_capital_recovery, 0.15, 7, 0.24036),
    (factors.compute_series_present_worth, 0.10, 5, 3.7908),
    (factors.compute_compound_amount, 0.10, 5, 1.6105),
    (factors.compute_present_amount, 0.10, 5, 0.6209),
    (factors.compute_sinking_fund, 0.10, 5, 0.16380),
)


@pytest.mark.parametrize(("function", "rate", "periods", "expected"), FACTORS)
def test_interest_factors(function, rate: float, periods: int, expected: float) -> None:  # type: ignore[no-untyped-def]
    assert function(rate, periods) == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize("rate", [0.0, 1e-9])
def test_factors_without_interest(rate: float) -> None:
    # status: derived; n payments of one are worth n
    assert factors.compute_series_present_worth(rate, 5) == pytest.approx(5, abs=1e-7)
    assert factors.compute_capital_recovery(rate, 5) == pytest.approx(0.2, abs=1e-8)


def test_present_worth_convention() -> None:
    # documentation example of a general financial library: npv(0.08, [-40000, 5000, 8000, 12000, 30000]) = 3065.22267;
    # status: from memory. The spreadsheet NPV() of the same flows is one period further away: 2838.17 (derived).
    worth = factors.compute_present_worth(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000])
    assert worth == pytest.approx(3065.22267, abs=1e-5)
    assert worth / 1.08 == pytest.approx(2838.17, abs=0.01)


@pytest.mark.parametrize(
    ("flows", "rates"),
    [
        ([-1600, 10_000, -10_000], [0.25, 4.0]),  # oil-pump problem, Lorie and Savage 1955; from memory, derived
        ([-100, 39, 59, 55, 20], [0.28095]),  # documentation example of a general financial library; from memory
        ([-100, 0, 0, 74], [-0.0955]),  # same
        ([-5, 10.5, 1, -8, 1], [0.0886]),  # same (prints the one root it settles on)
        ([-100, 110], [0.10]),  # derived
        ([-100, 220, -121], [0.10]),  # derived: (1 + r) = 1.1 twice, a root that only touches zero
        ([100, 50], []),
        ([-100, 150, -200], []),  # derived: discriminant below zero
        ([1, -2.2, 1.211], []),  # derived: discriminant -0.004
        ([0, 0], []),
    ],
)
def test_internal_rates(flows: list[float], rates: list[float]) -> None:
    found = factors.find_internal_rates(flows)
    if flows[0] == -5:
        assert any(rate == pytest.approx(rates[0], abs=6e-5) for rate in found)
    else:
        assert list(found) == pytest.approx(rates, abs=6e-5)
    for rate in found:
        assert factors.compute_present_worth(rate, flows) == pytest.approx(0, abs=1e-6)


def test_internal_rate_at_fractions_of_a_year() -> None:
    # status: derived; doubling in half a year is 300 % a year
    assert factors.find_internal_rates([-100, 200], [0, 0.5]) == pytest.approx((3.0,), abs=1e-9)


def test_what_is_paid_out_only_has_no_rate_however_late() -> None:
    # status: derived; 5 after 200 periods are next to nothing at high rates, and still no income
    assert factors.find_internal_rates([0, -5], [0, 200]) == ()
    assert factors.find_internal_rates([0, 5], [0, 200]) == ()


def test_rates_are_looked_for_up_to_a_hundred_thousand_per_cent_unless_more_is_asked_for() -> None:
    # status: derived; 1 comes back as 1000.5 or as 1001.5 after one period
    assert factors.find_internal_rates([-1, 1000.5]) == pytest.approx((999.5,))
    assert factors.find_internal_rates([-1, 1001.5]) == ()
    assert factors.find_internal_rates([-1, 1001.5], highest=2000) == pytest.approx((1000.5,))


def test_the_highest_rate_that_is_looked_at_is_found_itself() -> None:
    # status: derived; money that doubles in one period earns 100 %
    assert factors.find_internal_rates([-1, 2], highest=1) == pytest.approx((1.0,))


def test_tool_paid_back_with_interest() -> None:
    # status: derived from the capital-recovery factor; 12000, 500 pieces a year, 5 years, 10 %
    assert 12_000 * factors.compute_capital_recovery(0.10, 5) == pytest.approx(3165.57, abs=0.005)
    assert factors.compute_tool_share(12_000, 500, 5, 0.10) == pytest.approx(6.3311, abs=5e-5)
    assert factors.compute_tool_share(12_000, 500, 5, 0.0) == pytest.approx(4.80)


def test_break_even_of_two_processes() -> None:
    # status: derived; 2000 + 8.00 n = 15000 + 2.50 n at n = 2363.6
    assert factors.compute_break_even(2_000, 8.00, 15_000, 2.50) == pytest.approx(2363.636, abs=1e-3)
    assert factors.compute_break_even(2_000, 2.50, 15_000, 8.00) is None
    assert factors.compute_break_even(1.0, 1.0, 1.5, 0.0) == pytest.approx(0.5)  # 1 + n = 1.5: from the first piece on


def test_learning_curve_unit_model() -> None:
    # source: learning-curve coefficient table (80 %) of operations-management textbooks; status: from memory
    expected = {1: 1, 2: 0.8, 3: 0.7021, 4: 0.64, 5: 0.5956, 8: 0.512, 10: 0.4765, 20: 0.3812}
    for unit, factor in expected.items():
        assert factors.compute_unit_factor(0.8, unit) == pytest.approx(factor, abs=6e-5)
    for units, total in {5: 3.738, 10: 6.315, 20: 10.485}.items():
        assert factors.compute_unit_total(0.8, units) == pytest.approx(total, abs=6e-4)


def test_learning_curve_cumulative_average_model() -> None:
    # source: closed form n^(1 + log2 slope) of T. P. Wright 1936; status: derived
    for units, total in {2: 1.6, 4: 2.56, 10: 4.765}.items():
        assert factors.compute_average_total(0.8, units) == pytest.approx(total, abs=6e-4)
    fourth = factors.compute_average_total(0.8, 4) - factors.compute_average_total(0.8, 3)
    assert fourth == pytest.approx(0.4537, abs=1e-4)


def test_order_quantity() -> None:
    # source: operations-management textbook examples; status: from memory, recomputed
    assert factors.compute_order_quantity(1000, 10, 0.5) == pytest.approx(200)
    assert factors.compute_order_quantity(1000, 10, 0.5, daily_use=4, daily_making=8) == pytest.approx(282.84, abs=0.01)


OIL = Decision((0.25, 0.75), ((700, -100), (90, 90)))
SURVEY = ((0.6, 0.2), (0.4, 0.8))


def test_oil_drilling_decision() -> None:
    # source: the drill-or-sell example of operations-research textbooks; status: inputs seen (a public worksheet),
    # 142.5, 53 and 123 from memory
    assert compute_expected_value(OIL) == pytest.approx(100)
    assert compute_perfect_information(OIL) == pytest.approx(142.5)
    survey = compute_sample_information(OIL, SURVEY)
    assert survey.outcomes == pytest.approx((0.3, 0.7))
    assert survey.posteriors[0] == pytest.approx((0.5, 0.5))
    assert survey.posteriors[1] == pytest.approx((1 / 7, 6 / 7))
    assert survey.with_test == pytest.approx(153)
    assert survey.gain == pytest.approx(53)
    assert survey.with_test - 30 == pytest.approx(123)
    assert survey.actions == (0, 1)  # drill after a good sounding, sell after a bad one


def test_a_perfect_survey_is_worth_perfect_information() -> None:
    assert compute_sample_information(OIL, ((1, 0), (0, 1))).gain == pytest.approx(142.5)


def test_a_survey_that_says_nothing_is_worth_nothing() -> None:
    assert compute_sample_information(OIL, ((0.5, 0.5), (0.5, 0.5))).gain == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Decision((0.5, 0.6), ((1, 2),)), "add up to 1.1"),
        (lambda: Decision((0.5, 0.5), ((1,),)), "1 payoffs for 2 states"),
        (lambda: Decision((1.0,), ()), "no action"),
        (lambda: Decision((1.0,), ((1.0,),), needs_test=(0,)), "no action"),
        (lambda: compute_sample_information(OIL, ((0.6, 0.2), (0.6, 0.8))), "state 0 add up to 1.2"),
        (lambda: compute_sample_information(OIL, ((0.6,), (0.4,))), "1 chances for 2 states"),
        (lambda: factors.compute_present_worth(-1.0, [1]), "more than -1"),
        (lambda: factors.compute_present_worth(0.1, [1, 2], [0]), "2 flows have 1 times"),
        (lambda: factors.compute_capital_recovery(0.1, 0), "a whole number of 1 or more"),
        (lambda: factors.compute_tool_share(12_000, 0, 5, 0.1), "pieces a year is 0"),
        (lambda: factors.compute_tool_share(-1, 500, 5, 0.1), "price of the tool is -1"),
        (lambda: factors.compute_order_quantity(0, 10, 1), "pieces a year is 0"),
        (lambda: factors.compute_order_quantity(10, 10, 1, daily_use=8, daily_making=4), "more made than used"),
        (lambda: factors.compute_payback([1, 2], [1, 0]), "ascending"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()
