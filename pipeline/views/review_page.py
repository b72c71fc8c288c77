"""The review: hold calls first, what moved since the last one with old and new, what is due, what stands still."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from pipeline.findings.finding import Finding, Severity
from pipeline.model.words import Gate, GateState, Say
from pipeline.portfolio.moves import Move, MoveKind
from pipeline.portfolio.outlook import Outlook, find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.review import ReviewResult
from pipeline.views.addresses import PARTS, REVIEW, REVIEW_CSV, find_part_page, find_rule_page
from pipeline.views.part_gates import word_decision
from pipeline.views.part_head import build_hold
from pipeline.views.review_dates import build_dates_groups, build_trust_notes
from pipeline.views.review_moves import explain_stale, find_move_commit, word_move
from pipeline.views.shapes_marks import Line, Link, Mark, Run, Tone, build_line
from pipeline.views.shapes_site import PageHead, ReviewGroup, ReviewItem, ReviewPage, Tally
from pipeline.views.states import name_supplier
from pipeline.views.watch import (
    find_ageing,
    find_decided,
    find_ending_quotes,
    find_ending_waivers,
    find_held_calls,
    find_opened,
    find_ready,
    find_stale_files,
)
from pipeline.views.wording import word_ago, word_count, word_day, word_list, word_number

_SAY_MARKS = {Say.GO: Mark.PROVEN, Say.REWORK: Mark.MISSING, Say.HOLD: Mark.HELD, Say.DROP: Mark.DROPPED}
_MOVE_MARKS = {
    MoveKind.READY: Mark.READY, MoveKind.PROVEN: Mark.PROVEN, MoveKind.RELEASED: Mark.PROVEN,
    MoveKind.STALE: Mark.STALE, MoveKind.REOPENED: Mark.MISSING, MoveKind.TOOL_STEP: Mark.PLANNED,
    MoveKind.WAIVED: Mark.WAIVED,
    MoveKind.WAIVER_ENDED: Mark.STALE, MoveKind.QUOTE_ENDED: Mark.STALE, MoveKind.NEW: Mark.IN_HAND,
    MoveKind.RENUMBERED: Mark.IN_HAND, MoveKind.REVIVED: Mark.IN_HAND, MoveKind.DROPPED: Mark.DROPPED,
    MoveKind.GONE: Mark.DROPPED, MoveKind.FIGURE: Mark.STALE, MoveKind.HOLD_ENDED: Mark.IN_HAND,
}  # fmt: skip
_MOVED = (
    ("proven", "Gates proven", (MoveKind.RELEASED, MoveKind.PROVEN), "No gate was proven"),
    ("stale", "Gone stale", (MoveKind.STALE, MoveKind.REOPENED), "Nothing has gone stale"),
    ("decided", "Decided and ordered", (MoveKind.DECIDED, MoveKind.TOOL_STEP, MoveKind.HOLD_ENDED),
     "Nothing else was decided"),
    ("waived", "Set aside and run out", (MoveKind.WAIVED, MoveKind.WAIVER_ENDED, MoveKind.QUOTE_ENDED),
     "Nothing was set aside, and nothing ran out"),
    ("figures", "Figures that changed", (MoveKind.FIGURE,), "No nominal, price or demand changed"),
    ("new", "New, dropped, taken up again",
     (MoveKind.NEW, MoveKind.RENUMBERED, MoveKind.REVIVED, MoveKind.DROPPED, MoveKind.GONE), "No part came or went"),
)  # fmt: skip
"""Anchor, title, kinds and what is said when there is none, of everything that moved, in the order of the page."""


def find_since(portfolio: Portfolio) -> dt.date | None:
    """Return the day that the review looks back to: that of its past state, or one review's time ago."""
    if portfolio.workspace is None:
        return None
    outlook = find_outlook(portfolio)
    if outlook is not None and outlook.review is not None:
        return outlook.review.day
    days = portfolio.workspace.catalogues.shop.review_every_days
    return portfolio.workspace.today - dt.timedelta(days=days)


