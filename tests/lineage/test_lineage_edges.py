"""Edges of the lineage that mutation testing found nobody looking at."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lineage.lineage_workspace import build_workspace, parse_text

from pipeline.findings.sample import SAMPLE_PART
from pipeline.lineage.freshness import Cause, compute_lineage
from pipeline.model.workspace import EvidenceFile, FileState


def build_record(number: str, **more: Any) -> dict[str, Any]:
    """Return the sample's record under another number, with sections laid over it."""
    value = parse_text(SAMPLE_PART)
    value["part"] = number
    for key, section in more.items():
        value[key] = {**value.get(key, {}), **section} if isinstance(section, dict) else section
    return value


SECOND = {"B": {"on": "2026-05-20", "by": "ann", "file": "evidence/hook-a.stl", "changed": ["length"]}}
GAUGE = {"part": "AA-1", "name": "gauge", "family": "cast", "safety": "S0", "engineer": "ann",
         "fits": {"a": {"vehicle": "finch", "body": "saloon", "years": 1951}},
         "features": {"edge": {"what": "edge", "kind": "size", "nominal": 3, "unit": "mm"}}}  # fmt: skip


@pytest.mark.parametrize("borrower", ["AA-1", "ZZ-900"])
def test_what_is_made_to_fit_a_tool_of_another_part_goes_stale_whichever_number_comes_first(borrower: str) -> None:
    other = {**GAUGE, "part": borrower, "tools": {"cap": {"kind": "gauge", "made_to_fit": ["SD-100/die"]}}}
    for order in ((0, 1), (1, 0)):
        records = (build_record("SD-100", revisions=SECOND), other)
        lineage = compute_lineage(build_workspace(*(records[at] for at in order)))
        reasons = lineage.parts[borrower].reasons["tools.cap"]
        assert [reason.cause for reason in reasons] == [Cause.FEATURE_CHANGED]
        assert reasons[0].words.startswith("SD-100: ")
    calm = compute_lineage(build_workspace(build_record("SD-100"), other))
    assert not calm.parts[borrower].reasons.get("tools.cap")


@pytest.mark.parametrize(
    ("state", "listed", "cause"),
    [
        (FileState.MISSING, None, Cause.FILE_NEVER_THERE),
        (FileState.MISSING, "0" * 64, Cause.FILE_MISSING),
        (FileState.OUTSIDE, None, Cause.FILE_NEVER_THERE),
        (FileState.OUTSIDE, "0" * 64, Cause.FILE_MISSING),
        (FileState.CHANGED, "0" * 64, Cause.FILE_CHANGED),
        (FileState.UNLISTED, None, Cause.FILE_UNLISTED),
        (FileState.INTACT, "0" * 64, None),
        (FileState.REFERENCE, "0" * 64, None),
    ],
)
def test_a_file_that_was_never_there_is_told_from_one_that_went(
    state: FileState, listed: str | None, cause: Cause | None
) -> None:
    space = build_workspace(build_record("SD-100"))
    name = "evidence/o1.csv"
    space = replace(space, files={("SD-100", name): EvidenceFile(name, state, listed)})
    reasons = compute_lineage(space).parts["SD-100"].reasons.get("measurements.M1", ())
    assert [reason.cause for reason in reasons] == ([] if cause is None else [cause])


@pytest.mark.parametrize(
    ("revisions", "is_stale"),
    [
        ({"A": {"on": "2026-05-20"}}, False),  # its first model says nothing of a change
        (
            {"A": {"on": "2026-01-20"}, "B": {"on": "2026-05-20"}},
            True,
        ),  # a later one that names no feature: all changed
        ({"A": {"on": "2026-01-20"}, "B": {"on": "2026-05-20", "changed": []}}, False),
        (
            {"A": {"on": "2026-01-20"}, "B": {"on": "2026-02-01", "changed": ["length"]}},
            False,
        ),  # on the day of the trial
        ({"A": {"on": "2026-01-20"}, "B": {"on": "2026-02-02", "changed": ["length"]}}, True),
    ],
)
def test_a_trial_of_an_assembly_goes_stale_when_a_part_in_it_was_changed_after_it(
    revisions: dict[str, dict[str, Any]], is_stale: bool
) -> None:
    made = {key: {"by": "ann", "file": "evidence/hook-a.stl", **one} for key, one in revisions.items()}
    inside = build_record("SD-200")
    inside["revisions"] = made
    for section in ("prototypes", "fit_checks", "quotes", "decisions"):
        inside.pop(section)
    whole = build_record("SD-100", made_of={"a": {"part": "SD-200"}})  # P1 was built on 2026-02-01
    reasons = compute_lineage(build_workspace(whole, inside)).parts["SD-100"].reasons.get("prototypes.P1", ())
    assert [reason.cause for reason in reasons] == ([Cause.CHILD_CHANGED] if is_stale else [])


@pytest.mark.parametrize(
    ("features", "is_kept"),
    [(["length"], True), (["length", "hard"], True), (["hard"], False), (None, False)],
)
def test_a_statement_keeps_a_tool_from_the_changes_of_what_it_fits_and_of_nothing_else(
    features: list[str] | None, is_kept: bool
) -> None:
    """The revision changes two features; the die that the gauge fits forms one of them: a word on that one is enough."""
    word = {"features": features, "keeps": ["cap"], "by": "ann", "on": "2026-05-21", "why": "x", "seen_by": "bob"}
    second = {
        "B": {**SECOND["B"], "changed": ["length", "hard"], **({} if features is None else {"no_effect": [word]})}
    }
    tools = {"cap": {"kind": "gauge", "made_to_fit": ["die"]}}
    lineage = compute_lineage(build_workspace(build_record("SD-100", revisions=second, tools=tools)))
    assert bool(lineage.parts["SD-100"].reasons.get("tools.cap")) != is_kept
    assert lineage.parts["SD-100"].reasons["tools.die"]
