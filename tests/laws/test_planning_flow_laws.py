"""What must hold for any flow."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.planning.flow_counts import Visit, build_cumulative_flow, compute_littles_law
from pipeline.planning.flow_simulation import FlowPlan, Job, Resource, Step, simulate
from pipeline.planning.flow_spread import Fixed, Observed, Pert, draw
from pipeline.planning.survival import compute_survival

DAYS = st.floats(0, 100, allow_nan=False)
VISITS = st.lists(st.tuples(DAYS, DAYS, st.booleans()), max_size=12).map(
    lambda rows: [Visit(str(n), "s", a, a + b if done else None) for n, (a, b, done) in enumerate(rows)]
)


@given(VISITS, DAYS, st.floats(0.5, 50))
def test_littles_law_holds_on_any_window(visits: list[Visit], start: float, length: float) -> None:
    check = compute_littles_law(visits, start, start + length)
    assert check.in_work == pytest.approx(check.rate * check.stay, abs=1e-9)
    edges = sorted(
        {start, start + length, *(t for v in visits for t in (v.arrived, v.left) if t and start < t < start + length)}
    )
    counts = build_cumulative_flow(visits, ["s"], edges).in_work[0][:-1]
    area = float(np.sum(np.diff(edges) * counts))
    assert check.in_work * length == pytest.approx(area, rel=1e-9, abs=1e-6)


@given(st.lists(st.tuples(st.floats(0, 50), st.booleans()), min_size=1, max_size=30))
def test_a_curve_falls_and_without_open_items_is_the_plain_share(rows: list[tuple[float, bool]]) -> None:
    ages, done = [age for age, _ in rows], [is_done for _, is_done in rows]
    curve = compute_survival(ages, done)
    assert (np.diff(curve.survival) <= 0).all() and (curve.variance >= 0).all()
    full = compute_survival(ages, [True] * len(ages))
    assert full.survival == pytest.approx([np.mean(np.array(ages) > time) for time in full.times], abs=1e-12)


@given(st.floats(0, 12), st.sampled_from([Pert(1, 2, 9), Observed((2.0, 5.0), (0.4, 0.8), 0.5), Fixed(4.0)]))
def test_what_lasts_is_never_shorter_than_it_has_lasted(lasted: float, spread: Pert | Observed | Fixed) -> None:
    values = draw(spread, np.linspace(0, 0.999999, 500), lasted)
    assert (values >= lasted).all() and np.isfinite(values).all() and (np.diff(values) >= -1e-12).all()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(1, 30))
def test_one_server_with_more_hours_never_makes_the_last_job_later(seed: int, hours: float) -> None:
    """Of one station: with several, more hours at one can delay another job (a known anomaly of list scheduling)."""
    jobs = tuple(Job(f"j{n}", (Step("a", "shop", Pert(1, 5, 20), waited=float(n % 3)),)) for n in range(6))
    before = simulate(FlowPlan(jobs, (Resource("shop", 10.0),)), seed, 20).finish
    after = simulate(FlowPlan(jobs, (Resource("shop", 10.0 + hours),)), seed, 20).finish
    assert (after <= before + 1e-9).all()
