"""What a requirement says names the right evidence: words that mutation testing found nobody reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from gates.gates_policy import find_requirement, write_policy
from lineage.lineage_workspace import build_workspace
from lineage.test_lineage_edges import build_record

from pipeline.gates.judgement import Bench, count_words, find_outside, name_list
from pipeline.gates.tried import describe_cell
from pipeline.lineage.coverage import Cell, CellState
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.catalogue import NeedParameters
from pipeline.model.part import Feature, Reading
from pipeline.model.quantity import Limits
from pipeline.model.words import FeatureKind, Hand
from pipeline.model.workspace import EvidenceFile, FileState

B = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
    "  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length]}\n"
)


@pytest.mark.parametrize(
    ("prototypes", "words"),
    [
        ("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n", "P1 no longer stands for revision B"),
        (
            "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n  P2: {of: B, process: print, on: 2026-05-25}\n",
            "P1 no longer stands for revision B",
        ),
        (
            "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n  P2: {of: A, process: print, on: 2026-02-02}\n",
            "P1, P2 no longer stand for revision B",
        ),
        ("prototypes: {}\n", "no prototype yet"),
    ],
)
def test_a_prototype_that_fell_is_named_and_one_that_stands_is_not(
    prototypes: str, words: str, sample: Callable[..., Path]
) -> None:
    more = "decisions: []\nfit_checks: {}\n" + B + prototypes
    found = find_requirement(sample(more, write_policy(prototype_built="{least: 2}")), "prototype.built")
    assert found.answer.words == words
    assert found.answer.todo == ("build a prototype of revision B",)


LENGTH = Feature(what="length", kind=FeatureKind.SIZE, nominal=40.0, unit="mm", limits=Limits(lower=-0.2, upper=0.2))


@pytest.mark.parametrize(
    ("given", "outside"),
    [
        ((40.2, 39.8), ()),
        ((40.2 + 1e-10, 39.8 - 1e-10), ()),  # the dust of decimal numbers
        ((40.201, 40.0, 39.799), (40.201, 39.799)),
        (Reading(value=40.201), (40.201,)),
        (Reading(value=4.0201, unit="cm"), (40.201,)),  # told in the unit of the feature
        (Reading(value=4.0, unit="cm"), ()),
        (Reading(value=90.0, unit="deg"), ()),  # units that do not go together are told by a rule of their own
        (Reading(value=90.0, unit="HRC"), ()),
        (None, ()),
    ],
)
def test_what_reads_outside_its_limits_is_told_in_the_unit_of_the_feature(
    given: Reading | tuple[float, ...] | None, outside: tuple[float, ...]
) -> None:
    assert find_outside(given, LENGTH) == pytest.approx(outside)
    assert find_outside(given, None) == ()
    assert find_outside(given, LENGTH.model_copy(update={"limits": None})) == ()


@pytest.mark.parametrize(
    ("unit", "nominal", "limits", "reading", "outside"),
    [
        ("um", 10.0, (-2.0, 2.0), Reading(value=0.012, unit="mm"), ()),  # 12 um: on the limit
        ("um", 10.0, (-2.0, 2.0), Reading(value=0.0125, unit="mm"), (12.5,)),
        ("um", 10.0, (-2.0, 2.0), Reading(value=0.0005, unit="in"), (12.7,)),  # an inch is 25.4 mm
        ("in", 1.0, (-0.01, 0.01), Reading(value=25.654, unit="mm"), ()),  # 1.01 in: on the limit
        ("in", 1.0, (-0.01, 0.01), Reading(value=25.908, unit="mm"), (1.02,)),
    ],
)
def test_a_reading_is_turned_into_the_unit_of_a_feature_that_is_not_stated_in_millimetres(
    unit: str, nominal: float, limits: tuple[float, float], reading: Reading, outside: tuple[float, ...]
) -> None:
    change = {"unit": unit, "nominal": nominal, "limits": Limits(lower=limits[0], upper=limits[1])}
    assert find_outside(reading, LENGTH.model_copy(update=change)) == pytest.approx(outside)


@pytest.mark.parametrize(
    ("hand", "state", "check", "words"),
    [
        (Hand.NONE, CellState.MISSING, None, "try it on saloon"),
        (Hand.LEFT, CellState.MISSING, None, "try it on saloon, left hand"),
        (Hand.NONE, CellState.STALE, "F1", "try it on saloon again (F1 is stale)"),
        (Hand.RIGHT, CellState.BAD, "F1", "mend what did not fit on saloon, right hand (F1)"),
        (Hand.RIGHT, CellState.OPEN, "F1", "judge F1 on saloon, right hand"),
    ],
)
def test_what_to_do_about_an_application_names_it_its_hand_and_its_trial(
    hand: Hand, state: CellState, check: str | None, words: str
) -> None:
    assert describe_cell(Cell("saloon", hand, state, check)) == words


def test_a_long_list_names_four_and_counts_the_rest() -> None:
    assert name_list(list("abcd")) == "a, b, c, d"
    assert name_list(list("abcde")) == "a, b, c, d and 1 more"
    assert name_list((), 2) == ""
    assert count_words(0, 1, "tools", "accepted") == "0 of 1 tools accepted"


def test_an_assembly_tells_what_waits_and_what_has_no_source(sample: Callable[..., Path]) -> None:
    parts = (
        "decisions: []\nmade_of:\n  a: {part: SD-999}\n  pin: {bought: pin}\n  nut: {bought: nut, from: [foundry]}\n"
    )
    found = find_requirement(sample(parts, write_policy()), "tooling.children")
    assert found.answer.words == "0 of 1 parts of the assembly released; pin has no source"
    assert found.answer.todo == ("release SD-999 first", "find a source for pin")


def test_where_files_were_not_looked_at_what_is_named_is_taken_to_be_there() -> None:
    space = build_workspace(build_record("SD-100"))
    bench = Bench(space.parts["SD-100"], compute_lineage(space).parts["SD-100"], space, NeedParameters())
    assert bench.has_file("evidence/o1.csv") and not bench.has_file(None)


@pytest.mark.parametrize(
    ("state", "listed", "now", "then"),
    [
        (FileState.INTACT, "ab", True, True),
        (FileState.REFERENCE, None, True, True),
        (FileState.CHANGED, "ab", False, True),  # its hash in the list says that it was attached once
        (FileState.MISSING, "ab", False, True),
        (FileState.MISSING, None, False, False),
        (FileState.UNLISTED, None, False, False),  # it lies there, and nobody attached it
    ],
)
def test_a_file_that_was_attached_proved_something_then_and_one_that_never_was_did_not(
    state: FileState, listed: str | None, now: bool, then: bool
) -> None:
    space = build_workspace(build_record("SD-100"))
    space = replace(space, files={("SD-100", "evidence/o1.csv"): EvidenceFile("evidence/o1.csv", state, listed)})
    bench = Bench(space.parts["SD-100"], compute_lineage(space).parts["SD-100"], space, NeedParameters())
    assert bench.has_file("evidence/o1.csv") is now
    assert replace(bench, lenient=True).has_file("evidence/o1.csv") is then


def test_a_tool_moves_on_in_the_record_that_keeps_it(sample: Callable[..., Path]) -> None:
    own = "tools:\n  die: {kind: die, forms: [length], steps: {ordered: 2026-05-12}}\nquotes: {}\n"
    root = sample("decisions: []\nuses_tools: [SD-101/rig, SD-102/block]\n" + own, write_policy())
    for number, tool in (("SD-101", "rig"), ("SD-102", "block")):
        folder = root / "projects" / number
        folder.mkdir()
        (folder / "part.yaml").write_text(
            f"part: {number}\nname: other\nfamily: cast\nsafety: S0\nengineer: ann\n"
            "fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}\n"
            "features: {edge: {what: edge, kind: size, nominal: 3, unit: mm}}\n"
            f"tools: {{{tool}: {{kind: die, forms: [edge]}}}}\n"
        )
    assert find_requirement(root, "tooling.accepted").answer.todo == (
        "bring die from ordered to accepted (`pipeline tool SD-100 die`)",
        "bring rig from not quoted to accepted (`pipeline tool SD-101 rig`)",
        "bring block from not quoted to accepted (`pipeline tool SD-102 block`)",
    )
