"""The ladder of a worked example (invented inputs), to the cent, through the public functions."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.costing.change_basis import ChangeBasis, StatedWeeks
from pipeline.costing.change_classes import ChangeClass, ClassPrice, build_mix
from pipeline.costing.delay import Delay
from pipeline.costing.ladder import PartLadder, compute_ladder
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import build_range
from pipeline.costing.redo import RedoItem, RedoKind, build_redo_graph
from pipeline.costing.stages import Stage
from pipeline.costing.tool_redo import ToolFacts, build_tool_items
from pipeline.costing.working import build_amount_line, build_count_line, build_hours_line

ENGINEER, BUYER = 75, 60


def build_die() -> ToolFacts:
    prices = (
        ClassPrice(ChangeClass.METAL_OFF, build_range(3), amount=build_range(1600)),
        ClassPrice(ChangeClass.WELD, build_range(6), amount=build_range(5200)),
        ClassPrice(ChangeClass.INSERT, build_range(8), amount=build_range(9500)),
        ClassPrice(ChangeClass.NEW_TOOL, build_range(16), share=build_range(1), redesign_in_price=True),
    )
    return ToolFacts(
        key="die",
        name="die",
        price=Decimal(38000),
        class_prices=prices,
        inserts=True,
        forms=None,
        redesign=(build_amount_line("redesign of die", 1800),),
        after=("quote",),
    )


def build_items() -> list[RedoItem]:
    kind, at = RedoKind, Stage
    fit = (build_hours_line("3 vehicles, 4 h each", 12, ENGINEER), build_amount_line("hire of vehicles", 300))
    first = [
        ("trim", kind.TRIM_TOOL, build_amount_line("trim die", 1800)),
        ("gauge", kind.GAUGE, build_amount_line("gauge", 700)),
        ("nest", kind.FIXTURE, build_amount_line("nest", 250)),
        ("setup", kind.SETUP, build_amount_line("setup and samples", 1500)),
        ("plating", kind.PLATING_TRIAL, build_amount_line("plating trial", 1400)),
        ("inspect", kind.FIRST_ARTICLE, build_hours_line("inspect again", 16, ENGINEER)),
    ]
    stock = build_count_line("stock", 300, "pieces", 28.4, lost=Decimal("0.90"))
    items = [
        RedoItem("measure", kind.MEASUREMENT, "measure again", at.MEASURE, (build_hours_line("measure", 6, ENGINEER),)),
        RedoItem("model", kind.REVISION, "model again", at.MODEL, (build_hours_line("model", 10, ENGINEER),)),
        RedoItem("print", kind.PROTOTYPE, "print again", at.PROTOTYPE, (build_amount_line("print", 380),)),
        RedoItem("fit", kind.FIT_CHECK, "fit again", at.FIT_CHECK, fit),
        RedoItem("quote", kind.QUOTE, "quote again", at.QUOTE, (build_hours_line("quote", 6, BUYER),)),
        RedoItem("stock", kind.STOCK, "stock scrapped", at.RELEASED, (stock,)),
        RedoItem("returns", kind.RETURNS, "returns", at.RELEASED, (build_count_line("returns", 90, "pieces", 66.4),)),
    ]
    return items + [RedoItem(key, of, line.label, at.FIRST_ARTICLE, (line,)) for key, of, line in first]


@pytest.fixture(scope="module")
def ladder() -> PartLadder:
    graph = build_redo_graph([*build_items(), *build_tool_items(build_die())])
    assert not isinstance(graph, Cycle)
    mix = build_mix(
        {ChangeClass.METAL_OFF: 0.55, ChangeClass.WELD: 0.25, ChangeClass.INSERT: 0.15, ChangeClass.NEW_TOOL: 0.05}
    )
    weeks = dict(zip(Stage, map(build_range, (0.5, 1, 1.5, 2.5, 4, 5, 2, 5, 6)), strict=True))
    delay = Delay(build_range(800), Decimal(42), Decimal("0.5"))
    return compute_ladder(ChangeBasis(graph, mix, delay=delay, stated_weeks=StatedWeeks(weeks)))


@pytest.mark.parametrize(
    ("stage", "direct", "weeks", "delay", "total"),
    [
        (Stage.MEASURE, "450.00", "0.5", "161.54", "611.54"),
        (Stage.MODEL, "1200.00", "1.0", "323.08", "1523.08"),
        (Stage.PROTOTYPE, "1580.00", "1.5", "484.62", "2064.62"),
        (Stage.FIT_CHECK, "2780.00", "2.5", "807.69", "3587.69"),
        (Stage.QUOTE, "3140.00", "4.0", "1292.31", "4432.31"),
        (Stage.TOOL_ORDERED, "4940.00", "5.0", "1615.38", "6555.38"),
    ],
)
def test_stages_before_metal_is_cut(
    ladder: PartLadder, stage: Stage, direct: str, weeks: str, delay: str, total: str
) -> None:
    figure = ladder.part.find_rung(stage)
    found = (figure.direct.likely, figure.weeks.likely, figure.delay.likely, figure.total.likely)
    assert found == tuple(map(Decimal, (direct, weeks, delay, total)))
    assert [row.change_class for row in figure.rows] == [None]
    assert figure.total.low == figure.total.high == figure.total.likely


OFF, WELD, INSERT, NEW = ChangeClass.METAL_OFF, ChangeClass.WELD, ChangeClass.INSERT, ChangeClass.NEW_TOOL


@pytest.mark.parametrize(
    ("stage", "change_class", "direct", "weeks", "delay", "total"),
    [
        (Stage.TOOL_CUT, OFF, "6540.00", "5.0", "1615.38", "8155.38"),
        (Stage.TOOL_CUT, WELD, "10140.00", "8.0", "2584.62", "12724.62"),
        (Stage.TOOL_CUT, INSERT, "14440.00", "10.0", "3230.77", "17670.77"),
        (Stage.TOOL_CUT, NEW, "41140.00", "18.0", "5815.38", "46955.38"),
        (Stage.FIRST_ARTICLE, OFF, "13390.00", "8.0", "2584.62", "15974.62"),
        (Stage.FIRST_ARTICLE, WELD, "16990.00", "11.0", "3553.85", "20543.85"),
        (Stage.FIRST_ARTICLE, INSERT, "21290.00", "13.0", "4200.00", "25490.00"),
        (Stage.FIRST_ARTICLE, NEW, "47990.00", "21.0", "6784.62", "54774.62"),
        (Stage.RELEASED, OFF, "27034.00", "9.0", "2907.69", "29941.69"),
        (Stage.RELEASED, WELD, "30634.00", "12.0", "3876.92", "34510.92"),
        (Stage.RELEASED, INSERT, "34934.00", "14.0", "4523.08", "39457.08"),
        (Stage.RELEASED, NEW, "61634.00", "22.0", "7107.69", "68741.69"),
    ],
)
def test_each_class_once_metal_is_cut(
    ladder: PartLadder, stage: Stage, change_class: ChangeClass, direct: str, weeks: str, delay: str, total: str
) -> None:
    row = next(row for row in ladder.part.find_rung(stage).rows if row.change_class is change_class)
    found = (row.direct.likely, row.weeks.likely, row.delay.likely, row.total.likely)
    assert found == tuple(map(Decimal, (direct, weeks, delay, total)))
    assert sum(line.amount.likely for line in row.lines if line.amount is not None) == row.direct.likely


def test_weighted_first_article_is_rounded_once(ladder: PartLadder) -> None:
    figure = ladder.part.find_rung(Stage.FIRST_ARTICLE)
    assert figure.total.likely == Decimal("20484.23")
    assert (figure.total.low, figure.total.high) == (Decimal("15974.62"), Decimal("54774.62"))
    assert figure.is_whole


def test_working_of_a_weighted_figure_adds_to_it(ladder: PartLadder) -> None:
    for figure in ladder.part.rungs:
        amounts = [line.amount for line in figure.lines]
        assert sum(amount.likely for amount in amounts if amount is not None) == figure.direct.likely
    change = next(line for line in ladder.part.find_rung(Stage.TOOL_CUT).lines if line.label == "change to die")
    assert change.working == "0.55 x 1,600.00 + 0.25 x 5,200.00 + 0.15 x 9,500.00 + 0.05 x 38,000.00"


def test_redesign_is_in_the_price_of_a_new_tool(ladder: PartLadder) -> None:
    row = ladder.part.find_rung(Stage.TOOL_CUT).rows[-1]
    redesign = next(line for line in row.lines if line.label == "redesign of die")
    assert redesign.working == "in the price of the tool's change"
    assert redesign.amount == build_range(0)


def test_week_of_delay() -> None:
    assert Delay(build_range(800), Decimal(42), Decimal("0.5")).per_week.likely == Decimal("323.08")


def test_delay_working_says_how(ladder: PartLadder) -> None:
    words = ladder.part.find_rung(Stage.MODEL).delay_working
    assert words == "1 week x 800 a year x 42.00 / 52 x 0.5 lost for good"


def test_steps_stand_beside_the_rule_of_ten(ladder: PartLadder) -> None:
    steps = ladder.part.steps
    assert len(steps) == 8
    assert steps[0].ratio == Decimal("2.49")  # 1523.08 / 611.54
    assert {step.folk_ratio for step in steps} == {Decimal(10)}


def test_nothing_exists_yet_today(ladder: PartLadder) -> None:
    assert ladder.part.today.stage is None
    assert ladder.part.today.total == build_range(0)
