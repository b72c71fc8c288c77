"""A tolerance stack: the gap of an interface by worst case, root-sum-square and inflated RSS, with its working."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.contributors import Contributor, Distribution

ROUNDING_MM = 1e-9
"""Sums of decimal sizes carry dust in the last binary digits; a limit is met within this much (mm)."""

USUAL_INFLATION = 1.5
"""Factor on the root-sum-square for means that are not in the middle (Bender, SAE paper 680490, 1968)."""


class StackVerdict(StrEnum):
    """The strictest of the methods by which the gap stays inside its limits."""

    WORST_CASE = "holds in the worst case"
    INFLATED = "holds by inflated root-sum-square"
    RSS = "holds by root-sum-square only"
    NOT_HELD = "does not hold"
    NO_LIMITS = "no limits given"


@dataclass(frozen=True)
class Span:
    """Least and greatest gap in mm."""

    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class StackRow:
    """One contributor's line of the working; all in mm of gap but for `size_*` and the share (0..1)."""

    name: str
    sensitivity: float
    size_nominal_mm: float
    size_lower_mm: float
    size_upper_mm: float
    distribution: Distribution
    nominal_mm: float
    mean_mm: float
    half_width_mm: float
    sd_mm: float
    variance_share: float


@dataclass(frozen=True)
class WorkingStep:
    """One line of arithmetic that a page can show: what it is, the figures put in, and what came out (mm)."""

    label: str
    formula: str
    value_mm: float


@dataclass(frozen=True)
class ChanceOutside:
    """Chances (0..1) that the gap is below, above or outside its limits, and that the parts interfere (gap below 0).

    `below`, `above` are None where the limit on that side is not given, `outside` where there is none at all.
    """

    below: float | None
    above: float | None
    outside: float | None
    interference: float


@dataclass(frozen=True)
class StackResult:
    """All that a page needs of a stack; lengths in mm, shares and chances 0..1, rows in the contributors' order."""

    rows: tuple[StackRow, ...]
    nominal_gap_mm: float
    mean_gap_mm: float
    worst_half_mm: float
    rss_half_mm: float
    inflated_half_mm: float
    inflation_factor: float
    sd_mm: float
    worst: Span
    rss: Span
    inflated: Span
    lower_limit_mm: float | None
    upper_limit_mm: float | None
    chance: ChanceOutside
    verdict: StackVerdict
    steps: tuple[WorkingStep, ...]

    @property
    def biggest(self) -> StackRow:
        """The contributor with the greatest share in the variance (the first of equals): where to tighten first."""
        return max(self.rows, key=lambda row: row.variance_share)


