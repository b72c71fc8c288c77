"""Shared fixtures: sample workspaces on disk."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from pipeline.findings.rule import Example
from pipeline.findings.sample import build_sample

TESTS = Path(__file__).parent
if str(TESTS) not in sys.path:  # tests share builders that lie beside them
    sys.path.insert(0, str(TESTS))

settings.register_profile("repeatable", derandomize=True, deadline=None)
"""The same examples in every run, however busy the machine; `HYPOTHESIS_PROFILE=default` looks for new ones."""
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "repeatable"))

from real_browser import browser, open_page  # noqa: E402, F401 - fixtures of every folder


def write_files(root: Path, files: dict[str, bytes]) -> Path:
    """Write files below `root` and return it."""
    for name, content in files.items():
        target = root / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return root


@pytest.fixture
def sample(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes the sample workspace with changed sections and gives its folder."""
    made = 0

    def write(part: str = "", files: dict[str, str | None] | None = None) -> Path:
        nonlocal made
        made += 1
        return write_files(tmp_path / f"sample-{made}", build_sample(Example(part, files or {})))

    return write
