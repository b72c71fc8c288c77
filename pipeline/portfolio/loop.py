"""From a record to the decision on one more loop: what is at stake, what another look costs, what it would buy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.costing.errors_left import FailureMode
from pipeline.costing.figures import Figure
from pipeline.costing.loop import Loop, LoopResult, Stake, Stakes, compute_exposure, compute_loop
from pipeline.costing.loop_inputs import Curve, LoopInput, Swing, compute_curve, compute_swings, list_inputs
from pipeline.costing.loop_series import LoopSeries, compute_series, rank_evidence
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import Range
from pipeline.costing.stages import Stage
from pipeline.gates.tooled import FIRST_ARTICLE_PROCESS
from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.lineage.nodes import is_provable
from pipeline.model.catalogue import Process
from pipeline.model.part import RedoCost
from pipeline.model.words import FailureMode as ModeWord
from pipeline.model.words import Role
from pipeline.portfolio.errors import (
    PartErrors,
    compute_part_errors,
    convert_detection,
    find_detection,
    find_fit_detection,
)
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import Shop, keep_for_part, keep_for_shop

SEED = 2026
"""Seed of the chance that a loop pays, where there are too many combinations of counts to add up."""


@dataclass(frozen=True)
class Option:
    """A piece of evidence that could be bought before tooling: the loop itself, and how its price is made up."""

    loop: Loop
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class LoopAdvice:
    """Whether one more loop of prototype and fit checks pays, and what else would buy more.

    errors : what is probably left. late, now : what one error costs found in tooling and found today.
    stakes : by mode. exposure : sum of errors left x (late - now). usual : the loop that is looked at.
    result, series, inputs, swings, curve : of the usual loop. ranked : every option, the best net gain first.
    """

    errors: PartErrors
    late: Figure
    now: Figure
    stakes: Stakes
    exposure: float
    usual: Option
    options: tuple[Option, ...]
    result: LoopResult
    series: LoopSeries
    inputs: tuple[LoopInput, ...]
    swings: tuple[Swing, ...]
    curve: Curve | None
    ranked: tuple[LoopResult, ...]

    @property
    def pays(self) -> bool:
        """Whether the usual loop pays on average."""
        return self.result.pays

    @property
    def best(self) -> LoopResult:
        """The option with the greatest net gain."""
        return self.ranked[0]


def find_no_advice(file: PartFile) -> str:
    """Return why there is no advice on a loop, in words; empty where there is."""
    if file.standing.released:
        return "The part is released: its errors show in the field now, and no loop before tooling is left to buy."
    if file.standing.is_dropped:
        return "The part is dropped."
    if isinstance(file.basis, Cycle):
        return f"The tools wait for each other in a ring; `pipeline check {file.number}` names it."
    if not file.workspace.catalogues.families.families[file.part.family].errors:
        return f"The family {file.part.family} says nothing of usual errors: write `errors` in shared/families.yaml."
    if find_usual_process(file) is None:
        return "No process in shared/processes.yaml builds a sample that shows whether a part fits."
    return ""


@keep_for_part
def compute_loop_advice(file: PartFile) -> LoopAdvice | None:
    """Return the advice on one more loop of a part, None where there is none to give (see `find_no_advice`)."""
    if find_no_advice(file) or file.ladder is None:
        return None
    errors = compute_part_errors(file)
    late, now = find_late(file), file.ladder.part.today
    stakes = build_stakes(errors, late, now)
    options = tuple(_list_options(file))
    usual = options[0]
    inputs = list_inputs(stakes, usual.loop)
    swings = compute_swings(stakes, usual.loop, _choose_spans(inputs, late, now, _find_week_cost(file)))
    return LoopAdvice(
        errors=errors,
        late=late,
        now=now,
        stakes=stakes,
        exposure=compute_exposure(stakes),
        usual=usual,
        options=options,
        result=compute_loop(stakes, usual.loop, SEED),
        series=compute_series(stakes, usual.loop),
        inputs=inputs,
        swings=swings,
        curve=_draw_curve(inputs, swings),
        ranked=rank_evidence(stakes, [option.loop for option in options], SEED),
    )


def find_late(file: PartFile) -> Figure:
    """Return what one error costs when it is found in tooling: at the first article, or a stage after today's."""
    if file.ladder is None:
        raise ValueError(f"{file.number} has no ladder; its tools wait for each other")
    today = file.ladder.part.today.stage
    late = Stage.FIRST_ARTICLE if today is None else max(Stage.FIRST_ARTICLE, Stage(min(today + 1, Stage.RELEASED)))
    return file.ladder.part.find_rung(late)


