"""The history of the demo's records is the one that its generator told, and what is bent afterwards is noticed."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import pytest
from told_demo import copy_demo, find_told_demo, run_git

from pipeline.findings.finding import Finding
from pipeline.model.part import Part
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.portfolio.story import CACHE, Story, read_story
from pipeline.portfolio.story_findings import check_story

RIM = "projects/TW-101/part.yaml"


def read(folder: Path, remember: bool = False, only: tuple[str, ...] = ()) -> tuple[Story, list[Finding]]:
    checked = check_workspace(folder)
    story = read_story(folder, checked, remember=remember)
    return story, list(check_story(folder, checked, story, only))


def count_rules(findings: list[Finding], record: str = "") -> Counter[str]:
    return Counter(f.rule for f in findings if not record or f.record == record)


@pytest.fixture(scope="module")
def told() -> tuple[Story, Checked]:
    folder = find_told_demo(200)
    checked = check_workspace(folder)
    return read_story(folder, checked, remember=False), checked


def list_stated(part: Part) -> set[tuple[str, dt.date]]:
    """Every dated fact by a second, plain reading of the model."""
    found = {(f"decisions[{i}]", d.on) for i, d in enumerate(part.decisions)}
    found |= {(f"waivers[{i}]", w.on) for i, w in enumerate(part.waivers) if w.on is not None}
    for section in (
        "measurements",
        "revisions",
        "prototypes",
        "fit_checks",
        "tests",
        "quotes",
        "first_articles",
        "gauge_studies",
        "sample_runs",
        "changes",
    ):
        found |= {(f"{section}.{key}", entry.on) for key, entry in getattr(part, section).items()}
    found |= {
        (f"tools.{key}.steps.{step}", day) for key, tool in part.tools.items() for step, day in tool.steps.items()
    }
    return found


def test_every_dated_fact_is_told_once(told: tuple[Story, Checked]) -> None:
    story, checked = told
    assert checked.workspace is not None and len(story.parts) == 200
    for number, part in checked.workspace.parts.items():
        facts = [(fact.key, fact.on) for fact in story.parts[number].facts if fact.on is not None]
        assert set(facts) == list_stated(part), number
        assert len(facts) == len(set(facts))


def test_facts_of_generated_parts_were_recorded_on_their_day(told: tuple[Story, Checked]) -> None:
    """The generator commits each entry on its own day: git must say the same of every one, by the one who did it."""
    story, checked = told
    assert checked.workspace is not None
    dated = 0
    for number, part in checked.workspace.parts.items():
        if not part.synthetic:
            continue
        for fact in story.parts[number].facts:
            if fact.on is None:
                continue
            assert fact.recorded is not None, (number, fact.key)
            assert fact.recorded.committed_at.date() == fact.on, (number, fact.key)
            assert not fact.is_edited
            dated += 1
    assert dated > 2000


def test_what_one_person_recorded_for_another_is_noticed(told: tuple[Story, Checked]) -> None:
    """Where a day's commit is by somebody without the role, exactly those decisions are doubted."""
    story, checked = told
    assert checked.workspace is not None
    people, gates = checked.workspace.catalogues.people.people, checked.workspace.catalogues.gates
    expected, found = set(), set()
    for number, part in checked.workspace.parts.items():
        for fact in story.parts[number].facts:
            if fact.section != "decisions" or fact.recorded is None:
                continue
            decision = part.decisions[int(fact.entry)]
            policy = gates.release if decision.gate is None else gates.gates[decision.gate]
            author = fact.recorded.email.partition("@")[0]
            if author in people and not set(people[author].roles) & set(policy.decided_by):
                expected.add((number, fact.key))
            if any(doubt.kind == "author-not-allowed" for doubt in fact.doubts):
                found.add((number, fact.key))
    assert found == expected and expected


