"""A hardness read in another scale than the feature's: converted inside the published table, and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.model.part import Feature, Reading
from pipeline.model.words import FeatureKind

SCALES = frozenset({"HRC", "HV", "HBW", "HRA"})
"""Scales that the table holds, as records write them."""


@dataclass(frozen=True, slots=True)
class ConvertedHardness:
    """A reading in the scale of its feature (one decimal, which is more than a conversion is worth), and how."""

    reading: Reading
    words: str
    caution: str


def is_other_scale(reading: Reading, feature: Feature) -> bool:
    """True for a hardness that was read in another scale of the table than the feature's."""
    unit = reading.unit or feature.unit
    return feature.kind is FeatureKind.HARDNESS and unit != feature.unit and {unit, feature.unit} <= SCALES


def convert_hardness_reading(reading: Reading, feature: Feature) -> ConvertedHardness:
    """Return a reading in the scale of its feature; its U goes along by the slope of the table at the value.

    Raises ValueError where the table does not hold the value: nothing is reckoned outside of it.

    Source: ASTM A370-03a table 2, as ASTM E140 table 1 (see `pipeline.measuring.hardness`).
    """
    from pipeline.measuring.hardness import HardnessScale, convert_hardness  # numbers are for those who need them

    given, wanted = HardnessScale(str(reading.unit)), HardnessScale(feature.unit)

    def convert(value: float) -> float:
        return convert_hardness(value, given, wanted).value

    found = convert_hardness(reading.value, given, wanted)
    values = tuple(round(convert(one), 1) for one in reading.readings)
    u = None if reading.u is None else _convert_spread(convert, reading.value, reading.u)
    converted = reading.model_copy(
        update={"value": round(found.value, 1), "readings": values, "u": u, "unit": feature.unit}
    )
    words = f"{reading.value:g} {reading.unit} converted to {found.value:.1f} {feature.unit} by {found.method}"
    return ConvertedHardness(converted, f"{words}, {found.source}", found.caution)


def _convert_spread(convert: Callable[[float], float], value: float, u: float) -> float | None:
    """Return U in the other scale, from both sides of the value or from the one that the table holds."""
    ends = []
    for end in (value - u, value + u):
        try:
            ends.append((end, convert(end)))
        except ValueError:
            ends.append((value, convert(value)))
    (low, first), (high, last) = ends
    return None if high == low else u * abs(last - first) / (high - low)
