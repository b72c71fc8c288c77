"""`pipeline loop`, `quotes` and `case`: what they print, exit codes, and wrong usage."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipeline.cli.program import COMMANDS, group

ROOT = Path(__file__).parents[2]


def run(*words: str) -> Result:
    return CliRunner().invoke(group, [*words, "-w", str(ROOT)])


@pytest.mark.parametrize("name", ["loop", "quotes", "case"])
def test_the_commands_are_known_with_a_line_of_help(name: str) -> None:
    assert name in COMMANDS
    shown = CliRunner().invoke(group, [name, "--help"])
    assert shown.exit_code == 0
    assert "--json" in shown.output


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("loop", "TW-101"), "DOES ONE MORE LOOP PAY?"),
        (("quotes", "TW-101"), "rounding, once, of the sum"),
        (("case", "TW-161"), "10,000 simulated worlds, seed 2026"),
        (("quotes",), "QUOTES THAT NEED THE BUYER"),
        (("quotes", "--days", "400"), "Quotes that run out within 400 days"),
        (("loop", "TW-104"), "The part is released"),
        (("quotes", "TW-220"), "No quote is recorded"),
        (("case", "TW-220"), "What a piece costs is not known"),
    ],
)
def test_what_they_print(words: tuple[str, ...], wanted: str) -> None:
    result = run(*words)
    assert result.exit_code == 0, result.output
    assert wanted in result.output


@pytest.mark.parametrize("words", [("loop", "TW-101"), ("quotes", "TW-101"), ("case", "TW-101"), ("quotes",)])
def test_json_is_json_and_the_same_twice(words: tuple[str, ...]) -> None:
    first, second = run(*words, "--json"), run(*words, "--json")
    assert first.exit_code == 0
    assert json.loads(first.output)
    assert first.output == second.output


def test_seed_and_draws_are_the_callers() -> None:
    answer = json.loads(run("case", "TW-101", "--json", "--seed", "5", "--draws", "300").output)["case"]
    assert (answer["seed"], answer["draws"]) == (5, 300)
    other = json.loads(run("case", "TW-101", "--json", "--seed", "6", "--draws", "300").output)["case"]
    assert answer["worth"] != other["worth"]
    assert answer["expected_worth"] == other["expected_worth"]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("loop", "TW-999"), "no record projects/TW-999"),
        (("quotes", "TW-101", "--days", "9"), "leave PART out"),
        (("case", "TW-101", "--seed", "9"), "go with --json"),
        (("case", "TW-101", "--json", "--seed", "-1"), "--seed"),
        (("case",), "Missing argument"),
    ],
)
def test_wrong_usage_is_told_with_code_2(words: tuple[str, ...], wanted: str) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert wanted in result.output


def test_another_day_changes_what_has_run_out() -> None:
    early = run("quotes", "--on", "2026-10-20", "--json")
    numbers = {
        (one["part"], one["quote"]) for one in json.loads(early.output) if one["days"] is not None and one["days"] < 0
    }
    assert ("TW-161", "Q1") not in numbers
