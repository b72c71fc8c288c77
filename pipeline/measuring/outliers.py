"""Grubbs' test: is the reading farthest from the mean one of the others?"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from pipeline.measuring.distributions import compute_student_above, find_student_quantile
from pipeline.measuring.points import check_number, check_values
from pipeline.measuring.samples import check_share, summarise


@dataclass(frozen=True, slots=True)
class OutlierTest:
    """Result of Grubbs' test.

    Attributes:
        method: which form of the test.
        count: readings.
        suspect: index of the reading farthest from the mean.
        value: that reading.
        g: its distance from the mean in standard deviations.
        critical: value that g must pass at this significance.
        p: chance of a g this large without an outlier (Bonferroni bound, at most 1).
        significance: of the test.
        is_outlier: g is above the critical value. A reason to look at the piece, never alone a reason to drop it.
    """

    method: str
    count: int
    suspect: int
    value: float
    g: float
    critical: float
    p: float
    significance: float
    is_outlier: bool


def compute_grubbs_critical(count: int, significance: float = 0.05, sides: int = 2) -> float:
    """Critical value of Grubbs' test.

    Args:
        count: readings, three or more.
        significance: between 0 and 1.
        sides: 2 when either end may hold the outlier, 1 when the end was named before looking.

    Raises:
        ValueError: out of range.

    Source: F. Grubbs, Technometrics 11 (1969); ISO 16269-4; t form of the critical value.

    >>> round(compute_grubbs_critical(8, sides=1), 3), round(compute_grubbs_critical(8), 3)
    (2.032, 2.127)
    """
    check_number(count, "count of readings", least=3)
    if sides not in (1, 2):
        raise ValueError(f"sides is {sides}; it must be 1 or 2")
    tail = -find_student_quantile(check_share(significance, "significance") / (sides * count), count - 2)
    return (count - 1) / sqrt(count) * sqrt(tail**2 / (count - 2 + tail**2))


def find_outlier(readings: npt.ArrayLike, significance: float = 0.05) -> OutlierTest:
    """Two-sided Grubbs' test on the reading farthest from the mean.

    Args:
        readings: three or more, not all equal, from a population that is normal but for the suspect.
        significance: between 0 and 1.

    Raises:
        ValueError: fewer than three readings, or all equal.

    Source: F. Grubbs, Technometrics 11 (1969); ISO 16269-4.

    >>> test = find_outlier([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    >>> round(test.g, 4), test.suspect, test.is_outlier
    (2.4688, 7, True)
    """
    values = check_values(readings, "readings", 3)
    sample = summarise(values)
    if not sample.sd:
        raise ValueError(f"all {len(values)} readings are equal; none can be an outlier")
    distance = np.abs(values - sample.mean) / sample.sd
    suspect = int(np.argmax(distance))
    g, count = float(distance[suspect]), len(values)
    critical = compute_grubbs_critical(count, significance)
    return OutlierTest(
        method="Grubbs, two-sided",
        count=count,
        suspect=suspect,
        value=float(values[suspect]),
        g=g,
        critical=critical,
        p=_compute_p(g, count),
        significance=significance,
        is_outlier=g > critical,
    )


def _compute_p(g: float, count: int) -> float:
    """Bonferroni bound of the chance, from the t value that belongs to g."""
    room = (count - 1) ** 2 - count * g**2
    if room <= 0:
        return 0.0
    return min(1.0, 2 * count * float(compute_student_above(sqrt(count * (count - 2) * g**2 / room), count - 2)))
