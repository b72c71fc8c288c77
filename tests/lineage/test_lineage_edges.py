"""Edges of the lineage that mutation testing found nobody looking at."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lineage.lineage_workspace import build_workspace, parse_text

from pipeline.findings.sample import SAMPLE_PART
from pipeline.lineage.freshness import Cause, compute_lineage
from pipeline.lineage.graph import find_affected, order_nodes
from pipeline.model.workspace import EvidenceFile, FileState


def build_record(number: str, **more: Any) -> dict[str, Any]:
    """Return the sample's record under another number, with sections laid over it."""
    value = parse_text(SAMPLE_PART)
    value["part"] = number
    for key, section in more.items():
        value[key] = {**value.get(key, {}), **section} if isinstance(section, dict) else section
    return value


SECOND = {"B": {"on": "2026-05-20", "by": "ann", "file": "evidence/hook-a.stl", "changed": ["length"]}}
ARTICLE = {
    "tools": ["cap"],
    "of": "A",
    "on": "2026-05-10",
    "by": "ann",
    "pieces": 3,
    "finished": True,
    "result": "good",
}
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


@pytest.mark.parametrize(("keeps", "is_stale"), [([], True), (["cap"], False), (["N1"], True)])
def test_what_comes_off_a_tool_falls_with_the_tool_that_it_fits(keeps: list[str], is_stale: bool) -> None:
    """The cap forms the hardness alone, and only the length changed; but the cap fits the die, which forms the length."""
    word = {"features": ["length"], "keeps": keeps, "by": "ann", "on": "2026-05-21", "why": "x", "seen_by": "bob"}
    second = {"B": {**SECOND["B"], **({"no_effect": [word]} if keeps else {})}}
    tools = {"cap": {"kind": "gauge", "forms": ["hard"], "made_to_fit": ["die"]}}
    article = {"N1": {**ARTICLE, "covers": ["hard"]}}
    record = build_record("SD-100", revisions=second, tools=tools, first_articles=article)
    lineage = compute_lineage(build_workspace(record)).parts["SD-100"]
    assert lineage.find_stale_features("first_articles.N1") == (("hard",) if is_stale else ())
    assert bool(lineage.reasons["tools.cap"]) is is_stale


@pytest.mark.parametrize("own", [{}, {"B": {"on": "2026-05-01", "by": "ann", "changed": ["edge"], "no_effect": [
    {"features": ["edge"], "keeps": ["nut"], "by": "ann", "on": "2026-05-02", "why": "x", "seen_by": "bob"}]}}])  # fmt: skip
def test_a_statement_about_a_revision_keeps_nothing_from_another_records_revision_of_that_name(
    own: dict[str, Any],
) -> None:
    tools = {"cap": {"kind": "gauge", "made_to_fit": ["SD-100/die"]}, "nut": {"kind": "gauge", "made_to_fit": ["cap"]}}
    first = {"A": {"on": "2026-01-20", "by": "ann"}}
    other = {**GAUGE, "tools": tools, "revisions": {**first, **own}}
    lineage = compute_lineage(build_workspace(build_record("SD-100", revisions=SECOND), other)).parts["AA-1"]
    words = "SD-100: tool die was made on revision A; revision B changed `length`, which die covers"
    assert [reason.words for reason in lineage.reasons["tools.nut"]].count(words) == 1


def test_a_test_of_a_model_itself_descends_from_its_revision() -> None:
    """A calculation or a measurement of the model file: it stands as long as its features do."""
    test = {"kind": "print", "of": "A", "on": "2026-03-01", "by": "ann", "covers": ["length"], "result": "good"}
    record = build_record("SD-100", tests={"T1": test})
    node = compute_lineage(build_workspace(record)).parts["SD-100"].nodes["tests.T1"]
    assert (node.base, node.parents) == ("A", ("revisions.A",))
    record["tests"]["T1"]["of"] = "gone"
    lost = compute_lineage(build_workspace(record)).parts["SD-100"].nodes["tests.T1"]
    assert (lost.base, lost.parents) == (None, ())


def test_a_gap_of_an_interface_that_is_not_there_covers_nothing_of_its_own() -> None:
    record = build_record("SD-100")
    record["fit_checks"]["F1"] |= {"gaps": {"gone": [0.4]}, "covers": ["hard"]}
    assert compute_lineage(build_workspace(record)).parts["SD-100"].nodes["fit_checks.F1"].covers == ("hard",)