def test_reading_again_gives_the_same_and_reads_nothing(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    first, findings = read(folder, remember=True)
    assert (folder / CACHE).is_file()
    second, again = read(folder, remember=True)
    assert second.history is not None and (second.history.read_commits, second.history.parsed_pieces) == (0, 0)
    assert again == findings
    assert {n: p.facts for n, p in first.parts.items()} == {n: p.facts for n, p in second.parts.items()}


def test_bent_records_are_noticed(tmp_path: Path) -> None:
    """One commit long afterwards: an edited decision, evidence rewritten with its hash, a late measurement."""
    folder = copy_demo(tmp_path / "w")
    record = folder / RIM
    text = record.read_text("utf-8")
    before = count_rules(read(folder)[1], "TW-101")
    edited = text.replace("drophead promised for June", "drophead promised for July")
    assert edited != text
    record.write_text(edited, "utf-8")
    evidence = sorted((folder / "projects/TW-101/evidence").glob("*.csv"))[0]
    evidence.write_bytes(evidence.read_bytes() + b"# looked at again\n")
    uncommitted = count_rules(read(folder)[1], "TW-101")
    assert uncommitted["H910"] == before["H910"] + 1  # the decision as it is now stands in no commit
    late = {"GIT_AUTHOR_DATE": "2026-11-30T10:00:00Z", "GIT_COMMITTER_DATE": "2026-11-30T10:00:00Z"}
    run_git(folder, "commit", "-qam", "tidied", **late)
    after = count_rules(read(folder)[1], "TW-101")
    assert after["H910"] == before["H910"]
    assert after["H904"] == before["H904"] + 1
    assert after["H908"] > before["H908"]


def test_a_list_item_is_found_by_its_text_wherever_it_stands(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    record = folder / RIM
    text = record.read_text("utf-8")
    start = text.index("decisions:\n") + len("decisions:\n")
    new = "  - {gate: measure, on: 2026-01-29, by: ito, say: hold, why: one more original}\n"
    record.write_text(text[:start] + new + text[start:], "utf-8")
    story, _ = read(folder)
    decisions = [fact for fact in story.parts["TW-101"].facts if fact.section == "decisions"]
    assert [fact.fact is None for fact in decisions] == [True] + [False] * (len(decisions) - 1)
    assert all(f.recorded is not None and f.recorded.committed_at.date() == f.on for f in decisions[1:])


def test_people_without_an_address_are_found_by_name(tmp_path: Path) -> None:
    folder = copy_demo(tmp_path / "w")
    people = folder / "shared/people.yaml"
    people.write_text(people.read_text("utf-8").replace(", emails: [mara@example.invalid]", ""), "utf-8")
    story, _ = read(folder)
    assert story.people["mara@example.invalid"] == "mara"


@pytest.mark.parametrize("only", [("TW-101",), ("TW-140",)])
def test_only_the_parts_that_were_named_are_told(only: tuple[str, ...]) -> None:
    folder = find_told_demo(30)
    checked = check_workspace(folder)
    found = check_story(folder, checked, read_story(folder, checked, remember=False), only)
    assert {f.record for f in found} <= {"", *only}


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="no ssh-keygen to sign and to verify with")
def test_signed_commits_are_verified_by_git(tmp_path: Path) -> None:
    """A commit signed with a key that the signer is known by is good; one by an unknown key is not called so."""
    folder = copy_demo(tmp_path / "w")
    for name in ("known", "unknown"):
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / name)], check=True)
    public = (tmp_path / "known.pub").read_text()
    (tmp_path / "signers").write_text(f"ito@example.invalid {public}")
    run_git(folder, "config", "gpg.format", "ssh")
    run_git(folder, "config", "gpg.ssh.allowedSignersFile", str(tmp_path / "signers"))
    record = folder / RIM
    for number, name in enumerate(("known", "unknown")):
        entry = f"  - {{gate: tooling, on: 2026-11-30, by: ito, say: hold, why: wait {number}}}\n"
        text = record.read_text("utf-8")
        place = text.index("decisions:\n") + len("decisions:\n")
        record.write_text(text[:place] + entry + text[place:], "utf-8")
        run_git(folder, "-c", f"user.signingkey={tmp_path / name}", "commit", "-qam", name, "-S")
    checked = check_workspace(folder)
    story = read_story(folder, checked, signatures=True, remember=False)
    newest = [f for f in story.parts["TW-101"].facts if f.section == "decisions"][:2]
    letters = [story.signatures[f.recorded.hash] for f in newest if f.recorded is not None]
    assert letters[1] == "G" and letters[0] in ("U", "B", "N", "E")
    assert Counter(story.signatures.values())["N"] > 20  # the others are not signed
    assert read_story(folder, checked, remember=False).signatures == {}  # and nobody is asked without need
