"""Flow against sources outside the project. Status words: seen, from memory, derived."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.planning.flow_counts import Visit, compute_littles_law
from pipeline.planning.flow_queue import compute_steady_queue
from pipeline.planning.flow_simulation import Draws, FlowPlan, Job, Resource, Step, build_network, run_network, simulate
from pipeline.planning.flow_spread import Exponential, Fixed, Pert, compute_mean
from pipeline.planning.survival import (
    compute_band,
    compute_quantile,
    compute_quantile_interval,
    compute_share_lasting,
    compute_survival,
)

# Remission in weeks, 21 children on 6-mercaptopurine, + = censored. Freireich and others, Blood 21 (1963) 699-716; open data in
# R's MASS::gehan and KMsurv::drug6mp. Source seen; values from memory, and proved by the published estimates below.
SIX_MP = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
# Kaplan-Meier estimates and standard errors as printed in textbooks (Kleinbaum and Klein, Survival Analysis): from memory.
SIX_MP_ESTIMATES = {6: (0.857, 0.0764), 7: (0.807, 0.0869), 10: (0.753, 0.0963), 13: (0.690, 0.1068), 16: (0.627, 0.1141),
                    22: (0.538, 0.1282), 23: (0.448, 0.1346)}  # fmt: skip
# Weeks to relapse, maintained group of the acute myelogenous leukaemia trial: Miller, Survival Analysis (1981); open data in
# R's survival::aml. Source seen; values from memory, and proved by the published estimates below.
AML = "9 13 13+ 18 23 28+ 31 34 45+ 48 161+"
AML_ESTIMATES = {9: (0.909, 0.0867), 13: (0.818, 0.1163), 18: (0.716, 0.1397), 23: (0.614, 0.1526), 31: (0.491, 0.1642),
                 34: (0.368, 0.1627), 48: (0.184, 0.1535)}  # fmt: skip


def read(text: str) -> tuple[list[float], list[bool]]:
    words = text.split()
    return [float(word.rstrip("+")) for word in words], [not word.endswith("+") for word in words]


@pytest.mark.parametrize(("data", "expected"), [(SIX_MP, SIX_MP_ESTIMATES), (AML, AML_ESTIMATES)])
def test_product_limit_estimates_and_greenwood_errors(data: str, expected: dict[float, tuple[float, float]]) -> None:
    curve = compute_survival(*read(data))
    assert curve.times.tolist() == list(expected)
    assert curve.survival == pytest.approx([share for share, _ in expected.values()], abs=6e-4)
    assert np.sqrt(curve.variance) == pytest.approx([error for _, error in expected.values()], abs=6e-5)


def test_median_with_open_items_and_the_trap_of_finished_items_only() -> None:
    """23 weeks; leaving the open ones out gives 10, less than half of it (derived)."""
    ages, done = read(SIX_MP)
    assert compute_quantile(compute_survival(ages, done), 0.5) == 23.0
    finished = [age for age, is_done in zip(ages, done, strict=True) if is_done]
    assert np.median(finished) == 10.0
    assert compute_quantile(compute_survival(finished, [True] * len(finished)), 0.5) == 10.0
    assert compute_quantile(compute_survival(*read(AML)), 0.5) == 31.0  # R's survfit prints 31 (from memory)
    assert compute_quantile(compute_survival(ages, done), 0.85) is None


@pytest.mark.parametrize("data", [SIX_MP, AML])
def test_curve_and_band_equal_those_of_scipy(data: str) -> None:
    """scipy.stats.ecdf, a general-purpose reference library: estimate and log(-log) Greenwood band."""
    ages, done = read(data)
    sample = stats.CensoredData.right_censored(ages, [not is_done for is_done in done])
    survival = stats.ecdf(sample).sf
    curve = compute_survival(ages, done)
    for age in np.linspace(0, 200, 97):
        assert compute_share_lasting(curve, age) == pytest.approx(float(survival.evaluate(age)), abs=1e-12)
    band = survival.confidence_interval(0.95, method="log-log")
    lower, upper = compute_band(curve, 0.95)
    assert lower == pytest.approx(band.low.evaluate(curve.times), abs=1e-9)
    assert upper == pytest.approx(band.high.evaluate(curve.times), abs=1e-9)


def test_confidence_of_the_median() -> None:
    """6-MP, log(-log) band: 13 weeks to open-ended (statistical packages; from memory, band proved by scipy above)."""
    assert compute_quantile_interval(compute_survival(*read(SIX_MP)), 0.5) == (13.0, None)


def test_queue_formulas() -> None:
    """Emergency room example of an operations-research textbook (Hillier and Lieberman): from memory; closed forms."""
    one, two = compute_steady_queue(2, 3), compute_steady_queue(2, 3, servers=2)
    figures = [
        one.idle,
        one.waiting,
        one.present,
        one.wait,
        one.stay,
        two.idle,
        two.waiting,
        two.present,
        two.wait,
        two.stay,
    ]
    assert figures == pytest.approx([1 / 3, 4 / 3, 2, 2 / 3, 1, 1 / 2, 1 / 12, 3 / 4, 1 / 24, 3 / 8], abs=1e-12)
    assert one.must_wait == pytest.approx(2 / 3) and two.must_wait == pytest.approx(1 / 6)


def test_three_doctors() -> None:
    """Eye clinic of a textbook on queues (Gross and Harris, chapter 2): 6 an hour, 3 doctors, 20 minutes each: p0 1/9,
    Lq 8/9, Wq 8 min 53.3 s, L 26/9, W 28 min 53.3 s. From memory; closed forms."""
    clinic = compute_steady_queue(6, 3, servers=3)
    assert clinic.idle == pytest.approx(1 / 9) and clinic.utilisation == pytest.approx(2 / 3)
    assert (clinic.waiting, clinic.present) == pytest.approx((8 / 9, 26 / 9))
    assert (60 * clinic.wait, 60 * clinic.stay) == pytest.approx((8 + 53.333 / 60, 28 + 53.333 / 60), abs=1e-4)


# Erlang's loss table as printed in handbooks of telephone traffic: servers, offered load, share lost. From memory.
LOSS_TABLE = [(1, 0.0101, 0.01), (2, 0.153, 0.01), (5, 1.361, 0.01), (10, 4.461, 0.01), (20, 12.03, 0.01), (5, 1.657, 0.02),
              (10, 5.084, 0.02), (20, 13.18, 0.02)]  # fmt: skip


@pytest.mark.parametrize(("servers", "load", "lost"), LOSS_TABLE)
def test_share_that_waits_follows_from_the_table_of_losses(servers: int, load: float, lost: float) -> None:
    """Erlang's waiting probability C from the loss probability B: C = B / (1 - rho (1 - B)) (Erlang 1917). B is held
    against the printed table and against scipy's Poisson distribution, which gives it exactly."""
    exact = float(stats.poisson.pmf(servers, load) / stats.poisson.cdf(servers, load))
    assert exact == pytest.approx(lost, rel=6e-3)  # the printed load has three or four digits
    share = load / servers
    queue = compute_steady_queue(load, 1.0, servers=servers)
    assert queue.must_wait == pytest.approx(exact / (1 - share * (1 - exact)), rel=1e-12)
    assert queue.waiting == pytest.approx(queue.must_wait * share / (1 - share), rel=1e-12)


