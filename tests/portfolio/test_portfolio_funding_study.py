"""All answers of a plan: budgets, promises that stay paid, what is kept between runs, a stop by hand."""

from __future__ import annotations

import dataclasses
import doctest
import importlib
import json
import math
from itertools import pairwise
from pathlib import Path

import pytest
from portfolio.spend_workspaces import ROOT, fund

from pipeline.planning.funding_account import check_plan
from pipeline.planning.funding_case import FundingCase, Product, Quarter, Tool, compute_total_cash
from pipeline.planning.funding_faults import FaultKind
from pipeline.planning.funding_sureness import WorldModel
from pipeline.portfolio import funding_store, funding_study
from pipeline.portfolio.funding import Funding
from pipeline.portfolio.funding_budget import build_budget_steps, change_budget, compute_promised, find_least_budget
from pipeline.portfolio.funding_curve import compute_cash_curve
from pipeline.portfolio.funding_limits import limit_each_quarter
from pipeline.portfolio.funding_store import decode, encode, study_kept
from pipeline.portfolio.funding_study import Study, StudySettings, compute_study
from pipeline.portfolio.funding_worlds import build_world_model, compute_late_chances
from pipeline.portfolio.portfolio import build_portfolio

SMALL = StudySettings(points=5, cut_steps=1, worlds=3)
MODULES = (
    "funding", "funding_budget", "funding_limits", "funding_quarters", "funding_tools", "funding_worlds", "funding_worth",
)  # fmt: skip


@pytest.fixture(scope="module")
def funding() -> Funding:
    return fund(build_portfolio(ROOT))


@pytest.fixture(scope="module")
def study(funding: Funding) -> Study:
    return compute_study(funding.case, WorldModel(), StudySettings(worlds=4))


def _build_case(new: tuple[float, ...], committed: tuple[float, ...] = ()) -> FundingCase:
    """A small case: a die for a bezel, a mould for a lens, a lamp that needs the lens."""
    quarters = tuple(Quarter(f"Q{k}", cash, committed[k] if k < len(committed) else 0.0) for k, cash in enumerate(new))
    tools = (Tool("die", (3.0, 3.0)), Tool("mould", (5.0,)), Tool("jig", (1.0,)))
    products = (
        Product("bezel", (9.0,), ("die",)),
        Product("lens", (7.0,), ("mould",)),
        Product("lamp", (8.0,), ("jig",), ("lens",)),
    )
    return FundingCase(quarters, tools, products, currency="USD")


@pytest.mark.parametrize("name", MODULES)
def test_examples_of_the_modules_hold(name: str) -> None:
    found = doctest.testmod(importlib.import_module(f"pipeline.portfolio.{name}"))
    assert found.failed == 0


# --- budgets ------------------------------------------------------------------------------------------------


def test_a_smaller_budget_never_breaks_a_promise() -> None:
    case = _build_case((10.0, 20.0, 10.0), (8.0, 5.0))
    for budget in (13.0, 14.0, 25.0, 39.9, 40.0, 55.0):
        changed = change_budget(case, budget)
        left = 0.0
        for quarter in changed.quarters:
            left += quarter.new_cash - quarter.committed
            assert left >= -1e-9, (budget, quarter)
        assert math.isclose(compute_total_cash(changed), budget)
    free = [q.new_cash - q.committed for q in change_budget(case, 13.0 + 27.0 / 3).quarters]
    assert free == pytest.approx([2.0 / 3, 15.0 / 3, 10.0 / 3])  # a third of what is free in each quarter


def test_the_stated_budget_stays_as_it_is() -> None:
    case = _build_case((10.0, 20.0), (8.0,))
    assert change_budget(case, 30.0) == case


def test_where_promises_come_too_early_the_least_budget_is_scaled_up() -> None:
    case = _build_case((10.0, 30.0), (20.0,))
    assert find_least_budget(case) == 80.0
    assert find_least_budget(_build_case((20.0, 20.0), (20.0,))) == 20.0
    assert find_least_budget(_build_case((0.0, 20.0), (20.0,))) == math.inf
    steps = build_budget_steps(case, 5)
    assert steps[0] == 40.0 and min(s for s in steps if s > 40.0) >= 80.0


