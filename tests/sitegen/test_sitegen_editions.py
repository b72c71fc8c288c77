"""Outer editions: who leaves and when, what is said, where it is written, what is refused and with which way out."""

from __future__ import annotations

import ast
import csv
import datetime as dt
import io
import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree

import jsonschema
import pytest
from click.testing import CliRunner
from mkdocs.commands.build import build as build_with_mkdocs
from mkdocs.exceptions import Abort
from sitegen.edition_canaries import build_png

import pipeline.views
from pipeline.cli.build_command import INTERNAL as COMMAND_DEFAULT
from pipeline.cli.build_command import command as build_command
from pipeline.cli.serve_command import command as serve_command
from pipeline.model.edition import INTERNAL
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.edition_unknown import EditionUnknown
from pipeline.sitegen.build import SiteNotBuilt, build_site
from pipeline.sitegen.edition_files import THEME_FILES
from pipeline.sitegen.edition_folders import find_built_edition, find_edition_conflict
from pipeline.sitegen.link_check import check_links
from pipeline.sitegen.mkdocs_build import load_site_config
from pipeline.sitegen.rendering import THEME

CONFIG = "site_name: Sample\ndocs_dir: pages\nsite_dir: ../build/site\ntheme: {name: pipeline}\nplugins: [pipeline]\n"
ANNOUNCED = "announce: 2026-05-01\n"
OTHER = (
    "part: SD-200\nname: Second hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
    "fits:\n  estate: {vehicle: finch, body: estate, years: 1952-1956}\n"
)
SECRET = "confidential: true\n"
OTHER_FILE = "projects/SD-200/part.yaml"
ATOM = "{http://www.w3.org/2005/Atom}"


@pytest.fixture
def workspace(sample: Callable[..., Path]) -> Callable[..., Path]:
    """The sample workspace with an announced part, a second one beside it, and a configuration of its site."""

    def write(part: str = ANNOUNCED, other: str = OTHER, files: dict[str, str | None] | None = None) -> Path:
        return sample(
            part, {"site/mkdocs.yml": CONFIG, "site/pages/notes.md": "# Notes\n", OTHER_FILE: other, **(files or {})}
        )

    return write


def read_all(site: Path) -> dict[str, bytes]:
    """Return every file of a site by its path."""
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in sorted(site.rglob("*")) if path.is_file()}


def list_parts(site: Path) -> list[str]:
    """Return the numbers of the parts that a site tells of."""
    return [part["number"] for part in json.loads((site / "data" / "parts.json").read_text("utf-8"))["parts"]]


# --- who leaves, and when -----------------------------------------------------------------------------


def test_embargo_day_opens_by_itself_at_the_next_build(workspace: Callable[..., Path]) -> None:
    root = workspace(other=OTHER + SECRET + "announce: 2026-06-02\n")
    before = read_all(build_site(root, today=dt.date(2026, 6, 1), edition="public").out)
    assert [name for name, content in before.items() if b"SD-200" in content or "SD-200" in name] == []
    assert [name for name, content in before.items() if b"Second hook" in content] == []
    after = build_site(root, today=dt.date(2026, 6, 2), edition="public").out
    assert list_parts(after) == ["SD-100", "SD-200"]
    for page in (
        "index.html",
        "parts/index.html",
        "parts/SD-200.html",
        "vehicles.html",
        "data/parts.csv",
        "data/parts.js",
    ):
        assert b"SD-200" in (after / page).read_bytes(), page


def test_counts_tell_of_no_gap(workspace: Callable[..., Path]) -> None:
    """What stays is not counted, its bodies and families are no filters, and no number is passed over."""
    out = build_site(workspace(other=OTHER + SECRET), edition="public").out
    texts = {
        name: content.decode("utf-8", "ignore") for name, content in read_all(out).items() if name not in THEME_FILES
    }
    assert "1 part, for sale or coming." in texts["parts/index.html"]
    index = json.loads(texts["data/parts.js"].removeprefix("window.partsIndex = ").rstrip(";\n"))
    facets = {facet["key"]: facet["values"] for facet in index["facets"]}
    assert facets["body"] == ["saloon"] and facets["year"] == [str(year) for year in range(1951, 1956)]
    assert not re.search(r"left out|not shown|confidential|withheld|embargo", " ".join(texts.values()), re.I)
    assert not list(out.rglob("sitemap*"))