@pytest.mark.parametrize(("servers", "stay"), [(1, 1.0), (2, 0.375)])
def test_the_simulator_reproduces_the_queue_formulas(servers: int, stay: float) -> None:
    """M/M/1 and M/M/2 at lambda 2, mu 3 through the simulator: mean time in the system of customers 150 to 400 (the
    first 150 warm up: the relaxation time is about 10 units, 20 customers) within 4 standard errors of W."""
    gaps = [Step(f"gap{n}", outside=Exponential(0.5), after=(f"gap{n - 1}",) if n else ()) for n in range(400)]
    calls = [Step(f"call{n}", "desk", Exponential(1 / 3), after=(f"gap{n}",)) for n in range(400)]
    plan = FlowPlan((Job("day", (*gaps, *calls)),), (Resource("desk", float(servers), servers),))
    run = simulate(plan, seed=11, worlds=300)
    times = run.step_finish[:, 0, 550:] - run.step_finish[:, 0, 150:400]
    means = times.mean(axis=1)
    error = means.std(ddof=1) / means.size**0.5
    assert error < 0.06 * stay
    assert abs(means.mean() - stay) < 4 * error


# 14-activity construction project: optimistic, most likely, pessimistic weeks and predecessors. Hillier and Lieberman,
# Introduction to Operations Research, project management chapter: from memory; length 44 proved by a linear programme.
NETWORK = {
    "A": (1, 2, 3, ""), "B": (2, 3.5, 8, "A"), "C": (6, 9, 18, "B"), "D": (4, 5.5, 10, "C"), "E": (1, 4.5, 5, "C"),
    "F": (4, 4, 10, "E"), "G": (5, 6.5, 11, "D"), "H": (5, 8, 17, "EG"), "I": (3, 7.5, 9, "C"), "J": (3, 9, 9, "FI"),
    "K": (4, 4, 4, "J"), "L": (1, 5.5, 7, "J"), "M": (1, 2, 3, "H"), "N": (5, 5.5, 9, "KL"),
}  # fmt: skip
CRITICAL = "ABCEFJLN"


