"""What `pipeline measure` prints: fits with uncertainty, verdict and ratio, as lines or as plain data."""

from __future__ import annotations

from typing import Any

from pipeline.model.part import Feature
from pipeline.portfolio.measure_file import FileFeature
from pipeline.reading.points import PointFile, ReadingFile
from pipeline.views.measurements_working import word_value
from pipeline.views.wording import count_decimals, with_unit, word_limits, word_number, word_unit


def render_file_features(content: PointFile | ReadingFile, found: tuple[FileFeature, ...]) -> list[str]:
    """Return the lines of one file."""
    if isinstance(content, PointFile):
        head = f"{content.path}: {content.count:,} points in {len(content.groups)} groups, {content.unit}"
    else:
        head = (
            f"{content.path}: {sum(map(len, content.readings.values()))} readings of {len(content.readings)} features"
        )
    lines = [head]
    for one in found:
        lines += ["", *_render_one(one)]
    return lines


def _render_one(one: FileFeature) -> list[str]:
    name = one.name or "points without a group"
    what = "" if one.feature is None else f": {one.feature.what}"
    if one.value is None:
        return [f"{name}{what}", f"  not measured: {one.problem}"]
    value = one.value
    places = 5 if one.unit == "in" else 4 if one.unit == "mm" else 2
    shown = with_unit(word_number(value.value, places), one.unit)
    lines = [f"{name}{what}", f"  {shown}  {value.how}"]
    if value.fit is not None:
        fit = value.fit
        lines.append(f"  {fit.method}, {fit.count} points" + _word_arc(fit.covered_deg))
        if fit.form_mm is not None:
            lines.append(f"  {fit.form_name} {fit.form_mm:.4f} mm")
        if fit.harmonic is not None:
            lines.append(
                f"  first harmonic {fit.harmonic.amplitude_mm:.4f} mm at {fit.harmonic.phase_deg:.0f}°, the rest "
                f"{fit.harmonic.rest_mm:.4f} mm peak to valley"
            )
        lines += [f"  note: {note}" for note in fit.notes]
    return [*lines, *_render_uncertainty(one), *_render_verdict(one)]


def _word_arc(covered: float | None) -> str:
    return "" if covered is None else f", {covered:.0f}° of the turn covered"


def _render_uncertainty(one: FileFeature) -> list[str]:
    if one.budget is None or one.expanded is None or one.value is None:
        if one.scatter_only is None:
            return ["  uncertainty not known: no spare point shows scatter, and no instrument is named (--with)"]
        alone = with_unit(f"{one.scatter_only:.2g}", one.unit)
        return [f"  scatter of the points alone ± {alone} (95 %); name the instrument with --with for the whole of it"]
    places = max(2, count_decimals(round(one.value.value, 4)))
    shown = with_unit(word_value(one.value.value, one.expanded, places), one.unit)
    lines = [f"  {shown}, k = {one.budget.coverage_factor:.2f}"]
    lines += [
        f"    {row.component.name}: {row.contribution:.4f} ({row.component.basis}), {100 * row.share:.0f} % of it"
        for row in one.budget.rows
    ]
    return lines


def _render_verdict(one: FileFeature) -> list[str]:
    if one.feature is None:
        return []
    lines = [f"  limits {_word_feature_limits(one.feature)}"] if one.feature.limits is not None else []
    if one.verdict is None:
        return [*lines, f"  no verdict: {one.no_verdict}"]
    if one.told:
        lines.append(f"  {one.told}")
    lines.append(f"  {one.verdict.sentence} {one.verdict.rule}.")
    return [*lines, f"  {one.ratio.sentence}"] if one.ratio is not None else lines


def _word_feature_limits(feature: Feature) -> str:
    places = max(map(count_decimals, [feature.nominal, *_list_edges(feature)]))
    limits = word_limits(feature.limits, places)
    return f"{word_number(feature.nominal, places)} {limits} {word_unit(feature.unit)}".rstrip()


def _list_edges(feature: Feature) -> list[float]:
    if feature.limits is None:
        return []
    return [edge for edge in (feature.limits.lower, feature.limits.upper) if edge is not None]


def build_report(content: PointFile | ReadingFile, found: tuple[FileFeature, ...], line: str) -> dict[str, Any]:
    """Return the same as plain data for a program."""
    return {
        "format": "repro-pipeline measure 1",
        "file": content.path,
        "unit": content.unit if isinstance(content, PointFile) else None,
        "features": [_build_one(one) for one in found],
        "entry": line,
    }


def _build_one(one: FileFeature) -> dict[str, Any]:
    if one.value is None:
        return {"feature": one.name, "problem": one.problem}
    fit = one.value.fit
    data: dict[str, Any] = {
        "feature": one.name,
        "value": one.value.value,
        "unit": one.unit,
        "how": one.value.how,
        "count": one.value.count,
        "scatter_u": one.value.scatter_u,
        "U": one.expanded,
        "k": None if one.budget is None else one.budget.coverage_factor,
    }
    if fit is not None:
        data |= {
            "fit": fit.kind.value,
            "method": fit.method,
            "form": fit.form_name or None,
            "form_mm": fit.form_mm,
            "covered_deg": fit.covered_deg,
            "notes": list(fit.notes),
        }
        if fit.harmonic is not None:
            data["first_harmonic_mm"] = fit.harmonic.amplitude_mm
            data["first_harmonic_deg"] = fit.harmonic.phase_deg
            data["rest_mm"] = fit.harmonic.rest_mm
    verdict = one.verdict
    data["verdict"] = None if verdict is None else verdict.outcome.value
    data["no_verdict"] = one.no_verdict or None
    if verdict is not None:
        data |= {"chance_inside": verdict.probability, "risk": verdict.risk, "guard_band": verdict.guard_band}
    data["ratio"] = None if one.ratio is None else one.ratio.ratio
    return data