def build_review_page(portfolio: Portfolio) -> ReviewPage:
    """Make the review of a workspace that can be read; of a broken one, what is wrong with it."""
    since = find_since(portfolio)
    summary = "What moved since the last review, what is ready for a decision, what went stale, what stands still."
    head = PageHead("Review", REVIEW, summary, "review")
    if portfolio.workspace is None or since is None:
        return ReviewPage(head, "–", "–", (), (_build_left_out(portfolio),))
    outlook = find_outlook(portfolio)
    review = None if outlook is None else outlook.review
    groups = (
        _build_holds(portfolio, review),
        _build_ready(portfolio, review),
        *_build_moved(portfolio, review, since),
        _build_still_stale(portfolio, review),
        _build_endings(portfolio),
        *build_dates_groups(portfolio),
        _build_ageing(portfolio),
        _build_stopped(portfolio),
        _build_left_out(portfolio),
    )
    return ReviewPage(
        head,
        _word_since(review, since),
        word_day(portfolio.workspace.today),
        tuple(_build_tally(group) for group in groups[:8] if group.items),
        tuple(groups),
        (*_build_notes(portfolio, outlook), *build_trust_notes(portfolio)),
        REVIEW_CSV,
    )


def _build_tally(group: ReviewGroup) -> Tally:
    return Tally(str(len(group.items)), group.title.lower(), f"{REVIEW}#{group.anchor}", group.items[0].mark)


def _word_since(review: ReviewResult | None, since: dt.date) -> str:
    if review is None or review.commit is None:
        return word_day(since)
    if review.since.review is not None:
        return f"the review of {word_day(review.since.review.on)} (commit {review.commit.hash[:7]})"
    if review.since.day is None:
        return (
            f"{review.since.words} of {word_day(review.commit.committed_at.date())} (commit {review.commit.hash[:7]})"
        )
    return f"the end of {word_day(since)} (commit {review.commit.hash[:7]})"


def _build_notes(portfolio: Portfolio, outlook: Outlook | None) -> tuple[Line, ...]:
    """What limits the review, in plain words: no git, a shallow clone, records that could not be read as they stood."""
    if outlook is None:
        return ()
    notes = [
        f"{_sentence(c.message)} To mend it: {c.fix}." for c in outlook.story.conditions if not _is_record(c.subject)
    ]
    broken = sum(_is_record(c.subject) for c in outlook.story.conditions)
    if broken:
        notes.append(f"{word_count(broken, 'version')} of records could not be read as committed and were passed over.")
    review = outlook.review
    if review is not None:
        known = {c.message for c in outlook.story.conditions}
        notes += [f"{_sentence(c.message)} To mend it: {c.fix}." for c in review.conditions if c.message not in known]
        if review.moves is None:
            notes.append("No earlier state could be read, so what follows is taken from the days in the records.")
        elif review.commit is None:
            notes.append("The history begins later than this day: everything counts as new.")
        if review.borrowed:
            notes.append(f"As it stood then, {word_list(review.borrowed)} cannot be used; today's stands in for it.")
        if review.broken:
            notes.append(f"As they stood then, the records of {word_list(review.broken)} could not be read.")
    if outlook.story.history is not None and not find_reviews_closed(outlook):
        notes.append("No review is recorded yet: pipeline review --close records one, and the next starts from it.")
    doubts = sum(f.rule.startswith("H9") and f.severity is Severity.WARNING for f in portfolio.findings)
    if doubts:
        notes.append(
            f"Git contradicts the records in {word_count(doubts, 'place')}: pipeline check --history lists them."
        )
    return tuple(build_line(note) for note in notes)


def find_reviews_closed(outlook: Outlook) -> bool:
    """True when the review looks back to a recorded one."""
    return outlook.review is not None and outlook.review.since.review is not None


def _is_record(subject: str) -> bool:
    return subject.startswith("projects/")


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith(".") else ".")


def _build_moved(portfolio: Portfolio, review: ReviewResult | None, since: dt.date) -> list[ReviewGroup]:
    if review is None or review.moves is None:
        return [_build_decided(portfolio, since), _build_new(portfolio, since)]
    tail = f" since {word_day(since)}."
    moves = leave_out_doubles(review.moves)
    return [
        ReviewGroup(
            anchor, title, tuple(_build_items(portfolio, [m for m in moves if m.kind in kinds], kinds)), empty + tail
        )
        for anchor, title, kinds, empty in _MOVED
    ]


def leave_out_doubles(moves: Sequence[Move]) -> list[Move]:
    """A decision that proved a gate, or dropped a part, is told there and not again among the decisions."""
    told = {(m.number, m.place) for m in moves if m.kind in (MoveKind.PROVEN, MoveKind.RELEASED)}
    dropped = {(m.number, m.on) for m in moves if m.kind is MoveKind.DROPPED}
    return [
        m
        for m in moves
        if m.kind is not MoveKind.DECIDED or ((m.number, m.place) not in told and (m.number, m.on) not in dropped)
    ]


