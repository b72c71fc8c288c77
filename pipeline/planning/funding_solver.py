"""Hand a program to HiGHS, watch it work, stop it in good order.

The solver runs in a thread of its own while the calling thread waits, so that Ctrl-C and progress are answered at
once. Where SciPy's build of HiGHS offers its callbacks, an interrupt keeps the best solution found to that moment;
elsewhere `scipy.optimize.milp` is run in slices of growing length and an interrupt keeps the last slice's. Both
give the same answer when nobody interrupts.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np

from pipeline.planning.funding_program import Floats, Program

FIRST_SLICE_S = 4.0
PROGRESS_EVERY_S = 1.0


class SolveEnd(StrEnum):
    """Why the solver stopped."""

    GOAL = "gap goal reached"
    TIME = "time limit"
    INTERRUPTED = "stopped by hand"
    INFEASIBLE = "nothing fits"
    FAILED = "the solver failed"


@dataclass(frozen=True)
class Progress:
    """A sign of life: seconds since the start, best value and bound so far in money (None before there is one)."""

    elapsed_s: float
    value: float | None
    bound: float | None


@dataclass(frozen=True)
class Solution:
    """What the solver found: x (None when nothing), objective bound (of the minimisation, scaled) and why it ended."""

    x: Floats | None
    bound: float
    end: SolveEnd
    message: str = ""


OnProgress = Callable[[Progress], None]


@dataclass
class _Watch:
    """What the two threads share. Written by the solver's thread, read by the caller's; `stop` the other way."""

    stop: threading.Event
    x: Floats | None = None
    value: float = math.inf
    bound: float = -math.inf
    failure: BaseException | None = None
    solution: Solution | None = None


def solve_program(
    program: Program, gap: float = 0.0, time_limit_s: float | None = None, on_progress: OnProgress | None = None
) -> Solution:
    """Solve a program to a relative gap (0: proven optimal) within a time limit in seconds (None: none).

    on_progress is called about once a second in the calling thread. A KeyboardInterrupt in the calling thread ends
    the solve and returns the best solution so far with `SolveEnd.INTERRUPTED`. The same program, gap and no time
    limit give the same answer each time.
    Raises ValueError for a gap below 0 or a time limit that is not above 0.
    """
    if not gap >= 0:
        raise ValueError(f"a gap of {gap:g} is below zero; give 0 for a proven optimum or a share such as 1e-4")
    if time_limit_s is not None and not time_limit_s > 0:
        raise ValueError(f"a time limit of {time_limit_s:g} s leaves no time; give seconds above 0")
    if len(program.cost) == 0:
        fits = bool(np.all(program.row_upper >= 0))
        return Solution(np.zeros(0) if fits else None, 0.0, SolveEnd.GOAL if fits else SolveEnd.INFEASIBLE)
    return _run_watched(program, gap, time_limit_s, on_progress)


def _run_watched(program: Program, gap: float, limit: float | None, on_progress: OnProgress | None) -> Solution:
    watch, start = _Watch(threading.Event()), time.monotonic()
    finished = threading.Event()
    thread = threading.Thread(target=_work, args=(program, gap, limit, watch, finished), daemon=True)
    thread.start()
    try:
        while not finished.wait(PROGRESS_EVERY_S):
            if on_progress is not None:
                on_progress(_read_progress(watch, program.scale, time.monotonic() - start))
    except KeyboardInterrupt:
        watch.stop.set()
        return _settle_interrupt(watch, finished)
    if watch.failure is not None:
        raise watch.failure
    assert watch.solution is not None
    return watch.solution


def _settle_interrupt(watch: _Watch, finished: threading.Event) -> Solution:
    finished.wait(2.0)  # the solver looks at the stop sign many times a second; a slice of `milp` does not
    if watch.solution is not None and watch.solution.end is SolveEnd.GOAL:
        return watch.solution
    return Solution(watch.x, watch.bound, SolveEnd.INTERRUPTED)


def _read_progress(watch: _Watch, scale: float, elapsed: float) -> Progress:
    value = -watch.value / scale if math.isfinite(watch.value) else None
    bound = -watch.bound / scale if math.isfinite(watch.bound) else None
    return Progress(elapsed, value, bound)


def _work(program: Program, gap: float, limit: float | None, watch: _Watch, finished: threading.Event) -> None:
    try:
        highs = _find_highs()
        solve = _solve_in_slices if highs is None else _solve_with_callbacks
        watch.solution = solve(program, gap, limit, watch)
    except BaseException as failure:
        watch.failure = failure
    finally:
        finished.set()


def _find_highs() -> Any | None:
    """Return SciPy's own HiGHS module when it offers what is needed; it is no public part of SciPy and may change."""
    try:
        import scipy.optimize._highspy._core as highs

        kinds = highs.cb.HighsCallbackType
        wanted = (highs._Highs.setCallback, highs._Highs.startCallback, highs.HighsLp, kinds.kCallbackMipInterrupt)
        is_complete = all(w is not None for w in wanted) and hasattr(highs.cb.HighsCallbackInput, "user_interrupt")
    except (ImportError, AttributeError):
        return None
    return highs if is_complete else None


