"""Distances of points from a triangle mesh, and the move that lays a scan on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.measuring.points import Floats, check_points, find_principal_axes
from pipeline.measuring.registration import BestFit, fit_rigid

_PAIRS = 200_000
_STEPS = 60
_SETTLED_MM = 1e-9


@dataclass(frozen=True, slots=True)
class SurfaceFit:
    """A scan laid on a mesh.

    Attributes:
        method: how it was found.
        fit: the move that was found last (of the starting points).
        count: points used.
        rms_mm: root mean square distance that remains.
        largest_mm: largest distance that remains.
        moved_mm: the points in the frame of the mesh, shape (n, 3).
        deviations_mm: signed distances, outside of the mesh positive, shape (n,).
    """

    method: str
    fit: BestFit
    count: int
    rms_mm: float
    largest_mm: float
    moved_mm: Floats = field(compare=False, repr=False)
    deviations_mm: Floats = field(compare=False, repr=False)


class Surface:
    """Triangles made ready for many questions.

    Args:
        triangles: (m, 3, 3) corners in mm, in the order that turns outward to the right hand.

    Raises:
        ValueError: no triangles, or corners that are not finite.

    Source: common practice (no source).
    """

    def __init__(self, triangles: npt.ArrayLike) -> None:
        from scipy.spatial import cKDTree  # heavy, and few parts need it

        array = np.asarray(triangles, dtype=np.float64)
        if array.ndim != 3 or array.shape[1:] != (3, 3) or len(array) == 0:
            raise ValueError("a surface needs triangles: m x 3 corners x 3 coordinates, at least one")
        if not np.isfinite(array).all():
            raise ValueError("a corner of the surface is not finite")
        self.corners = array
        self.centres = array.mean(axis=1)
        self.reach = float(np.sqrt(((array - self.centres[:, None]) ** 2).sum(axis=2)).max())
        self.tree = cKDTree(self.centres)
        normals = np.cross(array[:, 1] - array[:, 0], array[:, 2] - array[:, 0])
        self.normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]

    def find_nearest(self, points: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Nearest point of the surface to each point, and the signed distance from it (mm).

        The sign is that of the side on which the point lies of the nearest triangles; outside is positive for a
        closed mesh that turns outward.

        Args:
            points: (n, 3), n >= 1, mm.

        Source: C. Ericson, Real-Time Collision Detection (2005), 5.1.5, for one triangle; candidates by a bound on
        the distance of triangle centres, which leaves none out.

        >>> floor = Surface([[[0, 0, 0], [10, 0, 0], [0, 10, 0]]])
        >>> near, away = floor.find_nearest([[1, 1, 2], [1, 1, -2], [-3, 0, 0]])
        >>> near.tolist(), away.tolist()
        ([[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.0, 0.0]], [2.0, -2.0, 3.0])
        """
        array = check_points(points, 3, 1, "a distance")
        first, _ = self.tree.query(array)
        candidates: Any = self.tree.query_ball_point(array, first + self.reach * (1 + 1e-9) + 1e-12)
        sizes = np.array([len(found) for found in candidates])
        near, away = np.empty_like(array), np.empty(len(array))
        start = 0
        while start < len(array):
            total = np.cumsum(sizes[start:])
            stop = start + max(1, int(np.searchsorted(total, _PAIRS, side="right")))
            chosen = np.concatenate([np.asarray(found, dtype=np.int64) for found in candidates[start:stop]])
            self._settle(array, np.repeat(np.arange(start, stop), sizes[start:stop]), chosen, near, away)
            start = stop
        return near, away

    def _settle(
        self, points: Floats, owner: npt.NDArray[np.int64], chosen: npt.NDArray[np.int64], near: Floats, away: Floats
    ) -> None:
        """Write the nearest candidate of each owner; among equals the one that sees the point most squarely."""
        found = _find_on_triangles(points[owner], self.corners[chosen])
        offset = points[owner] - found
        square = np.einsum("ij,ij->i", offset, offset)
        side = np.einsum("ij,ij->i", offset, self.normals[chosen])
        order = np.lexsort((-np.abs(side), np.round(square, 12), owner))
        best = order[np.unique(owner[order], return_index=True)[1]]
        rows = owner[best]
        near[rows] = found[best]
        away[rows] = np.where(side[best] < 0, -1.0, 1.0) * np.sqrt(square[best])


