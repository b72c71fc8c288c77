"""Three-point estimates (low, likely, high) as PERT distributions: mean, spread, quantiles, seeded draws."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.bounds import check_count, check_finite, check_not_negative, check_probability

WEIGHT = 4.0
"""Weight of the likely value in the mean: (low + 4 likely + high) / 6, as PERT was published with in 1959."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """Low, likely and high of one quantity, as a modified beta (PERT) distribution with weight 4.

    Low and high are the ends, not percentiles. All three alike is a known number. Unit: that of the quantity.
    Source: D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, Operations Research 7 (1959), for the mean;
    the spread is the exact one of the beta distribution with these shapes, not the rule (high - low) / 6.

    Raises:
        ValueError: not finite, or not low <= likely <= high.

    >>> Estimate(500, 800, 1100).mean
    800.0
    >>> round(Estimate(500, 800, 1100).sd, 2)
    113.39
    >>> Estimate(5, 4, 6)
    Traceback (most recent call last):
    ...
    ValueError: low 5, likely 4, high 6 are out of order; low <= likely <= high is wanted
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        for name, value in (("low", self.low), ("likely", self.likely), ("high", self.high)):
            check_finite(value, f"the {name} end" if name != "likely" else "the likely value")
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"low {self.low:g}, likely {self.likely:g}, high {self.high:g} are out of order; "
                "low <= likely <= high is wanted"
            )

    @property
    def is_known(self) -> bool:
        """Whether low and high are the same number."""
        return self.low == self.high

    @property
    def mean(self) -> float:
        """(low + 4 likely + high) / 6."""
        return (self.low + WEIGHT * self.likely + self.high) / (WEIGHT + 2)

    @property
    def sd(self) -> float:
        """Standard deviation of the distribution: sqrt((mean - low) (high - mean) / 7)."""
        return math.sqrt(max(0.0, (self.mean - self.low) * (self.high - self.mean)) / (WEIGHT + 3))

    @property
    def shapes(self) -> tuple[float, float]:
        """The two shape numbers of the beta distribution on low..high; (1, 1) for a known number."""
        if self.is_known:
            return 1.0, 1.0
        first = 1 + WEIGHT * (self.likely - self.low) / (self.high - self.low)
        return first, WEIGHT + 2 - first


def build_estimate(value: float) -> Estimate:
    """A known number as an estimate.

    >>> build_estimate(12.5).sd
    0.0
    """
    return Estimate(value, value, value)


def scale_estimate(estimate: Estimate, factor: float) -> Estimate:
    """All three points times a factor of zero or more (a unit change, an exchange rate).

    Raises:
        ValueError: the factor is negative or not finite.

    >>> scale_estimate(Estimate(1, 2, 4), 10)
    Estimate(low=10, likely=20, high=40)
    """
    check_not_negative(factor, "the factor of an estimate")
    return Estimate(estimate.low * factor, estimate.likely * factor, estimate.high * factor)


def compute_quantile(estimate: Estimate, share: float) -> float:
    """The value that a share of outcomes stays below.

    Args:
        share: 0..1; 0.1 gives P10.

    Raises:
        ValueError: share outside 0..1.

    Source: inverse of the regularised incomplete beta function.

    >>> compute_quantile(Estimate(0, 5, 10), 0.5)
    5.0
    """
    check_probability(share, "the share of a quantile")
    if estimate.is_known or share < 1e-30:  # far below that the inverse function gives no number
        return float(estimate.low)
    from scipy.special import betaincinv  # heavy, and only pages that draw a tornado need it

    first, second = estimate.shapes
    return float(estimate.low + (estimate.high - estimate.low) * betaincinv(first, second, share))


def compute_chance_below(estimate: Estimate, value: float) -> float:
    """P(X <= value).

    Raises:
        ValueError: value not finite.

    >>> compute_chance_below(Estimate(0, 5, 10), 5)
    0.5
    """
    check_finite(value, "the value")
    if value >= estimate.high:
        return 1.0
    if value <= estimate.low:
        return 0.0
    from scipy.special import betainc

    first, second = estimate.shapes
    return float(betainc(first, second, (value - estimate.low) / (estimate.high - estimate.low)))


def simulate_estimate(estimate: Estimate, rng: np.random.Generator, draws: int) -> Floats:
    """Draws of an estimate.

    By inversion: each uniform number is looked up in the distribution's quantiles, so with the same seed an estimate
    that is higher throughout gives a higher number in every draw. Mean, spread and quantiles agree with the
    distribution to a thousandth of low..high.

    Args:
        rng: the caller's seeded generator; a known number takes nothing from it.
        draws: how many, 1 or more.

    Returns:
        Array of shape (draws,), in the estimate's unit, inside low..high.

    Raises:
        ValueError: draws below 1.

    >>> draws = simulate_estimate(Estimate(500, 800, 1100), np.random.default_rng(7), 20_000)
    >>> bool(abs(draws.mean() - 800) < 3)
    True
    """
    check_count(draws, "the number of draws", least=1)
    if estimate.is_known:
        return np.full(draws, float(estimate.low))
    return map_uniforms(estimate, rng.random(draws))


def map_uniforms(estimate: Estimate, uniforms: Floats) -> Floats:
    """Draws of an estimate from uniform numbers, elementwise and rising with them.

    Args:
        uniforms: at least 0 and below 1, any shape.

    Returns:
        Array of the same shape, in the estimate's unit.

    >>> map_uniforms(Estimate(0, 5, 10), np.array([0.0, 0.5])).round(6).tolist()
    [0.0, 5.0]
    """
    if estimate.is_known:
        return np.full(uniforms.shape, float(estimate.low))
    starts, slopes = _tabulate_quantiles(estimate.shapes[0])
    place = uniforms * _STEPS
    step = place.astype(np.int32)
    place -= step
    place *= slopes[step]
    place += starts[step]
    place *= estimate.high - estimate.low
    place += estimate.low
    return place


_STEPS = 2048


@lru_cache(maxsize=4096)
def _tabulate_quantiles(first: float) -> tuple[Floats, Floats]:
    """Quantiles of the beta distribution on 0..1 at 0, 1/2048 ... 2047/2048, and the rise from each to the next.

    The density is summed over angles with x = sin(angle) ** 2, where it is smooth at both ends for every shape.
    """
    angle = np.linspace(0, math.pi / 2, 513)
    density = np.sin(angle) ** (2 * first - 1) * np.cos(angle) ** (2 * (WEIGHT + 2 - first) - 1)
    below = np.concatenate(([0.0], np.cumsum(density[1:] + density[:-1])))
    quantiles = np.sin(np.interp(np.linspace(0, 1, _STEPS + 1), below / below[-1], angle)) ** 2
    return quantiles[:-1], np.diff(quantiles)
