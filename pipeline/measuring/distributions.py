"""The normal and Student's t distribution, by scipy's special functions: bare, and loaded when first asked for.

The distributions of `scipy.stats` give the same numbers; they take a second to load, and fifty times as long a call.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Any

import numpy as np

_ROOT = sqrt(2 * pi)


def compute_normal_below(z: Any) -> Any:
    """Return the share of a standard normal distribution below z (an array: of each); 0 to 1.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.2 (normal).

    >>> round(float(compute_normal_below(1.96)), 4)
    0.975
    """
    from scipy.special import ndtr

    return ndtr(z)


def compute_normal_above(z: Any) -> Any:
    """Return the share of a standard normal distribution above z (an array: of each); exact far out too.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.2 (normal).

    >>> f"{float(compute_normal_above(10)):.3g}"
    '7.62e-24'
    """
    return compute_normal_below(-z)


def find_normal_quantile(share: Any) -> Any:
    """Return the z below which a share (0 to 1) of a standard normal distribution lies; infinite at 0 and 1.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.2 (normal).

    >>> round(float(find_normal_quantile(0.975)), 2)
    1.96
    """
    from scipy.special import ndtri

    return ndtri(share)


def compute_normal_density(x: Any, mean: float = 0.0, sd: float = 1.0) -> Any:
    """Return the density of a normal distribution at x (an array: at each), in one over the unit of x.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.2 (normal).

    >>> round(float(compute_normal_density(0.0)), 4)
    0.3989
    """
    z = (x - mean) / sd
    return np.exp(-(z**2) / 2.0) / _ROOT / sd


def compute_student_above(t: Any, dof: float) -> Any:
    """Return the share of Student's distribution above t. dof : degrees of freedom, above zero.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.7 (Student's t).

    >>> round(float(compute_student_above(2.262, 9)), 3)
    0.025
    """
    from scipy.special import stdtr

    return stdtr(dof, -t)


def find_student_quantile(share: float, dof: float) -> float:
    """Return the t below which a share (0 to 1, both left out) of Student's distribution lies.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.7 (Student's t).

    >>> round(find_student_quantile(0.975, 9), 3)
    2.262
    """
    from scipy.special import stdtrit

    return float(stdtrit(dof, share))
