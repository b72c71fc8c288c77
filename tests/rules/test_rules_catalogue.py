"""Each rule's bad example gives exactly that rule; its good one gives none."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.demo.pieces import cut_record, render_on
from pipeline.findings.catalogue import RULES
from pipeline.findings.finding import Finding
from pipeline.findings.rule import Example, Rule
from pipeline.findings.sample import SAMPLE_NUMBER, build_sample
from pipeline.history.replay import PlannedCommit, write_history
from pipeline.history.repository import Signature
from pipeline.history.safe_git import run_git
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.story import read_story
from pipeline.portfolio.story_findings import check_story
from pipeline.reading.workspace import read_workspace

NEEDS_A_LINK = {"E304"}  # its example is a symbolic link, which no text shows; see test_reading_evidence.py


def _show_on(
    example: Example, past_part: str, files: dict[str, str | None], day: dt.date, sample: Callable[..., Path]
) -> dict[str, bytes]:
    """The files of the sample workspace as they stood on a day: entries that are dated later are not there yet."""
    shown = build_sample(Example(example.part + past_part, {**example.files, **files}))
    path = f"projects/{SAMPLE_NUMBER}/part.yaml"
    workspace = read_workspace(sample(example.part + past_part, {**example.files, **files})).workspace
    if workspace is not None and SAMPLE_NUMBER in workspace.parts:
        pieces = cut_record(shown[path].decode(), workspace.parts[SAMPLE_NUMBER])
        shown[path] = render_on(pieces, day).encode()
    return shown


def find_findings(rule: Rule, example: Example, sample: Callable[..., Path], tmp_path: Path) -> tuple[Finding, ...]:
    """What the checker says of an example: of one with commits, with its history replayed beside it."""
    root = sample(example.part, dict(example.files))
    if not rule.history:
        return check_workspace(root, deep=rule.deep).findings
    commits = [
        PlannedCommit(
            dt.datetime.combine(dt.date.fromisoformat(past.on), dt.time(12), dt.UTC),
            past.by,
            past.by,
            past.on,
            dict(_show_on(example, past.part, dict(past.files), dt.date.fromisoformat(past.shows or past.on), sample)),
        )
        for past in example.past
    ]
    told = tmp_path / "told"
    write_history(told, commits)
    for path, content in build_sample(example).items():
        (told / path).write_bytes(content)
    checked = check_workspace(told)
    story = read_story(told, checked)
    hashes = run_git(told, ["rev-list", "--reverse", "HEAD"]).out.decode().split()
    letters = {
        digest: Signature(past.signature) for digest, past in zip(hashes, example.past, strict=True) if past.signature
    }
    return (*checked.findings, *check_story(told, checked, replace(story, signatures=letters)))


@pytest.mark.parametrize("rule", [r for r in RULES if r.id not in NEEDS_A_LINK], ids=lambda rule: rule.id)
def test_bad_example_gives_exactly_its_rule(rule: Rule, sample: Callable[..., Path], tmp_path: Path) -> None:
    findings = find_findings(rule, rule.bad, sample, tmp_path)
    assert {f.rule for f in findings} == {rule.id}, [f"{f.rule} {f.location} {f.message}" for f in findings]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_good_example_gives_none(rule: Rule, sample: Callable[..., Path], tmp_path: Path) -> None:
    findings = find_findings(rule, rule.good, sample, tmp_path)
    assert not findings, [f"{f.rule} {f.location} {f.message}" for f in findings]


def test_ids_are_unique_and_well_formed() -> None:
    ids = [rule.id for rule in RULES]
    assert len(ids) == len(set(ids))
    assert all(re.fullmatch(r"[A-Z][0-9]{3}", rule_id) for rule_id in ids)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.id)
def test_a_rule_says_why_and_how_to_mend(rule: Rule) -> None:
    assert len(rule.title.split()) >= 2
    assert rule.why.endswith(".")
    assert len(rule.fix.split()) >= 3
    assert not rule.fix.endswith(".")
