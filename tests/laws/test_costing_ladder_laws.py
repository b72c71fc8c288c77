"""Laws of the cost of change, on random parts."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal
from functools import partial
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.costing.change import build_change
from pipeline.costing.change_basis import ChangeBasis, FeatureErrors
from pipeline.costing.change_classes import ChangeClass, ClassEffect, Mix, build_mix
from pipeline.costing.change_cost import compute_figure
from pipeline.costing.delay import Delay
from pipeline.costing.figures import Figure
from pipeline.costing.impact import compute_impact
from pipeline.costing.ladder import compute_ladder
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import Range, build_range
from pipeline.costing.redo import RedoGraph, RedoItem, RedoKind, Station, build_redo_graph
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

FEATURES = ("bore", "lip", "rim")
SLACK = Decimal("1e-9")


CASES = settings(max_examples=60, deadline=None)


def draw_range(dice: random.Random, most: int = 500) -> Range:
    return Range(*(Decimal(value) / 10 for value in sorted(dice.randint(0, most) for _ in range(3))))


def draw_effects(dice: random.Random) -> tuple[ClassEffect, ...]:
    """Classes in any order of price, some without a price."""
    named = [one for one in ChangeClass if one is ChangeClass.NEW_TOOL or dice.random() < 0.5]
    amounts = [None if dice.random() < 0.1 else draw_range(dice) for _ in named]
    return tuple(
        ClassEffect(one, Line("change", "", amount), draw_range(dice, 100), dice.random() < 0.3)
        for one, amount in zip(named, amounts, strict=True)
    )


def draw_item(dice: random.Random, key: str, earlier: list[RedoItem]) -> RedoItem:
    names = [item.key for item in earlier]
    by_class = draw_effects(dice) if dice.random() < 0.3 else ()
    return RedoItem(
        key=key,
        kind=dice.choice([RedoKind.TRIM_TOOL, RedoKind.TOOL_CHANGE, RedoKind.OTHER]),
        label=key,
        stage=dice.choice(list(Stage)),
        lines=() if by_class else (Line(key, "", draw_range(dice)),),
        weeks=build_range(0) if by_class else draw_range(dice, 100),
        after=tuple(name for name in names if dice.random() < 0.2),
        follows=tuple(name for name in names if dice.random() < 0.15),
        covers=None if dice.random() < 0.2 else frozenset(one for one in FEATURES if dice.random() < 0.4),
        by_class=by_class,
        station=Station("row", len(earlier)) if dice.random() < 0.3 else None,
        exists=dice.random() < 0.5,
    )


def draw_part(dice: random.Random, count: int) -> list[RedoItem]:
    """Items that wait only for earlier ones; some tools have a redesign in front of them."""
    built: list[RedoItem] = []
    for place in range(count):
        item = draw_item(dice, f"k{place:02}", built)
        if item.by_class and dice.random() < 0.5:
            line, stage = Line("redesign", "", draw_range(dice)), Stage(dice.randint(0, item.stage))
            weeks, key = draw_range(dice, 100), f"r{place:02}"
            redesign = RedoItem(key, RedoKind.TOOL_REDESIGN, "redesign", stage, (line,), weeks, redesign_of=item.key)
            built.append(replace(redesign, covers=item.covers))
        built.append(item)
    return built


def draw_mix(dice: random.Random) -> Mix:
    weights = [dice.choice([0, 0, 1, 2, 5]) for _ in ChangeClass]
    weights[dice.randrange(5)] += 1
    return build_mix({one: Decimal(weight) / sum(weights) for one, weight in zip(ChangeClass, weights, strict=True)})


def draw_basis(seed: int, count: int) -> ChangeBasis:
    dice = random.Random(seed)
    features = tuple(FeatureErrors(key, draw_mix(dice), Decimal(dice.randint(1, 4))) for key in FEATURES)
    delay = Delay(draw_range(dice, 9000), Decimal(dice.randint(0, 90)), Decimal(dice.randint(0, 4)) / 4)
    return ChangeBasis(graph_of(draw_part(dice, count)), draw_mix(dice), features, delay)


SEEDS = st.integers(0, 2**32)
bases = partial(st.builds, draw_basis, SEEDS, st.integers(1, 9))
POINTS = st.none() | st.sampled_from(Stage)
SOME = st.sets(st.sampled_from(FEATURES), min_size=1)


def graph_of(found: list[RedoItem]) -> RedoGraph:
    graph = build_redo_graph(found)
    assert not isinstance(graph, Cycle)
    return graph


def price(basis: ChangeBasis, features: set[str] | None, point: Stage | None) -> Figure:
    return compute_figure(basis, build_change(basis, features), point)


def is_at_least(one: Figure, other: Figure) -> bool:
    pairs = [
        pair for mine, theirs in zip(one.exact, other.exact, strict=True) for pair in zip(mine, theirs, strict=True)
    ]
    return all(mine >= theirs - SLACK for mine, theirs in pairs)


def is_ordered(figure: Figure) -> bool:
    shown = (figure.direct, figure.weeks, figure.delay, figure.total)
    return all(0 <= low <= likely + SLACK and likely <= high + SLACK for low, likely, high in shown)


@CASES
@given(bases(), SOME, POINTS)
def test_low_is_not_above_likely_nor_likely_above_high(
    basis: ChangeBasis, features: set[str], point: Stage | None
) -> None:
    figure = price(basis, features, point)
    assert is_ordered(figure)
    assert not figure.rows or abs(sum(row.weight for row in figure.rows) - 1) < SLACK


@CASES
@given(bases(), SOME)
def test_a_later_stage_is_never_cheaper(basis: ChangeBasis, features: set[str]) -> None:
    change = build_change(basis, features)
    rungs = [compute_figure(basis, change, stage) for stage in Stage]
    assert all(is_at_least(later, earlier) for earlier, later in pairwise(rungs))


@CASES
@given(bases(), SOME, SOME, POINTS)
def test_more_features_never_cost_less(basis: ChangeBasis, some: set[str], more: set[str], point: Stage | None) -> None:
    assert is_at_least(price(basis, some | more, point), price(basis, some, point))


@CASES
@given(bases(), SEEDS, SOME, POINTS)
def test_more_tools_downstream_never_cost_less(
    basis: ChangeBasis, seed: int, features: set[str], point: Stage | None
) -> None:
    known = list(basis.graph.items)
    added = draw_item(random.Random(seed), "z", known)
    more = replace(basis, graph=graph_of([*known, added]))
    assert is_at_least(price(more, features, point), price(basis, features, point))


@CASES
@given(bases(), SEEDS, SOME)
def test_the_order_of_items_and_features_changes_nothing(basis: ChangeBasis, seed: int, features: set[str]) -> None:
    known, keys = list(basis.graph.items), list(basis.features)
    random.Random(seed).shuffle(known)
    random.Random(seed).shuffle(keys)
    turned = replace(basis, graph=graph_of(known), features=tuple(keys))
    assert compute_impact(turned, features) == compute_impact(basis, features)
    one, other = compute_ladder(turned), compute_ladder(basis)
    assert [rung.total for rung in one.part.rungs] == [rung.total for rung in other.part.rungs]
    assert {ladder.feature: ladder.rungs for ladder in one.features} == {
        ladder.feature: ladder.rungs for ladder in other.features
    }


@CASES
@given(bases())
def test_the_whole_part_lies_between_its_features(basis: ChangeBasis) -> None:
    ladder = compute_ladder(basis)
    for stage in Stage:
        totals = [one.rungs[stage].exact.total for one in ladder.features]
        whole = ladder.part.rungs[stage].exact.total
        assert whole.low == min(total.low for total in totals)
        assert whole.high == max(total.high for total in totals)
        assert (
            min(total.likely for total in totals) - SLACK
            <= whole.likely
            <= max(total.likely for total in totals) + SLACK
        )


@CASES
@given(bases(), SOME, POINTS)
def test_lines_add_to_the_direct_cost(basis: ChangeBasis, features: set[str], point: Stage | None) -> None:
    """Of one feature also where a price is missing: what is known is shown once and counted once."""
    figure = price(basis, features, point)
    for row in figure.rows:
        shown = sum(line.amount.likely for line in row.lines if line.amount is not None)
        assert shown <= row.exact.direct.likely + SLACK
        if not figure.missing or len(features) == 1:
            assert abs(shown - row.exact.direct.likely) < SLACK


@CASES
@given(bases(), SOME, POINTS)
def test_every_step_comes_after_what_it_waits_for(basis: ChangeBasis, features: set[str], point: Stage | None) -> None:
    impact = compute_impact(basis, features, point)
    steps = {step.key: step for step in impact.steps}
    assert list(steps) == list(impact.figure.redone)
    for step in impact.steps:
        item = basis.graph.items[basis.graph.place[step.key]]
        for key in (*item.after, *item.follows):
            if key in steps:
                assert steps[key].finishes.likely <= step.starts.likely
        assert set(step.path) <= {item.key for item in basis.graph.items}
        assert step.reason
    assert impact.path_weeks.high == max((step.finishes.high for step in impact.steps), default=0)
