"""What is due, what runs out and what stands still: facts that the home page and the review both show."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.gates.quoted import find_chosen
from pipeline.gates.standing import is_waiver_live
from pipeline.model.added import find_added
from pipeline.model.part import Decision, Waiver
from pipeline.model.words import Gate, GateState, ToolStep
from pipeline.planning.flow_ageing import AgeBand, OpenAge
from pipeline.portfolio.outlook import find_outlook
from pipeline.portfolio.portfolio import PartFile, Portfolio


@dataclass(frozen=True)
class Ending:
    """Something of a part that ends on a day: ``what`` names it; ``on`` is the day."""

    file: PartFile
    what: str
    on: dt.date
    by: str


@dataclass(frozen=True)
class Ageing:
    """A part without new evidence for longer than its stage usually takes; both in weeks."""

    file: PartFile
    gate: Gate
    weeks: float
    usual: float


def find_ending_quotes(portfolio: Portfolio) -> Iterator[Ending]:
    """Yield quotes that run out within the shop's warning, or ran out, of parts whose tools are not ordered yet.

    A quote that another one stands in for (chosen, or younger of the same supplier) is nobody's worry.
    """
    for file in portfolio.parts.values():
        if file.standing.released or file.standing.is_dropped or _is_ordered(file):
            continue
        soon = file.workspace.today + dt.timedelta(days=file.workspace.catalogues.shop.quote_warning_days)
        chosen = find_chosen(file.part)
        for key, quote in file.part.quotes.items():
            younger = any(q.from_ == quote.from_ and q.on > quote.on for q in file.part.quotes.values())
            if quote.valid_to is not None and quote.valid_to <= soon and chosen in (None, key) and not younger:
                yield Ending(file, key, quote.valid_to, quote.from_)


def _is_ordered(file: PartFile) -> bool:
    return any(tool.state not in (None, ToolStep.QUOTED) for tool in file.part.tools.values())


def find_ended_waivers(file: PartFile, requirement: str) -> list[Waiver]:
    """Return the waivers of a requirement that have run out, the last one first."""
    gone = [
        w for w in file.part.waivers if w.of == requirement and not is_waiver_live(file.part, w, file.workspace.today)
    ]
    return gone[::-1]


def find_ending_waivers(portfolio: Portfolio) -> Iterator[tuple[PartFile, Waiver]]:
    """Yield waivers with a day that lies within the shop's warning, or behind us while the requirement is wanted."""
    for file in portfolio.parts.values():
        if file.standing.released or file.standing.is_dropped:
            continue
        today = file.workspace.today
        soon = today + dt.timedelta(days=file.workspace.catalogues.shop.quote_warning_days)
        wanted = {r.id for gate in file.standing.gates.values() for r in gate.open_requirements}
        for waiver in file.part.waivers:
            live = is_waiver_live(file.part, waiver, today)
            if isinstance(waiver.until, dt.date) and waiver.until <= soon and (live or waiver.of in wanted):
                yield file, waiver


def find_ageing(portfolio: Portfolio) -> list[Ageing]:
    """Return parts in work whose last evidence is older than their stage usually takes, the oldest first."""
    found = []
    for file in portfolio.parts.values():
        gate, last = file.standing.gate, file.standing.last_evidence
        if gate is None or file.standing.state in (GateState.HELD, GateState.DROPPED):
            continue
        usual = file.workspace.catalogues.families.families[file.part.family].weeks.get(gate)
        start = last or file.part.opened
        if usual is None or start is None:
            continue
        weeks = (file.workspace.today - start).days / 7
        if weeks > usual.high:
            found.append(Ageing(file, gate, weeks, usual.high))
    return sorted(found, key=lambda one: (-one.weeks, one.file.number))


def find_stuck(portfolio: Portfolio) -> tuple[OpenAge, ...]:
    """Return the parts that are longer in their stage than 85 % of their like, as the flow reckons it; none where the
    flow was not asked for."""
    outlook = find_outlook(portfolio)
    flow = None if outlook is None else outlook.flow
    return () if flow is None else tuple(age for age in flow.ages if age.band is AgeBand.STUCK)


def find_decided(portfolio: Portfolio, since: dt.date) -> list[tuple[PartFile, Decision]]:
    """Return the decisions from a day on, the youngest first."""
    found = [(f, d) for f in portfolio.parts.values() for d in f.part.decisions if since <= d.on <= f.workspace.today]
    return sorted(found, key=lambda pair: (-pair[1].on.toordinal(), pair[0].number))


def find_opened(portfolio: Portfolio, since: dt.date) -> list[tuple[PartFile, dt.date]]:
    """Return parts on which work began from a day on: the day is on record, or that of the first evidence."""
    found = []
    for file in portfolio.parts.values():
        days = [node.on for node in file.lineage.nodes.values() if node.on is not None]
        start = file.part.opened or min(days, default=None)
        if start is not None and since <= start <= file.workspace.today:
            found.append((file, start))
    return sorted(found, key=lambda pair: (-pair[1].toordinal(), pair[0].number))


def find_stale_files(portfolio: Portfolio) -> list[PartFile]:
    """Return the parts with a stale gate, less the dropped ones."""
    return [f for f in portfolio.parts.values() if not f.standing.is_dropped and _has_stale_gate(f)]


def _has_stale_gate(file: PartFile) -> bool:
    return any(gate.state is GateState.STALE for gate in file.standing.gates.values())


def find_stale_since(file: PartFile) -> dt.date | None:
    """Return the day of the youngest revision that made something stale, or else of the youngest entry that was added
    after a gate was decided that is stale now; None where neither did."""
    days = [
        file.part.revisions[reason.revision].on
        for reasons in file.lineage.reasons.values()
        for reason in reasons
        if reason.revision in file.part.revisions
    ]
    return max(days or _list_added(file), default=None)


def _list_added(file: PartFile) -> list[dt.date]:
    """Return the days on which something was added after a gate was decided that is stale now."""
    stale = [gate for gate in file.standing.gates.values() if gate.state is GateState.STALE]
    decided = [gate.decision.on for gate in stale if gate.decision is not None]
    return [day for _, day in find_added(file.part) if decided and min(decided) < day <= file.workspace.today]


def find_ready(portfolio: Portfolio) -> list[PartFile]:
    """Return the parts that wait for a decision."""
    return [f for f in portfolio.parts.values() if f.standing.state is GateState.READY]


def find_held_calls(portfolio: Portfolio) -> list[PartFile]:
    """Return the parts with a hold call."""
    return [f for f in portfolio.parts.values() if f.standing.hold_calls]
