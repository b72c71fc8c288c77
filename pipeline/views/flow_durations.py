"""How long stages last, and how old what is in work is against that."""

from __future__ import annotations

from pipeline.model.words import GATES, Gate
from pipeline.planning.flow_ageing import AgeBand, OpenAge
from pipeline.planning.survival import SurvivalCurve, compute_quantile, compute_quantile_interval
from pipeline.portfolio.flow import Flow
from pipeline.views.addresses import find_method_page, find_part_page
from pipeline.views.shapes_charts import AgeChart, AgeItem, Curve, CurveChart, CurvePoint
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    Row,
    Run,
    Table,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.states import name_person
from pipeline.views.wording import word_count, word_number, word_share

METHOD = Link("How the flow is reckoned", find_method_page("flow"))
NAMED = 8
"""So many parts are named in the drawing of ages; the table names all."""


def build_durations_section(flow: Flow) -> Section:
    """Make the section of how long each stage lasts, open items counted as longer than they have lasted."""
    known = [gate for gate in GATES if flow.curves[gate].times.size]
    table = Table(
        "How long stages last",
        (
            Column("stage"), Column("finished", number=True), Column("open", number=True),
            Column("half are through in", "weeks", number=True), Column("between (95 %)", "weeks", number=True),
            Column("85 % in", "weeks", number=True), Column("longest so far", "weeks", number=True),
        ),
        tuple(_build_duration_row(gate, flow.curves[gate]) for gate in GATES),
        "No stage has begun.",
        "flow/durations.csv",
    )  # fmt: skip
    figures = (_build_survival(flow, known),) if known else ()
    return Section("durations", "How long stages last", "", (), figures, (table,), working=_build_working(), fold=True)


def _build_duration_row(gate: Gate, curve: SurvivalCurve) -> Row:
    half = compute_quantile(curve, 0.5) if curve.times.size else None
    most = compute_quantile(curve, 0.85) if curve.times.size else None
    low, high = compute_quantile_interval(curve, 0.5) if curve.times.size else (None, None)
    between = "–" if low is None or high is None else f"{word_number(low, 1)} to {word_number(high, 1)}"
    texts = (
        gate.value, str(curve.items - curve.open_items), str(curve.open_items), _word(half), between, _word(most),
        word_number(curve.longest, 1),
    )  # fmt: skip
    return Row(tuple(Cell(build_line(text)) for text in texts))


def _word(weeks: float | None) -> str:
    return "–" if weeks is None else word_number(weeks, 1)


def _build_survival(flow: Flow, known: list[Gate]) -> Figure:
    curves = tuple(Curve(gate.value, _list_points(flow.curves[gate]), Mark.IN_HAND, steps=True) for gate in known)
    halves = {gate: compute_quantile(flow.curves[gate], 0.5) for gate in known}
    said = "; ".join(f"{g} {_word(half)} weeks" for g, half in halves.items())
    chart = CurveChart(
        "Share still in the stage", f"Half are through: {said}.", "weeks since it came in", "% still there", curves
    )
    slowest = max(known, key=lambda gate: halves[gate] or 0.0)
    return Figure(
        chart,
        build_line(
            f"Read across at 50 %: half of the parts are through {slowest} after {_word(halves[slowest])} weeks. Parts "
            "that are still there count as longer than they have lasted; leaving them out would flatter every stage."
        ),
    )


def _list_points(curve: SurvivalCurve) -> tuple[CurvePoint, ...]:
    pairs = [(0.0, 1.0), *zip(curve.times.tolist(), curve.survival.tolist(), strict=True)]
    return tuple(CurvePoint(float(time), 100.0 * float(share)) for time, share in pairs)


def _build_working() -> Working:
    return Working(
        (
            "S(t) = product over finishes up to t of (1 − finished / still there just before)",
            "half: first t with S ≤ 0.5",
        ),
        (WorkingInput("open, held and dropped stays", "longer than they have lasted", build_line("censored")),),
        "E. L. Kaplan and P. Meier, JASA 53 (1958) 457-481; interval of the median: Brookmeyer and Crowley 1982",
        "All families together; the ages above are held against each part's own family.",
        METHOD,
    )


