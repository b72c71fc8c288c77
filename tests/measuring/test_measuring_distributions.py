"""The bare distributions against those of scipy.stats (an independent road to the same numbers), to the last bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from pipeline.measuring.distributions import (
    compute_chi_square_above,
    compute_fisher_above,
    compute_normal_above,
    compute_normal_below,
    compute_normal_density,
    compute_student_above,
    find_beta_quantile,
    find_chi_square_bound,
    find_chi_square_quantile,
    find_normal_quantile,
    find_root,
    find_shifted_chi_square_quantile,
    find_shifted_student_quantile,
    find_student_quantile,
)

Z = st.floats(-40, 40)
SHARE = st.floats(1e-12, 1 - 1e-12)
DOF = st.floats(0.5, 500)


@given(Z, st.floats(-10, 10), st.floats(1e-6, 1e3))
def test_normal(z: float, mean: float, sd: float) -> None:
    assert compute_normal_below(z) == stats.norm.cdf(z)
    assert compute_normal_above(z) == stats.norm.sf(z)
    assert compute_normal_density(z) == stats.norm.pdf(z)
    assert compute_normal_density(np.array([z]), mean, sd) == stats.norm.pdf(np.array([z]), mean, sd)


@given(SHARE)
def test_normal_quantile(share: float) -> None:
    assert find_normal_quantile(share) == stats.norm.ppf(share)
    assert find_normal_quantile(0.0) == -np.inf and find_normal_quantile(1.0) == np.inf


@given(Z, SHARE, DOF)
def test_student(t: float, share: float, dof: float) -> None:
    assert compute_student_above(t, dof) == stats.t.sf(t, dof)
    assert find_student_quantile(share, dof) == stats.t.ppf(share, dof)
    assert -find_student_quantile(share, dof) == stats.t.isf(share, dof)


@given(st.floats(1e-3, 1e3), st.floats(1e-6, 1 - 1e-6), st.floats(1, 200))
def test_chi_square(x: float, share: float, dof: float) -> None:
    assert compute_chi_square_above(x, dof) == stats.chi2.sf(x, dof)
    assert find_chi_square_quantile(share, dof) == pytest.approx(stats.chi2.ppf(share, dof), rel=1e-12)
    assert find_chi_square_bound(share, dof) == pytest.approx(stats.chi2.isf(share, dof), rel=1e-12)


@given(st.floats(0.5, 0.999), st.integers(1, 60), st.floats(0.5, 30))
def test_shifted(share: float, dof: int, shift: float) -> None:
    assert find_shifted_chi_square_quantile(share, dof, shift) == pytest.approx(
        stats.ncx2.ppf(share, dof, shift), rel=1e-9
    )
    assert find_shifted_student_quantile(share, dof, shift) == pytest.approx(
        stats.nct.ppf(share, dof, shift), rel=2e-6, abs=1e-7
    )  # the oldest scipy that is allowed solves for it to seven figures, and worse where there is next to no shift


@given(st.floats(1e-3, 100), st.integers(1, 40), st.integers(1, 40), st.floats(1e-4, 1 - 1e-4))
def test_fisher_and_beta(ratio: float, one: int, other: int, share: float) -> None:
    assert compute_fisher_above(ratio, one, other) == pytest.approx(stats.f.sf(ratio, one, other), rel=1e-12)
    assert find_beta_quantile(share, one, other) == pytest.approx(stats.beta.ppf(share, one, other), rel=1e-9)


@given(st.floats(0.1, 50), st.booleans())
def test_root(at: float, is_falling: bool) -> None:
    """Source: scipy.optimize.brentq."""

    def function(x: float) -> float:
        return (at**3 - x**3) if is_falling else (x**3 - at**3)

    found = find_root(function, 0.0, 60.0)
    assert found == pytest.approx(at, rel=1e-14)
    assert found == pytest.approx(optimize.brentq(function, 0.0, 60.0), abs=1e-11)


def test_no_root_is_told() -> None:
    with pytest.raises(ValueError, match="no change of sign between 1 and 2"):
        find_root(lambda x: x, 1.0, 2.0)
