"""The case of a part, as inputs: demand with ramp and decay, margin, siblings and kits, tooling cash, errors left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from pipeline.costing.bounds import (
    check_count,
    check_finite,
    check_not_negative,
    check_positive,
    check_probability,
    check_shares,
)
from pipeline.costing.estimate import Estimate, build_estimate

WEEKS_PER_YEAR = 52.0


@dataclass(frozen=True)
class Sibling:
    """A part of our own that sells less because of this one.

    Attributes:
        lost: pieces of it lost for each piece of this part sold. margin: its contribution a piece, money.
    """

    name: str
    lost: float
    margin: float

    def __post_init__(self) -> None:
        check_not_negative(self.lost, f"the pieces of {self.name} lost for each piece sold")
        check_finite(self.margin, f"the margin of {self.name}")


@dataclass(frozen=True)
class KitSale:
    """A kit that this part belongs to, of whose contribution a share is counted here and the rest elsewhere.

    Attributes:
        per_year: kits sold at full demand. contribution: of one kit, all its parts paid, money.
        share: of the contribution that is counted with this part, 0..1; over all parts it must not exceed 1.
        replaces: pieces of this part sold alone that one kit takes the place of.
    """

    kit: str
    per_year: Estimate
    contribution: float
    share: float
    replaces: float = 0.0

    def __post_init__(self) -> None:
        check_not_negative(self.per_year.low, f"the demand for {self.kit}")
        check_finite(self.contribution, f"the contribution of {self.kit}")
        check_probability(self.share, f"the share of {self.kit} that is counted here")
        check_not_negative(self.replaces, f"the pieces that one {self.kit} takes the place of")


@dataclass(frozen=True)
class ToolPayment:
    """A share of the tooling money and the week, from now, in which it is paid."""

    share: float
    week: float

    def __post_init__(self) -> None:
        check_probability(self.share, "the share of a tool payment")
        check_not_negative(self.week, "the week of a tool payment")


@dataclass(frozen=True)
class ErrorRisk:
    """Errors of one mode that are still left, and what each costs when it shows in tooling.

    Attributes:
        shape, weight, miss: of the negative binomial number left (see the remaining errors).
        late: money for each.
    """

    shape: float
    weight: float
    miss: float
    late: float

    def __post_init__(self) -> None:
        check_positive(self.shape, "the shape of the errors left")
        check_positive(self.weight, "the weight of the errors left")
        check_probability(self.miss, "the chance to be missed")
        check_not_negative(self.late, "the cost of an error found late")

    @property
    def mean(self) -> float:
        """Errors expected to be left."""
        return self.miss * self.shape / self.weight


def list_count_chances(risk: ErrorRisk) -> tuple[float, ...]:
    """P(0), P(1)... errors left, until all but 1e-12 is covered (10,000 counts at most). Negative binomial.

    >>> [round(chance, 3) for chance in list_count_chances(ErrorRisk(1.0, 4.0, 1.0, 0.0))[:3]]
    [0.8, 0.16, 0.032]
    """
    odds = risk.miss / (risk.weight + risk.miss)
    chances = [(1 - odds) ** risk.shape]
    left = 1 - chances[0]
    while left > 1e-12 and len(chances) < 10_000:
        count = len(chances) - 1
        chances.append(chances[-1] * odds * (risk.shape + count) / (count + 1))
        left -= chances[-1]
    return tuple(chances)


@dataclass(frozen=True)
class Case:
    """All that the worth of a part rests on. Money in the workspace currency.

    Attributes:
        demand: pieces a year at full demand. ramp: share of it in the first years, e.g. (0.4, 0.8).
        decay: share by which demand falls each year after the ramp and one full year. years: of sales, 1 or more.
        price: for a piece. landed: cost of a good piece at the door.
        tooling: all tool money. payments: when it is paid, shares adding up to 1.
        launch: weeks from now to the first sale.
        fixed_per_year: money a year that the part costs however many are sold.
        siblings, kits: what it takes from other parts, and its share of kits.
        errors: errors still left, by mode; they cost at `errors_week`.

    Raises:
        ValueError: negative demand, price, cost, tooling or weeks; shares that do not add up; no year.
    """

    name: str
    demand: Estimate
    price: Estimate
    landed: Estimate
    tooling: Estimate
    years: int
    payments: tuple[ToolPayment, ...] = (ToolPayment(1.0, 0.0),)
    launch: Estimate = field(default_factory=lambda: build_estimate(0.0))
    ramp: tuple[float, ...] = ()
    decay: float = 0.0
    fixed_per_year: float = 0.0
    siblings: tuple[Sibling, ...] = ()
    kits: tuple[KitSale, ...] = ()
    errors: tuple[ErrorRisk, ...] = ()
    errors_week: float = 0.0

    def __post_init__(self) -> None:
        inputs = ("demand", "price", "landed", "tooling", "launch")
        for what, estimate in zip(
            inputs, (self.demand, self.price, self.landed, self.tooling, self.launch), strict=True
        ):
            check_not_negative(estimate.low, f"the low end of the {what} of {self.name}")
        check_count(self.years, f"the years of sales of {self.name}", least=1)
        check_shares([payment.share for payment in self.payments], f"the tool payments of {self.name}")
        for share in (*self.ramp, self.decay):
            check_probability(share, f"a share of ramp or decay of {self.name}")
        check_not_negative(self.fixed_per_year, f"the fixed cost a year of {self.name}")
        check_not_negative(self.errors_week, f"the week in which errors of {self.name} cost")
        if self.demand.high == 0 and not self.kits:
            raise ValueError(f"{self.name} has no demand at all; a volume above zero is wanted for a case")

    @property
    def lost_margin(self) -> float:
        """Contribution of siblings lost for each piece sold."""
        return math.fsum(sibling.lost * sibling.margin for sibling in self.siblings)


def build_demand_shape(case: Case) -> tuple[float, ...]:
    """Demand of each year of sales as a share of full demand: the ramp, then one full year, then decay.

    >>> known = build_estimate(100.0)
    >>> build_demand_shape(Case("P", known, known, known, known, years=4, ramp=(0.5,), decay=0.1))
    (0.5, 1.0, 0.9, 0.81)
    """
    shape = list(case.ramp[: case.years])
    shape += [(1 - case.decay) ** later for later in range(case.years - len(shape))]
    return tuple(round(share, 12) for share in shape)


def check_kits_counted_once(cases: Sequence[Case]) -> None:
    """Refuse cases that together count more than the whole of a kit.

    Raises:
        ValueError: the shares of a kit add up to more than 1 over all parts.

    >>> known = build_estimate(100.0)
    >>> kit = KitSale("lamp kit", known, contribution=30, share=0.7)
    >>> cases = [Case(name, known, known, known, known, years=1, kits=(kit,)) for name in "AB"]
    >>> check_kits_counted_once(cases)
    Traceback (most recent call last):
    ...
    ValueError: lamp kit is counted 1.4 times over A, B; the shares of a kit may add up to 1
    """
    shares: dict[str, list[float]] = {}
    names: dict[str, list[str]] = {}
    for case in cases:
        for kit in case.kits:
            shares.setdefault(kit.kit, []).append(kit.share)
            names.setdefault(kit.kit, []).append(case.name)
    for name, parts in shares.items():
        if math.fsum(parts) > 1 + 1e-9:
            raise ValueError(
                f"{name} is counted {math.fsum(parts):g} times over {', '.join(names[name])}; "
                "the shares of a kit may add up to 1"
            )
