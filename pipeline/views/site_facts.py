"""What every page knows of the site: maker, day, record, the words of the head line."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import (
    BUYING,
    CALENDAR,
    FEED,
    FLOW,
    HOME,
    MARKS,
    METHODS,
    PARTS,
    REGISTERS,
    REVIEW,
    RULES,
    SPEND,
    VEHICLES,
)
from pipeline.views.shapes_site import NavItem, Site
from pipeline.views.wording import word_day

_NAV = (
    NavItem("home", "What needs you", HOME),
    NavItem("review", "Review", REVIEW),
    NavItem("parts", "Parts", PARTS),
    NavItem("vehicles", "Vehicles", VEHICLES),
    NavItem("spend", "Tooling spend", SPEND),
    NavItem("flow", "Flow", FLOW),
    NavItem("buying", "Buying", BUYING),
    NavItem("registers", "Registers", REGISTERS),
    NavItem("method", "Method", METHODS),
    NavItem("rules", "Rules", RULES),
)


def find_site_address(portfolio: Portfolio, configured: str | None = None) -> str:
    """Return the address where the site is served: that of mkdocs.yml (`site_url`), else of shared/shop.yaml; empty
    where none is known."""
    shop = None if portfolio.workspace is None else portfolio.workspace.catalogues.shop
    return configured or ("" if shop is None else shop.site or "")


def build_site_facts(
    portfolio: Portfolio,
    commit: str = "",
    pages: Sequence[NavItem] = (),
    logo_href: str = "",
    styles: tuple[str, ...] = (),
    name: str = "",
) -> Site:
    """Make the facts of the whole site.

    commit : short id of the commit that the records are read from; empty where there is none. pages : hand-written
    pages of the head line. name : the maker's name where the catalogues cannot be read.
    """
    workspace = portfolio.workspace
    shop = None if workspace is None else workspace.catalogues.shop
    return Site(
        maker=name or "A workspace" if shop is None else shop.name,
        edition="internal",
        as_of="–" if workspace is None else word_day(workspace.today),
        commit=commit or "not in git",
        nav=(*_NAV, *pages),
        home_href=HOME,
        parts_href=PARTS,
        marks_href=MARKS,
        note="" if shop is None else shop.note or "",
        logo_href=logo_href,
        styles=styles,
        feed_href="" if shop is None else FEED,
        calendar_href="" if shop is None else CALENDAR,
    )
