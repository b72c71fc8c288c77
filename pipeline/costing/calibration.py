"""Predicted against actual: the shop's own factors for tool changes, shrunk where cases are few, and its own ratios."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist

from pipeline.costing.bounds import check_positive, check_probability

RULE_OF_TEN = 10.0
"""Folk rule: an error costs ten times as much at each further stage. Common practice (no source); not data."""


@dataclass(frozen=True)
class ChangeCase:
    """One recorded change.

    Attributes:
        tool_kind, change_class: what was changed and how, e.g. "die-cast-die" and "weld".
        predicted, actual: money or weeks, both above zero; cases of one call are all of one measure.
        record: where it is recorded, for people.
        measure: what was foretold, for people: its cost, or its weeks.

    Raises:
        ValueError: predicted or actual not above zero.
    """

    tool_kind: str
    change_class: str
    predicted: float
    actual: float
    record: str = ""
    measure: str = "cost"

    def __post_init__(self) -> None:
        check_positive(self.predicted, f"the predicted {self.measure} of a change")
        check_positive(self.actual, f"the actual {self.measure} of a change")

    @property
    def log_ratio(self) -> float:
        """Natural logarithm of actual / predicted."""
        return math.log(self.actual / self.predicted)


@dataclass(frozen=True)
class Belief:
    """How far the defaults are trusted, as standard deviations of log(actual / predicted).

    Attributes:
        between_sd: how far a shop's own mean may lie from the default, before any case of its own.
        within_sd: how much single changes of one kind scatter about their mean.
        within_cases: how many cases `within_sd` counts for when the shop's own scatter is mixed in.

    Raises:
        ValueError: not above zero.
    """

    between_sd: float
    within_sd: float
    within_cases: float

    def __post_init__(self) -> None:
        check_positive(self.between_sd, "the spread between shops")
        check_positive(self.within_sd, "the scatter of single changes")
        check_positive(self.within_cases, "the number of cases that the scatter counts for")


@dataclass(frozen=True)
class ShopFactor:
    """What the default for one tool kind and change class is to be multiplied with.

    Attributes:
        cases: how many recorded changes.
        raw: geometric mean of actual / predicted; None without cases.
        factor: the same, shrunk towards 1 when cases are few.
        low, high: interval of the factor.
        next_low, next_high: interval of a single next change, its own scatter included.
    """

    tool_kind: str
    change_class: str
    cases: int
    raw: float | None
    factor: float
    low: float
    high: float
    next_low: float
    next_high: float


def compute_scatter(cases: Sequence[ChangeCase], belief: Belief) -> float:
    """Scatter of single changes about the mean of their kind: the default and the shop's own, pooled by their weight.

    Returns:
        Standard deviation of log(actual / predicted).

    >>> compute_scatter([], Belief(0.3, 0.4, 5))
    0.4
    """
    groups: dict[tuple[str, str], list[float]] = {}
    for case in cases:
        groups.setdefault((case.tool_kind, case.change_class), []).append(case.log_ratio)
    squares, freedom = belief.within_cases * belief.within_sd**2, belief.within_cases
    for ratios in groups.values():
        mean = math.fsum(ratios) / len(ratios)
        squares += math.fsum((ratio - mean) ** 2 for ratio in ratios)
        freedom += len(ratios) - 1
    return math.sqrt(squares / freedom)


def compute_shop_factor(
    cases: Sequence[ChangeCase], belief: Belief, tool_kind: str, change_class: str, level: float = 0.9
) -> ShopFactor:
    """The shop's factor for one tool kind and change class.

    log(actual / predicted) of a kind is normal about the kind's mean, and the mean is normal about 0 (factor 1) with
    `between_sd`: mean = n / (n + scatter^2 / between^2) x the cases' own mean. Normal quantiles are used throughout,
    so with few cases of its own scatter the interval rests on the belief.
    Source: normal-normal shrinkage, A. Gelman and others, Bayesian Data Analysis, 3rd edition, sections 2.5 and 5.4.

    Args:
        cases: all recorded changes; those of other kinds give only their scatter.
        level: of the intervals, e.g. 0.9.

    Raises:
        ValueError: level outside 0..1.

    >>> cases = [ChangeCase("mould", "weld", 1000, 1500)] * 4
    >>> row = compute_shop_factor(cases, Belief(0.3, 0.4, 5), "mould", "weld")
    >>> row.cases, round(row.raw, 3), 1 < row.factor < row.raw
    (4, 1.5, True)
    """
    check_probability(level, "the level of the interval")
    ratios = [case.log_ratio for case in cases if (case.tool_kind, case.change_class) == (tool_kind, change_class)]
    scatter = compute_scatter(cases, belief)
    precision = len(ratios) / scatter**2 + 1 / belief.between_sd**2
    mean = math.fsum(ratios) / scatter**2 / precision
    half = NormalDist().inv_cdf((1 + min(level, 1 - 1e-12)) / 2)
    own, single = half * math.sqrt(1 / precision), half * math.sqrt(1 / precision + scatter**2)
    return ShopFactor(
        tool_kind=tool_kind,
        change_class=change_class,
        cases=len(ratios),
        raw=math.exp(math.fsum(ratios) / len(ratios)) if ratios else None,
        factor=math.exp(mean),
        low=math.exp(mean - own),
        high=math.exp(mean + own),
        next_low=math.exp(mean - single),
        next_high=math.exp(mean + single),
    )


def compute_shop_factors(cases: Sequence[ChangeCase], belief: Belief, level: float = 0.9) -> tuple[ShopFactor, ...]:
    """The shop's factor for every tool kind and change class that has a case, by kind and class.

    >>> [row.change_class for row in compute_shop_factors([ChangeCase("mould", "weld", 10, 12)], Belief(0.3, 0.4, 5))]
    ['weld']
    """
    kinds = sorted({(case.tool_kind, case.change_class) for case in cases})
    return tuple(compute_shop_factor(cases, belief, kind, change, level) for kind, change in kinds)


@dataclass(frozen=True)
class StageCase:
    """One recorded error: at which stage it was found and what it cost in all, above zero."""

    stage: str
    actual: float
    record: str = ""

    def __post_init__(self) -> None:
        check_positive(self.actual, "the actual cost of an error")


@dataclass(frozen=True)
class StageRatio:
    """The shop's own step from one stage to the next stage that has cases.

    Attributes:
        stage, next_stage: the two stages. cases, next_cases: recorded errors found at each.
        ratio: geometric mean cost at the next over this one.
        low, high: interval of the ratio; None where either stage has fewer than two cases.
        folk: what the rule of ten says for as many steps.
    """

    stage: str
    next_stage: str
    cases: int
    next_cases: int
    ratio: float
    low: float | None
    high: float | None
    folk: float


def compute_stage_ratios(
    cases: Sequence[StageCase], order: Sequence[str], level: float = 0.9
) -> tuple[StageRatio, ...]:
    """The shop's own stage-to-stage ratios beside the folk rule of ten.

    Interval: Welch's t on the logarithms of the costs.
    Source: B. L. Welch, Biometrika 34 (1947).

    Args:
        order: all stages, early to late. A stage without cases is stepped over, and `folk` counts the steps.

    Raises:
        ValueError: a case at a stage that is not in `order`, a stage twice, or level outside 0..1.

    >>> rows = compute_stage_ratios([StageCase("model", 100), StageCase("tool cut", 900)],
    ...                             ["model", "prototype", "tool cut"])
    >>> [(row.next_stage, round(row.ratio, 6), row.folk, row.low) for row in rows]
    [('tool cut', 9.0, 100.0, None)]
    """
    check_probability(level, "the level of the interval")
    if len(set(order)) != len(order):
        raise ValueError(f"a stage is listed twice in {', '.join(order)}; each is wanted once, early to late")
    logs: dict[str, list[float]] = {stage: [] for stage in order}
    for case in cases:
        if case.stage not in logs:
            raise ValueError(f'"{case.stage}" is no stage; the stages are {", ".join(order)}')
        logs[case.stage].append(math.log(case.actual))
    filled = [(place, stage) for place, stage in enumerate(order) if logs[stage]]
    return tuple(
        _build_ratio(one, two, logs[one], logs[two], after - before, level)
        for (before, one), (after, two) in pairwise(filled)
    )


def _build_ratio(
    stage: str, next_stage: str, logs: Sequence[float], next_logs: Sequence[float], steps: int, level: float
) -> StageRatio:
    step = math.fsum(next_logs) / len(next_logs) - math.fsum(logs) / len(logs)
    half = _find_half_width(logs, next_logs, level)
    return StageRatio(
        stage=stage,
        next_stage=next_stage,
        cases=len(logs),
        next_cases=len(next_logs),
        ratio=math.exp(step),
        low=None if half is None else math.exp(step - half),
        high=None if half is None else math.exp(step + half),
        folk=RULE_OF_TEN**steps,
    )


def _find_half_width(one: Sequence[float], two: Sequence[float], level: float) -> float | None:
    """Half the width of Welch's interval of a difference of means; None with fewer than two values on a side."""
    if len(one) < 2 or len(two) < 2:
        return None
    shares = [_find_variance(values) / len(values) for values in (one, two)]
    if sum(shares) == 0:
        return 0.0
    parts = math.fsum(share**2 / (len(values) - 1) for share, values in zip(shares, (one, two), strict=True))
    from scipy.special import stdtrit  # heavy; only needed where there are cases enough

    return float(stdtrit(sum(shares) ** 2 / parts, (1 + level) / 2)) * math.sqrt(sum(shares))


def _find_variance(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
