"""Sphere by orthogonal-distance least squares, with its sphericity."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.measuring.least_squares import compute_covariance
from pipeline.measuring.points import (
    FLAT_SHARE,
    Floats,
    Vector3,
    as_vector3,
    centre_and_scale,
    check_points,
    find_smallest_spread,
    thin_points,
)
from pipeline.measuring.radial import fit_radial_linear, settle_radial

_STARTING_POINTS = 2000


@dataclass(frozen=True, slots=True)
class SphereFit:
    """A fitted sphere.

    Attributes:
        method: how it was fitted.
        count: points used.
        centre_mm: centre.
        radius_mm: radius.
        sphericity_mm: peak to valley of the radial distances from this sphere.
        rms_mm: root mean square radial distance.
        radius_u_mm: standard uncertainty of the radius from the scatter alone; None without a spare point.
        centre_u_mm: the same for the centre coordinates.
        deviations_mm: radial distances, outside positive, shape (n,).
    """

    method: str
    count: int
    centre_mm: Vector3
    radius_mm: float
    sphericity_mm: float
    rms_mm: float
    radius_u_mm: float | None
    centre_u_mm: Vector3 | None
    deviations_mm: Floats = field(compare=False, repr=False)

    @property
    def diameter_mm(self) -> float:
        """Twice the radius."""
        return 2 * self.radius_mm


def fit_sphere(points: npt.ArrayLike) -> SphereFit:
    """Fit a sphere, least squares of radial distances.

    Args:
        points: (n, 3) coordinates in mm, n >= 4, not all in one plane.

    Raises:
        ValueError: fewer than four points, points in one plane or too nearly so, or not finite.

    Source: A. Forbes, least-squares best-fit geometric elements (NPL, 1991).

    >>> fit = fit_sphere([[4, 2, 3], [-2, 2, 3], [1, 5, 3], [1, -1, 3], [1, 2, 6], [1, 2, 0]])
    >>> [round(v, 9) for v in (*fit.centre_mm, fit.radius_mm)]
    [1.0, 2.0, 3.0, 3.0]
    """
    array = check_points(points, 3, 4, "a sphere")
    moved, centroid, scale = centre_and_scale(array, "a sphere")
    if find_smallest_spread(moved) <= FLAT_SHARE:
        raise ValueError(f"the {len(array)} points lie in one plane; a sphere needs a point off it")
    settled = settle_radial(moved, [fit_radial_linear(thin_points(moved, _STARTING_POINTS))])
    covariance = compute_covariance(settled, len(moved))
    u = None if covariance is None else np.sqrt(np.maximum(np.diag(covariance), 0.0)) * scale
    away = moved.T - settled.state[:3, None]
    deviations = (np.sqrt(np.einsum("ij,ij->j", away, away)) - settled.state[3]) * scale
    return SphereFit(
        method="orthogonal-distance least squares (Levenberg-Marquardt)",
        count=len(array),
        centre_mm=as_vector3(settled.state[:3] * scale + centroid),
        radius_mm=float(settled.state[3]) * scale,
        sphericity_mm=float(np.ptp(deviations)),
        rms_mm=float(np.sqrt(deviations @ deviations / len(array))),
        radius_u_mm=None if u is None else float(u[3]),
        centre_u_mm=None if u is None else as_vector3(u[:3]),
        deviations_mm=deviations,
    )
