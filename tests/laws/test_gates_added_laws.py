"""Laws of what is added later: with its day it refutes no decision before that day, and what it wants has to be brought."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laws.test_gates_laws import POLICY, REMOVABLE, build_base, find_base_standing
from lineage.lineage_workspace import build_workspace

from pipeline.findings.finding import Location
from pipeline.gates.claims import check_standing
from pipeline.gates.standing import Standing, compute_standings
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.words import Gate, GateState

ACCUSING = {"G601", "G604", "G605"}
"""A claim beyond proof, a decision before its evidence, a release too early."""

days = st.sampled_from(
    ["2026-01-16", "2026-01-26", "2026-02-04", "2026-02-11", "2026-05-06", "2026-05-26", "2026-06-01"]
)
deciding = st.sampled_from([["length"], ["hard"], ["length", "hard"]])


@st.composite
def new_entry(draw: st.DrawFn) -> tuple[str, dict[str, Any]]:
    """Draw a section and an entry for it that says since when it is there."""
    section = draw(st.sampled_from(["features", "interfaces", "fits"]))
    if section == "features":
        kind, unit = draw(st.sampled_from([("size", "mm"), ("hardness", "HRC")]))
        entry: dict[str, Any] = {"what": "new", "kind": kind, "nominal": 8, "limits": [0, 0.1], "unit": unit,
                                 "critical": draw(st.booleans()), "coated": draw(st.booleans())}  # fmt: skip
    elif section == "interfaces":
        stack = [{"name": "sill", "nominal": draw(st.sampled_from([40.5, 42, 60])), "limits": [-0.1, 0.1]},
                 {"feature": "length", "sign": -1}]  # fmt: skip
        entry = {"what": "new", "gap": {"limits": [0.1, 0.9]},
                 **draw(st.one_of(st.just({"stack": stack}), st.builds(dict, features=deciding)))}  # fmt: skip
    else:
        entry = {"vehicle": "finch", "body": draw(st.sampled_from(["saloon", "estate"])), "years": "1953-1954"}
    return section, entry | {"since": draw(days)}


def judge(record: dict[str, Any]) -> tuple[Standing, set[tuple[str, str]]]:
    """Return where the part of a record stands, and the findings that accuse a decision: rule and place."""
    workspace = build_workspace(record, gates=POLICY)
    lineage = compute_lineage(workspace)
    standing = compute_standings(workspace, lineage)["SD-100"]
    part, traced = workspace.parts["SD-100"], lineage.parts["SD-100"]
    found = check_standing(part, standing, traced, workspace, lambda path, _: Location(path))
    return standing, {(one.rule, one.pointer) for one in found if one.rule in ACCUSING}


@settings(deadline=None, max_examples=300, derandomize=True)
@given(st.lists(new_entry(), min_size=1, max_size=3), st.frozensets(st.integers(0, len(REMOVABLE) - 1), max_size=3))
def test_what_is_added_with_its_day_refutes_no_decision_before_that_day(
    entries: list[tuple[str, dict[str, Any]]], removed: frozenset[int]
) -> None:
    record = build_base(removed)
    before, accused = judge(record)
    for number, (section, entry) in enumerate(entries):
        record[section][f"new{number}"] = entry
    after, now_accused = judge(record)
    first = dt.date.fromisoformat(min(entry["since"] for _, entry in entries))
    earlier = {f"decisions[{i}]" for i, d in enumerate(record["decisions"]) if dt.date.fromisoformat(d["on"]) < first}
    assert {one for one in now_accused if one[1] in earlier} <= accused
    for gate, was in before.gates.items():
        if was.decision is None or was.decision.on >= first:
            continue
        found = after.gates[gate]
        assert {(r.id, r.answer.words) for r in found.claims} <= {(r.id, r.answer.words) for r in was.claims}
        assert {r.id for r in found.early} <= {r.id for r in was.early}
        if was.state in (GateState.PROVEN, GateState.STALE):
            assert found.state in (GateState.PROVEN, GateState.STALE)


TRIAL = {
    "with": "P1",
    "on": "2026-05-27",
    "by": "ann",
    "seen_by": "bob",
    "car": "car-1",
    "fits": "saloon",
    "result": "good",
}
SEVERAL = {
    "features": {"what": "bore", "kind": "size", "nominal": 8, "limits": [0, 0.1], "unit": "mm", "critical": True},
    "interfaces": {"what": "hook to arch", "gap": {"limits": [0.1, 0.9]}, "features": ["length"]},
    "fits": {"vehicle": "finch", "body": "saloon", "years": "1953-1954"},
}
BROUGHT: dict[str, tuple[tuple[str, dict[str, Any]], ...]] = {
    "features": (("measurements", {"of": "O1", "on": "2026-05-27", "by": "ann", "with": "arm", "at": "20 C",
                                   "file": "evidence/o1.csv", "gives": {"new": {"value": 8.05, "U": 0.005}}}),),
    "interfaces": (("fit_checks", TRIAL | {"gaps": {"new": [0.5]}}),),
    "fits": (("fit_checks", TRIAL | {"fits": "new"}),),
}  # fmt: skip
STALE_GATE = {"features": Gate.MEASURE, "interfaces": Gate.FIT_CHECK, "fits": Gate.FIT_CHECK}


@pytest.mark.parametrize("section", list(SEVERAL))
@pytest.mark.parametrize("since", ["2026-05-26", "2026-06-01"])
def test_the_gate_is_stale_until_evidence_covers_what_was_added(section: str, since: str) -> None:
    assert find_base_standing(frozenset()).released
    record = build_base()
    record[section]["new"] = SEVERAL[section] | {"since": since}
    gate = STALE_GATE[section]
    assert judge(record)[0].gates[gate].state is GateState.STALE
    for number, (where, entry) in enumerate(BROUGHT[section]):
        record[where][f"X{number}"] = entry
    standing, accused = judge(record)
    assert standing.gates[gate].state is GateState.PROVEN and not accused
