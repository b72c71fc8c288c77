"""Templates set up once: text is always escaped, figures come from the cache, the facts of the site are known."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup, escape

from pipeline.views.shapes_marks import Line, Tone
from pipeline.views.shapes_site import Site

THEME = Path(__file__).with_name("theme")


_WHOLE = re.compile(r"\b[A-Z0-9]+(?:-[A-Z0-9]+)+\b")
_NOT_NEEDED = re.compile(
    r"</t[dh]>(?=\s*(?:<t[dh][ >]|</tr>))|</tr>(?=\s*(?:<tr[ >]|</t(?:body|head|foot|able)>))"
    r"|</li>(?=\s*(?:<li[ >]|</[uo]l>))"
)
"""End tags that the next tag implies (HTML, "Optional tags"): a twentieth of a page full of tables."""
_DRAWN = re.compile(r' (?:d|x|y|[xy][12]|c[xy]|width|height)="[^"]*\.[^"]*"')
_DECIMAL = re.compile(r"\d+\.\d+")
_HATCHED = re.compile(r'k-stale|class="band"')
_PATTERN = re.compile(r'<pattern id="hatch".*?</pattern>\n?', re.S)
_NO_DRAWINGS = '<svg class="defs" aria-hidden="true"><defs>\n</defs></svg>\n'
_SYMBOL = re.compile(r'<symbol id="(m-[a-z-]+)"[^>]*>.*?</symbol>\n?')


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
    environment.filters["line"] = render_line
    environment.filters["whole"] = keep_whole
    environment.filters["draw"] = lambda chart: Markup(draw(chart))
    environment.globals["site"] = site
    return environment


def keep_whole(text: str) -> Markup:
    """Return a text, escaped, in which the style keeps each part number, day and quarter whole at its hyphens.

    >>> str(keep_whole("see TW-101-L & co"))
    'see <span class="whole">TW-101-L</span> &amp; co'
    """
    escaped = escape(text)
    if "-" not in escaped:
        return escaped
    return Markup(_WHOLE.sub(r'<span class="whole">\g<0></span>', str(escaped)))  # pieces of a Markup escape each other


def render_line(runs: Line, base_url: str) -> Markup:
    """Return a line of text as HTML; every text is escaped. A macro takes fifteen times as long, thousands of times.

    base_url : the way from the page to the root of the site.

    >>> from pipeline.views.shapes_marks import Run
    >>> str(render_line((Run("a < b "), Run("there", Tone.FLAG, "x.html#y")), ".."))
    'a &lt; b <a href="../x.html#y" class="flag">there</a>'
    """
    found: list[str] = []
    for run in runs:
        text, tone = keep_whole(run.text), run.tone
        if run.href:
            kind = "" if tone is Tone.PLAIN else f' class="{tone.value}"'
            found.append(f'<a href="{escape(base_url)}/{escape(run.href)}"{kind}>{text}</a>')
        elif tone is Tone.PLAIN:
            found.append(text)
        elif tone is Tone.STRONG:
            found.append(f"<b>{text}</b>")
        else:
            found.append(f'<span class="{tone.value}">{text}</span>')
    return Markup("".join(found))


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
    base = find_base(address)
    text = environment.get_template(template).render(view=view, base_url=base, page=None)
    return lighten_page(text, f"{base}/{address}")


def _shorten(number: re.Match[str]) -> str:
    return f"{round(float(number[0]), 1):.1f}".removesuffix(".0")


def lighten_page(text: str, own_href: str) -> str:
    """Return a page without what it does not need: drawings of marks that it has not, its own address before an anchor,
    end tags that the next tag implies, more than a tenth of a unit in a drawing.

    >>> page = '<symbol id="m-held"><path/></symbol><use href="#m-held"/><a href="./index.html#x">x</a>'
    >>> lighten_page(page, "./index.html")
    '<symbol id="m-held"><path/></symbol><use href="#m-held"/><a href="#x">x</a>'
    >>> lighten_page('<symbol id="m-held"><path/></symbol><p>x</p>', "./index.html")
    '<p>x</p>'
    >>> lighten_page("<tr><th>a</th><td>b</td></tr></table><ul><li>c</li><li>d</li></ul>", "./index.html")
    '<tr><th>a<td>b</table><ul><li>c<li>d</ul>'
    >>> lighten_page('<path d="M128.0 10.25 H7.30000000000001"/><p>128.0</p>', "./index.html")
    '<path d="M128 10.2 H7.3"/><p>128.0</p>'
    """
    light = _NOT_NEEDED.sub("", text.replace(f'href="{own_href}#', 'href="#'))
    light = _DRAWN.sub(lambda found: _DECIMAL.sub(_shorten, found[0]), light)
    if "js/spend.js" in light:  # its script puts in panels with marks of their own
        return light
    light = _SYMBOL.sub(lambda found: found[0] if f'href="#{found[1]}"' in light else "", light)
    if not _HATCHED.search(light):
        light = _PATTERN.sub("", light, count=1).replace(_NO_DRAWINGS, "", 1)
    return light
