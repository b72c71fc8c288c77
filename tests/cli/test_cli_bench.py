"""The commands of the bench as scripts use them: flags instead of answers, JSON, refusals that write nothing."""

from __future__ import annotations

import datetime as dt
import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pipeline.cli.program import COMMANDS, EXIT_CLEAN, EXIT_FINDINGS, EXIT_USAGE, group
from pipeline.findings.catalogue import RULES
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.near import read_near

Sample = Callable[..., Path]
RECORD = "projects/SD-100/part.yaml"


def run(root: Path, *arguments: str) -> Result:
    found = CliRunner().invoke(group, [*arguments, "-w", str(root)], standalone_mode=True, prog_name="pipeline")
    assert found.exception is None or isinstance(found.exception, SystemExit), found.exception
    if isinstance(found.return_value, int):
        found.exit_code = found.return_value
    return found


def call(root: Path, *arguments: str) -> tuple[int, str]:
    """Run a command as the entry point does: the exit code, and everything it said."""
    import click

    runner = CliRunner()
    with runner.isolation() as streams:
        try:
            code = group.main([*arguments, "-w", str(root)], prog_name="pipeline", standalone_mode=False)
        except click.exceptions.Exit as left:
            code = left.exit_code
        except click.ClickException as error:
            error.show()
            code = EXIT_USAGE
        said = b"".join(stream.getvalue() for stream in streams[:2]).decode()
    return (code if isinstance(code, int) else EXIT_CLEAN), said


def read(root: Path, path: str = RECORD) -> str:
    return (root / path).read_text("utf-8")


def add_person(root: Path, **emails: str) -> None:
    lines = [f"  {name}: {{name: {name}, roles: [{role}]}}\n" for name, role in (("ann", "engineer"), ("bob", "lead"))]
    (root / "shared/people.yaml").write_text("people:\n" + "".join(lines) + "  kim: {name: Kim, roles: [owner, buyer], "
                                             f"emails: [{emails.get('kim', 'kim@example.invalid')}]}}\n", "utf-8")  # fmt: skip


FIT = ("fit", "SD-100", "--with", "P1", "--car", "car-1", "--fits", "saloon", "--gaps", "seat=0.4 0.5", "--result",
       "good", "--by", "ann", "--seen-by", "bob")  # fmt: skip
COMMANDS_THAT_WRITE: dict[str, tuple[str, ...]] = {
    "fit": FIT,
    "attach": ("attach", "SD-100", "FILE", "--kind", "measurement", "--of", "O3", "--condition", "nos", "--from", "x",
               "--with", "arm", "--at", "20 C", "--gives", "length=40.01", "--by", "ann"),
    "attach --to": ("attach", "SD-100", "FILE", "--to", "F1"),
    "revise": ("revise", "SD-100", "FILE", "--changed", "length", "--why", "too long", "--by", "ann"),
    "quote": ("quote", "SD-100", "FILE", "--from", "foundry", "--piece", "500=4.10", "--tools", "die=8000"),
    "decide": ("decide", "SD-100", "quote", "go", "--by", "kim", "--choose", "Q1"),
    "waive": ("waive", "SD-100", "tooling.accepted", "--until", "2026-12-31", "--by", "bob", "--risk", "kim",
              "--exposure", "100 USD", "--instead", "a look", "--why", "no time"),
    "tool": ("tool", "SD-100", "plug", "quoted", "--kind", "gauge", "--price", "160 USD"),
    "feature": ("feature", "SD-100", "eye", "--what", "eye", "--kind", "size", "--nominal", "8", "--limits", "H7"),
    "interface": ("interface", "SD-100", "arch", "--what", "hook to arch", "--gap", "0.1 0.9", "--features", "length"),
    "application": ("application", "SD-100", "estate", "--vehicle", "finch", "--body", "estate", "--years", "1953"),
    "change": ("change", "SD-100", "--found-at", "fit check", "--what", "fouls", "--mode", "fit", "--features",
               "length", "--by", "ann"),
}  # fmt: skip


def fill(arguments: tuple[str, ...], file: Path) -> list[str]:
    return [str(file) if word == "FILE" else word for word in arguments]


