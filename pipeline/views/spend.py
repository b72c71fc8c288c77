"""The page of tooling spend: answers first, then the plan at each solved budget, then every table."""

from __future__ import annotations

from itertools import pairwise

from pipeline.planning.funding_plan import PlanEnd
from pipeline.portfolio.spending import Spending
from pipeline.views.addresses import SPEND, SPEND_DATA, SPEND_RELEASES, find_method_page
from pipeline.views.money_words import COMMON_PRACTICE
from pipeline.views.shapes_marks import Caution, Line, Link, Mark, Working, WorkingInput, build_line
from pipeline.views.shapes_site import Figure, PageHead, Section, Tally
from pipeline.views.shapes_spend import FrontierChart, SpendPage
from pipeline.views.spend_answers import build_answers, find_below
from pipeline.views.spend_points import build_points, find_own
from pipeline.views.spend_tables import (
    build_cut_line,
    build_idle,
    build_left_out,
    build_must_costs,
    build_points_table,
    build_promised,
    build_quarters_table,
    build_ranking,
    build_shadow,
)
from pipeline.views.spend_words import word_amount, word_quarters
from pipeline.views.wording import word_count, word_share

SUMMARY = (
    "Which tools to release in which quarter with this cash, what each is worth, how sure that is, and what waits."
)


def build_spend_page(spending: Spending | None) -> SpendPage:
    """Make the page; without a part in the workspace it says what would fill it."""
    head = PageHead("Tooling spend", SPEND, SUMMARY, "spend")
    if spending is None:
        empty = "No part is on record yet, so there is nothing to release. `pipeline new` starts a record."
        return SpendPage(head, (), (), (), (), -1, 1.0, "", "", SPEND_DATA, (), empty)
    points = build_points(spending)
    return SpendPage(
        head,
        build_answers(spending),
        build_tallies(spending),
        build_cautions(),
        points,
        find_own(spending),
        _find_slider_step(spending),
        spending.funding.currency,
        word_budget(spending),
        SPEND_DATA,
        build_sections(spending),
        releases_href=SPEND_RELEASES if points else "",
    )


def build_tallies(spending: Spending) -> tuple[Tally, ...]:
    """Count what the page holds, each count as a link to its list."""
    plan = spending.study.plan
    if plan is None:
        return ()
    now = sum(at == 0 and spending.funding.sets[key].ready.is_now for key, at in plan.releases.items())
    below = len(find_below(spending))
    rows = (
        (now, "release to sign now", "releases to sign now", "ranking", Mark.READY),
        (len(plan.releases) - now, "release planned later", "releases planned later", "ranking", Mark.PLANNED),
        (below, "tool set below the line", "tool sets below the line", "ranking", Mark.MISSING),
        (len(spending.funding.left_out), "part not in the plan", "parts not in the plan", "left-out", None),
    )
    return tuple(Tally(str(n), one if n == 1 else many, f"{SPEND}#{at}", mark) for n, one, many, at, mark in rows)


def build_cautions() -> tuple[Caution, ...]:
    """Say what the plan is not."""
    return (
        Caution(
            "A plan releases nothing.",
            "Money is released by the owner's decision in the record of the part, after its gates are proven "
            "(`pipeline release PART`); the next plan starts from there.",
        ),
    )


def word_budget(spending: Spending) -> str:
    """Return the stated budget, what of it is promised, and over which quarters, in one sentence."""
    study = spending.study
    asked = "" if study.own == study.stated else f" asked for, instead of {word_amount(spending, study.stated)} stated,"
    return (
        f"{word_amount(spending, study.own)}{asked} over {word_quarters(spending)}, of which "
        f"{word_amount(spending, study.promised)} is promised already"
    )


