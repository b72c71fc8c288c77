"""The dates derived from the raw log equal those of a slow twin that checks out every commit.

The twin knows nothing of the log, of blobs or of pieces: it checks out each commit with GitPython, parses each file whole,
and works out every fact from the facts of the parents. Which file descends from which it is told by the generator of the
history, where the code under test has to find renames by itself.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import git
import pytest
import yaml

from pipeline.history.facts import collect_facts
from pipeline.history.recorded import read_record_history
from pipeline.history.replay import PlannedCommit, write_history
from pipeline.history.repository import open_repository
from pipeline.reading.past import parse_plain

START = datetime(2024, 3, 1, 8, tzinfo=UTC)
AUTHORS = (("Mara", "mara"), ("Ito Ångström", "ito"), ("名前", "namae"), ('Q "odd" <x>', "q"))


Parse = Callable[[bytes], Mapping[str, Any] | None]


def parse(content: bytes) -> dict[str, Any] | None:
    try:
        tree = yaml.load(content, yaml.CSafeLoader)
    except (yaml.YAMLError, UnicodeDecodeError, ValueError):
        return None
    return tree if isinstance(tree, dict) else None


@dataclass
class Branch:
    """The generator's truth of one branch: trees by identity of the record, and where each is (None: deleted)."""

    trees: dict[int, dict[str, Any]] = field(default_factory=dict)
    places: dict[int, str | None] = field(default_factory=dict)
    contents: dict[int, bytes] = field(default_factory=dict)
    evidence: dict[int, bytes] = field(default_factory=dict)

    def copy(self) -> Branch:
        trees = {name: yaml.safe_load(yaml.safe_dump(tree)) for name, tree in self.trees.items()}
        return Branch(trees, dict(self.places), dict(self.contents), dict(self.evidence))

    def tell_places(self) -> dict[int, str | None]:
        """Where every record is, and (under its negative number) the evidence beside it."""
        return {**self.places, **{-n: find_evidence(place) for n, place in self.places.items() if n in self.evidence}}


def find_evidence(place: str | None) -> str | None:
    return None if place is None else place.replace("part.yaml", "evidence/o1.csv")


@dataclass
class Story:
    plan: list[PlannedCommit] = field(default_factory=list)
    truths: list[dict[int, str | None]] = field(default_factory=list)


def render(tree: dict[str, Any], rng: random.Random) -> bytes:
    """The same facts in the many hands that type them."""
    style = rng.randrange(6)
    text = yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, default_flow_style=None if style < 3 else False)
    if style == 1:
        text = "# checked by hand\n" + text.replace("\n", "\n# note: later\n", 1)
    if style == 2:
        text = yaml.safe_dump(tree, sort_keys=True, width=30, indent=4)
    if style == 4:
        text = text.replace("\n", "\r\n")
    if style == 5:
        return b"\xef\xbb\xbf" + text.encode()
    return text.encode()


def new_tree(name: int, rng: random.Random) -> dict[str, Any]:
    return {
        "part": f"TW-{name}",
        "name": f"Rim {name} – größe",
        "engineer": rng.choice(["mara", "ito"]),
        "features": {f"f{n}": {"nominal": rng.randrange(1000) / 10, "unit": "mm"} for n in range(6)},
        "revisions": {"A": {"on": "2024-03-01", "by": "mara", "why": f"first of {name}"}},
        "tools": {"die": {"state": "quoted", "price": f"{name} USD"}},
        "decisions": [{"gate": "measure", "say": "go", "note": f"{name}.0"}],
    }


def edit(tree: dict[str, Any], step: int, rng: random.Random) -> None:
    """One change that a person makes to a record."""
    kind = rng.randrange(8)
    if kind == 0:
        tree["revisions"][f"R{step}"] = {"on": "2024-05-01", "by": "ito", "changed": [f"f{step % 6}"]}
    elif kind == 1:
        tree["features"][f"f{rng.randrange(6)}"] = {"nominal": rng.randrange(1000) / 10, "unit": "mm"}
    elif kind == 2:
        tree["tools"]["die"]["state"] = rng.choice(["quoted", "ordered", "cut"])
    elif kind == 3:
        tree["decisions"].append({"gate": "model", "say": "go", "note": f"{step}"})
    elif kind == 4:
        tree["decisions"].insert(0, {"gate": "model", "say": "hold", "note": f"{step}: first\nsecond"})
    elif kind == 5:
        tree["waivers"] = [] if tree.get("waivers") else [{"of": "coverage", "note": f"{step}"}]
    elif kind == 6 and len(tree["revisions"]) > 1:
        tree["revisions"].popitem()
    else:
        tree["engineer"] = rng.choice(["mara", "ito", "owner"])


