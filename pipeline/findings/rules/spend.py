"""Rules about the tooling spend: budgets, what is told to be in or out, tools that nobody needs."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING, NOTE = Severity.ERROR, Severity.WARNING, Severity.NOTE
_MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\n"
_BUDGETS = _MONEY + "budgets: {%s}\n"
_EITHER = {"shared/money.yaml": _MONEY + "either_or: [[SD-100, SD-200]]\n"}
_SECOND = (
    "part: SD-200\nname: Second hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
    "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n%s"
)
_OTHER = {"projects/SD-200/part.yaml": _SECOND % ""}
_OTHER_MUST = {"projects/SD-200/part.yaml": _SECOND % "plan: {must: true}\n"}
_MUST = "plan: {must: true}\n"
_GO = (
    "decisions:\n"
    "  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n"
    "  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
    "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
)
_DROP = "  - {gate: quote, on: 2026-05-20, by: kim, say: drop, why: nobody asks for it}\n"
_STOP = "  - {gate: tooling, on: 2026-05-25, by: bob, say: drop, second: kim, why: nobody asks for it}\n"
_RELEASED = (
    "  - {gate: quote, on: 2026-05-05, by: kim, say: go, choose: Q1}\n"
    "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
)
_TOOLS = (
    "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-12}}\n"
)

BUDGETS_OVER = Rule(
    "F901", "The tooling budget reaches beyond today", WARNING,
    "Without a budget for this quarter or a later one no tool can be planned: the plan counts 0.",
    "write the coming quarters under `budgets` of shared/money.yaml",
    Example("", {"shared/money.yaml": _BUDGETS % "2025-Q4: 9000, 2026-Q1: 9000"}),
    Example("", {"shared/money.yaml": _BUDGETS % "2026-Q1: 9000, 2026-Q2: 9000"}),
)  # fmt: skip
BUDGET_GAP = Rule(
    "F902", "No quarter between two budgets is forgotten", WARNING,
    "A quarter that is not written counts as 0; if that is meant, a 0 says so.",
    "write the quarter under `budgets`, with 0 where nothing may be spent",
    Example("", {"shared/money.yaml": _BUDGETS % "2026-Q2: 9000, 2026-Q4: 9000"}),
    Example("", {"shared/money.yaml": _BUDGETS % "2026-Q2: 9000, 2026-Q3: 0, 2026-Q4: 9000"}),
)  # fmt: skip
EITHER_OR_UNKNOWN = Rule(
    "F903", "An either-or names parts on record", ERROR,
    "A number that no record has keeps nothing out.",
    "correct the number in `either_or` of shared/money.yaml",
    Example("", _EITHER), Example("", {**_EITHER, **_OTHER}),
)  # fmt: skip
MUST_BOTH = Rule(
    "F904", "Of an either-or one part at most is told to be in", ERROR,
    "Both are told to be released and only one of them may be, so there is no plan.",
    "take `must: true` from all but one of them",
    Example(_MUST, {**_EITHER, **_OTHER_MUST}), Example(_MUST, {**_EITHER, **_OTHER}),
)  # fmt: skip
MUST_DROPPED = Rule(
    "F905", "What is told to be in is not given up", ERROR,
    "The record tells the plan to release the tools of a part that was dropped.",
    "take `plan: must` out, or take the part up again",
    Example(_MUST + _GO + _DROP), Example(_MUST + _GO),
)  # fmt: skip
WINDOW_OVER = Rule(
    "F906", "The last quarter for a release is still to come", WARNING,
    "The window of the part has closed and its money is not released, so the plan leaves it out.",
    "move `not_after`, or take it out",
    Example("plan: {not_after: 2026-Q1}\n"), Example("plan: {not_after: 2026-Q2}\n"),
)  # fmt: skip
NOBODY_NEEDS = Rule(
    "F907", "A tool on order is needed by a part", WARNING,
    "Its part was dropped and no other part uses it, so what is still to be paid earns nothing.",
    "ask the toolmaker what stopping costs, or name the tool in `uses_tools` of a part that needs it",
    Example(_TOOLS + _GO + _RELEASED + _STOP),
    Example(_TOOLS + _GO + _RELEASED),
)  # fmt: skip

RULES = (
    BUDGETS_OVER, BUDGET_GAP, EITHER_OR_UNKNOWN, MUST_BOTH, MUST_DROPPED, WINDOW_OVER, NOBODY_NEEDS,
)  # fmt: skip
