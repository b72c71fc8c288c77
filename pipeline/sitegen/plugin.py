"""The MkDocs plugin: pages from records beside the pages that people wrote in Markdown.

Generated pages are plain files to MkDocs: they skip Markdown conversion, stay out of the navigation, and hand-written
pages can link to them. Source of the hooks: MkDocs user guide, "Plugins" (event reference), version 1.6.
"""

from __future__ import annotations

import datetime as dt
import gc
import logging
import os
import re
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import Any, Literal, cast
from urllib.parse import quote

import jinja2
from mkdocs.config import base
from mkdocs.config import config_options as options
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import PluginError
from mkdocs.livereload import LiveReloadServer
from mkdocs.plugins import BasePlugin, event_priority
from mkdocs.structure.files import Files
from mkdocs.structure.pages import Page

from pipeline.findings.finding import Severity
from pipeline.model.edition import INTERNAL
from pipeline.portfolio.build_cache import BuildCache
from pipeline.portfolio.outlook import look_out
from pipeline.portfolio.portfolio import Portfolio, build_portfolio
from pipeline.sitegen.alike_names import describe_alike, find_alike
from pipeline.sitegen.chart_cache import ChartCache
from pipeline.sitegen.edition_files import WRITTEN_TEMPLATE, OuterEdition, open_edition
from pipeline.sitegen.link_check import PageLinks, check_links
from pipeline.sitegen.made_files import MadeFile
from pipeline.sitegen.packed_texts import PackedTexts
from pipeline.sitegen.part_store import blank_commit, fill_commit
from pipeline.sitegen.record_point import RecordPoint, find_record_point
from pipeline.sitegen.rendering import dress_environment
from pipeline.sitegen.site_files import build_data_files
from pipeline.sitegen.site_making import Frame, make_site
from pipeline.sitegen.written_pages import find_template_fault
from pipeline.views.review_page import find_left_out
from pipeline.views.shapes_site import NavItem, PageHead, Site
from pipeline.views.site_facts import build_site_facts, find_site_address

log = logging.getLogger("mkdocs.plugins.pipeline")

WATCHED = ("projects", "shared")
_POLICY = re.compile(rb"(<meta http-equiv=\"Content-Security-Policy\" content=\"[^\"]*script-src 'self')( file:)?;")


class PipelineConfig(base.Config):  # type: ignore[no-untyped-call]
    """What a workspace may say under `plugins: - pipeline:` in its mkdocs.yml."""

    workspace = options.Optional(options.Type(str))
    """Folder with projects/ and shared/, from the folder of mkdocs.yml; its parent where nothing is said."""
    today = options.Optional(options.Type((str, dt.date)))
    """Day to speak of instead of today, e.g. 2026-11-30."""
    logo = options.Type(str, default="")
    """The maker's logo: a path in the folder of the hand-written pages."""
    edition = options.Type(str, default=INTERNAL)
    """What is shown: `internal`, all of it, or an edition of shared/editions.yaml."""


