"""From a record to the cost of a change: the worked example to the cent, laws, currencies, and missing prices."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lineage.lineage_workspace import build_catalogues, parse_record, parse_text

from pipeline.costing.change_basis import ChangeBasis
from pipeline.costing.change_classes import ChangeClass
from pipeline.costing.impact import Impact, compute_impact
from pipeline.costing.ladder import PartLadder, compute_ladder
from pipeline.costing.stages import Stage
from pipeline.findings.sample import SAMPLE_PART
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.workspace import Workspace
from pipeline.portfolio.money import build_rates, convert_money
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.portfolio.redo import build_change_basis

ROOT = Path(__file__).parents[2]
TODAY = dt.date(2026, 6, 1)

WORKED_FAMILY = """\
families:
  cast:
    name: cast
    tool_kinds: [die]
    mix: {metal-off: 0.55, weld: 0.25, insert: 0.15, new-tool: 0.05}
    redo: {remeasure_h: 6, remodel_h: 10, reprint: 380, fit_h: 4, fit_hire: 300, requote_h: 6, tool_redesign: 1800, setup: 1500, plating_trial: 1400, inspect_h: 16, weeks: {measure: 0.5, model: 1, prototype: 1.5, fit check: 2.5, quote: 4, tool ordered: 5, tool cut: 2, first article: 5, released: 6}}
"""
WORKED_KINDS = f"""\
kinds:
  die:
    name: casting die
    changes:
      metal-off: {{share: {1600 / 38000!r}, weeks: 3}}
      weld: {{share: {5200 / 38000!r}, weeks: 6}}
      insert: {{share: {9500 / 38000!r}, weeks: 8}}
      new-tool: {{share: 1, weeks: 16}}
  trim: {{name: trim die, trims: true, remade: true}}
  gauge: {{name: check gauge, gauge: true, remade: true}}
"""
WORKED_PART = """\
features:
  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}
fits:
  a: {vehicle: finch, body: saloon, years: 1951}
  b: {vehicle: finch, body: saloon, years: 1952}
  c: {vehicle: finch, body: saloon, years: 1953}
tools:
  die: {kind: die, inserts: true, price: 38000 USD}
  trim: {kind: trim, price: 1800 USD}
  gauge: {kind: gauge, price: 700 USD}
  nest: {kind: gauge, price: 250 USD}
quotes: {}
fit_checks: {}
decisions: []
demand: {per_year: 800, price: 68 USD, cost: 26 USD, lost_share: 0.5}
stock: {pieces: 300, unit_cost: 28.4, salvage: 0.1, in_field: 90, return_cost: 66.4}
"""


@pytest.fixture
def worked(sample: Callable[..., Path]) -> PartLadder:
    """Return the ladder of a record that holds the inputs of the worked example."""
    files = {"shared/families.yaml": WORKED_FAMILY, "shared/tool_kinds.yaml": WORKED_KINDS}
    file = build_portfolio(sample(WORKED_PART, files)).parts["SD-100"]
    assert file.ladder is not None
    return file.ladder


def test_a_record_gives_the_worked_example_to_the_cent(worked: PartLadder) -> None:
    """Worked example (invented inputs), arithmetic by hand; the same figures as in test_costing_ladder_worked.py."""
    totals = {
        Stage.MEASURE: "611.54",
        Stage.MODEL: "1523.08",
        Stage.PROTOTYPE: "2064.62",
        Stage.FIT_CHECK: "3587.69",
        Stage.QUOTE: "4432.31",
        Stage.TOOL_ORDERED: "6555.38",
    }
    assert {stage: str(worked.part.find_rung(stage).total.likely) for stage in totals} == totals
    cut = {
        (Stage.TOOL_CUT, ChangeClass.METAL_OFF): "8155.38",
        (Stage.TOOL_CUT, ChangeClass.WELD): "12724.62",
        (Stage.TOOL_CUT, ChangeClass.INSERT): "17670.77",
        (Stage.TOOL_CUT, ChangeClass.NEW_TOOL): "46955.38",
        (Stage.FIRST_ARTICLE, ChangeClass.METAL_OFF): "15974.62",
        (Stage.FIRST_ARTICLE, ChangeClass.WELD): "20543.85",
    }
    found = {
        (stage, row.change_class): str(row.total.likely)
        for stage in (Stage.TOOL_CUT, Stage.FIRST_ARTICLE)
        for row in worked.part.find_rung(stage).rows
    }
    assert {key: found[key] for key in cut} == cut  # type: ignore[index]


# -- laws -----------------------------------------------------------------------------------------------------------

KINDS = ("die", "gauge")
FEATURES = ("length", "hard")
TOOL = st.fixed_dictionaries(
    {"kind": st.sampled_from(KINDS), "forms": st.lists(st.sampled_from(FEATURES), max_size=2, unique=True)},
    optional={
        "price": st.integers(0, 90_000).map(lambda n: f"{n} USD"),
        "inserts": st.booleans(),
        "station": st.integers(1, 5),
        "steps": st.sampled_from([{}, {"ordered": "2026-05-12"}, {"ordered": "2026-05-12", "cutting": "2026-05-15"}]),
    },
)
CLASSES = ("metal-off", "weld", "insert", "new-tool")


def build_basis(record: dict[str, Any]) -> ChangeBasis:
    """Return what a record's changes are priced from."""
    workspace = Workspace({record["part"]: parse_record(record)}, build_catalogues(), {}, TODAY)
    lineage = compute_lineage(workspace)
    part = workspace.parts[record["part"]]
    basis = build_change_basis(part, lineage.parts[part.part], workspace, build_rates(workspace.catalogues))
    assert isinstance(basis, ChangeBasis)
    return basis