def test_workspace_without_the_file_lets_nothing_confidential_out(workspace: Callable[..., Path]) -> None:
    root = workspace(part=SECRET, other=OTHER + SECRET + ANNOUNCED)
    built = build_site(root, edition="partner")
    assert list_parts(built.out) == ["SD-200"] and built.parts == 1
    assert b"SD-100" not in b"".join(read_all(built.out).values())
    page = (built.out / "parts" / "SD-200.html").read_text("utf-8")
    assert "price" not in page and "expected" not in page


def test_edition_with_nothing_to_tell_is_a_whole_site(workspace: Callable[..., Path]) -> None:
    built = build_site(workspace(part="", other=OTHER), edition="public")
    assert built.parts == 0 and built.warnings == ()
    assert "Nothing is announced yet" in (built.out / "parts" / "index.html").read_text("utf-8")
    assert "Nothing is announced yet" in (built.out / "vehicles.html").read_text("utf-8")
    pages = {name: content.decode() for name, content in read_all(built.out).items() if name.endswith(".html")}
    assert check_links(pages, set(read_all(built.out))) == []


# --- where it is written ------------------------------------------------------------------------------


def test_each_edition_has_a_folder_of_its_own(workspace: Callable[..., Path]) -> None:
    root = workspace()
    outs = [build_site(root, edition=name).out for name in (INTERNAL, "partner", "public")]
    assert [out.relative_to(root).as_posix() for out in outs] == ["build/site", "build/partner", "build/public"]
    assert [find_built_edition(out) for out in outs] == [INTERNAL, "partner", "public"]
    first = read_all(outs[2])
    assert read_all(build_site(root, edition="public").out) == first, "two builds of a day are the same to the byte"


@pytest.mark.parametrize(("there", "wanted"), [("public", INTERNAL), (INTERNAL, "public"), ("partner", "public")])
def test_edition_is_never_written_over_another_one(workspace: Callable[..., Path], there: str, wanted: str) -> None:
    root = workspace()
    out = build_site(root, root / "build" / "x", edition=there).out
    before = read_all(out)
    for place in (out, out / "inside"):
        with pytest.raises(
            SiteNotBuilt, match=f"holds the {there} edition, and this is the {wanted} one; choose another --out"
        ):
            build_site(root, place, edition=wanted)
    assert read_all(out) == before
    assert find_edition_conflict(out, there) == ""


def test_folder_with_a_page_that_is_not_ours_is_no_edition(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text("<h1>Something else</h1>", encoding="utf-8")
    assert find_built_edition(tmp_path) is None and find_built_edition(tmp_path / "nothing") is None


def test_wrong_name_lists_the_editions(workspace: Callable[..., Path]) -> None:
    root = workspace()
    for name in ("publik", "../../x", ""):
        result = CliRunner().invoke(build_command, ["-w", str(root), "--edition", name])
        assert result.exit_code == 2
        assert "the editions are internal, partner, public (shared/editions.yaml)" in result.output
    assert not (root / "build").exists() and COMMAND_DEFAULT == INTERNAL
    told = CliRunner().invoke(build_command, ["-w", str(root), "-e", "public"], standalone_mode=False)
    assert told.return_value == 0 and "build/public/index.html" in told.output
    assert f"pipeline serve --workspace {root} --edition public" in told.output
    served = CliRunner().invoke(serve_command, ["-w", str(root), "--edition", "publik"])
    assert served.exit_code == 1 and "the editions are internal, partner, public" in served.output


# --- the file that says what leaves -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("editions: {public: {parts: [anounced]}}\n", "1:29", "announced"),
        ("editions: {public: {fields: [price, note]}}\n", "1:37", "family"),
        ("editions: {public: {feilds: [price]}}\n", "1:21", "fields"),
        ("editions: {internal: {}}\n", "1:12", "choose another name"),
        ("editions: {}\n", "1:11", ""),
        ("editions: {public: {intro: 5}}\n", "1:28", ""),
    ],
)
def test_wrong_word_has_its_place_and_a_way_out(
    workspace: Callable[..., Path], text: str, place: str, words: str
) -> None:
    """Nothing leaves until the file is mended."""
    root = workspace(files={"shared/editions.yaml": text})
    found = [f for f in check_workspace(root).findings if f.location.path == "shared/editions.yaml"]
    assert [f"{f.location.line}:{f.location.column}" for f in found] == [place], [str(f) for f in found]
    assert words in found[0].fix + found[0].message
    with pytest.raises(EditionUnknown, match=r"shared/editions\.yaml cannot be used"):
        build_site(root, edition="public")


