"""A critical feature that was added after a gate was decided makes the gate stale, and accuses nobody."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import find_standing

from pipeline.gates.judgement import Bench, Met
from pipeline.gates.standing import Standing
from pipeline.model.added import is_added_after
from pipeline.model.catalogue import NeedParameters
from pipeline.model.words import GATES, Gate, GateState
from pipeline.portfolio.check import check_workspace

Sample = Callable[..., Path]
FEATURES = (
    "features:\n"
    "  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}\n"
)
EYE = "  eye: {what: bore of the eye, kind: size, nominal: 8, limits: [0, 0.1], unit: mm, critical: true%s}\n"
SINCE = ", since: %s"
MEASURED = (
    "originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n"
    "measurements:\n"
    "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
    "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
    "  M3: {of: O2, on: 2026-05-02, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {eye: 8.04}}\n"
)
CLAIMED, WENT_STALE, EARLY, RELEASED_TOO_EARLY = "G601", "G607", "G604", "G605"


def list_rules(root: Path) -> list[str]:
    """The rules about decisions that a workspace breaks, once each."""
    wanted = (CLAIMED, WENT_STALE, EARLY, RELEASED_TOO_EARLY)
    return sorted({found.rule for found in check_workspace(root).findings if found.rule in wanted})


def find_words(standing: Standing, gate: Gate, name: str) -> tuple[Met, str]:
    """A requirement of a gate: whether it is met, and its words."""
    found = next(one for one in standing.gates[gate].requirements if one.id == name)
    return found.state, found.answer.words


def test_without_its_day_a_new_feature_makes_earlier_decisions_claims_beyond_proof(sample: Sample) -> None:
    root = sample(FEATURES + EYE % "")
    assert list_rules(root) == [CLAIMED]
    assert find_standing(root).gates[Gate.MEASURE].claims


def test_a_feature_added_since_makes_the_gates_stale_with_that_reason(sample: Sample) -> None:
    root = sample(FEATURES + EYE % (SINCE % "2026-04-01"))
    standing = find_standing(root)
    assert list_rules(root) == [WENT_STALE]
    assert standing.gates[Gate.MEASURE].state is standing.gates[Gate.MODEL].state is GateState.STALE
    assert {standing.gates[gate].state for gate in GATES[:4]} <= {GateState.STALE, GateState.PROVEN}
    assert not any(gate.claims or gate.early for gate in standing.gates.values())
    assert find_words(standing, Gate.MEASURE, "measure.critical") == (
        Met.STALE,
        "1 of 2 critical features measured; missing eye; feature added since: eye",
    )
    told = [found.message for found in check_workspace(root).findings if found.rule == WENT_STALE]
    assert any("the measure gate of 2026-01-15 went stale" in words and "added since: eye" in words for words in told)


@pytest.mark.parametrize(
    ("since", "rules"), [("2026-01-14", [CLAIMED]), ("2026-01-15", [CLAIMED]), ("2026-01-16", [WENT_STALE])]
)
def test_a_decision_is_judged_by_the_features_of_its_own_day(sample: Sample, since: str, rules: list[str]) -> None:
    """Before the decision, on its day and after it: what stood in the record that day had to be proven."""
    first = "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    assert list_rules(sample(FEATURES + EYE % (SINCE % since) + first)) == rules


def test_evidence_that_came_after_the_new_feature_proves_the_gate_again_and_is_not_too_early(sample: Sample) -> None:
    root = sample(FEATURES + EYE % (SINCE % "2026-04-01") + MEASURED)
    standing = find_standing(root)
    assert find_words(standing, Gate.MEASURE, "measure.critical") == (Met.MET, "2 of 2 critical features measured")
    assert standing.gates[Gate.MEASURE].state is GateState.PROVEN and not standing.gates[Gate.MEASURE].early


def test_a_later_decision_is_judged_by_the_new_feature_too(sample: Sample) -> None:
    again = (
        "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
        "  - {gate: measure, on: 2026-04-20, by: bob, say: go}\n"
    )
    root = sample(FEATURES + EYE % (SINCE % "2026-04-01") + again)
    assert list_rules(root) == [CLAIMED]


def test_several_features_are_named_and_a_requirement_that_they_do_not_touch_is_not(sample: Sample) -> None:
    second = (EYE % (SINCE % "2026-04-02")).replace("eye", "slot")
    root = sample(FEATURES + EYE % (SINCE % "2026-04-01") + second)
    standing = find_standing(root)
    _, words = find_words(standing, Gate.MEASURE, "measure.critical")
    assert words.endswith("missing eye, slot; features added since: eye, slot")
    stale = sample(
        FEATURES + EYE % (SINCE % "2026-04-01"),
        {"projects/SD-100/evidence/o1.csv": None, "projects/SD-100/evidence/o2.csv": None},
    )
    state, words = find_words(find_standing(stale), Gate.MEASURE, "measure.originals")
    assert state is not Met.MET and "added since" not in words


def test_a_gate_that_went_stale_without_new_features_names_none(sample: Sample) -> None:
    standing = find_standing(sample(FEATURES.replace("critical: true", "critical: true, since: 2026-01-02"),
                                    {"projects/SD-100/evidence/o1.csv": None, "projects/SD-100/evidence/o2.csv": None}))  # fmt: skip
    assert "added since" not in " ".join(r.answer.words for r in standing.gates[Gate.MEASURE].requirements)


def test_a_released_tool_is_not_called_released_too_early_for_a_feature_that_came_later(sample: Sample) -> None:
    decisions = (
        "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
        "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
        "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
        "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"
    )
    assert list_rules(sample(FEATURES + EYE % (SINCE % "2026-05-20") + decisions)) == [WENT_STALE]


def test_features_of_a_day_are_those_that_the_record_had_then(sample: Sample) -> None:
    checked = check_workspace(sample(FEATURES + EYE % (SINCE % "2026-04-01")))
    assert checked.workspace is not None
    part, lineage = checked.workspace.parts["SD-100"], checked.lineage.parts["SD-100"]
    day, later = dt.date(2026, 3, 31), dt.date(2026, 4, 1)

    def look(until: dt.date | None = None, left_out: frozenset[str] = frozenset()) -> Bench:
        assert checked.workspace is not None
        return Bench(part, lineage, checked.workspace, NeedParameters(), until=until, left_out=left_out)

    assert look().criticals == ("length", "eye") == look(until=later).criticals
    assert look(until=day).criticals == ("length",) and look(until=day).features == ("length", "hard")
    assert look(left_out=frozenset({"features.eye"})).criticals == ("length",)
    assert look(until=later, left_out=frozenset({"features.length", "interfaces.eye"})).criticals == ("eye",)
    assert not is_added_after(part.features["length"], day) and not is_added_after(part.features["eye"], None)
