"""A headless Chromium for every test that wants one: one browser for a whole test process.

The browser is ``PIPELINE_CHROMIUM`` or ``/usr/bin/chromium``. Without one these tests are skipped, unless ``PIPELINE_REQUIRE_BROWSER=1``:
then they fail, so that a machine that must show them cannot pass by having no browser.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--disable-quic",
]


@dataclass
class Watched:
    """An open page with what it said and asked for while it was open."""

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


def _refuse(reason: str) -> None:
    if os.environ.get("PIPELINE_REQUIRE_BROWSER") == "1":
        pytest.fail(reason)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """One Chromium for the whole run."""
    program = Path(os.environ.get("PIPELINE_CHROMIUM", "/usr/bin/chromium"))
    if not program.exists():
        _refuse(f"no browser at {program}; set PIPELINE_CHROMIUM")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _refuse("playwright is not installed; pip install '.[test]'")
    with sync_playwright() as player:
        chromium = player.chromium.launch(executable_path=str(program), args=_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def open_page(browser: Any) -> Iterator[Callable[..., Watched]]:
    """Open an address (a path or a URL) and watch it: ``open_page(path, width=390, scheme="dark", script=False)``."""
    contexts = []

    def open_one(
        address: Path | str,
        width: int = 1280,
        scheme: str = "light",
        script: bool = True,
        height: int = 900,
        **more: Any,
    ) -> Watched:
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, java_script_enabled=script, **more
        )
        contexts.append(context)
        watched = Watched(context.new_page())
        watched.page.on("console", lambda message: watched.said.append(message.text))
        watched.page.on("pageerror", lambda error: watched.said.append(str(error)))
        watched.page.on("request", lambda request: watched.asked.append(request.url))
        watched.page.goto(address.as_uri() if isinstance(address, Path) else address)
        return watched

    yield open_one
    for context in contexts:
        context.close()


def follow(link: Any) -> None:
    """Click a link and wait until the page that it leads to is there: a busy machine opens it later."""
    page = link.page
    before, leads_to = page.url, str(link.evaluate("one => one.href || ''"))
    link.click()
    if leads_to and leads_to.split("#")[0] != before.split("#")[0]:
        page.wait_for_url(leads_to)
