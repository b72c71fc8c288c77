"""Findings about the tooling spend, at the edges that no example of the catalogue shows: days, quarters, who is tooled."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.gates.spend_rules import find_quarter_number
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\n"
SECOND = (
    "part: %s\nname: other hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
    "fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}\n"
)
PASSED = (
    "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
    "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
    "  - {gate: quote, on: 2026-05-05, by: kim, say: go, choose: Q1}\n"
)
RELEASE = "  - {release: tooling, on: 2026-05-10, by: kim, say: %s}\n"
DROP = "  - {gate: quote, on: 2026-05-20, by: kim, say: drop, why: nobody asks for it}\n"
TOOL = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD%s}\n"
QUOTED, ORDERED = ", steps: {quoted: 2026-05-01}", ", steps: {quoted: 2026-05-01, ordered: 2026-05-12}"
ACCEPTED = ", steps: {ordered: 2026-05-12, cutting: 2026-05-14, accepted: 2026-05-21}"


def find_messages(root: Path, *rules: str) -> list[tuple[str, str, str]]:
    """Return (rule, pointer, message) of every finding of these rules."""
    return [(f.rule, f.pointer, f.message) for f in check_workspace(root).findings if f.rule in rules]


# The day that is spoken of is the first of June 2026: the second quarter of that year.
@pytest.mark.parametrize(
    ("budgets", "told"),
    [
        ("2026-Q2: 9000", None),
        ("2025-Q4: 9000, 2026-Q1: 9000", ("F901", "the last budget is of 2026-Q1, and today is in 2026-Q2")),
        ("2025-Q4: 9000", ("F901", "the last budget is of 2025-Q4, and today is in 2026-Q2")),
        ("2025-Q1: 9000, 2026-Q2: 9000", None),  # what was forgotten lies behind
        ("2026-Q1: 9000, 2026-Q3: 9000", ("F902", "2026-Q2 has no budget and lies before 2026-Q3, which has one")),
        ("2026-Q2: 9000, 2026-Q3: 9000, 2026-Q4: 9000", None),
        ("2026-Q4: 9000", None),  # the first budget may lie ahead
        ("2026-Q4: 9000, 2027-Q3: 9000",
         ("F902", "2027-Q1, 2027-Q2 have no budget and lie before 2027-Q3, which has one")),
        ("", None),
    ],
)  # fmt: skip
def test_a_budget_that_ran_out_and_one_that_was_forgotten_are_told(
    budgets: str, told: tuple[str, str] | None, sample: Sample
) -> None:
    root = sample("", {"shared/money.yaml": MONEY + f"budgets: {{{budgets}}}\n"})
    expected = [] if told is None else [(told[0], "budgets", told[1])]
    assert find_messages(root, "F901", "F902") == expected


def test_quarters_count_on_by_one_over_the_year() -> None:
    names = ["2026-Q1", "2026-Q2", "2026-Q3", "2026-Q4", "2027-Q1"]
    assert [find_quarter_number(name) - find_quarter_number(names[0]) for name in names] == [0, 1, 2, 3, 4]


@pytest.mark.parametrize(
    ("today", "over"),
    [("2026-03-31", None), ("2026-04-01", "2026-Q2"), ("2026-12-31", "2026-Q4"), ("2027-01-01", "2027-Q1")],
)
def test_a_quarter_ends_with_its_third_month(today: str, over: str | None, sample: Sample) -> None:
    files = {
        "shared/money.yaml": MONEY + "budgets: {2026-Q1: 9000}\n",
        "shared/shop.yaml": f"name: Sample shop\nas_of: {today}\n",
    }
    told = [] if over is None else [("F901", "budgets", f"the last budget is of 2026-Q1, and today is in {over}")]
    assert find_messages(sample("", files), "F901", "F902") == told


@pytest.mark.parametrize(
    ("must", "told"),
    [
        ((), []),
        (("SD-100",), []),
        (("SD-100", "SD-300"), [("F904", "either_or[1]", "SD-100 and SD-300 are told to be in, and one of them may be")]),
    ],
)  # fmt: skip
def test_an_either_or_is_told_by_its_place(
    must: tuple[str, ...], told: list[tuple[str, str, str]], sample: Sample
) -> None:
    """The first pair names a part that is on no record; of the second, two may be told to be in."""
    plan = "plan: {must: true}\n"
    files = {"shared/money.yaml": MONEY + "either_or: [[SD-200, SD-999], [SD-100, SD-200, SD-300]]\n"}
    for number in ("SD-200", "SD-300"):
        files[f"projects/{number}/part.yaml"] = SECOND % number + (plan if number in must else "plan: {must: false}\n")
    found = find_messages(sample(plan if "SD-100" in must else "", files), "F903", "F904")
    assert found == [("F903", "either_or[0]", "SD-999 is on no record"), *told]


WINDOW = "the last quarter for the release was 2026-Q1, and today is in 2026-Q2"


@pytest.mark.parametrize(
    ("what", "last", "part", "told"),
    [
        ("nothing signed, nothing ordered", "2026-Q1", PASSED + TOOL % QUOTED, True),
        ("no tool was quoted yet", "2026-Q1", PASSED + TOOL % "", True),
        ("this very quarter", "2026-Q2", PASSED + TOOL % QUOTED, False),
        ("the money is released", "2026-Q1", PASSED + RELEASE % "go" + TOOL % QUOTED, False),
        ("the money is held", "2026-Q1", PASSED + RELEASE % "hold" + TOOL % QUOTED, True),
        ("ordered without a word", "2026-Q1", PASSED + TOOL % ORDERED, False),
        ("given up before anything was ordered", "2026-Q1", PASSED + DROP + TOOL % QUOTED, False),
        ("given up, though ordered", "2026-Q1", PASSED + DROP + TOOL % ORDERED, False),
    ],
)
def test_a_window_is_over_when_its_quarter_is_and_no_tool_was_released(
    what: str, last: str, part: str, told: bool, sample: Sample
) -> None:
    found = find_messages(sample(f"plan: {{not_after: {last}}}\n" + part), "F906")
    assert found == ([("F906", "plan.not_after", WINDOW)] if told else []), what


@pytest.mark.parametrize(
    ("what", "drop", "steps", "other", "told"),
    [
        ("dropped with its tool on order", DROP, ORDERED, "", True),
        ("not dropped", "", ORDERED, "", False),
        ("only quoted", DROP, QUOTED, "", False),
        ("never quoted", DROP, "", "", False),
        ("accepted and paid", DROP, ACCEPTED, "", False),
        ("another part uses it", DROP, ORDERED, "uses_tools: [SD-100/die]\n", False),
        ("another part uses another tool", DROP, ORDERED, "uses_tools: [SD-100/jig]\n", True),
        ("the part that used it was dropped too", DROP, ORDERED,
         "uses_tools: [SD-100/die]\ndecisions: [{gate: measure, on: 2026-05-20, by: bob, say: drop}]\n", True),
    ],
)  # fmt: skip
def test_a_tool_on_order_that_nobody_needs_is_told(
    what: str, drop: str, steps: str, other: str, told: bool, sample: Sample
) -> None:
    files = {"projects/SD-200/part.yaml": SECOND % "SD-200" + other}
    found = find_messages(sample(PASSED + drop + TOOL % steps, files), "F907")
    words = "die is ordered, SD-100 is dropped, and no part uses it"
    assert found == ([("F907", "tools.die", words)] if told else []), what
