"""What is wrong with a funding case, in words: a missing budget, contradictions, things that point nowhere."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from pipeline.planning.funding_case import FundingCase, Product, Tool
from pipeline.planning.funding_needs import compute_needs, compute_tool_window, find_assembly_cycle
from pipeline.planning.funding_words import render_amount, render_keys, render_quarter


class FaultKind(StrEnum):
    """What is wrong."""

    NO_QUARTERS = "no quarters"
    NO_BUDGET = "no budget"
    NOT_A_NUMBER = "not a number"
    NEGATIVE_AMOUNT = "negative amount"
    SAME_KEY_TWICE = "same key twice"
    UNKNOWN_KEY = "unknown key"
    EMPTY_LIST = "empty list"
    ASSEMBLY_CIRCLE = "circle of assemblies"
    MUST_AND_MUST_NOT = "must and must not"
    MUST_NEVER_POSSIBLE = "must-do that is never possible"
    MUST_BOTH_OF_EITHER_OR = "two must-dos of an either-or"
    COMMITTED_BEYOND_CASH = "committed payments beyond cash"
    MUST_BEYOND_CASH = "must-dos beyond cash"
    MUST_BEYOND_CAPACITY = "must-dos beyond capacity"
    MUST_TOGETHER_IMPOSSIBLE = "must-dos that exclude each other"
    TOOL_NOBODY_NEEDS = "tool that nobody needs"
    STOPPED_EMPTY = "stopped before a first plan"


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: which keys, in words, what would help; `amount` and `quarter` where they apply.

    blocking: no plan can be made until it is put right. The others leave a plan beside them.
    """

    kind: FaultKind
    keys: tuple[str, ...]
    words: str
    fix: str
    blocking: bool = True
    amount: float | None = None
    quarter: int | None = None


def find_case_faults(case: FundingCase) -> tuple[Fault, ...]:
    """Return everything that is wrong with a case before it is solved, in the order of keys; empty when it is sound.

    >>> find_case_faults(FundingCase((), (), ()))[0].words
    'The plan has no quarters, so there is no cash to plan with.'
    """
    faults = [*_find_wrong_shape(case), *_find_wrong_numbers(case)]
    if any(f.blocking for f in faults):
        return tuple(faults)
    circle = find_assembly_cycle(case)
    if circle:
        return (*faults, _render_circle(circle))
    return (*faults, *_find_contradictions(case), *_find_short_commitments(case), *_find_needless_tools(case))


def _find_wrong_shape(case: FundingCase) -> Iterator[Fault]:
    if not case.quarters:
        words = "The plan has no quarters, so there is no cash to plan with."
        yield Fault(FaultKind.NO_QUARTERS, (), words, "give at least one quarter with its new cash")
    elif case.opening_cash == 0 and all(q.new_cash == 0 for q in case.quarters):
        words = "No budget: opening cash and the new cash of every quarter are 0."
        yield Fault(FaultKind.NO_BUDGET, (), words, "give the cash that may be spent on tools", blocking=False)
    keys = [t.key for t in case.tools] + [p.key for p in case.products] + [r.key for r in case.resources]
    for key in sorted({k for k in keys if keys.count(k) > 1}) if len(set(keys)) < len(keys) else ():
        words = f"{key} stands for more than one tool, product or resource."
        yield Fault(FaultKind.SAME_KEY_TWICE, (key,), words, "give each of them a key of its own")
    yield from _find_unknown_keys(case)


def _find_unknown_keys(case: FundingCase) -> Iterator[Fault]:
    tools, products = {t.key for t in case.tools}, {p.key for p in case.products}
    resources = {r.key for r in case.resources}
    for p in sorted(case.products, key=lambda p: p.key):
        yield from _report_unknown(p.key, "needs the tool", set(p.tools) - tools)
        yield from _report_unknown(p.key, "is made from", set(p.children) - products)
        if not p.worth or not p.downside:
            words = f"{p.key} has no worth or downside for any quarter."
            yield Fault(FaultKind.EMPTY_LIST, (p.key,), words, "give one value, or one for each quarter")
    for t in sorted(case.tools, key=lambda t: t.key):
        yield from _report_unknown(t.key, "uses", {u.resource for u in t.uses} - resources)
    for o in sorted(case.overlaps, key=lambda o: (o.first, o.second)):
        yield from _report_unknown("An overlap", "names", {o.first, o.second} - products)
    for keys in sorted(g.keys for g in case.either_or):
        yield from _report_unknown("An either-or", "names", set(keys) - products - tools)
    for r in sorted(case.resources, key=lambda r: r.key):
        if not r.capacity:
            words = f"{r.key} has no capacity for any quarter."
            yield Fault(FaultKind.EMPTY_LIST, (r.key,), words, "give one value, or one for each quarter")


def _report_unknown(owner: str, verb: str, unknown: Iterable[str]) -> Iterator[Fault]:
    for key in sorted(unknown):
        words = f"{owner} {verb} {key}, which is not in this plan."
        yield Fault(FaultKind.UNKNOWN_KEY, (key,), words, "correct the key or add what it names")


def _find_wrong_numbers(case: FundingCase) -> Iterator[Fault]:
    for owner, what, value, may_be_negative in _list_numbers(case):
        if not math.isfinite(value):
            words = f"{owner}: {what} is {value}, which is not a number to plan with."
            yield Fault(FaultKind.NOT_A_NUMBER, (owner,), words, "give a finite number")
        elif value < 0 and not may_be_negative:
            words = f"{owner}: {what} is {render_amount(value, case.currency)}, below zero."
            yield Fault(FaultKind.NEGATIVE_AMOUNT, (owner,), words, "give 0 or more", amount=value)