def tell_story(seed: int, steps: int) -> Story:
    """Branches, merges of every kind, renames, deletions, returns, broken versions and clocks that go backwards."""
    rng = random.Random(seed)
    story, branches = Story(), {"main": Branch()}
    moved: set[int] = set()
    renamed: set[int] = set()
    counter = 0
    for step in range(steps):
        name = rng.choice(sorted(branches)) if step else "main"
        branch = branches[name]
        alive = [record for record, place in branch.places.items() if place]
        gone = [record for record, place in branch.places.items() if not place and record not in renamed]
        files: dict[str, bytes | None] = {}
        merges: tuple[str, ...] = ()
        kind = rng.random()
        if len(branches) > 1 and name == "main" and kind < 0.25:
            other = rng.choice([other for other in sorted(branches) if other != "main"])
            files, merges = merge(branch, branches.pop(other), step, rng), (other,)
        elif len(alive) < 2 or kind < 0.32:
            counter += 1
            record = counter
            branch.places[record] = (
                f"projects/Teil {record} ü/part.yaml" if record % 3 else f"projects/TW-{record}/part.yaml"
            )
            branch.trees[record] = new_tree(record, rng)
            branch.contents[record] = render(branch.trees[record], rng)
            branch.evidence[record] = b"%d,%d\r\n" % (record, step)
            files = {branch.places[record]: branch.contents[record]}
            files[find_evidence(branch.places[record])] = branch.evidence[record]
        elif kind < 0.40 and (free := [record for record in alive if record not in moved]):
            record = rng.choice(free)
            moved.add(record)
            renamed.add(record)
            old, new = branch.places[record], f"projects/moved-{record}/part.yaml"
            if rng.random() < 0.5:
                branch.trees[record]["part"] = f"MV-{record}"
            branch.places[record] = new
            branch.contents[record] = render(branch.trees[record], rng)
            files = {old: None, new: branch.contents[record]}
            files |= {find_evidence(old): None, find_evidence(new): branch.evidence[record]}
        elif kind < 0.45 and len(alive) > 2:
            record = rng.choice(alive)
            files = {branch.places[record]: None, find_evidence(branch.places[record]): None}
            branch.places[record] = None
            moved.add(record)
        elif kind < 0.50 and gone:
            record = rng.choice(gone)
            branch.places[record] = back = f"projects/TW-{record}/part.yaml" if record % 3 == 0 else None
            if back is None or (step and not any(back in planned.files for planned in story.plan)):
                branch.places[record] = None
                continue
            branch.contents[record] = render(branch.trees[record], rng)
            files = {back: branch.contents[record], find_evidence(back): branch.evidence[record]}
        elif kind < 0.56:
            record = rng.choice(alive)
            bad = (
                rng.choice([b"part: [1,\n", b"name: \xff\xfe latin\n", b"a: b: c\n", b"just words"])
                + str(step).encode()
            )
            branch.contents[record] = bad
            files = {branch.places[record]: bad}
        elif kind < 0.66:
            record = rng.choice(alive)
            branch.evidence[record] = b"%d,%d,amended \xb5\n" % (record, step)
            files = {find_evidence(branch.places[record]): branch.evidence[record]}
        else:
            record = rng.choice(alive)
            edit(branch.trees[record], step, rng)
            branch.contents[record] = render(branch.trees[record], rng)
            files = {branch.places[record]: branch.contents[record]}
        at = START + timedelta(hours=6 * step) - (timedelta(days=3) if rng.random() < 0.1 else timedelta())
        story.plan.append(PlannedCommit(at, *rng.choice(AUTHORS), f"step {step}", files, name, merges))
        story.truths.append(branch.tell_places())
        if len(branches) < 4 and step > 3 and name == "main" and rng.random() < 0.3:
            fork = f"b{step}"
            branches[fork] = branches["main"].copy()
            first = next(record for record, place in branches[fork].places.items() if place)
            place = branches[fork].places[first]
            edit(branches[fork].trees[first], step * 1000, rng)
            branches[fork].contents[first] = render(branches[fork].trees[first], rng)
            files = {place: branches[fork].contents[first]}
            story.plan.append(PlannedCommit(at + timedelta(hours=1), "Fork", "fork", f"fork {step}", files, fork))
            story.truths.append(branches[fork].tell_places())
    return story


