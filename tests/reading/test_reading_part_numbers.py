"""Numbers that cannot be a part's: whatever a record, a command or a sheet says, nothing takes the list's place."""

from __future__ import annotations

import doctest
from collections.abc import Callable
from pathlib import Path

import pytest

import pipeline.model.part_number as part_number
from pipeline.cli.answers import parse_part_number
from pipeline.model.part_number import KEPT_NUMBERS, find_number_fault
from pipeline.reading.workspace import read_workspace
from pipeline.writing.names import find_name_fault


@pytest.mark.parametrize("key", ["part", "hands", "supersedes"])
def test_a_kept_number_is_refused_at_its_place(sample: Callable[..., Path], key: str) -> None:
    line = {
        "part": "part: INDEX\n",
        "hands": "hands: {left: INDEX, right: SD-100, relation: mirror}\n",
        "supersedes": "supersedes:\n  - {number: NUL, on: 2026-01-01}\n",
    }[key]
    reading = read_workspace(sample(line))
    assert [(found.rule, found.pointer.split(".")[0].split("[")[0]) for found in reading.findings] == [("M113", key)]
    assert "on many systems" in reading.findings[0].message or "on Windows" in reading.findings[0].message


def test_a_folder_of_that_name_gets_no_page_whatever_its_case(sample: Callable[..., Path]) -> None:
    text = "part: {}\nname: Other\nfamily: cast\nsafety: S0\nengineer: ann\nfits: {{a: {{vehicle: finch, body: saloon, years: 1951}}}}\n"
    for folder, rule in (("INDEX", "M113"), ("index", "M109"), ("Index", "M109")):
        reading = read_workspace(sample("", {f"projects/{folder}/part.yaml": text.format(folder)}))
        assert reading.workspace is not None and list(reading.workspace.parts) == ["SD-100"]
        assert [found.rule for found in reading.findings] == [rule]


def test_all_that_windows_keeps_is_kept_here_and_numbers_near_it_are_free() -> None:
    assert doctest.testmod(part_number).failed == 0
    kept = {f"{name}{end}" for name in ("COM", "LPT") for end in range(10)} | {"CON", "PRN", "AUX", "NUL"}
    assert {one for one in kept if find_name_fault(f"{one}.html")} == KEPT_NUMBERS - {"INDEX"}
    for near in ("INDEX-1", "INDEXES", "AUX-1", "COM10", "TW-101"):
        assert find_number_fault(near) is None and find_name_fault(f"{near}.html") is None


@pytest.mark.parametrize("typed", ["INDEX", " INDEX ", "LPT9"])
def test_a_command_refuses_such_a_number_in_words(typed: str) -> None:
    with pytest.raises(ValueError, match=f"{typed.strip()} is "):
        parse_part_number(typed)
