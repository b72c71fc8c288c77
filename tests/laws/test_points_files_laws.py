"""Laws of point files: how points are written, moved or ordered does not change what is fitted; no text raises."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measuring.triangles import Surface
from pipeline.portfolio.fits import FitKind, fit_feature
from pipeline.reading.meshes import read_mesh
from pipeline.reading.points import PointFile, parse_number, read_measured_file
from pipeline.reading.qif import read_qif
from pipeline.reading.study_files import read_gauge_study, read_sample

Points = np.ndarray


def read(text: str | bytes, name: str = "a.csv") -> PointFile | None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "replace"))
        content, _ = read_measured_file(Path(folder), name)
    return content if isinstance(content, PointFile) else None


def write(points: Points, unit: str = "mm", factor: float = 1.0, comma: bool = False) -> str:
    rows = [[f"{value / factor:.9f}" for value in row] for row in points.tolist()]
    if comma:
        rows = [[value.replace(".", ",") for value in row] for row in rows]
    mark = ";" if comma else ","
    return f"# unit: {unit}\n" + "".join(mark.join(["rim", *row]) + "\n" for row in rows)


def make_ring(seed: int, count: int, radius: float) -> Points:
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * math.pi, count))
    away = radius + rng.normal(0, radius * 1e-3, count)
    return np.column_stack([away * np.cos(turn), away * np.sin(turn), rng.normal(0, radius * 1e-3, count)])


def turn(points: Points, seed: int) -> Points:
    rng = np.random.default_rng(seed)
    matrix, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    if np.linalg.det(matrix) < 0:
        matrix[:, 0] *= -1
    return points @ matrix + rng.uniform(-500, 500, 3)


def diameter(text: str) -> float:
    content = read(text)
    assert content is not None
    return fit_feature("rim", FitKind.SPHERE, {"": content.groups["rim"]}).value


rings = st.builds(make_ring, st.integers(0, 10_000), st.integers(8, 60), st.floats(2, 200))


@settings(max_examples=40, deadline=None)
@given(rings, st.integers(0, 10_000))
def test_a_moved_and_turned_file_fits_the_same(points: Points, seed: int) -> None:
    """A circle clear of any axis of the file; the choice of the plane may differ, by its own scatter at most."""
    first, second = read(write(points)), read(write(turn(points, seed)))
    assert first is not None and second is not None
    a = fit_feature("rim", FitKind.CIRCLE, {"": first.groups["rim"]})
    b = fit_feature("rim", FitKind.CIRCLE, {"": second.groups["rim"]})
    assert a.value == pytest.approx(b.value, rel=2e-5)


@settings(max_examples=30, deadline=None)
@given(rings, st.integers(0, 10_000))
def test_a_ball_moved_and_turned_is_the_same_ball(points: Points, seed: int) -> None:
    rng = np.random.default_rng(seed)
    ball = points / np.linalg.norm(points, axis=1)[:, None] * np.linalg.norm(points, axis=1).mean()
    cap = np.vstack([ball, ball[:, [2, 0, 1]], ball[:, [1, 2, 0]]]) + rng.normal(0, 1e-3, (3 * len(ball), 3))
    assert diameter(write(turn(cap, seed))) == pytest.approx(diameter(write(cap)), rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(rings)
def test_unit_and_decimal_sign_of_the_file_do_not_matter(points: Points) -> None:
    plain = read(write(points))
    assert plain is not None
    for text in (write(points, "in", 25.4), write(points, "um", 0.001), write(points, comma=True)):
        other = read(text)
        assert other is not None
        np.testing.assert_allclose(other.groups["rim"], plain.groups["rim"], atol=3e-8)


@settings(max_examples=30, deadline=None)
@given(rings, st.integers(0, 10_000), st.floats(0.2, 5))
def test_order_does_not_matter_and_scaling_scales(points: Points, seed: int, scale: float) -> None:
    mixed = np.random.default_rng(seed).permutation(points)
    values = [
        fit_feature("rim", FitKind.CIRCLE, {"": one}).value for one in (points, mixed, points * scale)
    ]  # fmt: skip
    assert values[1] == pytest.approx(values[0], rel=1e-9)
    assert values[2] == pytest.approx(values[0] * scale, rel=1e-9)


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.text(max_size=300), st.binary(max_size=300)))
def test_no_text_raises(text: str | bytes) -> None:
    raw = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name, reader in (
            ("a.csv", read_measured_file), ("a.qif", read_qif), ("s.csv", read_gauge_study), ("t.csv", read_sample),
        ):  # fmt: skip
            (root / name).write_bytes(raw)
            content, findings = reader(root, name)
            assert (content is None) is bool(findings)
            assert all(f.location.line >= 1 and f.location.column >= 1 for f in findings)


lines = st.lists(
    st.one_of(
        st.just("# unit: mm"), st.just("# unit: in"), st.just("group,x,y,z"), st.just("feature,n,reading,unit"),
        st.just("a,1,2,3"), st.just("a;1,5;2;3"), st.just("1 2 3"), st.just("a,1,nan,3"), st.just("a,1,40,mm"),
        st.text(alphabet="a1.,; -#:\t", max_size=15),
    ),
    max_size=8,
)  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(lines)
def test_lines_in_any_order_give_points_or_findings(parts: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "a.csv").write_text("\n".join(parts), encoding="utf-8")
        content, findings = read_measured_file(Path(folder), "a.csv")
    assert (content is None) is bool(findings)
    if isinstance(content, PointFile):
        assert all(np.isfinite(points).all() and points.shape[1] == 3 for points in content.groups.values())
        assert all(f"# unit: {unit}" not in parts or content.unit == unit for unit in ("mm", "in"))


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=400), st.sampled_from(["a.stl", "a.ply"]))
def test_no_bytes_of_a_mesh_raise(raw: bytes, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes(raw)
        mesh, findings = read_mesh(Path(folder), name)
    assert mesh is not None or findings


@given(st.floats(allow_nan=False, allow_infinity=False, width=32), st.booleans())
def test_a_written_number_reads_back(value: float, comma: bool) -> None:
    text = f"{value:.6e}"
    assert parse_number(text.replace(".", ",") if comma else text, comma) == float(text)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_distances_from_a_mesh_are_those_of_a_slow_twin(seed: int) -> None:
    """The twin looks at every triangle through a fine net of points on it: never nearer than the answer."""
    rng = np.random.default_rng(seed)
    corners = rng.uniform(-10, 10, (6, 3, 3))
    points = rng.uniform(-15, 15, (8, 3))
    near, away = Surface(corners).find_nearest(points)
    np.testing.assert_allclose(np.linalg.norm(points - near, axis=1), np.abs(away), atol=1e-9)
    steps = np.linspace(0, 1, 60)
    u, v = (grid.ravel() for grid in np.meshgrid(steps, steps))
    inside = u + v <= 1
    weights = np.column_stack([1 - u[inside] - v[inside], u[inside], v[inside]])
    net = (weights @ corners).reshape(-1, 3)
    twin = np.sqrt(((points[:, None] - net[None]) ** 2).sum(axis=2)).min(axis=1)
    assert (np.abs(away) <= twin + 1e-9).all()
    assert (twin - np.abs(away)).max() < 0.35  # the net is about 20/60 mm wide
