"""What a part is worth at given levels of its inputs: present worth, and its cash flows with their times."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from pipeline.costing.bounds import check_not_negative
from pipeline.costing.case import WEEKS_PER_YEAR, Case, build_demand_shape
from pipeline.costing.estimate import Estimate, Floats

Levels = Mapping[str, Floats]
"""One value, or an array of draws, for each input: demand, price, landed, tooling, launch, errors, and "kit NAME"."""


def list_estimates(case: Case) -> dict[str, Estimate]:
    """The estimates of a case by input name; a kit's demand is "kit NAME"."""
    estimates = {"demand": case.demand, "price": case.price, "landed": case.landed}
    estimates |= {"tooling": case.tooling, "launch": case.launch}
    return estimates | {f"kit {kit.kit}": kit.per_year for kit in case.kits}


def list_means(case: Case) -> dict[str, Floats]:
    """Every input at its mean, as levels; "errors" is their expected money."""
    means: dict[str, Floats] = {name: np.asarray(one.mean) for name, one in list_estimates(case).items()}
    means["errors"] = np.asarray(math.fsum(risk.mean * risk.late for risk in case.errors))
    return means


def find_yearly(case: Case, levels: Levels) -> Floats:
    """Contribution of a year at full demand, before fixed cost, elementwise over the levels."""
    margin = levels["price"] - levels["landed"] - case.lost_margin
    yearly = levels["demand"] * margin
    for kit in case.kits:
        yearly = yearly + levels[f"kit {kit.kit}"] * (kit.share * kit.contribution - kit.replaces * margin)
    return np.asarray(yearly)


def find_middles(case: Case) -> Floats:
    """Years from launch to the middle of each year of sales, shape (years,)."""
    return np.arange(case.years, dtype=np.float64) + 0.5


def compute_worth(case: Case, levels: Levels, rate: float) -> Floats:
    """Present worth at given levels of every input, elementwise over arrays of draws.

    Sales of a year count at its middle, tool payments and errors at their week, all as years of 52 weeks from now:
    amount / (1 + rate) ** years.

    Args:
        levels: for each input, a number or an array of shape (draws,).
        rate: cost of money a year, fraction, zero or more.

    Returns:
        Money, of the shape of the levels.
    """
    shape = np.asarray(build_demand_shape(case))
    discounts = (1 + rate) ** -find_middles(case)
    sales = find_yearly(case, levels) * float(shape @ discounts) - case.fixed_per_year * float(discounts.sum())
    paid = math.fsum(payment.share * (1 + rate) ** (-payment.week / WEEKS_PER_YEAR) for payment in case.payments)
    late = (1 + rate) ** (-case.errors_week / WEEKS_PER_YEAR)
    waiting = np.exp(-math.log1p(rate) / WEEKS_PER_YEAR * levels["launch"])
    return np.asarray(sales * waiting - levels["tooling"] * paid - levels["errors"] * late)


def compute_mean_worth(case: Case, rate: float) -> float:
    """Present worth with every input at its mean.

    It is the exact mean over all worlds where the launch is known, because the inputs are independent and enter as
    sums and products; an uncertain launch makes the true mean a little higher.

    Raises:
        ValueError: rate negative or not finite.

    >>> from pipeline.costing.estimate import build_estimate as known
    >>> case = Case("P", known(100.0), known(30.0), known(10.0), known(5000.0), years=5)
    >>> round(compute_mean_worth(case, 0.0), 2)
    5000.0
    """
    check_not_negative(rate, "the cost of money a year")
    return float(compute_worth(case, list_means(case), rate))


def build_flows(case: Case, levels: Levels | None = None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Cash flows and their times in years from now, in time order: tooling, errors, sales of each year at its middle.

    Args:
        levels: one number for each input; means if not given.

    >>> from pipeline.costing.estimate import build_estimate as known
    >>> build_flows(Case("P", known(100.0), known(30.0), known(10.0), known(5000.0), years=2))
    ((-5000.0, 2000.0, 2000.0), (0.0, 0.5, 1.5))
    """
    at = list_means(case) if levels is None else levels
    rows = [(payment.week / WEEKS_PER_YEAR, -payment.share * float(at["tooling"])) for payment in case.payments]
    if float(at["errors"]) > 0:
        rows.append((case.errors_week / WEEKS_PER_YEAR, -float(at["errors"])))
    yearly, launch = float(find_yearly(case, at)), float(at["launch"]) / WEEKS_PER_YEAR
    for middle, share in zip(find_middles(case), build_demand_shape(case), strict=True):
        rows.append((launch + float(middle), yearly * share - case.fixed_per_year))
    rows.sort(key=lambda row: row[0])
    return tuple(row[1] for row in rows), tuple(row[0] for row in rows)
