"""The folder `.pipeline` of a workspace: git leaves it alone, whatever the list of ignored files says."""

from __future__ import annotations

import contextlib
from pathlib import Path


def make_kept_folder(folder: Path) -> None:
    """Make the folder, and in it the line that keeps it out of git. Raises OSError where the folder cannot be made.

    The line is written only where there is nothing of that name: never over a file, never through a link.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(OSError), (folder / ".gitignore").open("x", encoding="utf-8") as stream:
        stream.write("*\n")
