"""What else could measure a feature, by its kind and size: usual uncertainties of shop instruments as data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pipeline.measuring.points import check_number


class FeatureShape(StrEnum):
    """What is to be measured, as far as it decides the instrument."""

    OUTSIDE = "outside size"
    BORE = "bore or slot"
    HEIGHT = "step or height"
    DISTANCE = "distance between features"
    POSITION = "position or pattern of holes"
    PROFILE = "profile or contour"
    RUNOUT = "run-out"
    FLATNESS = "flatness"
    THICKNESS = "wall or sheet thickness"
    COATING = "coating thickness"


@dataclass(frozen=True, slots=True)
class Instrument:
    """A way to measure.

    Attributes:
        name: in the trade's words.
        shapes: what it measures.
        smallest_mm: smallest size.
        largest_mm: largest size.
        expanded_u_mm: usual expanded uncertainty at 95 % in a shop, at a small size.
        u_per_mm: what is added per millimetre of size.
        note: what to mind.
        is_gauge: True for a gauge that says go or no-go and gives no number.
    """

    name: str
    shapes: tuple[FeatureShape, ...]
    smallest_mm: float
    largest_mm: float
    expanded_u_mm: float
    u_per_mm: float = 0.0
    note: str = ""
    is_gauge: bool = False

    def compute_u(self, size_mm: float) -> float:
        """Usual expanded uncertainty at a size, mm."""
        return self.expanded_u_mm + self.u_per_mm * size_mm


_S = FeatureShape

# Common practice, no source: what a careful shop gets from the usual instruments, not what their makers advertise.
# A shop puts its own calibrated figures in place of these.
COMMON_INSTRUMENTS: tuple[Instrument, ...] = (
    Instrument("outside micrometer", (_S.OUTSIDE, _S.THICKNESS), 0.0, 300.0, 0.005, 2e-5),
    Instrument("vernier or digital caliper", (_S.OUTSIDE, _S.BORE, _S.DISTANCE), 0.0, 1000.0, 0.04, 5e-5),
    Instrument("pin gauges", (_S.BORE,), 0.2, 20.0, 0.004, 0.0, "finds the largest pin that enters; not the shape"),
    Instrument("plug gauge, go and no-go", (_S.BORE,), 1.0, 100.0, 0.004, 2e-5, "says in or out, no number", True),
    Instrument("ring or snap gauge", (_S.OUTSIDE,), 1.0, 150.0, 0.005, 2e-5, "says in or out, no number", True),
    Instrument("three-point bore micrometer", (_S.BORE,), 6.0, 300.0, 0.008, 2e-5, "set it on a ring of the size"),
    Instrument("height gauge on a surface plate", (_S.HEIGHT, _S.DISTANCE), 0.0, 1000.0, 0.02, 2e-5),
    Instrument("depth micrometer", (_S.HEIGHT,), 0.0, 300.0, 0.01, 2e-5),
    Instrument("dial indicator between centres", (_S.RUNOUT,), 0.0, 2000.0, 0.01, 0.0, "needs the datum axis itself"),
    Instrument("dial indicator on a surface plate", (_S.FLATNESS, _S.HEIGHT), 0.0, 1000.0, 0.01),
    Instrument("functional gauge", (_S.POSITION, _S.PROFILE), 0.0, 2000.0, 0.02, 1e-5, "proves that it fits", True),
    Instrument(
        "coordinate measuring machine",
        (_S.OUTSIDE, _S.BORE, _S.HEIGHT, _S.DISTANCE, _S.POSITION, _S.PROFILE, _S.RUNOUT, _S.FLATNESS),
        0.5, 1200.0, 0.004, 6e-6, "in a room at 20 degrees",
    ),
    Instrument("profile projector", (_S.PROFILE, _S.DISTANCE, _S.POSITION), 0.0, 200.0, 0.01, 4e-5, "edges"),
    Instrument("magnetic-induction coating gauge", (_S.COATING,), 0.005, 1.0, 0.002, 0.03, "on steel; set on a foil"),
    Instrument("microsection", (_S.COATING, _S.THICKNESS), 0.001, 2.0, 0.0008, 0.02, "destroys the piece"),
)  # fmt: skip


def find_instruments(
    shape: FeatureShape,
    size_mm: float,
    largest_u_mm: float,
    instruments: Sequence[Instrument] = COMMON_INSTRUMENTS,
) -> tuple[Instrument, ...]:
    """Ways to measure a feature with at most this expanded uncertainty, the plainest (least exact) first.

    Args:
        shape: what is measured.
        size_mm: its size, zero or more.
        largest_u_mm: expanded uncertainty that is allowed, above zero.
        instruments: what the shop can turn to.

    Raises:
        ValueError: a size below zero or an uncertainty not above zero.

    Source: common practice (no source).

    >>> [way.name for way in find_instruments(FeatureShape.OUTSIDE, 112.4, 0.0125)]
    ['outside micrometer', 'ring or snap gauge', 'coordinate measuring machine']
    """
    size = check_number(size_mm, "size", least=0)
    allowed = check_number(largest_u_mm, "allowed uncertainty", above=0)
    fitting = [
        way
        for way in instruments
        if shape in way.shapes and way.smallest_mm <= size <= way.largest_mm and way.compute_u(size) <= allowed
    ]
    return tuple(sorted(fitting, key=lambda way: (-round(way.compute_u(size), 9), way.name)))
