"""`pipeline measure` and `pipeline stack`: what they print, what --write changes, what they refuse."""

from __future__ import annotations

import difflib
import hashlib
import json
import math
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipeline.cli.program import group
from pipeline.portfolio.check import check_workspace

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]
CIRCLE = "".join(
    f"length,{20 * math.cos(t * math.pi / 12):.5f},{20 * math.sin(t * math.pi / 12):.5f},0\n" for t in range(24)
)
HEAD = "# original: O2  day: 2026-02-01\n# instrument: arm  by: ann  temperature: 21.0 C\n# unit: mm\ngroup,x,y,z\n"


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(group, [str(word) for word in words], standalone_mode=False, catch_exceptions=True)


def code(result: Result) -> int:
    """The exit code that the program leaves with (see `pipeline.cli.program.run`)."""
    if result.exception is None:
        return int(result.return_value or 0)
    return getattr(result.exception, "exit_code", 3)


def put(root: Path, text: str = HEAD + CIRCLE, name: str = "o2-scan.csv") -> Path:
    file = root / "projects/SD-100/evidence" / name
    file.write_text(text, encoding="utf-8")
    return file


def test_values_verdict_and_the_line_to_paste(sample: Sample) -> None:
    result = run("measure", put(sample()))
    assert code(result) == 0, result.output
    for words in (
        "24 points in 1 groups, mm",
        "40.0000 mm  diameter of the least-squares circle",
        "roundness 0.0000 mm",
        "instrument, error limit",
        "Conforms: proved by this measurement",
        "The tolerance is 8.7 times the measuring uncertainty",
        "M3: {of: O2, on: 2026-02-01, by: ann, with: arm, at: 21.0 C, file: evidence/o2-scan.csv, "
        "gives: {length: {value: 40.000, U: 0.023}}}",
    ):
        assert words in result.output


def test_a_warm_part_is_judged_at_20_degrees_where_its_expansion_is_known(sample: Sample) -> None:
    """ISO 1: 80e-6 x 40 x (20 - 21) = -0.0032 mm; the record keeps what was read."""
    result = run("measure", put(sample("expansion: {per_k: [65, 80, 108], source: a table}\n")))
    assert code(result) == 0, result.output
    assert "brought to 20 °C by 80e-6 per K, a table (-0.0032 mm)" in result.output
    assert "temperature of the part: 0.0018" in result.output  # 80e-6 x 40 x 1 / sqrt 3
    assert "gives: {length: {value: 40.000" in result.output


def test_write_adds_one_line_and_one_hash_and_nothing_else(sample: Sample) -> None:
    root = sample()
    record, listed = root / "projects/SD-100/part.yaml", root / "projects/SD-100/evidence.sha256"
    text = record.read_text().replace("measurements:\n", "measurements:   # kept as it stands\n")
    record.write_text(text)
    hashes = listed.read_text()
    file = put(root)
    result = run("measure", file, "--write")
    assert code(result) == 0, result.output
    added = [line for line in difflib.ndiff(text.splitlines(), record.read_text().splitlines()) if line[0] in "+-"]
    assert added == [
        "+   M3: {of: O2, on: 2026-02-01, by: ann, with: arm, at: 21.0 C, file: evidence/o2-scan.csv, "
        "gives: {length: {value: 40.000, U: 0.023}}}"
    ]
    digest = hashlib.sha256(file.read_bytes()).hexdigest()
    new = [line for line in difflib.ndiff(hashes.splitlines(), listed.read_text().splitlines()) if line[0] in "+-"]
    assert new == [f"+ {digest}  evidence/o2-scan.csv"]
    assert {f.rule for f in check_workspace(root, deep=True).findings} == set()


def test_write_never_overwrites(sample: Sample) -> None:
    root = sample()
    file = put(root)
    assert code(run("measure", file, "--write")) == 0
    before = (root / "projects/SD-100/part.yaml").read_bytes()
    again = run("measure", file, "--write")
    assert code(again) == 2 and "M3 records evidence/o2-scan.csv already" in str(again.exception)
    assert (root / "projects/SD-100/part.yaml").read_bytes() == before


def test_write_refuses_a_file_that_is_listed_with_another_hash(sample: Sample) -> None:
    root = sample()
    listed = root / "projects/SD-100/evidence.sha256"
    listed.write_text(listed.read_text() + "0" * 64 + "  evidence/o2-scan.csv\n")
    before = (root / "projects/SD-100/part.yaml").read_bytes()
    result = run("measure", put(root), "--write")
    assert "another hash" in str(result.exception)
    assert (root / "projects/SD-100/part.yaml").read_bytes() == before


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("# unit: mm\n" + CIRCLE, (), "--write wants --of, --day, --by, --with, --at too"),
        (HEAD + CIRCLE, ("--of", "O9"), "no such original"),
        (HEAD + CIRCLE, ("--by", "zoe"), "no such person"),
        (HEAD + CIRCLE, ("--with", "laser"), "no such instrument"),
        (HEAD + CIRCLE.replace("length", "width"), (), "no feature width"),
    ],
)
def test_write_wants_everything_that_a_record_needs(
    sample: Sample, text: str, options: tuple[str, ...], words: str
) -> None:
    root = sample()
    before = (root / "projects/SD-100/part.yaml").read_bytes()
    result = run("measure", put(root, text), *options, "--write")
    assert code(result) == 2
    assert words in str(result.exception)
    assert (root / "projects/SD-100/part.yaml").read_bytes() == before


