"""From the records to the inputs of a spending plan: quarters with cash, tools, products, what is promised already."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TypeVar

from pipeline.model.catalogue import Catalogues, MoneyRules
from pipeline.planning.funding_case import (
    EitherOr,
    FundingCase,
    Overlap,
    Product,
    ProductKind,
    Quarter,
    Resource,
    Tool,
    Use,
)
from pipeline.planning.funding_needs import find_assembly_cycle
from pipeline.portfolio.case import find_lack
from pipeline.portfolio.funding_limits import limit_each_quarter
from pipeline.portfolio.funding_quarters import QUARTERS, WEEKS, find_offset, find_start, find_weeks_left, list_quarters
from pipeline.portfolio.funding_tools import ToolSet, find_set, find_shared_tools, list_tool_sets, sum_committed
from pipeline.portfolio.funding_windows import find_first_starts
from pipeline.portfolio.funding_worth import Earning, compute_earning, list_taken, merge_taken, spread_worth
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.shop import Shop
from pipeline.portfolio.tooling_cash import compute_tooling_cash


@dataclass(frozen=True)
class Wishes:
    """What the asker wants besides the records: parts or tools told to be in or out."""

    must: tuple[str, ...] = ()
    must_not: tuple[str, ...] = ()


NO_WISHES = Wishes()


@dataclass(frozen=True)
class LeftOut:
    """A part that cannot be planned, why, and what would put it into the plan."""

    part: str
    why: str


@dataclass(frozen=True)
class Funding:
    """The case of a plan with what the records say about it.

    sets : what can be or is released, by key. earnings : by part, those in the plan. unstated : quarters without a
    stated budget, taken as 0. unknown : wishes that name nothing in the plan. carries : unspent cash stays.
    """

    case: FundingCase
    today: dt.date
    currency: str
    sets: Mapping[str, ToolSet]
    earnings: Mapping[str, Earning]
    left_out: tuple[LeftOut, ...]
    unstated: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    carries: bool = True
    names: Mapping[str, str] = field(default_factory=dict)

    @property
    def open_sets(self) -> tuple[ToolSet, ...]:
        """The sets that there is a choice about, in order of keys."""
        keys = sorted(tool.key for tool in self.case.tools if tool.on_hand_from is None)
        return tuple(self.sets[key] for key in keys)

    @property
    def signed_sets(self) -> tuple[ToolSet, ...]:
        """The sets that are released and of which something is still to be paid, in order of keys."""
        return tuple(one for _, one in sorted(self.sets.items()) if one.signed and one.due)


def build_funding(shop: Shop, wishes: Wishes = NO_WISHES) -> Funding | None:
    """Return the inputs of the spending plan of a shop; None where it has no part at all.

    Each part's own tools are one set, for one signature releases them; a tool that several parts use is one of its
    own and paid once. Parts on sale are no choice any more. Worth is that of the business case, tooling not deducted.
    """
    if not shop.parts:
        return None
    return _Builder(shop, wishes).build()


class _Builder:
    """Puts the case together, step by step, always in the order of part numbers."""

    def __init__(self, shop: Shop, wishes: Wishes) -> None:
        self.files: dict[str, PartFile] = dict(sorted(shop.parts.items()))
        first = next(iter(self.files.values()))
        self.catalogues: Catalogues = first.workspace.catalogues
        self.money: MoneyRules = self.catalogues.money
        self.today, self.wishes = first.workspace.today, wishes
        self.discount = (1.0 + self.money.money_rate) ** 0.25 - 1.0
        shared = find_shared_tools(self.files.values())
        self.all_sets = {one.key: one for file in self.files.values() for one in list_tool_sets(file, shared)}
        self.left_out: dict[str, str] = {}
        self.planned = self.choose_parts()

    def build(self) -> Funding:
        """Return the finished inputs."""
        needed = {key for number in self.planned for key in self.list_tools(number)}
        tools = tuple(self.build_tool(self.all_sets[key]) for key in sorted(needed))
        products = tuple(self.build_product(number) for number in self.planned)
        names = list_quarters(self.today)
        case = FundingCase(
            self.build_quarters(), tools, products, (), self.build_either_or(), self.build_resources(),
            price_on_downside=self.money.downside_price, discount=self.discount, currency=self.money.currency,
        )  # fmt: skip
        case, unknown = self.apply_wishes(case)
        case, earnings = self.fill_worth(case)
        case = case if self.money.carry_over else limit_each_quarter(case)
        sets = {key: self.all_sets[key] for key in needed} | {
            k: s for k, s in self.all_sets.items() if s.signed and s.due
        }
        left = tuple(LeftOut(number, why) for number, why in sorted(self.left_out.items()))
        unstated = tuple(name for name in names if name not in self.money.budgets)
        part_names = {number: file.part.name for number, file in self.files.items()}
        return Funding(
            case, self.today, self.money.currency, sets, earnings, left, unstated, unknown, self.money.carry_over,
            part_names,
        )  # fmt: skip

    def choose_parts(self) -> tuple[str, ...]:
        """Return the parts that can be planned; the others are noted with the reason."""
        chosen = []
        for number, file in self.files.items():
            if file.standing.released or file.standing.is_dropped:
                continue
            why = find_lack(file) or self.find_price_lack(file) or self.find_rival(number)
            if why:
                self.left_out[number] = why
            else:
                chosen.append(number)
        return self.drop_incomplete(chosen)

    def find_price_lack(self, file: PartFile) -> str:
        """Return why a part's tooling cannot be priced; empty where it can."""
        cash = compute_tooling_cash(file)
        if cash.unpriced:
            return f"No price is recorded for {', '.join(cash.unpriced)}: record a quote, or write `price` of the tool."
        missing = [use for use in file.part.uses_tools if use not in self.all_sets]
        if missing:
            return f"It uses {', '.join(missing)}, which has no price in its own record."
        family = self.catalogues.families.families[file.part.family]
        has_tools = any(one.tools for one in self.all_sets.values() if one.part == file.number)
        if not has_tools and not file.part.uses_tools and not file.part.made_of and family.tool_kinds:
            kinds = ", ".join(family.tool_kinds)
            return (
                f"No tool is on record, and its family wants some ({kinds}): record a quote, or the tools with a price."
            )
        return ""

    def find_rival(self, number: str) -> str:
        """Return that the other of an either-or is on sale already; empty where none is."""
        groups = [numbers for numbers in self.money.either_or if number in numbers]
        taken = [n for group in groups for n in group if n in self.files and self.files[n].standing.released]
        return f"Only one of it and {taken[0]} is tooled, and {taken[0]} is on sale." if taken else ""

    def drop_incomplete(self, chosen: list[str]) -> tuple[str, ...]:
        """Take out assemblies of which a part is neither on sale nor planned, and circles of assemblies."""
        kept, before = set(chosen), -1
        while len(kept) != before:
            before = len(kept)
            for number in sorted(kept):
                lacking = [n for n in self.list_children(number) if n not in kept]
                if lacking:
                    self.left_out[number] = f"It is made from {', '.join(lacking)}, which cannot be planned yet."
                    kept.discard(number)
        circle = find_circle({number: self.list_children(number) for number in sorted(kept)})
        if circle:
            words = " is made from ".join((*circle, circle[0]))
            self.left_out |= dict.fromkeys(circle, f"{words}: none of them can ever be complete.")
            return self.drop_incomplete([number for number in chosen if number in kept and number not in circle])
        return tuple(sorted(kept))

    def list_children(self, number: str) -> tuple[str, ...]:
        """Return the parts of an assembly that are not on sale yet."""
        parts = dict.fromkeys(c.part for c in self.files[number].part.made_of.values() if c.part is not None)
        return tuple(n for n in parts if n not in self.files or not self.files[n].standing.released)

    def list_tools(self, number: str) -> tuple[str, ...]:
        """Return the keys of the sets that a part is made with."""
        own = [key for key, one in self.all_sets.items() if one.part == number]
        return tuple(dict.fromkeys([*own, *self.files[number].part.uses_tools]))

    def build_quarters(self) -> tuple[Quarter, ...]:
        """Return the quarters with their budgets and what is promised already."""
        committed = sum_committed(self.all_sets.values(), self.today)
        names = list_quarters(self.today)
        cash = [float(self.money.budgets.get(name, 0.0)) for name in names]
        return tuple(Quarter(n, c, float(p)) for n, c, p in zip(names, cash, committed, strict=True))

    def build_tool(self, one: ToolSet) -> Tool:
        """Return a set as the plan knows it."""
        if one.signed:
            return Tool(one.key, one.payments, on_hand_from=one.find_there(self.today))
        plan = self.files[one.part].part.plan
        names = list_quarters(self.today, 400)
        before, after = (None, None) if plan is None else (plan.not_before, plan.not_after)
        return Tool(
            one.key, one.payments, find_offset(one.weeks[1]), self.list_uses(one), one.find_earliest(self.today),
            self.word_ready(one),
            None if before is None else find_place(names, before), None if after is None else find_place(names, after),
            must_not=plan is not None and plan.must is False,
        )  # fmt: skip

    def word_ready(self, one: ToolSet) -> str:
        """Return why a set cannot be released today, with the forecast; empty where it can."""
        if one.ready.is_now:
            return ""
        if not one.ready.known:
            return f"{one.ready.why}, and nobody has said until when"
        return f"{one.ready.why}; {one.ready.word_day(self.today)}"

    def list_uses(self, one: ToolSet) -> tuple[Use, ...]:
        """Return the hours that its first article takes, in the quarter of the first good pieces."""
        if one.shared:
            return ()
        family = self.catalogues.families.families[self.files[one.part].part.family]
        at = find_offset(one.weeks[1])
        found = []
        for key in self.list_resources():
            hours = self.catalogues.resources.resources[key].hours_each
            if hours is not None and (family.plated or key != "plater"):
                found.append(Use(key, (0.0,) * at + (hours.likely,)))
        return tuple(found)

    def list_resources(self) -> list[str]:
        """Return the resources that first articles queue for."""
        return [
            k for k, r in sorted(self.catalogues.resources.resources.items()) if "tooling" in r.used_in and r.hours_each
        ]

    def build_resources(self) -> tuple[Resource, ...]:
        """Return hours by quarter; today's quarter has only the weeks that are left of it."""
        weeks = (find_weeks_left(self.today), *(WEEKS for _ in range(QUARTERS - 1)))
        resources = self.catalogues.resources.resources
        return tuple(Resource(k, tuple(resources[k].hours_per_week * w for w in weeks)) for k in self.list_resources())

    def build_product(self, number: str) -> Product:
        """Return a part as the plan knows it; what it earns is filled in later."""
        part = self.files[number].part
        plan, made = part.plan, bool(part.made_of)
        kind = ProductKind.KIT if made and not part.tools else ProductKind.ASSEMBLY if made else ProductKind.PART
        must = plan.must if plan is not None else None
        return Product(
            number, (0.0,), self.list_tools(number), self.list_children(number), kind,
            must=must is True, must_not=must is False,
        )  # fmt: skip

    def build_either_or(self) -> tuple[EitherOr, ...]:
        """Return the pairs of which one is tooled, by the sets of their parts."""
        groups = []
        for numbers in self.money.either_or:
            own = [[k for k in self.list_tools(n) if self.all_sets[k].part == n] for n in numbers if n in self.planned]
            if len(own) > 1:
                groups.append(EitherOr(tuple(keys[0] for keys in own)))
        return tuple(groups)

    def apply_wishes(self, case: FundingCase) -> tuple[FundingCase, tuple[str, ...]]:
        """Return the case with the wishes of the asker, which go before those of the records."""
        unknown = []
        for names, is_in in ((self.wishes.must_not, False), (self.wishes.must, True)):
            for name in names:
                changed = change_wish(case, self.all_sets, name, is_in, name in self.wishes.must_not)
                if changed is None:
                    unknown.append(name)
                else:
                    case = changed
        return case, tuple(unknown)

    def fill_worth(self, case: FundingCase) -> tuple[FundingCase, dict[str, Earning]]:
        """Return the case with what each part earns, by quarter, and with the overlaps."""
        planned = frozenset(self.planned)
        earnings = {n: e for n in self.planned if (e := compute_earning(self.files[n], planned)) is not None}
        starts = find_first_starts(case)
        last = QUARTERS + 12
        products = tuple(
            replace(
                p,
                worth=spread_worth(earnings[p.key], starts[p.key], self.discount, last),
                downside=tuple(earnings[p.key].downside / (1.0 + self.discount) ** q for q in range(last)),
            )
            for p in case.products
        )
        taken = {(n, s): m for n in self.planned for s, m in list_taken(self.files[n]) if s in planned and m > 0}
        overlaps = tuple(
            Overlap(a, b, lost / (1.0 + self.discount) ** max(starts[a], starts[b]))
            for (a, b), lost in merge_taken(taken).items()
        )
        return replace(case, products=products, overlaps=overlaps), earnings


