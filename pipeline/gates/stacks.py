"""The stack of an interface, from the record to the fit room."""

from __future__ import annotations

from pipeline.fit.contributors import Contributor, Distribution
from pipeline.fit.stack import StackResult, compute_stack
from pipeline.fit.stated_limits import compute_class_limits
from pipeline.model.part import Contributor as Link
from pipeline.model.part import Feature, Part
from pipeline.model.quantity import LENGTH_UNITS, Limits
from pipeline.model.words import FeatureKind

_SHAPES = {
    "normal": Distribution.NORMAL,
    "uniform": Distribution.UNIFORM,
    "triangular": Distribution.TRIANGULAR,
}


def build_contributors(part: Part, interface: str) -> tuple[list[Contributor], list[str]]:
    """Return the contributors of an interface in mm, and a sentence for each link that cannot be used."""
    contributors: list[Contributor] = []
    problems: list[str] = []
    for index, link in enumerate(part.interfaces[interface].stack):
        found = _build_one(part, link, part.interfaces[interface].gap.unit)
        if isinstance(found, str):
            problems.append(f"link {index + 1}: {found}")
        else:
            contributors.append(found)
    return contributors, problems


def _build_one(part: Part, link: Link, unit: str) -> Contributor | str:
    if link.name is not None and link.nominal is not None and link.limits is not None:
        return _make(link.name, link.nominal, link.limits, link.sign, link.shape, unit)
    if link.name is not None and link.nominal is not None:
        return _make_by_class(link.name, link.nominal, link, unit)
    name = link.feature or link.coating
    feature = part.features.get(name or "")
    if feature is None or name is None:
        return f"there is no feature {name}"
    if feature.limits is None:
        return f"{name} has no limits"
    sign = link.sign if link.coating is None else -abs(link.sign) * link.faces
    return _make(feature.what, feature.nominal, feature.limits, sign, link.shape, feature.unit)


def _make_by_class(name: str, nominal: float, link: Link, unit: str) -> Contributor | str:
    """Return a stated dimension whose limits its class gives: a bought-in pin `g6`, a bore of the vehicle `H8`."""
    stated = Feature(what=name, kind=FeatureKind.SIZE, nominal=nominal, unit=unit, tolerance=link.tolerance)
    try:
        found = compute_class_limits(stated)
    except ValueError as error:
        return f"{name}: {error}"
    return _make(f"{name} ({link.tolerance})", nominal, found.limits, link.sign, link.shape, unit)


def _make(name: str, nominal: float, limits: Limits, sign: float, shape: str, unit: str) -> Contributor | str:
    factor = LENGTH_UNITS.get(unit)
    if factor is None:
        return f"{name} is not a length ({unit})"
    if limits.lower is None or limits.upper is None:
        return f"{name} is limited on one side only"
    return Contributor(name, nominal * factor, limits.lower * factor, limits.upper * factor, sign, _SHAPES[shape])


def compute_interface(part: Part, interface: str) -> StackResult | str:
    """Return the stack result of an interface, or a sentence that says why there is none."""
    entry = part.interfaces[interface]
    if not entry.stack:
        return "no stack is recorded"
    factor = LENGTH_UNITS.get(entry.gap.unit)
    if factor is None:
        return f"the gap is not a length ({entry.gap.unit})"
    contributors, problems = build_contributors(part, interface)
    if problems:
        return "; ".join(problems)
    limits = entry.gap.limits
    try:
        return compute_stack(
            contributors,
            lower_limit_mm=None if limits.lower is None else limits.lower * factor,
            upper_limit_mm=None if limits.upper is None else limits.upper * factor,
        )
    except ValueError as error:
        return str(error)
