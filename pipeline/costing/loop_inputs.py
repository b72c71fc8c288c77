"""What turns the answer of the loop decision: break-even and sensitivity of every input, value of information."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.costing.bounds import check_count, check_finite, check_probability
from pipeline.costing.information import Decision
from pipeline.costing.loop import Loop, ModeGain, Stake, Stakes, compute_net, list_gains


@dataclass(frozen=True)
class LoopInput:
    """One input of the loop decision: the net gain is a straight line in it, and flat outside least..most.

    Attributes:
        label: which input, in words; the key for spans of a sensitivity.
        unit: "errors", "chance", "money", "weeks" or "money a week".
        value: as it stands.
        least, most: range in which it changes the net gain.
        base, slope: net gain = base + slope x value.
    """

    label: str
    unit: str
    value: float
    least: float
    most: float
    base: float
    slope: float

    def compute_net(self, value: float) -> float:
        """Net gain with this input at another value, all else as it stands.

        Raises:
            ValueError: value negative or not finite, or a chance above 1.
        """
        check_finite(value, self.label)
        if value < 0 or (self.unit == "chance" and value > 1):
            wanted = "0 to 1" if self.unit == "chance" else "0 or more"
            raise ValueError(f"{self.label} of {value:g} is impossible; {wanted} is wanted")
        return self.base + self.slope * min(max(value, self.least), self.most)

    @property
    def turns_at(self) -> float | None:
        """The value at which the net gain is zero, all else as it stands; None where no possible value does it."""
        if self.slope == 0:
            return None
        turns = -self.base / self.slope
        return turns if self.least <= turns <= self.most and math.isfinite(turns) else None


def list_inputs(stakes: Stakes, loop: Loop) -> tuple[LoopInput, ...]:
    """Every input of the decision, with the value at which it would turn the answer (`turns_at`). Exact.

    >>> from pipeline.costing.errors_left import FailureMode, Remaining
    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> rows = list_inputs(stakes, Loop("print and fit", 2_000, 2, 300, {FailureMode.FIT: 0.8}))
    >>> [(row.label, round(row.turns_at, 4)) for row in rows if row.unit in ("errors", "weeks")]
    [('errors of fit left', 0.1912), ('weeks of the loop', 4.6667)]
    """
    net = compute_net(stakes, loop)
    rows = [row for gain in list_gains(stakes, loop) for row in _list_mode(stakes[gain.mode], loop, gain, net)]
    saved = net + loop.price
    undelayed = saved - loop.direct
    rows.append(_build_input("price of the loop", "money", loop.direct, saved - loop.weeks * loop.week_cost, -1.0))
    rows.append(_build_input("weeks of the loop", "weeks", loop.weeks, undelayed, -loop.week_cost))
    rows.append(_build_input("cost of a week of delay", "money a week", loop.week_cost, undelayed, -loop.weeks))
    return tuple(rows)


def _build_input(
    label: str, unit: str, value: float, base: float, slope: float, least: float = 0.0, most: float = math.inf
) -> LoopInput:
    return LoopInput(label, unit, value, least, most, base, slope)


def _list_mode(stake: Stake, loop: Loop, gain: ModeGain, net: float) -> list[LoopInput]:
    power, name, others = loop.powers.get(gain.mode, 0.0), gain.mode.value, net - gain.saved
    late_base, now_base = others - gain.found * stake.now, others + gain.found * stake.late
    return [
        _build_input(f"errors of {name} left", "errors", gain.left, others, power * stake.saving),
        _build_input(f"chance to find an error of {name}", "chance", power, others, gain.left * stake.saving, most=1.0),
        _build_input(
            f"cost of an error of {name} found late", "money", stake.late, late_base, gain.found, least=stake.now
        ),
        _build_input(
            f"cost of an error of {name} found now", "money", stake.now, now_base, -gain.found, most=stake.late
        ),
    ]


@dataclass(frozen=True)
class Swing:
    """One bar of a sensitivity drawing: the net gain with one input at its low and at its high end."""

    label: str
    unit: str
    low: float
    high: float
    net_low: float
    net_high: float
    turns_at: float | None

    @property
    def width(self) -> float:
        """How far the net gain moves."""
        return abs(self.net_high - self.net_low)

    @property
    def turns_inside(self) -> bool:
        """Whether the answer turns between low and high."""
        return (self.net_low > 0) != (self.net_high > 0)


def compute_swings(stakes: Stakes, loop: Loop, spans: Mapping[str, tuple[float, float]]) -> tuple[Swing, ...]:
    """Bars for a sensitivity drawing, the widest first; equal ones by label.

    Args:
        spans: for each input's label, its low and high end in the input's own unit.

    Raises:
        ValueError: a label that is no input, low above high, or an impossible value.

    >>> from pipeline.costing.errors_left import FailureMode, Remaining
    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> bars = compute_swings(stakes, Loop("print and fit", 2_000, 2, 300, {FailureMode.FIT: 0.8}),
    ...                       {"weeks of the loop": (1, 6), "errors of fit left": (0.1, 0.5)})
    >>> [(bar.label, round(bar.net_low), round(bar.net_high), bar.turns_inside) for bar in bars]
    [('errors of fit left', -1240, 4200, True), ('weeks of the loop', 1100, -400, True)]
    """
    inputs = {row.label: row for row in list_inputs(stakes, loop)}
    bars = []
    for label, (low, high) in spans.items():
        if label not in inputs:
            raise ValueError(f'"{label}" is no input of this decision; its inputs are {", ".join(inputs)}')
        if low > high:
            raise ValueError(f"{label}: low {low:g} is above high {high:g}")
        row = inputs[label]
        bars.append(Swing(label, row.unit, low, high, row.compute_net(low), row.compute_net(high), row.turns_at))
    return tuple(sorted(bars, key=lambda bar: (-bar.width, bar.label)))


@dataclass(frozen=True)
class Curve:
    """Net gain against one input, for a drawing: two arrays of one length as tuples."""

    label: str
    unit: str
    values: tuple[float, ...]
    nets: tuple[float, ...]
    turns_at: float | None


def compute_curve(loop_input: LoopInput, low: float, high: float, points: int = 41) -> Curve:
    """Net gain against one input from low to high, evenly spaced.

    Args:
        loop_input: a row of `list_inputs`.
        points: how many, 2 or more.

    Raises:
        ValueError: low not below high, too few points, or an impossible value.

    >>> row = LoopInput("weeks of the loop", "weeks", 2.0, 0.0, math.inf, 1_400.0, -300.0)
    >>> compute_curve(row, 0, 6, points=3).nets
    (1400.0, 500.0, -400.0)
    """
    check_count(points, "the number of points", least=2)
    if not low < high:
        raise ValueError(f"{loop_input.label}: low {low:g} is not below high {high:g}")
    values = tuple(float(value) for value in np.linspace(low, high, points))
    nets = tuple(loop_input.compute_net(value) for value in values)
    return Curve(loop_input.label, loop_input.unit, values, nets, loop_input.turns_at)


def build_decision(stake: Stake, power: float, most: int = 40) -> tuple[Decision, tuple[tuple[float, ...], ...]]:
    """One mode of the loop as a general decision, so that the general value of information can be taken of it.

    A state is a pair (errors that the loop would find, errors that it would miss). Two actions: leave everything,
    which costs `late` for every error; correct what was found, which costs `now` for those and cannot be done unseen.
    Counts above `most` errors are taken as none, so `most` must be well above the mean.

    Args:
        power: chance to find each error, 0..1; 1 for perfect information.

    Returns:
        The decision, and the likelihood of each count found (row) in each state (column).

    Raises:
        ValueError: power outside 0..1, or `most` negative.

    >>> from pipeline.costing.errors_left import FailureMode, Remaining
    >>> from pipeline.costing.information import compute_sample_information
    >>> decision, likelihood = build_decision(Stake(Remaining(1, 4, 1.0), 20_000, 3_000), 0.8)
    >>> round(compute_sample_information(decision, likelihood).gain, 6)
    3400.0
    """
    check_probability(power, "the chance of a loop to find an error")
    pairs = [(found, total - found) for total in range(most + 1) for found in range(total + 1)]
    prior = _pair_chances(stake.remaining.compute_chances(most), pairs, power)
    leave = tuple(-stake.late * (found + missed) for found, missed in pairs)
    correct = tuple(-stake.now * found - stake.late * missed for found, missed in pairs)
    likelihood = tuple(tuple(float(found == count) for found, _ in pairs) for count in range(most + 1))
    return Decision(prior, (leave, correct), needs_test=(1,)), likelihood


def _pair_chances(left: np.ndarray, pairs: Sequence[tuple[int, int]], power: float) -> tuple[float, ...]:
    """Chance of each pair: errors left, each found with chance `power` (binomial); the tail goes to none left."""
    chances = [
        float(left[found + missed]) * math.comb(found + missed, found) * power**found * (1 - power) ** missed
        for found, missed in pairs
    ]
    return (chances[0] + max(0.0, 1 - math.fsum(chances)), *chances[1:])
