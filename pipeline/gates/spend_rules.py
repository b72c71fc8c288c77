"""Findings about the tooling spend: budgets, either-ors, what is told to be in, tools on order that nobody needs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.findings.rule import Rule
from pipeline.findings.rules import spend as rules
from pipeline.gates.standing import Standing
from pipeline.model.catalogue import MoneyRules
from pipeline.model.part import Part
from pipeline.model.words import Say, ToolStep
from pipeline.model.workspace import Workspace

Locate = Callable[[str, Pointer], Location]
Found = tuple[Rule, Pointer, str]

MONEY_PATH = "shared/money.yaml"


def check_spend(workspace: Workspace, standings: Mapping[str, Standing], locate: Locate) -> list[Finding]:
    """Return the findings about the tooling spend, of the catalogue and of every part."""
    money = workspace.catalogues.money
    findings = [
        rule.build_finding(locate(MONEY_PATH, pointer), message, pointer=pointer)
        for rule, pointer, message in (*_check_budgets(money, workspace.today), *_check_either_or(workspace))
    ]
    used = {use for n, part in workspace.parts.items() if not standings[n].is_dropped for use in part.uses_tools}
    for number, part in workspace.parts.items():
        path = f"projects/{number}/part.yaml"
        findings += [
            rule.build_finding(locate(path, pointer), message, record=number, pointer=pointer)
            for rule, pointer, message in _check_part(part, standings[number], workspace.today, used)
        ]
    return findings


def find_quarter_number(name: str) -> int:
    """Return a quarter as a number that counts on by one.

    >>> find_quarter_number("2027-Q1") - find_quarter_number("2026-Q4")
    1
    """
    return int(name[:4]) * 4 + int(name[-1]) - 1


def _find_today(today: dt.date) -> int:
    return today.year * 4 + (today.month - 1) // 3


def _name(number: int) -> str:
    return f"{number // 4}-Q{number % 4 + 1}"


def _check_budgets(money: MoneyRules, today: dt.date) -> Iterator[Found]:
    stated = sorted(find_quarter_number(name) for name in money.budgets)
    now = _find_today(today)
    if not stated:
        return
    if stated[-1] < now:
        words = f"the last budget is of {_name(stated[-1])}, and today is in {_name(now)}"
        yield rules.BUDGETS_OVER, ("budgets",), words
        return
    missing = [_name(n) for n in range(max(now, stated[0]), stated[-1]) if n not in stated]
    if missing:
        are = "has no budget and lies" if len(missing) == 1 else "have no budget and lie"
        yield rules.BUDGET_GAP, ("budgets",), f"{', '.join(missing)} {are} before {_name(stated[-1])}, which has one"


def _check_either_or(workspace: Workspace) -> Iterator[Found]:
    for index, numbers in enumerate(workspace.catalogues.money.either_or):
        pointer: Pointer = ("either_or", index)
        unknown = [number for number in numbers if number not in workspace.parts]
        if unknown:
            yield rules.EITHER_OR_UNKNOWN, pointer, f"{', '.join(unknown)} is on no record"
        known = {number: workspace.parts[number] for number in numbers if number in workspace.parts}
        told = [number for number, part in known.items() if part.plan is not None and part.plan.must is True]
        if len(told) > 1:
            yield rules.MUST_BOTH, pointer, f"{' and '.join(told)} are told to be in, and one of them may be"


def _is_tooled(part: Part, standing: Standing) -> bool:
    signed = standing.release is not None and standing.release.say is Say.GO
    return signed or any(_is_ordered(part, key) for key in part.tools)


def _is_ordered(part: Part, key: str) -> bool:
    return part.tools[key].state not in (None, ToolStep.QUOTED)


def _check_part(part: Part, standing: Standing, today: dt.date, used: set[str]) -> Iterator[Found]:
    plan = part.plan
    if plan is not None and plan.must is True and standing.is_dropped:
        yield rules.MUST_DROPPED, ("plan", "must"), f"{part.part} is dropped and told to be in"
    # a part that was given up waits for no release
    last, now = None if plan is None or standing.is_dropped else plan.not_after, _find_today(today)
    if last is not None and find_quarter_number(last) < now and not _is_tooled(part, standing):
        words = f"the last quarter for the release was {last}, and today is in {_name(now)}"
        yield rules.WINDOW_OVER, ("plan", "not_after"), words
    for key, tool in part.tools.items() if standing.is_dropped else ():
        is_open = _is_ordered(part, key) and tool.state is not ToolStep.ACCEPTED
        if is_open and f"{part.part}/{key}" not in used:
            yield (
                rules.NOBODY_NEEDS,
                ("tools", key),
                f"{key} is {tool.state}, {part.part} is dropped, and no part uses it",
            )
