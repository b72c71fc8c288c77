"""The cost of change and its longest path against what others have published."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.costing.change_basis import ChangeBasis, StatedWeeks
from pipeline.costing.change_classes import ChangeClass, ClassPrice, build_mix
from pipeline.costing.delay import Delay
from pipeline.costing.ladder import RULE_OF_TEN, Ladder, compute_ladder
from pipeline.costing.paths import Cycle, compute_finish_times, compute_longest_path, order_by_precedence
from pipeline.costing.ranges import build_range
from pipeline.costing.redo import RedoItem, RedoKind, build_redo_graph
from pipeline.costing.stages import Stage
from pipeline.costing.tool_redo import ToolFacts, build_tool_items
from pipeline.costing.working import build_amount_line

# Source: operations-research textbook, project-management chapter, prototype example of a construction project with 14
# activities (optimistic, most likely, pessimistic, predecessors). Status: from memory; the length was solved again as a
# linear programme. Expected: length 44, critical A B C E F J L N; earliest starts below.
CONSTRUCTION = {
    "A": (1, 2, 3, ""),
    "B": (2, 3.5, 8, "A"),
    "C": (6, 9, 18, "B"),
    "D": (4, 5.5, 10, "C"),
    "E": (1, 4.5, 5, "C"),
    "F": (4, 4, 10, "E"),
    "G": (5, 6.5, 11, "D"),
    "H": (5, 8, 17, "EG"),
    "I": (3, 7.5, 9, "C"),
    "J": (3, 9, 9, "FI"),
    "K": (4, 4, 4, "J"),
    "L": (1, 5.5, 7, "J"),
    "M": (1, 2, 3, "H"),
    "N": (5, 5.5, 9, "KL"),
}
EARLIEST_STARTS = dict(zip("ABCDEFGHIJKLMN", (0, 2, 6, 16, 16, 20, 22, 29, 16, 25, 33, 33, 38, 38), strict=True))

# Source: management-science textbook solutions, chapter 8 problem: activities on arrows (from, to, weeks). Status: seen.
# Expected: length 20 along events 1-3-4-5-6.
ARROWS = {"1-2": 7, "1-3": 10, "2-4": 6, "3-4": 5, "3-5": 4, "4-5": 3, "5-6": 2}

# Source: Error Cost Escalation Through the Project Life Cycle, 2004: cost of an error relative to one found in the
# requirements. Status: seen (abstract).
STUDY = {
    "requirements": (1, 1),
    "design": (3, 8),
    "build": (7, 16),
    "integration and test": (21, 78),
    "operation": (29, 1500),
}


def mean(low: float, likely: float, high: float) -> Decimal:
    return (Decimal(str(low)) + 4 * Decimal(str(likely)) + Decimal(str(high))) / 6


def test_length_of_the_14_activity_network() -> None:
    times = {key: mean(*row[:3]) for key, row in CONSTRUCTION.items()}
    found = compute_longest_path(times, {key: list(row[3]) for key, row in CONSTRUCTION.items()})
    assert not isinstance(found, Cycle)
    assert found.length == 44
    assert "".join(found.keys) == "ABCEFJLN"


def test_earliest_starts_of_the_14_activity_network() -> None:
    order = order_by_precedence({key: list(row[3]) for key, row in CONSTRUCTION.items()})
    assert not isinstance(order, Cycle)
    before = [[order.index(one) for one in CONSTRUCTION[key][3]] for key in order]
    times = [mean(*CONSTRUCTION[key][:3]) for key in order]
    finish = compute_finish_times(before, times)
    assert {key: end - time for key, end, time in zip(order, finish, times, strict=True)} == EARLIEST_STARTS


def test_length_of_the_7_activity_arrow_network() -> None:
    """An arrow waits for every arrow that ends in the event at which it starts."""
    after = {key: [one for one in ARROWS if one[-1] == key[0]] for key in ARROWS}
    found = compute_longest_path({key: Decimal(weeks) for key, weeks in ARROWS.items()}, after)
    assert not isinstance(found, Cycle)
    assert found.length == 20
    assert found.keys == ("1-3", "3-4", "4-5", "5-6")


def test_the_14_activity_network_as_things_to_redo() -> None:
    """The same length comes out of the ladder's own weeks, at a week for a day."""
    items = [
        RedoItem(
            key,
            RedoKind.OTHER,
            key,
            Stage.MODEL,
            (build_amount_line(key, 1),),
            build_range(mean(*row[:3])),
            tuple(row[3]),
        )
        for key, row in CONSTRUCTION.items()
    ]
    graph = build_redo_graph(items)
    assert not isinstance(graph, Cycle)
    basis = ChangeBasis(graph, build_mix({ChangeClass.NEW_TOOL: 1}))
    assert compute_ladder(basis).part.find_rung(Stage.MODEL).weeks == build_range(44)


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    """A die-cast part (invented inputs): hours and prices of each stage, change classes with weeks, delay."""
    steps = [
        ("measure", Stage.MEASURE, 450),
        ("model", Stage.MODEL, 750),
        ("print", Stage.PROTOTYPE, 380),
        ("fit", Stage.FIT_CHECK, 1200),
        ("quote", Stage.QUOTE, 360),
        ("samples", Stage.FIRST_ARTICLE, 6850),
        ("stock", Stage.RELEASED, 13644),
    ]
    items = [RedoItem(key, RedoKind.OTHER, key, stage, (build_amount_line(key, cost),)) for key, stage, cost in steps]
    die = ToolFacts(
        "die",
        "die",
        Decimal(38000),
        class_prices=(
            ClassPrice(ChangeClass.METAL_OFF, build_range(3), amount=build_range(1600)),
            ClassPrice(ChangeClass.WELD, build_range(6), amount=build_range(5200)),
            ClassPrice(ChangeClass.NEW_TOOL, build_range(16), share=build_range(1), redesign_in_price=True),
        ),
        forms=None,
        redesign=(build_amount_line("redesign", 1800),),
    )
    graph = build_redo_graph([*items, *build_tool_items(die)])
    assert not isinstance(graph, Cycle)
    mix = build_mix({ChangeClass.METAL_OFF: 0.6, ChangeClass.WELD: 0.3, ChangeClass.NEW_TOOL: 0.1})
    weeks = StatedWeeks(dict(zip(Stage, map(build_range, (0.5, 1, 1.5, 2.5, 4, 5, 2, 5, 6)), strict=True)))
    return compute_ladder(
        ChangeBasis(graph, mix, delay=Delay(build_range(800), Decimal(42), Decimal("0.5")), stated_weeks=weeks)
    ).part


# The study's phases are systems', not a die's, so this is a check of direction and size, not of equality: our first stage
# stands for its requirements, proof on a vehicle ends its design, a tool on order is its build, a first article its test.
@pytest.mark.parametrize(
    ("phase", "stage"),
    [
        ("requirements", Stage.MEASURE),
        ("design", Stage.FIT_CHECK),
        ("design", Stage.QUOTE),
        ("build", Stage.TOOL_ORDERED),
        ("integration and test", Stage.FIRST_ARTICLE),
        ("operation", Stage.RELEASED),
    ],
)
def test_a_ladder_is_of_the_size_that_the_study_found(ladder: Ladder, phase: str, stage: Stage) -> None:
    relative = ladder.find_rung(stage).total.likely / ladder.find_rung(Stage.MEASURE).total.likely
    low, high = STUDY[phase]
    assert low <= relative <= high


def test_a_ladder_rises_all_the_way_but_less_than_tenfold_a_stage(ladder: Ladder) -> None:
    """The rule of ten is a saying (seen only as a literature-review statement); measured steps are smaller."""
    ratios = [step.ratio for step in ladder.steps]
    assert all(ratio is not None and 1 < ratio < RULE_OF_TEN for ratio in ratios)
