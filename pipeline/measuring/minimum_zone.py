"""Smallest band about a linear model that holds every reading (Chebyshev fit), for any number of readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.measuring.points import Floats

_START = 64
_ADDED = 32


@dataclass(frozen=True, slots=True)
class MinimumZone:
    """Result of a minimum-zone fit.

    Attributes:
        parameters: coefficients of the model's columns.
        width: full width of the band (twice the largest deviation).
    """

    parameters: tuple[float, ...]
    width: float


def find_minimum_zone(values: Floats, columns: Floats) -> MinimumZone:
    """Minimise the largest |value - columns @ parameters|.

    A linear programme over the readings that matter: it starts with the extremes of the least-squares fit and adds
    the worst offenders until none is left, so that a hundred thousand readings cost little more than a hundred.

    Args:
        values: readings, shape (n,).
        columns: model columns, shape (n, k), full rank, n > k.

    Raises:
        ValueError: the programme has no solution (columns of low rank or numbers that are not finite).

    Source: linear programme for the Chebyshev approximation (textbook; no standard).

    >>> zone = find_minimum_zone(np.array([0.0, 1.0, 0.0]), np.ones((3, 1)))
    >>> round(zone.width, 9), round(zone.parameters[0], 9)
    (1.0, 0.5)
    """
    solution, *_ = np.linalg.lstsq(columns, values, rcond=None)
    size = float(np.abs(values - columns @ solution).max())
    if size == 0.0:
        return MinimumZone(tuple(solution.tolist()), 0.0)
    residuals = (values - columns @ solution) / size
    chosen = fresh = _pick_extremes(residuals, _START)
    while fresh.size:  # every round takes in readings that were not there yet, so it ends
        change, half = _solve_programme(residuals[chosen], columns[chosen])
        left = residuals - columns @ change
        fresh = np.setdiff1d(np.flatnonzero(np.abs(left) > half + 1e-10), chosen)
        chosen = np.union1d(chosen, fresh[_pick_extremes(left[fresh], _ADDED)])
    final = solution + change * size
    return MinimumZone(tuple(final.tolist()), 2 * float(np.abs(values - columns @ final).max()))


def _pick_extremes(residuals: Floats, count: int) -> np.typing.NDArray[np.int64]:
    """Indices of the highest and the lowest residuals."""
    order = np.argsort(residuals, kind="stable")
    return np.unique(np.concatenate([order[: count // 2], order[-(count - count // 2) :]]))


def _solve_programme(values: Floats, columns: Floats) -> tuple[Floats, float]:
    """min t subject to -t <= values - columns @ p <= t."""
    from scipy.optimize import linprog  # heavy, and few parts need it

    count, width = columns.shape
    band = np.ones((count, 1))
    solved = linprog(
        c=np.append(np.zeros(width), 1.0),
        A_ub=np.vstack([np.hstack([-columns, -band]), np.hstack([columns, -band])]),
        b_ub=np.concatenate([-values, values]),
        bounds=[(None, None)] * width + [(0, None)],
        method="highs",
    )
    if solved.x is None or not solved.success:
        raise ValueError(f"the minimum zone could not be found: {solved.message}")
    return np.asarray(solved.x[:width], dtype=np.float64), float(solved.x[width])
