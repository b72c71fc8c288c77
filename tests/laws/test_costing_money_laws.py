"""Laws of the money half of costing that hold for every input."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.costing.case import Case, ErrorRisk, Sibling
from pipeline.costing.errors_left import FailureMode, Prior, Remaining, compute_remaining
from pipeline.costing.estimate import Estimate, compute_quantile, simulate_estimate
from pipeline.costing.information import (
    Decision,
    compute_perfect_information,
    compute_sample_information,
)
from pipeline.costing.loop import Loop, Stake, compute_after, compute_loop, compute_net
from pipeline.costing.loop_inputs import list_inputs
from pipeline.costing.loop_series import compute_series
from pipeline.costing.money import Rate, Rates
from pipeline.costing.quote_ranking import compare_quotes
from pipeline.costing.quote_sides import Purchase
from pipeline.costing.quote_terms import (
    PASS_OR_FAIL,
    Milestone,
    Quote,
    build_not_stated,
    build_stated,
)
from pipeline.costing.quotes import compute_footing
from pipeline.costing.worth import compute_worth
from pipeline.costing.worth_simulation import simulate_levels

SHARE = st.floats(0, 1)
MONEY = st.floats(0, 50_000)
LEFT = st.builds(Remaining, st.floats(0.2, 5), st.floats(0.3, 20), SHARE)
STAKES = st.dictionaries(st.sampled_from(FailureMode), st.builds(Stake, LEFT, MONEY, MONEY), min_size=1)
POWERS = st.dictionaries(st.sampled_from(FailureMode), SHARE)
LOOPS = st.builds(Loop, st.just("loop"), MONEY, st.floats(0, 20), st.floats(0, 2_000), POWERS)


@settings(deadline=None)
@given(STAKES, LOOPS)
def test_a_check_that_sees_nothing_gains_nothing(stakes: dict[FailureMode, Stake], loop: Loop) -> None:
    blind = replace(loop, powers=dict.fromkeys(loop.powers, 0.0))
    result = compute_loop(stakes, blind)
    assert result.net == -loop.price
    assert result.chance_pays == 0
    assert not any(gain.saved for gain in result.modes)


@settings(max_examples=60, deadline=None)
@given(STAKES, LOOPS)
def test_the_gain_never_exceeds_perfect_information(stakes: dict[FailureMode, Stake], loop: Loop) -> None:
    result = compute_loop(stakes, loop, draws=1000)
    slack = 1e-9 * (1 + result.perfect)
    assert result.net + result.price <= result.perfect + slack
    sees_all = replace(loop, powers=dict.fromkeys(FailureMode, 1.0))
    assert abs(compute_loop(stakes, sees_all, draws=1000).net + loop.price - result.perfect) <= slack
    assert 0 <= result.chance_pays <= 1


@settings(max_examples=60, deadline=None)
@given(STAKES, LOOPS)
def test_each_further_loop_gains_no_more_than_the_one_before(stakes: dict[FailureMode, Stake], loop: Loop) -> None:
    series = compute_series(stakes, loop, most=5)
    for before, after in pairwise(series.steps):
        slack = 1e-9 * (1 + abs(before.planned))
        assert after.planned <= before.planned + slack
        assert after.after_clean <= before.after_clean + slack
        assert after.after_clean <= after.planned + slack


@settings(deadline=None)
@given(STAKES, LOOPS)
def test_the_answer_turns_at_its_break_even(stakes: dict[FailureMode, Stake], loop: Loop) -> None:
    net = compute_net(stakes, loop)
    for row in list_inputs(stakes, loop):
        assert abs(row.compute_net(row.value) - net) <= 1e-9 * (1 + abs(net) + loop.price + abs(row.base))
        if row.turns_at is not None:
            assert abs(row.compute_net(row.turns_at)) <= 1e-9 * (1 + abs(row.base))


@settings(deadline=None)
@given(st.floats(0.2, 5), st.floats(0.3, 20), SHARE, SHARE, st.integers(0, 8))
def test_a_further_check_that_finds_nothing_never_raises_what_is_left(
    shape: float, weight: float, miss: float, power: float, found: int
) -> None:
    assume(miss < 1 or found == 0)
    before = compute_remaining(Prior(shape, weight), miss, found)
    after = compute_after(before, power)
    assert after.mean <= before.mean * (1 + 1e-12)
    assert after.chance_of_none >= before.chance_of_none - 1e-12
    assert compute_remaining(Prior(shape, weight), miss * (1 - power), found).mean <= before.mean * (1 + 1e-12)


@settings(deadline=None)
@given(st.lists(st.floats(0.01, 1), min_size=2, max_size=4), st.integers(2, 4), st.integers(2, 4), st.data())
def test_no_test_is_worth_more_than_perfect_information(
    weights: list[float], actions: int, outcomes: int, data: st.DataObject
) -> None:
    prior = tuple(weight / sum(weights) for weight in weights)
    payoff = st.floats(-1e4, 1e4)
    payoffs = tuple(tuple(data.draw(payoff) for _ in prior) for _ in range(actions))
    columns = [[data.draw(st.floats(0.01, 1)) for _ in range(outcomes)] for _ in prior]
    likelihood = tuple(tuple(column[row] / sum(column) for column in columns) for row in range(outcomes))
    decision = Decision(prior, payoffs)
    gain = compute_sample_information(decision, likelihood).gain
    assert 0 <= gain <= compute_perfect_information(decision) + 1e-6


POINT = st.floats(0, 1000)


@settings(deadline=None)
@given(st.tuples(POINT, POINT, POINT), SHARE, SHARE)
def test_a_higher_likely_value_is_higher_in_every_draw(
    points: tuple[float, float, float], more: float, share: float
) -> None:
    low, likely, high = sorted(points)
    assume(high - low > 1e-3)
    base, raised = Estimate(low, likely, high), Estimate(low, likely + more * (high - likely), high)
    slack = 1e-6 * (high - low)
    assert compute_quantile(raised, share) >= compute_quantile(base, share) - slack
    draws = [simulate_estimate(one, np.random.default_rng(3), 200) for one in (base, raised)]
    assert (draws[1] >= draws[0] - slack).all()
    assert low - slack <= draws[0].min() <= draws[0].max() <= high + slack


@settings(deadline=None)
@given(
    st.tuples(POINT, POINT, POINT),
    st.floats(1, 3),
    st.floats(0, 30),
    st.floats(0.0, 0.4),
    st.integers(0, 5),
    st.lists(SHARE, max_size=3),
)
def test_more_demand_never_lowers_worth_at_positive_margin(
    points: tuple[float, float, float], factor: float, cost: float, rate: float, seed: int, ramp: list[float]
) -> None:
    low, likely, high = sorted(points)
    assume(high > 0)
    case = Case(
        "P", Estimate(low, likely, high), Estimate(45, 50, 60), Estimate(cost / 2, cost, cost + 5),
        Estimate(1_000, 2_000, 9_000), years=4, ramp=tuple(ramp), siblings=(Sibling("S", 0.5, 15.0),),
        errors=(ErrorRisk(1, 4, 0.5, 3_000),),
    )  # fmt: skip
    more = replace(case, demand=Estimate(low * factor, likely * factor, high * factor))
    worth = [compute_worth(one, simulate_levels(one, 300, seed), rate) for one in (case, more)]
    # margin in every draw: at least 45 - 35 - 7.5 > 0; the same seed draws the same worlds
    assert (worth[1] >= worth[0] - 1e-6 * (1 + np.abs(worth[0]))).all()


DAY = dt.date(2026, 10, 15)
PURCHASE = Purchase(
    (400, 900, 700),
    Rates("USD", (Rate("CAD", DAY, Decimal("0.92"), "invented"),)),
    DAY,
    Decimal("0.10"),
    Decimal("0.18"),
    Decimal(300),
)
RANGES = {
    "tool": (0, 60_000),
    "samples": (0, 4_000),
    "weeks": (0, 40),
    "tool_life": (200, 50_000),
    "refurbish_every": (100, 20_000),
    "refurbishment": (0, 5_000),
    "piece": (0, 20),
    "minimum_order": (0, 3_000),
    "yield_share": (0.5, 1),
    "freight": (0, 3),
    "secondary": (0, 9),
    "duty": (0, 0.3),
    "tool_duty": (0, 0.3),
}


@st.composite
def build_quotes(draw: st.DrawFn, name: str) -> Quote:
    points = {
        point: build_stated(Decimal(str(round(draw(st.floats(low, high)), 2)))) for point, (low, high) in RANGES.items()
    }
    return Quote(
        name=name,
        currency=draw(st.sampled_from(["USD", "CAD"])),
        issued=DAY,
        valid_to=DAY,
        milestones=(Milestone("order", Decimal("0.5"), Decimal(0)), Milestone("good pieces", Decimal("0.5"))),
        pieces_per_shot=draw(st.integers(1, 4)),
        order_quantity=draw(st.one_of(st.none(), st.integers(1, 2_000))),
        payment_days=build_stated(30),
        terms=dict.fromkeys(PASS_OR_FAIL, True),
        **points,  # type: ignore[arg-type]
    )


@settings(max_examples=50, deadline=None)
@given(build_quotes("one"), build_quotes("two"), st.sampled_from(sorted(RANGES)))
def test_a_missing_line_never_lowers_a_bid(one: Quote, two: Quote, point: str) -> None:
    silent = replace(one, **{point: build_not_stated()})
    comparison = compare_quotes((silent, two), PURCHASE)
    assert comparison.cheapest == "two"
    row = next(row for row in comparison.rows if row.footing.name == "one")
    assert row.rank is None
    assert row.footing.total is None
    assert row.footing.high is None
    total = compute_footing(one, PURCHASE, Decimal(0)).total
    assert total is not None
    assert compute_footing(silent, PURCHASE, Decimal(0)).low <= total  # "at least" is true


@settings(max_examples=50, deadline=None)
@given(build_quotes("one"), st.sampled_from(sorted(RANGES)), SHARE, SHARE)
def test_a_bounded_range_holds_the_total(one: Quote, point: str, down: float, up: float) -> None:
    low, high = RANGES[point]
    value = float(getattr(one, point).low)
    bounds = (round(low + (value - low) * down, 2), round(value + (high - value) * up, 2))
    bounds = (min(bounds[0], value), max(bounds[1], value))
    shortest = Decimal(0)
    total = compute_footing(one, PURCHASE, shortest).total
    ranged = compute_footing(replace(one, **{point: build_not_stated(*bounds)}), PURCHASE, shortest)
    assert total is not None
    assert ranged.high is not None
    assert ranged.low <= total <= ranged.high


@settings(max_examples=50, deadline=None)
@given(build_quotes("one"), st.sampled_from(["tool", "samples", "piece", "freight", "secondary", "duty", "tool_duty"]))
def test_a_dearer_line_never_lowers_the_total(one: Quote, point: str) -> None:
    dearer = replace(one, **{point: build_stated(getattr(one, point).low + 1)})
    before, after = compute_footing(one, PURCHASE).total, compute_footing(dearer, PURCHASE).total
    assert before is not None
    assert after is not None
    assert after >= before