def build_stakes(errors: PartErrors, late: Figure, now: Figure) -> dict[FailureMode, Stake]:
    """Return what is at stake by mode: errors left, and the likely cost of one found late and found now."""
    dear, cheap = float(late.total.likely), float(now.total.likely)
    return {row.mode: Stake(row.remaining, dear, min(cheap, dear)) for row in errors.rows}


# --- options --------------------------------------------------------------------------------------


@keep_for_shop
def count_usual_processes(shop: Shop) -> dict[str, Counter[str]]:
    """Return how often each process was used for prototypes, by family."""
    used: dict[str, Counter[str]] = {}
    for _, file in sorted(shop.parts.items()):
        for prototype in file.part.prototypes.values():
            used.setdefault(file.part.family, Counter())[prototype.process] += 1
    return used


def find_usual_process(file: PartFile) -> str | None:
    """Return the process of the family's usual prototype: built most often, else the cheapest that shows fit."""
    builds = _find_builds(file)
    used = count_usual_processes(file.shop).get(file.part.family, Counter())
    known = [key for key in builds if used[key]]
    if known:
        return min(known, key=lambda key: (-used[key], key))
    offered = [key for key in builds if is_offered(file, builds[key])]
    return min(offered, key=lambda key: (builds[key].cost, key), default=None)


def _find_builds(file: PartFile) -> dict[str, Process]:
    """Return the processes that build a sample which can be tried on a vehicle before tooling."""
    processes = file.workspace.catalogues.processes.processes
    return {
        key: process
        for key, process in processes.items()
        if key != FIRST_ARTICLE_PROCESS and process.detects.get(ModeWord.FIT, 0.0) > 0
    }


def _find_cost(file: PartFile, name: str) -> float:
    own = getattr(file.part.redo or RedoCost(), name)
    family = file.workspace.catalogues.families.families[file.part.family]
    return float(getattr(family.redo, name) if own is None else own)


def _find_week_cost(file: PartFile) -> Range:
    basis = file.basis
    if isinstance(basis, Cycle):
        raise ValueError(f"{file.number}: {basis.message}")
    return basis.delay.per_week


def _list_options(file: PartFile) -> Iterator[Option]:
    usual = find_usual_process(file)
    builds = _find_builds(file)
    if usual is not None:
        yield _build_round_option(file, builds[usual], _find_cost(file, "reprint"))
    rest = _build_rest_option(file)
    if rest is not None:
        yield rest
    shown = frozenset() if usual is None else _find_shown(file, usual)
    for key, process in builds.items():
        if key != usual and is_offered(file, process) and _find_shown(file, key) - shown:
            yield _build_round_option(file, process, process.cost)
    for key, process in file.workspace.catalogues.processes.processes.items():
        is_test = key not in builds and key != FIRST_ARTICLE_PROCESS and process.detects
        if is_test and is_offered(file, process) and _find_shown(file, key):
            yield _build_test_option(file, process)


def is_offered(file: PartFile, process: Process) -> bool:
    """True when a process is worth offering for a part: for its family, and for a feature of a kind that it is for."""
    kinds = {feature.kind for feature in file.part.features.values()}
    for_family = not process.families or file.part.family in process.families
    return for_family and (not process.kinds or bool(kinds & set(process.kinds)))


def _find_shown(file: PartFile, process: str) -> frozenset[str]:
    catalogues = file.workspace.catalogues
    return frozenset(key for key, feature in file.part.features.items() if is_provable(catalogues, process, feature))


def _build_option(file: PartFile, name: str, parts: tuple[tuple[str, float], ...], weeks: float,
                  *looks: dict[FailureMode, float]) -> Option:  # fmt: skip
    powers = {}
    for mode in FailureMode:
        missed = 1.0
        for look in looks:
            missed *= 1 - look.get(mode, 0.0)
        if missed < 1:
            powers[mode] = 1 - missed
    loop = Loop(name, sum(cost for _, cost in parts), weeks, float(_find_week_cost(file).likely), powers)
    return Option(loop, parts)


def _list_trial_costs(file: PartFile, cells: int) -> tuple[tuple[str, float], ...]:
    hours, rate = _find_cost(file, "fit_h"), file.workspace.catalogues.money.hourly.get(Role.ENGINEER, 0.0)
    parts = ((f"{cells} trials on a vehicle, {hours:g} h each at {rate:g}", cells * hours * rate),)
    hire = _find_cost(file, "fit_hire")
    return (*parts, ("hire of vehicles", hire)) if hire else parts