def merge(ours: Branch, theirs: Branch, step: int, rng: random.Random) -> dict[str, bytes | None]:
    """Take ours, theirs, or (an evil merge) something of neither, record by record."""
    files: dict[str, bytes | None] = {}
    for record in sorted(theirs.places):
        place, mine = theirs.places[record], ours.places.get(record)
        if record not in ours.places:
            ours.places[record], ours.trees[record] = place, theirs.trees[record]
            ours.contents[record], ours.evidence[record] = theirs.contents[record], theirs.evidence[record]
            if place:
                files |= {place: theirs.contents[record], find_evidence(place): theirs.evidence[record]}
        elif place and mine and rng.random() < 0.7:
            was_moved = place.startswith("projects/moved")
            target = place if was_moved else mine
            if target != mine:
                files |= {mine: None, find_evidence(mine): None}
            if target != mine or theirs.evidence[record] != ours.evidence[record]:
                files[find_evidence(target)] = ours.evidence[record] = theirs.evidence[record]
            ours.places[record] = target
            ours.trees[record] = theirs.trees[record]
            content = theirs.contents[record]
            if rng.random() < 0.3:
                ours.trees[record]["engineer"] = f"merged {step}"
                content = render(ours.trees[record], rng)
            if content != ours.contents[record] or target != mine:
                files[target] = content
            ours.contents[record] = content
    return files


Mark = tuple[str, str, str, bool, str]


class Twin:
    """first commit, last change, return, is removed, value: for every fact of every record of every commit; evidence
    has one fact, its contents."""

    def __init__(self, folder: Path, story: Story, parse: Parse) -> None:
        self.repo = git.Repo(folder)
        ordered = list(self.repo.iter_commits("main", topo_order=True, reverse=True))
        by_subject = {planned.message: truth for planned, truth in zip(story.plan, story.truths, strict=True)}
        self.marks: dict[str, dict[int, dict[str, Mark]]] = {}
        self.facts: dict[str, dict[int, dict[str, str]]] = {}
        self.bytes: dict[str, dict[int, bytes]] = {}
        self.changes: dict[int, set[str]] = {}
        self.truths: dict[str, dict[int, str | None]] = {}
        self.when = {commit.hexsha: (commit.committed_date, commit.hexsha) for commit in ordered}
        for commit in ordered:
            self.repo.git.checkout("--quiet", "--force", commit.hexsha)
            truth = by_subject[commit.summary]
            parents = [parent.hexsha for parent in commit.parents]
            self.facts[commit.hexsha] = {}
            self.bytes[commit.hexsha] = {}
            self.marks[commit.hexsha] = {}
            self.truths[commit.hexsha] = truth
            for record, place in truth.items():
                known = [parent for parent in parents if record in self.facts[parent]]
                facts: dict[str, str] = {}
                if place:
                    content = (folder / place).read_bytes()
                    self.bytes[commit.hexsha][record] = content
                    if record < 0:
                        facts = {"content": self.repo.git.hash_object("--no-filters", place)}
                    else:
                        facts = self.read(content, record, known, parse)
                self.facts[commit.hexsha][record] = facts
                lines = [self.advance(commit.hexsha, parent, record, facts, len(known) == 1) for parent in known]
                lines = lines or [{key: (commit.hexsha, commit.hexsha, "", False, text) for key, text in facts.items()}]
                self.marks[commit.hexsha][record] = self.join(commit.hexsha, lines)
                here = self.bytes[commit.hexsha].get(record)
                is_taken = any(self.bytes[parent].get(record) == here for parent in known) and len(parents) > 1
                before = [(self.truths[parent][record], self.bytes[parent].get(record)) for parent in known]
                if not is_taken and (place, here) not in before:  # a merge that took one side over changed nothing
                    self.changes.setdefault(record, set()).add(commit.hexsha)

    def read(self, content: bytes, record: int, known: list[str], parse: Parse) -> dict[str, str]:
        """The facts of a version; one that cannot be read leaves them as its parent had them."""
        tree = parse(content)
        same = [parent for parent in known if self.bytes[parent].get(record) == content]
        inherited = self.facts[(same or known)[0]][record] if known else {}
        return inherited if tree is None else name_items(collect_facts(tree))

    def advance(self, commit: str, parent: str, record: int, facts: dict[str, str], is_only: bool) -> dict[str, Mark]:
        before, marks = self.facts[parent][record], dict(self.marks[parent][record])
        for base in ("decisions{", "waivers{") if is_only else ():
            olds, news = ([key for key in side if key.startswith(base)] for side in (before, facts))
            for old, new in zip(olds, news, strict=False):
                if old not in news and new not in olds:
                    before = {key: text for key, text in before.items() if key != old} | {new: before[old]}
                    marks[new] = marks.pop(old)
        for key, text in facts.items():
            first, last, returned, _, _ = marks.get(key, (commit, commit, "", False, ""))
            if key not in before and key in marks:
                last = returned = commit
            elif key in before and before[key] != text:
                last = commit
            marks[key] = (first, last, returned, False, text)
        for key in before:
            if key not in facts:
                marks[key] = (marks[key][0], commit, marks[key][2], True, before[key])
        return marks

    def join(self, commit: str, lines: list[dict[str, Mark]]) -> dict[str, Mark]:
        joined = {}
        for key in {key for line in lines for key in line}:
            known = [line[key] for line in lines if key in line]
            older = [mark for mark in known if mark[1] != commit] or known
            last = min(older, key=lambda mark: self.when[mark[1]])
            firsts = [mark[0] for mark in known if mark[0] != commit] or [commit]
            joined[key] = (min(firsts, key=lambda digest: self.when[digest]), *last[1:])
        return joined


