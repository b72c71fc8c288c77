"""From the offers of a record to a comparison on one footing; what an offer leaves out stays not stated."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from pipeline.costing.case import Case, build_demand_shape
from pipeline.costing.estimate import build_estimate
from pipeline.costing.paths import Cycle
from pipeline.costing.quote_cash import CashLine, build_cash, compute_present_value
from pipeline.costing.quote_ranking import Comparison, Ranked, compare_quotes
from pipeline.costing.quote_sides import Purchase
from pipeline.costing.quote_switches import (
    Switch,
    VolumeRange,
    find_cheapest_by_volume,
    find_rate_switch,
    find_yield_switch,
)
from pipeline.costing.quote_terms import (
    PASS_OR_FAIL,
    Milestone,
    PriceBreak,
    Quote,
    Said,
    Scope,
    ScopeRow,
    build_not_stated,
    build_not_wanted,
    build_scope_table,
    build_stated,
)
from pipeline.gates.quoted import find_chosen
from pipeline.lineage.freshness import Cause
from pipeline.model import part as record
from pipeline.model.catalogue import ToolKind
from pipeline.model.part import Demand
from pipeline.model.quantity import Limits
from pipeline.model.words import ToolOwner
from pipeline.portfolio.money import convert_money, convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import keep_for_part

NO_VALIDITY = "states no last day of validity"
NO_DEMAND = "No demand is recorded, so there is no volume to compare at: write `demand` with pieces a year and a price."


@dataclass(frozen=True)
class OneFooting:
    """The quotes of a part on one footing.

    quotes : by key of the record. scope : what each says of each point. purchase : what is bought.
    comparison : ranked ones first, then the others. unpriced : quotes whose currency has no fresh rate, with why.
    present, cash : what the compared ones ask for, worth today, and when.
    no_footing : why nothing can be compared, empty where it can.
    """

    quotes: Mapping[str, Quote]
    scope: tuple[ScopeRow, ...]
    chosen: str | None
    purchase: Purchase | None = None
    comparison: Comparison | None = None
    unpriced: Mapping[str, str] = field(default_factory=dict)
    present: Mapping[str, Decimal] = field(default_factory=dict)
    cash: Mapping[str, tuple[CashLine, ...]] = field(default_factory=dict)
    no_footing: str = ""

    def find_row(self, key: str | None) -> Ranked | None:
        """Return a quote's row of the comparison."""
        rows = () if self.comparison is None else self.comparison.rows
        return next((row for row in rows if row.footing.name == key), None)

    @property
    def leading(self) -> str | None:
        """The quote to reckon with.

        The chosen one; else the cheapest that is complete, passes and stands; else the one that passes its terms and
        costs least at its worst; None where no such offer has an upper end.
        """
        if self.find_row(self.chosen) is not None:
            return self.chosen
        if self.comparison is None or self.comparison.cheapest is not None:
            return None if self.comparison is None else self.comparison.cheapest
        bounded = [(row.footing.high, row.footing.name) for row in self.comparison.rows if not row.footing.failed]
        return min(((high, name) for high, name in bounded if high is not None), default=(None, None))[1]


@keep_for_part
def compute_one_footing(file: PartFile) -> OneFooting:
    """Put the quotes of a part side by side: scope first, then every line of cost for the same good pieces."""
    chosen = find_chosen(file.part)
    priced, unpriced = _split_by_rate(file)
    quotes = {key: _QuoteReader(file, key).read() for key in file.part.quotes}
    scope = build_scope_table(tuple(quotes.values()))
    purchase = build_purchase(file)
    if not quotes or not priced or purchase is None:
        lack = "" if not quotes else NO_DEMAND if purchase is None else "No quote is in a currency with a fresh rate."
        return OneFooting(quotes, scope, chosen, purchase, None, unpriced, no_footing=lack)
    compared = [quotes[key] for key in priced]
    comparison = compare_quotes(compared, purchase, {key: words for key in priced if (words := find_fault(file, key))})
    cash = {one.name: build_cash(one, purchase, comparison.shortest_weeks) for one in compared}
    return OneFooting(
        quotes,
        scope,
        chosen,
        purchase,
        comparison,
        unpriced,
        {name: compute_present_value(lines, purchase.money_rate) for name, lines in cash.items()},
        cash,
    )


