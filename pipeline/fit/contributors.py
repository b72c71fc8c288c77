"""One signed contributor to a gap: its limits, how it scatters between them, and how much of it reaches the gap."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Distribution(StrEnum):
    """How a dimension scatters between its limits; all are symmetrical about the middle of the limits.

    `normal` has tails beyond the limits (an uninspected process); every other one stays inside them:
    `truncated-normal` is a normal process whose parts outside the limits were sorted out.
    """

    NORMAL = "normal"
    TRUNCATED_NORMAL = "truncated-normal"
    UNIFORM = "uniform"
    TRIANGULAR = "triangular"
    ELLIPTICAL = "elliptical"


BOUNDED = frozenset(Distribution) - {Distribution.NORMAL}


@dataclass(frozen=True)
class Contributor:
    """A dimension or coating that adds to a gap: `gap = sum(sensitivity × size)`.

    `lower_mm` and `upper_mm` are deviations from `nominal_mm` and need not be symmetrical. `sensitivity` carries the
    sign: +1 opens the gap, -1 closes it, 0.5 is a diameter seen as a radius, ±0.577 a lean of 30°. `sigma_level` says
    how many standard deviations of the process reach from the middle to a limit, and is used by the two normal ones.

    Example:
        >>> Contributor("bore", 57.0, -0.4, 0.4).sd_mm == 0.4 / 3
        True
        >>> Contributor("rim", 112.4, 0.0, -0.25)
        Traceback (most recent call last):
        ...
        ValueError: rim: the upper deviation -0.25 mm is below the lower one 0 mm; write the lower one first
    """

    name: str
    nominal_mm: float
    lower_mm: float
    upper_mm: float
    sensitivity: float = 1.0
    distribution: Distribution = Distribution.NORMAL
    sigma_level: float = 3.0

    def __post_init__(self) -> None:
        for what in ("nominal_mm", "lower_mm", "upper_mm", "sensitivity", "sigma_level"):
            value = getattr(self, what)
            if not math.isfinite(value):
                raise ValueError(f"{self.name}: {what} is {value}; write a finite number")
        if self.upper_mm < self.lower_mm:
            raise ValueError(
                f"{self.name}: the upper deviation {self.upper_mm:g} mm is below the lower one "
                f"{self.lower_mm:g} mm; write the lower one first"
            )
        if self.sensitivity == 0:
            raise ValueError(f"{self.name}: a sensitivity of 0 has no part in the gap; leave the contributor out")
        if self.sigma_level <= 0:
            raise ValueError(f"{self.name}: the sigma level is {self.sigma_level:g}; write a number above 0, mostly 3")

    @property
    def middle_mm(self) -> float:
        """Middle of the limits in mm, which is where an asymmetrical tolerance moves the mean to."""
        return self.nominal_mm + (self.lower_mm + self.upper_mm) / 2

    @property
    def half_width_mm(self) -> float:
        """Half of the whole tolerance in mm."""
        return (self.upper_mm - self.lower_mm) / 2

    @property
    def sd_mm(self) -> float:
        """Standard deviation of the dimension itself in mm, before its sensitivity."""
        return self.half_width_mm * compute_spread_factor(self.distribution, self.sigma_level)


def compute_spread_factor(distribution: Distribution, sigma_level: float = 3.0) -> float:
    """Return the standard deviation of a dimension as a share of half its tolerance (dimensionless, 0..1).

    Args:
        distribution: how the dimension scatters between its limits.
        sigma_level: standard deviations of the process from the middle to a limit, above 0; only the two normal ones
            use it. The truncated one becomes uniform as it goes to 0 and the plain normal as it grows.

    Errors:
        ValueError: the sigma level is not above 0.

    Source: JCGM 100:2008 4.3.7 (uniform 1/√3) and 4.3.9 (triangular 1/√6); the elliptical one is half the radius of a
        semicircle; the truncated normal from its closed-form variance.

    Example:
        >>> round(compute_spread_factor(Distribution.UNIFORM), 6)
        0.57735
        >>> round(compute_spread_factor(Distribution.NORMAL, 3.0), 6)
        0.333333
        >>> round(compute_spread_factor(Distribution.TRUNCATED_NORMAL, 3.0), 4)
        0.3289
    """
    if not sigma_level > 0:
        raise ValueError(f"the sigma level is {sigma_level:g}; write a number above 0, mostly 3")
    if distribution is Distribution.NORMAL:
        return 1 / sigma_level
    if distribution is Distribution.TRUNCATED_NORMAL:
        return _compute_truncated_share(sigma_level) / sigma_level
    fixed = {
        Distribution.UNIFORM: 1 / math.sqrt(3),
        Distribution.TRIANGULAR: 1 / math.sqrt(6),
        Distribution.ELLIPTICAL: 0.5,
    }
    return fixed[distribution]


def _compute_truncated_share(sigma_level: float) -> float:
    """Return what sorting at ± sigma_level leaves of a normal's standard deviation (0..1)."""
    if sigma_level < 1e-3:  # the closed form loses its digits here; the limit is the uniform one
        return sigma_level / math.sqrt(3)
    density = math.exp(-0.5 * sigma_level**2) / math.sqrt(2 * math.pi)
    inside = math.erf(sigma_level / math.sqrt(2))
    return math.sqrt(max(0.0, 1 - 2 * sigma_level * density / inside))