@pytest.fixture
def shop(sample: Sample, tmp_path: Path) -> Path:
    root = sample()
    add_person(root)
    text = read(root, "shared/gates.yaml").replace("decided_by: [lead, buyer]", "decided_by: [buyer]")
    (root / "shared/gates.yaml").write_text(text, "utf-8")
    (tmp_path / "new.bin").write_bytes(b"solid new\nendsolid new\n")
    return root


@pytest.mark.parametrize("name", COMMANDS_THAT_WRITE)
def test_a_script_writes_with_yes_and_the_check_agrees(shop: Path, tmp_path: Path, name: str) -> None:
    before = read(shop)
    code, said = call(shop, *fill(COMMANDS_THAT_WRITE[name], tmp_path / "new.bin"), "--yes")
    assert code == EXIT_CLEAN, said
    assert "+++ b/projects/SD-100/part.yaml" in said and "Wrote " in said
    kept = set(before.splitlines())
    lost = kept - set(read(shop).splitlines())
    assert len(lost) <= (1 if name == "attach --to" else 0), lost
    near, _ = read_near(shop, "SD-100")
    assert near is not None and near.part is not None
    assert near.findings == tuple(f for f in check_workspace(shop).findings if f.record == "SD-100")


@pytest.mark.parametrize("name", COMMANDS_THAT_WRITE)
def test_a_dry_run_and_a_script_without_yes_write_nothing(shop: Path, tmp_path: Path, name: str) -> None:
    arguments = fill(COMMANDS_THAT_WRITE[name], tmp_path / "new.bin")
    files = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()}
    code, said = call(shop, *arguments, "--dry-run")
    assert code == EXIT_CLEAN and "Nothing was written" in said
    code, said = call(shop, *arguments)
    assert code == EXIT_USAGE and "--yes (or --dry-run)" in said
    assert {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()} == files


@pytest.mark.parametrize("name", COMMANDS_THAT_WRITE)
def test_json_says_what_was_written(shop: Path, tmp_path: Path, name: str) -> None:
    code, said = call(shop, *fill(COMMANDS_THAT_WRITE[name], tmp_path / "new.bin"), "--yes", "--json")
    answer = json.loads(said[said.index("{") :])
    assert code == EXIT_CLEAN and answer["written"] is True
    assert answer["files"][-1] == RECORD and answer["entries"] and "+" in answer["diff"]
    assert answer["commit_command"].startswith("git add -- ")


def test_every_missing_flag_is_named_at_once(shop: Path) -> None:
    code, said = call(shop, "fit", "SD-100")
    assert code == EXIT_USAGE
    flags = said.partition("flags are needed: ")[2]
    assert flags.strip() == "--yes (or --dry-run), --with, --fits, --car, --result, --by."


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (("decide", "SD-100", "model", "go", "--by", "ann"), "ann is not lead"),
        (("decide", "SD-100", "fit check", "go", "--by", "bob", "--second", "bob"), "bob is not another person"),
        (("decide", "SD-100", "tooling", "go", "--by", "bob", "--second", "kim"), "tooling.first-article: no first article yet"),
        (("waive", "SD-100", "tooling.safety-tests", "--until", "2026-12-31", "--by", "bob", "--risk", "kim", "--exposure", "1 USD", "--instead", "x", "--why", "y"), "cannot be waived"),
        (("waive", "SD-100", "measure.originals", "--until", "2026-12-31", "--by", "bob", "--risk", "kim", "--exposure", "1 USD", "--instead", "x", "--why", "y"), "is met"),
        (("waive", "SD-100", "tooling.accepted", "--until", "2026-01-31", "--by", "bob", "--risk", "kim", "--exposure", "1 USD", "--instead", "x", "--why", "y"), "would have run out"),
        (("waive", "SD-100", "tooling.accepted", "--until", "2026-12-31", "--by", "bob", "--risk", "bob", "--exposure", "1 USD", "--instead", "x", "--why", "y"), "another person as risk owner"),
        (("release", "SD-100", "--by", "ann"), "ann is not owner"),
        (("fit", "SD-100", "--with", "P1", "--car", "car-1", "--fits", "saloon", "--gaps", "seat=0.4", "--result", "good", "--by", "ann", "--seen-by", "ann"), "P502"),
    ],
)  # fmt: skip
def test_what_the_rules_forbid_is_refused_before_it_is_written(
    shop: Path, arguments: tuple[str, ...], reason: str
) -> None:
    before = read(shop)
    code, said = call(shop, *arguments, "--yes")
    assert code == EXIT_FINDINGS and reason in said and "was written" not in said.replace("Nothing was written", ""), (
        said
    )
    assert read(shop) == before


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("new", "INDEX", "--from", "SD-100"), "INDEX is the name of the list of parts"),
        (("new", "LPT1", "--from", "SD-100"), "LPT1 is a reserved name on Windows"),
        (("new", "SD-150", "--from", "SD-100", "--hands", "AUX,SD-100,mirror"), "AUX is a reserved name on Windows"),
    ],
)
def test_a_number_that_no_part_can_have_starts_no_record(shop: Path, words: tuple[str, ...], reason: str) -> None:
    code, said = call(shop, *words, "--yes")
    assert code == EXIT_USAGE and reason in said
    assert [folder.name for folder in (shop / "projects").iterdir()] == ["SD-100"]


