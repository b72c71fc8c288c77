"""The case of a part: what it is worth, how sure that is, what goes into it and what drives it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from pipeline.costing.estimate import Estimate
from pipeline.costing.worth_drivers import Driver
from pipeline.costing.worth_simulation import CaseResult, Spread
from pipeline.portfolio.case import (
    DRAWS,
    SEED,
    PartCase,
    build_part_case,
    compute_case_result,
    compute_rate_spread,
    draw_worth,
    find_case_drivers,
    simulate_part,
)
from pipeline.portfolio.money import convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import find_shape
from pipeline.views.money_words import (
    build_row,
    build_table,
    find_currency,
    say,
    word_cents,
    word_range,
    word_weeks,
    word_whole,
)
from pipeline.views.quotes import build_cash_table
from pipeline.views.shapes_charts import SpreadChart
from pipeline.views.shapes_marks import Column, Line, Row, Run, Table, Tone, Working, WorkingInput, build_line
from pipeline.views.shapes_money import TornadoBar, TornadoChart
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_list, word_share

NO_TOOLS = "No tool is on record yet, so this is what is left to pay tools from."
_INPUTS = {
    "landed": "cost of a piece",
    "tooling": "tooling",
    "launch": "weeks to the first sale",
    "errors": "errors left",
}


def build_case_sections(file: PartFile) -> tuple[Section, ...]:
    """Make the section of a part's page about its worth; it says what is missing where there is no case."""
    found, result = build_part_case(file), compute_case_result(file)
    if found.case is None or result is None:
        return (Section("worth", "Is it worth its tooling?", "", say(found.lack), fold=True),)
    figures = tuple(one for one in (_draw_drivers(file, result), _draw_spread(file, result)) if one is not None)
    tables = (_build_figures(file, result), _build_inputs(file, found), build_cash_table(file))
    return (
        Section(
            "worth",
            "Is it worth its tooling?",
            f"{result.draws:,} simulated worlds, seed {result.seed}",
            _say_verdict(file, found, result),
            figures,
            tables,
            _say_conditions(file, found),
            _build_working(file),
            True,
        ),
    )


def is_before_tooling(file: PartFile) -> bool:
    """True when a part needs tools and none is on record: its worth is what is left to pay them from."""
    family = file.workspace.catalogues.families.families[file.part.family]
    named = file.part.tools or file.part.uses_tools or any(quote.tools for quote in file.part.quotes.values())
    return bool(family.tool_kinds) and not named


def _say_verdict(file: PartFile, found: PartCase, result: CaseResult) -> Line:
    currency, worth = find_currency(file), result.worth
    head = f"Worth {word_whole(worth.mean or 0.0)} {currency} today on average"
    head += ", before any tool is paid. " if is_before_tooling(file) else ". "
    spread = f"In one world of ten it is below {word_whole(worth.p10 or 0.0)}, "
    spread += f"in one of ten above {word_whole(worth.p90 or 0.0)}. "
    loss = f"Chance of a loss: {word_share(round(result.chance_of_loss, 4))}. "
    less = NO_TOOLS if is_before_tooling(file) else ""
    if found.waits_for:
        less += f" It earns nothing before {word_list(found.waits_for)} is released."
    return build_line(Run(head, Tone.STRONG), spread + loss + less)


def _build_figures(file: PartFile, result: CaseResult) -> Table:
    currency = find_currency(file)
    back, rates = result.payback_spread, compute_rate_spread(file)
    rows = [
        build_row(
            (
                f"present worth, {currency}",
                *_word_spread(result.worth),
                f"chance of a loss {word_share(round(result.chance_of_loss, 4))}",
            )
        ),
        build_row(("payback, years from today", *_word_years(back), _word_never(result))),
    ]
    if rates is not None:
        cells = [_word_rate(value) for value in (rates.spread.mean, rates.spread.p10, rates.spread.p90)]
        none = f"; {word_share(round(rates.none, 4))} of the worlds have none" if rates.none else ""
        rows.append(build_row(("internal rate a year", *cells, _word_roots(result) + none)))
    else:
        rows.append(
            build_row(("internal rate a year", "–", "–", "–", "no money is left to be put in, so there is no rate"))
        )
    columns = (
        Column("figure"),
        Column("mean", "", True),
        Column("P10", "", True),
        Column("P90", "", True),
        Column("of the expected case"),
    )
    return build_table("Worth, rate and payback", columns, rows, "")


