"""How long things take when some are not finished yet: the product-limit (Kaplan-Meier) estimate.

Leaving open items out makes every stage look quicker than it is, because the slow ones are those still open. Here an
open item counts as long as it has lasted: it says "longer than this". Pure numpy.

Source: E. L. Kaplan and P. Meier, Nonparametric estimation from incomplete observations, JASA 53 (1958) 457-481;
variance by M. Greenwood (1926); confidence of a quantile by R. Brookmeyer and J. Crowley, Biometrics 38 (1982) 29-41.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalCurve:
    """A product-limit estimate. One row for each distinct duration at which something finished, ascending; all arrays
    have that shape. `times` in the unit of the durations; `at_risk` how many had lasted at least until then;
    `finished` how many finished then; `survival` the share that lasts longer; `variance` Greenwood's variance of it.
    `items`, `open_items`: how many durations there were and how many of them were open; `longest` is the longest
    duration of any item, open ones included. `tail_rate`: finishes per unit of age among items older than half of the
    finishes (0 if nothing finished). It carries the curve on where there are no data (exponential rate: events over
    exposure; carrying on with it: common practice, no source).
    """

    times: FloatArray
    at_risk: FloatArray
    finished: FloatArray
    survival: FloatArray
    variance: FloatArray
    items: int
    open_items: int
    longest: float
    tail_rate: float


def compute_survival(
    durations: Sequence[float], is_finished: Sequence[bool], entered: Sequence[float] | None = None
) -> SurvivalCurve:
    """The product-limit estimate of how long items last.

    durations: age at the finish, or today's age of an item still open; each >= 0, any one unit. is_finished: whether
    the item finished (False: open, a censored duration). entered: the age at which each item came under observation (0
    if from the start; an item whose early life was not recorded enters late), each < its duration. All of one length n
    >= 0; with no items the curve is empty. Raises ValueError for other lengths, negative or non-finite numbers. Ties:
    what finishes at an age counts as at risk at that age, and so does what is censored then.

    Source: Kaplan and Meier 1958; Greenwood 1926; late entry (left truncation): common practice (no source).

    >>> curve = compute_survival([3, 5, 5, 8], [True, True, False, False])
    >>> [round(float(share), 4) for share in curve.survival]
    [0.75, 0.5]
    """
    ages, done, starts = _check_durations(durations, is_finished, entered)
    times = np.unique(ages[done])
    at_risk = np.array(
        [np.count_nonzero((ages >= time) & (starts < time + _at_zero(time))) for time in times], dtype=float
    )
    finished = np.array([np.count_nonzero(done & (ages == time)) for time in times], dtype=float)
    survival = np.cumprod(1.0 - finished / at_risk) if times.size else np.empty(0)
    return SurvivalCurve(
        times,
        at_risk,
        finished,
        survival,
        _compute_greenwood(at_risk, finished, survival),
        ages.size,
        int(np.count_nonzero(~done)),
        float(ages.max()) if ages.size else 0.0,
        _compute_tail_rate(ages, done, starts),
    )


def _at_zero(time: float) -> float:
    """At age 0 an item that entered at 0 is at risk, though it has not entered before."""
    return 1.0 if time == 0.0 else 0.0


def _check_durations(
    durations: Sequence[float], is_finished: Sequence[bool], entered: Sequence[float] | None
) -> tuple[FloatArray, NDArray[np.bool_], FloatArray]:
    ages = np.asarray(durations, dtype=float)
    done = np.asarray(is_finished, dtype=bool)
    starts = np.zeros(ages.shape) if entered is None else np.asarray(entered, dtype=float)
    if ages.ndim != 1 or done.shape != ages.shape or starts.shape != ages.shape:
        raise ValueError(
            f"lists of one length are needed: {ages.shape} durations, {done.shape} ends, {starts.shape} entries"
        )
    if not (np.isfinite(ages).all() and np.isfinite(starts).all()) or (ages < 0).any() or (starts < 0).any():
        raise ValueError("a duration or an entry is negative or not a number: both are ages of 0 or more")
    if ((starts >= ages) & (starts > 0)).any():
        raise ValueError("an item enters at or after its own end: leave out items that were never observed")
    return ages, done, starts


def _compute_greenwood(at_risk: FloatArray, finished: FloatArray, survival: FloatArray) -> FloatArray:
    """Greenwood's variance; 0 once nothing is left."""
    left = at_risk - finished
    terms = np.divide(finished, at_risk * left, out=np.zeros_like(at_risk), where=left > 0)
    variance: FloatArray = survival**2 * np.cumsum(terms)
    return variance