def test_internal_site_needs_no_file_about_editions(workspace: Callable[..., Path]) -> None:
    assert build_site(workspace(files={"shared/editions.yaml": "editions: 5\n"})).parts == 2


def test_edition_of_ones_own_says_what_it_is_told_to(workspace: Callable[..., Path]) -> None:
    told = "editions: {club: {parts: [open], fields: [family, price, expected], intro: For the club.}}\n"
    demand = "demand: {per_year: [100, 200, 300], price: 68 USD}\n"
    built = build_site(workspace(ANNOUNCED + demand, OTHER + demand, {"shared/editions.yaml": told}), edition="club")
    assert list_parts(built.out) == ["SD-100", "SD-200"]
    home = (built.out / "index.html").read_text("utf-8")
    assert "For the club." in home and 'name="edition" content="club"' in home
    assert "68 USD" in (built.out / "parts" / "SD-100.html").read_text("utf-8")
    assert "68" not in (built.out / "parts" / "SD-200.html").read_text("utf-8"), "not announced: its price is not said"


# --- words that would tell ----------------------------------------------------------------------------


def test_word_that_tells_a_confidential_number_stops_the_build(workspace: Callable[..., Path]) -> None:
    root = workspace(ANNOUNCED, OTHER + SECRET)
    out = build_site(root, edition="public").out
    before = read_all(out)
    path = root / "projects" / "SD-100" / "part.yaml"
    path.write_text(path.read_text("utf-8").replace("Sample hook", "Hook for sd-200"), encoding="utf-8")
    with pytest.raises(SiteNotBuilt, match=r"would name sd-200, which is confidential today.*L501"):
        build_site(root, edition="public")
    assert read_all(out) == before, "the old site stays"
    assert build_site(root).parts == 2


def test_number_drawn_in_a_picture_is_found_too(workspace: Callable[..., Path]) -> None:
    told = "editions: {public: {fields: [picture, drawing words]}}\n"
    drawing = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><text x="1" y="2">for SD-200</text></svg>'
    files = {"shared/editions.yaml": told, "projects/SD-100/evidence/d.svg": drawing}
    root = workspace(ANNOUNCED + "picture: evidence/d.svg\n", OTHER + SECRET, files)
    with pytest.raises(SiteNotBuilt, match=r"the drawing of SD-100\.svg would name SD-200"):
        build_site(root, edition="public")


def test_number_of_a_record_that_cannot_be_read_counts_as_confidential(workspace: Callable[..., Path]) -> None:
    """Whether it is cannot be known: what it said was not understood."""
    files = {"projects/SD-300/part.yaml": "part: SD-300\nconfidential: true\nname: [\n"}
    with pytest.raises(SiteNotBuilt, match=r"would name SD-300, which is confidential today"):
        build_site(workspace(ANNOUNCED + "name: Hook for SD-300\n", OTHER, files), edition="public")


def test_number_in_a_stylesheet_of_the_maker_is_found_too(workspace: Callable[..., Path]) -> None:
    files = {"site/mkdocs.yml": CONFIG + "extra_css: [own.css]\n", "site/pages/own.css": "/* for SD-200 */\n"}
    assert "own.css" in read_all(build_site(workspace(ANNOUNCED, OTHER, files), edition="public").out)
    with pytest.raises(SiteNotBuilt, match=r"own\.css would name SD-200"):
        build_site(workspace(ANNOUNCED, OTHER + SECRET, files), edition="public")