@pytest.mark.parametrize(
    ("uses", "parent"),
    [(["AA-1/cap"], "AA-1/tools.cap"), (["AA-1/other"], "tools.cap"), ([], "tools.cap")],
)
def test_a_first_article_off_a_borrowed_tool_descends_from_it_in_the_other_record(uses: list[str], parent: str) -> None:
    record = build_record("SD-100", first_articles={"N1": ARTICLE}, uses_tools=uses)
    nodes = compute_lineage(build_workspace(record)).parts["SD-100"].nodes
    assert nodes["first_articles.N1"].parents == ("revisions.A", parent)


@pytest.mark.parametrize(
    ("condition", "more", "coated", "stale"),
    [
        ("restored", {}, True, ("length",)),
        ("restored", {}, False, ()),
        ("restored", {"coating_off": True}, True, ()),
        ("used", {}, True, ()),
        ("reproduction", {}, False, ("length",)),
        ("reproduction", {"coating_off": True}, False, ("length",)),
    ],
)
def test_a_new_coating_speaks_only_against_what_it_lies_on(
    condition: str, more: dict[str, bool], coated: bool, stale: tuple[str, ...]
) -> None:
    record = build_record("SD-100")
    record["originals"]["O1"]["condition"] = condition
    record["features"]["length"]["coated"] = coated
    record["measurements"]["M1"] |= more
    lineage = compute_lineage(build_workspace(record)).parts["SD-100"]
    assert lineage.find_stale_features("measurements.M1") == stale
    told = [reason.words for reason in lineage.reasons["measurements.M1"]]
    why = "is restored: `length` carries a new coating" if condition == "restored" else "is a reproduction"
    assert told == ([f"measurement M1 is of original O1, which {why}"] if stale else [])


def test_a_ring_of_tools_is_listed_by_section_and_name() -> None:
    """A ring has no order of descent: it is told by a rule, and what changes is still listed, the same every time."""
    tools = {"cap": {"kind": "gauge", "made_to_fit": ["nut"]}, "nut": {"kind": "gauge", "made_to_fit": ["cap"]}}
    lineage = compute_lineage(build_workspace(build_record("SD-100", tools=tools))).parts["SD-100"]
    order = order_nodes(lineage)
    assert order.index("tools.cap") < order.index("tools.nut") and order.index("revisions.A") < order.index("tools.cap")
    assert set(order) == set(lineage.nodes)
    found = find_affected(lineage, ["length"])
    assert [one for one in found if one.startswith("tools.")] == ["tools.cap", "tools.die", "tools.nut"]


@pytest.mark.parametrize("interface", [{"features": ["length"]}, {"stack": [{"feature": "length"}]}])
def test_a_trial_speaks_of_the_coating_that_closes_its_gap(interface: dict[str, Any]) -> None:
    record = build_record("SD-100")
    record["features"]["plate"] = {"what": "plating", "kind": "thickness", "nominal": 20, "unit": "um"}
    record["features"]["length"]["coating"] = "plate"
    record["interfaces"]["seat"] = {"what": "hook to sill", "gap": {"limits": [0.1, 0.9]}, **interface}
    node = compute_lineage(build_workspace(record)).parts["SD-100"].nodes["fit_checks.F1"]
    assert node.covers == ("length", "plate")


@given(st.integers(0, 2**32), st.integers(1, 12))
def test_the_order_is_that_of_a_reference_library(seed: int, size: int) -> None:
    """networkx's lexicographical topological sort, on acyclic lineages made at random."""
    import random

    import networkx as nx

    from pipeline.lineage.nodes import SECTION_LABELS

    chance, sections = random.Random(seed), list(SECTION_LABELS)
    lineage = compute_lineage(build_workspace(build_record("SD-100"))).parts["SD-100"]
    one = next(iter(lineage.nodes.values()))
    names = [f"{chance.choice(sections)}.{chance.choice('abc')}{n}" for n in range(size)]
    parents = {name: tuple(p for p in names[:at] if chance.random() < 0.3) for at, name in enumerate(names)}
    made = replace(lineage, nodes={n: replace(one, id=n, parents=parents[n]) for n in chance.sample(names, size)})
    graph = nx.DiGraph()
    graph.add_nodes_from(names)
    graph.add_edges_from((p, n) for n in names for p in parents[n])
    rank = {section: place for place, section in enumerate(sections)}
    expected = nx.lexicographical_topological_sort(graph, key=lambda n: (rank[n.split(".")[0]], n))
    assert order_nodes(made) == tuple(expected)
