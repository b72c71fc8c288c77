"""The bytes of a file, safely: inside the workspace, no link, bounded, UTF-8, no hidden characters."""

from __future__ import annotations

import re
import stat
from dataclasses import dataclass
from pathlib import Path

from pipeline.findings.finding import Finding, Location
from pipeline.findings.rules import text as rules

MAX_BYTES = 1_000_000
"""A record of two hundred features is about 60 kB; a megabyte is no record that a person keeps."""

_HIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\u061c\u200b\u200e\u200f\u202a-\u202e\u2060-\u2064\u2066-\u2069\ufeff\ufff9-\ufffb]"
)


@dataclass(frozen=True, slots=True)
class SourceText:
    """Text of one file and its path relative to the workspace."""

    path: str
    text: str


def read_source(root: Path, path: str) -> tuple[SourceText | None, tuple[Finding, ...]]:
    """Read one text file of the workspace.

    `path` is relative to `root`, with `/`. Returns the text, or None and the findings that say why not.
    """
    place = Location(path)
    file = root / path
    try:
        if is_link_inside(root, file):
            return None, (rules.UNREADABLE.build_finding(place, f"{path} is a link or lies behind one"),)
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            return None, (rules.UNREADABLE.build_finding(place, f"{path} is not a plain file"),)
        if status.st_size > MAX_BYTES:
            message = f"{path} has {status.st_size:,} bytes; a record has at most {MAX_BYTES:,}"
            return None, (rules.TOO_LARGE.build_finding(place, message),)
        raw = file.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        return None, (rules.UNREADABLE.build_finding(place, f"{path} cannot be read: {reason}"),)
    return decode_source(path, raw)


def decode_source(path: str, raw: bytes) -> tuple[SourceText | None, tuple[Finding, ...]]:
    """Turn bytes into text; a byte order mark and CRLF line ends are fine, other encodings are not."""
    if len(raw) > MAX_BYTES:
        message = f"{path} has {len(raw):,} bytes; a record has at most {MAX_BYTES:,}"
        return None, (rules.TOO_LARGE.build_finding(Location(path), message),)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        place = Location(path, before.count(b"\n") + 1, error.start - (before.rfind(b"\n") + 1) + 1)
        return None, (rules.NOT_UTF8.build_finding(place, f"byte {raw[error.start]:#04x} is not UTF-8 text"),)
    hidden = _HIDDEN.search(text)
    if hidden is not None:
        before_text = text[: hidden.start()]
        place = Location(path, before_text.count("\n") + 1, hidden.start() - (before_text.rfind("\n") + 1) + 1)
        message = f"the character U+{ord(hidden.group()):04X} cannot be seen and can hide what a record says"
        return None, (rules.HIDDEN_CHARACTER.build_finding(place, message),)
    return SourceText(path, text), ()


def is_link_inside(root: Path, file: Path) -> bool:
    """True when `file`, or a folder between `root` and it, is a symbolic link."""
    current = file
    while current != root and current != current.parent:
        if current.is_symlink():
            return True
        current = current.parent
    return False
