"""Meshes: size, volume and closedness in every format, and what is refused."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from pathlib import Path

import pytest

from pipeline.reading.meshes import Mesh, is_mesh_name, read_mesh

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


def test_names() -> None:
    assert [is_mesh_name(n) for n in ("a.stl", "a.PLY", "a.step", "stl")] == [True, True, False, False]
