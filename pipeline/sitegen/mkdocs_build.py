"""One run of MkDocs over a workspace: what it is told, and what it says."""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import logging
import os
from collections.abc import Iterator
from pathlib import Path

import jinja2
from mkdocs.commands.build import build as build_with_mkdocs
from mkdocs.config.base import load_config
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.exceptions import Abort, ConfigurationError, PluginError

from pipeline.portfolio.portfolio import Portfolio
from pipeline.sitegen.built_site import BuiltSite, SiteNotBuilt, name_empty
from pipeline.sitegen.plugin import PipelinePlugin
from pipeline.sitegen.record_point import find_record_point
from pipeline.sitegen.unchanged import CONFIG, EPOCH
from pipeline.sitegen.written_pages import describe_template_error

_WARNINGS = logging.getLogger("mkdocs")


def build_into(
    root: Path, draft: Path, out: Path, today: dt.date | None, edition: str
) -> tuple[BuiltSite, dict[str, bytes]]:
    """Build the site of a workspace into an empty folder; ``out`` is where it will be, and where the old one is.

    Returns what was built, and path -> sha256 of the files whose content is known. Raises SiteNotBuilt when MkDocs
    refuses, OSError when the disk does.
    """
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
    drawn = plugin.drawn + plugin.cache.drawn
    built = BuiltSite(out, plugin.page_count, parts, portfolio.findings, tuple(heard), drawn)
    return built, plugin.digests


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
    folder = name_empty(site_dir)
    folder.mkdir(exist_ok=True)
    return folder


@contextlib.contextmanager
def _set_epoch(seconds: int) -> Iterator[None]:
    """Let everything that writes a time write this one; what the caller's environment says comes first."""
    before = os.environ.get(EPOCH)
    os.environ.setdefault(EPOCH, str(seconds))
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(EPOCH, None)


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
