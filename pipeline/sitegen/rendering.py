"""Templates set up once: text is always escaped, figures come from the cache, the facts of the site are known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from pipeline.views.shapes_site import Site

THEME = Path(__file__).with_name("theme")


class _Compiled(jinja2.BytecodeCache):
    """Templates compiled once in a process, for all its builds; nothing is read from the disk."""

    def __init__(self) -> None:
        self.known: dict[str, bytes] = {}

    def load_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        """Take what was compiled before."""
        if bucket.key in self.known:
            bucket.bytecode_from_string(self.known[bucket.key])

    def dump_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
        """Keep what was compiled now."""
        self.known[bucket.key] = bucket.bytecode_to_string()


_COMPILED = _Compiled()


def dress_environment(environment: jinja2.Environment, site: Site, draw: Callable[[Any], str]) -> jinja2.Environment:
    """Make a template environment ours: escaping on, unknown names refused, `draw`, the facts of the site."""
    environment.autoescape = True
    environment.bytecode_cache = _COMPILED
    environment.undefined = jinja2.StrictUndefined
    environment.filters["draw"] = lambda chart: Markup(draw(chart))
    environment.globals["site"] = site
    return environment


def build_environment(folders: Sequence[str | Path], site: Site, draw: Callable[[Any], str]) -> jinja2.Environment:
    """Return the environment for generated pages; ``folders`` are those of the theme, the maker's own first."""
    loader = jinja2.FileSystemLoader([str(folder) for folder in folders] or [str(THEME)])
    environment = jinja2.Environment(loader=loader, autoescape=True, auto_reload=False)
    return dress_environment(environment, site, draw)


def find_base(address: str) -> str:
    """Return the way from a page to the root of the site.

    >>> find_base("index.html"), find_base("parts/TW-101.html")
    ('.', '..')
    """
    return "/".join([".."] * address.count("/")) or "."


def render_page(environment: jinja2.Environment, template: str, view: object, address: str) -> str:
    """Render one page."""
    return environment.get_template(template).render(view=view, base_url=find_base(address), page=None)