def build_project(names: str, spreads: dict[str, Fixed | Pert]) -> FlowPlan:
    steps = tuple(
        Step(name, outside=spreads[name], after=tuple(before for before in NETWORK[name][3] if before in names))
        for name in names
    )
    return FlowPlan((Job("project", steps),), ())


def test_the_network_has_its_published_length_and_critical_path() -> None:
    means = {name: compute_mean(Pert(*row[:3])) for name, row in NETWORK.items()}
    plan = build_project("".join(NETWORK), {name: Fixed(mean) for name, mean in means.items()})
    assert simulate(plan, seed=1, worlds=1).finish[0, 0] == pytest.approx(44.0)
    longer = {
        name: simulate(
            build_project("".join(NETWORK), {n: Fixed(mean + (1e-3 if n == name else 0)) for n, mean in means.items()}),
            1,
            1,
        ).finish[0, 0]
        for name in NETWORK
    }
    assert "".join(name for name, length in longer.items() if length > 44.0005) == CRITICAL


def test_the_critical_path_meets_its_date_as_often_as_published() -> None:
    """Length 44, variance 9, P(T <= 47) = 0.8413: the textbook's own model (normal, ((high - low) / 6) squared for
    each activity) on the simulator's network, within 4 Monte Carlo standard errors."""
    worlds = 40_000
    plan = build_project(CRITICAL, {name: Fixed(1.0) for name in NETWORK})
    rng = np.random.default_rng(5)
    rows = [NETWORK[name] for name in CRITICAL]
    weeks = np.stack([rng.normal((a + 4 * m + b) / 6, (b - a) / 6, worlds) for a, m, b, _ in rows], axis=1)[:, None, :]
    length = run_network(build_network(plan), Draws(np.zeros_like(weeks), weeks), plan).finish[:, 0]
    assert abs(length.mean() - 44.0) < 4 * 3 / worlds**0.5
    assert length.var() == pytest.approx(9.0, rel=4 * (2 / worlds) ** 0.5)
    assert abs(np.mean(length <= 47.0) - 0.8413) < 4 * (0.8413 * 0.1587 / worlds) ** 0.5


def test_the_whole_network_is_later_than_its_critical_path_says() -> None:
    """Merge bias (derived): with beta activities the project ends after 47 more often than the single path says; the
    figure equals a direct computation with numpy's own beta numbers."""
    worlds = 20_000
    plan = build_project("".join(NETWORK), {name: Pert(*row[:3]) for name, row in NETWORK.items()})
    simulated = simulate(plan, seed=3, worlds=worlds).finish[:, 0]
    rng = np.random.default_rng(4)
    ends: dict[str, np.ndarray] = {}
    for name, (low, likely, high, before) in NETWORK.items():
        a = 1 + 4 * (likely - low) / (high - low) if high > low else 1.0
        took = low + (high - low) * rng.beta(a, 6 - a, worlds)
        ends[name] = took + (np.max([ends[other] for other in before], axis=0) if before else 0.0)
    direct = np.maximum(ends["M"], ends["N"])
    error = (direct.var() / worlds + simulated.var() / worlds) ** 0.5
    assert abs(simulated.mean() - direct.mean()) < 4 * error and simulated.mean() > 44.0 + 10 * error
    share = np.mean(direct <= 47.0)
    assert abs(np.mean(simulated <= 47.0) - share) < 4 * (2 * share * (1 - share) / worlds) ** 0.5


def test_littles_law_on_a_finite_window() -> None:
    """5 items in 10 days: 0.5 x 3.6 = 1.8 exactly (Little 1961; derived)."""
    visits = [
        Visit(str(n), "all", a, b) for n, (a, b) in enumerate(zip([0, 1, 2, 4, 7], [3, 4, 6, 9, 10], strict=True))
    ]
    check = compute_littles_law(visits, 0, 10)
    assert (check.rate, check.stay, check.in_work) == (0.5, 3.6, 1.8)
    assert (check.arrived, check.left, check.cut) == (5, 5, 0)
