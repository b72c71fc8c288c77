"""What the owner asks first: what to release now, what is just below the line and why, how sure, what waiting costs."""

from __future__ import annotations

from pipeline.planning.funding_plan import FundingPlan
from pipeline.planning.funding_reasons import ReasonKind, ToolReason
from pipeline.portfolio.funding_tools import ToolSet
from pipeline.portfolio.spending import Spending
from pipeline.views.shapes_marks import Line, Run, Tone, build_line
from pipeline.views.spend_words import (
    find_moves,
    link_set,
    list_releases,
    tidy_words,
    word_amount,
    word_change,
    word_quarter,
    word_reason,
)
from pipeline.views.wording import word_count, word_list

_SHORT = (ReasonKind.CASH, ReasonKind.CAPACITY, ReasonKind.NOT_SEARCHED)


def build_answers(spending: Spending) -> tuple[tuple[str, Line], ...]:
    """Return the first questions of a spending meeting with their answers; faults in words where there is no plan."""
    plan = spending.study.plan
    if plan is None:
        return tuple(("No plan", _word_fault(fault.words, fault.fix)) for fault in spending.study.faults)
    answers = [
        ("Release now", _answer_now(spending, plan)),
        ("Just below the line", answer_below(spending, plan)),
        ("What it is worth", _answer_worth(spending, plan)),
        ("How sure", _answer_sure(spending)),
        ("What waiting costs", _answer_waiting(spending, plan)),
    ]
    told = [("To mend", _word_fault(fault.words, fault.fix)) for fault in spending.study.faults]
    return tuple((title, line) for title, line in (*answers, *told) if line)


def _word_fault(words: str, fix: str) -> Line:
    return build_line(Run(tidy_words(words), Tone.FLAG), f" To mend it: {tidy_words(fix)}.")


def _answer_now(spending: Spending, plan: FundingPlan) -> Line:
    """Say what is released in today's quarter; what is not proven today is said apart."""
    first, now = spending.funding.case.quarters[0].name, list_releases(spending, plan, 0)
    ready = [one for one in now if one.ready.is_now]
    waiting = [one for one in now if not one.ready.is_now]
    runs: list[str | Run] = []
    if ready:
        cost = sum(float(one.cost) for one in ready)
        due = sum(one.payments[0] for one in ready)
        runs += [
            *_link_all(ready),
            f": {word_amount(spending, cost)} in all, {word_amount(spending, due)} of it due in {first}.",
        ]
    else:
        runs.append("Nothing: no tool whose gates are proven today is worth its cash this quarter.")
    if waiting:
        runs += [f" Later in {first}, once proven: ", *_link_all(waiting), "."]
    return build_line(*runs)


def _link_all(sets: list[ToolSet], limit: int = 8) -> list[str | Run]:
    runs: list[str | Run] = []
    for at, one in enumerate(sets[:limit]):
        link = link_set(one)
        runs += [", " if at else "", Run(link.text, Tone.STRONG, link.href)]
    rest = len(sets) - limit
    return [*runs, f" and {rest} more"] if rest > 0 else runs


def find_below(spending: Spending) -> list[ToolReason]:
    """Return what is out for want of cash or capacity, the nearest to coming in first."""
    out = [r for r in spending.study.reasons if r.quarter is None and r.why.kind in _SHORT]
    return sorted(out, key=lambda r: (r.why.kind is not ReasonKind.CASH, r.why.amount or 0.0, r.tool))


def find_held_up(spending: Spending) -> list[ToolReason]:
    """Return what is in, but later than it could be, for want of cash or capacity; the nearest first."""
    late = [
        r for r in spending.study.reasons
        if r.quarter is not None and r.why_not_earlier is not None and r.why_not_earlier.kind in _SHORT
    ]  # fmt: skip
    return sorted(late, key=lambda r: (r.why_not_earlier.amount or 0.0 if r.why_not_earlier else 0.0, r.tool))


