"""What records say wrongly about money: each gives one finding, with its place, and nothing raises."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.portfolio.case import build_part_case
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.errors import compute_part_errors
from pipeline.portfolio.loop import compute_loop_advice
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.portfolio.quotes import compute_one_footing

Sample = Callable[..., Path]
QUOTE = "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: %s, tools: {die: %s}, piece: {500: %s}, weeks: 12, yield: %s, freight: 0.1, duty: %s, owns_tool: us%s}\n"
GOOD = ("USD", "9000", "4.20", "0.95", "0", "")
MONEY = "currency: USD\nhourly: {engineer: 75}\nrates:\n"


def put(**changed: str) -> str:
    names = ("money", "die", "piece", "yield_", "duty", "more")
    return QUOTE % tuple(changed.get(name, value) for name, value in zip(names, GOOD, strict=True))


@pytest.mark.parametrize(
    ("part", "files", "rule", "pointer"),
    [
        ("demand: {per_year: [1, 2, 3], price: -4 USD}\n", {}, "M107", "demand.price"),
        (put(die="-9000"), {}, "M107", "quotes.Q1.tools.die"),
        (put(piece="-1"), {}, "M107", "quotes.Q1.piece"),
        (put(yield_="1.2"), {}, "M107", "quotes.Q1.yield"),
        (put(yield_="0"), {}, "M107", "quotes.Q1.yield"),
        (put(duty="-0.1"), {}, "M107", "quotes.Q1.duty"),
        (put(duty="1.5"), {}, "M107", "quotes.Q1.duty"),
        (put(more=", life_shots: 0"), {}, "M107", "quotes.Q1.life_shots"),
        (put(more=", pay: [{at: order, share: 0.5}, {at: delivery, share: 0.4}]"), {}, "M110", "quotes.Q1"),
        (put(more=", pay: [{at: order, share: 1.4}, {at: delivery, share: -0.4}]"), {}, "M107", "quotes.Q1.pay[0]"),
        ("demand: {per_year: [300, 200, 100], price: 4 USD}\n", {}, "M110", "demand.per_year"),
        ("demand: {per_year: [-1, 2, 3], price: 4 USD}\n", {}, "M107", "demand.per_year"),
        ("demand: {per_year: [1, 2, 3], price: 40 USD, years: 0}\n", {}, "M107", "demand.years"),
        ("demand: {per_year: [1, 2, 3], price: 40 USD, takes_from: {SD-100: 1.2}}\n", {}, "M107", "demand.takes_from"),
        ("demand: {per_year: [0, 0, 0], price: 40 USD}\n", {}, "C804", "demand.per_year"),
        (put(money="EUR"), {"shared/money.yaml": MONEY + "  - {money: EUR, on: 2026-01-31, rate: 1.08, source: list}\n"}, "C801", "quotes.Q1.money"),
        (put().replace("valid_to: 2026-08-01, ", ""), {}, "C803", "quotes.Q1"),
        ("", {"shared/money.yaml": MONEY + 2 * "  - {money: EUR, on: 2026-05-01, rate: 1.08, source: list}\n"}, "C802", "rates[1]"),
        ("", {"shared/money.yaml": MONEY + "  - {money: EUR, on: 2026-05-01, rate: -1, source: list}\n"}, "M107", "rates[0].rate"),
        ("", {"shared/money.yaml": MONEY.replace("rates:\n", "beliefs: {shown_share: 1.5}\n")}, "M107", "beliefs.shown_share"),
        ("", {"shared/processes.yaml": "proofs: {size: d}\nneeds: {size: size}\nprocesses:\n  print: {name: p, proves: [size], detects: {fit: 1.3}}\n"}, "M107", "processes.print.detects.fit"),
    ],
)  # fmt: skip
def test_bad_input_gives_a_finding_with_its_place(
    sample: Sample, part: str, files: dict[str, str | None], rule: str, pointer: str
) -> None:
    findings = check_workspace(sample(part, files)).findings
    found = [one for one in findings if one.rule == rule and one.pointer.startswith(pointer)]
    assert len(found) == 1, [f"{f.rule} {f.location} {f.pointer} {f.message}" for f in findings]
    assert found[0].location.line > 1 or pointer.startswith(("proofs", "processes", "beliefs"))
    assert found[0].fix


def test_the_age_limit_is_the_shops_own_and_its_last_day_counts(sample: Sample) -> None:
    """120 days before 2026-06-01 is 2026-02-01."""
    rate = "  - {money: EUR, on: %s, rate: 1.08, source: list}\n"
    for day, wanted in (("2026-02-01", []), ("2026-01-31", ["C801"])):
        findings = check_workspace(sample(put(money="EUR"), {"shared/money.yaml": MONEY + rate % day})).findings
        assert [one.rule for one in findings] == wanted


def test_a_quote_that_has_run_out_needs_no_fresh_rate(sample: Sample) -> None:
    part = put(money="EUR").replace("valid_to: 2026-08-01", "valid_to: 2026-05-30")
    rate = "  - {money: EUR, on: 2025-05-01, rate: 1.08, source: list}\n"
    assert [one.rule for one in check_workspace(sample(part, {"shared/money.yaml": MONEY + rate})).findings] == []


def test_nothing_that_a_record_says_of_money_raises(sample: Sample) -> None:
    files: dict[str, str | None] = {
        "shared/money.yaml": MONEY + 2 * "  - {money: EUR, on: 2024-05-01, rate: 1.08, source: list}\n"
    }
    parts = (
        put(money="EUR") + "demand: {per_year: [0, 0, 0], price: 4 EUR, cost: 9 EUR}\n",
        put(piece="0.0001") + "demand: {per_year: [1, 1, 1], price: 0 USD}\n",
        "quotes: {}\ntools: {}\ndemand: {per_year: [0, 0, 1], price: 4 USD, cost: 5 USD, years: 30, decay: 1}\n",
        "prototypes: {}\nfit_checks: {}\nquotes: {}\ndecisions: []\nrevisions: {}\n",
    )
    for part in parts:
        file = build_portfolio(sample(part, files)).parts["SD-100"]
        compute_part_errors(file)
        compute_loop_advice(file)
        compute_one_footing(file)
        build_part_case(file)
