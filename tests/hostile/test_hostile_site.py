"""Hostile text in every text field of the model, in file names, in evidence and in git: only text wherever it comes out.

The workspace is made by walking the model (`hostile_workspace`), and every file of every edition is looked at by its
kind: a page, a table or a feed that is new is covered by itself. Sources: the HTML standard's parsing algorithm
(html5lib), XML 1.0 (expat), RFC 8259 (JSON), RFC 4180 (CSV), RFC 5545 (iCalendar, from memory), OWASP on formulas in
CSV (from memory).
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hostile.hostile_workspace import CANARY, EVIL, FILES, Filled, find_uncovered, write_workspace
from hostile.reader_laws import is_plain

from pipeline.cli.program import COMMANDS, group
from pipeline.sitegen.build import build_site

POLICY = re.compile(r"<meta http-equiv=\"Content-Security-Policy\" content=\"([^\"]*)\">")
COPIES = re.compile(r"parts/[A-Z0-9-]+/(evidence/|part\.yaml)")
"""Files that are handed out as they were attached, on purpose."""


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Filled]]:
    """The hostile workspace and what it holds."""
    root = tmp_path_factory.mktemp("hostile")
    return root, write_workspace(root)


@pytest.fixture(scope="module")
def sites(hostile: tuple[Path, dict[str, Filled]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The site in every edition that the workspace has."""
    root = hostile[0]
    built = {
        name: build_site(root, tmp_path_factory.mktemp(name) / "site", edition=name) for name in ("internal", "outer")
    }
    assert built["internal"].parts == 2
    return {name: one.out for name, one in built.items()}


def list_files(sites: dict[str, Path], suffix: str) -> Iterator[tuple[str, str]]:
    """Yield (edition/path, text) of the files that the program writes itself."""
    for edition, out in sites.items():
        for path in sorted(out.rglob(f"*{suffix}")):
            name = path.relative_to(out).as_posix()
            if path.is_file() and not COPIES.match(name):
                yield f"{edition}/{name}", path.read_bytes().decode("utf-8")  # with the line ends as they are


@pytest.mark.hostile("every text field of the model", "markup, template code, formulas, closing tags, calendar lines")
def test_every_text_field_of_the_model_holds_hostile_text(hostile: tuple[Path, dict[str, Filled]]) -> None:
    filled = hostile[1]
    assert find_uncovered(filled) == set(), "lay the section into `EXTRA` of hostile_workspace.py"
    assert sum(len(one.taken) for one in filled.values()) > 90
    record = json.loads((hostile[0] / "projects/SD-100/part.yaml").read_text())
    assert record["name"] == EVIL


def test_the_reader_of_schemas_sees_text_wherever_it_may_stand() -> None:
    """The walk is no better than its eyes: fields in maps, in lists and behind references are known by name."""
    from hostile.hostile_workspace import find_fields

    assert {("", "name"), ("Original", "from"), ("Waiver", "instead"), ("Measurement", "file")} <= find_fields("part")
    assert {("", "cautions"), ("", "hazards"), ("SafetyClass", "meaning")} <= find_fields("safety")
    assert ("Person", "emails") in find_fields("people")


@pytest.mark.hostile("every page", "markup and script from text, against the HTML standard's own parser")
def test_no_page_has_an_element_an_attribute_or_an_error_from_text(sites: dict[str, Path]) -> None:
    html5lib = pytest.importorskip("html5lib", reason="pip install '.[test]'")
    shown, pages = 0, 0
    for name, text in list_files(sites, ".html"):
        parser = html5lib.HTMLParser(namespaceHTMLElements=False)
        tree = parser.parse(text)
        pages += 1
        assert parser.errors == [], (name, parser.errors[:3])
        for element in tree.iter():
            if not isinstance(element.tag, str):
                assert "figure" not in str(element.text) and CANARY not in str(element.text), name
                continue
            check_element(name, element)
            shown += CANARY in (element.text or "")
        assert ">49<" not in text and "$49" not in text and "<!--figure" not in text, name
        assert is_plain(text), (name, [line.strip()[:300] for line in text.split("\n") if not is_plain(line)][:2])
    assert pages > 100 and shown > 60


