"""How well costs and weeks of changes were foretold: every change, the shop's own factors, its steps from stage to
stage."""

from __future__ import annotations

from typing import Any

from pipeline.costing.calibration import ShopFactor, StageRatio
from pipeline.portfolio.calibration import NO_TOOL, Calibration, RecordedChange, compute_calibration
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import find_part_page
from pipeline.views.money_words import build_row, build_table, say, word_whole
from pipeline.views.shapes_marks import Column, Line, Row, Run, Table, Tone, Working, WorkingInput, build_line
from pipeline.views.shapes_site import Section
from pipeline.views.wording import word_count, word_number, word_share

EMPTY = "No change is recorded yet: write it under `changes`, with what was predicted and what it cost in the end."
NO_WEEKS = (
    "No closed change states its weeks: write `predicted_weeks` when it is found, and `weeks` when it is closed "
    "(`pipeline change` reckons the first)."
)


def build_calibration_sections(portfolio: Portfolio) -> tuple[Section, ...]:
    """Make the sections of the page on predicted against actual, over the whole workspace."""
    files = list(portfolio.parts.values())
    if not files:
        return (Section("calibration", "Predicted against actual", "", say(EMPTY)),)
    found, currency = compute_calibration(files[0].shop), files[0].workspace.catalogues.money.currency
    return (
        Section(
            "calibration",
            "Predicted against actual",
            f"{word_count(found.counted, 'change')} with both figures, {found.counted_weeks} with both weeks",
            _say_cases(found),
            (),
            (
                _build_factors(found, found.factors, "Our own factors", EMPTY, "buying/factors.csv"),
                _build_factors(found, found.weeks_factors, "Our own factors of weeks", NO_WEEKS, "buying/weeks.csv"),
                _build_ratios(found),
                _build_changes(found, currency),
            ),
            (),
            _build_working(found),
        ),
    )


def _say_cases(found: Calibration) -> Line:
    if not found.counted:
        return say(EMPTY)
    words = "A factor says what a prediction of this kind is to be multiplied with; "
    words += "it leans on 1 until there are cases enough. "
    few = ""
    if found.is_few:
        few = f"The cases are few ({found.counted} in all): lean on the intervals, not on the factors."
    elif any(_is_few(found, one.cases) for one in found.factors):
        few = "Most kinds have few cases: lean on the intervals."
    return build_line(words, Run(few, Tone.STRONG)) if few else say(words)


def _is_few(found: Calibration, cases: int) -> bool:
    return cases < found.beliefs.few_cases


def _build_factors(
    found: Calibration, factors: tuple[ShopFactor, ...], caption: str, empty: str, csv_href: str
) -> Table:
    level = word_share(found.beliefs.interval)
    columns = (
        Column("tool kind"),
        Column("class of change"),
        Column("cases", "", True),
        Column("actual / predicted", "", True),
        Column("our factor", "shrunk", True),
        Column("interval", level, True),
        Column("a single next change", level, True),
        Column("in the ladders"),
    )
    rows = [_build_factor_row(found, one) for one in factors]
    return build_table(caption, columns, rows, empty, csv_href)


def _build_factor_row(found: Calibration, one: ShopFactor) -> Row:
    return build_row(
        (
            one.tool_kind,
            one.change_class,
            f"{one.cases}{' (few)' if _is_few(found, one.cases) else ''}",
            "–" if one.raw is None else f"{one.raw:.2f}",
            f"{one.factor:.2f}",
            f"{one.low:.2f} to {one.high:.2f}",
            f"{one.next_low:.2f} to {one.next_high:.2f}",
            _word_use(found, one),
        )
    )


def _word_use(found: Calibration, one: ShopFactor) -> str:
    if one.tool_kind == NO_TOOL:
        return "no: it touched no tool"
    least = found.beliefs.few_cases
    return "yes" if found.is_used(one) else f"not yet: {one.cases} of {least} closed changes"


def _build_ratios(found: Calibration) -> Table:
    columns = (
        Column("from"),
        Column("to"),
        Column("cases", "", True),
        Column("our ratio", "", True),
        Column("interval", word_share(found.beliefs.interval), True),
        Column("folk rule of ten", "", True),
    )
    rows = [_build_ratio_row(found, one) for one in found.ratios]
    empty = "It takes errors found at two stages at least, with what they cost."
    caption = "From stage to stage, beside the folk rule of ten"
    return build_table(caption, columns, rows, empty, "buying/stages.csv")


