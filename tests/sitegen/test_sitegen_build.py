"""Building the site: whole or not at all, the same bytes each time, hostile text harmless, MkDocs' own commands."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner

import pipeline.sitegen.build as building
from pipeline.cli.build_command import command as build_command
from pipeline.lineage.freshness import Lineage
from pipeline.portfolio.check import Checked
from pipeline.portfolio.portfolio import Portfolio, Timings
from pipeline.reading.workspace import Reading
from pipeline.sitegen.build import SiteNotBuilt, build_site
from pipeline.sitegen.chart_cache import ChartCache
from pipeline.sitegen.link_check import check_links, find_source
from pipeline.sitegen.rendering import build_environment, render_line
from pipeline.sitegen.serving import find_state, open_server, watch
from pipeline.sitegen.site_lock import SiteBusy, lock_site
from pipeline.sitegen.svg_cleaning import clean_svg
from pipeline.views.shapes import LadderChart, LadderStep
from pipeline.views.shapes_marks import Run, Tone
from pipeline.views.site_facts import build_site_facts

CONFIG = "site_name: Sample\ndocs_dir: pages\nsite_dir: ../build/site\ntheme: {name: pipeline}\nplugins: [pipeline]\nnav: [{Notes: notes.md}]\n"
NOTES = "# Notes\n\nSee [all parts](parts/index.html) and [one](parts/SD-100.html).\n"


@pytest.fixture
def workspace(sample: Callable[..., Path]) -> Callable[..., Path]:
    """The sample workspace with hand-written pages; `files` are further ones."""

    def write(part: str = "", files: dict[str, str | None] | None = None) -> Path:
        return sample(part, {"site/mkdocs.yml": CONFIG, "site/pages/notes.md": NOTES, **(files or {})})

    return write


def hash_files(folder: Path) -> dict[str, str]:
    """Return path -> sha256 of every file of a site."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# --- whole or not at all ------------------------------------------------------------------------------


def test_site_is_built_where_it_is_wanted(workspace: Callable[..., Path], tmp_path: Path) -> None:
    root = workspace()
    built = build_site(root)
    assert built.out == root / "build" / "site"
    assert built.parts == 1 and built.warnings == ()
    for page in (
        "index.html",
        "parts/SD-100.html",
        "parts/index.html",
        "vehicles.html",
        "review.html",
        "rules/index.html",
        "marks.html",
        "notes.html",
        "404.html",
        "methods/gates.html",
    ):
        assert (built.out / page).is_file(), page
    assert built.pages == len(list(built.out.rglob("*.html")))
    assert not list(built.out.rglob("sitemap*"))  # a raw template of MkDocs, of no use without an address
    again = build_site(root, tmp_path / "elsewhere" / "my site")
    assert hash_files(again.out) == hash_files(built.out)
    assert sorted(path.name for path in (root / "build").iterdir()) == [".site.lock", "site"]


def test_two_builds_of_one_day_give_the_same_bytes(workspace: Callable[..., Path]) -> None:
    root = workspace()
    first = hash_files(build_site(root).out)
    for kept in sorted((root / ".pipeline").rglob("*"), reverse=True):
        kept.unlink() if kept.is_file() else kept.rmdir()
    assert hash_files(build_site(root).out) == first
    assert len(first) > 80


def test_what_stayed_the_same_keeps_its_time_and_what_did_not_is_written(workspace: Callable[..., Path]) -> None:
    root = workspace()
    site = build_site(root).out
    before = {path: path.stat() for path in site.rglob("*") if path.is_file()}
    other, linked = site / "rules" / "index.html", site / "marks.html"
    other.write_bytes(other.read_bytes().replace(b"<h1", b"<h2", 1))  # of the same size, by another hand
    linked.unlink()
    linked.symlink_to(root / "shared" / "shop.yaml")
    build_site(root)
    after = {path: path.stat() for path in before}
    assert b"<h1" in other.read_bytes() and not linked.is_symlink() and linked.read_bytes().startswith(b"<!")
    stayed = [path for path in before if after[path].st_ino == before[path].st_ino]
    assert site / "parts" / "SD-100.html" in stayed and other not in stayed and linked not in stayed
    assert all(after[path].st_mtime_ns == before[path].st_mtime_ns and after[path].st_nlink == 1 for path in stayed)


