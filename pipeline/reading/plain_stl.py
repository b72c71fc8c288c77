"""STL files that are written by the book, which nearly all are: corners without a library that takes half a second to
load. What deviates in anything is left to the library.

Source: the format as published in 3D Systems, Inc., "StereoLithography Interface Specification" (1989), from memory:
text of `solid`, `facet normal`, `outer loop`, three `vertex`, `endloop`, `endfacet`, `endsolid`; or 80 bytes of head,
the number of triangles (uint32, little-endian) and 50 bytes for each: normal and three corners (float32), two bytes.
"""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt

MOST_TRIANGLES = 200_000
"""Above it the time that the library takes to load no longer counts, and its grouping of corners is quicker."""
GRAIN = 1e-8
"""Corners that are no further apart (mm) are one, as the library has it."""
_HEAD = 84
_RECORD = np.dtype([("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
_NUMBER = rb"[ \t]+[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LINE = rb"[ \t]*\r?\n\s*"
_VERTEX = rb"vertex" + _NUMBER * 3 + _LINE
_FACET = (
    rb"facet[ \t]+normal" + _NUMBER * 3 + _LINE + rb"outer[ \t]+loop" + _LINE + _VERTEX * 3 + rb"endloop" + _LINE
    + rb"endfacet" + _LINE
)  # fmt: skip
_SOLID = re.compile(rb"[ \t]*solid(?:[ \t][^\r\n]*)?\r?\n\s*(?:" + _FACET + rb")+endsolid[^\r\n]*\s*")
_CORNER = re.compile(rb"vertex([^\r\n]*)")


def read_plain_stl(raw: bytes) -> npt.NDArray[np.float64] | None:
    """Return the corners (m, 3, 3) in mm of an STL file; None for one that is not by the book, or is large.

    >>> read_plain_stl(b"solid nothing") is None
    True
    """
    if len(raw) >= _HEAD:
        count = int.from_bytes(raw[_HEAD - 4 : _HEAD], "little")
        if len(raw) == _HEAD + count * _RECORD.itemsize and 0 < count <= MOST_TRIANGLES:
            records = np.frombuffer(raw, _RECORD, count, _HEAD)
            return np.ascontiguousarray(records["corners"], dtype=np.float64)
    if len(raw) > MOST_TRIANGLES * 300 or _SOLID.fullmatch(raw) is None:
        return None
    numbers = b" ".join(_CORNER.findall(raw)).split()
    return np.array(numbers, dtype=np.float64).reshape(-1, 3, 3)


def join_corners(corners: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """Return the faces (m, 3) of triangles (m, 3, 3) as numbers of corners, the same for corners at the same place.

    >>> join_corners(np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[1, 0, 0], [0, 0, 0], [0, 0, 1.0]]])).tolist()
    [[0, 3, 2], [3, 0, 1]]
    """
    places = np.round(corners.reshape(-1, 3) / GRAIN)
    _, names = np.unique(places, axis=0, return_inverse=True)
    return names.reshape(-1, 3).astype(np.int64)
