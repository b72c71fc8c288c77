"""What git contradicts, as findings with a place in the record and a way out."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pipeline.findings.finding import Finding, Location, Pointer, Severity
from pipeline.findings.report import sort_findings
from pipeline.findings.rule import Rule
from pipeline.findings.rules import history as rules
from pipeline.history.conditions import Condition, ConditionKind
from pipeline.history.contradictions import Contradiction, ContradictionKind
from pipeline.history.repository import is_ancestor
from pipeline.model.review import Review
from pipeline.portfolio.check import Checked
from pipeline.portfolio.recorded_facts import RecordedFact
from pipeline.portfolio.story import PartStory, Story
from pipeline.reading.reviews import REVIEWS, read_reviews
from pipeline.reading.workspace import Reading

_RULES: dict[ContradictionKind, Rule] = {
    ContradictionKind.RECORDED_LATE: rules.LATE,
    ContradictionKind.STATED_AHEAD: rules.AHEAD,
    ContradictionKind.CHANGED_LATER: rules.CHANGED,
    ContradictionKind.AUTHOR_NOT_ALLOWED: rules.NOT_ALLOWED,
    ContradictionKind.EVIDENCE_REWRITTEN: rules.REWRITTEN,
    ContradictionKind.STOOD_EARLIER: rules.STOOD_EARLIER,
}
"""Rules of what is told one by one; strangers and people who never committed are told once each."""

_BAD_SIGNATURES = {
    "B": "signature does not fit it", "R": "signature is by a revoked key", "X": "signature has expired",
    "Y": "signature is by a key that has expired",
}  # fmt: skip
_LOUD = frozenset(
    {
        ConditionKind.NO_GIT,
        ConditionKind.GIT_TOO_OLD,
        ConditionKind.NOT_A_REPOSITORY,
        ConditionKind.OWNED_BY_ANOTHER,
        ConditionKind.NO_WORK_TREE,
        ConditionKind.NO_COMMITS,
        ConditionKind.CORRUPT_OBJECT,
        ConditionKind.OBJECT_NOT_HERE,
        ConditionKind.CLOCK_AHEAD,
        ConditionKind.GIT_FAILED,
    }
)


def check_story(root: Path, checked: Checked, story: Story, only: tuple[str, ...] = ()) -> tuple[Finding, ...]:
    """Return the findings of a history that was read, by place. only : part numbers to report on; all if empty."""
    reviews, findings = read_reviews(root)
    found = [*findings, *(_tell_condition(condition) for condition in story.conditions)]
    found += _check_reviews(story, reviews)
    for part in story.parts.values():
        if only and part.number not in only:
            continue
        found += _check_part(part, checked.reading, story)
    found += _tell_people(story, checked.reading)
    return sort_findings(f for f in found if not only or not f.record or f.record in only)


def _tell_condition(condition: Condition) -> Finding:
    """A condition stands at the record that it is about, else at the folder of records."""
    severity = Severity.WARNING if condition.kind in _LOUD else Severity.NOTE
    is_record = condition.subject.startswith("projects/") and condition.subject.endswith("part.yaml")
    number = condition.subject.split("/")[1] if is_record else ""
    place = Location(condition.subject if is_record else "projects")
    return rules.LIMITED.build_finding(place, condition.message, fix=condition.fix, record=number, severity=severity)


def _check_reviews(story: Story, reviews: tuple[Review, ...]) -> Iterator[Finding]:
    """The last review whose commit is known must still be part of the history (a shallow clone cannot tell)."""
    heads = [review for review in reviews if review.head is not None]
    if story.repository is None or not heads or story.repository.is_shallow:
        return
    last = heads[-1]
    if last.head is not None and not is_ancestor(story.repository, last.head):
        words = f"the review of {last.on} looked at commit {last.head[:12]}, which the history does not hold any more"
        yield rules.HISTORY_REWRITTEN.build_finding(Location(REVIEWS), words)


def _check_part(part: PartStory, reading: Reading, story: Story) -> Iterator[Finding]:
    is_known = story.history is not None
    for fact in part.facts:
        if is_known and (fact.fact is None or fact.is_edited):
            words = (
                f"{fact.key} is in no commit yet"
                if fact.fact is None
                else f"{fact.key} was edited since the last commit"
            )
            yield _build(rules.NOT_RECORDED, part, fact, reading, words)
        for doubt in fact.doubts:
            rule = _RULES.get(doubt.kind)
            if rule is not None:
                yield _build(rule, part, fact, reading, _word(doubt, fact))
        digest = "" if fact.recorded is None else fact.recorded.hash
        said = _BAD_SIGNATURES.get(story.signatures.get(digest, "N"))
        if said is not None:
            words = f"{fact.key} was recorded by commit {digest[:7]}, whose {said}"
            yield _build(rules.BAD_SIGNATURE, part, fact, reading, words)
    for doubt in part.doubts:
        pointer: Pointer = ()
        if doubt.kind is ContradictionKind.STOOD_EARLIER:
            pointer = (*doubt.fact.split(".", 1), "since")
        place = reading.locate(part.path, pointer) if pointer else Location(doubt.fact)
        yield _RULES[doubt.kind].build_finding(place, doubt.words, record=part.number, pointer=pointer)


def _word(doubt: Contradiction, fact: RecordedFact) -> str:
    """The sentence of a doubt, with the key as the record on disk spells it."""
    known = "" if fact.fact is None else fact.fact.key
    return doubt.words.replace(known, fact.key, 1) if known else doubt.words


def _build(rule: Rule, part: PartStory, fact: RecordedFact, reading: Reading, words: str) -> Finding:
    place = reading.locate(part.path, fact.pointer)
    return rule.build_finding(place, words, record=part.number, pointer=fact.pointer)


def _tell_people(story: Story, reading: Reading) -> Iterator[Finding]:
    """One finding for each stranger and each person who never committed, at the people's own file."""
    place = Location("shared/people.yaml")
    for email, facts in story.strangers.items():
        first = facts[0].recorded
        name = "" if first is None else first.author
        words = f"{name} <{email}> recorded {_count(facts)} and is not among the people"
        yield rules.STRANGER.build_finding(place, words)
    for person, facts in story.absent.items():
        at = reading.locate(place.path, ("people", person))
        words = f"{_count(facts, signed=True)} in the name of {person}, who never committed anything here"
        yield rules.NEVER_COMMITTED.build_finding(at, words, pointer=("people", person))


def _count(facts: tuple[RecordedFact, ...], signed: bool = False) -> str:
    kinds = ("decision or waiver", "decisions or waivers") if signed else ("fact", "facts")
    return f"{len(facts)} {kinds[0] if len(facts) == 1 else kinds[1]}"
