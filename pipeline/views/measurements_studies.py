"""Sections about the measuring itself and the process: gauge studies, and runs of consecutive pieces off the tools."""

from __future__ import annotations

import math
from decimal import Decimal

from pipeline.measuring.gauge_study import CATEGORY_FACTOR, STUDY_WIDTH, GaugeStudy, StudyReading
from pipeline.model.catalogue import Shop
from pipeline.portfolio.measurements import PartMeasured, find_edges
from pipeline.portfolio.measuring_findings import describe_run_fault
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.study_values import RunResult, StudyResult
from pipeline.views.addresses import Anchors, find_method_page
from pipeline.views.measurements_working import count_places
from pipeline.views.shapes_charts import DeviationPlot, DeviationPoint, DeviationRow
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    ReadingShape,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import with_unit, word_count, word_day, word_number, word_share, word_unit, write_sentence

METHOD = Link("Gauge studies and runs", find_method_page("studies"))


def build_study_sections(file: PartFile, measured: PartMeasured, anchors: Anchors) -> tuple[Section, ...]:
    """Make one section for each gauge study and each sample run whose table could be read."""
    shop = file.workspace.catalogues.shop
    studies = [_build_study(file, anchors, one, shop) for one in measured.studies.studies]
    return (*studies, *(_build_run(file, anchors, one, shop) for one in measured.studies.runs))


# --- gauge studies --------------------------------------------------------------------------------


def _build_study(file: PartFile, anchors: Anchors, found: StudyResult, shop: Shop) -> Section:
    instrument = file.workspace.catalogues.resources.instruments.get(found.entry.with_)
    name = found.entry.with_ if instrument is None else instrument.name
    verdict, is_bad = _judge_study(found, shop)
    title = f"Gauge study {found.key}: {name}, {found.feature.what}"
    figures = (_draw_study(found),) if found.anova is not None else ()
    return Section(
        f"measuring-study-{found.key}",
        title,
        verdict,
        _word_origin(file, anchors, f"gauge_studies.{found.key}", found.entry.file, found.entry.note),
        figures,
        _build_study_tables(found),
        build_line(Run(found.problem, Tone.FLAG)) if found.problem else _word_categories(found, is_bad),
        _build_study_working(found),
        True,
    )


def _judge_study(found: StudyResult, shop: Shop) -> tuple[str, bool]:
    """Return what the study comes to in words, and whether the gauge takes too much."""
    if found.share is None:
        return "not reckoned", True
    of = "the tolerance" if found.is_of_tolerance else "the total spread (the feature has not two limits)"
    is_bad = found.share > shop.gauge_share
    words = "too much" if is_bad else "good" if found.share <= 0.1 else "enough"
    return f"the gauge takes {word_share(found.share)} of {of}: {words}", is_bad


def _word_origin(file: PartFile, anchors: Anchors, node: str, path: str, note: str | None) -> Line:
    """Return when and by whom, the file, and whether the evidence is still good."""
    section, _, key = node.partition(".")
    entry = getattr(file.part, section)[key]
    runs: list[str | Run] = [f"{word_day(entry.on)}, {entry.by}; "]
    runs.append(Run(path.rpartition("/")[2], href=anchors.link_copy(path)))
    if anchors.has(node):
        runs += ["; ", Run("record", href=anchors.link(node))]
    reasons = file.lineage.reasons.get(node, ())
    if reasons:
        runs += ["; ", Run(f"stale: {reasons[0].words}", Tone.FLAG)]
    return build_line(*runs, *([f". {write_sentence(note)}"] if note else []))


def _draw_study(found: StudyResult) -> Figure:
    """Each reading as its distance from the mean of its piece, one row for each person: the gauge alone."""
    means: dict[str, list[float]] = {}
    for one in found.readings:
        means.setdefault(one.part, []).append(one.value)
    middle = {part: math.fsum(values) / len(values) for part, values in means.items()}
    people = dict.fromkeys(one.appraiser for one in found.readings)
    rows = tuple(
        DeviationRow(who, None, None, tuple(_place(one, middle) for one in found.readings if one.appraiser == who))
        for who in people
    )
    spans = [max(abs(point.value) for point in row.points) for row in rows]
    unit = word_unit(found.feature.unit) or "–"
    words = "; ".join(f"{row.label}: up to {span:.3g} {unit}" for row, span in zip(rows, spans, strict=True))
    plot = DeviationPlot(
        f"Readings from the mean of their piece, {unit}", f"Farthest from the mean of its piece: {words}.", unit, rows
    )
    return Figure(plot, build_line(plot.words), _build_study_working(found))


def _place(one: StudyReading, middle: dict[str, float]) -> DeviationPoint:
    return DeviationPoint(f"piece {one.part}", one.value - middle[one.part], 0.0, ReadingShape.SAMPLE)


