"""What is redone, in which order, what drags what, and what is refused."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.costing.change_classes import (
    ChangeClass,
    ClassPrice,
    build_class_effects,
    build_mix,
    narrow_mix,
)
from pipeline.costing.delay import Delay
from pipeline.costing.paths import Cycle, compute_longest_path, order_by_precedence
from pipeline.costing.ranges import Range, build_range, mix_ranges
from pipeline.costing.redo import RedoGraph, RedoItem, RedoKind, Station, build_redo_graph, find_affected
from pipeline.costing.stages import Stage, parse_stage
from pipeline.costing.tool_redo import ToolFacts, build_all_tool_items, build_tool_items
from pipeline.costing.working import (
    Line,
    build_amount_line,
    build_count_line,
    build_hours_line,
    build_share_line,
)

ONE = build_range(1)


def make(key: str, **facts: object) -> RedoItem:
    stage = facts.pop("stage", Stage.MODEL)
    return RedoItem(key, facts.pop("kind", RedoKind.OTHER), key, stage, **facts)  # type: ignore[arg-type]


def build(*items: RedoItem) -> RedoGraph:
    graph = build_redo_graph(items)
    assert not isinstance(graph, Cycle)
    return graph


def reach(graph: RedoGraph, *features: str) -> set[str]:
    return {graph.items[position].key for position in find_affected(graph, features)}


def only(*features: str) -> frozenset[str]:
    return frozenset(features)


def test_covered_items_are_redone_and_others_left_alone() -> None:
    graph = build(make("C"), make("F1", covers=only("rim")), make("F2", covers=only("slot"), after=("C",)))
    assert reach(graph, "rim") == {"C", "F1"}


def test_after_orders_but_does_not_drag() -> None:
    graph = build(make("F1", covers=only("rim")), make("F2", covers=only("slot"), after=("F1",)))
    assert reach(graph, "rim") == {"F1"}
    assert [item.key for item in graph.items] == ["F1", "F2"]


def test_a_mask_follows_its_moulding_and_comes_after_it() -> None:
    graph = build(make("mask", covers=only(), follows=("mould",)), make("mould", covers=only("lens")))
    assert reach(graph, "lens") == {"mould", "mask"}
    assert [item.key for item in graph.items] == ["mould", "mask"]


def test_dragging_passes_through_a_chain() -> None:
    graph = build(
        make("a", covers=only("x")),
        make("b", covers=only(), follows=("a",)),
        make("c", covers=only(), follows=("b",)),
    )
    assert reach(graph, "x") == {"a", "b", "c"}
    assert reach(graph, "y") == set()


def draw_row() -> RedoGraph:
    return build(
        make("draw1", kind=RedoKind.TOOL_CHANGE, covers=only("depth"), station=Station("bowl", 1)),
        make("draw2", kind=RedoKind.TOOL_CHANGE, covers=only("radius"), station=Station("bowl", 2)),
        make("trim", kind=RedoKind.TRIM_TOOL, covers=only("edge"), station=Station("bowl", 3)),
        make("pierce", kind=RedoKind.TOOL_CHANGE, covers=only("hole"), station=Station("bowl", 4)),
        make("other", kind=RedoKind.TOOL_CHANGE, covers=only("lid"), station=Station("lid", 2)),
    )


@pytest.mark.parametrize(
    ("feature", "tools"),
    [
        ("depth", {"draw1", "draw2", "trim", "pierce"}),
        ("radius", {"draw2", "trim", "pierce"}),
        ("edge", {"trim"}),
        ("hole", {"pierce"}),
        ("lid", {"other"}),
    ],
)
def test_an_early_station_drags_the_later_and_a_trim_only_itself(feature: str, tools: set[str]) -> None:
    assert reach(draw_row(), feature) == tools


def test_a_trim_with_a_redesign_still_drags_only_itself() -> None:
    redesign = (build_amount_line("redesign", 100),)
    prices = (ClassPrice(ChangeClass.NEW_TOOL, ONE, share=ONE),)
    tools = [
        ToolFacts(
            key,
            key,
            Decimal(100),
            kind=kind,
            class_prices=prices,
            forms=only(key),
            station=Station("bowl", order),
            redesign=redesign,
        )
        for order, (key, kind) in enumerate([("trim", RedoKind.TRIM_TOOL), ("pierce", RedoKind.TOOL_CHANGE)])
    ]
    graph = build(*build_all_tool_items(tools))
    assert reach(graph, "trim") == {"trim.redesign", "trim.redo"}
    assert reach(graph, "pierce") == {"pierce.redesign", "pierce.redo"}


def test_redesign_and_change_go_together_in_that_order() -> None:
    tool = ToolFacts(
        "t", "tool", Decimal(10), forms=only("x"), redesign=(build_amount_line("r", 1),), made_to_fit=("d",)
    )
    die = ToolFacts("d", "die", Decimal(10), forms=only("y"))
    graph = build(*build_all_tool_items([tool, die]))
    assert reach(graph, "y") == {"d.redo", "t.redesign", "t.redo"}
    assert graph.place["t.redesign"] < graph.place["t.redo"]
    assert graph.place["d.redo"] < graph.place["t.redo"]


def test_masks_and_gauges_are_remade_at_their_price() -> None:
    (mask,) = build_tool_items(
        ToolFacts("m", "mask", Decimal(900), kind=RedoKind.REMAKE, remake_weeks=build_range(1, 2, 3))
    )
    assert (mask.cost, mask.weeks) == (build_range("900.00"), build_range(1, 2, 3))
    assert mask.by_class == ()


def test_order_is_by_key_where_nothing_decides() -> None:
    items = [make(key, after=after) for key, after in [("c", ("z",)), ("b", ()), ("z", ()), ("a", ("b",))]]
    for turned in (items, items[::-1], items[2:] + items[:2]):
        assert [item.key for item in build(*turned).items] == ["b", "a", "z", "c"]


def test_a_ring_is_a_value_that_names_its_edges() -> None:
    ring = build_redo_graph(
        [make("a", after=("c",)), make("b", after=("a",)), make("c", follows=("b",)), make("d", after=("c",))]
    )
    assert isinstance(ring, Cycle)
    assert ring.edges == (("a", "b"), ("b", "c"), ("c", "a"))
    assert "b after a, c after b, a after c" in ring.message


def test_an_item_after_itself_is_a_ring() -> None:
    ring = build_redo_graph([make("a", after=("a",))])
    assert isinstance(ring, Cycle)
    assert ring.edges == (("a", "a"),)


@pytest.mark.parametrize(
    ("items", "words"),
    [
        ([make("a"), make("a")], 'two items have the key "a"'),
        ([make("a", after=("b",))], '"a" is redone after "b", which is not among the items'),
        ([make("a", follows=("b",))], '"a" follows "b", which is not among the items'),
        ([make("a", redesign_of="b")], '"a" is the redesign of "b", which is not among the items'),
        ([make("t"), make("a", redesign_of="t"), make("b", redesign_of="t")], 'both the redesign of "t"'),
    ],
)
def test_impossible_graphs_are_refused(items: list[RedoItem], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        build_redo_graph(items)


NEW = (ClassPrice(ChangeClass.NEW_TOOL, ONE, share=ONE),)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: build_range(-1), "below zero"),
        (lambda: build_range(3, 2, 4), "low 3, likely 2, high 4"),
        (lambda: build_range("NaN"), "finite"),
        (lambda: build_range("Infinity"), "finite"),
        (lambda: Line("die", "", Range(*map(Decimal, (5, 4, 6)))), 'the cost of "die" is low 5'),
        (lambda: build_hours_line("fit", 3, -75), 'the price of "fit" is -75 per h'),
        (lambda: build_hours_line("fit", -3, 75), "below zero"),
        (lambda: build_count_line("stock", 3, "pieces", 10, lost=1.5), "lost share"),
        (lambda: build_share_line("die", ONE, Decimal(-1)), "the price behind"),
        (lambda: make("a", weeks=Range(*map(Decimal, (2, 1, 3)))), 'the weeks of "a"'),
        (lambda: make(""), "has no key"),
        (
            lambda: make(
                "a", lines=(build_amount_line("x", 1),), by_class=build_class_effects("a", None, NEW, inserts=True)
            ),
            "flat",
        ),
        (lambda: ClassPrice(ChangeClass.WELD, ONE), "one of the two"),
        (lambda: ClassPrice(ChangeClass.WELD, ONE, share=ONE, amount=ONE), "one of the two"),
        (lambda: build_class_effects("die", Decimal(1), NEW * 2, inserts=True), "2 times"),
        (lambda: build_class_effects("die", Decimal(1), (), inserts=True), "states no new-tool"),
        (lambda: build_mix({ChangeClass.WELD: 0.5, ChangeClass.NEW_TOOL: 0.4}), "add to 0.9"),
        (lambda: build_mix({ChangeClass.WELD: 1.5, ChangeClass.NEW_TOOL: -0.5}), "weight of new-tool is -0.5"),
        (lambda: build_mix({}), "add to 0"),
        (lambda: Delay(ONE, Decimal(-3), Decimal(1)), "sold at a loss"),
        (lambda: Delay(ONE, Decimal(3), Decimal(2)), "lost share is 2"),
        (lambda: parse_stage("sketch"), '"sketch" is not a stage'),
        (lambda: compute_longest_path({"a": Decimal(1)}, {"a": ["b"]}), '"b" is waited for'),
        (lambda: compute_longest_path({"a": Decimal(-1)}, {}), "takes -1"),
    ],
)
def test_impossible_arguments_are_refused(call: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()  # type: ignore[operator]


def test_an_insert_falls_to_the_next_heavier_class_without_inserts() -> None:
    prices = [ClassPrice(one, ONE, share=ONE) for one in (ChangeClass.NEW_TOOL, ChangeClass.INSERT, ChangeClass.WELD)]
    built = build_class_effects("die", Decimal(9), prices, inserts=True)
    assert [one.change_class.value for one in built] == ["weld", "insert", "new-tool"]
    plain = build_class_effects("die", Decimal(9), prices, inserts=False)
    assert [one.change_class.value for one in plain] == ["weld", "new-tool"]


def test_a_tool_has_no_inserts_unless_somebody_says_so() -> None:
    prices = tuple(ClassPrice(one, ONE, share=ONE) for one in (ChangeClass.INSERT, ChangeClass.NEW_TOOL))
    (change,) = build_tool_items(ToolFacts("t", "tool", Decimal(9), class_prices=prices))
    assert [effect.change_class for effect in change.by_class] == [ChangeClass.NEW_TOOL]


def test_likely_directions_narrow_the_family_mix() -> None:
    family = build_mix({ChangeClass.METAL_OFF: 0.6, ChangeClass.WELD: 0.4})
    assert narrow_mix(family, []) == family
    assert narrow_mix(family, [ChangeClass.WELD]) == ((ChangeClass.WELD, Decimal(1)),)
    alike = narrow_mix(family, [ChangeClass.NEW_TOOL, ChangeClass.INSERT])
    assert alike == ((ChangeClass.INSERT, Decimal("0.5")), (ChangeClass.NEW_TOOL, Decimal("0.5")))
    assert sum(weight for _, weight in build_mix({one: Decimal("0.2") for one in ChangeClass})) == 1


@pytest.mark.parametrize("rounded", ["0.4995", "0.5005"])
def test_weights_that_miss_the_whole_by_half_a_thousandth_are_rounded_ones(rounded: str) -> None:
    mix = build_mix({ChangeClass.WELD: "0.5", ChangeClass.NEW_TOOL: rounded})
    assert sum(weight for _, weight in mix) == 1
    further = Decimal(rounded) + (Decimal(rounded) - Decimal("0.5")) / 1000
    with pytest.raises(ValueError, match="write weights that add to 1"):
        build_mix({ChangeClass.WELD: "0.5", ChangeClass.NEW_TOOL: further})


def test_lines_say_how_they_were_reckoned() -> None:
    assert build_hours_line("fit", build_range(3, 4, 6), 75).working == "3 to 6, likely 4 h x 75.00"
    assert build_count_line("stock", 300, "pieces", 28.4, lost=0.9).amount == build_range("7668.00")
    assert build_share_line("die", build_range("0.02", "0.05", "0.08"), Decimal(38000)).working == (
        "0.02 to 0.08, likely 0.05 x 38,000.00"
    )
    assert build_share_line("die", ONE, None).amount is None
    assert build_amount_line("print", None).working == "no price stated"


@pytest.mark.parametrize(("price", "half"), [("0", "0.00"), ("0.40", "0.20"), ("1", "0.50")])
def test_what_is_free_or_next_to_it_has_a_price_all_the_same(price: str, half: str) -> None:
    each = Decimal(price)
    assert build_share_line("change", build_range("0.5"), each).amount == build_range(half)
    assert build_count_line("stock", 1, "pieces", each, lost="0.5").amount == build_range(half)


def test_delay_costs_nothing_off_the_critical_path() -> None:
    delay = Delay(build_range(800), Decimal(42), Decimal("0.5"), on_critical_path=False)
    assert delay.per_week == build_range(0)
    assert delay.render_working(ONE) == "nothing waits for this part: 0"


def test_longest_path_of_nothing_and_of_a_ring() -> None:
    found = compute_longest_path({}, {})
    assert not isinstance(found, Cycle)
    assert (found.length, found.keys) == (0, ())
    assert isinstance(compute_longest_path({"a": Decimal(1), "b": Decimal(1)}, {"a": ["b"], "b": ["a"]}), Cycle)
    assert order_by_precedence({"b": [], "a": []}) == ("a", "b")


def test_a_zero_weight_does_not_widen_a_mix() -> None:
    assert mix_ranges([(Decimal(1), ONE), (Decimal(0), build_range(99))]) == ONE


def test_the_weeks_of_a_class_are_multiplied_end_by_end_with_the_factor_of_our_own_changes() -> None:
    """By hand: 2 x 1.1, 3 x 1.2, 5 x 1.5; the money of the class is untouched."""
    weeks, share = build_range(2, 3, 5), build_range("0.1")
    own = build_range("1.1", "1.2", "1.5")
    plain = ClassPrice(ChangeClass.NEW_TOOL, weeks, share=share)
    longer = ClassPrice(ChangeClass.NEW_TOOL, weeks, share=share, weeks_factor=own)
    (was,), (now,) = (build_class_effects("die", Decimal(1000), [one], inserts=False) for one in (plain, longer))
    assert was.weeks == weeks and now.weeks == build_range("2.2", "3.6", "7.5")
    assert now.line == was.line
    with pytest.raises(ValueError, match="the factor of the weeks of change class new-tool is low"):
        ClassPrice(ChangeClass.NEW_TOOL, weeks, share=share, weeks_factor=Range(Decimal(2), Decimal(1), Decimal(3)))
