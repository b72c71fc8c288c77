"""What a good piece costs at our door: from the quote to reckon with, its components, or the record's own figure."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.costing.estimate import Estimate, build_estimate
from pipeline.costing.quote_sides import Purchase, build_side
from pipeline.costing.quote_terms import Quote
from pipeline.costing.quotes import find_unit_price
from pipeline.model.catalogue import Beliefs
from pipeline.portfolio.money import convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import compute_one_footing
from pipeline.portfolio.shop import keep_for_part


@dataclass(frozen=True)
class LandedLine:
    """One piece of the cost of a good piece, in workspace currency, and where it comes from."""

    label: str
    money: Estimate
    source: str


@dataclass(frozen=True)
class Landed:
    """What a good piece costs. quote : the offer it rests on. missing : what has no price, so that it is a least."""

    money: Estimate
    lines: tuple[LandedLine, ...]
    quote: str | None
    missing: tuple[str, ...]


def add_estimates(estimates: list[Estimate]) -> Estimate:
    """Add point by point; nothing gives zero.

    >>> add_estimates([Estimate(1, 2, 3), build_estimate(10)])
    Estimate(low=11, likely=12, high=13)
    """
    return Estimate(*(sum(getattr(one, end) for one in estimates) for end in ("low", "likely", "high")))


@keep_for_part
def find_landed(file: PartFile) -> Landed | None:
    """Return what a good piece costs: quote and components, else the record's own `cost`; None if neither is known."""
    return _find(file, frozenset())


def _find(file: PartFile, waiting: frozenset[str]) -> Landed | None:
    if file.number in waiting:
        return None
    quoted = _find_quoted(file)
    lines, missing = _list_components(file, waiting | {file.number})
    own = _find_own(file)
    if quoted is None and not lines:
        return own
    if missing and own is not None:
        return own
    found = [*([] if quoted is None else [quoted[1]]), *lines]
    money = add_estimates([line.money for line in found])
    return Landed(money, tuple(found), None if quoted is None else quoted[0], tuple(missing))


def _find_own(file: PartFile) -> Landed | None:
    demand = file.part.demand
    cost = None if demand is None else convert_price(file.rates, demand.cost, file.workspace.today)
    if cost is None:
        return None
    money = _spread(float(cost), float(cost), file.workspace.catalogues.money.beliefs)
    return Landed(money, (LandedLine("landed cost", money, "demand.cost of the record"),), None, ())


def _find_quoted(file: PartFile) -> tuple[str, LandedLine] | None:
    footing = compute_one_footing(file)
    key = footing.leading
    if key is None or footing.purchase is None:
        return None
    row = footing.find_row(key)
    if row is None:
        return None
    cheap = float(row.footing.landed_good)
    dear = cheap if row.footing.is_complete else _find_dear(footing.quotes[key], footing.purchase)
    money = _spread(cheap, max(cheap, dear), file.workspace.catalogues.money.beliefs)
    why = "chosen" if key == footing.chosen else "the best that stands" if row.rank == 1 else "the best there is"
    return key, LandedLine("a good piece, landed", money, f"quote {key}, {why}")


def _find_dear(quote: Quote, purchase: Purchase) -> float:
    side = build_side(quote, purchase, dear=True)
    piece = find_unit_price(quote, side, side.price_least)
    return float((piece * (1 + side.duty) + side.freight + side.secondary) / side.yield_share)


def _spread(low: float, high: float, beliefs: Beliefs) -> Estimate:
    """Return the cost with what usually becomes of a quoted price by the day of the order."""
    spread = beliefs.piece_spread
    return Estimate(low * spread.low, (low + high) / 2 * spread.likely, high * spread.high)


def _list_components(file: PartFile, waiting: frozenset[str]) -> tuple[list[LandedLine], list[str]]:
    lines, missing = [], []
    for key, component in file.part.made_of.items():
        times = "" if component.count == 1 else f"{component.count} x "
        if component.part is not None:
            child = file.shop.parts.get(component.part)
            found = None if child is None else _find(child, waiting)
            if found is None:
                missing.append(component.part)
                continue
            missing += found.missing
            one, source = found.money, f"our own {component.part}, landed"
        else:
            price = convert_price(file.rates, component.price, file.workspace.today)
            if price is None:
                missing.append(key)
                continue
            one, source = build_estimate(float(price)), "bought in"
        scaled = Estimate(one.low * component.count, one.likely * component.count, one.high * component.count)
        lines.append(LandedLine(f"{times}{component.bought or component.part}", scaled, source))
    return lines, missing