def _build_study_tables(found: StudyResult) -> tuple[Table, ...]:
    if found.anova is None or found.ranges is None:
        return ()
    unit = word_unit(found.feature.unit)
    columns = (
        Column("what spreads"),
        Column("by ranges", unit, True),
        Column("by analysis of variance", unit, True),
        Column("share of the total spread", number=True),
        Column("share of the tolerance", number=True),
    )
    names = ("repeatability (one person, one piece)", "reproducibility (people)", "gauge: both together", "pieces")
    rows = tuple(
        Row(
            (
                Cell(build_line(name)),
                Cell(build_line(_word_small(left))),
                Cell(build_line(_word_small(right))),
                Cell(build_line(f"{share:.1f} %")),
                Cell(build_line(_word_tolerance(found.anova, name, right))),
            )
        )
        for name, left, right, share in zip(
            names, _list_spreads(found.ranges), _list_spreads(found.anova), found.anova.percent_study, strict=True
        )
    )
    spreads = Table("Standard deviations by both methods", columns, rows, "Nothing was reckoned.")
    return spreads, _build_anova(found.anova)


def _word_small(value: float, figures: int = 3) -> str:
    """Return a small number with so many figures and no power of ten.

    >>> _word_small(2.84e-05), _word_small(0.0)
    ('0.0000284', '0')
    """
    return format(Decimal(f"{value:.{figures}g}"), "f")


def _list_spreads(study: GaugeStudy) -> tuple[float, float, float, float]:
    return study.repeatability, study.reproducibility, study.gauge, study.part_spread


def _word_tolerance(study: GaugeStudy, name: str, spread: float) -> str:
    if study.percent_tolerance is None or name == "pieces" or not study.gauge:
        return "–"
    return f"{study.percent_tolerance * spread / study.gauge:.1f} %"


def _build_anova(study: GaugeStudy) -> Table:
    columns = (
        Column("source"),
        Column("sum of squares", number=True),
        Column("degrees of freedom", number=True),
        Column("mean square", number=True),
        Column("F", number=True),
        Column("chance of such an F", number=True),
    )
    rows = tuple(
        Row(
            tuple(
                Cell(build_line(text))
                for text in (
                    row.source,
                    _word_small(row.ss, 4),
                    str(row.dof),
                    _word_small(row.ms, 4),
                    "–" if row.f is None else f"{row.f:.2f}",
                    "–" if row.p is None else word_share(max(row.p, 1e-9)),
                )
            )
        )
        for row in study.anova
    )
    return Table("Analysis of variance", columns, rows, "Nothing was reckoned.")


def _word_categories(found: StudyResult, is_bad: bool) -> Line:
    """Say how many kinds of piece the gauge can tell apart, and which ranges were out of hand."""
    study = found.anova
    if study is None:
        return ()
    count = "any number" if study.categories is None else str(study.categories)
    weak = study.categories is not None and study.categories < 5
    runs: list[str | Run] = [
        Run(f"It tells {count} kinds of these pieces apart", Tone.FLAG if weak else Tone.PLAIN),
        "; five are wanted (common practice, no source)." if weak else ".",
    ]
    if found.ranges is not None and found.ranges.ranges_out:
        named = ", ".join(f"piece {part} by {who}" for part, who in found.ranges.ranges_out)
        runs.append(Run(f" Readings that scatter more than the rest: {named}; read them again.", Tone.FLAG))
    if is_bad:
        runs.append(Run(" Use a finer instrument, or a fixture that holds the piece.", Tone.FLAG))
    return build_line(*runs)


def _build_study_working(found: StudyResult) -> Working:
    study, unit = found.anova, word_unit(found.feature.unit)
    formula = [f"{word_count(len(found.readings), 'reading')}"]
    if study is not None:
        ev, av, grr, pv = (_word_small(one) for one in _list_spreads(study))
        formula = [
            f"{word_count(study.parts, 'piece')} × {word_count(study.appraisers, 'person', 'people')} × "
            f"{word_count(study.trials, 'time')}",
            f"gauge = √({ev}² + {av}²) = {grr} {unit}",
            f"total = √({grr}² + {pv}²) = {_word_small(study.total)} {unit}",
            f"kinds told apart = {CATEGORY_FACTOR} × {pv} / {grr} = "
            + ("without bound" if study.categories is None else f"{study.categories_raw:.2f}, rounded down"),
            study.method,
        ]
        limits = found.feature.limits
        if study.percent_tolerance is not None and limits is not None:
            width = (limits.upper or 0.0) - (limits.lower or 0.0)
            share = f"{study.percent_tolerance:.1f} %"
            formula.insert(3, f"of the tolerance: {STUDY_WIDTH:g} × {grr} / {width:g} {unit} = {share}")
    return Working(
        tuple(formula),
        (WorkingInput("instrument", found.entry.with_, build_line(f"studied on {word_day(found.entry.on)}")),),
        "average-and-range and analysis-of-variance methods of the measurement systems analysis manuals; 10 % wanted, "
        "30 % at most, five categories: common practice, no source",
        "Shares of the total spread do not add up; shares of its square do. Pieces must span what the process makes.",
        METHOD,
    )


