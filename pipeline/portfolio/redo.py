"""From a record to what a change to it would drag along: the bridge between the lineage and the cost of change.

Things that do not exist yet (a fit check that was never made, a first article to come) are in the graph too, as what
they will cost: the ladder asks what a change costs at every stage, the impact only what it costs today.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from decimal import Decimal

from pipeline.costing.change_basis import ChangeBasis, FeatureErrors, StatedWeeks
from pipeline.costing.change_classes import ChangeClass, ClassPrice, Mix, build_mix, narrow_mix
from pipeline.costing.delay import NO_DELAY, Delay
from pipeline.costing.money import Rates
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import NOTHING, Range, build_range
from pipeline.costing.redo import RedoItem, RedoKind, Station, build_redo_graph
from pipeline.costing.stages import Stage, parse_stage
from pipeline.costing.tool_redo import ToolFacts, build_all_tool_items
from pipeline.costing.working import build_amount_line, build_count_line, build_hours_line
from pipeline.gates.quoted import find_chosen
from pipeline.lineage.coverage import compute_coverage
from pipeline.lineage.freshness import PartLineage
from pipeline.model import quantity
from pipeline.model.catalogue import Catalogues, Family, ToolKind
from pipeline.model.part import Part, RedoCost, Tool
from pipeline.model.words import Hand, Role, ToolStep
from pipeline.model.workspace import Workspace
from pipeline.portfolio.money import convert_money, convert_price

MADE = (ToolStep.CUTTING, ToolStep.ON_TRIAL, ToolStep.ACCEPTED)


Factors = Mapping[tuple[str, str], Range]
"""(tool kind, class of change) -> what the shop's own changes say an estimate is to be multiplied with."""


def build_change_basis(
    part: Part,
    lineage: PartLineage,
    workspace: Workspace,
    rates: Rates,
    factors: Factors | None = None,
    weeks_factors: Factors | None = None,
) -> ChangeBasis | Cycle:
    """Return all that a part's changes are priced from, or the ring of tools that keeps it from being reckoned.

    factors, weeks_factors : of the shop's own changes, of what they cost and of how long they took; none leaves every
    estimate as the catalogue has it.
    """
    return _BasisMaker(part, lineage, workspace, rates, factors or {}, weeks_factors or {}).make()


def compute_landed_cost(part: Part, rates: Rates, today: dt.date) -> Decimal | None:
    """Return what a piece costs us: the record's own figure, or the chosen (else cheapest) quote's; None if unknown."""
    if part.demand is not None and part.demand.cost is not None:
        return convert_price(rates, part.demand.cost, today)
    chosen = find_chosen(part)
    quotes = [quote for key, quote in part.quotes.items() if chosen in (None, key)]
    costs = []
    for quote in quotes:
        piece = convert_money(rates, min(quote.piece.values()), quote.money, today)
        if piece is not None:
            extra = Decimal(str((quote.freight or 0.0) + (quote.secondary or 0.0)))
            costs.append((piece * (1 + Decimal(str(quote.duty or 0.0))) + extra) / Decimal(str(quote.yield_ or 1.0)))
    return min(costs, default=None)


