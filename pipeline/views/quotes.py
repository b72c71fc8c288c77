"""Quotes side by side on one footing: scope, pass or fail, every line of cost, and what turns the answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from decimal import Decimal
from typing import Any

from pipeline.costing.money import round_money
from pipeline.costing.quote_ranking import Ranked
from pipeline.costing.quote_switches import spread_good
from pipeline.costing.quote_terms import PASS_OR_FAIL, POINTS, Quote, Scope
from pipeline.costing.quotes import LINES, CostLine, Footing, compute_footing
from pipeline.gates.quoted import find_chosen
from pipeline.lineage.freshness import Cause
from pipeline.model.part import Quote as Offer
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import OneFooting, compute_one_footing, find_order_size, find_quote_turns
from pipeline.portfolio.tooling_cash import compute_tooling_cash
from pipeline.views.money_words import build_row, build_table, find_currency, say, word_cents
from pipeline.views.shapes_charts import Curve, CurveChart, CurvePoint
from pipeline.views.shapes_marks import Column, Line, Mark, Run, Table, Tone, Working, WorkingInput
from pipeline.views.shapes_part import QuoteColumn, QuoteComparison, QuoteGroup, QuoteRow
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.states import link_supplier
from pipeline.views.wording import word_count, word_day, word_list, word_money, word_number, word_share

NOT_STATED = "not stated"
NO_QUOTE = (
    "No quote is recorded. The buyer writes one under quotes: with its revision and the day to which it is valid."
)
NO_CASH = "No tooling money is left to be paid."


def build_quote_comparison(file: PartFile) -> QuoteComparison:
    """Make the comparison of all quotes of a part; a quote that cannot be put on the footing says why."""
    if not file.part.quotes:
        return QuoteComparison((), (), (), NO_QUOTE)
    footing = compute_one_footing(file)
    columns = tuple(_build_column(file, footing, key) for key in file.part.quotes)
    groups = (
        QuoteGroup("As offered", tuple(_build_offer_rows(file))),
        QuoteGroup("Scope: what each offer says", tuple(_build_scope_rows(file, footing))),
        QuoteGroup("Pass or fail: no price makes these good", tuple(_build_term_rows(footing))),
        *_build_money_groups(file, footing),
        QuoteGroup("What keeps it from a rank", (_build_obstacle_row(file, footing),)),
    )
    return QuoteComparison(columns, groups, _build_summary(file, footing), NO_QUOTE, _build_working(file, footing))


def _build_column(file: PartFile, footing: OneFooting, key: str) -> QuoteColumn:
    quote, row = file.part.quotes[key], footing.find_row(key)
    reasons = file.lineage.reasons.get(f"quotes.{key}", ())
    mark = Mark.STALE if reasons else Mark.PROVEN if key == footing.chosen else Mark.IN_HAND
    words = ["chosen"] if key == footing.chosen else []
    if any(reason.cause is Cause.EXPIRED for reason in reasons):
        words.append(f"ran out on {word_day(quote.valid_to)}")
    elif reasons:
        words.append(f"made on revision {quote.of}, which changed since")
    if row is not None and row.rank is not None:
        words.append("cheapest" if row.rank == 1 else f"number {row.rank}")
    elif row is not None and not row.footing.is_complete:
        words.append("incomplete")
    link = link_supplier(file.workspace.catalogues, quote.from_)
    return QuoteColumn(key, link, ", ".join(words) or "not ranked", mark, row is not None and row.rank == 1)


def _row(label: str, values: list[str], unit: str = "", number: bool = True, best: int | None = None) -> QuoteRow:
    return QuoteRow(label, unit, tuple(values), number, best)


def _build_offer_rows(file: PartFile) -> Iterator[QuoteRow]:
    quotes = list(file.part.quotes.values())
    yield _row("made on revision", [q.of for q in quotes], number=False)
    yield _row("valid to", [NOT_STATED if q.valid_to is None else word_day(q.valid_to) for q in quotes], number=False)
    yield _row("all tools", [_word_tools(q) for q in quotes])
    yield _row("paid", [_word_payments(q) for q in quotes], number=False)
    for quantity in sorted({int(one) for q in quotes for one in q.piece}):
        prices = [word_money(q.piece[str(quantity)], q.money) if str(quantity) in q.piece else "–" for q in quotes]
        yield _row(f"piece, {quantity:,} at a time", prices)
    yield _row("least order", [_word_count(q.least_order) for q in quotes], "pieces")
    yield _row("ordered at a time", [_word_order(file, key) for key in file.part.quotes], "pieces")
    yield _row("yield", [NOT_STATED if q.yield_ is None else word_share(q.yield_) for q in quotes])
    yield _row("lead time", [NOT_STATED if q.weeks is None else word_number(q.weeks) for q in quotes], "weeks")
    yield _row("life of the tools", [_word_count(q.life_shots) for q in quotes], "shots")
    if any(q.money != file.rates.home for q in quotes):
        yield _row(f"rate into {file.rates.home}", [_word_rate(file, q) for q in quotes], number=False)


def _word_tools(quote: Offer) -> str:
    return word_money(round(sum(quote.tools.values()), 2), quote.money) if quote.tools else NOT_STATED


def _word_payments(quote: Offer) -> str:
    return "; ".join(f"{word_share(one.share)} at {one.at}" for one in quote.pay) or NOT_STATED


def _word_order(file: PartFile, key: str) -> str:
    """Return the pieces of one order as it is reckoned: the size on record or a year's need, or the least order."""
    row = compute_one_footing(file).find_row(key)
    size = find_order_size(file.part, key)
    if row is None:
        return "a year's need" if size is None else f"{size:,}"
    return f"{round(row.footing.quantities.order):,}" + (" (a year's need)" if size is None else "")


