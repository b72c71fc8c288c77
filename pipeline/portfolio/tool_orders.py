"""Every tool of the shop as an order: what was promised, what it became, and what changes to it cost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from pipeline.gates.quoted import find_chosen
from pipeline.model.part import Change, Part, Quote, Tool
from pipeline.model.words import ToolStep
from pipeline.portfolio.money import convert_money, convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import Shop, keep_for_part, keep_for_shop

ToolName = tuple[str, str]
"""Number of the record that keeps a tool, and its key there."""


@dataclass(frozen=True)
class ToolChange:
    """A recorded change of a tool, in workspace currency at the rates of its day; None: not known, or no rate."""

    number: str
    key: str
    change: Change
    predicted: Decimal | None
    actual: Decimal | None


@dataclass(frozen=True)
class ToolOrder:
    """One tool as an order. Money in workspace currency at the rates of the order's day (of today before it).

    maker : who makes it, else who offered it. quote : the offer that names it and stood on the day of the order.
    promised_weeks : from order to acceptance, by `promised_in` (offer, tool's record, supplier's usual).
    weeks : from order to acceptance, or to today while it is not accepted; None before the order.
    quoted, price : of the offer, and on record. changes : what was changed on it since.
    """

    number: str
    key: str
    maker: str | None
    quote: str | None
    promised_weeks: float | None
    promised_in: str
    ordered: dt.date | None
    accepted: dt.date | None
    weeks: float | None
    quoted: Decimal | None
    price: Decimal | None
    changes: tuple[ToolChange, ...] = ()

    @property
    def due(self) -> dt.date | None:
        """The day on which it was promised; None where it is not ordered, or nothing was promised."""
        if self.ordered is None or self.promised_weeks is None:
            return None
        days = min(round(self.promised_weeks * 7), (dt.date.max - self.ordered).days)
        return self.ordered + dt.timedelta(days=days)

    @property
    def changes_cost(self) -> Decimal:
        """What its changes cost, as far as it is known."""
        return sum((one.actual for one in self.changes if one.actual is not None), Decimal(0))

    @property
    def cost(self) -> Decimal | None:
        """Its price with what changes cost; None without a price."""
        return None if self.price is None else self.price + self.changes_cost

    @property
    def weeks_over(self) -> float | None:
        """Weeks beyond the promise: of a tool that is accepted, or of one that is late; None where nobody can say."""
        if self.weeks is None or self.promised_weeks is None:
            return None
        over = self.weeks - self.promised_weeks
        return over if self.accepted is not None or over > 0 else None

    @property
    def is_late(self) -> bool:
        """True while it is not accepted and the promised day has passed."""
        return self.accepted is None and (self.weeks_over or 0.0) > 0


@keep_for_part
def compute_tool_orders(file: PartFile) -> tuple[ToolOrder, ...]:
    """Return the tools of a record as orders, in the order of the record."""
    return tuple(_build_order(file, key, tool) for key, tool in file.part.tools.items())


def _build_order(file: PartFile, key: str, tool: Tool) -> ToolOrder:
    ordered, accepted = tool.steps.get(ToolStep.ORDERED), tool.steps.get(ToolStep.ACCEPTED)
    name = find_offer(file.part, key, tool)
    offer = None if name is None else file.part.quotes[name]
    maker = tool.by or (None if offer is None else offer.from_)
    day = ordered or file.workspace.today
    promised, source = _find_promise(file, tool, name, offer, maker)
    return ToolOrder(
        file.number,
        key,
        maker,
        name,
        promised,
        source,
        ordered,
        accepted,
        None if ordered is None else max(((accepted or file.workspace.today) - ordered).days, 0) / 7,
        None if offer is None else convert_money(file.rates, offer.tools[key], offer.money, day),
        convert_price(file.rates, tool.price, day),
        find_tool_changes(file.shop).get((file.number, key), ()),
    )


def find_offer(part: Part, key: str, tool: Tool) -> str | None:
    """Return the offer that a tool was, or would be, ordered on: one that names it and was there on that day.

    The toolmaker's own goes before another's, one that had not run out before one that had, the chosen one before
    others, a younger before an older. None where no offer names the tool.
    """
    ordered, chosen = tool.steps.get(ToolStep.ORDERED), find_chosen(part)
    found = [
        (quote.from_ == tool.by, _stands_on(quote, ordered), name == chosen, quote.on, name)
        for name, quote in part.quotes.items()
        if key in quote.tools and (ordered is None or quote.on <= ordered)
    ]
    return max(found)[-1] if found else None


def _stands_on(quote: Quote, day: dt.date | None) -> bool:
    return day is None or quote.valid_to is None or day <= quote.valid_to


def _find_promise(
    file: PartFile, tool: Tool, name: str | None, offer: Quote | None, maker: str | None
) -> tuple[float | None, str]:
    if offer is not None and offer.weeks is not None:
        return offer.weeks, f"offer {name}"
    if tool.weeks is not None:
        return tool.weeks.likely, "the tool's record"
    supplier = file.workspace.catalogues.suppliers.suppliers.get(maker or "")
    usual = None if supplier is None else supplier.promised_weeks
    return (None, "") if usual is None else (usual, "the supplier's usual")


@keep_for_shop
def find_tool_changes(shop: Shop) -> Mapping[ToolName, tuple[ToolChange, ...]]:
    """Return the recorded changes of every tool, oldest first; those of a shared tool from all records that use it."""
    found: dict[ToolName, list[ToolChange]] = {}
    for number, file in sorted(shop.parts.items()):
        for key, change in file.part.changes.items():
            name = find_tool(file.part, change.tool)
            if name is not None:
                predicted, actual = (
                    convert_price(file.rates, one, change.on) for one in (change.predicted, change.actual)
                )
                found.setdefault(name, []).append(ToolChange(number, key, change, predicted, actual))
    return {
        name: tuple(sorted(changes, key=lambda one: (one.change.on, one.number, one.key)))
        for name, changes in found.items()
    }


def find_tool(part: Part, key: str | None) -> ToolName | None:
    """Return the tool that a record calls so: its own, or one that it uses and another record keeps."""
    if key is None:
        return None
    if key in part.tools:
        return part.part, key
    for use in part.uses_tools:
        number, name = use.split("/")
        if key in (name, use):
            return number, name
    return None


@keep_for_shop
def find_users(shop: Shop) -> Mapping[ToolName, tuple[str, ...]]:
    """Return, for each shared tool, the other records that use it."""
    found: dict[ToolName, list[str]] = {}
    for number, file in sorted(shop.parts.items()):
        for use in file.part.uses_tools:
            owner, name = use.split("/")
            found.setdefault((owner, name), []).append(number)
    return {name: tuple(numbers) for name, numbers in found.items()}
