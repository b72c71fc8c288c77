"""What a standing tells of the next steps, of the day of a release, and of tools that no record keeps."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import find_requirement, find_standing, write_policy
from gates.test_gates_states import BEFORE, DONE, FIT_GO, ORDERED, RELEASED, REV_B, TOOLING_GO

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.judgement import Met
from pipeline.gates.standing import find_released_once
from pipeline.model.words import Gate, GateState

Sample = Callable[..., Path]


def test_what_went_stale_is_told_before_what_was_never_there(sample: Sample) -> None:
    """A measure gate that wants a third original, and a fit check that went stale behind it."""
    wanting = {
        "shared/gates.yaml": SAMPLE_SHARED["shared/gates.yaml"].replace(
            "originals: {least: 2}", "originals: {least: 3}"
        )
    }
    standing = find_standing(sample(REV_B % "length" + BEFORE + FIT_GO, wanting))
    assert standing.gate is Gate.MEASURE
    assert [g for g, s in standing.gates.items() if s.state is GateState.STALE] == [Gate.PROTOTYPE, Gate.FIT_CHECK]
    assert standing.todo == (
        "build a prototype of revision B",
        "build a sample that can prove length (overall length)",
        "try it on saloon again (F1 is stale)",
        "measure the gap of seat in a fit check",
        "find and measure 1 more of the originals",
    )


@pytest.mark.parametrize(
    ("what", "part", "day"),
    [
        ("released", DONE + RELEASED + TOOLING_GO, dt.date(2026, 5, 25)),
        ("stale since", DONE + RELEASED + TOOLING_GO + REV_B % "length", dt.date(2026, 5, 25)),
        ("held since", DONE + RELEASED + TOOLING_GO + TOOLING_GO.replace("say: go", "say: hold"), None),
        ("never decided", DONE + RELEASED, None),
        ("dropped", DONE + RELEASED + TOOLING_GO.replace("say: go", "say: drop"), None),
    ],
)
def test_a_part_was_released_on_the_day_of_its_last_gate_if_all_were_ever_decided(
    what: str, part: str, day: dt.date | None, sample: Sample
) -> None:
    assert find_released_once(find_standing(sample(part))) == day, what


@pytest.mark.parametrize("use", ["SD-999/block", "SD-101/block"])
def test_a_tool_that_no_record_keeps_calls_nobody(use: str, sample: Sample) -> None:
    """The part that should keep it is not there, or is there without it: that is told as a broken link, not as a hold."""
    root = sample(f"uses_tools: [{use}]\n" + ORDERED + REV_B % "length" + RELEASED)
    folder = root / "projects/SD-101"
    folder.mkdir()
    (folder / "part.yaml").write_text(
        "part: SD-101\nname: other\nfamily: cast\nsafety: S0\nengineer: ann\n"
        "fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}\n"
    )
    assert [call.tool for call in find_standing(root).hold_calls] == ["die"]


RESOURCES = (
    "resources: {}\ninstruments:\n  arm: {name: arm, mpe_mm: 0.02, calibrated: 2025-06-01, due: 2026-12-01}\n"
    "  blind: {name: no error limit, calibrated: 2025-06-01, due: 2026-12-01}\n"
)
READ = (
    "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: %s, at: 20 C, file: evidence/o1.csv, gives: {length: 40.0}}\n"
    "  M2: {of: O2, on: 2026-01-10, by: ann, with: %s, at: 20 C, file: evidence/o2.csv, gives: {length: 40.0}}\n"
)


@pytest.mark.parametrize(
    ("first", "second", "have", "words"),
    [
        ("blind", "blind", None, "no critical length was measured yet, or none has two limits"),
        # by hand: 0.2 mm over 2 x 0.02 / sqrt 3 mm
        ("blind", "arm", 8.66, "limits are 8.7 times the uncertainty at length; 4 wanted"),
        ("arm", "blind", 8.66, "limits are 8.7 times the uncertainty at length; 4 wanted"),
    ],
)
def test_a_reading_whose_uncertainty_nobody_knows_gives_no_ratio(
    first: str, second: str, have: float | None, words: str, sample: Sample
) -> None:
    files = {**write_policy(), "shared/resources.yaml": RESOURCES}
    found = find_requirement(sample("decisions: []\n" + READ % (first, second), files), "measure.ratio")
    assert found.state is Met.MET
    assert found.answer.have == (None if have is None else pytest.approx(have, abs=0.005))
    assert found.answer.words == words