def _build_items(portfolio: Portfolio, moves: Sequence[Move], kinds: Sequence[MoveKind]) -> list[ReviewItem]:
    """Items of one group, the loudest kind first, then the youngest."""
    ranked = sorted(moves, key=lambda m: (kinds.index(m.kind), -(m.on.toordinal() if m.on else 0), m.number))
    return [item for move in ranked if (item := _build_move(portfolio, move)) is not None]


def _build_move(portfolio: Portfolio, move: Move) -> ReviewItem | None:
    file = portfolio.parts.get(move.number)
    if file is None:
        if move.kind is not MoveKind.GONE:
            return None
        return ReviewItem("–", Link(move.number, ""), "", build_line("its record is gone"), Mark.DROPPED)
    on = word_day(move.on)
    if move.kind is MoveKind.STALE:
        on = word_day(explain_stale(file, move)[0])
    commit = find_move_commit(file, move)
    if on == "–" and commit is not None:
        on = commit.on
    mark = _MOVE_MARKS.get(move.kind, Mark.IN_HAND)
    if move.kind is MoveKind.DECIDED:
        mark = _SAY_MARKS[file.part.decisions[int(move.place.partition("[")[2].rstrip("]"))].say]
    link = Link(file.number, find_part_page(file.number))
    return ReviewItem(on, link, file.part.name, word_move(file, move), mark, commit)


def _item(file: PartFile, on: str, line: Line, mark: Mark) -> ReviewItem:
    return ReviewItem(on, Link(file.number, find_part_page(file.number)), file.part.name, line, mark)


def _build_holds(portfolio: Portfolio, review: ReviewResult | None) -> ReviewGroup:
    items = []
    moves = () if review is None or review.moves is None else review.moves
    new = {m.number for m in moves if m.kind is MoveKind.HOLD_CALL}
    for file in sorted(find_held_calls(portfolio), key=lambda one: (one.number not in new, one.number)):
        hold = build_hold(file)
        planned = min((c.cut_planned for c in file.standing.hold_calls if c.cut_planned), default=None)
        when = "now" if planned is None else f"by {word_day(planned, year=False)}"
        line = () if hold is None else hold.line
        fresh = (Run("new since then: ", Tone.FLAG),) if file.number in new else ()
        items.append(_item(file, when, (*fresh, *line), Mark.STALE))
    return ReviewGroup("hold-calls", "Hold calls", tuple(items), "No tool stands on evidence that went stale.")


def _build_ready(portfolio: Portfolio, review: ReviewResult | None) -> ReviewGroup:
    items = []
    moves = () if review is None or review.moves is None else review.moves
    new = {m.number for m in moves if m.kind is MoveKind.READY}
    for file in sorted(find_ready(portfolio), key=lambda one: (one.number not in new, one.number)):
        gate = file.standing.gate
        roles = file.workspace.catalogues.gates.gates[gate].decided_by if gate is not None else ()
        words = f"all that the {gate} gate wants is in hand; the {' or the '.join(roles)} decides"
        fresh = (Run("new: ", Tone.STRONG),) if file.number in new else ()
        items.append(_item(file, word_day(file.standing.last_evidence), (*fresh, Run(words)), Mark.READY))
    return ReviewGroup("ready", "Ready for a decision", tuple(items), "No gate waits for a decision.")


def _build_still_stale(portfolio: Portfolio, review: ReviewResult | None) -> ReviewGroup:
    """What is stale and was so before; all that is stale, where no past state is known."""
    moves = () if review is None or review.moves is None else review.moves
    fresh = {(m.number, m.gate) for m in moves if m.kind is MoveKind.STALE}
    found: list[tuple[int, str, ReviewItem]] = []
    for file in find_stale_files(portfolio):
        gates = [g.gate for g in file.standing.gates.values() if g.state is GateState.STALE]
        old: list[Gate] = [gate for gate in gates if (file.number, gate) not in fresh]
        if not old:
            continue
        since, why = explain_stale(file)
        line = (Run(f"{word_list([gate.value for gate in old], 6)}: ", Tone.STRONG), *why)
        found.append(
            (0 if since is None else -since.toordinal(), file.number, _item(file, word_day(since), line, Mark.STALE))
        )
    title = "Stale as before" if moves or (review is not None and review.moves is not None) else "Stale"
    return ReviewGroup("still-stale", title, tuple(item for *_, item in sorted(found)), "Nothing is stale from before.")