def check_element(name: str, element: Any) -> None:
    """An element is one of the theme's, its script is a file of the site, its links stay in the site."""
    assert element.tag != CANARY and element.tag not in (
        "iframe",
        "object",
        "embed",
        "base",
        "foreignObject",
        "applet",
    ), (name, element.tag)
    if element.tag in ("script", "style"):
        assert element.attrib.get("src", "").endswith(".js") and not (element.text or "").strip(), (name, element.tag)
    for key, value in element.attrib.items():
        assert CANARY not in key and not key.startswith("on") and key != "style", (name, element.tag, key)
        if key in ("href", "src", "action", "formaction", "xlink:href", "data", "poster"):
            assert not re.match(r"(?i)\s*(javascript|data|vbscript|https?|ftp|file|//)", value), (name, key, value)
        if element.tag == "meta" and key == "http-equiv":
            assert value.lower() == "content-security-policy", (name, value)


@pytest.mark.hostile("every page", "a policy that lets nothing run or load but the site's own files")
def test_every_page_carries_the_policy_before_anything_else(sites: dict[str, Path]) -> None:
    policies = set()
    for name, text in list_files(sites, ".html"):
        found = POLICY.findall(text)
        assert len(found) == 1, name
        before = text[: text.index("Content-Security-Policy")].lower()
        assert not re.search(r"<(script|link|style|img|body|base)\b", before), name
        policies.add(found[0])
    for policy in policies:
        rules = dict(one.strip().partition(" ")[::2] for one in policy.split(";"))
        assert rules["default-src"] == "'none'" and rules["base-uri"] == "'none'"
        assert set(rules["script-src"].split()) <= {"'self'", "file:"}
        assert "unsafe" not in policy and "*" not in policy and "http" not in policy


@pytest.mark.hostile("tables (CSV)", "formulas, broken rows")
def test_no_table_is_broken_or_holds_a_formula(sites: dict[str, Path]) -> None:
    tables, shown = 0, 0
    for name, text in list_files(sites, ".csv"):
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        tables += 1
        assert len({len(row) for row in rows}) == 1, name
        assert is_plain(text.replace("\r\n", "\n")), name
        for cell in (cell for row in rows for cell in row):
            assert not re.match(r"\s*[=@＝＠]|\s*[+＋\-－](?![\d.]+\Z)", cell) or re.fullmatch(
                r"[+-]?[\d.]+([eE][+-]?\d+)?", cell
            ), (name, cell[:60])
            shown += CANARY in cell
    assert tables > 10 and shown > 5


@pytest.mark.hostile("drawings and feeds (SVG, XML)", "markup, script, entities")
def test_every_drawing_and_feed_is_plain_xml_without_script(sites: dict[str, Path]) -> None:
    from defusedxml import ElementTree

    for suffix in (".svg", ".xml", ".atom", ".rss"):
        for name, text in list_files(sites, suffix):
            assert is_plain(text), name
            for element in ElementTree.fromstring(text.encode(), forbid_dtd=True).iter():
                tag = str(element.tag).rpartition("}")[2]
                assert tag not in ("script", "foreignObject", "iframe", CANARY), (name, tag)
                for key, value in element.attrib.items():
                    assert not key.lower().startswith("on") and "javascript:" not in value.lower(), (name, key)
                if element.attrib.get("type") in ("html", "xhtml"):  # a reader of feeds would take it for markup
                    assert "<" not in "".join(element.itertext()), name


@pytest.mark.hostile("data (JSON)", "numbers that are none, text that ends a script")
def test_every_data_file_is_strict_json(sites: dict[str, Path]) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    checked = 0
    for suffix in (".json", ".js"):
        for name, text in list_files(sites, suffix):
            if suffix == ".js" and "/data/" not in f"/{name}":
                assert CANARY not in text, name
                continue
            body = re.sub(r"\A[\w.\s]+=\s*", "", text.strip()).rstrip(";") if suffix == ".js" else text
            json.loads(body, parse_constant=refuse)
            assert f"<{CANARY}" not in text or suffix == ".json", name  # tables in it are words of pages
            assert not re.search(r"(?i)<(script|img src=x|/script)", text) or suffix == ".json", name
            assert is_plain(text), name
            checked += 1
    assert checked >= 3