def _word_count(value: int | None) -> str:
    return NOT_STATED if value is None else f"{value:,}"


def _word_rate(file: PartFile, quote: Offer) -> str:
    if quote.money == file.rates.home:
        return "–"
    try:
        rate = file.rates.find_rate(quote.money, file.workspace.today)
    except ValueError:
        return "no fresh rate"
    return f"{rate.rate.normalize():f} of {word_day(rate.on)}"


def _build_scope_rows(file: PartFile, footing: OneFooting) -> Iterator[QuoteRow]:
    for row in footing.scope:
        said = zip(footing.quotes, row.said, strict=True)
        yield _row(row.point, [_word_scope(file.part.quotes[key], row.point, one) for key, one in said], number=False)


def _word_scope(offer: Offer, point: str, said: Scope) -> str:
    """Return what an offer says of a point; a tool that another maker is down for at its own price is bought apart."""
    is_tool = point.startswith("tool ") and point not in POINTS.values()
    if said is Scope.NOT_WANTED and is_tool and point.replace(" ", "-", 1) not in offer.not_wanted:
        return "bought apart"
    return said.value


def _build_term_rows(footing: OneFooting) -> Iterator[QuoteRow]:
    words = {None: NOT_STATED, True: "pass", False: "fail"}
    for term in PASS_OR_FAIL:
        yield _row(term, [words[quote.terms.get(term)] for quote in footing.quotes.values()], number=False)


def _build_money_groups(file: PartFile, footing: OneFooting) -> Iterator[QuoteGroup]:
    if footing.purchase is None or footing.comparison is None:
        return
    currency, purchase = find_currency(file), footing.purchase
    need = f"{purchase.good:,} good pieces over {word_count(purchase.years, 'year')}"
    yield QuoteGroup(f"On one footing: {need}, {currency}", tuple(_build_line_rows(footing, currency)))
    yield QuoteGroup("What it comes to", tuple(_build_sum_rows(footing, currency)))


def _over(footing: OneFooting, write: Callable[[Ranked], str]) -> list[str]:
    rows = [footing.find_row(key) for key in footing.quotes]
    return ["no fresh rate" if row is None else write(row) for row in rows]


def _build_line_rows(footing: OneFooting, currency: str) -> Iterator[QuoteRow]:
    for name in LINES:
        yield _row(name, _over(footing, lambda row, name=name: _word_line(_find_line(row.footing, name), currency)))  # type: ignore[misc]
    yield _row("rounding, once, of the sum", _over(footing, lambda row: word_cents(row.footing.rounding, currency)))
    yield _row("total", _over(footing, lambda row: _word_total(row.footing, currency)), best=_find_best(footing))


def _find_line(footing: Footing, name: str) -> CostLine:
    return next(line for line in footing.lines if line.name == name)