def test_a_change_keeps_the_weeks_that_it_was_thought_to_take_beside_those_that_it_took(shop: Path) -> None:
    """What is left out is reckoned, as the predicted cost is; what is stated stands."""
    found = COMMANDS_THAT_WRITE["change"]
    late = ["tool cut" if word == "fit check" else word for word in found]
    assert call(shop, *late, "--weeks", "3", "--yes")[0] == 0
    assert call(shop, *found, "--predicted-weeks", "2.5", "--yes")[0] == 0
    code, said = call(shop, *found, "--predicted-weeks", "-1", "--yes")
    assert code != 0 and "--predicted-weeks" in said
    lines = [line for line in read(shop).splitlines() if "what: fouls" in line]
    assert len(lines) == 2 and re.search(r"predicted_weeks: \d+(\.\d)?, weeks: 3\b", lines[0]), lines[0]
    assert "predicted_weeks: 2.5" in lines[1] and " weeks: " not in lines[1].replace("predicted_weeks", "")


def test_a_release_names_every_blocker_at_once(sample: Sample) -> None:
    root = sample("decisions: []\nquotes: {}\n")
    code, said = call(root, "release", "SD-100", "--by", "ann", "--yes")
    refused = [line for line in said.splitlines() if line.startswith("refused: ")]
    assert code == EXIT_FINDINGS
    for gate in ("measure", "model", "prototype", "fit check", "quote"):
        assert any(line.startswith(f"refused: {gate} gate: ") for line in refused), (gate, refused)
    assert any("ann is not owner" in line for line in refused)
    assert any(line.startswith("refused: release: quote.chosen") for line in refused)


def test_a_release_prints_the_sheet(shop: Path) -> None:
    call(shop, *COMMANDS_THAT_WRITE["decide"], "--yes")
    code, said = call(shop, "release", "SD-100", "--by", "kim", "--yes", "--why", "spring")
    assert code == EXIT_CLEAN, said
    for words in (
        "TOOLING RELEASE",
        "Sample hook",
        "9,000 USD",
        "Q1 of the foundry",
        "does not say that the part is safe",
        "Released by",
    ):
        assert words in said


def test_a_waived_requirement_lets_a_decision_pass(sample: Sample) -> None:
    fits = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
    decisions = "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    root = sample(fits + decisions)
    go = ("decide", "SD-100", "fit check", "go", "--by", "bob", "--second", "kim", "--yes")
    code, said = call(root, *go)
    assert code == EXIT_FINDINGS and "fit-check.coverage: 1 of 2 applications fitted" in said
    waive = ("waive", "SD-100", "fit-check.coverage", "--until", "2026-09-01", "--by", "bob", "--risk", "kim",
             "--exposure", "900 USD", "--instead", "template", "--why", "car away", "--yes")  # fmt: skip
    assert call(root, *waive)[0] == EXIT_CLEAN
    code, said = call(root, *go)
    assert code == EXIT_CLEAN and "waived until 2026-09-01: fit-check.coverage" in said