def _split_by_rate(file: PartFile) -> tuple[list[str], dict[str, str]]:
    """Return the quotes whose currency has a fresh rate, and why the others have none."""
    priced, unpriced = [], {}
    for key, quote in file.part.quotes.items():
        try:
            file.rates.find_rate(quote.money, file.workspace.today)
            priced.append(key)
        except ValueError as error:
            unpriced[key] = str(error)
    return priced, unpriced


def find_order_size(part: record.Part, key: str) -> int | None:
    """Return the pieces that one order of a quote would be; None for a year's need."""
    demand = part.demand
    return part.quotes[key].order or (None if demand is None else demand.order)


def find_fault(file: PartFile, key: str) -> str:
    """Return why a quote cannot support a release, expiry apart: a changed revision, a changed file, no validity.

    Features are called by their names: it is read beside prices, not beside the record.
    """
    reasons = [r for r in file.lineage.reasons.get(f"quotes.{key}", ()) if r.cause is not Cause.EXPIRED]
    features = file.part.features
    words = [
        re.sub("`([^`]*)`", lambda key: features[key[1]].what if key[1] in features else key[0], reason.words)
        for reason in reasons[:1]
    ]
    if file.part.quotes[key].valid_to is None:
        words.append(NO_VALIDITY)
    return "; ".join(words)


def find_shape(demand: Demand) -> tuple[float, ...]:
    """Return the demand of each year as a share of full demand: a first year of ramp, then one full year, then decay.

    >>> text = '{"per_year": [1, 2, 3], "price": "9 USD", "years": 3, "ramp": 0.7, "decay": 0.1}'
    >>> find_shape(Demand.model_validate_json(text))
    (0.7, 1.0, 0.9)
    """
    known = build_estimate(1.0)
    ramp = () if demand.ramp == 1 else (demand.ramp,)
    return build_demand_shape(Case("", known, known, known, known, demand.years, ramp=ramp, decay=demand.decay))


def build_purchase(file: PartFile) -> Purchase | None:
    """Return what is bought: good pieces by year at the likely demand; None without demand."""
    demand, rules = file.part.demand, file.workspace.catalogues.money
    if demand is None:
        return None
    good = tuple(round(demand.per_year.likely * share) for share in find_shape(demand))
    if sum(good) == 0:
        return None
    delay = Decimal(0) if isinstance(file.basis, Cycle) else file.basis.delay.exact_per_week.likely
    return Purchase(
        good_by_year=good,
        rates=file.rates,
        on=file.workspace.today,
        money_rate=Decimal(str(rules.money_rate)),
        holding_rate=Decimal(str(rules.holding_rate)),
        delay_per_week=delay,
        terms=PASS_OR_FAIL if list_wanted_tools(file) else (),
    )


def list_wanted_tools(file: PartFile) -> tuple[str, ...]:
    """Return the tools that the part needs: those on record, then those that only an offer names."""
    named = dict.fromkeys(file.part.tools)
    for quote in file.part.quotes.values():
        named |= dict.fromkeys(quote.tools)
    return tuple(named)


