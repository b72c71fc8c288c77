"""Measurement uncertainty by the GUM: a budget whose every row can be shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import floor, hypot, inf, isinf, sqrt

import numpy.typing as npt

from pipeline.measuring.points import check_number
from pipeline.measuring.samples import check_share, compute_student_factor, summarise


class Distribution(StrEnum):
    """What a stated value means, and so what it is divided by."""

    STANDARD = "standard uncertainty"
    EXPANDED = "expanded uncertainty"
    RECTANGULAR = "rectangular, half width"
    TRIANGULAR = "triangular, half width"
    U_SHAPED = "U-shaped, half width"


DIVISORS = {
    Distribution.STANDARD: 1.0,
    Distribution.RECTANGULAR: sqrt(3.0),
    Distribution.TRIANGULAR: sqrt(6.0),
    Distribution.U_SHAPED: sqrt(2.0),
}


@dataclass(frozen=True, slots=True)
class Component:
    """One thing that makes a measurement uncertain.

    Attributes:
        name: in words.
        value: half width, standard or expanded uncertainty, in its own unit; zero or more.
        distribution: which of these it is.
        sensitivity: change of the result for a change of one unit of the value.
        dof: degrees of freedom; infinite where the value is taken as known.
        coverage_factor: k of an expanded uncertainty, e.g. 2 on a calibration certificate.
        basis: where the value comes from, e.g. "type A, 5 readings".
    """

    name: str
    value: float
    distribution: Distribution = Distribution.STANDARD
    sensitivity: float = 1.0
    dof: float = inf
    coverage_factor: float | None = None
    basis: str = ""

    @property
    def divisor(self) -> float:
        """What the value is divided by to give a standard uncertainty."""
        if self.distribution is not Distribution.EXPANDED:
            return DIVISORS[self.distribution]
        if self.coverage_factor is None:
            raise ValueError(f"{self.name}: an expanded uncertainty needs its coverage factor, e.g. 2")
        return check_number(self.coverage_factor, f"coverage factor of {self.name}", above=0)

    @property
    def standard(self) -> float:
        """Standard uncertainty in the component's own unit."""
        return self.value / self.divisor


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One row of a budget as a page shows it.

    Attributes:
        component: the input.
        standard: its standard uncertainty, own unit.
        contribution: |sensitivity| times standard, unit of the result.
        share: part of the combined variance, 0 to 1.
    """

    component: Component
    standard: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """An uncertainty budget.

    Attributes:
        method: how it was combined.
        rows: the components with what each gives.
        combined: combined standard uncertainty, unit of the result.
        dof_effective: Welch-Satterthwaite degrees of freedom.
        dof_used: the same truncated to a whole number (when so asked), infinite above a million.
        confidence: coverage probability of the expanded uncertainty.
        coverage_factor: k.
        expanded: k times the combined standard uncertainty.
    """

    method: str
    rows: tuple[BudgetRow, ...]
    combined: float
    dof_effective: float
    dof_used: float
    confidence: float
    coverage_factor: float
    expanded: float


@dataclass(frozen=True, slots=True)
class Temperature:
    """Temperature of a part while it was measured, and how it grows.

    Attributes:
        part_c: temperature of the part, degrees Celsius.
        half_width_c: it may be off by this much (rectangular).
        expansion_per_c: coefficient of linear expansion of the part per degree, e.g. 11.5e-6 for steel.
        expansion_half_width_per_c: that coefficient may be off by this much (rectangular).
        reference_c: reference temperature.
    """

    part_c: float
    half_width_c: float
    expansion_per_c: float
    expansion_half_width_per_c: float
    reference_c: float = 20.0


@dataclass(frozen=True, slots=True)
class MeasuredSize:
    """A size with its uncertainty.

    Attributes:
        value_mm: mean of the readings, corrected to the reference temperature.
        mean_mm: mean of the readings as taken.
        correction_mm: what was added for temperature.
        count: readings.
        budget: the uncertainty and its working.
    """

    value_mm: float
    mean_mm: float
    correction_mm: float
    count: int
    budget: Budget


def build_budget(components: Sequence[Component], confidence: float = 0.95, truncate: bool = True) -> Budget:
    """Combine components into a standard and an expanded uncertainty.

    The effective degrees of freedom are truncated to a whole number before the factor is looked up, as the guide does.
    The order matters: 16.64 gives k = 2.113, truncated to 16 it gives 2.120.

    Args:
        components: one or more, independent of each other.
        confidence: coverage probability, between 0 and 1.
        truncate: False to interpolate between whole degrees of freedom.

    Raises:
        ValueError: no components, a negative or not finite value, degrees of freedom not above zero, or nothing
            uncertain at all.

    Source: JCGM 100:2008, 5.1.2 (combination), G.4.1 (Welch-Satterthwaite, truncation), G.6.4.

    >>> parts = [Component("a", 0.25, dof=9), Component("b", 0.57, dof=4), Component("c", 0.82, dof=14)]
    >>> budget = build_budget(parts)
    >>> round(budget.combined, 2), budget.dof_used, round(budget.coverage_factor, 2), round(budget.expanded, 1)
    (1.03, 19.0, 2.09, 2.2)
    """
    check_share(confidence, "confidence")
    if not components:
        raise ValueError("the budget has no components; an uncertainty needs at least one")
    contributions = [_check_component(part) for part in components]
    combined = hypot(*contributions)
    if not combined > 0:
        raise ValueError("every component of the budget is zero; no measurement is without uncertainty")
    rows = tuple(
        BudgetRow(part, part.standard, size, (size / combined) ** 2)
        for part, size in zip(components, contributions, strict=True)
    )
    effective = compute_effective_dof(contributions, [part.dof for part in components])
    used = _truncate(effective) if truncate else effective
    factor = compute_student_factor(used, confidence)
    method = "GUM, root sum of squares" + (", degrees of freedom truncated" if truncate else "")
    return Budget(method, rows, combined, effective, used, confidence, factor, factor * combined)


def _check_component(part: Component) -> float:
    """Its contribution to the result."""
    check_number(part.value, f"value of {part.name}", least=0)
    check_number(part.sensitivity, f"sensitivity of {part.name}")
    if not part.dof > 0:
        raise ValueError(f"{part.name} has {part.dof} degrees of freedom; the count must be above zero")
    return abs(part.sensitivity) * part.standard


def compute_effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Welch-Satterthwaite effective degrees of freedom.

    Args:
        contributions: standard uncertainties in the unit of the result.
        dofs: degrees of freedom of each, may be infinite.

    Raises:
        ValueError: unequal counts.

    Source: JCGM 100:2008, equation (G.2b).

    >>> round(compute_effective_dof([0.25, 0.57, 0.82], [9, 4, 14]), 1)
    19.0
    """
    if len(contributions) != len(dofs):
        raise ValueError(f"{len(contributions)} contributions but {len(dofs)} degrees of freedom")
    combined = hypot(*contributions)
    if combined == 0:
        return inf
    below = sum((size / combined) ** 4 / dof for size, dof in zip(contributions, dofs, strict=True) if not isinf(dof))
    return inf if below == 0 else 1 / below


