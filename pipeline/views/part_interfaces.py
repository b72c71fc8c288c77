"""Where a part meets the vehicle: gap limits, what the stack predicts, what fit checks measured."""

from __future__ import annotations

from pipeline.fit.stack import StackResult, StackVerdict, compute_stack
from pipeline.gates.stacks import compute_interface
from pipeline.model.part import Interface
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_method_page, find_part_page
from pipeline.views.method_shapes import find_source
from pipeline.views.shapes_charts import StackDrawing, StackLink
from pipeline.views.shapes_marks import Cell, Column, Line, Link, Mark, Row, Run, Table, Tone, Working, build_line
from pipeline.views.shapes_part import InterfaceDetail
from pipeline.views.wording import shorten, with_unit, word_added, word_gap, word_number, word_share, word_span

_LABEL = 21


def build_interfaces(file: PartFile, anchors: Anchors) -> tuple[InterfaceDetail, ...]:
    """Make every interface with its drawing, its contributors and its working."""
    return tuple(_build_interface(file, anchors, key, entry) for key, entry in file.part.interfaces.items())


def _build_interface(file: PartFile, anchors: Anchors, key: str, entry: Interface) -> InterfaceDetail:
    result = compute_interface(file.part, key)
    measured = find_measured_gaps(file, key)
    mark, verdict = _judge(file, anchors, entry, result, measured)
    added = word_added(entry.since)
    verdict = (*verdict, Run(added)) if added else verdict
    limits = word_gap(entry.gap.limits, entry.gap.unit)
    anchor = f"interface-{key}"
    if isinstance(result, str):
        return InterfaceDetail(anchor, entry.what, limits, mark, verdict, None, None)
    drawing = _build_drawing(entry, result, measured)
    return InterfaceDetail(
        anchor, entry.what, limits, mark, verdict, drawing, _build_table(entry.what, result), _build_working(result)
    )


def find_measured_gaps(file: PartFile, interface: str) -> dict[str, tuple[float, ...]]:
    """Return fit check -> the gaps it measured, in the unit of the interface."""
    checks = file.part.fit_checks.items()
    return {key: check.gaps[interface] for key, check in checks if check.gaps.get(interface)}


def _judge(
    file: PartFile,
    anchors: Anchors,
    entry: Interface,
    result: StackResult | str,
    measured: dict[str, tuple[float, ...]],
) -> tuple[Mark, Line]:
    runs: list[Run] = []
    if entry.meets is not None:
        runs += [Run("meets "), Run(entry.meets, href=find_part_page(entry.meets)), Run("; ")]
    mark = Mark.MISSING
    if isinstance(result, StackResult):
        held = result.verdict is not StackVerdict.NOT_HELD
        mark = Mark.IN_HAND if held else Mark.MISSING
        low, high = word_number(result.rss.low_mm, 2), word_number(result.rss.high_mm, 2)
        runs.append(Run(f"predicted {low} to {high} mm by root-sum-square: "))
        runs.append(Run(str(result.verdict), Tone.PLAIN if held else Tone.FLAG))
        if result.chance.outside is not None:
            runs.append(Run(f", {word_share(result.chance.outside)} outside"))
        runs.append(Run("; "))
    elif entry.stack:
        runs.append(Run(f"no prediction: {result}; ", Tone.FLAG))
    found_mark, found = _judge_measured(file, anchors, entry, measured)
    return (found_mark if measured else mark), (*runs, *found)


def _judge_measured(
    file: PartFile, anchors: Anchors, entry: Interface, measured: dict[str, tuple[float, ...]]
) -> tuple[Mark, Line]:
    if not measured:
        return Mark.MISSING, build_line("no gap is measured yet")
    fresh = [key for key in measured if file.lineage.is_fresh(f"fit_checks.{key}")]
    looked = {key: measured[key] for key in fresh} or measured
    gaps = [gap for one in looked.values() for gap in one]
    inside = all(entry.gap.limits.is_inside(gap) for gap in gaps)
    runs: list[Run] = [Run(f"measured {with_unit(word_span(gaps, 2), entry.gap.unit)} in ")]
    for at, key in enumerate(looked):
        runs += [*([Run(", ")] if at else []), Run(key, href=anchors.link(f"fit_checks.{key}"))]
    if not inside:
        runs.append(Run(", outside the limits", Tone.FLAG))
    elif not fresh:
        runs.append(Run(", within the limits, but stale", Tone.FLAG))
    else:
        runs.append(Run(", within the limits"))
    return (Mark.STALE if not fresh else Mark.PROVEN if inside else Mark.MISSING), tuple(runs)


def _build_drawing(entry: Interface, result: StackResult, measured: dict[str, tuple[float, ...]]) -> StackDrawing:
    factor = LENGTH_UNITS[entry.gap.unit]
    gaps = tuple(gap * factor for one in measured.values() for gap in one)
    links = tuple(
        StackLink(shorten(row.name, _LABEL), row.mean_mm, row.half_width_mm, row.variance_share) for row in result.rows
    )
    words = f"Gap {word_number(result.mean_gap_mm, 2)} mm, {word_number(result.rss.low_mm, 2)} to "
    words += f"{word_number(result.rss.high_mm, 2)} mm by root-sum-square, {word_number(result.worst.low_mm, 2)} to "
    words += (
        f"{word_number(result.worst.high_mm, 2)} mm in the worst case; {word_gap(entry.gap.limits, entry.gap.unit)}"
    )
    if gaps:
        words += f"; measured {word_span(gaps, 2)} mm"
    return StackDrawing(
        title=entry.what,
        words=f"{words}.",
        unit="mm",
        links=links,
        gap_low=result.rss.low_mm,
        gap_likely=result.mean_gap_mm,
        gap_high=result.rss.high_mm,
        worst_low=result.worst.low_mm,
        worst_high=result.worst.high_mm,
        lower=result.lower_limit_mm,
        upper=result.upper_limit_mm,
        measured=gaps,
    )


def _build_table(what: str, result: StackResult) -> Table:
    columns = (
        Column("contributor"),
        Column("to the gap", "mm", True),
        Column("± half range", "mm", True),
        Column("share of spread", "%", True),
    )
    rows = tuple(
        Row(
            (
                Cell(build_line(row.name)),
                Cell(build_line(word_number(row.mean_mm, 3, signed=True))),
                Cell(build_line(word_number(row.half_width_mm, 3))),
                Cell(build_line(word_number(row.variance_share * 100, 0))),
            )
        )
        for row in result.rows
    )
    return Table(f"Contributors: {what}", columns, rows, "No contributor is recorded.")


def _build_working(result: StackResult) -> Working:
    formula = tuple(f"{step.label}: {step.formula} = {word_number(step.value_mm, 3)} mm" for step in result.steps)
    source = find_source(compute_stack)
    limits = "Root-sum-square holds for contributors that vary on their own, about the middle of their limits."
    return Working(formula, (), source, limits, Link("Stacks", find_method_page("stacks")))
