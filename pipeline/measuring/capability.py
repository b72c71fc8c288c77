"""Capability of a process from samples, with confidence bounds that small samples deserve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from pipeline.measuring.distributions import (
    compute_normal_above,
    compute_normal_below,
    find_chi_square_bound,
    find_chi_square_quantile,
    find_normal_quantile,
)
from pipeline.measuring.points import Floats, check_number, check_values
from pipeline.measuring.range_constants import compute_range_factor
from pipeline.measuring.samples import check_share, summarise
from pipeline.measuring.verdict import check_limits


@dataclass(frozen=True, slots=True)
class Index:
    """A capability index and the interval that holds the true one.

    Attributes:
        value: the estimate.
        lower: lower end of the two-sided confidence interval.
        upper: upper end.
    """

    value: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Capability:
    """Capability of a sample against limits.

    Attributes:
        method: which spread stands behind Cp and Cpk.
        count: readings.
        mean: mean.
        overall_sd: standard deviation of all readings together.
        within_sd: standard deviation within subgroups, or from moving ranges.
        within_dof: its degrees of freedom (about 0.62 (n - 1) for moving ranges).
        cp: limits' width over six within_sd, None with one limit.
        cpk: distance from the mean to the nearer limit over three within_sd.
        pp: as cp with overall_sd.
        ppk: as cpk with overall_sd.
        confidence: of the intervals.
        share_outside: expected share of pieces outside, normal distribution, overall spread.
        count_outside: readings outside.
    """

    method: str
    count: int
    mean: float
    overall_sd: float
    within_sd: float
    within_dof: float
    cp: Index | None
    cpk: Index
    pp: Index | None
    ppk: Index
    confidence: float
    share_outside: float
    count_outside: int


def compute_capability(
    readings: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
    subgroup_sizes: Sequence[int] | None = None,
    confidence: float = 0.95,
) -> Capability:
    """Cp, Cpk, Pp and Ppk with confidence intervals; one limit is enough.

    Args:
        readings: in the order of making, three or more, not all equal.
        lower: lower limit or None.
        upper: upper limit or None.
        subgroup_sizes: sizes of consecutive subgroups; they must add up to the readings. Without them the spread within
            comes from moving ranges of two.
        confidence: of the two-sided intervals.

    Raises:
        ValueError: no limits, equal limits, too few readings, subgroups that do not add up, or no spread at all.

    Source: ISO 22514-2 for the indices; chi-square interval for Cp, and for Cpk the normal approximation of A. Bissell,
    Applied Statistics 39 (1990), as in the NIST/SEMATECH e-Handbook 6.1.6.

    >>> result = compute_capability([9.98, 10.00, 10.02, 9.99, 10.01, 10.00], 9.9, 10.1)
    >>> round(result.pp.value, 2), round(result.ppk.value, 2), result.ppk.lower < result.ppk.value
    (2.36, 2.36, True)
    """
    low, high = check_limits(lower, upper)
    values = check_values(readings, "readings", 3)
    check_share(confidence, "confidence")
    sample = summarise(values)
    within, dof, method = _find_within(values, subgroup_sizes)
    if not sample.sd or not within > 0:
        raise ValueError("the readings show no spread; a capability needs a gauge that sees the spread")
    outside = np.zeros(len(values), dtype=bool)
    outside |= values < (-np.inf if low is None else low)
    outside |= values > (np.inf if high is None else high)
    overall_dof = float(len(values) - 1)
    return Capability(
        method=method,
        count=len(values),
        mean=sample.mean,
        overall_sd=sample.sd,
        within_sd=within,
        within_dof=dof,
        cp=_build_width_index(low, high, within, dof, confidence),
        cpk=_build_nearest_index(low, high, sample.mean, within, dof, len(values), confidence),
        pp=_build_width_index(low, high, sample.sd, overall_dof, confidence),
        ppk=_build_nearest_index(low, high, sample.mean, sample.sd, overall_dof, len(values), confidence),
        confidence=confidence,
        share_outside=compute_share_outside(sample.mean, sample.sd, low, high),
        count_outside=int(outside.sum()),
    )


def _find_within(values: Floats, sizes: Sequence[int] | None) -> tuple[float, float, str]:
    """Spread within subgroups, its degrees of freedom and its name."""
    if sizes is None:
        moving = np.abs(np.diff(values))
        return (
            float(moving.mean()) * compute_range_factor(2),
            0.62 * (len(values) - 1),
            "spread within from moving ranges of two",
        )
    if sum(sizes) != len(values) or min(sizes, default=0) < 1:
        raise ValueError(f"the subgroups hold {sum(sizes)} readings but {len(values)} are given")
    groups = np.split(values, np.cumsum(sizes)[:-1])
    dof = len(values) - len(groups)
    if dof < 1:
        raise ValueError("every subgroup holds one reading; give larger ones, or none to use moving ranges")
    square = sum(float(np.sum((group - group.mean()) ** 2)) for group in groups)
    return sqrt(square / dof), float(dof), "spread within pooled from subgroups"


def compute_indices(mean: float, sd: float, lower: float | None, upper: float | None) -> tuple[float | None, float]:
    """Width index (None with one limit) and nearest-limit index of a process with known mean and spread.

    Args:
        mean: process mean.
        sd: its standard deviation, above zero.
        lower: lower limit or None.
        upper: upper limit or None.

    Raises:
        ValueError: no limits, equal limits, or a spread not above zero.

    Source: ISO 22514-2; NIST/SEMATECH e-Handbook 6.1.6.

    >>> [round(v, 4) for v in compute_indices(16, 2, 8, 20)]
    [1.0, 0.6667]
    """
    low, high = check_limits(lower, upper)
    spread = check_number(sd, "standard deviation", above=0)
    width = None if low is None or high is None else (high - low) / (6 * spread)
    sides = [] if low is None else [(mean - low) / (3 * spread)]
    sides += [] if high is None else [(high - mean) / (3 * spread)]
    return width, min(sides)


def _build_width_index(low: float | None, high: float | None, sd: float, dof: float, confidence: float) -> Index | None:
    if low is None or high is None:
        return None
    value = (high - low) / (6 * sd)
    tail = (1 - confidence) / 2
    return Index(
        value,
        value * sqrt(find_chi_square_quantile(tail, dof) / dof),
        value * sqrt(find_chi_square_bound(tail, dof) / dof),
    )


def _build_nearest_index(
    low: float | None, high: float | None, mean: float, sd: float, dof: float, count: int, confidence: float
) -> Index:
    _, value = compute_indices(mean, sd, low, high)
    half = compute_index_half_width(value, count, dof, confidence)
    return Index(value, value - half, value + half)


def compute_index_half_width(index: float, count: int, dof: float | None = None, confidence: float = 0.95) -> float:
    """Half width of the confidence interval of Cpk.

    Args:
        index: the estimate.
        count: readings.
        dof: degrees of freedom of the spread, ``count - 1`` by default.
        confidence: two-sided.

    Raises:
        ValueError: fewer than two readings or a confidence out of range.

    Source: A. Bissell, Applied Statistics 39 (1990): z sqrt(1 / (9 n) + Cpk^2 / (2 (n - 1))).

    >>> round(compute_index_half_width(1.33, 50), 4)
    0.2791
    """
    check_number(count, "count of readings", least=2)
    spare = check_number(count - 1 if dof is None else dof, "degrees of freedom", above=0)
    z = float(find_normal_quantile((1 + check_share(confidence, "confidence")) / 2))
    return z * sqrt(1 / (9 * count) + index**2 / (2 * spare))


def compute_share_outside(mean: float, sd: float, lower: float | None, upper: float | None) -> float:
    """Share of a normal population outside the limits.

    Args:
        mean: process mean.
        sd: its standard deviation, above zero.
        lower: lower limit or None.
        upper: upper limit or None.

    Raises:
        ValueError: as `compute_indices`.

    Source: normal tails.

    >>> round(1e6 * compute_share_outside(0, 1, -3, 3), 1)
    2699.8
    """
    low, high = check_limits(lower, upper)
    spread = check_number(sd, "standard deviation", above=0)
    below = 0.0 if low is None else float(compute_normal_below((low - mean) / spread))
    return below + (0.0 if high is None else float(compute_normal_above((high - mean) / spread)))
