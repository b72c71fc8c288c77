"""Plating, paint and other coatings as contributors of their own, with how far each kind of feature moves."""

from __future__ import annotations

import math
from enum import StrEnum

from pipeline.fit.contributors import Contributor, Distribution


class CoatedFeature(StrEnum):
    """What a coating is laid on; it settles how far and which way the dimension moves."""

    FACE = "face"
    OUTSIDE_WIDTH = "outside width"
    SLOT_WIDTH = "slot width"
    SHAFT_DIAMETER = "shaft diameter"
    HOLE_DIAMETER = "hole diameter"
    EXTERNAL_THREAD_PITCH_DIAMETER = "external thread pitch diameter"
    INTERNAL_THREAD_PITCH_DIAMETER = "internal thread pitch diameter"


_GROWS = {
    CoatedFeature.FACE: 1,
    CoatedFeature.OUTSIDE_WIDTH: 1,
    CoatedFeature.SLOT_WIDTH: -1,
    CoatedFeature.SHAFT_DIAMETER: 1,
    CoatedFeature.HOLE_DIAMETER: -1,
    CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER: 1,
    CoatedFeature.INTERNAL_THREAD_PITCH_DIAMETER: -1,
}
_THREADS = frozenset({CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER, CoatedFeature.INTERNAL_THREAD_PITCH_DIAMETER})
_ROUND = frozenset({CoatedFeature.SHAFT_DIAMETER, CoatedFeature.HOLE_DIAMETER})


def compute_coating_factor(
    feature: CoatedFeature, *, faces: int | None = None, thread_angle_deg: float = 60.0
) -> float:
    """Return how many coating thicknesses a dimension grows by (negative: it shrinks; dimensionless).

    A face moves by one thickness, a shaft grows by two and a hole shrinks by two. On a thread the coating lies square
    on both flanks, so the pitch diameter moves by `2 / sin(angle / 2)`: four thicknesses for a 60° thread, 4.33 for
    the 55° of Whitworth, 4.97 for the 47.5° of BA.

    Args:
        feature: what is coated.
        faces: how many coated faces the dimension runs over: 1 or 2 for a width or slot (default 2), any number from 1
            for `face` (default 1). Not for diameters and threads, which are always coated all round.
        thread_angle_deg: included angle of the thread in degrees, above 0 and below 180; used by threads only.

    Errors:
        ValueError: an impossible count of faces or thread angle.

    Source: geometry of a coating of even thickness; the 60° figure is the rule of plating practice (ASME B1.1 and
        ISO 965-1 give thread limits before coating for this reason).

    Example:
        >>> compute_coating_factor(CoatedFeature.HOLE_DIAMETER)
        -2.0
        >>> round(compute_coating_factor(CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER), 9)
        4.0
        >>> round(compute_coating_factor(CoatedFeature.EXTERNAL_THREAD_PITCH_DIAMETER, thread_angle_deg=55), 3)
        4.331
        >>> compute_coating_factor(CoatedFeature.FACE, faces=2)
        2.0
    """
    if feature in _THREADS or feature in _ROUND:
        if faces is not None:
            raise ValueError(f"a {feature} is coated all round; leave the count of faces out")
        if feature in _ROUND:
            return 2.0 * _GROWS[feature]
        if not 0 < thread_angle_deg < 180:
            raise ValueError(
                f"a thread angle of {thread_angle_deg:g}° is impossible; write the included angle, e.g. 60"
            )
        return _GROWS[feature] * 2 / math.sin(math.radians(thread_angle_deg / 2))
    return float(_GROWS[feature] * _read_faces(feature, faces))


def _read_faces(feature: CoatedFeature, faces: int | None) -> int:
    """Return how many faces carry the coating, or refuse an impossible count."""
    if faces is None:
        return 1 if feature is CoatedFeature.FACE else 2
    most = None if feature is CoatedFeature.FACE else 2
    if faces < 1 or (most is not None and faces > most):
        raise ValueError(f"{faces} coated faces on a {feature}; write {'1 or more' if most is None else '1 or 2'}")
    return faces


