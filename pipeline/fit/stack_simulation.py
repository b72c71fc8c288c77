"""The same stack by Monte Carlo: draws every contributor from its own distribution and counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.fit.contributors import Contributor, Distribution
from pipeline.fit.stack import ROUNDING_MM, refuse_impossible_stack

LEAST_DRAWS = 100
MOST_DRAWS = 10_000_000
HISTOGRAM_BARS = 40


@dataclass(frozen=True)
class CountedChance:
    """A chance (0..1) counted from draws, with its two-sided 95 % Clopper-Pearson interval."""

    hits: int
    chance: float
    low: float
    high: float


@dataclass(frozen=True)
class SimulatedStack:
    """What the draws of a stack gave; gaps in mm.

    `low_mm` and `high_mm` hold 99.73 % of the draws (0.135 % below and above). `outside` is None where the stack has
    no limits. The histogram has `HISTOGRAM_BARS` equal bars, with one edge more than counts.
    """

    draws: int
    seed: int
    mean_mm: float
    sd_mm: float
    low_mm: float
    high_mm: float
    least_mm: float
    greatest_mm: float
    outside: CountedChance | None
    interference: CountedChance
    histogram_edges_mm: tuple[float, ...]
    histogram_counts: tuple[int, ...]


def simulate_stack(
    contributors: Sequence[Contributor],
    *,
    lower_limit_mm: float | None = None,
    upper_limit_mm: float | None = None,
    draws: int = 100_000,
    seed: int = 0,
) -> SimulatedStack:
    """Return the gap of a stack by Monte Carlo, with how often it left its limits and how often parts interfered.

    Args:
        contributors: one or more; they are drawn independently, in their order.
        lower_limit_mm, upper_limit_mm: limits of the gap in mm; either may be left out. A gap on its limit is inside.
        draws: number of gaps to draw, 100 to 10,000,000; memory is two numbers a draw, whatever the contributors.
        seed: the same seed, contributors and draws give the same figures.

    Errors:
        ValueError: what `compute_stack` refuses, or a number of draws outside that range.

    Source: JCGM 101:2008, propagation of distributions by Monte Carlo; interval of C. Clopper and E. Pearson (1934).

    Example:
        >>> parts = [Contributor("a", 10.0, -0.1, 0.1), Contributor("b", 9.8, -0.1, 0.1, sensitivity=-1)]
        >>> result = simulate_stack(parts, draws=20_000, seed=7)
        >>> abs(result.mean_mm - 0.2) < 0.002 and abs(result.sd_mm - 0.0471) < 0.001
        True
    """
    refuse_impossible_stack(contributors, lower_limit_mm, upper_limit_mm)
    if not LEAST_DRAWS <= draws <= MOST_DRAWS:
        raise ValueError(f"{draws:,} draws; write {LEAST_DRAWS} to {MOST_DRAWS:,}")
    gaps = _draw_gaps(contributors, draws, seed)
    low, high = np.quantile(gaps, [0.00135, 0.99865])
    counts, edges = np.histogram(gaps, bins=_build_edges(gaps))
    return SimulatedStack(
        draws=draws,
        seed=seed,
        mean_mm=float(gaps.mean()),
        sd_mm=float(gaps.std(ddof=1)),
        low_mm=float(low),
        high_mm=float(high),
        least_mm=float(gaps.min()),
        greatest_mm=float(gaps.max()),
        outside=_count_outside(gaps, lower_limit_mm, upper_limit_mm),
        interference=compute_counted_chance(int(np.count_nonzero(gaps < 0)), draws),
        histogram_edges_mm=tuple(edges.tolist()),
        histogram_counts=tuple(counts.tolist()),
    )


def _draw_gaps(contributors: Sequence[Contributor], draws: int, seed: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    gaps = np.zeros(draws)
    for part in contributors:
        unit = draw_unit_deviations(rng, part.distribution, part.sigma_level, draws)
        unit *= part.sensitivity * part.half_width_mm
        unit += part.sensitivity * part.middle_mm
        gaps += unit
    return gaps


def draw_unit_deviations(
    rng: np.random.Generator, distribution: Distribution, sigma_level: float, draws: int
) -> NDArray[np.float64]:
    """Return random deviations in units of half the tolerance: shape (draws,), mean 0, limits at -1 and +1.

    Only `normal` passes the limits. The generator moves on, so the order of calls matters.

    Source: inverse of the normal distribution between its cuts; an elliptical one is a Beta(3/2, 3/2) on -1..1.

    Example:
        >>> deviations = draw_unit_deviations(np.random.default_rng(1), Distribution.UNIFORM, 3.0, 1000)
        >>> deviations.shape, bool(abs(deviations).max() <= 1)
        ((1000,), True)
    """
    if distribution is Distribution.NORMAL:
        return rng.standard_normal(draws) / sigma_level
    if distribution is Distribution.TRUNCATED_NORMAL:
        from scipy.special import ndtr, ndtri  # heavy, and few parts need it

        cut = float(ndtr(-sigma_level))
        drawn = np.asarray(ndtri(rng.uniform(cut, 1 - cut, draws)), dtype=np.float64) / sigma_level
        return np.clip(drawn, -1.0, 1.0)
    if distribution is Distribution.UNIFORM:
        return rng.uniform(-1.0, 1.0, draws)
    if distribution is Distribution.TRIANGULAR:
        return rng.triangular(-1.0, 0.0, 1.0, draws)
    return 2 * rng.beta(1.5, 1.5, draws) - 1


def _build_edges(gaps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return bar edges over the drawn gaps; a stack that does not scatter still gets bars of some width."""
    low, high = float(gaps.min()), float(gaps.max())
    if high - low < 1e-9:
        low, high = low - 0.5e-3, high + 0.5e-3
    return np.linspace(low, high, HISTOGRAM_BARS + 1)


def _count_outside(gaps: NDArray[np.float64], lower: float | None, upper: float | None) -> CountedChance | None:
    if lower is None and upper is None:
        return None
    outside = np.zeros(gaps.shape, dtype=bool)
    if lower is not None:
        outside |= gaps < lower - ROUNDING_MM
    if upper is not None:
        outside |= gaps > upper + ROUNDING_MM
    return compute_counted_chance(int(np.count_nonzero(outside)), gaps.size)


def compute_counted_chance(hits: int, draws: int) -> CountedChance:
    """Return a counted chance with its exact two-sided 95 % interval.

    Args:
        hits: how often it happened, 0 to `draws`.
        draws: how often it could have, 1 or more.

    Errors:
        ValueError: hits outside 0..draws, or no draws.

    Source: Clopper and Pearson, Biometrika 26 (1934).

    Example:
        >>> counted = compute_counted_chance(0, 100)
        >>> counted.low, round(counted.high, 4)
        (0.0, 0.0362)
    """
    if draws < 1 or not 0 <= hits <= draws:
        raise ValueError(
            f"{hits} hits of {draws} draws; hits are between 0 and the draws, of which there is one or more"
        )
    from scipy.special import betaincinv  # heavy, and few parts need it

    low = 0.0 if hits == 0 else float(betaincinv(hits, draws - hits + 1, 0.025))
    high = 1.0 if hits == draws else float(betaincinv(hits + 1, draws - hits, 0.975))
    return CountedChance(hits, hits / draws, low, high)
