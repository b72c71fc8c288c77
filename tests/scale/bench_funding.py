"""Time the funding plan against the same matrices handed to HiGHS alone. Invented portfolios, seeded.

Run `python tests/scale/bench_funding.py`; `--large` adds the row with 2,000 parts.
"""

from __future__ import annotations

import argparse
import statistics
import time

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
from pipeline.planning.funding_plan import PlanEnd, compute_plan
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