def test_number_on_a_hand_written_page_is_found_too(workspace: Callable[..., Path]) -> None:
    page = {"site/pages/dealers.md": "---\neditions: public\n---\n# Dealers\n\nSoon: SD-200.\n"}
    with pytest.raises(SiteNotBuilt, match=r"dealers\.html would name SD-200"):
        build_site(workspace(ANNOUNCED, OTHER + SECRET, page), edition="public")


# --- pictures, pages, and nothing else ----------------------------------------------------------------


def test_picture_is_named_after_its_number_and_holds_pixels_only(workspace: Callable[..., Path]) -> None:
    root = workspace(ANNOUNCED + "picture: evidence/rival-price.png\n")
    source = root / "projects" / "SD-100" / "evidence" / "rival-price.png"
    source.write_bytes(build_png(iter(range(8100, 8200))))
    out = build_site(root, edition="public").out
    content = (out / "pictures" / "SD-100.png").read_bytes()
    assert b"qz" not in content and content.startswith(b"\x89PNG")
    assert b"rival-price" not in b"".join(read_all(out).values())
    assert 'src="../pictures/SD-100.png"' in (out / "parts" / "SD-100.html").read_text("utf-8")


def test_picture_that_cannot_be_stripped_stays_and_is_told(workspace: Callable[..., Path]) -> None:
    root = workspace(ANNOUNCED + "picture: evidence/d.avif\n", files={"projects/SD-100/evidence/d.avif": "x"})
    built = build_site(root, edition="public")
    assert any("projects/SD-100/evidence/d.avif does not leave the house" in warning for warning in built.warnings)
    assert not (built.out / "pictures").exists()
    assert "No picture is shown yet." in (built.out / "parts" / "SD-100.html").read_text("utf-8")


def test_hand_written_page_leaves_only_where_it_says_so(workspace: Callable[..., Path]) -> None:
    config = CONFIG + "nav: [{Notes: notes.md}, {For dealers: dealers.md}]\n"
    page = "---\neditions: [partner]\ntemplate: main.html\n---\n# Dealers\n\n[A part](parts/SD-100.html) ![us](img/us.png) [list](list.pdf)\n"
    files = {
        "site/mkdocs.yml": config,
        "site/pages/dealers.md": page,
        "site/pages/list.pdf": "%PDF",
        "site/pages/img/x.txt": "x",
    }
    root = workspace(ANNOUNCED, OTHER, files)
    (root / "site" / "pages" / "img" / "us.png").write_bytes(build_png(iter(range(8100, 8200))))
    partner, public = build_site(root, edition="partner"), build_site(root, edition="public")
    text = (partner.out / "dealers.html").read_text("utf-8")
    assert 'aria-current="page">For dealers' in text and 'href="parts/SD-100.html"' in text
    assert 'name="edition" content="partner"' in text and "Content-Security-Policy" in text
    assert b"qz" not in (partner.out / "img" / "us.png").read_bytes()
    assert any("list.pdf is no picture" in warning for warning in partner.warnings)
    assert not {"notes.html", "list.pdf", "img/x.txt"} & set(read_all(partner.out))
    assert not {"dealers.html", "notes.html", "img/us.png"} & set(read_all(public.out)) and public.warnings == ()
    assert {"notes.html", "dealers.html", "list.pdf"} <= set(read_all(build_site(root).out))


def test_whatever_another_plugin_adds_is_refused(workspace: Callable[..., Path]) -> None:
    root = workspace(files={"site/mkdocs.yml": CONFIG.replace("[pipeline]", "[search, pipeline]")})
    with pytest.raises(SiteNotBuilt, match=r"search/.* is not part of the public edition.*another plugin"):
        build_site(root, edition="public")
    assert not (root / "build" / "public").exists()


def test_mkdocs_itself_builds_an_edition(workspace: Callable[..., Path]) -> None:
    config = CONFIG.replace("[pipeline]", "[pipeline: {edition: public}]").replace("build/site", "build/public")
    root = workspace(files={"site/mkdocs.yml": config})
    run = [sys.executable, "-m", "mkdocs", "build", "--strict", "-f", str(root / "site" / "mkdocs.yml")]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert read_all(root / "build" / "public") == read_all(build_site(root, root / "y", edition="public").out)