def _find_on_triangles(points: Floats, corners: Floats) -> Floats:
    """Point of each triangle (n, 3, 3) nearest to its point (n, 3): inside the face, or on the nearest edge."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    area = np.einsum("ij,ij->i", normal, normal)
    safe = np.where(area > 0, area, 1.0)
    inside = area > 0
    for start, end in ((a, b), (b, c), (c, a)):
        inside &= np.einsum("ij,ij->i", np.cross(end - start, points - start), normal) >= 0
    height = np.einsum("ij,ij->i", points - a, normal) / safe
    on_face = points - height[:, None] * normal
    best, least = on_face, np.where(inside, height**2 * area, np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        edge = end - start
        length = np.einsum("ij,ij->i", edge, edge)
        share = np.einsum("ij,ij->i", points - start, edge) / np.where(length > 0, length, 1.0)
        on_edge = start + np.clip(share, 0.0, 1.0)[:, None] * edge
        square = np.einsum("ij,ij->i", points - on_edge, points - on_edge)
        nearer = ~inside & (square < least)
        best = np.where(nearer[:, None], on_edge, best)
        least = np.where(nearer, square, least)
    return np.asarray(best, dtype=np.float64)


def fit_to_surface(points: npt.ArrayLike, surface: Surface, *, align: bool = True) -> SurfaceFit:
    """Lay a scan on a mesh: nearest points, rigid best fit, again and again until it rests.

    Args:
        points: (n, 3), n >= 3, not on one line, mm.
        surface: the mesh.
        align: also start from the principal axes laid on each other, in all four ways that keep the hand, and take
            the best; False starts only from where the points are (an arm that was set up on the datums).

    Raises:
        ValueError: too few points, or points on one line.

    Source: P. Besl, N. McKay, IEEE PAMI 14 (1992), iterated closest points; the result is the best of the starts,
    not proved to be the best of all.

    >>> rng = np.random.default_rng(1)
    >>> box = np.array([[0, 0, 0], [30, 0, 0], [0, 20, 0], [0, 0, 10.0]])
    >>> mesh = Surface(box[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]])
    >>> scan = np.concatenate([rng.dirichlet([1, 1, 1], 60) @ face for face in mesh.corners])
    >>> fit_to_surface(scan + [0.3, -0.2, 0.1], mesh).rms_mm < 1e-3
    True
    """
    array = check_points(points, 3, 3, "a best fit to a mesh")
    starts = [array] if not align else [array, *_build_starts(array, surface)]
    results = [_iterate(array, start, surface) for start in starts]
    fit, moved, away = min(results, key=lambda found: float(found[2] @ found[2]))
    return SurfaceFit(
        method="iterated closest points, rigid best fit",
        fit=fit,
        count=len(array),
        rms_mm=float(np.sqrt(away @ away / len(away))),
        largest_mm=float(np.abs(away).max()),
        moved_mm=moved,
        deviations_mm=away,
    )


def _build_starts(array: Floats, surface: Surface) -> list[Floats]:
    """The points with their principal axes laid on those of the mesh, in the four proper ways."""
    own, target = array - array.mean(axis=0), surface.corners.reshape(-1, 3)
    middle = (target.min(axis=0) + target.max(axis=0)) / 2
    _, axes = find_principal_axes(own)
    _, wanted = find_principal_axes(target - target.mean(axis=0))
    starts = []
    for signs in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        turn = np.vstack([axes[0] * signs[0], axes[1] * signs[1], np.zeros(3)])
        turn[2] = np.cross(turn[0], turn[1])
        frame = np.vstack([wanted[0], wanted[1], np.cross(wanted[0], wanted[1])])
        local = own @ turn.T
        local -= (local.min(axis=0) + local.max(axis=0)) / 2
        starts.append(local @ frame + middle)
    return starts


def _iterate(array: Floats, start: Floats, surface: Surface) -> tuple[BestFit, Floats, Floats]:
    moved, before = start, np.inf
    for _ in range(_STEPS):
        near, away = surface.find_nearest(moved)
        fit = fit_rigid(array, near)
        moved = fit.move(array)
        cost = float(np.sqrt(away @ away / len(away)))
        if abs(before - cost) < _SETTLED_MM:
            break
        before = cost
    _, away = surface.find_nearest(moved)
    return fit, moved, away
