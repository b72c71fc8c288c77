"""Present worth, payback, internal rate and chance of a loss of a part, by seeded simulation."""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.bounds import check_count, check_not_negative
from pipeline.costing.case import (
    WEEKS_PER_YEAR,
    Case,
    ErrorRisk,
    build_demand_shape,
    check_kits_counted_once,
    list_count_chances,
)
from pipeline.costing.estimate import Floats, map_uniforms
from pipeline.costing.factors import compute_payback, find_internal_rates
from pipeline.costing.worth import (
    Levels,
    build_flows,
    compute_mean_worth,
    compute_worth,
    find_middles,
    find_yearly,
    list_estimates,
)


@dataclass(frozen=True)
class Spread:
    """Mean, P10 (one in ten is lower) and P90 of simulated figures; None where too many draws have none."""

    mean: float | None
    p10: float | None
    p90: float | None


@dataclass(frozen=True)
class CaseResult:
    """The case of a part. Money unrounded.

    Attributes:
        worth: present worth. chance_of_loss: share of draws with a present worth below zero.
        expected_worth: with every input at its mean.
        rates: every internal rate of the expected cash flows, ascending; empty for none.
        payback: years from now until the expected cash flows are back for good; None for never.
        payback_spread: over the draws; a never sorts last, so P90 is None where over a tenth never pay back.
        never_pays_back: share of draws that never do within their years of sales.
        draws, seed, rate: of the simulation.
    """

    name: str
    worth: Spread
    chance_of_loss: float
    expected_worth: float
    rates: tuple[float, ...]
    payback: float | None
    payback_spread: Spread
    never_pays_back: float
    draws: int
    seed: int
    rate: float


def simulate_levels(case: Case, draws: int, seed: int) -> dict[str, Floats]:
    """Draws of every input of a case.

    The seed is mixed with the part's name, and every input has its own row of uniform numbers, used or not: another
    part, or another value of an input, changes nothing else, so two versions of a case meet in the same worlds.

    Returns:
        For each input an array of shape (draws,); "errors" is their money.

    Raises:
        ValueError: draws below 1, seed negative.
    """
    check_count(draws, "the number of draws", least=1)
    check_count(seed, "the seed")
    estimates = list_estimates(case)
    rng = np.random.default_rng([seed, zlib.crc32(case.name.encode())])
    uniforms = rng.random((len(estimates) + len(case.errors), draws))
    levels = {name: map_uniforms(one, row) for (name, one), row in zip(estimates.items(), uniforms, strict=False)}
    errors = np.zeros(draws)
    for risk, row in zip(case.errors, uniforms[len(estimates) :], strict=True):
        errors += risk.late * count_errors(risk, row)
    return levels | {"errors": errors}


def count_errors(risk: ErrorRisk, uniforms: Floats) -> NDArray[np.int64]:
    """Draws of the number of errors left of one mode from uniform numbers, by inversion of the negative binomial.

    Counts are tabulated until all but 1e-12 is covered, at most 10,000.

    Args:
        uniforms: at least 0 and below 1.

    >>> count_errors(ErrorRisk(1.0, 4.0, 1.0, 0.0), np.array([0.79, 0.81, 0.97])).tolist()
    [0, 1, 2]
    """
    below = np.cumsum(list_count_chances(risk))[:-1]
    return np.asarray(np.searchsorted(below, uniforms, side="right"), dtype=np.int64)


def simulate_case(case: Case, rate: float, draws: int = 10_000, seed: int = 0) -> CaseResult:
    """Present worth, payback and chance of a loss by seeded simulation, beside the expected cash flows' figures.

    One draw is one world: the same level of demand, price, cost and delay in all its years.

    Args:
        rate: cost of money a year, fraction, zero or more.

    Raises:
        ValueError: draws below 1, rate or seed negative.

    >>> from pipeline.costing.estimate import Estimate, build_estimate as known
    >>> case = Case("P", Estimate(50, 100, 150), known(30.0), known(10.0), known(5000.0), years=5)
    >>> result = simulate_case(case, 0.10, seed=1)
    >>> round(result.expected_worth), 0.05 < result.chance_of_loss < 0.2
    (2952, False)
    """
    check_not_negative(rate, "the cost of money a year")
    levels = simulate_levels(case, draws, seed)
    worth = compute_worth(case, levels, rate)
    back = compute_paybacks(case, levels)
    flows, times = build_flows(case)
    return CaseResult(
        name=case.name,
        worth=_spread(worth),
        chance_of_loss=float(np.mean(worth < 0)),
        expected_worth=compute_mean_worth(case, rate),
        rates=find_internal_rates(flows, times),
        payback=compute_payback(flows, times),
        payback_spread=_spread(back),
        never_pays_back=float(np.mean(np.isinf(back))),
        draws=draws,
        seed=seed,
        rate=rate,
    )


