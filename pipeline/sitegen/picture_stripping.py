"""Pictures that leave the house: the same pixels, and nothing that a camera, a program or a person wrote beside them.

Each format is taken apart into its pieces, and only the pieces that make the picture are kept: what is not known is
left out. A picture that cannot be taken apart does not leave. Sources: PNG, W3C recommendation, third edition, clause
11 (chunks); JPEG, ITU-T T.81 annex B (marker segments), JFIF, ITU-T T.871 clause 10; Exif 2.3 clause 4.6 (orientation);
GIF89a specification, appendix A; WebP, RFC 9649 section 2.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

MAX_PIXELS = 64_000_000
MAX_UNPACKED = 256_000_000
"""Bytes: a small file can claim to hold far more than it does."""

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset({b"IHDR", b"PLTE", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"sBIT", b"IDAT", b"IEND"})
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
_ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


class CannotStrip(ValueError):
    """The picture is of a kind, or in a state, in which what stands beside its pixels cannot be taken off."""


@dataclass(frozen=True, slots=True)
class Stripped:
    """A picture without anything beside its pixels: its bytes, its ending, its size in pixels."""

    content: bytes
    ending: str
    width: int
    height: int


def strip_picture(name: str, content: bytes, keep_words: bool) -> Stripped:
    """Return a picture with nothing but what is seen. Raises CannotStrip.

    name : its file name, whose ending says what it is. keep_words : leave the words in a drawing (SVG only).
    """
    kind = PurePosixPath(name).suffix.lower()
    strip = _STRIPPERS.get(kind)
    if kind == ".svg":
        from pipeline.sitegen.svg_stripping import strip_svg

        found = strip_svg(content, keep_words)
        if found is None:
            raise CannotStrip("it is no drawing that can be read")
        return Stripped(found.content, ".svg", found.width, found.height)
    if strip is None:
        raise CannotStrip(f"pictures of the kind {kind or 'without an ending'} cannot be taken apart; save it as .png")
    try:
        stripped = strip(content)
    except (struct.error, zlib.error, IndexError, ValueError) as error:
        raise CannotStrip(f"it is not a whole {kind} picture; open it and save it again") from error
    if not 0 < stripped.width * stripped.height <= MAX_PIXELS:
        raise CannotStrip("it has no pixels, or far too many")
    return stripped


# --- PNG ----------------------------------------------------------------------------------------------


def _strip_png(content: bytes) -> Stripped:
    """Keep the chunks that make the picture. The pixels are packed anew, so that nothing can follow them inside."""
    if not content.startswith(_PNG):
        raise ValueError("no PNG")
    chunks = list(_read_png(content))
    if not chunks or chunks[0][0] != b"IHDR" or chunks[-1][0] != b"IEND":
        raise ValueError("chunks out of order")
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[0][1])
    if width * height > MAX_PIXELS or colour not in _CHANNELS:
        raise ValueError("out of bounds")
    size = _count_png_bytes(width, height, depth * _CHANNELS[colour], bool(interlaced))
    if size > MAX_UNPACKED:
        raise ValueError("out of bounds")
    pixels = zlib.decompressobj().decompress(b"".join(data for name, data in chunks if name == b"IDAT"), size)
    if len(pixels) != size:
        raise ValueError("pixels are missing")
    body = [chunk for chunk in chunks if chunk[0] in _PNG_KEPT - {b"IDAT", b"IEND"}]
    body += [(b"IDAT", zlib.compress(pixels, 9)), (b"IEND", b"")]
    return Stripped(_PNG + b"".join(_write_png(*chunk) for chunk in body), ".png", width, height)


def _read_png(content: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = len(_PNG)
    while True:
        length, name = struct.unpack_from(">I4s", content, at)
        data = content[at + 8 : at + 8 + length]
        if len(data) != length:
            raise ValueError("cut off")
        if name in _PNG_KEPT:
            yield name, _trim_png(name, data)
        at += 12 + length
        if name == b"IEND":
            return


def _trim_png(name: bytes, data: bytes) -> bytes:
    """Return the data of a chunk at its fixed length, so that nothing is carried behind it."""
    fixed = {b"IHDR": 13, b"gAMA": 4, b"cHRM": 32, b"sRGB": 1, b"IEND": 0}
    longest = {b"sBIT": 4, b"PLTE": 768, b"tRNS": 256}
    return data[: fixed.get(name, longest.get(name, len(data)))]


def _write_png(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _count_png_bytes(width: int, height: int, bits: int, interlaced: bool) -> int:
    """Return how many bytes the rows of a picture have, each with the byte that names its filter."""
    passes = _ADAM7 if interlaced else ((0, 0, 1, 1),)
    total = 0
    for left, top, across, down in passes:
        columns, rows = -(-(width - left) // across), -(-(height - top) // down)
        if columns > 0 and rows > 0:
            total += rows * (1 + (columns * bits + 7) // 8)
    return total


# --- JPEG ---------------------------------------------------------------------------------------------

_SIZES = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
_JFIF = b"\xff\xe0\x00\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0"
_JPEG_KEPT = _SIZES | {0xC4, 0xCC, 0xDB, 0xDC, 0xDD}


def _strip_jpeg(content: bytes) -> Stripped:
    """Keep tables, frame and scans. Of application data only how colours are stored and which way up it is, anew."""
    if content[:2] != b"\xff\xd8":
        raise ValueError("no JPEG")
    out, turned, at, size = [b"\xff\xd8"], 1, 2, (0, 0)
    frame, colours = b"", b""
    while True:
        marker, at = _find_marker(content, at)
        if marker == 0xD9:
            break
        length = struct.unpack_from(">H", content, at)[0]
        data = content[at + 2 : at + length]
        if length < 2 or len(data) != length - 2:
            raise ValueError("cut off")
        at += length
        if marker in _SIZES:
            size = struct.unpack_from(">HH", data, 1)
        if marker == 0xE0 and data[:5] == b"JFIF\0":
            frame = _JFIF
        elif marker == 0xE1 and data[:6] == b"Exif\0\0":
            turned = _read_orientation(data[6:])
        elif marker == 0xEE and data[:5] == b"Adobe" and len(data) >= 12:
            colours = b"\xff\xee" + struct.pack(">H", 14) + data[:5] + b"\0\x64\0\0\0\0" + data[11:12]
        elif marker in _JPEG_KEPT:
            _refuse_more(marker, data)
            out.append(bytes((0xFF, marker)) + struct.pack(">H", length) + data)
        elif marker == 0xDA:
            _refuse_more(marker, data)
            end = _find_scan_end(content, at)
            out.append(b"\xff\xda" + struct.pack(">H", length) + data + content[at:end])
            at = end
    out[1:1] = [frame, _write_orientation(turned) if turned != 1 else b"", colours]
    height, width = size
    return Stripped(b"".join(out) + b"\xff\xd9", ".jpg", *((height, width) if turned >= 5 else (width, height)))


def _refuse_more(marker: int, data: bytes) -> None:
    """Refuse a segment that is longer than what it says it holds (T.81, B.2.2 to B.2.5): nothing rides along in it."""
    at, end = 0, len(data)
    if marker == 0xDB:
        while at < end:
            at += 129 if data[at] >> 4 else 65
    elif marker == 0xC4:
        while at < end:
            at += 17 + sum(data[at + 1 : at + 17])
    elif marker in _SIZES:
        at = 6 + 3 * data[5]
    elif marker == 0xDA:
        at = 4 + 2 * data[0]
    else:
        at = end - end % 2 if marker == 0xCC else 2
    if at != end:
        raise ValueError("a segment holds more than it says")


def _find_marker(content: bytes, at: int) -> tuple[int, int]:
    """Return the next marker and the place behind it; fill bytes before it are passed over."""
    if content[at] != 0xFF:
        raise ValueError("no marker")
    while content[at] == 0xFF:
        at += 1
    return content[at], at + 1


def _find_scan_end(content: bytes, at: int) -> int:
    """Return where the packed pixels end: at the first marker that is neither stuffing nor a restart."""
    while True:
        at = content.index(b"\xff", at)
        following = content[at + 1]
        if following != 0 and not 0xD0 <= following <= 0xD7 and following != 0xFF:
            return at
        at += 1 if following == 0xFF else 2


def _read_orientation(tiff: bytes) -> int:
    """Return which way up a photograph is to be shown, 1..8 (tag 0112 of its first directory); 1 where nothing says."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 1
    try:
        at = struct.unpack_from(order + "I", tiff, 4)[0]
        for entry in range(struct.unpack_from(order + "H", tiff, at)[0]):
            tag, kind, _, value = struct.unpack_from(order + "HHIH", tiff, at + 2 + 12 * entry)
            if tag == 0x0112 and kind == 3:
                return value if 1 <= value <= 8 else 1
    except struct.error:
        return 1
    return 1


