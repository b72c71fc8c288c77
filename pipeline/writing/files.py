"""Atomic writes: a reader sees the old file or the new one, never a half of either."""

from __future__ import annotations

import contextlib
import glob
import os
import tempfile
from pathlib import Path


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file so that a crash or a full disk leaves the old one whole.

    The bytes go into a file beside it, are flushed to the disk, and take the old one's place in one step.
    Raises OSError; the old file is untouched then, and nothing is left beside it.
    """
    new_folders = [folder for folder in (path.parent, *path.parent.parents) if not folder.exists()]
    path.parent.mkdir(parents=True, exist_ok=True)
    name = ""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_read_umask()
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            if name:
                Path(name).unlink()
            for folder in new_folders:
                folder.rmdir()
        raise


def sweep_drafts(path: Path) -> None:
    """Take away what a killed write of this file left beside it. The caller holds the lock of all who write it."""
    with contextlib.suppress(OSError):
        for left in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
            left.unlink()


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text with LF line ends, atomically."""
    write_bytes(path, text.encode("utf-8"))


def _read_umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
