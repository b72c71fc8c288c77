"""A hardness in another scale: converted inside the published table, refused outside of it, never a proof."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.measurements import take_measured
from pipeline.portfolio.portfolio import PartFile, build_portfolio

Sample = Callable[..., Path]
READ = (
    "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.0}}\n"
    "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 40.0, hard: {value: %s}}}\n"
)


def read(sample: Sample, value: str, **files: str) -> PartFile:
    root = sample(READ % value + "decisions: []\n", {f"projects/SD-100/evidence/{k}.csv": v for k, v in files.items()})
    return build_portfolio(root, deep=bool(files)).parts["SD-100"]


# ASTM A370-03a table 2 (as ASTM E140 table 1): HRC 50 = HV 513 = HBW 482 = HRA 75.9; HRC 48 = HV 484; 495 HV lies between
# the rows HRC 48 (484) and 49 (498): 48 + 11 / 14.
@pytest.mark.parametrize(
    ("stated", "hrc"), [("513, unit: HV", 50.0), ("482, unit: HBW", 50.0), ("75.9, unit: HRA", 50.0), ("495, unit: HV", 48.8)]
)  # fmt: skip
def test_a_reading_is_converted_inside_the_table(sample: Sample, stated: str, hrc: float) -> None:
    value = take_measured(read(sample, stated)).features["hard"].values[0]
    assert value.value == hrc and value.is_counted
    note = next(note for note in value.notes if "converted to" in note)
    assert f"converted to {hrc:.1f} HRC by " in note and "ASTM A370-03a, table 2" in note and "no proof" in note


def test_its_uncertainty_goes_along_by_the_slope_of_the_table(sample: Sample) -> None:
    """HV 498 to 528 around 513 is HRC 49 to 51: 15 HV are one HRC."""
    value = take_measured(read(sample, "513, unit: HV, U: 15")).features["hard"].values[0]
    assert value.expanded == pytest.approx(1.0)


def test_outside_of_the_table_nothing_is_reckoned(sample: Sample) -> None:
    file = read(sample, "300, unit: HV")
    value = take_measured(file).features["hard"].values[0]
    assert not value.is_counted and "HV 300 is outside the table for HRC" in value.left_out
    told = next(f for f in file.findings if f.pointer == "measurements.M2.gives.hard")
    assert told.rule == "D407" and "it runs from 392 to 940" in told.message
    other = read(sample, "50, unit: ShoreA")
    assert any(f.rule == "D407" and "the reading is in ShoreA" in f.message for f in other.findings)


def test_a_file_in_another_scale_agrees_with_what_is_recorded(sample: Sample) -> None:
    table = "feature,n,reading,unit\nlength,1,39.99,mm\nhard,1,512,HV\nhard,2,514,HV\n"
    file = read(sample, "513, unit: HV", o2=table)
    found = take_measured(file).features["hard"].values[0].file_value
    assert found is not None and found.value == 50.0
    assert not [f for f in file.findings if "hard" in f.pointer and f.severity == "error"]


def test_a_test_in_another_scale_proves_nothing_and_is_told(sample: Sample) -> None:
    critical = (
        "features:\n  length: {what: l, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm}\n"
        "  hard: {what: h, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC, critical: true}\n"
    )
    test = (
        "tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-05-21, by: ann, at: lab, covers: [hard], file: evidence/o1.csv, "
        "gives: {hard: {value: %s}}, result: good}\n"
    )
    for stated, proven in (("50", 1.0), ("513, unit: HV", 0.0)):
        checked = check_workspace(sample(critical + test % stated + "decisions: []\n"))
        gates = checked.standings["SD-100"].gates
        proofs = next(r for gate in gates.values() for r in gate.requirements if r.id == "tooling.proofs")
        assert proofs.answer.have == proven
        assert any(f.rule == "Q822" for f in checked.findings) is (proven == 0.0)
