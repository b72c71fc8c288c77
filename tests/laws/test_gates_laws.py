"""Laws of gates: more evidence is never less proven; more asked is never more proven; hold calls only while it helps."""

from __future__ import annotations

import copy
import random
from functools import cache
from typing import Any

from gates.gates_policy import write_policy
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lineage.lineage_workspace import build_workspace, parse_text

from pipeline.findings.sample import SAMPLE_PART
from pipeline.gates.judgement import Met
from pipeline.gates.standing import Standing, compute_standings
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.words import GateState, ToolStep

RANK = {GateState.NOT_STARTED: 0, GateState.IN_WORK: 1, GateState.STALE: 2, GateState.READY: 2, GateState.PROVEN: 3}
MET_RANK = {Met.UNMET: 0, Met.STALE: 1, Met.WAIVED: 2, Met.MET: 3}
POLICY = write_policy(measure_originals="{least: 2}", prototype_built="{least: 1}", quote_offers="{least: 2}")[
    "shared/gates.yaml"
]

WHOLE = """\
originals:
  O1: {condition: used, from: lent}
  O2: {condition: nos, from: boxed}
  O3: {condition: reproduction, from: fair}
  O4: {condition: restored, from: yard}
fits:
  saloon: {vehicle: finch, body: saloon, years: 1951-1955}
  estate: {vehicle: finch, body: estate, years: 1952-1955}
fit_checks:
  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good}
  F2: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-2, fits: estate, gaps: {seat: [0.4, 0.5]}, result: good}
  F3: {with: N1, on: 2026-05-22, by: ann, seen_by: bob, car: car-1, fits: saloon, result: good}
  F4: {with: N1, on: 2026-05-22, by: ann, seen_by: bob, car: car-2, fits: estate, result: good}
quotes:
  Q1: {from: foundry, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, weeks: 12, yield: 0.95, freight: 0.1, duty: 0, owns_tool: us, pay: [{at: order, share: 1}]}
  Q2: {from: lab, of: A, on: 2026-05-01, valid_to: 2026-08-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}}
tools:
  die: {kind: die, forms: [length], price: 9000 USD, by: foundry, steps: {quoted: 2026-05-01, ordered: 2026-05-12, cutting: 2026-05-14, accepted: 2026-05-21}}
first_articles:
  N1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, settings: evidence/o1.csv, pieces: 3, finished: true, covers: [length], result: good}
tests:
  T1: {kind: hardness-test, of: N1, on: 2026-05-21, by: ann, at: lab, covers: [hard], file: evidence/o1.csv, result: good}
decisions:
  - {gate: measure, on: 2026-01-15, by: bob, say: go}
  - {gate: model, on: 2026-01-25, by: bob, say: go}
  - {gate: prototype, on: 2026-02-03, by: bob, say: go}
  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}
  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}
  - {release: tooling, on: 2026-05-10, by: kim, say: go}
  - {gate: tooling, on: 2026-05-25, by: bob, say: go, second: kim}
"""
REMOVABLE = [("measurements", "M2"), ("fit_checks", "F2"), ("fit_checks", "F4"), ("quotes", "Q2"), ("tests", "T1"),
             ("first_articles", "N1"), ("fit_checks", "F1"), ("decisions", 4), ("decisions", 6)]  # fmt: skip


def build_base(removed: frozenset[int] = frozenset(), safety: str = "S2") -> dict[str, Any]:
    """Return a record with everything proven, less some of its evidence and decisions."""
    record = parse_text(SAMPLE_PART) | parse_text(WHOLE)
    record["safety"] = safety
    record["safety_review"] = {"on": "2026-01-05", "by": "bob", "regulations": ["lamps"], "plan": "at the laboratory"}
    gone = [REMOVABLE[i] for i in sorted(removed)]
    for section, key in sorted(gone, key=str, reverse=True):
        del record[section][key]
    if "N1" not in record["first_articles"]:
        for check in ("F3", "F4"):
            record["fit_checks"].pop(check, None)
        record["tests"].pop("T1", None)
    if "M2" not in record["measurements"]:
        record["revisions"]["A"]["from"] = ["M1"]
    return record


def find_standing(record: dict[str, Any]) -> Standing:
    """Return where the part of a record stands."""
    workspace = build_workspace(record, gates=POLICY)
    return compute_standings(workspace, compute_lineage(workspace))["SD-100"]


days = st.sampled_from(["2026-01-12", "2026-02-02", "2026-02-12", "2026-05-15", "2026-05-23", "2026-06-01"])
covers = st.lists(st.sampled_from(["length", "hard"]), min_size=1, max_size=2, unique=True)
results = st.sampled_from(["good", "open"])
signer: st.SearchStrategy[dict[str, str]] = st.sampled_from([{}, {"seen_by": "bob"}, {"seen_by": "ann"}])
trials = st.sampled_from([("saloon", "car-1"), ("estate", "car-2")])


