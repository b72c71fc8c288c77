"""Meshes: size, volume and closedness in every format, and what is refused."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reading.meshes import Mesh, is_mesh_name, read_mesh
from pipeline.reading.plain_stl import read_plain_stl

CORNERS = [(x, y, z) for x in (0.0, 20.0) for y in (0.0, 10.0) for z in (0.0, 5.0)]
FACES = [
    (0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1), (2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4),
    (1, 5, 7), (1, 7, 3),
]  # fmt: skip
"""A box of 20 x 10 x 5 mm: 1000 mm3."""


def write_ascii_stl(faces: Sequence[tuple[int, int, int]]) -> bytes:
    lines = ["solid box"]
    for face in faces:
        corners = [f"vertex {x} {y} {z}" for x, y, z in (CORNERS[i] for i in face)]
        lines += ["facet normal 0 0 0", "outer loop", *corners, "endloop", "endfacet"]
    return "\n".join([*lines, "endsolid box", ""]).encode()


def write_binary_stl(faces: Sequence[tuple[int, int, int]]) -> bytes:
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *(v for i in face for v in CORNERS[i]), 0) for face in faces)
    return b"\0" * 80 + struct.pack("<I", len(faces)) + body


def write_ply(faces: Sequence[tuple[int, int, int]]) -> bytes:
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(CORNERS)}\nproperty float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = [f"{x} {y} {z}" for x, y, z in CORNERS] + [f"3 {a} {b} {c}" for a, b, c in faces]
    return (head + "\n".join(rows) + "\n").encode()


WRITERS = {"a.stl": write_ascii_stl, "b.stl": write_binary_stl, "c.ply": write_ply}


def read(root: Path, name: str, content: bytes) -> tuple[Mesh | None, list[str]]:
    (root / name).write_bytes(content)
    mesh, findings = read_mesh(root, name)
    return mesh, [f.rule for f in findings]


@pytest.mark.parametrize("name", WRITERS)
def test_a_box_in_every_format(tmp_path: Path, name: str) -> None:
    mesh, findings = read(tmp_path, name, WRITERS[name](FACES))
    assert findings == []
    assert mesh is not None
    assert mesh.size_mm == (20.0, 10.0, 5.0)
    assert mesh.volume_mm3 == pytest.approx(1000.0, rel=1e-9)
    assert (mesh.triangles, mesh.open_edges, mesh.is_closed, mesh.is_consistent) == (12, 0, True, True)


@pytest.mark.parametrize("name", WRITERS)
def test_a_hole_opens_three_edges_and_takes_the_volume(tmp_path: Path, name: str) -> None:
    mesh, findings = read(tmp_path, name, WRITERS[name](FACES[:-1]))
    assert findings == ["Q808"]
    assert mesh is not None
    assert (mesh.open_edges, mesh.is_closed, mesh.volume_mm3) == (3, False, None)


def test_a_face_turned_over_has_no_inside(tmp_path: Path) -> None:
    a, b, c = FACES[0]
    mesh, findings = read(tmp_path, "t.stl", write_ascii_stl([(a, c, b), *FACES[1:]]))
    assert findings == ["Q808"]
    assert mesh is not None and mesh.is_closed and not mesh.is_consistent and mesh.volume_mm3 is None


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.stl", b""),
        ("a.stl", b"solid nothing\nendsolid nothing\n"),
        ("a.stl", b"\0" * 80 + struct.pack("<I", 5)),
        ("a.stl", b"\xff" * 300),
        ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 5\n"),
        ("a.ply", b"not a mesh at all"),
        ("a.stl", write_ascii_stl(FACES).replace(b"vertex 20.0", b"vertex nan", 1)),
    ],
)
def test_what_is_no_mesh_is_a_finding(tmp_path: Path, name: str, content: bytes) -> None:
    mesh, findings = read(tmp_path, name, content)
    assert mesh is None
    assert findings == ["Q809"]


def test_missing_linked_and_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert [f.rule for f in read_mesh(tmp_path, "none.stl")[1]] == ["Q809"]
    (tmp_path / "real.stl").write_bytes(write_ascii_stl(FACES))
    (tmp_path / "link.stl").symlink_to(tmp_path / "real.stl")
    assert [f.rule for f in read_mesh(tmp_path, "link.stl")[1]] == ["Q809"]
    monkeypatch.setattr("pipeline.reading.meshes.MAX_BYTES", 10)
    assert [f.rule for f in read_mesh(tmp_path, "real.stl")[1]] == ["Q809"]


# --- against the library -----------------------------------------------------------------------------------


def read_by_library(content: bytes) -> tuple[Any, float, int, int, bool]:
    """Return size, volume, triangles, open edges and whether all faces turn one way, as trimesh has them."""
    mesh = trimesh.load_mesh(io.BytesIO(content), file_type="stl", process=False)
    mesh.merge_vertices()
    _, counts = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    return mesh.extents, mesh.volume, len(mesh.faces), int((counts != 2).sum()), bool(mesh.is_winding_consistent)


def write_any(mesh: trimesh.Trimesh, is_text: bool) -> bytes:
    """Write a mesh as the library does."""
    written = mesh.export(file_type="stl_ascii" if is_text else "stl")
    return written.encode() if isinstance(written, str) else bytes(written)


SHAPES: dict[str, Callable[[], Any]] = {
    "ball": lambda: trimesh.creation.icosphere(2, 12.5),
    "tube": lambda: trimesh.creation.annulus(5, 8, 30),
    "pin": lambda: trimesh.creation.capsule(40, 6),
    "two bodies": lambda: trimesh.util.concatenate(
        [trimesh.creation.box((3, 4, 5)), trimesh.creation.icosphere(1).apply_translation((30, 0, 0))]
    ),
}


@pytest.mark.parametrize("is_text", [True, False])
@pytest.mark.parametrize("name", SHAPES)
@given(seed=st.integers(0, 2**32 - 1), lost=st.integers(0, 3), turned=st.integers(0, 3))
@settings(max_examples=8, deadline=None)
def test_a_file_by_the_book_reads_as_the_library_reads_it(
    name: str, is_text: bool, seed: int, lost: int, turned: int
) -> None:
    """Source: trimesh, an independent reader; shapes turned at random, faces taken out and turned over."""
    random = np.random.default_rng(seed)
    mesh = SHAPES[name]()
    mesh.apply_transform(trimesh.transformations.random_rotation_matrix(random.random(3)))
    faces = random.permutation(mesh.faces)[lost:].copy()
    faces[:turned] = faces[:turned, ::-1]
    content = write_any(trimesh.Trimesh(mesh.vertices, faces, process=False), is_text)
    corners = read_plain_stl(content)
    assert corners is not None, "by the book"
    with tempfile.TemporaryDirectory() as place:
        found, _ = read(Path(place), "m.stl", content)
    assert found is not None
    size, volume, triangles, open_edges, consistent = read_by_library(content)
    assert found.size_mm == pytest.approx(size, abs=1e-9)
    assert (found.triangles, found.open_edges, found.is_consistent) == (triangles, open_edges, consistent)
    assert found.volume_mm3 is None or found.volume_mm3 == pytest.approx(volume, rel=1e-9)
    assert (found.volume_mm3 is None) == (open_edges > 0 or not consistent)


@pytest.mark.parametrize(
    "content",
    [
        write_ascii_stl(FACES).replace(b"endloop", b"", 1),
        write_ascii_stl(FACES).replace(b"vertex 20.0", b"vertex 0x10", 1),
        write_ascii_stl(FACES) + write_ascii_stl(FACES),
        write_ascii_stl(FACES).upper(),
        b"\xef\xbb\xbf" + write_ascii_stl(FACES),
        write_binary_stl(FACES) + b"\0",
        write_binary_stl(FACES)[:-1],
        b"",
    ],
)
def test_what_is_not_by_the_book_is_left_to_the_library(content: bytes) -> None:
    assert read_plain_stl(content) is None


def test_a_large_file_is_left_to_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    assert read_plain_stl(write_binary_stl(FACES)) is not None
    monkeypatch.setattr("pipeline.reading.plain_stl.MOST_TRIANGLES", len(FACES) - 1)
    assert read_plain_stl(write_binary_stl(FACES)) is None


def test_the_library_is_not_loaded_for_a_file_by_the_book(tmp_path: Path) -> None:
    (tmp_path / "a.stl").write_bytes(write_ascii_stl(FACES))
    code = (
        "import sys\nfrom pathlib import Path\nfrom pipeline.reading.meshes import read_mesh\n"
        f"assert read_mesh(Path({str(tmp_path)!r}), 'a.stl')[0] is not None\n"
        "assert 'trimesh' not in sys.modules and 'scipy' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_names() -> None:
    assert [is_mesh_name(n) for n in ("a.stl", "a.PLY", "a.step", "stl")] == [True, True, False, False]
