"""Files of the site that are made, not found among the hand-written pages; what stayed as it was is not written."""

from __future__ import annotations

import contextlib
import hashlib
import os
import stat
from collections.abc import Callable
from pathlib import Path

from mkdocs.structure.files import File


class MadeFile(File):
    """A file that MkDocs copies as it is, even where evidence is named like a page in Markdown."""

    old_site: Path | None = None
    """Folder of the site that is about to be replaced; None where there is none."""
    digests: dict[str, bytes] | None = None
    """Where the sha256 of what was written goes, by path; None where nobody wants it."""
    make: Callable[[], bytes] | None = None
    """What gives the content when the file is written: thousands of pages need not be in memory at once."""

    def is_documentation_page(self) -> bool:
        """Never a page to convert."""
        return False

    def copy_file(self, dirty: bool = False) -> None:
        """Put the file into the site: the one of the old site where it is the same, so that it keeps its time too."""
        content = self._content_to_write()
        if content is not None and self.digests is not None:
            self.digests[self.dest_uri] = hashlib.sha256(content).digest()
        if self.take_old(content):
            return
        if content is None:
            super().copy_file(dirty)
        else:
            _write(self.abs_dest_path, content)

    def _content_to_write(self) -> bytes | None:
        """Return the bytes that were made for the file; None where it is copied from elsewhere."""
        if self.make is not None:
            return self.make()
        return None if self.abs_src_path is not None else self.content_bytes

    def take_old(self, content: bytes | None) -> bool:
        """Link to the file of the old site if it is the same byte for byte; return whether that was done.

        The old site goes away as a whole a moment later, so no two sites share a file for long. What cannot be linked
        or is no plain file is written.
        """
        if self.old_site is None:
            return False
        target, old = self.abs_dest_path, os.path.join(self.old_site, self.dest_path)  # noqa: PTH118 - in a hot loop
        with contextlib.suppress(OSError):
            found = os.lstat(old)
            if not stat.S_ISREG(found.st_mode) or found.st_nlink > 1 or self._find_size(content) != found.st_size:
                return False
            with open(old, "rb") as stream:  # noqa: PTH123
                if stream.read() != (self.content_bytes if content is None else content):
                    return False
            _link(old, target)
            return True
        return False

    def _find_size(self, content: bytes | None) -> int:
        if content is None and self.abs_src_path is not None:
            return os.stat(self.abs_src_path).st_size  # noqa: PTH116
        return len(content or b"")


def _write(target: str, content: bytes) -> None:
    os.makedirs(os.path.dirname(target), exist_ok=True)  # noqa: PTH103, PTH120
    with open(target, "wb") as stream:  # noqa: PTH123
        stream.write(content)


def _link(old: str, target: str) -> None:
    try:
        os.link(old, target)
    except FileNotFoundError:
        os.makedirs(os.path.dirname(target), exist_ok=True)  # noqa: PTH103, PTH120
        os.link(old, target)
