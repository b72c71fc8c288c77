"""The impact preview: what follows, in which order, when, at what cost, and why."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.costing.change_basis import ChangeBasis, FeatureErrors
from pipeline.costing.change_classes import ChangeClass, ClassPrice, build_mix
from pipeline.costing.delay import Delay
from pipeline.costing.impact import Impact, compute_impact
from pipeline.costing.paths import Cycle
from pipeline.costing.ranges import build_range
from pipeline.costing.redo import RedoItem, RedoKind, build_redo_graph
from pipeline.costing.stages import Stage
from pipeline.costing.tool_redo import ToolFacts, build_all_tool_items
from pipeline.costing.working import build_amount_line, build_hours_line

WELD, NEW = ChangeClass.WELD, ChangeClass.NEW_TOOL
MIX = build_mix({WELD: 0.75, NEW: 0.25})
PRICES = (
    ClassPrice(WELD, build_range(4), amount=build_range(2000)),
    ClassPrice(NEW, build_range(12), amount=build_range(10000), redesign_in_price=True),
)


def build_basis() -> ChangeBasis:
    work, week = (build_hours_line("work", 4, 75),), build_range(1)
    items = [
        RedoItem("C", RedoKind.REVISION, "revision C", Stage.MODEL, work, week, exists=True),
        RedoItem(
            "F2",
            RedoKind.FIT_CHECK,
            "fit check F2",
            Stage.FIT_CHECK,
            work,
            week,
            ("C",),
            covers=frozenset({"rim_od"}),
            exists=True,
            origin="made from revision C",
        ),
        RedoItem("plating", RedoKind.PLATING_TRIAL, "plating trial", Stage.FIRST_ARTICLE, work, week, ("mould.redo",)),
    ]
    tools = [
        ToolFacts(
            "mould",
            "lens mould",
            Decimal(10000),
            class_prices=PRICES,
            forms=frozenset({"rim_od", "rib"}),
            redesign=(build_amount_line("redesign", 500),),
            redesign_weeks=build_range(1),
            after=("C",),
            is_ordered=True,
            is_made=True,
        ),
        ToolFacts(
            "mask",
            "paint mask",
            Decimal(900),
            RedoKind.REMAKE,
            made_to_fit=("mould",),
            remake_weeks=build_range(2),
            is_made=True,
        ),
        ToolFacts(
            "gauge",
            "check gauge",
            None,
            RedoKind.GAUGE,
            made_to_fit=("mask",),
            remake_weeks=build_range(1),
            is_made=True,
        ),
    ]
    graph = build_redo_graph([*items, *build_all_tool_items(tools)])
    assert not isinstance(graph, Cycle)
    features = (FeatureErrors("rim_od", MIX), FeatureErrors("rib", MIX))
    return ChangeBasis(graph, MIX, features, Delay(build_range(520), Decimal(10), Decimal("0.5")))


@pytest.fixture(scope="module")
def impact() -> Impact:
    return compute_impact(build_basis(), ["rim_od"])


def test_order_is_that_of_the_work_and_ties_go_by_key(impact: Impact) -> None:
    assert [step.key for step in impact.steps] == ["C", "F2", "mould.redesign", "mould.redo", "mask.redo", "gauge.redo"]


def test_what_does_not_exist_is_not_redone_today_but_is_later() -> None:
    later = compute_impact(build_basis(), ["rim_od"], Stage.FIRST_ARTICLE)
    assert [step.key for step in later.steps][-1] == "plating"
    assert later.found is Stage.FIRST_ARTICLE


def test_uncovered_evidence_is_left_alone() -> None:
    assert "F2" not in [step.key for step in compute_impact(build_basis(), ["rib"]).steps]


def test_reasons_are_paths_in_words(impact: Impact) -> None:
    reasons = {step.key: step.reason for step in impact.steps}
    assert reasons["F2"] == "made from revision C, covers rim_od"
    assert reasons["C"] == "covers every feature"
    assert reasons["mask.redo"] == "follows change to lens mould, which covers rim_od"
    assert reasons["gauge.redo"] == (
        "follows remake of paint mask, which follows change to lens mould, which covers rim_od"
    )
    assert {step.key: step.path for step in impact.steps}["gauge.redo"] == ("mould.redo", "mask.redo", "gauge.redo")


def test_weeks_follow_the_order(impact: Impact) -> None:
    """Revision 1, redesign 1, change 0.75 x 4 + 0.25 x 12 = 6, mask 2, gauge 1; the fit check runs beside."""
    when = {step.key: (step.starts.likely, step.finishes.likely) for step in impact.steps}
    assert when == {
        "C": (0, 1),
        "F2": (1, 2),
        "mould.redesign": (1, 2),
        "mould.redo": (2, 8),
        "mask.redo": (8, 10),
        "gauge.redo": (10, 11),
    }
    assert impact.path_weeks == build_range(9, 11, 17)
    assert impact.figure.weeks == impact.path_weeks
    assert {step.key for step in impact.steps if step.is_critical} == set(when) - {"F2"}


def test_costs_of_the_steps_add_to_the_figure(impact: Impact) -> None:
    cost = {step.key: step.cost for step in impact.steps}
    assert cost["mould.redo"] == build_range(2000, 4000, 10000)
    assert cost["mould.redesign"] == build_range(0, 375, 500)
    assert sum(one.likely for one in cost.values()) == impact.figure.direct.likely == 300 + 300 + 375 + 4000 + 900
    assert impact.figure.delay.likely == 11 * 50
    assert impact.figure.total.likely == impact.figure.direct.likely + 550


def test_a_step_without_a_price_says_so(impact: Impact) -> None:
    assert impact.figure.missing == ("remake of check gauge",)
    assert impact.steps[-1].lines[0].amount is None


def test_a_change_that_touches_nothing_is_empty() -> None:
    graph = build_redo_graph([RedoItem("F", RedoKind.FIT_CHECK, "fit", Stage.FIT_CHECK, covers=frozenset({"a"}))])
    assert not isinstance(graph, Cycle)
    impact = compute_impact(ChangeBasis(graph, MIX, (FeatureErrors("b", MIX),)), ["b"])
    assert impact.steps == ()
    assert impact.path_weeks == impact.figure.total == build_range(0)


def test_an_unknown_feature_is_refused() -> None:
    with pytest.raises(ValueError, match='"rim" is not a feature of this part; its features are rib, rim_od'):
        compute_impact(build_basis(), ["rim"])


def test_features_named_twice_or_turned_round_are_one_change() -> None:
    basis = build_basis()
    assert compute_impact(basis, ["rib", "rim_od", "rib"]) == compute_impact(basis, ["rim_od", "rib"])
