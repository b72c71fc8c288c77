"""Is the instrument good enough for the tolerance? Test uncertainty ratio, and what would do instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.measuring.instruments import COMMON_INSTRUMENTS, FeatureShape, Instrument, find_instruments
from pipeline.measuring.points import check_number
from pipeline.measuring.verdict import check_limits

WANTED = 10.0  # common practice, no source
LEAST = 4.0  # common practice, no source


class RatioState(StrEnum):
    """How a test uncertainty ratio stands against what is wanted and what is least."""

    GOOD = "good"
    ENOUGH = "enough"
    TOO_SMALL = "too small"


@dataclass(frozen=True, slots=True)
class RatioCheck:
    """A test uncertainty ratio and what follows from it.

    Attributes:
        method: which ratio this is; there are several in use.
        ratio: the ratio.
        state: good, enough or too small.
        wanted: ratio wanted.
        least: smallest ratio accepted.
        expanded_u_mm: expanded uncertainty of the measurement.
        needed_u_mm: largest expanded uncertainty that reaches the least ratio.
        instead: ways to measure that reach the least ratio, plainest first; empty when the state is good.
        sentence: all that in words.
    """

    method: str
    ratio: float
    state: RatioState
    wanted: float
    least: float
    expanded_u_mm: float
    needed_u_mm: float
    instead: tuple[Instrument, ...]
    sentence: str


def check_test_ratio(
    expanded_u_mm: float,
    lower: float | None,
    upper: float | None,
    nominal: float | None = None,
    shape: FeatureShape | None = None,
    size_mm: float | None = None,
    wanted: float = WANTED,
    least: float = LEAST,
    instruments: Sequence[Instrument] = COMMON_INSTRUMENTS,
) -> RatioCheck:
    """Compare the tolerance with the expanded uncertainty.

    With two limits the ratio is the whole tolerance over twice the expanded uncertainty; with one limit it is the
    distance from the nominal to that limit over the expanded uncertainty. Both are half the tolerance over U when the
    nominal is in the middle.

    Args:
        expanded_u_mm: expanded uncertainty at 95 %, above zero.
        lower: lower limit or None.
        upper: upper limit or None.
        nominal: needed when only one limit is given.
        shape: what is measured, for the list of ways that would do instead.
        size_mm: its size for the same; the larger limit by default.
        wanted: ratio wanted.
        least: smallest ratio accepted, not above ``wanted``.
        instruments: what the shop can turn to.

    Raises:
        ValueError: no limits, equal limits, one limit without a nominal or with the nominal on it, or a value out of
            range.

    Source: ratio of tolerance to uncertainty as in ANSI/NCSL Z540.3 (two limits, 4:1); 10:1 is common practice (no
    source).

    >>> check = check_test_ratio(0.036, 112.15, 112.65, shape=FeatureShape.OUTSIDE, size_mm=112.4)
    >>> round(check.ratio, 1), check.state.value
    (6.9, 'enough')
    """
    low, high = check_limits(lower, upper)
    u = check_number(expanded_u_mm, "expanded uncertainty", above=0)
    _check_ratios(wanted, least)
    room, method = _find_room(low, high, nominal)
    ratio = room / u
    state = _find_state(ratio, wanted, least)
    if size_mm is None:
        size_mm = max(abs(edge) for edge in (low, high, nominal) if edge is not None)
    instead: tuple[Instrument, ...] = ()
    if shape is not None and state is not RatioState.GOOD:
        goal = wanted if state is RatioState.ENOUGH else least
        instead = find_instruments(shape, size_mm, room / goal, instruments)
    return RatioCheck(
        method, ratio, state, wanted, least, u, room / least, instead, _word(ratio, state, wanted, least, room, instead)
    )


def _check_ratios(wanted: float, least: float) -> None:
    check_number(least, "least ratio", above=0)
    if check_number(wanted, "wanted ratio", above=0) < least:
        raise ValueError(f"the wanted ratio {wanted:g} is below the least ratio {least:g}; exchange them")


def _find_room(low: float | None, high: float | None, nominal: float | None) -> tuple[float, str]:
    """Half the tolerance, or the one side of it, and the ratio's name."""
    if low is not None and high is not None:
        return (high - low) / 2, "tolerance over twice the expanded uncertainty"
    if nominal is None:
        raise ValueError("one limit only: give the nominal too, or the tolerance has no width to compare with")
    edge = high if high is not None else low
    room = abs((0.0 if edge is None else edge) - check_number(nominal, "nominal"))
    if room == 0:
        raise ValueError(f"the nominal lies on the only limit {edge:g}; a tolerance of zero cannot be proved")
    return room, "distance from nominal to the one limit over the expanded uncertainty"


def _find_state(ratio: float, wanted: float, least: float) -> RatioState:
    """State of a ratio; a ratio equal to a bound, but for rounding, has reached it."""
    if ratio >= wanted * (1 - 1e-12):
        return RatioState.GOOD
    return RatioState.ENOUGH if ratio >= least * (1 - 1e-12) else RatioState.TOO_SMALL


def _word(
    ratio: float, state: RatioState, wanted: float, least: float, room: float, instead: tuple[Instrument, ...]
) -> str:
    opening = f"The tolerance is {ratio:.1f} times the measuring uncertainty"
    if state is RatioState.GOOD:
        return f"{opening}; {wanted:g} is wanted."
    goal = wanted if state is RatioState.ENOUGH else least
    need = "enough, though" if state is RatioState.ENOUGH else "too little: at least"
    ways = ", ".join(way.name for way in instead) if instead else "none in the list of instruments"
    return f"{opening}; {need} {goal:g} is wanted. U of {room / goal:.3g} mm or less would do: {ways}."