def find_place(names: tuple[str, ...], quarter: str) -> int:
    """Return how many quarters after today's one lies; below zero for the past.

    >>> find_place(("2026-Q4", "2027-Q1"), "2027-Q1"), find_place(("2026-Q4",), "2026-Q2")
    (1, -2)
    """
    first, wanted = find_start(names[0]), find_start(quarter)
    return (wanted.year - first.year) * 4 + (wanted.month - first.month) // 3


def find_circle(children: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Return one circle of assemblies, from its smallest number; empty where there is none."""
    products = tuple(Product(n, (0.0,), children=c) for n, c in children.items())
    return find_assembly_cycle(FundingCase((), (), products))


def change_wish(
    case: FundingCase, sets: Mapping[str, ToolSet], name: str, is_in: bool, also_out: bool
) -> FundingCase | None:
    """Return the case with one more thing told to be in or out; None where the plan knows nothing of that name.

    A part's number, or a tool of its own set, stands for the part; a shared tool for itself.
    """
    found = find_set(sets, name)
    if found is None or found.key not in {t.key for t in case.tools}:
        return None
    if found.shared and "/" in name:
        tools = tuple(_tell(t, is_in, also_out) if t.key == found.key else t for t in case.tools)
        return replace(case, tools=tools)
    own = {one.key for one in sets.values() if one.part == found.part and not one.shared and not one.signed}
    products = tuple(_tell(p, is_in, also_out) if p.key == found.part else p for p in case.products)
    tools = tuple(replace(t, must_not=not is_in) if t.key in own else t for t in case.tools)
    return replace(case, products=products, tools=tools)


Told = TypeVar("Told", Tool, Product)


def _tell(item: Told, is_in: bool, also_out: bool) -> Told:
    return replace(item, must=is_in, must_not=also_out or not is_in)
