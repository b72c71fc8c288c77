"""From a record to the case of a part: what it is worth, how sure that is, and what drives it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pipeline.costing.case import Case, ErrorRisk, Sibling, ToolPayment
from pipeline.costing.estimate import Estimate, Floats, build_estimate
from pipeline.costing.worth import compute_worth
from pipeline.costing.worth_drivers import Driver, find_drivers
from pipeline.costing.worth_simulation import (
    CaseResult,
    RateSpread,
    simulate_case,
    simulate_cases,
    simulate_levels,
    simulate_rates,
)
from pipeline.model import quantity
from pipeline.portfolio.errors import compute_part_errors
from pipeline.portfolio.landed import Landed, find_landed
from pipeline.portfolio.loop import find_late
from pipeline.portfolio.money import convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import compute_one_footing, find_shape
from pipeline.portfolio.shop import Shop, keep_for_part, keep_for_shop
from pipeline.portfolio.tooling_cash import ToolingCash, compute_tooling_cash

SEED, DRAWS = 2026, 10_000
"""Of every simulation of a case, unless the caller names others; both are shown with the figures."""


@dataclass(frozen=True)
class Upkeep:
    """Money a year that tools and stock go on costing: refurbishment, further sets, keeping of stock."""

    label: str
    per_year: Decimal


@dataclass(frozen=True)
class PartCase:
    """The inputs of a part's case. case is None where `lack` says what is missing.

    waits_for : parts of its assembly that are not released; it earns nothing before they are.
    unknown_siblings : parts that it takes sales from, whose margin is not known.
    """

    case: Case | None
    lack: str
    landed: Landed | None = None
    cash: ToolingCash | None = None
    upkeep: tuple[Upkeep, ...] = ()
    waits_for: tuple[str, ...] = ()
    unknown_siblings: tuple[str, ...] = ()


@keep_for_part
def build_part_case(file: PartFile) -> PartCase:
    """Return the case of a part as inputs.

    What is sold inside a kit is counted with the kit, whole and once; a part's own demand is what is sold of it alone,
    and what a kit takes from that (`takes_from`) is counted against the kit.
    """
    lack, landed = find_lack(file), find_landed(file)
    demand = file.part.demand
    price = None if demand is None else convert_price(file.rates, demand.price, file.workspace.today)
    if lack or demand is None or landed is None or price is None:
        return PartCase(None, lack, landed)
    cash, upkeep = compute_tooling_cash(file), _list_upkeep(file)
    siblings, unknown = _list_siblings(file)
    case = Case(
        name=file.number,
        demand=_convert(demand.per_year),
        price=build_estimate(float(price)),
        landed=landed.money,
        tooling=_spread_tooling(file, cash),
        years=demand.years,
        payments=_share_payments(cash),
        launch=Estimate(*cash.weeks),
        ramp=() if demand.ramp == 1 else (demand.ramp,),
        decay=demand.decay,
        fixed_per_year=float(sum((one.per_year for one in upkeep), Decimal(0))),
        siblings=siblings,
        errors=_list_risks(file),
        errors_week=cash.weeks[1],
    )
    return PartCase(case, "", landed, cash, upkeep, _find_waits(file), unknown)


def find_lack(file: PartFile) -> str:
    """Return why a part has no case, in words and with what to write; empty where it has one."""
    demand, today = file.part.demand, file.workspace.today
    if file.standing.is_dropped:
        return "The part is dropped."
    if demand is None:
        return "No demand is recorded: write `demand` with pieces a year and a price."
    if demand.per_year.high == 0:
        return "The demand is zero in every year: write what the market is thought to take, or drop the part."
    if convert_price(file.rates, demand.price, today) is None:
        return f"The price is in {demand.price.currency}, and shared/money.yaml has no fresh rate of it."
    if find_landed(file) is None:
        return "What a piece costs is not known: record a quote, or write `cost` under `demand`."
    return ""


def _convert(found: quantity.Range) -> Estimate:
    return Estimate(found.low, found.likely, found.high)


def _spread_tooling(file: PartFile, cash: ToolingCash) -> Estimate:
    spread, total = file.workspace.catalogues.money.beliefs.tool_spread, float(cash.total)
    return Estimate(total * spread.low, total * spread.likely, total * spread.high)


def _share_payments(cash: ToolingCash) -> tuple[ToolPayment, ...]:
    """Return the part payments as shares; the last takes what rounding leaves."""
    if not cash.due:
        return (ToolPayment(1.0, 0.0),)
    by_week: dict[float, Decimal] = {}
    for line in cash.due:
        by_week[line.week] = by_week.get(line.week, Decimal(0)) + line.amount
    weeks = sorted(by_week)
    shares = [float(by_week[week] / cash.total) for week in weeks]
    shares[-1] = max(0.0, 1 - sum(shares[:-1]))
    return tuple(ToolPayment(share, week) for share, week in zip(shares, weeks, strict=True))


def _list_siblings(file: PartFile) -> tuple[tuple[Sibling, ...], tuple[str, ...]]:
    """Return the parts that sell less because of this one, and those whose margin is not known."""
    siblings, unknown = [], []
    takes = {} if file.part.demand is None else file.part.demand.takes_from
    for number, share in takes.items():
        other = file.shop.parts.get(number)
        margin = None if other is None else find_margin(other)
        if margin is None:
            unknown.append(number)
        else:
            siblings.append(Sibling(number, share, margin))
    return tuple(siblings), tuple(unknown)


def find_margin(file: PartFile) -> float | None:
    """Return what one piece of a part leaves after its landed cost; None where price or cost is not known."""
    demand, landed = file.part.demand, find_landed(file)
    price = None if demand is None else convert_price(file.rates, demand.price, file.workspace.today)
    return None if price is None or landed is None else float(price) - landed.money.mean


def _list_risks(file: PartFile) -> tuple[ErrorRisk, ...]:
    """Return the errors that are probably left, each at what it costs when it shows in tooling."""
    if file.ladder is None:
        return ()
    late = float(find_late(file).total.likely)
    rows = compute_part_errors(file).rows
    return tuple(ErrorRisk(r.remaining.shape, r.remaining.weight, r.remaining.miss, late) for r in rows)


def _find_waits(file: PartFile) -> tuple[str, ...]:
    numbers = [one.part for one in file.part.made_of.values() if one.part is not None]
    return tuple(n for n in numbers if n not in file.shop.parts or not file.shop.parts[n].standing.released)


def _list_upkeep(file: PartFile) -> tuple[Upkeep, ...]:
    """Return what tools and stock go on costing each year, from the lines of the quote to reckon with.

    Stock costs what is left of its rate after the cost of money, because the money is counted by its dates.
    """
    footing = compute_one_footing(file)
    row, purchase, demand = footing.find_row(footing.leading), footing.purchase, file.part.demand
    if row is None or purchase is None or demand is None:
        return ()
    lines = {line.name: line.low for line in row.footing.lines}
    sets = row.footing.quantities.sets
    kept = Decimal(0)
    if purchase.holding_rate > purchase.money_rate:
        kept = lines["carrying cost of stock"] * (purchase.holding_rate - purchase.money_rate) / purchase.holding_rate
    found = {
        "refurbishment": lines["refurbishment"],
        "further sets of tools": (lines["tool"] + lines["duty on the tool"]) * (sets - 1) / sets,
        "keeping of stock": kept,
    }
    return tuple(Upkeep(label, money / len(find_shape(demand))) for label, money in found.items() if money)


# --- answers --------------------------------------------------------------------------------------


def simulate_part(file: PartFile, draws: int = DRAWS, seed: int = SEED) -> CaseResult | None:
    """Return worth, payback, internal rates and chance of a loss of a part; None where it has no case."""
    case = build_part_case(file).case
    return None if case is None else simulate_case(case, file.workspace.catalogues.money.money_rate, draws, seed)


@keep_for_part
def compute_case_result(file: PartFile) -> CaseResult | None:
    """Return `simulate_part` with the draws and the seed of the pages."""
    return simulate_part(file)


@keep_for_part
def compute_rate_spread(file: PartFile) -> RateSpread | None:
    """Return the internal rate over the draws; None where there is no case, or no money left to spend on it."""
    case = build_part_case(file).case
    return None if case is None or case.tooling.high == 0 else simulate_rates(case, 1_000, SEED)


@keep_for_part
def find_case_drivers(file: PartFile) -> tuple[Driver, ...]:
    """Return what drives the worth: every uncertain input from its P10 to its P90, the widest swing first."""
    case = build_part_case(file).case
    return () if case is None else find_drivers(case, file.workspace.catalogues.money.money_rate)


def draw_worth(file: PartFile, draws: int = DRAWS, seed: int = SEED) -> Floats | None:
    """Return the draws of the present worth, for a drawing; None where there is no case."""
    case = build_part_case(file).case
    if case is None:
        return None
    return compute_worth(case, simulate_levels(case, draws, seed), file.workspace.catalogues.money.money_rate)


def simulate_shop(shop: Shop, draws: int = DRAWS, seed: int = SEED) -> dict[str, CaseResult]:
    """Return the result of every part that has a case, by number; a kit that is counted twice is refused."""
    cases = {number: build_part_case(file).case for number, file in shop.parts.items()}
    known = [case for case in cases.values() if case is not None]
    rates = {file.workspace.catalogues.money.money_rate for file in shop.parts.values()}
    results = simulate_cases(known, rates.pop(), draws, seed) if known else ()
    return {result.name: result for result in results}


@keep_for_shop
def compute_shop_results(shop: Shop) -> dict[str, CaseResult]:
    """Return `simulate_shop` with the draws and the seed of the pages."""
    return simulate_shop(shop)
