"""The distributions that measurements ask for, by scipy's special functions: bare, and loaded when first asked for.

The distributions of `scipy.stats` give the same numbers; they take a second to load, and fifty times as long a call.
"""

from __future__ import annotations

from collections.abc import Callable
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


def find_shifted_student_quantile(share: float, dof: float, shift: float) -> float:
    """Return the t below which a share of the non-central Student distribution lies. shift : its non-centrality.

    scipy 1.15 solves for it to seven figures, and to three where the shift is next to nothing; a tolerance factor has a
    shift above a half from a coverage of 64 % on.

    Source: N. Johnson, S. Kotz and N. Balakrishnan, Continuous Univariate Distributions 2 (1995), 31 (from memory).

    >>> round(find_shifted_student_quantile(0.95, 9, 0.0), 3)
    1.833
    """
    from scipy.special import nctdtrit

    return float(nctdtrit(dof, shift, share))


def compute_chi_square_above(x: Any, dof: float) -> Any:
    """Return the share of the chi-square distribution above x (an array: of each). dof : above zero.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.4 (chi-square).

    >>> round(float(compute_chi_square_above(16.919, 9)), 3)
    0.05
    """
    from scipy.special import chdtrc

    return chdtrc(dof, x)


def find_chi_square_quantile(share: float, dof: float) -> float:
    """Return the x below which a share of the chi-square distribution lies.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.4 (chi-square).

    >>> round(find_chi_square_quantile(0.95, 9), 3)
    16.919
    """
    from scipy.special import gammaincinv

    return float(2 * gammaincinv(dof / 2, share))


def find_chi_square_bound(share: float, dof: float) -> float:
    """Return the x above which a share of the chi-square distribution lies; exact for small shares too.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.4 (chi-square).

    >>> round(find_chi_square_bound(0.05, 9), 3)
    16.919
    """
    from scipy.special import chdtri

    return float(chdtri(dof, share))


def find_shifted_chi_square_quantile(share: float, dof: float, shift: Any) -> Any:
    """Return the x below which a share of the non-central chi-square distribution lies. shift : its non-centrality (an
    array: of each).

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.4.25 (non-central chi-square).

    >>> round(float(find_shifted_chi_square_quantile(0.95, 9, 0.0)), 3)
    16.919
    """
    from scipy.special import chndtrix

    return chndtrix(share, dof, shift)


def compute_fisher_above(ratio: float, dof: float, other_dof: float) -> float:
    """Return the share of the F distribution above a ratio of variances. dof : of the one above the line, and below it.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.6 (F).

    >>> round(compute_fisher_above(3.482, 4, 10), 3)
    0.05
    """
    from scipy.special import fdtrc

    return float(fdtrc(dof, other_dof, ratio))


def find_beta_quantile(share: float, one: float, other: float) -> float:
    """Return the x (0 to 1) below which a share of the beta distribution lies. one, other : its shapes, above zero.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 26.5 (beta).

    >>> round(find_beta_quantile(0.95, 1, 10), 3)
    0.259
    """
    from scipy.special import betaincinv

    return float(betaincinv(one, other, share))


def find_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a function changes its sign, by halving: for what is asked once, where scipy's solvers take longer
    to load than to solve.

    Raises ValueError where the function has one sign at both ends.

    Source: R. Burden and J. Faires, Numerical Analysis, 2.1 (bisection; from memory).

    >>> round(find_root(lambda x: x * x - 2, 0.0, 2.0), 9)
    1.414213562
    """
    below = function(low) < 0
    if below == (function(high) < 0):
        raise ValueError(f"no change of sign between {low:g} and {high:g}")
    middle = (low + high) / 2
    while low < middle < high:
        if (function(middle) < 0) == below:
            low = middle
        else:
            high = middle
        middle = (low + high) / 2
    return middle
