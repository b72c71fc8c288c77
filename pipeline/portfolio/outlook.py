"""What a site knows beyond the records of today: their history from git, what moved since the last review, the flow."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pipeline.findings.finding import Finding
from pipeline.findings.report import sort_findings
from pipeline.history.repository import open_repository
from pipeline.portfolio.flow import Flow, compute_flow
from pipeline.portfolio.flow_ready import keep_ready
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.portfolio.reliance import EVERYTHING, note, take_notes
from pipeline.portfolio.review import ReviewResult, choose_since, review_since
from pipeline.portfolio.shop import Shop
from pipeline.portfolio.story import PartStory, Story, read_story
from pipeline.portfolio.story_findings import check_story

OUTLOOK, STORY, FORECAST = "outlook", "story", "forecast"
"""Key under which the shop keeps it."""


@dataclass(frozen=True)
class Outlook:
    """The history of the records, the review since the last one, and the flow (None: the catalogues are broken)."""

    story: Story
    review: ReviewResult | None
    flow: Flow | None


def look_out(
    portfolio: Portfolio, root: Path, *, signatures: bool = False, asked: str | None = None, with_flow: bool = True
) -> Portfolio:
    """Read the history, the review and the flow, and return the portfolio with what git contradicts among its findings.

    asked : from where the review looks; the last review, if None. Raises nothing for what a repository holds.
    """
    if portfolio.workspace is None:
        return portfolio
    with portfolio.timings.take("history"):
        opened = open_repository(root)
        story = read_story(root, portfolio.checked, opened, signatures=signatures)
        found = check_story(root, portfolio.checked, story) if story.repository is not None else ()
    with portfolio.timings.take("review"):
        review = review_since(root, portfolio, choose_since(root, portfolio, asked), opened)
    with portfolio.timings.take("flow"):
        flow = compute_flow(portfolio, root, recorded=list_recorded(story)) if with_flow else None
    joined = _join_findings(portfolio, found)
    for shop in _list_shops(joined):
        shop.kept[OUTLOOK] = Outlook(story, review, flow)
        if flow is not None:
            keep_ready(shop, flow.simulation.ready)
    return joined


def find_outlook(source: Portfolio | PartFile) -> Outlook | None:
    """Return what was read beyond the records; None where it was not asked for, or there is no part."""
    if isinstance(source, PartFile):
        note(OUTLOOK, EVERYTHING)
    shop = source.shop if isinstance(source, PartFile) else next(iter(_list_shops(source)), None)
    found = None if shop is None else shop.kept.get(OUTLOOK)
    return found if isinstance(found, Outlook) else None


def find_story(file: PartFile) -> tuple[Story | None, PartStory | None]:
    """Return the history of the workspace and of one part, None where it was not read.

    What asks relies on the history of this part alone, and on what `list_told` names.
    """
    note(STORY, file.number)
    with take_notes(aside=True):
        outlook = find_outlook(file)
    story = None if outlook is None else outlook.story
    return story, None if story is None else story.parts.get(file.number)


def list_told(file: PartFile) -> tuple[Any, ...]:
    """Return all that a page of a part can show of the history: two equal lists give equal pages."""
    story, told = find_story(file)
    if story is None:
        return ()
    record = None if told is None else told.record
    known = None if record is None else (record.changes, record.earlier_paths, record.broken, record.is_deleted)
    dated = () if told is None else (told.facts, told.doubts)
    shop = (story.history is None, story.conditions, story.people, story.signatures)
    return (told is None, dated, known, shop)


def list_recorded(story: Story) -> dict[str, Mapping[int, dt.date]]:
    """Return, for each part, when each of its decisions was recorded: what was not recorded yet was not known."""
    found: dict[str, Mapping[int, dt.date]] = {}
    for number, part in story.parts.items():
        pairs = [(int(f.entry), f.fact) for f in part.facts if f.section == "decisions"]
        known = [(place, fact.first) for place, fact in pairs if fact is not None and not fact.is_floor]
        found[number] = {place: first.committed_at.date() for place, first in known}
    return found


def _list_shops(portfolio: Portfolio) -> list[Shop]:
    return [file.shop for file in portfolio.parts.values()][:1]


def _join_findings(portfolio: Portfolio, more: Iterable[Finding]) -> Portfolio:
    """Return the portfolio with further findings, each on its part's page too."""
    added = tuple(more)
    if not added:
        return portfolio
    by_record: dict[str, list[Finding]] = {}
    for finding in added:
        by_record.setdefault(finding.record, []).append(finding)
    checked = replace(portfolio.checked, findings=sort_findings([*portfolio.findings, *added]))
    parts = {
        number: replace(file, findings=sort_findings([*file.findings, *by_record[number]]))
        if number in by_record
        else file
        for number, file in portfolio.parts.items()
    }
    for shop in _list_shops(portfolio):
        shop.parts |= parts
    return replace(portfolio, checked=checked, parts=parts)
