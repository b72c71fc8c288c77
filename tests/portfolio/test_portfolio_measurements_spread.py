"""What a gauge study found counts with single readings: worked by hand, in gates and pages alike, and held to its study."""

from __future__ import annotations

import doctest
import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from scipy import stats

import pipeline.portfolio.studied_spread as studied_spread
from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.judgement import Bench
from pipeline.gates.measured import compute_ratio
from pipeline.gates.reading_uncertainty import CONFIDENCE, PartShape, build_uncertainty_parts, compute_expanded
from pipeline.model.catalogue import Instrument, NeedParameters
from pipeline.model.part import Feature, Reading
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.measurements import build_measurements
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.reading.workspace import read_workspace
from pipeline.views.addresses import Anchors
from pipeline.views.measurements_working import build_verdict_working

Sample = Callable[..., Path]
SPREAD = "{of: SD-100/G1, repeatability: 0.006, dof: 60, reproducibility: 0.004, people: 3}"
REPEATED = (
    "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
    "gives: {length: {value: 40.02, readings: [40.00, 40.02, 40.04]}}}\n"
    "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: {value: 39.99, U: 0.03}}}\n"
)
STUDY = "gauge_studies:\n  G1: {feature: length, on: 2026-01-09, by: ann, with: arm, file: evidence/g1.csv}\n"


def state(spread: str | None, kind: str = "size") -> dict[str, str | None]:
    """The sample's instrument with what a study found."""
    resources = SAMPLE_SHARED["shared/resources.yaml"]
    more = "" if spread is None else f", studies: {{{kind}: {spread}}}"
    return {"shared/resources.yaml": resources.replace("due: 2026-12-01", f"due: 2026-12-01{more}")}


def make_instrument(kind: str = "size", **spread: object) -> Instrument:
    """An instrument with an error limit of 0.02 mm, studied on one kind of feature."""
    stated = {"name": "arm", "mpe_mm": 0.02, "calibrated": "2025-06-01", "due": "2026-12-01"}
    return Instrument.model_validate_json(json.dumps({**stated, "studies": {kind: {"of": "SD-100/G1", **spread}}}))


def make_feature(kind: str = "size", unit: str = "mm", nominal: float = 40.0) -> Feature:
    """A feature with limits."""
    return Feature.model_validate_json(
        f'{{"what": "length", "kind": "{kind}", "nominal": {nominal}, "limits": [-0.2, 0.2], "unit": "{unit}"}}'
    )


def test_a_single_reading_counts_the_studied_spread_worked_by_hand(sample: Sample) -> None:
    """Error limit 0.02 mm, rectangular: 0.02 / sqrt 3 = 0.0115470. Study: s = 0.006 (60 degrees of freedom), r = 0.004
    (3 people, 2). u = sqrt(1.33333e-4 + 3.6e-5 + 1.6e-5) = 0.0136137. Welch-Satterthwaite: u^4 = 3.43484e-8 over
    0.006^4 / 60 + 0.004^4 / 2 = 2.16e-11 + 1.28e-10 = 1.496e-10 gives 229.6, truncated to 229 (JCGM 100:2008, G.4.1).
    k of 229 at 95.45 % from scipy's Student distribution."""
    root = sample("", state(SPREAD))
    checked = check_workspace(root)
    assert checked.workspace is not None
    part, lineage = checked.workspace.parts["SD-100"], checked.lineage.parts["SD-100"]
    value = build_measurements(part, lineage, checked.workspace).features["length"].values[0]
    assert value.budget is not None and value.expanded is not None
    assert value.budget.combined == pytest.approx(0.0136137, abs=5e-8)
    assert value.budget.dof_effective == pytest.approx(229.6, abs=0.05) and value.budget.dof_used == 229
    k = stats.t.ppf((1 + CONFIDENCE) / 2, 229)
    assert value.budget.coverage_factor == pytest.approx(k) and value.expanded == pytest.approx(k * 0.0136137, rel=1e-5)
    rows = {row.component.name: row.component for row in value.budget.rows}
    assert list(rows) == ["instrument, error limit", "repeatability, gauge study", "reproducibility, gauge study"]
    assert rows["repeatability, gauge study"].basis == "type A, gauge study SD-100/G1, 60 degrees of freedom"
    assert rows["reproducibility, gauge study"].basis == "type A, gauge study SD-100/G1, 3 people, 2 degrees of freedom"
    assert not any("repeatability is not known" in note for note in value.notes)
    bench = Bench(part, lineage, checked.workspace, NeedParameters())
    assert compute_ratio(bench, "length") == pytest.approx(0.2 / value.expanded)  # the gate counts it too