def _build_ratio_row(found: Calibration, one: StageRatio) -> Row:
    few = " (few)" if _is_few(found, min(one.cases, one.next_cases)) else ""
    interval = "too few cases" if one.low is None or one.high is None else f"× {one.low:.2g} to {one.high:.2g}"
    return build_row(
        (
            one.stage,
            one.next_stage,
            f"{one.cases} and {one.next_cases}{few}",
            f"× {one.ratio:.2g}",
            interval,
            f"× {one.folk:,.0f}",
        )
    )


def _build_changes(found: Calibration, currency: str) -> Table:
    columns = (
        Column("change"),
        Column("what"),
        Column("tool kind and class"),
        Column("found at"),
        Column("predicted", currency, True),
        Column("actual", currency, True),
        Column("ratio", "", True),
        Column("weeks", "actual of predicted", True),
        Column("ratio", "of weeks", True),
    )
    rows = [_build_change_row(one) for one in found.changes]
    return build_table("Every recorded change", columns, rows, EMPTY, "buying/changes.csv")


def _build_change_row(one: RecordedChange) -> Row:
    ratio = f"{one.actual / one.predicted:.2f}" if one.actual is not None and one.predicted else one.left_out
    return build_row(
        (
            (Run(f"{one.number} {one.key}", href=find_part_page(one.number)),),
            one.what,
            f"{one.tool_kind}, {one.change_class}",
            one.stage,
            "–" if one.predicted is None else word_whole(one.predicted),
            "–" if one.actual is None else word_whole(one.actual),
            ratio,
            _word_weeks(one),
            f"{one.weeks / one.predicted_weeks:.2f}" if one.weeks and one.predicted_weeks else one.weeks_left_out,
        )
    )


def _word_weeks(one: RecordedChange) -> str:
    weeks, predicted = ("–" if found is None else word_number(found) for found in (one.weeks, one.predicted_weeks))
    return f"{weeks} of {predicted}"


def _build_working(found: Calibration) -> Working:
    beliefs = found.beliefs
    inputs = (
        WorkingInput(
            "spread of a shop's own mean about the default", f"{beliefs.between_shops:g}", say("shared/money.yaml")
        ),
        WorkingInput("scatter of single changes", f"{beliefs.single_changes:g}", say("shared/money.yaml")),
        WorkingInput("cases that this scatter counts for", f"{beliefs.scatter_worth:g}", say("shared/money.yaml")),
    )
    return Working(
        (
            "log(actual / predicted) of a kind is normal about the kind's own mean, and that mean normal about 0",
            "log factor = n / (n + scatter² / spread²) x mean of log(actual / predicted)",
            "the same for actual / predicted weeks, with the same spreads",
            f"a factor goes into the ladders from {beliefs.few_cases} closed changes of its kind and class on",
            "ratio of stages = geometric mean cost at the later over the earlier one; interval: Welch's t on logs",
        ),
        inputs,
        "normal-normal shrinkage (Gelman and others, Bayesian Data Analysis, sections 2.5 and 5.4); B. L. Welch, "
        "Biometrika 34 (1947); spreads: common practice, no source",
        "The rule of ten is a saying of the trade, not a measurement.",
    )


def _list_factor(one: ShopFactor) -> dict[str, Any]:
    return {
        "tool_kind": one.tool_kind,
        "class": one.change_class,
        "cases": one.cases,
        "raw": one.raw,
        "factor": one.factor,
        "interval": [one.low, one.high],
        "next": [one.next_low, one.next_high],
    }


def build_calibration_json(file: PartFile) -> dict[str, Any]:
    """Return the shop's factors and ratios for a program."""
    found = compute_calibration(file.shop)
    return {
        "counted": found.counted,
        "few": found.is_few,
        "factors": [_list_factor(one) for one in found.factors],
        "counted_weeks": found.counted_weeks,
        "weeks_factors": [_list_factor(one) for one in found.weeks_factors],
        "stages": [
            {
                "from": one.stage,
                "to": one.next_stage,
                "ratio": one.ratio,
                "low": one.low,
                "high": one.high,
                "folk": one.folk,
            }
            for one in found.ratios
        ],
    }
