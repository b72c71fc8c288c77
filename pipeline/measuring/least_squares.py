"""Damped Gauss-Newton for a few parameters and very many points."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from pipeline.measuring.points import Floats

State = TypeVar("State")

MOST_STEPS = 200
SMALLEST_STEP = 1e-13  # in scaled units, where the points have size 1
_MOST_DAMPING = 1e16


@dataclass(frozen=True, slots=True)
class Settled(Generic[State]):
    """Where an iteration came to rest.

    Attributes:
        state: the parameters.
        residuals: distances at the state, shape (n,).
        normal: Gauss-Newton normal matrix J J^T at the state, shape (k, k).
        cost: sum of squared distances.
        steps: evaluations used.
        has_settled: False when the step count ran out.
    """

    state: State
    residuals: Floats
    normal: Floats
    cost: float
    steps: int
    has_settled: bool


def minimise(
    evaluate: Callable[[State], tuple[Floats, Floats]],
    move: Callable[[State, Floats], State],
    start: State,
    most_steps: int = MOST_STEPS,
    smallest_step: float = SMALLEST_STEP,
) -> Settled[State]:
    """Minimise a sum of squares by Levenberg-Marquardt on the normal equations.

    The gradient is formed from the points themselves, so rounding in the k x k system slows the approach but does
    not move the answer.

    Args:
        evaluate: residuals (n,) and their derivatives as rows (k, n) at a state.
        move: the state after a step (k,).
        start: where to begin.
        most_steps: evaluations allowed.
        smallest_step: a step below this ends the iteration.

    Source: D. Marquardt, J. SIAM 11 (1963); A. Forbes, least-squares best-fit geometric elements (NPL, 1991).

    >>> target = np.array([1.0, 2.0, 6.0])
    >>> fit = minimise(lambda m: (target - m, -np.ones((1, 3))), lambda m, d: m + float(d[0]), 0.0)
    >>> round(fit.state, 9), fit.has_settled
    (3.0, True)
    """
    state, damping = start, 1e-9
    residuals, rows = evaluate(state)
    cost = float(residuals @ residuals)
    normal, gradient = rows @ rows.T, rows @ residuals
    for count in range(1, most_steps + 1):
        step = _solve_damped(normal, gradient, damping)
        trial = move(state, step)
        trial_residuals, trial_rows = evaluate(trial)
        trial_cost = float(trial_residuals @ trial_residuals)
        small = float(np.abs(step).max()) < smallest_step
        if trial_cost <= cost:
            flat = cost - trial_cost <= 1e-15 * cost and float(np.abs(step).max()) < 1e-9
            state, residuals, cost = trial, trial_residuals, trial_cost
            normal, gradient = trial_rows @ trial_rows.T, trial_rows @ residuals
            damping = max(damping / 10, 1e-15)
            if small or flat:
                return Settled(state, residuals, normal, cost, count, True)
        elif small or damping > _MOST_DAMPING or _is_rounding(cost, trial_cost, step):
            return Settled(state, residuals, normal, cost, count, True)
        else:
            damping = max(damping * 10, 1e-9)
    return Settled(state, residuals, normal, cost, most_steps, False)


def _is_rounding(cost: float, trial_cost: float, step: Floats) -> bool:
    """A rise no larger than the rounding of the sum, at a tiny step: the bottom has been reached."""
    return trial_cost - cost <= 1e-13 * cost and float(np.abs(step).max()) < 1e-7


def _solve_damped(normal: Floats, gradient: Floats, damping: float) -> Floats:
    """Step of the damped normal equations, each parameter in its own scale."""
    size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled = normal / np.outer(size, size)
    np.fill_diagonal(scaled, 1.0 + damping)
    right = -gradient / size
    try:
        return np.asarray(np.linalg.solve(scaled, right) / size, dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.lstsq(scaled, right, rcond=None)[0] / size, dtype=np.float64)


def compute_covariance(settled: Settled[State], count: int) -> Floats | None:
    """Covariance (k, k) of the parameters from the scatter of the points; None without a spare point.

    Assumes independent errors of one size, which flatters a dense scan: neighbours share the form of the part.

    Source: JCGM 102:2011 (least-squares adjustment), first order.

    >>> target = np.array([1.0, 2.0, 6.0])
    >>> fit = minimise(lambda m: (target - m, -np.ones((1, 3))), lambda m, d: m + float(d[0]), 0.0)
    >>> round(float(compute_covariance(fit, 3)[0, 0]), 6)
    2.333333
    """
    spare = count - len(settled.normal)
    if spare <= 0:
        return None
    return np.asarray(np.linalg.pinv(settled.normal, hermitian=True) * (settled.cost / spare), dtype=np.float64)