def test_commit_stands_in_the_foot_and_two_builds_of_it_are_the_same(workspace: Callable[..., Path]) -> None:
    root = workspace()
    env = {**os.environ, "GIT_AUTHOR_DATE": "2026-05-30T12:00:00Z", "GIT_COMMITTER_DATE": "2026-05-30T12:00:00Z"}
    for arguments in (
        ["init", "-q"],
        ["add", "."],
        ["-c", "user.name=Ann", "-c", "user.email=ann@example.invalid", "commit", "-qm", "first"],
    ):
        subprocess.run(["git", *arguments], cwd=root, check=True, env=env)
    head = subprocess.run(["git", "rev-parse", "HEAD"], cwd=root, check=True, capture_output=True, text=True).stdout[:7]
    first = build_site(root).out
    assert f"record {head}" in (first / "index.html").read_text(encoding="utf-8")
    assert hash_files(build_site(root).out) == hash_files(first)
    assert "SOURCE_DATE_EPOCH" not in os.environ


def test_failing_write_leaves_the_old_site_whole(
    workspace: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    root = workspace()
    before = hash_files(build_site(root).out)
    (root / "shared" / "notes.txt").write_text("so that there is something to build\n", "utf-8")
    from mkdocs.structure.files import File

    written = 0
    whole = File.copy_file

    def full_disk(self: File, dirty: bool = False) -> None:
        nonlocal written
        written += 1
        if written > 20:
            raise OSError(28, "No space left on device")
        whole(self, dirty)

    monkeypatch.setattr(File, "copy_file", full_disk)
    monkeypatch.setattr("pipeline.sitegen.made_files.MadeFile.take_old", lambda *_: False)
    result = CliRunner().invoke(build_command, ["-w", str(root)], standalone_mode=True)
    assert result.exit_code == 1
    assert "No space left on device" in result.output and "old one stays" in result.output
    assert hash_files(root / "build" / "site") == before
    assert sorted(path.name for path in (root / "build").iterdir()) == [".site.lock", "site"]


KILLED = """
import os, signal, sys
from pathlib import Path
import pipeline.sitegen.build as building
def die(draft, out):
    os.kill(os.getpid(), signal.SIGKILL)
building.swap_folders = die
building.build_site(Path(sys.argv[1]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_killed_build_leaves_the_old_site_and_the_next_one_sweeps_up(workspace: Callable[..., Path]) -> None:
    root = workspace()
    before = hash_files(build_site(root).out)
    (root / "shared" / "notes.txt").write_text("so that there is something to build\n", "utf-8")
    done = subprocess.run([sys.executable, "-c", KILLED, str(root)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert hash_files(root / "build" / "site") == before
    left = [path.name for path in (root / "build").iterdir() if path.name.endswith(".part")]
    assert left, "the killed build left its draft"
    assert hash_files(build_site(root).out) == before  # and the dead builder's lock is no obstacle
    assert sorted(path.name for path in (root / "build").iterdir()) == [".site.lock", "site"]


@pytest.mark.fault(
    "kill -9 between the two renames of a build", "the next build puts the old site back, or the new one in its place"
)
def test_kill_between_the_two_renames_is_mended(workspace: Callable[..., Path]) -> None:
    root = workspace()
    out = build_site(root).out
    before = hash_files(out)
    out.rename(out.parent / ".site.old")
    assert hash_files(build_site(root).out) == before
    assert not (out.parent / ".site.old").exists()


def test_second_build_at_once_is_refused(workspace: Callable[..., Path]) -> None:
    root = workspace()
    with lock_site(root / "build" / "site"), pytest.raises(SiteBusy, match="another build"):
        build_site(root)
    assert build_site(root).parts == 1


@pytest.mark.fault("an output folder with something else in it", "it stays untouched; the reason is told")
def test_site_is_never_put_over_something_else(workspace: Callable[..., Path], tmp_path: Path) -> None:
    root = workspace()
    full = tmp_path / "letters"
    full.mkdir()
    (full / "letter.txt").write_text("keep")
    for out in (
        root / "projects",
        root / "projects" / "SD-100" / "evidence",
        root / "site" / "x",
        root,
        root.parent,
        full,
    ):
        with pytest.raises(SiteNotBuilt):
            build_site(root, out)
    assert (full / "letter.txt").read_text() == "keep"
    assert (root / "projects" / "SD-100" / "part.yaml").is_file()


def test_workspace_without_a_site_folder_is_built_too(sample: Callable[..., Path]) -> None:
    built = build_site(sample())
    assert (built.out / "parts" / "SD-100.html").is_file()
    assert built.warnings == ()


def test_empty_workspace_has_a_site(sample: Callable[..., Path]) -> None:
    root = sample(files={"projects/SD-100/part.yaml": None})
    for path in sorted((root / "projects").rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    built = build_site(root)
    assert built.parts == 0
    assert "No part is recorded" in (built.out / "parts" / "index.html").read_text(encoding="utf-8")


# --- records that cannot be read ----------------------------------------------------------------------


def test_broken_record_is_left_out_and_named_with_its_place(workspace: Callable[..., Path]) -> None:
    root = workspace(files={"projects/SD-101/part.yaml": "part: SD-101\nname: [\n"})
    built = build_site(root)
    assert built.parts == 1
    assert any(re.search(r"projects/SD-101/part\.yaml:\d+:\d+: \w+ ", warning) for warning in built.warnings)
    review = re.sub("<[^>]*>", "", (built.out / "review.html").read_text(encoding="utf-8"))
    assert "left out" in review and "projects/SD-101/part.yaml:" in review
    assert "left out" in (built.out / "parts" / "index.html").read_text(encoding="utf-8")
    result = CliRunner().invoke(build_command, ["-w", str(root)], standalone_mode=False)
    assert result.return_value == 0
    assert CliRunner().invoke(build_command, ["-w", str(root), "--strict"], standalone_mode=False).return_value == 1


def test_catalogues_that_cannot_be_used_are_told_on_every_list(workspace: Callable[..., Path]) -> None:
    built = build_site(workspace(files={"shared/people.yaml": "people: {ann: 1}\n"}))
    assert built.parts == 0
    assert "shared/people.yaml" in (built.out / "review.html").read_text(encoding="utf-8")
    assert "mended" in (built.out / "index.html").read_text(encoding="utf-8")


# --- MkDocs' own commands -----------------------------------------------------------------------------


def run_mkdocs(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run MkDocs as its users do."""
    return subprocess.run([sys.executable, "-m", "mkdocs", *arguments], capture_output=True, text=True, check=False)


def test_mkdocs_builds_the_site_as_any_other(workspace: Callable[..., Path]) -> None:
    root = workspace()
    done = run_mkdocs("build", "--strict", "-f", str(root / "site" / "mkdocs.yml"))
    assert done.returncode == 0, done.stderr
    assert (root / "build" / "site" / "parts" / "SD-100.html").is_file()
    notes = (root / "build" / "site" / "notes.html").read_text(encoding="utf-8")
    assert 'href="parts/SD-100.html"' in notes and "Content-Security-Policy" in notes
    assert 'aria-current="page">Notes' in notes


def test_the_code_of_a_traveller_leads_to_where_the_site_is_served(workspace: Callable[..., Path]) -> None:
    """The address of mkdocs.yml goes before that of shared/shop.yaml; without either the sheet says so."""
    shop = "name: Sample shop\nas_of: 2026-06-01\nsite: https://shop.example.invalid\n"
    served = CONFIG + "site_url: https://parts.example.invalid/house/\n"
    for files, words in (
        (
            {"site/mkdocs.yml": served, "shared/shop.yaml": shop},
            "https://parts.example.invalid/house/parts/SD-100.html",
        ),
        ({"shared/shop.yaml": shop}, "https://shop.example.invalid/parts/SD-100.html"),
        ({}, "parts/SD-100.html in the site&#39;s folder; the site has no address yet"),
    ):
        built = build_site(workspace(files=files))
        assert built.warnings == ()
        sheet = (built.out / "travellers/SD-100.html").read_text(encoding="utf-8")
        assert f"<figcaption>{words}</figcaption>" in sheet
        assert (built.out / "travellers/SD-100.csv").read_text(encoding="utf-8").startswith("with,car,fits,hand,")
        for page in ("registers", "suppliers", "resources", "tools"):
            assert (built.out / f"{page}.html").is_file()


def test_strict_fails_on_a_broken_link_of_a_hand_written_page(workspace: Callable[..., Path]) -> None:
    root = workspace(files={"site/pages/notes.md": "[gone](parts/SD-999.html)\n"})
    done = run_mkdocs("build", "--strict", "-f", str(root / "site" / "mkdocs.yml"))
    assert done.returncode != 0
    assert "SD-999" in done.stderr


def test_strict_fails_on_a_broken_link_of_a_record_and_names_the_record(workspace: Callable[..., Path]) -> None:
    """An interface that meets a part without a page: the link warning names the record, not the virtual page alone."""
    seat = "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length], meets: SD-999}\n"
    root = workspace(seat)
    done = run_mkdocs("build", "--strict", "-f", str(root / "site" / "mkdocs.yml"))
    assert done.returncode != 0
    assert "projects/SD-100/part.yaml: the page parts/SD-100.html leads to ../parts/SD-999.html" in done.stderr


def test_wrong_workspace_and_wrong_day_are_answered_in_words(workspace: Callable[..., Path]) -> None:
    root = workspace(files={"site/mkdocs.yml": CONFIG.replace("[pipeline]", "[{pipeline: {today: soon}}]")})
    done = run_mkdocs("build", "-f", str(root / "site" / "mkdocs.yml"))
    assert done.returncode != 0 and "is not a day" in done.stderr
    (root / "site" / "mkdocs.yml").write_text(CONFIG.replace("[pipeline]", "[{pipeline: {workspace: ../nowhere}}]"))
    done = run_mkdocs("build", "-f", str(root / "site" / "mkdocs.yml"))
    assert done.returncode != 0 and "is no workspace" in done.stderr


def test_generated_pages_stay_out_of_navigation_and_of_markdown(workspace: Callable[..., Path]) -> None:
    from mkdocs.structure.files import Files

    from pipeline.sitegen.mkdocs_build import load_site_config

    root = workspace()
    config = load_site_config(root, root / "out")
    config.plugins.on_config(config)
    files = config.plugins["pipeline"].on_files(Files([]), config=config)
    assert len(files) > 80
    assert files.documentation_pages() == []


# --- hostile text ---------------------------------------------------------------------------------------

EVIL = (
    '<script>alert(1)</script>\\"><img src=x onerror=alert(1)>{{7*7}}{% raw %}javascript:alert(1)<!--figure '
    + "a" * 64
    + "-->'"
)
HOSTILE = f"""name: "{EVIL}"
note: "{EVIL}"
marking: {{kind: maker, text: "{EVIL}", where: "{EVIL}", rights: "{EVIL}"}}
supersedes: [{{number: OLD-1, on: 2026-01-01, why: "{EVIL}"}}]
originals:
  O1: {{condition: used, from: "{EVIL}", note: "{EVIL}", hazard: "{EVIL}"}}
  O2: {{condition: nos, from: "{EVIL}"}}
features:
  length: {{what: "{EVIL}", kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true, tolerance: "{EVIL}"}}
  hard: {{what: "{EVIL}", kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC}}
interfaces:
  seat: {{what: "{EVIL}", gap: {{limits: [0.1, 0.9]}}, stack: [{{feature: length}}, {{name: "{EVIL}", nominal: -39.5, limits: [-0.1, 0.1]}}]}}
revisions:
  A: {{on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2], why: "{EVIL}"}}
  B: {{on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [length], why: "{EVIL}", no_effect: [{{features: [length], keeps: [Q1], by: ann, on: 2026-05-21, why: "{EVIL}", seen_by: bob}}]}}
fit_checks:
  F1: {{with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, gaps: {{seat: [0.4, 0.5]}}, result: good, note: "{EVIL}"}}
route: [{{op: "10", what: "{EVIL}", uses: [die]}}]
tools:
  die: {{kind: die, forms: [length], price: 9000 USD, place: "{EVIL}", steps: {{quoted: 2026-05-01, ordered: 2026-05-02}}, cut_planned: 2026-07-01}}
made_of:
  bulb: {{bought: "{EVIL}", price: 1 USD}}
demand: {{per_year: [100, 200, 300], price: 68 USD, cost: 20 USD}}
safety_review: {{on: 2026-01-02, by: ann, regulations: [lamps], plan: "{EVIL}"}}
changes:
  C1: {{found_at: fit check, on: 2026-05-06, by: ann, what: "{EVIL}", mode: fit, features: [length]}}
decisions:
  - {{gate: measure, on: 2026-01-15, by: bob, say: go, why: "{EVIL}"}}
  - {{gate: model, on: 2026-01-25, by: bob, say: hold, why: "{EVIL}"}}
waivers:
  - {{of: fit-check.coverage, on: 2026-05-01, until: 2026-06-10, by: bob, risk: kim, exposure: 10 USD, instead: "{EVIL}", why: "{EVIL}"}}
"""
HOSTILE_SHARED = {
    "shared/shop.yaml": f'name: "{EVIL}"\nnote: "{EVIL}"\nas_of: 2026-06-01\n',
    "shared/people.yaml": f'people:\n  ann: {{name: "{EVIL}", roles: [engineer]}}\n  bob: {{name: "{EVIL}", roles: [lead]}}\n  kim: {{name: "{EVIL}", roles: [owner, buyer]}}\n',
    "shared/suppliers.yaml": f'suppliers: {{foundry: {{name: "{EVIL}"}}, lab: {{name: "{EVIL}", accredited: hardness}}}}\n',
    "shared/vehicles.yaml": f'vehicles:\n  finch: {{name: "{EVIL}", bodies: {{saloon: {{name: "{EVIL}", years: 1950-1956}}, estate: {{name: estate, years: 1952-1956}}}}}}\ncars:\n  car-1: {{vehicle: finch, body: saloon, year: 1953, note: "{EVIL}"}}\n',
}
ELEMENTS = frozenset(
    [
        "html",
        "head",
        "meta",
        "title",
        "link",
        "script",
        "body",
        "a",
        "svg",
        "defs",
        "pattern",
        "rect",
        "path",
        "symbol",
        "use",
        "g",
        "text",
        "desc",
        "line",
        "circle",
        "header",
        "img",
        "nav",
        "ul",
        "li",
        "form",
        "label",
        "input",
        "main",
        "div",
        "span",
        "h1",
        "h2",
        "h3",
        "section",
        "p",
        "b",
        "small",
        "table",
        "caption",
        "thead",
        "tbody",
        "tfoot",
        "tr",
        "th",
        "td",
        "details",
        "summary",
        "ol",
        "figure",
        "figcaption",
        "footer",
        "aside",
        "code",
        "pre",
        "dl",
        "dt",
        "dd",
        "output",
        "button",
        "select",
        "option",
        "kbd",
        "article",
        "colgroup",
        "col",
        "em",
        "strong",
    ]
)


class Reader(HTMLParser):
    """Collects every element with its attributes."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def read_page(path: Path) -> Reader:
    """Parse one page."""
    reader = Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    return reader


@pytest.mark.hostile("every page", "elements and attributes outside a fixed list")
def test_hostile_text_in_every_field_stays_text(workspace: Callable[..., Path]) -> None:
    root = workspace(HOSTILE, HOSTILE_SHARED)
    built = build_site(root)
    assert built.parts == 1, [str(finding.message) for finding in built.findings]
    part = read_page(built.out / "parts" / "SD-100.html")
    assert sum("<script>alert(1)</script>" in words for words in part.words) > 20
    for path in built.out.rglob("*.html"):
        for tag, attributes in read_page(path).tags:
            assert tag in ELEMENTS, (path.name, tag)
            assert not [name for name in attributes if name.startswith("on") or name == "style"], (
                path.name,
                tag,
                attributes,
            )
            for name in ("href", "src", "action"):
                value = attributes.get(name, ".")
                assert re.match(r"(\.|#|([a-z0-9-]+/)*[A-Za-z0-9-]+\.(html|json))", value), (path.name, tag, value)
            assert tag != "script" or attributes["src"].endswith((".js",)), path.name
            assert tag != "img" or re.fullmatch(r"\.\.?/(img|parts)/.*", attributes["src"]), attributes
    text = "\n".join(path.read_text(encoding="utf-8") for path in built.out.rglob("*.html"))
    assert ">49<" not in text and "alert(1)49" not in text  # no template in a record is ever run
    assert "<!--figure" not in text
    assert "<" not in (built.out / "data" / "parts.js").read_text(encoding="utf-8")
    for path in built.out.rglob("*.csv"):
        assert not re.search(r"(?m)(^|,)\"?[=@]", path.read_text(encoding="utf-8")), path.name


HARMFUL = (
    b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script><rect width='1' height='1'/></svg>",
    b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'><rect width='1' onclick='x()'/></svg>",
    b"<svg xmlns='http://www.w3.org/2000/svg'><a href='javascript:alert(1)'><text>x</text></a><use href='http://e.invalid/x#y'/></svg>",
    b"<svg xmlns='http://www.w3.org/2000/svg'><foreignObject><body xmlns='http://www.w3.org/1999/xhtml'/></foreignObject><image href='http://e.invalid/x.png'/></svg>",
    b"<svg xmlns='http://www.w3.org/2000/svg'><style>*{fill:url(http://e.invalid)}</style><rect fill='url(http://e.invalid/a)' style='x'/></svg>",
    b"<svg xmlns='http://www.w3.org/2000/svg'><set attributeName='href' to='javascript:alert(1)'/><animate/></svg>",
)


@pytest.mark.parametrize("drawing", HARMFUL)
@pytest.mark.hostile("drawings (SVG)", "script, handlers, styles, links and pictures from elsewhere")
def test_drawing_loses_whatever_could_run_or_lead_away(drawing: bytes) -> None:
    clean = clean_svg(drawing)
    assert clean is not None and clean.startswith(b"<svg")
    for harm in (
        b"script",
        b"alert",
        b"onload",
        b"onclick",
        b"http://e",
        b"foreignObject",
        b"image",
        b"style",
        b"animate",
        b"<set",
        b"<a ",
    ):
        assert harm not in clean, (harm, clean)


@pytest.mark.parametrize(
    "broken",
    (
        b"",
        b"<svg>",
        b"<html/>",
        b"<!DOCTYPE svg [<!ENTITY a 'b'>]><svg xmlns='http://www.w3.org/2000/svg'/>",
        b"\xff\xfe",
        b"<svg xmlns='http://e.invalid'/>",
    ),
)
@pytest.mark.hostile("drawings (SVG)", "what is no drawing")
def test_what_is_no_drawing_is_not_shown(broken: bytes) -> None:
    assert clean_svg(broken) is None


def test_good_drawing_keeps_its_shapes_and_follows_the_scheme() -> None:
    source = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 40 20'><title>Ø 40</title><g fill='none' stroke='currentColor' transform='rotate(10 1 2)'><path d='M0 0L4 4'/></g><text>41.89 ±0.25</text></svg>".encode()
    clean = (clean_svg(source, follow_scheme=True) or b"").decode()
    for piece in (
        "Ø 40",
        "currentColor",
        "rotate(10 1 2)",
        "M0 0L4 4",
        "41.89 ±0.25",
        'width="40"',
        "prefers-color-scheme",
    ):
        assert piece in clean


@pytest.mark.hostile("the site's folder", "evidence that a browser would run")
def test_evidence_that_a_browser_would_run_is_handed_out_as_text(workspace: Callable[..., Path]) -> None:
    page = "projects/SD-100/evidence/o1.html"
    measured = "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.html, gives: {length: 40.02}}\n  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
    out = build_site(workspace(measured, {page: "<script>alert(1)</script>"})).out
    assert not (out / "parts/SD-100/evidence/o1.html").exists()
    assert (out / "parts/SD-100/evidence/o1.html.txt").is_file()
    assert 'href="../parts/SD-100/evidence/o1.html.txt"' in (out / "parts/SD-100.html").read_text(encoding="utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
@pytest.mark.hostile("the site's folder", "evidence behind a link")
def test_evidence_that_is_too_large_for_the_site_is_named_and_leads_nowhere(
    workspace: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    root = workspace()
    whole = build_site(root)
    page = (whole.out / "measured/SD-100.html").read_text(encoding="utf-8")
    linked = set(re.findall(r'href="[^"]*/(evidence/[^"]+)"', page))
    assert linked and whole.warnings == ()
    shutil.rmtree(root / ".pipeline")
    monkeypatch.setattr("pipeline.sitegen.evidence_copies.MAX_BYTES", 1)
    site = build_site(root)
    page = (site.out / "measured/SD-100.html").read_text(encoding="utf-8")
    assert site.warnings == (), "no link leads to what is not there"
    for path in linked:
        assert path.rpartition("/")[2] in page and f'/{path}"' not in page


def test_evidence_behind_a_link_is_never_published(workspace: Callable[..., Path], tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("nobody may read this")
    root = workspace()
    target = root / "projects/SD-100/evidence/o1.csv"
    target.unlink()
    target.symlink_to(secret)
    out = build_site(root).out
    assert "nobody may read this" not in "".join(
        p.read_text(encoding="utf-8", errors="replace") for p in out.rglob("*") if p.is_file()
    )


# --- figures, links, serving --------------------------------------------------------------------------


def build_chart(likely: float) -> LadderChart:
    """A small ladder."""
    return LadderChart("Ladder", "words", "USD", (LadderStep("measure", 1.0, likely, 9.0, "2 (1 to 9)"),))


def test_figures_are_kept_and_a_damaged_one_is_drawn_anew(tmp_path: Path) -> None:
    first = ChartCache(tmp_path)
    drawn = first.draw(build_chart(2.0))
    kept = [path for path in (tmp_path / ".pipeline" / "charts").rglob("*") if path.is_file()]
    assert first.drawn == 1 and len(kept) == 1
    second = ChartCache(tmp_path)
    assert second.draw(build_chart(2.0)) == drawn and second.drawn == 0
    for damage in ("", "x", kept[0].read_text(encoding="utf-8").replace("<svg", "<script>alert(1)</script><svg", 1)):
        kept[0].write_text(damage, encoding="utf-8")
        third = ChartCache(tmp_path)
        assert third.draw(build_chart(2.0)) == drawn and third.drawn == 1
    assert ChartCache(tmp_path).draw(build_chart(3.0)) != drawn


def test_the_oldest_figures_go_where_there_are_too_many(tmp_path: Path) -> None:
    charts = ChartCache(tmp_path)
    for at in range(12):
        charts.draw(build_chart(1.0 + at / 10))
    charts.sweep(most=12)
    folder = tmp_path / ".pipeline" / "charts"
    assert sum(path.is_file() for path in folder.rglob("*")) == 12
    charts.sweep(most=10)
    assert sum(path.is_file() for path in folder.rglob("*")) == 8


def test_place_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    (tmp_path / ".pipeline").write_text("a file where a folder should be")
    assert ChartCache(tmp_path).draw(build_chart(2.0)).startswith("<svg")


def test_a_line_is_written_as_the_macro_of_a_run_writes_it() -> None:
    site = build_site_facts(Portfolio(Checked(Reading(None, (), {}, {}, 0), None, Lineage({}), {}, ()), {}, Timings()))
    environment = build_environment([], site, str)
    macro = environment.from_string('{% from "_words.html" import run with context %}{{ run(it) }}')
    for tone in Tone:
        for href in ("", "parts/a&b.html#x", '"><script>'):
            for text in ("plain", "a < b & 'c' \"d\"", ""):
                one = Run(text, tone, href)
                assert render_line((one, one), "..") == 2 * macro.render(it=one, base_url="..")


LINKS = (
    ('<a href="../b.html">', ""),
    ('<a href="../b.html#there">', ""),
    ('<a href="../b.html?q=x#there">', ""),
    ('<a href="#own">', ""),
    ('<img src="../img/a%20b.png">', ""),
    ('<a href="../b.html#gone">', "no place called gone"),
    ('<a href="../c.html">', "there is nothing"),
    ('<a href="#other">', "no place called other"),
    ('<a class="x" href="https://example.invalid/">', "not in the site"),
    ('<script src="//example.invalid/x.js">', "not in the site"),
    ('<a href="javascript:alert(1)">', "not in the site"),
)


@pytest.mark.parametrize(("link", "why"), LINKS)
def test_links_are_followed(link: str, why: str) -> None:
    pages = {"parts/A-1.html": f'<p id="own">{link}', "b.html": '<p id="there">'}
    broken = check_links(pages, {"img/a b.png"})
    assert [why in str(one) for one in broken] == ([True] if why else [])
    assert all(one.source == "projects/A-1/part.yaml" for one in broken)


def test_page_is_mapped_to_its_record() -> None:
    assert find_source("parts/TW-101.html") == "projects/TW-101/part.yaml"
    assert find_source("parts/index.html") == "parts/index.html"


def test_server_answers_this_machine_only(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("here")
    server = open_server(lambda: tmp_path, 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        host, port = server.server_address[:2]
        assert host == "127.0.0.1"
        assert urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5).read() == b"here"
        request = urllib.request.Request(f"http://127.0.0.1:{port}/", headers={"Host": "elsewhere.invalid"})
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(request, timeout=5)
    finally:
        server.shutdown()
        server.server_close()


def test_watcher_rebuilds_once_after_a_change_has_settled(workspace: Callable[..., Path]) -> None:
    root = workspace()
    stop, built = threading.Event(), threading.Event()
    calls = []

    def rebuild() -> None:
        calls.append(find_state(root))
        built.set()

    thread = threading.Thread(target=watch, args=(root, rebuild, stop, 0.05), daemon=True)
    thread.start()
    time.sleep(0.2)
    assert calls == []
    (root / "shared" / "shop.yaml").write_text("name: Renamed shop\nas_of: 2026-06-01\n")
    assert built.wait(10)
    time.sleep(0.3)
    stop.set()
    thread.join(5)
    assert len(calls) == 1


def test_swap_puts_the_old_site_back_when_the_new_one_cannot_move(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, draft = tmp_path / "site", tmp_path / ".site.x.part"
    for folder, word in ((out, "old"), (draft, "new")):
        folder.mkdir()
        (folder / "index.html").write_text(word)
    whole = Path.replace

    def refuse(self: Path, target: Path) -> Path:
        if self == draft:
            raise OSError(5, "Input/output error")
        return whole(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="Input/output"):
        building.swap_folders(draft, out)
    assert (out / "index.html").read_text() == "old"