def name_items(facts: dict[str, str]) -> dict[str, str]:
    """List items by their text instead of their place: every text in the stories is unique."""
    return {f"{key.partition('[')[0]}{{{text}}}" if "[" in key else key: text for key, text in facts.items()}


def compare(folder: Path, story: Story, parse: Parse = parse) -> int:
    opened = open_repository(folder)
    assert opened.repository is not None
    history = read_record_history(opened.repository, parse=parse)
    twin = Twin(folder, story, parse)
    head = history.head
    pairs = zip(story.plan, story.truths, strict=True)
    places = [truth for planned, truth in pairs if planned.branch == "main"][-1]
    compared = 0
    for record, place in places.items():
        if place is None:
            continue
        if record < 0:
            file, mark = history.files[place], twin.marks[head][record]["content"]
            assert (file.first.hash, file.last_changed.hash, file.blob) == (mark[0], mark[1], mark[4]), place
            assert {change.commit.hash for change in file.changes} == twin.changes[record], place
            compared += 1
            continue
        found = history.records[place]
        expected = twin.marks[head][record]
        derived = {f"{key.partition('[')[0]}{{{f.value}}}" if "[" in key else key: f for key, f in found.facts.items()}
        assert set(derived) == set(expected), (place, set(derived) ^ set(expected))
        for key, fact in derived.items():
            back = fact.returned.hash if fact.returned else ""
            mark = (fact.first.hash, fact.last_changed.hash, back, fact.is_removed, fact.value)
            assert mark == expected[key], (place, key)
            compared += 1
    alive = {path for path, record in history.records.items() if not record.is_deleted}
    alive |= {path for path, file in history.files.items() if file.blob is not None}
    assert alive == {place for place in places.values() if place}
    return compared


@pytest.mark.parametrize("seed", range(6))
def test_derived_dates_equal_those_of_every_checkout(tmp_path: Path, seed: int) -> None:
    story = tell_story(seed, 45)
    write_history(tmp_path / "w", story.plan)
    assert compare(tmp_path / "w", story) > 30


@pytest.mark.parametrize("seed", [20, 21])
def test_the_same_with_the_parser_of_records(tmp_path: Path, seed: int) -> None:
    """The strict parser that the story of a workspace is read with, whole versions against pieces of them."""
    story = tell_story(seed, 45)
    write_history(tmp_path / "w", story.plan)
    assert compare(tmp_path / "w", story, parse_plain) > 30


@pytest.mark.parametrize("seed", [30, 31, 32])
def test_what_is_remembered_never_changes_the_answer(tmp_path: Path, seed: int) -> None:
    """Commit after commit of the main branch, always from what was remembered of the one before, equals a fresh
    reading. A merge of a branch that forked off before the remembered head is read whole again, and is right."""
    story = tell_story(seed, 60)
    write_history(tmp_path / "w", story.plan)
    opened = open_repository(tmp_path / "w")
    assert opened.repository is not None
    line = git.Repo(tmp_path / "w").git.rev_list("--first-parent", "--reverse", "main").split()
    few = whole = 0
    for digest in line:
        repository = replace(opened.repository, head=digest)
        later = read_record_history(repository, parse=parse, cache=tmp_path / "history.sqlite")
        fresh = read_record_history(repository, parse=parse)
        assert dict(later.records) == dict(fresh.records) and dict(later.files) == dict(fresh.files), digest
        assert later.authors == fresh.authors
        few += later.read_commits == 1
        whole += later.read_commits == fresh.read_commits > 1
    merges = sum(bool(planned.merges) for planned in story.plan)
    assert few > 20 and 1 <= whole <= merges and few + whole >= len(line) - merges


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 112))
def test_derived_dates_equal_those_of_every_checkout_at_length(tmp_path: Path, seed: int) -> None:
    story = tell_story(seed, 100)
    write_history(tmp_path / "w", story.plan)
    assert compare(tmp_path / "w", story) > 30


def test_the_stories_hold_what_they_are_for() -> None:
    stories = [tell_story(seed, 45) for seed in range(6)]
    commits = [planned for story in stories for planned in story.plan]
    assert sum(bool(planned.merges) for planned in commits) > 8
    assert sum(None in planned.files.values() and len(planned.files) == 2 for planned in commits) > 5
    texts = [text or b"" for planned in commits for text in planned.files.values()]
    for sign in (b"latin", b"amended \xb5", b"\r\n", b"\xef\xbb\xbf", b"# checked by hand"):
        assert any(sign in text for text in texts), sign
