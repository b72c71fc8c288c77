"""Gauge studies and runs of pieces: named in the record, read from their tables, judged as evidence, shown with figures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli.test_cli_bench import add_person, call

from pipeline.charts.draw import render_chart
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.measurements import take_measured
from pipeline.portfolio.near import read_near
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.portfolio.study_values import StudyValues
from pipeline.views.addresses import Anchors
from pipeline.views.measurements import build_measurement_sections
from pipeline.views.part_evidence import build_evidence
from pipeline.views.shapes_marks import Line

Sample = Callable[..., Path]
STUDY = "gauge_studies:\n  G1: {feature: length, on: 2026-01-09, by: ann, with: arm, file: evidence/g1.csv%s}\n"
RUN = "sample_runs:\n  S1: {feature: length, tools: [die], of: A, on: 2026-05-20, by: ann, with: arm, file: evidence/s1.csv%s}\n"
# Two people, five pieces, twice each; worked by hand below (published examples: tests/published).
TABLE = "".join(
    f"{piece},{who},{trial},{40 + 0.04 * piece + shift + (0.002 if trial == 2 else 0.0):.3f}\n"
    for who, shift in (("ann", 0.0), ("bob", 0.001)) for piece in range(-2, 3) for trial in (1, 2)
)  # fmt: skip


def put(sample: Sample, part: str, **tables: str) -> Path:
    files = {f"projects/SD-100/evidence/{name}.csv": f"# unit: {text}" for name, text in tables.items()}
    return sample(part, files)


def study(sample: Sample, unit: str = "mm", table: str = TABLE, more: str = "") -> Path:
    return put(sample, STUDY % more, g1=f"{unit}\npart,appraiser,trial,value\n{table}")


def run_of(sample: Sample, values: list[float], more: str = "", part: str = "", unit: str = "mm") -> Path:
    rows = "".join(f"{n},{value}\n" for n, value in enumerate(values, 1))
    return put(sample, RUN % more + part, s1=f"{unit}\npiece,value\n{rows}")


def read(root: Path) -> tuple[PartFile, StudyValues]:
    file = build_portfolio(root, deep=True).parts["SD-100"]
    return file, take_measured(file).studies


def text(line: Line) -> str:
    return "".join(run.text for run in line)


def test_a_study_is_reckoned_by_both_methods_in_the_unit_of_the_feature(sample: Sample) -> None:
    """By hand: every range is 0.002, so EV = 0.002 / d2(2) = 0.002 / 1.128; five pieces, two trials, people 0.001 apart."""
    file, found = read(study(sample))
    one = found.studies[0]
    assert one.problem == "" and one.ranges is not None and one.anova is not None
    assert one.ranges.repeatability == pytest.approx(0.002 / 1.128, rel=1e-3)
    assert (one.anova.parts, one.anova.appraisers, one.anova.trials) == (5, 2, 2)
    assert one.share == pytest.approx(6 * one.anova.gauge / 0.4)  # limits of the sample: -0.2 to 0.2
    told = [f.rule for f in file.findings if f.pointer.startswith("gauge_studies")]
    assert told == ["Q826"]  # a note: its instrument states none of it
    inches = "".join(
        ",".join([*row.split(",")[:3], f"{float(row.split(',')[3]) / 25.4:.7f}"]) + "\n" for row in TABLE.split()
    )
    _, same = read(study(sample, "in", inches))
    assert same.studies[0].share == pytest.approx(one.share, rel=1e-3)


def test_a_study_without_limits_speaks_of_the_total_spread(sample: Sample) -> None:
    features = "features:\n  length: {what: overall length, kind: size, nominal: 40, unit: mm}\ndecisions: []\n"
    root = put(sample, STUDY % "" + features, g1=f"mm\npart,appraiser,trial,value\n{TABLE}")
    one = read(root)[1].studies[0]
    assert not one.is_of_tolerance and one.anova is not None
    assert one.share == pytest.approx(one.anova.gauge / one.anova.total)


@pytest.mark.parametrize(
    ("unit", "table", "rule", "words"),
    [("mm", TABLE[: TABLE.rindex("2,bob,2")], "Q819", "the study must be balanced"),
     ("HRC", TABLE, "Q819", "the table is in HRC, length in mm"), ("mm", "1,ann,1,40\n1,ann,2,40\n", "Q819", "at least two parts"),
     ("mm", TABLE.replace("40.000", "forty", 1), "Q803", "forty"), ("yard", TABLE, "Q801", "yard"),
     ("mm", TABLE + "1,ann,1,40.04\n", "Q804", "stands twice")],
)  # fmt: skip
def test_a_table_that_cannot_be_used_is_told_with_its_place(
    sample: Sample, unit: str, table: str, rule: str, words: str
) -> None:
    file, _ = read(study(sample, unit, table))
    told = [f for f in file.findings if f.pointer == "gauge_studies.G1.file"]
    assert told and told[0].rule == rule and words in told[0].message, told
    assert told[0].location.path.endswith("evidence/g1.csv")


def test_a_run_of_pieces_is_held_against_the_limits(sample: Sample) -> None:
    values = [40.0, 40.02, 39.99, 40.01, 39.98, 40.0, 40.01, 39.99]
    _, found = read(run_of(sample, values))
    run = found.runs[0]
    assert run.inside == 8 and run.capability is not None and run.capability.cpk.value > 1.33
    _, grouped = read(run_of(sample, values, ", subgroup: 4"))
    assert grouped.runs[0].capability is not None and "subgroups" in grouped.runs[0].capability.method
    file, odd = read(run_of(sample, values, ", subgroup: 3"))
    assert "8 pieces cannot be cut into subgroups of 3" in odd.runs[0].problem
    assert [f.rule for f in file.findings if f.pointer.startswith("sample_runs")] == ["Q819"]
    file, out = read(run_of(sample, [*values, 40.3]))
    assert out.runs[0].inside == 8
    told = next(f for f in file.findings if f.rule == "Q821")
    assert told.message == "S1: 1 of 9 pieces lie outside the limits" and told.location.path.endswith("part.yaml")


def test_studies_are_evidence_like_any_other(sample: Sample) -> None:
    """Missing, changed, out of calibration, of what is not there: told; a revision makes a run stale and no study."""
    root = study(sample, more="")
    (root / "projects/SD-100/evidence/g1.csv").write_text("other\n", "utf-8")
    assert ("E302", "gauge_studies.G1.file") in {(f.rule, f.pointer) for f in check_workspace(root).findings}
    root = put(sample, (STUDY % "").replace("2026-01-09", "2025-05-01"), g1=f"mm\npart,appraiser,trial,value\n{TABLE}")
    assert ("D403", "gauge_studies.G1.with") in {(f.rule, f.pointer) for f in check_workspace(root).findings}
    root = put(sample, (STUDY % "").replace("feature: length", "feature: lenght"), g1="mm\n")
    told = next(f for f in check_workspace(root).findings if f.pointer == "gauge_studies.G1.feature")
    assert told.rule == "R208" and "length" in told.fix
    b = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n  B: {on: 2026-05-25, by: ann, file: evidence/hook-a.stl, changed: [length], why: x}\n"
    root = run_of(sample, [40.0, 40.01, 39.99, 40.02], part=b)
    lineage = check_workspace(root).lineage.parts["SD-100"]
    assert "revision B changed `length`" in lineage.reasons["sample_runs.S1"][0].words
    file = build_portfolio(root).parts["SD-100"]
    line = next(
        one for one in build_evidence(file, Anchors(file.part, file.lineage.nodes), {}) if one.kind == "sample run"
    )
    assert line.freshness.startswith("stale since") and "off die" in line.of


def test_pages_show_figures_and_working(sample: Sample) -> None:
    root = put(
        sample, STUDY % ", note: three wires" + RUN % "", g1=f"mm\npart,appraiser,trial,value\n{TABLE}",
        s1="mm\npiece,value\n" + "".join(f"{n},{40 + 0.01 * (-1) ** n}\n" for n in range(1, 13)),
    )  # fmt: skip
    sections = {s.anchor: s for s in build_measurement_sections(read(root)[0])}
    one = sections["measuring-study-G1"]
    assert one.aside.startswith("the gauge takes ") and one.aside.endswith("of the tolerance: good")
    assert "Three wires." in text(one.intro) and "g1.csv" in text(one.intro)
    assert one.working is not None and any(line.startswith("of the tolerance: 6 × ") for line in one.working.formula)
    assert [table.caption for table in one.tables] == ["Standard deviations by both methods", "Analysis of variance"]
    assert [row.label for row in one.figures[0].chart.rows] == ["ann", "bob"]  # type: ignore[union-attr]
    run = sections["measuring-run-S1"]
    assert (
        "Cpk" in run.aside
        and run.working is not None
        and any(line.startswith("Cpk = ") for line in run.working.formula)
    )
    assert [row.label for row in run.figures[0].chart.rows][:2] == ["1 to 2", "3 to 4"]  # type: ignore[union-attr]
    for section in (one, run):
        assert render_chart(section.figures[0].chart).startswith("<svg")


def test_commands_attach_both_kinds(sample: Sample, tmp_path: Path) -> None:
    root = sample()
    add_person(root)
    table = tmp_path / "study.csv"
    table.write_text(f"# unit: mm\npart,appraiser,trial,value\n{TABLE}", "utf-8")
    code, said = call(root, "attach", "SD-100", str(table), "--kind", "gauge-study", "--feature", "length", "--with", "arm",
                      "--by", "ann", "--yes")  # fmt: skip
    assert code == EXIT_CLEAN, said
    pieces = tmp_path / "run.csv"
    pieces.write_text("# unit: mm\nvalue\n40.0\n40.1\n39.9\n40.0\n", "utf-8")
    code, said = call(root, "attach", "SD-100", str(pieces), "--kind", "sample-run", "--feature", "length", "--with", "arm",
                      "--by", "ann", "--tools", "die", "--subgroup", "2", "--yes")  # fmt: skip
    assert code == EXIT_CLEAN, said
    near, _ = read_near(root, "SD-100")
    assert near is not None and near.part is not None
    assert near.part.gauge_studies["G1"].file == "evidence/study.csv" and near.part.sample_runs["S1"].subgroup == 2
    code, said = call(root, "attach", "SD-100", "--kind", "gauge-study", "--feature", "length", "--with", "arm", "--by", "ann",
                      "--yes")  # fmt: skip
    assert code == EXIT_FINDINGS and "file" in said, said
