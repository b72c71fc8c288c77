"""Small repositories for the tests of the history room."""

from __future__ import annotations

import os
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

from pipeline.history.replay import PlannedCommit, write_history
from pipeline.history.repository import Repository, open_repository

RECORD = "projects/TW-1/part.yaml"
START = datetime(2026, 1, 5, 9, tzinfo=UTC)


def parse(content: bytes) -> dict[str, Any] | None:
    try:
        tree = yaml.load(content, yaml.CSafeLoader)
    except (yaml.YAMLError, UnicodeDecodeError, ValueError):
        return None
    return tree if isinstance(tree, dict) else None


def plan(*versions: dict[str, bytes | None], days: int = 1) -> list[PlannedCommit]:
    """One commit for each set of files, `days` apart, by Mara."""
    return [
        PlannedCommit(START + timedelta(days=days * n), "Mara", "mara", f"commit {n}", files)
        for n, files in enumerate(versions)
    ]


def build(folder: Path, *versions: dict[str, bytes | None], days: int = 1) -> Repository:
    write_history(folder, plan(*versions, days=days))
    return reopen(folder)


def reopen(folder: Path) -> Repository:
    opened = open_repository(folder)
    assert opened.repository is not None, opened.conditions
    return opened.repository


def run(folder: Path, *words: str, **more: Any) -> str:
    """The user's own git, as it would be typed."""
    who = {"GIT_AUTHOR_NAME": "Ito", "GIT_AUTHOR_EMAIL": "ito@example.invalid"}
    who |= {"GIT_COMMITTER_NAME": "Ito", "GIT_COMMITTER_EMAIL": "ito@example.invalid"}
    done = subprocess.run(["git", *words], cwd=folder, env=os.environ | who, capture_output=True, check=True, **more)
    return done.stdout.decode().strip()
