"""Time the funding plan against the same matrices handed to HiGHS alone. Invented portfolios, seeded.

Run `python tests/scale/bench_funding.py`; `--large` adds the row with 2,000 parts.
"""

from __future__ import annotations

import argparse
import re
import shutil
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np

from pipeline.planning.funding_case import (
    EitherOr,
    FundingCase,
    Overlap,
    Product,
    ProductKind,
    Quarter,
    Resource,
    Tool,
    Use,
)
from pipeline.planning.funding_plan import FundingPlan, PlanEnd, compute_plan
from pipeline.planning.funding_program import Program, build_program

GOAL_RATIO = 1.3


def build_portfolio(parts: int, quarters: int = 8, seed: int = 1, share: float = 0.3) -> FundingCase:
    """Return an invented portfolio: `parts` products (assemblies and kits among them), some tools shared.

    A quarter of the tools is ready now, the others are forecast over the quarters and a little beyond, as for parts
    in development. share: cash of all quarters as a share of what all tools cost together.
    """
    rng = np.random.default_rng(seed)
    tools = tuple(_build_tool(rng, i, quarters) for i in range(int(parts * 1.1)))
    products = tuple(_build_product(rng, i, parts, len(tools), quarters) for i in range(parts))
    total = sum(sum(t.payments) for t in tools)
    cash = share * total / quarters
    rows = tuple(
        Quarter(f"Q{q + 1}", round(cash * rng.uniform(0.7, 1.3), 1), 0.2 if q < 2 else 0.0) for q in range(quarters)
    )
    pairs = {tuple(sorted(rng.choice(parts, 2, replace=False).tolist())) for _ in range(parts // 10)}
    overlaps = tuple(Overlap(f"P{a:04}", f"P{b:04}", round(float(rng.uniform(1, 12)), 1)) for a, b in sorted(pairs))
    groups = tuple(EitherOr((f"P{7 * k:04}", f"P{7 * k + 1:04}")) for k in range(parts // 50))
    hours = Resource("engineer", tuple([round(2.0 * share * len(tools) / quarters * 30)] * quarters))
    press = Resource("trial press", tuple([round(2.0 * share * len(tools) / quarters * 2.5)] * quarters))
    return FundingCase(rows, tools, products, overlaps, groups, (hours, press), 10.0, 0.3, 0.02)


def _build_tool(rng: np.random.Generator, number: int, quarters: int) -> Tool:
    cost = round(float(np.exp(rng.normal(2.3, 0.8))), 1)
    payments = (round(cost * 0.5, 2), round(cost * 0.3, 2), round(cost * 0.2, 2))[: 1 + int(rng.integers(0, 3))]
    uses = (
        Use("engineer", (float(rng.integers(10, 40)), float(rng.integers(0, 20)))),
        Use("trial press", (0.0, float(rng.integers(1, 4)))),
    )
    earliest = int(rng.integers(1, quarters + 1)) if rng.random() < 0.75 else 0
    why = "fit check not proven" if earliest else ""
    return Tool(f"T{number:04}", payments, int(rng.integers(1, 3)), uses, earliest, why)


def _build_product(rng: np.random.Generator, number: int, parts: int, tools: int, quarters: int) -> Product:
    worth = float(np.exp(rng.normal(3.0, 0.9)))
    curve = tuple(round(worth * 0.96**q, 2) for q in range(quarters + 4))
    spread = tuple(round(0.3 * w, 2) for w in curve)
    wanted = rng.choice(tools, int(rng.integers(1, 4)), replace=False, p=_weights(tools))
    used = tuple(f"T{t:04}" for t in sorted({number, *wanted[1:].tolist()}))
    kind = (ProductKind.KIT, ProductKind.ASSEMBLY)[number % 2] if number >= 0.85 * parts else ProductKind.PART
    if kind is ProductKind.PART:
        return Product(f"P{number:04}", curve, used, downside=spread)
    children = tuple(f"P{c:04}" for c in sorted(rng.choice(int(0.85 * parts), 3, replace=False).tolist()))
    return Product(f"P{number:04}", tuple(round(w * 1.6, 2) for w in curve), used[:1], children, kind, spread)


def _weights(tools: int) -> np.ndarray:
    weights = 1.0 / (1.0 + np.arange(tools)) ** 0.5
    return weights / weights.sum()


def solve_alone(program: Program, gap: float) -> float:
    """Return the seconds that `scipy.optimize.milp` takes for these matrices, nothing else."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    matrix = csr_array(
        (program.data, program.indices, program.indptr), shape=(len(program.row_upper), len(program.cost))
    )
    start = time.perf_counter()
    milp(
        program.cost, integrality=program.whole, bounds=Bounds(program.lower, program.upper),
        constraints=LinearConstraint(matrix, program.row_lower, program.row_upper), options={"mip_rel_gap": gap},
    )  # fmt: skip
    return time.perf_counter() - start


def measure(parts: int, gap: float, seeds: tuple[int, ...], repetitions: int) -> None:
    """Print one row for each seed: our whole call, the solver alone, their ratio, the gap that was reached."""
    for seed in seeds:
        case = build_portfolio(parts, seed=seed)
        program = build_program(case)
        ours, alone = [], []
        for _ in range(repetitions):
            alone.append(solve_alone(program, gap))
            start = time.perf_counter()
            answer = compute_plan(case, gap=gap)
            ours.append(time.perf_counter() - start)
        assert answer.plan is not None and answer.plan.end is PlanEnd.GOAL
        a, b = statistics.median(ours), statistics.median(alone)
        print(
            f"{parts:5} parts, seed {seed}: plan {a:6.2f} s, HiGHS alone {b:6.2f} s, ratio {a / b:4.2f} "
            f"(goal {GOAL_RATIO}), gap {answer.plan.gap:.1e}, proven {answer.plan.is_proven}, columns {len(program.cost)}"
        )


def _compare(parts: int, gap: float, seed: int, times: int) -> tuple[float, float, FundingPlan]:
    """Return the medians of our whole call and of the solver alone, run by turns, and the plan."""
    case = build_portfolio(parts, seed=seed)
    program = build_program(case)
    ours, alone, plan = [], [], None
    for _ in range(times):
        alone.append(solve_alone(program, gap))
        start = time.perf_counter()
        plan = compute_plan(case, gap=gap).plan
        ours.append(time.perf_counter() - start)
    assert plan is not None
    return statistics.median(ours), statistics.median(alone), plan


def measure_rows(quick: bool) -> list[tuple[str, str, str, str, bool | None]]:
    """Return the rows of the table: work, floor, figure, goal, met (None: no goal)."""
    rows: list[tuple[str, str, str, str, bool | None]] = []
    floor = "the same matrices handed to HiGHS alone"
    found = [_compare(200, 0.0, seed, 3 if quick else 5) for seed in ((1,) if quick else (1, 2, 3))]
    ratio, seconds = (statistics.median(f(a, b) for a, b, _ in found) for f in (lambda a, b: a / b, lambda a, _: a))
    proven = all(plan.is_proven for _, _, plan in found)
    words = f"{ratio:.2f} × ({seconds:.2f} s), {'proven' if proven else 'not proven'}"
    met = ratio <= GOAL_RATIO and proven
    rows.append(("funding plan, 200 parts, 8 quarters", floor, words, f"≤ {GOAL_RATIO} ×, proven optimal", met))
    if not quick:
        ours, _, plan = _compare(2000, 1e-4, 1, 1)
        words = f"gap {plan.gap:.1e} ({ours:.1f} s)"
        rows.append(
            ("funding plan, 2,000 parts", "-", words, "gap ≤ 1e-4, shown", plan.gap <= 1e-4 and bool(plan.words))
        )
    return rows + _measure_page(quick)


def _measure_page(quick: bool) -> list[tuple[str, str, str, str, bool | None]]:
    """CPU seconds of the whole study of the spending page, from 200 synthetic records: anew, and kept."""
    from benchmarks import make_workspace

    from pipeline.portfolio.case import build_part_case
    from pipeline.portfolio.portfolio import build_portfolio as read_portfolio
    from pipeline.portfolio.spending import plan_spending
    from pipeline.views.spend import build_spend_page

    with tempfile.TemporaryDirectory(prefix="pipeline-bench-") as name:
        root = make_workspace(Path(name), 200)
        money = root / "shared" / "money.yaml"  # enough cash for what the synthetic records have promised
        money.write_text(re.sub(r"(20\d\d-Q\d: )(\d+)", r"\g<1>\g<2>0", money.read_text("utf-8")), "utf-8")
        anew, kept = [], []
        for _ in range(1 if quick else 3):
            shutil.rmtree(root / ".pipeline", ignore_errors=True)
            for times in (anew, kept):
                portfolio = read_portfolio(root)
                for file in portfolio.parts.values():
                    build_part_case(file)  # every part page has it already
                start = time.process_time()
                build_spend_page(plan_spending(portfolio, root))
                times.append(time.process_time() - start)
    first, again = statistics.median(anew), statistics.median(kept)
    work = "spending page: plan, reasons, budgets, cut line, 16 worlds, 200 synthetic parts, nothing kept"
    return [
        (work, "-", f"{first:.1f} s of CPU", "≤ 5 s", first <= 5),
        (
            "the same, answers kept",
            "nothing kept",
            f"{again / first:.2f} × ({again:.2f} s)",
            "≤ 0.5 ×",
            again <= 0.5 * first,
        ),
    ]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--large", action="store_true", help="also 2,000 parts to a gap of 1e-4")
    parser.add_argument("--repetitions", type=int, default=5)
    arguments = parser.parse_args()
    measure(200, 0.0, (1, 2, 3), arguments.repetitions)
    if arguments.large:
        measure(2000, 1e-4, (1,), 1)


if __name__ == "__main__":
    main()
