"""A calendar as iCalendar: the format that calendar programs know. Source: RFC 5545; name and refreshing: RFC 7986."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator

from pipeline.views.shapes_outlets import DayCalendar, DueDay
from pipeline.views.web_address import join_address

LINE_OCTETS = 75
"""Longest line, without its line break. Source: RFC 5545, 3.1."""
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def render_calendar(calendar: DayCalendar, made_at: int, site: str = "") -> str:
    """Return the iCalendar text of a calendar: every event takes a whole day and none of anybody's time.

    made_at : seconds since 1970 of the records' last commit, so that two builds give the same bytes. site : address
    where the site is served; events have no address where none is known (RFC 5545 has no relative ones).
    """
    stamp = dt.datetime.fromtimestamp(made_at, dt.UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//repro-pipeline//days of a portfolio//EN",
        "CALSCALE:GREGORIAN",
        f"NAME:{escape_text(calendar.name)}",
        f"DESCRIPTION:{escape_text(calendar.words)}",
        "REFRESH-INTERVAL;VALUE=DURATION:P1D",
        *(line for day in calendar.days for line in _list_event(day, stamp, site)),
        "END:VCALENDAR",
    ]
    return "".join(fold_line(line) for line in lines)


def _list_event(day: DueDay, stamp: str, site: str) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{day.id.removeprefix('urn:uuid:')}"
    yield f"DTSTAMP:{stamp}"
    yield f"DTSTART;VALUE=DATE:{day.on:%Y%m%d}"
    if day.every:
        yield f"RRULE:FREQ=DAILY;INTERVAL={day.every}"
    yield f"SUMMARY:{escape_text(day.title)}"
    yield f"DESCRIPTION:{escape_text(day.words)}"
    yield f"CATEGORIES:{escape_text(day.kind)}"
    address = join_address(site, day.href) if day.href else ""
    if address != day.href:
        yield f"URL:{address}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def escape_text(text: str) -> str:
    r"""Return a text as a value of the type TEXT. Source: RFC 5545, 3.3.11.

    >>> print(escape_text("one, two; a\\b\nnext"))
    one\, two\; a\\b\nnext
    """
    plain = _CONTROL.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))
    plain = plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\n", "\\n")


def fold_line(line: str) -> str:
    r"""Return a line with its line break, folded so that no piece is longer than 75 octets and no letter is cut.

    >>> [len(piece.encode()) for piece in fold_line("SUMMARY:" + "é" * 60).split("\r\n")]
    [74, 55, 0]
    """
    pieces, piece, room = [], "", LINE_OCTETS
    for letter in line:
        size = len(letter.encode("utf-8", "replace"))
        if size > room:
            pieces.append(piece)
            piece, room = "", LINE_OCTETS - 1  # the space that begins a continued line
        piece, room = piece + letter, room - size
    return "\r\n ".join((*pieces, piece)) + "\r\n"
