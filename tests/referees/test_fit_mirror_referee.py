"""Slow obvious twin of the mirror: rays from the eye, turned at the glass by the law of reflection, to the road."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.fit.mirror_geometry import (
    GlassShape,
    Mirror,
    Point,
    build_sight_cone,
    compute_aim,
    compute_area,
    compute_glass_axes,
    compute_seen_ground,
)

AREA = ((5_000.0, -2_000.0), (60_000.0, -2_000.0), (60_000.0, 8_000.0), (5_000.0, 8_000.0))


def _trace(mirror: Mirror, eye: Point, steps: int) -> NDArray[np.float64]:
    """Return where rays through a grid of the glass meet the road, shape (rays, 2); rays to the sky are left out."""
    across, up, normal = compute_glass_axes(mirror)
    grid = (np.arange(steps) + 0.5) / steps * 2 - 1
    u, v = (axis.ravel() for axis in np.meshgrid(grid, grid))
    if mirror.shape is GlassShape.ELLIPSE:
        inside = u**2 + v**2 <= 0.999
        u, v = u[inside], v[inside]
    glass = (
        np.asarray(mirror.centre) + np.outer(u * mirror.width_mm / 2, across) + np.outer(v * mirror.height_mm / 2, up)
    )
    incoming = glass - np.asarray(eye)
    outgoing = incoming - 2 * np.outer(incoming @ normal, normal)
    down = outgoing[:, 2] < -1e-9
    glass, outgoing = glass[down], outgoing[down]
    hits = glass + outgoing * (-glass[:, 2] / outgoing[:, 2])[:, np.newaxis]
    return np.asarray(hits[:, :2], dtype=np.float64)


def _is_inside(points: NDArray[np.float64], polygon: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
    corners = np.asarray(polygon)
    after = np.roll(corners, -1, axis=0)
    turn = np.sign(np.sum(corners[:, 0] * after[:, 1] - after[:, 0] * corners[:, 1]))
    edges = after - corners
    offsets = points[:, np.newaxis, :] - corners
    sides = turn * (edges[:, 0] * offsets[:, :, 1] - edges[:, 1] * offsets[:, :, 0])
    return np.asarray(np.all(sides >= -1e-3 * np.abs(edges).max(), axis=1))


def _build_case(seed: int) -> tuple[Mirror, Point]:
    rng = np.random.default_rng(seed)
    eye: Point = (0.0, float(rng.uniform(200, 450)), float(rng.uniform(1000, 1300)))
    centre: Point = (float(rng.uniform(-900, -400)), float(rng.uniform(750, 950)), float(rng.uniform(900, 1100)))
    target = (float(rng.uniform(8_000, 20_000)), float(rng.uniform(800, 3_000)), float(rng.uniform(0, 600)))
    shape = GlassShape.ELLIPSE if seed % 2 else GlassShape.RECTANGLE
    return Mirror(
        centre, compute_aim(eye, centre, target), float(rng.uniform(80, 200)), float(rng.uniform(70, 130)), shape
    ), eye


@pytest.mark.parametrize("seed", range(8))
def test_every_traced_ray_lands_in_the_seen_part_and_fills_it(seed: int) -> None:
    mirror, eye = _build_case(seed)
    seen = compute_seen_ground(build_sight_cone(mirror, eye), AREA)
    assert len(seen) >= 3
    hits = _trace(mirror, eye, 400)
    in_area = hits[_is_inside(hits, AREA)]
    assert len(in_area) > 1000
    assert _is_inside(in_area, seen).all()
    # The other way: cells of the area that rays hit are as much area as the polygon, but for cells on its edge.
    cells, size = np.unique((in_area // 400.0).astype(int), axis=0), 400.0
    near = [cell for cell in cells if cell[0] * size < 16_000]
    nearer = compute_seen_ground(build_sight_cone(mirror, eye), ((5e3, -2e3), (16e3, -2e3), (16e3, 8e3), (5e3, 8e3)))
    perimeter = sum(
        float(np.hypot(x - nearer[index - 1][0], y - nearer[index - 1][1])) for index, (x, y) in enumerate(nearer)
    )
    assert abs(len(near) * size**2 - compute_area(nearer)) <= perimeter * size
