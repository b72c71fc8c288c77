"""What a change costs: the ladder drawn, and what follows from a change to each feature."""

from __future__ import annotations

from pipeline.costing.figures import Figure as Cost
from pipeline.costing.impact import Impact, ImpactStep, compute_impact
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import render_money, render_range
from pipeline.costing.stages import Stage
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_method_page
from pipeline.views.change_cost import (
    FOLK_RULE,
    build_calibrated_rows,
    list_factors,
    render_amount,
    render_span,
    render_weeks,
)
from pipeline.views.reasons import word_features
from pipeline.views.shapes_charts import LadderChart, LadderStep
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_list

NO_LADDER = "No cost can be worked out before a tool or a prototype has a price."


def build_ladder(file: PartFile) -> tuple[Figure | None, str]:
    """Make the ladder of the whole part with its working, or say why there is none."""
    found = file.ladder
    if found is None:
        return None, f"The tools wait for each other in a ring; `pipeline check {file.number}` names it."
    ladder = found.part
    if all(rung.total.high == 0 for rung in ladder.rungs):
        return None, NO_LADDER
    currency = file.workspace.catalogues.money.currency
    here = ladder.today.stage
    same = here is not None and ladder.find_rung(here).total == ladder.today.total
    steps = []
    for stage in Stage:
        is_today = stage is here and same
        steps.append(
            _build_step(f"{stage.words}, today" if is_today else stage.words, ladder.find_rung(stage), is_today)
        )
        if stage is here and not same:  # some of what this stage usually has does not exist
            steps.append(_build_step("today", ladder.today, True))
    first, last = ladder.rungs[0], ladder.rungs[-1]
    words = f"One change costs {_render_rung(first)} {currency} if it is found at {Stage.MEASURE.words}, "
    words += f"{_render_rung(last)} {currency} once pieces are {Stage.RELEASED.words}. {word_today(file)}"
    chart = LadderChart("What one change costs, by when it is found", words, currency, tuple(steps))
    return Figure(chart, build_line(_note(file)), _build_working(ladder.today, currency)), ""


def _build_step(label: str, rung: Cost, now: bool) -> LadderStep:
    low, likely, high = (float(value) for value in rung.total)
    return LadderStep(label, low, likely, high, _render_rung(rung), now)


def _render_rung(rung: Cost) -> str:
    return render_span(rung.total) + (" at least" if rung.missing else "")


def word_today(file: PartFile) -> str:
    """Return what one change would cost if it were found today, in a sentence."""
    if file.ladder is None:
        return ""
    today, currency = file.ladder.part.today, file.workspace.catalogues.money.currency
    if today.stage is None:
        return "If found today: nothing yet exists that would be redone."
    return f"If found today: {_render_rung(today)} {currency} and {render_weeks(today.weeks)} weeks."


def _note(file: PartFile) -> str:
    ladder = file.ladder.part if file.ladder is not None else None
    missing = sorted({name for rung in ladder.rungs for name in rung.missing}) if ladder is not None else []
    lack = f" At least: no price is recorded for {word_list(missing, 5)}." if missing else ""
    own = "" if not file.is_calibrated else f" Calibrated by our own closed changes: {'; '.join(list_factors(file))}."
    return f"{word_today(file)}{lack}{own} {FOLK_RULE}"


def _build_working(today: Cost, currency: str) -> Working:
    """Show how the figure of today is made: every line of what is redone, and the cost of waiting."""
    inputs = [
        WorkingInput(
            line.label,
            "no price stated" if line.amount is None else f"{render_range(line.amount, render_money)} {currency}",
            build_line(line.working),
        )
        for line in today.lines
    ]
    delay = f"{render_range(today.delay, render_money)} {currency}"
    inputs.append(WorkingInput("delay", delay, build_line(today.delay_working)))
    formula = (
        "cost if found today = sum of what exists and is redone + weeks lost × cost of a week",
        f"= {render_range(today.direct, render_money)} + {delay} = {render_range(today.total, render_money)} "
        f"{currency}",
    )
    return Working(
        formula,
        tuple(inputs),
        "common practice, no source, for the factors; they stand in shared/tool_kinds.yaml",
        "Low and high run over the classes of change; likely is weighted by how often each is needed.",
        Link("Cost of change", find_method_page("cost-of-change")),
    )


# --- as estimated, as calibrated ------------------------------------------------------------------


