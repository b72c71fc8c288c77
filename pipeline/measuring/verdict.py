"""Does a measured value prove that a feature conforms? Guarded zones, and the chances behind them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from pipeline.measuring.distributions import (
    compute_normal_above,
    compute_normal_below,
    compute_normal_density,
    find_normal_quantile,
)
from pipeline.measuring.points import check_number
from pipeline.measuring.samples import check_share

GUARD_95_ONE_SIDED = 1.645  # ISO 14253-1:2017 default, in standard uncertainties
GUARD_FULL_U = 2.0  # the older rule and many shops: one expanded uncertainty with k = 2


class Outcome(StrEnum):
    """What a measured value proves."""

    CONFORM = "conform"
    NOT_CONFORM = "not conform"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Verdict:
    """A decision on one value, with the rule and the chances.

    Attributes:
        outcome: conform, not conform or undecided.
        value: the measured value.
        lower: lower limit or None.
        upper: upper limit or None.
        standard_u: standard uncertainty of the value.
        guard_factor: guard band in standard uncertainties.
        guard_band: the same in the unit of the value.
        acceptance: limits inside which a value proves conformity; None where the guard bands leave nothing.
        probability: chance that the true value lies inside the limits, given this value alone.
        risk: chance that the decision is wrong: of a part outside when it conforms, of a part inside when it does
            not, None when undecided.
        rule: the rule in words.
        sentence: the outcome in words.
    """

    outcome: Outcome
    value: float
    lower: float | None
    upper: float | None
    standard_u: float
    guard_factor: float
    guard_band: float
    acceptance: tuple[float | None, float | None] | None
    probability: float
    risk: float | None
    rule: str
    sentence: str


def check_limits(lower: float | None, upper: float | None) -> tuple[float | None, float | None]:
    """Limits of which one may be missing, or what is wrong with them.

    Raises:
        ValueError: both missing, not finite, crossed, or equal (a tolerance of zero).

    Source: common practice (no source).

    >>> check_limits(None, 0.6)
    (None, 0.6)
    """
    if lower is None and upper is None:
        raise ValueError("neither a lower nor an upper limit is given; a nominal without limits cannot be decided on")
    low = None if lower is None else check_number(lower, "lower limit")
    high = None if upper is None else check_number(upper, "upper limit")
    if low is not None and high is not None:
        if low > high:
            raise ValueError(f"the lower limit {low:g} is above the upper limit {high:g}; exchange them")
        if low == high:
            raise ValueError(f"both limits are {low:g}: no measurement can prove a tolerance of zero")
    return low, high


def decide_conformity(
    value: float,
    standard_u: float,
    lower: float | None,
    upper: float | None,
    guard_factor: float = GUARD_95_ONE_SIDED,
) -> Verdict:
    """Decide by three zones: conformity proved, non-conformity proved, or neither.

    A value on the edge of the acceptance zone conforms; a value on the outer edge of the other zone is undecided
    (to rounding of the arithmetic).

    Args:
        value: measured value.
        standard_u: its standard uncertainty, above zero, same unit.
        lower: lower limit, or None for a one-sided requirement.
        upper: upper limit, or None.
        guard_factor: guard band in standard uncertainties: 1.645 by default (95 % one-sided), 2 for the older
            rule of one full expanded uncertainty, 0 for simple acceptance.

    Raises:
        ValueError: no limit, crossed or equal limits, an uncertainty not above zero, a negative guard factor.

    Source: ISO 14253-1:2017 (default guard band for 95 %: 1.65 u); JCGM 106:2012, 7 and 8.3.

    >>> verdict = decide_conformity(112.41, 0.015, 112.15, 112.65)
    >>> verdict.outcome.value, round(verdict.guard_band, 4)
    ('conform', 0.0247)
    >>> decide_conformity(0.59, 0.015, None, 0.6).outcome.value
    'undecided'
    """
    low, high = check_limits(lower, upper)
    number = check_number(value, "measured value")
    u = check_number(standard_u, "standard uncertainty", above=0)
    guard = check_number(guard_factor, "guard factor", least=0) * u
    probability = compute_conformance_probability(number, u, low, high)
    outcome = _find_zone(number, guard, low, high)
    risks = {Outcome.CONFORM: 1 - probability, Outcome.NOT_CONFORM: probability, Outcome.UNDECIDED: None}
    acceptance = _find_acceptance(guard, low, high)
    return Verdict(
        outcome=outcome,
        value=number,
        lower=low,
        upper=high,
        standard_u=u,
        guard_factor=guard_factor,
        guard_band=guard,
        acceptance=acceptance,
        probability=probability,
        risk=risks[outcome],
        rule=f"ISO 14253-1, guard band {guard_factor:g} u at each limit",
        sentence=_word(outcome, probability, acceptance is None),
    )


def _find_zone(value: float, guard: float, low: float | None, high: float | None) -> Outcome:
    """Zone of a value; differences below rounding do not move it over an edge."""
    slack = 1e-12 * max(abs(value), abs(low or 0.0), abs(high or 0.0), guard)
    inside = [] if low is None else [value - low]
    inside += [] if high is None else [high - value]
    nearest = min(inside)
    if nearest >= guard - slack:
        return Outcome.CONFORM
    return Outcome.NOT_CONFORM if nearest < -guard - slack else Outcome.UNDECIDED


def _find_acceptance(guard: float, low: float | None, high: float | None) -> tuple[float | None, float | None] | None:
    edges = (None if low is None else low + guard, None if high is None else high - guard)
    if edges[0] is not None and edges[1] is not None and edges[0] > edges[1]:
        return None
    return edges


def _word(outcome: Outcome, probability: float, is_hopeless: bool) -> str:
    chance = f"chance inside the limits {_percent(probability)}"
    if outcome is Outcome.CONFORM:
        return f"Conforms: proved by this measurement ({chance})."
    if outcome is Outcome.NOT_CONFORM:
        return f"Does not conform: proved by this measurement ({chance})."
    if is_hopeless:
        return f"Undecided: the uncertainty leaves no value that could prove conformity; measure better ({chance})."
    return f"Undecided: too near a limit for this uncertainty ({chance})."


def _percent(share: float) -> str:
    """A share in words that never rounds to certainty."""
    if share > 0.999:
        return "above 99.9 %"
    return "below 0.1 %" if share < 0.001 else f"{100 * share:.1f} %"


def compute_conformance_probability(value: float, standard_u: float, lower: float | None, upper: float | None) -> float:
    """Chance that the true value lies inside the limits, normal distribution, no earlier knowledge.

    Args:
        value: measured value.
        standard_u: standard uncertainty, above zero.
        lower: lower limit or None.
        upper: upper limit or None.

    Raises:
        ValueError: as `decide_conformity`.

    Source: JCGM 106:2012, 7.2 to 7.4.

    >>> round(compute_conformance_probability(13.6, 1.8, 12.5, 16.3), 4)
    0.6626
    """
    low, high = check_limits(lower, upper)
    u = check_number(standard_u, "standard uncertainty", above=0)
    below = 0.0 if low is None else float(compute_normal_below((low - value) / u))
    above = 0.0 if high is None else float(compute_normal_above((high - value) / u))
    return max(0.0, 1.0 - below - above)


def compute_acceptance_risk(guard_factor: float) -> float:
    """Largest chance that a value at the edge of the acceptance zone hides a part beyond the nearer limit.

    Args:
        guard_factor: guard band in standard uncertainties, zero or more.

    Source: normal tail; ILAC-G8:09/2019, table 1 (which rounds 2.28 % to 2.5 %).

    >>> round(compute_acceptance_risk(1.645), 3), compute_acceptance_risk(0)
    (0.05, 0.5)
    """
    return float(compute_normal_above(check_number(guard_factor, "guard factor", least=0)))


def compute_guard_factor(confidence: float) -> float:
    """Guard band in standard uncertainties for a one-sided confidence.

    Args:
        confidence: between 0.5 and 1, e.g. 0.95.

    Raises:
        ValueError: out of range.

    Source: normal quantile; ISO 14253-1:2017 (95 %).

    >>> round(compute_guard_factor(0.95), 4)
    1.6449
    """
    if check_share(confidence, "confidence") < 0.5:
        raise ValueError(f"confidence is {confidence:g}; a guard band below 50 % would be negative")
    return float(find_normal_quantile(confidence))


@dataclass(frozen=True, slots=True)
class SharedRisks:
    """Chances over a whole run of parts, when the process is known.

    Attributes:
        consumer: a part is outside and accepted.
        producer: a part is inside and not accepted.
        accepted: a part is accepted at all.
    """

    consumer: float
    producer: float
    accepted: float


def compute_run_risks(
    process_mean: float,
    process_sd: float,
    standard_u: float,
    lower: float | None,
    upper: float | None,
    guard_factor: float = GUARD_95_ONE_SIDED,
) -> SharedRisks:
    """Consumer's and producer's risk over a run of parts from a known normal process.

    Args:
        process_mean: mean of the true values.
        process_sd: their standard deviation, above zero.
        standard_u: standard uncertainty of each measurement, above zero.
        lower: lower limit or None.
        upper: upper limit or None.
        guard_factor: as `decide_conformity`.

    Raises:
        ValueError: as `decide_conformity`.

    Source: JCGM 106:2012, 9.5 (global risks), by Gauss-Legendre quadrature over the true value.

    >>> risks = compute_run_risks(0.0, 0.5, 0.125, -1.0, 1.0, guard_factor=0)
    >>> round(risks.consumer, 4), round(risks.producer, 4)
    (0.008, 0.0149)
    """
    low, high = check_limits(lower, upper)
    sd = check_number(process_sd, "process standard deviation", above=0)
    u = check_number(standard_u, "standard uncertainty", above=0)
    edges = _find_acceptance(check_number(guard_factor, "guard factor", least=0) * u, low, high)
    inside = compute_conformance_probability(process_mean, sd, low, high)
    if edges is None:
        return SharedRisks(0.0, inside, 0.0)
    accepted = (
        compute_conformance_probability(process_mean, float(np.hypot(sd, u)), *edges) if edges[0] != edges[1] else 0.0
    )
    both = _integrate_both(process_mean, sd, u, (low, high), edges)
    return SharedRisks(max(accepted - both, 0.0), max(inside - both, 0.0), accepted)


def _integrate_both(
    mean: float,
    sd: float,
    u: float,
    limits: tuple[float | None, float | None],
    edges: tuple[float | None, float | None],
) -> float:
    """Chance of being inside and accepted."""
    start = mean - 9 * sd if limits[0] is None else max(limits[0], mean - 9 * sd)
    stop = mean + 9 * sd if limits[1] is None else min(limits[1], mean + 9 * sd)
    if start >= stop:
        return 0.0
    nodes, weights = np.polynomial.legendre.leggauss(40)
    cuts = np.linspace(start, stop, 41)
    half = np.diff(cuts)[:, None] / 2
    true = cuts[:-1, None] + half + half * nodes
    reach = np.ones_like(true)
    if edges[0] is not None:
        reach = reach - compute_normal_below((edges[0] - true) / u)
    if edges[1] is not None:
        reach = reach - compute_normal_above((edges[1] - true) / u)
    return float(np.sum(half * weights * compute_normal_density(true, mean, sd) * np.maximum(reach, 0.0)))
