"""Commands: help, exit codes, hints, output formats, and what they may not import."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from cli.command_line import Caller

from pipeline.cli.program import COMMANDS
from pipeline.findings.sample import SAMPLE_PART

ROOT = Path(__file__).parents[2]
BROKEN = "family: casst\n"
NEEDS_A_WORKSPACE = ["check", "next", "ladder", "impact"]
Sample = Callable[..., Path]


def run_python(*words: str, cwd: Path = ROOT, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run Python in a process of its own."""
    settings = {**os.environ, "PYTHONPATH": str(ROOT), **environment}
    return subprocess.run(
        [sys.executable, *words], cwd=cwd, env=settings, capture_output=True, text=True, encoding="utf-8", check=False
    )


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_explains_itself(name: str, call: Caller) -> None:
    said = call(name, "--help")
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith(f"Usage: pipeline {name} ")
    body = said.out.split("\n\n")[1].strip()
    assert len(body.split()) >= 4
    assert call(name, "-h").out == said.out


def test_the_list_of_commands_tells_each_in_a_line(call: Caller) -> None:
    said = call("--help")
    assert said.code == 0
    for name, text in COMMANDS.items():
        assert f"\n  {name} " in said.out
        assert text.endswith(".")
        assert len(text) <= 110


def test_the_version_is_the_package_s(call: Caller) -> None:
    import pipeline

    assert call("--version").out.strip().endswith(pipeline.__version__)


USAGE: list[tuple[str, list[str], str]] = [
    ("unknown command", ["chekc"], "Did you mean `check`?"),
    ("nothing like it", ["qqqqqq"], "`pipeline --help` lists them"),
    ("unknown option", ["check", "--frmat", "json"], "--format"),
    ("unknown format", ["check", "--format", "xml"], "sarif"),
    ("no such folder", ["check", "-w", "/no/such/folder"], "does not exist"),
    ("not a day", ["check", "--on", "2026-02-30"], "2026-05-20"),
    ("no part", ["ladder"], "PART"),
    ("no feature", ["impact", "SD-100"], "FEATURE"),
    ("not a schema", ["schema", "pard"], "part"),
]


