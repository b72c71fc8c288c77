"""Points of known features with known scatter, for laws, referees and benchmarks."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.measuring.circles import fit_circle
from pipeline.measuring.cylinders import fit_cylinder
from pipeline.measuring.lines import fit_line
from pipeline.measuring.planes import fit_plane
from pipeline.measuring.points import Floats, build_frame
from pipeline.measuring.spheres import fit_sphere

AXIS = np.array([0.3, -0.2, 0.9])
PLACE = np.array([500.0, -300.0, 200.0])

FITS: dict[str, Callable[[Floats], object]] = {
    "line": fit_line,
    "plane": fit_plane,
    "circle": fit_circle,
    "sphere": fit_sphere,
    "cylinder": fit_cylinder,
}


def build_feature_points(feature: str, count: int, seed: int, noise_mm: float = 0.01) -> Floats:
    """Points of a feature at a fixed place and tilt, with normal scatter in every coordinate.

    Args:
        feature: "line" (100 mm), "plane" (80 x 40 mm), "circle" (radius 12 mm, plane coordinates), "sphere" (radius
            12 mm) or "cylinder" (radius 12 mm, 40 mm long).
        count: points.
        seed: of the random generator.
        noise_mm: standard deviation of each coordinate.

    Raises:
        ValueError: an unknown feature.

    Source: common practice (no source).

    >>> build_feature_points("circle", 5, seed=1).shape
    (5, 2)
    """
    if feature not in FITS:
        raise ValueError(f"feature is {feature!r}; it must be one of {', '.join(FITS)}")
    random = np.random.default_rng(seed)
    turn, along = random.uniform(0, 2 * np.pi, count), random.uniform(-1, 1, count)
    ring = 12 * np.column_stack([np.cos(turn), np.sin(turn)])
    zero = np.zeros(count)
    if feature == "circle":
        return np.asarray(ring + PLACE[:2] + random.normal(0, noise_mm, (count, 2)), dtype=np.float64)
    if feature == "line":
        local = np.column_stack([50 * along, zero, zero])
    elif feature == "plane":
        local = np.column_stack([40 * along, 20 * random.uniform(-1, 1, count), zero])
    elif feature == "sphere":
        local = np.column_stack([ring * np.sqrt(1 - along**2)[:, None], 12 * along])
    else:
        local = np.column_stack([ring, 20 * along])
    moved = local @ build_frame(AXIS) + PLACE + random.normal(0, noise_mm, (count, 3))
    return np.asarray(moved, dtype=np.float64)


def solve_linear_floor(points: Floats) -> Floats:
    """The floor of a fit benchmark: numpy's own `lstsq` of the squared distances on the same points.

    Args:
        points: (n, d) coordinates.

    Source: common practice (no source).

    >>> solve_linear_floor(np.array([[3.0, 0], [1, 0], [2, 1], [2, -1]])).round(6).tolist()
    [4.0, 0.0, -3.0]
    """
    columns = np.column_stack([points, np.ones(len(points))])
    squares = np.einsum("ij,ij->i", points, points)
    return np.asarray(np.linalg.lstsq(columns, squares, rcond=None)[0], dtype=np.float64)
