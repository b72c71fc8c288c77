"""Predicted against actual over the workspace: which changes count, at which rate, and the shop's factors."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.costing.calibration import Belief, compute_shop_factor
from pipeline.costing.calibration import ChangeCase as Case
from pipeline.costing.change_classes import ChangeClass
from pipeline.costing.paths import Cycle
from pipeline.costing.stages import Stage
from pipeline.model.words import ChangeClass as Words
from pipeline.portfolio.calibration import Calibration, compute_calibration
from pipeline.portfolio.portfolio import PartFile, build_portfolio

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
TOOK = """\
changes:
  C1: {found_at: tool cut, on: 2026-05-20, by: ann, what: short, mode: dimension, tool: die, class: weld, predicted_weeks: 4, weeks: 6}
  C2: {found_at: tool cut, on: 2026-05-21, by: ann, what: long, mode: dimension, tool: die, class: weld, predicted: 10 USD, actual: 12 USD, predicted_weeks: 3, weeks: 3}
  C3: {found_at: fit check, on: 2026-02-06, by: ann, what: fouled, mode: fit, predicted_weeks: 2}
  C4: {found_at: tool cut, on: 2026-05-22, by: ann, what: open, mode: fit, tool: die, class: weld, weeks: 3}
  C5: {found_at: tool cut, on: 2026-05-22, by: ann, what: free, mode: fit, tool: die, class: weld, predicted_weeks: 0, weeks: 1}
  C6: {found_at: tool cut, on: 2026-05-22, by: ann, what: at once, mode: fit, tool: die, class: weld, predicted_weeks: 1, weeks: 0}
"""
CHANGES = """\
changes:
  C1: {found_at: tool cut, on: 2026-05-20, by: ann, what: short, mode: dimension, tool: die, class: weld, predicted: 1000 USD, actual: 1500 USD}
  C2: {found_at: tool cut, on: 2026-05-21, by: ann, what: long, mode: dimension, tool: die, class: weld, predicted: 1000 EUR, actual: 1080 USD}
  C3: {found_at: fit check, on: 2026-02-06, by: ann, what: fouled, mode: fit, predicted: 200 USD, actual: 100 USD}
  C4: {found_at: tool cut, on: 2026-05-22, by: ann, what: open, mode: fit, tool: die, class: weld, predicted: 700 USD}
  C5: {found_at: tool cut, on: 2025-01-22, by: ann, what: old rate, mode: fit, tool: die, class: weld, predicted: 700 EUR, actual: 700 USD}
  C6: {found_at: tool cut, on: 2026-05-22, by: ann, what: free, mode: fit, tool: die, class: weld, predicted: 0 USD, actual: 10 USD}
