"""Distance to a centre less a radius: the shared arithmetic of circle and sphere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipeline.measuring.least_squares import BlockSums, Settled, Sums, minimise
from pipeline.measuring.points import Floats, thin_points

_SAMPLE = 2000
_POLISHED = 1e-10  # of the size of the points: on a long scan the last figures cost time and mean nothing
STRAIGHT = 1e5  # a radius of this many times the spread of the points is a straight line to any instrument


def fit_radial_linear(moved: Floats) -> Floats:
    """Centre and radius (d + 1,) of the circle or sphere from the linear fit of the squared distances.

    Args:
        moved: centred and scaled points, shape (n, d).

    Raises:
        ValueError: no circle or sphere goes near the points.

    Source: I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976).

    >>> fit_radial_linear(np.array([[1.0, 0], [-1, 0], [0, 1], [0, -1]])).round(9).tolist()
    [0.0, 0.0, 1.0]
    """
    squares = np.einsum("ij,ij->i", moved, moved)
    normal = np.empty((moved.shape[1] + 1,) * 2)
    normal[:-1, :-1] = moved.T @ moved
    normal[-1, :-1] = normal[:-1, -1] = moved.sum(axis=0)
    normal[-1, -1] = len(moved)
    right = np.append(moved.T @ squares, squares.sum())
    solution = np.linalg.lstsq(normal, right, rcond=None)[0]
    centre = solution[:-1] / 2
    square = solution[-1] + centre @ centre
    if not square > 0:
        raise ValueError("the points do not bend round a centre; no circle or sphere goes near them")
    return np.append(centre, np.sqrt(square))


class RadialDistances(BlockSums):
    """Sums of radial distances and their derivatives for a centre (d,) and a radius."""

    def __init__(self, points: Floats) -> None:
        columns = np.ascontiguousarray(points.T)
        super().__init__(columns, len(columns) + 1)

    def __call__(self, state: Floats) -> Sums:
        centre, radius = state[:-1, None], state[-1]

        def fill(block: Floats, rows: Floats) -> None:
            toward, distances = rows[:-2], rows[-1]
            np.subtract(centre, block, out=toward)
            np.sqrt(np.einsum("ij,ij->j", toward, toward), out=distances)
            toward /= np.maximum(distances, 1e-300)
            rows[-2] = -1.0
            distances -= radius

        return self.add_up(fill)


def settle_radial(moved: Floats, starts: Sequence[Floats]) -> Settled[Floats]:
    """Orthogonal-distance iteration: from every start on a sample, then from the best of them on all points.

    Args:
        moved: centred and scaled points (n, d), d = 2 for a circle, 3 for a sphere.
        starts: centres and radii (d + 1,) to begin from, at least one.

    Raises:
        ValueError: the radius runs away, as it does on points that are as good as straight or flat.

    Source: as `minimise`.

    >>> ring = np.array([[1.0, 0], [-1, 0], [0, 1], [0, -1]])
    >>> settle_radial(ring, [fit_radial_linear(ring)]).state.round(9).tolist()
    [0.0, 0.0, 1.0]
    """
    sample = thin_points(moved, _SAMPLE)
    trials = [minimise(RadialDistances(sample), np.add, start) for start in starts]
    settled = min(trials, key=lambda trial: trial.cost)
    if len(sample) < len(moved):
        settled = minimise(RadialDistances(moved), np.add, settled.state, smallest_step=_POLISHED)
    if not settled.has_settled or abs(float(settled.state[-1])) > STRAIGHT:
        raise ValueError("the points bend too little: the radius runs away; measure more of the turn, or fit it flat")
    return settled
