"""Methods about time: the flow and its forecasts, the review, and what git knows."""

from __future__ import annotations

from pipeline.portfolio.flow import LITTLE_WEEKS, SNAPSHOTS_BACK
from pipeline.portfolio.flow_usual import LEAST_FINISHED, RECORD_WORTH, WORTH
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import FLOW, PARTS, REVIEW
from pipeline.views.method_shapes import build_method, build_symbols
from pipeline.views.shapes_marks import Caution, Link
from pipeline.views.shapes_site import MethodPage
from pipeline.views.wording import word_count


def build_flow_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on the flow: lengths of stages, queues, forecasts, and how they are tested."""
    del portfolio
    return build_method(
        "flow",
        "Flow and forecasts",
        "How long stages last, what queues, and when a part will be done, as odds.",
        "When will it be done, how sure is that, and what is in the way?",
        (
            "stay in a stage = first go for the gate before it (or the first day) .. first go for its own gate",
            "S(t) = Π (1 − finished at tᵢ / still there just before tᵢ), open, held and dropped stays being censored",
            f"length ~ (n · own + {WORTH} · rest + 1 · beyond) / (n + {WORTH} + 1), rest = (m · all families, on this "
            f"one's scale + {RECORD_WORTH} · weeks on record) / (m + {RECORD_WORTH})",
            "beyond: one more case, longer than every finished one, by the exponential tail",
            "the present stage: length given that it has lasted its age already",
            "stage ends = max(length, turns at its resources); resources serve first come, first served",
            "likely: half of the simulated futures are done; 85 % by: 85 % are",
            f"Little: L = λ · W over {LITTLE_WEEKS} weeks; queue in weeks = hours that wait / hours a week",
        ),
        build_symbols(
            ("n, m", "finished stays of the family, of all families", "–"),
            ("S(t)", "share still in the stage after t", "–"),
            ("L, λ, W", "parts in work, parts a week, weeks in the stage", "–, 1/week, weeks"),
        ),
        "Kaplan and Meier 1958; Ferguson, Annals of Statistics 1 (1973) 209-230 for the weights; Hill, JASA 63 (1968) "
        "677-691 for the case beyond; Little 1961; A. M. Law, Simulation Modeling and Analysis; the numbers of cases: "
        "common practice, no source",
        (
            f"No date is given while fewer than {LEAST_FINISHED} parts have finished a stage that remains.",
            "Held parts have no date. A gate that goes stale later does not send the clock back.",
            f"Tested by forecasts made again for {word_count(len(SNAPSHOTS_BACK), 'earlier day')}; the share inside "
            "the 85 % range stands on the page.",
            "The stages of one part are drawn independently; what delays everything at once (cash, illness) is not.",
        ),
        (Caution("A date here is a chance.", "It supposes the pace, people and cash of the past.", "See Flow."),),
        used_on=(Link("Flow", FLOW), Link("Parts", PARTS)),
    )


def build_history_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on what git knows and how a review is made."""
    shop = None if portfolio.workspace is None else portfolio.workspace.catalogues.shop
    late = 21 if shop is None else shop.late_record_days
    return build_method(
        "history",
        "History and review",
        "Who recorded what, and when, beside what the record says; what moved since the last review.",
        "Can the days in the records be believed, and what moved?",
        (
            "recorded = the first commit of the branch that holds the fact, through moved files and merges",
            f"late: recorded over {late} days after the day it states; ahead: stated more than 1 day after its commit",
            "rewritten: evidence, or its entry, changed after the decision that rests on it",
            "decided by: the commit's author must have the role; who is named must have committed here",
            "review: the records of the last review's commit, judged as of that day, against those on disk",
        ),
        build_symbols(("fact", "an entry of a record with a day: evidence, revision, quote, tool step, decision", "–")),
        "git's own objects; the limits: common practice, no source (shared/shop.yaml)",
        (
            "Days come from the clocks of those who commit, and a commit can be forged: a contradiction is a reason to "
            "ask, never a proof.",
            "A shallow clone knows nothing before its oldest commit, and says so. Nothing in a repository is executed.",
            "A review is recorded in shared/reviews.yaml by pipeline review --close.",
        ),
        used_on=(Link("Review", REVIEW), Link("Parts", PARTS)),
    )