class _BasisMaker:
    """Collects the items of one part."""

    def __init__(
        self, part: Part, lineage: PartLineage, workspace: Workspace, rates: Rates, factors: Factors, weeks: Factors
    ) -> None:
        self.part = part
        self.factors, self.weeks_factors = factors, weeks
        self.lineage = lineage
        self.catalogues: Catalogues = workspace.catalogues
        self.today = workspace.today
        self.rates = rates
        self.family: Family = self.catalogues.families.families[part.family]
        hourly = self.catalogues.money.hourly
        self.engineer = Decimal(str(hourly.get(Role.ENGINEER, 0.0)))
        self.buyer = Decimal(str(hourly.get(Role.BUYER, hourly.get(Role.ENGINEER, 0.0))))

    def cost(self, name: str) -> float:
        """Return what redoing takes: the record's own figure, or the family's."""
        own = getattr(self.part.redo or RedoCost(), name)
        return float(getattr(self.family.redo, name) if own is None else own)

    def make(self) -> ChangeBasis | Cycle:
        """Return the basis."""
        tools = tuple(build_all_tool_items(self.find_tool_facts()))
        tool_keys = tuple(item.key for item in tools)
        items = [
            *self.find_early_items(),
            *self.find_trials(),
            *self.find_quotes(),
            *tools,
            *self.find_late_items(tool_keys),
        ]
        graph = build_redo_graph(items)
        if isinstance(graph, Cycle):
            return graph
        mix = self.find_mix()
        weeks = {parse_stage(stage.value): build_range(value) for stage, value in self.family.redo.weeks.items()}
        return ChangeBasis(
            graph, mix, self.find_features(mix), self.find_delay(), StatedWeeks(weeks) if weeks else None
        )

    def find_mix(self) -> Mix:
        """Return how often each class of change is needed; a family that does not say needs the tool's metal off."""
        stated = self.family.mix or {}
        if not stated:
            return build_mix({ChangeClass.METAL_OFF: 1})
        return build_mix({ChangeClass(name.value): weight for name, weight in stated.items()})

    def find_features(self, mix: Mix) -> tuple[FeatureErrors, ...]:
        """Return where errors are likely: critical features more than others, by the shop's own weight."""
        weight = Decimal(str(self.catalogues.money.critical_weight))
        return tuple(
            FeatureErrors(
                key,
                narrow_mix(mix, [ChangeClass(one.value) for one in feature.wrong]),
                weight if feature.critical else Decimal(1),
                feature.what,
            )
            for key, feature in self.part.features.items()
        )

    def find_delay(self) -> Delay:
        """Return what waiting costs; nothing where no demand or no cost is known."""
        demand = self.part.demand
        landed = compute_landed_cost(self.part, self.rates, self.today)
        price = None if demand is None else convert_price(self.rates, demand.price, self.today)
        if demand is None or landed is None or price is None:
            return NO_DELAY
        lost = self.catalogues.money.lost_share if demand.lost_share is None else demand.lost_share
        units = build_range(demand.per_year.low, demand.per_year.likely, demand.per_year.high)
        return Delay(units, max(price - landed, Decimal(0)), Decimal(str(lost)))

    def find_early_items(self) -> Iterator[RedoItem]:
        """Measure again and model again."""
        measure = build_hours_line("measure again", self.cost("remeasure_h"), self.engineer)
        yield RedoItem(
            "measure",
            RedoKind.MEASUREMENT,
            "measure again",
            Stage.MEASURE,
            (measure,),
            exists=bool(self.part.measurements),
        )
        model = build_hours_line("model again", self.cost("remodel_h"), self.engineer)
        current = self.lineage.current
        label = f"revision after {current}" if current else "model again"
        yield RedoItem(
            "model", RedoKind.REVISION, label, Stage.MODEL, (model,), after=("measure",), exists=current is not None
        )

    def find_samples(self) -> dict[str, frozenset[str] | None]:
        """Return the latest prototype of each process and hand: key -> features it shows."""
        latest: dict[tuple[str, Hand], str] = {}
        for key, prototype in sorted(self.part.prototypes.items(), key=lambda kv: (kv[1].on, kv[0])):
            latest[(prototype.process, prototype.hand)] = key
        return {key: frozenset(self.lineage.nodes[f"prototypes.{key}"].covers) for key in latest.values()}

    def find_trials(self) -> Iterator[RedoItem]:
        """Prototypes, fit checks by application and hand, the hire of vehicles, and tests."""
        samples = self.find_samples()
        for key, covers in samples.items():
            prototype = self.part.prototypes[key]
            process = self.catalogues.processes.processes.get(prototype.process)
            price = self.cost("reprint") if prototype.cost is None else prototype.cost
            weeks = NOTHING if process is None else build_range(process.weeks)
            line = build_amount_line(f"prototype by {prototype.process}", price)
            origin = f"{key}, made from revision {prototype.of}"
            yield RedoItem(
                f"prototype.{key}", RedoKind.PROTOTYPE, f"prototype like {key}", Stage.PROTOTYPE, (line,), weeks,
                after=("model",), covers=covers, exists=True, origin=origin,
            )  # fmt: skip
        if not samples:
            line = build_amount_line("prototype", self.cost("reprint"))
            yield RedoItem("prototype", RedoKind.PROTOTYPE, "prototype", Stage.PROTOTYPE, (line,), after=("model",))
        built = tuple(f"prototype.{key}" for key in samples) or ("prototype",)
        yield from self.find_fit_items(built)
        yield from self.find_test_items(built)

    def find_fit_items(self, built: tuple[str, ...]) -> Iterator[RedoItem]:
        """Yield one item for each application and hand, and one for the hire of vehicles."""
        coverage = compute_coverage(self.part, self.lineage)
        covered: set[str] = set()
        for cell in coverage.cells:
            hand = "" if cell.hand is Hand.NONE else f" {cell.hand}"
            key = f"fit.{cell.application}{hand.replace(' ', '.')}"
            covers = None if cell.check is None else frozenset(self.lineage.nodes[f"fit_checks.{cell.check}"].covers)
            check = None if cell.check is None else self.part.fit_checks[cell.check]
            hours = self.cost("fit_h") if check is None or check.hours is None else check.hours
            line = build_hours_line(f"fit on {cell.application}{hand}", hours, self.engineer)
            origin = "" if check is None else f"{cell.check}, made with {check.with_}"
            covered |= covers or set()
            yield RedoItem(
                key, RedoKind.FIT_CHECK, f"fit check on {cell.application}{hand}", Stage.FIT_CHECK, (line,),
                after=built, covers=covers, exists=check is not None, origin=origin,
            )  # fmt: skip
        line = build_amount_line("hire of vehicles", self.cost("fit_hire"))
        exists = bool(self.part.fit_checks)
        yield RedoItem(
            "fit.hire", RedoKind.OTHER, "hire of vehicles", Stage.FIT_CHECK, (line,),
            covers=frozenset(covered) if exists else None, exists=exists,
        )  # fmt: skip

    def find_test_items(self, built: tuple[str, ...]) -> Iterator[RedoItem]:
        """Yield one item for each test."""
        for key, test in self.part.tests.items():
            process = self.catalogues.processes.processes.get(test.kind)
            price = test.cost if test.cost is not None else (None if process is None else process.cost)
            late = test.of in self.part.first_articles
            yield RedoItem(
                f"test.{key}", RedoKind.SAMPLE, f"{test.kind} like {key}",
                Stage.FIRST_ARTICLE if late else Stage.PROTOTYPE, (build_amount_line(test.kind, price),),
                NOTHING if process is None else build_range(process.weeks), after=() if late else built,
                covers=frozenset(self.lineage.nodes[f"tests.{key}"].covers), exists=True, origin=f"{key} on {test.of}",
            )  # fmt: skip

    def find_quotes(self) -> Iterator[RedoItem]:
        """Ask for the quotes again: one round of work, whoever is asked."""
        line = build_hours_line("ask for quotes again", self.cost("requote_h"), self.buyer)
        named = [quote.covers for quote in self.part.quotes.values()]
        covers = None if not named or None in named else frozenset(f for one in named for f in one or ())
        origin = ", ".join(f"{key} on revision {quote.of}" for key, quote in self.part.quotes.items())
        yield RedoItem(
            "quote", RedoKind.QUOTE, "quotes again", Stage.QUOTE, (line,), after=("model",), covers=covers,
            exists=bool(self.part.quotes), origin=origin,
        )  # fmt: skip

    def find_tool_facts(self) -> list[ToolFacts]:
        """Return the tools of the part; one without a price where no tool is recorded yet."""
        if not self.part.tools:
            if self.part.made_of or not self.family.tool_kinds:
                return []
            name = self.family.tool_kinds[0]
            return [self.build_tool(name, Tool(kind=name), self.find_kind(name), None)]
        return [
            self.build_tool(key, tool, self.find_kind(tool.kind), self.find_price(key, tool))
            for key, tool in self.part.tools.items()
        ]

    def find_kind(self, name: str) -> ToolKind:
        """Return a kind of tool; one that the catalogue does not know is taken as made new at its price."""
        return self.catalogues.tool_kinds.kinds.get(name) or ToolKind(name=name)

    def find_price(self, key: str, tool: Tool) -> Decimal | None:
        """Return a tool's price: on record, or the chosen (else dearest) quote's."""
        if tool.price is not None:
            return convert_price(self.rates, tool.price, self.today)
        chosen = find_chosen(self.part)
        quotes = [q for k, q in self.part.quotes.items() if key in q.tools and chosen in (None, k)]
        found = [convert_money(self.rates, q.tools[key], q.money, self.today) for q in quotes]
        return max((price for price in found if price is not None), default=None)

    def find_redesign(self, price: Decimal | None) -> Decimal:
        """Return what the redesign of one tool costs: the family's figure, but no more than a share of a known price.

        It hangs on nothing but the tool itself, so that one more tool never makes a change cheaper.
        """
        usual = Decimal(str(self.cost("tool_redesign")))
        most = Decimal(str(self.family.redo.redesign_share))
        return usual if price is None else min(usual, price * most)

    def build_tool(self, key: str, tool: Tool, kind: ToolKind, price: Decimal | None) -> ToolFacts:
        """Return one tool with what its change costs."""
        soft = kind.remade or not kind.changes
        is_made = tool.state in MADE
        state = tool.state or "not quoted"
        amount = self.find_redesign(price)
        redesign = build_amount_line(f"redesign of {key}", amount)
        weeks = tool.weeks or kind.weeks
        return ToolFacts(
            key=key,
            name=key,
            price=price,
            kind=_choose_kind(kind, soft),
            class_prices=() if soft else tuple(_build_prices(kind, tool.kind, self.factors, self.weeks_factors)),
            inserts=tool.inserts,
            forms=_find_tool_cover(tool),
            made_to_fit=tuple(t for t in tool.made_to_fit if t in self.part.tools),
            redesign=() if soft or amount == 0 else (redesign,),
            remake_weeks=build_range(weeks.low, weeks.likely, weeks.high) if soft else NOTHING,
            after=("model",),
            station=_build_station(tool, kind),
            made_at=Stage.FIRST_ARTICLE if kind.gauge or kind.trims else Stage.TOOL_CUT,
            is_ordered=tool.state is not None and tool.state is not ToolStep.QUOTED,
            is_made=is_made,
            origin=f"{state}, cut to revision {self.find_tool_base(key)}",
        )

    def find_tool_base(self, key: str) -> str:
        """Return the revision that a tool is cut to, in words."""
        node = self.lineage.nodes.get(f"tools.{key}")
        return "none" if node is None or node.base is None else node.base

    def find_late_items(self, tools: tuple[str, ...]) -> Iterator[RedoItem]:
        """Set-up and samples, plating trial, first article, stock and returns."""
        trials = bool(self.part.first_articles)
        follows = tuple(key for key in tools if key.endswith(".redo"))
        covers: frozenset[str] | None = frozenset() if follows else None
        setup = build_amount_line("set-up and samples", self.cost("setup"))
        yield RedoItem(
            "setup", RedoKind.SETUP, "set-up and samples", Stage.FIRST_ARTICLE, (setup,), follows=follows,
            covers=covers, exists=trials,
        )  # fmt: skip
        plating = self.cost("plating_trial")
        if plating:
            line = build_amount_line("plating trial", plating)
            yield RedoItem(
                "plating", RedoKind.PLATING_TRIAL, "plating trial", Stage.FIRST_ARTICLE, (line,), follows=("setup",),
                covers=frozenset(), exists=trials,
            )  # fmt: skip
        inspect = build_hours_line("first article inspected again", self.cost("inspect_h"), self.engineer)
        yield RedoItem(
            "first-article", RedoKind.FIRST_ARTICLE, "first article", Stage.FIRST_ARTICLE, (inspect,),
            follows=("setup",), after=("plating",) if plating else (), covers=frozenset(), exists=trials,
        )  # fmt: skip
        stock = self.part.stock
        if stock is not None:
            lost = Decimal(1) - Decimal(str(stock.salvage))
            line = build_count_line("stock scrapped", stock.pieces, "pieces", Decimal(str(stock.unit_cost)), lost)
            yield RedoItem("stock", RedoKind.STOCK, "stock scrapped", Stage.RELEASED, (line,), exists=stock.pieces > 0)
            line = build_count_line("returns", stock.in_field, "pieces", Decimal(str(stock.return_cost)))
            yield RedoItem("returns", RedoKind.RETURNS, "returns", Stage.RELEASED, (line,), exists=stock.in_field > 0)


