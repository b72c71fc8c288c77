"""Pictures that leave the house: the same pixels, and nothing beside them. Pillow, a reference library, is the referee."""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Callable
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from pipeline.sitegen.picture_stripping import CannotStrip, strip_picture
from pipeline.sitegen.svg_stripping import strip_svg

CANARY = b"CANARY"
SECRET = CANARY.decode()


def build_image(mode: str, width: int = 37, height: int = 23) -> Image.Image:
    """Return a picture of noise, so that a pixel out of place shows."""
    noise = random.Random(7).randbytes(width * height * 3)
    image = Image.frombytes("RGB", (width, height), noise)
    if mode == "I;16":
        return image.convert("L").convert("I;16")
    if mode in ("RGBA", "LA"):
        image = image.convert(mode)
        image.putalpha(build_image("L", width, height))
        return image
    return image.convert(mode)


def read_pixels(content: bytes) -> tuple[str, tuple[int, int], bytes]:
    """Return what Pillow makes of a picture."""
    with Image.open(io.BytesIO(content)) as image:
        image.load()
        return image.mode, image.size, image.tobytes()


def write_png(mode: str) -> bytes:
    """Return a PNG with canaries in text, packed text, XMP and EXIF, behind its pixels and behind its end."""
    words = PngImagePlugin.PngInfo()
    words.add_text("Comment", SECRET)
    words.add_itxt("XML:com.adobe.xmp", SECRET, zip=True)
    words.add(b"prVt", CANARY)
    exif = Image.Exif()
    exif[0x010E] = SECRET
    out = io.BytesIO()
    build_image(mode).save(out, "PNG", pnginfo=words, exif=exif, icc_profile=CANARY * 4)
    return out.getvalue() + CANARY


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_png_keeps_its_pixels_and_loses_its_words(mode: str) -> None:
    content = write_png(mode)
    found = strip_picture("Some Name.PNG", content, keep_words=False)
    assert CANARY not in found.content and CANARY in content
    assert read_pixels(found.content) == read_pixels(content)
    assert (found.width, found.height, found.ending) == (37, 23, ".png")
    names = [found.content[at + 4 : at + 8] for at in find_chunks(found.content)]
    assert set(names) <= {b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"}


PASSES = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


@pytest.mark.parametrize("size", [(1, 1), (3, 2), (5, 9), (37, 23)])
def test_interlaced_png_keeps_its_pixels(size: tuple[int, int]) -> None:
    """Written by hand in seven passes (PNG third edition, clause 8.2), since Pillow only reads them."""
    image = build_image("RGB", *size)
    rows = b""
    for left, top, across, down in PASSES:
        for y in range(top, size[1], down):
            pixels = [bytes(image.getpixel((x, y))) for x in range(left, size[0], across)]
            rows += b"\0" + b"".join(pixels) if pixels else b""
    head = struct.pack(">IIBBBBB", *size, 8, 2, 0, 0, 1)
    chunks = [(b"IHDR", head), (b"tEXt", CANARY), (b"IDAT", zlib.compress(rows + CANARY)), (b"IEND", b"")]
    content = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in chunks
    )
    found = strip_picture("x.png", content, keep_words=False)
    assert read_pixels(found.content) == ("RGB", size, image.tobytes())
    packed = next(
        found.content[at + 8 :] for at in find_chunks(found.content) if found.content[at + 4 : at + 8] == b"IDAT"
    )
    assert CANARY not in zlib.decompressobj().decompress(packed)


def find_chunks(content: bytes) -> list[int]:
    """Return where the chunks of a PNG begin."""
    at, found = 8, []
    while at < len(content):
        found.append(at)
        at += 12 + struct.unpack_from(">I", content, at)[0]
    assert at == len(content), "something follows the last chunk"
    return found


@pytest.mark.parametrize("more", [{}, {"progressive": True}, {"restart_marker_blocks": 1}, {"optimize": True}])
@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
@pytest.mark.parametrize("turned", [1, 6])
def test_jpeg_keeps_its_pixels_and_which_way_up_it_is(mode: str, more: dict[str, object], turned: int) -> None:
    exif = Image.Exif()
    exif[0x010E], exif[0x0112] = SECRET, turned
    out = io.BytesIO()
    image = build_image(mode, 60, 40)
    image.save(out, "JPEG", exif=exif, comment=CANARY, icc_profile=CANARY * 4, **more)
    found = strip_picture("x.jpg", out.getvalue() + CANARY, keep_words=False)
    assert CANARY not in found.content
    assert read_pixels(found.content) == read_pixels(out.getvalue())
    with Image.open(io.BytesIO(found.content)) as stripped:
        assert dict(stripped.getexif()) == ({0x0112: 6} if turned == 6 else {})
    assert (found.width, found.height) == ((40, 60) if turned == 6 else (60, 40))


def write_jpeg() -> bytes:
    exif = Image.Exif()
    exif[0x010E], exif[0x0112] = SECRET, 6
    out = io.BytesIO()
    build_image("RGB").save(out, "JPEG", exif=exif, comment=CANARY)
    return out.getvalue()


def write_gif() -> bytes:
    out = io.BytesIO()
    build_image("P").save(out, "GIF", comment=CANARY, transparency=3)
    return out.getvalue() + CANARY


