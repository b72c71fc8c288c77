"""A text file's bytes around an edit: its byte order mark and its line ends stay as they were found."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable

_BREAK = re.compile(r"\r\n|\r|\n")


def edit_bytes(content: bytes, edit: Callable[[str], str]) -> bytes:
    r"""Return a file's bytes with its text edited. Raises UnicodeDecodeError on bytes that are not UTF-8.

    >>> edit_bytes(b"\xef\xbb\xbfa\r\n", lambda text: text + "b\r\n")
    b'\xef\xbb\xbfa\r\nb\r\n'
    """
    mark = codecs.BOM_UTF8 if content.startswith(codecs.BOM_UTF8) else b""
    text = content[len(mark) :].decode("utf-8")
    return mark + edit(text).encode("utf-8")


def find_line_end(text: str) -> str:
    """Return the line end that a text uses; LF where it has none."""
    found = _BREAK.search(text)
    return found.group() if found else "\n"