def _truncate(dof: float) -> float:
    """Whole degrees of freedom; a million is as good as endless.

    The guide's own example (G.4.1) comes to 18.999 and is read there as 19.0: no more than two decimals are ever known.
    """
    return inf if dof > 1e6 else float(max(floor(round(dof, 2)), 1))


def build_instrument_component(limit_mm: float, name: str = "instrument, maximum permissible error") -> Component:
    """Error limit of an arm or other instrument: anywhere inside it is equally likely.

    Args:
        limit_mm: half width, zero or more, as certified for the length measured.

    Source: JCGM 100:2008, 4.3.7 (rectangular, divisor root 3).

    >>> round(build_instrument_component(0.030).standard, 4)
    0.0173
    """
    return Component(name, limit_mm, Distribution.RECTANGULAR, basis="type B, error limit")


def compute_length_limit(constant_mm: float, length_mm: float, per_length: float) -> float:
    """Error limit of an instrument whose limit grows with length: constant + length / per_length.

    Args:
        constant_mm: limit at length zero, mm.
        length_mm: measured length, mm.
        per_length: length in mm over which the limit grows by one mm, e.g. 60000 for "L/60" in micrometres and mm.

    Raises:
        ValueError: a negative value or a `per_length` not above zero.

    Source: form of the statement in ISO 10360-12 (articulated arms): E = A + L / K.

    >>> compute_length_limit(0.020, 600, 60000)
    0.03
    """
    constant = check_number(constant_mm, "constant part of the limit", least=0)
    length = check_number(length_mm, "length", least=0)
    return constant + length / check_number(per_length, "length per unit of limit", above=0)


def build_repeat_component(readings: npt.ArrayLike, name: str = "repeatability") -> Component:
    """Scatter of repeated readings, as the standard uncertainty of their mean.

    Args:
        readings: two or more, mm.

    Raises:
        ValueError: fewer than two readings.

    Source: JCGM 100:2008, 4.2.3 (type A).

    >>> part = build_repeat_component([10.01, 10.03, 10.02])
    >>> round(part.standard, 5), part.dof
    (0.00577, 2)
    """
    sample = summarise(readings)
    if sample.sd is None or sample.mean_u is None:
        raise ValueError("one reading shows no scatter; measure again, or give the scatter of a repeat study")
    return Component(name, sample.mean_u, dof=sample.count - 1, basis=f"type A, {sample.count} readings")


