"""The demo with its history, written once for all tests that need it, and copies of it to be broken."""

from __future__ import annotations

import atexit
import functools
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from pipeline.demo.demo_workspace import write_demo
from pipeline.sitegen.build import build_site
from pipeline.writing.locks import take_lock

PERSON = {
    "GIT_AUTHOR_NAME": "Ito",
    "GIT_AUTHOR_EMAIL": "ito@example.invalid",
    "GIT_COMMITTER_NAME": "Ito",
    "GIT_COMMITTER_EMAIL": "ito@example.invalid",
}


@functools.cache
def find_told_demo(parts: int = 200) -> Path:
    """The folder of the demo with so many parts; nobody writes into it. Test processes of one run share it."""
    run = os.environ.get("PYTEST_XDIST_TESTRUNUID", str(os.getpid()))
    place = Path(tempfile.gettempdir()) / f"told-demo-{run}"
    folder = place / f"demo-{parts}"
    with take_lock(place, "demo", wait=300):
        user = place / "users" / str(os.getpid())
        if not user.exists():
            user.parent.mkdir(exist_ok=True)
            user.touch()
            atexit.register(_leave, user)
        if not folder.is_dir():  # it is renamed into place: where it is, it is whole
            write_demo(place / f"draft-{parts}", parts)
            (place / f"draft-{parts}").rename(folder)
    return folder


@functools.cache
def find_built_demo(parts: int = 30) -> Path:
    """The site of the demo with so many parts, built once for all test processes of a run; nobody writes into it."""
    folder = find_told_demo(parts)
    with take_lock(folder.parent, "site", wait=500):
        site = folder.parent / f"site-{parts}"
        if not site.is_dir():
            copy = shutil.copytree(folder, folder.parent / f"built-{parts}")
            built = build_site(copy, site)
            assert built.warnings == (), built.warnings
    return site


def _leave(user: Path) -> None:
    """The last process of a run that used the demos takes them away."""
    user.unlink(missing_ok=True)
    if not list(user.parent.iterdir()):
        shutil.rmtree(user.parents[1], ignore_errors=True)


def copy_demo(folder: Path, parts: int = 30) -> Path:
    """A copy of the demo that a test may break."""
    shutil.copytree(find_told_demo(parts), folder)
    return folder


def run_git(folder: Path, *words: str, **more: str) -> str:
    """The user's own git, as it would be typed, by Ito unless something else is said."""
    done = subprocess.run(["git", *words], cwd=folder, env=os.environ | PERSON | more, capture_output=True, check=True)
    return done.stdout.decode().strip()
