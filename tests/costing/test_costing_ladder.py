"""The ladder over features, classes, stages and today."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.costing.change import build_change
from pipeline.costing.change_basis import ChangeBasis, FeatureErrors, StatedWeeks
from pipeline.costing.change_classes import ChangeClass, ClassPrice, build_mix, narrow_mix
from pipeline.costing.change_cost import compute_figure
from pipeline.costing.delay import Delay
from pipeline.costing.impact import compute_impact
from pipeline.costing.ladder import compute_ladder
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import Range, build_range
from pipeline.costing.redo import RedoGraph, RedoItem, RedoKind, build_redo_graph
from pipeline.costing.stages import Stage
from pipeline.costing.tool_redo import ToolFacts, build_all_tool_items
from pipeline.costing.working import build_amount_line, build_hours_line

OFF, WELD, INSERT, SET, NEW = ChangeClass
SHARES = {
    OFF: ClassPrice(OFF, build_range(1, 2, 3), share=build_range("0.02", "0.05", "0.08")),
    WELD: ClassPrice(WELD, build_range(2, 3, 5), share=build_range("0.08", "0.14", "0.20")),
    INSERT: ClassPrice(INSERT, build_range(4, 6, 8), share=build_range("0.15", "0.25", "0.35")),
    SET: ClassPrice(SET, build_range(8, 10, 12), share=build_range("0.40", "0.50", "0.65")),
    NEW: ClassPrice(NEW, build_range(10, 14, 20), share=build_range(1), redesign_in_price=True),
}
MIX = build_mix({OFF: 0.5, WELD: 0.3, INSERT: 0.1, NEW: 0.1})
LOSS = Delay(build_range(500, 800, 1100), Decimal(42), Decimal("0.5"))


def graph_of(*items: RedoItem) -> RedoGraph:
    graph = build_redo_graph(items)
    assert not isinstance(graph, Cycle)
    return graph


def build_part(*, die_price: Decimal | None = Decimal(38000), inserts: bool = True, cut: bool = False) -> RedoGraph:
    """A die that forms rim and boss, a mask that follows it, a badge cavity of its own, and the records behind them."""
    hours = (build_hours_line("work", 10, 75),)
    week = build_range("0.5", 1, 2)
    records = [
        RedoItem("M", RedoKind.MEASUREMENT, "measurement", Stage.MEASURE, hours, week, exists=True),
        RedoItem("C", RedoKind.REVISION, "revision C", Stage.MODEL, hours, week, after=("M",), exists=True),
        RedoItem(
            "F",
            RedoKind.FIT_CHECK,
            "fit check",
            Stage.FIT_CHECK,
            hours,
            week,
            ("C",),
            covers=frozenset({"rim"}),
            exists=True,
        ),
    ]
    die = ToolFacts(
        "die",
        "die",
        die_price,
        class_prices=tuple(SHARES.values()),
        inserts=inserts,
        forms=frozenset({"rim", "boss"}),
        redesign=(build_amount_line("redesign of die", 1800),),
        redesign_weeks=build_range(1),
        after=("C",),
        is_ordered=True,
        is_made=cut,
    )
    mask = ToolFacts(
        "mask", "mask", Decimal(900), kind=RedoKind.REMAKE, made_to_fit=("die",), remake_weeks=build_range(2)
    )
    badge = ToolFacts(
        "badge", "badge die", Decimal(4000), class_prices=(SHARES[WELD], SHARES[NEW]), forms=frozenset({"mark"})
    )
    return graph_of(*records, *build_all_tool_items([die, mask, badge]))


def build_basis(graph: RedoGraph, **facts: object) -> ChangeBasis:
    features = tuple(FeatureErrors(key, MIX, Decimal(share)) for key, share in [("rim", 3), ("boss", 1), ("mark", 1)])
    return ChangeBasis(graph, MIX, features, LOSS, **facts)  # type: ignore[arg-type]


def test_each_feature_pays_for_what_it_touches_only() -> None:
    ladder = compute_ladder(build_basis(build_part()))
    rim, boss, mark = (one.find_rung(Stage.TOOL_CUT) for one in ladder.features)
    assert set(rim.redone) == {"M", "C", "F", "die.redesign", "die.redo", "mask.redo"}
    assert set(boss.redone) == {"M", "C", "die.redesign", "die.redo", "mask.redo"}
    assert set(mark.redone) == {"M", "C", "badge.redo"}
    assert [one.share for one in ladder.features] == [Decimal("0.6"), Decimal("0.2"), Decimal("0.2")]


def test_classes_by_hand() -> None:
    """Rim at tool cut: records 3 x 750, mask 900, redesign 1800 (in the price of a new die)."""
    figure = compute_ladder(build_basis(build_part())).features[0].find_rung(Stage.TOOL_CUT)
    direct = {row.change_class: row.direct for row in figure.rows}
    assert direct[OFF] == build_range(4950 + 760, 4950 + 1900, 4950 + 3040)
    assert direct[NEW] == build_range(3150 + 38000)
    assert figure.direct.low == direct[OFF].low
    assert figure.direct.high == direct[NEW].high
    assert figure.direct.likely == Decimal("0.5") * 6850 + Decimal("0.3") * 10270 + Decimal("0.1") * (14450 + 41150)


def test_weeks_by_hand() -> None:
    """Measurement 1, model 1, redesign 1, change by class, mask 2; the fit check runs beside."""
    figure = compute_ladder(build_basis(build_part())).features[0].find_rung(Stage.TOOL_CUT)
    weeks = {row.change_class: row.weeks.likely for row in figure.rows}
    assert weeks == {OFF: 7, WELD: 8, INSERT: 11, NEW: 19}
    assert figure.weeks == build_range(Decimal("0.5") * 2 + 1 + 1 + 2, Decimal("8.9"), 2 * 2 + 1 + 20 + 2)


def test_whole_part_is_weighted_by_where_errors_are() -> None:
    ladder = compute_ladder(build_basis(build_part()))
    for stage in Stage:
        rungs = [one.find_rung(stage) for one in ladder.features]
        part = ladder.part.find_rung(stage)
        weighted = sum(one.share * rung.exact.total.likely for one, rung in zip(ladder.features, rungs, strict=True))
        assert abs(part.total.likely - weighted) <= Decimal("0.005")
        assert part.total.low == min(rung.total.low for rung in rungs)
        assert part.total.high == max(rung.total.high for rung in rungs)
        assert sum(row.weight for row in part.rows) == 1
        shown = sum(line.amount.likely for line in part.lines if line.amount is not None)
        assert abs(shown - part.direct.likely) <= Decimal("0.005")
    assert [line.label for line in part.lines] == ["error in boss", "error in mark", "error in rim"]


def test_a_class_of_the_whole_part_is_mixed_from_the_features_that_come_to_it() -> None:
    """By hand: metal comes off the die for half of the errors in rim (0.6) and in boss (0.2), at 6,850 and 6,100; the
    badge die knows no such change. So 0.4 of all errors, and 0.75 x 6,850 + 0.25 x 6,100 = 6,662.50 for one of them."""
    row = compute_ladder(build_basis(build_part())).part.find_rung(Stage.TOOL_CUT).rows[0]
    assert (row.change_class, row.weight) == (OFF, Decimal("0.4"))
    assert row.direct.likely == Decimal("6662.50")
    assert [(line.label, line.working, line.amount and line.amount.likely) for line in row.lines] == [
        ("error in boss", "0.25 x 6,100.00", Decimal("1525")),
        ("error in rim", "0.75 x 6,850.00", Decimal("5137.5")),
    ]


def test_a_share_of_zero_leaves_a_feature_out_of_the_part() -> None:
    features = (FeatureErrors("rim", MIX), FeatureErrors("mark", MIX, Decimal(0)))
    ladder = compute_ladder(ChangeBasis(build_part(), MIX, features, LOSS))
    assert ladder.part.find_rung(Stage.TOOL_CUT).total == ladder.features[0].find_rung(Stage.TOOL_CUT).total


def test_a_feature_of_which_no_share_is_said_has_one_among_the_others() -> None:
    features = (FeatureErrors("rim", MIX), FeatureErrors("mark", MIX, Decimal(3)))
    ladder = compute_ladder(ChangeBasis(build_part(), MIX, features, LOSS))
    assert [one.share for one in ladder.features] == [Decimal("0.25"), Decimal("0.75")]


def test_a_feature_without_a_share_is_not_named_beside_one_that_climbs_the_same_ladder() -> None:
    """Nothing but the whole-part records covers the free one and the loose one; no error is ever in the loose one."""
    features = (FeatureErrors("rim", MIX), FeatureErrors("free", MIX), FeatureErrors("loose", MIX, Decimal(0)))
    part = compute_ladder(ChangeBasis(build_part(), MIX, features, LOSS)).part
    assert [line.label for line in part.find_rung(Stage.TOOL_CUT).lines] == ["error in free", "error in rim"]


def test_known_direction_of_error_narrows_the_classes() -> None:
    features = (FeatureErrors("rim", narrow_mix(MIX, [WELD])),)
    figure = compute_ladder(ChangeBasis(build_part(), MIX, features)).features[0].find_rung(Stage.TOOL_CUT)
    assert [row.change_class for row in figure.rows] == [WELD]


def test_without_inserts_the_weight_of_an_insert_goes_to_the_next_heavier_class() -> None:
    figure = compute_ladder(build_basis(build_part(inserts=False))).features[0].find_rung(Stage.TOOL_CUT)
    assert [(row.change_class, row.weight) for row in figure.rows] == [
        (OFF, Decimal("0.5")),
        (WELD, Decimal("0.3")),
        (SET, Decimal("0.1")),
        (NEW, Decimal("0.1")),
    ]


def test_classes_that_come_to_the_same_are_one_row() -> None:
    """The badge die knows weld and new-tool only."""
    figure = compute_ladder(build_basis(build_part())).features[2].find_rung(Stage.TOOL_CUT)
    assert [(row.change_class, row.weight) for row in figure.rows] == [(WELD, Decimal("0.8")), (NEW, Decimal("0.2"))]


@pytest.mark.parametrize(("cut", "redone"), [(False, {"die.redesign"}), (True, {"die.redesign", "die.redo"})])
def test_found_today_redoes_what_exists(cut: bool, redone: set[str]) -> None:
    ladder = compute_ladder(build_basis(build_part(cut=cut)))
    today = ladder.features[0].today
    assert set(today.redone) == {"M", "C", "F"} | redone
    assert today.stage is (Stage.TOOL_CUT if cut else Stage.TOOL_ORDERED)
    assert "mask.redo" not in today.redone
    assert ladder.part.today.stage is today.stage


def test_a_tool_without_a_price_makes_the_figure_a_least() -> None:
    ladder = compute_ladder(build_basis(build_part(die_price=None)))
    figure = ladder.features[0].find_rung(Stage.TOOL_CUT)
    assert figure.missing == ("change to die",)
    assert not figure.is_whole
    assert not ladder.part.find_rung(Stage.TOOL_CUT).is_whole
    assert ladder.features[0].find_rung(Stage.TOOL_ORDERED).is_whole
    assert any(line.amount is None for line in figure.lines)


def test_an_item_without_lines_has_no_price() -> None:
    graph = graph_of(RedoItem("M", RedoKind.MEASUREMENT, "measurement", Stage.MEASURE))
    figure = compute_ladder(ChangeBasis(graph, MIX)).part.find_rung(Stage.MEASURE)
    assert figure.missing == ("measurement",)
    assert [line.working for line in figure.lines] == ["no price stated"]


def test_a_price_that_holds_the_redesign_is_never_below_it() -> None:
    tool = ToolFacts(
        "t",
        "tool",
        Decimal(200),
        class_prices=(SHARES[NEW],),
        forms=None,
        redesign=(build_amount_line("redesign", 300),),
    )
    part = compute_ladder(ChangeBasis(graph_of(*build_all_tool_items([tool])), MIX)).part
    assert part.find_rung(Stage.TOOL_ORDERED).direct.likely == 300
    assert part.find_rung(Stage.TOOL_CUT).direct.likely == 300
    assert [str(line.amount and line.amount.likely) for line in part.find_rung(Stage.TOOL_CUT).lines] == ["0", "300.00"]


def test_a_new_tool_without_a_price_leaves_its_redesign_a_price_of_its_own() -> None:
    """Nobody knows what the new die costs, so the 1,800 of its redesign are shown as what they are, not as held in it."""
    features = (FeatureErrors("rim", narrow_mix(MIX, [NEW])),)
    basis = ChangeBasis(build_part(die_price=None), MIX, features)
    figure = compute_ladder(basis).features[0].find_rung(Stage.TOOL_CUT)
    shown = {line.label: line.amount and line.amount.likely for line in figure.lines}
    assert shown["redesign of die"] == 1800
    assert shown["change to die: new-tool"] is None
    assert sum(line.amount.likely for line in figure.lines if line.amount is not None) == figure.direct.likely


def test_a_lighter_change_that_holds_the_redesign_and_costs_more_is_what_is_paid() -> None:
    """By hand: a weld at 5,000 with its redesign, a new tool at 1,000 and 300 for the redesign: 5,000, the 300 in it."""
    prices = (
        ClassPrice(WELD, build_range(1), amount=build_range(5000), redesign_in_price=True),
        ClassPrice(NEW, build_range(1), amount=build_range(1000)),
    )
    redesign = (build_amount_line("redesign", 300),)
    tool = ToolFacts("t", "tool", None, class_prices=prices, forms=None, redesign=redesign)
    features = (FeatureErrors("rim", narrow_mix(MIX, [WELD])), FeatureErrors("boss", narrow_mix(MIX, [NEW])))
    basis = ChangeBasis(graph_of(*build_all_tool_items([tool])), MIX, features)
    figure = compute_figure(basis, build_change(basis, ["boss", "rim"]), Stage.TOOL_CUT)
    assert figure.direct == build_range(5000)
    assert [(line.working, line.amount) for line in figure.lines] == [
        ("in the price of the tool's change", build_range(0)),
        (", not below a lighter change or the redesign in it", build_range(5000)),
    ]


def test_stated_weeks_stand_in_where_they_are_stated() -> None:
    stated = StatedWeeks({Stage.MODEL: build_range(5), Stage.TOOL_CUT: build_range(2)})
    rim = compute_ladder(build_basis(build_part(), stated_weeks=stated)).features[0]
    assert rim.find_rung(Stage.MODEL).weeks == build_range(5)
    assert rim.find_rung(Stage.FIT_CHECK).weeks.likely == 3
    assert {row.change_class: row.weeks.likely for row in rim.find_rung(Stage.TOOL_CUT).rows} == {
        OFF: 5,  # 2 + 2 of the class, but never less than the 5 of an earlier stage
        WELD: 5,
        INSERT: 8,
        NEW: 16,
    }


def test_a_cut_soft_tool_is_not_recovered_sooner_than_an_ordered_one() -> None:
    mask = ToolFacts("mask", "paint mask", Decimal(900), kind=RedoKind.REMAKE, forms=frozenset({"rim"}))
    stated = StatedWeeks({Stage.TOOL_ORDERED: build_range(5), Stage.TOOL_CUT: build_range(2)})
    graph = graph_of(*build_all_tool_items([mask]))
    basis = ChangeBasis(graph, MIX, (FeatureErrors("rim", MIX),), stated_weeks=stated)
    ladder = compute_ladder(basis).part
    assert ladder.find_rung(Stage.TOOL_CUT).weeks.likely == 5


def test_nothing_to_redo_costs_nothing_and_has_no_ratio() -> None:
    graph = graph_of(
        RedoItem("C", RedoKind.REVISION, "model", Stage.MODEL, (build_amount_line("model", 100),), build_range(1))
    )
    ladder = compute_ladder(ChangeBasis(graph, MIX)).part
    assert ladder.find_rung(Stage.MEASURE).total == build_range(0)
    assert [step.ratio for step in ladder.steps[:2]] == [None, Decimal("1.00")]


def test_what_takes_no_time_costs_no_delay() -> None:
    """A part of which nobody states weeks: none is lost, at the low end, at the likely one and at the high one."""
    graph = graph_of(
        RedoItem("C", RedoKind.REVISION, "model", Stage.MODEL, (build_amount_line("model", 100),)),
        RedoItem("F", RedoKind.FIT_CHECK, "fit", Stage.FIT_CHECK, (build_amount_line("fit", 50),), after=("C",)),
    )
    figure = compute_ladder(ChangeBasis(graph, MIX, delay=LOSS)).part.find_rung(Stage.FIT_CHECK)
    assert (figure.weeks, figure.delay, figure.total) == (build_range(0), build_range(0), build_range(150))


def test_several_features_at_once_take_the_heaviest_class_of_each_tool() -> None:
    features = (FeatureErrors("rim", narrow_mix(MIX, [OFF])), FeatureErrors("boss", narrow_mix(MIX, [WELD, NEW])))
    basis = ChangeBasis(build_part(), MIX, features)
    both = compute_figure(basis, build_change(basis, ["boss", "rim"]), Stage.TOOL_CUT)
    assert [(row.change_class, row.weight) for row in both.rows] == [(WELD, Decimal("0.75")), (NEW, Decimal("0.25"))]


@pytest.mark.parametrize("named", [["rim"], ["boss", "rim"]])
def test_a_class_that_never_happens_is_no_case(named: list[str]) -> None:
    """Metal taken off is named with a weight of 0: neither its row nor its price at the low end is there."""
    never = ((OFF, Decimal(0)), (WELD, Decimal(1)))
    basis = ChangeBasis(build_part(), MIX, (FeatureErrors("rim", never), FeatureErrors("boss", never)))
    figure = compute_figure(basis, build_change(basis, named), Stage.TOOL_CUT)
    assert [(row.change_class, row.weight) for row in figure.rows] == [(WELD, Decimal(1))]
    assert figure.direct.low == 4950 + Decimal("0.08") * 38000


def test_several_features_at_once_take_the_weeks_of_the_heaviest_class() -> None:
    """By hand: a weld takes 2 to 5 weeks, a new die 10 to 20; 0.75 x 3 + 0.25 x 14 = 5.75. Two weeks are stated beside."""
    features = (FeatureErrors("rim", narrow_mix(MIX, [OFF])), FeatureErrors("boss", narrow_mix(MIX, [WELD, NEW])))
    basis = ChangeBasis(build_part(), MIX, features, stated_weeks=StatedWeeks({Stage.TOOL_CUT: build_range(2)}))
    impact = compute_impact(basis, ["boss", "rim"], Stage.TOOL_CUT)
    (die,) = [step for step in impact.steps if step.key == "die.redo"]
    taken = [finish - start for start, finish in zip(die.starts, die.finishes, strict=True)]
    assert taken == [2, Decimal("5.75"), 20]
    assert [row.weeks for row in impact.figure.rows] == [build_range(4, 5, 7), build_range(12, 16, 22)]


@pytest.mark.parametrize(("weld", "new"), [((9, 900), (4, 500)), ((4, 900), (9, 500)), ((9, 500), (4, 900))])
def test_a_catalogue_that_does_not_rise_is_priced_all_the_same(weld: tuple[int, int], new: tuple[int, int]) -> None:
    """A weld dearer or slower than a new tool: low and high run over the classes, whichever they are."""
    prices = tuple(
        ClassPrice(name, build_range(weeks), amount=build_range(money))
        for name, (weeks, money) in ((WELD, weld), (NEW, new))
    )
    tool = ToolFacts("t", "tool", None, class_prices=prices, forms=None)
    graph = graph_of(*build_all_tool_items([tool]))
    assert not graph.is_rising
    figure = compute_ladder(ChangeBasis(graph, build_mix({WELD: 0.5, NEW: 0.5}))).part.find_rung(Stage.TOOL_CUT)
    assert figure.direct == Range(Decimal(500), Decimal(700), Decimal(900))
    assert figure.weeks == Range(Decimal(4), Decimal("6.5"), Decimal(9))


def test_a_new_tool_that_holds_the_redesign_may_cost_less_than_a_weld_and_the_redesign() -> None:
    """By hand: 900 for the weld and 300 for the redesign beside it, or 1,000 for a new tool with its redesign."""
    prices = (
        ClassPrice(WELD, build_range(4), amount=build_range(900)),
        ClassPrice(NEW, build_range(9), amount=build_range(1000), redesign_in_price=True),
    )
    redesign = (build_amount_line("redesign", 300),)
    tool = ToolFacts("t", "tool", None, class_prices=prices, forms=None, redesign=redesign)
    graph = graph_of(*build_all_tool_items([tool]))
    figure = compute_ladder(ChangeBasis(graph, build_mix({WELD: 0.5, NEW: 0.5}))).part.find_rung(Stage.TOOL_CUT)
    assert figure.direct == build_range(1000, 1100, 1200)


@pytest.mark.parametrize(
    ("features", "words"),
    [
        ((FeatureErrors("rim", MIX), FeatureErrors("rim", MIX)), 'feature "rim" is given 2 times'),
        ((FeatureErrors("rim", MIX, Decimal(0)),), "at least one a share above 0"),
    ],
)
def test_an_impossible_basis_is_refused(features: tuple[FeatureErrors, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ChangeBasis(build_part(), MIX, features)


def test_shares_and_mixes_are_checked() -> None:
    with pytest.raises(ValueError, match='share of errors in "rim" is -1'):
        FeatureErrors("rim", MIX, Decimal(-1))
    with pytest.raises(ValueError, match=r'change classes of "rim" add to 0.5'):
        FeatureErrors("rim", ((WELD, Decimal("0.5")),))
    with pytest.raises(ValueError, match="recovery weeks at stage model"):
        StatedWeeks({Stage.MODEL: Range(Decimal(2), Decimal(1), Decimal(3))})
    with pytest.raises(ValueError, match='"lid" is not a feature of this part; its features are boss, mark, rim'):
        build_change(build_basis(build_part()), ["lid"])
    with pytest.raises(ValueError, match="no feature is named"):
        build_change(build_basis(build_part()), [])
