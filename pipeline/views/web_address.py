"""Addresses of a site that is served somewhere; this module knows nothing of records, so that any page may use it."""

from __future__ import annotations

import re


def join_address(base: str, href: str) -> str:
    """Return an address below the address where the site is served; the path itself where none is known.

    Only an http or https address counts: anything else in shared/shop.yaml is no place of a site.

    >>> join_address("https://site.invalid/parts", "feed.xml"), join_address("", "feed.xml")
    ('https://site.invalid/parts/feed.xml', 'feed.xml')
    """
    return f"{base.rstrip('/')}/{href}" if re.fullmatch(r"https?://[^\s<>\"]+", base) else href
