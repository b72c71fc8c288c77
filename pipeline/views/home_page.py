"""What needs you, by person: hold calls, decisions, stale gates, endings, parts that age, broken records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from pipeline.findings.finding import Severity
from pipeline.model.catalogue import Catalogues
from pipeline.model.words import GateState, Role
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import HOME, HOME_CSV, PARTS, REVIEW, find_calendar, find_part_page, find_rule_page
from pipeline.views.part_head import build_hold
from pipeline.views.requirements import find_need, word_requirement
from pipeline.views.review_moves import explain_stale
from pipeline.views.review_page import find_left_out
from pipeline.views.shapes_marks import Link, Mark, Run, build_line
from pipeline.views.shapes_site import Desk, HomePage, Need, PageHead, Tally
from pipeline.views.states import name_supplier
from pipeline.views.watch import (
    find_ageing,
    find_ending_quotes,
    find_ending_waivers,
    find_held_calls,
    find_ready,
    find_stale_files,
    find_stuck,
)
from pipeline.views.wording import word_ago, word_count, word_day, word_number

Found = tuple[tuple[int, int, str], frozenset[str], Need]
"""Order (rank, day, number), the people it concerns, and the need."""


def build_home_page(portfolio: Portfolio) -> HomePage:
    """Make the first page; of a workspace that cannot be read, only what is wrong with it."""
    summary = "Hold calls, decisions, what went stale, endings and ageing parts, by person; nothing else."
    head = PageHead("What needs you", HOME, summary, "home")
    if portfolio.workspace is None:
        tally = Tally(str(len(portfolio.findings)), "things keep the catalogues from being used", f"{REVIEW}#left-out")
        return HomePage(head, (), (), (tally,), "Nothing can be shown until the catalogues in shared/ are mended.")
    found = sorted(_find_needs(portfolio), key=lambda one: one[0])
    desks = _build_desks(portfolio.workspace.catalogues, portfolio.workspace.today, found)
    holds = tuple(need for file in find_held_calls(portfolio) if (need := _build_hold_need(file)) is not None)
    return HomePage(head, holds, desks, build_tallies(portfolio), "Nothing needs anybody today.", HOME_CSV)


def build_tallies(portfolio: Portfolio) -> tuple[Tally, ...]:
    """Count what matters, each count as a link to the list behind it."""
    holds, ready = find_held_calls(portfolio), find_ready(portfolio)
    stale = find_stale_files(portfolio)
    endings = len(list(find_ending_quotes(portfolio))) + len(list(find_ending_waivers(portfolio)))
    errors = sum(finding.severity is Severity.ERROR for finding in portfolio.findings)
    released = sum(file.standing.released for file in portfolio.parts.values())
    rows = (
        (len(holds), "hold call", "hold calls", f"{REVIEW}#hold-calls", Mark.STALE),
        (len(ready), "part waits for a decision", "parts wait for a decision", f"{REVIEW}#ready", Mark.READY),
        (len(stale), "part with a stale gate", "parts with a stale gate", f"{REVIEW}#still-stale", Mark.STALE),
        (endings, "quote or waiver running out", "quotes and waivers running out", f"{REVIEW}#endings", Mark.WAIVED),
        (errors, "error in the records", "errors in the records", "rules/index.html", None),
        (released, "part released for sale", "parts released for sale", f"{PARTS}?gate=released", Mark.PROVEN),
        (len(portfolio.parts), "part", "parts", PARTS, None),
    )
    return tuple(Tally(str(n), one if n == 1 else many, href, mark) for n, one, many, href, mark in rows)


def _build_hold_need(file: PartFile) -> Need | None:
    hold = build_hold(file)
    if hold is None:
        return None
    planned = min((c.cut_planned for c in file.standing.hold_calls if c.cut_planned), default=None)
    due = "" if planned is None else f"{word_ago(planned, file.workspace.today)}: {word_day(planned)}"
    return Need(hold.title, _link(file), file.part.name, hold.line, due, Mark.STALE, True)


def _link(file: PartFile) -> Link:
    return Link(file.number, find_part_page(file.number))


def _find_needs(portfolio: Portfolio) -> Iterator[Found]:
    yield from _find_hold_needs(portfolio)
    yield from _find_decisions(portfolio)
    yield from _find_stale(portfolio)
    yield from _find_endings(portfolio)
    yield from _find_errors(portfolio)
    yield from _find_still(portfolio)
    yield from _find_broken(portfolio)


def find_people(catalogues: Catalogues, roles: tuple[Role, ...], today: dt.date) -> frozenset[str]:
    """Return the ids of the people of these roles who are still in the shop."""
    people = catalogues.people.people.items()
    return frozenset(k for k, p in people if set(p.roles) & set(roles) and (p.until is None or p.until >= today))


def find_responsible(file: PartFile) -> frozenset[str]:
    """Return the part's engineer, or the leads where the engineer has left."""
    person = file.workspace.catalogues.people.people.get(file.part.engineer)
    today = file.workspace.today
    if person is not None and (person.until is None or person.until >= today):
        return frozenset({file.part.engineer})
    return find_people(file.workspace.catalogues, (Role.LEAD,), today)


def _find_hold_needs(portfolio: Portfolio) -> Iterator[Found]:
    for file in find_held_calls(portfolio):
        call = file.standing.hold_calls[0]
        today = file.workspace.today
        who = find_people(file.workspace.catalogues, (Role.BUYER,), today) | find_responsible(file)
        maker = name_supplier(file.workspace.catalogues, call.toolmaker) if call.toolmaker else "the toolmaker"
        due = "now" if call.cut_planned is None else word_day(call.cut_planned)
        line = build_line(f"ask {maker} to wait with {call.tool}; then prove the change or sign that it has no effect")
        yield (0, 0, file.number), who, Need("hold call", _link(file), file.part.name, line, due, Mark.STALE, True)


