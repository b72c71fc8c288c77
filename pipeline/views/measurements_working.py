"""The working behind each figure of what was measured: formula with its numbers, inputs with their source."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.fit.stated_limits import describe_class
from pipeline.measuring.nominal import KeptOriginal
from pipeline.model.part import Feature
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.portfolio.fits import FitKind
from pipeline.portfolio.measurements import FeatureMeasured, MeasuredValue, convert_reading
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_method_page
from pipeline.views.shapes_marks import Line, Link, Run, Working, WorkingInput, build_line
from pipeline.views.wording import count_decimals, word_count, word_number, word_share, word_unit

METHOD = Link("Readings and limits", find_method_page("readings"))
_OWN_SIZE = re.compile(r" \((?:in steel it would be )?[-+]?[\d.]+ mm\)$")
"""What a note says of one feature alone: the rest of it is said once for all features of a measurement."""
_FORM_SOURCES = {
    FitKind.CIRCLE: "ISO 12181-1 (reference circle, roundness); W. Gander, G. Golub, R. Strebel, BIT 34 (1994)",
    FitKind.CYLINDER: "ISO 12180-1 (cylindricity); A. Forbes, least-squares best-fit geometric elements (NPL, 1991)",
    FitKind.RUNOUT: "ISO 1101 (circular run-out); first harmonic by least squares",
}


def count_places(feature: Feature, values: Sequence[float]) -> int:
    """Return the decimals at which a feature is written: those of its nominal, limits and values, four at most."""
    numbers = [feature.nominal, *values]
    if feature.limits is not None:
        numbers += [edge for edge in (feature.limits.lower, feature.limits.upper) if edge is not None]
    return min(max(count_decimals(round(number, 4)) for number in numbers), 4)


def count_recorded_places(one: FeatureMeasured) -> int:
    """Return the decimals of a feature as its readings were written: what was brought to 20 degrees has no more."""
    return count_places(one.feature, [convert_reading(value.recorded, one.feature) for value in one.values])


def word_value(value: float, expanded: float | None, places: int) -> str:
    """Return a value with its expanded uncertainty, two figures of it at least.

    >>> word_value(112.36, 0.0603, 2), word_value(40.0, None, 0)
    ('112.36 ± 0.060', '40, uncertainty not known')
    """
    shown = word_number(value, places)
    if expanded is None:
        return f"{shown}, uncertainty not known"
    return f"{shown} ± {word_number(expanded, _count_spread_places(expanded, places))}"


def _count_spread_places(expanded: float, places: int) -> int:
    """Decimals that show two figures of an uncertainty."""
    needed = next((count for count in range(7) if expanded >= 10.0 ** (1 - count)), 6)
    return max(needed, min(places, needed + 1))


def word_chance(share: float) -> str:
    """Return a chance that never reads as certain.

    >>> word_chance(0.99999), word_chance(0.16), word_chance(0.0)
    ('over 99.9 %', '16 %', 'under 0.1 %')
    """
    return "over 99.9 %" if share > 0.999 else word_share(max(share, 1e-9))


def build_plot_working(found: Sequence[FeatureMeasured]) -> Working:
    """Make the working of a plot of all features of one unit."""
    formula = []
    for one in found:
        places = count_recorded_places(one)
        nominal = word_number(one.feature.nominal, places)
        away = [
            f"{value.original} {word_number(value.value, places)} − {nominal} = "
            f"{word_number(value.value - one.feature.nominal, places, signed=True)}"
            for value in one.values
        ]
        formula.append(f"{one.key}, {word_unit(one.feature.unit) or 'as counted'}: {'; '.join(away)}")
    return Working(
        tuple(formula),
        (),
        "JCGM 100:2008 for the uncertainty that each bar shows; its budget stands with the verdicts",
        "A bar is the expanded uncertainty (k = 2 for many degrees of freedom); without a bar none is known.",
        METHOD,
    )


def build_verdict_working(file: PartFile, anchors: Anchors, found: Sequence[FeatureMeasured]) -> Working:
    """Make the working of the verdicts: the budget of each reading, the guard band and the zone it leaves."""
    formula: list[str] = []
    inputs: list[WorkingInput] = []
    for one in found:
        given = describe_class(one.feature)
        formula += [] if given is None else [f"{one.key}: limits by their class: {given.words} ({given.source})"]
        formula += _word_corrections(one)
        formula += _word_budgets(one, file.workspace.catalogues.money.guard_factor)
        inputs += _list_budget_rows(one)
    inputs += _list_measurements(file, anchors, found)
    return Working(
        tuple(formula),
        tuple(inputs),
        "uncertainty: JCGM 100:2008 (GUM), k for 95.45 % by effective degrees of freedom (table G.2); decision: ISO "
        "14253-1:2017, guard band of 1.645 u; chance inside: JCGM 106:2012, 7",
        "A chance holds for its reading alone. What is not recorded is named with the measurement, not guessed.",
        METHOD,
    )


def _word_corrections(one: FeatureMeasured) -> list[str]:
    """Return the arithmetic that brought a feature's readings to 20 degrees, one line for each measurement."""
    factor = LENGTH_UNITS.get(one.feature.unit, 1.0)
    lines = []
    for value in one.values:
        if value.warmth is None or not value.correction_mm:
            continue
        size = value.value * factor - value.correction_mm
        lines.append(
            f"{one.key} ({value.measurement}): to 20 °C (ISO 1): {size:.6g} mm × {value.warmth.likely:g}e-6/K × "
            f"(20 − {value.warmth.celsius:g}) K = {value.correction_mm:+.4f} mm"
        )
    return lines