@pytest.mark.parametrize(("words", "hint"), [u[1:] for u in USAGE], ids=[u[0] for u in USAGE])
def test_wrong_usage_leaves_with_two_and_a_hint(
    words: list[str], hint: str, call: Caller, sample: Sample, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(sample())
    said = call(*words)
    assert (said.code, said.out) == (2, "")
    assert hint in said.err


@pytest.mark.parametrize("words", [["check"], ["next"], ["ladder", "SD-100"], ["impact", "SD-100", "length"]])
def test_outside_a_workspace_the_way_in_is_told(
    words: list[str], call: Caller, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    said = call(*words)
    assert said.code == 2
    assert "pipeline init" in said.err


def test_a_workspace_is_found_from_any_folder_in_it(
    call: Caller, sample: Sample, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(sample() / "projects/SD-100/evidence")
    assert call("check").code == 0


@pytest.mark.parametrize("words", [["check"], ["next"], ["ladder"], ["impact"]])
def test_an_unknown_part_or_feature_is_answered_with_the_nearest(
    words: list[str], call: Caller, sample: Sample
) -> None:
    more = ["length"] if words == ["impact"] else []
    said = call(*words, "SD-10O", *more, "-w", sample())
    assert said.code == 2
    assert "Did you mean SD-100?" in said.err


def test_an_unknown_feature_or_person_is_answered_with_the_known_ones(call: Caller, sample: Sample) -> None:
    root = sample()
    for words in (["impact", "SD-100", "lenght"], ["ladder", "SD-100", "-f", "lenght"]):
        said = call(*words, "-w", root)
        assert (said.code, said.out) == (2, "")
        assert "length, hard" in said.err
    said = call("next", "-e", "anna", "-w", root)
    assert said.code == 2
    assert "ann" in said.err


def test_check_leaves_with_zero_one_and_strictly_one(call: Caller, sample: Sample) -> None:
    assert call("check", "-w", sample()).code == 0
    assert call("check", "-w", sample(BROKEN)).code == 1
    warned = sample("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1941-1955}\n")
    assert call("check", "-w", warned).code == 0
    assert call("check", "-w", warned, "--strict").code == 1


def test_check_tells_place_rule_value_and_way_out(call: Caller, sample: Sample) -> None:
    said = call("check", "-w", sample(BROKEN))
    first, second, *_ = said.out.splitlines()
    assert first == 'projects/SD-100/part.yaml:3:9: error R206 family: there is no family "casst"'
    assert second.startswith("    fix: did you mean `cast`?")
    assert said.out.splitlines()[-1] == "1 record: 1 error, 0 warnings, 0 notes"


def test_check_of_one_part_tells_of_that_part_only(call: Caller, sample: Sample) -> None:
    root = sample(BROKEN)
    other = root / "projects/SD-101"
    other.mkdir()
    (other / "part.yaml").write_text("part: SD-101\n")
    assert "SD-101/part.yaml" in call("check", "-w", root).out
    said = call("check", "SD-100", "-w", root)
    assert "SD-101/part.yaml" not in said.out
    assert "R206" in said.out


def test_check_as_json_is_what_it_says_as_text(call: Caller, sample: Sample) -> None:
    root = sample(BROKEN + "picture: ../x.png\n")
    data = json.loads(call("check", "-w", root, "--format", "json").out)
    text = call("check", "-w", root).out
    assert data["format"] == "repro-pipeline findings 1"
    assert (data["records"], data["broken"]) == (1, 1)
    places = [f"{f['path']}:{f['line']}:{f['column']}: {f['severity']} {f['rule']}" for f in data["findings"]]
    assert places == [" ".join(line.split()[:3]) for line in text.splitlines() if line.startswith("projects/")]


def test_check_as_sarif_has_the_structure_of_the_standard(call: Caller, sample: Sample) -> None:
    """OASIS SARIF 2.1.0: 3.13.2 version, 3.14 run, 3.19.23 rules, 3.27 result, 3.28 location, 3.30 region (seen)."""
    root = sample(BROKEN + "picture: ../x.png\nmarking: {kind: date, rights: \u00fc}\n")
    said = call("check", "-w", root, "--format", "sarif")
    log = json.loads(said.out)
    assert said.code == 1
    assert log["version"] == "2.1.0"
    assert log["$schema"].endswith("sarif-schema-2.1.0.json")
    (run,) = log["runs"]
    driver = run["tool"]["driver"]
    assert driver["name"]
    rules = [rule["id"] for rule in driver["rules"]]
    assert len(rules) == len(set(rules))
    assert all(rule["shortDescription"]["text"] and rule["help"]["text"] for rule in driver["rules"])
    assert run["columnKind"] == "unicodeCodePoints"
    assert run["results"]
    for result in run["results"]:
        assert rules[result["ruleIndex"]] == result["ruleId"]
        assert result["level"] in {"none", "note", "warning", "error"}
        assert result["message"]["text"]
        (location,) = result["locations"]
        place = location["physicalLocation"]
        assert place["artifactLocation"]["uri"] == "projects/SD-100/part.yaml"
        assert place["artifactLocation"]["uriBaseId"] in run["originalUriBaseIds"]
        assert place["region"]["startLine"] >= 1
        assert place["region"]["startColumn"] >= 1


def test_sarif_paths_are_uri_references(sample: Sample) -> None:
    """RFC 3986: blanks, percent signs and letters outside ASCII are escaped."""
    from pipeline.findings.catalogue import BY_ID, RULES
    from pipeline.findings.finding import Location
    from pipeline.findings.report import build_sarif

    finding = BY_ID["Y012"].build_finding(Location("projects/a b%ü#?/part.yaml"), "x")
    result = build_sarif([finding], RULES, "0")["runs"][0]["results"][0]
    uri = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert uri == "projects/a%20b%25%C3%BC%23%3F/part.yaml"


def test_a_mistake_of_the_program_leaves_with_three_and_says_what_to_send(
    call: Caller, sample: Sample, monkeypatch: pytest.MonkeyPatch
) -> None:
    import pipeline.portfolio.check as check

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("boom \x1b[31m")

    monkeypatch.setattr(check, "check_workspace", fail)
    said = call("check", "-w", sample())
    assert said.code == 3
    assert "RuntimeError: boom" in said.err
    assert "PIPELINE_TRACEBACK=1" in said.err
    assert "\x1b" not in said.err
    monkeypatch.setenv("PIPELINE_TRACEBACK", "1")
    assert "Traceback" in call("check", "-w", sample()).err


@pytest.mark.parametrize("words", [["next"], ["ladder", "SD-100"], ["impact", "SD-100", "length"]])
def test_a_part_that_cannot_be_read_is_told_with_its_findings(words: list[str], call: Caller, sample: Sample) -> None:
    root = sample("picture: ../x.png\n")
    said = call(words[0], "SD-100", *words[2:], "-w", root)
    assert said.code == 1
    assert "M112" in said.err
    said = call(words[0], "SD-100", *words[2:], "-w", sample("", {"shared/money.yaml": "currency: 1\n"}))
    assert said.code == 1
    assert "shared/" in said.err


def test_next_says_what_is_missing_and_the_shortest_way(call: Caller, sample: Sample) -> None:
    root = sample("fit_checks: {}\ndecisions: []\n")
    said = call("next", "SD-100", "-w", root)
    assert said.code == 0
    assert "SD-100" in said.out
    assert "decide the measure gate" in said.out
    assert call("next", "-e", "kim", "-w", root).code == 0


def test_ladder_shows_nine_stages_and_today(call: Caller, sample: Sample) -> None:
    said = call("ladder", "SD-100", "-w", sample())
    stages = [
        "measure",
        "model",
        "prototype",
        "fit check",
        "quote",
        "tool ordered",
        "tool cut",
        "first article",
        "released",
    ]
    shown = [line.strip() for line in said.out.splitlines()]
    assert said.code == 0
    assert [s for s in stages if any(line.startswith(s + " ") for line in shown)] == stages
    assert "If found today" in said.out
    assert "today" in next(line for line in shown if line.startswith("quote"))


def test_impact_lists_what_follows_in_order_and_writes_nothing(call: Caller, sample: Sample) -> None:
    root = sample()
    before = {file: file.read_bytes() for file in root.rglob("*") if file.is_file()}
    said = call("impact", "SD-100", "length", "-w", root)
    assert said.code == 0
    assert "prototype like P1" in said.out
    assert said.out.index("model again" if "model again" in said.out else "revision after A") < said.out.index(
        "prototype like P1"
    )
    later = call("impact", "SD-100", "length", "-w", root, "--found", "tool cut")
    assert "change to die" in later.out
    assert before == {file: file.read_bytes() for file in root.rglob("*") if file.is_file()}


HOSTILE = "\x1b[31mred\x1b[0m \u202egnp\u2066"


@pytest.mark.parametrize("words", [["check"], ["next"], ["ladder", "SD-100"], ["impact", "SD-100", "length"]])
def test_no_command_prints_what_steers_a_terminal(words: list[str], call: Caller, sample: Sample) -> None:
    root = sample()
    record = root / "projects/SD-100/part.yaml"
    escaped = HOSTILE.encode("unicode_escape").decode()
    for text in (HOSTILE, '"' + escaped + '"', "|\n  a\n  b", '"a\\nprojects/X:1:1: error all is well"'):
        record.write_text(SAMPLE_PART.replace("name: Sample hook", f"name: {text}"), encoding="utf-8")
        for form in ([], ["--format", "json"], ["--format", "sarif"]) if words == ["check"] else ([],):
            said = call(*words, *form, "-w", root)
            assert said.code in (0, 1)
            assert not set(said.out + said.err) & {"\x1b", "\u202e", "\u2066", "\x9b", "\r"}
            assert "\nprojects/X:1:1" not in said.out


def test_a_hostile_word_on_the_command_line_is_answered_not_obeyed(call: Caller, sample: Sample) -> None:
    root = sample()
    for word in ("../../etc", "SD-100/../SD-100", "$(id)", "<b>", "projects/SD-100", "", "."):
        assert call("check", "-w", root, "--", word).code == 2
        assert call("ladder", "-w", root, "--", word).code == 2


HEAVY = ("matplotlib", "scipy", "numpy", "mkdocs", "networkx", "git", "jinja2", "ruamel")


@pytest.mark.parametrize("words", ["--help", "check", "check --format sarif", "schema"])
def test_light_commands_load_no_heavy_library(words: str, sample: Sample) -> None:
    root = sample(BROKEN)
    code = (
        "import sys\nfrom pipeline.cli.program import run\n"
        f"sys.argv = ['pipeline', *{words.split()!r}]\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    said = run_python("-c", code, cwd=root)
    assert said.stdout.splitlines()[-1] == "LOADED []", said.stdout[-300:] + said.stderr


def test_help_loads_no_model(sample: Sample) -> None:
    code = (
        "import sys\nfrom pipeline.cli.program import run\nsys.argv = ['pipeline', '--help']\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\nprint('LOADED', [n for n in ('pydantic', 'yaml') if n in sys.modules])"
    )
    assert run_python("-c", code).stdout.splitlines()[-1] == "LOADED []"


def test_output_survives_a_terminal_of_few_letters(sample: Sample) -> None:
    root = sample("name: 図面\nfits:\n  saloon: {vehicle: finch, body: saloon, years: 早い}\n")
    said = run_python("-m", "pipeline", "check", "-w", str(root), PYTHONIOENCODING="cp1252")
    assert said.returncode == 1
    assert "\\u65e9\\u3044" in said.stdout
    said = run_python("-m", "pipeline", "next", "-w", str(sample("name: 図面\n")), PYTHONIOENCODING="cp1252")
    assert said.returncode == 0
    assert "\\u56f3\\u9762" in said.stdout


def test_a_reader_that_goes_away_is_no_mistake_of_the_program(sample: Sample) -> None:
    lines = "".join(f"k{i}: 1\n" for i in range(3_000))
    root = sample()
    (root / "projects/SD-100/part.yaml").write_text(SAMPLE_PART + lines)
    process = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "check", "-w", str(root)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    assert process.wait(60) != 3
    assert b"Traceback" not in process.stderr.read()
    process.stderr.close()


def test_no_plugin_of_what_else_is_installed_has_a_say(tmp_path: Path) -> None:
    """A distribution beside ours that offers pydantic a plugin, which would stop the program."""
    (tmp_path / "strange.py").write_text("raise SystemExit('a strange plugin was loaded')\n", "utf-8")
    told = tmp_path / "strange-1.0.dist-info"
    told.mkdir()
    (told / "METADATA").write_text("Metadata-Version: 2.1\nName: strange\nVersion: 1.0\n", "utf-8")
    (told / "entry_points.txt").write_text("[pydantic]\nstrange = strange\n", "utf-8")
    paths = os.pathsep.join((str(ROOT), str(tmp_path)))
    open_door = run_python("-c", "import pipeline.model.part as p; p.Part.model_rebuild()", PYTHONPATH=paths)
    assert "a strange plugin was loaded" in open_door.stderr + open_door.stdout, "it would be, by pydantic alone"
    done = run_python("-m", "pipeline", "check", "-w", str(ROOT), PYTHONPATH=paths)
    assert "strange plugin" not in done.stdout + done.stderr and "records" in done.stdout + done.stderr