def _write_orientation(turned: int) -> bytes:
    tiff = b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 0x0112, 3, 1, turned, 0, 0)
    return b"\xff\xe1" + struct.pack(">H", 8 + len(tiff)) + b"Exif\0\0" + tiff


# --- GIF ----------------------------------------------------------------------------------------------


def _strip_gif(content: bytes) -> Stripped:
    """Keep the screen, its colours and the first picture with what steers its see-through colour."""
    if content[:6] not in (b"GIF87a", b"GIF89a"):
        raise ValueError("no GIF")
    width, height, packed = struct.unpack_from("<HHB", content, 6)
    at = 13 + _count_colours(packed)
    out, steer = [content[:at]], b""
    while True:
        mark = content[at]
        if mark == 0x21:
            end = _skip_blocks(content, at + 2)
            steer = content[at:end] if content[at + 1 : at + 3] == b"\xf9\x04" and end - at == 8 else steer
            at = end
        elif mark == 0x2C:
            data = at + 10 + _count_colours(content[at + 9])
            end = _skip_blocks(content, data + 1)
            return Stripped(b"".join([*out, steer, content[at:end], b"\x3b"]), ".gif", width, height)
        else:
            raise ValueError("no picture")


def _count_colours(packed: int) -> int:
    return 3 << ((packed & 7) + 1) if packed & 0x80 else 0


