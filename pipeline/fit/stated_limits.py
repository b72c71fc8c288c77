"""Limits that a drawing states by a class: a fit (H7), a general tolerance (ISO 2768-m), a casting grade (DCTG 6)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.fit.castings import find_casting_tolerance
from pipeline.fit.general_tolerances import find_linear_tolerance
from pipeline.fit.iso286 import compute_limits
from pipeline.model.part import Feature, Part
from pipeline.model.quantity import LENGTH_UNITS, Limits
from pipeline.model.words import FeatureKind

_FIT = re.compile(r"[A-Za-z]{1,2}\d{1,2}\Z")
_GENERAL = re.compile(r"ISO\s*2768(?:-1)?\s*-\s*([fmcv])[HKL]?\Z")
_CASTING = re.compile(r"(?:ISO\s*8062(?:-3)?\s*[-,]?\s*)?DCTG\s*(\d{1,2})\Z")
_LINEAR = frozenset({FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS})
_FIT_SOURCE = "ISO 286-1:2010 tables 1 to 5"


@dataclass(frozen=True, slots=True)
class ClassLimits:
    """What a class gives a feature: deviations in the unit of the feature, in words, and the table they stand in."""

    limits: Limits
    words: str
    source: str


def is_class(text: str) -> bool:
    """True when a text reads as a class that is known here.

    Example:
        >>> [is_class(one) for one in ("H7", "ISO 2768-m", "DCTG 6", "as the drawing says")]
        [True, True, True, False]
    """
    found = text.strip()
    return any(pattern.match(found) for pattern in (_FIT, _GENERAL, _CASTING))


def compute_class_limits(feature: Feature) -> ClassLimits:
    """Return the limits that the class of a feature gives.

    feature : a size, distance or thickness in a unit of length, its class in `tolerance`: an ISO 286 class (a capital
    letter for a hole), `ISO 2768-f`, `-m`, `-c` or `-v`, or `DCTG 1` to `DCTG 16` (half of the total on each side).

    Raises ValueError in words where the class is not known here, does not go with the feature, or its table has no
    value at that size. Sizes in inches are looked up in millimetres (1 in = 25.4 mm) and given back in inches.

    Source: ISO 286-1:2010 tables 1 to 5; ISO 2768-1:1989 table 1; ISO 8062-3:2007 table 2.

    Example:
        >>> bore = Feature(what="bore", kind=FeatureKind.SIZE, nominal=14.0, unit="mm", tolerance="H7")
        >>> found = compute_class_limits(bore)
        >>> found.limits.lower, found.limits.upper, found.words
        (0.0, 0.018, '14 H7: +0 to +18 µm')
    """
    text = (feature.tolerance or "").strip()
    if not is_class(text):
        raise ValueError(f'"{text}" is no class known here: write H7, ISO 2768-m or DCTG 6, or the limits themselves')
    factor = LENGTH_UNITS.get(feature.unit)
    if feature.kind not in _LINEAR or factor is None:
        raise ValueError(f"{text} is for sizes and distances in a unit of length, not for {feature.kind}; state limits")
    lower, upper, words, source = _find_deviations(feature, text, abs(feature.nominal) * factor)
    limits = Limits(lower=round(lower / factor, 7), upper=round(upper / factor, 7))
    return ClassLimits(limits, words, source)


def _find_deviations(feature: Feature, text: str, size_mm: float) -> tuple[float, float, str, str]:
    """Return lower and upper deviation in mm, the words, and the source."""
    general, casting = _GENERAL.match(text), _CASTING.match(text)
    if general is not None:
        found = find_linear_tolerance(size_mm, general.group(1))
        words = f"ISO 2768-{general.group(1)} at {size_mm:g} mm: ± {found.plus_minus:g} mm"
        return -found.plus_minus, found.plus_minus, words, str(found.source)
    if casting is not None:
        grade = find_casting_tolerance(size_mm, int(casting.group(1)))
        words = f"DCTG {casting.group(1)} at {size_mm:g} mm: {grade.total_mm:g} mm in all, half on each side"
        return -grade.plus_minus_mm, grade.plus_minus_mm, words, str(grade.source)
    sized = compute_limits(size_mm, text)
    if (feature.shape, sized.is_hole) in (("hole", False), ("shaft", True)):
        letter = "a capital letter is for holes" if sized.is_hole else "a small letter is for shafts"
        raise ValueError(f"{text} does not go with a {feature.shape}: {letter}")
    words = f"{size_mm:g} {text}: {sized.lower_um:+g} to {sized.upper_um:+g} µm"
    return sized.lower_mm, sized.upper_mm, words, _FIT_SOURCE


def resolve_part(part: Part) -> Part:
    """Return a part whose features have the limits that their classes give, where they state none themselves.

    A class that gives none leaves its feature without limits; a rule tells it.

    Source: the tables of `compute_class_limits`.

    Example:
        >>> resolve_part(Part.model_construct(features={})).features
        {}
    """
    if all(feature.tolerance is None or feature.limits is not None for feature in part.features.values()):
        return part
    features = {key: _resolve(feature) for key, feature in part.features.items()}
    return part.model_copy(update={"features": features})


def _resolve(feature: Feature) -> Feature:
    if feature.tolerance is None or feature.limits is not None:
        return feature
    try:
        return feature.model_copy(update={"limits": compute_class_limits(feature).limits})
    except ValueError:
        return feature


def find_class_fault(feature: Feature) -> tuple[bool, str] | None:
    """Return what is wrong with the class of a feature: (it gives no limits at all, why); None where nothing is.

    A text that reads as no class and stands beside limits is the drawing's own note and is let alone.

    Example:
        >>> bore = Feature(what="bore", kind=FeatureKind.SIZE, nominal=501.0, unit="mm", tolerance="H7")
        >>> find_class_fault(bore)
        (True, '501 mm is outside the table; it covers sizes above 0 and up to 500 mm')
    """
    if feature.tolerance is None or (feature.limits is not None and not is_class(feature.tolerance)):
        return None
    try:
        given = compute_class_limits(feature)
    except ValueError as error:
        return (True, str(error)) if feature.limits is None else None
    if feature.limits is None or _are_close(feature.limits, given.limits):
        return None
    stated = f"[{feature.limits.lower}, {feature.limits.upper}]"
    return False, f"the limits {stated} {feature.unit} are not those of {given.words}"


def _are_close(stated: Limits, given: Limits) -> bool:
    pairs = ((stated.lower, given.lower), (stated.upper, given.upper))
    return all(a is not None and b is not None and abs(a - b) <= 5e-5 for a, b in pairs)


def describe_class(feature: Feature) -> ClassLimits | None:
    """Return what the class of a feature gives, where its limits are those; None where they come from elsewhere.

    Source: the tables of `compute_class_limits`.

    Example:
        >>> describe_class(Feature(what="bore", kind=FeatureKind.SIZE, nominal=14.0, unit="mm")) is None
        True
    """
    if feature.tolerance is None or feature.limits is None or not is_class(feature.tolerance):
        return None
    try:
        given = compute_class_limits(feature)
    except ValueError:
        return None
    return given if _are_close(feature.limits, given.limits) else None
