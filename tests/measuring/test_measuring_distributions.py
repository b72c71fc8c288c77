"""The bare distributions against those of scipy.stats (an independent road to the same numbers), to the last bit."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.measuring.distributions import (
    compute_normal_above,
    compute_normal_below,
    compute_normal_density,
    compute_student_above,
    find_normal_quantile,
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