def _word_line(line: CostLine, currency: str) -> str:
    low = word_cents(line.low, currency)
    if line.high is None:
        return f"at least {low}"
    return low if line.high == line.low else f"{low} to {word_cents(line.high, currency)}"


def _word_total(footing: Footing, currency: str) -> str:
    if footing.high is None:
        return f"at least {word_cents(footing.low, currency)}"
    return _word_line(CostLine("", footing.low, footing.high), currency)


def _find_best(footing: OneFooting) -> int | None:
    cheapest = None if footing.comparison is None else footing.comparison.cheapest
    return None if cheapest is None else list(footing.quotes).index(cheapest)


def _build_sum_rows(footing: OneFooting, currency: str) -> Iterator[QuoteRow]:
    yield _row(
        "a good piece, landed",
        _over(footing, lambda row: _least(row, word_cents(row.footing.landed_good, currency))),
        currency,
    )
    yield _row("a good piece, everything in it", _over(footing, _word_per_good), currency)
    yield _row(
        "present value of what is paid", _over(footing, lambda row: _word_present(row, footing, currency)), currency
    )
    yield _row("share of the tools", _over(footing, _word_tool_share))
    yield _row("pieces bought", _over(footing, lambda row: f"{row.footing.quantities.bought:,}"))
    yield _row("shots", _over(footing, lambda row: f"{row.footing.quantities.shots:,}"))
    yield _row("sets of tools", _over(footing, lambda row: str(row.footing.quantities.sets)))
    yield _row("refurbishments", _over(footing, lambda row: str(row.footing.quantities.refurbishments)))
    yield _row(
        "piece plus tool / pieces, which misleads",
        _over(footing, lambda row: word_cents(row.footing.headline, currency)),
        currency,
    )


def _least(row: Ranked, words: str) -> str:
    return words if row.footing.is_complete else f"at least {words}"


def _word_per_good(row: Ranked) -> str:
    per_good = row.footing.per_good
    return "incomplete" if per_good is None else f"{per_good:,.4f}"


def _word_present(row: Ranked, footing: OneFooting, currency: str) -> str:
    return _least(row, word_cents(footing.present[row.footing.name], currency))


def _word_tool_share(row: Ranked) -> str:
    share = row.footing.tool_share
    return "incomplete" if share is None else word_share(round(float(share), 3))


def _build_obstacle_row(file: PartFile, footing: OneFooting) -> QuoteRow:
    values = []
    for key in file.part.quotes:
        row = footing.find_row(key)
        if row is None:
            values.append(footing.unpriced.get(key) or footing.no_footing or "–")
        else:
            values.append("; ".join(row.obstacles) or "nothing")
    return _row("obstacles", values, number=False)


# --- words about the comparison -------------------------------------------------------------------


def _build_summary(file: PartFile, footing: OneFooting) -> Line:
    """Say which offer is chosen, which is cheapest at which volume, and what would turn the answer."""
    runs = [Run(f"{footing.chosen} is chosen. " if footing.chosen else "No offer is chosen yet. ", Tone.STRONG)]
    if footing.no_footing:
        runs.append(Run(footing.no_footing, Tone.FLAG))
        return tuple(runs)
    runs.append(Run(_say_cheapest(footing, find_currency(file))))
    runs += [Run(f"{words} ") for words in (*_say_volumes(file), *_say_switches(file))]
    runs += [Run(f"{key}: {words}. ", Tone.FLAG) for key, words in footing.unpriced.items()]
    return tuple(runs)


def _say_cheapest(footing: OneFooting, currency: str) -> str:
    comparison = footing.comparison
    if comparison is None:
        return ""
    beating = [row.footing.name for row in comparison.rows if row.beats_even_at_worst]
    more = f"{word_list(beating)} would be cheaper even at its worst: ask for what it leaves out. " if beating else ""
    if comparison.cheapest is None:
        return f"No offer is complete, passes every term and still stands, so none has a rank. {more}"
    row = footing.find_row(comparison.cheapest)
    total = "" if row is None else f" at {word_cents(row.footing.low, currency)} {currency}"
    return f"{comparison.cheapest} is the cheapest of those that are complete, pass and stand{total}. {more}"


