"""Whether one more loop of prototype and check pays: exposure, net gain, the chance of it, what is left afterwards."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.costing.bounds import check_count, check_not_negative, check_probability
from pipeline.costing.errors_left import FailureMode, Remaining, compute_counts

_MOST_CASES = 50_000  # more combinations of counts than this are simulated, not added up


@dataclass(frozen=True)
class Stake:
    """One mode at stake: what is left of it, and what one error costs late and now.

    Attributes:
        remaining: errors left.
        late: money for one error found in tooling (first article), weeks of delay included.
        now: money for the same error found and corrected before tooling.

    Raises:
        ValueError: negative money.
    """

    remaining: Remaining
    late: float
    now: float

    def __post_init__(self) -> None:
        check_not_negative(self.late, "the cost of an error found late")
        check_not_negative(self.now, "the cost of an error found now")

    @property
    def saving(self) -> float:
        """Money saved by one error found now; zero where correcting now is no cheaper (then it is left)."""
        return max(0.0, self.late - self.now)


@dataclass(frozen=True)
class Loop:
    """One more loop, or any other piece of evidence that can be bought before tooling.

    Attributes:
        name: for people.
        direct: money: prototype, hours, hire.
        weeks: how long it holds up the part.
        week_cost: money lost by a week of delay.
        powers: for each mode it can see, chance to find an error that is left (detection x coverage).

    Raises:
        ValueError: negative money or weeks, a chance outside 0..1.
    """

    name: str
    direct: float
    weeks: float
    week_cost: float
    powers: Mapping[FailureMode, float]

    def __post_init__(self) -> None:
        check_not_negative(self.direct, f'the price of "{self.name}"')
        check_not_negative(self.weeks, f'the weeks of "{self.name}"')
        check_not_negative(self.week_cost, "the cost of a week of delay")
        for mode, chance in self.powers.items():
            check_probability(chance, f'the chance of "{self.name}" to find an error of {mode.value}')

    @property
    def price(self) -> float:
        """All that it costs: direct + weeks x week_cost."""
        return self.direct + self.weeks * self.week_cost


Stakes = Mapping[FailureMode, Stake]


@dataclass(frozen=True)
class ModeGain:
    """What a loop is expected to find of one mode, and the money that this saves (0 for a mode it cannot see)."""

    mode: FailureMode
    left: float
    found: float
    saved: float


@dataclass(frozen=True)
class LoopResult:
    """The answer for one loop. All money unrounded, in the workspace currency.

    Attributes:
        name, price, weeks: of the loop.
        modes: a line for each mode at stake.
        commit_now: expected cost of the errors left if tooling is ordered now.
        loop_then_commit: expected cost with the loop first: its price, what it finds now, what it misses late.
        net: commit_now - loop_then_commit; above zero it pays on average.
        perfect: the most that any loop of any power could save, before its price; `net` + `price` never exceeds it.
        chance_pays: chance that what this one loop finds is worth more than its price.
        longest_weeks: the longest delay at which it still pays; None where it does not pay even with no delay,
            infinite where a week costs nothing and it pays.
    """

    name: str
    price: float
    weeks: float
    modes: tuple[ModeGain, ...]
    commit_now: float
    loop_then_commit: float
    net: float
    perfect: float
    chance_pays: float
    longest_weeks: float | None

    @property
    def pays(self) -> bool:
        """Whether the loop pays on average."""
        return self.net > 0

    @property
    def gain_per_money(self) -> float | None:
        """Net gain for each unit of money spent; None where it costs nothing."""
        return self.net / self.price if self.price > 0 else None

    @property
    def gain_per_week(self) -> float | None:
        """Net gain for each week of delay; None where it takes no time."""
        return self.net / self.weeks if self.weeks > 0 else None


def compute_exposure(stakes: Stakes) -> float:
    """What is still at stake: sum over modes of errors left x (cost if found in tooling - cost if found now).

    Errors that are no cheaper to correct now add nothing.

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> compute_exposure(stakes)
    4250.0
    """
    return math.fsum(stake.remaining.mean * stake.saving for stake in stakes.values())


def compute_loop(stakes: Stakes, loop: Loop, seed: int = 0, draws: int = 100_000) -> LoopResult:
    """Whether one more loop pays.

    The saving is the expected value of sample information where each error that is left is found with a known chance
    and corrected only if that is cheaper than leaving it; it needs no simulation. The chance that it pays is added up
    exactly over the counts that do not pay, or simulated with the seed where there are over 50,000 of those.

    Args:
        stakes: what is left and what it costs, by mode.
        seed, draws: for the simulation only.

    Raises:
        ValueError: draws below 1.

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> result = compute_loop(stakes, Loop("print and fit", 2_000, 2, 300, {FailureMode.FIT: 0.8}))
    >>> round(result.net, 2), round(result.chance_pays, 4), round(result.longest_weeks, 2)
    (800.0, 0.1667, 4.67)
    """
    modes = list_gains(stakes, loop)
    saved = math.fsum(gain.saved for gain in modes)
    commit = math.fsum(stake.remaining.mean * stake.late for stake in stakes.values())
    return LoopResult(
        name=loop.name,
        price=loop.price,
        weeks=loop.weeks,
        modes=modes,
        commit_now=commit,
        loop_then_commit=commit - saved + loop.price,
        net=saved - loop.price,
        perfect=compute_exposure(stakes),
        chance_pays=compute_chance_pays(stakes, loop, seed, draws),
        longest_weeks=_find_longest(saved, loop),
    )


def list_gains(stakes: Stakes, loop: Loop) -> tuple[ModeGain, ...]:
    """What the loop is expected to find and save, by mode at stake.

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> list_gains(stakes, Loop("print", 0, 0, 0, {FailureMode.FIT: 0.8}))[0].saved
    3400.0
    """
    rows = []
    for mode in FailureMode:
        if mode in stakes:
            left = stakes[mode].remaining.mean
            found = left * loop.powers.get(mode, 0.0)
            rows.append(ModeGain(mode, left, found, found * stakes[mode].saving))
    return tuple(rows)


def _find_longest(saved: float, loop: Loop) -> float | None:
    if saved <= loop.direct:
        return None
    return (saved - loop.direct) / loop.week_cost if loop.week_cost > 0 else math.inf


def compute_chance_pays(stakes: Stakes, loop: Loop, seed: int = 0, draws: int = 100_000) -> float:
    """Chance that what the loop finds saves more than its price.

    Found errors of a mode are negative binomial (the Gamma-Poisson of what is left, thinned by the loop's chance).

    Args:
        seed, draws: used only where the counts are too many to add up.

    Raises:
        ValueError: draws below 1.

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> compute_chance_pays(stakes, Loop("blind", 100, 0, 0, {}))
    0.0
    """
    check_count(draws, "the number of draws", least=1)
    seen = [
        (stakes[mode].remaining, stakes[mode].saving, loop.powers[mode])
        for mode in FailureMode
        if mode in stakes and stakes[mode].saving > 0 and loop.powers.get(mode, 0.0) * stakes[mode].remaining.miss > 0
    ]
    limits = [min(_find_reach(left, power), loop.price / saving) for left, saving, power in seen]
    counts = [math.floor(limit) + 1 for limit in limits]
    if math.prod(count + 1 for count in counts) > _MOST_CASES:
        return _simulate_chance(seen, loop.price, seed, draws)
    return min(1.0, max(0.0, 1 - _add_up_losing(seen, counts, loop.price))) if seen else 0.0


_Seen = Sequence[tuple[Remaining, float, float]]


def _find_reach(left: Remaining, power: float) -> float:
    """A number of found errors that is as good as never exceeded: mean + 100 standard deviations + 20."""
    share = left.miss * power
    mean = share * left.shape / left.weight
    return mean + 100 * math.sqrt(mean * (1 + share / left.weight)) + 20


def _add_up_losing(seen: _Seen, limits: Sequence[int], price: float) -> float:
    """P(sum of savings <= price), over every combination of counts that can stay within the price."""
    money = np.zeros(1)
    chance = np.ones(1)
    for (left, saving, power), limit in zip(seen, limits, strict=True):
        counts = np.arange(limit + 1)
        chances = compute_counts(left.shape, left.weight, left.miss * power, limit)
        money = (money[:, None] + saving * counts).ravel()
        chance = (chance[:, None] * chances).ravel()
    return float(chance[money <= price].sum())


def _simulate_chance(seen: _Seen, price: float, seed: int, draws: int) -> float:
    rng = np.random.default_rng(seed)
    money = np.zeros(draws)
    for left, saving, power in seen:
        share = left.miss * power
        money += saving * rng.negative_binomial(left.shape, left.weight / (left.weight + share), draws)
    return float(np.mean(money > price))


def compute_after(remaining: Remaining, power: float, found: int = 0) -> Remaining:
    """What is left after a loop of this power found (and corrected) `found` errors of the mode.

    Args:
        power: detection x coverage of the loop, 0..1.

    Raises:
        ValueError: power outside 0..1; errors found by a loop that cannot see them.

    >>> round(compute_after(Remaining(1, 4, 1.0), 0.8).mean, 5)
    0.04167
    """
    check_probability(power, "the chance of a loop to find an error")
    check_count(found, "the number of errors found")
    if found and power == 0:
        raise ValueError(f"{found} errors were found by a loop that cannot see them; 0 is all that it can find")
    missed = remaining.miss * (1 - power)
    return Remaining(remaining.shape + found, remaining.weight + remaining.miss - missed, missed)


def compute_stakes_after(stakes: Stakes, loop: Loop, found: Mapping[FailureMode, int] | None = None) -> Stakes:
    """The stakes after a loop was made, with what it found by mode (nothing, if not given: a clean loop).

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> after = compute_stakes_after(stakes, Loop("print", 0, 0, 0, {FailureMode.FIT: 0.8}))
    >>> round(after[FailureMode.FIT].remaining.chance_of_none, 2)
    0.96
    """
    counts = {} if found is None else found
    return {
        mode: replace(stake, remaining=compute_after(stake.remaining, loop.powers.get(mode, 0.0), counts.get(mode, 0)))
        for mode, stake in stakes.items()
    }


def compute_net(stakes: Stakes, loop: Loop) -> float:
    """Net gain of a loop: what it is expected to save, less its price.

    >>> stakes = {FailureMode.FIT: Stake(Remaining(1, 4, 1.0), late=20_000, now=3_000)}
    >>> compute_net(stakes, Loop("print and fit", 2_000, 2, 300, {FailureMode.FIT: 0.8}))
    800.0
    """
    return math.fsum(gain.saved for gain in list_gains(stakes, loop)) - loop.price