def test_a_revision_shows_what_goes_stale_and_what_it_costs_before_it_writes(shop: Path, tmp_path: Path) -> None:
    before = read(shop)
    code, said = call(shop, *fill(COMMANDS_THAT_WRITE["revise"], tmp_path / "new.bin"), "--dry-run")
    assert code == EXIT_CLEAN and read(shop) == before
    stale, diff = said.index("makes stale:"), said.index("+++ b/")
    assert stale < said.index("Redone:") < diff
    for words in ("prototype P1: covers length", "fit check F1: covers length", "quote Q1: covers length"):
        assert words in said[stale:diff]


def test_a_script_gets_the_cost_of_a_revision_in_its_answer(shop: Path, tmp_path: Path) -> None:
    _, said = call(shop, *fill(COMMANDS_THAT_WRITE["revise"], tmp_path / "new.bin"), "--dry-run", "--json")
    notes = json.loads(said)["notes"]
    assert any(note.startswith("Redone: ") for note in notes) and any("quote Q1" in note for note in notes)


def test_a_claim_of_no_effect_wants_a_signed_statement(shop: Path, tmp_path: Path) -> None:
    revise = fill(COMMANDS_THAT_WRITE["revise"], tmp_path / "new.bin")
    code, said = call(shop, *revise, "--no-effect", "Q1", "--yes")
    assert code == EXIT_USAGE and "--no-effect-why, --seen-by" in said
    statement = ("--no-effect", "Q1", "--no-effect-why", "inside the limits quoted", "--yes")
    code, said = call(shop, *revise, *statement, "--seen-by", "ann")
    assert code == EXIT_USAGE and "another person must have seen it" in said
    code, said = call(shop, *revise, *statement, "--seen-by", "bob")
    assert code == EXIT_CLEAN, said
    near, _ = read_near(shop, "SD-100")
    assert near is not None and near.lineage is not None
    assert near.lineage.is_fresh("quotes.Q1") and not near.lineage.is_fresh("fit_checks.F1")


def test_a_filled_in_traveller_makes_the_fit_checks(sample: Sample, tmp_path: Path) -> None:
    fits = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
    root = sample(fits + "fit_checks: {}\ndecisions: []\n")
    code, empty = call(root, "fit", "SD-100", "--empty")
    assert code == EXIT_CLEAN and empty.splitlines()[1:] == [
        "P1,car-1,saloon,,,,,seat,,,,",
        "P1,car-2,estate,,,,,seat,,,,",
    ]
    filled = tmp_path / "traveller.csv"
    filled.write_bytes(
        b"\xef\xbb\xbf"
        + empty.replace(",seat,,,,", ",seat,0.4 0.5,,good,ok")
        .replace(",,,,,seat", ",,2026-02-05,ann,bob,seat")
        .encode()
    )
    code, said = call(root, "fit", "SD-100", str(filled), "--yes")
    assert code == EXIT_CLEAN, said
    near, _ = read_near(root, "SD-100")
    assert near is not None and near.part is not None
    checks = near.part.fit_checks
    assert {(c.fits, c.car, c.gaps["seat"]) for c in checks.values()} == {
        ("saloon", "car-1", (0.4, 0.5)),
        ("estate", "car-2", (0.4, 0.5)),
    }
    assert {c.file for c in checks.values()} == {"evidence/traveller.csv"}
    broken = tmp_path / "broken.csv"
    broken.write_text(
        filled.read_text("utf-8-sig").replace("0.4 0.5", "0,4", 1).replace("2026-02-05", "5.2.2026"), "utf-8"
    )
    code, said = call(root, "fit", "SD-100", str(broken), "--yes")
    assert code == EXIT_FINDINGS and "row 2:" in said and "row 3:" in said