def test_mkdocs_itself_never_writes_over_another_edition(
    workspace: Callable[..., Path], caplog: pytest.LogCaptureFixture
) -> None:
    root = workspace()
    out = build_site(root, edition="partner").out
    before = read_all(out)
    with caplog.at_level("ERROR", "mkdocs"), pytest.raises(Abort):
        build_with_mkdocs(load_site_config(root, out, edition="public"))
    assert "holds the partner edition, and this is the public one; choose another site_dir" in caplog.text
    assert read_all(out) == before


def test_outer_site_is_sound(workspace: Callable[..., Path]) -> None:
    """Every link leads somewhere, the data hold to their schema, the table to its head, every asset is of the theme."""
    built = build_site(workspace(other=OTHER + ANNOUNCED), edition="partner")
    assert built.warnings == ()
    files = read_all(built.out)
    pages = {name: content.decode() for name, content in files.items() if name.endswith(".html")}
    assert [str(broken) for broken in check_links(pages, set(files))] == []
    jsonschema.validate(json.loads(files["data/parts.json"]), json.loads(files["data/parts.schema.json"]))
    rows = list(csv.reader(io.StringIO(files["data/parts.csv"].decode(), newline="")))
    assert rows[0][:2] == ["number", "part"] and [row[0] for row in rows[1:]] == ["SD-100", "SD-200"]
    assert {name for name in files if name.startswith(("css/", "js/", "img/"))} == THEME_FILES
    for name, text in pages.items():
        assert not re.search(r"<style|<script(?! src)|\sstyle=|\son\w+=", text), name
        assert not re.search(r'(?:href|src|action)="(?:https?:|//|/)', text), name


def test_hostile_text_stays_text(workspace: Callable[..., Path]) -> None:
    hostile = '"=1+1<script>alert(1)</script>\\" onload=\\"x"'
    vehicles = (
        "vehicles:\n  finch: {name: '<b>../../Finch', bodies: {saloon: {name: \"</td>saloon\", years: 1950-1956}}}\n"
    )
    cars = "cars: {car-1: {vehicle: finch, body: saloon, year: 1953}}\n"
    root = workspace(f"{ANNOUNCED}name: {hostile}\n", OTHER, {"shared/vehicles.yaml": vehicles + cars})
    files = read_all(build_site(root, edition="public").out)
    for name, content in files.items():
        assert ".." not in name
        if name.endswith((".html", ".js")) and name not in THEME_FILES:
            assert b"<script>alert" not in content and b"<b>.." not in content and b"</td>saloon" not in content, name
    rows = list(csv.reader(io.StringIO(files["data/parts.csv"].decode(), newline="")))
    assert rows[1][1].startswith("'=1+1")
    assert "data/vehicle-b-finch.csv" in files


# --- the feed -----------------------------------------------------------------------------------------


def read_feed(site: Path) -> list[tuple[str, str, str]]:
    """Return the entries of a feed: title, day, address."""
    root = ElementTree.fromstring((site / "feed.xml").read_bytes())
    return [
        (
            entry.findtext(f"{ATOM}title") or "",
            (entry.findtext(f"{ATOM}updated") or "")[:10],
            str(next(iter(entry.iter(f"{ATOM}link"))).get("href")),
        )
        for entry in root.iter(f"{ATOM}entry")
    ]


def test_the_feed_tells_what_was_announced_and_keeps_the_rules_of_atom(workspace: Callable[..., Path]) -> None:
    """RFC 4287 by the checks of the internal feed; each page leads to it, and no address of the house stands in it."""
    from views.test_views_outlets import check_atom

    shop = {"shared/shop.yaml": "name: Sample shop\nas_of: 2026-06-01\nsite: https://inside.invalid/parts/\n"}
    out = build_site(workspace(other=OTHER + "announce: 2026-05-20\n", files=shop), edition="public").out
    assert read_feed(out) == [
        ("SD-200 Second hook: announced", "2026-05-20", "parts/SD-200.html"),
        ("SD-100 Sample hook: announced", "2026-05-01", "parts/SD-100.html"),
    ]
    text = (out / "feed.xml").read_text("utf-8")
    assert check_atom(text) == [] and "inside.invalid" not in text and "For Finch saloon 1951–1955." in text
    for page in ("index.html", "parts/index.html", "parts/SD-100.html"):
        assert 'type="application/atom+xml"' in (out / page).read_text("utf-8"), page
    assert 'href="./feed.xml">What is announced' in (out / "index.html").read_text("utf-8")


