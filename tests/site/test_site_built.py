"""The site built from the demo's own records: every link, every page type in a real browser, wide and narrow, light and dark."""

from __future__ import annotations

import json
import os
import re
import threading
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from real_browser import follow

from pipeline.sitegen.link_check import check_links
from pipeline.sitegen.serving import open_server

ROOT = Path(__file__).parents[2]
PAGES = (
    "index.html", "review.html", "parts/index.html", "parts/TW-101.html", "parts/TW-190.html", "parts/TW-210.html", "parts/TW-160.html",
    "vehicles.html", "methods/index.html", "methods/gates.html", "methods/cost-of-change.html", "methods/safety.html", "rules/index.html",
    "rules/G606.html", "marks.html", "guide.html", "404.html", "flow.html", "buying.html", "measured/TW-101.html",
    "money/TW-101.html", "releases/TW-101.html", "quotes/TW-101.html", "registers.html", "tools.html", "travellers/TW-101.html",
)  # fmt: skip
QUICK = ("index.html", "vehicles.html", "flow.html", "guide.html", "tools.html", "travellers/TW-101.html")
"""Looked at for violations in the quick suite, where the templates of the others are tried on samples."""
OPEN_ALL = "document.querySelectorAll('details').forEach(it => { it.open = true })"
WCAG = {"preload": False, "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
CONTRAST = {"preload": False, "runOnly": {"type": "rule", "values": ["color-contrast"]}}
VOID = frozenset({"col", "meta", "link", "input", "img", "br", "hr"})


@pytest.fixture(scope="module")
def site(demo_site: Path) -> Path:
    """The demo's site."""
    return demo_site


@pytest.fixture(scope="module")
def texts(site: Path) -> dict[str, str]:
    """Every page by its address."""
    return {path.relative_to(site).as_posix(): path.read_text(encoding="utf-8") for path in site.rglob("*.html")}


@pytest.fixture(scope="module")
def served(site: Path) -> Iterator[str]:
    """The site behind a server of this machine."""
    server = open_server(lambda: site, 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


# --- files --------------------------------------------------------------------------------------------


def test_every_link_and_anchor_leads_somewhere(site: Path, texts: dict[str, str]) -> None:
    files = {path.relative_to(site).as_posix() for path in site.rglob("*") if path.is_file()}
    assert [str(broken) for broken in check_links(texts, files)] == []
    assert len(texts) > 100


ENDED_BY = {"td": {"td", "th"}, "th": {"td", "th"}, "tr": {"td", "th", "tr"}, "li": {"li"}}
"""What a start tag ends that has no end tag of its own; whatever holds them ends them, too (HTML, "Optional tags")."""


class Reader(HTMLParser):
    """Collects ids, and whether every tag is closed in order, by itself or by the next one."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.ids: list[str] = []
        self.open: list[str] = []
        self.wrong: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        while self.open and self.open[-1] in ENDED_BY.get(tag, ()):
            self.open.pop()
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag, "a tag without a name"
        self.ids += [value for name, value in attrs if name == "id" and value]

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open[-1] in ENDED_BY and self.open[-1] != tag:
            self.open.pop()
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}> at {self.getpos()}")


def test_every_page_is_well_formed_and_its_ids_are_unique(texts: dict[str, str]) -> None:
    for address, text in texts.items():
        reader = Reader()
        reader.feed(text)
        reader.close()
        assert reader.wrong == [] and reader.open == [], address
        assert len(reader.ids) == len(set(reader.ids)), (
            address,
            sorted(i for i in reader.ids if reader.ids.count(i) > 1),
        )


def test_every_page_has_the_strict_policy_and_nothing_inline(texts: dict[str, str]) -> None:
    for address, text in texts.items():
        policies = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
        assert len(policies) == 1 and policies[0].startswith("default-src 'none'") and "unsafe" not in policies[0], (
            address
        )
        assert not re.search(r"<style|<script(?! src)|\sstyle=|\son\w+=", text), address
        assert not re.search(r'(?:href|src|action)="(?:https?:|//|/)', text), address


def test_part_pages_and_the_index_stay_light(site: Path, texts: dict[str, str]) -> None:
    heaviest = max((len(text.encode()), address) for address, text in texts.items() if address.startswith("parts/TW"))
    assert heaviest[0] <= 150_000, heaviest
    parts = len([address for address in texts if address.startswith("parts/TW")])
    assert (site / "data" / "parts.js").stat().st_size / parts <= 500  # 1 MB at 2,000 parts


def test_portfolio_document_lies_beside_its_schema(site: Path) -> None:
    data, schema = (
        json.loads((site / "data" / f"portfolio{end}.json").read_text(encoding="utf-8")) for end in ("", ".schema")
    )
    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    assert len(data["parts"]) == len(list((ROOT / "projects").iterdir()))


def test_no_cell_of_any_table_is_a_formula(site: Path) -> None:
    import csv

    tables = list(site.rglob("*.csv"))
    own = [path for path in tables if "evidence" not in path.parts]
    assert len(own) > 60
    for path in own:
        with path.open(encoding="utf-8", newline="") as stream:
            for row in csv.reader(stream):
                for cell in row:
                    assert not re.match(r"[=@\t]|[+-](?![0-9.]+$)", cell), (path.name, cell)


def test_no_page_names_a_machine_or_a_plan(texts: dict[str, str]) -> None:
    for address, text in texts.items():
        assert not re.search(r"/root/|/tmp/|/wor[k]/|Decimal\(|\bTODO\b", text), address
        if address.startswith("parts/"):
            assert not re.search(r"\bNone\b(?! of)|\bnan\b|\binf\b", text), address


def keep_picture(page: Any, address: str, kind: str) -> None:
    """With PIPELINE_PICTURES=DIR a picture of the whole page goes to DIR, folds closed, to be looked at."""
    folder = os.environ.get("PIPELINE_PICTURES")
    if folder:
        page.evaluate("document.querySelectorAll('details.fold, details.working').forEach(it => { it.open = false })")
        name = f"{address.removesuffix('.html').replace('/', '-')}-{kind}.png"
        Path(folder).mkdir(parents=True, exist_ok=True)
        shot = page.screenshot(full_page=True, path=Path(folder) / name)
        assert len(shot) > 10_000  # an empty page weighs a fraction of that


# --- browser ------------------------------------------------------------------------------------------


def _find_violations(page: Any, options: dict[str, Any]) -> list[tuple[str, str]]:
    from axe_playwright_python.sync_playwright import Axe

    violations = Axe().run(page, options=options).response["violations"]
    return [(one["id"], node["html"][:200]) for one in violations for node in one["nodes"][:3]]


@pytest.mark.browser
@pytest.mark.parametrize("page", [one if one in QUICK else pytest.param(one, marks=pytest.mark.slow) for one in PAGES])
def test_page_is_clean(site: Path, open_page: Callable[..., Any], page: str) -> None:
    """No violation in the light scheme; in the dark one, which changes colours alone, none of contrast."""
    watched = open_page(site / page)
    watched.page.evaluate(OPEN_ALL)
    assert _find_violations(watched.page, WCAG) == []
    watched.page.emulate_media(color_scheme="dark")
    assert _find_violations(watched.page, CONTRAST) == []
    assert watched.said == []
    assert [url for url in watched.asked if not url.startswith(site.as_uri())] == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 1280
    keep_picture(watched.page, page, "wide-dark")
    watched.page.emulate_media(color_scheme="light")
    keep_picture(watched.page, page, "wide-light")


@pytest.mark.browser
@pytest.mark.parametrize("page", PAGES)
def test_page_is_clean_on_a_phone(site: Path, open_page: Callable[..., Any], page: str) -> None:
    watched = open_page(site / page, width=390)
    watched.page.evaluate(OPEN_ALL)
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 390
    assert watched.said == []
    keep_picture(watched.page, page, "phone")


@pytest.mark.browser
def test_site_works_from_a_server_too(served: str, open_page: Callable[..., Any]) -> None:
    watched = open_page(f"{served}parts/TW-101.html")
    assert watched.said == []
    assert all(url.startswith(served) for url in watched.asked)
    picture = watched.page.locator(".picture img")
    assert picture.evaluate("it => it.complete && it.naturalWidth") > 0
    watched.page.locator("header form input").fill("TW-124")
    watched.page.keyboard.press("Enter")
    watched.page.wait_for_url("**/parts/index.html?q=TW-124")
    assert watched.page.locator("#parts tbody tr").count() == 1


@pytest.mark.browser
def test_picture_follows_the_scheme(site: Path, open_page: Callable[..., Any]) -> None:
    """What is drawn in the current colour must not stay dark on dark."""
    shots = [
        open_page(site / "parts" / "TW-101.html", scheme=scheme).page.locator(".picture img").screenshot()
        for scheme in ("light", "dark")
    ]
    assert shots[0] != shots[1]
    from io import BytesIO

    image = pytest.importorskip("PIL.Image")
    light, dark = (image.open(BytesIO(shot)).convert("L") for shot in shots)
    assert light.getextrema()[0] < 90  # dark strokes on light paper
    assert dark.getextrema()[1] > 180  # light strokes on dark paper


@pytest.mark.browser
def test_site_reads_without_a_script(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "index.html", script=False).page
    follow(page.get_by_role("link", name="Parts", exact=True))
    assert page.locator("#parts tbody tr").count() == len(list((ROOT / "projects").iterdir()))
    follow(page.locator("#parts tbody").get_by_role("link", name="TW-101"))
    text = page.locator("main").inner_text()
    for words in (
        "Hold call",
        "Where it stands",
        "What is missing",
        "What one change costs",
        "Features and measured originals",
    ):
        assert words in text
    page.locator("#evidence summary").first.click()
    assert page.locator("#F1").is_visible()


@pytest.mark.browser
def test_filters_and_search_find_parts_of_the_demo(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(f"{(site / 'parts' / 'index.html').as_uri()}?state=hold+call").page
    assert [cell.inner_text() for cell in page.locator("#parts tbody th").all()] == ["TW-101"]
    page.goto(f"{(site / 'parts' / 'index.html').as_uri()}?q=medalion")  # a letter is missing
    assert "TW-124" in page.locator("#parts tbody").inner_text()


@pytest.mark.browser
def test_changed_feature_lights_its_descendants(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "parts" / "TW-131.html").page
    button = page.locator("#lineage .asks button").first
    button.click()
    lit = page.evaluate("Array.from(document.querySelectorAll('[data-node].lit'), it => it.dataset.node)")
    assert lit == (button.get_attribute("data-stale") or "").split()
    assert lit


def test_lineage_leads_to_its_evidence_and_tells_in_a_table_what_it_would_light(texts: dict[str, str]) -> None:
    """Every box is a link; without a script the table names each box that a changed feature would light."""
    boxes = changes = 0
    for address, text in texts.items():
        if not address.startswith("parts/TW"):
            continue
        drawn = dict(re.findall(r'<a href="([^"]+)" data-node="([^"]+)"', text))
        boxes += len(drawn)
        assert all("#" in href for href in drawn), address
        labels = dict(re.findall(r'data-node="([^"]+)" aria-label="[a-z ]+ ([^",]+),', text))
        table = text[text.find("What a change would make stale") :]
        for stale, words in re.findall(r'data-stale="([^"]*)" data-words="([^"]*)"', text):
            changes += 1
            assert all(labels[node] in words for node in stale.split()), (address, stale, words)
            assert words in table, address
    assert boxes > 300 and changes > 80


@pytest.mark.browser
def test_rail_links_open_the_gate(site: Path, open_page: Callable[..., Any]) -> None:
    page = open_page(site / "parts" / "TW-101.html").page
    page.locator(".rail a").nth(3).click()
    assert page.locator("#gate-fit-check").is_visible()


# --- pictures ------------------------------------------------------------------------------------------

PICTURES = Path(__file__).parent / "pictures"
SHOWN = {"part": "parts/TW-101.html", "parts": "parts/index.html"}


@pytest.mark.parametrize("name", SHOWN)
def test_the_pictures_of_the_readme_are_made_here(site: Path, open_page: Callable[..., Any], name: str) -> None:
    """With PIPELINE_WRITE_PICTURES=1 the pictures that README.md shows are made anew; else they must be there."""
    page = open_page(site / SHOWN[name]).page
    shot = page.screenshot(clip={"x": 0, "y": 0, "width": 1280, "height": 1100}, full_page=True)
    assert len(shot) > 20_000  # an empty page weighs a tenth of that
    if os.environ.get("PIPELINE_WRITE_PICTURES"):
        PICTURES.mkdir(exist_ok=True)
        (PICTURES / f"{name}.png").write_bytes(shot)
    kept = (PICTURES / f"{name}.png").read_bytes()
    assert kept.startswith(b"\x89PNG")
    assert 20_000 < len(kept) < 1_000_000