def _find_decisions(portfolio: Portfolio) -> Iterator[Found]:
    for file in find_ready(portfolio):
        gate = file.standing.gate
        if gate is None:
            continue
        policy = file.workspace.catalogues.gates.gates[gate]
        who = find_people(file.workspace.catalogues, policy.decided_by, file.workspace.today)
        second = "; a second signature is wanted" if policy.second_signature else ""
        line = build_line(f"all that the {gate} gate wants is in hand{second}")
        last = file.standing.last_evidence
        since = "" if last is None else f"since {word_day(last)}"
        late = (
            last is not None and (file.workspace.today - last).days > file.workspace.catalogues.shop.review_every_days
        )
        yield (1, 0, file.number), who, Need("decision due", _link(file), file.part.name, line, since, Mark.READY, late)


def _find_stale(portfolio: Portfolio) -> Iterator[Found]:
    for file in find_stale_files(portfolio):
        if file.standing.hold_calls:
            continue  # its hold call says so already
        since, why = explain_stale(file)
        due = "" if since is None else f"since {word_day(since)}"
        yield (
            (2, 0, file.number),
            find_responsible(file),
            Need("went stale", _link(file), file.part.name, why, due, Mark.STALE),
        )


def _find_endings(portfolio: Portfolio) -> Iterator[Found]:
    for ending in find_ending_quotes(portfolio):
        file, today = ending.file, ending.file.workspace.today
        gone = ending.on < today
        who = find_people(file.workspace.catalogues, (Role.BUYER,), today)
        line = build_line(f"{ending.what} of {name_supplier(file.workspace.catalogues, ending.by)}")
        kind = "quote ran out" if gone else "quote ends"
        mark = Mark.STALE if gone else Mark.IN_HAND
        need = Need(kind, _link(file), file.part.name, line, word_day(ending.on), mark, gone)
        yield (3, ending.on.toordinal(), file.number), who, need
    for file, waiver in find_ending_waivers(portfolio):
        assert isinstance(waiver.until, dt.date)
        gone = waiver.until < file.workspace.today
        wants = word_requirement(waiver.of, find_need(file, waiver.of))
        line = build_line(f"{wants}; instead: {waiver.instead}")
        kind, mark = ("waiver ran out", Mark.STALE) if gone else ("waiver ends", Mark.WAIVED)
        need = Need(kind, _link(file), file.part.name, line, word_day(waiver.until), mark, gone)
        yield (3, waiver.until.toordinal(), file.number), frozenset({waiver.by}) | find_responsible(file), need


def _find_errors(portfolio: Portfolio) -> Iterator[Found]:
    """Errors that keep a claim from counting; hold calls and endings have their own lines."""
    for file in portfolio.parts.values():
        told = [f for f in file.findings if f.severity is Severity.ERROR and f.rule != "G606"]
        for finding in told[:3]:
            line = (Run(finding.rule, href=find_rule_page(finding.rule)), Run(f" {finding.message}; {finding.fix}"))
            need = Need("error", _link(file), file.part.name, line, "", Mark.MISSING)
            yield (4, 0, file.number), find_responsible(file), need


def _find_still(portfolio: Portfolio) -> Iterator[Found]:
    """Parts without new evidence for longer than their stage usually takes, and those longer in it than their like."""
    still = find_ageing(portfolio)
    for one in still:
        over = word_number(one.weeks - one.usual, 0)
        line = build_line(f"at {one.gate}; no new evidence for {word_number(one.weeks, 0)} weeks")
        need = Need("stands still", _link(one.file), one.file.part.name, line, f"{over} weeks over", Mark.IN_HAND)
        yield (5, -int(one.weeks * 7), one.file.number), find_responsible(one.file), need
    told = {one.file.number for one in still}
    for age in find_stuck(portfolio):
        file = portfolio.parts[age.item]
        if age.item in told or age.slow is None or file.standing.state is GateState.READY:
            continue  # one that waits for a decision is on the desk of who decides
        weeks, usual = word_number(age.age, 1), word_number(age.slow, 1)
        line = build_line(f"at {age.stage} for {weeks} weeks; 85 % of its like were through in {usual}")
        need = Need("ageing", _link(file), file.part.name, line, f"{word_number(age.age - age.slow, 1)} weeks over",
                    Mark.IN_HAND)  # fmt: skip
        yield (5, -int(age.age * 7), age.item), find_responsible(file), need


def _find_broken(portfolio: Portfolio) -> Iterator[Found]:
    workspace = portfolio.workspace
    found = find_left_out(portfolio)
    if workspace is None or not found:
        return
    who = find_people(workspace.catalogues, (Role.LEAD,), workspace.today)
    for record in dict.fromkeys(finding.record or finding.location.path for finding in found):
        mine = [finding for finding in found if record in (finding.record, finding.location.path)]
        line = build_line(Run(f"{mine[0].location}: {mine[0].message}", href=f"{REVIEW}#left-out"))
        more = "" if len(mine) == 1 else word_count(len(mine), "finding")
        yield (4, 0, record), who, Need("left out", Link(record, ""), "", line, more, Mark.MISSING, True)


def _build_desks(catalogues: Catalogues, today: dt.date, found: list[Found]) -> tuple[Desk, ...]:
    desks = []
    for key, person in catalogues.people.people.items():
        needs = tuple(need for _, who, need in found if key in who)
        if needs and (person.until is None or person.until >= today):
            desks.append(Desk(key, person.name, ", ".join(person.roles), needs, find_calendar(key)))
    return tuple(desks)