class PipelinePlugin(BasePlugin[PipelineConfig]):  # type: ignore[no-untyped-call]
    """Adds the portfolio to an MkDocs site."""

    command: str = "build"
    portfolio: Portfolio | None = None
    outer: OuterEdition | None = None
    pages: dict[str, str]
    links: dict[str, PageLinks]
    cache: ChartCache
    drawn: int = 0
    page_count: int = 0
    old_site: Path | None = None
    digests: dict[str, bytes]

    def on_startup(self, *, command: Literal["build", "gh-deploy", "serve"], dirty: bool) -> None:
        """Remember whether the site is served or built; also keeps this plugin across rebuilds."""
        del dirty
        self.command = command

    def on_config(self, config: MkDocsConfig) -> MkDocsConfig:
        """Find the workspace; keep addresses that open by double click; leave out what the theme has no use for."""
        if config.use_directory_urls:
            log.info(
                "Pages are written as name.html so that the site opens by double click (use_directory_urls: false)."
            )
            config.use_directory_urls = False
        config.theme.static_templates.clear()
        self.root = self._find_root(config)
        self.cache = ChartCache(self.root)
        self.pages, self.links, self.drawn, self.digests = {}, {}, 0, {}
        self.outer = open_edition(self.config.edition, self.root, config, self.config.logo)
        return config

    def _find_root(self, config: MkDocsConfig) -> Path:
        base_folder = Path(config.config_file_path or "mkdocs.yml").resolve().parent
        root = (base_folder / (self.config.workspace or "..")).resolve()
        missing = [name for name in WATCHED if not (root / name).is_dir()]
        if missing:
            raise PluginError(
                f"{root} is no workspace: it has no {' and no '.join(missing)}; set `workspace` of the plugin"
            )
        return root

    def _read_day(self) -> dt.date | None:
        stated: object = self.config.today
        if stated is None or isinstance(stated, dt.date):
            return stated
        try:
            return dt.date.fromisoformat(str(stated))
        except ValueError:
            raise PluginError(f"`today: {stated}` of the plugin is not a day; write it as 2026-11-30") from None

    def on_files(self, files: Files, *, config: MkDocsConfig) -> Files:
        """Read the workspace and add every page, table and copy of evidence as a plain file."""
        map_of_pages = files.get_file_from_path("sitemap.xml")
        if map_of_pages is not None:  # MkDocs' own template, which is of no use without an address of the site
            files.remove(map_of_pages)
        with _garbage_waits():
            filled = self._add_all(files, config) if self.outer is None else self._add_outer(self.outer, files, config)
        for alike in find_alike(file.dest_uri for file in filled):
            log.warning(describe_alike(alike))
        return filled

    def _add_outer(self, outer: OuterEdition, files: Files, config: MkDocsConfig) -> Files:
        """Read the workspace and put in what an outer edition says of it, and nothing else."""
        self.portfolio = build_portfolio(self.root, self._read_day())
        self.written = tuple(_find_written(config, files))

        def add(path: str, content: bytes) -> None:
            self._add(files, config, path, content)

        self.site, self.pages = outer.fill(files, config, self.portfolio, self.written, add)
        return files

    def on_page_markdown(self, markdown: str, *, page: Page, config: MkDocsConfig, files: Files) -> str:
        """Refuse a template that cannot show a hand-written page; one of an outer edition gets that edition's frame."""
        del files
        if self.outer is not None:
            page.meta["template"] = WRITTEN_TEMPLATE
        elif (fault := find_template_fault(page, config, self.root)) is not None:
            raise PluginError(fault)
        return markdown

    def on_post_page(self, output: str, *, page: Page, config: MkDocsConfig) -> str:
        """Let no hand-written page of an outer edition name what outsiders must not know."""
        del config
        if self.outer is not None:
            self.outer.refuse_embargoed(page.url, output)
        return output

    def _add_all(self, files: Files, config: MkDocsConfig) -> Files:
        with closing(BuildCache(self.root)) as cache:
            portfolio = build_portfolio(self.root, self._read_day(), deep=True, cache=cache)
            gc.freeze()
            portfolio = self.portfolio = look_out(portfolio, self.root)
            gc.freeze()
            self._report(portfolio)
            self.site = self._build_facts(portfolio, files, config)
            made = make_site(portfolio, self.root, self._build_frame(config), cache)
        self.drawn = made.drawn
        address = find_site_address(portfolio, config.site_url)
        data = build_data_files(portfolio, self.point.seconds, address) | made.tables
        self.links = {at: page.links for at, page in made.pages.items()}
        texts = {at: page.text for at, page in made.pages.items()}
        for path, text in {**texts, **data}.items():
            self._add(files, config, path, fill_commit(text, self.site).encode("utf-8"))
        for part in made.parts.values():
            self.links |= part.links
            for at in part.texts.addresses:
                self._add(files, config, at, make=partial(_make_text, part.texts, at, self.site))
        for copy in (copy for part in made.parts.values() for copy in part.copies):
            self._add(files, config, copy.path, copy.content, copy.source)
        return files

    def _build_frame(self, config: MkDocsConfig) -> Frame:
        """Return what every page is set in: the facts of the site, its address, the folders of the theme."""
        return Frame(blank_commit(self.site), str(config.site_url or ""), tuple(map(str, config.theme.dirs)))

    def _add(
        self,
        files: Files,
        config: MkDocsConfig,
        path: str,
        content: bytes | None = None,
        source: Path | None = None,
        make: Callable[[], bytes] | None = None,
    ) -> None:
        """Add one file, in place of a theme's file of that name; a hand-written page of that name wins, with a word.

        Its content, or where it is copied from, or what makes its content when it is written.
        """
        old = files.get_file_from_path(path)
        if old is not None and old.is_documentation_page():
            log.warning(f"{old.src_uri} has the address of a generated page and takes its place")
            return
        if old is not None:
            files.remove(old)
        if content is not None or make is not None:
            made = MadeFile.generated(config, path, content=content or b"")
        elif source is not None:
            made = MadeFile.generated(config, path, abs_src_path=str(source))
        else:
            return
        if isinstance(made, MadeFile):
            made.old_site, made.make, made.digests = self.old_site, make, self.digests
        files.append(made)

    def _report(self, portfolio: Portfolio) -> None:
        """Say in the log what had to be left out, with its place, and count the rest."""
        left_out = find_left_out(portfolio)
        for finding in left_out:
            log.warning(f"{finding.location}: {finding.rule} {finding.message} (left out of the site)")
        errors = sum(f.severity is Severity.ERROR for f in portfolio.findings) - len(left_out)
        others = len(portfolio.findings) - errors - len(left_out)
        log.info(f"{len(portfolio.parts)} parts; findings shown on their pages: {errors} errors, {others} others")

    def _build_facts(self, portfolio: Portfolio, files: Files, config: MkDocsConfig) -> Site:
        today = dt.date(1970, 1, 1) if portfolio.workspace is None else portfolio.workspace.today
        self.point: RecordPoint = find_record_point(self.root, today)
        self.written = tuple(_find_written(config, files))
        logo = self.config.logo
        if logo and files.get_file_from_path(logo) is None:
            log.warning(f"the logo {logo} is not in the folder of the hand-written pages")
            logo = ""
        styles = tuple(str(style) for style in config.extra_css)
        return build_site_facts(
            portfolio, self.point.commit, self.written, quote(logo), styles, str(config.site_name or "")
        )

    @event_priority(-100)
    def on_env(self, env: jinja2.Environment, *, config: MkDocsConfig, files: Files) -> jinja2.Environment:
        """Give the hand-written pages the same head line, foot and escaping."""
        del config, files
        return dress_environment(env, self.site, self.cache.draw)

    def on_page_context(self, context: Any, *, page: Page, config: MkDocsConfig, nav: Any) -> Any:
        """Mark where the reader is; let a hand-written page know the facts of the site."""
        del config, nav
        key = next((item.key for item in self.written if item.href == page.url), "")
        context["base_url"] = str(context["base_url"]) or "."
        context["view"] = _WrittenView(PageHead(str(page.title or ""), page.url, "", key))
        return context

    @event_priority(-100)
    def on_post_build(self, *, config: MkDocsConfig) -> None:
        """Check that every link of the generated pages leads somewhere, and that an outer site is what it may be."""
        site = Path(config.site_dir)
        files = _list_files(site)
        self.page_count = sum(name.endswith(".html") for name in files)
        for broken in check_links(self.pages, files, self.links):
            log.warning(str(broken))
        if self.outer is not None:
            self.outer.seal(site)

    def on_serve(self, server: LiveReloadServer, *, config: MkDocsConfig, builder: Any) -> LiveReloadServer:
        """Rebuild when a record or a catalogue changes; let MkDocs' own reloading script run in the preview only."""
        del config, builder
        for name in WATCHED:
            server.watch(str(self.root / name))
        _admit_reloading(server)
        return server