def write_webp(mode: str, lossless: bool) -> bytes:
    out = io.BytesIO()
    build_image(mode).save(
        out, "WEBP", lossless=lossless, exif=b"Exif\0\0" + CANARY, xmp=CANARY, icc_profile=CANARY * 4
    )
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "write"),
    [
        ("x.gif", write_gif),
        ("x.webp", lambda: write_webp("RGB", True)),
        ("x.webp", lambda: write_webp("RGBA", True)),
        ("x.webp", lambda: write_webp("RGB", False)),
        ("x.webp", lambda: write_webp("RGBA", False)),
    ],
)
def test_gif_and_webp_keep_their_pixels(name: str, write: Callable[[], bytes]) -> None:
    content = write()
    assert CANARY in content
    found = strip_picture(name, content, keep_words=False)
    assert CANARY not in found.content
    assert read_pixels(found.content) == read_pixels(content)
    assert (found.width, found.height) == (37, 23)


def test_second_picture_of_a_moving_one_does_not_leave() -> None:
    out = io.BytesIO()
    first, second = Image.new("P", (8, 8), 1), Image.new("P", (8, 8), 2)
    first.save(out, "GIF", save_all=True, append_images=[second], duration=100, loop=0)
    with Image.open(io.BytesIO(strip_picture("x.gif", out.getvalue(), False).content)) as image:
        assert getattr(image, "n_frames", 1) == 1
    out = io.BytesIO()
    first.save(out, "PNG", save_all=True, append_images=[second])
    assert b"fdAT" not in strip_picture("x.png", out.getvalue(), False).content


@pytest.mark.parametrize("name", ["x.avif", "x.tif", "x.heic", "x"])
def test_kind_that_cannot_be_taken_apart_does_not_leave(name: str) -> None:
    with pytest.raises(CannotStrip, match=r"save it as \.png"):
        strip_picture(name, b"anything", keep_words=False)


@pytest.mark.parametrize("name", ["x.png", "x.jpg", "x.gif", "x.webp", "x.svg"])
def test_broken_picture_does_not_leave_wherever_it_is_cut(name: str) -> None:
    whole = {"x.png": write_png("RGB"), "x.gif": write_gif(), "x.webp": write_webp("RGB", True)}
    content = {**whole, "x.jpg": write_jpeg(), "x.svg": b"<svg><path"}[name]
    for at in {0, 1, 2, 5, 9, 13, 20, len(content) // 3, len(content) // 2}:
        if at < len(content):
            with pytest.raises(CannotStrip):
                strip_picture(name, content[:at], keep_words=False)


WHOLE = {
    "x.png": write_png("RGBA"), "x.gif": write_gif(), "x.webp": write_webp("RGBA", False), "x.jpg": write_jpeg(),
}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(name=st.sampled_from(sorted(WHOLE)), seed=st.integers(0, 10**9), changes=st.integers(1, 6))
def test_damaged_picture_is_refused_or_stripped_for_good(name: str, seed: int, changes: int) -> None:
    """Whatever is changed in a file: nothing is raised but the refusal, and what is stripped has nothing left to strip."""
    chance, content = random.Random(seed), bytearray(WHOLE[name])
    for _ in range(changes):
        content[chance.randrange(len(content))] = chance.choice([0, 0xFF, 0xD9, 0x21, chance.randrange(256)])
    try:
        found = strip_picture(name, bytes(content), keep_words=False)
    except CannotStrip:
        return
    again = strip_picture(name, found.content, keep_words=False)
    assert again == found


# --- drawings -----------------------------------------------------------------------------------------

DRAWING = b"""<?xml version="1.0"?><!-- CANARY -->
<svg xmlns="http://www.w3.org/2000/svg" xmlns:x="urn:CANARY" viewBox="0 0 64 40" id="CANARY" role="img" aria-label="CANARY"
 x:name="CANARY" data-name="CANARY" class="CANARY">
<title>CANARY</title><desc>CANARY</desc><metadata><x:author>CANARY</x:author></metadata>
<defs><path id="used-CANARY" d="M0 0H5"/><path id="CANARY2" d="M1 1H2"/><g id="g"><text>CANARY</text></g></defs>
<symbol id="CANARY3"><text>CANARY</text></symbol>
<linearGradient id="ink-CANARY"><stop offset="0" stop-color="#123"/></linearGradient>
<g display="none"><text x="1" y="2">CANARY</text></g><text visibility="hidden">CANARY</text><text opacity="0.0">CANARY</text>
CANARY<use href="#used-CANARY"/><rect id="CANARY4" x="3" y="4" width="7" height="8" fill="url(#ink-CANARY)"/>
<text x="5" y="6">seen<tspan class="CANARY">too</tspan>last</text><script>CANARY</script></svg>"""


def test_drawing_keeps_its_shapes_and_loses_all_else() -> None:
    found = strip_svg(DRAWING, keep_words=True)
    assert found is not None
    assert b"CANARY" not in found.content
    assert (found.width, found.height) == (64, 40)
    root = ElementTree.fromstring(found.content)
    names = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert names == ["svg", "style", "defs", "path", "linearGradient", "stop", "use", "rect", "text", "tspan"]
    text = next(element for element in root.iter() if element.tag.endswith("}text"))
    assert "".join(text.itertext()) == "seentoolast"
    use = next(element for element in root.iter() if element.tag.endswith("}use"))
    path = next(element for element in root.iter() if element.tag.endswith("}path"))
    assert use.get("href") == f"#{path.get('id')}"


def test_words_in_a_drawing_leave_only_where_they_may() -> None:
    found = strip_svg(DRAWING, keep_words=False)
    assert found is not None
    assert b"seen" not in found.content and b"<rect" in found.content


def test_drawing_without_a_size_or_with_a_document_type_does_not_leave() -> None:
    assert strip_svg(b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0"/></svg>', False) is None
    assert strip_svg(b"<!DOCTYPE svg><svg viewBox='0 0 1 1'/>", False) is None