def _build_round_option(file: PartFile, process: Process, price: float) -> Option:
    """A sample built and tried on every vehicle and hand that the part is for."""
    cells = len(compute_coverage(file.part, file.lineage).cells)
    parts = ((process.name.lower(), price), *_list_trial_costs(file, cells))
    weeks = process.weeks + file.workspace.catalogues.money.beliefs.fit_weeks
    name = f"{process.name.lower()}, tried on all vehicles"
    return _build_option(file, name, parts, weeks, find_detection(process), find_fit_detection(file, process))


def _build_rest_option(file: PartFile) -> Option | None:
    """The good sample in hand, tried where it was not tried yet."""
    coverage = compute_coverage(file.part, file.lineage)
    missing = [cell for cell in coverage.cells if cell.state in (CellState.MISSING, CellState.STALE)]
    fresh = [key for key in file.part.prototypes if file.lineage.is_fresh(f"prototypes.{key}")]
    if not missing or not fresh:
        return None
    key = max(fresh, key=lambda one: (file.part.prototypes[one].on, one))
    process = file.workspace.catalogues.processes.processes.get(file.part.prototypes[key].process)
    share = len(missing) / len(coverage.cells)
    look = {mode: chance * share for mode, chance in find_fit_detection(file, process).items()}
    weeks = file.workspace.catalogues.money.beliefs.fit_weeks
    name = f"{key} in hand, tried on the {len(missing)} of {len(coverage.cells)} that are missing"
    return _build_option(file, name, _list_trial_costs(file, len(missing)), weeks, look)


def _build_test_option(file: PartFile, process: Process) -> Option:
    """A test, with the cheapest sample that can show what it looks at where none is in hand."""
    parts: tuple[tuple[str, float], ...] = ((process.name.lower(), process.cost),)
    look = convert_detection(process.detects)
    sample = _find_test_sample(file, process)
    if sample is None:
        return _build_option(file, process.name.lower(), parts, process.weeks, look)
    parts = (*parts, (sample.name.lower(), sample.cost))
    name = f"{process.name.lower()} on a {sample.name[0].lower()}{sample.name[1:]}"
    return _build_option(file, name, parts, process.weeks + sample.weeks, look, find_detection(sample))


def _find_test_sample(file: PartFile, test: Process) -> Process | None:
    """Return the sample that must be built for a test; None where a fresh one will do, or none is known that would."""
    processes = file.workspace.catalogues.processes.processes
    needs = {file.workspace.catalogues.processes.needs.get(feature.kind) for feature in file.part.features.values()}
    wanted = needs & set(test.proves)
    for key, prototype in file.part.prototypes.items():
        known = processes.get(prototype.process)
        if known is not None and wanted & set(known.proves) and file.lineage.is_fresh(f"prototypes.{key}"):
            return None
    builds = [process for process in _find_builds(file).values() if is_offered(file, process)]
    fitting = [process for process in builds if wanted & set(process.proves)]
    return min(fitting, key=lambda process: (process.cost, process.name), default=None)


# --- sensitivity ----------------------------------------------------------------------------------


def _choose_spans(
    inputs: tuple[LoopInput, ...], late: Figure, now: Figure, week_cost: Range
) -> dict[str, tuple[float, float]]:
    """Return how far each input is varied: costs over their own range, errors and weeks from half to double."""
    spans = {}
    for row in inputs:
        value, most = row.value, 1.0 if row.unit == "chance" else float("inf")
        if row.unit == "errors":
            spans[row.label] = (value / 2, value * 2)
        elif row.unit == "chance":
            spans[row.label] = (max(0.0, value - 0.2), min(most, value + 0.2))
        elif row.label.endswith("found late"):
            spans[row.label] = (float(late.total.low), float(late.total.high))
        elif row.label.endswith("found now"):
            spans[row.label] = (float(now.total.low), float(now.total.high))
        elif row.unit == "money a week":
            spans[row.label] = (float(week_cost.low), float(week_cost.high))
        else:
            spans[row.label] = (value / 2, value * 2)
    return {label: span for label, span in spans.items() if span[0] < span[1]}


def _draw_curve(inputs: tuple[LoopInput, ...], swings: tuple[Swing, ...]) -> Curve | None:
    """Return net gain against the input that moves it most."""
    if not swings or swings[0].low >= swings[0].high:
        return None
    row = next(one for one in inputs if one.label == swings[0].label)
    return compute_curve(row, swings[0].low, swings[0].high)
