"""Evidence that is too large for a repository: git LFS pointers, and references to files that are kept elsewhere.

A pointer stands in a clone where the large file itself was not fetched; it holds the sha256 of that file, so the
evidence can be told from any other without having it. A reference is a small text file `<name>.ref` in the evidence
folder, that says where the real file is kept and which bytes it must have:

    uri: file://server/scans/rim.e57
    sha256: 64 hex digits
    size: 123456

The reference itself is listed in `evidence.sha256`, so that `sha256sum -c` still holds.

Source of the pointer's form: git-lfs specification, docs/spec.md, version 1 (from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

MAX_POINTER = 1024
"""A pointer is smaller than 1024 bytes (git-lfs specification)."""

REFERENCE_ENDING = ".ref"
_POINTER = re.compile(
    r"version https://git-lfs\.github\.com/spec/v1\n(?:[a-z0-9.-]+ [^\n]*\n)*?oid sha256:([0-9a-f]{64})\nsize (\d+)\n"
)
_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s\"<>\\^`{|}]+\Z")


@dataclass(frozen=True, slots=True)
class LargeFile:
    """A file that is somewhere else: its sha256 in hex, its size in bytes, and where it is kept (None: git LFS)."""

    sha256: str
    size: int
    uri: str | None = None


def parse_pointer(content: bytes) -> LargeFile | None:
    """Return what a git LFS pointer says, None where the bytes are no pointer.

    >>> text = "version https://git-lfs.github.com/spec/v1\\noid sha256:" + "a" * 64 + "\\nsize 12\\n"
    >>> parse_pointer(text.encode()).size
    12
    """
    if len(content) >= MAX_POINTER:
        return None
    try:
        match = _POINTER.fullmatch(content.decode("ascii").replace("\r\n", "\n"))
    except UnicodeDecodeError:
        return None
    return None if match is None else LargeFile(match.group(1), int(match.group(2)))


def read_pointer(file: Path) -> LargeFile | None:
    """Return what a git LFS pointer on disk says, None where the file is no pointer. Raises OSError."""
    with file.open("rb") as stream:
        return parse_pointer(stream.read(MAX_POINTER))


def parse_reference(content: bytes) -> LargeFile | None:
    """Return what a reference says, None where the bytes are no reference."""
    try:
        lines = [line.split(": ", 1) for line in content.decode("utf-8").splitlines() if line.strip()]
    except UnicodeDecodeError:
        return None
    found = {line[0]: line[1].strip() for line in lines if len(line) == 2}
    uri, digest, size = found.get("uri", ""), found.get("sha256", ""), found.get("size", "")
    if not _URI.match(uri) or not re.fullmatch(r"[0-9a-f]{64}", digest) or not re.fullmatch(r"\d{1,18}", size):
        return None
    return LargeFile(digest, int(size), uri)


def read_reference(file: Path) -> LargeFile | None:
    """Return what a reference on disk says, None where it says nothing usable. Raises OSError."""
    with file.open("rb") as stream:
        return parse_reference(stream.read(MAX_POINTER * 4))


def render_reference(large: LargeFile) -> bytes:
    """Return the text of a reference.

    >>> parse_reference(render_reference(LargeFile("b" * 64, 3, "file:///mnt/a.e57"))).uri
    'file:///mnt/a.e57'
    """
    return f"uri: {large.uri}\nsha256: {large.sha256}\nsize: {large.size}\n".encode()


def is_uri(text: str) -> bool:
    """True when text is an absolute URI (RFC 3986): a scheme, a colon, no blanks."""
    return _URI.match(text) is not None and len(text.split(":")[0]) > 1
