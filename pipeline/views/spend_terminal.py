"""The spending plan in the terminal and as data: the same tables and sentences as the page."""

from __future__ import annotations

import datetime as dt
import textwrap
from decimal import Decimal
from typing import Any

from pipeline.planning.funding_plan import FundingPlan
from pipeline.planning.funding_reasons import ToolReason
from pipeline.portfolio.funding_tools import ToolSet, find_set
from pipeline.portfolio.spending import Spending
from pipeline.views.spend import build_sections, word_budget
from pipeline.views.spend_answers import build_answers
from pipeline.views.spend_words import tidy_words, word_amount, word_first, word_quarter, word_reason
from pipeline.views.terminal_sections import WIDTH, render_sections, word_line
from pipeline.views.wording import word_day

_SHOWN = ("quarters", "ranking", "cut-line", "must-dos", "idle")


def render_plan(spending: Spending, whole: bool = False) -> list[str]:
    """Return the answers and the tables of a plan; `whole` shows every table of the page."""
    lines = [f"Tooling spend: {word_budget(spending)}.", ""]
    for title, line in build_answers(spending):
        lines += textwrap.wrap(f"{title}: {word_line(line)}", WIDTH, subsequent_indent="  ")
    if not spending.study.is_complete:
        lines += ["", "Stopped by hand: what was solved by then is shown, the rest is left out."]
    sections = [s for s in build_sections(spending) if whole or (s.anchor in _SHOWN and _has_rows(s.tables))]
    return [*lines, "", *render_sections(sections)]


def _has_rows(tables: tuple[Any, ...]) -> bool:
    return any(table.rows for table in tables)


def render_why(spending: Spending, name: str) -> list[str]:
    """Return everything that is known of one tool, part or set in the plan, in sentences."""
    left_out = next((one for one in spending.funding.left_out if one.part == name.partition("/")[0]), None)
    found = find_set(spending.funding.sets, name)
    if found is None:
        return _explain_absent(spending, name, None if left_out is None else left_out.why)
    title = (
        f"{found.key}, {spending.funding.names.get(found.part, '')}: {', '.join(found.tools) or 'no tool of its own'}."
    )
    lines = [title, *_list_payments(spending, found)]
    reason = next((r for r in spending.study.reasons if r.tool == found.key), None)
    if found.signed:
        lines.append("The money is released already, so there is nothing left to choose; what is due is paid first.")
    elif reason is not None:
        lines += _list_reason(spending, found, reason)
    lines += _list_sureness(spending, found.key)
    return [piece for line in lines for piece in textwrap.wrap(line, WIDTH, subsequent_indent="  ")]


def _explain_absent(spending: Spending, name: str, why: str | None) -> list[str]:
    if why is not None:
        return textwrap.wrap(f"{name} is not in the plan. {why}", WIDTH)
    file = spending.files.get(name.partition("/")[0])
    if file is not None and file.standing.released:
        return [f"{file.number} is on sale; its tools are paid, so there is nothing left to choose."]
    if file is not None and file.standing.is_dropped:
        return [f"{file.number} is dropped."]
    return [f"The plan knows nothing of {name}."]


def _list_payments(spending: Spending, one: ToolSet) -> list[str]:
    if not one.due:
        return ["It takes no payment."]
    groups: dict[tuple[dt.date, str], Decimal] = {}
    for line in one.due:
        groups[line.on, line.what] = groups.get((line.on, line.what), Decimal(0)) + line.amount
    lines = "; ".join(f"{word_day(on)} {what} {amount:,.2f}" for (on, what), amount in sorted(groups.items()))
    when = "due" if one.signed else "if it were ordered today"
    return [f"It costs {word_amount(spending, float(one.cost))}, {when}: {lines}."]


def _list_reason(spending: Spending, one: ToolSet, reason: ToolReason) -> list[str]:
    place = "It is out." if reason.quarter is None else f"It is released in {word_quarter(spending, reason.quarter)}."
    first = word_first(spending, one, reason.quarter or 0)
    ready = (
        "Its gates before tooling are proven."
        if not first
        else f"Before that: {first.removeprefix('not proven yet: ')}."
    )
    lines = [f"{place} {word_reason(spending, reason)}", ready]
    changes = [s for s in spending.study.cut if one.key in s.entering or one.key in s.leaving]
    for step in changes:
        verb = "brings it in" if one.key in step.entering else "takes it out"
        size = word_amount(spending, abs(step.change))
        lines.append(f"A budget {size} {'larger' if step.change > 0 else 'smaller'} {verb}.")
    return lines


