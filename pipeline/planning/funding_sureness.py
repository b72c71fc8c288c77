"""How sure a plan is: how often each tool is chosen when demand, cost and delay come out otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.planning.funding_case import FundingCase, Product, Tool
from pipeline.planning.funding_faults import FaultKind
from pipeline.planning.funding_plan import FundingPlan, PlanAnswer, PlanEnd, compute_plan
from pipeline.planning.funding_program import Floats
from pipeline.planning.funding_series import OnStep

WORLD_GAP = 1e-3
"""Gap to which each world is solved unless the caller says: a thousandth of its worth."""


@dataclass(frozen=True)
class Spread:
    """A factor between low and high, most often likely (triangular distribution). 1 means "as in the case"."""

    low: float
    likely: float
    high: float

    def draw(self, generator: np.random.Generator) -> float:
        """Draw one factor; takes one number from the generator, also when the spread has no width."""
        place = float(generator.random())
        if self.high <= self.low:
            return self.likely
        width, turn = self.high - self.low, (self.likely - self.low) / (self.high - self.low)
        if place <= turn:
            return self.low + float(np.sqrt(place * width * (self.likely - self.low)))
        return self.high - float(np.sqrt((1 - place) * width * (self.high - self.likely)))


CERTAIN = Spread(1.0, 1.0, 1.0)


@dataclass(frozen=True)
class WorldModel:
    """From what the worlds are drawn.

    market: one factor on the worth of all products together. demand: a factor on each product's worth, by key or
    `any_demand`. cost: a factor on each tool's payments, by key or `any_cost`. delay: probabilities of 0, 1, 2, ...
    quarters by which parts come off a tool later, by key or `any_delay`. gate_delay: the same for the quarter from
    which a tool that is not proven yet can be released.
    """

    market: Spread = CERTAIN
    any_demand: Spread = CERTAIN
    any_cost: Spread = CERTAIN
    any_delay: tuple[float, ...] = (1.0,)
    gate_delay: tuple[float, ...] = (1.0,)
    demand: Mapping[str, Spread] = field(default_factory=dict)
    cost: Mapping[str, Spread] = field(default_factory=dict)
    delay: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class ToolSureness:
    """Share of worlds in which a tool is chosen at all, and in which it is released in the first quarter."""

    tool: str
    share: float
    share_now: float


@dataclass(frozen=True)
class Sureness:
    """Shares by tool in order of keys, and the regret of today's plan.

    Regret of a world: the best that could have been done there, less the best that still can be done after the
    releases of today's first quarter are carried out as planned (and no others). regret_* are over the worlds in
    which today's releases can be paid; in `short_worlds` they cannot, by at most `short_most` of money.
    """

    worlds: int
    tools: tuple[ToolSureness, ...]
    regret_mean: float | None
    regret_p90: float | None
    regret_most: float | None
    no_regret_share: float | None
    short_worlds: int
    short_most: float
    is_complete: bool


def check_world_model(model: WorldModel) -> None:
    """Raise ValueError with a sentence when a spread is out of order or chances do not add up to one."""
    spreads = {"market": model.market, "any_demand": model.any_demand, "any_cost": model.any_cost}
    spreads |= {f"demand of {k}": s for k, s in model.demand.items()} | {
        f"cost of {k}": s for k, s in model.cost.items()
    }
    for name, s in spreads.items():
        if not 0 <= s.low <= s.likely <= s.high < np.inf:
            raise ValueError(f"{name}: {s.low:g}, {s.likely:g}, {s.high:g} are not factors from 0 in rising order")
    chances = {"any_delay": model.any_delay, "gate_delay": model.gate_delay}
    chances |= {f"delay of {k}": c for k, c in model.delay.items()}
    for name, values in chances.items():
        if not values or min(values) < 0 or abs(sum(values) - 1) > 1e-9:
            raise ValueError(f"{name}: the chances {values} add up to {sum(values):g}; they must add up to 1")


def build_world(case: FundingCase, model: WorldModel, seed: int, number: int) -> FundingCase:
    """Return the case as it comes out in world `number` of this seed.

    The same seed and number give the same world, however many worlds are asked for and in whatever order records
    come. Worth and its downside take the demand factors, payments the cost factor; what is committed stays.
    """
    generator = np.random.default_rng([seed, number])
    market = model.market.draw(generator)
    products = tuple(_change_product(p, model, market, generator) for p in sorted(case.products, key=lambda p: p.key))
    tools = tuple(_change_tool(t, model, generator) for t in sorted(case.tools, key=lambda t: t.key))
    return replace(case, products=products, tools=tools)


def _change_product(product: Product, model: WorldModel, market: float, generator: np.random.Generator) -> Product:
    factor = market * model.demand.get(product.key, model.any_demand).draw(generator)
    worth, downside = (tuple(v * factor for v in values) for values in (product.worth, product.downside))
    return replace(product, worth=worth, downside=downside)


def _change_tool(tool: Tool, model: WorldModel, generator: np.random.Generator) -> Tool:
    factor = model.cost.get(tool.key, model.any_cost).draw(generator)
    late = _draw_delay(model.delay.get(tool.key, model.any_delay), generator)
    gate = _draw_delay(model.gate_delay, generator)
    payments = tuple(p * factor for p in tool.payments)
    earliest = tool.earliest + gate if tool.earliest > 0 else 0
    there = None if tool.on_hand_from is None else tool.on_hand_from + (late if tool.on_hand_from > 0 else 0)
    return replace(tool, payments=payments, ready_after=tool.ready_after + late, earliest=earliest, on_hand_from=there)


def _draw_delay(chances: tuple[float, ...], generator: np.random.Generator) -> int:
    return min(int(np.searchsorted(np.cumsum(chances), generator.random(), side="right")), len(chances) - 1)


def fix_first_quarter(case: FundingCase, plan: FundingPlan) -> FundingCase:
    """Return the case in which the first quarter's releases are those of the plan, no more and no fewer."""
    now = {key for key, quarter in plan.releases.items() if quarter == 0}
    tools = tuple(
        replace(t, must=True, must_not=False, earliest=0, not_before=0, not_after=0)
        if t.key in now
        else replace(t, not_before=max(1, t.not_before or 0))
        for t in case.tools
    )
    return replace(case, tools=tools)