def _word_spread(spread: Spread) -> tuple[str, str, str]:
    mean, low, high = ("–" if value is None else word_whole(value) for value in (spread.mean, spread.p10, spread.p90))
    return mean, low, high


def _word_years(spread: Spread) -> tuple[str, str, str]:
    """Return payback in years; a mean over worlds that never pay back is no number, a P90 among them is never."""
    low, high = ("never" if value is None else f"{value:.1f}" for value in (spread.p10, spread.p90))
    return "–" if spread.mean is None else f"{spread.mean:.1f}", low, high


def _word_never(result: CaseResult) -> str:
    own = "never" if result.payback is None else f"{result.payback:.1f} years"
    never = (
        f"; {word_share(round(result.never_pays_back, 4))} of the worlds never pay back"
        if result.never_pays_back
        else ""
    )
    return own + never


def _word_rate(rate: float | None) -> str:
    if rate is None:
        return "–"
    return (
        "over 1,000 %" if rate > 10 else word_share(round(rate, 3)) if rate >= 0 else f"−{word_share(round(-rate, 3))}"
    )


def _word_roots(result: CaseResult) -> str:
    """Say every internal rate of the expected cash flows, or that there is none."""
    if not result.rates:
        return "none: the flows have no internal rate"
    words = " and ".join(_word_rate(rate) for rate in result.rates)
    return words if len(result.rates) == 1 else f"{words}: more than one, so go by the present worth"


# --- inputs ---------------------------------------------------------------------------------------


def _build_inputs(file: PartFile, found: PartCase) -> Table:
    columns = (Column("what goes in"), Column("low to high", "", True), Column("unit"), Column("from"))
    return build_table("What goes into it", columns, tuple(_list_inputs(file, found)), "")


def _list_inputs(file: PartFile, found: PartCase) -> Iterator[Row]:
    case, demand, currency = found.case, file.part.demand, find_currency(file)
    if case is None or demand is None or found.landed is None or found.cash is None:
        return
    shape = ", ".join(word_share(round(share, 4)) for share in find_shape(demand))
    yield build_row(
        ("demand in a full year", _word_estimate(case.demand), "pieces", f"demand.per_year; by year {shape}")
    )
    yield build_row(("price", _word_estimate(case.price), currency, "demand.price"))
    for line in found.landed.lines:
        yield build_row((line.label, _word_estimate(line.money), currency, line.source))
    if len(found.landed.lines) > 1:
        yield build_row(
            ("a good piece in all, landed", _word_estimate(case.landed), currency, "sum of the lines above")
        )
    yield build_row(("tooling still to be paid", _word_estimate(case.tooling), currency, "by milestone, below"))
    yield build_row(
        (
            "weeks to the first sale",
            _word_estimate(case.launch),
            "weeks",
            f"quote {found.cash.quote}" if found.cash.quote else "usual for the family",
        )
    )
    for one in found.upkeep:
        yield build_row(
            (
                one.label,
                word_cents(one.per_year, currency),
                f"{currency} a year",
                f"quote {found.cash.quote}, on one footing",
            )
        )
    for sibling in case.siblings:
        yield build_row(
            (
                f"takes from {sibling.name}",
                f"{sibling.lost:g} x {sibling.margin:,.2f}",
                f"{currency} a piece",
                "demand.takes_from x its margin",
            )
        )
    for risk, mode in zip(case.errors, _list_modes(file), strict=True):
        if risk.mean > 0:
            yield build_row(
                (
                    f"errors of {mode}",
                    f"{risk.mean:.2g} x {word_whole(risk.late)}",
                    currency,
                    "what is probably still wrong with it",
                )
            )


