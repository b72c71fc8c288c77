"""Build the site of a workspace: beside the old one, then in its place in one step."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import logging
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import jinja2
from mkdocs.commands.build import build as build_with_mkdocs
from mkdocs.config.base import load_config
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import Abort, ConfigurationError, PluginError

from pipeline.findings.finding import Finding
from pipeline.model.edition import INTERNAL
from pipeline.portfolio.portfolio import Portfolio
from pipeline.sitegen.edition_files import check_edition_name, find_edition_conflict
from pipeline.sitegen.plugin import PipelinePlugin
from pipeline.sitegen.record_point import find_record_point
from pipeline.sitegen.site_lock import lock_site
from pipeline.sitegen.written_pages import describe_template_error

DEFAULT_OUT = "build/site"
CONFIG = "site/mkdocs.yml"
_EPOCH = "SOURCE_DATE_EPOCH"
_WARNINGS = logging.getLogger("mkdocs")


class SiteNotBuilt(Exception):
    """The site could not be built; the old one, if there is one, is as it was."""


@dataclass(frozen=True)
class BuiltSite:
    """A site that was built: where, how many pages, what was found, what the log warned of, what was drawn anew."""

    out: Path
    pages: int
    parts: int
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    drawn: int

    @property
    def index(self) -> Path:
        """The first page."""
        return self.out / "index.html"


def build_site(root: Path, out: Path | None = None, today: dt.date | None = None, edition: str = INTERNAL) -> BuiltSite:
    """Build the site of a workspace into `out` (`build/site`, or `build/<edition>` of the workspace, if None).

    The new site is built in a folder beside `out` and then takes its place: whatever stops a build (a crash, a kill, a
    full disk) leaves the old site whole. Two builds of one commit and day give the same bytes.

    Raises EditionUnknown for an edition that the workspace does not have, SiteBusy when another build of the same site
    is running, SiteNotBuilt when MkDocs refuses, OSError when the disk does.
    """
    root = root.resolve()
    check_edition_name(root, edition)
    default = DEFAULT_OUT if edition == INTERNAL else f"build/{edition}"
    out = (root / default if out is None else out).resolve()
    _refuse_wrong_place(root, out)
    conflict = find_edition_conflict(out, edition)
    if conflict:
        raise SiteNotBuilt(conflict)
    with lock_site(out):
        _sweep(out)
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".part", dir=out.parent))
        try:
            built = _build_into(root, draft, out, today, edition)
            draft.chmod(0o755)
            swap_folders(draft, out)
        finally:
            for left in (draft, _name_empty(draft)):
                shutil.rmtree(left, ignore_errors=True)
    return built


def _refuse_wrong_place(root: Path, out: Path) -> None:
    """Never put a site where something else is: over records, or over a folder that is no site."""
    for name in ("projects", "shared", "site", ".git"):
        place = root / name
        if out == place or place in out.parents:
            raise SiteNotBuilt(f"{out} lies in {name}/, among what the site is made from; choose another --out")
    if out == root or out in root.parents:
        raise SiteNotBuilt(f"{out} holds the workspace itself; choose another --out")
    if out.is_dir() and any(out.iterdir()) and not (out / "index.html").is_file():
        raise SiteNotBuilt(f"{out} is not empty and is no site; choose another --out, or empty it yourself")
    if out.exists() and not out.is_dir():
        raise SiteNotBuilt(f"{out} is a file; choose another --out")


def _sweep(out: Path) -> None:
    """Take away what a killed build left behind. We hold the lock, so nobody else is using it.

    A site that was moved aside and whose successor never arrived goes back to its place first.
    """
    aside = out.parent / f".{out.name}.old"
    if aside.is_dir() and not out.exists():
        aside.replace(out)
    for left in [*out.parent.glob(f".{out.name}.*.part"), aside]:
        shutil.rmtree(left, ignore_errors=True)


def swap_folders(draft: Path, out: Path) -> None:
    """Put a finished site in the place of the old one by two renames.

    A kill between the two is mended by the next build, or the next `serve`.
    """
    aside = out.parent / f".{out.name}.old"
    if out.exists():
        out.replace(aside)
    try:
        draft.replace(out)
    except OSError:
        if aside.is_dir():
            aside.replace(out)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _build_into(root: Path, draft: Path, out: Path, today: dt.date | None, edition: str) -> BuiltSite:
    with _listen() as heard:
        try:
            config = load_site_config(root, draft, today, edition)
            plugin = config.plugins["pipeline"]
            if not isinstance(plugin, PipelinePlugin):
                raise SiteNotBuilt(f"{CONFIG} does not name the plugin `pipeline`")
            plugin.old_site = out if out.is_dir() else None
            day = today or dt.date.today()
            with _set_epoch(find_record_point(root, day).seconds):
                build_with_mkdocs(config)
        except KeyError:
            raise SiteNotBuilt(f"{CONFIG} does not name the plugin `pipeline` under plugins:") from None
        except (Abort, ConfigurationError, PluginError) as error:
            raise SiteNotBuilt(_tell_stop(heard, error)) from error
        except jinja2.TemplateError as error:
            raise SiteNotBuilt(describe_template_error(error)) from error
    portfolio: Portfolio | None = plugin.portfolio
    if portfolio is None:
        raise SiteNotBuilt("the records were not read")
    parts = len(portfolio.parts) if plugin.outer is None else plugin.outer.count
    return BuiltSite(out, plugin.page_count, parts, portfolio.findings, tuple(heard), plugin.drawn + plugin.cache.drawn)


def _tell_stop(heard: list[str], error: Exception) -> str:
    """Say why MkDocs stopped, without what it says of itself: which page it was at, that it aborted."""
    said = [message for message in heard if not message.startswith("Error ") or not message.endswith("':")]
    if not isinstance(error, Abort) or not said:
        said.append(str(error))
    return "; ".join(said)


def load_site_config(
    root: Path, site_dir: Path, today: dt.date | None = None, edition: str | None = None
) -> MkDocsConfig:
    """Return the MkDocs configuration of a workspace: its own site/mkdocs.yml, or the plainest one that works."""
    path = root / CONFIG
    if path.is_file():
        config = load_config(config_file=str(path), site_dir=str(site_dir))
    else:
        docs = root / "site" / "pages"
        text = f"site_name: {root.name!r}\ntheme: {{name: pipeline}}\nuse_directory_urls: false\n"
        text += f"plugins: [{{pipeline: {{workspace: {str(root)!r}}}}}]\n"
        place = {} if docs.is_dir() else {"docs_dir": str(_make_empty(site_dir))}
        config = load_config(
            config_file=io.BytesIO(text.encode()),
            config_file_path=str(path),
            site_dir=str(site_dir),
            **({"docs_dir": str(docs)} | place),
        )
    plugin = config.plugins.get("pipeline")
    if isinstance(plugin, PipelinePlugin) and today is not None:
        plugin.config.today = today
    if isinstance(plugin, PipelinePlugin) and edition is not None:
        plugin.config.edition = edition
    return config


def _make_empty(site_dir: Path) -> Path:
    """Return an empty folder for a workspace without hand-written pages."""
    folder = _name_empty(site_dir)
    folder.mkdir(exist_ok=True)
    return folder


def _name_empty(site_dir: Path) -> Path:
    return site_dir.with_name(site_dir.name.removesuffix(".part") + ".pages.part")


@contextlib.contextmanager
def _set_epoch(seconds: int) -> Iterator[None]:
    """Let everything that writes a time write this one; what the caller's environment says comes first."""
    before = os.environ.get(_EPOCH)
    os.environ.setdefault(_EPOCH, str(seconds))
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(_EPOCH, None)


class _Ear(logging.Handler):
    """Collects warnings and errors of the build."""

    def __init__(self, heard: list[str]) -> None:
        super().__init__(logging.WARNING)
        self.heard = heard

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.heard.append(record.getMessage())


@contextlib.contextmanager
def _listen() -> Iterator[list[str]]:
    heard: list[str] = []
    ear = _Ear(heard)
    _WARNINGS.addHandler(ear)
    propagates, _WARNINGS.propagate = _WARNINGS.propagate, False
    try:
        yield heard
    finally:
        _WARNINGS.removeHandler(ear)
        _WARNINGS.propagate = propagates
