"""Serve a site on this machine only, and build it again when something it is made from has changed."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

LOOPBACK = "127.0.0.1"
SOURCES = ("projects", "shared", "site")
State = frozenset[tuple[str, int, int]]
RELOADING, BUILT = "/-/reload.js", "/-/built.js"
"""Addresses of the server alone, which no site has: the script that waits for a build, and what it waits for."""
PATIENCE = 20.0
"""Seconds that a page's question is kept waiting, before it has to ask again."""
_SCRIPT = """\
/* Shows the page anew when the site was built anew. The strict policy of the pages lets it ask by a script only. */
(function () {
  "use strict";
  function ask(after) {
    var question = document.createElement("script");
    question.src = "%s?after=" + after + "&asked=" + Date.now();
    question.onload = function () { question.remove(); };
    question.onerror = function () { question.remove(); setTimeout(ask, 3000, after); };
    document.head.append(question);
  }
  window.askForBuild = ask;
  var built = new URL(document.currentScript.src).searchParams.get("built");
  /* not before the page is whole: a browser counts an open question as a part of the page that is still to come */
  window.addEventListener("load", function () { setTimeout(ask, 0, built); });
})();
"""


class Builds:
    """How often the site was built, for pages that wait for the next time. Numbers go on where a later run begins."""

    def __init__(self) -> None:
        self.count = int(time.time())
        self._told = threading.Condition()

    def tell(self) -> None:
        """Say that the site was built anew."""
        with self._told:
            self.count += 1
            self._told.notify_all()

    def wait(self, after: int, seconds: float) -> int:
        """Wait until there is a later build than that one, or the time is over; return the number of the last."""
        with self._told:
            self._told.wait_for(lambda: self.count > after, seconds)
            return self.count


def find_state(root: Path) -> State:
    """Return path, time of change and size of everything that a site is made from."""
    return frozenset(_find_files(root))


def _find_files(root: Path) -> Iterator[tuple[str, int, int]]:
    for name in SOURCES:
        for path in (root / name).rglob("*"):
            try:
                if path.is_file():
                    found = path.stat()
                    yield str(path), found.st_mtime_ns, found.st_size
            except OSError:
                continue  # it went away while we looked


class Handler(SimpleHTTPRequestHandler):
    """Hands out files of the site to browsers on this machine, and its own page where there is nothing.

    builds : where there are any, a page that is shown is shown anew after the next one.
    """

    def __init__(self, *arguments: Any, builds: Builds | None = None, **more: Any) -> None:
        self.builds = builds
        super().__init__(*arguments, **more)

    def do_GET(self) -> None:
        """Answer a request; a name that is not this machine's is refused, so that no page elsewhere can read along."""
        asked = urlsplit(self.path)
        host = urlsplit(f"//{self.headers.get('Host', '')}").hostname
        seen = 0 if self.builds is None else self.builds.count  # before the page is read: it may be replaced meanwhile
        if host not in (LOOPBACK, "localhost", "::1"):
            self.send_error(403, "Only for this machine")
        elif self.builds is None:
            super().do_GET()
        elif asked.path == RELOADING:
            self._send(_SCRIPT % BUILT, "text/javascript")
        elif asked.path == BUILT:
            self._send(_answer(self.builds, asked.query), "text/javascript")
        elif (page := self._read_page(asked.path)) is not None:
            script = f'<script src="{RELOADING}?built={seen}" defer></script>'
            self._send(page.replace("</head>", f"{script}</head>", 1), "text/html")
        else:
            super().do_GET()

    def _read_page(self, path: str) -> str | None:
        """Return the page that is asked for; None where it is none, or is not there at the moment."""
        file = Path(self.translate_path(path))
        if path.endswith("/"):
            file /= "index.html"
        try:
            return file.read_text("utf-8") if file.suffix == ".html" else None
        except (OSError, UnicodeDecodeError):
            return None

    def _send(self, text: str, kind: str) -> None:
        content = text.encode("utf-8")
        self.send_response(200)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def end_headers(self) -> None:
        """Ask the browser to look again each time: the site may have been built anew."""
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's own name
        """Say nothing of each request."""


def _answer(builds: Builds, query: str) -> str:
    """Return what a waiting page has to do: show itself anew, or ask again."""
    told = parse_qs(query).get("after", [""])[0]
    after = int(told) if told.isascii() and told.isdigit() and len(told) < 20 else builds.count
    count = builds.wait(after, PATIENCE)
    return "location.reload();\n" if count > after else f"askForBuild({count});\n"


def open_server(site: Callable[[], Path], port: int, builds: Builds | None = None) -> ThreadingHTTPServer:
    """Return a server of a site on loopback; port 0 takes a free one. Raises OSError where the port is taken.

    builds : lets the pages that are open show themselves anew after each.
    """
    return ThreadingHTTPServer((LOOPBACK, port), partial(Handler, directory=str(site()), builds=builds))


def watch(
    root: Path,
    rebuild: Callable[[], object],
    stop: threading.Event,
    every: float = 0.7,
    known: State | None = None,
) -> None:
    """Call `rebuild` whenever something the site is made from has changed and has been at rest for a moment.

    known : what it was made from the last time, as `find_state` saw it before that build; what it is now, if left out.
    """
    known = find_state(root) if known is None else known
    while not stop.wait(every):
        found = find_state(root)
        if found == known:
            continue
        while not stop.wait(every / 3) and (later := find_state(root)) != found:
            found = later  # still being written
        known = found
        rebuild()
