"""Rules about what git knows: who recorded what and when, beside who is said to have done it on which day."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Past, Rule

WARNING, NOTE = Severity.WARNING, Severity.NOTE
_PEOPLE = (
    "people:\n"
    "  ann: {name: Ann, roles: [engineer], emails: [ann@example.invalid]}\n"
    "  bob: {name: Bob, roles: [lead], emails: [bob@example.invalid]}\n"
    "  kim: {name: Kim, roles: [owner, buyer], emails: [kim@example.invalid]}\n"
)
_FILES = {"shared/people.yaml": _PEOPLE}
_O1 = "projects/SD-100/evidence/o1.csv"
_FULL = (
    Past("2026-01-10", "ann"), Past("2026-01-15", "bob"), Past("2026-01-20", "ann"), Past("2026-01-25", "bob"),
    Past("2026-02-01", "ann"), Past("2026-02-03", "bob"), Past("2026-02-05", "ann"), Past("2026-02-10", "bob"),
    Past("2026-05-01", "kim"),
)  # fmt: skip
_GOOD = Example(files=_FILES, past=_FULL)
_SINCE = (
    "features:\n"
    "  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC, since: %s}\n"
    "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length], since: %s}\n"
)


def _without(*days: str) -> tuple[Past, ...]:
    return tuple(past for past in _FULL if past.on not in days)


def _by(day: str, by: str) -> tuple[Past, ...]:
    return tuple(Past(past.on, by if past.on == day else past.by) for past in _FULL)


def _review(head: str) -> dict[str, str | None]:
    line = f"  - {{on: 2026-05-11, by: bob{head}}}\n"
    return {**_FILES, "shared/reviews.yaml": f"reviews:\n{line}"}


LIMITED = Rule(
    "H901", "The whole history can be read", NOTE,
    "Where git cannot be read, or only in part, no date in a record can be checked.",
    "see what the message names",
    Example(files=_FILES, past=(*_FULL[:3], Past("2026-01-21", "ann", "revisions: [\n"), *_FULL[3:])), _GOOD,
    history=True,
)  # fmt: skip
LATE = Rule(
    "H902", "What is done is recorded soon", WARNING,
    "What is written down weeks later is written from memory, and may be written to fit what came after.",
    "record the work when it is done; leave this date as it is and say why in a note, or correct it",
    Example(files=_FILES, past=(*_FULL[:6], Past("2026-05-01", "bob"))), _GOOD, history=True,
)  # fmt: skip
AHEAD = Rule(
    "H903", "A day lies not after the commit that states it", WARNING,
    "A fact cannot have been recorded before it happened: the date, or the clock of that machine, is wrong.",
    "correct the date in the record, or set the clock of the machine that committed",
    Example(files=_FILES, past=(*_FULL[:6], Past("2026-02-01", "ann", shows="2026-02-05"), *_FULL[7:])), _GOOD,
    history=True,
)  # fmt: skip
CHANGED = Rule(
    "H904", "A decision stays as it was made", WARNING,
    "A decision or a waiver that is edited long afterwards is not the one that was made.",
    "put it back as it was and add a new one with its own day and reason",
    Example(files=_FILES, past=(
        *_FULL[:8],
        Past("2026-02-10", "bob", "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: hold, why: wait}\n"
             "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
             "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"),
        Past("2026-05-01", "bob"),
    )),
    _GOOD, history=True,
)  # fmt: skip
STRANGER = Rule(
    "H905", "Who commits is among the people", WARNING,
    "A commit by nobody that the shop knows cannot be asked about.",
    "add the address to `emails` of that person in shared/people.yaml",
    Example(files=_FILES, past=_by("2026-02-01", "zed")), _GOOD, history=True,
)  # fmt: skip
NOT_ALLOWED = Rule(
    "H906", "A decision is recorded by one who may decide", WARNING,
    "Anybody can type a name: a decision counts as made when one with the role recorded it.",
    "let one with the role record it: change the entry and commit it under the own name",
    Example(files=_FILES, past=_by("2026-02-10", "ann")), _GOOD, history=True,
)  # fmt: skip
NEVER_COMMITTED = Rule(
    "H907", "Who decides has committed here", WARNING,
    "A decision in the name of somebody who never committed anything rests on the word of another.",
    "let that person record a decision, or add the address used to `emails` in shared/people.yaml",
    Example(
        "decisions:\n  - {gate: measure, on: 2026-01-15, by: lee, say: go}\n",
        {"shared/people.yaml": _PEOPLE + "  lee: {name: Lee, roles: [lead], emails: [lee@example.invalid]}\n"},
        (*_FULL[:8], Past("2026-05-01", "bob")),
    ),
    _GOOD, history=True,
)  # fmt: skip
REWRITTEN = Rule(
    "H908", "Evidence stays as it was when it was decided on", WARNING,
    "A decision rests on the evidence as it was; evidence that is rewritten afterwards proves something else.",
    "attach the new evidence beside the old with `pipeline attach`, and decide again",
    Example(files=_FILES, past=(Past("2026-01-10", "ann", files={_O1: "feature,n,reading,unit\nlength,1,40.9,mm\n"}),
                                *(Past(p.on, p.by, files={_O1: "feature,n,reading,unit\nlength,1,40.9,mm\n"})
                                  for p in _FULL[1:8]), _FULL[8])),
    _GOOD, history=True,
)  # fmt: skip
HISTORY_REWRITTEN = Rule(
    "H909", "The history still holds what was reviewed", WARNING,
    "Commits that were looked at in a review and are gone since were rewritten, or another branch is checked out.",
    "find out who rewrote the history and why; bring the old commits back from another clone",
    Example(files=_review(", head: 0123456789abcdef0123456789abcdef01234567"),
            past=(*_FULL, Past("2026-05-11", "bob"))),
    Example(files=_review(""), past=(*_FULL, Past("2026-05-11", "bob"))), history=True,
)  # fmt: skip
NOT_RECORDED = Rule(
    "H910", "What is written is committed", NOTE,
    "What stands only on one machine is known to nobody else and can be lost.",
    "commit the record",
    Example(files=_FILES, past=_without("2026-05-01", "2026-02-10")), _GOOD, history=True,
)  # fmt: skip

BAD_SIGNATURE = Rule(
    "H911", "A signature that is there holds", WARNING,
    "A commit whose signature does not hold was changed after it was signed, or signed with a key that is not to be "
    "trusted any more.",
    "ask who made it; sign it anew with a good key, or record the fact again",
    Example(files=_FILES, past=tuple(Past(p.on, p.by, signature="B" if p.on == "2026-02-10" else "") for p in _FULL)),
    _GOOD, history=True,
)  # fmt: skip

STOOD_EARLIER = Rule(
    "H912", "A feature, an interface or an application is no older than the day on which it is said to be added", NOTE,
    "A decision is not judged by what came after it: a day that is too late would excuse one that was made on less than "
    "was wanted.",
    "correct `since`; where a feature only became critical on that day, say so in the record's `note`",
    Example(_SINCE % ("2026-03-01", "2026-03-01"), _FILES, _FULL),
    Example(_SINCE % ("2026-01-10", "2026-01-10"), _FILES, _FULL), history=True,
)  # fmt: skip

RULES = (
    LIMITED, LATE, AHEAD, CHANGED, STRANGER, NOT_ALLOWED, NEVER_COMMITTED, REWRITTEN, HISTORY_REWRITTEN, NOT_RECORDED,
    BAD_SIGNATURE, STOOD_EARLIER,
)  # fmt: skip
