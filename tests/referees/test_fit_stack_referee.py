"""Slow obvious twins of the stack: every corner of the box of limits, and a sum by numerical convolution."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from pipeline.fit.contributors import Contributor, Distribution
from pipeline.fit.stack import compute_stack


def _build_random_stack(rng: np.random.Generator) -> list[Contributor]:
    parts = []
    for index in range(int(rng.integers(1, 9))):
        lower = float(rng.uniform(-0.5, 0.3))
        upper = lower + float(rng.uniform(0, 0.6))
        signed = float(rng.choice([-2, -1, -0.5, 0.5, 1, 4]))
        parts.append(Contributor(f"part {index}", float(rng.uniform(1, 80)), lower, upper, signed))
    return parts


@pytest.mark.parametrize("seed", range(25))
def test_worst_case_is_the_extreme_of_all_corners(seed: int) -> None:
    parts = _build_random_stack(np.random.default_rng(seed))
    corners = product(*[(part.nominal_mm + part.lower_mm, part.nominal_mm + part.upper_mm) for part in parts])
    gaps = [sum(part.sensitivity * size for part, size in zip(parts, corner, strict=True)) for corner in corners]
    worst = compute_stack(parts).worst
    assert (worst.low_mm, worst.high_mm) == pytest.approx((min(gaps), max(gaps)), abs=1e-9)


def test_chance_agrees_with_convolved_densities() -> None:
    """Sum of a normal and two uniform parts by convolving densities on a fine grid; the closed form takes it as normal.

    The uniform parts are small here, so the normal answer has to be within a few percent, not equal.
    """
    parts = [
        Contributor("big", 1.0, -0.30, 0.30),
        Contributor("small", 0.2, -0.05, 0.05, -1.0, Distribution.UNIFORM),
        Contributor("smaller", 0.1, -0.04, 0.04, -1.0, Distribution.UNIFORM),
    ]
    step = 0.0002
    grid = np.arange(-0.8, 0.8 + step / 2, step)
    density = np.exp(-0.5 * (grid / 0.1) ** 2)
    for half in (0.05, 0.04):
        density = np.convolve(density, np.where(np.abs(grid) <= half, 1.0, 0.0), mode="same")
    density /= density.sum()
    exact = float(density[grid < 0.5 - 0.7].sum())
    below = compute_stack(parts, lower_limit_mm=0.5).chance.below
    assert below == pytest.approx(exact, rel=0.02)
