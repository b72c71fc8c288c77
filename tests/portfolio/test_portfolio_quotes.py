"""Quotes on one footing, from records: the worked example, silence that never counts as zero, expiry, rates, volumes."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from pipeline.costing.money import round_money
from pipeline.costing.quote_terms import Scope
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.portfolio.quotes import NO_DEMAND, NO_VALIDITY, OneFooting, compute_one_footing, find_quote_turns

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\nrates:\n  - {money: EUR, on: %s, rate: 0.92, source: bank list}\nmoney_rate: 0.1\nholding_rate: 0.18\n"
FILES: dict[str, str | None] = {"shared/money.yaml": MONEY % "2026-05-18"}
FULL = "owns_tool: us, storage: true, drawings: true, releases_tool: true, hands_per_set: 2"
DEMAND = "demand: {per_year: [1600, 1600, 1600], price: 40 USD, cost: 19 USD, years: 5}\n"
A = (
    "  A: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: 38000}, pay: [{at: order, share: 0.5}, {at: delivery, share: 0.5}], "
    "piece: {800: 6.90}, weeks: 14, yield: 0.94, least_order: 800, life_shots: 100000, refurbish: {every: 40000, cost: 4500}, freight: 0.15, duty: 0, tool_duty: 0, secondary: 4.80, samples: 0, "
    + FULL
    + "}\n"
)
B = (
    "  B: {from: lab, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: EUR, tools: {die: 21500}, pay: [{at: order, share: 0.5}, {at: delivery, share: 0.5}], "
    "piece: {3000: 5.20}, weeks: 22, yield: 0.88, least_order: 3000, life_shots: 50000, refurbish: {every: 25000, cost: 3500}, freight: 0.62, duty: 0.06, tool_duty: 0.06, secondary: 4.80, samples: 2826.0869565217, "
    + FULL
    + "}\n"
)
C = (
    "  C: {from: third, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: 11500}, pay: [{at: order, share: 0.4}, {at: delivery, share: 0.6}], "
    "piece: {400: 10.40}, weeks: 9, yield: 0.90, least_order: 400, life_shots: 5000, refurbish: {every: 2500, cost: 2400}, freight: 0.15, duty: 0, tool_duty: 0, secondary: 4.80, samples: 0, "
    + FULL
    + "}\n"
)
SUPPLIERS = "suppliers: {foundry: {name: the foundry}, lab: {name: the laboratory, accredited: hardness}, third: {name: third}}\n"


@functools.cache
def demo() -> Portfolio:
    return build_portfolio(ROOT)


def compare(
    sample: Sample, quotes: str, demand: str = DEMAND, money: str | None = None, on: dt.date | None = None
) -> OneFooting:
    files = FILES | {"shared/suppliers.yaml": SUPPLIERS} | ({} if money is None else {"shared/money.yaml": money})
    root = sample(f"quotes:\n{quotes}{demand}", files)
    return compute_one_footing(build_portfolio(root, on).parts["SD-100"])


def find_lines(found: OneFooting, key: str) -> dict[str, Decimal]:
    row = found.find_row(key)
    assert row is not None
    return {line.name: round_money(line.low) for line in row.footing.lines}


def test_the_worked_example_from_records(sample: Sample) -> None:
    """worked.json, quotes (invented inputs): every line to the cent. Without an order size the carrying cost of stock is
    that of half a year's need, or of half the least order where that is more."""
    found = compare(sample, A + B + C)
    expected = {
        "A": {
            "tool": "38000.00",
            "run": "100855.35",
            "refurbishment": "0.00",
            "finance": "511.54",
            "delay": "1615.38",
            "landed_good": "12.6064",
        },
        "B": {
            "tool": "23566.80",
            "run": "95374.04",
            "refurbishment": "0.00",
            "finance": "418.42",
            "delay": "4200.00",
            "landed_good": "11.9216",
        },
        "C": {
            "tool": "11500.00",
            "run": "136446.15",
            "refurbishment": "2400.00",
            "finance": "79.62",
            "delay": "0.00",
            "landed_good": "17.0556",
        },
    }
    for key, wanted in expected.items():
        row = found.find_row(key)
        assert row is not None
        exact = {line.name: line.low for line in row.footing.lines}
        assert round_money(exact["tool"] + exact["duty on the tool"] + exact["samples"]) == Decimal(wanted["tool"])
        assert round_money(
            exact["pieces"] + exact["duty on pieces"] + exact["freight"] + exact["secondary operations"]
        ) == Decimal(wanted["run"])
        assert round_money(exact["refurbishment"]) == Decimal(wanted["refurbishment"])
        assert round_money(exact["finance of payments before delivery"]) == Decimal(wanted["finance"])
        assert round_money(exact["delay"]) == Decimal(wanted["delay"])
        assert round(row.footing.landed_good, 4) == Decimal(wanted["landed_good"])
    orders = {"A": 1703, "B": 3000, "C": 1778}
    for key, order in orders.items():
        row = found.find_row(key)
        assert row is not None
        stock = {line.name: line.low for line in row.footing.lines}["carrying cost of stock"]
        assert round_money(stock) == round_money(Decimal(order) / 2 * row.footing.landed_good * Decimal("0.18") * 5)
    assert [row.footing.quantities.bought for row in (found.find_row(k) for k in "ABC") if row] == [8511, 9091, 8889]


