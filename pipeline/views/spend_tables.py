"""The tables of a spending plan: ranking, cut line, budgets, value of cash, must-dos, idle, promised, left out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

from pipeline.model.words import ToolStep
from pipeline.planning.funding_margins import CutStep
from pipeline.planning.funding_reasons import ReasonKind, ToolReason
from pipeline.portfolio.funding_tools import ToolSet
from pipeline.portfolio.funding_windows import find_first_starts
from pipeline.portfolio.spending import Spending
from pipeline.portfolio.tooling_cash import ToolCash
from pipeline.views.addresses import find_part_page
from pipeline.views.money_words import word_whole
from pipeline.views.shapes_marks import Cell, Column, Mark, RangeMark, Row, Run, Table, Tone, build_line
from pipeline.views.spend_words import (
    link_set,
    list_releases,
    tidy_words,
    word_amount,
    word_change,
    word_quarter,
    word_reason,
)
from pipeline.views.wording import word_day, word_list

_OUT = {
    ReasonKind.CASH: "cash",
    ReasonKind.CAPACITY: "capacity",
    ReasonKind.UNPROVEN_GATE: "gate",
    ReasonKind.KEPT_OUT: "told to be out",
    ReasonKind.WINDOW: "window",
    ReasonKind.WORTH: "worth",
    ReasonKind.WAITS_FOR_TOOL: "waits for a tool",
    ReasonKind.EITHER_OR: "either-or",
    ReasonKind.NOBODY_NEEDS: "nobody needs it",
    ReasonKind.NOT_SEARCHED: "search stopped",
}


def build_ranking(spending: Spending) -> Table:
    """Return every tool that there is a choice about: release, cost, worth of its part, sureness, why in or out."""
    reasons = sorted(
        (r for r in spending.study.reasons if r.why.kind is not ReasonKind.ON_HAND),
        key=_rank,
    )
    starts = find_first_starts(spending.funding.case)
    worths = {r.tool: _find_net(spending, spending.funding.sets[r.tool], starts) for r in reasons}
    ends = [end for one in worths.values() if one is not None for end in one]
    scale = (min(0.0, *ends), max(1.0, *ends)) if ends else (0.0, 1.0)
    currency = spending.funding.currency
    columns = (
        Column("tools", sort=True), Column("release", sort=True), Column("cost", currency, number=True, sort=True),
        Column("net worth of the part", f"{currency}, P10 to P90"), Column("sure", "share of worlds"),
        Column("why"),
    )  # fmt: skip
    rows = tuple(_build_rank_row(spending, reason, worths[reason.tool], scale) for reason in reasons)
    empty = "No part can be planned yet: each needs a demand, a quote or a cost, and its tools with a price."
    return Table("Ranking of the tools", columns, rows, empty, "spend/ranking.csv")


def _rank(reason: ToolReason) -> tuple[float, ...]:
    """Sort by release quarter, then by what the tool carries; what is out by how near it is."""
    if reason.quarter is not None:
        return (reason.quarter, -(reason.why.amount or 0.0))
    near = (ReasonKind.CASH, ReasonKind.CAPACITY, ReasonKind.WAITS_FOR_TOOL, ReasonKind.UNPROVEN_GATE)
    place = near.index(reason.why.kind) if reason.why.kind in near else len(near)
    return (100.0 + place, reason.why.amount or 0.0)


def _find_net(spending: Spending, one: ToolSet, starts: Mapping[str, int]) -> tuple[float, float, float] | None:
    """Return P10, mean and P90 of a part's present worth at its earliest start, its own tools paid."""
    earning = spending.funding.earnings.get(one.part)
    if earning is None or one.shared:
        return None
    factor, cost = (1.0 + spending.funding.case.discount) ** starts[one.part], float(one.cost)
    return earning.p10 / factor - cost, earning.mean / factor - cost, earning.p90 / factor - cost


def _build_rank_row(
    spending: Spending, reason: ToolReason, net: tuple[float, float, float] | None, scale: tuple[float, float]
) -> Row:
    one = spending.funding.sets[reason.tool]
    link = link_set(one)
    name = spending.funding.names.get(one.part, "")
    count = f"{len(one.tools)} tools, " if len(one.tools) > 1 else ""
    worth = Cell() if net is None else Cell(build_line(_word_net(net)), drawing=RangeMark(*net, *scale, ""))
    return Row(
        (
            Cell((Run(link.text, href=link.href), Run(f" {count}{name}", Tone.SOFT))),
            _build_release_cell(spending, reason),
            Cell(build_line(word_whole(float(one.cost)))),
            worth,
            _build_sure_cell(spending, reason.tool),
            Cell(build_line(word_reason(spending, reason))),
        ),
        f"tool-{reason.tool.replace('/', '-').replace(' ', '-')}",
    )


def _word_net(net: tuple[float, float, float]) -> str:
    return f"{word_whole(net[1])} ({word_whole(net[0])} to {word_whole(net[2])})"


