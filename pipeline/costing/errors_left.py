"""Errors probably still in a part, one failure mode at a time: gamma-Poisson, thinned by what the checks can see."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from pipeline.costing.bounds import check_count, check_finite, check_positive, check_probability
from pipeline.costing.estimate import Floats


class FailureMode(Enum):
    """The ways in which a first model is wrong. A check proves some of them and says nothing of the others."""

    DIMENSION = "dimension"
    FIT = "fit"
    FUNCTION = "function"
    APPEARANCE = "appearance"
    MATERIAL_PROCESS = "material and process"
    MARKING_LEGAL = "marking and legal"


@dataclass(frozen=True)
class Prior:
    """What is believed of one mode before any check: errors ~ Poisson(rate), rate ~ Gamma(shape, scale 1 / weight).

    Attributes:
        shape: `a`, above zero; small means that some parts have many errors and most have none.
        weight: `b`, above zero: how many parts' worth of knowledge. Errors expected: shape / weight.

    Raises:
        ValueError: shape or weight not above zero.

    >>> Prior(1, 4).mean
    0.25
    """

    shape: float
    weight: float

    def __post_init__(self) -> None:
        check_positive(self.shape, "the shape of a prior")
        check_positive(self.weight, "the weight of a prior")

    @property
    def mean(self) -> float:
        """Errors expected in a first model."""
        return self.shape / self.weight


def build_prior(expected: float, shape: float) -> Prior:
    """A prior from the errors expected in a first model and the gamma shape.

    Raises:
        ValueError: either is not above zero.

    >>> build_prior(0.25, 1)
    Prior(shape=1, weight=4.0)
    """
    check_positive(expected, "the errors expected in a first model")
    check_positive(shape, "the shape of a prior")
    return Prior(shape, shape / expected)


@dataclass(frozen=True)
class Check:
    """One check that was made, or could be made, and what it can see.

    Attributes:
        name: for people, e.g. "fit check F2, estate, left".
        detection: for each mode it can see at all, the chance to find an error that lies in front of it (0..1).
        coverage: share of the features, vehicles and hands that it looked at (0..1), for every mode not in `covers`.
        covers: coverage of single modes, where it differs.

    Raises:
        ValueError: a chance or a coverage outside 0..1.
    """

    name: str
    detection: Mapping[FailureMode, float]
    coverage: float = 1.0
    covers: Mapping[FailureMode, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_probability(self.coverage, f'the coverage of "{self.name}"')
        for mode, chance in self.detection.items():
            check_probability(chance, f'the detection of "{self.name}" for {mode.value}')
        for mode, share in self.covers.items():
            check_probability(share, f'the coverage of "{self.name}" for {mode.value}')

    def compute_power(self, mode: FailureMode) -> float:
        """Chance to find an error of the mode, wherever it lies: detection x coverage; 0 for a mode it cannot see."""
        return self.detection.get(mode, 0.0) * self.covers.get(mode, self.coverage)


@dataclass(frozen=True)
class Remaining:
    """What is left of one mode: negative binomial.

    Attributes:
        shape: `a + n`: prior shape plus the errors found and corrected.
        weight: `b + 1 - miss`.
        miss: chance that an error has slipped past every check so far, `mu`.
    """

    shape: float
    weight: float
    miss: float

    @property
    def mean(self) -> float:
        """Errors expected to be left: miss (a + n) / (b + 1 - miss)."""
        return self.miss * self.shape / self.weight

    @property
    def sd(self) -> float:
        """Standard deviation of the number of errors left."""
        return math.sqrt(self.mean * (1 + self.miss / self.weight))

    @property
    def chance_of_none(self) -> float:
        """P(no error left): ((b + 1 - miss) / (b + 1)) ** (a + n)."""
        return float((self.weight / (self.weight + self.miss)) ** self.shape)

    def compute_chances(self, most: int) -> Floats:
        """P(0), P(1) ... P(most) errors left, shape (most + 1,).

        Raises:
            ValueError: `most` is negative.
        """
        return compute_counts(self.shape, self.weight, self.miss, most)


def compute_counts(shape: float, weight: float, share: float, most: int) -> Floats:
    """P(0) ... P(most) of Poisson(share x rate) with rate ~ Gamma(shape, 1 / weight): negative binomial.

    Args:
        share: part of the errors that is counted, 0..1.
        most: highest count, zero or more.

    Returns:
        Array of shape (most + 1,); it adds up to 1 less the tail.

    Raises:
        ValueError: out of range.

    >>> compute_counts(1.0, 4.0, 1.0, 2).round(4).tolist()
    [0.8, 0.16, 0.032]
    """
    check_positive(shape, "the shape")
    check_positive(weight, "the weight")
    check_probability(share, "the share that is counted")
    check_count(most, "the highest count")
    odds = share / (weight + share)
    chances = [(weight / (weight + share)) ** shape]
    for count in range(1, most + 1):
        chances.append(chances[-1] * odds * (shape + count - 1) / count)
    return np.asarray(chances)


def compute_miss(checks: Sequence[Check], mode: FailureMode) -> float:
    """Chance that an error of the mode slips past all checks: product of (1 - detection x coverage).

    >>> print_fit = Check("print on the car", {FailureMode.FIT: 0.8}, coverage=0.5)
    >>> round(compute_miss([print_fit, print_fit], FailureMode.FIT), 9)
    0.36
    >>> compute_miss([print_fit], FailureMode.MATERIAL_PROCESS)
    1.0
    """
    return math.prod(1 - check.compute_power(mode) for check in checks)


def compute_remaining(prior: Prior, miss: float, found: int = 0) -> Remaining:
    """What is left of one mode after checks that missed with chance `miss` and found `found` errors, all corrected.

    Derivation: Poisson thinning (found and left are independent given the rate) and gamma conjugacy.
    Source: A. Gelman and others, Bayesian Data Analysis, 3rd edition, section 2.6, for the gamma-Poisson pair.

    Args:
        miss: 0..1; 1 where no check could see the mode.
        found: errors found and corrected, a whole number.

    Raises:
        ValueError: miss outside 0..1; found negative; found above zero where no check could have seen any.

    >>> left = compute_remaining(Prior(1, 4), miss=0.2)
    >>> round(left.mean, 5), round(left.chance_of_none, 2)
    (0.04167, 0.96)
    """
    check_probability(miss, "the chance to be missed")
    check_count(found, "the number of errors found")
    if found and miss == 1:
        raise ValueError(f"{found} errors were found by checks that cannot see them; record the check that found them")
    return Remaining(prior.shape + found, prior.weight + 1 - miss, miss)


@dataclass(frozen=True)
class Sight:
    """What one check could see of a mode: detection x coverage, 0 for nothing."""

    check: str
    power: float


@dataclass(frozen=True)
class ModeRow:
    """One line of the table of remaining errors.

    Attributes:
        mode, prior, found, remaining: as above.
        saw: the checks that could see the mode, with how much.
        blind: names of the checks that could not see it at all.
    """

    mode: FailureMode
    prior: Prior
    found: int
    remaining: Remaining
    saw: tuple[Sight, ...]
    blind: tuple[str, ...]

    @property
    def is_unseen(self) -> bool:
        """Whether no check so far could see this mode."""
        return not self.saw

    @property
    def words(self) -> str:
        """One line for people, of this mode alone."""
        line = (
            f"about {render_count(self.remaining.mean)} errors of {self.mode.value}, "
            f"{render_chance(self.remaining.chance_of_none)} chance of none"
        )
        return f"{line}; no check so far can see them" if self.is_unseen else line


def render_count(mean: float) -> str:
    """Expected errors with as many digits as they deserve: one, or two below a tenth.

    Raises:
        ValueError: not finite.

    >>> render_count(0.2941), render_count(0.0417), render_count(0.0)
    ('0.3', '0.04', '0')
    """
    check_finite(mean, "the errors expected")
    if mean == 0:
        return "0"
    return f"{mean:.1f}" if mean >= 0.095 else f"{mean:.2f}" if mean >= 0.005 else "less than 0.01"


def render_chance(chance: float) -> str:
    """A chance in whole per cent that never claims certainty it does not have.

    Raises:
        ValueError: outside 0..1.

    >>> render_chance(0.862), render_chance(0.9991), render_chance(1.0)
    ('86 %', 'over 99 %', '100 %')
    """
    check_probability(chance, "a chance")
    if 0 < chance < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < chance < 1 else f"{100 * chance:.0f} %"


def build_table(
    priors: Mapping[FailureMode, Prior], checks: Sequence[Check], found: Mapping[FailureMode, int] | None = None
) -> tuple[ModeRow, ...]:
    """The table of remaining errors, a row for each mode that has a prior, in the order of `FailureMode`.

    There is deliberately no row and no chance over all modes together: a part that is sure to fit may still rust.

    Args:
        priors: belief for the part's family, by mode.
        checks: the checks that are still good (not stale).
        found: errors found and corrected, by mode; none if not given.

    Raises:
        ValueError: errors found of a mode without a prior, or that no check could have seen.

    >>> modes = {FailureMode.FIT: Prior(1, 4), FailureMode.MATERIAL_PROCESS: Prior(1, 4)}
    >>> for row in build_table(modes, [Check("print on the car", {FailureMode.FIT: 0.8})]):
    ...     print(row.words)
    about 0.04 errors of fit, 96 % chance of none
    about 0.2 errors of material and process, 80 % chance of none; no check so far can see them
    """
    counts = {} if found is None else found
    for mode in counts:
        if mode not in priors:
            raise ValueError(f"errors of {mode.value} were found, but the family has no prior for it")
    return tuple(_build_row(mode, priors[mode], checks, counts.get(mode, 0)) for mode in FailureMode if mode in priors)


def _build_row(mode: FailureMode, prior: Prior, checks: Sequence[Check], found: int) -> ModeRow:
    powers = [(check.name, check.compute_power(mode)) for check in checks]
    try:
        remaining = compute_remaining(prior, compute_miss(checks, mode), found)
    except ValueError as error:
        raise ValueError(f"{mode.value}: {error}") from None
    return ModeRow(
        mode=mode,
        prior=prior,
        found=found,
        remaining=remaining,
        saw=tuple(Sight(name, power) for name, power in powers if power > 0),
        blind=tuple(name for name, power in powers if power == 0),
    )


def find_unseen(table: Sequence[ModeRow]) -> tuple[FailureMode, ...]:
    """The modes that no check so far can see.

    >>> [mode.value for mode in find_unseen(build_table({FailureMode.FIT: Prior(1, 4)}, []))]
    ['fit']
    """
    return tuple(row.mode for row in table if row.is_unseen)


@dataclass(frozen=True)
class ClosedPart:
    """A part whose errors of one mode are known: made and sold long enough for the rest to have shown.

    Attributes:
        errors: all errors of the mode that its first model had, whenever they were found.
        known: share of them that would have shown by now (1 for a part that has been out for years).

    Raises:
        ValueError: errors negative, or known not in 0..1 and above zero.
    """

    errors: int
    known: float = 1.0

    def __post_init__(self) -> None:
        check_count(self.errors, "the errors of a closed part")
        check_probability(self.known, "the share of a closed part's errors that is known")
        check_positive(self.known, "the share of a closed part's errors that is known")


def update_prior(default: Prior, closed: Sequence[ClosedPart], worth: float) -> Prior:
    """The family's prior for the next part, drawn from the default towards the shop's own closed parts.

    The mean is (worth x default mean + errors) / (worth + parts). The spread between parts (1 / shape, what exceeds a
    Poisson) is found by moments and mixed in the same proportion; with fewer than two closed parts it stays.
    Source: empirical Bayes for Poisson counts, method of moments; common practice (no source for `worth`).

    Args:
        closed: the shop's closed parts of the family, each with its count for this mode.
        worth: how many closed parts the default counts for, above zero.

    Raises:
        ValueError: worth not above zero.

    >>> update_prior(Prior(1, 4), [], worth=5) == Prior(1, 4)
    True
    >>> round(update_prior(Prior(1, 4), [ClosedPart(1), ClosedPart(1), ClosedPart(0)], worth=5).mean, 5)
    0.40625
    """
    check_positive(worth, "the number of parts that the default counts for")
    if not closed:
        return default
    known = math.fsum(part.known for part in closed)
    errors = sum(part.errors for part in closed)
    mean = (worth * default.mean + errors) / (worth + known)
    excess = _find_excess(closed)
    spread = 1 / default.shape
    if excess is not None:
        spread = (worth * spread + known * excess) / (worth + known)
    shape = 1 / spread
    return Prior(shape, shape / mean)


def _find_excess(closed: Sequence[ClosedPart]) -> float | None:
    """Variance between parts beyond Poisson, over the squared mean, by moments; None where the counts cannot tell."""
    if len(closed) < 2:
        return None
    known = np.asarray([part.known for part in closed])
    errors = np.asarray([part.errors for part in closed], dtype=np.float64)
    mean = float(errors.sum() / known.sum())
    if mean == 0:
        return None
    squares = float(((errors - mean * known) ** 2).sum()) * len(closed) / (len(closed) - 1)
    return max(0.0, (squares - mean * float(known.sum())) / (mean * mean * float((known**2).sum())))