class _QuoteReader:
    """Maps one offer of a record, point by point."""

    def __init__(self, file: PartFile, key: str) -> None:
        self.file, self.key = file, key
        self.quote: record.Quote = file.part.quotes[key]
        self.bounds = file.workspace.catalogues.money.beliefs.not_stated
        self.wanted = list_wanted_tools(file)
        self.spare: dict[str, Scope] = {}

    def read(self) -> Quote:
        """Return the offer in the terms of the costing room."""
        q, bounds = self.quote, self.bounds
        tool = self.read_tools()
        price = None if tool.high is None else float(tool.high)
        quantities = sorted((int(quantity), price) for quantity, price in q.piece.items())
        return Quote(
            name=self.key,
            currency=q.money,
            issued=q.on,
            valid_to=self.find_validity(),
            tool=tool,
            samples=self.say_tool("samples", q.samples, self.scale(bounds.samples, price)),
            milestones=tuple(self.list_milestones()),
            weeks=self.say("weeks", q.weeks, bounds.weeks),
            tool_life=self.say_life(),
            refurbish_every=self.say_upkeep(None if q.refurbish is None else q.refurbish.every, self.find_interval()),
            refurbishment=self.say_upkeep(
                None if q.refurbish is None else q.refurbish.cost, self.scale(bounds.refurbishment, price)
            ),
            pieces_per_shot=q.hands_per_set,
            piece=build_stated(quantities[0][1]),
            breaks=tuple(PriceBreak(quantity, Decimal(str(price))) for quantity, price in quantities),
            minimum_order=self.read_least_order(quantities[0][0]),
            order_quantity=find_order_size(self.file.part, self.key),
            yield_share=self.say("yield", q.yield_, bounds.yield_),
            freight=self.say_a_piece("freight", q.freight, bounds.freight),
            secondary=self.say_a_piece("secondary", q.secondary, bounds.secondary),
            duty=self.say("duty", q.duty, bounds.duty),
            tool_duty=self.say_tool("tool_duty", q.tool_duty, bounds.tool_duty),
            terms=dict(self.list_terms()),
            spare=self.spare,
        )

    def find_validity(self) -> dt.date:
        """Return the last day: today where it was ordered on in time, endless (told as a fault) where none is said."""
        if self.quote.valid_to is None:
            return dt.date.max
        reasons = self.file.lineage.reasons.get(f"quotes.{self.key}", ())
        ran_out = any(reason.cause is Cause.EXPIRED for reason in reasons)
        return self.quote.valid_to if ran_out else max(self.quote.valid_to, self.file.workspace.today)

    def say(self, name: str, value: float | None, bounds: Limits | None) -> Said:
        """Return a point as stated, not wanted, or not stated with the shop's own bounds."""
        if value is not None:
            return build_stated(value)
        if name in self.quote.not_wanted:
            return build_not_wanted()
        return build_not_stated() if bounds is None else build_not_stated(bounds.lower, bounds.upper)

    def say_a_piece(self, name: str, value: float | None, bounds: Limits | None) -> Said:
        """Return money for each piece: workspace currency where it is on record, else a share of the dearest price."""
        if value is not None:
            return build_stated(value, self.file.rates.home)
        return self.say(name, None, self.scale(bounds, max(self.quote.piece.values())))

    def say_tool(self, name: str, value: float | None, bounds: Limits | None) -> Said:
        """Return a point of the tools; not wanted where the part needs none."""
        return self.say(name, value, bounds) if self.wanted else build_not_wanted()

    def say_life(self) -> Said:
        """Return the tool's life; not wanted for tools that do not wear out by shots (jigs, fixtures)."""
        usual = self.find_usual_life()
        if self.quote.life_shots is None and not self.list_wearing():
            return build_not_wanted()
        return self.say_tool("life_shots", self.quote.life_shots, self.scale(self.bounds.life_shots, usual))

    def say_upkeep(self, value: float | None, bounds: Limits | None) -> Said:
        """Return a point of the refurbishment; not wanted where none can fall due within the need."""
        if value is None and not self.is_upkeep_due():
            return build_not_wanted()
        return self.say_tool("refurbish", value, bounds)

    def find_interval(self) -> Limits | None:
        """Return the shop's bounds of the shots between refurbishments."""
        return self.scale(self.bounds.refurbish_every, self.quote.life_shots or self.find_usual_life())

    def is_upkeep_due(self) -> bool:
        """True unless all shots of the horizon, at the worst yield, stay below the shortest usual interval."""
        life, demand = self.quote.life_shots or self.find_usual_life(), self.file.part.demand
        if not self.wanted or (self.quote.life_shots is None and not self.list_wearing()):
            return False
        interval = self.find_interval()
        shortest = None if interval is None else interval.lower
        if demand is None or shortest is None or life is None:
            return True
        worst = self.quote.yield_ or (1.0 if self.bounds.yield_ is None else self.bounds.yield_.lower) or 1.0
        shots = demand.per_year.likely * sum(find_shape(demand)) / worst / self.quote.hands_per_set
        return shots > shortest or (self.quote.least_order or 0) / self.quote.hands_per_set > shortest

    @staticmethod
    def scale(bounds: Limits | None, whole: float | None) -> Limits | None:
        """Return bounds that are shares of something, None where that is not known."""
        if bounds is None or whole is None:
            return None
        ends = [None if end is None else end * whole for end in (bounds.lower, bounds.upper)]
        return Limits(lower=ends[0], upper=ends[1])

    def list_wearing(self) -> tuple[ToolKind, ...]:
        """Return the kinds of the tools that wear out by shots, the dearest tool first; the family's without tools."""
        kinds = self.file.workspace.catalogues.tool_kinds.kinds
        prices = {key: self.quote.tools.get(key, 0.0) for key in self.file.part.tools}
        names = [self.file.part.tools[key].kind for key in sorted(prices, key=lambda key: (-prices[key], key))]
        if not names:
            names = list(self.file.workspace.catalogues.families.families[self.file.part.family].tool_kinds)[:1]
        return tuple(kinds[name] for name in names if name in kinds and kinds[name].wears and not kinds[name].gauge)

    def find_usual_life(self) -> float | None:
        """Return the usual life, in shots, of the dearest tool whose kind has one; None where none is known."""
        lives = [kind.life_shots for kind in self.list_wearing()]
        return next((float(life) for life in lives if life is not None), None)

    def list_milestones(self) -> Iterator[Milestone]:
        """Yield the part payments of the tool with the weeks in which they fall due."""
        shares = self.file.workspace.catalogues.money.beliefs.milestones
        for step in self.quote.pay:
            share = shares.get(step.at, 1.0)
            week: Decimal | None = Decimal(0) if share == 0 else None
            if self.quote.weeks is not None and 0 < share < 1:
                week = Decimal(str(share)) * Decimal(str(self.quote.weeks))
            yield Milestone(step.at, Decimal(str(step.share)), week)

    def read_least_order(self, first_break: int) -> Said:
        """Return the least order; where it is not stated, no less than the smallest quantity that has a price."""
        upper = None if self.bounds.least_order is None else self.bounds.least_order.upper
        high = None if upper is None else max(float(first_break), upper)
        return self.say("least_order", self.quote.least_order, Limits(lower=float(first_break), upper=high))

    def list_terms(self) -> Iterator[tuple[str, bool]]:
        """Yield the pass-or-fail terms that the offer answers; one that is not wanted passes."""
        answers = {
            "tool ownership": ("owns_tool", None if self.quote.owns_tool is ToolOwner.NOT_STATED else
                               self.quote.owns_tool is ToolOwner.US),
            "storage": ("storage", self.quote.storage),
            "drawings": ("drawings", self.quote.drawings),
            "release against payment": ("releases_tool", self.quote.releases_tool),
        }  # fmt: skip
        for term, (name, answer) in answers.items():
            if name in self.quote.not_wanted or answer is not None:
                yield term, name in self.quote.not_wanted or bool(answer)

    def read_tools(self) -> Said:
        """Return the price of one whole set of tools in the quote's currency.

        A tool that the offer leaves out is added at its own price where another maker is down for it; else the set is
        not stated, between the least and the most that anybody asks for that tool.
        """
        if not self.wanted:
            return build_not_wanted()
        low, high, is_whole = Decimal(0), Decimal(0), True
        is_bounded = True
        for key in self.wanted:
            stated = self.quote.tools.get(key)
            asked = () if stated is not None else self.list_prices(key)
            if stated is not None:
                low, high = low + Decimal(str(stated)), high + Decimal(str(stated))
            elif f"tool-{key}" not in self.quote.not_wanted:
                is_whole = is_whole and self.is_bought_apart(key)
                is_bounded = is_bounded and bool(asked)
                low, high = low + min(asked, default=Decimal(0)), high + max(asked, default=Decimal(0))
            self.spare[f"tool {key}"] = self.find_scope(key)
        if is_whole and is_bounded:
            return build_stated(low)
        return build_not_stated(low, high if is_bounded else None)

    def find_scope(self, key: str) -> Scope:
        """Return what the offer says of one tool."""
        if key in self.quote.tools:
            return Scope.STATED
        apart = f"tool-{key}" in self.quote.not_wanted or self.is_bought_apart(key)
        return Scope.NOT_WANTED if apart else Scope.NOT_STATED

    def is_bought_apart(self, key: str) -> bool:
        """True when another maker is down for a tool at a price of its own."""
        tool = self.file.part.tools.get(key)
        return (
            tool is not None
            and tool.by not in (None, self.quote.from_)
            and convert_price(self.file.rates, tool.price, self.file.workspace.today) is not None
        )

    def list_prices(self, key: str) -> tuple[Decimal, ...]:
        """Return what is known to be asked for a tool, in the quote's currency; its own price alone if bought apart."""
        today, rates = self.file.workspace.today, self.file.rates
        tool = self.file.part.tools.get(key)
        found = [] if tool is None else [convert_price(rates, tool.price, today)]
        if not self.is_bought_apart(key):
            others = [quote for quote in self.file.part.quotes.values() if key in quote.tools]
            found += [convert_money(rates, other.tools[key], other.money, today) for other in others]
        unit = convert_money(rates, 1, self.quote.money, today)
        return () if unit is None else tuple(price / unit for price in found if price is not None)


