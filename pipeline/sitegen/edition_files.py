"""The files of an outer edition: a closed world. What is not named here is not in it, whoever puts it there."""

from __future__ import annotations

import datetime as dt
import logging
import os
import posixpath
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import quote, unquote

from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import PluginError
from mkdocs.structure.files import Files
from mkdocs.utils import meta

from pipeline.model.edition import INTERNAL, OuterField
from pipeline.model.workspace import FileState
from pipeline.portfolio.edition_findings import build_pattern
from pipeline.portfolio.edition_unknown import EditionUnknown
from pipeline.portfolio.editions import (
    build_outer_catalogue,
    find_edition,
    list_embargoed,
    list_leaving,
)
from pipeline.portfolio.letting_out import list_numbers
from pipeline.portfolio.outer_part import OuterCatalogue, OuterPicture
from pipeline.portfolio.portfolio import Portfolio
from pipeline.reading.workspace import find_record_folders, read_catalogues
from pipeline.sitegen.edition_folders import find_edition_conflict
from pipeline.sitegen.evidence_copies import MAX_BYTES
from pipeline.sitegen.picture_stripping import CannotStrip, strip_picture
from pipeline.sitegen.rendering import build_environment, render_page
from pipeline.views.outer_addresses import find_picture
from pipeline.views.outer_site import build_outer_facts, build_outer_site
from pipeline.views.shapes_site import NavItem, Site

log = logging.getLogger("mkdocs.plugins.pipeline")

THEME_FILES = frozenset(
    [f"css/{name}.css" for name in ("colours", "drawing", "narrow", "paper", "outer")]
    + [f"js/{name}.js" for name in ("site", "search", "parts")]
    + ["img/mark.svg"]
)
"""What an outer site takes of the theme."""

WRITTEN_TEMPLATE = "outer_written.html"
_REFERENCES = re.compile(r"\]\(\s*<?([^)\s>#?]+)|\b(?:src|href)=[\"']([^\"'#?]+)")
_PICTURES = frozenset({".png", ".jpg", ".jpeg", ".gif", ".webp", ".svg"})
Add = Callable[[str, bytes], None]


def check_edition_name(root: Path, name: str) -> None:
    """Refuse an edition that a workspace does not have. Raises EditionUnknown, which lists those that it has."""
    if name == INTERNAL:
        return
    find_edition(read_catalogues(root, {}, []), name)


