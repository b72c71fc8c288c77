"""The story of every record: who recorded each fact, and when, beside who is said to have done it on which day."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline.gates.standing import GATE_EVIDENCE
from pipeline.history.commits import Commit
from pipeline.history.conditions import Condition
from pipeline.history.contradictions import (
    Claim,
    Contradiction,
    ContradictionKind,
    check_added,
    check_claims,
    check_evidence,
)
from pipeline.history.recorded import FactHistory, History, RecordHistory, read_record_history
from pipeline.history.repository import Opened, Repository, Signature, open_repository, read_signatures
from pipeline.model.added import find_added
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Decision, Part
from pipeline.model.words import Say
from pipeline.portfolio.check import Checked
from pipeline.portfolio.recorded_facts import RecordedFact, find_facts
from pipeline.reading.past import parse_plain
from pipeline.reading.source import is_link_inside
from pipeline.reading.workspace import build_part_path

CACHE = ".pipeline/history.sqlite"
VERSION = "story 1"
"""To be changed whenever the facts of a record would be read differently."""

_SIGNED = ("decisions", "waivers")
_SECTION_GATES = {
    "measurements": "measure", "prototypes": "prototype", "fit_checks": "fit check", "quotes": "quote",
    "first_articles": "tooling", "tests": "tooling",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class PartStory:
    """What git knows of one record. facts : its dated facts. record : its whole history (None: in no commit yet).
    doubts : contradictions of the record that belong to no dated fact, such as evidence that was rewritten."""

    number: str
    path: str
    facts: tuple[RecordedFact, ...] = ()
    record: RecordHistory | None = None
    doubts: tuple[Contradiction, ...] = ()

    def find_fact(self, key: str) -> RecordedFact | None:
        """Return the fact of a key, e.g. `fit_checks.F2`; None where it is no dated fact."""
        return next((fact for fact in self.facts if fact.key == key), None)

    def find_commit(self, key: str) -> Commit | None:
        """Return the commit that gave a value its present form (`features.length`, `demand.price`); None where none
        did."""
        dated = self.find_fact(key)
        if dated is not None:
            return dated.recorded
        facts: Mapping[str, FactHistory] = {} if self.record is None else self.record.facts
        found = [f for k, f in facts.items() if (k == key or k.startswith((key + ".", key + "["))) and not f.is_removed]
        return max((f.last_changed for f in found), key=lambda commit: commit.committed_at, default=None)


@dataclass(frozen=True)
class Story:
    """What git knows of a workspace.

    repository : None where there is none that can be read: `conditions` say why. parts : by number. strangers :
    addresses that committed and belong to nobody, with the facts that they recorded. absent : people in whose name
    something was decided and who never committed, with how often. people : address -> person. signatures : commit ->
    git's letter, where they were asked for.
    """

    repository: Repository | None
    conditions: tuple[Condition, ...]
    history: History | None = None
    parts: Mapping[str, PartStory] = field(default_factory=dict)
    strangers: Mapping[str, tuple[RecordedFact, ...]] = field(default_factory=dict)
    absent: Mapping[str, tuple[RecordedFact, ...]] = field(default_factory=dict)
    people: Mapping[str, str] = field(default_factory=dict)
    signatures: Mapping[str, Signature] = field(default_factory=dict)

    def name_author(self, commit: Commit) -> str:
        """Return the person of a commit, or the name that it gives."""
        return self.people.get(commit.email.casefold(), commit.author)


def read_story(
    root: Path, checked: Checked, opened: Opened | None = None, *, signatures: bool = False, remember: bool = True
) -> Story:
    """Read the history of a workspace that was checked. Never raises for what a repository holds.

    signatures : let git verify the signatures of the commits that recorded something; this starts the machine's own
    checker. remember : keep what was read in .pipeline/, so that only new commits are read the next time.
    """
    opened = opened or open_repository(root)
    workspace = checked.workspace
    if opened.repository is None or workspace is None:
        return Story(opened.repository, opened.conditions)
    history = read_record_history(
        opened.repository,
        parse=parse_plain,
        cache=root / CACHE if remember and not is_link_inside(root, root / CACHE) else None,
        version=VERSION,
        now=_find_now(workspace.catalogues),
    )
    people = match_people(history, workspace.catalogues)
    parts = {number: _tell_part(checked, history, people, number) for number in workspace.parts}
    strangers, absent = _gather(parts.values())
    found = _read_signed(opened.repository, parts.values()) if signatures else {}
    conditions = (*opened.conditions, *history.conditions)
    return Story(opened.repository, conditions, history, parts, strangers, absent, people, found)


def _find_now(catalogues: Catalogues) -> dt.datetime:
    """The end of the day that the shop speaks of: a commit after it has a clock that runs ahead."""
    day = catalogues.shop.as_of or dt.date.today()
    return dt.datetime.combine(day, dt.time(23, 59, 59), dt.UTC)


def match_people(history: History, catalogues: Catalogues) -> dict[str, str]:
    """Return address (folded) -> person. Somebody without an address in shared/people.yaml is found by the name that
    a commit gives, where only one person has it."""
    people = catalogues.people.people
    known = {email.casefold(): key for key, person in people.items() for email in person.emails}
    names = Counter(person.name.casefold() for person in people.values())
    nameless = {p.name.casefold(): k for k, p in people.items() if not p.emails and names[p.name.casefold()] == 1}
    for email, author in history.authors.items():
        key = nameless.get(author.name.casefold())
        if key is not None:
            known.setdefault(email.casefold(), key)
    return known


def _tell_part(checked: Checked, history: History, people: Mapping[str, str], number: str) -> PartStory:
    assert checked.workspace is not None
    path = build_part_path(number)
    part, tree = checked.workspace.parts[number], checked.reading.trees[path]
    record = history.records.get(path)
    if record is not None and record.is_deleted:
        record = None
    facts = find_facts(part, tree.value, record)
    if record is None:
        return PartStory(number, path, facts)
    alone = replace(history, records={path: record})
    found = _check_facts(alone, path, part, facts, people, checked.workspace.catalogues)
    decided = {str(d.gate): d for d in part.decisions if d.say is Say.GO and d.gate is not None}
    told = [_find_rewritten(fact, path, decided) for fact in facts]
    doubts = [
        tuple(c for c in found if fact.fact is not None and c.fact == fact.fact.key) + more
        for fact, more in zip(facts, told, strict=True)
    ]
    facts = tuple(replace(fact, doubts=more) for fact, more in zip(facts, doubts, strict=True))
    files = check_evidence(history.files, _find_relied(checked, number))
    added = check_added(record, dict(find_added(part)))
    return PartStory(number, path, facts, record, (*dict.fromkeys(files), *added))


def _check_facts(
    history: History,
    path: str,
    part: Part,
    facts: Iterable[RecordedFact],
    people: Mapping[str, str],
    catalogues: Catalogues,
) -> tuple[Contradiction, ...]:
    """Hold the facts against the history; of a fact that nobody signs, only its days and its author are of interest."""
    claims, signed = [], set()
    for fact in facts:
        if fact.fact is None:
            continue
        is_signed = fact.section in _SIGNED
        if is_signed:
            signed.add(fact.fact.key)
        allowed = _find_allowed(fact, part, catalogues)
        claims.append(Claim(path, fact.fact.key, fact.by if is_signed else None, fact.on, allowed))
    found = check_claims(history, claims, people, catalogues.shop.late_record_days)
    return tuple(c for c in found if c.kind is not ContradictionKind.CHANGED_LATER or c.fact in signed)


def _find_allowed(fact: RecordedFact, part: Part, catalogues: Catalogues) -> frozenset[str] | None:
    """Return who may record a decision: those whose role it is; None where anybody may."""
    if fact.section != "decisions":
        return None
    gates, gate = catalogues.gates, part.decisions[int(fact.entry)].gate
    policy = gates.release if gate is None else gates.gates[gate]
    people = catalogues.people.people
    return frozenset(key for key, person in people.items() if set(person.roles) & set(policy.decided_by))


def _find_rewritten(fact: RecordedFact, path: str, decided: Mapping[str, Decision]) -> tuple[Contradiction, ...]:
    """Evidence whose entry was changed after the gate that it serves was decided on it."""
    decision = decided.get(_SECTION_GATES.get(fact.section, ""))
    if fact.fact is None or decision is None or fact.section not in _SECTION_GATES:
        return ()
    first, last = fact.fact.first.committed_at.date(), fact.fact.last_changed
    changed = last.committed_at.date()
    if last == fact.fact.first or not first <= decision.on < changed:
        return ()
    days = (changed - decision.on).days
    words = f"{fact.key} was changed on {changed}, {days} days after the decision of {decision.on} that rests on it"
    return (Contradiction(ContradictionKind.EVIDENCE_REWRITTEN, path, fact.key, words, last, days),)


def _find_relied(checked: Checked, number: str) -> Iterator[tuple[str, str, dt.date]]:
    """Yield record, evidence file and day of every decision that rests on the file."""
    nodes, path = checked.lineage.parts[number].nodes, build_part_path(number)
    for standing in checked.standings[number].gates.values():
        decision = standing.decision
        if decision is None or decision.say is not Say.GO:
            continue
        counted = {node for requirement in standing.requirements for node in requirement.answer.evidence}
        for node_id, node in nodes.items():
            is_of_gate = node_id in counted or node.section in GATE_EVIDENCE[standing.gate]
            if is_of_gate and node.on is not None and node.on <= decision.on:
                yield from ((path, f"projects/{number}/{name}", decision.on) for name in node.files)


def _gather(
    parts: Iterable[PartStory],
) -> tuple[dict[str, tuple[RecordedFact, ...]], dict[str, tuple[RecordedFact, ...]]]:
    """Return what strangers recorded, by address, and what was decided in the name of people who never committed."""
    strangers: dict[str, list[RecordedFact]] = {}
    absent: dict[str, list[RecordedFact]] = {}
    for fact in (fact for part in parts for fact in part.facts):
        for doubt in fact.doubts:
            if doubt.kind is ContradictionKind.AUTHOR_UNKNOWN and doubt.commit is not None:
                strangers.setdefault(doubt.commit.email, []).append(fact)
            elif doubt.kind is ContradictionKind.NEVER_COMMITTED and fact.by is not None:
                absent.setdefault(fact.by, []).append(fact)
    return _freeze(strangers), _freeze(absent)


def _freeze(found: Mapping[str, list[RecordedFact]]) -> dict[str, tuple[RecordedFact, ...]]:
    return {key: tuple(facts) for key, facts in sorted(found.items())}


def _read_signed(repository: Repository, parts: Iterable[PartStory]) -> dict[str, Signature]:
    commits = {commit.hash for part in parts for fact in part.facts if (commit := fact.recorded) is not None}
    return read_signatures(repository, tuple(sorted(commits)))