def test_a_sibling_starts_with_features_and_without_evidence(shop: Path) -> None:
    code, said = call(shop, "new", "SD-101", "--from", "SD-100", "--years", "1954-1955", "--engineer", "ann", "--yes")
    assert code == EXIT_CLEAN, said
    near, _ = read_near(shop, "SD-101")
    assert near is not None and near.part is not None
    assert list(near.part.features) == ["length", "hard"] and str(near.part.fits["saloon"].years.first) == "1954"
    assert not near.part.measurements and not near.part.decisions and not near.part.quotes
    assert call(shop, "new", "sd-101", "--yes")[0] == EXIT_USAGE
    assert (
        call(
            shop,
            "new",
            "CON",
            "--name",
            "x",
            "--family",
            "cast",
            "--safety",
            "S0",
            "--engineer",
            "ann",
            "--fits",
            "a=finch/saloon/1951",
            "--yes",
        )[0]
        == EXIT_USAGE
    )


def test_evidence_kept_elsewhere_is_marked_as_such(shop: Path, tmp_path: Path) -> None:
    scan = tmp_path / "scan one.e57"
    scan.write_bytes(b"points" * 100)
    code, said = call(shop, "attach", "SD-100", str(scan), "--to", "F1", "--reference", "--yes")
    assert (
        code == EXIT_CLEAN
        and "kept at file:///" in said
        and not (shop / "projects/SD-100/evidence/scan one.e57").exists()
    )
    near, _ = read_near(shop, "SD-100")
    assert near is not None and near.files["evidence/scan one.e57.ref"].state == "kept elsewhere"
    code, said = call(shop, "attach", "SD-100", str(scan), "--to", "P1", "--reference", "--yes")
    assert code == EXIT_FINDINGS and "refers to these very bytes" in said
    far = ("--reference", "--uri", "https://scans.example.invalid/b.e57", "--sha256", "ab" * 32, "--size", "7")
    assert call(shop, "attach", "SD-100", "--to", "P1", *far, "--yes")[0] == EXIT_CLEAN


def test_git_lfs_pointers_count_by_the_file_they_stand_for(shop: Path) -> None:
    folder = shop / "projects/SD-100"
    listed = dict(reversed(line.split("  ")) for line in read(shop, "projects/SD-100/evidence.sha256").splitlines())
    for digest, state in ((listed["evidence/hook-a.stl"], "kept elsewhere"), ("0" * 64, "changed")):
        pointer = f"version https://git-lfs.github.com/spec/v1\noid sha256:{digest}\nsize 25\n"
        (folder / "evidence/hook-a.stl").write_text(pointer, "utf-8", newline="\n")
        near, _ = read_near(shop, "SD-100")
        assert near is not None and near.files["evidence/hook-a.stl"].state == state


def test_a_commit_takes_only_what_was_written_and_runs_the_users_hooks(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("AUTHOR", "Ann"), ("COMMITTER", "Ann")):
        monkeypatch.setenv(f"GIT_{name}_NAME", value)
        monkeypatch.setenv(f"GIT_{name}_EMAIL", "ann@example.invalid")

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], cwd=shop, check=True, capture_output=True, text=True).stdout

    git("init", "-q")
    git("add", "-A")
    git("commit", "-q", "-m", "start")
    (shop / "other.txt").write_text("mine", "utf-8")
    git("add", "other.txt")
    hook = shop / ".git/hooks/pre-commit"
    hook.write_text("#!/bin/sh\necho ran >> .git/ran\n", "utf-8")
    hook.chmod(0o755)
    code, said = call(shop, *FIT, "--yes", "--commit")
    assert code == EXIT_CLEAN and "Committed" in said, said
    assert (
        git("show", "--name-only", "--format=%s|%ae").split("\n\n")[0]
        == "SD-100: fit check F2 on saloon: good|ann@example.invalid"
    )
    assert git("show", "--name-only", "--format=").split() == [RECORD]
    assert "A  other.txt" in git("status", "--porcelain") and (shop / ".git/ran").exists()
    code, said = call(shop, *FIT, "--yes")
    assert "To commit it: git add -- projects/SD-100/part.yaml && git commit -m" in said
    assert git("log", "--format=%s").count("fit check") == 1