def _find_slider_step(spending: Spending) -> float:
    """Return a step of the slider: a tenth of the usual distance between two solved budgets, or less."""
    budgets = [point.budget for point in spending.study.points]
    gaps = sorted(b - a for a, b in pairwise(budgets))
    return max(1.0, round(gaps[len(gaps) // 2] / 10)) if gaps else 1.0


def build_sections(spending: Spending) -> tuple[Section, ...]:
    """Return everything below the plan."""
    study = spending.study
    return (
        Section("quarters", "This plan in one table", word_budget(spending), fold=True,
                tables=(build_quarters_table(spending),),
                working=build_working(spending)),
        Section("ranking", "Every tool, in or out, and why", _word_worlds(spending), tables=(build_ranking(spending),)),
        Section("cut-line", "The cut line", f"steps of {word_amount(spending, study.cut_step)} over the whole plan",
                tables=(build_cut_line(spending),)),
        Section("frontier", "Budget against worth", f"{word_count(len(study.points), 'solved budget')}",
                figures=_build_frontier(spending), tables=(build_points_table(spending),)),
        Section("cash-value", "What more cash is worth, and when", tables=(build_shadow(spending),),
                intro=build_line("By solving again with so much more in one quarter. Cash is carried on, so it is "
                                 "worth no less the earlier it comes.") if spending.funding.carries else ()),
        Section("must-dos", "What is told to be in", tables=(build_must_costs(spending),)),
        Section("idle", "Spent and idle", "paid, and earning nothing until another tool is there",
                tables=(build_idle(spending),)),
        Section("promised", "Promised before this plan", word_amount(spending, study.promised),
                tables=(build_promised(spending),), fold=True),
        Section("left-out", "Not in the plan", word_count(len(spending.funding.left_out), "part"),
                tables=(build_left_out(spending),), fold=True),
    )  # fmt: skip


def _word_worlds(spending: Spending) -> str:
    found = spending.study.sureness
    if found is None or not found.worlds:
        return ""
    return f"sureness: share of {found.worlds} worlds in which it is chosen, seed {spending.study.seed}"


def _build_frontier(spending: Spending) -> tuple[Figure, ...]:
    study = spending.study
    solved = [point for point in study.points if point.plan is not None]
    if not solved:
        return ()
    base = study.base or 0.0
    worths = tuple(point.plan.worth - base for point in solved if point.plan is not None)
    own = [at for at, point in enumerate(solved) if point.budget == study.own]
    most = None if study.rich is None else study.rich.worth - base
    first, last = (word_amount(spending, solved[at].budget) for at in (0, -1))
    words = (
        f"{len(solved)} solved budgets from {first} to {last} add {word_amount(spending, worths[0])} to "
        f"{word_amount(spending, worths[-1])} of worth."
    )
    label = f"{'stated' if study.own == study.stated else 'asked'}: {word_amount(spending, study.own)}"
    chart = FrontierChart(
        "Budget against the worth that it adds", words, spending.funding.currency,
        tuple(point.budget for point in solved), worths, own[0] if own else None, label, most,
    )  # fmt: skip
    note = (
        "Each lozenge is a plan that was solved. Between two, at least the lower one can be had; more is not claimed. "
        "Below the stated budget the cash that is free after promised payments shrinks in proportion."
    )
    return (Figure(chart, build_line(note)),)


def build_working(spending: Spending) -> Working:
    """Return how the plan was made: what is counted, with which settings, from where."""
    case, money = spending.funding.case, spending.catalogues.money
    rules = build_line("shared/money.yaml")
    inputs = (
        WorkingInput("price on downside", f"{case.price_on_downside:g}", rules),
        WorkingInput("cost of money", f"{word_share(money.money_rate)} a year", rules),
        WorkingInput(
            "share of a delayed sale that is lost",
            f"{word_share(money.lost_share)} unless the part says otherwise",
            rules,
        ),
        WorkingInput("unspent cash", "carried on" if spending.funding.carries else "lapses", rules),
        WorkingInput("worth of a part", "its business case, tooling not deducted", build_line("each part's page")),
        WorkingInput("worlds", f"{spending.study.worlds}, seed {spending.study.seed}", _word_settings(spending)),
    )
    return Working(
        (
            "most of: sum of worth of parts on sale - price on downside x sum of (mean - P10)",
            "         - what pairs take from each other, once - tool payments as money of today",
            "so that: no quarter spends more than its cash; a part is on sale only when all its tools,",
            "         and those of all it is made from, are there; a shared tool is paid once;",
            "         capacities, either-ors, must-dos and windows are kept",
        ),
        inputs,
        "binary programme with precedence and knapsack rows, solved by branch and cut; settings " + COMMON_PRACTICE,
        "A release is taken to fall in the middle of its quarter. Parts whose gates are not proven are planned from "
        "the quarter in which they are likely to be, by the flow's forecast where it has one (Flow), else by their "
        "family's usual weeks.",
        Link("How the plan is made", find_method_page("plan")),
    )


def _word_settings(spending: Spending) -> Line:
    plan = spending.study.plan
    if plan is None:
        return ()
    if plan.is_proven:
        return build_line("plan proven optimal")
    ends = {PlanEnd.GOAL: "gap reached", PlanEnd.TIME: "time limit", PlanEnd.INTERRUPTED: "stopped by hand"}
    return build_line(f"{ends[plan.end]}, gap {plan.gap:.2g}")
