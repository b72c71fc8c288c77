"""Meshes of models: STL (text and binary) and PLY, with size, volume and whether they are closed."""

from __future__ import annotations

import io
import stat
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.findings.finding import Finding, Location
from pipeline.findings.rules import measuring as rules
from pipeline.reading.plain_stl import join_corners, read_plain_stl
from pipeline.reading.source import is_link_inside

MAX_BYTES = 200_000_000
MAX_TRIANGLES = 4_000_000
SUFFIXES = (".stl", ".ply")
"""Both formats hold numbers without a unit; they are taken as millimetres, as the trade exchanges them (common
practice, no source)."""


@dataclass(frozen=True)
class Mesh:
    """A triangle mesh in mm.

    corners : (m, 3, 3). size_mm : width along x, y, z. volume_mm3 : None where the mesh is open or turns both ways.
    open_edges : edges that do not have exactly two faces. is_closed : no open edge. is_consistent : all faces turn the
    same way, so that inside and outside are known.
    """

    path: str
    size_mm: tuple[float, float, float]
    volume_mm3: float | None
    triangles: int
    open_edges: int
    is_closed: bool
    is_consistent: bool
    corners: npt.NDArray[np.float64] = field(compare=False, repr=False)


def is_mesh_name(name: str) -> bool:
    """True when a file's name says that it is a mesh that can be read here.

    >>> is_mesh_name("evidence/rim-a.STL"), is_mesh_name("evidence/rim-a.step")
    (True, False)
    """
    return name.lower().endswith(SUFFIXES)


def read_mesh(root: Path, path: str) -> tuple[Mesh | None, tuple[Finding, ...]]:
    """Read a mesh. A mesh that is not closed comes with a finding; one that cannot be read gives None and a finding."""
    raw = _read_bytes(root, path)
    if isinstance(raw, str):
        return None, (_refuse(path, raw),)
    kind = path.lower().rsplit(".", 1)[-1]
    corners = read_plain_stl(raw) if kind == "stl" else None
    if corners is not None:
        if not np.isfinite(corners).all():
            return None, (_refuse(path, f"{path} has a corner that is not a finite number"),)
        mesh = _build(path, corners, join_corners(corners))
    else:
        loaded = _load(path, raw, kind)
        if isinstance(loaded, str):
            return None, (_refuse(path, loaded),)
        mesh = _build(path, np.ascontiguousarray(loaded.triangles, dtype=np.float64), np.asarray(loaded.faces))
    return mesh, tuple(_check_closed(mesh))


def _refuse(path: str, message: str) -> Finding:
    return rules.UNREADABLE_MESH.build_finding(Location(path), message)


def _read_bytes(root: Path, path: str) -> bytes | str:
    file = root / path
    try:
        if is_link_inside(root, file):
            return f"{path} is a link or lies behind one"
        status = file.stat()
        if not stat.S_ISREG(status.st_mode):
            return f"{path} is not a plain file"
        if status.st_size > MAX_BYTES:
            return f"{path} has {status.st_size:,} bytes; at most {MAX_BYTES:,} are read"
        return file.read_bytes()
    except OSError as error:
        return f"{path} cannot be read: {error.strerror or type(error).__name__}"


def _load(path: str, raw: bytes, kind: str) -> Any:
    """Return the mesh as the library reads it, corners at one place joined; or what is wrong with it."""
    try:
        loaded = _parse(raw, kind)
    except Exception as error:  # a parser of foreign bytes may fail in any way; whatever it is, the file is at fault
        return f"{path} is no mesh that can be read ({type(error).__name__})"
    if loaded is None or len(loaded.faces) == 0:
        return f"{path} holds no triangle"
    if len(loaded.faces) > MAX_TRIANGLES:
        return f"{path} has {len(loaded.faces):,} triangles; at most {MAX_TRIANGLES:,} are read"
    if not np.isfinite(loaded.vertices).all():
        return f"{path} has a corner that is not a finite number"
    if not 0 <= int(loaded.faces.min()) <= int(loaded.faces.max()) < len(loaded.vertices):
        return f"{path} has a triangle whose corner is not in the file"
    loaded.merge_vertices()
    return loaded


def _parse(raw: bytes, kind: str) -> Any:
    """Return the mesh as it stands in the file, None where there is nothing to load."""
    import trimesh  # heavy, and few files need it

    if kind == "stl" and raw[:5].lower() == b"solid" and b"facet" not in raw[:2000]:
        return None  # a text STL without a face
    loaded = trimesh.load_mesh(io.BytesIO(raw), file_type=kind, process=False)
    return loaded if isinstance(loaded, trimesh.Trimesh) else None  # nothing, or points alone, comes in another shape


def _build(path: str, corners: npt.NDArray[np.float64], faces: npt.NDArray[np.int64]) -> Mesh:
    """Return what is known of triangles (m, 3, 3), whose corners have numbers in ``faces`` (m, 3)."""
    edges = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    ends = np.sort(edges, axis=1).astype(np.int64)
    _, which, counts = np.unique(ends[:, 0] << 32 | ends[:, 1], return_inverse=True, return_counts=True)
    open_edges = int(np.count_nonzero(counts != 2))
    turns = np.bincount(which.ravel(), weights=np.sign(edges[:, 1] - edges[:, 0]))  # 0 where both faces turn one way
    consistent = not turns[counts == 2].any()
    size = np.ptp(corners.reshape(-1, 3), axis=0)
    volume = compute_volume(corners) if open_edges == 0 and consistent else None
    x, y, z = size.tolist()
    return Mesh(path, (x, y, z), volume, len(corners), open_edges, open_edges == 0, consistent, corners)


def compute_volume(corners: npt.NDArray[np.float64]) -> float:
    """Return the volume (mm3) inside closed triangles (m, 3, 3) that all turn one way, by the divergence theorem.

    >>> tetrahedron = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 6.0]])
    >>> compute_volume(tetrahedron[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]])
    1.0
    """
    moved = corners - corners.reshape(-1, 3).mean(axis=0)
    return abs(float(np.einsum("ij,ij->", moved[:, 0], np.cross(moved[:, 1], moved[:, 2])))) / 6


def _check_closed(mesh: Mesh) -> list[Finding]:
    place = Location(mesh.path)
    if not mesh.is_closed:
        message = f"{mesh.path} is open: {mesh.open_edges:,} of its edges do not have two faces"
        return [rules.OPEN_MESH.build_finding(place, message)]
    if not mesh.is_consistent:
        message = f"{mesh.path} has faces that turn both ways, so it has no inside"
        return [rules.OPEN_MESH.build_finding(place, message, fix="turn all faces outward and export the mesh again")]
    return []