def compute_coated_size(
    bare_mm: float,
    thickness_mm: float,
    feature: CoatedFeature,
    *,
    faces: int | None = None,
    thread_angle_deg: float = 60.0,
) -> float:
    """Return the size of a feature once it is coated, in mm.

    Args:
        bare_mm: size before coating in mm.
        thickness_mm: coating thickness on one surface in mm, 0 or more.
        feature, faces, thread_angle_deg: as for `compute_coating_factor`.

    Errors:
        ValueError: a negative thickness, or a hole or slot that the coating would close.

    Source: geometry of a coating of even thickness. Real plating is thicker at edges and thinner in recesses.

    Example:
        >>> round(compute_coated_size(8.0, 0.025, CoatedFeature.HOLE_DIAMETER), 6)
        7.95
    """
    if thickness_mm < 0:
        raise ValueError(f"a coating of {thickness_mm:g} mm is impossible; write 0 or more")
    factor = compute_coating_factor(feature, faces=faces, thread_angle_deg=thread_angle_deg)
    coated = bare_mm + factor * thickness_mm
    if coated <= 0 < bare_mm:
        raise ValueError(f"a coating of {thickness_mm:g} mm closes a {feature} of {bare_mm:g} mm")
    return coated


def build_coating(
    name: str,
    thickness_mm: float,
    lower_mm: float = 0.0,
    upper_mm: float = 0.0,
    *,
    feature: CoatedFeature,
    dimension_sensitivity: float = 1.0,
    faces: int | None = None,
    thread_angle_deg: float = 60.0,
    distribution: Distribution = Distribution.NORMAL,
    sigma_level: float = 3.0,
) -> Contributor:
    """Return the coating on a dimension of a stack as a contributor of its own.

    Faces that are coated in one bath get the same thickness at the same time, so their share is added with its full
    factor and not root-sum-square; make a contributor for each bath.

    Args:
        name: what the stack calls the coating.
        thickness_mm, lower_mm, upper_mm: thickness on one surface with its deviations, in mm; never below 0.
        feature, faces, thread_angle_deg: as for `compute_coating_factor`.
        dimension_sensitivity: sensitivity of the coated dimension in the same stack, with its sign.
        distribution, sigma_level: how the thickness scatters between its limits.

    Errors:
        ValueError: a thickness that may be negative, or what `compute_coating_factor` refuses.

    Source: geometry of a coating of even thickness.

    Example:
        >>> plate = build_coating("plate", 0.04, -0.01, 0.01, feature=CoatedFeature.SHAFT_DIAMETER,
        ...                       dimension_sensitivity=-0.5)
        >>> plate.sensitivity
        -1.0
    """
    if thickness_mm + lower_mm < 0:
        raise ValueError(f"{name}: the coating may be {thickness_mm + lower_mm:g} mm thick; its least is 0")
    factor = compute_coating_factor(feature, faces=faces, thread_angle_deg=thread_angle_deg)
    sensitivity = factor * dimension_sensitivity
    return Contributor(name, thickness_mm, lower_mm, upper_mm, sensitivity, distribution, sigma_level)


def build_gap_coating(
    name: str, thickness_mm: float, lower_mm: float = 0.0, upper_mm: float = 0.0, *, faces: int = 1
) -> Contributor:
    """Return a coating on the faces that bound a gap as a contributor; each coated face closes it by its thickness.

    Args:
        name: what the stack calls the coating.
        thickness_mm, lower_mm, upper_mm: thickness on one face with its deviations, in mm; never below 0.
        faces: how many of the faces that bound the gap are coated, from 1 (2 where both parts carry it).

    Errors:
        ValueError: a count of faces below 1, or a thickness that may be negative.

    Source: geometry of a coating of even thickness.

    Example:
        >>> build_gap_coating("plate", 0.04, faces=2).sensitivity
        -2.0
    """
    return build_coating(
        name, thickness_mm, lower_mm, upper_mm, feature=CoatedFeature.FACE, dimension_sensitivity=-1.0, faces=faces
    )
