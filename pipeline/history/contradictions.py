"""Where a record says one thing and git another. A date that git contradicts is reported, not believed.

These are values; whoever knows the records and the policy turns them into findings. Git's own dates come from the
clocks of those who commit and can be forged too: what is found here is a reason to ask, never a proof.
Common practice (no source) for the limits; they are arguments.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from pipeline.history.commits import Commit
from pipeline.history.recorded import FactHistory, FileHistory, History, RecordHistory
from pipeline.history.repository import Repository, is_ancestor


class ContradictionKind(StrEnum):
    """What does not fit."""

    RECORDED_LATE = "recorded-late"
    STATED_AHEAD = "stated-ahead"
    CHANGED_LATER = "changed-later"
    AUTHOR_UNKNOWN = "author-unknown"
    AUTHOR_NOT_ALLOWED = "author-not-allowed"
    NEVER_COMMITTED = "never-committed"
    NOT_RECORDED = "not-recorded"
    EVIDENCE_REWRITTEN = "evidence-rewritten"
    HISTORY_REWRITTEN = "history-rewritten"
    STOOD_EARLIER = "stood-earlier"


@dataclass(frozen=True, slots=True)
class Claim:
    """What a record says of one of its facts: `record` is its path, `fact` the key (`decisions[0]`), `by` the person
    who is said to have done it and `on` the day. `allowed`: the people who may record it (None: anybody who is
    known)."""

    record: str
    fact: str
    by: str | None
    on: date | None
    allowed: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Contradiction:
    """One thing that does not fit. `commit` is the one that shows it (None where there is none), `days` how far apart
    (0 where that means nothing), `words` the sentence for a person."""

    kind: ContradictionKind
    record: str
    fact: str
    words: str
    commit: Commit | None = None
    days: int = 0


def check_claims(
    history: History,
    claims: Iterable[Claim],
    people: Mapping[str, str],
    late_after: int = 14,
    clock_slack: int = 1,
) -> tuple[Contradiction, ...]:
    """Hold claims against the history. `people` maps an e-mail address (any case) to a person's id. A fact recorded
    more than `late_after` days after the day it states is late; a day more than `clock_slack` days after its commit
    lies ahead (time zones and a late evening make one day). Facts of a shallow clone's oldest commit are not called
    late: they may be older. Days are compared in the zone that the commit gives. Raises ValueError for negative
    limits."""
    if late_after < 0 or clock_slack < 0:
        raise ValueError(f"late_after {late_after} and clock_slack {clock_slack} are days: 0 or more")
    known = {email.casefold(): person for email, person in people.items()}
    committers = {known[email.casefold()] for email in history.authors if email.casefold() in known}
    found: list[Contradiction] = []
    for claim in claims:
        record = history.records.get(claim.record)
        fact = record.facts.get(claim.fact) if record is not None else None
        if fact is None or fact.is_removed:
            words = f"{claim.fact} is in the record but in no commit yet"
            found.append(Contradiction(ContradictionKind.NOT_RECORDED, claim.record, claim.fact, words))
            continue
        found += _check_days(claim, fact, late_after, clock_slack)
        found += _check_people(claim, fact, known, committers)
    return tuple(found)


def _check_days(claim: Claim, fact: FactHistory, late_after: int, clock_slack: int) -> Iterator[Contradiction]:
    if claim.on is None:
        return
    recorded = fact.first.committed_at.date()
    apart = (recorded - claim.on).days
    if apart > late_after and not fact.is_floor:
        words = f"{claim.fact} says {claim.on}, but was first recorded on {recorded}, {apart} days later"
        yield _build(ContradictionKind.RECORDED_LATE, claim, fact.first, words, apart)
    changed = fact.last_changed.committed_at.date()
    ahead = (claim.on - changed).days
    if ahead > clock_slack:
        words = f"{claim.fact} says {claim.on}, {ahead} days after the commit that says so ({changed})"
        yield _build(ContradictionKind.STATED_AHEAD, claim, fact.last_changed, words, ahead)
    since = (changed - claim.on).days
    if fact.last_changed != fact.first and since > late_after:
        words = f"{claim.fact} of {claim.on} was changed on {changed}, {since} days later"
        yield _build(ContradictionKind.CHANGED_LATER, claim, fact.last_changed, words, since)


def _check_people(
    claim: Claim, fact: FactHistory, known: Mapping[str, str], committers: set[str]
) -> Iterator[Contradiction]:
    commit = fact.last_changed
    author = known.get(commit.email.casefold())
    if author is None:
        words = f"{claim.fact} was recorded by {commit.author} <{commit.email}>, who is not among the people"
        yield _build(ContradictionKind.AUTHOR_UNKNOWN, claim, commit, words)
    elif claim.allowed is not None and author not in claim.allowed:
        allowed = ", ".join(sorted(claim.allowed)) or "nobody"
        words = f"{claim.fact} was recorded by {author}, who may not (allowed: {allowed})"
        yield _build(ContradictionKind.AUTHOR_NOT_ALLOWED, claim, commit, words)
    if claim.by is not None and claim.by not in committers:
        words = f"{claim.fact} is said to be by {claim.by}, who never committed anything here"
        yield _build(ContradictionKind.NEVER_COMMITTED, claim, commit, words)


def _build(kind: ContradictionKind, claim: Claim, commit: Commit, words: str, days: int = 0) -> Contradiction:
    return Contradiction(kind, claim.record, claim.fact, words, commit, days)


def check_evidence(
    files: Mapping[str, FileHistory], relied: Iterable[tuple[str, str, date]]
) -> tuple[Contradiction, ...]:
    """Evidence that was rewritten, or deleted, after a decision relied on it. `relied`: record path, evidence path,
    day of the decision. A change on the decision's own day does not count. Evidence that git does not know is not
    reported here."""
    found = []
    for record, path, day in relied:
        evidence = files.get(path)
        for change in evidence.changes[1:] if evidence is not None else ():
            changed = change.commit.committed_at.date()
            if changed > day and change.old_blob != change.new_blob:
                apart = (changed - day).days
                words = (
                    f"{path} was {change.kind} on {changed}, {apart} days after the decision of {day} that rests on it"
                )
                kind = ContradictionKind.EVIDENCE_REWRITTEN
                found.append(Contradiction(kind, record, path, words, change.commit, apart))
    return tuple(found)


def check_added(record: RecordHistory, added: Mapping[str, date], clock_slack: int = 1) -> tuple[Contradiction, ...]:
    """Facts that say they were added on a day and stood in the record before it. `added`: key -> day. A day that lies
    within `clock_slack` days of the commit is right (time zones, a late evening). What git does not know is not
    reported here."""
    found = []
    for key, day in added.items():
        fact = record.facts.get(key)
        recorded = None if fact is None else fact.first.committed_at.date()
        apart = 0 if recorded is None else (day - recorded).days
        if fact is not None and apart > clock_slack:
            words = f"{key} says that it was added on {day}, but stood in the record on {recorded}, {apart} days before"
            kind = ContradictionKind.STOOD_EARLIER
            found.append(Contradiction(kind, record.path, key, words, fact.first, apart))
    return tuple(found)


def check_continuity(repository: Repository, remembered: str) -> tuple[Contradiction, ...]:
    """Whether the head still follows from a commit remembered from an earlier review; if not, the history was
    rewritten (or another branch is checked out)."""
    if is_ancestor(repository, remembered):
        return ()
    words = (
        f"the history does not contain commit {remembered[:12]} any more: it was rewritten, or this is another branch"
    )
    return (Contradiction(ContradictionKind.HISTORY_REWRITTEN, "", "", words),)