def _build_model(highs: Any, program: Program) -> Any:
    model = highs.HighsLp()
    model.num_col_ = model.a_matrix_.num_col_ = len(program.cost)
    model.num_row_ = model.a_matrix_.num_row_ = len(program.row_upper)
    model.a_matrix_.format_ = highs.MatrixFormat.kRowwise
    model.a_matrix_.start_, model.a_matrix_.index_ = program.indptr, program.indices
    model.a_matrix_.value_ = program.data
    model.col_cost_, model.col_lower_, model.col_upper_ = program.cost, program.lower, program.upper
    model.row_lower_, model.row_upper_ = program.row_lower, program.row_upper
    kinds = (highs.HighsVarType(0), highs.HighsVarType(1))
    model.integrality_ = [kinds[w] for w in program.whole.tolist()]
    return model


def _solve_with_callbacks(program: Program, gap: float, limit: float | None, watch: _Watch) -> Solution:
    highs = _find_highs()
    assert highs is not None
    solver, options = highs._Highs(), highs.HighsOptions()
    options.output_flag, options.mip_rel_gap = False, gap
    if limit is not None:
        options.time_limit = limit
    solver.passOptions(options)
    solver.passModel(_build_model(highs, program))
    kinds = highs.cb.HighsCallbackType

    def listen(kind: int, _message: str, seen: Any, reply: Any, _data: object) -> None:
        if kind == kinds.kCallbackMipImprovingSolution.value:
            watch.x, watch.value = np.array(seen.mip_solution), seen.objective_function_value
        watch.bound = max(watch.bound, seen.mip_dual_bound) if math.isfinite(seen.mip_dual_bound) else watch.bound
        reply.user_interrupt = watch.stop.is_set()

    solver.setCallback(listen, None)
    solver.startCallback(kinds.kCallbackMipImprovingSolution)
    solver.startCallback(kinds.kCallbackMipInterrupt)
    solver.run()
    return _read_solver(highs, solver)


def _read_solver(highs: Any, solver: Any) -> Solution:
    status, info = solver.getModelStatus(), solver.getInfo()
    ends = {
        highs.HighsModelStatus.kOptimal: SolveEnd.GOAL,
        highs.HighsModelStatus.kTimeLimit: SolveEnd.TIME,
        highs.HighsModelStatus.kInterrupt: SolveEnd.INTERRUPTED,
        highs.HighsModelStatus.kInfeasible: SolveEnd.INFEASIBLE,
    }
    end = ends.get(status, SolveEnd.FAILED)
    has_point = math.isfinite(info.objective_function_value) and end not in (SolveEnd.INFEASIBLE, SolveEnd.FAILED)
    x = np.array(solver.getSolution().col_value) if has_point else None
    return Solution(x, info.mip_dual_bound, end, solver.modelStatusToString(status))


def _solve_in_slices(program: Program, gap: float, limit: float | None, watch: _Watch) -> Solution:
    slice_s, spent = FIRST_SLICE_S, 0.0
    while True:
        left = math.inf if limit is None else limit - spent
        started = time.monotonic()
        solution = _solve_by_milp(program, gap, min(slice_s, left))
        spent += time.monotonic() - started
        if solution.x is not None:
            watch.x, watch.value = solution.x, float(program.cost @ solution.x)
        watch.bound = max(watch.bound, solution.bound)
        if solution.end is not SolveEnd.TIME or watch.stop.is_set() or spent >= left:
            return solution
        slice_s *= 2.0


def _solve_by_milp(program: Program, gap: float, limit: float) -> Solution:
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    shape = (len(program.row_upper), len(program.cost))
    matrix = csr_array((program.data, program.indices, program.indptr), shape=shape)
    result = milp(
        program.cost,
        integrality=program.whole,
        bounds=Bounds(program.lower, program.upper),
        constraints=LinearConstraint(matrix, program.row_lower, program.row_upper),
        options={"mip_rel_gap": gap, "time_limit": limit},
    )
    ends = {0: SolveEnd.GOAL, 1: SolveEnd.TIME, 2: SolveEnd.INFEASIBLE}
    bound = -math.inf if result.mip_dual_bound is None else float(result.mip_dual_bound)
    return Solution(result.x, bound, ends.get(result.status, SolveEnd.FAILED), str(result.message))
