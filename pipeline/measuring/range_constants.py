"""Constants of the range of a normal sample, by integration rather than from a table."""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

import numpy as np

from pipeline.measuring.distributions import compute_normal_below, compute_normal_density
from pipeline.measuring.points import Floats

_WIDEST = 16.0  # standard deviations; the range of any sensible sample stays far inside


@lru_cache(maxsize=64)
def compute_range_moments(count: int) -> tuple[float, float]:
    """Mean d2 and standard deviation d3 of the range of a sample, in standard deviations of the population.

    Args:
        count: size of the sample, 2 to 100.

    Raises:
        ValueError: out of range.

    Source: L. Tippett, Biometrika 17 (1925); values as in ISO 7870-2 and every control-chart table.

    >>> d2, d3 = compute_range_moments(5)
    >>> round(d2, 3), round(d3, 3)
    (2.326, 0.864)
    """
    if not 2 <= count <= 100:
        raise ValueError(f"a range of {count} readings; give 2 to 100")
    widths, weights = _build_nodes(0.0, _WIDEST, 30)
    beyond = 1.0 - _compute_range_distribution(widths, count)
    mean = float(weights @ beyond)
    square = float(2 * weights @ (widths * beyond))
    return mean, sqrt(square - mean**2)


def _compute_range_distribution(widths: Floats, count: int) -> Floats:
    """P(range <= width) = n times the integral of density(x) (F(x + width) - F(x))^(n - 1)."""
    starts, weights = _build_nodes(-9.0, 9.0, 20)
    inside = compute_normal_below(starts[:, None] + widths[None, :]) - compute_normal_below(starts)[:, None]
    return np.asarray(count * (weights * compute_normal_density(starts)) @ inside ** (count - 1), dtype=np.float64)


def _build_nodes(start: float, stop: float, panels: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights over equal panels."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    edges = np.linspace(start, stop, panels + 1)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half + half * nodes).ravel(), (half * weights).ravel()


def compute_range_factor(count: int) -> float:
    """Factor that turns the average of many ranges into a standard deviation: 1 / d2.

    Args:
        count: readings in each range.

    Source: as `compute_range_moments`; the factor K1 of a gauge study.

    >>> round(compute_range_factor(2), 4), round(compute_range_factor(3), 4)
    (0.8862, 0.5908)
    """
    return 1 / compute_range_moments(count)[0]


def compute_single_range_factor(count: int) -> float:
    """Factor that turns one single range into a standard deviation: 1 / sqrt(d2^2 + d3^2).

    Args:
        count: readings in the range.

    Source: A. Duncan, Quality Control and Industrial Statistics (d2* for one subgroup); factors K2 and K3 of a study.

    >>> round(compute_single_range_factor(3), 4), round(compute_single_range_factor(10), 4)
    (0.5231, 0.3146)
    """
    d2, d3 = compute_range_moments(count)
    return 1 / sqrt(d2**2 + d3**2)


def compute_range_limit(count: int) -> float:
    """Upper control limit of a range in average ranges, three standard deviations: D4 = 1 + 3 d3 / d2.

    Args:
        count: readings in each range.

    Source: ISO 7870-2.

    >>> round(compute_range_limit(3), 3)
    2.575
    """
    d2, d3 = compute_range_moments(count)
    return 1 + 3 * d3 / d2
