"""Files of the site that are made, not found among the hand-written pages; what stayed as it was is not written."""

from __future__ import annotations

import contextlib
import os
import stat
from pathlib import Path

from mkdocs.structure.files import File


class MadeFile(File):
    """A file that MkDocs copies as it is, even where evidence is named like a page in Markdown."""

    old_site: Path | None = None
    """Folder of the site that is about to be replaced; None where there is none."""

    def is_documentation_page(self) -> bool:
        """Never a page to convert."""
        return False

    def copy_file(self, dirty: bool = False) -> None:
        """Put the file into the site: the one of the old site where it is the same, so that it keeps its time too."""
        if not self.take_old():
            super().copy_file(dirty)

    def take_old(self) -> bool:
        """Link to the file of the old site if it is the same byte for byte; return whether that was done.

        The old site goes away as a whole a moment later, so no two sites share a file for long. What cannot be linked
        or is no plain file is written.
        """
        if self.old_site is None:
            return False
        target, old = self.abs_dest_path, os.path.join(self.old_site, self.dest_path)  # noqa: PTH118 - in a hot loop
        with contextlib.suppress(OSError):
            found = os.lstat(old)
            if not stat.S_ISREG(found.st_mode) or found.st_nlink > 1 or not self._is_size(found.st_size):
                return False
            with open(old, "rb") as stream:  # noqa: PTH123
                if stream.read() != self.content_bytes:
                    return False
            _link(old, target)
            return True
        return False

    def _is_size(self, size: int) -> bool:
        if self.abs_src_path is not None:
            return os.stat(self.abs_src_path).st_size == size  # noqa: PTH116
        return len(self.content_bytes) == size


def _link(old: str, target: str) -> None:
    try:
        os.link(old, target)
    except FileNotFoundError:
        os.makedirs(os.path.dirname(target), exist_ok=True)  # noqa: PTH103, PTH120
        os.link(old, target)