def _word_budgets(one: FeatureMeasured, guard: float) -> list[str]:
    """Return the arithmetic of a feature's readings; readings with one budget share one line."""
    together: dict[str, list[str]] = {}
    for value in one.values:
        together.setdefault(_word_budget(one, value, guard), []).append(value.measurement)
    return [f"{one.key} ({', '.join(names)}): {words}" for words, names in together.items()]


def _word_budget(one: FeatureMeasured, value: MeasuredValue, guard: float) -> str:
    if value.budget is None or value.expanded is None:
        return f"the uncertainty is not known: {'; '.join(value.notes)}"
    factor = LENGTH_UNITS.get(one.feature.unit, 1.0)
    rows = " + ".join(f"{row.contribution / factor:.3g}²" for row in value.budget.rows)
    unit, u, k = word_unit(one.feature.unit), value.budget.combined / factor, value.budget.coverage_factor
    words = f"u = √({rows}) = {u:.3g}; U = {k:.2f} × {u:.3g} = {value.expanded:.3g} {unit}"
    if value.verdict is None:
        return f"{words}; {value.no_verdict}"
    places = count_recorded_places(one) + 2
    zone = "nothing is left" if value.verdict.acceptance is None else _word_zone(value.verdict.acceptance, places)
    return f"{words}; guard band {guard:g} U = {value.verdict.guard_band:.3g}; conforms {zone} {unit}"


def _word_zone(edges: tuple[float | None, float | None], places: int) -> str:
    low, high = (None if edge is None else word_number(edge, places) for edge in edges)
    if low is None:
        return f"up to {high}"
    return f"from {low}" if high is None else f"from {low} to {high}"


def _list_budget_rows(one: FeatureMeasured) -> list[WorkingInput]:
    """Return the rows of a feature's budgets, equal ones once."""
    seen: dict[tuple[str, str, str], list[str]] = {}
    for value in one.values:
        for row in () if value.budget is None else value.budget.rows:
            part = row.component
            shown = f"{part.value:.4g} ({part.distribution}), {word_share(row.share)} of the variance"
            seen.setdefault((part.name, shown, part.basis), []).append(value.measurement)
    return [
        WorkingInput(f"{one.key}: {name}", shown, build_line(f"{', '.join(names)}: {basis}"))
        for (name, shown, basis), names in seen.items()
    ]


def _list_measurements(file: PartFile, anchors: Anchors, found: Sequence[FeatureMeasured]) -> list[WorkingInput]:
    """Return each measurement once: who, when, at which temperature, with what, its file, what it leaves out."""
    left: dict[str, dict[str, None]] = {}
    for one in found:
        for value in one.values:
            left.setdefault(value.measurement, {}).update(
                dict.fromkeys(_OWN_SIZE.sub("", note) for note in value.notes)
            )
    inputs = []
    for name, notes in left.items():
        measurement = file.part.measurements[name]
        node = f"measurements.{name}"
        source: Line = (
            Run(f"{measurement.by}, {measurement.on}, {measurement.at.celsius:.1f} °C, {measurement.with_}"),
        )
        instrument = file.workspace.catalogues.resources.instruments.get(measurement.with_)
        if instrument is not None:
            source = (*source, Run(f" (calibrated {instrument.calibrated}, due {instrument.due})"))
        if anchors.has(node):
            source = (*source, Run("; "), Run("record", href=anchors.link(node)))
        if measurement.file is not None:
            shown_file = Run(measurement.file.rpartition("/")[2], href=anchors.link_copy(measurement.file))
            source = (*source, Run("; "), shown_file)
        shown = f"of {measurement.of}" + "".join(f"; {note}" for note in notes)
        inputs.append(WorkingInput(name, shown, source))
    return inputs


def build_nominals_working(file: PartFile, found: Sequence[FeatureMeasured]) -> Working:
    """Make the working of what the originals say of the nominals."""
    formula: list[str] = []
    inputs: list[WorkingInput] = []
    for one in found:
        formula += _word_estimate(one)
        inputs += _list_left_out(one)
    used = dict.fromkeys(kept.original for one in found if one.nominal.estimate for kept in one.nominal.estimate.kept)
    inputs += [
        WorkingInput(name, file.part.originals[name].condition, build_line(file.part.originals[name].from_))
        for name in used
    ]
    return Working(
        tuple(formula),
        tuple(inputs),
        "Student bound of a mean; ISO 16269-6 tolerance interval; F. Grubbs, Technometrics 11 (1969) for the outlier; "
        "choice of originals and round sizes: common practice, no source",
        "A bound of a mean is no limit for a part: it says where the middle of all pieces lies.",
        METHOD,
    )


