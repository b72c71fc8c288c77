"""Hand-written pages that ask for a template: only one that can show them, told with file and line where it cannot."""

from __future__ import annotations

import re
import traceback
from pathlib import Path

import jinja2
from mkdocs.config.defaults import MkDocsConfig
from mkdocs.structure.pages import Page

from pipeline.sitegen.rendering import THEME

PLAIN = "main.html"
"""The theme's template for hand-written pages; it is used where a page names none."""
_HEAD_LINE = re.compile(r"\s{0,3}template\s*:", re.IGNORECASE)
_WAY_OUT = (
    f"take the line `template:` out of the page's head (then it is {PLAIN}), "
    "or name a template of your own from theme: custom_dir of mkdocs.yml"
)


def find_template_fault(page: Page, config: MkDocsConfig, root: Path) -> str | None:
    """Return why the template that a hand-written page names cannot show it, with place and way out; None where it can.

    root : the workspace; the page's place is told from there.
    """
    named = page.meta.get("template", PLAIN)
    if named == PLAIN:
        return None
    why = _judge_template(named, config)
    return why and f"{_find_place(page, root)}: {why}; {_WAY_OUT}"


def _judge_template(named: object, config: MkDocsConfig) -> str | None:
    if not isinstance(named, str) or not named.strip():
        return "the page's `template` is not the name of a file"
    own = config.theme.custom_dir
    is_ours = _is_inside(THEME, named) and (THEME / named).is_file()
    if own and not is_ours and _is_inside(Path(own), named) and (Path(own) / named).is_file():
        return None
    if is_ours:
        return f'the template "{named}" shows what is made from records, not a page that somebody wrote'
    return f'there is no template "{named}"'


def _is_inside(folder: Path, named: str) -> bool:
    """True for a name that stays in its folder, as the template loader wants it."""
    return (folder / named).resolve().is_relative_to(folder.resolve())


def _find_place(page: Page, root: Path) -> str:
    """Return path and line of the template in a page's head; the first line where it cannot be found."""
    source = Path(page.file.abs_src_path or page.file.src_uri)
    shown = source.relative_to(root).as_posix() if source.is_relative_to(root) else page.file.src_uri
    lines = source.read_text("utf-8-sig", "replace").splitlines()
    return f"{shown}:{next((at for at, line in enumerate(lines, 1) if _HEAD_LINE.match(line)), 1)}"


def describe_template_error(error: jinja2.TemplateError) -> str:
    """Say where a template of the maker's own stopped, and why: its file and line, never a trace."""
    why = f"there is no template {error.name}" if isinstance(error, jinja2.TemplateNotFound) else error.message
    place: tuple[str | None, int | None] = (None, None)
    if isinstance(error, jinja2.TemplateSyntaxError):
        place = (error.filename or error.name, error.lineno)
    else:
        for frame in traceback.extract_tb(error.__traceback__):
            place = (frame.filename, frame.lineno) if frame.filename.endswith(".html") else place
    at = ":".join(str(one) for one in (place[0] or "a template", place[1]) if one)
    return f"{at} cannot be used: {why}; mend it, or take it out of theme: custom_dir of mkdocs.yml"
