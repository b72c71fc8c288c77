"""A slow and obvious twin of the cost of change: descendants by fixed point, paths by walking them all, money by fractions."""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping
from decimal import Decimal
from fractions import Fraction

import pytest

from pipeline.costing.change import build_change
from pipeline.costing.change_basis import ChangeBasis, FeatureErrors
from pipeline.costing.change_classes import ChangeClass, ClassEffect, build_mix
from pipeline.costing.change_cost import compute_figure
from pipeline.costing.delay import Delay
from pipeline.costing.ladder import compute_ladder
from pipeline.costing.paths import Cycle, compute_longest_path
from pipeline.costing.ranges import Range
from pipeline.costing.redo import RedoItem, RedoKind, build_redo_graph, find_affected
from pipeline.costing.stages import Stage
from pipeline.costing.working import Line

FEATURES = ("bore", "lip", "rim", "seat")
CLASSES = list(ChangeClass)


def draw_range(dice: random.Random, most: int) -> Range:
    return Range(*(Decimal(value) / 10 for value in sorted(dice.randint(0, most) for _ in range(3))))


def draw_effects(dice: random.Random, rising: bool) -> tuple[ClassEffect, ...]:
    named = [one for one in CLASSES[:-1] if dice.random() < 0.6] + CLASSES[-1:]
    costs, weeks = ([draw_range(dice, most) for _ in named] for most in (900, 120))
    if rising:
        costs, weeks = (
            [Range(*point) for point in zip(*(sorted(column) for column in zip(*found, strict=True)), strict=True)]
            for found in (costs, weeks)
        )
    return tuple(
        ClassEffect(*one, False) for one in zip(named, (Line("c", "", cost) for cost in costs), weeks, strict=True)
    )


def draw_part(seed: int) -> list[RedoItem]:
    """A part of 4 to 9 items; many in the order of the stages, and many with tools whose heavier classes cost more."""
    dice = random.Random(seed)
    orderly, rising = seed % 2 == 0, seed % 3 > 0
    stages = [dice.choice(list(Stage)) for _ in range(dice.randint(4, 9))]
    built: list[RedoItem] = []
    for count, stage in enumerate(sorted(stages) if orderly else stages):
        key = f"k{count:02}"
        names = [item.key for item in built if item.redesign_of is None]
        covers = None if dice.random() < 0.2 else frozenset(one for one in FEATURES if dice.random() < 0.3)
        by_class = draw_effects(dice, rising) if dice.random() < 0.4 else ()
        redesign_line = Line("r", "", draw_range(dice, 300))
        if by_class and dice.random() < 0.6:
            before = Stage(dice.randint(0, stage))
            built.append(
                RedoItem(
                    "r" + key,
                    RedoKind.TOOL_REDESIGN,
                    "r",
                    before,
                    (redesign_line,),
                    draw_range(dice, 30),
                    covers=covers,
                    redesign_of=key,
                )
            )
            by_class = (
                *by_class[:-1],
                ClassEffect(
                    ChangeClass.NEW_TOOL,
                    Line("n", "", Range(*([Decimal(5000)] * 3))),
                    Range(*([Decimal(30)] * 3)),
                    True,
                ),
            )
        built.append(
            RedoItem(
                key,
                RedoKind.OTHER,
                key,
                stage,
                () if by_class else (Line(key, "", draw_range(dice, 500)),),
                Range(*[Decimal(0)] * 3) if by_class else draw_range(dice, 60),
                tuple(one for one in names if dice.random() < 0.25),
                tuple(one for one in names if dice.random() < 0.15),
                covers,
                by_class,
                exists=dice.random() < 0.5,
            )
        )
    return built