def build_ageing_section(flow: Flow) -> Section:
    """Make the section of what stands longer than its like: the drawing of all, the table of those beyond 85 %."""
    late = [age for age in flow.ages if age.band is AgeBand.STUCK]
    columns = (
        Column("part"), Column("stage"), Column("there for", "weeks", number=True, sort=True),
        Column("half are through in", "weeks", number=True), Column("85 % in", "weeks", number=True),
        Column("were faster", number=True), Column("since last evidence", "weeks", number=True, sort=True),
        Column("engineer"),
    )  # fmt: skip
    table = Table(
        "Parts that stand longer than 85 % of their like",
        columns,
        tuple(_build_age_row(flow, age) for age in late),
        "Nothing stands longer than 85 % of its like.",
        "flow/ageing.csv",
    )
    figures = (_build_ages(flow, late),) if flow.ages else ()
    aside = f"{len(late)} of {word_count(len(flow.ages), 'part')}"
    return Section(
        "ageing", "Standing longer than their like", aside, (), figures, (table,), working=_build_age_working()
    )


def _build_age_row(flow: Flow, age: OpenAge) -> Row:
    part = flow.workspace.parts[age.item]
    last = max((n.on for n in flow.lineage.parts[age.item].nodes.values() if n.on is not None), default=None)
    quiet = "–" if last is None else word_number((flow.day - last).days / 7, 0)
    name: Line = (Run(age.item, href=find_part_page(age.item)), Run(f" {part.name}"))
    texts: tuple[str | Line, ...] = (
        name, age.stage, word_number(age.age, 0), _word(age.usual), _word(age.slow),
        word_share(round(age.share_faster, 2)), quiet, name_person(flow.workspace.catalogues, part.engineer),
    )  # fmt: skip
    return Row(tuple(Cell(build_line(one) if isinstance(one, str) else one) for one in texts))


def _build_ages(flow: Flow, late: list[OpenAge]) -> Figure:
    stages = tuple(gate.value for gate in GATES)
    half = tuple(compute_quantile(flow.curves[g], 0.5) if flow.curves[g].times.size else None for g in GATES)
    most = tuple(compute_quantile(flow.curves[g], 0.85) if flow.curves[g].times.size else None for g in GATES)
    named = _choose_named(flow, late)
    items = tuple(AgeItem(a.item, stages.index(a.stage), a.age, a.item in named) for a in flow.ages)
    words = (
        f"{len(items)} parts in work, {len(late)} of them longer in their stage than 85 % of their family's parts were."
    )
    chart = AgeChart("Age of what is in work", words, stages, half, most, items)
    worst = late[0] if late else None
    note = (
        "Each dot is a part. Above the thick stroke it stands longer than 85 % did; ask what it waits for."
        if worst is None
        else f"Each dot is a part; the strokes are those of all families, the table holds each against its own. "
        f"{worst.item} stands out most: {word_number(worst.age, 0)} weeks in {worst.stage}, where 85 % are through in "
        f"{_word(worst.slow)}."
    )
    return Figure(chart, build_line(note))


def _choose_named(flow: Flow, late: list[OpenAge]) -> set[str]:
    """The parts that stand out most, as many as can be read: names of one stage need room between them."""
    room = max(age.age for age in flow.ages) / 16
    named: list[OpenAge] = []
    for age in late:
        if len(named) < NAMED and all(age.stage != o.stage or abs(age.age - o.age) >= room for o in named):
            named.append(age)
    return {age.item for age in named}


def _build_age_working() -> Working:
    return Working(
        (
            "age = days since the part came into its stage / 7",
            "were faster = share of like parts that had left the stage at that age (product-limit estimate)",
        ),
        (
            WorkingInput(
                "like parts", "the same family", build_line("all families on its scale, where fewer than 8 finished")
            ),
            WorkingInput("since last evidence", "days / 7", build_line("edits of a record do not count")),
        ),
        "Kaplan and Meier 1958; 50 % and 85 % as limits: common practice, no source",
        method=METHOD,
    )
