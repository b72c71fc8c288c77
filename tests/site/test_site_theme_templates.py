"""The templates without a browser: escaping, links, the content policy, colours in one place, contrast, weights."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import jinja2
import pytest

from pipeline.views.shapes import Mark

THEME = Path(__file__).parents[2] / "pipeline" / "sitegen" / "theme"
PAGES = (
    "index.html", "review.html", "parts/index.html", "parts/TW-101.html", "parts/TW-000.html", "vehicles.html", "rules/index.html",
    "rules/M104.html", "methods/ladder.html", "sections.html", "marks.html", "prose.html", "404.html",
)  # fmt: skip
VOID = {"meta", "link", "input", "img", "br", "hr"}


class _Reader(HTMLParser):
    """Collects tags, attributes, ids and whether every tag is closed in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        if len(set(names)) < len(names):
            self.wrong.append(f"<{tag}> repeats an attribute: {names}")
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> at {self.getpos()}")


def _read(path: Path) -> _Reader:
    reader = _Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    return reader


@pytest.mark.parametrize("page", PAGES)
def test_page_is_well_formed_and_ids_are_unique(theme_site: Path, page: str) -> None:
    reader = _read(theme_site / page)
    ids = [attrs["id"] for _, attrs in reader.tags if "id" in attrs]
    assert reader.wrong == []
    assert reader.open == []
    assert len(ids) == len(set(ids)), sorted(one for one in ids if ids.count(one) > 1)


@pytest.mark.parametrize("page", PAGES)
def test_hostile_text_never_becomes_markup(theme_site: Path, page: str) -> None:
    for tag, attrs in _read(theme_site / page).tags:
        assert tag != "style"
        assert not [name for name in attrs if name.startswith("on") or name == "style"], (tag, attrs)
        assert tag != "script" or attrs.get("src"), "a script of its own in the page"
        assert tag != "img" or attrs["src"].startswith(("./img/", "../img/")), attrs


@pytest.mark.parametrize("page", PAGES)
def test_addresses_are_relative_and_lead_to_what_exists(theme_site: Path, page: str) -> None:
    made_elsewhere = ("evidence/", "records/", "data/", 'x"')
    reader = _read(theme_site / page)
    ids = {attrs["id"] for _, attrs in reader.tags if "id" in attrs}
    for tag, attrs in reader.tags:
        for address in (attrs[name] for name in ("href", "src", "action") if name in attrs):
            if tag == "use" or address.startswith("#"):
                assert address[1:] in ids, (tag, address)
                continue
            assert address.startswith(("./", "../")), (tag, address)
            path, _, anchor = address.partition("#")
            target = ((theme_site / page).parent / path.partition("?")[0]).resolve()
            rest = target.relative_to(theme_site.resolve()).as_posix()
            assert target.is_file() or rest.startswith(made_elsewhere) or rest.endswith(".csv"), (tag, address)
            if anchor and target.suffix == ".html":
                assert re.search(rf'\bid="{re.escape(anchor)}"', target.read_text(encoding="utf-8")), (page, address)


