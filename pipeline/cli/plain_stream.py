"""The last door before the terminal: whatever a command prints, nothing in it moves a cursor, changes a colour or turns
text round."""

from __future__ import annotations

import re
import sys
from typing import Any, TextIO

_STEERING = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\U000e0000-\U000e007f]|\r(?!\n)"
)


def write_out(text: str) -> str:
    r"""Return text with every character that steers a terminal written as JSON would write it, so that JSON stays JSON.

    >>> write_out("\x1b[31mred\n"), write_out("a\r\nb"), write_out("\U000e0041")
    ('\\u001b[31mred\n', 'a\r\nb', '\\udb40\\udc41')
    """
    return _STEERING.sub(lambda found: _escape(found.group()), text)


def _escape(character: str) -> str:
    units = character.encode("utf-16-be")
    return "".join(f"\\u{int.from_bytes(units[at : at + 2]):04x}" for at in range(0, len(units), 2))


def overwrite_line(text: str) -> None:
    """Write the program's own words over the line where the terminal stands (progress)."""
    stream = sys.stderr
    stream = stream._stream if isinstance(stream, PlainStream) else stream
    stream.write(f"\r{text}")
    stream.flush()


class PlainStream:
    """A text stream that writes plain text only; everything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write text, what steers a terminal written out."""
        self._stream.write(write_out(text))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
