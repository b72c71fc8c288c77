"""Serve a site on this machine only, and build it again when something it is made from has changed."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import urlsplit

LOOPBACK = "127.0.0.1"
SOURCES = ("projects", "shared", "site")
State = frozenset[tuple[str, int, int]]


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
    """Hands out files of the site to browsers on this machine, and its own page where there is nothing."""

    def do_GET(self) -> None:
        """Answer a request; a name that is not this machine's is refused, so that no page elsewhere can read along."""
        host = urlsplit(f"//{self.headers.get('Host', '')}").hostname
        if host not in (LOOPBACK, "localhost", "::1"):
            self.send_error(403, "Only for this machine")
            return
        super().do_GET()

    def end_headers(self) -> None:
        """Ask the browser to look again each time: the site may have been built anew."""
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        super().end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's own name
        """Say nothing of each request."""


def open_server(site: Callable[[], Path], port: int) -> ThreadingHTTPServer:
    """Return a server of a site on loopback; port 0 takes a free one. Raises OSError where the port is taken."""
    return ThreadingHTTPServer((LOOPBACK, port), partial(Handler, directory=str(site())))


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
