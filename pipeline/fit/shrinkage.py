"""From part to cavity and back: mould scale with its spread, and what a wrong shrinkage costs in each dimension."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

MOST_SHRINKAGE = 0.2
"""More than 20 % linear shrinkage is a slip of the decimal point in every process that this project knows."""


class FormedBy(StrEnum):
    """Which side of the tool makes a feature; it decides which way a correction goes in the steel."""

    CAVITY = "cavity"
    CORE = "core"


class SteelMove(StrEnum):
    """What a correction does to the tool."""

    NONE = "none"
    METAL_OFF = "take metal off the tool"
    METAL_ON = "add metal to the tool (weld or insert)"


@dataclass(frozen=True)
class Shrinkage:
    """Linear shrinkage as a share of the cavity, least, likely and greatest (0.005 is 0.5 %).

    Example:
        >>> Shrinkage(0.005, 0.006, 0.004)
        Traceback (most recent call last):
        ...
        ValueError: the shrinkages 0.005, 0.006, 0.004 are not in order; write low, likely, high
    """

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        for value in (self.low, self.likely, self.high):
            _refuse_impossible_shrinkage(value)
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"the shrinkages {self.low:g}, {self.likely:g}, {self.high:g} are not in order; write low, likely, high"
            )


@dataclass(frozen=True)
class CavitySize:
    """Cavity dimensions in mm for the least, likely and greatest shrinkage, and the mould scale at the likely one.

    `part_low_mm` and `part_high_mm` are what parts come to when the cavity is cut for the likely shrinkage and the
    greatest or the least one comes true.
    """

    low_mm: float
    likely_mm: float
    high_mm: float
    scale: float
    part_low_mm: float
    part_high_mm: float


@dataclass(frozen=True)
class ShrinkageReading:
    """One feature measured on the part and in the cavity: sizes and expanded uncertainties (k = 2) in mm."""

    feature: str
    cavity_mm: float
    part_mm: float
    part_uncertainty_mm: float
    cavity_uncertainty_mm: float = 0.0
    formed_by: FormedBy = FormedBy.CAVITY


@dataclass(frozen=True)
class MeasuredShrinkage:
    """Measured linear shrinkage and its expanded uncertainty, both as shares (k as that of the readings)."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class FeatureShrinkage:
    """What a reading says of one feature.

    `error_mm` is the part as it is less the part that was meant (above 0: too large). `new_cavity_mm` is the cavity
    that would give the part that was meant at the shrinkage measured on this feature.
    """

    feature: str
    measured: MeasuredShrinkage
    differs: bool
    meant_mm: float
    error_mm: float
    new_cavity_mm: float
    move: SteelMove


@dataclass(frozen=True)
class ShrinkageCheck:
    """Measured shrinkage against the one that the tool was cut for.

    `mean` is weighted by the uncertainties. `differs` says that it is beyond its uncertainty from the assumed one,
    `is_even` that one figure fits all features; where it does not, the flow, the wall or a hot spot differs and each
    feature needs its own figure.
    """

    assumed: float
    mean: MeasuredShrinkage
    differs: bool
    is_even: bool
    features: tuple[FeatureShrinkage, ...]
    words: tuple[str, ...]


def compute_mould_scale(shrinkage: float) -> float:
    """Return the factor from part to cavity, `1 / (1 - s)`.

    Not `1 + s`: shrinkage is counted from the cavity. At 2 % and 100 mm the two differ by 0.041 mm.

    Args:
        shrinkage: linear shrinkage as a share of the cavity, -0.2 to 0.2 (below 0: the part grows).

    Errors:
        ValueError: a shrinkage outside that range; a percentage was probably written as a whole number.

    Source: ISO 294-4 (shrinkage is counted on the mould; its definition seen in a glossary).

    Example:
        >>> round(100 * compute_mould_scale(0.02), 4)
        102.0408
    """
    _refuse_impossible_shrinkage(shrinkage)
    return 1 / (1 - shrinkage)


def _refuse_impossible_shrinkage(shrinkage: float) -> None:
    if not -MOST_SHRINKAGE <= shrinkage <= MOST_SHRINKAGE:
        raise ValueError(
            f"a linear shrinkage of {shrinkage:g} is impossible; write it as a share, e.g. 0.005 for 0.5 %"
        )


def compute_cavity_size(part_mm: float, shrinkage: Shrinkage) -> CavitySize:
    """Return the cavity for a part over the range of its shrinkage, and the parts that the likely cavity may give.

    Args:
        part_mm: size wanted on the part in mm, above 0.
        shrinkage: least, likely and greatest linear shrinkage as shares.

    Errors:
        ValueError: a size that is not above 0.

    Source: ISO 294-4, as `compute_mould_scale`.

    Example:
        >>> size = compute_cavity_size(100.0, Shrinkage(0.004, 0.005, 0.007))
        >>> round(size.likely_mm, 3), round(size.part_low_mm, 3), round(size.part_high_mm, 3)
        (100.503, 99.799, 100.101)
    """
    _refuse_impossible_size(part_mm, "part")
    low, likely, high = (part_mm * compute_mould_scale(s) for s in (shrinkage.low, shrinkage.likely, shrinkage.high))
    scale = compute_mould_scale(shrinkage.likely)
    return CavitySize(low, likely, high, scale, likely * (1 - shrinkage.high), likely * (1 - shrinkage.low))


def _refuse_impossible_size(size_mm: float, what: str) -> None:
    if not (size_mm > 0 and math.isfinite(size_mm)):
        raise ValueError(f"a {what} of {size_mm:g} mm is impossible; write a size above 0")