def _say_volumes(file: PartFile) -> Iterator[str]:
    by_volume = find_quote_turns(file).by_volume
    if len(by_volume) == 1:
        name = by_volume[0].name
        yield f"Among the complete offers {name} is cheapest at every volume from a tenth of the need to four times it."
    elif by_volume:
        parts = [f"{one.name} from {one.from_good:,} good pieces ({one.per_year:,.0f} a year)" for one in by_volume]
        yield f"Among the complete offers, whatever else speaks against them, the cheapest is {word_list(parts, 8)}."


def _say_switches(file: PartFile) -> Iterator[str]:
    for one in find_quote_turns(file).switches:
        if one.what == "yield":
            at, now = word_share(round(float(one.turns_at), 4)), word_share(round(float(one.value), 4))
            yield f"At a yield of {at} of {one.name} (now {now}) the cheapest would be {one.winner}."
        else:
            money = file.part.quotes[one.name].money
            at, now = f"{one.turns_at:.4f}", f"{one.value.normalize():f}"
            yield f"At {at} for the {money} (now {now}) the cheapest would be {one.winner}."


def _build_working(file: PartFile, footing: OneFooting) -> Working:
    rules = file.workspace.catalogues.money
    inputs = [
        WorkingInput("cost of money", f"{word_share(rules.money_rate)} a year", say("shared/money.yaml")),
        WorkingInput("cost of holding stock", f"{word_share(rules.holding_rate)} a year", say("shared/money.yaml")),
    ]
    if footing.purchase is not None:
        years = ", ".join(f"{pieces:,}" for pieces in footing.purchase.good_by_year)
        inputs.append(
            WorkingInput("good pieces by year", years, say("likely demand of the record, with ramp and decay"))
        )
        delay = f"{word_cents(footing.purchase.delay_per_week, find_currency(file))} {find_currency(file)}"
        inputs.append(WorkingInput("a week later than the quickest", delay, say("sales lost for good, see the ladder")))
    return Working(
        (
            "pieces bought = good pieces / yield, up to a whole piece; shots = pieces / pieces a shot",
            "sets = shots / life, up; refurbishments when their shots are reached and the set must go on",
            "landed = unit price at the order x rate x (1 + duty) + freight + secondary operations",
            "total = tools with duty + samples + pieces x landed + refurbishments + finance of early payments "
            "+ half an order in stock + delay against the quickest",
        ),
        tuple(inputs),
        "total cost of ownership, common practice, no source",
        "What an offer leaves out lies between the shop's own bounds (shared/money.yaml) and never counts as zero; "
        "an offer with a gap has no rank.",
    )


# --- sections -------------------------------------------------------------------------------------


def build_quote_sections(file: PartFile) -> tuple[Section, ...]:
    """Make the sections about quotes beside the comparison: cost by volume, and when money goes out."""
    footing = compute_one_footing(file)
    curve = _draw_volumes(file, footing)
    figures = () if curve is None else (Figure(curve),)
    aside = "" if footing.leading is None else f"as {footing.leading} asks for it"
    return (
        Section(
            "quote-cash",
            "When the money goes out",
            aside,
            (),
            figures,
            (build_cash_table(file),),
            _say_cash(file),
            fold=True,
        ),
    )


def build_cash_table(file: PartFile) -> Table:
    """Make the table of tooling payments that are still to come, with their days, if ordered today."""
    currency, cash = find_currency(file), compute_tooling_cash(file)
    rows = [
        build_row((word_day(one.on), one.what, one.tool or "all", word_cents(one.amount, currency))) for one in cash.due
    ]
    if rows:
        rows.append(build_row(("total", "", "", word_cents(cash.total, currency)), strong=True))
    columns = (Column("on"), Column("milestone"), Column("tool"), Column("amount", currency, True))
    return build_table("Tooling money still to be paid", columns, rows, NO_CASH)


def _say_cash(file: PartFile) -> Line:
    cash, currency = compute_tooling_cash(file), find_currency(file)
    parts = ["What is not ordered is taken as ordered today."]
    if cash.spent:
        parts.append(f"Already paid: {word_cents(cash.spent, currency)} {currency}; it decides nothing any more.")
    if cash.unpriced:
        parts.append(f"No price is known for {word_list(cash.unpriced, 6)}: the sum is a least.")
    return say(" ".join(parts), Tone.SOFT)