def test_budgets_are_round_and_hold_the_stated_one(funding: Funding) -> None:
    steps = build_budget_steps(funding.case)
    own, promised = compute_total_cash(funding.case), compute_promised(funding.case)
    assert own in steps and 12 <= len(steps) <= 22
    assert all(step % 2500 == 0 for step in steps if step > promised + 1)
    assert steps[0] >= promised
    with pytest.raises(ValueError, match="below zero"):
        change_budget(funding.case, -1)


def test_a_lapsing_budget_stays_lapsing() -> None:
    case = limit_each_quarter(_build_case((10.0, 20.0), (8.0,)))
    limit = next(r for r in change_budget(case, 60.0).resources)
    assert limit.capacity == pytest.approx((12.0, 40.0))


# --- laws of the solved points ------------------------------------------------------------------------------------


def test_more_cash_never_lowers_worth_and_no_quarter_is_overspent(funding: Funding, study: Study) -> None:
    worths = [point.plan.worth for point in study.points if point.plan is not None]
    assert len(worths) == len(study.points) >= 12
    assert all(b >= a - 1e-6 for a, b in pairwise(worths))
    for point in study.points:
        assert point.plan is not None
        case = change_budget(funding.case, point.budget)
        assert check_plan(case, point.plan.releases, point.plan.launches) == ()
        assert not ("TW-160 tools" in point.plan.releases and "TW-161 tools" not in point.plan.releases)


def test_the_ends_hold_the_plan(study: Study) -> None:
    assert study.plan is not None and study.rich is not None
    assert study.base is not None and study.waiting is not None and study.alone is not None
    assert study.base < study.waiting <= study.plan.worth <= study.rich.worth + 1e-6
    assert study.alone <= study.plan.worth + 1e-6
    assert study.plan.is_proven


def test_steps_and_values_come_from_solving_again(funding: Funding, study: Study) -> None:
    assert study.plan is not None
    assert [step.change for step in study.cut] == [k * study.cut_step for k in (-3, -2, -1, 1, 2, 3)]
    assert all(step.worth_change is not None and step.worth_change * step.change >= -1e-6 for step in study.cut)
    assert [value.quarter for value in study.shadow] == list(range(8))
    values = [value.worth_change for value in study.shadow]
    assert all(a >= b - 1e-6 for a, b in pairwise(values))  # cash is carried on
    assert len(study.reasons) == len(funding.case.tools)


def test_an_asked_budget_is_solved_exactly_and_stands_among_the_points(funding: Funding, study: Study) -> None:
    at = next(point for point in study.points if point.budget == 100_000)
    asked = compute_study(funding.case, WorldModel(), dataclasses.replace(SMALL, budget=100_000.0))
    assert at.plan is not None and asked.plan is not None
    assert (asked.own, asked.stated) == (100_000.0, 360_000.0)
    assert dict(asked.plan.releases) == dict(at.plan.releases)
    assert math.isclose(asked.plan.worth, at.plan.worth)
    assert any(point.budget == 100_000 and point.plan == asked.plan for point in asked.points)


def test_a_plan_that_cannot_be_says_why_and_still_solves_other_budgets() -> None:
    found = compute_study(_build_case((10.0, 30.0), (20.0,)), WorldModel(), SMALL)
    assert found.plan is None
    assert found.faults[0].kind is FaultKind.COMMITTED_BEYOND_CASH
    assert any(point.plan is not None for point in found.points)
    assert found.reasons == ()


# --- worlds and the cash curve --------------------------------------------------------------------------------------


def test_worlds_take_the_ranges_of_the_records(funding: Funding) -> None:
    from pipeline.model.quantity import Range

    model = build_world_model(funding, Range(low=1.0, likely=1.0, high=1.2))
    clip = model.demand["TW-205"]  # demand: per_year [9000, 16000, 24000]
    assert (clip.low, clip.likely, clip.high) == (9 / 16, 1.0, 1.5)
    assert (model.any_cost.low, model.any_cost.high) == (1.0, 1.2)
    assert all(math.isclose(sum(chances), 1.0) for chances in model.delay.values())


def test_late_chances_add_up_at_the_borders() -> None:
    for weeks in ((0.0, 0.0, 0.0), (6.0, 6.4, 6.6), (1.0, 6.4999, 200.0), (5.0, 32.5, 33.0)):
        chances = compute_late_chances(weeks)
        assert math.isclose(sum(chances), 1.0) and min(chances) >= 0, weeks


