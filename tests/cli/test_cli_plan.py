"""`pipeline plan`: the page's figures in the terminal, other budgets, instructions, refusals in words, decisions."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cli.command_line import Caller
from portfolio.spend_workspaces import ROOT

from pipeline.cli import plan_command
from pipeline.portfolio.portfolio import build_portfolio
from pipeline.portfolio.spending import plan_spending
from pipeline.views.shapes_spend import SpendPage
from pipeline.views.spend import build_spend_page
from pipeline.views.terminal_sections import word_line


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo, in which answers are kept from test to test."""
    folder = tmp_path_factory.mktemp("plan")
    for name in ("projects", "shared"):
        shutil.copytree(ROOT / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def page(root: Path) -> SpendPage:
    return build_spend_page(plan_spending(build_portfolio(root), root))


def _json(call: Caller, *words: object) -> dict[str, Any]:
    said = call("plan", "--json", *words)
    data: dict[str, Any] = json.loads(said.out)
    return data


def test_the_answers_are_those_of_the_page(call: Caller, root: Path, page: SpendPage) -> None:
    said = call("plan", "-w", root)
    assert said.code == 0
    text = " ".join(said.out.split())
    for title, line in page.answers:
        assert f"{title}: {word_line(line)}" in text
    assert "TW-109 tools" in text and "THE CUT LINE" in text


def test_another_budget_gives_what_the_page_shows_there(call: Caller, root: Path, page: SpendPage) -> None:
    point = next(one for one in page.points if one.budget == 100_000)
    data = _json(call, "-w", root, "--budget", "100,000 USD")
    assert f"{data['plan']['worth_added']:,.0f} USD" == point.worth_words
    named = {one.tool.text: quarter.label for quarter in point.quarters for one in quarter.releases}
    assert data["plan"]["releases"] == named
    assert (data["budget"], data["promised"]) == (100_000.0, 58_207.5)


def test_why_is_one_answer(call: Caller, root: Path) -> None:
    said = call("plan", "-w", root, "--why", "TW-160/jig")
    assert said.code == 0
    text = " ".join(said.out.split())
    assert text.startswith("TW-160 tools, Courtesy lamp: jig, fixture.")
    assert "Its products wait for TW-161 tools anyway." in text
    assert "THE CUT LINE" not in said.out


@pytest.mark.slow
def test_instructions_hold_and_cost_what_they_cost(call: Caller, root: Path) -> None:
    data = _json(call, "-w", root, "--budget", "125000", "--must", "TW-109", "--not", "TW-205")
    assert "TW-109 tools" in data["plan"]["releases"]
    assert "TW-205 tools" not in data["plan"]["releases"]
    assert [one["key"] for one in data["must_dos"]] == ["TW-109"]
    free = _json(call, "-w", root, "--budget", "125000", "--not", "TW-205")
    assert data["must_dos"][0]["costs"] == pytest.approx(
        free["plan"]["worth_added"] - data["plan"]["worth_added"], abs=0.02
    )


@pytest.mark.parametrize(
    ("words", "code", "said"),
    (
        (("--must", "TW-109", "--not", "TW-109"), 1, "TW-109 is told to be in and told to be out."),
        (("--budget", "70000", "--must", "TW-109"), 1, "USD more cash than there is; it is missing from"),
        (("--budget", "0"), 1, "Payments that are already committed exceed the cash by 16,768 USD in 2026-Q4."),
        (("--must", "TW-112"), 2, "TW-112 cannot be told to be in or out. TW-112 is not in the plan. No tool is on record"),
        (("--must", "TW-109/nothing"), 2, "TW-109 has no such open tool."),
        (("--not", "TW-1090"), 2, "The plan knows nothing of TW-1090. Did you mean TW-1"),
        (("--budget", "much"), 2, "--budget 'much' is not an amount; write it as 50000, or 50000 USD."),
        (("--budget", "5 EUR"), 2, "--budget is in EUR, and the budgets of shared/money.yaml in USD."),
        (("--worlds", "0"), 2, "0 is not in the range"),
    ),
)  # fmt: skip
def test_what_cannot_be_is_a_sentence(call: Caller, root: Path, words: tuple[str, ...], code: int, said: str) -> None:
    found = call("plan", "-w", root, *words)
    assert found.code == code
    assert said in " ".join((found.out + found.err).split())


def test_worlds_and_seed_are_the_askers(call: Caller, root: Path) -> None:
    data = _json(call, "-w", root, "--worlds", "5", "--seed", "7")
    assert (data["worlds"], data["seed"]) == (5, 7)
    assert all(one["share"] * 5 == round(one["share"] * 5) for one in data["tools"] if one["share"] is not None)


@pytest.mark.slow
def test_the_owners_release_is_where_the_next_plan_starts(call: Caller, tmp_path: Path) -> None:
    """The plan says TW-109; `pipeline release` records the owner's word; the next plan has it among the promises."""
    for name in ("projects", "shared"):
        shutil.copytree(ROOT / name, tmp_path / name)
    before = _json(call, "-w", tmp_path)
    assert before["plan"]["releases"]["TW-109 tools"] == "2026-Q4"
    signed = call("release", "TW-109", "-w", tmp_path, "--by", "owner", "--second", "ito", "--why", "plan", "--yes")
    assert signed.code == 0, signed.out + signed.err
    after = _json(call, "-w", tmp_path)
    assert after["promised"] == before["promised"] + 23_700
    assert "TW-109 tools" not in after["plan"]["releases"]
    rest = {key: quarter for key, quarter in before["plan"]["releases"].items() if key != "TW-109 tools"}
    assert after["plan"]["releases"] == rest
    assert "The money is released already" in call("plan", "-w", tmp_path, "--why", "TW-109").out


def test_a_stop_shows_what_is_solved(call: Caller, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.portfolio import funding_study

    def stop(*_args: object, **_more: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(funding_study, "compute_sureness", stop)
    said = call("plan", "-w", root, "--seed", "99")
    assert said.code == 130
    assert "Stopped by hand: what was solved by then is shown" in said.out
    assert "TW-109 tools" in said.out and "not asked" in said.out


def test_progress_comes_after_two_seconds_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = iter([0.0, 1.0, 2.5, 2.6, 5.0])
    monkeypatch.setattr(plan_command.time, "monotonic", lambda: next(clock))
    progress = plan_command._Progress()
    for done in range(4):
        progress.tell("worlds", done, 16)
    told = capsys.readouterr().err.splitlines()
    assert [line.split(",")[0] for line in told] == ["worlds: 1 of 16", "worlds: 3 of 16"]


def test_a_workspace_without_parts_says_so(call: Caller, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "shared", tmp_path / "shared")
    (tmp_path / "projects").mkdir()
    said = call("plan", "-w", tmp_path)
    assert said.code == 0
    assert "nothing to plan" in said.out


def test_what_compiled_code_prints_does_not_reach_the_answer() -> None:
    """The solver's library was seen to print lines of its own on the standard output, which would break --json."""
    script = (
        "import os\n"
        "from pipeline.portfolio.spending import keep_output_clean\n"
        "with keep_output_clean():\n"
        "    os.write(1, b'noise')\n"
        "print('answer')\n"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout == "answer\n"
