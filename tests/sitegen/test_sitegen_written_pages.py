"""Pages that people wrote and that ask for a template: told with file and line where it cannot be, old site whole."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import jinja2
import pytest
from click.testing import CliRunner

from pipeline.cli.program import group
from pipeline.sitegen.build import SiteNotBuilt, build_site
from pipeline.sitegen.written_pages import describe_template_error

CONFIG = "site_name: Sample\ndocs_dir: pages\nsite_dir: ../build/site\nplugins: [pipeline]\nnav: [{Notes: notes.md}]\n"
OWN = "theme: {name: pipeline, custom_dir: own}\n"


@pytest.fixture
def write_notes(sample: Callable[..., Path]) -> Callable[..., Path]:
    """A workspace whose one hand-written page starts with `head`; further files of site/ beside it."""

    def write(head: str, theme: str = "theme: {name: pipeline}\n", **own: str) -> Path:
        files: dict[str, str | None] = {f"site/own/{name}.html": text for name, text in own.items()}
        return sample("", {"site/mkdocs.yml": CONFIG + theme, "site/pages/notes.md": head + "# Notes\n", **files})

    return write


REFUSED = (
    ("---\ntitle: Notes\ntemplate: part.html\n---\n", "notes.md:3: the template \"part.html\" shows what is made from records"),
    ("---\ntemplate: _words.html\n---\n", "notes.md:2: the template \"_words.html\" shows what is made"),
    ("---\ntemplate: outer_written.html\n---\n", "notes.md:2: the template \"outer_written.html\" shows what is made"),
    ("---\ntitle: Notes\n\ntemplate: gone.html\n---\n", "notes.md:4: there is no template \"gone.html\""),
    ("---\ntemplate: ../notes.md\n---\n", "notes.md:2: there is no template \"../notes.md\""),
    ("---\ntemplate: sitemap.xml\n---\n", "notes.md:2: there is no template \"sitemap.xml\""),
    ("---\ntemplate: [a, b]\n---\n", "notes.md:2: the page's `template` is not the name of a file"),
    ("---\ntemplate:\n---\n", "notes.md:2: the page's `template` is not the name of a file"),
    ("---\n{title: Notes, template: 5}\n---\n", "notes.md:1: the page's `template` is not the name of a file"),
    ("Title: Notes\nTemplate: review.html\n\n", "notes.md:2: the template \"review.html\" shows what is made"),
)  # fmt: skip


def test_a_template_that_cannot_show_a_page_is_told_with_its_line_and_a_way_out(
    write_notes: Callable[..., Path],
) -> None:
    root = write_notes("")
    build_site(root)
    before = {path: path.read_bytes() for path in (root / "build/site").rglob("*.html")}
    for head, words in REFUSED:
        (root / "site/pages/notes.md").write_text(head + "# Notes\n", "utf-8")
        with pytest.raises(SiteNotBuilt) as told:
            build_site(root)
        assert f"site/pages/{words}" in str(told.value)
        assert "take the line `template:` out of the page's head" in str(told.value)
        assert before == {path: path.read_bytes() for path in (root / "build/site").rglob("*.html")}
        assert not list((root / "build").glob(".site.*.part"))


def test_build_says_it_in_one_line_and_ends_with_an_exit_code_of_its_own(write_notes: Callable[..., Path]) -> None:
    said = CliRunner().invoke(group, ["build", "-w", str(write_notes(REFUSED[0][0]))], standalone_mode=True)
    assert said.exit_code in (1, 2) and said.output.startswith("Error: site/pages/notes.md:3: ")
    assert "Traceback" not in said.output and len(said.output.splitlines()) == 1


def test_the_plain_template_and_a_template_of_the_makers_own_are_taken(write_notes: Callable[..., Path]) -> None:
    build_site(write_notes("---\ntemplate: main.html\n---\n"))
    own = '{% extends "base.html" %}{% block content %}<p>of our own</p>{{ page.content | safe }}{% endblock %}'
    root = write_notes("---\ntemplate: plain.html\n---\n", OWN, plain=own)
    build_site(root)
    assert "<p>of our own</p>" in (root / "build/site/notes.html").read_text("utf-8")


def test_a_template_of_the_makers_own_that_stops_is_told_with_its_line(write_notes: Callable[..., Path]) -> None:
    head = "---\ntemplate: plain.html\n---\n"
    for text, words in (
        ("<p>\n{{ page.gone.further }}\n", "plain.html:2 cannot be used: "),
        ("<p>\n\n{% if %}\n", "plain.html:3 cannot be used: "),
        ('<p>\n{% include "lost.html" %}\n', "plain.html:2 cannot be used: there is no template lost.html"),
    ):
        with pytest.raises(SiteNotBuilt) as told:
            build_site(write_notes(head, OWN, plain=text))
        assert words in str(told.value) and "custom_dir of mkdocs.yml" in str(told.value)


def test_an_error_without_a_place_is_told_all_the_same() -> None:
    assert describe_template_error(jinja2.TemplateError("stopped")).startswith("a template cannot be used: stopped;")
    nameless = jinja2.TemplateSyntaxError("unexpected", 7)
    assert describe_template_error(nameless).startswith("a template:7 cannot be used: unexpected;")