@cache
def read_sample() -> dict[str, Any]:
    """Return the sample's record as plain values, without its tool and its quotes."""
    record = parse_text(SAMPLE_PART) | {"quotes": {}, "decisions": []}
    record["demand"] = {"per_year": [100, 200, 300], "price": "68 USD", "cost": "20 USD"}
    return record


def build_record(tools: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the sample with these tools."""
    record = copy.deepcopy(read_sample())
    record["tools"] = {f"t{i}": tool for i, tool in enumerate(tools)}
    return record


LATE = (Stage.QUOTE, Stage.TOOL_ORDERED, Stage.TOOL_CUT, Stage.RELEASED)


@settings(deadline=None, max_examples=50, derandomize=True)
@given(st.lists(TOOL, min_size=1, max_size=2), TOOL, st.sampled_from([None, *CLASSES]))
def test_more_tools_downstream_never_cost_less(
    tools: list[dict[str, Any]], more: dict[str, Any], wrong: str | None
) -> None:
    before, after = build_record(tools), build_record([*tools, more])
    if wrong is not None:
        for record in (before, after):
            record["features"]["length"]["wrong"] = [wrong]
    less, most = build_basis(before), build_basis(after)
    for feature in FEATURES:
        for found in (None, *LATE):
            one, two = (compute_impact(basis, (feature,), found).figure for basis in (less, most))
            for end in ("low", "likely", "high"):
                assert getattr(two.total, end) >= getattr(one.total, end), (feature, found)
                assert getattr(two.weeks, end) >= getattr(one.weeks, end), (feature, found)
    ladders = [compute_ladder(basis).part for basis in (less, most)]
    for stage in Stage:
        rungs = [ladder.find_rung(stage).total for ladder in ladders]
        assert rungs[1].likely >= rungs[0].likely, stage


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.lists(TOOL, min_size=1, max_size=4))
def test_found_later_never_costs_less(tools: list[dict[str, Any]]) -> None:
    basis = build_basis(build_record(tools))
    ladder = compute_ladder(basis)
    for one in (ladder.part, *ladder.features):
        totals = [rung.direct.likely for rung in one.rungs]
        assert totals == sorted(totals), one.feature


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.lists(TOOL, min_size=1, max_size=4))
def test_a_change_to_more_features_drags_no_less(tools: list[dict[str, Any]]) -> None:
    basis = build_basis(build_record(tools))
    both = {step.key for step in compute_impact(basis, FEATURES, None).steps}
    for feature in FEATURES:
        assert {step.key for step in compute_impact(basis, (feature,), None).steps} <= both


# -- today ----------------------------------------------------------------------------------------------------------


def check_consistency(file: PartFile) -> None:
    """What is said of today agrees with what exists, and with the ladder."""
    basis, ladder = file.basis, file.ladder
    assert isinstance(basis, ChangeBasis)
    assert ladder is not None
    items = {item.key: item for item in basis.graph.items}
    for feature in file.part.features:
        impact: Impact = compute_impact(basis, (feature,), None)
        for step in impact.steps:
            assert items[step.key].exists, (file.number, step.key)
            assert Decimal(0) <= step.cost.low <= step.cost.likely <= step.cost.high
        starts = [step.starts.likely for step in impact.steps]
        assert all(start >= 0 for start in starts)
        own = next(one for one in ladder.features if one.feature == feature)
        assert own.today.total.likely == own.today.direct.likely + own.today.delay.likely
        if own.today.stage is not None:
            assert own.today.direct.likely <= own.find_rung(own.today.stage).direct.likely
    for rung in ladder.part.rungs:
        for amount in (rung.total.low, rung.total.likely, rung.total.high):
            assert amount == amount.quantize(Decimal("0.01"))


def test_the_sample_is_consistent(sample: Callable[..., Path]) -> None:
    check_consistency(build_portfolio(sample()).parts["SD-100"])


def test_every_demo_record_is_consistent() -> None:
    portfolio = build_portfolio(ROOT)
    assert len(portfolio.parts) >= 24
    for file in portfolio.parts.values():
        if file.ladder is not None:
            check_consistency(file)


# -- money ----------------------------------------------------------------------------------------------------------

MONEY = "currency: USD\nhourly: {engineer: 75, buyer: 60}\nrate_limit_days: 30\nrates:\n  - {money: EUR, on: %s, rate: 1.1, source: bank}\n"
EURO = "tools:\n  die: {kind: die, forms: [length], price: 10000 EUR, steps: {quoted: 2026-05-01}}\nquotes: {}\n"


def find_cut(root: Path) -> tuple[Decimal, tuple[str, ...]]:
    """Return the direct cost of a change by a new tool once it is cut, and what has no price."""
    file = build_portfolio(root).parts["SD-100"]
    assert file.ladder is not None
    rung = file.ladder.part.find_rung(Stage.TOOL_CUT)
    row = next(row for row in rung.rows if row.change_class is ChangeClass.NEW_TOOL)
    return row.direct.likely, rung.missing


def test_a_price_in_another_currency_is_converted_at_a_dated_rate(sample: Callable[..., Path]) -> None:
    home, nothing = find_cut(sample(EURO.replace("10000 EUR", "11000 USD")))
    away, missing = find_cut(sample(EURO, {"shared/money.yaml": MONEY % "2026-05-31"}))
    assert (away, missing) == (home, nothing) == (away, ())


@pytest.mark.parametrize(("day", "known"), [("2026-05-02", True), ("2026-05-01", False), ("2026-06-02", False)])
def test_a_rate_that_is_too_old_or_yet_to_come_leaves_the_price_out_and_says_so(
    day: str, known: bool, sample: Callable[..., Path]
) -> None:
    from pipeline.views.change_cost import render_ladder

    root = sample(EURO, {"shared/money.yaml": MONEY % day})
    _, missing = find_cut(root)
    assert bool(missing) is not known
    lines = render_ladder(build_portfolio(root).parts["SD-100"], None)
    assert any("at least" in line for line in lines) is not known


def test_an_amount_without_a_rate_is_never_taken_at_one_to_one() -> None:
    rates = build_rates(build_catalogues())
    assert convert_money(rates, 100, "USD", TODAY) == Decimal(100)
    assert convert_money(rates, 100, "CHF", TODAY) is None


def test_a_tool_without_a_price_is_said_to_be_missing_in_ladder_and_impact(sample: Callable[..., Path]) -> None:
    from pipeline.views.change_cost import render_impact, render_ladder

    root = sample(
        "tools:\n  die: {kind: die, forms: [length], steps: {ordered: 2026-05-12, cutting: 2026-05-20}}\nquotes: {}\n"
    )
    file = build_portfolio(root).parts["SD-100"]
    assert isinstance(file.basis, ChangeBasis)
    assert any("At least: no price is recorded for" in line for line in render_ladder(file, None))
    impact = compute_impact(file.basis, ("length",), None)
    assert impact.figure.missing
    assert any(line.endswith("at least.") or " at least " in line for line in render_impact(file, impact))
    untouched = compute_impact(file.basis, ("hard",), None)
    assert not untouched.figure.missing


def test_a_price_is_taken_from_the_chosen_quote_else_from_the_dearest(sample: Callable[..., Path]) -> None:
    quote = (
        "{from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: %d}, piece: {500: 4}}"
    )
    part = f"tools:\n  die: {{kind: die, forms: [length]}}\nquotes:\n  Q1: {quote % 5000}\n  Q2: {quote % 9000}\n"
    dear, _ = find_cut(sample(part))
    cheap, _ = find_cut(sample(part + "decisions:\n  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"))
    assert dear - cheap == Decimal(4000)


def test_the_last_choice_of_a_day_counts(sample: Callable[..., Path]) -> None:
    quote = "{from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, piece: {500: 4}}"
    choice = "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: %s}\n"
    part = f"quotes:\n  Q1: {quote}\n  Q2: {quote}\ndecisions:\n" + choice % "Q2" + choice % "Q1"
    from pipeline.gates.quoted import find_chosen

    assert find_chosen(build_portfolio(sample(part)).parts["SD-100"].part) == "Q1"


def test_a_ring_of_tools_has_no_ladder_and_the_rest_goes_on(sample: Callable[..., Path]) -> None:
    from pipeline.views.change_cost import render_ladder

    ring = "tools:\n  die: {kind: die, forms: [length], made_to_fit: [cap]}\n  cap: {kind: gauge, made_to_fit: [die]}\n"
    portfolio = build_portfolio(sample(ring))
    file = portfolio.parts["SD-100"]
    assert file.ladder is None
    assert "R215" in {f.rule for f in portfolio.findings}
    assert "in a ring" in render_ladder(file, None)[0]
