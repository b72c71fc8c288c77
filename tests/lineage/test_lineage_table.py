"""A change to each kind of evidence makes stale exactly what descends from it and covers what changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from lineage.lineage_story import STORY, check_story, write_story

from pipeline.lineage.freshness import Cause, PartLineage, Reason
from pipeline.portfolio.check import check_workspace

B = "  A: {on: 2026-01-20, by: ann, file: evidence/a.stl, from: [M1, M2]}\n"
M1 = "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/m1.csv, gives: {length: 40.02}}\n"
O1 = "  O1: {condition: used, from: lent}"
HOOK = "SD-100/"
ASSEMBLED = {"SD-300/prototypes.G1", "SD-300/fit_checks.G2"}
BORROWED = {"SD-200/tools.cap", "SD-200/first_articles.N1"}
OF_LENGTH = {"prototypes.P1", "fit_checks.F1", "quotes.Q1", "tools.die", "tools.mask", "first_articles.FA1",
             "sample_runs.S1"}  # fmt: skip
OF_WIDTH = {"prototypes.P1", "prototypes.P2", "fit_checks.F2", "quotes.Q1", "quotes.Q2", "tools.trim", "tools.gauge",
            "first_articles.FA2"}  # fmt: skip
OF_HARD = {"tests.T1", "quotes.Q1", "tools.gauge", "first_articles.FA2"}
ALL = OF_LENGTH | OF_WIDTH | OF_HARD


def add_revision(changed: str, more: str = "", key: str = "B", on: str = "2026-05-01") -> dict[str, str]:
    """Return the edit that adds a revision."""
    return {B: f"{B}  {key}: {{on: {on}, by: ann{changed}{more}}}\n"}


@dataclass(frozen=True)
class Case:
    """One change, and everything that it makes stale (`SD-100/` left out where it is the first record)."""

    name: str
    stale: set[str]
    words: tuple[str, str] | None = None
    edits: dict[str, str] = field(default_factory=dict)
    other: dict[str, str] = field(default_factory=dict)
    add: str = ""
    gone: str | None = None
    changed: str | None = None


CASES = [
    Case("nothing changed", set()),
    # original
    Case("original was a reproduction all along", {"measurements.M1", "revisions.A", *OF_LENGTH, *BORROWED},
         ("measurements.M1", "measurement M1 is of original O1, which is a reproduction"),
         edits={O1: O1.replace("used", "reproduction")}),
    Case("original was replated: only the coated feature falls", {"measurements.M2", "revisions.A", "fit_checks.F2",
         "quotes.Q1", "prototypes.P1"},
         ("fit_checks.F2", "measurement M2 is of original O2, which is restored: `plate` carries a new coating"),
         edits={"  O2: {condition: used": "  O2: {condition: restored"}),
    Case("replated, but measured with the coating off", set(),
         edits={"  O2: {condition: used": "  O2: {condition: restored", "plate: 10}}": "plate: 10}, coating_off: true}"}),
    Case("original found to be new old stock", set(), edits={O1: O1.replace("used", "nos")}),
    # measurement
    Case("points file changed", {"measurements.M1", "revisions.A", *OF_LENGTH, *BORROWED},
         ("fit_checks.F1", "the file evidence/m1.csv of measurement M1 is not the one attached"), changed="m1.csv"),
    Case("points file gone", {"measurements.M1", "revisions.A", *OF_LENGTH, *BORROWED},
         ("tools.die", "the file evidence/m1.csv of measurement M1 is missing"), gone="m1.csv"),
    Case("measurement replaced by a later one", {"measurements.M1", "revisions.A", *OF_LENGTH, *BORROWED},
         ("revisions.A", "measurement M1 was replaced by measurement M3"),
         edits={M1: M1 + M1.replace("M1", "M3").replace("file: evidence/m1.csv, ", "").replace("gives", "replaces: M1, gives")}),
    Case("measurement replaced for another feature only", {"measurements.M2", "revisions.A", *OF_WIDTH - {"tools.gauge"}, "tools.gauge"},
         ("prototypes.P2", "measurement M2 was replaced by measurement M3"),
         edits={M1: M1 + "  M3: {of: O2, on: 2026-01-11, by: ann, with: arm, at: 20 C, replaces: M2, gives: {width: 20}}\n"}),
    Case("a measurement of the same feature is added", set(),
         edits={M1: M1 + "  M3: {of: O2, on: 2026-01-11, by: ann, with: arm, at: 20 C, gives: {length: 40.01}}\n"}),
    # revision
    Case("revision changed the length", OF_LENGTH | {*BORROWED, *ASSEMBLED},
         ("fit_checks.F1", "fit check F1 was made on revision A; revision B changed `length`, which F1 covers"),
         edits=add_revision(", changed: [length]")),
    Case("revision changed the width, which a stack uses", OF_WIDTH | ASSEMBLED,
         ("fit_checks.F2", "revision B changed `width`, which F2 covers"), edits=add_revision(", changed: [width]")),
    Case("revision changed the plating, a coating in a stack", {"prototypes.P1", "fit_checks.F2", "quotes.Q1", *ASSEMBLED},
         ("fit_checks.F2", "revision B changed `plate`, which F2 covers"), edits=add_revision(", changed: [plate]")),
    Case("revision changed the hardness, which no print shows", OF_HARD | ASSEMBLED,
         ("tests.T1", "test T1 was made on revision A; revision B changed `hard`"), edits=add_revision(", changed: [hard]")),
    Case("revision changed nothing but words", set(), edits=add_revision(", changed: []")),
    Case("revision does not say what it changed", ALL | {*BORROWED, *ASSEMBLED}, edits=add_revision("")),
    Case("revision changed two features", OF_LENGTH | OF_HARD | {*BORROWED, *ASSEMBLED},
         edits=add_revision(", changed: [length, hard]")),
    Case("two revisions, one feature each", OF_LENGTH | OF_HARD | {*BORROWED, *ASSEMBLED},
         edits={B: B + "  B: {on: 2026-05-01, by: ann, changed: [length]}\n  C: {on: 2026-05-02, by: ann, changed: [hard]}\n"}),
    Case("model file changed", {"revisions.A", *ALL, *BORROWED},
         ("first_articles.FA1", "the file evidence/a.stl of revision A is not the one attached"), changed="a.stl"),
    Case("model file of an older revision changed", {"revisions.A", *ALL, *BORROWED},
         edits=add_revision(", changed: []"), changed="a.stl"),
    # prototype
    Case("picture of a prototype changed", {"prototypes.P1", "fit_checks.F1"},
         ("fit_checks.F1", "the file evidence/p1.txt of prototype P1 is not the one attached"), changed="p1.txt"),
    # fit check
    Case("picture of a fit check gone", {"fit_checks.F1"}, gone="f1.jpg"),
    # test
    Case("report of a test changed", {"tests.T1"}, changed="t1.txt"),
    Case("test ran out", {"tests.T1"}, ("tests.T1", "test T1 was valid to 2026-05-31"),
         edits={"valid_to: 2026-12-31": "valid_to: 2026-05-31"}),
    Case("test valid to this very day", set(), edits={"valid_to: 2026-12-31": "valid_to: 2026-06-01"}),
    # quote
    Case("quote ran out before anything was ordered", {"quotes.Q2"}, ("quotes.Q2", "quote Q2 was valid to 2026-03-05"),
         edits={"on: 2026-03-01, valid_to: 2026-08-01, money: USD, tools: {trim: 900}": "on: 2026-03-01, valid_to: 2026-03-05, money: USD, tools: {trim: 900}"}),
    Case("quote ran out after it was ordered on in time", set(),
         edits={"on: 2026-03-01, valid_to: 2026-08-01, money: USD, tools: {trim: 900}": "on: 2026-03-01, valid_to: 2026-03-10, money: USD, tools: {trim: 900}"}),
    Case("letter of a quote changed: the tool stands on the order, not on the letter", {"quotes.Q1"}, changed="q1.txt"),
    # tool
    Case("drawing of the die changed", {"tools.die", "tools.mask", "first_articles.FA1", "sample_runs.S1", *BORROWED},
         ("tools.mask", "the file evidence/die.txt of tool die is not the one attached"), changed="die.txt"),
    Case("tool cut to an older revision than the current one", {"prototypes.P1", "prototypes.P2", "fit_checks.F2", "quotes.Q1",
         "quotes.Q2", "tools.gauge", "first_articles.FA2"},
         edits={B: B + "  B: {on: 2026-03-05, by: ann, changed: [width]}\n", "checks: [width, hard], steps": "checks: [width, hard], of: A, steps"},
         other={"on: 2026-02-10": "on: 2026-03-06", "on: 2026-02-11": "on: 2026-03-07"}),
    # first article
    Case("settings of a first article changed", {"first_articles.FA1", "tests.T1"}, changed="set.csv"),
    Case("settings of the other first article gone", {"first_articles.FA2"}, gone="set2.csv"),
    # studies
    Case("table of a gauge study changed", {"gauge_studies.G1"},
         ("gauge_studies.G1", "the file evidence/g1.csv of gauge study G1 is not the one attached"), changed="g1.csv"),
    Case("table of a run of pieces gone", {"sample_runs.S1"}, gone="s1.csv"),
    # other parts
    Case("borrowed die in another record: its own change stays there", {"SD-200/tools.cap", "SD-200/first_articles.N1", *ASSEMBLED},
         ("SD-200/tools.cap", "tool cap was made on revision A; revision B changed `edge`"),
         other={"revisions: {A: {on: 2026-01-20, by: ann}}": "revisions: {A: {on: 2026-01-20, by: ann}, B: {on: 2026-05-05, by: ann, changed: [edge]}}"}),
    Case("child changed before the assembly was tried", {*OF_LENGTH - {"tools.die", "tools.mask"}},
         edits=add_revision(", changed: [length]", on="2026-02-09")),
    Case("child changed after the assembly was tried", OF_LENGTH | {*ASSEMBLED, *BORROWED},
         ("SD-300/fit_checks.G2", "was made before revision B of SD-100"), edits=add_revision(", changed: [length]", on="2026-05-09")),
]  # fmt: skip


def name_fully(names: set[str]) -> set[str]:
    """Return node names with their record."""
    return {name if "/" in name else HOOK + name for name in names}


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_a_change_makes_stale_exactly_its_covered_descendants(case: Case, sample: Callable[..., Path]) -> None:
    root = write_story(sample, case.edits, case.other, case.add)
    if case.gone is not None:
        (root / "projects/SD-100/evidence" / case.gone).unlink()
    if case.changed is not None:
        (root / "projects/SD-100/evidence" / case.changed).write_text("other\n")
    stale = check_story(root)
    assert set(stale) == name_fully(case.stale)
    if case.words is not None:
        node, words = case.words
        name = node if "/" in node else HOOK + node
        assert any(words in one for one in stale[name]), stale[name]


def test_the_story_has_every_kind_of_evidence() -> None:
    from pipeline.lineage.nodes import SECTION_LABELS

    assert all(f"\n{section}:" in STORY for section in SECTION_LABELS)


def test_a_reason_names_the_path_from_the_cause_down(sample: Callable[..., Path]) -> None:
    root = write_story(sample)
    (root / "projects/SD-100/evidence/m1.csv").write_text("other\n")
    lineage = check_workspace(root).lineage.parts["SD-100"]
    (reason,) = lineage.reasons["fit_checks.F1"]
    assert reason.path == ("measurements.M1", "revisions.A", "prototypes.P1", "fit_checks.F1")
    assert reason.features == ("length",)
    assert lineage.find_stale_features("quotes.Q1") == ("length",)
    assert lineage.find_stale_features("quotes.Q2") == ()


def test_a_replaced_measurement_stands_for_what_was_not_read_again(sample: Callable[..., Path]) -> None:
    """M2 gave width and plating; M3 read the width again, and the length, which M2 never gave."""
    again = (
        "  M3: {of: O2, on: 2026-01-11, by: ann, with: arm, at: 20 C, replaces: M2, gives: {width: 20, length: 40}}\n"
    )
    lineage = check_workspace(write_story(sample, {M1: M1 + again})).lineage.parts["SD-100"]
    assert lineage.find_stale_features("measurements.M2") == ("width",)
    assert lineage.find_stale_features("fit_checks.F2") == ("width",)


@pytest.mark.parametrize(
    ("cause", "was_good"),
    [
        (Cause.FEATURE_CHANGED, True),
        (Cause.EXPIRED, True),
        (Cause.REPLACED, True),
        (Cause.CHILD_CHANGED, True),
        (Cause.FILE_CHANGED, True),
        (Cause.FILE_MISSING, True),
        (Cause.FILE_NEVER_THERE, False),
        (Cause.FILE_UNLISTED, False),
        (Cause.NOT_AN_ORIGINAL, False),
    ],
)
def test_what_went_stale_was_good_once_and_what_never_counted_was_not(cause: Cause, was_good: bool) -> None:
    reason, never = Reason(cause, "", (), ()), Reason(Cause.FILE_UNLISTED, "", (), ())
    lineage = PartLineage("SD-100", {}, ("A", "B"), {"one": (reason,), "two": (reason, never), "none": ()})
    assert lineage.was_good("one") is was_good and not lineage.is_fresh("one")
    assert not lineage.was_good("two"), "one reason that it never counted is enough"
    assert lineage.was_good("none") and lineage.is_fresh("none") and lineage.is_fresh("unknown")


def test_the_last_revision_is_the_current_one() -> None:
    assert PartLineage("SD-100", {}, ("A", "B"), {}).current == "B"
    assert PartLineage("SD-100", {}, (), {}).current is None


def test_a_new_revision_made_from_the_replacing_measurement_is_good(sample: Callable[..., Path]) -> None:
    replaced = M1 + M1.replace("M1", "M3").replace("file: evidence/m1.csv, ", "").replace(
        "gives", "replaces: M1, gives"
    )
    edits = {M1: replaced, B: B + "  B: {on: 2026-05-01, by: ann, from: [M3], changed: []}\n"}
    stale = check_story(write_story(sample, edits))
    assert "SD-100/revisions.A" in stale
    assert "SD-100/revisions.B" not in stale


def test_a_reproduction_beside_a_good_original_takes_nothing_from_the_model(sample: Callable[..., Path]) -> None:
    extra = M1 + "  M3: {of: O2, on: 2026-01-11, by: ann, with: arm, at: 20 C, gives: {length: 40.01}}\n"
    edits = {O1: O1.replace("used", "reproduction"), M1: extra, "from: [M1, M2]": "from: [M1, M2, M3]"}
    assert set(check_story(write_story(sample, edits))) == {"SD-100/measurements.M1"}


def test_a_mask_that_forms_its_own_features_still_follows_its_mould(sample: Callable[..., Path]) -> None:
    edits = {"  mask: {kind: gauge,": "  mask: {kind: gauge, forms: [plate],", **add_revision(", changed: [length]")}
    assert "SD-100/tools.mask" in check_story(write_story(sample, edits))


def test_affected_is_what_a_change_would_make_stale(sample: Callable[..., Path]) -> None:
    from pipeline.lineage.graph import find_affected, order_nodes

    lineage = check_workspace(write_story(sample)).lineage.parts["SD-100"]
    assert set(find_affected(lineage, ["length"])) == OF_LENGTH
    assert set(find_affected(lineage, ["width"])) == OF_WIDTH
    assert find_affected(lineage, []) == ()
    order = order_nodes(lineage)
    assert all(order.index(p) < order.index(n.id) for n in lineage.nodes.values() for p in n.parents if p in order)
