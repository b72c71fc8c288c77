"""Findings about money, with figures worked by hand and each limit from both sides."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\nrate_limit_days: 60\nrates:\n%s"
EUR = "  - {money: EUR, on: %s, rate: 1.1, source: the bank}\n"
QUOTE = (
    "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: %s, tools: {die: 9000}, "
    "piece: {500: 8, 1000: 6}, duty: 0.1, freight: 0.5, secondary: 0.3, yield: 0.9}\n"
)
DEMAND = "demand: {per_year: [100, 200, 300], price: %s%s}\n"
TODAY = "2026-06-01"


def find_messages(root: Path, rule: str) -> list[tuple[str, str]]:
    """Return (pointer, message) of every finding of one rule."""
    checked = check_workspace(root)
    assert checked.workspace is not None and not checked.workspace.broken
    assert not [f for f in checked.findings if f.location.path == "shared/money.yaml"], "the catalogue is read"
    return [(f.pointer, f.message) for f in checked.findings if f.rule == rule]


def write_rates(*days: str) -> dict[str, str | None]:
    """Return shared/money.yaml with a rate of 1.1 USD for a EUR of each day."""
    return {"shared/money.yaml": MONEY % "".join(EUR % day for day in days) if days else MONEY % "  []\n"}


# By hand, at the cheapest step of the scale: (6 x 1.1 + 0.5 + 0.3) / 0.9 = 8.2222 USD; of 6 EUR at 1.1 it is
# (6.6 x 1.1 + 0.8) / 0.9 = 8.9556 USD. Freight and secondary operations are in the money of the workspace.
LANDED = "a good piece costs at least %s USD (%s) and is sold for %s"


@pytest.mark.parametrize(
    ("money", "price", "cost", "days", "words"),
    [
        ("USD", "8.22 USD", "", (), LANDED % ("8.22", "quote Q1", "8.22")),
        ("USD", "8.23 USD", "", (), None),
        ("EUR", "8.95 USD", "", (TODAY,), LANDED % ("8.96", "quote Q1", "8.95")),
        ("EUR", "8.96 USD", "", (TODAY,), None),
        ("USD", "7.48 EUR", "", (TODAY,), None),  # 8.228 USD
        ("USD", "7.47 EUR", "", (TODAY,), LANDED % ("8.22", "quote Q1", "8.22")),  # 8.217 USD
        # sixty days are on the limit; after that the quote has no figure, and the stated cost stands in for it
        ("EUR", "8.95 USD", ", cost: 2 USD", ("2026-04-02",), LANDED % ("8.96", "quote Q1", "8.95")),
        ("EUR", "8.95 USD", ", cost: 2 USD", ("2026-04-01",), None),
        ("EUR", "8.95 USD", ", cost: 8.95 USD", ("2026-04-01",), LANDED % ("8.95", "demand.cost", "8.95")),
        ("EUR", "8.95 USD", "", ("2026-04-01",), None),  # nothing is known of the cost
        ("USD", "1.00 EUR", "", ("2026-04-01",), None),  # nothing is known of the price
        ("USD", "8.23 USD", ", cost: 99 USD", (), None),  # a quote goes before a stated cost
    ],
)
def test_a_piece_that_is_sold_for_less_than_it_costs_is_told(
    money: str, price: str, cost: str, days: tuple[str, ...], words: str | None, sample: Sample
) -> None:
    root = sample(QUOTE % money + DEMAND % (price, cost), write_rates(*days))
    assert find_messages(root, "C807") == ([] if words is None else [("demand.price", words)])


@pytest.mark.parametrize(
    ("chosen", "words"), [("", None), ("Q1", None), ("Q2", LANDED % ("20.00", "quote Q2", "9.00"))]
)
def test_the_chosen_quote_decides_what_a_piece_costs_else_the_cheapest(
    chosen: str, words: str | None, sample: Sample
) -> None:
    more = "  Q2: {from: lab, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, piece: {500: 20}}\n"
    decided = f"decisions:\n  - {{gate: quote, on: 2026-05-05, by: bob, say: go, choose: {chosen}}}\n" if chosen else ""
    root = sample(QUOTE % "USD" + more + DEMAND % ("9.00 USD", "") + decided)
    assert find_messages(root, "C807") == ([] if words is None else [("demand.price", words)])


@pytest.mark.parametrize(
    ("day", "age"), [("2026-04-02", None), ("2026-04-01", 61), ("2026-06-02", None)]
)  # a rate of tomorrow is no rate of today: a missing rate is another finding
def test_a_rate_counts_for_as_many_days_as_are_allowed(day: str, age: int | None, sample: Sample) -> None:
    found = find_messages(sample(QUOTE % "EUR", write_rates(day)), "C801")
    words = f"the last rate of EUR is of {day}, {age} days old; 60 are allowed"
    assert found == ([] if age is None else [("quotes.Q1.money", words)])


def test_of_several_rates_the_last_one_by_today_is_looked_at(sample: Sample) -> None:
    assert find_messages(sample(QUOTE % "EUR", write_rates("2026-01-01", TODAY, "2026-07-01")), "C801") == []
    assert find_messages(sample(QUOTE % "EUR", write_rates("2026-01-01", "2026-07-01")), "C801") == [
        ("quotes.Q1.money", "the last rate of EUR is of 2026-01-01, 151 days old; 60 are allowed")
    ]


@pytest.mark.parametrize(
    ("part", "pointers"),
    [
        (QUOTE % "EUR", ["quotes.Q1.money"]),
        ((QUOTE % "EUR").replace("2026-08-01", "2026-06-01"), ["quotes.Q1.money"]),  # holds to this very day
        ((QUOTE % "EUR").replace("2026-08-01", "2026-05-31"), []),
        ((QUOTE % "EUR").replace("valid_to: 2026-08-01, ", ""), ["quotes.Q1.money"]),
        (
            "tools: {die: {kind: die, forms: [length], price: 9 EUR, steps: {ordered: 2026-05-02}}}\n",
            ["tools.die.price"],
        ),
        ("tools: {die: {kind: die, forms: [length], price: 9 EUR, steps: {accepted: 2026-05-02}}}\n", []),
        ("tools: {die: {kind: die, forms: [length]}}\n", []),
        (DEMAND % ("9 EUR", ", cost: 2 USD"), ["demand.price"]),
        (DEMAND % ("9 USD", ", cost: 2 EUR"), ["demand.cost"]),
    ],
)
def test_only_money_that_a_sum_of_today_needs_must_have_a_fresh_rate(
    part: str, pointers: list[str], sample: Sample
) -> None:
    found = find_messages(sample("quotes: {}\n" + part + "decisions: []\n", write_rates("2026-01-01")), "C801")
    assert [pointer for pointer, _ in found] == pointers


@pytest.mark.parametrize(
    ("order", "least", "told"), [(99, 100, True), (100, 100, False), (1, None, False), (None, 100, False)]
)
def test_an_order_smaller_than_the_maker_takes_is_told(
    order: int | None, least: int | None, told: bool, sample: Sample
) -> None:
    stated = "".join(f", {name}: {value}" for name, value in (("order", order), ("least_order", least)) if value)
    found = find_messages(sample((QUOTE % "USD").replace("}\n", stated + "}\n")), "C809")
    assert found == ([("quotes.Q1.order", "99 pieces at a time; foundry takes no order under 100")] if told else [])


@pytest.mark.parametrize(
    ("scale", "told"),
    [
        ("500: 4, 1000: 4", []),
        ("500: 4, 1000: 4.01", [("quotes.Q1.piece.1000", "1000 pieces cost 4.01 each, 500 only 4")]),
        ("1000: 4.01, 500: 4", [("quotes.Q1.piece.1000", "1000 pieces cost 4.01 each, 500 only 4")]),
    ],
)
def test_a_price_that_rises_with_the_quantity_is_told(scale: str, told: list[tuple[str, str]], sample: Sample) -> None:
    assert find_messages(sample((QUOTE % "USD").replace("500: 8, 1000: 6", scale)), "C806") == told
