"""The bytes of a file, safely: inside the workspace, no link, bounded, UTF-8, no hidden characters."""

from __future__ import annotations

import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

from pipeline.findings.finding import Finding, Location
from pipeline.findings.rules import text as rules

MAX_BYTES = 1_000_000
"""A record of two hundred features is about 60 kB; a megabyte is no record that a person keeps."""

_HIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180e\u200b\u200e\u200f"
    "\u2028-\u202e\u2060-\u206f\u3164\ufeff\uffa0\ufff9-\ufffb\U000e0000-\U000e007f]"
)
"""Control, direction, zero-width, tag and filler characters, and the line ends that only some programs see."""

_BREAK = re.compile(r"\r\n|\r|\n")


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
        place = _place_after(path, before.decode("utf-8-sig", "replace"))
        return None, (rules.NOT_UTF8.build_finding(place, f"byte {raw[error.start]:#04x} is not UTF-8 text"),)
    hidden = find_hidden(text)
    if hidden is not None:
        place = _place_after(path, text[:hidden])
        return None, (rules.HIDDEN_CHARACTER.build_finding(place, describe_hidden(text[hidden])),)
    return SourceText(path, text), ()


def find_hidden(text: str) -> int | None:
    """Return the place of the first character that cannot be seen, None where all can."""
    found = _HIDDEN.search(text)
    return None if found is None else found.start()


def describe_hidden(character: str) -> str:
    """Return the sentence that says which character cannot be seen."""
    return f"the character U+{ord(character):04X} cannot be seen and can hide what a record says"


def _place_after(path: str, before: str) -> Location:
    """Return the line and column (in characters) that follow a text."""
    lines = _BREAK.split(before)
    return Location(path, len(lines), len(lines[-1]) + 1)


def is_link_inside(root: Path, file: Path) -> bool:
    """True when `file`, or a folder between `root` and it, is a symbolic link."""
    top, current = str(root), str(file)  # text, not paths: this is asked for every file of every record
    while len(current) > len(top) and current != top:
        if os.path.islink(current):  # noqa: PTH114
            return True
        parent = os.path.dirname(current)  # noqa: PTH120
        if parent == current:
            break
        current = parent
    return False