def _list_modes(file: PartFile) -> list[str]:
    from pipeline.portfolio.errors import compute_part_errors

    return [] if file.ladder is None else [row.mode.value for row in compute_part_errors(file).rows]


def _word_estimate(one: Estimate) -> str:
    return word_range(one.low, one.likely, one.high)


def _say_conditions(file: PartFile, found: PartCase) -> Line:
    parts = []
    if found.landed is not None and found.landed.missing:
        parts.append(f"No price is known for {word_list(found.landed.missing, 6)}: the cost of a piece is a least.")
    if found.unknown_siblings:
        parts.append(
            f"It takes sales from {word_list(found.unknown_siblings)}, whose margin is not known and not counted."
        )
    own = None if file.part.demand is None else convert_price(file.rates, file.part.demand.cost, file.workspace.today)
    if own is not None and found.landed is not None and abs(float(own) - found.landed.money.likely) > 0.15 * float(own):
        parts.append(f"The record itself says {own:,.2f} {find_currency(file)} a piece; the quote is used.")
    if file.part.made_of:
        parts.append("The kit is counted here, whole and once; its parts count only what is sold of them alone.")
    parts.append("Money already spent is left out: it decides nothing any more.")
    return say(" ".join(parts), Tone.SOFT)


def _build_working(file: PartFile) -> Working:
    rate = file.workspace.catalogues.money.money_rate
    beliefs = file.workspace.catalogues.money.beliefs
    spreads = {"piece price": beliefs.piece_spread, "tool price": beliefs.tool_spread, "weeks": beliefs.weeks_spread}
    inputs = [WorkingInput("cost of money", f"{word_share(rate)} a year", say("shared/money.yaml"))]
    for name, spread in spreads.items():
        shown = f"{spread.low:g} to {spread.high:g} times the quoted {name}"
        inputs.append(WorkingInput(f"what becomes of a quoted {name}", shown, say("shared/money.yaml")))
    return Working(
        (
            "worth = sum over years of demand x (price - cost of a piece - margin taken from other parts) - upkeep,",
            "less tooling by milestone, less errors left x their cost in tooling, each / (1 + cost of money) ^ years",
        ),
        tuple(inputs),
        "engineering economy (present worth, rate, payback); low, likely, high: PERT (Malcolm and others, 1959)",
        "One world has one level of demand, price and cost in all its years. P10: one world of ten is lower.",
    )


# --- drawings -------------------------------------------------------------------------------------


def _draw_drivers(file: PartFile, result: CaseResult) -> Figure | None:
    drivers = find_case_drivers(file)[:8]
    if not drivers:
        return None
    currency, worth = find_currency(file), result.expected_worth
    first = drivers[0]
    words = f"Worth with every input at its mean: {word_whole(worth)} {currency}. "
    words += f"Moved most by {_name_input(first)}: "
    words += f"{word_whole(first.worth_low)} to {word_whole(first.worth_high)} {currency} from its P10 to its P90."
    bars = tuple(_build_bar(one) for one in drivers)
    chart = TornadoChart(
        "What drives the worth", words, currency, worth, f"all at their mean: {word_whole(worth)}", bars
    )
    return Figure(
        chart,
        say("Each input from its P10 to its P90, all others at their mean. Hatched: it turns into a loss.", Tone.SOFT),
    )


def _name_input(driver: Driver) -> str:
    return _INPUTS.get(driver.name, driver.name)


def _build_bar(one: Driver) -> TornadoBar:
    words = [
        word_weeks(end) if one.name == "launch" else word_whole(end) if abs(end) >= 100 else f"{end:.2f}"
        for end in (one.low, one.high)
    ]
    turns = (one.worth_low < 0) != (one.worth_high < 0)
    return TornadoBar(_name_input(one), one.worth_low, one.worth_high, words[0], words[1], turns)


