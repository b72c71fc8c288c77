"""Damped Gauss-Newton for a few parameters and very many points."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from pipeline.measuring.points import Floats

State = TypeVar("State")

MOST_STEPS = 200
_UNFIXED = 1e-14
"""Share of the stiffest direction below which only rounding holds a parameter: about fifty units in the last place."""
SMALLEST_STEP = 1e-13  # in scaled units, where the points have size 1
_MOST_DAMPING = 1e16
_BLOCK = 4096


@dataclass(frozen=True, slots=True)
class Sums:
    """What a step needs to know of all the points.

    Attributes:
        cost: sum of squared distances.
        normal: derivatives times their transpose J J^T, shape (k, k).
        gradient: derivatives times distances, shape (k,).
    """

    cost: float
    normal: Floats
    gradient: Floats


@dataclass(frozen=True, slots=True)
class Settled(Generic[State]):
    """Where an iteration came to rest.

    Attributes:
        state: the parameters.
        normal: Gauss-Newton normal matrix J J^T at the state, shape (k, k).
        cost: sum of squared distances.
        steps: evaluations used.
        has_settled: False when the step count ran out.
    """

    state: State
    normal: Floats
    cost: float
    steps: int
    has_settled: bool


class BlockSums:
    """Sums over the points in blocks that stay in the processor's cache: several times faster on a long scan.

    Args:
        columns: coordinates, shape (d, n), contiguous.
        parameters: count k of parameters.
    """

    def __init__(self, columns: Floats, parameters: int) -> None:
        self.columns = columns
        self.buffer = np.empty((parameters + 1, min(columns.shape[1], _BLOCK)))

    def add_up(self, fill: Callable[[Floats, Floats], None]) -> Sums:
        """Sums over all blocks.

        Args:
            fill: given a block of coordinates (d, b) and rows (k + 1, b), writes k rows of derivatives and then the
                distances.
        """
        total = np.zeros((len(self.buffer),) * 2)
        for start in range(0, self.columns.shape[1], _BLOCK):
            block = self.columns[:, start : start + _BLOCK]
            rows = self.buffer[:, : block.shape[1]]
            fill(block, rows)
            total += rows @ rows.T
        return Sums(float(total[-1, -1]), total[:-1, :-1], total[:-1, -1])


def minimise(
    evaluate: Callable[[State], Sums],
    move: Callable[[State, Floats], State],
    start: State,
    most_steps: int = MOST_STEPS,
    smallest_step: float = SMALLEST_STEP,
) -> Settled[State]:
    """Minimise a sum of squares by Levenberg-Marquardt on the normal equations.

    The gradient is formed from the points themselves, so rounding in the k x k system slows the approach but does
    not move the answer.

    Args:
        evaluate: sums over the points at a state.
        move: the state after a step (k,).
        start: where to begin.
        most_steps: evaluations allowed.
        smallest_step: a step below this ends the iteration.

    Source: D. Marquardt, J. SIAM 11 (1963); A. Forbes, least-squares best-fit geometric elements (NPL, 1991).

    >>> target = np.array([1.0, 2.0, 6.0])
    >>> def evaluate(mean):
    ...     left = target - mean
    ...     return Sums(float(left @ left), np.array([[3.0]]), np.array([-left.sum()]))
    >>> fit = minimise(evaluate, lambda mean, step: mean + float(step[0]), 0.0)
    >>> round(fit.state, 9), fit.has_settled
    (3.0, True)
    """
    state, damping, sums = start, 1e-9, evaluate(start)
    for count in range(1, most_steps + 1):
        step = _solve_damped(sums.normal, sums.gradient, damping)
        trial = move(state, step)
        there = evaluate(trial)
        size = float(np.abs(step).max())
        if there.cost <= sums.cost:
            is_flat = sums.cost - there.cost <= 1e-15 * sums.cost and size < 1e-9
            state, sums, damping = trial, there, max(damping / 10, 1e-15)
            if size < smallest_step or is_flat:
                return Settled(state, sums.normal, sums.cost, count, True)
        elif size < smallest_step or damping > _MOST_DAMPING or _is_rounding(sums.cost, there.cost, size):
            return Settled(state, sums.normal, sums.cost, count, True)
        else:
            damping = max(damping * 10, 1e-9)
    return Settled(state, sums.normal, sums.cost, most_steps, False)


def _is_rounding(cost: float, trial_cost: float, size: float) -> bool:
    """A rise no larger than the rounding of the sum, at a tiny step: the bottom has been reached."""
    return trial_cost - cost <= 1e-13 * cost and size < 1e-7


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

    Raises:
        ValueError: a parameter can be changed without the points noticing it within the figures of the machine, as the
            radius of what is as good as straight or flat: its uncertainty has no bound, and a value would mean nothing.

    Source: JCGM 102:2011 (least-squares adjustment), first order.

    >>> mean_of_three = Settled(3.0, np.array([[3.0]]), 14.0, 1, True)  # readings 1, 2 and 6
    >>> round(float(compute_covariance(mean_of_three, 3)[0, 0]), 6)
    2.333333
    """
    spare = count - len(settled.normal)
    if spare <= 0:
        return None
    stiffness = np.linalg.eigvalsh(settled.normal)
    if stiffness[0] <= _UNFIXED * stiffness[-1]:
        raise ValueError("the points bend too little: the radius cannot be told from them; measure more of the turn")
    return np.asarray(np.linalg.inv(settled.normal) * (settled.cost / spare), dtype=np.float64)