def _word_estimate(one: FeatureMeasured) -> list[str]:
    estimate = one.nominal.estimate
    if estimate is None or not estimate.kept or one.nominal.mean is None:
        return [f"{one.key}: {one.nominal.sentence}"]
    factor = LENGTH_UNITS.get(one.feature.unit, 1.0)
    shown = " + ".join(_word_kept(kept, factor) for kept in estimate.kept)
    words = f"{one.key}: mean = ({shown}) / {estimate.count} = {one.nominal.mean:.6g} {word_unit(one.feature.unit)}"
    if one.nominal.bound is not None and estimate.mean_u_mm is not None and estimate.dof is not None:
        words += f"; u of the mean {estimate.mean_u_mm / factor:.3g}, {estimate.dof:.3g} degrees of freedom"
    lines = [words]
    if estimate.population is not None and estimate.count > 2 and one.nominal.bound is not None:
        low, high = estimate.population.lower / factor, estimate.population.upper / factor
        share = word_share(estimate.population.coverage)
        lines.append(f"{one.key}: {share} of all pieces from {low:.5g} to {high:.5g}, 95 % sure, normal")
    if estimate.outlier is not None and one.nominal.bound is not None:
        g, critical = estimate.outlier.g, estimate.outlier.critical
        verdict = "an outlier: look at it again" if estimate.outlier.is_outlier else "no outlier"
        lines.append(f"{one.key}: farthest original G = {g:.2f}, critical {critical:.2f}: {verdict}")
    if one.feature.wear != "none":
        lines.append(
            f"{one.key}: wear {one.feature.wear} it: used parts count within √2 U of the least worn, new ones always"
        )
    return lines


def _word_kept(kept: KeptOriginal, factor: float) -> str:
    """Return one original's value; what its coating changed stands beside it."""
    value = f"{kept.value_mm / factor:.6g}"
    return value if not kept.correction_mm else f"{value} [coating {kept.correction_mm / factor:+.3g}]"


def _list_left_out(one: FeatureMeasured) -> list[WorkingInput]:
    return [
        WorkingInput(f"{one.key}: {left.original} left out", left.reason.value, build_line(left.sentence))
        for left in one.nominal.left_out
    ]


def build_files_working(pairs: Sequence[tuple[FeatureMeasured, MeasuredValue]]) -> Working:
    """Make the working of all values that files gave: estimators, scatter, what to mind."""
    estimators: dict[str, list[str]] = {}
    notes: dict[str, list[str]] = {}
    for one, value in pairs:
        read = value.file_value
        if read is None:
            continue
        name = f"{one.key} {value.measurement}"
        estimators.setdefault("mean of the readings" if read.fit is None else read.fit.method, []).append(name)
        for note in () if read.fit is None else read.fit.notes:
            notes.setdefault(note, []).append(name)
    formula = [f"{method}: {_shorten_names(names)}" for method, names in estimators.items()]
    formula += [f"{note}: {_shorten_names(names)}" for note, names in notes.items()]
    return Working(
        tuple(formula),
        (),
        "ISO 12181-1, 12781-1, 12180-1 (least-squares references), ISO 1101 (run-out); A. Forbes, least-squares "
        "best-fit geometric elements (NPL, 1991)",
        "A recorded value may lie from its file's value by the uncertainty of the reading; farther is a finding.",
        METHOD,
    )


def _shorten_names(names: list[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def build_fit_working(one: FeatureMeasured, value: MeasuredValue) -> Working | None:
    """Make the working of one fit."""
    read = value.file_value
    if read is None or read.fit is None:
        return None
    fit = read.fit
    formula = [f"{fit.how} = {read.value:.6g} {word_unit(one.feature.unit)}", f"estimator: {fit.method}"]
    if fit.form_mm is not None:
        formula.append(f"{fit.form_name} = {fit.form_mm:.4f} mm")
    if fit.harmonic is not None:
        formula.append(
            f"first harmonic {fit.harmonic.amplitude_mm:.4f} mm at {fit.harmonic.phase_deg:.0f}°; rest "
            f"{fit.harmonic.rest_mm:.4f} mm; total reading {fit.value:.4f} mm (they do not add)"
        )
    if read.scatter_u is not None:
        formula.append(f"u from the scatter of the points alone = {read.scatter_u:.3g} {word_unit(one.feature.unit)}")
    inputs = (
        WorkingInput("points", word_count(fit.count, "point"), build_line(f"unit of the file: {read.file_unit}")),
    )
    source = _FORM_SOURCES.get(fit.kind, "least squares of orthogonal distances; ISO 1101 for the form error")
    return Working(tuple(formula), inputs, source, "; ".join(fit.notes), METHOD)