"""
MONEY = "currency: USD\nhourly: {engineer: 75}\nrates:\n  - {money: EUR, on: 2026-05-18, rate: 1.08, source: bank list}\n  - {money: EUR, on: 2026-05-28, rate: 2.00, source: bank list}\n"


@functools.cache
def demo() -> Calibration:
    return compute_calibration(build_portfolio(ROOT).parts["TW-101"].shop)


def compute(sample: Sample) -> Calibration:
    root = sample(CHANGES, {"shared/money.yaml": MONEY})
    return compute_calibration(build_portfolio(root).parts["SD-100"].shop)


def test_money_is_taken_at_the_rate_of_the_day_of_the_change(sample: Sample) -> None:
    one = next(change for change in compute(sample).changes if change.key == "C2")
    assert one.predicted == pytest.approx(1080)  # 1.08 of the week before, not 2.00 of the week after
    assert one.left_out == ""


def test_what_is_left_out_says_why(sample: Sample) -> None:
    found = {change.key: change.left_out for change in compute(sample).changes if change.left_out}
    assert found == {
        "C4": "no actual cost yet",
        "C5": "no rate of EUR for 2025-01-22",
        "C6": "predicted cost of 0 gives no ratio",
    }
    assert compute(sample).counted == 3


def test_factors_go_by_tool_kind_and_class_and_are_shrunk(sample: Sample) -> None:
    found = compute(sample)
    kinds = [(one.tool_kind, one.change_class, one.cases) for one in found.factors]
    assert kinds == [("die", "weld", 2), ("no tool", "model and samples", 1)]
    weld = found.factors[0]
    assert weld.raw == pytest.approx(math.sqrt(1.5 * 1.0))
    assert 1 < weld.factor < weld.raw
    assert weld.low < weld.factor < weld.high < weld.next_high
    cases = [
        Case("die", "weld", 1000, 1500),
        Case("die", "weld", 1080, 1080),
        Case("no tool", "model and samples", 200, 100),
    ]
    assert weld == compute_shop_factor(cases, Belief(0.3, 0.4, 6), "die", "weld", 0.9)


def test_steps_from_stage_to_stage_stand_beside_the_folk_rule(sample: Sample) -> None:
    (step,) = compute(sample).ratios
    assert (step.stage, step.next_stage, step.folk) == ("fit check", "tool cut", 1000.0)
    assert step.ratio == pytest.approx((1500 * 1080 * 700 * 10) ** 0.25 / 100)
    assert step.low is None  # one case at the fit check


def test_few_cases_are_called_few(sample: Sample) -> None:
    assert compute(sample).is_few
    assert not demo().is_few
    assert demo().counted == 12


def test_the_demo_knows_the_kind_of_every_tool_that_was_changed() -> None:
    assert {one.tool_kind for one in demo().factors} == {
        "cutting-die", "die-cast-die", "form-tool", "injection-mould", "no tool", "paint-mask",
    }  # fmt: skip


def test_weeks_are_calibrated_as_costs_are(sample: Sample) -> None:
    """By hand: ratios 6/4 and 3/3, mean of logs ln 1.5 / 2; scatter^2 = (6 x 0.4^2 + 2 (ln 1.5 / 2)^2) / 7 and log
    factor = 2 / (2 + scatter^2 / 0.3^2) x the mean (Gelman and others, Bayesian Data Analysis, 2.5)."""
    found = compute_calibration(build_portfolio(sample(TOOK)).parts["SD-100"].shop)
    assert {one.key: one.weeks_left_out for one in found.changes if one.weeks_left_out} == {
        "C3": "no actual weeks yet",
        "C4": "no predicted weeks yet",
        "C5": "predicted weeks of 0 give no ratio",
        "C6": "actual weeks of 0 give no ratio",
    }
    assert (found.counted, found.counted_weeks) == (1, 2)
    (weld,) = found.weeks_factors
    assert (weld.tool_kind, weld.change_class, weld.cases) == ("die", "weld", 2)
    assert weld.raw == pytest.approx(math.sqrt(1.5))
    mean = math.log(1.5) / 2
    scatter = math.sqrt((6 * 0.4**2 + 2 * mean**2) / 7)
    assert weld.factor == pytest.approx(math.exp(2 / (2 + scatter**2 / 0.3**2) * mean))


def test_the_demo_states_its_weeks_predicted_and_actual() -> None:
    assert demo().counted_weeks == 12 and {one.cases for one in demo().weeks_factors} >= {1, 2}


# --- into the ladder ------------------------------------------------------------------------------


def close(sample: Sample, count: int, ratio: float = 1.5, change_class: str = "weld") -> Path:
    """The sample with so many closed changes of its die, each `ratio` times dearer than predicted."""
    lines = [
        f"  C{n}: {{found_at: tool cut, on: 2026-05-20, by: ann, what: short, mode: dimension, tool: die, "
        f"class: {change_class}, predicted: 1000 USD, actual: {1000 * ratio:.0f} USD}}\n"
        for n in range(1, count + 1)
    ]
    return sample("changes:\n" + "".join(lines))


def close_late(sample: Sample, count: int, weeks: float = 6.0) -> Path:
    """The sample with so many closed changes of its die, each foretold to take four weeks, with nothing said of cost."""
    lines = [
        f"  C{n}: {{found_at: tool cut, on: 2026-05-20, by: ann, what: short, mode: dimension, tool: die, class: weld, "
        f"predicted_weeks: 4, weeks: {weeks:g}}}\n"
        for n in range(1, count + 1)
    ]
    return sample("changes:\n" + "".join(lines))


def find_file(root: Path) -> PartFile:
    return build_portfolio(root).parts["SD-100"]


def test_enough_closed_changes_of_a_kind_and_class_go_into_the_ladder(sample: Sample) -> None:
    """Eight are enough (beliefs.few_cases). By hand: n = 8, no scatter of their own, so scatter^2 = 6 x 0.4^2 / 13 and
    log factor = 8 / (8 + scatter^2 / 0.3^2) x ln 1.5 (Gelman and others, Bayesian Data Analysis, 2.5)."""
    file = find_file(close(sample, 8))
    (key, factor), *others = file.factors.items()
    assert key == ("die", "weld") and not others
    scatter = math.sqrt(6 * 0.4**2 / 13)
    assert factor.factor == pytest.approx(math.exp(8 / (8 + scatter**2 / 0.3**2) * math.log(1.5)))
    assert file.ladder is not None and file.estimated_ladder is not None
    cut, was = (one.features[0].find_rung(Stage.TOOL_CUT) for one in (file.ladder, file.estimated_ladder))
    # of 9000 USD, weld 0.08, 0.14, 0.20, a quarter of the family's mix: the likely total moves by that part alone
    moved = 0.25 * 9000 * 0.14 * (round(factor.factor, 4) - 1)
    assert float(cut.total.likely - was.total.likely) == pytest.approx(moved, abs=0.02)
    early, early_was = (one.part.find_rung(Stage.QUOTE) for one in (file.ladder, file.estimated_ladder))
    assert early.total == early_was.total
    welded = next(row for row in cut.rows if row.change_class is ChangeClass.WELD)
    working = next(line.working for line in welded.lines if "weld" in line.label)
    low, high, likely = (f"{round(one, 4):g}" for one in (factor.low, factor.high, factor.factor))
    assert working.endswith(f"x 9,000.00 x {low} to {high}, likely {likely} (our own changes)")


def test_fewer_closed_changes_are_shown_and_touch_no_figure(sample: Sample) -> None:
    file = find_file(close(sample, 7))
    assert not file.factors and file.ladder == file.estimated_ladder
    assert [one.cases for one in compute_calibration(file.shop).factors] == [7]
    without = find_file(sample())
    assert file.ladder is not None and without.ladder is not None
    assert [r.total for r in file.ladder.part.rungs] == [r.total for r in without.ladder.part.rungs]


def test_enough_closed_changes_lengthen_the_weeks_of_a_tools_change(sample: Sample) -> None:
    """By hand: the weeks of a weld are 2, 3, 5 in the sample's catalogue; each is multiplied by its own end of the
    factor."""
    file = find_file(close_late(sample, 8))
    assert not file.factors and file.is_calibrated
    ((key, factor),) = file.weeks_factors.items()
    scatter = math.sqrt(6 * 0.4**2 / 13)
    assert key == ("die", "weld")
    assert factor.factor == pytest.approx(math.exp(8 / (8 + scatter**2 / 0.3**2) * math.log(1.5)))
    stated = file.workspace.catalogues.tool_kinds.kinds["die"].changes[Words.WELD].weeks
    found = {}
    for name, basis in (("was", file.estimated_basis), ("now", file.basis)):
        assert not isinstance(basis, Cycle)
        (die,) = (item for item in basis.graph.items if item.key == "die.redo")
        (found[name],) = (effect.weeks for effect in die.by_class if effect.change_class is ChangeClass.WELD)
    ends = (round(factor.low, 4), round(factor.factor, 4), round(factor.high, 4))
    assert [float(one) for one in found["was"]] == [stated.low, stated.likely, stated.high]
    assert [float(one) for one in found["now"]] == pytest.approx(
        [weeks * times for weeks, times in zip((stated.low, stated.likely, stated.high), ends, strict=True)]
    )
    assert file.ladder is not None and file.estimated_ladder is not None
    cut, was = (one.features[0].find_rung(Stage.TOOL_CUT) for one in (file.ladder, file.estimated_ladder))
    assert cut.direct == was.direct
    # a weld is a quarter of the family's mix: the likely weeks move by that part alone
    assert float(cut.weeks.likely - was.weeks.likely) == pytest.approx(0.25 * stated.likely * (ends[1] - 1))
    early, early_was = (one.part.find_rung(Stage.QUOTE) for one in (file.ladder, file.estimated_ladder))
    assert early.weeks == early_was.weeks


def test_weeks_as_estimated_and_as_calibrated_stand_side_by_side(sample: Sample) -> None:
    from pipeline.views.change_cost import render_ladder
    from pipeline.views.part_costs import build_calibrated_section
    from pipeline.views.portfolio_data import build_portfolio_data

    portfolio = build_portfolio(close_late(sample, 8))
    file = portfolio.parts["SD-100"]
    said = "\n".join(render_ladder(file, None))
    assert "die, weld, weeks: × 1.4" in said and " weeks (estimated " in said
    section = build_calibrated_section(file)
    assert section is not None and section.aside == "1 of our own factors in the ladder"
    cut = next(row for row in section.tables[0].rows if row.cells[0].line[0].text == Stage.TOOL_CUT.words)
    assert cut.cells[3].line != cut.cells[4].line
    (told,) = build_portfolio_data(portfolio)["parts"]
    calibrated = told["cost_of_change"]["calibrated"]
    assert calibrated["factors"] == [] and calibrated["weeks_factors"][0]["changes"] == 8
    assert len(calibrated["estimated_weeks"]) == len(calibrated["estimated"]) == 9
    seven = find_file(close_late(sample, 7))
    assert not seven.is_calibrated and build_calibrated_section(seven) is None


def test_the_page_of_predicted_against_actual_shows_weeks_and_what_is_missing(sample: Sample) -> None:
    from pipeline.views.calibration import build_calibration_json, build_calibration_sections
    from pipeline.views.csv_tables import render_table_csv

    portfolio = build_portfolio(sample(TOOK))
    (section,) = build_calibration_sections(portfolio)
    assert section.aside == "1 change with both figures, 2 with both weeks"
    texts = {table.caption: render_table_csv(table) for table in section.tables}
    assert "die,weld,2 (few),1.22," in texts["Our own factors of weeks"]
    assert (
        "6 of 4,1.50" in texts["Every recorded change"]
        and "– of 2,no actual weeks yet" in texts["Every recorded change"]
    )
    told = build_calibration_json(portfolio.parts["SD-100"])
    assert told["counted_weeks"] == 2 and told["weeks_factors"][0]["cases"] == 2
    (empty,) = build_calibration_sections(build_portfolio(sample(CHANGES, {"shared/money.yaml": MONEY})))
    assert "predicted_weeks" in next(table for table in empty.tables if table.caption.endswith("weeks")).empty


def test_predicted_weeks_are_recorded_as_estimated(sample: Sample) -> None:
    from pipeline.views.bench import predict_change_weeks

    lengthened, plain = find_file(close_late(sample, 8)), find_file(sample())
    found = predict_change_weeks(lengthened, ["length"], "tool cut")
    assert found is not None and float(found) > 0
    assert found == predict_change_weeks(plain, ["length"], "tool cut")
    assert predict_change_weeks(plain, [], "tool cut") is None


def test_a_factor_of_another_class_or_kind_is_not_used(sample: Sample) -> None:
    file = find_file(close(sample, 9, change_class="cavity-set"))  # the die's kind states no such class
    assert file.ladder is not None and file.estimated_ladder is not None
    assert [r.total for r in file.ladder.part.rungs] == [r.total for r in file.estimated_ladder.part.rungs]


def test_both_figures_are_shown_with_the_factor_and_its_interval(sample: Sample) -> None:
    from pipeline.views.change_cost import render_ladder
    from pipeline.views.part_costs import build_calibrated_section, build_ladder
    from pipeline.views.part_sheets import build_money_page

    file = find_file(close(sample, 8))
    said = "\n".join(render_ladder(file, None))
    assert "die, weld: × 1.4" in said and "at 90 %, 8 closed changes)" in said
    assert "as estimated" in said and "as calibrated" in said
    section = build_calibrated_section(file)
    assert section is not None and len(section.tables[0].rows) == 9
    assert section in build_money_page(file).sections
    figure, _ = build_ladder(file)
    assert figure is not None and "Calibrated by our own closed changes: die, weld" in "".join(
        r.text for r in figure.note
    )
    plain = find_file(close(sample, 7))
    assert build_calibrated_section(plain) is None and "as calibrated" not in "\n".join(render_ladder(plain, None))


def test_a_prediction_is_recorded_as_estimated_so_that_no_factor_counts_twice(sample: Sample) -> None:
    from pipeline.portfolio.near import read_near
    from pipeline.views.bench import predict_change

    root = close(sample, 8)
    near, _ = read_near(root, "SD-100")
    assert near is not None
    alone, among = near.build_part_file(), find_file(root)
    assert predict_change(alone, ["length"], "tool cut") == predict_change(among, ["length"], "tool cut")
    assert predict_change(among, ["length"], "tool cut") == predict_change(find_file(sample()), ["length"], "tool cut")