def build_known_repeat_component(sd_mm: float, sd_dof: float, count: int, name: str = "repeatability") -> Component:
    """Scatter known from an earlier repeat study, for the mean of a few readings now.

    Args:
        sd_mm: standard deviation of one reading in that study.
        sd_dof: its degrees of freedom.
        count: readings averaged now, one or more.

    Raises:
        ValueError: out of range.

    Source: JCGM 100:2008, 4.2.4 (pooled estimate).

    >>> round(build_known_repeat_component(0.02, 20, 4).standard, 6)
    0.01
    """
    check_number(count, "count of readings", least=1)
    value = check_number(sd_mm, "standard deviation of the study", least=0) / sqrt(count)
    return Component(
        name, value, dof=sd_dof, basis=f"type A, study with {sd_dof:g} degrees of freedom, mean of {count}"
    )


def build_resolution_component(step_mm: float, name: str = "resolution") -> Component:
    """Last step of a display: half a step either way.

    Args:
        step_mm: the step.

    Source: JCGM 100:2008, F.2.2.1.

    >>> round(build_resolution_component(0.01).standard, 5)
    0.00289
    """
    return Component(name, step_mm / 2, Distribution.RECTANGULAR, basis="type B, display step")


def compute_temperature_correction(length_mm: float, temperature: Temperature) -> float:
    """What to add to a size measured warm so that it is the size at the reference temperature.

    Args:
        length_mm: the size as measured.
        temperature: of the part.

    Source: ISO 1 (20 degrees Celsius); -alpha L (T - T0), first order.

    >>> round(compute_temperature_correction(112.4, Temperature(25, 1, 23e-6, 2e-6)), 5)
    -0.01293
    """
    warm = check_number(temperature.part_c, "temperature") - temperature.reference_c
    return -check_number(temperature.expansion_per_c, "coefficient of expansion") * length_mm * warm


def build_temperature_components(length_mm: float, temperature: Temperature) -> tuple[Component, ...]:
    """Three rows for temperature: of the part, of its coefficient, and of the product of both.

    The third matters at 20 degrees, where the second vanishes although the coefficient is still not known.

    Args:
        length_mm: the size.
        temperature: of the part, with half widths.

    Raises:
        ValueError: a negative half width.

    Source: JCGM 100:2008, H.1.3 to H.1.7 (first and second order terms).

    >>> rows = build_temperature_components(100, Temperature(22, 1, 2e-5, 2e-6))
    >>> [round(abs(row.sensitivity) * row.standard, 6) for row in rows]
    [0.001155, 0.000231, 6.7e-05]
    """
    spread = check_number(temperature.half_width_c, "half width of the temperature", least=0)
    doubt = check_number(temperature.expansion_half_width_per_c, "half width of the coefficient", least=0)
    size = abs(check_number(length_mm, "length"))
    warm = temperature.part_c - temperature.reference_c
    flat = Distribution.RECTANGULAR
    return (
        Component("temperature of the part", spread, flat, size * temperature.expansion_per_c, basis="type B"),
        Component("coefficient of expansion", doubt, flat, size * abs(warm), basis="type B"),
        Component("both together (second order)", size * spread * doubt / 3, basis="type B, product of the two"),
    )


def measure_size(
    readings_mm: npt.ArrayLike,
    instrument_limit_mm: float,
    temperature: Temperature | None = None,
    resolution_mm: float = 0.0,
    study_sd: tuple[float, float] | None = None,
    confidence: float = 0.95,
) -> MeasuredSize:
    """A size from repeated readings, corrected to 20 degrees, with its budget.

    Args:
        readings_mm: one or more readings of the same size.
        instrument_limit_mm: error limit of the instrument for this length (half width).
        temperature: of the part; None leaves temperature out of account.
        resolution_mm: step of the display; zero leaves it out.
        study_sd: standard deviation of one reading and its degrees of freedom from an earlier study; needed for a
            single reading, and used instead of the scatter of the readings when given.
        confidence: coverage probability of the expanded uncertainty.

    Raises:
        ValueError: a single reading without a study, or a value out of range.

    Source: JCGM 100:2008; ISO 1.

    >>> size = measure_size([112.36, 112.38, 112.37], 0.03)
    >>> round(size.value_mm, 3), round(size.budget.combined, 4), round(size.budget.expanded, 3)
    (112.37, 0.0183, 0.036)
    """
    sample = summarise(readings_mm)
    if study_sd is None:
        parts = [build_repeat_component(readings_mm)]
    else:
        parts = [build_known_repeat_component(study_sd[0], study_sd[1], sample.count)]
    parts.append(build_instrument_component(instrument_limit_mm))
    if resolution_mm > 0:
        parts.append(build_resolution_component(resolution_mm))
    correction = 0.0
    if temperature is not None:
        correction = compute_temperature_correction(sample.mean, temperature)
        parts.extend(build_temperature_components(sample.mean, temperature))
    budget = build_budget(parts, confidence)
    return MeasuredSize(sample.mean + correction, sample.mean, correction, sample.count, budget)