class OuterEdition:
    """One outer edition of a site while MkDocs builds it."""

    def __init__(self, name: str, root: Path, config: MkDocsConfig, logo: str) -> None:
        """Find the hand-written pages that say `editions: [<name>]` at their head; take the others out of `nav`."""
        self.name, self.root, self.logo = name, root, logo
        self.docs = Path(config.docs_dir)
        self.pages = dict(_find_written(self.docs, name))
        self.allowed: set[str] = set()
        self.count = 0
        self.day = dt.date(1970, 1, 1)
        self.embargoed: frozenset[str] = frozenset()
        self.numbers: re.Pattern[str] | None = None
        if config.nav is not None:
            config.nav = _keep_pages(config.nav, self.pages) or None

    def fill(
        self, files: Files, config: MkDocsConfig, portfolio: Portfolio, written: tuple[NavItem, ...], add: Add
    ) -> tuple[Site, dict[str, str]]:
        """Put in what this edition says, take out all else; return the facts of the site and its pages by address.

        Raises PluginError where the edition is not known, or a word would tell of a part that stays.
        """
        try:
            pictures = self._strip_pictures(portfolio)
            kept = {number: picture for number, (picture, _) in pictures.items()}
            catalogue = build_outer_catalogue(portfolio, self.name, kept)
        except EditionUnknown as error:
            raise PluginError(str(error)) from None
        unread = set(find_record_folders(self.root)) - set(portfolio.parts)  # nobody knows whether they are secret
        secret = {number for number in (*list_embargoed(portfolio), *unread) if _is_telling(number)}
        self.embargoed = frozenset(number.casefold() for number in secret)
        known = (number for file in portfolio.parts.values() for number in list_numbers(file.part))
        self.numbers = build_pattern((*known, *secret)) if secret else None
        self.count, self.day = len(catalogue.parts), catalogue.shop.today
        assets = self._find_assets()
        self._take_out(files, config, assets)
        site = build_outer_facts(
            catalogue, written, quote(self.logo) if self.logo in assets else "", _list_styles(config)
        )
        pages, texts = _render(catalogue, site, config)
        for address, text in texts.items():
            self.refuse_embargoed(address, text)
            self._add(add, address, text.encode("utf-8"))
        for picture, content in pictures.values():
            self.refuse_embargoed(f"the drawing of {picture.name}", content.decode("utf-8", "ignore"))
            self._add(add, unquote(find_picture(picture.name)), content)
        for path, content in assets.items():
            self._add(add, path, content)
        return site, pages

    def _add(self, add: Add, address: str, content: bytes) -> None:
        self.allowed.add(address)
        add(address, content)

    def _take_out(self, files: Files, config: MkDocsConfig, assets: Mapping[str, bytes]) -> None:
        """Leave the pages that are let out, the maker's own stylesheets, and what the pages need of the theme."""
        kept = {*self.pages, *_list_styles(config)}
        for file in list(files):
            is_theme = not Path(file.abs_src_path or "").is_relative_to(self.docs)
            if (file.src_uri in THEME_FILES and is_theme) or (file.src_uri in kept and not is_theme):
                self.allowed.add(unquote(file.dest_uri))
            else:
                files.remove(file)
        self.allowed -= set(assets)

    def _strip_pictures(self, portfolio: Portfolio) -> dict[str, tuple[OuterPicture, bytes]]:
        """Return the pictures of the parts that leave: named by number, with nothing beside their pixels."""
        workspace = portfolio.workspace
        says = find_edition(None if workspace is None else workspace.catalogues, self.name).fields
        found: dict[str, tuple[OuterPicture, bytes]] = {}
        for number in list_leaving(portfolio, self.name) if OuterField.PICTURE in says else ():
            path = portfolio.parts[number].part.picture
            state = None if path is None else portfolio.parts[number].workspace.files.get((number, path))
            if path is None or state is None or state.size is None or state.size > MAX_BYTES:
                continue
            if state.state not in (FileState.INTACT, FileState.CHANGED, FileState.UNLISTED):
                continue
            source = self.root / "projects" / number / path
            stripped = _strip(source, f"projects/{number}/{path}", OuterField.DRAWING_WORDS in says)
            if stripped is not None:
                name = f"{number}{stripped[1]}"
                found[number] = (OuterPicture(name, *stripped[2]), stripped[0])
        return found

    def _find_assets(self) -> dict[str, bytes]:
        """Return the logo and the pictures that hand-written pages show, stripped; anything else does not go along."""
        wanted = dict.fromkeys([self.logo] if self.logo else [])
        for page, text in self.pages.items():
            for match in _REFERENCES.finditer(text):
                target = unquote(match.group(1) or match.group(2))
                path = posixpath.normpath(posixpath.join(posixpath.dirname(page), target))
                if not path.startswith(("..", "/")) and (self.docs / path).is_file() and not path.endswith(".md"):
                    wanted[path] = None
        found: dict[str, bytes] = {}
        for path in wanted:
            if PurePosixPath(path).suffix.lower() not in _PICTURES:
                log.warning(f"{path} is no picture; only pictures go with a page of the {self.name} edition")
                continue
            stripped = _strip(self.docs / path, path, keep_words=True)
            if stripped is not None:
                found[path] = stripped[0]
        return found

    def refuse_embargoed(self, address: str, text: str) -> None:
        """Refuse a page or file that names a part of which outsiders must not know today. Raises PluginError."""
        told = () if self.numbers is None else self.numbers.findall(text)
        hit = next((number for number in told if number.casefold() in self.embargoed), None)
        if hit is not None:
            raise PluginError(
                f"{address} would name {hit}, which is confidential today; nothing was published. "
                "`pipeline check` says which words tell it (L501); take the number out of them"
            )

    def seal(self, site: Path) -> None:
        """Check that the site holds what was let out and nothing else; give its files the one day of the edition."""
        there = {path.relative_to(site).as_posix() for path in site.rglob("*") if path.is_file()}
        strange = sorted(there - self.allowed)
        if strange:
            shown = ", ".join(strange[:5])
            raise PluginError(
                f"{shown} is not part of the {self.name} edition; leave out whatever puts that there (another plugin "
                "of mkdocs.yml?)"
            )
        for name in sorted(there - THEME_FILES):
            self.refuse_embargoed(name, (site / name).read_bytes().decode("utf-8", "ignore"))
        seconds = dt.datetime.combine(self.day, dt.time(), dt.UTC).timestamp()
        for path in (*site.rglob("*"), site):
            os.utime(path, (seconds, seconds))