def compute_stack(
    contributors: Sequence[Contributor],
    *,
    lower_limit_mm: float | None = None,
    upper_limit_mm: float | None = None,
    inflation_factor: float = USUAL_INFLATION,
) -> StackResult:
    """Return the gap of a stack by every closed-form method, and the chance that it leaves its limits.

    Worst case adds the half tolerances, `T = sum(|s| t)`; root-sum-square adds their squares, `T = sqrt(sum((s t)²))`;
    inflated RSS multiplies that by a factor and stops at the worst case, which no set of good parts can leave. All
    three stand about the mean gap, which an asymmetrical tolerance moves away from the nominal one. The chances take
    the gap as normal with the standard deviation of the contributors' own distributions.

    Args:
        contributors: one or more, each name once. A dimension that acts twice is one contributor with the sum of its
            sensitivities, since it cannot be long in one place and short in the other.
        lower_limit_mm, upper_limit_mm: least and greatest gap allowed, in mm; either may be left out.
        inflation_factor: multiplier of the RSS, 1 or more.

    Errors:
        ValueError: no contributors, a name twice, limits the wrong way round, or a factor below 1.

    Source: worst case, root-sum-square and inflated RSS as in F. Scholz, Tolerance Stack Analysis Methods
        (1995, seen); the factor 1.5 from A. Bender, SAE paper
        680490 (1968, from memory).

    Example:
        >>> parts = [Contributor(f"part {i}", 10.0, -0.1, 0.1) for i in range(10)]
        >>> result = compute_stack(parts, lower_limit_mm=99.5, upper_limit_mm=100.5)
        >>> round(result.worst_half_mm, 9), round(result.rss_half_mm, 4), result.verdict.value
        (1.0, 0.3162, 'holds by inflated root-sum-square')
    """
    refuse_impossible_stack(contributors, lower_limit_mm, upper_limit_mm)
    if not inflation_factor >= 1:
        raise ValueError(f"an inflation factor of {inflation_factor:g} would shrink the stack; write 1 or more")
    rows = _build_rows(contributors)
    nominal = math.fsum(row.nominal_mm for row in rows)
    mean = math.fsum(row.mean_mm for row in rows)
    worst_half = math.fsum(row.half_width_mm for row in rows)
    rss_half = math.sqrt(math.fsum(row.half_width_mm**2 for row in rows))
    inflated_half = min(inflation_factor * rss_half, worst_half)
    sd = math.sqrt(math.fsum(row.sd_mm**2 for row in rows))
    worst, rss, inflated = (Span(mean - half, mean + half) for half in (worst_half, rss_half, inflated_half))
    limits = (lower_limit_mm, upper_limit_mm)
    return StackResult(
        rows=rows,
        nominal_gap_mm=nominal,
        mean_gap_mm=mean,
        worst_half_mm=worst_half,
        rss_half_mm=rss_half,
        inflated_half_mm=inflated_half,
        inflation_factor=inflation_factor,
        sd_mm=sd,
        worst=worst,
        rss=rss,
        inflated=inflated,
        lower_limit_mm=lower_limit_mm,
        upper_limit_mm=upper_limit_mm,
        chance=compute_chance_outside(mean, sd, lower_limit_mm, upper_limit_mm),
        verdict=_judge(worst, inflated, rss, limits),
        steps=_build_steps(rows, nominal, mean, worst_half, rss_half, inflated_half, inflation_factor),
    )


def refuse_impossible_stack(
    contributors: Sequence[Contributor], lower_mm: float | None, upper_mm: float | None
) -> None:
    """Raise ValueError for a stack without contributors or with a name twice, and for limits that cannot be."""
    if not contributors:
        raise ValueError("a stack without contributors has no gap; name at least one")
    twice = [name for name, count in Counter(part.name for part in contributors).items() if count > 1]
    if twice:
        raise ValueError(f"{twice[0]} is in the stack twice; make it one contributor and add its sensitivities")
    if not all(math.isfinite(limit) for limit in (lower_mm, upper_mm) if limit is not None):
        raise ValueError(f"the gap limits {lower_mm} and {upper_mm} mm are not both finite; leave out one that is open")
    if lower_mm is not None and upper_mm is not None and upper_mm < lower_mm:
        raise ValueError(f"the gap limits {lower_mm:g} to {upper_mm:g} mm are the wrong way round")


def _build_rows(contributors: Sequence[Contributor]) -> tuple[StackRow, ...]:
    variances = [(part.sensitivity * part.sd_mm) ** 2 for part in contributors]
    total = math.fsum(variances)
    return tuple(
        StackRow(
            name=part.name,
            sensitivity=part.sensitivity,
            size_nominal_mm=part.nominal_mm,
            size_lower_mm=part.lower_mm,
            size_upper_mm=part.upper_mm,
            distribution=part.distribution,
            nominal_mm=part.sensitivity * part.nominal_mm,
            mean_mm=part.sensitivity * part.middle_mm,
            half_width_mm=abs(part.sensitivity) * part.half_width_mm,
            sd_mm=abs(part.sensitivity) * part.sd_mm,
            variance_share=variance / total if total > 0 else 0.0,
        )
        for part, variance in zip(contributors, variances, strict=True)
    )


