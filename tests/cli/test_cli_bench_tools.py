"""A tool moves on and a record grows by commands: in order, after the release, with a way out of every refusal."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli.test_cli_bench import RECORD, add_person, call, read

from pipeline.cli.answers import parse_limits_or_class, parse_link, parse_piece_readings
from pipeline.cli.program import EXIT_CLEAN, EXIT_FINDINGS, EXIT_USAGE
from pipeline.model.part import Part
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.near import read_near
from pipeline.portfolio.starting import parse_feature_line

Sample = Callable[..., Path]
GO = (
    "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
    "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
    "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
    "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
)
ARTICLE = ("--pieces", "3", "--finished", "--by", "ann", "--seen-by", "bob", "--covers", "length")


@pytest.fixture
def released(sample: Sample) -> Path:
    root = sample(GO)
    add_person(root)
    return root


def read_part(root: Path) -> Part:
    near, _ = read_near(root, "SD-100")
    assert near is not None and near.part is not None, near
    return near.part


def test_a_tool_goes_from_the_order_to_the_accepted_first_article(released: Path, tmp_path: Path) -> None:
    settings = tmp_path / "shots.csv"
    settings.write_text("zone,C\n1,410\n", "utf-8")
    for step, day in (("ordered", "2026-05-12"), ("cutting", "2026-05-15"), ("on-trial", "2026-05-20")):
        before = read(released).splitlines()
        code, said = call(released, "tool", "SD-100", "die", step, "--day", day, "--yes")
        assert code == EXIT_CLEAN, said
        after = read(released).splitlines()
        assert len(after) == len(before) and sum(a != b for a, b in zip(before, after, strict=True)) == 1
    code, said = call(
        released, "tool", "SD-100", "die", "first article", "--settings", str(settings), *ARTICLE, "--day", "2026-05-25",
        "--result", "open", "--yes",
    )  # fmt: skip
    assert code == EXIT_CLEAN, said
    result = ("tool", "SD-100", "--article", "A1", "--result", "good", "--gives", "length=40.0 40.1 39.95", "--yes")
    assert call(released, *result)[0] == EXIT_CLEAN
    code, said = call(released, "tool", "SD-100", "die", "accepted", "--day", "2026-05-28", "--yes")
    assert code == EXIT_CLEAN and "no good first article" not in said, said
    part = read_part(released)
    assert [f"{step} {day}" for step, day in part.tools["die"].steps.items()] == [
        "quoted 2026-05-01", "ordered 2026-05-12", "cutting 2026-05-15", "on trial 2026-05-20", "accepted 2026-05-28",
    ]  # fmt: skip
    assert part.first_articles["A1"].gives == {"length": (40.0, 40.1, 39.95)}
    standing = check_workspace(released).standings["SD-100"].gates
    tooling = next(found for gate, found in standing.items() if gate == "tooling")
    assert not tooling.open_requirements


@pytest.mark.parametrize(
    ("more", "arguments", "reasons"),
    [
        ("", ("die", "cutting"), (f"{RECORD}:28: die is quoted since 2026-05-01; cutting comes after ordered", "--day DAY")),
        ("", ("die", "quoted"), (f"{RECORD}:28: die is quoted since 2026-05-01; if the day is wrong",)),
        ("", ("die", "ordered", "--day", "2026-05-09"), ("the money was released on 2026-05-10, after 2026-05-09",)),
        ("", ("die", "ordered", "--day", "2026-06-02"), ("2026-06-02 has not come yet",)),
        ("", ("die", "first article"), ("no pieces come off a tool that is not cut", "pipeline tool SD-100 die cutting")),
        ("", ("nest", "ordered"), ('"nest" is not there',)),
        ("", ("die", "melted"), ('"melted" is not there',)),
        ("decisions: []\n", ("die", "ordered"), ("no release of tooling money", "pipeline release SD-100")),
        (GO.replace("by: kim, say: go}\n", "by: ann, say: go}\n"), ("die", "ordered"), ("the release of 2026-05-10 does not count: ann is not owner",)),
    ],
)  # fmt: skip
def test_a_step_out_of_order_or_before_the_release_is_refused(
    sample: Sample, more: str, arguments: tuple[str, ...], reasons: tuple[str, ...]
) -> None:
    root = sample(more or GO)
    add_person(root)
    before = read(root)
    code, said = call(root, "tool", "SD-100", *arguments, "--yes")
    assert code in (EXIT_FINDINGS, EXIT_USAGE) and all(reason in said for reason in reasons), said
    assert read(root) == before


def test_metal_is_not_cut_and_nothing_ordered_on_evidence_that_went_stale(sample: Sample) -> None:
    changed = (
        "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
        "  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length], why: fouled}\n"
    )
    ordered = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-12}}\n"
    root = sample(GO + changed + ordered)
    code, said = call(root, "tool", "SD-100", "die", "cutting", "--yes")
    assert code == EXIT_FINDINGS and "hold call: die was ordered on 2026-05-12 and is not cut" in said, said
    assert "sign a no-effect statement" in said
    root = sample(GO + changed)
    code, said = call(root, "tool", "SD-100", "die", "ordered", "--yes")
    assert code == EXIT_FINDINGS and "the order would stand on stale evidence" in said, said


def test_readings_outside_the_limits_are_never_called_good(released: Path, tmp_path: Path) -> None:
    for step in ("ordered", "cutting"):
        assert call(released, "tool", "SD-100", "die", step, "--day", "2026-05-12", "--yes")[0] == EXIT_CLEAN
    article = ("tool", "SD-100", "die", "first article", *ARTICLE, "--gives", "length=40.1 40.3 40.0")
    code, said = call(released, *article, "--result", "good", "--yes")
    assert code == EXIT_FINDINGS and "length reads 40.3 mm, outside its limits: record the result as bad" in said, said
    assert call(released, *article, "--result", "bad", "--yes")[0] == EXIT_CLEAN
    code, said = call(released, "tool", "SD-100", "--article", "A1", "--result", "good", "--yes")
    assert code == EXIT_FINDINGS and "A1 came out bad already" in said and f"{RECORD}:" in said, said


def test_a_tool_that_another_record_keeps_moves_on_there_and_makes_articles_here(released: Path) -> None:
    folder = released / "projects/SD-200"
    folder.mkdir()
    (folder / "part.yaml").write_text(
        "part: SD-200\nname: Cap\nfamily: cast\nsafety: S0\nengineer: ann\nfits: {saloon: {vehicle: finch, body: saloon, "
        "years: 1951}}\nfeatures:\n  edge: {what: edge, kind: size, nominal: 3, limits: [0, 1], unit: mm}\nrevisions:\n"
        "  A: {on: 2026-01-20, by: ann}\nuses_tools: [SD-100/die]\n", "utf-8",
    )  # fmt: skip
    code, said = call(released, "tool", "SD-200", "die", "ordered", "--yes")
    assert code == EXIT_USAGE and "die is kept in the record of SD-100: pipeline tool SD-100 die ordered" in said, said
    article = (
        "tool",
        "SD-200",
        "die",
        "first article",
        *ARTICLE[:-2],
        "--gives",
        "edge=3.1 3.2 3.0",
        "--result",
        "open",
    )
    code, said = call(released, *article, "--yes")
    assert code == EXIT_FINDINGS and "pipeline tool SD-100 die cutting --day DAY" in said, said
    for step in ("ordered", "cutting"):
        assert call(released, "tool", "SD-100", "die", step, "--day", "2026-05-12", "--yes")[0] == EXIT_CLEAN
    code, said = call(released, *article, "--yes")
    assert code == EXIT_CLEAN, said
    near, _ = read_near(released, "SD-200")
    assert near is not None and near.part is not None and near.part.first_articles["A1"].tools == ("die",)


def test_a_tool_without_a_quote_is_added_with_its_first_step(released: Path) -> None:
    nest = (
        "tool",
        "SD-100",
        "plug",
        "ordered",
        "--kind",
        "gauge",
        "--price",
        "160 USD",
        "--day",
        "2026-05-11",
        "--yes",
    )
    code, said = call(released, *nest)
    assert code == EXIT_CLEAN, said
    plug = read_part(released).tools["plug"]
    assert plug.checks == ("length", "hard") and plug.forms == () and list(plug.steps) == ["ordered"]
    code, said = call(released, *nest)
    assert code == EXIT_USAGE and "has the tool plug already" in said


def test_a_feature_is_added_with_limits_or_the_class_that_gives_them(released: Path) -> None:
    code, said = call(
        released, "feature", "SD-100", "bore", "--what", "bore of the hub", "--kind", "size", "--nominal", "14.0", "--limits",
        "H7", "--shape", "hole", "--wrong", "weld,metal-off", "--yes",
    )  # fmt: skip
    assert code == EXIT_CLEAN, said
    assert "bore: 14 H7: +0 to +18 µm (ISO 286-1:2010 tables 1 to 5)" in said
    line = next(line for line in read(released).splitlines() if line.lstrip().startswith("bore:"))
    assert line.strip() == (
        "bore: {what: bore of the hub, kind: size, nominal: 14.0, unit: mm, tolerance: H7, "
        "wrong: [weld, metal-off], shape: hole, since: 2026-06-01}"
    )
    found = read_part(released).features["bore"].limits
    assert found is not None and (found.lower, found.upper) == (0.0, 0.018)
    assert not [f for f in check_workspace(released).findings if f.severity == "error"]


def test_a_critical_feature_says_which_gates_it_moves_back(released: Path) -> None:
    web = ("feature", "SD-100", "web", "--what", "web", "--kind", "thickness", "--nominal", "2.4", "--critical")
    code, said = call(released, *web, "--limits", "+-0.1", "--yes")
    assert code == EXIT_CLEAN, said
    assert "the measure gate goes from proven to stale" in said and "measure.critical: 1 of 2 critical features" in said
    assert "feature added since: web" in said
    told = check_workspace(released).findings
    assert not [f for f in told if f.rule == "G601"]  # nobody who decided before is accused
    assert str(read_part(released).features["web"].since) == "2026-06-01"
    code, said = call(released, *web, "--yes")
    assert code == EXIT_USAGE and f"{RECORD}:" in said and "pipeline revise SD-100 --changed web" in said


@pytest.mark.parametrize(
    ("flag", "value", "reason"),
    [("--limits", "H19", "Q817"), ("--limits", "0.2 -0.2", "is above the upper limit"), ("--unit", "yard", '"yard" is not there'),
     ("--kind", "bigness", '"bigness" is not there'), ("--nominal", "forty", '"forty" is not a number'),
     ("--wrong", "file-it", '"file-it" is not there')],
)  # fmt: skip
def test_a_feature_that_says_nothing_is_refused(released: Path, flag: str, value: str, reason: str) -> None:
    flags = {"--what": "web", "--kind": "thickness", "--nominal": "2.4", flag: value}
    before = read(released)
    code, said = call(released, "feature", "SD-100", "web", *(word for pair in flags.items() for word in pair), "--yes")
    assert code in (EXIT_FINDINGS, EXIT_USAGE) and reason in said and read(released) == before, said


def test_an_interface_is_added_with_its_stack_and_reckoned(released: Path) -> None:
    code, said = call(
        released, "interface", "SD-100", "sill", "--what", "hook under the sill", "--gap", "0.2 1.4", "--link", "- length",
        "--link", "+ sill width 40.8 +-0.3", "--yes",
    )  # fmt: skip
    assert code == EXIT_CLEAN, said
    stack = read_part(released).interfaces["sill"].stack
    assert [(c.feature or c.name, c.sign) for c in stack] == [("length", -1), ("sill width", 1)]
    code, said = call(released, "stack", "SD-100", "sill")
    assert code in (EXIT_CLEAN, EXIT_FINDINGS) and "0.3" in said and "1.3" in said, said  # 0.8 - 0.5 and 0.8 + 0.5
    code, said = call(
        released, "interface", "SD-100", "sill", "--what", "x", "--gap", "0 1", "--features", "length", "--yes"
    )
    assert code == EXIT_USAGE and "has sill already" in said
    code, said = call(
        released, "interface", "SD-100", "arch", "--what", "x", "--gap", "0 1", "--features", "lenght", "--yes"
    )
    assert code == EXIT_USAGE and "did you mean length?" in said


def test_an_interface_that_comes_after_decisions_keeps_its_day_and_accuses_nobody(released: Path) -> None:
    arch = (
        "interface",
        "SD-100",
        "arch",
        "--what",
        "hook to arch",
        "--gap",
        "0.1 0.9",
        "--features",
        "length",
        "--yes",
    )
    code, said = call(released, *arch)
    assert code == EXIT_CLEAN, said
    assert (
        "the fit check gate goes from proven to stale: fit-check.interfaces: 1 of 2 interfaces measured within limits; "
        "interface added since: arch"
    ) in said
    line = next(line for line in read(released).splitlines() if line.lstrip().startswith("arch:"))
    assert line.strip().endswith("features: [length], since: 2026-06-01}")
    assert {f.rule for f in check_workspace(released).findings} == {"G607"}


def test_an_application_is_added_with_its_day_and_accuses_nobody(released: Path) -> None:
    estate = ("application", "SD-100", "--vehicle", "finch", "--body", "estate", "--yes")
    code, said = call(released, *estate, "--day", "2026-05-28")
    assert code == EXIT_CLEAN, said
    assert (
        "the fit check gate goes from proven to stale: fit-check.coverage: 1 of 2 applications fitted; application added "
        "since: estate"
    ) in said
    line = next(line for line in read(released).splitlines() if line.lstrip().startswith("estate:"))
    assert line.strip() == "estate: {vehicle: finch, body: estate, years: 1952-1956, since: 2026-05-28}"
    assert {f.rule for f in check_workspace(released).findings} == {"G607"}
    trial = ("fit", "SD-100", "--with", "P1", "--car", "car-2", "--fits", "estate", "--gaps", "seat=0.5", "--result",
             "good", "--by", "ann", "--seen-by", "bob", "--day", "2026-05-30", "--yes")  # fmt: skip
    assert call(released, *trial)[0] == EXIT_CLEAN
    assert not check_workspace(released).findings  # the gate is proven again by what was tried


@pytest.mark.parametrize(("day", "rules", "judged"), [("2026-02-10", {"G601"}, True), ("2026-02-11", {"G607"}, False)])
def test_a_decision_of_the_same_day_is_judged_by_what_is_added_and_the_command_says_so(
    released: Path, day: str, rules: set[str], judged: bool
) -> None:
    estate = ("application", "SD-100", "--vehicle", "finch", "--body", "estate", "--day", day, "--yes")
    code, said = call(released, *estate)
    assert code == EXIT_CLEAN, said
    words = "the decision of 2026-02-10 is not older, so it is judged by this too: decide again"
    assert (words in said) is judged
    assert {f.rule for f in check_workspace(released).findings if f.rule.startswith("G6")} == rules


def test_an_application_or_interface_of_an_undecided_part_says_no_day(sample: Sample) -> None:
    root = sample("decisions: []\n")
    add_person(root)
    arch = (
        "interface",
        "SD-100",
        "arch",
        "--what",
        "hook to arch",
        "--gap",
        "0.1 0.9",
        "--features",
        "length",
        "--yes",
    )
    assert call(root, *arch)[0] == EXIT_CLEAN
    estate = (
        "application",
        "SD-100",
        "wagon",
        "--vehicle",
        "finch",
        "--body",
        "estate",
        "--years",
        "1953-1954",
        "--yes",
    )
    assert call(root, *estate)[0] == EXIT_CLEAN
    assert "since" not in read(root) and "wagon: {vehicle: finch, body: estate, years: 1953-1954}" in read(root)


@pytest.mark.parametrize(
    ("words", "code", "reason"),
    [(("saloon", "--vehicle", "finch", "--body", "saloon"), EXIT_USAGE, f"{RECORD}:7: SD-100 has saloon already"),
     (("--vehicle", "finch", "--body", "saloon"), EXIT_USAGE, "these flags are needed: ID."),
     (("--vehicle", "finch"), EXIT_USAGE, "these flags are needed: --body."),
     ((), EXIT_USAGE, "these flags are needed: --vehicle, --body."),
     (("--body", "estate"), EXIT_USAGE, "these flags are needed: --vehicle."),
     (("--vehicle", "finh", "--body", "estate"), EXIT_USAGE, "did you mean finch?"),
     (("--vehicle", "finch", "--body", "coupe"), EXIT_USAGE, '"coupe" is not there'),
     (("--vehicle", "finch", "--body", "estate", "--years", "55-53"), EXIT_USAGE, '--years: "55-53"')],
)  # fmt: skip
def test_an_application_that_says_nothing_is_refused(
    released: Path, words: tuple[str, ...], code: int, reason: str
) -> None:
    before = read(released)
    left, said = call(released, "application", "SD-100", *words, "--yes")
    assert left == code and reason in said and read(released) == before, said


def test_what_is_typed_becomes_readings_limits_and_links() -> None:
    assert parse_piece_readings(["rim", "bore"])("rim=112.4 112.5, bore = 14.0;") == {
        "rim": ["112.4", "112.5"],
        "bore": ["14.0"],
    }
    assert parse_limits_or_class("- 0.2") == [None, "0.2"] and parse_limits_or_class("ISO 2768-m") == "ISO 2768-m"
    assert parse_link("- coating plate x2", ["plate"]) == {"coating": "plate", "sign": -1, "faces": 2}
    assert parse_link("+ pin 8 -0.02 0", [])["limits"] == ["-0.02", "0"]
    assert parse_link("- hub pin 14 g6", []) == {"name": "hub pin", "nominal": "14", "tolerance": "g6", "sign": -1}
    line = parse_feature_line("bore | bore of the hub | size | 14 | H7 | mm", ["size"], ["mm"])
    assert line[1]["tolerance"] == "H7" and "limits" not in line[1]
    for parse, text in ((parse_piece_readings(["rim"]), "112.4"), (parse_piece_readings(["rim"]), "rim="),
                        (parse_piece_readings(["rim"]), "rim=1,rim=2"), (lambda t: parse_link(t, ["rim"]), "rim")):  # fmt: skip
        with pytest.raises(ValueError):
            parse(text)