ORDERS = {"A": 800, "B": 3000, "C": 400}
TOTALS = {"A": ("4538.30", "145520.57", "18.1901"), "B": ("16094.21", "139653.48", "17.4567"),
          "C": ("3070.00", "153495.77", "19.1870")}  # fmt: skip


@pytest.mark.parametrize("where", ["quote", "demand"])
def test_an_order_size_gives_the_whole_worked_example(sample: Sample, where: str) -> None:
    """worked.json, quotes: with each maker's order in its quote all three totals are the worked ones, to the cent; with one
    order size in the demand every quote is reckoned at it."""
    quotes = {"A": A, "B": B, "C": C}
    if where == "demand":
        found = compare(sample, A + C, DEMAND.replace("price: 40", "order: 800, price: 40"))
        rows = [found.find_row(key) for key in "AC"]
        assert [row.footing.quantities.order for row in rows if row is not None] == [800, 800]
        assert rows[0] is not None and rows[0].footing.total == Decimal(TOTALS["A"][1])
        return
    sized = "".join(text.replace("yield:", f"order: {ORDERS[key]}, yield:") for key, text in quotes.items())
    found = compare(sample, sized)
    for key, (holding, total, per_good) in TOTALS.items():
        row = found.find_row(key)
        assert row is not None
        lines = {line.name: line.low for line in row.footing.lines}
        assert round_money(lines["carrying cost of stock"]) == Decimal(holding)
        assert row.footing.total == Decimal(total)
        assert round(row.footing.total / 8000, 4) == Decimal(per_good)
    assert [row.footing.name for row in found.comparison.rows] == ["B", "A", "C"]  # type: ignore[union-attr]


def test_the_page_says_how_much_is_ordered_at_a_time(sample: Sample) -> None:
    from pipeline.views.quotes import build_quote_comparison

    files = FILES | {"shared/suppliers.yaml": SUPPLIERS}
    sized = A.replace("yield:", "order: 800, yield:")
    for quotes, words in ((sized, "800"), (A, "1,703 (a year's need)")):
        file = build_portfolio(sample(f"quotes:\n{quotes}{DEMAND}", files)).parts["SD-100"]
        rows = [row for group in build_quote_comparison(file).groups for row in group.rows]
        assert next(row for row in rows if row.label == "ordered at a time").values == (words,)


def test_rounded_lines_and_the_rounding_line_add_up_to_the_total() -> None:
    for file in demo().parts.values():
        found = compute_one_footing(file)
        for row in () if found.comparison is None else found.comparison.rows:
            lines = sum((round_money(line.low) for line in row.footing.lines), Decimal(0))
            assert lines + row.footing.rounding == row.footing.low


@pytest.mark.parametrize(
    ("stated", "point"),
    [
        ("freight: 0.15, ", "freight"), ("yield: 0.94, ", "yield"), ("weeks: 14, ", "weeks to good pieces"), ("duty: 0, tool_duty: 0, ", "duty on pieces"),
        ("secondary: 4.80, ", "secondary operations"), ("samples: 0, ", "samples"), ("least_order: 800, ", "minimum order"), ("life_shots: 100000, ", "tool life"),
    ],
)  # fmt: skip
def test_a_line_that_is_left_out_never_wins(sample: Sample, stated: str, point: str) -> None:
    """Without the line the offer has no rank, says what is missing, and at its dearest is no cheaper than stated free."""
    assert stated in A
    full, short = compare(sample, A), compare(sample, A.replace(stated, ""))
    row, whole = short.find_row("A"), full.find_row("A")
    assert row is not None
    assert whole is not None
    assert whole.rank == 1
    assert row.rank is None
    assert point in row.footing.missing
    assert short.comparison is not None
    assert short.comparison.cheapest is None
    assert row.footing.high is None or row.footing.high >= row.footing.low > 0
    scope = {one.point: one.said[0] for one in short.scope}
    assert scope[point] is Scope.NOT_STATED


def test_not_wanted_is_neither_missing_nor_zero_by_silence(sample: Sample) -> None:
    found = compare(sample, A.replace("freight: 0.15, ", "not_wanted: [freight], "))
    row = found.find_row("A")
    assert row is not None
    assert row.rank == 1
    assert {one.point: one.said[0] for one in found.scope}["freight"] is Scope.NOT_WANTED