@contextmanager
def _garbage_waits() -> Iterator[None]:
    """Records and views are many objects that all stay until the site is written: looking for garbage among them often
    only costs time. What is there already is left out of every search until the end."""
    before = gc.get_threshold()
    gc.set_threshold(200_000, 50, 1000)
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)


def _make_text(texts: PackedTexts, address: str, site: Site) -> bytes:
    return fill_commit(texts.read(address), site).encode("utf-8")


def _list_files(folder: Path) -> list[str]:
    """Return the paths of all files of a folder, with `/`."""
    found: list[str] = []
    for place, _, names in os.walk(folder):
        inside = Path(place).relative_to(folder).as_posix()
        found += names if inside == "." else (f"{inside}/{name}" for name in names)
    return found


class _WrittenView:
    """What a template knows of a hand-written page besides MkDocs' own `page`."""

    def __init__(self, head: PageHead) -> None:
        self.head = head


def _find_written(config: MkDocsConfig, files: Files) -> Iterator[NavItem]:
    """Yield the hand-written pages that `nav:` names with a title, for the head line."""
    for entry in cast("list[Any]", config.nav or []):
        if not isinstance(entry, dict):
            continue
        for title, path in entry.items():
            file = files.get_file_from_path(path) if isinstance(path, str) else None
            if file is not None:
                yield NavItem(f"page-{file.src_uri}", str(title), file.url)


def _admit_reloading(server: LiveReloadServer) -> None:
    """Widen the policy of pages as they are served by `mkdocs serve`: its script stands in the page itself.

    What is written to disk keeps the strict policy.
    """
    inject = getattr(server, "_inject_js_into_html", None)
    if inject is None:
        return

    def inject_admitted(content: bytes, epoch: int) -> bytes:
        wide = _POLICY.sub(rb"\1\2 'unsafe-inline'; connect-src 'self';", content)
        injected: bytes = inject(wide, epoch)
        return injected

    server._inject_js_into_html = inject_admitted  # type: ignore[method-assign]
