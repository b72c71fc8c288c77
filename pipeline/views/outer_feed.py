"""The feed of an outer edition: what was announced and what is for sale, the youngest first."""

from __future__ import annotations

from pipeline.portfolio.outer_part import OuterCatalogue, OuterEvent, OuterNews, OuterPart
from pipeline.views.feed_text import name_id
from pipeline.views.outer_addresses import FEED, HOME, find_part_page
from pipeline.views.outer_words import word_fits
from pipeline.views.shapes_outlets import Feed, FeedEntry

MOST = 100
"""A reader that looks now and then misses nothing (common practice, no source)."""
_WORDS = {OuterEvent.ANNOUNCED: "announced", OuterEvent.FOR_SALE: "for sale now"}


def build_outer_feed(catalogue: OuterCatalogue) -> Feed:
    """Make the feed of an edition from what it says of its parts, and from nothing else."""
    shop = catalogue.shop
    found = [(news, part) for part in catalogue.parts for news in part.news]
    found.sort(key=lambda one: (-one[0].on.toordinal(), one[1].number, one[0].event is OuterEvent.ANNOUNCED))
    entries = tuple(_build_entry(catalogue, part, news) for news, part in found[:MOST])
    return Feed(
        id=name_id(shop.maker, shop.edition, "feed"),
        title=f"{shop.maker}: parts announced and for sale",
        subtitle="What is to be had now, and what was announced.",
        author=shop.maker,
        href=FEED,
        page=HOME,
        updated=entries[0].on if entries else shop.today,
        entries=entries,
    )


def _build_entry(catalogue: OuterCatalogue, part: OuterPart, news: OuterNews) -> FeedEntry:
    """One piece of news; its id stays the same when its day is corrected."""
    shop = catalogue.shop
    return FeedEntry(
        id=name_id(shop.maker, shop.edition, part.number, news.event.value),
        on=news.on,
        title=f"{part.number} {part.name}: {_WORDS[news.event]}",
        words=f"For {word_fits(part.fits)}.",
        href=find_part_page(part.number),
        kind=news.event.value,
    )
