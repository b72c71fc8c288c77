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

PERSON = {
    "GIT_AUTHOR_NAME": "Ito",
    "GIT_AUTHOR_EMAIL": "ito@example.invalid",
    "GIT_COMMITTER_NAME": "Ito",
    "GIT_COMMITTER_EMAIL": "ito@example.invalid",
}


@functools.cache
def find_told_demo(parts: int = 200) -> Path:
    """The folder of the demo with so many parts; nobody writes into it."""
    place = Path(tempfile.mkdtemp(prefix="told-demo-"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    write_demo(place / "demo", parts)
    return place / "demo"


def copy_demo(folder: Path, parts: int = 30) -> Path:
    """A copy of the demo that a test may break."""
    shutil.copytree(find_told_demo(parts), folder)
    return folder


def run_git(folder: Path, *words: str, **more: str) -> str:
    """The user's own git, as it would be typed, by Ito unless something else is said."""
    done = subprocess.run(["git", *words], cwd=folder, env=os.environ | PERSON | more, capture_output=True, check=True)
    return done.stdout.decode().strip()
