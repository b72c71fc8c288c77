"""Methods about money: what a change costs, what follows from it, what waiting costs, and dated rates."""

from __future__ import annotations

from pipeline.costing.delay import Delay
from pipeline.costing.impact import compute_impact
from pipeline.costing.ladder import compute_ladder
from pipeline.model.catalogue import Catalogues, ClassFactor
from pipeline.model.quantity import Range
from pipeline.model.words import ChangeClass
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import PARTS
from pipeline.views.change_cost import FOLK_RULE
from pipeline.views.method_shapes import build_method, build_symbols, build_table, find_source
from pipeline.views.shapes_marks import Caution, Column, Link, Table
from pipeline.views.shapes_site import MethodPage, Section
from pipeline.views.wording import word_day, word_number, word_share

_ESTIMATE = Caution(
    "An estimate is not a quote.",
    "Ask the toolmaker before you rely on a factor; your own recorded changes correct it.",
)


def _catalogues(portfolio: Portfolio) -> Catalogues:
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    return portfolio.workspace.catalogues


def _word_range(found: Range, percent: bool = False) -> str:
    low, likely, high = (word_share(x) if percent else word_number(x) for x in (found.low, found.likely, found.high))
    return likely if low == high else f"{likely} ({low} to {high})"


def build_change_cost_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on the ladder, with the factors of every kind of tool and their source."""
    catalogues = _catalogues(portfolio)
    factors = _build_factors(catalogues)
    mix = build_table(
        "How often each class of change is needed",
        ("family", "mix"),
        (
            (
                family.name,
                ", ".join(f"{name.value} {word_share(share)}" for name, share in family.mix.items())
                or "tool changed by metal off",
            )
            for family in catalogues.families.families.values()
        ),
    )
    return build_method(
        "cost-of-change",
        "Cost of change",
        "What one change costs, by the stage at which it is found.",
        "What would a change cost if it were found now, and what does it cost a stage later?",
        (
            "C(s) = Σ over what the change reaches and exists at stage s of redo(x)  +  w(s) × D",
            "redo(tool) = price × share(kind, class of change) + redesign",
            "calibrated: × own factor(kind, class), weeks(kind, class) × own factor of weeks, each from "
            f"{catalogues.money.beliefs.few_cases} closed changes of that kind and class on; both figures are shown",
            "likely = Σ over classes of mix(class) × C(s, class);  low and high run over classes and ranges",
            "of a part: features weighted by how often an error is in them; "
            f"a critical one counts {catalogues.money.critical_weight:g} times",
        ),
        build_symbols(
            ("C(s)", "cost of one change found at stage s", catalogues.money.currency),
            ("redo(x)", "hours, money or a share of a price that it takes to do x again", catalogues.money.currency),
            ("w(s)", "weeks lost: the family's own, else the longest path through what is redone", "week"),
            ("D", "cost of a week of delay", f"{catalogues.money.currency} per week"),
        ),
        f"{find_source(compute_ladder)}; the source of each factor stands beside it",
        (
            FOLK_RULE,
            "What has no price on record is left out and said: the figure is then a least.",
            "A delay that stops another part is not added to that part.",
            "Own factors touch a tool's change: its money, and its weeks where changes state them predicted and "
            "actual; predictions are recorded as estimated.",
        ),
        (_ESTIMATE,),
        Section("factors", "The shop's factors", tables=(mix, factors)),
        (Link("Parts", PARTS),),
    )


def _build_factors(catalogues: Catalogues) -> Table:
    """Make the table of factors: kinds with the same ones share a row; a column for each class of change."""
    groups: dict[tuple[tuple[ChangeClass, ClassFactor], ...], list[str]] = {}
    for kind in catalogues.tool_kinds.kinds.values():
        groups.setdefault(tuple(kind.changes.items()), []).append(kind.name)
    rows = []
    for changes, names in groups.items():
        found = dict(changes)
        sources = "; ".join(dict.fromkeys(factor.source for factor in found.values())) or "–"
        rows.append((", ".join(names), *(_word_factor(found.get(one)) for one in ChangeClass), sources))
    classes = (Column(one.value, "share of price; weeks") for one in ChangeClass)
    heads: tuple[str | Column, ...] = ("kind of tool", *classes, "source")
    return build_table("Factors by kind of tool and class of change", heads, rows, "data/change-factors.csv")


def _word_factor(factor: ClassFactor | None) -> str:
    if factor is None:
        return "–"
    return f"{_word_range(factor.share, True)}; {_word_range(factor.weeks)} weeks"


def build_impact_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on the impact preview."""
    currency = _catalogues(portfolio).money.currency
    return build_method(
        "impact",
        "What follows from a change",
        "Which evidence, tools and stock a change drags along, in which order.",
        "If this feature changes today, what has to be done again, when is it done, and what does it cost?",
        (
            "reached = everything that covers a changed feature, and everything that follows it (a mask follows "
            "its mould)",
            "start(x) = latest finish of what x waits for;  finish(x) = start(x) + weeks(x)",
            "length = longest path; what lies on it at the likely pace is marked",
        ),
        build_symbols(
            ("weeks(x)", "duration of x, low, likely and high", "week"), ("cost", "as on the ladder", currency)
        ),
        f"{find_source(compute_impact)}; longest path: any text on network planning",
        (
            "Nothing is written: the preview changes no record.",
            "People and machines are taken to be free: queues come on top.",
        ),
        (_ESTIMATE,),
        None,
        (Link("Parts", PARTS),),
    )


def build_delay_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on the cost of delay."""
    money = _catalogues(portfolio).money
    return build_method(
        "delay",
        "Cost of delay",
        "What a week later on sale loses.",
        "What is lost by waiting?",
        ("D = pieces a year × (price − landed cost) / 52 × share of delayed sales that is lost for good",),
        build_symbols(
            ("pieces a year", "demand, low, likely and high", "pieces"),
            (
                "landed cost",
                "what a piece costs us: on record, else of the chosen or cheapest quote",
                f"{money.currency} a piece",
            ),
            ("share lost", f"the record's own, else the shop's {word_share(money.lost_share)}", "1"),
        ),
        find_source(Delay),
        (
            "Not the whole margin: most buyers of an old vehicle's part wait.",
            "A part whose demand, price or cost is not known costs nothing by waiting, in this reckoning.",
        ),
        (),
        None,
        (Link("Cost of change", "methods/cost-of-change.html"),),
    )


def build_money_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on money: currency of the workspace, hourly rates, dated exchange rates."""
    money = _catalogues(portfolio).money
    rates = ((r.money, word_day(r.on), word_number(r.rate), r.source) for r in money.rates)
    hourly = ((role.value, word_number(rate)) for role, rate in money.hourly.items())
    tables = (
        build_table(
            "Exchange rates on record", ("currency", "on", Column("one is", money.currency, True), "source"), rates
        ),
        build_table("Hourly rates", ("role", Column("an hour", money.currency, True)), hourly),
    )
    return build_method(
        "money",
        "Money",
        "One currency for what is compared, at rates with a day and a source.",
        "How does an amount in another currency enter a figure?",
        (
            f"amount in {money.currency} = amount × latest rate on or before the day",
            f"a rate older than {money.rate_limit_days} days is not used: the amount is then missing, never taken "
            "at one to one",
        ),
        build_symbols(("rate", f"one unit of the currency in {money.currency}", money.currency)),
        "common practice, no source; rates as recorded in shared/money.yaml",
        ("Quotes side by side are shown in their own currency.",),
        (),
        Section("rates", "On record", tables=tables),
        (Link("Parts", PARTS),),
    )
