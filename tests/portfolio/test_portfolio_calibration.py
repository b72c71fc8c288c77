"""Predicted against actual over the workspace: which changes count, at which rate, and the shop's factors."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.costing.calibration import Belief, compute_shop_factor
from pipeline.costing.calibration import ChangeCase as Case
from pipeline.portfolio.calibration import Calibration, compute_calibration
from pipeline.portfolio.portfolio import build_portfolio

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
CHANGES = """\
changes:
  C1: {found_at: tool cut, on: 2026-05-20, by: ann, what: short, mode: dimension, tool: die, class: weld, predicted: 1000 USD, actual: 1500 USD}
  C2: {found_at: tool cut, on: 2026-05-21, by: ann, what: long, mode: dimension, tool: die, class: weld, predicted: 1000 EUR, actual: 1080 USD}
  C3: {found_at: fit check, on: 2026-02-06, by: ann, what: fouled, mode: fit, predicted: 200 USD, actual: 100 USD}
  C4: {found_at: tool cut, on: 2026-05-22, by: ann, what: open, mode: fit, tool: die, class: weld, predicted: 700 USD}
  C5: {found_at: tool cut, on: 2025-01-22, by: ann, what: old rate, mode: fit, tool: die, class: weld, predicted: 700 EUR, actual: 700 USD}
  C6: {found_at: tool cut, on: 2026-05-22, by: ann, what: free, mode: fit, tool: die, class: weld, predicted: 0 USD, actual: 10 USD}
"""
MONEY = "currency: USD\nhourly: {engineer: 75}\nrates:\n  - {money: EUR, on: 2026-05-18, rate: 1.08, source: bank list}\n  - {money: EUR, on: 2026-05-28, rate: 2.00, source: bank list}\n"


@functools.cache
def demo() -> Calibration:
    return compute_calibration(build_portfolio(ROOT).parts["TW-101"].shop)


def compute(sample: Sample) -> Calibration:
    root = sample(CHANGES, {"shared/money.yaml": MONEY})
    return compute_calibration(build_portfolio(root).parts["SD-100"].shop)


def test_money_is_taken_at_the_rate_of_the_day_of_the_change(sample: Sample) -> None:
    one = next(change for change in compute(sample).changes if change.key == "C2")
    assert one.predicted == pytest.approx(1080)  # 1.08 of the week before, not 2.00 of the week after
    assert one.left_out == ""


def test_what_is_left_out_says_why(sample: Sample) -> None:
    found = {change.key: change.left_out for change in compute(sample).changes if change.left_out}
    assert found == {
        "C4": "no actual cost yet",
        "C5": "no rate of EUR for 2025-01-22",
        "C6": "predicted cost of 0 gives no ratio",
    }
    assert compute(sample).counted == 3


def test_factors_go_by_tool_kind_and_class_and_are_shrunk(sample: Sample) -> None:
    found = compute(sample)
    kinds = [(one.tool_kind, one.change_class, one.cases) for one in found.factors]
    assert kinds == [("die", "weld", 2), ("no tool", "model and samples", 1)]
    weld = found.factors[0]
    assert weld.raw == pytest.approx(math.sqrt(1.5 * 1.0))
    assert 1 < weld.factor < weld.raw
    assert weld.low < weld.factor < weld.high < weld.next_high
    cases = [
        Case("die", "weld", 1000, 1500),
        Case("die", "weld", 1080, 1080),
        Case("no tool", "model and samples", 200, 100),
    ]
    assert weld == compute_shop_factor(cases, Belief(0.3, 0.4, 6), "die", "weld", 0.9)


def test_steps_from_stage_to_stage_stand_beside_the_folk_rule(sample: Sample) -> None:
    (step,) = compute(sample).ratios
    assert (step.stage, step.next_stage, step.folk) == ("fit check", "tool cut", 1000.0)
    assert step.ratio == pytest.approx((1500 * 1080 * 700 * 10) ** 0.25 / 100)
    assert step.low is None  # one case at the fit check


def test_few_cases_are_called_few(sample: Sample) -> None:
    assert compute(sample).is_few
    assert not demo().is_few
    assert demo().counted == 12


def test_the_demo_knows_the_kind_of_every_tool_that_was_changed() -> None:
    assert {one.tool_kind for one in demo().factors} == {
        "cutting-die", "die-cast-die", "form-tool", "injection-mould", "no tool", "paint-mask",
    }  # fmt: skip
