"""`pipeline serve`: a site that stands is served at once, an edit is built, and pages that are open show themselves anew."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from http.server import ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from pipeline.sitegen import serving
from pipeline.sitegen.build import build_site
from pipeline.sitegen.serving import Builds, open_server

SOURCE = Path(__file__).parents[2]
RECORD = "projects/SD-100/part.yaml"
PAGE = (
    '<!doctype html><html><head><meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
    "script-src 'self' file:\"><title>t</title></head><body><h1>%s</h1></body></html>"
)


@pytest.fixture
def builds() -> Builds:
    return Builds()


@pytest.fixture
def served(tmp_path: Path, builds: Builds) -> Iterator[tuple[Path, str]]:
    """A folder with two pages behind a server that tells of builds, and its address."""
    (tmp_path / "parts").mkdir()
    (tmp_path / "index.html").write_text(PAGE % "first", "utf-8")
    (tmp_path / "parts/a.html").write_text(PAGE % "a", "utf-8")
    (tmp_path / "parts/words.txt").write_text("</head>", "utf-8")
    server: ThreadingHTTPServer = open_server(lambda: tmp_path, 0, builds)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield tmp_path, f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()


def read(address: str) -> str:
    """Return what a server answers."""
    with urllib.request.urlopen(address, timeout=20) as answer:
        return str(answer.read().decode("utf-8"))


def test_pages_get_the_script_and_nothing_else_does(served: tuple[Path, str], builds: Builds) -> None:
    folder, address = served
    script = f'<script src="/-/reload.js?built={builds.count}" defer></script></head>'
    for page in ("", "index.html", "parts/a.html", "parts/a.html?q=x"):
        assert script in read(address + page)
    assert read(address + "parts/words.txt") == "</head>"
    assert "reload" not in (folder / "index.html").read_text("utf-8"), "nothing of it is in the site"
    with pytest.raises(urllib.error.HTTPError, match="404"):
        read(address + "parts/none.html")
    with pytest.raises(urllib.error.HTTPError, match="404"):
        read(address + "..%2f..%2fetc/hosts.html")


def test_a_question_waits_for_the_next_build(
    served: tuple[Path, str], builds: Builds, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, address = served
    assert read(f"{address}-/built.js?after={builds.count - 1}") == "location.reload();\n", "built since it was read"
    threading.Timer(0.3, builds.tell).start()
    start = time.monotonic()
    assert read(f"{address}-/built.js?after={builds.count}") == "location.reload();\n"
    assert time.monotonic() - start >= 0.2
    monkeypatch.setattr(serving, "PATIENCE", 0.05)
    assert read(f"{address}-/built.js?after={builds.count}") == f"askForBuild({builds.count});\n"


@pytest.mark.parametrize("query", ["", "?after=", "?after=-1", "?after=1e9", "?after=alert(1)", "?after=" + "9" * 5000])
def test_a_strange_question_is_answered_with_a_number(
    served: tuple[Path, str], builds: Builds, query: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "PATIENCE", 0.05)
    assert read(f"{served[1]}-/built.js{query}") == f"askForBuild({builds.count});\n"


@pytest.mark.parametrize("path", ["", "-/reload.js", "-/built.js?after=0"])
def test_nobody_elsewhere_is_answered(served: tuple[Path, str], path: str) -> None:
    request = urllib.request.Request(served[1] + path, headers={"Host": "elsewhere.invalid"})
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(request, timeout=5)


@pytest.mark.browser
def test_an_open_page_shows_itself_anew_after_a_build(
    served: tuple[Path, str], builds: Builds, open_page: Callable[..., Any]
) -> None:
    folder, address = served
    watched = open_page(address)
    assert watched.page.inner_text("h1") == "first"
    for word in ("second", "third"):
        (folder / "index.html").write_text(PAGE % word, "utf-8")
        builds.tell()
        watched.page.wait_for_selector(f"h1:text-is('{word}')", timeout=15_000)
    assert watched.said == [], "the strict policy has nothing against it"


def test_serving_a_site_that_stands_begins_at_once_and_an_edit_is_built(sample: Callable[..., Path]) -> None:
    """The command itself, from its first line to the page of an edited record; what renders is loaded meanwhile."""
    root = sample()
    build_site(root)
    command = [sys.executable, "-u", "-m", "pipeline", "serve", "-w", str(root), "--port", "0"]
    environment = {**os.environ, "PYTHONPATH": str(SOURCE)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, encoding="utf-8", env=environment) as served:
        patience = threading.Timer(180, served.kill)
        patience.start()
        try:
            assert served.stdout is not None
            assert served.stdout.readline().startswith("Nothing has changed, the site stands: ")
            address = served.stdout.readline().split()[1]
            page = f"{address}parts/SD-100.html"
            assert b"Polished hook" not in urllib.request.urlopen(page, timeout=20).read()
            record = root / RECORD
            text = record.read_text("utf-8")
            record.write_text(re.sub("^name: .*", "name: Polished hook", text, count=1, flags=re.M), "utf-8")
            assert " pages, 1 part." in served.stdout.readline()
            assert b"Polished hook" in urllib.request.urlopen(page, timeout=20).read()
        finally:
            patience.cancel()
            served.terminate()


def test_what_renders_is_loaded_ahead() -> None:
    code = (
        "import sys\nfrom pipeline.cli.serve_command import load_ahead\n"
        "assert 'mkdocs' not in sys.modules\nload_ahead()\nassert 'pipeline.sitegen.mkdocs_build' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=SOURCE)