def _skip_blocks(content: bytes, at: int) -> int:
    while content[at]:
        at += content[at] + 1
    return at + 1


# --- WebP ---------------------------------------------------------------------------------------------


def _strip_webp(content: bytes) -> Stripped:
    """Keep the one picture and its see-through plane; the flags that promise more are cleared. No moving pictures."""
    if content[:4] != b"RIFF" or content[8:12] != b"WEBP":
        raise ValueError("no WebP")
    out: list[tuple[bytes, bytes]] = []
    at, size = 12, (0, 0)
    while at < len(content) and not any(name in (b"VP8 ", b"VP8L") for name, _ in out):
        name, length = struct.unpack_from("<4sI", content, at)
        data = content[at + 8 : at + 8 + length]
        if len(data) != length:
            raise ValueError("cut off")
        if name == b"VP8X":
            data = bytes((data[0] & 0x10, 0, 0, 0)) + data[4:10]
        if name in (b"VP8X", b"ALPH", b"VP8 ", b"VP8L"):
            out.append((name, data))
        size = _read_webp_size(name, data) or size
        at += 8 + length + length % 2
    if not out or out[-1][0] not in (b"VP8 ", b"VP8L"):
        raise ValueError("no picture")
    body = b"".join(name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2) for name, data in out)
    return Stripped(b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WEBP" + body, ".webp", *size)


def _read_webp_size(name: bytes, data: bytes) -> tuple[int, int] | None:
    if name == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 6)
        return width & 0x3FFF, height & 0x3FFF
    if name == b"VP8L":
        bits = struct.unpack_from("<I", data, 1)[0]
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    return None


_STRIPPERS = {".png": _strip_png, ".jpg": _strip_jpeg, ".jpeg": _strip_jpeg, ".gif": _strip_gif, ".webp": _strip_webp}