def open_edition(name: str, root: Path, config: MkDocsConfig, logo: str) -> OuterEdition | None:
    """Return the outer edition that is to be built, None for the internal one.

    Raises PluginError for a folder that holds another edition, or an edition that is not known.
    """
    conflict = find_edition_conflict(Path(config.site_dir).resolve(), name)
    if conflict:
        raise PluginError(conflict.replace("--out", "site_dir, or another --out"))
    if name == INTERNAL:
        return None
    try:
        check_edition_name(root, name)
    except EditionUnknown as error:
        raise PluginError(str(error)) from None
    return OuterEdition(name, root, config, logo)


def _render(catalogue: OuterCatalogue, site: Site, config: MkDocsConfig) -> tuple[dict[str, str], dict[str, str]]:
    """Return the pages, and all texts with them."""
    environment = build_environment(config.theme.dirs, site, _refuse_drawing)
    outer = build_outer_site(catalogue)
    pages = {unquote(at): render_page(environment, template, view, at) for at, (template, view) in outer.pages.items()}
    return pages, {**pages, **{unquote(at): text for at, text in outer.data.items()}}


def _refuse_drawing(chart: Any) -> str:
    raise TypeError(f"an outer page draws no figure, least of all {type(chart).__name__}")


def _strip(source: Path, shown: str, keep_words: bool) -> tuple[bytes, str, tuple[int, int]] | None:
    try:
        found = strip_picture(source.name, source.read_bytes(), keep_words)
    except (OSError, CannotStrip) as error:
        log.warning(f"{shown} does not leave the house: {error}")
        return None
    return found.content, found.ending, (found.width, found.height)


def _is_telling(number: str) -> bool:
    """True for a number that is no ordinary word or figure: only such a one is looked for everywhere."""
    return len(number) >= 4 and any(c.isdigit() for c in number) and any(c.isalpha() for c in number)


def _list_styles(config: MkDocsConfig) -> tuple[str, ...]:
    return tuple(str(style) for style in config.extra_css)


def _find_written(docs: Path, name: str) -> Iterator[tuple[str, str]]:
    """Yield the hand-written pages that an edition lets out, with their text."""
    for path in sorted(docs.rglob("*.md")) if docs.is_dir() else ():
        try:
            text, head = meta.get_data(path.read_text("utf-8-sig", "strict"))
        except (OSError, UnicodeDecodeError):
            continue
        told = head.get("editions", ())
        if name in ([told] if isinstance(told, str) else list(told) if isinstance(told, list | tuple) else []):
            yield path.relative_to(docs).as_posix(), text


def _keep_pages(nav: Any, pages: Iterable[str]) -> Any:
    """Return the entries of a `nav:` that lead to pages which are let out."""
    kept: list[Any] = []
    for entry in nav if isinstance(nav, list) else []:
        if isinstance(entry, str):
            kept += [entry] if entry in pages else []
        elif isinstance(entry, dict):
            inside = {
                title: target if isinstance(target, str) else _keep_pages(target, pages)
                for title, target in entry.items()
                if not isinstance(target, str) or target in pages
            }
            kept += [inside] if any(inside.values()) else []
    return kept
