"""Do all links of the generated pages lead somewhere? Checked in memory, before anything is published."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from html import unescape
from urllib.parse import unquote

_ADDRESS = re.compile(r'<(?:a|link|script|img|form|area|source)\b[^>]*?\s(?:href|src|action)="([^"]*)"')
_ID = re.compile(r'\sid="([^"]*)"')
_PART = re.compile(r"parts/([^/]+)\.html\Z")


@dataclass(frozen=True, order=True)
class BrokenLink:
    """A link that leads nowhere. ``source`` is what to mend: the record for a part's page, else the page itself."""

    source: str
    page: str
    address: str
    why: str

    def __str__(self) -> str:
        return f"{self.source}: the page {self.page} leads to {self.address}, {self.why}"


@dataclass(frozen=True)
class PageLinks:
    """Where the links of a page lead, each once, and the places in it that can be linked to."""

    addresses: tuple[str, ...]
    ids: frozenset[str]


def find_links(text: str) -> PageLinks:
    """Return the links and places of a page (HTML)."""
    addresses = dict.fromkeys(map(unescape, dict.fromkeys(_ADDRESS.findall(text))))
    return PageLinks(tuple(addresses), frozenset(map(unescape, _ID.findall(text))))


def check_links(
    pages: Mapping[str, str], files: Collection[str], looked: Mapping[str, PageLinks] | None = None
) -> list[BrokenLink]:
    """Return every link of ``pages`` (address -> HTML) that leads to no page, no file of ``files``, or no anchor.

    looked : links of further pages, which were found before.
    """
    links = {**(looked or {}), **{address: find_links(text) for address, text in pages.items()}}
    ids = {address: found.ids for address, found in links.items()}
    known = {*links, *files}
    good: set[tuple[str, str]] = set()
    return sorted({broken for page, found in links.items() for broken in _check_page(page, found, ids, known, good)})


def _check_page(
    page: str,
    links: PageLinks,
    ids: Mapping[str, Collection[str]],
    known: Collection[str],
    good: set[tuple[str, str]],
) -> Iterator[BrokenLink]:
    """Yield the broken links of a page. good : folder and address of those that were found to lead somewhere; pages of
    one folder share most of theirs."""
    folder = posixpath.dirname(page)
    for address in links.addresses:
        if (folder, address) in good:
            continue
        why = _judge(page, address, ids, known)
        if why:
            yield BrokenLink(find_source(page), page, address, why)
        elif address[:1] not in ("#", "?", ""):  # these lead into the page itself
            good.add((folder, address))


def _judge(page: str, address: str, ids: Mapping[str, Collection[str]], known: Collection[str]) -> str:
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]*:|//", address):
        return "which is not in the site"
    path, _, anchor = address.partition("#")
    path = unquote(path.partition("?")[0])
    target = page if not path else posixpath.normpath(posixpath.join(posixpath.dirname(page), path))
    if target not in known:
        return "where there is nothing"
    if anchor and target in ids and unquote(anchor) not in ids[target]:
        return f"which has no place called {unquote(anchor)}"
    return ""


def find_source(page: str) -> str:
    """Return what a page is made from.

    >>> find_source("parts/TW-101.html")
    'projects/TW-101/part.yaml'
    """
    found = _PART.match(page)
    return page if found is None or page == "parts/index.html" else f"projects/{found.group(1)}/part.yaml"