def _list_sureness(spending: Spending, key: str) -> list[str]:
    found = spending.study.sureness
    one = None if found is None else next((t for t in found.tools if t.tool == key), None)
    if found is None or one is None or not found.worlds:
        return []
    first = spending.funding.case.quarters[0].name
    return [
        f"It is chosen in {round(one.share * found.worlds)} of {found.worlds} worlds (seed {spending.study.seed}), in "
        f"{round(one.share_now * found.worlds)} of them in {first}."
    ]


# --- as data --------------------------------------------------------------------------------------


def build_plan_data(spending: Spending) -> dict[str, Any]:
    """Return the plan for programs; money in workspace currency to the cent, quarters by name."""
    study, plan = spending.study, spending.study.plan
    return {
        "today": spending.funding.today.isoformat(),
        "currency": spending.funding.currency,
        "budget": _round(study.own),
        "promised": _round(study.promised),
        "complete": study.is_complete,
        "faults": [
            {"kind": f.kind.value, "keys": list(f.keys), "words": tidy_words(f.words), "fix": f.fix}
            for f in study.faults
        ],
        "answers": [{"title": title, "words": word_line(line)} for title, line in build_answers(spending)],
        "plan": None if plan is None else _build_plan(spending, plan),
        "tools": [_build_tool(spending, reason) for reason in study.reasons],
        "budgets": [
            {"budget": _round(p.budget), "worth_added": _add(spending, p.plan),
             "releases": _name_releases(spending, p.plan)}
            for p in study.points
        ],
        "cut_line": [
            {"budget": _round(s.budget), "change": _round(s.change), "in": list(s.entering), "out": list(s.leaving),
             "worth": _round(s.worth_change)} for s in study.cut
        ],
        "more_cash": [
            {"quarter": word_quarter(spending, v.quarter), "unit": _round(v.unit), "worth": _round(v.worth_change)}
            for v in study.shadow
        ],
        "must_dos": [{"key": c.key, "costs": _round(c.worth_cost)} for c in study.must_costs],
        "idle": [{"tool": one.tool, "paid": _round(one.spent), "words": tidy_words(one.words)} for one in study.idle],
        "not_in_the_plan": [{"part": one.part, "why": one.why} for one in spending.funding.left_out],
        "worlds": study.worlds,
        "seed": study.seed,
    }  # fmt: skip


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 2) + 0.0


def _add(spending: Spending, plan: FundingPlan | None) -> float | None:
    return None if plan is None else _round(plan.worth - (spending.study.base or 0.0))


def _name_releases(spending: Spending, plan: FundingPlan | None) -> dict[str, str]:
    return {} if plan is None else {key: word_quarter(spending, at) for key, at in plan.releases.items()}


def _build_plan(spending: Spending, plan: FundingPlan) -> dict[str, Any]:
    return {
        "worth_added": _add(spending, plan),
        "tooling": _round(plan.spend),
        "proven": plan.is_proven,
        "gap": plan.gap,
        "words": tidy_words(plan.words),
        "releases": _name_releases(spending, plan),
        "on_sale": {key: word_quarter(spending, at) for key, at in plan.launches.items()},
        "quarters": [
            {"quarter": row.name, "new_cash": _round(row.new_cash), "promised": _round(row.committed),
             "paid": _round(row.paid), "left": _round(row.left)} for row in plan.account.cash
        ],
    }  # fmt: skip


def _build_tool(spending: Spending, reason: ToolReason) -> dict[str, Any]:
    one, found = spending.funding.sets[reason.tool], spending.study.sureness
    sure = None if found is None else next((t for t in found.tools if t.tool == reason.tool), None)
    return {
        "key": one.key,
        "part": one.part,
        "tools": list(one.tools),
        "cost": _round(float(one.cost)),
        "release": None if reason.quarter is None else word_quarter(spending, reason.quarter),
        "kind": reason.why.kind.value,
        "why": word_reason(spending, reason),
        "share": None if sure is None else sure.share,
        "share_now": None if sure is None else sure.share_now,
    }