# --- what turns the answer ------------------------------------------------------------------------


@dataclass(frozen=True)
class QuoteTurns:
    """Where the answer turns among the complete offers, each maker's newest, whatever else speaks against them.

    by_volume : which is the cheapest from which volume on. switches : yields and rates at which the cheapest changes.
    """

    by_volume: tuple[VolumeRange, ...] = ()
    switches: tuple[Switch, ...] = ()


@keep_for_part
def find_quote_turns(file: PartFile) -> QuoteTurns:
    """Return where the answer turns, from a tenth of the need to four times it; nothing with fewer than two offers."""
    footing = compute_one_footing(file)
    rivals, purchase = _find_rivals(file, footing), footing.purchase
    if len(rivals) < 2 or purchase is None:
        return QuoteTurns()
    found = [find_yield_switch(rivals, purchase, quote.name) for quote in rivals]
    found += [find_rate_switch(rivals, purchase, quote.name) for quote in rivals]
    low, high = max(1, purchase.good // 10), purchase.good * 4
    volumes = find_cheapest_by_volume(rivals, purchase, low, high)
    return QuoteTurns(volumes, tuple(switch for switch in found if switch is not None))


def _find_rivals(file: PartFile, footing: OneFooting) -> list[Quote]:
    """Return the complete offers, each maker's newest only."""
    rows = () if footing.comparison is None else footing.comparison.rows
    complete = {row.footing.name for row in rows if row.footing.is_complete}
    newest: dict[str, str] = {}
    for key, quote in sorted(file.part.quotes.items(), key=lambda item: (item[1].on, item[0])):
        if key in complete:
            newest[quote.from_] = key
    return [quote for key, quote in footing.quotes.items() if key in newest.values()]
