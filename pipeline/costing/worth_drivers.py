"""What drives the worth of a part: the tornado."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.costing.bounds import check_finite, check_not_negative
from pipeline.costing.case import Case, list_count_chances
from pipeline.costing.estimate import compute_quantile
from pipeline.costing.worth import compute_worth, list_estimates, list_means


@dataclass(frozen=True)
class Driver:
    """One bar of the tornado: worth with one input at its P10 and P90, all others at their mean."""

    name: str
    low: float
    high: float
    worth_low: float
    worth_high: float

    @property
    def swing(self) -> float:
        """How far the worth moves."""
        return abs(self.worth_high - self.worth_low)


def find_drivers(case: Case, rate: float, share: float = 0.1) -> tuple[Driver, ...]:
    """What drives the worth: every uncertain input from its P10 to its P90, the widest swing first, equal ones by name.

    Errors go from none to the P90 of their money, as if all modes had their P90 at once.

    Args:
        share: 0.1 for P10 and P90.

    Raises:
        ValueError: rate negative, share outside 0..0.5.

    >>> from pipeline.costing.estimate import Estimate, build_estimate as known
    >>> case = Case("P", Estimate(50, 100, 150), known(30.0), known(10.0), Estimate(4900, 5000, 5100), years=5)
    >>> [driver.name for driver in find_drivers(case, 0.10)]
    ['demand', 'tooling']
    """
    check_not_negative(rate, "the cost of money a year")
    check_finite(share, "the share of the tornado")
    if not 0 <= share < 0.5:
        raise ValueError(f"the share of the tornado is {share:g}; 0 up to 0.5 is wanted, e.g. 0.1 for P10 and P90")
    means = list_means(case)
    ends = {
        name: (compute_quantile(estimate, share), compute_quantile(estimate, 1 - share))
        for name, estimate in list_estimates(case).items()
        if not estimate.is_known
    }
    if case.errors:
        ends["errors"] = (0.0, _find_error_money(case, 1 - share))
    rows = [
        Driver(
            name, low, high, *(float(compute_worth(case, means | {name: np.asarray(end)}, rate)) for end in (low, high))
        )
        for name, (low, high) in ends.items()
    ]
    return tuple(sorted(rows, key=lambda row: (-row.swing, row.name)))


def _find_error_money(case: Case, share: float) -> float:
    """Sum over modes of the count that a share of parts stays at or below, times its cost."""
    money = 0.0
    for risk in case.errors:
        below = np.cumsum(list_count_chances(risk))
        money += float(np.searchsorted(below, share)) * risk.late
    return money