def compute_share_lasting(curve: SurvivalCurve, age: float) -> float:
    """The estimated share of items that last longer than `age` (1 before the first finish; after the last one the last
    estimate, which only says "at most that" if open items are older).

    Source: Kaplan and Meier 1958.

    >>> compute_share_lasting(compute_survival([3, 5, 5, 8], [True, True, False, False]), 4)
    0.75
    """
    place = int(np.searchsorted(curve.times, age, side="right"))
    return 1.0 if place == 0 else float(curve.survival[place - 1])


def compute_quantile(curve: SurvivalCurve, share: float) -> float | None:
    """The age by which `share` (0 < share < 1) of the items have finished: the first at which the estimate falls to 1
    - share or below. None while too few have finished to tell. Raises ValueError for a share outside (0, 1).

    Source: Kaplan and Meier 1958; Brookmeyer and Crowley 1982 for the convention of the first crossing.

    >>> compute_quantile(compute_survival([3, 5, 5, 8], [True, True, False, False]), 0.5)
    5.0
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"share is {share}: it must lie between 0 and 1")
    return _find_crossing(curve.times, curve.survival, 1.0 - share)


def _find_crossing(times: FloatArray, survival: FloatArray, level: float) -> float | None:
    below = np.flatnonzero(survival <= level + _ROUNDING)
    return float(times[below[0]]) if below.size else None


def compute_band(curve: SurvivalCurve, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Pointwise lower and upper confidence limits of `curve.survival`, on the scale of log(-log S), which keeps them
    within 0 and 1. Where the estimate is 0 both limits are 0. Raises ValueError for a confidence outside (0, 1).

    Source: J. D. Kalbfleisch and R. L. Prentice, The Statistical Analysis of Failure Time Data (1980), section 1.4,
    with Greenwood's variance.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}: it must lie between 0 and 1")
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    inner = (curve.survival > 0.0) & (curve.survival < 1.0)
    lower, upper = curve.survival.copy(), curve.survival.copy()
    shares = curve.survival[inner]
    width = z * np.sqrt(curve.variance[inner]) / (shares * np.abs(np.log(shares)))
    lower[inner], upper[inner] = shares ** np.exp(width), shares ** np.exp(-width)
    return lower, upper


def compute_quantile_interval(
    curve: SurvivalCurve, share: float, confidence: float = 0.95
) -> tuple[float | None, float | None]:
    """Confidence limits of `compute_quantile`: the ages at which the band crosses 1 - share. A limit is None where the
    band does not come down that far.

    Source: Brookmeyer and Crowley 1982, with the log(-log) band.
    """
    if not 0.0 < share < 1.0:
        raise ValueError(f"share is {share}: it must lie between 0 and 1")
    lower, upper = compute_band(curve, confidence)
    return _find_crossing(curve.times, lower, 1.0 - share), _find_crossing(curve.times, upper, 1.0 - share)


def _compute_tail_rate(ages: FloatArray, done: NDArray[np.bool_], starts: FloatArray) -> float:
    """Events over exposure beyond the median age of the finishes: the maximum-likelihood rate of an exponential tail.
    Where nothing finished beyond it, the rate over all ages; 0 where nothing finished at all."""
    if not done.any():
        return 0.0
    middle = float(np.median(ages[done]))
    for start in (middle, 0.0):
        late = np.count_nonzero(done & (ages > start))
        exposure = float(np.sum(np.clip(ages - np.maximum(starts, start), 0.0, None)))
        if late and exposure > 0.0:
            return late / exposure
    return float("inf")
