"""What git knows of a part, beside what its record says: who recorded each fact, when, and where the two disagree."""

from __future__ import annotations

from pipeline.history.commits import Commit as GitCommit
from pipeline.history.conditions import ConditionKind
from pipeline.history.contradictions import Contradiction, ContradictionKind
from pipeline.lineage.nodes import SECTION_LABELS
from pipeline.portfolio.outlook import find_story
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.recorded_facts import RecordedFact
from pipeline.portfolio.story import Story
from pipeline.views.addresses import Anchors
from pipeline.views.part_gates import word_decision
from pipeline.views.shapes_marks import Commit, Line, Run, build_line
from pipeline.views.shapes_part import HistoryLine
from pipeline.views.states import name_person, name_supplier
from pipeline.views.wording import word_count, word_day

SIGNATURES = {
    "G": "signed", "U": "signed, key not known to be theirs", "B": "bad signature", "X": "signed, signature expired",
    "Y": "signed, key expired", "R": "signed with a revoked key", "E": "signed, cannot be checked here",
}  # fmt: skip
_SPEAKING = frozenset(
    {ConditionKind.SHALLOW, ConditionKind.DETACHED_HEAD, ConditionKind.CORRUPT_OBJECT, ConditionKind.OBJECT_NOT_HERE,
     ConditionKind.CLOCK_AHEAD, ConditionKind.GIT_FAILED}
)  # fmt: skip


def build_history(file: PartFile, anchors: Anchors) -> tuple[HistoryLine, ...]:
    """Make one line for each dated fact of a record, the youngest first, with the commit that first recorded it."""
    story, told = find_story(file)
    if story is None or told is None or story.history is None:
        return ()
    facts = [fact for fact in told.facts if fact.on is not None]
    facts.sort(key=lambda fact: (str(fact.on), fact.order), reverse=True)
    return tuple(_build_line(file, anchors, story, fact) for fact in facts)


def _build_line(file: PartFile, anchors: Anchors, story: Story, fact: RecordedFact) -> HistoryLine:
    who = _name_doer(file, fact)
    return HistoryLine(word_day(fact.on), who, _word_fact(file, anchors, fact), build_fact_commit(file, story, fact))


def _name_doer(file: PartFile, fact: RecordedFact) -> str:
    """Return who is said to have done it: a person, the supplier of a quote or a sample, the toolmaker."""
    catalogues, key = file.workspace.catalogues, fact.by
    if fact.section == "quotes":
        key = file.part.quotes[fact.entry].from_
    elif fact.section == "tools":
        key = file.part.tools[fact.entry.partition(":")[0]].by
    return name_supplier(catalogues, key) if key in catalogues.suppliers.suppliers else name_person(catalogues, key)


def _word_fact(file: PartFile, anchors: Anchors, fact: RecordedFact) -> Line:
    if fact.section == "decisions":
        decision = file.part.decisions[int(fact.entry)]
        subject = "tooling money" if decision.gate is None else f"{decision.gate} gate"
        words = word_decision(file, decision)
        return build_line(f"{subject}: {words[:1].lower()}{words[1:]}")
    if fact.section == "waivers":
        waiver = file.part.waivers[int(fact.entry)]
        return build_line(f"{waiver.of} set aside: {waiver.why}")
    if fact.section == "changes":
        return build_line(f"change {fact.entry}: {file.part.changes[fact.entry].what}")
    name, _, step = fact.entry.partition(":")
    node = f"{fact.section}.{name}"
    label = f"{SECTION_LABELS.get(fact.section, fact.section)} {name}"
    link = Run(label, href=anchors.link(node)) if anchors.has(node) else Run(label)
    return build_line(link, f": {step}" if step else "")


def build_commit(story: Story, commit: GitCommit, people: PartFile, doubt: str = "") -> Commit:
    """Make what a page shows of a commit: short id, day, person (with the state of a signature), doubt."""
    author = name_person(people.workspace.catalogues, story.name_author(commit))
    signature = SIGNATURES.get(story.signatures.get(commit.hash, "N"), "")
    who = f"{author}, {signature}" if signature else author
    return Commit(commit.hash[:7], word_day(commit.committed_at.date()), who, doubt)


def build_fact_commit(file: PartFile, story: Story, fact: RecordedFact) -> Commit:
    """Make the commit of a fact, with what speaks against it; one that is in no commit says so."""
    doubts = [_word_doubt(file, story, doubt) for doubt in fact.doubts]
    if fact.fact is None:
        return Commit("–", "", "", "not committed yet")
    if fact.is_edited:
        doubts.append("edited since the last commit")
    if fact.fact.is_floor:
        doubts.append("or earlier: the clone is shallow")
    return build_commit(story, fact.fact.first, file, "; ".join(doubts))


def _word_doubt(file: PartFile, story: Story, doubt: Contradiction) -> str:
    days = word_count(doubt.days, "day")
    changed = "" if doubt.commit is None else word_day(doubt.commit.committed_at.date())
    by = "" if doubt.commit is None else name_person(file.workspace.catalogues, story.name_author(doubt.commit))
    return {
        ContradictionKind.RECORDED_LATE: f"recorded {days} later",
        ContradictionKind.STATED_AHEAD: f"dated {days} after its commit",
        ContradictionKind.CHANGED_LATER: f"changed on {changed}, {days} later, by {by}",
        ContradictionKind.AUTHOR_UNKNOWN: f"{by} is not among the people",
        ContradictionKind.AUTHOR_NOT_ALLOWED: f"recorded by {by}, whose role it is not",
        ContradictionKind.NEVER_COMMITTED: "the person named never committed here",
        ContradictionKind.EVIDENCE_REWRITTEN: f"rewritten on {changed}, {days} after the decision on it",
    }.get(doubt.kind, doubt.words)


def find_evidence_commit(file: PartFile, node_id: str) -> Commit | None:
    """Return the commit that recorded a piece of evidence; None where no history was read."""
    story, told = find_story(file)
    if story is None or told is None or story.history is None:
        return None
    fact = told.find_fact(node_id)
    if fact is None:
        return None
    commit = build_fact_commit(file, story, fact)
    rewritten = [d for d in told.doubts if d.fact.endswith(tuple(f"/{n}" for n in file.lineage.nodes[node_id].files))]
    if rewritten and file.lineage.nodes[node_id].files:
        said = "; ".join(one for one in (commit.doubt, _word_doubt(file, story, rewritten[0])) if one)
        return Commit(commit.short, commit.on, commit.who, said)
    return commit


def word_no_history(file: PartFile, otherwise: str) -> str:
    """Return why a page shows no history, in plain words."""
    story, told = find_story(file)
    if story is None:
        return otherwise
    if story.history is None:
        return " ".join(f"{_sentence(c.message)} To mend it: {c.fix}." for c in story.conditions) or otherwise
    if told is None or told.record is None:
        return "This record is in no commit yet: nobody but this machine knows it. Commit it."
    return "No dated fact is recorded yet."


def word_history_note(file: PartFile) -> str:
    """Return what limits the history that is shown: a shallow clone, a damaged object, versions that could not be
    read."""
    story, told = find_story(file)
    if story is None or told is None or story.history is None:
        return ""
    notes = [_sentence(c.message) for c in story.conditions if c.kind in _SPEAKING]
    record = told.record
    if record is not None and record.broken:
        count = word_count(len(record.broken), "version")
        notes.append(f"{count} of this record could not be read as committed; its facts were left as they were before.")
    if record is not None and record.earlier_paths:
        notes.append(f"The record was moved here from {', '.join(record.earlier_paths)}.")
    return " ".join(dict.fromkeys(notes))


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith(".") else ".")