def _list_numbers(case: FundingCase) -> Iterator[tuple[str, str, float, bool]]:
    yield "opening cash", "the amount", case.opening_cash, True
    yield "price on downside", "the amount", case.price_on_downside, False
    yield "discount", "the rate", case.discount, False
    for q in case.quarters:
        yield q.name, "new cash", q.new_cash, True
        yield q.name, "committed payments", q.committed, False
    for t in sorted(case.tools, key=lambda t: t.key):
        yield from ((t.key, f"payment {k + 1}", v, False) for k, v in enumerate(t.payments))
        yield from ((t.key, f"use of {u.resource}", v, False) for u in t.uses for v in u.amounts)
        yield t.key, "quarters until parts come off", float(t.ready_after), False
    for p in sorted(case.products, key=lambda p: p.key):
        yield from ((p.key, "worth", v, True) for v in p.worth)
        yield from ((p.key, "downside", v, False) for v in p.downside)
        yield p.key, "lead in quarters", float(p.lead), False
    for o in sorted(case.overlaps, key=lambda o: (o.first, o.second)):
        yield f"overlap of {o.first} and {o.second}", "the amount lost", o.lost, False
    for r in sorted(case.resources, key=lambda r: r.key):
        yield from ((r.key, "capacity", v, False) for v in r.capacity)


def _render_circle(circle: tuple[str, ...]) -> Fault:
    path = " is made from ".join((*circle, circle[0])) if len(circle) < 8 else f"{render_keys(circle)} need each other"
    words = f"{path}: none of them can ever be complete."
    return Fault(FaultKind.ASSEMBLY_CIRCLE, circle, words, "take one of them out of the other's list of parts")


def _find_contradictions(case: FundingCase) -> Iterator[Fault]:
    items: list[Tool | Product] = [*sorted(case.tools, key=lambda t: t.key)]
    items += sorted(case.products, key=lambda p: p.key)
    for item in items:
        if item.must and item.must_not:
            words = f"{item.key} is told to be in and told to be out."
            yield Fault(FaultKind.MUST_AND_MUST_NOT, (item.key,), words, "keep one of the two instructions")
        elif item.must:
            yield from _find_impossible(case, item)
    must = {i.key for i in items if i.must} | {t.key for t in case.tools if t.on_hand_from is not None}
    for keys in sorted(tuple(sorted(set(g.keys))) for g in case.either_or):
        both = tuple(k for k in keys if k in must)
        if len(both) > 1 and any(i.must for i in items if i.key in both):
            words = f"{render_keys(both)} are all told to be in, or are there already, but only one of them may be."
            yield Fault(FaultKind.MUST_BOTH_OF_EITHER_OR, both, words, "take the instruction from all but one")


def _find_impossible(case: FundingCase, item: Tool | Product) -> Iterator[Fault]:
    if isinstance(item, Product):
        tools = {t.key: t for t in case.tools}
        for key in compute_needs(case)[item.key].lags:
            tool = tools[key]
            if tool.on_hand_from is None and compute_tool_window(tool, len(case.quarters)).is_empty:
                words = f"{item.key} is told to be in but needs {key}: {describe_empty_window(case, tool)}"
                fix = f"free {key}, or take the instruction from {item.key}"
                yield Fault(FaultKind.MUST_NEVER_POSSIBLE, (item.key, key), words, fix)
    elif item.on_hand_from is None and compute_tool_window(item, len(case.quarters)).is_empty:
        words = f"{item.key} is told to be in, but {describe_empty_window(case, item)}"
        yield Fault(FaultKind.MUST_NEVER_POSSIBLE, (item.key,), words, "move its window or take the instruction away")


def describe_empty_window(case: FundingCase, tool: Tool) -> str:
    """Return in words why a tool cannot be released in any quarter of the plan.

    >>> from pipeline.planning.funding_case import (Quarter)
    >>> describe_empty_window(FundingCase((Quarter("Q1", 1.0),), (), ()), Tool("T", (), must_not=True))
    'T is kept out by instruction.'
    """
    if tool.must_not:
        return f"{tool.key} is kept out by instruction."
    count = len(case.quarters)
    last = count - 1 if tool.not_after is None else min(count - 1, tool.not_after)
    limit = "its window closed before the plan"
    if last >= 0:
        limit = f"the last quarter for it is {render_quarter(case, last)}"
    if tool.earliest > last:
        why = tool.earliest_why or "it is not ready"
        return f"{tool.key} can be released from {render_quarter(case, tool.earliest)} ({why}) and {limit}."
    return f"{tool.key} is not to be released before {render_quarter(case, tool.not_before or 0)} and {limit}."


def _find_short_commitments(case: FundingCase) -> Iterator[Fault]:
    cash = case.opening_cash
    for number, quarter in enumerate(case.quarters):
        cash += quarter.new_cash - quarter.committed
        if cash < -1e-9 * max(1.0, abs(quarter.committed)):
            short = render_amount(-cash, case.currency)
            words = f"Payments that are already committed exceed the cash by {short} in {quarter.name}."
            fix = f"bring {short} more cash by {quarter.name} or move a payment"
            yield Fault(FaultKind.COMMITTED_BEYOND_CASH, (), words, fix, amount=-cash, quarter=number)
            return


def _find_needless_tools(case: FundingCase) -> Iterator[Fault]:
    needed = {key for product in case.products for key in product.tools}
    for tool in sorted(case.tools, key=lambda t: t.key):
        if tool.key not in needed:
            words = f"{tool.key} is needed by no product, so it can earn nothing."
            fix = "name it in the parts that it makes, or take it out"
            yield Fault(FaultKind.TOOL_NOBODY_NEEDS, (tool.key,), words, fix, blocking=False)