def draw_basis(seed: int) -> ChangeBasis:
    dice = random.Random(seed + 10_000)
    graph = build_redo_graph(draw_part(seed))
    assert not isinstance(graph, Cycle)
    mixes = []
    for _ in FEATURES:
        weights = [dice.randint(0, 4) for _ in CLASSES]
        weights[dice.randrange(5)] += 1
        mixes.append(
            build_mix({one: Decimal(weight) / sum(weights) for one, weight in zip(CLASSES, weights, strict=True)})
        )
    features = tuple(FeatureErrors(key, mix) for key, mix in zip(FEATURES, mixes, strict=True))
    return ChangeBasis(graph, mixes[0], features, Delay(draw_range(dice, 9000), Decimal(37), Decimal("0.4")))


def find_descendants(items: Mapping[str, RedoItem], features: Collection[str]) -> set[str]:
    """Whatever covers a feature, then whatever follows that, until nothing is added; a tool and its redesign go together."""
    reached = {key for key, item in items.items() if item.covers is None or item.covers & set(features)}
    while True:
        grown = reached | {key for key, item in items.items() if reached & set(item.follows)}
        grown |= {key for key, item in items.items() if item.redesign_of in reached}
        grown |= {items[key].redesign_of or key for key in reached}
        if grown == reached:
            return reached
        reached = grown


def find_waits(items: Mapping[str, RedoItem], key: str) -> set[str]:
    item = items[key]
    return {*item.after, *item.follows} | {other for other, one in items.items() if one.redesign_of == key}


def walk_longest(items: Mapping[str, RedoItem], weeks: Mapping[str, Fraction]) -> Fraction:
    """Try every chain."""

    def longest_to(key: str) -> Fraction:
        return weeks.get(key, Fraction(0)) + max(
            (longest_to(one) for one in find_waits(items, key)), default=Fraction(0)
        )

    return max((longest_to(key) for key in items), default=Fraction(0))


def find_class(mix: tuple[tuple[ChangeClass, Decimal], ...], luck: Fraction) -> ChangeClass:
    top = Fraction(0)
    for one, weight in mix:
        top += Fraction(weight)
        if luck < top:
            return one
    return mix[-1][0]


def bear(item: RedoItem, wanted: ChangeClass) -> ClassEffect:
    return next(one for one in item.by_class if CLASSES.index(one.change_class) >= CLASSES.index(wanted))


def judge(basis: ChangeBasis, features: Collection[str], point: Stage | None) -> list[list[Fraction]]:
    """Direct, weeks, total: each low, likely, high."""
    items = {item.key: item for item in basis.graph.items}
    reach = {feature: find_descendants(items, [feature]) for feature in features}
    redone = {
        key
        for key in set().union(*reach.values())
        if (items[key].exists if point is None else items[key].stage <= point)
    }
    cuts = sorted(
        {sum((Fraction(w) for _, w in basis.by_feature[f].mix[:n]), Fraction(0)) for f in features for n in range(1, 6)}
        | {Fraction(1)}
    )
    outcomes, floor = [], Fraction(0)
    for cut in cuts:
        if cut > floor:
            chosen = {feature: find_class(basis.by_feature[feature].mix, (floor + cut) / 2) for feature in features}
            outcomes.append((cut - floor, price_case(basis, items, redone, reach, chosen)))
        floor = cut
    found = []
    for place in range(3):
        lows, highs = ([one[point_][place] for _, one in outcomes] for point_ in (0, 2))
        likely = sum((weight * one[1][place] for weight, one in outcomes), Fraction(0))
        found.append([min(lows), likely, max(highs)])
    return found


