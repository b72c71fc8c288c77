"""The review: what is ready for a decision, what went stale, what runs out, what was decided, what stands still."""

from __future__ import annotations

import datetime as dt

from pipeline.findings.finding import Finding, Severity
from pipeline.model.part import Decision
from pipeline.model.words import GateState, Say
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import PARTS, REVIEW, find_part_page, find_rule_page
from pipeline.views.part_evidence import SECTION_GATES, build_reasons
from pipeline.views.part_gates import word_decision
from pipeline.views.part_head import build_hold
from pipeline.views.shapes_marks import Line, Link, Mark, Run, Tone, build_line
from pipeline.views.shapes_site import PageHead, ReviewGroup, ReviewItem, ReviewPage, Tally
from pipeline.views.states import name_supplier
from pipeline.views.watch import (
    find_ageing,
    find_decided,
    find_ended_waivers,
    find_ending_quotes,
    find_ending_waivers,
    find_held_calls,
    find_opened,
    find_ready,
    find_stale_files,
    find_stale_since,
)
from pipeline.views.wording import word_ago, word_count, word_day, word_list, word_number

REVIEWS_BACK = 4
_SAY_MARKS = {Say.GO: Mark.PROVEN, Say.REWORK: Mark.MISSING, Say.HOLD: Mark.HELD, Say.DROP: Mark.DROPPED}


def find_since(portfolio: Portfolio) -> dt.date | None:
    """Return the first day that the review looks back to: the shop's last four reviews."""
    if portfolio.workspace is None:
        return None
    days = REVIEWS_BACK * portfolio.workspace.catalogues.shop.review_every_days
    return portfolio.workspace.today - dt.timedelta(days=days)


def build_review_page(portfolio: Portfolio) -> ReviewPage:
    """Make the review of a workspace that can be read; of a broken one, what is wrong with it."""
    since = find_since(portfolio)
    head = PageHead("Review", REVIEW, "What to decide, what went stale, what runs out, what stands still.", "review")
    if portfolio.workspace is None or since is None:
        return ReviewPage(head, "–", "–", (), (_build_left_out(portfolio),))
    groups = tuple(
        group
        for group in (
            _build_holds(portfolio),
            _build_ready(portfolio),
            _build_stale(portfolio),
            _build_decided(portfolio, since),
            _build_endings(portfolio),
            _build_new(portfolio, since),
            _build_ageing(portfolio),
            _build_stopped(portfolio),
            _build_left_out(portfolio),
        )
    )
    tallies = tuple(
        Tally(str(len(group.items)), group.title.lower(), f"{REVIEW}#{group.anchor}", group.items[0].mark)
        for group in groups[:5]
        if group.items
    )
    return ReviewPage(head, word_day(since), word_day(portfolio.workspace.today), tallies, groups)


def _item(file: PartFile, on: str, line: Line, mark: Mark) -> ReviewItem:
    return ReviewItem(on, Link(file.number, find_part_page(file.number)), file.part.name, line, mark)


def _build_holds(portfolio: Portfolio) -> ReviewGroup:
    items = []
    for file in find_held_calls(portfolio):
        hold = build_hold(file)
        planned = min((c.cut_planned for c in file.standing.hold_calls if c.cut_planned), default=None)
        when = "now" if planned is None else f"by {word_day(planned, year=False)}"
        items.append(_item(file, when, () if hold is None else hold.line, Mark.STALE))
    return ReviewGroup("hold-calls", "Hold calls", tuple(items), "No tool stands on evidence that went stale.")


def _build_ready(portfolio: Portfolio) -> ReviewGroup:
    items = []
    for file in find_ready(portfolio):
        gate = file.standing.gate
        roles = file.workspace.catalogues.gates.gates[gate].decided_by if gate is not None else ()
        words = f"all that the {gate} gate wants is in hand; the {' or the '.join(roles)} decides"
        items.append(_item(file, word_day(file.standing.last_evidence), build_line(words), Mark.READY))
    return ReviewGroup("ready", "Ready for a decision", tuple(items), "No gate waits for a decision.")


def _build_stale(portfolio: Portfolio) -> ReviewGroup:
    found: list[tuple[int, str, ReviewItem]] = []
    for file in find_stale_files(portfolio):
        since, why = explain_stale(file)
        gates = [gate.gate.value for gate in file.standing.gates.values() if gate.state is GateState.STALE]
        line = (Run(f"{word_list(gates, 6)}: ", Tone.STRONG), *why)
        found.append(
            (0 if since is None else -since.toordinal(), file.number, _item(file, word_day(since), line, Mark.STALE))
        )
    return ReviewGroup("stale", "Gone stale", tuple(item for *_, item in sorted(found)), "Nothing has gone stale.")


def explain_stale(file: PartFile) -> tuple[dt.date | None, Line]:
    """Return since when and why a part's gates are stale: what changed, or the waiver that ran out."""
    gates = [gate for gate in file.standing.gates.values() if gate.state is GateState.STALE]
    for node in file.lineage.nodes.values():
        reasons = file.lineage.reasons.get(node.id, ())
        if reasons and SECTION_GATES.get(node.section) in {gate.gate for gate in gates}:
            return find_stale_since(file), build_reasons(file, reasons, 1)
    for requirement in (r for gate in gates for r in gate.open_requirements):
        for waiver in find_ended_waivers(file, requirement.id):
            day = waiver.until if isinstance(waiver.until, dt.date) else None
            ended = f"ran out on {word_day(day)}" if day is not None else f"ended: {waiver.until}"
            return day, build_line(f"the waiver of {requirement.id} {ended}; {requirement.answer.words}")
    first = next((r.answer.words for gate in gates for r in gate.open_requirements), "")
    return find_stale_since(file), build_line(first)


def _build_decided(portfolio: Portfolio, since: dt.date) -> ReviewGroup:
    items = [
        _item(
            file,
            word_day(decision.on),
            build_line(f"{_name_subject(decision)}: {_lower(word_decision(file, decision))}"),
            _SAY_MARKS[decision.say],
        )
        for file, decision in find_decided(portfolio, since)
    ]
    return ReviewGroup("decided", "Decided", tuple(items), f"Nothing was decided since {word_day(since)}.")


def _name_subject(decision: Decision) -> str:
    return "tooling money" if decision.gate is None else f"{decision.gate} gate"


def _lower(words: str) -> str:
    return words[:1].lower() + words[1:]


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
