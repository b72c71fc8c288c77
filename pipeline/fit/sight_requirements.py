"""What published rules ask a mirror to show, as data with each figure's standing."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pipeline.fit.sources import Source, Standing

CAUTION = (
    "A geometric estimate from eye points and glass alone: it knows nothing of the body, pillars, driver's head, glass "
    "quality or vibration. Whether a mirror complies with the law is a matter for a competent laboratory and the rules "
    "of the place where the vehicle is used."
)


class MirrorPlace(StrEnum):
    """Where a mirror sits, which settles what it has to show."""

    DRIVER_SIDE = "outside, driver's side"
    PASSENGER_SIDE = "outside, passenger's side"
    INSIDE = "inside"


@dataclass(frozen=True)
class GroundStrip:
    """A strip of level road that has to be seen: `width_mm` out from the vehicle's side, from `behind_mm` behind the
    eyes to the horizon, or to `until_mm` where the next strip takes over."""

    width_mm: float
    behind_mm: float
    until_mm: float | None = None


@dataclass(frozen=True)
class SightRequirement:
    """A published requirement on the view in a mirror.

    `strips` are for outside mirrors. For an inside mirror, `horizontal_angle_deg` is the least included angle at the
    eye and `road_from_mm` how far behind the vehicle's rear the road has to be seen at the latest, to the horizon.
    `least_radius_mm` and `most_radius_mm` bound curved glass where it is allowed.
    """

    key: str
    place: MirrorPlace
    source: Source
    strips: tuple[GroundStrip, ...] = ()
    horizontal_angle_deg: float | None = None
    road_from_mm: float | None = None
    flat_only: bool = False
    least_radius_mm: float | None = None
    most_radius_mm: float | None = None


_US_STRIP = (GroundStrip(2400.0, 10_700.0),)
_UN_STRIPS = (GroundStrip(1000.0, 4000.0, 20_000.0), GroundStrip(4000.0, 20_000.0))

SIGHT_REQUIREMENTS: tuple[SightRequirement, ...] = (
    SightRequirement(
        "us-111-driver",
        MirrorPlace.DRIVER_SIDE,
        Source("49 CFR 571.111 S5.2.1", Standing.SEEN),
        strips=_US_STRIP,
        flat_only=True,
    ),
    SightRequirement(
        "us-111-passenger",
        MirrorPlace.PASSENGER_SIDE,
        Source("49 CFR 571.111 S5.3 and S5.4, where the inside mirror falls short", Standing.FROM_MEMORY),
        strips=_US_STRIP,
        least_radius_mm=889.0,
        most_radius_mm=1651.0,
    ),
    SightRequirement(
        "us-111-inside",
        MirrorPlace.INSIDE,
        Source("49 CFR 571.111 S5.1.1", Standing.SEEN),
        horizontal_angle_deg=20.0,
        road_from_mm=61_000.0,
        flat_only=True,
    ),
    SightRequirement(
        "un-46-class-iii-driver",
        MirrorPlace.DRIVER_SIDE,
        Source("UN Regulation 46, class III, 15.2.4.3", Standing.FROM_MEMORY),
        strips=_UN_STRIPS,
    ),
    SightRequirement(
        "un-46-class-iii-passenger",
        MirrorPlace.PASSENGER_SIDE,
        Source("UN Regulation 46, class III, 15.2.4.3", Standing.FROM_MEMORY),
        strips=_UN_STRIPS,
    ),
)


def find_sight_requirement(key: str) -> SightRequirement | None:
    """Return the requirement of a key, or None.

    Example:
        >>> find_sight_requirement("us-111-driver").strips[0].behind_mm
        10700.0
    """
    return next((requirement for requirement in SIGHT_REQUIREMENTS if requirement.key == key), None)