def test_a_tool_that_an_offer_leaves_out_is_priced_by_the_others(sample: Sample) -> None:
    tools = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}}\n  gauge: {kind: gauge, checks: [length], steps: {quoted: 2026-05-01}}\n"
    with_gauge = A.replace("tools: {die: 38000}", "tools: {die: 38000, gauge: 2000}")
    found = compare(sample, with_gauge + C, tools + DEMAND)
    tool = found.quotes["C"].tool
    assert (tool.scope, tool.low, tool.high) == (Scope.NOT_STATED, Decimal(13500), Decimal(13500))
    assert found.quotes["A"].tool.scope is Scope.STATED
    assert {one.point: one.said for one in found.scope}["tool gauge"] == (Scope.STATED, Scope.NOT_STATED)


def test_a_tool_of_another_maker_is_added_at_its_own_price(sample: Sample) -> None:
    tools = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}}\n  gauge: {kind: gauge, by: lab, checks: [length], price: 1500 USD, steps: {quoted: 2026-05-01}}\n"
    found = compare(sample, A + C, tools + DEMAND)
    assert found.quotes["A"].tool.low == Decimal(39500)
    assert found.quotes["C"].tool.low == Decimal(13000)


def test_terms_that_no_price_makes_good(sample: Sample) -> None:
    row = compare(sample, A.replace("drawings: true", "drawings: false").replace("storage: true, ", "")).find_row("A")
    assert row is not None
    assert row.rank is None
    assert row.footing.failed == ("storage: not stated", "drawings: refused")


def test_a_quote_without_validity_is_compared_and_named(sample: Sample) -> None:
    found = compare(sample, A.replace("valid_to: 2026-08-01, ", "") + C)
    row = found.find_row("A")
    assert row is not None
    assert row.rank is None
    assert NO_VALIDITY in row.obstacles
    assert found.comparison is not None
    assert found.comparison.cheapest == "C"


def test_an_expired_quote_has_no_rank_unless_it_was_ordered_on_in_time(sample: Sample) -> None:
    day = dt.date(2026, 8, 2)
    late = compare(sample, A, on=day).find_row("A")
    ordered = "tools:\n  die: {kind: die, forms: [length], price: 38000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-20}}\n"
    used = compare(sample, A, ordered + DEMAND, on=day).find_row("A")
    last = compare(sample, A, on=dt.date(2026, 8, 1)).find_row("A")
    assert late is not None
    assert used is not None
    assert last is not None
    assert late.obstacles == ("expired on 2026-08-01",)
    assert (used.rank, last.rank) == (1, 1)


def test_a_quote_on_an_old_revision_is_named_from_the_lineage() -> None:
    row = compute_one_footing(demo().parts["TW-101"]).find_row("Q1")
    assert row is not None
    assert row.rank is None
    assert any("revision D changed" in words for words in row.obstacles)
    other = compute_one_footing(demo().parts["TW-101"]).find_row("Q4")
    assert other is not None
    assert other.rank == 1


def test_currencies_never_mix_without_a_fresh_rate(sample: Sample) -> None:
    found = compare(sample, A + B, money=MONEY % "2025-12-01")
    assert set(found.unpriced) == {"B"}
    assert "182 days" in found.unpriced["B"]
    assert found.find_row("B") is None
    assert found.find_row("A") is not None


def test_without_demand_there_is_no_footing_but_a_scope(sample: Sample) -> None:
    found = compare(sample, A, "")
    assert found.comparison is None
    assert found.no_footing == NO_DEMAND
    assert found.scope
    assert compare(sample, A, "demand: {per_year: [0, 0, 0], price: 40 USD}\n").comparison is None


def test_crossing_volumes_and_what_turns_the_answer(sample: Sample) -> None:
    """Worked example (invented inputs): C is cheapest at low volume and B from a few thousand pieces on."""
    files = FILES | {"shared/suppliers.yaml": SUPPLIERS}
    turns = find_quote_turns(build_portfolio(sample(f"quotes:\n{A}{B}{C}{DEMAND}", files)).parts["SD-100"])
    assert [one.name for one in turns.by_volume][:2] == ["C", "B"]
    switch = next(one for one in turns.switches if (one.name, one.what) == ("B", "yield"))
    assert switch.winner == "A"
    assert Decimal("0.80") < switch.turns_at < Decimal("0.88")
    rate = next(one for one in turns.switches if one.what == "rate")
    assert (rate.name, rate.value) == ("B", Decimal("0.92"))


def test_present_value_is_below_the_payments_and_cash_is_in_order(sample: Sample) -> None:
    found = compare(sample, A)
    weeks = [line.week for line in found.cash["A"]]
    assert weeks == sorted(weeks)
    assert 0 < found.present["A"] < sum((line.amount for line in found.cash["A"]), Decimal(0))
    tool = [line for line in found.cash["A"] if line.what.startswith("tool")]
    assert [(line.week, line.amount) for line in tool] == [(0, Decimal(19000)), (14, Decimal(19000))]


def test_the_leading_quote_is_the_chosen_one_else_the_cheapest_that_stands() -> None:
    assert compute_one_footing(demo().parts["TW-101"]).leading == "Q1"
    assert compute_one_footing(demo().parts["TW-118"]).leading == "Q1"
    assert compute_one_footing(demo().parts["TW-220"]).leading is None
