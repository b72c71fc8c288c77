"""Another loop, from records: its price, what it can see, what else would buy more, and the laws that hold for all parts."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.costing.errors_left import FailureMode
from pipeline.portfolio.loop import compute_loop_advice, find_no_advice, find_usual_process
from pipeline.portfolio.portfolio import Portfolio, build_portfolio

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]


@functools.cache
def demo() -> Portfolio:
    return build_portfolio(ROOT)


def test_the_price_of_a_loop_is_sample_trials_hire_and_delay() -> None:
    """TW-101: print 380, six trials of 4 h at 75, hire 300, two weeks at 800 x 42 x 0.5 / 52 each."""
    advice = compute_loop_advice(demo().parts["TW-101"])
    assert advice is not None
    assert [cost for _, cost in advice.usual.parts] == [380, 6 * 4 * 75, 300]
    assert advice.usual.loop.weeks == 2.0
    assert advice.usual.loop.week_cost == pytest.approx(323.08)
    assert advice.result.price == pytest.approx(2480 + 2 * 323.08)


def test_a_loop_before_a_hold_call_pays_on_the_rim() -> None:
    advice = compute_loop_advice(demo().parts["TW-101"])
    assert advice is not None
    assert advice.pays
    assert advice.result.longest_weeks == pytest.approx((advice.result.net + 2 * 323.08) / 323.08)
    assert advice.series.planned == 1


def test_no_number_of_prints_proves_the_plating() -> None:
    advice = compute_loop_advice(demo().parts["TW-101"])
    assert advice is not None
    by_mode = {gain.mode: gain for gain in advice.result.modes}
    assert by_mode[FailureMode.MATERIAL_PROCESS].found == 0
    assert advice.series.calls_for_more[FailureMode.MATERIAL_PROCESS] is None
    plated = next(one for one in advice.ranked if one.name.startswith("plated sample"))
    assert {gain.mode: gain for gain in plated.modes}[FailureMode.MATERIAL_PROCESS].found > 0


def test_laws_hold_for_every_option_of_every_part() -> None:
    for file in demo().parts.values():
        advice = compute_loop_advice(file)
        if advice is None:
            assert find_no_advice(file)
            continue
        assert [one.net for one in advice.ranked] == sorted((one.net for one in advice.ranked), reverse=True)
        for one in advice.ranked:
            assert one.net + one.price <= advice.exposure + 1e-9  # never more than perfect information
            assert 0 <= one.chance_pays <= 1
            if not any(gain.found for gain in one.modes):
                assert one.net == -one.price


def test_break_even_inputs_turn_the_answer() -> None:
    for file in demo().parts.values():
        advice = compute_loop_advice(file)
        for row in () if advice is None else advice.inputs:
            if row.turns_at is not None:
                assert row.compute_net(row.turns_at) == pytest.approx(0, abs=1e-6)


def test_tests_come_with_the_sample_they_need_and_only_where_they_belong() -> None:
    spring = compute_loop_advice(demo().parts["TW-131"])
    assert spring is not None
    names = [one.loop.name for one in spring.options]
    assert "hardness test on a sample in the true steel, hardened and tempered" in names
    assert not [name for name in names if "photometric" in name or "burning" in name]
    hardness = next(one for one in spring.options if one.loop.name.startswith("hardness"))
    assert [cost for _, cost in hardness.parts] == [180, 480]
    assert hardness.loop.powers[FailureMode.MATERIAL_PROCESS] == pytest.approx(1 - 0.4 * 0.3)


def test_a_good_sample_in_hand_is_offered_where_trials_are_missing() -> None:
    advice = compute_loop_advice(demo().parts["TW-112"])
    assert advice is not None
    rest = next(one for one in advice.options if one.loop.name.startswith("P1 in hand"))
    assert rest.loop.powers[FailureMode.FIT] == pytest.approx(0.8 * 2 / 3)


def test_the_usual_process_is_what_the_family_builds_most_often() -> None:
    assert find_usual_process(demo().parts["TW-101"]) == "resin-print"
    assert find_usual_process(demo().parts["TW-134"]) == "machined-sample"


def test_released_and_dropped_parts_get_no_advice() -> None:
    assert "released" in find_no_advice(demo().parts["TW-104"])
    assert "dropped" in find_no_advice(demo().parts["TW-198"])
    assert compute_loop_advice(demo().parts["TW-104"]) is None


def test_a_family_without_usual_errors_says_what_to_write(sample: Sample) -> None:
    file = build_portfolio(sample()).parts["SD-100"]
    assert "shared/families.yaml" in find_no_advice(file)


def test_late_is_after_today() -> None:
    for file in demo().parts.values():
        advice = compute_loop_advice(file)
        if advice is not None and advice.now.stage is not None:
            assert advice.late.stage is not None
            assert advice.late.stage > advice.now.stage
