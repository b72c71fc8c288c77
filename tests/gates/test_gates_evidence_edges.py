"""Findings about days, calibration, units and originals, held from both sides of each edge."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from gates.test_gates_evidence_rules import find_messages

Sample = Callable[..., Path]
NONE = "decisions: []\n"
PROTO = "fit_checks: {}\nprototypes:\n  P1: {of: A, process: print, on: %s}\n" + NONE
TODAY, TOMORROW = "2026-06-01", "2026-06-02"
READ = "  M%d: {of: O%d, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o%d.csv, gives: {%s}%s}\n"


def read(first: str, more: str = "", second: str = "length: 39.99") -> str:
    """Return two measurements: what the first gives, of which original it is, what the second gives."""
    return "measurements:\n" + READ % (1, 1, 1, first, more) + READ % (2, 2, 2, second, "")


@pytest.mark.parametrize(("on", "told"), [(TODAY, False), (TOMORROW, True)])
def test_what_is_dated_today_is_evidence_and_what_is_dated_tomorrow_a_plan(on: str, told: bool, sample: Sample) -> None:
    found = find_messages(sample(PROTO % on), "D402")
    assert found == ([("prototypes.P1.on", f"prototype P1 is dated {TOMORROW}; today is {TODAY}")] if told else [])


@pytest.mark.parametrize(("on", "told"), [("2026-01-20", False), ("2026-01-19", True)])
def test_a_sample_may_be_built_on_the_day_of_its_model_and_not_before(on: str, told: bool, sample: Sample) -> None:
    words = "prototype P1 of 2026-01-19 is older than revision A of 2026-01-20, its origin"
    assert find_messages(sample(PROTO % on), "D401") == ([("prototypes.P1.on", words)] if told else [])


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ("quoted: 2026-05-01, ordered: 2026-05-01, cutting: 2026-05-01", []),
        ("quoted: 2026-05-02, accepted: 2026-05-01",
         [("accepted", "die was accepted on 2026-05-01, before it was quoted on 2026-05-02")]),
        ("on trial: 2026-05-01, ordered: 2026-05-20, cutting: 2026-05-10",
         [("cutting", "die was cutting on 2026-05-10, before it was ordered on 2026-05-20"),
          ("on trial", "die was on trial on 2026-05-01, before it was cutting on 2026-05-10")]),
    ],
)  # fmt: skip
def test_the_steps_of_a_tool_go_on_whatever_their_order_in_the_record(
    steps: str, told: list[tuple[str, str]], sample: Sample
) -> None:
    tool = f"tools:\n  die: {{kind: die, forms: [length], price: 9000 USD, steps: {{{steps}}}}}\n"
    found = find_messages(sample(tool + NONE), "D404")
    assert sorted(found) == [(f"tools.die.steps.{step}", words) for step, words in told]


@pytest.mark.parametrize(
    ("days", "told"),
    [
        ({"A": "2026-01-20", "A1": "2026-01-21", "B": "2026-01-22"}, None),
        ({"Z": "2026-01-20", "AA": "2026-01-21"}, None),
        ({"Z": "2026-01-20", "AA": "2026-01-20"}, None),  # on one day the name says which came first
        ({"9": "2026-01-20", "10": "2026-01-21"}, None),
        ({"A": "2026-01-20", "C": "2026-01-21", "B": "2026-01-22"},
         ("revisions.C.on", "by day the revisions come as A, C, B")),
        ({"B": "2026-01-20", "A1": "2026-01-21"}, ("revisions.B.on", "by day the revisions come as B, A1")),
    ],
)  # fmt: skip
def test_days_and_names_of_revisions_go_the_same_way(
    days: dict[str, str], told: tuple[str, str] | None, sample: Sample
) -> None:
    lines = "".join(f"  {key}: {{on: {on}, by: ann, changed: []}}\n" for key, on in days.items())
    bare = "prototypes: {}\nfit_checks: {}\nquotes: {}\n" + NONE
    assert find_messages(sample("revisions:\n" + lines + bare), "D406") == ([] if told is None else [told])


def test_every_revision_but_the_first_says_what_it_changed(sample: Sample) -> None:
    lines = "".join(f"  {key}: {{on: 2026-01-2{day}, by: ann%s}}\n" for day, key in enumerate("ABC"))
    first = "revisions:\n" + lines % ("", "", ", changed: []") + NONE
    words = "revision B does not say which features it changed"
    assert find_messages(sample(first), "D405") == [("revisions.B", words)]


INSTRUMENT = "resources: {}\ninstruments: {arm: {name: arm, mpe_mm: 0.02, calibrated: %s, due: %s}}\n"


@pytest.mark.parametrize(
    ("calibrated", "due", "told"),
    [
        ("2026-01-10", "2026-12-01", False),
        ("2026-01-11", "2026-12-01", True),
        ("2025-06-01", "2026-01-10", False),
        ("2025-06-01", "2026-01-09", True),
    ],
)
def test_a_calibration_holds_from_its_first_day_to_its_last(
    calibrated: str, due: str, told: bool, sample: Sample
) -> None:
    root = sample(NONE, {"shared/resources.yaml": INSTRUMENT % (calibrated, due)})
    words = f"arm is calibrated from {calibrated} to {due}, not on 2026-01-10"
    found = find_messages(root, "D403")
    assert found == ([(f"measurements.{key}.with", words) for key in ("M1", "M2")] if told else [])


TWO = (
    "features:\n  length: {what: length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true%s}\n"
    "  lip: {what: lip, kind: size, nominal: 8, limits: [-0.2, 0.2], unit: mm}\n"
)
OF = "originals:\n  O1: {condition: %s, from: lent}\n  O2: {condition: nos, from: boxed}\n"
COATED = "O1 is restored: length carries a new coating and does not count"


@pytest.mark.parametrize(
    ("what", "condition", "coated", "first", "more", "told"),
    [
        ("another original gave it too", "reproduction", "", "length: 40.02", "", "O1 is a reproduction"),
        ("it alone gave one of two", "reproduction", "", "length: 40.02, lip: 8", "", "O1 is a reproduction"),
        ("it alone gave all: told by a rule of its own", "reproduction", "", "lip: 8", "", None),
        ("an original", "used", "", "length: 40.02", "", None),
        ("replated", "restored", ", coated: true", "length: 40.02, lip: 8", "", COATED),
        ("replated, the coating taken off", "restored", ", coated: true", "length: 40.02", ", coating_off: true", None),
        ("replated, a feature that is not coated", "restored", ", coated: true", "lip: 8", "", None),
        ("not replated", "used", ", coated: true", "length: 40.02", "", None),
        ("nothing is coated", "restored", "", "length: 40.02", "", None),
    ],
)
def test_an_original_that_does_not_count_is_noted(
    what: str, condition: str, coated: str, first: str, more: str, told: str | None, sample: Sample
) -> None:
    root = sample(TWO % coated + OF % condition + read(first, more) + NONE)
    assert find_messages(root, "P505") == ([] if told is None else [("measurements.M1.of", told)]), what


@pytest.mark.parametrize(
    ("first", "told"),
    [
        ("lip: 8", True),
        ("length: 40.02", False),  # the second original gave it too
    ],
)
def test_a_feature_that_reproductions_alone_show_is_told(first: str, told: bool, sample: Sample) -> None:
    root = sample(TWO % "" + OF % "reproduction" + read(first) + NONE)
    words = "lip was measured on O1 only, which is no original"
    assert find_messages(root, "Q812") == ([("features.lip", words)] if told else [])


@pytest.mark.parametrize(
    ("kind", "limits", "unit", "told"),
    [
        ("size", "[0, 0]", "mm", "lip must be exactly 8 mm"),
        ("size", "[0.5, 0.5]", "mm", "lip must be exactly 8.5 mm"),
        ("size", "[0, 0.001]", "mm", None),
        ("size", "[null, 0]", "mm", None),
        ("function", "[0, 0]", "percent", None),  # all of it can be wanted
        ("marking", "[0, 0]", "percent", None),
    ],
)
def test_limits_without_width_are_told_but_for_what_is_counted(
    kind: str, limits: str, unit: str, told: str | None, sample: Sample
) -> None:
    lip = f"  lip: {{what: lip, kind: {kind}, nominal: 8, limits: {limits}, unit: {unit}}}\n"
    root = sample((TWO % "").partition("  lip")[0] + lip + NONE)
    assert find_messages(root, "Q811") == ([] if told is None else [("features.lip.limits", told)])


# An inch is 25.4 mm (the international yard and pound agreement of 1959, from memory): 40 mm are 1.5748 in.
@pytest.mark.parametrize(
    ("reading", "told"),
    [
        ("40.0", None),
        ("52.0", None),  # far off, and no slip of units
        ("95.0", None),
        ("1.5748", "1.5748 mm is 25.4 times off the nominal 40"),
        ("1016", "1016 mm is 0.03937 times off the nominal 40"),
        ("4.0", "4 mm is 10 times off the nominal 40"),
        ("400", "400 mm is 0.1 times off the nominal 40"),
        ("0.04", "0.04 mm is 1000 times off the nominal 40"),
        ("40000", "40000 mm is 0.001 times off the nominal 40"),
        ("4.19", "4.19 mm is 10 times off the nominal 40"),  # within a twentieth of it
        ("4.21", None),
        ("3.81", "3.81 mm is 10 times off the nominal 40"),
        ("3.79", None),
        ("-40.0", None),
        ("{value: 1.5748, unit: in}", None),
        ("{value: 40, unit: in}", "40 in is 0.03937 times off the nominal 40"),
        ("{value: 40, unit: um}", "40 um is 1000 times off the nominal 40"),
        ("{value: 40, unit: deg}", "the reading is in deg, the feature in mm"),
        ("{value: 40, unit: HRC}", "the reading is in HRC, the feature in mm"),
    ],
)
def test_a_reading_in_another_unit_than_was_meant_is_told(reading: str, told: str | None, sample: Sample) -> None:
    found = find_messages(sample(read(f"length: {reading}") + NONE), "D407")
    assert found == ([] if told is None else [("measurements.M1.gives.length", told)])


def test_a_feature_in_inches_is_held_against_readings_in_millimetres(sample: Sample) -> None:
    inch = "features:\n  length: {what: l, kind: size, nominal: 1.5, limits: [-0.01, 0.01], unit: in, critical: true}\n"
    gives = "length: {value: %s, unit: mm}"
    root = sample(inch + read(gives % 38.1, "", gives % 1.5) + NONE)  # 38.1 mm are 1.5 in
    words = "1.5 mm is 25.4 times off the nominal 1.5"
    assert find_messages(root, "D407") == [("measurements.M2.gives.length", words)]


def test_a_reading_of_what_should_be_nothing_is_off_by_no_factor(sample: Sample) -> None:
    flat = "features:\n  length: {what: bow, kind: flatness, nominal: 0, limits: [0, 0.2], unit: mm, critical: true}\n"
    assert find_messages(sample(flat + read("length: 0.01", "", "length: 0.1") + NONE), "D407") == []


def test_a_file_that_is_named_twice_is_told_once_where_it_is_named_first(sample: Sample) -> None:
    both = "picture: evidence/o1.csv\n" + read("length: 40.02") + NONE
    root = sample(both, {"projects/SD-100/evidence/o1.csv": None})
    assert find_messages(root, "E301") == [("picture", "evidence/o1.csv is not there")]


SIGNED = "with: P1, on: 2026-02-05, by: ann, car: car-1, fits: saloon, gaps: {seat: [0.4]}, result: good"


@pytest.mark.parametrize(("seen", "told"), [("", False), (", seen_by: bob", False), (", seen_by: ann", True)])
def test_a_trial_that_nobody_else_saw_is_open_and_one_that_its_maker_signed_twice_is_told(
    seen: str, told: bool, sample: Sample
) -> None:
    found = find_messages(sample(f"fit_checks:\n  F1: {{{SIGNED}{seen}}}\n" + NONE), "P502")
    assert found == ([("fit_checks.F1.seen_by", "F1 was made and seen by the same person, ann")] if told else [])


@pytest.mark.parametrize(
    ("covers", "told"),
    [
        ("[length]", []),
        ("[hard]", [("prototypes.P1.covers[0]", "P1 is a print: it cannot prove hardness, which hard needs")]),
        ("[length, hard]", [("prototypes.P1.covers[1]", "P1 is a print: it cannot prove hardness, which hard needs")]),
    ],
)
def test_what_a_sample_cannot_prove_is_told_at_its_place(
    covers: str, told: list[tuple[str, str]], sample: Sample
) -> None:
    part = f"prototypes:\n  P1: {{of: A, process: print, on: 2026-02-01, covers: {covers}}}\n"
    assert find_messages(sample(part + NONE), "P501") == told


@pytest.mark.parametrize(
    ("critical", "limits", "told"),
    [("true", "", True), ("false", "", False), ("true", ", limits: [null, 0]", False)],
)
def test_a_critical_feature_wants_a_limit(critical: str, limits: str, told: bool, sample: Sample) -> None:
    part = f"features:\n  length: {{what: l, kind: size, nominal: 40, unit: mm, critical: {critical}{limits}}}\n"
    found = find_messages(sample(part + NONE), "P504")
    assert found == ([("features.length", "length is critical and has no limits")] if told else [])