@dataclass(frozen=True)
class _World:
    best: FundingPlan
    regret: float | None
    short: float


def compute_sureness(
    case: FundingCase,
    plan: FundingPlan,
    model: WorldModel,
    seed: int,
    worlds: int = 200,
    gap: float = WORLD_GAP,
    on_step: OnStep | None = None,
) -> Sureness:
    """Solve the plan again in each of `worlds` seeded worlds and count.

    plan: today's plan for this case. Worlds in which the must-dos cannot be paid have no plan: they count as short
    and choose nothing. Stopped by hand, the worlds solved so far are counted. Raises ValueError for no worlds or a
    wrong model. Source: Monte Carlo simulation with seeded draws; regret as in decision analysis (common practice).
    """
    if worlds < 1:
        raise ValueError(f"{worlds} worlds show nothing; ask for 1 or more")
    check_world_model(model)
    solved: list[_World | float] = []
    is_complete = True
    try:
        for world in _solve_worlds(case, plan, model, seed, worlds, gap):
            if world is None:
                is_complete = False
                break
            solved.append(world)
            if on_step is not None:
                on_step(len(solved), worlds)
    except KeyboardInterrupt:
        is_complete = len(solved) == worlds
    return _count(case, solved, is_complete)


def _solve_worlds(
    case: FundingCase, plan: FundingPlan, model: WorldModel, seed: int, worlds: int, gap: float
) -> Iterator[_World | float | None]:
    """Yield for each world its figures, the cash that its must-dos lack, or None when it was stopped by hand."""
    now = {key for key, quarter in plan.releases.items() if quarter == 0}
    for number in range(worlds):
        world = build_world(case, model, seed, number)
        best = compute_plan(world, gap)
        if best.plan is None or _is_stopped(best):
            yield None if _is_stopped(best) else _find_short(best)
        elif {key for key, quarter in best.plan.releases.items() if quarter == 0} == now:
            yield _World(best.plan, 0.0, 0.0)
        else:
            kept = compute_plan(fix_first_quarter(world, plan), gap)
            yield None if _is_stopped(kept) else _compare(best.plan, kept)


def _compare(best: FundingPlan, kept: PlanAnswer) -> _World:
    """Return what a world's best plan is worth beyond the best that today's releases leave."""
    if kept.plan is None:
        return _World(best, None, _find_short(kept))
    return _World(best, max(0.0, best.worth - kept.plan.worth), 0.0)


def _is_stopped(answer: PlanAnswer) -> bool:
    if answer.plan is None:
        return any(f.kind is FaultKind.STOPPED_EMPTY for f in answer.faults)
    return answer.plan.end is PlanEnd.INTERRUPTED


def _find_short(answer: PlanAnswer) -> float:
    return max((f.amount or 0.0 for f in answer.faults if f.kind is FaultKind.MUST_BEYOND_CASH), default=0.0)


def _count(case: FundingCase, solved: list[_World | float], is_complete: bool) -> Sureness:
    planned = [w for w in solved if isinstance(w, _World)]
    regrets = np.array([w.regret for w in planned if w.regret is not None])
    shorts = [w.short for w in planned if w.regret is None] + [w for w in solved if not isinstance(w, _World)]
    count = max(len(solved), 1)
    tools = tuple(
        ToolSureness(
            key,
            sum(key in w.best.releases for w in planned) / count,
            sum(w.best.releases.get(key) == 0 for w in planned) / count,
        )
        for key in sorted(t.key for t in case.tools if t.on_hand_from is None)
    )
    mean, p90, most, none = _summarise(regrets)
    worst = max(shorts, default=0.0)
    return Sureness(len(solved), tools, mean, p90, most, none, len(shorts), worst, is_complete)


def _summarise(regrets: Floats) -> tuple[float | None, float | None, float | None, float | None]:
    if not len(regrets):
        return None, None, None, None
    p90 = float(np.quantile(regrets, 0.9))
    return float(regrets.mean()), p90, float(regrets.max()), float(np.mean(regrets <= 0))
