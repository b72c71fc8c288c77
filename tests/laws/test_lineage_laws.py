"""Laws of staleness: order changes nothing, a statement hides nothing else, more change is never less stale."""

from __future__ import annotations

import random
from functools import cache
from typing import Any

from hostile.hostile_records import build_whole_record
from hypothesis import given, settings
from hypothesis import strategies as st
from lineage.lineage_story import ASSEMBLY, BORROWER, STORY
from lineage.lineage_workspace import build_workspace, parse_text

from pipeline.costing.impact import compute_impact
from pipeline.costing.ladder import compute_ladder
from pipeline.costing.paths import Cycle
from pipeline.gates.standing import compute_standings
from pipeline.lineage.freshness import compute_lineage
from pipeline.model.workspace import Workspace
from pipeline.portfolio.money import build_rates
from pipeline.portfolio.redo import build_change_basis

FEATURES = ("length", "width", "plate", "hard")
FAST = settings(deadline=None, max_examples=60, derandomize=True)


def shuffle_keys(value: Any, rng: random.Random) -> Any:
    """Return the same data with the keys of every map in another order; lists keep theirs."""
    if isinstance(value, dict):
        keys = list(value)
        rng.shuffle(keys)
        return {key: shuffle_keys(value[key], rng) for key in keys}
    return [shuffle_keys(item, rng) for item in value] if isinstance(value, list) else value


def show_workspace(workspace: Workspace) -> dict[str, Any]:
    """Return all that is derived of a workspace, without the order in which it comes."""
    lineage = compute_lineage(workspace)
    standings = compute_standings(workspace, lineage)
    shown: dict[str, Any] = {}
    for number, part in workspace.parts.items():
        traced, standing = lineage.parts[number], standings[number]
        basis = build_change_basis(part, traced, workspace, build_rates(workspace.catalogues))
        assert not isinstance(basis, Cycle)
        shown[number] = {
            "stale": {node: sorted((r.cause, r.words, r.features) for r in reasons) for node, reasons in traced.reasons.items()},
            "order": traced.order,
            "gates": {
                gate: (one.state, sorted((r.id, r.state, r.answer.have) for r in one.requirements), one.faults)
                for gate, one in standing.gates.items()
            },
            "state": (standing.state, standing.gate, standing.last_evidence),
            "calls": sorted((call.tool, call.words) for call in standing.hold_calls),
            "ladder": [(rung.stage, rung.total, rung.weeks) for rung in compute_ladder(basis).part.rungs],
            "impact": {
                feature: sorted((step.key, step.cost) for step in compute_impact(basis, (feature,), None).steps)
                for feature in part.features
            },
        }  # fmt: skip
    return shown


def build_story() -> list[dict[str, Any]]:
    """Return the story's records with one more revision, and a record that uses every section."""
    story = parse_text(STORY)
    story["revisions"]["B"] = {"on": "2026-05-01", "by": "ann", "changed": ["width", "hard"]}
    whole = build_whole_record() | {"part": "SD-400", "made_of": {}, "uses_tools": ["SD-100/die"]}
    whole["demand"].pop("takes_from")
    return [story, parse_text(BORROWER), parse_text(ASSEMBLY), whole]


@cache
def show_story() -> dict[str, Any]:
    """Return what is derived of the story in its own order."""
    return show_workspace(build_workspace(*build_story()))


@settings(deadline=None, max_examples=25, derandomize=True)
@given(st.integers(0, 2**32))
def test_order_of_records_and_keys_changes_nothing(seed: int) -> None:
    rng = random.Random(seed)
    records = [shuffle_keys(record, rng) for record in build_story()]
    rng.shuffle(records)
    assert show_workspace(build_workspace(*records)) == show_story()


Statement = tuple[list[str], list[str], bool]
KEYS = ("P1", "P2", "F1", "F2", "T1", "Q1", "Q2", "FA1", "FA2", "die", "trim", "mask", "gauge")
some_features = st.lists(st.sampled_from(FEATURES), min_size=1, max_size=4, unique=True)
statements = st.lists(
    st.tuples(some_features, st.lists(st.sampled_from(KEYS), min_size=1, max_size=4, unique=True), st.booleans()),
    max_size=3,
)


def find_stale(changed: list[str], signed: list[Statement]) -> dict[str, set[str]]:
    """Return node -> features for which it is stale when revision B changed these and carries these statements."""
    story = parse_text(STORY)
    story["revisions"]["B"] = {
        "on": "2026-05-01",
        "by": "ann",
        "changed": changed,
        "no_effect": [
            {
                "features": f,
                "keeps": k,
                "by": "ann",
                "seen_by": "bob" if seen else "ann",
                "on": "2026-05-02",
                "why": "x",
            }
            for f, k, seen in signed
        ],
    }
    lineage = compute_lineage(build_workspace(story)).parts["SD-100"]
    return {node: set(lineage.find_stale_features(node)) for node in lineage.nodes}


@FAST
@given(some_features, statements)
def test_a_statement_never_hides_a_change_that_it_does_not_name(changed: list[str], signed: list[Statement]) -> None:
    without, found = find_stale(changed, []), find_stale(changed, signed)
    for node, features in without.items():
        section, key = node.split(".", 1)
        kept = {f for names, keys, seen in signed if seen and key in keys for f in names} & set(changed)
        assert found[node] <= features
        follows = (
            section == "tools" and key == "mask"
        )  # it follows the die: kept only where all that touches the die is
        if not follows:
            assert found[node] == features - kept, node


@FAST
@given(some_features, statements)
def test_statements_that_nobody_else_saw_keep_nothing(changed: list[str], signed: list[Statement]) -> None:
    alone = [(features, keys, False) for features, keys, _ in signed]
    assert find_stale(changed, alone) == find_stale(changed, [])


@FAST
@given(some_features, some_features)
def test_more_changed_features_never_make_less_stale(changed: list[str], more: list[str]) -> None:
    both = sorted({*changed, *more})
    less, most = find_stale(changed, []), find_stale(both, [])
    assert all(less[node] <= most[node] for node in less)


@FAST
@given(some_features)
def test_only_what_covers_a_changed_feature_goes_stale(changed: list[str]) -> None:
    story = parse_text(STORY)
    nodes = compute_lineage(build_workspace(story)).parts["SD-100"].nodes
    for node, stale in find_stale(changed, []).items():
        if (
            node != "tools.mask"
            and node in nodes
            and nodes[node].base is not None
            and nodes[node].section != "revisions"
        ):
            assert stale == set(changed) & set(nodes[node].covers), node
