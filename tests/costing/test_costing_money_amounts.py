"""Money, dated rates and three-point estimates."""

from __future__ import annotations

import datetime as dt
import math
from decimal import Decimal

import numpy as np
import pytest

from pipeline.costing.estimate import (
    Estimate,
    build_estimate,
    compute_chance_below,
    compute_quantile,
    simulate_estimate,
)
from pipeline.costing.factors import compute_payback
from pipeline.costing.money import Amount, Rate, Rates, build_decimal, compute_sum, round_money

RATES = Rates(
    "USD",
    (
        Rate("EUR", dt.date(2026, 9, 1), Decimal("1.10"), "day list of a bank"),
        Rate("EUR", dt.date(2026, 10, 1), Decimal("1.08"), "day list of a bank"),
    ),
    limit_days=60,
)


def test_ten_cents_thirty_times_is_three() -> None:
    assert compute_sum([Amount(build_decimal(0.1), "USD")] * 30, "USD") == Amount(Decimal("3.0"), "USD")


def test_rounding_is_half_up_once_and_in_the_currency_s_own_digits() -> None:
    assert round_money(Decimal("0.125")) == Decimal("0.13")
    assert round_money(Decimal("-0.125")) == Decimal("-0.13")
    assert round_money(Decimal("1234.5"), "JPY") == Decimal(1235)
    assert str(Amount(Decimal("38000"), "USD")) == "38,000.00 USD"


def test_currencies_never_mix() -> None:
    with pytest.raises(ValueError, match="USD and EUR cannot be mixed"):
        Amount(Decimal(1), "USD") + Amount(Decimal(1), "EUR")
    with pytest.raises(ValueError, match="cannot be mixed"):
        assert Amount(Decimal(1), "USD") < Amount(Decimal(1), "EUR")


@pytest.mark.parametrize(
    ("on", "rate"),
    [
        (dt.date(2026, 9, 1), "1.10"),
        (dt.date(2026, 9, 30), "1.10"),
        (dt.date(2026, 10, 1), "1.08"),
        (dt.date(2026, 11, 30), "1.08"),  # sixty days old: on the limit
    ],
)
def test_the_last_rate_by_the_day_counts(on: dt.date, rate: str) -> None:
    assert RATES.find_rate("EUR", on).rate == Decimal(rate)


@pytest.mark.parametrize(
    ("currency", "on", "words"),
    [
        ("EUR", dt.date(2026, 12, 1), "61 days before 2026-12-01"),
        ("EUR", dt.date(2026, 8, 31), "no rate of EUR into USD by 2026-08-31"),
        ("GBP", dt.date(2026, 10, 1), "no rate of GBP"),
    ],
)
def test_old_and_missing_rates_are_refused(currency: str, on: dt.date, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        RATES.convert(Amount(Decimal(1), currency), on)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: Amount(Decimal("NaN"), "USD"), "finite"),
        (lambda: Amount(Decimal(1), "dollar"), "three capital letters"),
        (lambda: Rate("EUR", dt.date(2026, 1, 1), Decimal(0), "x"), "more than zero"),
        (lambda: Rate("EUR", dt.date(2026, 1, 1), Decimal(1), " "), "no source"),
        (lambda: Rates("USD", (RATES.rows[0], RATES.rows[0])), "two rates"),
        (lambda: Estimate(2, 1, 3), "out of order"),
        (lambda: Estimate(1, 2, math.inf), "finite"),
        (lambda: Estimate(math.nan, 2, 3), "finite"),
        (lambda: compute_quantile(Estimate(1, 2, 3), 1.1), "0 to 1"),
        (lambda: simulate_estimate(Estimate(1, 2, 3), np.random.default_rng(1), 0), "number of draws is 0"),
    ],
)
def test_impossible_arguments_are_refused_in_words(call, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("points", [(0, 0, 10), (0, 3, 10), (0, 5, 10), (-4, 10, 10), (500, 800, 1100)])
def test_draws_have_the_mean_spread_and_quantiles_of_the_distribution(points: tuple[float, float, float]) -> None:
    from scipy.stats import beta

    estimate = Estimate(*points)
    first, second = estimate.shapes
    twin = beta(first, second, loc=estimate.low, scale=estimate.high - estimate.low)
    assert estimate.mean == pytest.approx(twin.mean())
    assert estimate.sd == pytest.approx(twin.std())
    for share in (0.1, 0.5, 0.9):
        assert compute_quantile(estimate, share) == pytest.approx(twin.ppf(share))
        assert compute_chance_below(estimate, compute_quantile(estimate, share)) == pytest.approx(share)
    draws = simulate_estimate(estimate, np.random.default_rng(1), 200_000)
    assert draws.min() >= estimate.low
    assert draws.max() <= estimate.high
    assert draws.mean() == pytest.approx(estimate.mean, abs=0.01 * estimate.sd)
    assert draws.std() == pytest.approx(estimate.sd, rel=0.01)
    assert np.quantile(draws, [0.1, 0.9]) == pytest.approx(twin.ppf([0.1, 0.9]), abs=0.02 * estimate.sd)


def test_draws_repeat_with_their_seed_and_a_known_number_takes_none() -> None:
    estimate = Estimate(1, 2, 5)
    one, two = np.random.default_rng(9), np.random.default_rng(9)
    assert (simulate_estimate(build_estimate(3.0), one, 10) == 3.0).all()
    assert np.array_equal(simulate_estimate(estimate, one, 100), simulate_estimate(estimate, two, 100))


@pytest.mark.parametrize(
    ("flows", "times", "expected"),
    [
        ([-100, 50, 50], None, 2.0),
        ([-100, 40, 80], None, 1.75),
        ([-100, 150, -100, 60], None, 2 + 50 / 60),  # comes back, goes under again: the last time counts
        ([-100, 200], [0.5, 1.5], 1.0),
        ([50, 10], None, 0.0),
        ([-1, 0.5], None, None),
    ],
)
def test_payback(flows: list[float], times: list[float] | None, expected: float | None) -> None:
    found = compute_payback(flows, times)
    assert found is None if expected is None else found == pytest.approx(expected)


def test_every_currency_is_rounded_to_its_own_minor_unit() -> None:
    """ISO 4217, minor units of the list of currencies (from memory): none for yen, won, dong, krona, peso of Chile; three
    for the dinars of Kuwait, Bahrain and Tunisia; two for the rest."""
    digits = dict.fromkeys(("JPY", "KRW", "VND", "ISK", "CLP"), 0) | dict.fromkeys(("KWD", "BHD", "TND"), 3)
    for currency, places in {**digits, "USD": 2, "EUR": 2}.items():
        assert round_money(Decimal("1234.56789"), currency) == round(Decimal("1234.56789"), places), currency
        assert -round_money(Decimal("1234.56789"), currency).as_tuple().exponent == places, currency  # type: ignore[operator]


def test_a_rate_holds_for_ninety_days_where_nothing_is_said_and_for_one_at_least() -> None:
    rate = Rate("EUR", dt.date(2026, 1, 1), Decimal("1.1"), "day list of a bank")
    usual = Rates("USD", (rate,))
    assert usual.find_rate("EUR", dt.date(2026, 4, 1)) == rate  # ninety days
    with pytest.raises(ValueError, match="91 days before 2026-04-02"):
        usual.find_rate("EUR", dt.date(2026, 4, 2))
    assert Rates("USD", (rate,), limit_days=1).find_rate("EUR", dt.date(2026, 1, 2)) == rate
    with pytest.raises(ValueError, match="the age limit of a rate in days"):
        Rates("USD", (rate,), limit_days=0)