def build_calibrated_section(file: PartFile) -> Section | None:
    """Make the table of the ladder as estimated and as our own closed changes calibrate it; None where none is used."""
    rows = build_calibrated_rows(file)
    if not rows:
        return None
    currency = file.workspace.catalogues.money.currency
    columns = (
        Column("found at"),
        Column("as estimated", currency, True),
        Column("as calibrated", currency, True),
        Column("as estimated", "weeks", True),
        Column("as calibrated", "weeks", True),
    )
    table = Table(
        "What one change costs, by when it is found",
        columns,
        tuple(Row(tuple(Cell(build_line(text)) for text in row)) for row in rows),
        "No factor of our own is used.",
    )
    beliefs = file.workspace.catalogues.money.beliefs
    working = Working(
        (
            "as calibrated = share of the tool's price x price x our own factor, for the kinds and classes below",
            "weeks of the tool's change x our own factor of weeks, where one is below",
            *list_factors(file),
            f"a factor is used from {beliefs.few_cases} closed changes of its kind and class on",
        ),
        (WorkingInput("closed changes", "predicted and actual", build_line("`changes` of every record")),),
        "normal-normal shrinkage (Gelman and others, Bayesian Data Analysis, sections 2.5 and 5.4); from how many on: "
        "common practice, no source",
        "Tools that are remade whole are not calibrated. Predictions are recorded as estimated.",
        Link("Cost of change", find_method_page("cost-of-change")),
    )
    return Section(
        "calibrated",
        "As estimated, as calibrated",
        f"{len(file.factors) + len(file.weeks_factors)} of our own factors in the ladder",
        build_line("Every other figure of this part rests on the calibrated costs and weeks."),
        (),
        (table,),
        (),
        working,
    )


# --- impact preview -------------------------------------------------------------------------------


def build_impact_section(file: PartFile) -> Section | None:
    """Make the preview: for a change to each feature found today, what follows, when, and at what cost."""
    basis = file.basis
    if isinstance(basis, Cycle) or not file.part.features:
        return None
    groups: dict[tuple[object, ...], list[tuple[str, Impact]]] = {}
    for key in file.part.features:
        impact = compute_impact(basis, (key,))
        steps = tuple((s.key, s.cost, s.starts, s.finishes) for s in impact.steps)
        groups.setdefault((steps, impact.figure.total), []).append((key, impact))
    tables = tuple(_build_impact_table(file, [key for key, _ in found], found[0][1]) for found in groups.values())
    return Section(
        "impact",
        "If a feature changes",
        "what follows, in which order, at what cost, found today",
        build_line(Run("Nothing is written: this is what would be redone of what exists today.", Tone.SOFT)),
        (),
        tables,
        build_line(Run(f"In the terminal: pipeline impact {file.number} FEATURE", Tone.SOFT)),
        None,
        True,
    )


def _build_impact_table(file: PartFile, keys: list[str], impact: Impact) -> Table:
    currency = file.workspace.catalogues.money.currency
    names = word_list([file.part.features[key].what for key in keys], 6)
    total = f"{_render_rung(impact.figure)} {currency}, {render_weeks(impact.figure.weeks)} weeks"
    caption = f"{names}: {total}" if impact.steps else names
    columns = (
        Column("redone"),
        Column("why"),
        Column("cost", currency, True),
        Column("from", "week", True),
        Column("to", "week", True),
    )
    rows = []
    for step in impact.steps:
        whole = all(line.amount is not None for line in step.lines)
        reason = _word_reason(file, step.reason, impact.features)
        rows.append(
            Row(
                (
                    Cell(_word_step(step)),
                    Cell(reason),
                    Cell(build_line(render_span(step.cost) + ("" if whole else " at least"))),
                    Cell(build_line(render_weeks(step.starts))),
                    Cell(build_line(render_weeks(step.finishes))),
                )
            )
        )
    if rows:
        delay = render_amount(impact.figure.delay.likely)
        rows.append(Row((Cell(build_line("delay")), Cell(build_line("sales lost for good while it is mended")),
                         Cell(build_line(delay)), Cell(), Cell())))  # fmt: skip
    return Table(
        caption, columns, tuple(rows), f"{names}: nothing that exists covers it; a change is free but for the drawing."
    )


def _word_step(step: ImpactStep) -> Line:
    return build_line(step.label, *([Run(" on the longest path", Tone.SOFT)] if step.is_critical else []))


def _word_reason(file: PartFile, reason: str, features: tuple[str, ...]) -> Line:
    """Return a reason with the names of the features in place of their ids."""
    for key in features:
        reason = reason.replace(f"covers {key}", f"covers `{key}`")
    return build_line(word_features(file, reason))
