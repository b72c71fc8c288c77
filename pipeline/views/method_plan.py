"""The method of the tooling spend: what the plan maximises, what binds it, how sure it is, and what it leaves out."""

from __future__ import annotations

from pipeline.planning.funding_amounts import TIE_WIDTH
from pipeline.planning.funding_plan import LARGE_GAP, PROVE_UP_TO, compute_plan
from pipeline.planning.funding_start import find_quick_plan
from pipeline.planning.funding_sureness import WORLD_GAP, compute_sureness
from pipeline.portfolio.funding_quarters import QUARTERS
from pipeline.portfolio.funding_ready import DECIDING_WEEKS
from pipeline.portfolio.funding_study import USUAL
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import PARTS, SPEND
from pipeline.views.method_shapes import build_method, build_symbols, build_table, find_source
from pipeline.views.shapes_marks import Caution, Link
from pipeline.views.shapes_site import MethodPage, Section
from pipeline.views.wording import word_share


def build_plan_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on the plan of the tooling spend."""
    currency = "money" if portfolio.workspace is None else portfolio.workspace.catalogues.money.currency
    return build_method(
        "plan",
        "Tooling spend",
        "Which tools to release in which quarter, so that the parts on sale are worth most.",
        "Which tools shall be released with this cash, in which quarter, and how sure is that?",
        (
            "x(i, t) = 1 once tool set i is released by quarter t;  y(p, t) = 1 once part p is on sale by quarter t",
            "maximise  Σ worth(p, t) · [y(p, t) − y(p, t−1)] − Σ pay(i, t) · [x(i, t) − x(i, t−1)] − Σ lost · z",
            "worth(p, t) = margins sold from t on, as money of today − d · (mean − P10)",
            "once is always:  x(i, t) ≤ x(i, t+1),  y(p, t) ≤ y(p, t+1)",
            "a part needs all its tools, and those of all it is made from:  y(p, t) ≤ x(i, t − weeks of i)",
            "cash, for every quarter t:  Σ paid by t of all that is released ≤ opening + cash by t − promised by t",
            "hours, for each resource and quarter:  Σ hours of first articles ≤ capacity",
            "either-or:  Σ of the group ≤ 1;  told to be in: = 1;  told to be out, or outside its window: = 0",
            "pairs that take sales from each other:  z(p, q) ≥ y(p, T) + y(q, T) − 1",
        ),
        build_symbols(
            ("x, y", "0 or 1: released, on sale", "–"),
            ("z, lost", "1 where both of a pair are on sale; what they then take from each other, once", "–, money"),
            ("pay(i, t)", "payments of a set released in t, brought to today", currency),
            ("worth(p, t)", "worth of a part on sale from t on: its business case, tooling not deducted", currency),
            ("d", "price on downside: what one unit of money below the mean, at P10, is counted for", "–"),
            ("T", f"last quarter of the plan; {QUARTERS} quarters are planned", "–"),
        ),
        f"{find_source(compute_plan)} Rows without cash form a closure problem (J. C. Picard, Management Science 22 "
        f"(1976), from memory). Where to begin the search: {find_source(find_quick_plan)}. Sureness: "
        f"{find_source(compute_sureness)}",
        (
            f"Up to {PROVE_UP_TO} parts the plan is proven: nothing better exists, but for ties. Above that it is "
            f"solved to a gap of {LARGE_GAP:g}, and the gap is shown.",
            f"Plans within {TIE_WIDTH:g} of the largest worth count as equal: then the one that pays least is taken, "
            "then the one that does less and sooner.",
            "A release falls in the middle of its quarter. What falls due after the last quarter must be covered by "
            "the cash that is left then.",
            "Parts whose gates are not proven wait until they are likely to be: by the flow's forecast where it has "
            f"one, else by the usual weeks of their family; for a decision alone, {DECIDING_WEEKS:g} week.",
            "A part that nobody can date (held), or without a demand, a price or a priced tool, is left out, and "
            "named.",
            "What moves all parts together (the economy, a competitor) is not hedged: their worths are added up.",
        ),
        (
            Caution(
                "A plan is not a signature.",
                "It says what is worth most on the figures on record; the release is decided by those whose role it "
                "is, on the release sheet.",
            ),
            Caution(
                "Cash that is promised to nobody is not free.",
                "Ask whoever keeps the accounts before a quarter is planned to its last coin.",
            ),
        ),
        _build_answers(),
        (Link("Tooling spend", SPEND), Link("Parts", PARTS)),
    )


def _build_answers() -> Section:
    """What is asked of a plan, and how each answer is reckoned: by solving the whole plan again."""
    rows = (
        (
            "How sure is each release?",
            f"{USUAL.worlds} worlds (seed {USUAL.seed}): demand, prices of tools, weeks and gates come out otherwise, "
            f"within their ranges (triangular); each is solved to a gap of {word_share(WORLD_GAP)}. Sure: the share of "
            "worlds in which a set is released. Regret: the best in a world, less the best after today's releases.",
        ),
        (
            "What would another budget do?",
            f"{USUAL.points} budgets from nothing to all that is worth having, each solved: every point is a plan. "
            "Between two nothing is claimed but that the lower can be had.",
        ),
        (
            "What is just below the line?",
            f"{USUAL.cut_steps} steps of budget down and up: what leaves and enters, and the change in worth.",
        ),
        ("What is one more unit of cash worth?", "The plan solved with it, in each quarter; never a relaxed dual."),
        ("What does a must-do cost?", "The plan solved without it, less the plan with it."),
        (
            "What is spent and earns nothing?",
            "A set is idle from the quarter in which its pieces could come until something that needs it is on sale.",
        ),
        (
            "Why in, why out?",
            "The plan solved without limits of cash and hours, then what a set needs added to the plan as it stands: "
            "what is missing, least of all ways, is named.",
        ),
    )
    table = build_table("Questions and how they are answered", ("question", "answer"), rows)
    return Section("answers", "What is asked of a plan", "", (), (), (table,))
