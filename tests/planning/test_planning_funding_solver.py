"""The search itself: both roads to the solver agree, it can be stopped, it says how far it got, ties are settled."""

from __future__ import annotations

import _thread
import threading
import time
from dataclasses import replace
from importlib.metadata import version

import numpy as np
import pytest

from pipeline.planning import funding_solver
from pipeline.planning.funding_account import check_plan, compute_account
from pipeline.planning.funding_case import FundingCase, Product, Quarter, Resource, Tool, Use
from pipeline.planning.funding_faults import FaultKind
from pipeline.planning.funding_plan import PlanEnd, compute_plan
from pipeline.planning.funding_program import build_program
from pipeline.planning.funding_solver import Progress, SolveEnd, solve_program
from pipeline.planning.funding_start import find_quick_plan

tells_its_way = pytest.mark.skipif(
    tuple(map(int, version("scipy").split(".")[:3])) < (1, 17, 1),
    reason="this SciPy's solver does not tell its best plan so far; the plan is looked for in slices of time there",
)


def build_random(count: int, quarters: int, seed: int) -> FundingCase:
    """Return an invented portfolio in which every tool competes for cash and press hours in every quarter."""
    rng = np.random.default_rng(seed)
    costs = rng.uniform(3, 30, count).round(2)
    tools = tuple(
        Tool(f"T{i:03}", (c / 2, c / 2), 1, (Use("press", (float(rng.integers(1, 9)),)),))
        for i, c in enumerate(costs.tolist())
    )
    pairs = [sorted(set(rng.integers(0, count, 3).tolist())) for _ in range(count)]
    worths = [float(rng.uniform(0.8, 2.0) * sum(costs[p])) for p in pairs]
    products = tuple(
        Product(f"P{i:03}", tuple(round(w * 0.97**q, 2) for q in range(quarters + 1)), tuple(f"T{k:03}" for k in p))
        for i, (p, w) in enumerate(zip(pairs, worths, strict=True))
    )
    cash = tuple(Quarter(f"Q{q}", float(costs.sum() * 0.3 / quarters)) for q in range(quarters))
    return FundingCase(cash, tools, products, resources=(Resource("press", (count * 0.5,)),))


HARD = build_random(150, 8, 4)