def _build_decided(portfolio: Portfolio, since: dt.date) -> ReviewGroup:
    """Decisions by the days in the records: where no past state can be read."""
    items = []
    for file, decision in find_decided(portfolio, since):
        subject = "tooling money" if decision.gate is None else f"{decision.gate} gate"
        words = word_decision(file, decision)
        line = build_line(f"{subject}: {words[:1].lower()}{words[1:]}")
        items.append(_item(file, word_day(decision.on), line, _SAY_MARKS[decision.say]))
    return ReviewGroup("decided", "Decided", tuple(items), f"Nothing was decided since {word_day(since)}.")


def _build_endings(portfolio: Portfolio) -> ReviewGroup:
    found: list[tuple[dt.date, ReviewItem]] = []
    for ending in find_ending_quotes(portfolio):
        file, today = ending.file, ending.file.workspace.today
        gone = ending.on < today
        words = f"quote {ending.what} of {name_supplier(file.workspace.catalogues, ending.by)} "
        words += f"{'ran' if gone else 'runs'} out {word_ago(ending.on, today)}"
        found.append(
            (ending.on, _item(file, word_day(ending.on), build_line(words), Mark.STALE if gone else Mark.IN_HAND))
        )
    for file, waiver in find_ending_waivers(portfolio):
        assert isinstance(waiver.until, dt.date)
        gone = waiver.until < file.workspace.today
        words = (
            f"the waiver of {waiver.of} {'ran' if gone else 'runs'} out {word_ago(waiver.until, file.workspace.today)}"
        )
        found.append(
            (waiver.until, _item(file, word_day(waiver.until), build_line(words), Mark.STALE if gone else Mark.WAIVED))
        )
    found.sort(key=lambda pair: (pair[0], pair[1].part.text))
    return ReviewGroup(
        "endings", "Running out", tuple(item for _, item in found), "No quote and no waiver runs out soon."
    )


def _build_new(portfolio: Portfolio, since: dt.date) -> ReviewGroup:
    items = [
        _item(file, word_day(on), build_line("work began"), Mark.IN_HAND) for file, on in find_opened(portfolio, since)
    ]
    return ReviewGroup("new", "New parts", tuple(items), f"No part was begun since {word_day(since)}.")


def _build_ageing(portfolio: Portfolio) -> ReviewGroup:
    items = []
    for one in find_ageing(portfolio):
        words = f"at {one.gate}, no new evidence for {word_number(one.weeks, 0)} weeks; "
        words += f"the stage takes {word_number(one.usual)} weeks at most"
        items.append(_item(one.file, word_day(one.file.standing.last_evidence), build_line(words), Mark.IN_HAND))
    return ReviewGroup("ageing", "Standing still", tuple(items), "Every part in work has fresh evidence.")


def _build_stopped(portfolio: Portfolio) -> ReviewGroup:
    items = []
    for file in portfolio.parts.values():
        if file.standing.state not in (GateState.HELD, GateState.DROPPED):
            continue
        last = max(file.part.decisions, key=lambda d: d.on, default=None)
        words = str(file.standing.state) if last is None else word_decision(file, last)
        mark = Mark.HELD if file.standing.state is GateState.HELD else Mark.DROPPED
        items.append(_item(file, word_day(None if last is None else last.on), build_line(words), mark))
    return ReviewGroup("stopped", "Held or dropped", tuple(items), "Nothing is held or dropped.")


def find_left_out(portfolio: Portfolio) -> list[Finding]:
    """Return the findings of what cannot be read and was left out of every page, and of shared/."""
    known = set(portfolio.parts)
    return [f for f in portfolio.findings if f.severity is Severity.ERROR and f.record not in known]


def _build_left_out(portfolio: Portfolio) -> ReviewGroup:
    items = []
    for finding in find_left_out(portfolio):
        where = finding.record or finding.location.path
        line = (Run(f"{finding.location}: "), Run(finding.rule, href=find_rule_page(finding.rule)),
                Run(f" {finding.message}. To mend it: {finding.fix}."))  # fmt: skip
        items.append(ReviewItem("left out", Link(where, PARTS if not finding.record else ""), "", line, Mark.MISSING))
    empty = f"Every record could be read: {word_count(len(portfolio.parts), 'part')}."
    return ReviewGroup("left-out", "Left out: cannot be read", tuple(items), empty)
