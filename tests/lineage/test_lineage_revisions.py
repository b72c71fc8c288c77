"""The order of revisions: by day, then by name as a person counts."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lineage.lineage_workspace import build_workspace
from lineage.test_lineage_edges import build_record

from pipeline.lineage.freshness import Cause, compute_lineage
from pipeline.lineage.nodes import find_revision_on, find_tool_revision, order_revisions, rank_revision_name
from pipeline.model.part import Part
from pipeline.model.workspace import EvidenceFile, FileState
from pipeline.portfolio.entries import find_next_revision


def build_part(revisions: dict[str, str], **more: Any) -> Part:
    """Return the sample's part with these revisions: name -> day."""
    record = build_record("SD-100", **more)
    record["revisions"] = {key: {"on": on, "by": "ann"} for key, on in revisions.items()}
    return build_workspace(record).parts["SD-100"]


# Letters count on A, B ... Z, AA, as columns of a sheet do; a number after a letter stands between two letters
# (common practice, no source).
COUNTED = ["9", "10", "A", "A.1", "A.2", "A.10", "B", "C", "C1", "D", "R9", "R10", "Z", "AA", "AB", "BA"]


@given(st.permutations(COUNTED))
def test_names_of_one_day_follow_each_other_as_a_person_counts(names: list[str]) -> None:
    assert sorted(names, key=rank_revision_name) == COUNTED
    assert order_revisions(build_part(dict.fromkeys(names, "2026-01-20"))) == tuple(COUNTED)


def test_the_day_goes_before_the_name() -> None:
    part = build_part({"A": "2026-01-22", "B": "2026-01-20", "C": "2026-01-21"})
    assert order_revisions(part) == ("B", "C", "A")


@pytest.mark.parametrize("first", ["A", "Y", "Z", "AZ", "ZZ", "9", "R9"])
def test_a_revision_that_is_issued_on_the_day_of_the_last_one_comes_after_it(first: str) -> None:
    days = {first: "2026-01-20"}
    for _ in range(3):
        new = find_next_revision(build_part(days))
        days[new] = "2026-01-20"
        assert order_revisions(build_part(days))[-1] == new


def test_a_revision_that_names_no_measurement_stands_on_those_of_the_one_before() -> None:
    """The points behind revision A were exchanged: what B took over from it is as unsure, in so far as it was read."""
    record = build_record("SD-100", revisions={"B": {"on": "2026-05-20", "by": "ann", "changed": []}})
    space, name = build_workspace(record), "evidence/o1.csv"
    space = replace(space, files={("SD-100", name): EvidenceFile(name, FileState.CHANGED, "0" * 64)})
    lineage = compute_lineage(space).parts["SD-100"]
    assert lineage.nodes["revisions.B"].parents == ("revisions.A",)
    assert lineage.nodes["revisions.A"].parents == ("measurements.M1", "measurements.M2")
    (reason,) = lineage.reasons["revisions.B"]
    assert (reason.cause, reason.features) == (Cause.FILE_CHANGED, ("length",))
    assert reason.path == ("measurements.M1", "revisions.A", "revisions.B")


@pytest.mark.parametrize(
    ("of", "names", "parents"),
    [
        ("A", "die", ("revisions.A", "quotes.Q1")),
        ("B", "die", ("revisions.A",)),  # an offer for another model than the one that the die is cut to
        ("A", "jig", ("revisions.A",)),
    ],
)
def test_a_tool_stands_on_its_revision_and_on_the_offers_for_it(of: str, names: str, parents: tuple[str, ...]) -> None:
    record = build_record("SD-100", revisions={"B": {"on": "2026-05-20", "by": "ann", "changed": []}})
    record["quotes"]["Q1"] |= {"of": of, "tools": {names: 9000}, "on": "2026-05-21", "valid_to": "2026-08-01"}
    nodes = compute_lineage(build_workspace(record)).parts["SD-100"].nodes
    assert nodes["tools.die"].parents == parents


THREE = {"A": "2026-01-20", "B": "2026-03-01", "C": "2026-05-01"}


@pytest.mark.parametrize(
    ("day", "current"),
    [
        ("2026-01-19", "A"),  # older than all of them: the first is the nearest
        ("2026-01-20", "A"),
        ("2026-02-28", "A"),
        ("2026-03-01", "B"),
        ("2026-04-30", "B"),
        ("2026-05-01", "C"),
        (None, "C"),
    ],
)
def test_a_tool_is_cut_to_the_revision_of_the_day_of_its_order(day: str | None, current: str) -> None:
    steps = {} if day is None else {"steps": {"quoted": "2026-01-01", "ordered": day}}
    part = build_part(THREE, tools={"cap": {"kind": "gauge", **steps}})
    order, tool = order_revisions(part), part.tools["cap"]
    assert find_revision_on(part, order, tool.steps.get("ordered")) == current  # type: ignore[call-overload]
    assert find_tool_revision(part, order, tool) == current


def test_a_tool_that_is_only_quoted_is_cut_to_the_revision_of_that_day_unless_it_names_one() -> None:
    quoted = {"kind": "gauge", "steps": {"quoted": "2026-03-02"}}
    part = build_part(THREE, tools={"cap": quoted, "nut": {**quoted, "of": "A"}})
    assert [find_tool_revision(part, order_revisions(part), part.tools[key]) for key in ("cap", "nut")] == ["B", "A"]


def test_a_part_without_a_model_has_no_revision_of_any_day() -> None:
    part = build_part({})
    assert find_revision_on(part, order_revisions(part), None) is None