def answer_below(spending: Spending, plan: FundingPlan) -> Line:
    """Say what is just below the line and why; where nothing is out for cash, what waits for it, what else is out."""
    below, late = find_below(spending), find_held_up(spending)
    if below:
        first = below[0]
        rest = [r.tool for r in below[1:4]]
        runs: list[str | Run] = [
            Run(first.tool, Tone.STRONG, link_set(spending.funding.sets[first.tool]).href),
            f". {word_reason(spending, first)}",
        ]
        more = f" After it: {word_list(rest)}." if rest else ""
        return build_line(*runs, more, _word_comes_in(spending, first.tool))
    if late:
        first = late[0]
        assert first.why_not_earlier is not None and first.quarter is not None
        link = link_set(spending.funding.sets[first.tool])
        return build_line(
            "Nothing is out for want of cash. Waiting for cash until ", word_quarter(spending, first.quarter), ": ",
            Run(first.tool, Tone.STRONG, link.href), f". {tidy_words(first.why_not_earlier.words)}",
            _word_step_up(spending, plan),
        )  # fmt: skip
    out = [r.tool for r in spending.study.reasons if r.quarter is None and r.why.kind is not ReasonKind.ON_HAND]
    if out:
        return build_line(f"Nothing waits for cash. Out for other reasons: {word_list(out)}; see the ranking.")
    return build_line("Nothing: every tool that can be planned is released as soon as its gates are proven.")


def _word_comes_in(spending: Spending, tool: str) -> str:
    """Say which larger solved budget is the first to have a tool."""
    for point in spending.study.points:
        if point.budget > spending.study.own and point.plan is not None and tool in point.plan.releases:
            return f" The first solved budget that has {tool} is {word_amount(spending, point.budget)}."
    return " No budget that was solved has it."


def _word_step_up(spending: Spending, plan: FundingPlan) -> str:
    """Say at which step of budget something comes in or comes earlier."""
    for step in spending.study.cut:
        if step.change > 0 and step.plan is not None and (step.entering or find_moves(plan, step.plan)):
            more = word_amount(spending, step.change)
            return f" With {more} more over the plan: {word_change(spending, plan, step.plan)}."
    return ""


def _answer_worth(spending: Spending, plan: FundingPlan) -> Line:
    study = spending.study
    added = plan.worth - (study.base or 0.0)
    kinds = word_count(len(plan.releases), "release")
    text = f"{kinds} for {word_amount(spending, plan.spend)} in all add "
    runs: list[str | Run] = [
        text,
        Run(word_amount(spending, added), Tone.STRONG),
        f" of present worth to what is released already. {tidy_words(plan.words)}",
    ]
    if study.alone is not None:
        less = plan.worth - study.alone
        if less >= 1:
            runs.append(f" Ranking each part on its own would bring {word_amount(spending, less)} less.")
    return build_line(*runs)


def _answer_sure(spending: Spending) -> Line:
    found = spending.study.sureness
    plan = spending.study.plan
    if found is None or plan is None or not found.worlds:
        return ()
    now = {key for key, quarter in plan.releases.items() if quarter == 0}
    shaky = [t for t in found.tools if t.tool in plan.releases and t.share < 1]
    sure = len(plan.releases) - len(shaky)
    words = (
        f"{sure} of {word_count(len(plan.releases), 'release')} are chosen in all {found.worlds} worlds "
        f"(demand, prices, weeks and gates drawn from their ranges, seed {spending.study.seed})."
    )
    firm = [t for t in found.tools if t.tool in now and t.share_now < 0.5]
    if firm:
        words += f" In less than half of them released this quarter: {word_list(t.tool for t in firm)}."
    if found.regret_mean is not None:
        words += f" Signing now costs {word_amount(spending, found.regret_mean)} on average against foresight"
        most = word_amount(spending, found.regret_most or 0.0)
        words += f", {most} at most."
    if found.short_worlds:
        short = word_amount(spending, found.short_most)
        words += f" In {found.short_worlds} of {found.worlds} worlds prices rise and these lack up to {short}."
    return build_line(words)


def _answer_waiting(spending: Spending, plan: FundingPlan) -> Line:
    waiting, first = spending.study.waiting, spending.funding.case.quarters[0].name
    if waiting is None:
        return ()
    loss = plan.worth - waiting
    if loss < 1:
        return build_line(f"Nothing: releasing nothing in {first} would lose no worth.")
    return build_line(
        f"Releasing nothing in {first} and going on from there loses ", Run(word_amount(spending, loss), Tone.STRONG),
        ": a later start, and sales that are lost for good.",
    )  # fmt: skip
