"""Gauge-study and sample tables."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.measuring.gauge_study import StudyReading, study_by_anova
from pipeline.reading.study_files import read_gauge_study, read_sample

STUDY = "# unit: mm\npart,appraiser,trial,value\n"


def write(root: Path, text: str) -> str:
    (root / "s.csv").write_text(text, encoding="utf-8")
    return "s.csv"


def test_a_study_goes_into_the_analysis(tmp_path: Path) -> None:
    rows = "".join(
        f"{part},{who},{trial},{10 + part * 0.5 + 0.01 * trial + (0.02 if who == 'ann' else 0)}\n"
        for part in range(1, 6) for who in ("ann", "bob") for trial in (1, 2)
    )  # fmt: skip
    study, findings = read_gauge_study(tmp_path, write(tmp_path, STUDY + rows))
    assert findings == ()
    assert study is not None and study.unit == "mm" and len(study.rows) == 20
    result = study_by_anova([StudyReading(row.part, row.appraiser, row.value) for row in study.rows])
    assert result.parts == 5 and result.appraisers == 2 and result.trials == 2
    assert result.part_spread > 10 * result.gauge


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("part,appraiser,trial,value\n1,ann,1,10\n", ("Q801", 1, 1)),
        ("# unit: ell\n" + STUDY + "1,ann,1,10\n", ("Q801", 1, 1)),
        ("# unit: in\n" + STUDY + "1,ann,1,10\n", ("Q802", 2, 1)),
        (STUDY + "1,ann,1,nan\n", ("Q803", 3, 9)),
        (STUDY + "1,ann,1\n", ("Q804", 3, 1)),
        (STUDY + "1,ann,1,10\n1,ann,1,11\n", ("Q804", 4, 1)),
        ("# unit: mm\npart,appraiser,value\n1,ann,10\n", ("Q804", 2, 1)),
        (STUDY, ("Q804", 1, 1)),
    ],
)
def test_faults_of_a_study(tmp_path: Path, text: str, wanted: tuple[str, int, int]) -> None:
    study, findings = read_gauge_study(tmp_path, write(tmp_path, text))
    assert study is None
    assert [(f.rule, f.location.line, f.location.column) for f in findings] == [wanted]


def test_samples_keep_their_order(tmp_path: Path) -> None:
    sample, findings = read_sample(tmp_path, write(tmp_path, "# unit: mm\npiece;value\n3;9,98\n1;10,01\n"))
    assert findings == ()
    assert sample is not None
    assert (sample.values, sample.pieces, sample.unit) == ((9.98, 10.01), ("3", "1"), "mm")
    plain, findings = read_sample(tmp_path, write(tmp_path, "# unit: HRC\nvalue\n52\n51.5\n"))
    assert plain is not None and plain.values == (52.0, 51.5)
    assert read_sample(tmp_path, "none.csv")[0] is None
