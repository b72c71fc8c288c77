"""The pages of a site, from a portfolio: those of parts that did not change are taken from the last build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.portfolio import Portfolio
from pipeline.portfolio.reliance import NotPlain, compute_digest
from pipeline.sitegen.chart_cache import ChartCache
from pipeline.sitegen.link_check import PageLinks, find_links
from pipeline.sitegen.part_store import PartOutput, PartStore, compute_theme_digest
from pipeline.sitegen.rendering import build_environment
from pipeline.sitegen.site_files import PartViews, Views, build_views, find_tables, render_pages
from pipeline.views.shapes_site import Site

ROOM = "pages"


@dataclass(frozen=True)
class Frame:
    """What every page is set in: the facts of the site (a place for the commit), its address, the theme's folders."""

    site: Site
    address: str
    theme: tuple[str, ...]


@dataclass(frozen=True)
class MadePage:
    """A finished page, without the commit, and where its links lead."""

    text: str
    links: PageLinks


@dataclass(frozen=True)
class MadeSite:
    """The pages of the shop by address, with the views of what was made anew; and all that there is of each part."""

    views: Views
    pages: Mapping[str, MadePage]
    parts: Mapping[str, PartOutput]


def make_site(portfolio: Portfolio, root: Path, frame: Frame, cache: BuildCache, charts: ChartCache) -> MadeSite:
    """Make every page: render what is new or relied on something that changed, and keep it for the next build."""
    common = (frame.site, frame.address, compute_theme_digest(frame.theme))
    store, shelf = PartStore(root, portfolio, cache, common), PageShelf(cache, common)
    known = store.recall()
    views = build_views(portfolio, root, frame.address, known)
    ready = shelf.recall(views.shop)
    fresh = {at: page for at, page in views.shop.items() if at not in ready}
    for part in views.parts.values():
        fresh.update(part.pages)
    texts = render_pages(fresh, build_environment(frame.theme, frame.site, charts.hold_place), charts)
    made = {at: MadePage(text, find_links(text)) for at, text in texts.items()}
    pages = {at: ready.get(at) or shelf.keep(at, made[at]) for at in views.shop}
    parts = {n: known.get(n) or store.keep(n, _gather(views.parts[n], made), views.parts[n]) for n in portfolio.parts}
    return MadeSite(views, pages, parts)


def _gather(views: PartViews, made: Mapping[str, MadePage]) -> PartOutput:
    texts = {at: made[at].text for at in views.pages}
    links = {at: made[at].links for at in views.pages}
    return PartOutput(texts, find_tables(views.pages), views.copies, links)


class PageShelf:
    """Pages of no single part, by what they show: an equal view in the same template gives the same page."""

    def __init__(self, cache: BuildCache, common: Iterable[Any]) -> None:
        self.cache = cache
        self.stamp = f"{compute_code_stamp()}{compute_digest(tuple(common))}"
        self._shown: dict[str, str] = {}

    def recall(self, pages: Mapping[str, tuple[str, Any]]) -> dict[str, MadePage]:
        """Return the pages that would come out as they did."""
        for at, page in pages.items():
            with suppress(NotPlain):
                self._shown[at] = compute_digest(page)
        found: dict[str, MadePage] = {}
        for at, kept in self.cache.take_all(ROOM, self.stamp):
            try:
                if at in pages and kept["shown"] == self._shown.get(at):
                    addresses, ids = kept["links"]
                    found[at] = MadePage(kept["text"], PageLinks(tuple(addresses), frozenset(ids)))
                    self.cache.mark_used(ROOM, at)
            except (KeyError, TypeError, ValueError):
                continue  # not what we write: made anew
        return found

    def keep(self, at: str, page: MadePage) -> MadePage:
        """Keep a page that was rendered; returns it."""
        if at in self._shown:
            links = [list(page.links.addresses), sorted(page.links.ids)]
            self.cache.keep(ROOM, at, self.stamp, {"shown": self._shown[at], "text": page.text, "links": links})
        return page
