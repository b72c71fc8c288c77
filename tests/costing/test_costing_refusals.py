"""Edges of costing: what is refused, and what comes out where something is left out, worked by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

import pytest
from costing.test_costing_ladder import INSERT, LOSS, MIX, NEW, OFF, SHARES, WELD, build_part
from costing.test_costing_quotes import PURCHASE, A, B, C

from pipeline.costing import factors, loop_inputs, quote_switches
from pipeline.costing.calibration import StageCase, compute_stage_ratios
from pipeline.costing.change_basis import ChangeBasis, FeatureErrors
from pipeline.costing.change_classes import build_class_effects, check_class_effects
from pipeline.costing.errors_left import ClosedPart, Prior, render_chance, update_prior
from pipeline.costing.estimate import Estimate, build_estimate, compute_chance_below
from pipeline.costing.ladder import compute_ladder
from pipeline.costing.quote_cash import build_cash
from pipeline.costing.quote_sides import build_side
from pipeline.costing.quote_switches import find_cheapest_by_volume
from pipeline.costing.quote_terms import Said, Scope, build_not_wanted, find_scope
from pipeline.costing.quotes import compute_footing
from pipeline.costing.ranges import NOTHING, build_range, mix_ranges
from pipeline.costing.working import build_count_line, build_share_line


def test_stages_that_always_cost_the_same_have_a_sure_ratio() -> None:
    cases = [StageCase("model", 100), StageCase("model", 100), StageCase("cut", 900), StageCase("cut", 900)]
    (row,) = compute_stage_ratios(cases, ["model", "cut"])
    assert (row.ratio, row.low, row.high) == pytest.approx((9.0, 9.0, 9.0))


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "0 %"), (0.0001, "under 1 %"), (0.0099, "under 1 %"), (0.01, "1 %"), (0.99, "99 %"), (0.991, "over 99 %"), (1.0, "100 %")],
)  # fmt: skip
def test_a_chance_is_never_said_to_be_surer_than_it_is(chance: float, words: str) -> None:
    assert render_chance(chance) == words


def test_parts_without_any_error_say_nothing_of_the_spread_between_parts() -> None:
    """By hand: five default parts of 0.25 errors and two closed ones of none: 1.25 / 7 errors a part."""
    found = update_prior(Prior(1, 4), [ClosedPart(0), ClosedPart(0)], worth=5)
    assert found.mean == pytest.approx(1.25 / 7)
    assert found.shape == 1


def test_a_known_number_is_below_itself_and_nothing_less() -> None:
    known = build_estimate(3.0)
    assert known.shapes == (1.0, 1.0)
    assert [compute_chance_below(known, value) for value in (2.999, 3.0, 3.001)] == [0.0, 1.0, 1.0]
    estimate = Estimate(0, 5, 10)
    assert [compute_chance_below(estimate, value) for value in (-1, 0, 5, 10, 11)] == [
        0.0,
        0.0,
        pytest.approx(0.5),
        1.0,
        1.0,
    ]


@pytest.mark.parametrize("gap", [0.002, 1e-4])
def test_two_rates_close_together_are_both_found(gap: float) -> None:
    """-100 (x - 1.1)(x - 1.1 - gap) = -100 x^2 + 100 (2.2 + gap) x - 110 (1.1 + gap), x = 1 + rate: no grid holds them."""
    flows = [-100.0, 100 * (2.2 + gap), -110 * (1.1 + gap)]
    assert factors.find_internal_rates(flows) == pytest.approx((0.1, 0.1 + gap), abs=1e-7)


def test_ways_of_making_that_cost_the_same_by_the_piece_have_no_break_even() -> None:
    assert factors.compute_break_even(2_000, 8.0, 15_000, 8.0) is None
    assert factors.compute_break_even(2_000, 8.0, 2_000, 2.5) is None, "the second is cheaper from the first piece on"


def test_features_that_drag_the_same_things_along_climb_the_same_ladder() -> None:
    """Two features that nothing but the whole-part records cover: one is reckoned, the other one takes its rungs."""
    shares = (("free", 1), ("loose", 3))
    features = tuple(FeatureErrors(key, MIX, Decimal(share)) for key, share in shares)
    free, loose = compute_ladder(ChangeBasis(build_part(), MIX, features, LOSS)).features
    assert (free.rungs, free.today) == (loose.rungs, loose.today)
    assert [(one.feature, one.share) for one in (free, loose)] == [
        ("free", Decimal("0.25")),
        ("loose", Decimal("0.75")),
    ]
    alone = compute_ladder(ChangeBasis(build_part(), MIX, features[1:], LOSS)).features[0]
    assert alone.rungs == loose.rungs


def test_a_share_of_each_shop_factor_goes_low_by_low_and_high_by_high() -> None:
    """By hand, of 38,000: 0.02 x 0.9, 0.05 x 1.2, 0.08 x 1.5 = 684, 2,280, 4,560."""
    line = build_share_line(
        "change", build_range("0.02", "0.05", "0.08"), Decimal(38000), build_range("0.9", "1.2", "1.5")
    )
    assert line.amount == build_range(684, 2280, 4560)
    assert line.working == "0.02 to 0.08, likely 0.05 x 38,000.00 x 0.9 to 1.5, likely 1.2 (our own changes)"
    assert build_share_line("change", build_range("0.02"), None).amount is None


def test_alternatives_without_weight_come_to_nothing() -> None:
    assert mix_ranges([]) == NOTHING
    assert mix_ranges([(Decimal(0), build_range(1, 2, 3))]) == NOTHING
    assert mix_ranges([(Decimal(0), build_range(9)), (Decimal(1), build_range(1, 2, 3))]) == build_range(1, 2, 3)


# -- quotes -----------------------------------------------------------------------------------------------------------


def test_a_tool_whose_payments_are_not_stated_is_paid_with_the_pieces_at_best_and_with_the_order_at_worst() -> None:
    """By hand: 38,000 out for 14 weeks at 10 % a year = 38,000 x 0.10 x 14 / 52 = 1,023.08."""
    silent = replace(A, milestones=())
    assert find_scope(silent, "milestones") is Scope.NOT_STATED
    footing = compute_footing(silent, PURCHASE, Decimal(9))
    finance = next(line for line in footing.lines if line.name == "finance of payments before delivery")
    assert finance.low == 0
    assert finance.high == pytest.approx(Decimal("1023.0769"), abs=Decimal("0.001"))
    cash = build_cash(silent, PURCHASE, Decimal(9))
    assert [(line.week, line.amount) for line in cash if line.what == "tool"] == [(14, 38000)]


def test_a_minimum_order_that_is_not_stated_buys_at_the_best_step_at_best_and_at_the_worst_at_worst() -> None:
    silent = replace(A, minimum_order=Said(Scope.NOT_STATED, Decimal(100), Decimal(1000)))
    assert (build_side(silent, PURCHASE).price_least, build_side(silent, PURCHASE, dear=True).price_least) == (
        1000,
        100,
    )


@pytest.mark.parametrize(("week", "prepaid"), [(0, "7.0"), (10, "2.0"), (14, "0.0"), (20, "0.0")])
def test_what_is_paid_with_the_pieces_or_after_them_is_not_paid_early(week: int, prepaid: str) -> None:
    """By hand, half of the price, 14 weeks: 0.5 x 14, 0.5 x 4, and nothing from the fourteenth week on."""
    steps = (replace(A.milestones[0], week=Decimal(week)), A.milestones[1])
    assert build_side(replace(A, milestones=steps), PURCHASE).prepaid == Decimal(prepaid)


def test_the_tools_are_a_share_of_a_whole_total_only() -> None:
    """The worked example: 38,000 of 145,520.57 for A; 21,500 x 0.92 with a duty of 6 % (20,966.80) of 139,653.48 for B."""
    shares = [compute_footing(quote, PURCHASE, Decimal(9)).tool_share for quote in (A, B)]
    assert shares == [
        pytest.approx(Decimal("0.261131"), abs=Decimal("1e-6")),
        pytest.approx(Decimal("0.150135"), abs=Decimal("1e-6")),
    ]
    assert compute_footing(replace(A, milestones=()), PURCHASE, Decimal(9)).tool_share is None


def test_a_tool_without_an_end_jumps_nowhere() -> None:
    """Neither life nor refurbishment is wanted of it: the cheapest changes at crossings of straight lines alone."""
    endless = [
        replace(one, tool_life=build_not_wanted(), refurbish_every=build_not_wanted(), refurbishment=build_not_wanted())
        for one in (A, C)
    ]
    found = find_cheapest_by_volume(endless, PURCHASE, 1, 20_000)
    assert [row.name for row in found] == ["C", "A"]
    turn = found[1].from_good
    for good, name in ((turn - 3, "C"), (turn + 3, "A")):
        bought = replace(PURCHASE, good_by_year=(good // 5,) * 4 + (good - 4 * (good // 5),))
        totals = {one.name: compute_footing(one, bought, Decimal(9)).low for one in endless}
        assert min(totals, key=lambda key: totals[key]) == name


class _Scan:
    """Stands for the totals of quotes: volume -> the cheapest."""

    def __init__(self, cheapest: dict[int, str]) -> None:
        self.find_cheapest = cheapest.__getitem__


@pytest.mark.parametrize(
    ("cheapest", "kept"),
    [
        ({1: "A", 10: "B", 12: "A", 13: "B", 40: "A"}, [1, 13, 40]),  # to and fro within three pieces is one crossing
        ({1: "A", 10: "B", 13: "A", 16: "B"}, [1, 10, 13, 16]),  # three pieces apart are two
        ({1: "A", 10: "B", 12: "C"}, [1, 10, 12]),  # on to a third is no waver
        ({1: "A", 2: "B"}, [1, 2]),
    ],
)
def test_whole_pieces_that_waver_about_a_crossing_give_one(cheapest: dict[int, str], kept: list[int]) -> None:
    assert quote_switches._merge_waver(list(cheapest), _Scan(cheapest)) == kept  # type: ignore[arg-type]


LIGHT_TO_HEAVY = build_class_effects("change to die", Decimal(38000), list(SHARES.values()), inserts=True)
REFUSED: list[tuple[str, Callable[[], object], str]] = [
    ("classes out of order", lambda: check_class_effects(LIGHT_TO_HEAVY[::-1], "die"), "out of order; list them light to heavy"),
    ("a class twice", lambda: build_class_effects("die", None, [SHARES[WELD], SHARES[WELD], SHARES[NEW]], inserts=True), "states change class weld 2 times"),
    ("no new tool", lambda: build_class_effects("die", None, [SHARES[OFF], SHARES[INSERT]], inserts=True), "states no new-tool"),
    ("a curve from high to low", lambda: loop_inputs.compute_curve(loop_inputs.LoopInput("weeks", "weeks", 2.0, 0.0, math.inf, 1.0, 1.0), 6, 6), "weeks: low 6 is not below high 6"),
    ("bounds out of order", lambda: Said(Scope.NOT_STATED, Decimal(2), Decimal(1)), "the bounds 2 to 1 are out of order"),
    ("stated without a value", lambda: Said(Scope.STATED), "what a quote states needs one value"),
    ("stated with two values", lambda: Said(Scope.STATED, Decimal(1), Decimal(2)), "what a quote states needs one value"),
    ("no point of a quote", lambda: find_scope(A, "colour"), '"colour" is no point of a quote; the points are tool'),
    ("a price below zero", lambda: build_share_line("change", build_range(1), Decimal(-1)), 'the price behind "change" is -1'),
    ("pieces at a price below zero", lambda: build_count_line("pieces", 1, "pieces", -1), "write a price from 0 up"),
    ("a lost share above one", lambda: build_count_line("pieces", 1, "pieces", 1, Decimal("1.1")), "write a share from 0 to 1"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_what_cannot_be_is_refused_in_words(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words.replace("(", ".")):
        call()
