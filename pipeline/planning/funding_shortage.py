"""How far must-dos go beyond what there is: how much cash is missing by when, or which capacity.

Found by letting cash (then capacity) be bought at a price of one, and asking for the smallest purchase.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.planning.funding_case import FundingCase
from pipeline.planning.funding_faults import Fault, FaultKind
from pipeline.planning.funding_program import Program, build_program
from pipeline.planning.funding_solver import SolveEnd, solve_program
from pipeline.planning.funding_words import render_amount, render_keys, render_quarter


def find_must_faults(case: FundingCase) -> tuple[Fault, ...]:
    """Return why the must-dos of a case do not fit; empty when they do.

    Cash: the least amount that would have to be there from the start, and the first quarter in which it is missing.
    Capacity: the resources and quarters that would have to give, with the least units in all.
    """
    program = build_program(case, with_nudge=False)
    must = tuple(sorted([t.key for t in case.tools if t.must] + [p.key for p in case.products if p.must]))
    for find in (_find_short_cash, _find_short_capacity):
        faults = find(case, program, must)
        if faults is not None:
            return faults
    words = f"The must-dos {render_keys(must)} exclude each other, with any cash and capacity."
    return (Fault(FaultKind.MUST_TOGETHER_IMPOSSIBLE, must, words, "take the instruction from one of them"),)


def _find_short_cash(case: FundingCase, program: Program, must: tuple[str, ...]) -> tuple[Fault, ...] | None:
    bought = _solve_bought(program, [(row, program.cash_scales[q], 0) for q, row in program.cash_rows.items()], 1)
    if bought is None:
        return None
    short, x = float(bought[0]), bought[1:]
    if short <= 0:
        return ()
    quarter = _find_first_short(program, x)
    amount, when = render_amount(short, case.currency), render_quarter(case, quarter)
    words = f"The must-dos {render_keys(must)} need {amount} more cash than there is; it is missing from {when} on."
    fix = f"bring {amount} by {when}, or take the instruction from one of them"
    return (Fault(FaultKind.MUST_BEYOND_CASH, must, words, fix, amount=short, quarter=quarter),)


def _find_first_short(program: Program, x: np.ndarray) -> int:
    def compute_over(row: int) -> float:
        part = slice(program.indptr[row], program.indptr[row + 1])
        return float(program.data[part] @ x[program.indices[part]]) - float(program.row_upper[row])

    short = (quarter for quarter, row in sorted(program.cash_rows.items()) if compute_over(row) > 1e-6)
    return next(short, max(program.cash_rows))  # what is short by less than the rounding is short in the end


def _find_short_capacity(case: FundingCase, program: Program, must: tuple[str, ...]) -> tuple[Fault, ...] | None:
    keys = list(program.resource_rows)
    rows = [(program.resource_rows[k], program.resource_scales[k], 1 + n) for n, k in enumerate(keys)]
    cash = [(row, program.cash_scales[q], 0) for q, row in program.cash_rows.items()]
    bought = _solve_bought(program, cash + rows, 1 + len(keys))
    if bought is None:
        return None
    faults = []
    for (resource, quarter), units in zip(keys, bought[1 : 1 + len(keys)].tolist(), strict=True):
        if units > 1e-6:
            when = render_quarter(case, quarter)
            words = f"The must-dos {render_keys(must)} need {units:g} more of {resource} in {when} than there is."
            fix = f"find {units:g} more of {resource}, or take the instruction from one of them"
            faults.append(Fault(FaultKind.MUST_BEYOND_CAPACITY, must, words, fix, amount=units, quarter=quarter))
    return tuple(faults)


def _solve_bought(program: Program, rows: list[tuple[int, float, int]], count: int) -> np.ndarray | None:
    """Return what has to be bought (`count` values) and then x; rows: (row, its scale, which purchase fills it)."""
    width = len(program.cost)
    indptr, indices, data = [0], [], []
    fill = {row: (scale, which) for row, scale, which in rows}
    for row in range(len(program.row_upper)):
        part = slice(program.indptr[row], program.indptr[row + 1])
        indices += program.indices[part].tolist()
        data += program.data[part].tolist()
        if row in fill:
            indices.append(width + fill[row][1])
            data.append(-fill[row][0])
        indptr.append(len(indices))
    bought = replace(
        program,
        cost=np.concatenate([np.zeros(width), np.ones(count)]),
        lower=np.concatenate([program.lower, np.zeros(count)]),
        upper=np.concatenate([program.upper, np.full(count, np.inf)]),
        whole=np.concatenate([program.whole, np.zeros(count, dtype=np.int32)]),
        indptr=np.array(indptr, dtype=np.int32), indices=np.array(indices, dtype=np.int32), data=np.array(data),
    )  # fmt: skip
    solution = solve_program(bought)
    if solution.end is not SolveEnd.GOAL or solution.x is None:
        return None
    return np.concatenate([solution.x[width:], solution.x[:width]])
