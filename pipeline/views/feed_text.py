"""A feed as Atom: the format that feed readers know. Source: RFC 4287."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from xml.sax.saxutils import escape, quoteattr

from pipeline.views.shapes_outlets import Feed, FeedEntry
from pipeline.views.web_address import join_address

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What no XML document may hold. Source: XML 1.0, 2.2."""


def name_id(*words: str) -> str:
    """Return an id that the same words always give, as `urn:uuid:` (RFC 4122, version 5).

    >>> name_id("Brackmoor Works", "TW-101", "die") == name_id("Brackmoor Works", "TW-101", "die")
    True
    """
    return uuid.uuid5(uuid.NAMESPACE_OID, "\x1f".join(("repro-pipeline", *words))).urn


def render_feed(feed: Feed, site: str = "") -> str:
    """Return the Atom document of a feed.

    site : address where the site is served; links are relative to the feed where none is known (they are resolved
    against the address that the feed was read from: RFC 4287, 2; RFC 3986, 5.1). The feed lies in the site's root.
    """
    lines = [
        '<?xml version="1.0" encoding="utf-8"?>',
        '<feed xmlns="http://www.w3.org/2005/Atom" xml:lang="en">',
        _element("id", feed.id),
        _element("title", feed.title),
        _element("subtitle", feed.subtitle),
        _element("updated", word_moment(feed.updated)),
        f"<author>{_element('name', feed.author)}</author>",
        '<generator uri="urn:repro-pipeline">repro-pipeline</generator>',
        _link("self", "application/atom+xml", join_address(site, feed.href)),
        _link("alternate", "text/html", join_address(site, feed.page)),
        *(_render_entry(entry, site) for entry in feed.entries),
        "</feed>",
    ]
    return "\n".join(lines) + "\n"


def _render_entry(entry: FeedEntry, site: str) -> str:
    author = f"<author>{_element('name', entry.who)}</author>" if entry.who else ""
    return "\n".join(
        (
            "<entry>",
            _element("id", entry.id),
            _element("title", entry.title),
            _element("updated", word_moment(entry.on)),
            f"{author}<category term={_quote(entry.kind)}/>",
            _link("alternate", "text/html", join_address(site, entry.href)),
            f'<summary type="text">{_clean(entry.words)}</summary>',
            "</entry>",
        )
    )


def word_moment(day: dt.date) -> str:
    """Return the start of a day as a moment. Source: RFC 3339, 5.6, with T and Z in capitals (RFC 4287, 3.3).

    >>> word_moment(dt.date(2026, 11, 2))
    '2026-11-02T00:00:00Z'
    """
    return f"{day.isoformat()}T00:00:00Z"


def _clean(text: str) -> str:
    return escape(_NOT_XML.sub("\ufffd", text))


def _quote(text: str) -> str:
    return quoteattr(_NOT_XML.sub("\ufffd", text))


def _element(name: str, text: str) -> str:
    return f"<{name}>{_clean(text)}</{name}>"


def _link(relation: str, kind: str, href: str) -> str:
    return f'<link rel="{relation}" type="{kind}" href={_quote(href)}/>'
