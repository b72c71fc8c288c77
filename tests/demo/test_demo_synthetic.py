"""Synthetic parts: valid, free of errors, the same for the same seed, and said to be synthetic."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from pipeline.demo.source import find_demo_source, read_demo_files, write_tree
from pipeline.demo.synthetic import build_synthetic_parts
from pipeline.findings.finding import Finding, Severity
from pipeline.model.words import GateState
from pipeline.model.workspace import Workspace
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.reading.workspace import read_workspace


@pytest.fixture(scope="module")
def demo() -> Workspace:
    found = read_workspace(find_demo_source()).workspace
    assert found is not None
    return found


def make(demo: Workspace, count: int, seed: int) -> dict[str, bytes]:
    return build_synthetic_parts(count, seed, demo.catalogues, demo.today, frozenset(demo.parts))


def find_errors(checked: Checked) -> list[Finding]:
    """Return the errors of records; the demo's catalogues also name parts written by hand, which are not here."""
    return [f for f in checked.findings if f.severity is Severity.ERROR and f.location.path.startswith("projects/")]


@pytest.fixture(scope="module")
def checked(demo: Workspace, tmp_path_factory: pytest.TempPathFactory) -> Checked:
    root: Path = tmp_path_factory.mktemp("synthetic")
    write_tree(root, {**read_demo_files(("shared",)), **make(demo, 170, 7)})
    return check_workspace(root)


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(demo: Workspace) -> None:
    first = make(demo, 12, 7)
    assert first == make(demo, 12, 7)
    assert first != make(demo, 12, 8)


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_other_seeds_are_clean_too(demo: Workspace, tmp_path: Path, seed: int) -> None:
    write_tree(tmp_path, {**read_demo_files(("shared",)), **make(demo, 40, seed)})
    errors = find_errors(check_workspace(tmp_path))
    assert not errors, errors[:3]


def test_no_synthetic_part_has_an_error_and_all_say_what_they_are(checked: Checked) -> None:
    assert checked.workspace is not None
    assert len(checked.workspace.parts) == 170
    assert all(part.synthetic for part in checked.workspace.parts.values())
    assert not find_errors(checked)


def test_they_are_spread_over_gates_states_and_families(checked: Checked) -> None:
    assert checked.workspace is not None
    states = Counter(standing.state for standing in checked.standings.values())
    assert set(states) == set(GateState)
    families = Counter(part.family for part in checked.workspace.parts.values())
    assert len(families) >= 8
    released = sum(standing.released for standing in checked.standings.values())
    assert 0.15 < released / 170 < 0.5


def test_numbers_in_use_are_left_alone(demo: Workspace) -> None:
    files = build_synthetic_parts(3, 7, demo.catalogues, demo.today, frozenset({"TW-301", "TW-303"}))
    assert {path.split("/")[1] for path in files} == {"TW-302", "TW-304", "TW-305"}