def test_what_is_not_known_stands_in_angle_brackets(sample: Sample) -> None:
    result = run("measure", put(sample(), "# unit: mm\n" + CIRCLE))
    assert "{of: " in result.output and "<original>" in result.output and "<who>" in result.output
    assert "name the instrument with --with" in result.output


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("# unit: mm\nlength,1,nan,0\n", "Q803"),
        ("length,1,2,0\n", "Q801"),
        ("# unit: mm\n# unit: in\nlength,1,2,0\n", "Q802"),
        ("", "Q804"),
    ],
)
def test_a_faulty_file_is_told_with_its_place(sample: Sample, text: str, words: str) -> None:
    result = run("measure", put(sample(), text))
    assert code(result) == 1
    assert words in result.output and "o2-scan.csv:" in result.output


def test_two_points_are_no_circle(sample: Sample) -> None:
    result = run("measure", put(sample(), HEAD + "length,1,0,0\nlength,0,1,0\n"))
    assert code(result) == 1
    assert "not measured: 2 points cannot fix" in result.output


def test_another_fit_may_be_asked_for(sample: Sample) -> None:
    file = put(sample())
    assert "flatness" in run("measure", file, "--kind", "plane").output
    assert "needs the groups" in run("measure", file, "--kind", "centres").output


def test_inches_stay_inches_in_the_entry(sample: Sample) -> None:
    scaled = "".join(
        f"length,{40 / 25.4 / 2 * math.cos(t):.6f},{40 / 25.4 / 2 * math.sin(t):.6f},0\n"
        for t in (0.5 * k for k in range(13))
    )
    root = sample()
    file = put(root, HEAD.replace("mm", "in") + scaled)
    result = run("measure", file, "--write")
    assert code(result) == 0, result.output
    record = (root / "projects/SD-100/part.yaml").read_text()
    assert "{length: {value: 1.57480, unit: in, U: 0.00091}}" in record
    assert {f.rule for f in check_workspace(root, deep=True).findings} == set()


def test_json_for_programs(sample: Sample) -> None:
    data = json.loads(run("measure", put(sample()), "--json").output)
    (feature,) = data["features"]
    assert feature["value"] == pytest.approx(40.0, abs=1e-4)
    assert (feature["fit"], feature["verdict"], feature["unit"]) == ("circle", "conform", "mm")
    assert feature["U"] == pytest.approx(2 * 0.02 / math.sqrt(3), rel=1e-3)
    assert data["entry"].startswith("  M3: {of: O2")


def test_a_file_outside_of_any_workspace(tmp_path: Path) -> None:
    file = tmp_path / "scan.xyz"
    file.write_text("# unit: mm\n" + "".join(f"{math.cos(t)} {math.sin(t)} 0\n" for t in range(7)))
    result = run("measure", file, "--kind", "circle")
    assert code(result) == 0, result.output
    assert "points without a group" in result.output and "2.0000 mm" in result.output
    assert "To record it" not in result.output
    assert code(run("measure", file, "--kind", "circle", "--write")) == 2


def test_points_against_a_mesh(sample: Sample) -> None:
    root = sample()
    points = "".join(f"surface,{x},{y},0\n" for x in (1, 5, 9, 13) for y in (1, 2, 3, 4) if x / 40 + y / 10 < 1)
    points += "".join(f"surface,0,{y},{z}\nsurface,{4 * y},0,{z}\n" for y in (1, 3, 5) for z in (0.5, 1, 2))
    file = put(root, HEAD + points)
    result = run(
        "measure", file, "-f", "surface", "--kind", "plane", "--against", root / "projects/SD-100/evidence/hook-a.stl"
    )
    assert "40.00 × 10.00 × 5.00 mm" in result.output
    assert "0.0000 mm root mean square" in result.output


def test_stack_prints_every_method(tmp_path: Path) -> None:
    result = run("stack", "TW-101", "rim_to_wing", "-w", ROOT)
    assert code(result) == 0, result.output
    for words in (
        "holds the limits", "worst case", "root-sum-square", "Monte Carlo, 100,000 draws, seed 20260101",
        "0.325 to 1.195 mm", "worst case, ±: 0.125 + 0.3 + 0.01 = 0.4350 mm", "measured at fit checks: 0.50 to 0.80 mm",
    ):  # fmt: skip
        assert words in result.output
    assert run("stack", "TW-101", "-w", ROOT).output == result.output  # the same seed, the same digits


def test_stack_that_does_not_hold_ends_with_one(sample: Sample) -> None:
    stack = (
        "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.2]}, stack: [{feature: length, sign: 1}, "
        "{name: sill, nominal: 39.5, limits: [-0.2, 0.2], sign: -1}]}\n"
    )
    result = run("stack", "SD-100", "seat", "-w", sample(stack))
    assert code(result) == 1
    assert "no method keeps the gap" in result.output and "Move the mean gap by" in result.output


def test_stack_names_what_it_does_not_know(sample: Sample) -> None:
    unknown = run("stack", "SD-100", "seet", "-w", sample())
    assert code(unknown) == 2 and "Did you mean seat?" in str(unknown.exception)
    assert "No interface of SD-100 has a stack" in run("stack", "SD-100", "-w", sample()).output


def test_measure_of_the_demo_says_that_it_is_recorded(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "projects/TW-101", tmp_path / "projects/TW-101")
    shutil.copytree(ROOT / "shared", tmp_path / "shared")
    result = run("measure", tmp_path / "projects/TW-101/evidence/o1-points.csv", "-f", "rim_od")
    assert code(result) == 0, result.output
    assert "112.3604 mm" in result.output
    assert "M1 records this file already" in result.output


def test_deep_check_finds_what_a_quick_one_does_not(sample: Sample) -> None:
    root = sample(files={"projects/SD-100/evidence/o1.csv": "feature,n,reading,unit\nlength,1,41.02,mm\n"})
    quick, deep = run("check", "-w", root), run("check", "-w", root, "--deep")
    assert "Q806" not in quick.output and "Q806" in deep.output
