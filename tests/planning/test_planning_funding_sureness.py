"""How sure a plan is, over seeded worlds. Invented cases."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.planning.funding_case import FundingCase, Product, Quarter, Tool
from pipeline.planning.funding_plan import FundingPlan, compute_plan
from pipeline.planning.funding_sureness import (
    CERTAIN,
    Spread,
    WorldModel,
    build_world,
    compute_sureness,
    fix_first_quarter,
)

TWO = FundingCase(
    (Quarter("Q1", 10.0),),
    (Tool("A", (10.0,)), Tool("B", (10.0,))),
    (Product("a", (21.0,), ("A",)), Product("b", (20.0,), ("B",))),
)


def solve(case: FundingCase) -> FundingPlan:
    plan = compute_plan(case).plan
    assert plan is not None
    return plan


def test_without_spread_the_plan_is_certain_and_regrets_nothing() -> None:
    sure = compute_sureness(TWO, solve(TWO), WorldModel(), seed=1, worlds=5)
    assert [(t.tool, t.share, t.share_now) for t in sure.tools] == [("A", 1.0, 1.0), ("B", 0.0, 0.0)]
    assert (sure.worlds, sure.regret_mean, sure.regret_most, sure.no_regret_share) == (5, 0.0, 0.0, 1.0)
    assert (sure.short_worlds, sure.is_complete) == (0, True)


def test_shares_and_regret_agree_with_the_worths_drawn() -> None:
    """Cash buys one of two tools: the better one in each world is chosen, and regret is the difference of worths."""
    model = WorldModel(any_demand=Spread(0.7, 1.0, 1.3))
    sure = compute_sureness(TWO, solve(TWO), model, seed=7, worlds=60, gap=0.0)
    worths = np.array([[p.worth[0] for p in build_world(TWO, model, 7, n).products] for n in range(60)])
    better_b = worths[:, 1] > worths[:, 0]
    assert 0.2 < better_b.mean() < 0.6  # the seed makes both win sometimes
    assert {t.tool: t.share for t in sure.tools} == {"A": 1 - better_b.mean(), "B": better_b.mean()}
    regret = np.maximum(worths[:, 1] - worths[:, 0], 0.0)
    assert sure.regret_mean == pytest.approx(regret.mean(), abs=1e-3)
    assert sure.regret_most == pytest.approx(regret.max(), abs=1e-3)
    assert sure.no_regret_share == pytest.approx(1 - better_b.mean())


def test_costs_above_the_cash_are_counted_as_short() -> None:
    model = WorldModel(cost={"A": Spread(1.2, 1.2, 1.2)})
    sure = compute_sureness(TWO, solve(TWO), model, seed=1, worlds=3)
    assert (sure.short_worlds, sure.short_most) == (3, pytest.approx(2.0))
    assert sure.regret_mean is None
    assert {t.tool: t.share for t in sure.tools} == {"A": 0.0, "B": 1.0}


def test_a_world_whose_must_dos_cannot_be_paid_has_no_plan_and_is_short() -> None:
    """A costs 12 there, and 10 is there: 2 are missing, and nothing is chosen in that world."""
    case = replace(TWO, tools=(replace(TWO.tools[0], must=True), TWO.tools[1]))
    sure = compute_sureness(case, solve(case), WorldModel(cost={"A": Spread(1.2, 1.2, 1.2)}), seed=1, worlds=3)
    assert (sure.worlds, sure.short_worlds, sure.short_most) == (3, 3, pytest.approx(2.0))
    assert {t.tool: t.share for t in sure.tools} == {"A": 0.0, "B": 0.0}


def test_delay_moves_parts_and_gates_later() -> None:
    case = replace(
        TWO,
        tools=(replace(TWO.tools[0], ready_after=1), replace(TWO.tools[1], earliest=1), Tool("C", (), on_hand_from=1)),
    )
    world = build_world(case, WorldModel(any_delay=(0.0, 0.0, 1.0), gate_delay=(0.0, 1.0)), 3, 0)
    a, b, c = world.tools
    assert (a.ready_after, a.earliest) == (3, 0)  # ready now: no gate to wait for
    assert (b.ready_after, b.earliest) == (2, 2)
    assert c.on_hand_from == 3


def test_the_same_seed_gives_the_same_worlds_in_any_order_of_records() -> None:
    model = WorldModel(Spread(0.8, 1, 1.2), Spread(0.5, 1, 2), Spread(0.9, 1, 1.4), (0.6, 0.4), (0.5, 0.5))
    mixed = replace(TWO, tools=TWO.tools[::-1], products=TWO.products[::-1])
    assert repr(build_world(TWO, model, 5, 3)) == repr(build_world(mixed, model, 5, 3))
    assert repr(build_world(TWO, model, 5, 3)) != repr(build_world(TWO, model, 5, 4))
    first, again = (compute_sureness(case, solve(case), model, 5, 10) for case in (TWO, mixed))
    assert repr(first) == repr(again)


def test_spread_is_triangular() -> None:
    """Mean (a + m + b) / 3 and variance (a2 + m2 + b2 - am - ab - mb) / 18, closed form (derived)."""
    generator = np.random.default_rng(11)
    draws = np.array([Spread(0.5, 1.0, 2.0).draw(generator) for _ in range(20_000)])
    assert draws.min() >= 0.5 and draws.max() <= 2.0
    assert draws.mean() == pytest.approx(3.5 / 3, abs=0.01)
    assert draws.var() == pytest.approx((0.25 + 1 + 4 - 0.5 - 1 - 2) / 18, abs=0.003)
    assert CERTAIN.draw(generator) == 1.0


def test_fixing_the_first_quarter_keeps_it_and_frees_the_rest() -> None:
    case = replace(TWO, quarters=(Quarter("Q1", 10.0), Quarter("Q2", 10.0)))
    plan = solve(case)
    assert dict(plan.releases) == {"A": 0, "B": 1}
    swapped = replace(case, products=(replace(case.products[0], worth=(5.0,)), case.products[1]))
    kept = solve(fix_first_quarter(swapped, plan))
    assert dict(kept.releases) == {"A": 0, "B": 1}
    assert dict(solve(swapped).releases) == {"B": 0}


def test_a_stop_by_hand_counts_the_worlds_that_are_solved() -> None:
    def stop(done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    sure = compute_sureness(TWO, solve(TWO), WorldModel(), seed=1, worlds=50, on_step=stop)
    assert (sure.worlds, sure.is_complete) == (3, False)


@pytest.mark.parametrize(
    "model",
    [
        WorldModel(any_demand=Spread(1.2, 1.0, 1.3)), WorldModel(market=Spread(-0.1, 1.0, 1.3)),
        WorldModel(any_delay=(0.5, 0.4)), WorldModel(delay={"A": ()}), WorldModel(cost={"A": Spread(1.0, 1.0, float("inf"))}),
    ],
)  # fmt: skip
def test_a_wrong_model_is_refused(model: WorldModel) -> None:
    with pytest.raises(ValueError, match=r"rising order|add up to 1"):
        compute_sureness(TWO, solve(TWO), model, seed=1)
