"""The pages of a site, from a portfolio: those of parts that did not change are taken from the last build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jinja2

from pipeline.portfolio.build_cache import BuildCache, compute_code_stamp
from pipeline.portfolio.many_hands import ManyHands
from pipeline.portfolio.portfolio import Portfolio
from pipeline.portfolio.reliance import NotPlain, compute_digest
from pipeline.sitegen.chart_cache import ChartCache
from pipeline.sitegen.link_check import PageLinks, find_links
from pipeline.sitegen.packed_texts import pack_texts
from pipeline.sitegen.part_store import MadePart, PartOutput, PartStore, compute_theme_digest
from pipeline.sitegen.rendering import build_environment
from pipeline.sitegen.site_files import build_part_views, build_shop_views, find_tables, render_pages
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
    """The pages of the shop by address, with their tables; all that there is of each part; how many figures were
    drawn."""

    pages: Mapping[str, MadePage]
    tables: dict[str, str]
    parts: Mapping[str, PartOutput]
    drawn: int


def make_site(portfolio: Portfolio, root: Path, frame: Frame, cache: BuildCache) -> MadeSite:
    """Make every page: render what is new or relied on something that changed, and keep it for the next build."""
    common = (frame.site, frame.address, compute_theme_digest(frame.theme))
    store, shelf, charts = PartStore(root, portfolio, cache, common), PageShelf(cache, common), ChartCache(root)
    environment = build_environment(frame.theme, frame.site, charts.draw_in_page)
    known = store.recall()
    maker = PartMaker(portfolio, root, frame, environment, charts)
    hands = ManyHands([number for number in portfolio.parts if number not in known], maker.make).start()
    views = build_shop_views(portfolio, root)
    pages = shelf.recall(views)
    fresh = {at: page for at, page in views.items() if at not in pages}
    for at, text in render_pages(fresh, environment).items():
        pages[at] = shelf.keep(at, MadePage(text, find_links(text)))
    drawn = charts.drawn
    for part in hands.finish():
        known[part.number] = store.keep(part)
        drawn += part.drawn
    charts.sweep()
    tables = find_tables(views)
    return MadeSite({at: pages[at] for at in views}, tables, {n: known[n] for n in portfolio.parts}, drawn)


class PartMaker:
    """Makes all that the site has of a part, from the portfolio alone: two processes may do it at once."""

    def __init__(
        self, portfolio: Portfolio, root: Path, frame: Frame, environment: jinja2.Environment, charts: ChartCache
    ) -> None:
        self.parts, self.root, self.frame = portfolio.parts, root, frame
        self.environment, self.charts = environment, charts

    def make(self, number: str) -> MadePart:
        """Make the pages of a part, and say what they rely on."""
        before = self.charts.drawn
        views = build_part_views(self.parts[number], self.root, self.frame.address)
        texts = render_pages(views.pages, self.environment)
        links = {at: find_links(text) for at, text in texts.items()}
        output = PartOutput(pack_texts(texts | find_tables(views.pages)), views.copies, links)
        return MadePart(number, output, views.relied, self.charts.drawn - before)


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
