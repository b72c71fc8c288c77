"""The states of a gate, decisions and their faults, policies, waivers, claims, hold calls, assemblies."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import find_requirement, find_standing, write_family, write_policy

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.judgement import Met
from pipeline.gates.standing import find_needs
from pipeline.model.words import GATES, Gate, GateState
from pipeline.portfolio.check import check_workspace

P = "projects/SD-100/"
FIRST = "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
BEFORE = (
    FIRST
    + "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
)
FIT_GO = "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
QUOTE_GO = "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
RELEASE = "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
TWO = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
REV_B = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [%s]}\n"
DIE = "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, by: foundry, steps: {%s}}\n"
ORDERED = DIE % "quoted: 2026-05-01, ordered: 2026-05-12"
RELEASED = BEFORE + FIT_GO + QUOTE_GO + RELEASE
ARTICLE = "first_articles:\n  N1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, settings: evidence/o1.csv, pieces: 3, finished: true, covers: [length], result: good}\n"
DONE = ARTICLE + DIE % "ordered: 2026-05-12, cutting: 2026-05-14, accepted: 2026-05-21"
TOOLING_GO = "  - {gate: tooling, on: 2026-05-25, by: bob, say: go, second: kim}\n"
NO_FIT = "fit_checks: {}\n"

FIT = Gate.FIT_CHECK
STATES: list[tuple[str, Gate, str, GateState]] = [
    ("no evidence, earlier ones open", FIT, NO_FIT + FIRST, GateState.NOT_STARTED),
    ("no evidence, earlier ones proven", FIT, NO_FIT + BEFORE, GateState.NOT_STARTED),
    ("evidence, not complete", FIT, TWO + BEFORE, GateState.IN_WORK),
    ("complete, earlier ones open", FIT, FIRST, GateState.IN_WORK),
    ("complete, earlier ones proven", FIT, BEFORE, GateState.READY),
    ("complete and decided", FIT, BEFORE + FIT_GO, GateState.PROVEN),
    ("decided by the wrong role", FIT, BEFORE + FIT_GO.replace("bob", "ann"), GateState.READY),
    ("decided without a second signature", FIT, BEFORE + FIT_GO.replace(", second: kim", ""), GateState.READY),
    ("signed twice by one person", FIT, BEFORE + FIT_GO.replace("kim", "bob"), GateState.READY),
    ("decided, never complete", FIT, TWO + BEFORE + FIT_GO, GateState.IN_WORK),
    ("decided, then a feature changed", FIT, REV_B % "length" + BEFORE + FIT_GO, GateState.STALE),
    ("decided, then a feature that it does not cover changed", FIT, REV_B % "hard" + BEFORE + FIT_GO, GateState.PROVEN),
    ("held", FIT, BEFORE + FIT_GO.replace("say: go", "say: hold"), GateState.HELD),
    ("held, then go", FIT, BEFORE + FIT_GO.replace("say: go", "say: hold") + FIT_GO.replace("02-10", "02-20"), GateState.PROVEN),
    ("go, then held", FIT, BEFORE + FIT_GO + FIT_GO.replace("say: go", "say: hold").replace("02-10", "02-20"), GateState.HELD),
    ("decisions of one day count in their order", FIT, BEFORE + FIT_GO.replace("say: go", "say: hold") + FIT_GO, GateState.PROVEN),
    ("decisions out of order count by their day", FIT, BEFORE + FIT_GO.replace("02-10", "02-20") + FIT_GO.replace("say: go", "say: hold"), GateState.PROVEN),
    ("sent back, nothing new", FIT, BEFORE + FIT_GO.replace("say: go", "say: rework"), GateState.IN_WORK),
    ("sent back before the trial, complete since", FIT, BEFORE + FIT_GO.replace("say: go", "say: rework").replace("02-10", "02-04"), GateState.READY),
    ("sent back on the day of the trial", FIT, BEFORE + FIT_GO.replace("say: go", "say: rework").replace("02-10", "02-05"), GateState.IN_WORK),
    ("dropped here", FIT, BEFORE + FIT_GO.replace("say: go", "say: drop"), GateState.DROPPED),
    ("dropped at an earlier gate", FIT, FIRST + "  - {gate: model, on: 2026-03-01, by: bob, say: drop}\n", GateState.DROPPED),
    ("a gate before the drop stands", Gate.MEASURE, BEFORE + FIT_GO.replace("say: go", "say: drop"), GateState.PROVEN),
    ("dropped and taken up again", FIT, BEFORE + FIT_GO.replace("say: go", "say: drop") + FIT_GO.replace("02-10", "02-20"), GateState.PROVEN),
    ("taken up again at another gate", FIT, BEFORE + FIT_GO.replace("say: go", "say: drop") + "  - {gate: measure, on: 2026-03-01, by: bob, say: go}\n", GateState.READY),
    ("waived and decided", FIT, TWO + BEFORE + FIT_GO + "waivers:\n  - {of: fit-check.coverage, until: 2026-06-01, by: bob, risk: kim, exposure: 900 USD, instead: x, why: y}\n", GateState.PROVEN),
    ("waived until yesterday", FIT, TWO + BEFORE + FIT_GO + "waivers:\n  - {of: fit-check.coverage, until: 2026-05-31, by: bob, risk: kim, exposure: 900 USD, instead: x, why: y}\n", GateState.STALE),
    ("waived until a day before the decision", FIT, TWO + BEFORE + FIT_GO + "waivers:\n  - {of: fit-check.coverage, until: 2026-02-09, by: bob, risk: kim, exposure: 900 USD, instead: x, why: y}\n", GateState.IN_WORK),
    ("tooling: ordered is in work", Gate.TOOLING, ORDERED + RELEASED, GateState.IN_WORK),
    ("tooling: only quoted is not started", Gate.TOOLING, BEFORE, GateState.NOT_STARTED),
    ("tooling: accepted and inspected", Gate.TOOLING, DONE + RELEASED, GateState.READY),
    ("tooling: passed", Gate.TOOLING, DONE + RELEASED + TOOLING_GO, GateState.PROVEN),
]  # fmt: skip


@pytest.mark.parametrize(("gate", "part", "state"), [s[1:] for s in STATES], ids=[s[0] for s in STATES])
def test_state_of_a_gate(gate: Gate, part: str, state: GateState, sample: Callable[..., Path]) -> None:
    assert find_standing(sample(part)).gates[gate].state is state


def test_every_state_is_seen() -> None:
    assert {row[3] for row in STATES} == set(GateState)


def test_a_part_stands_at_its_first_open_gate_and_is_released_after_the_last(sample: Callable[..., Path]) -> None:
    standing = find_standing(sample(DONE + RELEASED + TOOLING_GO))
    assert (standing.released, standing.gate, standing.todo) == (True, None, ())
    standing = find_standing(sample(BEFORE))
    assert (standing.released, standing.gate, standing.state) == (False, FIT, GateState.READY)
    assert standing.todo == ("decide the fit check gate",)
    dropped = find_standing(sample(BEFORE + FIT_GO.replace("say: go", "say: drop")))
    assert (dropped.is_dropped, dropped.gate, dropped.todo) == (True, FIT, ())


def test_age_counts_from_the_last_evidence_not_from_decisions(sample: Callable[..., Path]) -> None:
    assert str(find_standing(sample(BEFORE + FIT_GO)).last_evidence) == "2026-05-01"


# -- policy ---------------------------------------------------------------------------------------------------------


def find_wanted(root: Path, gate: Gate) -> dict[str, float | None]:
    """Return what a gate wants of the sample: requirement -> least."""
    workspace = check_workspace(root).workspace
    assert workspace is not None
    return {name: need.least for name, need in find_needs(workspace.parts["SD-100"], workspace, gate).items()}


S1 = "safety: S1\nsafety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory}\n"
SAFETY = "safety: {S1: {measure.originals: {least: 5}}}\n"


def test_families_and_safety_classes_change_the_figures(sample: Callable[..., Path]) -> None:
    plain = write_policy(measure_originals="{least: 2}", safety=SAFETY)
    family = {**plain, **write_family("needs: {measure.originals: {least: 3}, model.stacks: {off: true}}")}
    assert find_wanted(sample("", plain), Gate.MEASURE)["measure.originals"] == 2
    assert find_wanted(sample("", family), Gate.MEASURE)["measure.originals"] == 3
    assert find_wanted(sample(S1, family), Gate.MEASURE)["measure.originals"] == 5
    assert "model.stacks" in find_wanted(sample("", plain), Gate.MODEL)
    assert "model.stacks" not in find_wanted(sample("", family), Gate.MODEL)


def test_a_family_can_want_what_the_policy_does_not(sample: Callable[..., Path]) -> None:
    files = write_family("needs: {measure.ratio: {least: 4}}")
    assert "measure.ratio" not in find_wanted(sample(), Gate.MEASURE)
    assert find_wanted(sample("", files), Gate.MEASURE)["measure.ratio"] == 4
    assert "measure.ratio" not in find_wanted(sample("", files), Gate.MODEL)


def test_a_need_for_a_safety_class_is_for_that_class_only(sample: Callable[..., Path]) -> None:
    assert "tooling.safety-tests" not in find_wanted(sample(), Gate.TOOLING)
    assert "tooling.safety-tests" not in find_wanted(sample(S1), Gate.TOOLING)
    assert "tooling.safety-tests" in find_wanted(sample(S1.replace("S1", "S2")), Gate.TOOLING)
    assert "measure.safety-review" in find_wanted(sample(S1), Gate.MEASURE)


# -- waivers --------------------------------------------------------------------------------------------------------

WAIVER = "waivers:\n  - {of: %s, until: %s, by: bob, risk: kim, exposure: 900 USD, instead: x, why: y}\n"
UNTIL: list[tuple[str, str, str, Met]] = [
    ("to this very day", "2026-06-01", "", Met.WAIVED),
    ("to yesterday", "2026-05-31", "", Met.UNMET),
    ("before metal is cut, nothing ordered", "before metal is cut", "", Met.WAIVED),
    ("before metal is cut, ordered", "before metal is cut", ORDERED, Met.WAIVED),
    ("before metal is cut, cut", "before metal is cut", DIE % "ordered: 2026-05-12, cutting: 2026-05-20", Met.UNMET),
    ("before metal is cut, straight to trial", "before metal is cut", DIE % "ordered: 2026-05-12, on trial: 2026-05-20", Met.UNMET),
    ("before metal is cut, cut this very day", "before metal is cut", DIE % "ordered: 2026-05-12, cutting: 2026-06-01", Met.UNMET),
    ("before metal is cut, to be cut tomorrow", "before metal is cut", DIE % "ordered: 2026-05-12, cutting: 2026-06-02", Met.WAIVED),
    ("first article, made this very day", "first article", ARTICLE.replace("2026-05-20", "2026-06-01"), Met.UNMET),
    ("first article, dated tomorrow", "first article", ARTICLE.replace("2026-05-20", "2026-06-02"), Met.WAIVED),
    ("first article, none yet", "first article", ORDERED, Met.WAIVED),
    ("first article, made", "first article", ARTICLE, Met.UNMET),
]  # fmt: skip


@pytest.mark.parametrize(("until", "part", "state"), [u[1:] for u in UNTIL], ids=[u[0] for u in UNTIL])
def test_a_waiver_runs_out_by_day_and_by_event(until: str, part: str, state: Met, sample: Callable[..., Path]) -> None:
    root = sample(TWO + BEFORE + part + WAIVER % ("fit-check.coverage", until))
    found = find_requirement(root, "fit-check.coverage")
    assert found.state is state
    assert (found.waiver is not None) == (state is Met.WAIVED)
    rules = {f.rule for f in check_workspace(root).findings if f.rule == "G608"}
    assert rules == (set() if state is Met.WAIVED else {"G608"})


@pytest.mark.parametrize("name", ["tooling.safety-tests", "measure.safety-review", "fit-check.second-signature"])
def test_what_cannot_be_waived_stays_open_and_is_told(name: str, sample: Callable[..., Path]) -> None:
    lonely = "fit_checks:\n  F1: {with: P1, on: 2026-02-05, by: ann, car: car-1, fits: saloon, gaps: {seat: [0.4]}, result: good}\n"
    root = sample("safety: S2\ndecisions: []\n" + lonely + WAIVER % (name, "2027-01-01"))
    assert find_requirement(root, name).state is Met.UNMET
    assert ("G609", "waivers[0].of") in {(f.rule, f.pointer) for f in check_workspace(root).findings}


def test_a_waiver_of_one_requirement_waives_no_other(sample: Callable[..., Path]) -> None:
    root = sample(TWO + BEFORE + WAIVER % ("fit-check.interfaces", "2027-01-01"))
    assert find_requirement(root, "fit-check.coverage").state is Met.UNMET


# -- claims and faults ----------------------------------------------------------------------------------------------


def find_gate_rules(root: Path) -> set[tuple[str, str]]:
    """Return (rule, pointer) of all findings about decisions, releases, tools and waivers."""
    return {(f.rule, f.pointer) for f in check_workspace(root).findings if f.rule.startswith("G")}


NEXT = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n  B: {on: 2026-05-20, by: ann, file: evidence/hook-b.stl%s}\n"
LATER_SOURCE = (NEXT % ", from: [M1], changed: []").replace(", from: [M1, M2]", "").replace("hook-b", "hook-a")
REVIEWED = "safety: S1\nsafety_review: {on: %s, by: bob, regulations: [lamps], plan: at the laboratory}\n"

CLAIMS: list[tuple[str, str, set[tuple[str, str]]]] = [
    ("proven and decided", BEFORE + FIT_GO, set()),
    ("claims what was never shown", TWO + BEFORE + FIT_GO, {("G601", "decisions[3]")}),
    ("waiver ran out before the decision", TWO + BEFORE + FIT_GO + WAIVER % ("fit-check.coverage", "2026-02-09"),
     {("G601", "decisions[3]"), ("G608", "waivers[0].until")}),
    ("waived, decided, and tried later", TWO + BEFORE + FIT_GO + WAIVER % ("fit-check.coverage", "2026-09-01")
     + "fit_checks:\n  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4]}, result: good}\n"
     "  F2: {with: P1, on: 2026-04-05, by: ann, seen_by: bob, car: car-2, fits: estate, result: good}\n", set()),
    ("waiver ran out after the decision", TWO + BEFORE + FIT_GO + WAIVER % ("fit-check.coverage", "2026-02-10"),
     {("G608", "waivers[0].until")}),
    ("decided before the trial", BEFORE + FIT_GO.replace("02-10", "02-04"), {("G604", "decisions[3]")}),
    ("went stale", REV_B % "length" + FIRST, set()),
    ("went stale after the decision", REV_B % "length" + BEFORE + FIT_GO, {("G607", "decisions[2]"), ("G607", "decisions[3]")}),
    ("decided on a model, the next one has no file", NEXT % ", changed: [hard]" + BEFORE, {("G607", "decisions[1]")}),
    ("decided before there was a model", FIRST + "  - {gate: model, on: 2026-01-18, by: bob, say: go}\n", {("G604", "decisions[1]")}),
    ("decided before the model said what it is from", LATER_SOURCE + BEFORE, {("G604", "decisions[1]")}),
    ("released for sale before the tool was accepted", DONE.replace("accepted: 2026-05-21", "accepted: 2026-05-28") + RELEASED + TOOLING_GO,
     {("G604", "decisions[6]")}),
    ("released for sale on the day of acceptance", DONE.replace("accepted: 2026-05-21", "accepted: 2026-05-25") + RELEASED + TOOLING_GO, set()),
    ("decided before the regulations were looked up", REVIEWED % "2026-01-16" + FIRST, {("G604", "decisions[0]")}),
    ("decided on the day on which they were", REVIEWED % "2026-01-15" + FIRST, set()),
    ("wrong role", BEFORE + FIT_GO.replace("by: bob", "by: ann"), {("G602", "decisions[3]")}),
    ("no second signature", BEFORE + FIT_GO.replace(", second: kim", ""), {("G603", "decisions[3]")}),
    ("second signature of the first", BEFORE + FIT_GO.replace("kim", "bob"), {("G603", "decisions[3]")}),
    ("a hold needs no second signature", BEFORE + FIT_GO.replace("say: go, second: kim", "say: hold"), set()),
    ("a superseded claim is no claim", TWO + BEFORE + FIT_GO + FIT_GO.replace("say: go", "say: rework").replace("02-10", "02-20"), set()),
    ("a claim of a part that was dropped since", TWO + BEFORE + FIT_GO + "  - {gate: model, on: 2026-03-01, by: bob, say: drop}\n", set()),
    ("a waiver ran out of what is met now, while others are open", BEFORE + FIT_GO + WAIVER % ("fit-check.coverage", "2026-02-09"), set()),
    ("released and ordered", ORDERED + RELEASED, set()),
    ("ordered and not released", ORDERED + BEFORE, {("G610", "tools.die.steps.ordered")}),
    ("ordered the day before", ORDERED + RELEASED.replace("05-10", "05-13"), {("G610", "tools.die.steps.ordered")}),
    ("ordered on a release by the wrong role: the release is told, once", ORDERED + RELEASED.replace("by: kim, say: go}", "by: ann, say: go}"),
     {("G602", "decisions[5]")}),
    ("released before a gate was decided", BEFORE + FIT_GO + RELEASE, {("G605", "decisions[4]")}),
    ("released by the wrong role", RELEASED.replace("by: kim, say: go}", "by: ann, say: go}"), {("G602", "decisions[5]")}),
]  # fmt: skip


@pytest.mark.parametrize(("part", "rules"), [c[1:] for c in CLAIMS], ids=[c[0] for c in CLAIMS])
def test_claims_and_faults(part: str, rules: set[tuple[str, str]], sample: Callable[..., Path]) -> None:
    assert find_gate_rules(sample(part)) == rules


def test_a_claim_names_what_is_missing_and_a_way_out(sample: Callable[..., Path]) -> None:
    (claim,) = [f for f in check_workspace(sample(TWO + BEFORE + FIT_GO)).findings if f.rule == "G601"]
    assert "1 of 2 applications fitted" in claim.message
    assert "try it on estate" in claim.fix
    assert claim.severity == "error"


# -- hold calls -----------------------------------------------------------------------------------------------------

STEPS: list[tuple[str, str, bool]] = [
    ("quoted", "quoted: 2026-05-01", False),
    ("ordered", "quoted: 2026-05-01, ordered: 2026-05-12", True),
    ("cutting", "ordered: 2026-05-12, cutting: 2026-05-19", False),
    ("on trial", "ordered: 2026-05-12, on trial: 2026-05-19", False),
    ("accepted", "ordered: 2026-05-12, accepted: 2026-05-19", False),
]


@pytest.mark.parametrize(("steps", "calls"), [s[1:] for s in STEPS], ids=[s[0] for s in STEPS])
def test_a_hold_call_is_made_exactly_between_order_and_cut(
    steps: str, calls: bool, sample: Callable[..., Path]
) -> None:
    root = sample(DIE % steps + REV_B % "length" + RELEASED)
    standing = find_standing(root)
    assert [call.tool for call in standing.hold_calls] == (["die"] if calls else [])
    assert ({r for r, _ in find_gate_rules(root)} >= {"G606"}) is calls
    if calls:
        assert standing.todo[0] == "ask foundry to wait with die"
        assert "revision B changed `length`" in standing.hold_calls[0].words


@pytest.mark.parametrize(
    ("what", "part"),
    [
        ("nothing changed", ""),
        ("only words changed", REV_B % ""),
        ("what the tool does not form changed", REV_B % "hard"),
        ("changed before the order", REV_B.replace("05-20", "05-02") % "length"),
    ],
)
def test_no_hold_call_where_the_tool_is_not_touched(what: str, part: str, sample: Callable[..., Path]) -> None:
    tool = ORDERED if what != "changed before the order" else ORDERED.replace("kind: die,", "kind: die, of: B,")
    no_trial = "" if what != "changed before the order" else "prototypes: {}\nfit_checks: {}\nquotes: {}\n"
    assert not find_standing(sample(tool + part + no_trial + RELEASED.replace(", choose: Q1", ""))).hold_calls


def test_a_signed_statement_for_all_that_is_touched_ends_the_hold_call(sample: Callable[..., Path]) -> None:
    keep = "no_effect: [{features: [length], keeps: [%s], by: ann, seen_by: bob, on: 2026-05-21, why: edge}]}\n"
    part = (REV_B % "length").rstrip("}\n") + ", " + keep
    assert find_standing(sample(ORDERED + part % "F1" + RELEASED)).hold_calls
    assert not find_standing(sample(ORDERED + part % "F1, P1, Q1, die" + RELEASED)).hold_calls


def test_a_hold_call_reaches_a_tool_that_is_kept_in_another_record(sample: Callable[..., Path]) -> None:
    root = sample("uses_tools: [SD-101/block]\ntools: {}\nquotes: {}\n" + REV_B % "length" + BEFORE + FIT_GO)
    folder = root / "projects/SD-101"
    folder.mkdir()
    (folder / "part.yaml").write_text(
        "part: SD-101\nname: other\nfamily: cast\nsafety: S0\nengineer: ann\n"
        "fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}\n"
        "features: {edge: {what: edge, kind: size, nominal: 3, unit: mm}}\n"
        "tools: {block: {kind: die, forms: [edge], by: foundry, steps: {ordered: 2026-05-12}}}\n"
    )
    assert [call.tool for call in find_standing(root).hold_calls] == ["SD-101/block"]
    assert ("G606", "uses_tools[0]") in find_gate_rules(root)
    assert not find_standing(root, "SD-101").hold_calls


# -- assemblies -----------------------------------------------------------------------------------------------------


def test_an_assembly_is_released_after_its_last_part(sample: Callable[..., Path]) -> None:
    wanting = SAMPLE_SHARED["shared/gates.yaml"].replace(
        "tooling.accepted: {},", "tooling.accepted: {}, tooling.children: {},"
    )
    whole = DONE + RELEASED + TOOLING_GO
    root = sample(whole + "made_of:\n  a: {part: SD-101}\n", {"shared/gates.yaml": wanting})
    child = root / "projects/SD-101"
    (child / "evidence").mkdir(parents=True)
    record = (
        (root / P / "part.yaml").read_text().replace("SD-100", "SD-101").replace("made_of:\n  a: {part: SD-101}\n", "")
    )
    (child / "part.yaml").write_text(record.replace(TOOLING_GO, ""))
    for file in (root / P / "evidence").iterdir():
        (child / "evidence" / file.name).write_bytes(file.read_bytes())
    (child / "evidence.sha256").write_bytes((root / P / "evidence.sha256").read_bytes())
    standings = check_workspace(root).standings
    assert standings["SD-101"].gates[Gate.TOOLING].state is GateState.READY
    assert not standings["SD-100"].released
    (child / "part.yaml").write_text(record)
    standings = check_workspace(root).standings
    assert standings["SD-101"].released
    assert standings["SD-100"].released
    changed = record.replace(
        "from: [M1, M2]}\n",
        "from: [M1, M2]}\n  B: {on: 2026-05-27, by: ann, file: evidence/hook-a.stl, changed: [length]}\n",
    )
    (child / "part.yaml").write_text(changed)
    checked = check_workspace(root)
    gate = checked.standings["SD-100"].gates[Gate.TOOLING]
    assert gate.state is GateState.STALE  # it was decided when every part inside was released: no claim beyond proof
    assert not [f for f in checked.findings if f.record == "SD-100" and f.rule in ("G601", "G604")]
    late = record.replace("{gate: tooling, on: 2026-05-25", "{gate: tooling, on: 2026-05-26")
    (child / "part.yaml").write_text(late)
    early = [f.message for f in check_workspace(root).findings if f.record == "SD-100" and f.rule == "G604"]
    assert len(early) == 1 and "tooling.children" in early[0]  # the part inside was released a day after it


def test_gates_come_in_the_order_of_the_work() -> None:
    assert [gate.value for gate in GATES] == ["measure", "model", "prototype", "fit check", "quote", "tooling"]