def test_the_working_names_the_lines_with_their_degrees_of_freedom(sample: Sample) -> None:
    file = build_portfolio(sample("", state(SPREAD))).parts["SD-100"]
    found = build_measurements(file.part, file.lineage, file.workspace)
    anchors = Anchors(file.part, file.lineage.nodes)
    working = build_verdict_working(file, anchors, tuple(found.features.values()))
    told = {one.name: (one.value, "".join(run.text for run in one.source)) for one in working.inputs}
    value, basis = told["length: repeatability, gauge study"]
    assert value.startswith("0.006 (standard uncertainty)") and basis.endswith("60 degrees of freedom")
    assert "2 degrees of freedom" in told["length: reproducibility, gauge study"][1]


def test_without_a_study_nothing_changes(sample: Sample) -> None:
    budgets = []
    for files in (state(None), state(SPREAD, "runout")):  # studied on another kind of feature
        file = build_portfolio(sample("", files)).parts["SD-100"]
        value = build_measurements(file.part, file.lineage, file.workspace).features["length"].values[0]
        assert value.budget is not None
        budgets.append(value.budget)
        assert "one reading: its repeatability is not known" in value.notes
    assert budgets[0] == budgets[1] and len(budgets[0].rows) == 1


def test_readings_of_their_own_keep_their_scatter_and_a_stated_uncertainty_stands(sample: Sample) -> None:
    file = build_portfolio(sample(REPEATED, state(SPREAD))).parts["SD-100"]
    repeated, stated = build_measurements(file.part, file.lineage, file.workspace).features["length"].values
    assert repeated.budget is not None and stated.budget is not None
    assert [row.component.name for row in repeated.budget.rows] == [
        "instrument, error limit", "repeatability", "reproducibility, gauge study",
    ]  # fmt: skip
    assert repeated.budget.rows[1].component.dof == 2
    assert [row.component.name for row in stated.budget.rows] == ["stated U"]


def test_units_go_together_or_the_study_is_left_out() -> None:
    inch = make_instrument(repeatability=0.0002, dof=60, unit="in")
    parts, left_out = build_uncertainty_parts(Reading(value=40.0), make_feature(), inch)
    assert [part.name for part in parts][1:] == ["repeatability, gauge study"] and left_out == ()
    assert parts[1].value == pytest.approx(0.00508) and parts[1].shape is PartShape.STANDARD  # 0.0002 x 25.4
    hard = make_instrument("hardness", repeatability=0.4, dof=20, unit="HRC")
    parts, left_out = build_uncertainty_parts(Reading(value=50.0), make_feature("hardness", "HRC", 50), hard)
    assert [(part.name, part.value) for part in parts] == [("repeatability, gauge study", 0.4)]
    assert compute_expanded(parts) is None  # scatter alone is no uncertainty
    for feature, kind in ((make_feature("hardness", "HRC", 50), "hardness"), (make_feature(), "size")):
        vickers = make_instrument(kind, repeatability=0.4, dof=20, unit="HV")
        parts, left_out = build_uncertainty_parts(Reading(value=feature.nominal), feature, vickers)
        assert not any("gauge study" in part.name for part in parts)
        assert "one reading: its repeatability is not known" in left_out


