"""What git says of entries that claim to have been added later: one that stood in the record before is told."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from pipeline.findings.finding import Finding
from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample
from pipeline.history.replay import PlannedCommit, write_history
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.story import read_story
from pipeline.portfolio.story_findings import check_story

EYE = "  eye: {what: eye, kind: size, nominal: 8, limits: [0, 0.1], unit: mm, critical: true, since: %s}\n"
ARCH = "  arch: {what: hook to arch, gap: {limits: [0.1, 0.9]}, features: [length], since: %s}\n"
ESTATE = "  estate: {vehicle: finch, body: estate, years: 1952-1955, since: %s}\n"
KINDS = {
    "features.eye": ("features:\n  length: {what: length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
                     "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}\n", EYE),
    "interfaces.arch": ("interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}\n", ARCH),
    "fits.estate": ("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n", ESTATE),
}  # fmt: skip
ADDED_ON = "2026-05-12"


def tell(folder: Path, sections: str, entry: str, since: str) -> list[Finding]:
    """Replay a record that was recorded on 15 February and got the entry on 12 May; return what git says against it."""
    commits = []
    for day, part in (("2026-02-15", sections), (ADDED_ON, sections + entry % since)):
        noon = dt.datetime.combine(dt.date.fromisoformat(day), dt.time(12), dt.UTC)
        commits.append(PlannedCommit(noon, "bob", "bob", day, dict(build_sample(Example(part)))))
    write_history(folder, commits)
    checked = check_workspace(folder)
    return [one for one in check_story(folder, checked, read_story(folder, checked)) if one.rule == "H912"]


@pytest.mark.parametrize("place", list(KINDS))
def test_a_day_that_came_after_the_commit_is_told_where_it_stands(tmp_path: Path, place: str) -> None:
    found = tell(tmp_path / "w", *KINDS[place], "2026-05-20")
    assert [one.pointer for one in found] == [f"{place}.since"]
    assert found[0].message == (
        f"{place} says that it was added on 2026-05-20, but stood in the record on {ADDED_ON}, 8 days before"
    )
    assert found[0].location.line and f"{place.split('.')[1]}: " in (tmp_path / "w" / found[0].location.path).read_text(
        "utf-8"
    ).splitlines()[found[0].location.line - 1]  # fmt: skip


@pytest.mark.parametrize("place", list(KINDS))
@pytest.mark.parametrize("since", [ADDED_ON, "2026-05-13", "2026-04-01"])
def test_the_day_of_the_commit_the_next_one_or_an_earlier_one_is_right(tmp_path: Path, place: str, since: str) -> None:
    """The day after is a late evening or another time zone; an earlier one was recorded late and excuses less."""
    assert tell(tmp_path / "w", *KINDS[place], since) == []