def test_the_cash_curve_goes_down_by_what_is_paid_and_comes_back(funding: Funding, study: Study) -> None:
    from pipeline.model.quantity import Range

    assert study.plan is not None
    sure = compute_cash_curve(funding, study.plan, Range(low=1.0, likely=1.0, high=1.0), 1)
    rows = study.plan.account.cash
    assert math.isclose(sure.mean[0], -(rows[0].committed + rows[0].paid), rel_tol=1e-9)
    assert all(low <= mean <= high for low, mean, high in zip(sure.low, sure.mean, sure.high, strict=True))
    assert sure.back is not None and sure.mean[sure.back] >= 0 > sure.mean[sure.back - 1]
    assert sure.deepest == min(sure.mean) and sure.mean[sure.deepest_at] == sure.deepest
    again = compute_cash_curve(funding, study.plan, Range(low=1.0, likely=1.0, high=1.0), 1)
    assert again == sure


# --- kept between runs ------------------------------------------------------------------------------------------------


def test_a_study_survives_being_written(study: Study) -> None:
    assert decode(Study, json.loads(json.dumps(encode(study)))) == study


def test_a_second_run_solves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = _build_case((10.0, 20.0))
    first = study_kept(tmp_path, case, WorldModel(), SMALL)
    monkeypatch.setattr(funding_store, "compute_study", lambda *_: pytest.fail("solved again"))
    assert study_kept(tmp_path, case, WorldModel(), SMALL) == first


@pytest.mark.parametrize("damage", ("", "[1, 2]", "{", '{"plan": 3}', "null"))
def test_what_is_damaged_is_made_anew(tmp_path: Path, damage: str) -> None:
    case = _build_case((10.0, 20.0))
    first = study_kept(tmp_path, case, WorldModel(), SMALL)
    (file,) = (tmp_path / funding_store.FOLDER).glob("*.json")
    file.write_text(damage, "utf-8")
    assert study_kept(tmp_path, case, WorldModel(), SMALL) == first
    assert len(file.read_text("utf-8")) > 100


def test_a_study_that_was_written_over_is_made_anew(tmp_path: Path) -> None:
    case = _build_case((10.0, 20.0))
    first = study_kept(tmp_path, case, WorldModel(), SMALL)
    (file,) = (tmp_path / funding_store.FOLDER).glob("*.json")
    sealed, _, _ = file.read_text("utf-8").partition("\n")
    other = encode(dataclasses.replace(first, seed=first.seed + 1))
    file.write_text(f"{sealed}\n{json.dumps(other)}", "utf-8")
    assert study_kept(tmp_path, case, WorldModel(), SMALL) == first


def test_another_case_seed_or_budget_is_another_study(tmp_path: Path) -> None:
    case = _build_case((10.0, 20.0))
    for made in (case, _build_case((10.0, 21.0))):
        for settings in (SMALL, dataclasses.replace(SMALL, seed=7), dataclasses.replace(SMALL, budget=12.0)):
            study_kept(tmp_path, made, WorldModel(), settings)
    assert len(list((tmp_path / funding_store.FOLDER).glob("*.json"))) == 6


def test_a_folder_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / ".pipeline").write_text("a file where a folder should be", "utf-8")
    assert study_kept(tmp_path, _build_case((10.0,)), WorldModel(), SMALL).plan is not None


# --- stopped by hand ----------------------------------------------------------------------------------------------------


def test_a_stop_leaves_the_last_good_answer_and_keeps_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = _build_case((10.0, 20.0))

    def stop(*_args: object, **_more: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(funding_study, "compute_sureness", stop)
    found = study_kept(tmp_path, case, WorldModel(), SMALL)
    assert not found.is_complete
    assert found.plan is not None and found.plan.is_proven
    assert found.points and found.reasons and found.cut
    assert found.sureness is None
    assert not (tmp_path / funding_store.FOLDER).exists()


def test_progress_tells_what_is_done_and_of_how_many() -> None:
    told: list[tuple[str, int, int]] = []
    compute_study(_build_case((10.0, 20.0)), WorldModel(), SMALL, lambda *step: told.append(step))
    assert {what for what, _, _ in told} >= {"the ends of the scale", "budgets", "steps of budget", "worlds"}
    assert all(0 <= done <= total for _, done, total in told)
    assert ("worlds", 3, 3) in told