def compute_chance_outside(
    mean_mm: float, sd_mm: float, lower_mm: float | None = None, upper_mm: float | None = None
) -> ChanceOutside:
    """Return the chances that a normally distributed gap is outside its limits and that it is below zero.

    Args:
        mean_mm, sd_mm: mean and standard deviation of the gap in mm; a deviation of 0 gives chances of 0 or 1, and a
            gap on its limit counts as inside.
        lower_mm, upper_mm: limits of the gap in mm; either may be left out.

    Errors:
        ValueError: a negative standard deviation.

    Source: normal distribution, `P(gap < a) = Φ((a - mean) / sd)`.

    Example:
        >>> chance = compute_chance_outside(0.6, 0.1, lower_mm=0.3, upper_mm=0.9)
        >>> round(chance.outside, 6)
        0.0027
    """
    if not sd_mm >= 0:
        raise ValueError(f"a standard deviation of {sd_mm:g} mm is impossible; it is 0 or more")
    below = None if lower_mm is None else _compute_tail(lower_mm - mean_mm, sd_mm)
    above = None if upper_mm is None else _compute_tail(mean_mm - upper_mm, sd_mm)
    known = [part for part in (below, above) if part is not None]
    return ChanceOutside(below, above, math.fsum(known) if known else None, _compute_tail(-mean_mm, sd_mm))


def _compute_tail(margin_mm: float, sd_mm: float) -> float:
    """Return the chance that a centred normal is below `margin_mm`; erfc keeps the digits of a far tail."""
    if sd_mm == 0:
        return 1.0 if margin_mm > ROUNDING_MM else 0.0
    return 0.5 * math.erfc(-margin_mm / sd_mm / math.sqrt(2))


def is_inside(span: Span, lower_mm: float | None, upper_mm: float | None) -> bool:
    """Return whether a whole span of gaps is inside its limits (a span that touches a limit is inside).

    Example:
        >>> is_inside(Span(0.1, 0.4), 0.1, None), is_inside(Span(0.1, 0.4), 0.1, 0.3)
        (True, False)
    """
    low_good = lower_mm is None or span.low_mm >= lower_mm - ROUNDING_MM
    return low_good and (upper_mm is None or span.high_mm <= upper_mm + ROUNDING_MM)


def _judge(worst: Span, inflated: Span, rss: Span, limits: tuple[float | None, float | None]) -> StackVerdict:
    if limits == (None, None):
        return StackVerdict.NO_LIMITS
    methods = ((worst, StackVerdict.WORST_CASE), (inflated, StackVerdict.INFLATED), (rss, StackVerdict.RSS))
    return next((verdict for span, verdict in methods if is_inside(span, *limits)), StackVerdict.NOT_HELD)


def _build_steps(
    rows: Sequence[StackRow], nominal: float, mean: float, worst: float, rss: float, inflated: float, factor: float
) -> tuple[WorkingStep, ...]:
    sizes = " ".join(f"{row.sensitivity:+g} × {row.size_nominal_mm:g}" for row in rows)
    middles = " ".join(f"{row.mean_mm:+.6g}" for row in rows)
    halves = [f"{row.half_width_mm:.4g}" for row in rows if row.half_width_mm > 0]
    squares = " + ".join(f"{half}²" for half in halves) or "0"
    capped = inflated < factor * rss - ROUNDING_MM
    return (
        WorkingStep("nominal gap", sizes, nominal),
        WorkingStep("mean gap, each at the middle of its limits", middles, mean),
        WorkingStep("worst case, ±", " + ".join(halves) or "0", worst),
        WorkingStep("root-sum-square, ±", f"√({squares})", rss),
        WorkingStep(
            "inflated root-sum-square, ±",
            f"{factor:g} × {rss:.4g}" + (", held at the worst case" if capped else ""),
            inflated,
        ),
        WorkingStep("least gap in the worst case", f"{mean:.4g} - {worst:.4g}", mean - worst),
        WorkingStep("least gap by root-sum-square", f"{mean:.4g} - {rss:.4g}", mean - rss),
    )
