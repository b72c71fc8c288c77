"""How much a step may take: spreads to draw from, also for steps that have already lasted a while.

Every spread is drawn by turning uniform numbers into values (inverse transform), so that two runs with the same uniform
numbers differ only by what was changed between them. Pure numpy.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pipeline.planning.survival import SurvivalCurve

FloatArray = NDArray[np.float64]
_GRID = 4097


@dataclass(frozen=True, slots=True)
class Fixed:
    """Always `value` (>= 0)."""

    value: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.value < float("inf"):
            raise ValueError(f"value is {self.value}: a step takes 0 or more")


@dataclass(frozen=True, slots=True)
class Pert:
    """A three-point estimate, 0 <= low <= likely <= high: modified beta of weight 4, mean (low + 4 likely + high) / 6.

    Source: D. G. Malcolm and others, Application of a technique for research and development program evaluation,
    Operations Research 7 (1959) 646-669; D. Vose, Risk Analysis, for the beta parameters.
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.likely <= self.high < float("inf"):
            raise ValueError(f"{self.low} / {self.likely} / {self.high}: low, likely and high must rise from 0 or more")


@dataclass(frozen=True, slots=True)
class Exponential:
    """Without memory, with this mean (> 0)."""

    mean: float

    def __post_init__(self) -> None:
        if not 0.0 < self.mean < float("inf"):
            raise ValueError(f"mean is {self.mean}: it must be above 0")


@dataclass(frozen=True, slots=True)
class Observed:
    """What the shop's own items took: ages at which items finished, ascending, and the share (0 to 1, rising) that had
    finished by then; beyond the last one an exponential tail with `tail_rate` finishes per unit."""

    ages: tuple[float, ...]
    shares: tuple[float, ...]
    tail_rate: float

    def __post_init__(self) -> None:
        if not self.ages or len(self.ages) != len(self.shares) or self.tail_rate <= 0.0:
            raise ValueError(
                "an observed spread needs at least one finish, a share for each age and a tail rate above 0"
            )


Spread = Fixed | Pert | Exponential | Observed


def build_observed(curve: SurvivalCurve) -> Observed:
    """The spread of a product-limit estimate. Raises ValueError if nothing has finished yet."""
    shares = tuple(float(share) for share in 1.0 - curve.survival)
    return Observed(tuple(float(age) for age in curve.times), shares, curve.tail_rate)


def compute_mean(spread: Spread) -> float:
    """The mean of a spread, in its own unit (for `Observed` with the tail).

    >>> compute_mean(Pert(1, 2, 9))
    3.0
    """
    if isinstance(spread, Fixed):
        return spread.value
    if isinstance(spread, Pert):
        return (spread.low + 4.0 * spread.likely + spread.high) / 6.0
    if isinstance(spread, Exponential):
        return spread.mean
    weights = np.diff(np.concatenate(([0.0], spread.shares)))
    rest = 1.0 - spread.shares[-1]
    return float(weights @ np.asarray(spread.ages)) + rest * (spread.ages[-1] + _invert(spread.tail_rate))


def compute_pert_variance(spread: Pert) -> float:
    """The variance of the modified beta, (mean - low)(high - mean) / 7; not the rule of thumb ((high - low) / 6)
    squared.

    Source: Vose, Risk Analysis (closed form of the beta distribution's variance with a + b = 6).

    >>> compute_pert_variance(Pert(0, 3, 6))
    1.2857142857142858
    """
    mean = compute_mean(spread)
    return (mean - spread.low) * (spread.high - mean) / 7.0


def _invert(rate: float) -> float:
    return 0.0 if rate == float("inf") else 1.0 / rate


def is_outlived(spread: Spread, lasted: float) -> bool:
    """Whether something has already lasted longer than the spread allows (so that its estimate is refuted)."""
    if isinstance(spread, Fixed):
        return lasted > spread.value
    if isinstance(spread, Pert):
        return lasted >= spread.high and lasted > 0.0
    return isinstance(spread, Observed) and lasted >= spread.ages[-1]


def draw(spread: Spread, uniforms: FloatArray, lasted: float = 0.0) -> FloatArray:
    """Values (any shape, that of `uniforms`, each in [0, 1)) given that the step has already lasted `lasted`; totals,
    each >= lasted. Where the step has outlived its spread (`is_outlived`) the time that remains is exponential: for
    `Observed` at its tail rate, for `Pert` with a mean of a sixth of its range, for `Fixed` of half its value: common
    practice (no source). Raises ValueError for a negative `lasted`.

    Source: inverse transform on the conditional distribution (Devroye, Non-Uniform Random Variate Generation, II.2).

    >>> draw(Exponential(2.0), np.array([0.0, 0.5]), lasted=3.0).round(4).tolist()
    [3.0, 4.3863]
    """
    if not lasted >= 0.0:
        raise ValueError(f"lasted is {lasted}: it must be 0 or more")
    if isinstance(spread, Exponential):
        return lasted - spread.mean * np.log1p(-uniforms)
    if isinstance(spread, Observed):
        return _draw_observed(spread, uniforms, lasted)
    if is_outlived(spread, lasted):
        mean = (spread.high - spread.low) / 6.0 if isinstance(spread, Pert) else spread.value / 2.0
        return lasted - mean * np.log1p(-uniforms)
    if isinstance(spread, Fixed) or spread.low == spread.high:
        return np.full(uniforms.shape, compute_mean(spread))
    return _draw_pert(spread, uniforms, lasted)


def _draw_observed(spread: Observed, uniforms: FloatArray, lasted: float) -> FloatArray:
    ages, shares = np.asarray(spread.ages), np.asarray(spread.shares)
    place = int(np.searchsorted(ages, lasted, side="right"))
    base = 0.0 if place == 0 else float(shares[place - 1])
    start = max(lasted, spread.ages[-1])
    if base >= 1.0 or place == ages.size:
        return lasted - _invert(spread.tail_rate) * np.log1p(-uniforms)
    levels = base + uniforms * (1.0 - base)
    found = np.searchsorted(shares, levels, side="right")
    inside = ages[np.minimum(found, ages.size - 1)]
    rest = max(1.0 - float(shares[-1]), np.finfo(float).tiny)
    tail = start - _invert(spread.tail_rate) * np.log(np.clip((1.0 - levels) / rest, np.finfo(float).tiny, 1.0))
    return np.where(found < ages.size, inside, tail)


def _draw_pert(spread: Pert, uniforms: FloatArray, lasted: float) -> FloatArray:
    span = spread.high - spread.low
    grid, cumulative = _tabulate_beta(1.0 + 4.0 * (spread.likely - spread.low) / span)
    base = float(np.interp((lasted - spread.low) / span, grid, cumulative))
    values = spread.low + span * np.interp(base + uniforms * (1.0 - base), cumulative, grid)
    return np.maximum(values, lasted)


@lru_cache(maxsize=4096)
def _tabulate_beta(a: float) -> tuple[FloatArray, FloatArray]:
    """The distribution function of the beta with parameters a and 6 - a, both in [1, 5], on a fine grid
    (trapezoids)."""
    grid = np.linspace(0.0, 1.0, _GRID)
    density = grid ** (a - 1.0) * (1.0 - grid) ** (5.0 - a)
    cumulative = np.concatenate(([0.0], np.cumsum((density[1:] + density[:-1]) / 2.0)))
    return grid, cumulative / cumulative[-1]
