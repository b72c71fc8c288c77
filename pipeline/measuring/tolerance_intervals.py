"""Factors of normal tolerance intervals: between which limits does the population lie?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import sqrt

import numpy as np
import numpy.typing as npt

from pipeline.measuring.distributions import (
    compute_chi_square_above,
    compute_normal_density,
    find_chi_square_quantile,
    find_normal_quantile,
    find_root,
    find_shifted_chi_square_quantile,
    find_shifted_student_quantile,
)
from pipeline.measuring.points import check_number
from pipeline.measuring.samples import check_share, summarise


class ToleranceMethod(StrEnum):
    """How a two-sided factor is found; the third figure differs."""

    EXACT = "exact (ISO 16269-6)"
    HOWE = "Howe's approximation"


@dataclass(frozen=True, slots=True)
class ToleranceInterval:
    """Limits between which a share of the population lies, at a confidence.

    Attributes:
        method: exact or Howe.
        factor: k.
        lower: mean less k sd.
        upper: mean plus k sd.
        coverage: share of the population.
        confidence: of the statement.
        count: readings.
    """

    method: ToleranceMethod
    factor: float
    lower: float
    upper: float
    coverage: float
    confidence: float
    count: int


def compute_one_sided_factor(count: int, coverage: float = 0.95, confidence: float = 0.95) -> float:
    """One-sided tolerance factor, mean and standard deviation both estimated.

    Args:
        count: readings, two or more.
        coverage: share of the population, between 0 and 1.
        confidence: between 0 and 1.

    Raises:
        ValueError: out of range.

    Source: ISO 16269-6 (non-central t).

    >>> round(compute_one_sided_factor(10), 3)
    2.911
    """
    _check(count, coverage, confidence)
    shift = float(find_normal_quantile(coverage)) * sqrt(count)
    return find_shifted_student_quantile(confidence, count - 1, shift) / sqrt(count)


@lru_cache(maxsize=512)
def compute_two_sided_factor(
    count: int, coverage: float = 0.95, confidence: float = 0.95, method: ToleranceMethod = ToleranceMethod.EXACT
) -> float:
    """Two-sided tolerance factor, mean and standard deviation both estimated.

    Args:
        count: readings, two or more.
        coverage: share of the population, between 0 and 1.
        confidence: between 0 and 1.
        method: exact by quadrature, or Howe.

    Raises:
        ValueError: out of range.

    Source: ISO 16269-6 (exact integral over the error of the mean); W. Howe, J. Am. Stat. Assoc. 64 (1969).

    >>> round(compute_two_sided_factor(10), 3)
    3.393
    >>> round(compute_two_sided_factor(10, method=ToleranceMethod.HOWE), 3)
    3.382
    """
    _check(count, coverage, confidence)
    dof = count - 1
    low = find_chi_square_quantile(1 - confidence, dof)
    howe = float(find_normal_quantile((1 + coverage) / 2)) * sqrt(dof * (1 + 1 / count) / low)
    if method is ToleranceMethod.HOWE:
        return howe
    nodes, weights = np.polynomial.legendre.leggauss(200)
    error = (nodes + 1) / 2 * 9 / sqrt(count)  # nine standard errors of the mean, one side
    density = weights * 9 / sqrt(count) * compute_normal_density(error, sd=1 / sqrt(count))
    squares = find_shifted_chi_square_quantile(
        coverage, 1, error**2
    )  # half width squared that covers the share about a mean off by error

    def compute_excess(k: float) -> float:
        return float(density @ compute_chi_square_above(dof * squares / k**2, dof)) - confidence

    return find_root(compute_excess, howe * 0.3, howe * 3)


def _check(count: int, coverage: float, confidence: float) -> None:
    check_number(count, "count of readings", least=2)
    if count != int(count):
        raise ValueError(f"count of readings is {count}; a whole number is needed")
    check_share(coverage, "coverage")
    check_share(confidence, "confidence")


def find_tolerance_interval(
    readings: npt.ArrayLike,
    coverage: float = 0.95,
    confidence: float = 0.95,
    method: ToleranceMethod = ToleranceMethod.EXACT,
) -> ToleranceInterval:
    """Two-sided normal tolerance interval of the population that readings came from.

    Args:
        readings: two or more, one per piece.
        coverage: share of the population.
        confidence: of the statement.
        method: exact or Howe.

    Raises:
        ValueError: fewer than two readings, or a share out of range.

    Source: ISO 16269-6.

    >>> interval = find_tolerance_interval([9.9, 10.0, 10.1, 10.0, 10.0])
    >>> round(interval.factor, 3), round(interval.upper, 3)
    (5.077, 10.359)
    """
    sample = summarise(readings)
    if sample.sd is None:
        raise ValueError("one piece says nothing of the spread from piece to piece; at least two needed")
    factor = compute_two_sided_factor(sample.count, coverage, confidence, method)
    half = factor * sample.sd
    return ToleranceInterval(method, factor, sample.mean - half, sample.mean + half, coverage, confidence, sample.count)