def _draw_volumes(file: PartFile, footing: OneFooting) -> CurveChart | None:
    """Draw what a good piece costs, everything in it, against the volume a year, for the complete offers."""
    purchase, comparison = footing.purchase, footing.comparison
    if purchase is None or comparison is None:
        return None
    complete = [row.footing.name for row in comparison.rows if row.footing.is_complete]
    if not complete:
        return None
    volumes = sorted({max(1, round(purchase.good * share)) for share in (0.25, 0.5, 0.75, 1, 1.5, 2, 3)})
    curves = tuple(
        Curve(
            name,
            tuple(_find_points(footing.quotes[name], footing, volumes)),
            Mark.PROVEN if name == footing.chosen else Mark.IN_HAND,
        )
        for name in complete
    )
    currency = find_currency(file)
    ends = [(one.label, one.points[0], one.points[-1]) for one in curves]
    words = "Cost of a good piece with everything in it. " + " ".join(
        f"{name}: {few.y:,.2f} at {few.x:,.0f} a year, {many.y:,.2f} at {many.x:,.0f}." for name, few, many in ends
    )
    now = purchase.good / purchase.years
    return CurveChart(
        "What a good piece costs, by volume", words, "good pieces a year", currency, curves, now, "likely"
    )


def _find_points(quote: Quote, footing: OneFooting, volumes: list[int]) -> Iterator[CurvePoint]:
    purchase, comparison = footing.purchase, footing.comparison
    if purchase is None or comparison is None:
        return
    for good in volumes:
        scaled = replace(purchase, good_by_year=spread_good(good, purchase.good_by_year))
        cost = compute_footing(quote, scaled, comparison.shortest_weeks).low
        yield CurvePoint(good / purchase.years, float(cost / good))


# --- terminal and programs ------------------------------------------------------------------------


def render_quotes(file: PartFile) -> Iterator[str]:
    """Yield the lines of the terminal: the comparison, then the sections of the page."""
    from pipeline.views.terminal_sections import render_comparison, render_sections

    yield f"{file.number} {file.part.name}: {word_count(len(file.part.quotes), 'quote')}"
    yield ""
    yield from render_comparison(build_quote_comparison(file))
    yield ""
    yield from render_sections(build_quote_sections(file))


def build_quotes_json(file: PartFile) -> dict[str, Any]:
    """Return the comparison for a program: money as text to the cent, in the workspace currency."""
    footing, currency = compute_one_footing(file), find_currency(file)
    comparison = footing.comparison
    cash, turns = compute_tooling_cash(file), find_quote_turns(file)
    return {
        "part": file.number,
        "currency": currency,
        "chosen": find_chosen(file.part),
        "cheapest": None if comparison is None else comparison.cheapest,
        "good_by_year": [] if footing.purchase is None else list(footing.purchase.good_by_year),
        "no_footing_because": footing.no_footing,
        "without_fresh_rate": dict(footing.unpriced),
        "scope": {
            row.point: dict(zip(footing.quotes, (one.value for one in row.said), strict=True)) for row in footing.scope
        },
        "quotes": [] if comparison is None else [_dump_row(row, footing, currency) for row in comparison.rows],
        "cheapest_by_volume": [{"from_good": one.from_good, "quote": one.name} for one in turns.by_volume],
        "switches": [
            {
                "quote": s.name,
                "what": s.what,
                "value": str(s.value),
                "turns_at": f"{s.turns_at:.6f}",
                "winner": s.winner,
            }
            for s in turns.switches
        ],
        "tooling_cash": [
            {"on": one.on.isoformat(), "what": one.what, "tool": one.tool, "amount": _dump_money(one.amount, currency)}
            for one in cash.due
        ],
    }


def _dump_money(amount: Decimal | None, currency: str) -> str | None:
    return None if amount is None else str(round_money(amount, currency))


def _dump_row(row: Ranked, footing: OneFooting, currency: str) -> dict[str, Any]:
    one = row.footing
    return {
        "quote": one.name,
        "rank": row.rank,
        "obstacles": list(row.obstacles),
        "not_stated": list(one.missing),
        "low": _dump_money(one.low, currency),
        "high": _dump_money(one.high, currency),
        "landed_good": _dump_money(one.landed_good, currency),
        "per_good": None if one.per_good is None else str(one.per_good),
        "present_value": _dump_money(footing.present[one.name], currency),
        "lines": {
            line.name: {"low": _dump_money(line.low, currency), "high": _dump_money(line.high, currency)}
            for line in one.lines
        },
        "rounding": _dump_money(one.rounding, currency),
    }