@pytest.mark.hostile("calendars (ICS)", "lines from text that would be events of their own")
def test_every_calendar_has_the_lines_that_the_program_wrote(sites: dict[str, Path]) -> None:
    for name, text in list_files(sites, ".ics"):
        assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", ""), name
        assert all(len(line.encode()) <= 75 for line in text.split("\r\n")), name
        assert is_plain(text.replace("\r\n", "\n")), name
        lines = text.replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")[:-1]
        stack: list[str] = []
        for line in lines:
            key, mark, value = line.partition(":")
            assert mark and re.match(r"[A-Z][A-Z-]*(;|\Z)", key), (name, line[:60])
            if key == "BEGIN":
                stack.append(value)
            elif key == "END":
                assert stack.pop() == value, name
            elif key == "SUMMARY" and CANARY in value:
                assert "\\nBEGIN:VEVENT" in value, (name, value[:200])
        assert stack == [], name


@pytest.mark.hostile("the site's folder", "file names that are options, paths, markup, scripts")
def test_nothing_lies_outside_and_evidence_that_runs_is_text(sites: dict[str, Path]) -> None:
    for edition, out in sites.items():
        for path in out.rglob("*"):
            assert not path.is_symlink() and path.resolve().is_relative_to(out.resolve())
            assert path.suffix not in (".htm", ".xhtml", ".mjs", ".svgz"), path
        assert {p.name for p in out.parent.iterdir()} <= {"site", ".site.lock", ".site.edition"}, edition
    drawing = next(p for p in sites["internal"].rglob("*script*.svg"))
    assert b"alert" not in drawing.read_bytes() and b"onload" not in drawing.read_bytes()
    assert sum((sites["internal"] / "parts/SD-100" / name).exists() for name in FILES) >= 3


READ_ONLY: dict[str, list[list[str]]] = {
    "check": [["check"], ["check", "--deep", "--history"], ["check", "--format", "json", "--history"], ["check", "--format", "sarif", "--deep"]],
    "next": [["next"], ["next", "SD-100"]],
    "ladder": [["ladder", "SD-100"]],
    "impact": [["impact", "SD-100", "length"]],
    "stack": [["stack", "SD-100", "rim"]],
    "quotes": [["quotes"], ["quotes", "SD-100"]],
    "loop": [["loop", "SD-100"]],
    "case": [["case", "SD-100"]],
    "plan": [["plan"]],
    "since": [["since", "2026-01-01"], ["since", "2026-01-01", "--json"]],
    "review": [["review"]],
    "export": [["export"]],
    "doctor": [["doctor"]],
    "release": [["release", "SD-100", "--dry-run"]],
}  # fmt: skip
NOT_READING = frozenset(
    {"application", "attach", "build", "change", "decide", "demo", "explain", "feature", "fit", "hook", "import", "init", "interface",
     "measure", "new", "quote", "revise", "schema", "serve", "tool", "waive"}
)  # fmt: skip
"""Commands that write, or say nothing of a record; `measure` is tried below, the writing ones in tests/cli."""


@pytest.mark.hostile("the terminal", "escape sequences and direction marks from records, evidence, file names and git")
@pytest.mark.parametrize("words", [pytest.param(w, id=" ".join(w)) for many in READ_ONLY.values() for w in many])
def test_no_command_lets_text_steer_the_terminal(words: list[str], hostile: tuple[Path, dict[str, Filled]]) -> None:
    said = CliRunner().invoke(group, [*words, "-w", str(hostile[0])], standalone_mode=False)
    assert (
        said.exception is None or isinstance(said.exception, SystemExit) or "Usage" in type(said.exception).__name__
    ), said.exception
    assert is_plain(said.output.replace("\r\n", "\n")), [
        line for line in said.output.split("\n") if not is_plain(line)
    ][:3]
    assert "\nBEGIN:VEVENT" not in said.output or "--format" in words or "export" in words or "--json" in words


@pytest.mark.hostile("the terminal", "escape sequences and direction marks from records, evidence, file names and git")
@pytest.mark.parametrize("name", FILES[:4])
def test_measuring_a_hostile_file_does_not_steer_the_terminal(
    name: str, hostile: tuple[Path, dict[str, Filled]]
) -> None:
    path = hostile[0] / "projects/SD-100" / name
    for more in ([], ["--json"]):
        said = CliRunner().invoke(
            group, ["measure", *more, "-w", str(hostile[0]), "--", str(path)], standalone_mode=False
        )
        assert is_plain(said.output), [line for line in said.output.split("\n") if not is_plain(line)][:3]