@st.composite
def new_evidence(draw: st.DrawFn, record: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Draw a section and one more entry for it, that replaces nothing and did not come out bad."""
    samples = sorted({*record["prototypes"], *record["first_articles"]})
    section = draw(st.sampled_from(["measurements", "prototypes", "fit_checks", "tests", "quotes", "first_articles"]))
    on = draw(days)
    if section == "measurements":
        year = draw(st.sampled_from(["2024", "2026"]))  # the arm was not in calibration in 2024
        entry = {"of": draw(st.sampled_from(["O1", "O2", "O3", "O4"])), "on": year + on[4:], "by": "ann", "with": "arm",
                 "at": "20 C", "gives": {f: {"value": 40, "U": draw(st.sampled_from([0.01, 5]))} for f in draw(covers)}}  # fmt: skip
        if draw(st.booleans()):
            entry["file"] = "evidence/o1.csv"
    elif section == "prototypes":
        entry = {
            "of": "A",
            "process": draw(st.sampled_from(["print", "first-article"])),
            "on": on,
            "covers": draw(covers),
        }
    elif section == "fit_checks":
        fits, car = draw(trials)
        entry = {"with": draw(st.sampled_from(samples)), "on": on, "by": "ann", "car": car, "fits": fits,
                 "result": draw(results), **draw(signer)}  # fmt: skip
        if draw(st.booleans()):
            entry["gaps"] = {"seat": [0.1, 0.9]}
    elif section == "tests":
        entry = {"kind": "hardness-test", "of": draw(st.sampled_from(samples)), "on": on, "by": "ann", "covers": draw(covers),
                 "result": draw(results), **draw(st.sampled_from([{}, {"at": "lab"}]))}  # fmt: skip
    elif section == "quotes":
        entry = {"from": draw(st.sampled_from(["foundry", "lab"])), "of": "A", "on": "2026-05-02", "money": "USD", "piece": {"500": 4},
                 **draw(st.sampled_from([{}, {"valid_to": "2026-05-03"}, {"valid_to": "2026-09-01"}]))}  # fmt: skip
    else:
        entry = {"tools": ["die"], "of": "A", "on": on, "by": "ann", "pieces": draw(st.integers(0, 5)), "result": draw(results),
                 "finished": draw(st.booleans()), "covers": draw(covers), **draw(signer)}  # fmt: skip
    return section, entry


@cache
def find_base_standing(removed: frozenset[int]) -> Standing:
    """Return where the base stands."""
    return find_standing(build_base(removed))


@settings(deadline=None, max_examples=250, derandomize=True)
@given(st.data(), st.frozensets(st.integers(0, len(REMOVABLE) - 1), max_size=3))
def test_adding_evidence_never_makes_a_gate_less_proven(data: st.DataObject, removed: frozenset[int]) -> None:
    before = find_base_standing(removed)
    record = build_base(removed)
    for number in range(data.draw(st.integers(1, 3))):
        section, entry = data.draw(new_evidence(record))
        record[section][f"X{number}"] = entry
    after = find_standing(record)
    for gate, standing in before.gates.items():
        found = after.gates[gate]
        assert RANK[found.state] >= RANK[standing.state], (gate, standing.state, found.state, found.open_requirements)
        met = {r.id: r for r in found.requirements}
        for requirement in standing.requirements:
            now = met[requirement.id]
            assert MET_RANK[now.state] >= MET_RANK[requirement.state], (requirement, now)


def test_the_base_is_proven_and_each_removal_takes_a_gate_back() -> None:
    whole = find_base_standing(frozenset())
    assert whole.released, [(g, s.state, s.open_requirements) for g, s in whole.gates.items()]
    for index, removed in enumerate(REMOVABLE):
        part = find_base_standing(frozenset({index}))
        later = removed in {("fit_checks", "F1"), ("fit_checks", "F2")}  # the refits stand for them
        assert part.released is later, removed


@settings(deadline=None, max_examples=60, derandomize=True)
@given(st.sampled_from(["fit_checks", "tests", "first_articles"]), st.sampled_from(["2026-05-23", "2026-06-01"]))
@example("tests", "2026-05-21")
def test_what_came_out_bad_can_make_a_gate_less_proven(section: str, on: str) -> None:
    record = build_base()
    entry = copy.deepcopy(next(reversed(record[section].values()))) | {"on": on, "result": "bad"}
    record[section]["X"] = entry
    after = find_standing(record)
    assert not after.released, section


@settings(deadline=None, max_examples=40, derandomize=True)
@given(st.frozensets(st.integers(0, len(REMOVABLE) - 1), max_size=3), st.integers(0, 2**32))
def test_order_of_entries_changes_no_state(removed: frozenset[int], seed: int) -> None:
    rng = random.Random(seed)
    record = build_base(removed)
    for section, entries in record.items():
        if isinstance(entries, dict):
            keys = list(entries)
            rng.shuffle(keys)
            record[section] = {key: entries[key] for key in keys}
    before, after = find_base_standing(removed), find_standing(record)
    assert {g: s.state for g, s in before.gates.items()} == {g: s.state for g, s in after.gates.items()}


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    st.sets(st.sampled_from(["ordered", "cutting", "on trial", "accepted"])),
    st.sampled_from([[], ["length"], ["hard"]]),
)
def test_a_hold_call_never_comes_before_the_order_nor_after_the_cut(steps: set[str], changed: list[str]) -> None:
    record = build_base(frozenset({5}))
    day = {"ordered": "2026-05-12", "cutting": "2026-05-14", "on trial": "2026-05-16", "accepted": "2026-05-18"}
    record["tools"]["die"]["steps"] = {step: day[step] for step in day if step in steps}
    record["revisions"]["B"] = {"on": "2026-05-30", "by": "ann", "changed": changed}
    calls = find_standing(record).hold_calls
    is_between = steps == {"ordered"}
    assert bool(calls) == (is_between and changed == ["length"])
    assert ToolStep.ORDERED == "ordered"