def _build_release_cell(spending: Spending, reason: ToolReason) -> Cell:
    if reason.quarter is None:
        return Cell(build_line(f"out: {_OUT.get(reason.why.kind, reason.why.kind.value)}"), Mark.MISSING)
    one = spending.funding.sets[reason.tool]
    now = reason.quarter == 0 and one.ready.is_now
    mark = Mark.READY if now else Mark.PLANNED
    return Cell(build_line("now, " if now else "", word_quarter(spending, reason.quarter)), mark)


def _build_sure_cell(spending: Spending, tool: str) -> Cell:
    found = spending.study.sureness
    one = None if found is None else next((t for t in found.tools if t.tool == tool), None)
    if found is None or one is None or not found.worlds:
        return Cell(build_line(Run("not asked", Tone.SOFT)))
    words = f"{round(one.share * found.worlds)} of {found.worlds}"
    first = spending.funding.case.quarters[0].name
    if one.share_now > 0:
        words += f", {round(one.share_now * found.worlds)} in {first}"
    return Cell(build_line(words), drawing=RangeMark(one.share_now, one.share, one.share, 0.0, 1.0, ""))


def build_cut_line(spending: Spending) -> Table:
    """Return what each step of budget up or down changes."""
    currency = spending.funding.currency
    columns = (
        Column("budget", currency, number=True), Column("change", currency, number=True), Column("what changes"),
        Column("worth", currency, number=True),
    )  # fmt: skip
    rows = tuple(_build_cut_row(spending, step) for step in reversed(spending.study.cut))
    half = sum(step.change > 0 for step in spending.study.cut)
    own = Row(
        (
            Cell(build_line(Run(word_whole(spending.study.own), Tone.STRONG))), Cell(build_line("0")),
            Cell(build_line(Run("the plan above", Tone.STRONG))), Cell(build_line("0")),
        )
    )  # fmt: skip
    listed = (*rows[:half], own, *rows[half:]) if rows else ()
    empty = "No step could be solved: there is no plan, or the search was stopped before."
    return Table("The cut line, step by step", columns, listed, empty, "spend/cut-line.csv")


def _build_cut_row(spending: Spending, step: CutStep) -> Row:
    plan = spending.study.plan
    if step.plan is None or plan is None:
        words = tidy_words(" ".join(f.words for f in step.faults)) or "nothing fits"
    else:
        words = word_change(spending, plan, step.plan) or "nothing changes"
    change = (
        "–" if step.worth_change is None else f"{'+' if step.worth_change > 0.5 else ''}{word_whole(step.worth_change)}"
    )
    budget = f"{'+' if step.change > 0 else ''}{word_whole(step.change)}"
    return Row(tuple(Cell(build_line(t)) for t in (word_whole(step.budget), budget, words, change)))


def build_points_table(spending: Spending) -> Table:
    """Return every solved budget: worth added, tooling, what comes and goes against the budget before."""
    currency, before = spending.funding.currency, None
    rows = []
    for point in spending.study.points:
        is_own = point.budget == spending.study.own
        tone = Tone.STRONG if is_own else Tone.PLAIN
        plan = point.plan
        if plan is None:
            faults = tidy_words(" ".join(f"{fault.words}" for fault in point.faults)) or "nothing fits"
            texts = [word_whole(point.budget), "–", "–", faults]
        else:
            added = plan.worth - (spending.study.base or 0.0)
            change = word_change(spending, before, plan) if before is not None else _word_plan(plan.releases)
            texts = [word_whole(point.budget), word_whole(added), word_whole(plan.spend), change or "nothing changes"]
        rows.append(Row(tuple(Cell((Run(text, tone),)) for text in texts)))
        before = plan if plan is not None else before
    columns = (
        Column("budget in all", currency, number=True), Column("worth added", currency, number=True),
        Column("tooling", currency, number=True), Column("against the budget before"),
    )  # fmt: skip
    return Table("Solved budgets", columns, tuple(rows), "No budget could be solved.", "spend/budgets.csv")


def _word_plan(releases: Iterable[str]) -> str:
    found = sorted(releases)
    return f"in: {word_list(found, 8)}" if found else "nothing is released"


def build_shadow(spending: Spending) -> Table:
    """Return what one more unit of cash in each quarter adds."""
    currency, plan = spending.funding.currency, spending.study.plan
    columns = (
        Column("more cash in"), Column("adds to worth", currency, number=True), Column("for each unit", number=True),
        Column("tools that enter or leave"),
    )  # fmt: skip
    rows = []
    for value in spending.study.shadow if plan is not None else ():
        change = [*(f"in: {k}" for k in value.entering), *(f"out: {k}" for k in value.leaving)]
        words = "; ".join(change) or ("the same tools, sooner" if value.worth_change >= 1 else "none")
        texts = (word_quarter(spending, value.quarter), word_whole(value.worth_change), f"{value.value:.2f}", words)
        rows.append(Row(tuple(Cell(build_line(text)) for text in texts)))
    unit = word_amount(spending, spending.study.unit)
    return Table(f"What {unit} more in one quarter adds", columns, tuple(rows), "Not solved.", "spend/cash-value.csv")