@pytest.mark.hostile("the terminal", "whatever a command prints: the last door")
def test_what_reaches_the_terminal_is_plain_whoever_prints_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import sys

    import click

    from pipeline.cli import program

    def shout() -> None:
        click.echo('{"a": "\u202e\x9b"}\r\n', nl=False)
        print("b\rc\U000e0041\x1b[2J")
        raise click.UsageError("no \x1b]0;evil\x07 here")

    monkeypatch.setattr(program.group, "main", lambda **_: shout())
    before = sys.stdout, sys.stderr
    with pytest.raises(SystemExit):
        program.run()
    assert (sys.stdout, sys.stderr) == before
    said = capsys.readouterr()
    assert json.loads(said.out.split("\r\n")[0]) == {"a": "\u202e\x9b"}  # JSON stays the same JSON
    assert is_plain(said.out.replace("\r\n", "\n")) and is_plain(said.err) and "\\u001b]0;evil" in said.err


def test_every_command_is_tried_or_said_not_to_read() -> None:
    assert set(COMMANDS) - set(READ_ONLY) - NOT_READING == set()


@pytest.mark.hostile("the exported workbook", "formulas")
def test_an_exported_workbook_holds_no_formula(hostile: tuple[Path, dict[str, Filled]], tmp_path: Path) -> None:
    import openpyxl

    target = tmp_path / "parts.xlsx"
    said = CliRunner().invoke(group, ["export", str(target), "-w", str(hostile[0])], standalone_mode=False)
    assert target.exists(), said.output
    for row in openpyxl.load_workbook(target).active.iter_rows():
        for cell in row:
            assert cell.data_type != "f", cell.value  # text that begins like a formula is stored as text


INJECTED = "<script>document.title='ran'</script><img src=x onerror=\"document.title='ran'\"><p id=probe onclick=\"document.title='ran'\" style='color:rgb(1,2,3)'>x</p><iframe src='data:text/html,<script>parent.document.title=1</script>'></iframe>"


@pytest.mark.browser
@pytest.mark.hostile("every page", "an inline script that got into a page all the same: blocked by the browser")
@pytest.mark.parametrize("over", ["file", "http"])
def test_the_browser_blocks_a_script_that_stands_in_a_page(
    over: str, sites: dict[str, Path], tmp_path: Path, open_page: Callable[..., Any]
) -> None:
    import shutil
    import threading

    from pipeline.sitegen.serving import open_server

    copy = tmp_path / "site"
    shutil.copytree(sites["internal"], copy)
    kinds = {path.parent.relative_to(copy): path for path in sorted(copy.rglob("*.html"))}  # one page of every folder
    for path in kinds.values():
        path.write_text(path.read_text(encoding="utf-8").replace("</main>", f"{INJECTED}</main>", 1), encoding="utf-8")
    control = tmp_path / "site" / "control.html"
    control.write_text(f"<!doctype html><title>x</title>{INJECTED}")
    server = open_server(lambda: copy, 0) if over == "http" else None
    if server is not None:
        threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        watched = open_page("about:blank")
        for path in (control, *kinds.values()):
            watched.said.clear()
            if server is None:
                watched.page.goto(path.as_uri())
            else:
                watched.page.goto(f"http://127.0.0.1:{server.server_address[1]}/{path.relative_to(copy).as_posix()}")
            watched.page.locator("#probe").dispatch_event("click")
            ran = watched.page.title() == "ran"
            assert ran == (path == control), path  # without the policy it does run: the probe is a good one
            assert path == control or any("Content Security Policy" in line for line in watched.said), path
    finally:
        if server is not None:
            server.shutdown()
            server.server_close()


@pytest.mark.hostile("every page", "image bombs: a picture of two thousand million points in four hundred bytes")
def test_a_picture_that_would_fill_the_memory_is_never_unpacked(tmp_path: Path) -> None:
    """The program only copies pictures or takes words out of them; the page gives the browser a place of a fixed size."""
    import resource

    from hostile.test_hostile_readers import build_picture

    from pipeline.findings.rule import Example
    from pipeline.findings.sample import build_sample

    for name, content in build_sample(Example("picture: evidence/bomb.png\nconfidential: false\n")).items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(content)
    (tmp_path / "projects/SD-100/evidence/bomb.png").write_bytes(build_picture(50_000, 40_000))
    for edition in ("internal", "public"):
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        out = build_site(tmp_path, edition=edition).out
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        assert grown < 1_000_000  # kB; the points themselves would be six million
        assert (out / "index.html").is_file()
