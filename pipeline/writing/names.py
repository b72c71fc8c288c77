"""File names that every system can hold: Windows refuses some words, some endings and some characters, and takes
`Photo.JPG` and `photo.jpg` for the same file.

Source: Microsoft's published file naming conventions (from memory): reserved device names with or without an
extension, characters < > : " / \\ | ? * and controls, no blank or dot at the end, 260 characters in all by default.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import PurePath

_RESERVED = frozenset(
    {"con", "prn", "aux", "nul", "conin$", "conout$"}
    | {f"{name}{digit}" for name in ("com", "lpt") for digit in "123456789¹²³"}
)
_ILLEGAL = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
MAX_NAME = 100
MAX_PATH = 200
"""Length of a path in the workspace, in characters: it leaves room for the folder that a clone lies in (260 in all)."""


def find_name_fault(name: str) -> str | None:
    """Return what keeps one file or folder name from being used on every system, None where nothing does.

    >>> find_name_fault("aux.csv")
    '"aux.csv" is a reserved name on Windows'
    """
    if not name or name in (".", ".."):
        return "the name is empty"
    if _ILLEGAL.search(name):
        return f'"{name}" holds a character that Windows refuses ({_ILLEGAL.findall(name)[0]!r})'
    if name[-1] in " .":
        return f'"{name}" ends in a {"dot" if name[-1] == "." else "blank"}, which Windows drops'
    if name.split(".")[0].rstrip(" ").casefold() in _RESERVED:
        return f'"{name}" is a reserved name on Windows'
    if len(name) > MAX_NAME:
        return f"the name has {len(name)} characters; {MAX_NAME} are safe everywhere"
    return None


def build_safe_name(name: str) -> str:
    """Return a name that every system can hold, as near to the given one as can be.

    >>> [build_safe_name(n) for n in ("aux.csv", "a:b.png", "note. ", "x" * 300 + ".stl")][:3]
    ['aux-1.csv', 'a-b.png', 'note']
    """
    made = _ILLEGAL.sub("-", unicodedata.normalize("NFC", name)).rstrip(" .").strip() or "file"
    first, dot, rest = made.partition(".")
    if first.rstrip(" ").casefold() in _RESERVED:
        made = f"{first.rstrip(' ')}-1{dot}{rest}"
    stem, dot, ending = made.rpartition(".")
    stem, ending = (stem, dot + ending) if stem and len(ending) <= 10 else (made, "")
    return stem[: MAX_NAME - len(ending)].rstrip(" .") + ending


def fold_name(name: str) -> str:
    """Return what two names share when Windows or macOS take them for the same file."""
    return unicodedata.normalize("NFC", name).casefold()


def find_free_name(name: str, taken: Iterable[str]) -> str:
    """Return the name, or the name with a number, that collides with none of those taken, upper and lower case alike.

    >>> find_free_name("photo.jpg", ["Photo.JPG", "photo-2.jpg"])
    'photo-3.jpg'
    """
    folded = {fold_name(one) for one in taken}
    stem, dot, ending = name.rpartition(".")
    stem, ending = (stem, dot + ending) if stem else (name, "")
    number, free = 1, name
    while fold_name(free) in folded:
        number += 1
        free = f"{stem}-{number}{ending}"
    return free


def render_relative(path: PurePath, folder: PurePath) -> str:
    """Return a path inside a folder as records write it, with `/`. Raises ValueError where it lies outside.

    >>> from pathlib import PureWindowsPath
    >>> render_relative(PureWindowsPath(r"C:\\Work\\evidence\\a.csv"), PureWindowsPath(r"c:\\work"))
    'evidence/a.csv'
    """
    return path.relative_to(folder).as_posix()


def build_file_uri(path: PurePath) -> str:
    """Return the file: URI of an absolute path (RFC 8089), with drive letters and shares as Windows writes them.

    >>> from pathlib import PurePosixPath, PureWindowsPath
    >>> build_file_uri(PureWindowsPath(r"\\\\server\\scans\\a b.e57")), build_file_uri(PurePosixPath("/mnt/a.e57"))
    ('file://server/scans/a%20b.e57', 'file:///mnt/a.e57')
    """
    return path.as_uri()
