"""An interface or an application that was added after a gate was decided makes the gate stale, and accuses nobody."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import find_standing, write_policy
from gates.test_gates_added_features import CLAIMED, EARLY, RELEASED_TOO_EARLY, WENT_STALE, find_words, list_rules

from pipeline.gates.judgement import Bench, Met
from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.lineage.nodes import compute_fit_cover
from pipeline.model.added import find_added
from pipeline.model.catalogue import NeedParameters
from pipeline.model.words import GATES, Gate, GateState
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
SEAT = "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}\n"
ARCH = "  arch: {what: hook under the arch, gap: {limits: [0.2, 1.4]}, features: [length]%s}\n"
SALOON = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
ESTATE = "  estate: {vehicle: finch, body: estate, years: 1952-1955%s}\n"
SINCE = ", since: %s"
F1 = "fit_checks:\n  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good}\n"
F2 = "  F2: {with: P1, on: 2026-05-20, by: ann, seen_by: bob, car: %s, fits: %s, gaps: {%s: [0.5]}, result: %s}\n"
FIRST = (
    "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
    "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
)
AGAIN = "  - {gate: fit check, on: %s, by: bob, say: go, second: kim}\n"
QUOTED = (
    "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
    "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
)
STACK = "  arch: {what: under the arch, gap: {limits: [0.2, 1.4]}, stack: [{name: arch, nominal: %s, limits: [-0.1, 0.1]}, {feature: length, sign: -1}]%s}\n"

ADDED = {
    "an interface": (SEAT + ARCH, "fit-check.interfaces", "1 of 2 interfaces measured within limits; interface added since: arch"),
    "an application": (SALOON + ESTATE, "fit-check.coverage", "1 of 2 applications fitted; application added since: estate"),
}  # fmt: skip
KINDS = pytest.mark.parametrize("kind", list(ADDED))


def build_decided(text: str, decided: str) -> str:
    """Return sections in which the fit check gate alone was decided, on a day."""
    return text + FIRST.replace("2026-02-10", decided)


@KINDS
def test_without_its_day_it_makes_the_earlier_decision_a_claim_beyond_proof(sample: Sample, kind: str) -> None:
    root = sample(ADDED[kind][0] % "")
    assert list_rules(root) == [CLAIMED] and find_standing(root).gates[Gate.FIT_CHECK].claims


@KINDS
def test_with_its_day_the_gate_is_stale_for_that_reason_and_nobody_is_accused(sample: Sample, kind: str) -> None:
    text, name, words = ADDED[kind]
    root = sample(text % (SINCE % "2026-04-01"))
    standing = find_standing(root)
    assert list_rules(root) == [WENT_STALE]
    assert find_words(standing, Gate.FIT_CHECK, name) == (Met.STALE, words)
    assert standing.gates[Gate.FIT_CHECK].state is GateState.STALE
    assert {standing.gates[gate].state for gate in GATES[:3]} == {GateState.PROVEN}
    assert not any(gate.claims or gate.early for gate in standing.gates.values())
    told = [found for found in check_workspace(root).findings if found.rule == WENT_STALE]
    assert len(told) == 1 and told[0].message == f"the fit check gate of 2026-02-10 went stale: {name}: {words}"
    assert told[0].fix in ("measure the gap of arch in a fit check", "try it on estate")


@KINDS
@pytest.mark.parametrize(
    ("decided", "rules"), [("2026-03-31", [WENT_STALE]), ("2026-04-01", [CLAIMED]), ("2026-04-02", [CLAIMED])]
)
def test_a_decision_is_judged_by_what_the_record_held_on_its_day(
    sample: Sample, kind: str, decided: str, rules: list[str]
) -> None:
    """The day before it was added, that day, and the day after: what stood in the record had to be tried."""
    assert list_rules(sample(build_decided(ADDED[kind][0] % (SINCE % "2026-04-01"), decided))) == rules


@KINDS
def test_evidence_that_covers_it_proves_the_gate_again_and_the_old_decision_is_not_too_early(
    sample: Sample, kind: str
) -> None:
    tried = F2 % (
        ("car-1", "saloon", "arch", "good") if kind == "an interface" else ("car-2", "estate", "seat", "good")
    )
    root = sample(ADDED[kind][0] % (SINCE % "2026-04-01") + F1 + tried)
    fit = find_standing(root).gates[Gate.FIT_CHECK]
    assert fit.state is GateState.PROVEN and not fit.early and not list_rules(root)


@KINDS
def test_evidence_that_does_not_cover_it_leaves_the_gate_stale(sample: Sample, kind: str) -> None:
    tried = F2 % (("car-1", "saloon", "seat", "good") if kind == "an interface" else ("car-2", "estate", "seat", "bad"))
    root = sample(ADDED[kind][0] % (SINCE % "2026-04-01") + F1 + tried)
    assert list_rules(root) == [WENT_STALE]


@KINDS
def test_whoever_decides_again_is_judged_by_it_too(sample: Sample, kind: str) -> None:
    root = sample(ADDED[kind][0] % (SINCE % "2026-04-01") + FIRST + AGAIN % "2026-04-20")
    assert list_rules(root) == [CLAIMED]


@KINDS
def test_a_released_tool_is_not_called_released_too_early_for_it(sample: Sample, kind: str) -> None:
    root = sample(ADDED[kind][0] % (SINCE % "2026-05-20") + FIRST + QUOTED)
    assert not {CLAIMED, EARLY, RELEASED_TOO_EARLY} & set(list_rules(root)) and list_rules(root) == [WENT_STALE]


def test_a_refit_with_first_articles_is_wanted_on_an_application_that_came_later_and_was_not_before(
    sample: Sample,
) -> None:
    article = "first_articles:\n  N1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, settings: evidence/o1.csv, pieces: 3, finished: true, result: good}\n"
    refit = F1 + "  F3: {with: N1, on: 2026-05-22, by: ann, seen_by: bob, car: car-1, fits: saloon, result: good}\n"
    decided = "decisions:\n  - {gate: tooling, on: 2026-05-25, by: bob, say: go, second: kim}\n"
    off = write_policy(**dict.fromkeys(("tooling_accepted", "tooling_proofs", "tooling_safety_tests"), "{off: true}"))
    root = sample(SALOON + ESTATE % (SINCE % "2026-05-28") + article + refit + decided, off)
    tooling = find_standing(root).gates[Gate.TOOLING]
    assert tooling.state is GateState.STALE and not tooling.claims
    words = "1 of 2 applications and hands refitted with a first article; application added since: estate"
    assert find_words(find_standing(root), Gate.TOOLING, "tooling.refit") == (Met.STALE, words)


def test_a_stack_that_came_later_and_does_not_hold_accuses_nobody_who_decided_the_model(sample: Sample) -> None:
    policy = write_policy()
    claimed = find_standing(sample(SEAT + STACK % ("42", ""), policy)).gates[Gate.MODEL]
    assert [one.id for one in claimed.claims] == ["model.stacks"]
    since = find_standing(sample(SEAT + STACK % ("42", SINCE % "2026-04-01"), policy))
    state, words = find_words(since, Gate.MODEL, "model.stacks")
    assert state is Met.STALE and words == "0 of 1 stacks keep their gap; interface added since: arch"
    held = find_standing(sample(SEAT + STACK % ("40.8", SINCE % "2026-04-01"), policy))
    assert find_words(held, Gate.MODEL, "model.stacks") == (Met.MET, "1 of 1 stacks keep their gap")


def test_a_plated_feature_that_came_later_accuses_nobody_who_tried_a_bare_sample(sample: Sample) -> None:
    features = (
        "features:\n  length: {what: length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
        "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}\n"
        "  rim: {what: rim, kind: size, nominal: 8, limits: [0, 0.1], unit: mm, coated: true%s}\n"
    )
    policy = write_policy()
    assert find_words(find_standing(sample(features % "", policy)), Gate.FIT_CHECK, "fit-check.finish")[0] is Met.UNMET
    later = find_standing(sample(features % (SINCE % "2026-04-01"), policy))
    assert find_words(later, Gate.FIT_CHECK, "fit-check.finish") == (
        Met.STALE, "every trial was made with a bare sample; feature added since: rim",
    )  # fmt: skip


def test_only_what_leaves_something_to_do_is_named(sample: Sample) -> None:
    """The arch was measured, the ledge and the lip were not; the estate is of another requirement."""
    more = (ARCH + ARCH.replace("arch:", "ledge:") + ARCH.replace("arch:", "lip:")) % ((SINCE % "2026-04-01",) * 3)
    root = sample(
        SEAT + more + SALOON + ESTATE % (SINCE % "2026-04-02") + F1 + F2 % ("car-1", "saloon", "arch", "good")
    )
    standing = find_standing(root)
    assert find_words(standing, Gate.FIT_CHECK, "fit-check.interfaces")[1] == (
        "2 of 4 interfaces measured within limits; interfaces added since: ledge, lip"
    )
    assert find_words(standing, Gate.FIT_CHECK, "fit-check.coverage")[1] == (
        "1 of 2 applications fitted; application added since: estate"
    )


def test_two_that_fall_below_the_wanted_share_together_are_both_named(sample: Sample) -> None:
    more = (ARCH + ARCH.replace("arch:", "ledge:")) % ((SINCE % "2026-04-01",) * 2)
    root = sample(SEAT + more, write_policy(fit_check_interfaces="{share: 0.5}"))
    assert find_words(find_standing(root), Gate.FIT_CHECK, "fit-check.interfaces") == (
        Met.STALE, "1 of 3 interfaces measured within limits; interfaces added since: arch, ledge",
    )  # fmt: skip


def test_two_that_ask_for_the_same_thing_each_by_itself_are_both_named(sample: Sample) -> None:
    """Either plated feature alone wants a plated sample, so leaving one of them out would change nothing."""
    rim = "  %s: {what: edge, kind: size, nominal: 8, limits: [0, 0.1], unit: mm, coated: true, since: 2026-04-01}\n"
    features = (
        "features:\n  length: {what: length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
        "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}\n"
    )
    standing = find_standing(sample(features + rim % "rim" + rim % "lip", write_policy()))
    assert find_words(standing, Gate.FIT_CHECK, "fit-check.finish") == (
        Met.STALE, "every trial was made with a bare sample; features added since: rim, lip",
    )  # fmt: skip


def test_a_fit_check_speaks_of_the_interfaces_of_its_own_day(sample: Sample) -> None:
    """One that names no gap was made for every interface that there was; it cannot have looked at a later one."""
    silent = F1.replace(", gaps: {seat: [0.4, 0.5]}", "")
    arch = ARCH.replace("features: [length]", "features: [hard]")
    for since, covers in (("2026-02-05", ("length", "hard")), ("2026-02-06", ("length",))):
        checked = check_workspace(sample(SEAT + arch % (SINCE % since) + silent))
        assert checked.workspace is not None
        part = checked.workspace.parts["SD-100"]
        assert compute_fit_cover(part, part.fit_checks["F1"]) == covers


def test_a_later_interface_takes_no_earlier_trial_with_it(sample: Sample) -> None:
    """The trial of the estate named no gap. What the new interface is decided by was read on a reproduction only, which counts for
    nothing: that speaks against nobody who tried the part before."""
    originals = "originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n  O3: {condition: reproduction, from: fair}\n"
    measured = (
        "measurements:\n"
        "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
        "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
        "  M3: {of: O3, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {hard: 51}}\n"
        "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2, M3]}\n"
    )
    arch = ARCH.replace("features: [length]", "features: [hard]")
    silent = "  F2: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-2, fits: estate, result: good}\n"
    tried = SALOON + ESTATE % "" + originals + measured + F1 + silent
    before = list_rules(sample(SEAT + tried))
    after = list_rules(sample(SEAT + arch % (SINCE % "2026-04-01") + tried))
    assert before == [] and after == [WENT_STALE]


def test_what_the_record_held_on_a_day(sample: Sample) -> None:
    root = sample(SEAT + ARCH % (SINCE % "2026-04-01") + SALOON + ESTATE % (SINCE % "2026-04-02"))
    checked = check_workspace(root)
    assert checked.workspace is not None
    part, lineage = checked.workspace.parts["SD-100"], checked.lineage.parts["SD-100"]
    assert list(find_added(part)) == [
        ("interfaces.arch", dt.date(2026, 4, 1)),
        ("fits.estate", dt.date(2026, 4, 2)),
    ]

    def look(until: dt.date | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
        assert checked.workspace is not None
        bench = Bench(part, lineage, checked.workspace, NeedParameters(), until=until)
        return bench.interfaces, bench.applications

    assert look(dt.date(2026, 3, 31)) == (("seat",), ("saloon",))
    assert look(dt.date(2026, 4, 1)) == (("seat", "arch"), ("saloon",))
    assert look(None) == look(dt.date(2026, 4, 2)) == (("seat", "arch"), ("saloon", "estate"))
    cells = compute_coverage(part, lineage, applications=["saloon"]).cells
    assert [(cell.application, cell.state) for cell in cells] == [("saloon", CellState.GOOD)]


@KINDS
def test_the_first_page_says_since_when_a_gate_is_stale_for_it(sample: Sample, kind: str) -> None:
    from pipeline.portfolio.portfolio import build_portfolio
    from pipeline.views.review_moves import explain_stale

    file = build_portfolio(sample(ADDED[kind][0] % (SINCE % "2026-05-20"))).parts["SD-100"]
    day, line = explain_stale(file)
    assert day == dt.date(2026, 5, 20)
    assert "added since" in "".join(run.text for run in line)
    proven = build_portfolio(sample(SEAT + SALOON)).parts["SD-100"]
    assert explain_stale(proven)[0] is None, "nothing is stale"
