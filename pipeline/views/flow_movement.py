"""What came and went: the cumulative flow, arrivals and departures by month, and Little's law."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from pipeline.model.words import GATES, Gate
from pipeline.planning.flow_ageing import compute_work_limit
from pipeline.planning.flow_counts import LittleCheck, build_cumulative_flow
from pipeline.planning.survival import compute_quantile
from pipeline.portfolio.flow import LITTLE_WEEKS, Flow
from pipeline.portfolio.flow_stays import Ending, find_released
from pipeline.views.addresses import find_method_page
from pipeline.views.shapes_charts import ColumnChart, ColumnStack, Curve, CurveChart, CurvePoint
from pipeline.views.shapes_marks import Cell, Column, Line, Link, Mark, Row, Table, Working, WorkingInput, build_line
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_count, word_day, word_number

WEEKS_SHOWN, MONTHS_SHOWN = 78, 12
METHOD = Link("How the flow is reckoned", find_method_page("flow"))
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def build_movement_section(flow: Flow) -> Section:
    """Make the section of the cumulative flow and of what came and went by month."""
    figures = (_build_cumulative(flow), _build_months(flow))
    return Section("movement", "What came and went", "", (), figures)


def _build_cumulative(flow: Flow) -> Figure:
    """One line for each stage: how many parts had come into it by each week; the last line is what was released."""
    start = -min(WEEKS_SHOWN, max(int((flow.day - min(flow.firsts.values())).days / 7), 1))
    times = [float(week) for week in range(start, 1)]
    table = build_cumulative_flow(flow.visits, [gate.value for gate in GATES], times)
    released = [_count_released(flow, time) for time in times]
    lines: list[tuple[str, Sequence[int]]] = [(g.value, table.arrivals[i].tolist()) for i, g in enumerate(GATES)]
    lines.append(("released", released))
    marks = [Mark.IN_HAND] * len(GATES) + [Mark.PROVEN]
    curves = tuple(
        Curve(name, tuple(CurvePoint(t, float(c)) for t, c in zip(times, counts, strict=True)), mark)
        for (name, counts), mark in zip(lines, marks, strict=True)
    )
    words = "; ".join(f"{name} {counts[-1]}" for name, counts in lines)
    chart = CurveChart(
        "Parts that had come into each stage",
        f"By {word_day(flow.day)}: {words}.",
        f"weeks before {word_day(flow.day)}",
        "parts so far",
        curves,
    )
    return Figure(chart, _explain_cumulative(flow, lines))


def _explain_cumulative(flow: Flow, lines: Sequence[tuple[str, Sequence[int]]]) -> Line:
    """The widest gap between two lines is where work piles up."""
    del flow
    gaps = [(lines[i][1][-1] - lines[i + 1][1][-1], lines[i][0]) for i in range(len(lines) - 1)]
    widest, stage = max(gaps)
    return build_line(
        f"The height between two lines is what is in that stage, the distance across is how long it stays. It is "
        f"widest in {stage}: {word_count(widest, 'part')} came in and did not go on."
    )


def _count_released(flow: Flow, time: float) -> int:
    days = [find_released(stays) for stays in flow.stays.values()]
    return sum(day is not None and (day - flow.day).days / 7 <= time for day in days)


def _build_months(flow: Flow) -> Figure:
    months = _list_months(flow.day)
    came = [_count_in(flow.firsts.values(), month) for month in months]
    released = [find_released(stays) for stays in flow.stays.values()]
    dropped = [s[-1].left for s in flow.stays.values() if s and s[-1].ending is Ending.DROPPED]
    columns = []
    for (year, month), arrived in zip(months, came, strict=True):
        out = float(_count_in(released, (year, month)))
        gone = float(_count_in(dropped, (year, month)))
        columns.append(ColumnStack(_MONTHS[month - 1], (out, gone), str(arrived)))
    chart = ColumnChart(
        "Left and taken up, by month",
        "; ".join(
            f"{c.label}: {c.amounts[0]:.0f} released, {c.amounts[1]:.0f} dropped, {c.words} taken up" for c in columns
        ),
        "parts",
        (("released", Mark.PROVEN), ("dropped", Mark.MISSING)),
        tuple(columns),
        tuple(float(count) for count in came),
    )
    total, out = sum(came), sum(_count_in(released, m) + _count_in(dropped, m) for m in months)
    trend = "so work in progress grew" if total > out else "so work in progress shrank" if total < out else "as many"
    return Figure(
        chart,
        build_line(
            f"The stroke over each month, and the number under it, is what was taken up: {total} in twelve months "
            f"against {out} that left, {trend}."
        ),
    )


def _list_months(day: dt.date) -> list[tuple[int, int]]:
    index = day.year * 12 + day.month - 1
    return [((index - back) // 12, (index - back) % 12 + 1) for back in range(MONTHS_SHOWN - 1, -1, -1)]


def _count_in(days: object, month: tuple[int, int]) -> int:
    return sum(isinstance(day, dt.date) and (day.year, day.month) == month for day in days)  # type: ignore[attr-defined]


def build_little_section(flow: Flow) -> Section:
    """Make the table of Little's law, over all and by stage, with how much work in progress would be enough."""
    rows = [_build_little_row("all stages", flow.compute_little(), "–")]
    for gate in GATES:
        check = flow.compute_little(gate)
        rows.append(_build_little_row(gate.value, check, _word_enough(flow, gate, check)))
    columns = (
        Column("stage"), Column("in work, mean", number=True), Column("seen a week", number=True),
        Column("stay in these weeks", "weeks", number=True), Column("came in", number=True),
        Column("left", number=True), Column("enough in work", "parts", number=True),
    )  # fmt: skip
    table = Table(
        f"Little's law over {LITTLE_WEEKS} weeks", columns, tuple(rows), "Nothing was in work.", "flow/little.csv"
    )
    intro = build_line(
        "Work in progress = rate × time in the stage, always. So more parts in work at the same pace only wait longer: "
        "the last column is what the stage can carry if each part is to stay no longer than half of them do."
    )
    return Section(
        "little",
        "Work in progress",
        "Little's law",
        intro,
        (),
        (table,),
        working=_build_little_working(flow),
        fold=True,
    )


def _build_little_row(name: str, check: LittleCheck, enough: str) -> Row:
    texts = (
        name, word_number(check.in_work, 1), word_number(check.rate, 2), word_number(check.stay, 1), str(check.arrived),
        str(check.left), enough,
    )  # fmt: skip
    return Row(tuple(Cell(build_line(text)) for text in texts))


def _word_enough(flow: Flow, gate: Gate, check: LittleCheck) -> str:
    half = compute_quantile(flow.curves[gate], 0.5) if flow.curves[gate].times.size else None
    return "–" if half is None else word_number(compute_work_limit(check.left / LITTLE_WEEKS, half), 1)


def _build_little_working(flow: Flow) -> Working:
    check = flow.compute_little()
    product = check.rate * check.stay
    return Working(
        (
            "L = part-weeks in the window / weeks of the window; λ = parts seen / weeks; W = part-weeks / parts seen",
            f"L = λ · W: {word_number(check.in_work, 2)} = {word_number(check.rate, 3)} × {word_number(check.stay, 2)}"
            f" = {word_number(product, 2)}",
            "enough in work = parts that left a week × the weeks by which half are through",
        ),
        (
            WorkingInput(
                "stays that reach over an edge of the window", str(check.cut), build_line("counted inside it only")
            ),
        ),
        "J. D. C. Little, Operations Research 9 (1961) 383-387; on a finite window the identity is exact",
        method=METHOD,
    )
