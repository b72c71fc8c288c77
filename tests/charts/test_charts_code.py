"""The code on a traveller: read back by a decoder that shares nothing with its maker, and the standard's own example."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.charts.code import QUIET
from pipeline.charts.draw import render_chart
from pipeline.views.shapes import QrCode

SVG = "{http://www.w3.org/2000/svg}"
Modules = NDArray[np.bool_]


def read_modules(svg: str) -> Modules:
    """The dark modules as the SVG draws them, quiet ground included."""
    root = ET.fromstring(svg)
    size = int(root.get("viewBox", "").split()[2])
    _, dark = root.iter(f"{SVG}path")
    found = np.zeros((size, size), dtype=bool)
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", dark.get("d", "")):
        assert not found[int(y), int(x) : int(x) + int(width)].any()
        found[int(y), int(x) : int(x) + int(width)] = True
    return found


@pytest.mark.parametrize(
    "text",
    (
        "https://parts.example.invalid/parts/TW-101.html",
        "TW-101 parts/TW-101.html",
        "https://parts.example.invalid/" + "deep/" * 50 + "parts/TW-101.html",
        "Größe ½ 日本",
        "<script>alert(1)</script>&\"'",
        "0",
    ),
)
def test_a_foreign_decoder_reads_what_was_written(text: str) -> None:
    """Decoder: ZXing-C++, which shares no code with the encoder."""
    zxing = pytest.importorskip("zxingcpp", reason="the decoder is not installed; pip install '.[test]'")
    modules = read_modules(render_chart(QrCode("Code", "words", text)))
    picture = np.where(np.kron(modules, np.ones((4, 4), dtype=bool)), 0, 255).astype(np.uint8)
    (found,) = zxing.read_barcodes(picture)
    assert found.text == text
    assert "QR" in found.format.name


def test_the_example_of_the_standard() -> None:
    """`01234567` as version 1-M. Source: ISO/IEC 18004:2006, Annex I (codewords from memory): 16 of data, 10 of
    correction; format bits and placement: clauses 6.9 and 6.7.3."""
    modules = read_modules(render_chart(QrCode("Code", "words", "01234567")))[QUIET:-QUIET, QUIET:-QUIET]
    assert modules.shape == (21, 21)
    places = [(8, x) for x in (0, 1, 2, 3, 4, 5, 7, 8)] + [(y, 8) for y in (7, 5, 4, 3, 2, 1, 0)]
    bits = int("".join("01"[int(modules[place])] for place in places), 2) ^ 0b101010000010010
    assert bits >> 13 == 0b00, "error correction level M"
    codewords = _read_codewords(modules, bits >> 10 & 7)
    assert bytes(codewords[:16]).hex(" ") == "10 20 0c 56 61 80 ec 11 ec 11 ec 11 ec 11 ec 11"
    assert bytes(codewords[16:]).hex(" ") == "a5 24 d4 c1 ed 36 c7 87 2c 55"


_MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: (i + 0 * j) % 2 == 0,
    lambda i, j: (j + 0 * i) % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: i * j % 2 + i * j % 3 == 0,
    lambda i, j: (i * j % 2 + i * j % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2 == 0,
)


def _read_codewords(modules: Modules, mask: int) -> list[int]:
    """The codewords of a version 1 symbol: pairs of columns from the right, up and down in turn."""
    size, bits, up = 21, [], True
    for right in (20, 18, 16, 14, 12, 10, 8, 5, 3, 1):
        for y in range(size - 1, -1, -1) if up else range(size):
            for x in (right, right - 1):
                corner = (y < 9 and (x < 9 or x > 12)) or (y > 12 and x < 9)
                if not corner and y != 6 and x != 6:
                    bits.append(bool(modules[y, x]) ^ _MASKS[mask](y, x))
        up = not up
    return [int("".join("01"[bit] for bit in bits[at : at + 8]), 2) for at in range(0, 208, 8)]


def test_it_has_quiet_ground_and_fixed_colours_that_follow_no_scheme() -> None:
    svg = render_chart(QrCode("Code of TW-101", "parts/TW-101.html", "TW-101"))
    modules = read_modules(svg)
    assert QUIET == 4  # modules on each side: ISO/IEC 18004:2015, 6.3.8 (from memory)
    assert not modules[:QUIET].any() and not modules[-QUIET:].any()
    assert not modules[:, :QUIET].any() and not modules[:, -QUIET:].any()
    assert set(re.findall(r"var\(--([\w-]+), (#[0-9a-f]{6})\)", svg)) == {
        ("code-ink", "#000000"),
        ("code-ground", "#ffffff"),
    }
    assert ET.fromstring(svg).get("aria-label") == "Code of TW-101: parts/TW-101.html"
    assert svg == render_chart(QrCode("Code of TW-101", "parts/TW-101.html", "TW-101"))


def test_hostile_words_stay_words() -> None:
    svg = render_chart(QrCode('"><script>alert(1)</script>', "a\x00b\u202e", "TW-101"))
    root = ET.fromstring(svg)
    assert root.get("aria-label", "").startswith('"><script>alert(1)</script>: a')
    assert not list(root.iter("script")) and not list(root.iter(f"{SVG}script"))


def test_nothing_and_too_much_are_refused_with_a_reason() -> None:
    with pytest.raises(ValueError, match="has no text"):
        render_chart(QrCode("Code", "words", ""))
    with pytest.raises(ValueError, match="5000 letters"):
        render_chart(QrCode("Code", "words", "x" * 5000))