@pytest.mark.parametrize("seed", range(6))
def test_both_roads_give_the_same_plan(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    case = build_random(14, 3, seed)
    watched = compute_plan(case)
    monkeypatch.setattr(funding_solver, "_find_highs", lambda: None)
    monkeypatch.setattr(funding_solver, "FIRST_SLICE_S", 30.0)
    assert repr(compute_plan(case)) == repr(watched)
    assert watched.plan is not None and watched.plan.is_proven


@tells_its_way
def test_this_scipy_offers_what_keeps_the_best_plan_on_a_stop() -> None:
    assert funding_solver._find_highs() is not None


@tells_its_way
def test_a_time_limit_returns_the_best_so_far_with_an_honest_gap() -> None:
    plan = compute_plan(HARD, gap=0.0, time_limit_s=1.0).plan
    assert plan is not None and plan.end is PlanEnd.TIME and not plan.is_proven
    assert check_plan(HARD, plan.releases, plan.launches) == ()
    assert plan.gap > 0 and plan.bound == pytest.approx(plan.worth * (1 + plan.gap))
    assert "time limit" in plan.words
    assert (
        "gap" if np.isfinite(plan.gap) else "is not known"
    ) in plan.words  # a busy machine may find no bound in time


def test_a_stop_by_hand_returns_the_best_so_far() -> None:
    seen: list[Progress] = []

    def stop(progress: Progress) -> None:
        seen.append(progress)
        raise KeyboardInterrupt

    plan = compute_plan(HARD, gap=0.0, on_progress=stop).plan
    assert plan is not None and plan.end is PlanEnd.INTERRUPTED and plan.words.startswith("Stopped by hand")
    assert check_plan(HARD, plan.releases, plan.launches) == () and plan.worth > 0
    assert len(seen) == 1 and seen[0].elapsed_s >= 0.9


@pytest.mark.slow
@pytest.mark.parametrize("has_callbacks", [True, False])
def test_a_real_interrupt_is_answered_at_once(has_callbacks: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if not has_callbacks:
        monkeypatch.setattr(funding_solver, "_find_highs", lambda: None)
        monkeypatch.setattr(funding_solver, "FIRST_SLICE_S", 1.5)
    threading.Timer(3.5, _thread.interrupt_main).start()
    start = time.monotonic()
    plan = compute_plan(HARD, gap=0.0, time_limit_s=60.0).plan
    assert time.monotonic() - start < 9.0
    assert plan is not None and plan.end is PlanEnd.INTERRUPTED and plan.worth > 0


def test_stopped_before_anything_was_found_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = funding_solver.Solution(None, -np.inf, SolveEnd.INTERRUPTED)
    monkeypatch.setattr("pipeline.planning.funding_plan.solve_program", lambda *_: nothing)
    assert compute_plan(build_random(5, 2, 1)).plan is not None  # the quick plan stands in
    monkeypatch.setattr("pipeline.planning.funding_plan.find_quick_plan", lambda _: None)
    (fault,) = compute_plan(build_random(5, 2, 1)).faults
    assert fault.kind is FaultKind.STOPPED_EMPTY and "stopped by hand" in fault.words


@tells_its_way
def test_a_failure_inside_the_search_is_not_swallowed(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise MemoryError("no room")

    monkeypatch.setattr(funding_solver, "_build_model", fail)
    with pytest.raises(MemoryError, match="no room"):
        compute_plan(build_random(5, 2, 1))


def test_a_wrong_matrix_cannot_pass_unseen(monkeypatch: pytest.MonkeyPatch) -> None:
    case = replace(build_random(8, 2, 2), resources=(), opening_cash=0.0)

    def loosen(given: FundingCase) -> object:
        return build_program(replace(given, opening_cash=1e6))

    monkeypatch.setattr("pipeline.planning.funding_plan.build_program", loosen)
    case = replace(case, tools=tuple(replace(t, uses=()) for t in case.tools))
    with pytest.raises(RuntimeError, match="breaks a rule of the case: cash is"):
        compute_plan(case)


def test_equal_worth_is_settled_as_stated() -> None:
    """Equal worth: pay less; then do less, and sooner; then the first keys."""
    quarter = (Quarter("Q1", 10.0), Quarter("Q2", 0.0))

    def pick(tools: tuple[Tool, ...], products: tuple[Product, ...]) -> dict[str, int]:
        plan = compute_plan(FundingCase(quarter, tools, products)).plan
        assert plan is not None
        return dict(plan.releases)

    a, b = Tool("A", (10.0,)), Tool("B", (8.0,))
    assert pick((a, b), (Product("a", (15.0,), ("A",)), Product("b", (13.0,), ("B",)))) == {"B": 0}  # both net 5
    twin = Tool("B", (10.0,))
    assert pick((twin, a), (Product("x", (15.0,), ("B",)), Product("y", (15.0,), ("A",)))) == {"A": 0}
    assert pick((a,), (Product("a", (10.0,), ("A",)),)) == {}  # nets nothing: not done


@tells_its_way
def test_progress_is_shown_about_once_a_second() -> None:
    seen: list[Progress] = []
    start = time.monotonic()
    solve_program(build_program(HARD), 0.0, 2.5, seen.append)
    assert 1 <= len(seen) <= time.monotonic() - start
    assert [p.elapsed_s for p in seen] == sorted(p.elapsed_s for p in seen)
    assert seen[-1].value is not None and (seen[-1].bound is None or seen[-1].value <= seen[-1].bound)


@pytest.mark.parametrize("seed", range(8))
def test_the_quick_plan_keeps_every_rule_and_is_no_better_than_the_proven_one(seed: int) -> None:
    case = build_random(14, 3, seed)
    cheapest = min(case.tools, key=lambda t: sum(t.payments)).key
    case = replace(case, tools=tuple(replace(t, must=t.key == cheapest, uses=()) for t in case.tools))
    quick, plan = find_quick_plan(case), compute_plan(case).plan
    assert quick is not None and plan is not None
    assert check_plan(case, *quick) == () and cheapest in quick[0]
    worth = compute_account(case, *quick).worth
    assert worth <= plan.worth + 1e-3
    assert worth >= compute_account(case, {cheapest: quick[0][cheapest]}, {}).worth


def test_a_quick_plan_says_when_a_must_do_does_not_fit() -> None:
    case = build_random(6, 2, 1)
    case = replace(case, tools=(replace(case.tools[0], must=True, payments=(1e6,)), *case.tools[1:]))
    assert find_quick_plan(case) is None


def test_single_units_of_money_and_thousands_give_the_same_plan() -> None:
    case = build_random(12, 3, 9)

    def times(values: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(v * 1000 for v in values)

    tools = tuple(replace(t, payments=times(t.payments)) for t in case.tools)
    products = tuple(replace(p, worth=times(p.worth)) for p in case.products)
    cash = tuple(replace(q, new_cash=q.new_cash * 1000) for q in case.quarters)
    small, large = (
        compute_plan(case).plan,
        compute_plan(replace(case, tools=tools, products=products, quarters=cash)).plan,
    )
    assert small is not None and large is not None and small.releases == large.releases
    assert large.worth == pytest.approx(1000 * small.worth)
