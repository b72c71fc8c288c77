"""The days that matter to somebody: quotes and waivers that end, decisions, reviews, announcements, tools, tests."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator

from pipeline.gates.quoted import find_chosen
from pipeline.gates.standing import is_waiver_live
from pipeline.model.part import Tool
from pipeline.model.words import Role, ToolStep
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import CALENDAR, REVIEW, find_calendar, find_part_page, name_gate_anchor
from pipeline.views.buyer import find_open_quotes, is_buying_over
from pipeline.views.feed_text import name_id
from pipeline.views.home_page import find_people, find_responsible
from pipeline.views.requirements import find_need, word_requirement
from pipeline.views.shapes_outlets import DayCalendar, DueDay
from pipeline.views.states import name_supplier
from pipeline.views.watch import find_ready
from pipeline.views.wording import word_count, word_day, word_list, word_number

LOOK_BACK_DAYS = 31
"""What ended longer ago than a month is no longer in the calendar; the review still shows it (common practice, no
source)."""
_MONDAY = dt.date(1970, 1, 5)
"""A Monday. Reviews that nobody records are taken to fall on the days that are so many days from it."""


def build_calendars(portfolio: Portfolio) -> tuple[DayCalendar, ...]:
    """Make the calendar of everything, and one for each person in the shop; none where the catalogues cannot be used.

    An event that concerns several people has the same id in each calendar, so that it is one event to a program that
    reads two of them.
    """
    workspace = portfolio.workspace
    if workspace is None:
        return ()
    days = find_due_days(portfolio)
    maker = workspace.catalogues.shop.name
    what = "Quotes, waivers and tests that end, decisions and reviews due, announcements, cuts and deliveries of tools"
    calendars = [DayCalendar(maker, f"{what}.", CALENDAR, days)]
    for key, person in workspace.catalogues.people.people.items():
        if person.until is None or person.until >= workspace.today:
            mine = tuple(day for day in days if key in day.who)
            name, words = f"{maker}: {person.name}", f"{what}, for {person.name}."
            calendars.append(DayCalendar(name, words, find_calendar(key), mine))
    return tuple(calendars)


def find_due_days(portfolio: Portfolio) -> tuple[DueDay, ...]:
    """Return the days from a month ago on, in their order."""
    workspace = portfolio.workspace
    if workspace is None:
        return ()
    first = workspace.today - dt.timedelta(days=LOOK_BACK_DAYS)
    found = [day for file in portfolio.parts.values() for day in _find_part_days(file)]
    found += [*_find_review(portfolio), *_find_decisions(portfolio), *_find_calibrations(portfolio)]
    kept = (day for day in found if day.on >= first)
    return tuple(sorted(kept, key=lambda day: (day.on, day.title, day.id)))


def _find_part_days(file: PartFile) -> Iterator[DueDay]:
    yield from _find_announcement(file)
    if file.standing.is_dropped:
        return
    for find in (_find_quotes, _find_waivers, _find_tools, _find_tests):
        yield from find(file)


def _make_day(
    file: PartFile, kind: str, key: str, on: dt.date, title: str, words: str, anchor: str, who: frozenset[str]
) -> DueDay:
    """Return a day of a part; its id is that of the part, the kind and the key, whichever day it falls on."""
    identity = name_id(file.workspace.catalogues.shop.name, file.number, kind, key)
    told = f"{file.number} {file.part.name}: {words}"
    return DueDay(identity, on, f"{file.number}: {title}", told, find_part_page(file.number, anchor), kind, who)


def _find_roles(file: PartFile, *roles: Role) -> frozenset[str]:
    return find_people(file.workspace.catalogues, roles, file.workspace.today)


def _find_announcement(file: PartFile) -> Iterator[DueDay]:
    on = file.part.announce
    if on is not None and not file.standing.is_dropped:
        words = "from this day on the outer editions may show it, from the next build."
        who = _find_roles(file, Role.LEAD, Role.OWNER)
        yield _make_day(file, "announcement", "", on, "may be shown to others", words, "", who)


def _find_quotes(file: PartFile) -> Iterator[DueDay]:
    """Last days of the quotes on which something may still be ordered."""
    if is_buying_over(file):
        return
    for key in find_open_quotes(file):
        quote = file.part.quotes[key]
        if quote.valid_to is None:
            continue
        supplier = name_supplier(file.workspace.catalogues, quote.from_)
        chosen = ", the chosen one" if key == find_chosen(file.part) else ""
        words = f"last day of quote {key} of {supplier}{chosen}, made on revision {quote.of} on {word_day(quote.on)}."
        title = f"quote {key} of {supplier} ends"
        yield _make_day(file, "quote ends", key, quote.valid_to, title, words, "quotes", _find_roles(file, Role.BUYER))


def _find_waivers(file: PartFile) -> Iterator[DueDay]:
    """Last days of the waivers that are live, or whose requirement is wanted again."""
    if file.standing.released:
        return
    wanted = {r.id for gate in file.standing.gates.values() for r in gate.open_requirements}
    before: Counter[str] = Counter()
    for waiver in file.part.waivers:
        key = f"{waiver.of} {before[waiver.of]}"
        before[waiver.of] += 1
        if not isinstance(waiver.until, dt.date):
            continue
        if is_waiver_live(file.part, waiver, file.workspace.today) or waiver.of in wanted:
            need = word_requirement(waiver.of, find_need(file, waiver.of))
            words = f"last day on which this is set aside: {need}. Instead: {waiver.instead}."
            who = frozenset({waiver.by, waiver.risk}) | find_responsible(file)
            title = f"waiver of {waiver.of} ends"
            yield _make_day(file, "waiver ends", key, waiver.until, title, words, "gates", who)


def _find_tests(file: PartFile) -> Iterator[DueDay]:
    """Last days of test reports."""
    for key, test in file.part.tests.items():
        if test.valid_to is not None:
            words = f"the report of test {key} ({test.kind}) of {word_day(test.on)} counts until this day."
            title = f"test {key} ends"
            yield _make_day(file, "test ends", key, test.valid_to, title, words, "evidence", find_responsible(file))


def _find_tools(file: PartFile) -> Iterator[DueDay]:
    """Days on which metal is to be cut, and on which ordered tools are due; those due together are one event."""
    who = _find_roles(file, Role.BUYER) | find_responsible(file)
    due: dict[tuple[dt.date, str, str], list[str]] = {}
    for key, tool in file.part.tools.items():
        ordered = tool.steps.get(ToolStep.ORDERED)
        if ordered is None or tool.state is ToolStep.ACCEPTED:
            continue
        maker = f" at {name_supplier(file.workspace.catalogues, tool.by)}" if tool.by else ""
        if tool.cut_planned is not None and tool.state is ToolStep.ORDERED:
            held = any(call.tool == key for call in file.standing.hold_calls)
            warning = " It stands on stale evidence: ask the toolmaker to wait." if held else ""
            words = f"cutting of {key} is planned{maker}; after it a change costs metal.{warning}"
            yield _make_day(file, "cut", key, tool.cut_planned, f"{key} is to be cut{maker}", words, "tools", who)
        weeks, source = _find_lead(file, key, tool)
        if weeks is not None:
            on = ordered + dt.timedelta(days=round(weeks * 7))
            said = f"ordered {word_day(ordered)}, {word_number(weeks)} weeks {source}"
            due.setdefault((on, maker, said), []).append(key)
    for (on, maker, said), keys in due.items():
        some = keys[0] if len(keys) == 1 else word_count(len(keys), "tool")
        words = f"{word_list(keys, len(keys))}{maker}: {said}."
        yield _make_day(file, "tools due", keys[0], on, f"{some} due{maker}", words, "tools", who)


def _find_lead(file: PartFile, key: str, tool: Tool) -> tuple[float | None, str]:
    """Return the weeks from the order of a tool to its delivery, and who says so."""
    if tool.weeks is not None:
        return tool.weeks.likely, "by the record"
    chosen = find_chosen(file.part)
    quote = file.part.quotes.get(chosen or "")
    if quote is not None and key in quote.tools and quote.weeks is not None:
        return quote.weeks, f"by quote {chosen}"
    kind = file.workspace.catalogues.tool_kinds.kinds.get(tool.kind)
    return (None, "") if kind is None else (kind.weeks.likely, "as usual for its kind, promised by nobody")


def _find_next_review(portfolio: Portfolio) -> dt.date:
    """Return the next review day, today among them: so many days after the last recorded one."""
    assert portfolio.workspace is not None
    today, every = portfolio.workspace.today, portfolio.workspace.catalogues.shop.review_every_days
    outlook = find_outlook(portfolio)
    last = None if outlook is None or outlook.review is None else outlook.review.since.review
    passed = (today - (_MONDAY if last is None else last.on)).days % every
    return today if passed == 0 and last is None else today + dt.timedelta(days=every - passed)


def _find_review(portfolio: Portfolio) -> Iterator[DueDay]:
    assert portfolio.workspace is not None
    catalogues = portfolio.workspace.catalogues
    people = find_people(catalogues, tuple(Role), portfolio.workspace.today)
    every = catalogues.shop.review_every_days
    identity = name_id(catalogues.shop.name, "review")
    words = f"What moved, what waits for a decision, what went stale. Every {word_count(every, 'day')}."
    yield DueDay(identity, _find_next_review(portfolio), "Review of the parts", words, REVIEW, "review", people, every)


def _find_decisions(portfolio: Portfolio) -> Iterator[DueDay]:
    """Decisions that wait: they are due at the next review."""
    for file in find_ready(portfolio):
        gate = file.standing.gate
        if gate is None:
            continue
        policy = file.workspace.catalogues.gates.gates[gate]
        last = file.standing.last_evidence
        since = "" if last is None else f" since {word_day(last)}"
        words = f"all that the {gate} gate wants is in hand{since}; the {' or the '.join(policy.decided_by)} decides."
        who = _find_roles(file, *policy.decided_by)
        on, anchor = _find_next_review(portfolio), name_gate_anchor(gate)
        yield _make_day(file, "decision due", gate.value, on, f"decide the {gate} gate", words, anchor, who)


def _find_calibrations(portfolio: Portfolio) -> Iterator[DueDay]:
    assert portfolio.workspace is not None
    catalogues, today = portfolio.workspace.catalogues, portfolio.workspace.today
    who = find_people(catalogues, (Role.LEAD, Role.WORKSHOP), today)
    for key, instrument in catalogues.resources.instruments.items():
        calibrated = f"calibrated {word_day(instrument.calibrated)}"
        words = f"{instrument.name} ({key}), {calibrated}: readings taken after this day do not count."
        identity = name_id(catalogues.shop.name, "instrument", key)
        yield DueDay(identity, instrument.due, f"calibration of {key} ends", words, "", "calibration ends", who)