def compute_measured_shrinkage(
    cavity_mm: float, part_mm: float, part_uncertainty_mm: float, cavity_uncertainty_mm: float = 0.0
) -> MeasuredShrinkage:
    """Return the linear shrinkage `1 - part / cavity` with its uncertainty.

    Args:
        cavity_mm, part_mm: the same feature in the tool and on the part, in mm at 20 °C, above 0.
        part_uncertainty_mm, cavity_uncertainty_mm: their uncertainties in mm, both at one coverage factor, 0 or more.

    Errors:
        ValueError: a size that is not above 0, a negative uncertainty, or sizes too far apart to be one feature.

    Source: ISO 294-4 for the quotient; JCGM 100:2008 5.1.2 for its uncertainty.

    Example:
        >>> measured = compute_measured_shrinkage(100.5, 100.0, 0.02)
        >>> round(measured.value, 6), round(measured.uncertainty, 6)
        (0.004975, 0.000199)
    """
    _refuse_impossible_size(cavity_mm, "cavity")
    _refuse_impossible_size(part_mm, "part")
    if not (part_uncertainty_mm >= 0 and cavity_uncertainty_mm >= 0):
        raise ValueError("an uncertainty below 0 is impossible; write 0 or more")
    ratio = part_mm / cavity_mm
    if not abs(1 - ratio) <= MOST_SHRINKAGE:
        raise ValueError(f"{part_mm:g} mm in a cavity of {cavity_mm:g} mm is no shrinkage; are both the same feature?")
    uncertainty = math.hypot(part_uncertainty_mm, ratio * cavity_uncertainty_mm) / cavity_mm
    return MeasuredShrinkage(1 - ratio, uncertainty)


def check_shrinkage(assumed: float, readings: Sequence[ShrinkageReading]) -> ShrinkageCheck:
    """Return whether measured shrinkage differs from the one assumed, and what that means in each dimension.

    A feature differs where its measured shrinkage is further from the assumed one than its uncertainty. The mean is
    weighted by the uncertainties, and the features are called uneven where one is further from the mean than the two
    uncertainties together allow.

    Args:
        assumed: linear shrinkage that the tool was cut for, as a share.
        readings: one or more features with sizes and expanded uncertainties in mm; every part uncertainty above 0.

    Errors:
        ValueError: no readings, a feature without uncertainty, or what `compute_measured_shrinkage` refuses.

    Source: ISO 294-4 for the shrinkage; weighted mean of textbooks; the comparison is the E_n score of ISO 13528
        against a value without uncertainty.

    Example:
        >>> check = check_shrinkage(0.005, [ShrinkageReading("width", 100.503, 99.85, 0.02)])
        >>> check.differs, round(check.features[0].error_mm, 2), check.features[0].move.value
        (True, -0.15, 'take metal off the tool')
    """
    _refuse_impossible_shrinkage(assumed)
    if not readings:
        raise ValueError("no measured feature; measure at least one in the cavity and on the part")
    features = tuple(_check_feature(assumed, reading) for reading in readings)
    mean = _compute_weighted_mean([feature.measured for feature in features])
    differs = abs(mean.value - assumed) > mean.uncertainty
    is_even = all(
        abs(feature.measured.value - mean.value) <= math.hypot(feature.measured.uncertainty, mean.uncertainty) + 1e-12
        for feature in features
    )
    words = _describe_check(assumed, mean, differs, is_even, features)
    return ShrinkageCheck(assumed, mean, differs, is_even, features, words)


def _check_feature(assumed: float, reading: ShrinkageReading) -> FeatureShrinkage:
    if not reading.part_uncertainty_mm > 0:
        raise ValueError(f"{reading.feature} has no uncertainty; state it, for without one every figure differs")
    measured = compute_measured_shrinkage(
        reading.cavity_mm, reading.part_mm, reading.part_uncertainty_mm, reading.cavity_uncertainty_mm
    )
    meant = reading.cavity_mm * (1 - assumed)
    differs = abs(measured.value - assumed) > measured.uncertainty
    error = reading.part_mm - meant
    move = _find_move(error, reading.formed_by) if differs else SteelMove.NONE
    new_cavity = meant * compute_mould_scale(measured.value)
    return FeatureShrinkage(reading.feature, measured, differs, meant, error, new_cavity, move)


def _find_move(error_mm: float, formed_by: FormedBy) -> SteelMove:
    """A cavity that has to grow loses metal, a core that has to grow gains it."""
    has_to_grow = error_mm < 0
    return SteelMove.METAL_OFF if has_to_grow is (formed_by is FormedBy.CAVITY) else SteelMove.METAL_ON


def _compute_weighted_mean(measured: Sequence[MeasuredShrinkage]) -> MeasuredShrinkage:
    weights = [1 / item.uncertainty**2 for item in measured]
    total = math.fsum(weights)
    value = math.fsum(weight * item.value for weight, item in zip(weights, measured, strict=True)) / total
    return MeasuredShrinkage(value, 1 / math.sqrt(total))


def _describe_check(
    assumed: float, mean: MeasuredShrinkage, differs: bool, is_even: bool, features: Sequence[FeatureShrinkage]
) -> tuple[str, ...]:
    verdict = "differs from" if differs else "agrees with"
    lines = [
        f"Measured shrinkage {100 * mean.value:.2f} % ± {100 * mean.uncertainty:.2f} % {verdict} "
        f"the {100 * assumed:.2f} % that the tool was cut for."
    ]
    lines.extend(
        f"{feature.feature}: {abs(feature.error_mm):.3f} mm too {'large' if feature.error_mm > 0 else 'small'}; "
        f"to correct it, {feature.move}."
        for feature in features
        if feature.differs
    )
    if not is_even:
        lines.append("The features do not share one shrinkage: correct each by its own figure, not by one scale.")
    return tuple(lines)
