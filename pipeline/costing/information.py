"""What it is worth to know before deciding: expected value, perfect information, sample information."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.bounds import check_finite, check_probability, check_shares

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Decision:
    """A choice between actions when it is not known which state is true.

    Attributes:
        prior: chance of each state, adding up to 1.
        payoffs: money for each action (row) in each state (column), as tuples.
        needs_test: rows of the actions that can only be taken once a test has shown something: nobody can correct an
            error that has not been found. None, if not given.

    Raises:
        ValueError: chances that do not add up to 1, rows of unequal length, a payoff that is not finite, or no action
            that can be taken without a test.
    """

    prior: tuple[float, ...]
    payoffs: tuple[tuple[float, ...], ...]
    needs_test: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        check_shares(self.prior, "the chances of the states")
        if not any(action not in self.needs_test for action in range(len(self.payoffs))):
            raise ValueError("there is no action that can be taken without a test; one or more is wanted")
        for row in self.payoffs:
            if len(row) != len(self.prior):
                raise ValueError(f"an action has {len(row)} payoffs for {len(self.prior)} states; as many are wanted")
            for payoff in row:
                check_finite(payoff, "a payoff")


@dataclass(frozen=True)
class SampleValue:
    """What a test is worth before its price.

    Attributes:
        outcomes: chance of each outcome of the test.
        posteriors: chance of each state after each outcome (row an outcome); zeros where the outcome cannot happen.
        actions: the best action, by row of the payoffs, after each outcome.
        with_test: expected payoff when the test is seen first.
        gain: `with_test` less the expected payoff without it; never below zero.
    """

    outcomes: tuple[float, ...]
    posteriors: tuple[tuple[float, ...], ...]
    actions: tuple[int, ...]
    with_test: float
    gain: float


def compute_expected_value(decision: Decision) -> float:
    """Expected payoff of the best action that needs no further knowledge.

    Source: decision analysis (Bayes' decision rule), any textbook of operations research.

    >>> compute_expected_value(Decision((0.25, 0.75), ((700, -100), (90, 90))))
    100.0
    """
    open_rows = [row for action, row in enumerate(decision.payoffs) if action not in decision.needs_test]
    return float(np.max(np.asarray(open_rows, dtype=np.float64) @ np.asarray(decision.prior)))


def compute_perfect_information(decision: Decision) -> float:
    """Expected value of perfect information: the most that any test can be worth.

    >>> compute_perfect_information(Decision((0.25, 0.75), ((700, -100), (90, 90))))
    142.5
    """
    best = np.max(np.asarray(decision.payoffs, dtype=np.float64), axis=0) @ np.asarray(decision.prior)
    return max(0.0, float(best) - compute_expected_value(decision))


def compute_sample_information(decision: Decision, likelihood: tuple[tuple[float, ...], ...]) -> SampleValue:
    """Expected value of a test that may err, by Bayes' theorem.

    Args:
        likelihood: chance of each outcome (row) in each state (column); every column adds up to 1.

    Raises:
        ValueError: shape or sums do not fit.

    >>> oil = Decision((0.25, 0.75), ((700, -100), (90, 90)))
    >>> round(compute_sample_information(oil, ((0.6, 0.2), (0.4, 0.8))).gain, 9)
    53.0
    """
    chances = _check_likelihood(decision, likelihood)
    joint = chances * np.asarray(decision.prior)
    outcomes = joint.sum(axis=1)
    worth = joint @ np.asarray(decision.payoffs, dtype=np.float64).T
    with_test = float(worth.max(axis=1).sum())
    posteriors = joint / np.where(outcomes > 0, outcomes, 1.0)[:, None]
    return SampleValue(
        outcomes=tuple(float(chance) for chance in outcomes),
        posteriors=tuple(tuple(float(chance) for chance in row) for row in posteriors),
        actions=tuple(int(action) for action in worth.argmax(axis=1)),
        with_test=with_test,
        gain=max(0.0, with_test - compute_expected_value(decision)),
    )


def _check_likelihood(decision: Decision, likelihood: tuple[tuple[float, ...], ...]) -> Floats:
    for row in likelihood:
        if len(row) != len(decision.prior):
            raise ValueError(f"an outcome has {len(row)} chances for {len(decision.prior)} states; as many are wanted")
        for chance in row:
            check_probability(chance, "the chance of an outcome")
    chances = np.asarray(likelihood, dtype=np.float64)
    for state, column in enumerate(chances.T):
        check_shares(column.tolist(), f"the chances of the outcomes in state {state}")
    return chances