def _find_tool_cover(tool: Tool) -> frozenset[str] | None:
    """Return the features that a tool forms or checks; a tool that only follows another has none of its own."""
    if tool.forms or tool.checks:
        return frozenset((*tool.forms, *tool.checks))
    return frozenset() if tool.made_to_fit else None


def _choose_kind(kind: ToolKind, soft: bool) -> RedoKind:
    if kind.gauge:
        return RedoKind.GAUGE
    if kind.trims:
        return RedoKind.TRIM_TOOL
    return RedoKind.REMAKE if soft else RedoKind.TOOL_CHANGE


def _build_station(tool: Tool, kind: ToolKind) -> Station | None:
    if tool.station is None or kind.trims:
        return None
    return Station("draw", tool.station)


def _build_prices(kind: ToolKind, key: str, factors: Factors, weeks_factors: Factors) -> Iterator[ClassPrice]:
    """Yield the price of each class of change; a new tool's price holds its design."""
    for name, factor in kind.changes.items():
        change = ChangeClass(name.value)
        whole = change is ChangeClass.NEW_TOOL
        weeks, share = _convert(factor.weeks), _convert(factor.share)
        own, longer = factors.get((key, name.value)), weeks_factors.get((key, name.value))
        yield ClassPrice(
            change, weeks=weeks, share=share, redesign_in_price=whole, factor=own, weeks_factor=longer
        )  # fmt: skip


def _convert(found: quantity.Range) -> Range:
    return build_range(found.low, found.likely, found.high)
