"""Mean, spread and one-way analysis of variance that keep their figures on large, nearly equal readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.measuring.distributions import compute_fisher_above, find_normal_quantile, find_student_quantile
from pipeline.measuring.points import Floats, check_number, check_values


@dataclass(frozen=True, slots=True)
class Sample:
    """What a list of readings says.

    Attributes:
        count: readings.
        mean: their mean.
        sd: standard deviation with n - 1, None for one reading.
        smallest: smallest reading.
        largest: largest reading.
    """

    count: int
    mean: float
    sd: float | None
    smallest: float
    largest: float

    @property
    def mean_u(self) -> float | None:
        """Standard uncertainty of the mean, sd over root n; None for one reading."""
        return None if self.sd is None else self.sd / float(np.sqrt(self.count))


@dataclass(frozen=True, slots=True)
class OneWayAnova:
    """One-way analysis of variance.

    Attributes:
        between_ss: sum of squares between groups.
        within_ss: sum of squares within groups.
        between_dof: groups less one.
        within_dof: readings less groups.
        f: ratio of the mean squares.
        p: chance of a ratio this large when the groups do not differ.
    """

    between_ss: float
    within_ss: float
    between_dof: int
    within_dof: int
    f: float
    p: float


def summarise(readings: npt.ArrayLike) -> Sample:
    """Mean and standard deviation in two passes, the second about the mean, with the rounding of the first taken out.

    Args:
        readings: one or more finite numbers, any unit.

    Raises:
        ValueError: no readings, or one that is not a finite number.

    Source: T. Chan, G. Golub, R. LeVeque, Am. Statistician 37 (1983), corrected two-pass algorithm.

    >>> sample = summarise([10000000.2, 10000000.1, 10000000.3])
    >>> round(sample.mean, 6), round(sample.sd, 6)
    (10000000.2, 0.1)
    """
    values = check_values(readings, "readings", 1)
    mean = float(values.mean())
    left = values - mean
    slip = float(left.mean())
    mean, left = mean + slip, left - slip
    count = len(values)
    sd = None if count < 2 else float(np.sqrt(left @ left / (count - 1)))
    return Sample(count, mean, sd, float(values.min()), float(values.max()))


def compute_one_way_anova(groups: Sequence[npt.ArrayLike]) -> OneWayAnova:
    """Do groups of readings differ by more than the scatter within them?

    Args:
        groups: two or more lists of readings, at least one list with two.

    Raises:
        ValueError: fewer than two groups, an empty one, no spare reading, or readings without any scatter within.

    Source: textbook; checked against the NIST StRD analysis-of-variance sets.

    >>> result = compute_one_way_anova([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]])
    >>> round(result.f, 6), result.within_dof
    (1.5, 4)
    """
    if len(groups) < 2:
        raise ValueError(f"{len(groups)} group given; a comparison needs at least two")
    arrays = [check_values(group, "readings of a group", 1) for group in groups]
    level = summarise(np.concatenate(arrays)).mean
    moved = [array - level for array in arrays]
    within = [left - left.mean() for left in moved]
    count = sum(len(array) for array in arrays)
    grand = sum(float(left.sum()) for left in moved) / count
    between_ss = sum(len(left) * (float(left.mean()) - grand) ** 2 for left in moved)
    within_ss = sum(float(left @ left) for left in within)
    between_dof, within_dof = len(arrays) - 1, count - len(arrays)
    if within_dof < 1 or within_ss <= 0:
        raise ValueError("the groups show no scatter within themselves; nothing to compare their means with")
    f = between_ss / between_dof / (within_ss / within_dof)
    return OneWayAnova(
        between_ss, within_ss, between_dof, within_dof, f, compute_fisher_above(f, between_dof, within_dof)
    )


def compute_student_factor(dof: float, confidence: float = 0.95) -> float:
    """Two-sided Student factor; the normal factor for endless degrees of freedom.

    Args:
        dof: degrees of freedom, above zero, may be infinite.
        confidence: share inside, between 0 and 1.

    Raises:
        ValueError: out of range.

    Source: JCGM 100:2008, table G.2.

    >>> round(compute_student_factor(9), 3), round(compute_student_factor(float("inf")), 3)
    (2.262, 1.96)
    """
    check_share(confidence, "confidence")
    if np.isnan(dof) or dof <= 0:
        raise ValueError(f"{dof} degrees of freedom; the count must be above zero")
    upper = (1 + confidence) / 2
    return float(find_normal_quantile(upper) if np.isinf(dof) else find_student_quantile(upper, dof))


def check_share(value: float, what: str) -> float:
    """A number between 0 and 1, both excluded, or what is wrong with it.

    Raises:
        ValueError: out of range.

    Source: common practice (no source).

    >>> check_share(0.95, "confidence")
    0.95
    """
    number = check_number(value, what)
    if not 0 < number < 1:
        raise ValueError(f"{what} is {number:g}; give a share between 0 and 1, e.g. 0.95 for 95 %")
    return number


def compute_mean_interval(readings: npt.ArrayLike, confidence: float = 0.95) -> tuple[float, float]:
    """Interval that holds the mean of the population at this confidence, from scatter alone.

    Args:
        readings: two or more.
        confidence: between 0 and 1.

    Raises:
        ValueError: fewer than two readings.

    Source: Student's t (textbook).

    >>> [round(v, 3) for v in compute_mean_interval([9.0, 10.0, 11.0])]
    [7.516, 12.484]
    """
    values: Floats = check_values(readings, "readings", 2)
    sample = summarise(values)
    half = compute_student_factor(sample.count - 1, confidence) * (sample.mean_u or 0.0)
    return sample.mean - half, sample.mean + half