def build_must_costs(spending: Spending) -> Table:
    """Return what each thing that is told to be in costs."""
    currency = spending.funding.currency
    columns = (Column("told to be in"), Column("costs", currency, number=True), Column("without the word"))
    rows = []
    for cost in spending.study.must_costs:
        change = [*(f"in: {k}" for k in cost.entering), *(f"out: {k}" for k in cost.leaving)]
        amount = "–" if cost.worth_cost is None else word_whole(cost.worth_cost)
        words = "; ".join(change) or "the plan would be the same"
        rows.append(Row((Cell(build_line(cost.key)), Cell(build_line(amount)), Cell(build_line(words)))))
    empty = "Nothing is told to be in. `plan: {must: true}` in a record, or `pipeline plan --must PART`, says so."
    return Table("What each must-do costs", columns, tuple(rows), empty, "spend/must-dos.csv")


def build_idle(spending: Spending) -> Table:
    """Return the tools that are paid and earn nothing until another is there."""
    currency = spending.funding.currency
    columns = (Column("tools"), Column("paid", currency, number=True), Column("until"))
    rows = tuple(
        Row(
            (
                Cell(build_line(one.tool)),
                Cell(build_line(word_whole(one.spent))),
                Cell(build_line(tidy_words(one.words))),
            )
        )
        for one in spending.study.idle
    )
    return Table(
        "Spent and idle", columns, rows, "No tool of this plan stands idle for want of another.", "spend/idle.csv"
    )


def build_promised(spending: Spending) -> Table:
    """Return the payments that were promised before, by day, part and milestone, with the ground that they stand on."""
    currency = spending.funding.currency
    columns = (
        Column("due"), Column("part"), Column("for"), Column("amount", currency, number=True), Column("on what ground"),
    )  # fmt: skip
    groups: dict[tuple[dt.date, str, str], list[tuple[ToolCash, ToolSet]]] = {}
    for one in spending.funding.signed_sets:
        for line in one.due:
            groups.setdefault((line.on, one.part, line.what), []).append((line, one))
    rows = []
    for (on, part, what), lines in sorted(groups.items()):
        tools = word_list([line.tool for line, _ in lines if line.tool], 12)
        link = Run(part, href=find_part_page(part, "tools"))
        cells = (
            build_line(word_day(on)), build_line(link), build_line(f"{what}: {tools}" if tools else what),
            build_line(f"{sum(line.amount for line, _ in lines):,.2f}"),
        )  # fmt: skip
        rows.append(
            Row((*(Cell(cell) for cell in cells), _build_ground(spending, part, [line.tool for line, _ in lines])))
        )
    empty = "Nothing is promised: no tool is ordered that is not paid."
    return Table("Promised before this plan", columns, tuple(rows), empty, "spend/promised.csv")


def _build_ground(spending: Spending, part: str, tools: list[str]) -> Cell:
    """Say how far the tools are, or that they are only released; a hold call is said first."""
    file = spending.files[part]
    if any(call.tool in tools for call in file.standing.hold_calls):
        return Cell(build_line(Run("hold call: ask the toolmaker to wait", Tone.FLAG)), Mark.STALE)
    records = [file.part.tools.get(tool) for tool in tools]
    states = dict.fromkeys(r.state.value for r in records if r is not None and r.state not in (None, ToolStep.QUOTED))
    if states:
        return Cell(build_line(word_list(states)))
    release = file.standing.release
    return Cell(build_line("" if release is None else f"released on {word_day(release.on)}, not ordered yet"))


def build_left_out(spending: Spending) -> Table:
    """Return the parts that cannot be planned, and what would put them in."""
    columns = (Column("part"), Column("why it is not in the plan, and what would put it there"))
    rows = tuple(
        Row(
            (
                Cell(
                    (
                        Run(one.part, href=find_part_page(one.part)),
                        Run(f" {spending.funding.names[one.part]}", Tone.SOFT),
                    )
                ),
                Cell(build_line(one.why)),
            )
        )
        for one in spending.funding.left_out
    )
    return Table(
        "Not in the plan", columns, rows, "Every part that is not on sale is in the plan.", "spend/left-out.csv"
    )


def build_quarters_table(spending: Spending) -> Table:
    """Return the plan by quarter: releases, promised and planned payments, what is left."""
    plan, currency = spending.study.plan, spending.funding.currency
    columns = (
        Column("quarter"), Column("release"), Column("new cash", currency, number=True),
        Column("promised", currency, number=True), Column("for this plan", currency, number=True),
        Column("left", currency, number=True),
    )  # fmt: skip
    rows = []
    for row in () if plan is None else plan.account.cash:
        if row.quarter < len(spending.funding.case.quarters) or row.paid:
            names = word_list((one.key for one in list_releases(spending, plan, row.quarter)), 20) if plan else ""
            texts = (
                row.name,
                names or "–",
                *(word_whole(v) for v in (row.new_cash, row.committed, row.paid, row.left)),
            )
            rows.append(Row(tuple(Cell(build_line(text)) for text in texts)))
    empty = "There is no plan; what is wrong stands above."
    return Table("The plan by quarter", columns, tuple(rows), empty, "spend/quarters.csv")