def test_the_feed_says_nothing_before_the_day_and_then_says_it(workspace: Callable[..., Path]) -> None:
    root = workspace(other=OTHER + SECRET + "announce: 2026-06-02\n")
    before = build_site(root, today=dt.date(2026, 6, 1), edition="public").out
    assert [title for title, *_ in read_feed(before)] == ["SD-100 Sample hook: announced"]
    old = ElementTree.fromstring((before / "feed.xml").read_bytes())
    after = build_site(root, today=dt.date(2026, 6, 2), edition="public").out
    assert read_feed(after)[0] == ("SD-200 Second hook: announced", "2026-06-02", "parts/SD-200.html")
    new = ElementTree.fromstring((after / "feed.xml").read_bytes())
    ids = [[one.findtext(f"{ATOM}id") for one in feed.iter(f"{ATOM}entry")] for feed in (old, new)]
    assert ids[0] == ids[1][1:] and old.findtext(f"{ATOM}id") == new.findtext(f"{ATOM}id")


def test_a_feed_with_nothing_to_tell_is_a_feed(workspace: Callable[..., Path]) -> None:
    out = build_site(workspace(part="", other=OTHER), edition="public").out
    assert read_feed(out) == [] and "<updated>2026-06-01T00:00:00Z</updated>" in (out / "feed.xml").read_text("utf-8")


# --- the wall -----------------------------------------------------------------------------------------

OUTER_VIEWS = sorted(Path(pipeline.views.__file__).parent.glob("outer_*.py"))
MAY_KNOW = ("pipeline.views.outer_", "pipeline.views.shapes_")
KNOWN = {
    "pipeline.portfolio.outer_part",
    "pipeline.views.csv_tables",
    "pipeline.views.feed_text",
    "pipeline.views.table_files",
    "pipeline.views.wording",
    "pipeline.model.quantity",
}


def find_imports(text: str) -> set[str]:
    """Return the modules of the package that a module imports, however it does so."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom):
            found |= {node.module or ""} | {
                f"{node.module}.{alias.name}" for alias in node.names if node.module == "pipeline"
            }
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.split(".")[0] == "pipeline"}


@pytest.mark.parametrize("path", OUTER_VIEWS, ids=lambda path: path.stem)
def test_outer_views_import_nothing_that_knows_a_record(path: Path) -> None:
    wrong = {
        name for name in find_imports(path.read_text("utf-8")) if name not in KNOWN and not name.startswith(MAY_KNOW)
    }
    assert wrong == set()


def test_a_wrong_import_is_seen() -> None:
    assert find_imports("from pipeline.portfolio.portfolio import PartFile") == {"pipeline.portfolio.portfolio"}


def test_outer_views_reach_no_record_by_any_way() -> None:
    names = [f"pipeline.views.{path.stem}" for path in OUTER_VIEWS]
    code = (
        f"import importlib, sys\nfor name in {names!r}: importlib.import_module(name)\n"
        "far = ['pipeline.model.part', 'pipeline.model.catalogue', 'pipeline.model.workspace', 'pipeline.portfolio.editions',"
        " 'pipeline.portfolio.portfolio', 'pipeline.reading', 'pipeline.history', 'pipeline.gates']\n"
        "sys.exit(', '.join(name for name in far if name in sys.modules) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_theme_of_an_outer_site_names_no_part() -> None:
    """What is the same in every site comes along unread: it may name no number of the demo either."""
    for name in THEME_FILES:
        assert not re.search(r"[A-Z]{2}-\d{3}", (THEME / name).read_text("utf-8").replace("AB-101", "")), name


def test_frame_has_the_same_policy_as_the_internal_one() -> None:
    policy = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]*)"')
    found = [policy.findall((THEME / name).read_text("utf-8")) for name in ("base.html", "outer_base.html")]
    assert found[0] == found[1] and len(found[0]) == 1