@pytest.mark.parametrize("page", PAGES)
def test_policy_lets_nothing_in(theme_site: Path, page: str) -> None:
    reader = _read(theme_site / page)
    policies = [attrs["content"] for tag, attrs in reader.tags if attrs.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1
    assert policies[0].startswith("default-src 'none'")
    assert "unsafe" not in policies[0] and "http" not in policies[0] and "*" not in policies[0]


def test_theme_refuses_to_render_without_autoescape(theme_samples) -> None:  # type: ignore[no-untyped-def]
    environment = theme_samples.build_environment()
    environment.autoescape = False
    with pytest.raises(jinja2.UndefinedError, match="autoescape_must_be_on"):
        environment.get_template("404.html").render(page=None, base_url=".", view=None)


def test_pages_are_the_same_bytes_each_time(theme_samples, theme_site: Path, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    again = theme_samples.write_sample_site(tmp_path / "again")
    for page in (*PAGES, "data/parts.js"):
        assert (again / page).read_bytes() == (theme_site / page).read_bytes(), page


# --- nothing from elsewhere, colours in one file ------------------------------------------------------


def _theme_files(*suffixes: str) -> list[Path]:
    return sorted(path for path in THEME.rglob("*") if path.suffix in suffixes)


@pytest.mark.parametrize("path", _theme_files(".html", ".css", ".js"), ids=lambda path: path.name)
def test_theme_names_no_foreign_address(path: Path) -> None:
    text = path.read_text(encoding="utf-8").replace("http-equiv", "")
    assert not re.search(
        r"https?:|//[a-z]+\.[a-z]|@import|@font-face|\bfetch\(|XMLHttpRequest|innerHTML|\beval\(", text
    )


@pytest.mark.parametrize("path", _theme_files(".html", ".css", ".js"), ids=lambda path: path.name)
def test_colours_live_in_one_file(path: Path) -> None:
    if path.name == "colours.css":
        return
    text = re.sub(r'(?:href|id)="#[^"]*"|url\(#\w+\)|&#\w+;', "", path.read_text(encoding="utf-8"))
    assert not re.search(r"(?<![\w&])#(?:[0-9a-fA-F]{3}){1,2}\b|\brgba?\(|\bhsla?\(", text)


def test_every_mark_has_its_line(theme_site: Path) -> None:
    marks = (theme_site / "marks.html").read_text(encoding="utf-8")
    for mark in Mark:
        assert f'<symbol id="m-{mark.value}"' in marks
        assert f'<tr id="mark-{mark.value}">' in marks


# --- contrast -----------------------------------------------------------------------------------------
# Source: W3C, Web Content Accessibility Guidelines 2.2, "relative luminance" and "contrast ratio" (formula from memory);
# 1.4.3 wants 4.5 for text, 1.4.11 wants 3 for drawings and fields.


def _luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula_gives_known_ratios() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert _contrast("#767676", "#ffffff") == pytest.approx(
        4.54, abs=0.01
    )  # the well-known lightest grey for text, from memory


def _schemes() -> dict[str, dict[str, str]]:
    blocks = re.findall(r":root \{(.*?)\}", (THEME / "css" / "colours.css").read_text(encoding="utf-8"), re.S)
    light, dark, paper = (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block)) for block in blocks[:3])
    return {"light": light, "dark": light | dark, "print": light | paper}


@pytest.mark.parametrize("scheme", ("light", "dark", "print"))
def test_contrast_is_enough(scheme: str) -> None:
    colours = _schemes()[scheme]
    for ground in ("paper", "sheet", "flag-soft"):
        for text in ("ink", "soft", "flag"):
            assert _contrast(colours[text], colours[ground]) >= 4.5, (text, ground)
    for drawn in ("ink", "tone", "flag", "soft"):
        assert _contrast(colours[drawn], colours["paper"]) >= 3.0, drawn


def test_charts_fall_back_to_the_light_scheme() -> None:
    source = (THEME.parents[1] / "charts" / "tidying.py").read_text(encoding="utf-8")
    fallbacks = dict(re.findall(r'"([\w-]+)": \("#0101\w\w", "(#\w{6})"\)', source))
    light = _schemes()["light"]
    assert len(fallbacks) == 9
    assert fallbacks == {name: light[name] for name in fallbacks}


# --- weights ------------------------------------------------------------------------------------------


def test_weights_are_within_their_goals(theme_site: Path, large_theme_site: Path) -> None:
    assert (theme_site / "parts" / "TW-101.html").stat().st_size <= 150_000
    assert (large_theme_site / "data" / "parts.js").stat().st_size <= 1_000_000
    styles = sum(path.stat().st_size for path in _theme_files(".css", ".js"))
    assert styles <= 80_000


def test_index_grows_in_proportion(theme_site: Path, large_theme_site: Path) -> None:
    sizes = [(site / "data" / "parts.js").stat().st_size for site in (theme_site, large_theme_site)]
    for small, large in pairwise(sizes):
        assert large <= 11 * small