def _draw_spread(file: PartFile, result: CaseResult) -> Figure | None:
    draws = draw_worth(file, result.draws, result.seed)
    if draws is None or float(draws.min()) == float(draws.max()):
        return None
    low, high = (float(np.quantile(draws, share)) for share in (0.005, 0.995))
    step = (high - low) / 24
    start = (
        np.floor(low / step) * step if low < 0 < high else low
    )  # zero lies on an edge, so that no bin is half a loss
    edges = start + step * np.arange(26)
    counts = np.histogram(np.clip(draws, edges[0], edges[-1]), edges)[0]
    currency = find_currency(file)
    words = f"Worth over {result.draws:,} simulated worlds, {currency}: P10 {word_whole(result.worth.p10 or 0.0)}, "
    words += f"mean {word_whole(result.worth.mean or 0.0)}, P90 {word_whole(result.worth.p90 or 0.0)}; "
    words += f"{word_share(round(result.chance_of_loss, 4))} of them are a loss."
    chart = SpreadChart(
        "How sure the worth is", words, currency, tuple(float(one) for one in edges),
        tuple(float(one) for one in counts), 0.0 if low < 0 else None,
    )  # fmt: skip
    return Figure(chart)


# --- terminal and programs ------------------------------------------------------------------------


def render_case(file: PartFile) -> Iterator[str]:
    """Yield the lines of the terminal: the section of the page."""
    from pipeline.views.terminal_sections import render_sections

    yield f"{file.number} {file.part.name}"
    yield ""
    yield from render_sections(build_case_sections(file))


def build_case_json(file: PartFile, draws: int = DRAWS, seed: int = SEED) -> dict[str, Any]:
    """Return the case for a program: floats unrounded, amounts that are added up as text to the cent."""
    found, result, currency = build_part_case(file), simulate_part(file, draws, seed), find_currency(file)
    answer: dict[str, Any] = {"part": file.number, "currency": currency, "no_case_because": found.lack, "case": None}
    if found.case is None or result is None or found.cash is None:
        return answer
    case = found.case
    answer["case"] = {
        "seed": result.seed,
        "draws": result.draws,
        "money_rate": result.rate,
        "worth": _dump_spread(result.worth),
        "expected_worth": result.expected_worth,
        "chance_of_loss": result.chance_of_loss,
        "internal_rates": list(result.rates) if found.cash.total else [],
        "payback_years": result.payback,
        "payback": _dump_spread(result.payback_spread),
        "never_pays_back": result.never_pays_back,
        "before_tooling": is_before_tooling(file),
        "demand": _dump_estimate(case.demand),
        "price": _dump_estimate(case.price),
        "landed": _dump_estimate(case.landed),
        "landed_quote": None if found.landed is None else found.landed.quote,
        "tooling": _dump_estimate(case.tooling),
        "tooling_due": [
            {
                "on": one.on.isoformat(),
                "week": one.week,
                "what": one.what,
                "tool": one.tool,
                "amount": word_plain(one.amount, currency),
            }
            for one in found.cash.due
        ],
        "spent": word_plain(found.cash.spent, currency),
        "fixed_per_year": case.fixed_per_year,
        "siblings": {one.name: {"lost": one.lost, "margin": one.margin} for one in case.siblings},
        "errors": [{"expected": risk.mean, "late": risk.late} for risk in case.errors],
        "drivers": [
            {"input": d.name, "low": d.low, "high": d.high, "worth": [d.worth_low, d.worth_high]}
            for d in find_case_drivers(file)
        ],
        "waits_for": list(found.waits_for),
    }
    return answer


def word_plain(amount: Any, currency: str) -> str:
    """Return money to the cent for a program: no thousands, a plain minus."""
    from pipeline.costing.money import round_money

    return str(round_money(amount, currency))


def _dump_spread(spread: Spread) -> dict[str, float | None]:
    return {"mean": spread.mean, "p10": spread.p10, "p90": spread.p90}


def _dump_estimate(one: Estimate) -> list[float]:
    return [one.low, one.likely, one.high]
