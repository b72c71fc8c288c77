"""The person at this machine, and a commit that this person asked for.

Everything else in this room reads, and starts nothing. A commit is different: it is the user's own, made with the
user's own configuration, hooks and signing, exactly as if `git commit` had been typed. It is made only when a person or
a script asked for it, and takes only the paths that were written.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.history.safe_git import _find_launcher, run_git

_POINTING = frozenset({"GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_OBJECT_DIRECTORY"})


@dataclass(frozen=True, slots=True)
class Committed:
    """What became of a commit: its short hash, or None and git's own words."""

    digest: str | None
    words: str = ""


def read_user_email(folder: Path) -> str | None:
    """Return the e-mail address that git would write into a commit here, None where none is set."""
    given = os.environ.get("GIT_AUTHOR_EMAIL", "").strip()
    if given:
        return given
    answer = run_git(folder, ["config", "--get", "user.email"])
    return answer.out.decode("utf-8", "replace").strip() or None


def is_in_repository(folder: Path) -> bool:
    """True when git is there and the folder lies in a work tree."""
    return run_git(folder, ["rev-parse", "--is-inside-work-tree"]).out.strip() == b"true"


def render_commit_command(paths: Sequence[str], message: str) -> str:
    """Return the two commands that a person can type, or copy.

    >>> render_commit_command(["projects/A1/part.yaml"], "A1: fit check F1")
    "git add -- projects/A1/part.yaml && git commit -m 'A1: fit check F1' -- projects/A1/part.yaml"
    """
    if sys.platform == "win32":  # pragma: no cover - other quotes
        shown = " ".join(f'"{path}"' if " " in path else path for path in paths)
        return f'git add -- {shown} && git commit -m "{message}" -- {shown}'
    shown = shlex.join(paths)
    return f"git add -- {shown} && git commit -m {shlex.quote(message)} -- {shown}"


def commit_paths(folder: Path, paths: Sequence[str], message: str) -> Committed:
    """Commit these paths of the workspace, and nothing else that may be staged or changed."""
    for arguments in (
        ["add", "--intent-to-add", "--", *paths],
        ["commit", "-q", "-m", message, "--only", "--", *paths],
    ):
        code, words = _run_as_user(folder, arguments)
        if code != 0:
            return Committed(None, words)
    digest = run_git(folder, ["rev-parse", "--short", "HEAD"]).out.decode("ascii", "replace").strip()
    return Committed(digest)


def _run_as_user(folder: Path, arguments: Sequence[str]) -> tuple[int, str]:
    kept = {name: text for name, text in os.environ.items() if name not in _POINTING}
    try:
        process = _find_launcher()(
            ["git", "--literal-pathspecs", *arguments],
            cwd=folder,
            env=kept,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
    except OSError as problem:
        return 127, str(problem)
    out, err = process.communicate()
    return process.returncode, (out + err).decode("utf-8", "replace").strip()


def read_prefix(folder: Path) -> str:
    """Return a folder's path in its repository, "" or ending in `/`."""
    return run_git(folder, ["rev-parse", "--show-prefix"]).out.decode("utf-8", "surrogateescape").rstrip("\n")
