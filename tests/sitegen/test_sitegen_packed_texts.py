"""Pages of parts stay packed until they are written, and are the same afterwards."""

from __future__ import annotations

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.sitegen.packed_texts import PackedTexts, pack_texts

TEXTS = st.dictionaries(st.text(min_size=1, max_size=9), st.text(max_size=40), max_size=4)


@given(TEXTS, TEXTS)
def test_texts_come_back_by_turns(one: dict[str, str], two: dict[str, str]) -> None:
    packed = pack_texts(one), pack_texts(two)
    for texts, found in [*zip((one, two), packed, strict=True)] * 2:
        assert {at: found.read(at) for at in found.addresses} == texts


def test_an_unknown_address_or_a_damaged_pack_is_a_key_error() -> None:
    packed = pack_texts({"a": "x"})
    with pytest.raises(KeyError):
        packed.read("b")
    for damaged in (packed.packed[:-3], b"", zlib.compress(b"[")):
        with pytest.raises(KeyError):
            PackedTexts(("a",), damaged).read("a")


def test_a_hundred_pages_alike_take_the_room_of_a_few() -> None:
    page = "<p>some words of a page, and a figure: 17.5 mm</p>" * 400
    packed = pack_texts({f"p{n}.html": page + str(n) for n in range(100)})
    assert len(packed.packed) < 5 * len(page)
