"""Gauge repeatability and reproducibility, by ranges and by analysis of variance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, hypot, sqrt

import numpy as np

from pipeline.measuring.distributions import compute_fisher_above
from pipeline.measuring.points import Floats, check_number, check_values
from pipeline.measuring.range_constants import (
    compute_range_factor,
    compute_range_limit,
    compute_single_range_factor,
)

CATEGORY_FACTOR = 1.41  # as printed in the reference manuals; the root of 2 would give a third of a percent more
STUDY_WIDTH = 6.0  # standard deviations across the tolerance


@dataclass(frozen=True, slots=True)
class StudyReading:
    """One reading of a study.

    Attributes:
        part: which part.
        appraiser: who measured.
        value: the reading.
    """

    part: str
    appraiser: str
    value: float


@dataclass(frozen=True, slots=True)
class AnovaRow:
    """One row of the analysis of variance.

    Attributes:
        source: in words.
        ss: sum of squares.
        dof: degrees of freedom.
        ms: mean square.
        f: ratio against the row's own error term, None for the last row.
        p: chance of such a ratio without an effect, None for the last row.
    """

    source: str
    ss: float
    dof: int
    ms: float
    f: float | None
    p: float | None


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """Result of a gauge study; spreads are standard deviations in the unit of the readings.

    Attributes:
        method: how it was computed, and what was done with the interaction.
        parts: parts measured.
        appraisers: people who measured.
        trials: readings of each part by each.
        repeatability: equipment variation EV.
        reproducibility: appraiser variation AV, interaction included where it was kept.
        interaction: interaction of part and appraiser, None where it was pooled or cannot be seen.
        gauge: both together, GRR.
        part_spread: part to part, PV.
        total: everything, TV.
        percent_study: share of the total spread in percent for EV, AV, GRR, PV (they do not add up).
        percent_variance: share of the total variance in percent, same order.
        percent_tolerance: GRR times six over the tolerance in percent, None without a tolerance.
        categories_raw: 1.41 PV / GRR; infinite when the gauge shows no spread.
        categories: the same rounded down, number of distinct categories, None when infinite.
        anova: table of the analysis, empty for the range method.
        ranges_out: part and appraiser whose range is above the control limit (range method).
    """

    method: str
    parts: int
    appraisers: int
    trials: int
    repeatability: float
    reproducibility: float
    interaction: float | None
    gauge: float
    part_spread: float
    total: float
    percent_study: tuple[float, float, float, float]
    percent_variance: tuple[float, float, float, float]
    percent_tolerance: float | None
    categories_raw: float
    categories: int | None
    anova: tuple[AnovaRow, ...] = ()
    ranges_out: tuple[tuple[str, str], ...] = ()


def arrange_study(readings: Sequence[StudyReading]) -> tuple[Floats, tuple[str, ...], tuple[str, ...]]:
    """Readings as an array (parts, appraisers, trials), names in order of first appearance.

    Args:
        readings: every part measured by every appraiser equally often.

    Raises:
        ValueError: fewer than two parts, a value that is not finite, or a part that somebody measured less often.

    Source: common practice (no source).

    >>> rows = [StudyReading(p, a, 1.0) for p in "12" for a in "AB" for _ in range(2)]
    >>> arrange_study(rows)[0].shape
    (2, 2, 2)
    """
    check_values([row.value for row in readings], "readings of the study", 1)
    parts = tuple(dict.fromkeys(row.part for row in readings))
    appraisers = tuple(dict.fromkeys(row.appraiser for row in readings))
    cells: dict[tuple[str, str], list[float]] = {(p, a): [] for p in parts for a in appraisers}
    for row in readings:
        cells[row.part, row.appraiser].append(row.value)
    trials = max(len(values) for values in cells.values())
    for (part, appraiser), values in cells.items():
        if len(values) != trials:
            raise ValueError(
                f"part {part}, appraiser {appraiser}: {len(values)} readings where others have {trials}; "
                "the study must be balanced"
            )
    table = np.array([[cells[p, a] for a in appraisers] for p in parts])
    _check_size(table)
    return table, parts, appraisers


def _check_size(table: Floats) -> None:
    parts, appraisers, trials = table.shape
    if parts < 2 or trials < 2:
        raise ValueError(
            f"{parts} parts, {appraisers} appraisers, {trials} readings each; at least two parts and two readings of "
            "each are needed to tell the gauge from the parts"
        )


def study_by_ranges(readings: Sequence[StudyReading], tolerance: float | None = None) -> GaugeStudy:
    """Average-and-range method. It cannot see an interaction of part and appraiser.

    Args:
        readings: balanced; see `arrange_study`.
        tolerance: whole width of the tolerance, for the share of it that the gauge uses up.

    Raises:
        ValueError: as `arrange_study`, or a tolerance not above zero.

    Source: average-and-range method of the automotive measurement systems analysis manuals; constants by integration.

    >>> rows = [StudyReading(p, a, v + s) for p, v in (("1", 0.0), ("2", 1.0)) for a in "AB" for s in (0.0, 0.1)]
    >>> round(study_by_ranges(rows).repeatability, 4)
    0.0886
    """
    table, part_names, appraiser_names = arrange_study(readings)
    parts, appraisers, trials = table.shape
    ranges = np.ptp(table, axis=2)
    average = float(ranges.mean())
    ev = average * compute_range_factor(trials)
    av = 0.0
    if appraisers > 1:
        spread = float(np.ptp(table.mean(axis=(0, 2)))) * compute_single_range_factor(appraisers)
        av = sqrt(max(spread**2 - ev**2 / (parts * trials), 0.0))
    pv = float(np.ptp(table.mean(axis=(1, 2)))) * compute_single_range_factor(parts)
    limit = average * compute_range_limit(trials)
    out = tuple((part_names[p], appraiser_names[a]) for p, a in np.argwhere(ranges > limit * (1 + 1e-12)).tolist())
    return _build("average and range (interaction not seen)", table, (ev, av, None, pv), tolerance, out=out)


def study_by_anova(
    readings: Sequence[StudyReading],
    tolerance: float | None = None,
    pool: bool | None = None,
    pool_above_p: float = 0.25,
) -> GaugeStudy:
    """Analysis-of-variance method, parts and appraisers random and crossed.

    Args:
        readings: balanced; see `arrange_study`.
        tolerance: whole width of the tolerance.
        pool: True puts the interaction into the repeatability, False keeps it, None decides by its p value.
        pool_above_p: pooled when the p value of the interaction is above this.

    Raises:
        ValueError: as `arrange_study`, or a tolerance not above zero.

    Source: analysis-of-variance method of the automotive measurement systems analysis manuals; two-way random model
    (textbook).

    >>> values = {"1": (0.0, 0.1, 0.05, 0.12), "2": (1.0, 1.1, 1.02, 1.15), "3": (2.0, 2.02, 2.1, 2.08)}
    >>> rows = [StudyReading(p, "AABB"[i], v) for p, four in values.items() for i, v in enumerate(four)]
    >>> study_by_anova(rows).categories
    23
    """
    table, _, _ = arrange_study(readings)
    parts, appraisers, trials = table.shape
    ss_part, ss_appraiser, ss_both, ss_rest = _find_squares(table)
    rows = _build_rows(table.shape, ss_part, ss_appraiser, ss_both, ss_rest)
    p_both = rows[2].p if appraisers > 1 else None
    is_pooled = appraisers == 1 or (pool if pool is not None else p_both is None or p_both > pool_above_p)
    dof_both, dof_rest = (parts - 1) * (appraisers - 1), parts * appraisers * (trials - 1)
    if is_pooled:
        error = (ss_rest + ss_both) / (dof_rest + dof_both)
        against, interaction = error, None
    else:
        error = ss_rest / dof_rest
        against = ss_both / dof_both
        interaction = sqrt(max((against - error) / trials, 0.0))
    ms_appraiser = ss_appraiser / (appraisers - 1) if appraisers > 1 else against
    av = sqrt(max((ms_appraiser - against) / (parts * trials), 0.0))
    pv = sqrt(max((ss_part / (parts - 1) - against) / (appraisers * trials), 0.0))
    words = "interaction pooled" if is_pooled else "interaction kept"
    return _build(f"analysis of variance ({words})", table, (sqrt(error), av, interaction, pv), tolerance, anova=rows)


def _find_squares(table: Floats) -> tuple[float, float, float, float]:
    """Sums of squares of part, appraiser, interaction and repeatability, each about its own means."""
    parts, appraisers, trials = table.shape
    moved = table - table.mean()
    cells = moved.mean(axis=2)
    by_part, by_appraiser = cells.mean(axis=1), cells.mean(axis=0)
    left = cells - by_part[:, None] - by_appraiser[None, :]
    return (
        float(appraisers * trials * by_part @ by_part),
        float(parts * trials * by_appraiser @ by_appraiser),
        float(trials * np.sum(left**2)),
        float(np.sum((moved - cells[:, :, None]) ** 2)),
    )


def _build_rows(
    shape: tuple[int, ...], ss_part: float, ss_appraiser: float, ss_both: float, ss_rest: float
) -> tuple[AnovaRow, ...]:
    """Table with the interaction kept; parts and appraisers are tested against it, as the random model asks."""
    parts, appraisers, trials = shape
    dof_rest = parts * appraisers * (trials - 1)
    rest = AnovaRow("repeatability", ss_rest, dof_rest, ss_rest / dof_rest, None, None)
    if appraisers == 1:
        return (_row("part", ss_part, parts - 1, rest), rest)
    both = _row("part x appraiser", ss_both, (parts - 1) * (appraisers - 1), rest)
    return (_row("part", ss_part, parts - 1, both), _row("appraiser", ss_appraiser, appraisers - 1, both), both, rest)


def _row(source: str, ss: float, dof: int, error: AnovaRow) -> AnovaRow:
    ms = ss / dof
    if not error.ms > 0:
        return AnovaRow(source, ss, dof, ms, None, None)
    ratio = ms / error.ms
    return AnovaRow(source, ss, dof, ms, ratio, compute_fisher_above(ratio, dof, error.dof))


def _build(
    method: str,
    table: Floats,
    spreads: tuple[float, float, float | None, float],
    tolerance: float | None,
    anova: tuple[AnovaRow, ...] = (),
    out: tuple[tuple[str, str], ...] = (),
) -> GaugeStudy:
    ev, appraiser, interaction, pv = spreads
    av = hypot(appraiser, interaction or 0.0)
    grr = hypot(ev, av)
    tv = hypot(grr, pv)
    if not tv > 0:
        raise ValueError("all readings of the study are equal; a finer reading of the gauge is needed")
    ratio = CATEGORY_FACTOR * pv / grr if grr > 0 else float("inf")
    width = None if tolerance is None else check_number(tolerance, "tolerance of the study", above=0)
    return GaugeStudy(
        method=method,
        parts=table.shape[0],
        appraisers=table.shape[1],
        trials=table.shape[2],
        repeatability=ev,
        reproducibility=av,
        interaction=interaction,
        gauge=grr,
        part_spread=pv,
        total=tv,
        percent_study=(100 * ev / tv, 100 * av / tv, 100 * grr / tv, 100 * pv / tv),
        percent_variance=(100 * (ev / tv) ** 2, 100 * (av / tv) ** 2, 100 * (grr / tv) ** 2, 100 * (pv / tv) ** 2),
        percent_tolerance=None if width is None else 100 * STUDY_WIDTH * grr / width,
        categories_raw=ratio,
        categories=floor(ratio) if np.isfinite(ratio) else None,
        anova=anova,
        ranges_out=out,
    )
