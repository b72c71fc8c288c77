"""Sections about stacks: the chain, worst case to Monte Carlo, the chance outside, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.fit.contributors import Contributor
from pipeline.fit.stack import Span, StackResult, StackVerdict
from pipeline.fit.stack_advice import compute_remedy, describe_chance, describe_stack
from pipeline.fit.stack_simulation import SimulatedStack, simulate_stack
from pipeline.gates.stacks import build_contributors, compute_interface
from pipeline.model.part import Interface
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_method_page
from pipeline.views.shapes_charts import SpreadChart, StackDrawing, StackLink
from pipeline.views.shapes_marks import Cell, Column, Link, Mark, Row, Table, Working, WorkingInput, build_line
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import shorten, with_unit, word_gap, word_number, word_share, word_span

SEED = 20_260_101
DRAWS = 100_000
_LABEL = 21


@dataclass(frozen=True)
class StackWords:
    """One interface reckoned by every method. problem : why there is no result, empty where there is one."""

    key: str
    interface: Interface
    contributors: tuple[Contributor, ...]
    result: StackResult | None
    simulated: SimulatedStack | None
    measured_mm: tuple[float, ...]
    problem: str


def reckon_stack(file: PartFile, key: str) -> StackWords:
    """Reckon the stack of one interface by every method; Monte Carlo with a stated seed, the same every time."""
    interface = file.part.interfaces[key]
    result = compute_interface(file.part, key)
    factor = LENGTH_UNITS.get(interface.gap.unit, 1.0)
    gaps = tuple(gap * factor for check in file.part.fit_checks.values() for gap in check.gaps.get(key, ()))
    if isinstance(result, str):
        return StackWords(key, interface, (), None, None, gaps, result)
    contributors, _ = build_contributors(file.part, key)
    simulated = simulate_stack(
        contributors, lower_limit_mm=result.lower_limit_mm, upper_limit_mm=result.upper_limit_mm, draws=DRAWS, seed=SEED
    )
    return StackWords(key, interface, tuple(contributors), result, simulated, gaps, "")


def build_stack_sections(file: PartFile, *, drawing: bool = True) -> tuple[Section, ...]:
    """Make one section for each interface that has a stack.

    drawing : with the drawing of the chain and the table of its links; False for a page that shows them already. How
    the gap spreads is drawn only where the worst case leaves the limits: elsewhere no good parts are outside.
    """
    return tuple(
        _build_section(reckon_stack(file, key), drawing) for key, entry in file.part.interfaces.items() if entry.stack
    )


def _build_section(stack: StackWords, drawing: bool) -> Section:
    anchor, title = f"stack-{stack.key}", f"Stack of {stack.interface.what}"
    if stack.result is None or stack.simulated is None:
        table = Table("Methods", (Column("method"),), (), f"No prediction: {stack.problem}.")
        return Section(anchor, title, "no prediction", build_line(f"{stack.problem}."), (), (table,), (), None, True)
    methods = _build_methods(stack.result, stack.simulated)
    figures = []
    if drawing:
        chain = build_stack_drawing(stack.interface, stack.result, stack.measured_mm)
        figures.append(Figure(chain, (), build_stack_working(stack)))
    if stack.result.verdict is not StackVerdict.WORST_CASE:
        spread = _build_spread(stack.interface, stack.simulated, stack.result)
        figures.append(Figure(spread, (), _build_draw_working(stack)))
    return Section(
        anchor,
        title,
        str(stack.result.verdict),
        build_line(" ".join(describe_stack(stack.result))),
        tuple(figures),
        (methods, _build_links(stack.result)) if drawing else (methods,),
        build_line(*word_remedy(stack.result)),
        _join_workings(build_stack_working(stack) if drawing else None, _build_draw_working(stack)),
        True,
    )


def build_stack_drawing(interface: Interface, result: StackResult, measured_mm: tuple[float, ...]) -> StackDrawing:
    """Make the drawing of a stack: the chain, the predicted gap by root-sum-square, the worst case, gaps measured."""
    links = tuple(
        StackLink(shorten(row.name, _LABEL), row.mean_mm, row.half_width_mm, row.variance_share) for row in result.rows
    )
    words = (
        f"Gap {word_number(result.mean_gap_mm, 2)} mm, {_word_span(result.rss)} by root-sum-square, "
        f"{_word_span(result.worst)} in the worst case; {word_gap(interface.gap.limits, interface.gap.unit)}"
    )
    if measured_mm:
        words += f"; measured {with_unit(word_span(measured_mm, 2), 'mm')}"
    return StackDrawing(
        interface.what, f"{words}.", "mm", links, result.rss.low_mm, result.mean_gap_mm, result.rss.high_mm,
        result.worst.low_mm, result.worst.high_mm, result.lower_limit_mm, result.upper_limit_mm, measured_mm,
    )  # fmt: skip


def _word_span(span: Span) -> str:
    return f"{word_number(span.low_mm, 3)} to {word_number(span.high_mm, 3)} mm"


def _build_spread(interface: Interface, simulated: SimulatedStack, result: StackResult) -> SpreadChart:
    words = (
        f"{simulated.draws:,} gaps drawn with seed {simulated.seed}: {word_number(simulated.low_mm, 3)} to "
        f"{word_number(simulated.high_mm, 3)} mm holds 99.73 % of them."
    )
    return SpreadChart(
        f"{interface.what}: gaps by Monte Carlo", words, "gap, mm", simulated.histogram_edges_mm,
        tuple(float(count) for count in simulated.histogram_counts), result.lower_limit_mm, result.upper_limit_mm,
    )  # fmt: skip


def _build_methods(result: StackResult, simulated: SimulatedStack) -> Table:
    columns = (Column("method"), Column("gap", "mm"), Column("chance outside"), Column("holds the limits"))
    chance = "–" if result.chance.outside is None else describe_chance(result.chance.outside)
    drawn = "–" if simulated.outside is None else describe_chance(simulated.outside.chance)
    if simulated.outside is not None:
        drawn += f" (95 %: {describe_chance(simulated.outside.low)} to {describe_chance(simulated.outside.high)})"
    order = [StackVerdict.WORST_CASE, StackVerdict.INFLATED, StackVerdict.RSS]
    held = order.index(result.verdict) if result.verdict in order else len(order)
    spans = (
        ("worst case", result.worst, "none for good parts" if held == 0 else "–", held <= 0),
        (f"inflated root-sum-square, × {result.inflation_factor:g}", result.inflated, "–", held <= 1),
        ("root-sum-square", result.rss, f"{chance}, normal gaps", held <= 2),
    )
    rows = [_build_method_row(name, _word_span(span), words, good, result) for name, span, words, good in spans]
    name = f"Monte Carlo, {simulated.draws:,} draws, seed {simulated.seed}"
    span = f"{word_number(simulated.low_mm, 3)} to {word_number(simulated.high_mm, 3)} mm"
    is_good = simulated.outside is None or simulated.outside.chance <= 0.0027
    rows.append(_build_method_row(name, span, drawn, is_good, result))
    return Table("The gap by every method", columns, tuple(rows), "No stack is recorded.")


def _build_method_row(name: str, span: str, chance: str, good: bool, result: StackResult) -> Row:
    if result.verdict is StackVerdict.NO_LIMITS:
        return Row(
            (Cell(build_line(name)), Cell(build_line(span)), Cell(build_line(chance)), Cell(build_line("no limits")))
        )
    words, mark = ("yes", Mark.IN_HAND) if good else ("no", Mark.MISSING)
    return Row(
        (Cell(build_line(name)), Cell(build_line(span)), Cell(build_line(chance)), Cell(build_line(words), mark))
    )


def _build_links(result: StackResult) -> Table:
    columns = (
        Column("contributor"),
        Column("size", "mm", True),
        Column("counts", number=True),
        Column("to the gap", "mm", True),
        Column("± half range", "mm", True),
        Column("scatters"),
        Column("share of spread", "%", True),
    )
    rows = tuple(
        Row(
            tuple(
                Cell(build_line(text))
                for text in (
                    row.name,
                    f"{word_number(row.size_nominal_mm)} {word_number(row.size_lower_mm, signed=True)} "
                    f"{word_number(row.size_upper_mm, signed=True)}",
                    f"{row.sensitivity:+g}",
                    word_number(row.mean_mm, 3, signed=True),
                    word_number(row.half_width_mm, 3),
                    str(row.distribution),
                    word_number(100 * row.variance_share, 0),
                )
            )
        )
        for row in result.rows
    )
    return Table("Contributors", columns, rows, "No contributor is recorded.")


def word_remedy(result: StackResult) -> tuple[str, ...]:
    """Return what would bring a stack inside its limits, nothing where it is inside or has one limit only."""
    if result.verdict is StackVerdict.WORST_CASE or None in (result.lower_limit_mm, result.upper_limit_mm):
        return ()
    remedy = compute_remedy(result)
    words = []
    if abs(remedy.shift_mm) > 0.0005:
        words.append(
            f"Move the mean gap by {word_number(remedy.shift_mm, 3, signed=True)} mm to the middle of its limits. "
        )
    for scale, name in ((remedy.rss_scale, "by root-sum-square"), (remedy.worst_case_scale, "in the worst case")):
        if scale is not None and scale < 1:
            words.append(f"Then {word_share(scale)} of the present tolerances hold the limits {name}. ")
        elif scale is not None:
            words.append(f"Then the present tolerances hold the limits {name}. ")
    return tuple(words)


def build_stack_working(stack: StackWords) -> Working | None:
    """Make the working of the closed-form methods."""
    if stack.result is None:
        return None
    formula = tuple(f"{step.label}: {step.formula} = {word_number(step.value_mm, 4)} mm" for step in stack.result.steps)
    inputs = tuple(
        WorkingInput(
            part.name,
            f"{word_number(part.nominal_mm)} mm {word_number(part.lower_mm, signed=True)} "
            f"{word_number(part.upper_mm, signed=True)}",
            build_line(_word_origin(link.feature, link.coating)),
        )
        for part, link in zip(stack.contributors, stack.interface.stack, strict=True)
    )
    return Working(
        formula,
        inputs,
        "worst case, root-sum-square and inflated root-sum-square as in F. Scholz, Tolerance Stack Analysis Methods "
        "(1995); factor 1.5 from A. Bender, SAE paper 680490 (1968, from memory)",
        "Root-sum-square holds for contributors that vary on their own, about the middle of their limits.",
        Link("Stacks", find_method_page("stacks")),
    )


def _join_workings(closed: Working | None, drawn: Working | None) -> Working | None:
    """Both workings as one, for the tables that show the methods side by side."""
    if closed is None or drawn is None:
        return closed or drawn
    return Working(
        (*closed.formula, *drawn.formula),
        closed.inputs,
        f"{closed.source}; {drawn.source}",
        closed.limits,
        closed.method,
    )


def _word_origin(feature: str | None, coating: str | None) -> str:
    if feature is not None:
        return f"features.{feature} of this record"
    return f"features.{coating}, a coating: it takes room on each face" if coating else "stated in the stack"


def _build_draw_working(stack: StackWords) -> Working | None:
    if stack.simulated is None:
        return None
    drawn = stack.simulated
    formula = [
        f"{drawn.draws:,} sets of parts, each contributor from its own distribution, seed {drawn.seed}",
        f"mean {word_number(drawn.mean_mm, 4)} mm, standard deviation {word_number(drawn.sd_mm, 4)} mm",
        f"least {word_number(drawn.least_mm, 3)} mm, greatest {word_number(drawn.greatest_mm, 3)} mm",
        f"interference (gap below 0) in {drawn.interference.hits:,}: {describe_chance(drawn.interference.chance)}",
    ]
    if drawn.outside is not None:
        formula.append(
            f"outside the limits in {drawn.outside.hits:,} draws: {word_share(drawn.outside.chance)} "
            f"({word_share(drawn.outside.low)} to {word_share(drawn.outside.high)} at 95 %)"
        )
    return Working(
        tuple(formula),
        (),
        "JCGM 101:2008 (propagation of distributions); interval of C. Clopper and E. Pearson (1934)",
        "The same seed and record give the same figures to the last digit.",
        Link("Stacks", find_method_page("stacks")),
    )


def render_stack(stack: StackWords) -> list[str]:
    """Return a stack as lines for the terminal: verdict, methods, contributors, steps, remedy."""
    head = f"{stack.key}: {stack.interface.what}; {word_gap(stack.interface.gap.limits, stack.interface.gap.unit)}"
    if stack.result is None or stack.simulated is None:
        return [head, f"  no prediction: {stack.problem}"]
    lines = [head, *(f"  {sentence}" for sentence in describe_stack(stack.result)), ""]
    lines += render_table(_build_methods(stack.result, stack.simulated))
    lines += ["", *render_table(_build_links(stack.result)), ""]
    working = build_stack_working(stack)
    lines += [f"  {step}" for step in (() if working is None else working.formula)]
    lines += ["  " + words.strip() for words in word_remedy(stack.result)]
    if stack.measured_mm:
        lines.append(f"  measured at fit checks: {with_unit(word_span(stack.measured_mm, 2), 'mm')}")
    return lines


def render_table(table: Table) -> list[str]:
    """Return a table as aligned text."""
    head = [f"{column.label}, {column.unit}" if column.unit else column.label for column in table.columns]
    rows = [["".join(run.text for run in cell.line) for cell in row.cells] for row in table.rows]
    if not rows:
        return [f"  {table.empty}"]
    widths = [max(len(row[at]) for row in [head, *rows]) for at in range(len(head))]
    lines = []
    for row in [head, *rows]:
        cells = [
            text.rjust(width) if column.number else text.ljust(width)
            for text, width, column in zip(row, widths, table.columns, strict=True)
        ]
        lines.append(("  " + "  ".join(cells)).rstrip())
    return lines