def test_next_mine_finds_the_person_by_the_e_mail_of_git(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_AUTHOR_EMAIL", "nobody@example.invalid")
    code, said = call(shop, "next", "--mine")
    assert code == EXIT_USAGE and "nobody@example.invalid" in said
    monkeypatch.setenv("GIT_AUTHOR_EMAIL", "KIM@example.invalid")
    code, said = call(shop, "next", "--mine")
    assert code == EXIT_CLEAN and "Nothing to do" in said
    code, said = call(shop, "next")
    assert "SD-100" in said and "opens: quote" in said


def test_what_opens_more_gates_for_less_comes_first(sample: Sample) -> None:
    from pipeline.portfolio.portfolio import build_portfolio
    from pipeline.views.next_steps import order_by_cost

    root = sample()
    text = read(root)
    for number, cut in (("SD-200", "fit_checks"), ("SD-300", "measurements")):
        folder = root / "projects" / number
        folder.mkdir()
        lines = text.replace("SD-100", number).split("\n")
        start = next(i for i, line in enumerate(lines) if line.startswith(cut + ":"))
        end = next((i for i in range(start + 1, len(lines)) if lines[i][:1].strip()), len(lines))
        body = "\n".join(lines[:start] + lines[end:])
        body = body[: body.index("decisions:")]
        if cut == "measurements":
            body = body.replace(", from: [M1, M2]", "")
        (folder / "part.yaml").write_text(body, "utf-8")
    order = [(o.file.number, o.cost) for o in order_by_cost(list(build_portfolio(root).parts.values()))]
    assert next(number for number, _ in order) == "SD-100" and order[0][1] == 0
    costs = [cost for _, cost in order]
    assert costs == sorted(costs)


def test_every_rule_can_be_explained() -> None:
    from pipeline.views.bench import render_rule

    for rule in RULES:
        said = render_rule(rule)
        assert rule.id in said and " ".join(rule.fix.split()) in " ".join(said.split()) and len(said.splitlines()) > 4
    runner = CliRunner()
    assert "G601" in runner.invoke(group, ["explain", "g601"]).output
    assert runner.invoke(group, ["explain", "Z999"]).exit_code == EXIT_USAGE
    assert json.loads(runner.invoke(group, ["explain", "G601", "--json"]).output)["rules"][0]["id"] == "G601"


def test_the_doctor_names_what_is_missing(shop: Path) -> None:
    (shop / "projects/SD-100/evidence/aux.txt").write_text("x", "utf-8")
    (shop / "shared/money.yaml").unlink()
    code, said = call(shop, "doctor", "--json")
    found = {one["what"]: one for one in json.loads(said)["found"]}
    assert code == 1 and found["workspace"]["level"] == "missing" and "shared/money.yaml" in found["workspace"]["words"]
    assert "aux.txt" in found["file names"]["words"] and found["git"]["level"] == "ok"
    assert found["hook"]["level"] == "look"


def test_every_command_is_there_and_has_help() -> None:
    runner = CliRunner()
    for name in (
        "new",
        "attach",
        "revise",
        "fit",
        "quote",
        "decide",
        "waive",
        "change",
        "release",
        "tool",
        "feature",
        "interface",
        "application",
        "import",
        "export",
        "hook",
        "explain",
        "doctor",
        "next",
    ):
        assert name in COMMANDS
        shown: Any = runner.invoke(group, [name, "--help"])
        assert shown.exit_code == 0 and "Usage:" in shown.output


def test_completion_scripts_are_made_for_each_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    from click.shell_completion import get_completion_class

    for shell in ("bash", "zsh", "fish"):
        made: Any = get_completion_class(shell)
        assert "_PIPELINE_COMPLETE" in made(group, {}, "pipeline", "_PIPELINE_COMPLETE").source()
    complete: Any = get_completion_class("bash")
    names = [item.value for item in complete(group, {}, "pipeline", "_X").get_completions([], "de")]
    assert names == ["decide", "demo"]


def test_the_day_of_a_record_is_today_unless_it_is_said(shop: Path) -> None:
    code, said = call(shop, *FIT, "--day", "2026-03-04", "--dry-run")
    assert code == EXIT_CLEAN and "on: 2026-03-04" in said
    code, said = call(shop, *FIT, "--dry-run")
    assert f"on: {dt.date(2026, 6, 1)}" in said