def price_case(
    basis: ChangeBasis,
    items: Mapping[str, RedoItem],
    redone: set[str],
    reach: Mapping[str, set[str]],
    chosen: Mapping[str, ChangeClass],
) -> list[list[Fraction]]:
    answers = []
    for point in range(3):
        direct, weeks = Fraction(0), {}
        for key in redone:
            item = items[key]
            if not item.by_class:
                weeks[key] = Fraction(item.weeks[point])
                if item.redesign_of not in redone:
                    direct += Fraction(item.cost[point])
                continue
            effects = [bear(item, chosen[feature]) for feature, found in reach.items() if key in found]
            weeks[key] = max(Fraction(one.weeks[point]) for one in effects)
            paid = sum(
                (Fraction(items[one].cost[point]) for one in redone if items[one].redesign_of == key), Fraction(0)
            )
            prices = [(Fraction((one.line.amount or (0, 0, 0))[point]), one.redesign_in_price) for one in effects]
            direct += max(max(price, paid) if held else price + paid for price, held in prices)
        length = walk_longest(items, weeks)
        delay = (
            length
            * Fraction(basis.delay.units_per_year[point])
            * Fraction(basis.delay.contribution)
            * Fraction(basis.delay.lost_share)
            / 52
        )
        answers.append([direct, length, direct + delay])
    return answers


def is_same(found: tuple[Range, ...], wanted: list[list[Fraction]]) -> bool:
    pairs = [pair for mine, theirs in zip(found, wanted, strict=True) for pair in zip(mine, theirs, strict=True)]
    return all(abs(Fraction(mine) - theirs) < Fraction(1, 10**6) for mine, theirs in pairs)


@pytest.mark.parametrize("seed", range(30))
def test_figures_are_those_of_the_slow_twin(seed: int) -> None:
    basis = draw_basis(seed)
    dice = random.Random(seed)
    some = dice.sample(FEATURES, dice.randint(1, 3))
    change = build_change(basis, some)
    for point in (None, *dice.sample(list(Stage), 3)):
        figure = compute_figure(basis, change, point)
        if figure.redone:
            assert is_same(figure.exact, judge(basis, some, point))


@pytest.mark.parametrize("seed", range(30))
def test_one_pass_over_the_stages_is_the_slow_twin_stage_by_stage(seed: int) -> None:
    basis = draw_basis(seed)
    ladder = compute_ladder(basis)
    for one in ladder.features:
        assert one.feature is not None
        for stage in Stage:
            figure = one.find_rung(stage)
            slow = compute_figure(basis, build_change(basis, [one.feature]), stage)
            assert is_same(figure.exact, [[Fraction(value) for value in found] for found in slow.exact])
            assert [(row.change_class, row.exact) for row in figure.rows] == [
                (row.change_class, row.exact) for row in slow.rows
            ]
            if figure.redone:
                assert is_same(figure.exact, judge(basis, [one.feature], stage))


def test_all_kinds_of_graph_are_met() -> None:
    kinds = {(basis.graph.is_stage_ordered, basis.graph.is_rising) for basis in map(draw_basis, range(30))}
    assert kinds == {(True, True), (True, False), (False, True), (False, False)}


@pytest.mark.parametrize("seed", range(20))
def test_reach_is_that_of_the_slow_twin(seed: int) -> None:
    graph = draw_basis(seed).graph
    items = {item.key: item for item in graph.items}
    for feature in FEATURES:
        assert {graph.items[one].key for one in find_affected(graph, [feature])} == find_descendants(items, [feature])


@pytest.mark.parametrize("seed", range(20))
def test_longest_path_is_that_of_walking_every_chain(seed: int) -> None:
    dice = random.Random(seed)
    keys = [f"n{count}" for count in range(9)]
    after = {key: [one for one in keys[:place] if dice.random() < 0.35] for place, key in enumerate(keys)}
    times = {key: Decimal(dice.randint(0, 9)) for key in keys}

    def longest_to(key: str) -> Decimal:
        return times[key] + max((longest_to(one) for one in after[key]), default=Decimal(0))

    found = compute_longest_path(times, after)
    assert not isinstance(found, Cycle)
    assert found.length == max(map(longest_to, keys))
    assert sum(times[key] for key in found.keys) == found.length
    assert all(one in after[other] for one, other in zip(found.keys, found.keys[1:], strict=False))
