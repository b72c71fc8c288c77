"""What leaves the site for other programs: entries of the feed and days of the calendar, already worded."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class FeedEntry:
    """One gate event. ``id`` stays the same for ever; ``on`` is the day that the record gives it.

    ``href`` is a path from the root of the site, ``kind`` its word (`gone stale`), ``who`` the person who decided it
    (empty: nobody did).
    """

    id: str
    on: dt.date
    title: str
    words: str
    href: str
    kind: str
    who: str = ""


@dataclass(frozen=True)
class Feed:
    """The gate events, the youngest first. ``href`` is the feed's own path, ``page`` that of the page which shows the
    same, ``updated`` the day on which anything last moved."""

    id: str
    title: str
    subtitle: str
    author: str
    href: str
    page: str
    updated: dt.date
    entries: tuple[FeedEntry, ...]


@dataclass(frozen=True)
class DueDay:
    """A day that matters to somebody. ``id`` stays the same when the day moves; ``kind`` is its word (`quote ends`).

    ``who`` are the ids of the people whom it concerns. ``every`` repeats it every so many days, 0 never.
    """

    id: str
    on: dt.date
    title: str
    words: str
    href: str
    kind: str
    who: frozenset[str]
    every: int = 0


@dataclass(frozen=True)
class DayCalendar:
    """Days in the order of the calendar. ``href`` is its own path in the site."""

    name: str
    words: str
    href: str
    days: tuple[DueDay, ...]
