"""Rigid best fit of measured points to nominal ones, with scale and opposite hand as options."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from pipeline.measuring.points import FLAT_SHARE, Floats, Vector3, as_vector3, check_points, check_values

_MIRRORS = {"x": 0, "y": 1, "z": 2}
Matrix3 = tuple[Vector3, Vector3, Vector3]


@dataclass(frozen=True, slots=True)
class BestFit:
    """The move that lays measured points on nominal ones: nominal ~ scale * rotation @ (mirrored measured) + shift.

    Attributes:
        method: how it was found.
        count: point pairs used.
        rotation: proper rotation, determinant +1, rows.
        shift_mm: translation.
        scale: 1 unless asked for.
        mirror: axis whose sign was turned before the fit ("x", "y" or "z"), or None.
        rms_mm: root mean square of the remaining distances (weighted where weights were given).
        largest_mm: largest remaining distance.
        worst: index of the pair that has it.
        is_unique: False where another rotation fits as well (a part with too much symmetry for its hand).
        deviations_mm: nominal frame, moved measured point less nominal point, shape (n, 3).
    """

    method: str
    count: int
    rotation: Matrix3
    shift_mm: Vector3
    scale: float
    mirror: str | None
    rms_mm: float
    largest_mm: float
    worst: int
    is_unique: bool
    deviations_mm: Floats = field(compare=False, repr=False)

    def move(self, points: npt.ArrayLike) -> Floats:
        """Any points of the measured part in the nominal frame, shape (n, 3)."""
        array = check_points(points, 3, 1, "a move") * _signs(self.mirror)
        moved: Floats = self.scale * array @ np.array(self.rotation).T + np.array(self.shift_mm)
        return moved


@dataclass(frozen=True, slots=True)
class HandComparison:
    """The same points fitted as the same hand and as the opposite hand.

    Attributes:
        same: fit as measured.
        opposite: fit of the mirrored points.
        is_decided: False where the points lie so flat that both hands fit alike.
        hand: "same", "opposite" or "undecided".
    """

    same: BestFit
    opposite: BestFit
    is_decided: bool
    hand: str


def fit_rigid(
    measured: npt.ArrayLike,
    nominal: npt.ArrayLike,
    *,
    scale: bool = False,
    mirror: str | None = None,
    weights: npt.ArrayLike | None = None,
) -> BestFit:
    """Best fit of measured points to their nominal partners, least squares of distances.

    The rotation is always proper: a left part never passes for a right one. To lay one hand on the other say
    ``mirror``; which of the three axes is turned does not matter to the deviations, only to the rotation reported.

    Args:
        measured: (n, 3) points in mm, n >= 3, not on one line.
        nominal: (n, 3) partners in the same order.
        scale: let the size follow as well (shrinkage, a drawing of unknown scale).
        mirror: "x", "y" or "z" to turn the sign of that coordinate of the measured points first.
        weights: (n,) weights above zero; equal by default.

    Raises:
        ValueError: unequal counts, fewer than three pairs, points on one line, or a mirror that is not an axis.

    Source: W. Kabsch, Acta Cryst. A32 (1976); B. Horn, J. Opt. Soc. Am. A 4 (1987); S. Umeyama, IEEE PAMI 13 (1991).

    >>> corner = np.array([[0, 0, 0], [10, 0, 0], [0, 5, 0], [0, 0, 2.0]])
    >>> fit = fit_rigid(corner, corner + [3, -2, 1])
    >>> [round(v, 9) for v in fit.shift_mm], round(fit.rms_mm, 9)
    ([3.0, -2.0, 1.0], 0.0)
    """
    source, target, share = _check_pairs(measured, nominal, weights)
    source = source * _signs(mirror)
    source_middle, target_middle = share @ source, share @ target
    moved, aimed = source - source_middle, target - target_middle
    rotation, factor, is_unique = _find_rotation(moved, aimed, share)
    factor = factor if scale else 1.0
    if not factor > 0:
        raise ValueError("no scale above zero fits these points; check the order of the pairs and the hand")
    shift = target_middle - factor * rotation @ source_middle
    deviations = factor * moved @ rotation.T - aimed
    lengths = np.sqrt(np.einsum("ij,ij->i", deviations, deviations))
    worst = int(np.argmax(lengths))
    return BestFit(
        method="rigid best fit, singular value decomposition" + (" with scale" if scale else ""),
        count=len(source),
        rotation=(as_vector3(rotation[0]), as_vector3(rotation[1]), as_vector3(rotation[2])),
        shift_mm=as_vector3(shift),
        scale=factor,
        mirror=mirror,
        rms_mm=float(np.sqrt(share @ lengths**2)),
        largest_mm=float(lengths[worst]),
        worst=worst,
        is_unique=is_unique,
        deviations_mm=deviations,
    )


def compare_hands(measured: npt.ArrayLike, nominal: npt.ArrayLike) -> HandComparison:
    """Is a measured part of the hand of the nominal or the opposite one?

    Args:
        measured: (n, 3) points in mm, n >= 4 and off one plane if the answer is to mean anything.
        nominal: (n, 3) partners.

    Raises:
        ValueError: as `fit_rigid`.

    Source: common practice (no source).

    >>> corner = np.array([[0, 0, 0], [10, 0, 0], [0, 5, 0], [0, 0, 2.0]])
    >>> compare_hands(corner * [-1, 1, 1], corner).hand
    'opposite'
    """
    same, opposite = fit_rigid(measured, nominal), fit_rigid(measured, nominal, mirror="x")
    size = float(np.ptp(np.asarray(nominal, dtype=np.float64), axis=0).max())
    is_decided = abs(same.rms_mm - opposite.rms_mm) > FLAT_SHARE * size
    closer = "same" if same.rms_mm < opposite.rms_mm else "opposite"
    return HandComparison(same, opposite, is_decided, closer if is_decided else "undecided")


def _signs(mirror: str | None) -> Floats:
    signs = np.ones(3)
    if mirror is not None:
        if mirror not in _MIRRORS:
            raise ValueError(f'mirror is {mirror!r}; it must be "x", "y", "z" or None')
        signs[_MIRRORS[mirror]] = -1.0
    return signs


def _check_pairs(
    measured: npt.ArrayLike, nominal: npt.ArrayLike, weights: npt.ArrayLike | None
) -> tuple[Floats, Floats, Floats]:
    """Both point sets and weights that add to one."""
    source = check_points(measured, 3, 3, "a best fit")
    target = check_points(nominal, 3, 3, "a best fit")
    if len(source) != len(target):
        raise ValueError(f"{len(source)} measured points but {len(target)} nominal ones; a best fit needs pairs")
    share = np.ones(len(source)) if weights is None else check_values(weights, "weights", 3)
    if len(share) != len(source) or float(share.min()) <= 0:
        raise ValueError("each pair needs one weight above zero")
    for array, name in ((source, "measured"), (target, "nominal")):
        spread = np.linalg.svd(array - array.mean(axis=0), compute_uv=False)
        if spread[1] <= FLAT_SHARE * max(float(spread[0]), 1e-300):
            raise ValueError(f"the {name} points lie on one line; nothing fixes the turn about it")
    return source, target, share / share.sum()


def _find_rotation(moved: Floats, aimed: Floats, share: Floats) -> tuple[Floats, float, bool]:
    """Proper rotation (3, 3), best scale, and whether the rotation is the only one."""
    left, strength, right = np.linalg.svd((aimed * share[:, None]).T @ moved)
    sign = 1.0 if np.linalg.det(left) * np.linalg.det(right) > 0 else -1.0
    rotation = left * np.array([1.0, 1.0, sign]) @ right
    size = float(share @ np.einsum("ij,ij->i", moved, moved))
    is_unique = bool(strength[1] + sign * strength[2] > FLAT_SHARE * strength[0])
    return rotation, float(strength[0] + strength[1] + sign * strength[2]) / size, is_unique
