"""The tooling money of a part that is still to be paid, by milestone, and what is already spent."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from pipeline.model.catalogue import Beliefs
from pipeline.model.part import Payment, Tool
from pipeline.model.words import TOOL_STEPS, Gate, ToolStep
from pipeline.portfolio.money import convert_money, convert_price
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.quotes import compute_one_footing, list_wanted_tools
from pipeline.portfolio.shop import keep_for_part


@dataclass(frozen=True)
class ToolCash:
    """One payment of tooling money in workspace currency: how many weeks from today, on which day, for what."""

    week: float
    on: dt.date
    what: str
    tool: str
    amount: Decimal


@dataclass(frozen=True)
class ToolingCash:
    """Tooling money: what is still to be paid in week order, what is spent, and the tools without a price.

    weeks : low, likely and high from today to the first good pieces. quote : the offer whose terms are used.
    """

    due: tuple[ToolCash, ...]
    spent: Decimal
    unpriced: tuple[str, ...]
    weeks: tuple[float, float, float]
    quote: str | None

    @property
    def total(self) -> Decimal:
        """All that is still to be paid."""
        return sum((line.amount for line in self.due), Decimal(0))


@keep_for_part
def compute_tooling_cash(file: PartFile) -> ToolingCash:
    """Return the tooling money of a part, as if what is not ordered were ordered today.

    Prices are those of the quote to reckon with, else of the record. A tool that is kept in another part's record is
    paid there. Milestones that a tool has passed are spent, and spent money decides nothing any more.
    """
    return _CashMaker(file).make()


class _CashMaker:
    """Collects the payments of one part's tools."""

    def __init__(self, file: PartFile) -> None:
        self.file, self.today = file, file.workspace.today
        self.beliefs: Beliefs = file.workspace.catalogues.money.beliefs
        self.key = compute_one_footing(file).leading
        self.quote = None if self.key is None else file.part.quotes[self.key]
        self.lead = self.find_lead()
        self.spent = Decimal(0)
        self.unpriced: list[str] = []

    def make(self) -> ToolingCash:
        """Return the tooling money."""
        due = [line for key in list_wanted_tools(self.file) for line in self.list_payments(key)]
        if self.quote is not None and self.quote.samples and not self.file.part.first_articles:
            due += self.build_lines(self.convert(self.quote.samples), self.lead[1], "samples", "")
        due.sort(key=lambda line: (line.week, line.what, line.tool))
        elapsed = self.find_elapsed()
        released = self.file.standing.released
        low, likely, high = (0.0 if released else max(0.0, week - elapsed) for week in self.lead)
        return ToolingCash(tuple(due), self.spent, tuple(self.unpriced), (low, likely, high), self.key)

    def find_lead(self) -> tuple[float, float, float]:
        """Return the weeks from an order to good pieces: the quote's with their usual spread, else the family's."""
        spread = self.beliefs.weeks_spread
        if self.quote is not None and self.quote.weeks is not None:
            weeks = self.quote.weeks
            return weeks * spread.low, weeks * spread.likely, weeks * spread.high
        usual = self.file.workspace.catalogues.families.families[self.file.part.family].weeks.get(Gate.TOOLING)
        return (0.0, 0.0, 0.0) if usual is None else (usual.low, usual.likely, usual.high)

    def find_elapsed(self) -> float:
        """Return the weeks since the first tool was ordered."""
        days = [t.steps[ToolStep.ORDERED] for t in self.file.part.tools.values() if ToolStep.ORDERED in t.steps]
        return max(0, (self.today - min(days)).days) / 7 if days else 0.0

    def list_payments(self, key: str) -> Iterator[ToolCash]:
        """Yield what is still to be paid for one tool."""
        tool, price = self.file.part.tools.get(key), self.find_price(key)
        if price is None:
            if f"tool-{key}" not in (() if self.quote is None else self.quote.not_wanted):
                self.unpriced.append(key)
            return
        ordered = None if tool is None else tool.steps.get(ToolStep.ORDERED)
        elapsed = 0.0 if ordered is None else (self.today - ordered).days / 7
        weeks = self.lead[1]
        for step in self.list_milestones(key):
            amount, week = price * Decimal(str(step.share)), self.beliefs.milestones.get(step.at, 1.0) * weeks
            if is_paid(tool, step):
                self.spent += amount
            else:
                yield from self.build_lines(amount, max(0.0, week - elapsed), step.at, key)
        is_quoted = self.quote is not None and key in self.quote.tools
        duty = Decimal(str((self.quote.tool_duty if is_quoted and self.quote is not None else None) or 0))
        if duty and (tool is None or tool.state is not ToolStep.ACCEPTED):
            yield from self.build_lines(price * duty, max(0.0, weeks - elapsed), "duty on the tool", key)

    def list_milestones(self, key: str) -> tuple[Payment, ...]:
        """Return the quote's part payments for its own tools; a tool bought apart is paid with the order."""
        pays = () if self.quote is None or key not in self.quote.tools else self.quote.pay
        return pays or (Payment(at="order", share=1.0),)

    def build_lines(self, amount: Decimal, week: float, what: str, tool: str) -> list[ToolCash]:
        """Return one payment, none where it is nothing."""
        day = self.today + dt.timedelta(days=round(week * 7))
        return [ToolCash(week, day, what, tool, amount)] if amount else []

    def convert(self, amount: float) -> Decimal:
        """Return an amount of the quote in workspace currency."""
        found = None if self.quote is None else convert_money(self.file.rates, amount, self.quote.money, self.today)
        return Decimal(0) if found is None else found

    def find_price(self, key: str) -> Decimal | None:
        """Return a tool's price: the quote's, else the record's."""
        if self.quote is not None and key in self.quote.tools:
            return self.convert(self.quote.tools[key])
        tool = self.file.part.tools.get(key)
        return None if tool is None else convert_price(self.file.rates, tool.price, self.today)


def is_paid(tool: Tool | None, step: Payment) -> bool:
    """True when a milestone lies behind: the state of the tool says so, not the calendar."""
    if tool is None or tool.state is None or tool.state is ToolStep.QUOTED:
        return False
    if tool.state is ToolStep.ACCEPTED or step.at == "order":
        return True
    return step.at == "first shots" and TOOL_STEPS.index(tool.state) >= TOOL_STEPS.index(ToolStep.ON_TRIAL)