def test_a_value_whose_scatter_is_known_takes_no_second_one() -> None:
    studied = make_instrument(repeatability=0.006, dof=60, reproducibility=0.004, people=3)
    parts, left_out = build_uncertainty_parts(Reading(value=40.0), make_feature(), studied, has_scatter=True)
    assert [part.name for part in parts] == [
        "instrument, error limit",
        "reproducibility, gauge study",
    ] and left_out == ()
    assert math.isinf(parts[0].dof) and parts[1].dof == 2


def test_one_person_shows_no_reproducibility_at_the_door(sample: Sample) -> None:
    reading = read_workspace(
        sample("", state("{of: SD-100/G1, repeatability: 0.006, dof: 60, reproducibility: 0.004}"))
    )
    assert [(found.rule, found.location.path) for found in reading.findings] == [("M110", "shared/resources.yaml")]
    assert "how many `people`" in reading.findings[0].message


def write_study(trial: float = 0.002) -> dict[str, str | None]:
    """Three pieces read twice by two people whose second reading goes either way by `trial`."""
    rows = [
        f"{piece},{who},{n},{40 + 0.05 * piece + trial * n * (1 if who == 'ann' else -1):.4f}\n"
        for piece in (1, 2, 3) for who in ("ann", "bob") for n in (1, 2)
    ]  # fmt: skip
    return {"projects/SD-100/evidence/g1.csv": "# unit: mm\npart,appraiser,trial,value\n" + "".join(rows)}


FOUND = "{of: SD-100/G1, repeatability: 0.001225, dof: 8, reproducibility: 0.004213, people: 2}"
"""By hand: within each cell the two readings differ by 0.002, so the rest has 6 x 0.002^2 / 2 = 1.2e-5 with 6 degrees of
freedom; the interaction is zero with 2 and is pooled: sqrt(1.2e-5 / 8) = 0.0012247."""


@pytest.mark.parametrize(
    ("spread", "severity", "words"),
    [
        (None, "note", "no reading of arm counts the spread"),
        (FOUND, "", ""),
        (FOUND.replace("0.001225", "0.00128"), "", ""),  # 4.5 % away: rounding
        (FOUND.replace("0.001225", "0.0013"), "warning", "where the instrument states"),
        (FOUND.replace("0.004213", "0.0044"), "warning", "where the instrument states"),
        (FOUND.replace("dof: 8", "dof: 6"), "warning", "where the instrument states"),
        (FOUND.replace("people: 2", "people: 3"), "warning", "where the instrument states"),
        (FOUND.replace("}", ", unit: HRC}"), "warning", "unit: HRC"),
        (FOUND.replace("SD-100/G1", "SD-200/G4"), "", ""),  # another study stands there
    ],
)  # fmt: skip
def test_the_figures_of_the_instrument_are_held_to_the_study(
    sample: Sample, spread: str | None, severity: str, words: str
) -> None:
    root = sample(STUDY, {**write_study(), **state(spread)})
    told = [found for found in check_workspace(root, deep=True).findings if found.rule == "Q826"]
    assert [found.severity.value for found in told] == ([severity] if severity else [])
    assert all(words in found.message and f"`studies: {{size: {FOUND}}}`" in found.fix for found in told)


def test_a_study_that_cannot_be_reckoned_or_shows_nothing_asks_for_no_figures(sample: Sample) -> None:
    uneven = {name: str(text)[:-20] + "\n" for name, text in write_study().items()}
    for files in (uneven, write_study(0.0)):
        root = sample(STUDY, {**files, **state(None)})
        assert not [found for found in check_workspace(root, deep=True).findings if found.rule == "Q826"]


def test_a_study_of_several_people_in_inches_is_written_as_the_instrument_states_it() -> None:
    assert doctest.testmod(studied_spread).failed == 0
    spread = studied_spread.StudiedSpread(of="SD-100/G1", repeatability=0.0002, dof=4, unit="in")
    assert studied_spread.write_spread(spread) == "{of: SD-100/G1, repeatability: 0.0002, dof: 4, unit: in}"