# --- sample runs ----------------------------------------------------------------------------------


def _build_run(file: PartFile, anchors: Anchors, found: RunResult, shop: Shop) -> Section:
    fault = describe_run_fault(found, shop.capability_wanted)
    aside = fault.partition(": ")[2] or (
        "not reckoned" if found.capability is None else f"Cpk {found.capability.cpk.value:.2f}: enough"
    )
    after = build_line(Run(found.problem, Tone.FLAG)) if found.problem else ()
    return Section(
        f"measuring-run-{found.key}",
        f"Run of pieces {found.key}: {found.feature.what}, off {', '.join(found.entry.tools)}",
        aside,
        _word_origin(file, anchors, f"sample_runs.{found.key}", found.entry.file, found.entry.note),
        (_draw_run(found),),
        (_build_run_table(found, bool(fault)),),
        after,
        _build_run_working(found),
        True,
    )


def _draw_run(found: RunResult) -> Figure:
    """The pieces in tens, in the order of making, against the limits: a drift shows as rows that move."""
    lower, upper = find_edges(found.feature)
    nominal, unit = found.feature.nominal, word_unit(found.feature.unit) or "–"
    step = max(1, math.ceil(len(found.values) / 6))
    rows = tuple(
        DeviationRow(
            f"{at + 1} to {min(at + step, len(found.values))}",
            None if lower is None else lower - nominal,
            None if upper is None else upper - nominal,
            tuple(
                DeviationPoint(f"piece {at + n}", value - nominal, 0.0, ReadingShape.SAMPLE)
                for n, value in enumerate(found.values[at : at + step], 1)
            ),
        )
        for at in range(0, len(found.values), step)
    )
    means = [math.fsum(point.value for point in row.points) / len(row.points) for row in rows]
    words = "; ".join(f"{row.label}: mean {mean:+.3g}" for row, mean in zip(rows, means, strict=True))
    plot = DeviationPlot(f"Pieces in the order of making, {unit}", f"From nominal, {unit}. Pieces {words}.", unit, rows)
    return Figure(plot, build_line(plot.words), _build_run_working(found))


def _build_run_table(found: RunResult, is_bad: bool) -> Table:
    places = count_places(found.feature, list(found.values))
    columns = (
        Column("pieces", number=True),
        Column("inside limits", number=True),
        Column("from, to", number=True),
        Column("Cp (95 %)", number=True),
        Column("Cpk (95 %)", number=True),
        Column("Pp (95 %)", number=True),
        Column("Ppk (95 %)", number=True),
        Column("expected outside", number=True),
    )
    low, high = (word_number(edge, places) for edge in (min(found.values), max(found.values)))
    indices = [] if found.capability is None else [getattr(found.capability, one) for one in ("cp", "cpk", "pp", "ppk")]
    shown = ["–" if one is None else f"{one.value:.2f} ({one.lower:.2f} to {one.upper:.2f})" for one in indices] or [
        "–"
    ] * 4
    outside = "–" if found.capability is None else word_share(max(found.capability.share_outside, 1e-9))
    inside = "–" if found.inside is None else str(found.inside)
    texts = (str(len(found.values)), inside, with_unit(f"{low} to {high}", found.feature.unit), *shown, outside)
    mark = Mark.MISSING if is_bad else Mark.IN_HAND
    cells = (Cell(build_line(texts[0]), mark), *(Cell(build_line(text)) for text in texts[1:]))
    return Table("What the process holds", columns, (Row(cells),), "No piece was measured.")


def _build_run_working(found: RunResult) -> Working:
    formula: list[str] = []
    if found.capability is not None:
        cap, (lower, upper) = found.capability, find_edges(found.feature)
        unit = word_unit(found.feature.unit)
        near = min(edge for edge in (None if lower is None else cap.mean - lower,
                                     None if upper is None else upper - cap.mean) if edge is not None)  # fmt: skip
        formula = [
            f"mean {cap.mean:.6g} {unit}, s within {cap.within_sd:.3g}, s overall {cap.overall_sd:.3g}",
            f"Cpk = {near:.4g} / (3 × {cap.within_sd:.3g}) = {cap.cpk.value:.2f}",
            f"Ppk = {near:.4g} / (3 × {cap.overall_sd:.3g}) = {cap.ppk.value:.2f}",
            cap.method,
        ]
        if cap.cp is not None and lower is not None and upper is not None:
            formula.insert(1, f"Cp = {upper - lower:.4g} / (6 × {cap.within_sd:.3g}) = {cap.cp.value:.2f}")
    return Working(
        tuple(formula),
        (WorkingInput("instrument", found.entry.with_, build_line(f"measured on {word_day(found.entry.on)}")),),
        "ISO 22514-2; interval of Cp by chi-square, of Cpk after A. Bissell, Applied Statistics 39 (1990); 1.33 wanted "
        "is common practice, no source",
        "It holds for pieces made as these were; the gauge's own spread is in it: the process is no worse than this.",
        METHOD,
    )