def simulate_cases(cases: Sequence[Case], rate: float, draws: int = 10_000, seed: int = 0) -> tuple[CaseResult, ...]:
    """Every case, in the order given; kits are checked to be counted once.

    Raises:
        ValueError: a kit counted more than once, two cases of one name, or as `simulate_case`.
    """
    check_kits_counted_once(cases)
    names = [case.name for case in cases]
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f"{name} has two cases; one for each part is wanted")
    return tuple(simulate_case(case, rate, draws, seed) for case in cases)


def _spread(values: Floats) -> Spread:
    """Mean and the two quantiles by rank (no interpolation, so infinite values sort last without harm)."""
    low, high = (math.ceil(share * values.size) - 1 for share in (0.1, 0.9))
    ranked = np.partition(values, (low, high))
    figures = (float(values.mean()), float(ranked[low]), float(ranked[high]))
    return Spread(*(figure if math.isfinite(figure) else None for figure in figures))


def compute_paybacks(case: Case, levels: Levels) -> Floats:
    """Years from now until the money is back for good, for each draw; infinite for never. Not discounted.

    Sales come in evenly from launch on. Tooling and errors are counted as paid before the first sale.

    Returns:
        Array of shape (draws,).
    """
    yearly, spent = find_yearly(case, levels), levels["tooling"] + levels["errors"]
    launch = levels["launch"] / WEEKS_PER_YEAR
    if case.fixed_per_year > 0:
        return _run_years(case, yearly, spent, launch)
    sold = np.concatenate(([0.0], np.cumsum(build_demand_shape(case))))
    wanted = np.divide(spent, yearly, out=np.full_like(spent, math.inf), where=yearly > 0)
    answer = launch + np.interp(wanted, sold, np.arange(case.years + 1), right=math.inf)
    return np.asarray(np.where(spent > 0, answer, 0.0))


def _run_years(case: Case, yearly: Floats, spent: Floats, launch: Floats) -> Floats:
    """Payback year by year, for cases whose income of a year may turn negative."""
    running, answer = -spent, np.zeros_like(spent)
    for year, share in enumerate(build_demand_shape(case)):
        income = yearly * share - case.fixed_per_year
        after = running + income
        crossed = (running < 0) & (after >= 0)
        part = np.divide(-running, income, out=np.zeros_like(after), where=crossed)
        answer = np.where(crossed, launch + year + part, np.where(after < 0, math.inf, answer))
        running = after
    return np.asarray(answer)


@dataclass(frozen=True)
class RateSpread:
    """Internal rate over the draws that have one. `none` is the share of draws without any from -99 % to 10 000 %."""

    spread: Spread
    none: float


def simulate_rates(case: Case, draws: int = 2_000, seed: int = 0) -> RateSpread:
    """Internal rate a year of every draw, by halving between -99 % and 10 000 %.

    Only draws whose money goes out before it comes in have one rate; the others are counted as `none` unless the
    present worth changes sign between the two ends, where the rate that the halving finds is taken.

    Raises:
        ValueError: draws below 1, seed negative.

    >>> from pipeline.costing.estimate import Estimate, build_estimate as known
    >>> sure = Case("P", known(100.0), known(30.0), known(10.0), known(2000.0), years=1)
    >>> simulate_rates(sure, draws=2).spread.mean
    0.0
    """
    levels = simulate_levels(case, draws, seed)
    low, high = np.full(draws, math.log(0.01)), np.full(draws, math.log(101.0))
    money, times = _stack_flows(case, levels)
    sign_low = (money * np.exp(-times * low[:, None])).sum(axis=1) > 0
    has = sign_low != ((money * np.exp(-times * high[:, None])).sum(axis=1) > 0)
    for _ in range(50):
        middle = (low + high) / 2
        same = ((money * np.exp(-times * middle[:, None])).sum(axis=1) > 0) == sign_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    rates = np.round(np.expm1((low + high) / 2)[has], 12) + 0.0
    return RateSpread(_spread(rates) if rates.size else Spread(None, None, None), 1 - float(np.mean(has)))


def _stack_flows(case: Case, levels: Levels) -> tuple[Floats, Floats]:
    """Money and years from now of every flow of every draw, both of shape (draws, flows)."""
    draws = levels["demand"].size
    money = [-payment.share * levels["tooling"] for payment in case.payments] + [-levels["errors"]]
    weeks = [np.full(draws, payment.week) for payment in case.payments] + [np.full(draws, case.errors_week)]
    yearly = find_yearly(case, levels)
    for middle, share in zip(find_middles(case), build_demand_shape(case), strict=True):
        money.append(yearly * share - case.fixed_per_year)
        weeks.append(levels["launch"] + middle * WEEKS_PER_YEAR)
    return np.stack(money, axis=1), np.stack(weeks, axis=1) / WEEKS_PER_YEAR
