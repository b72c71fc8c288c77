"""A nominal size from originals that are few, worn, replated or not original at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import hypot

import numpy as np

from pipeline.measuring.drawing_guess import ALL_GRIDS, Candidate, Grid, guess_drawing_sizes
from pipeline.measuring.outliers import OutlierTest, find_outlier
from pipeline.measuring.points import check_number, check_values
from pipeline.measuring.samples import Sample, check_share, compute_student_factor, summarise
from pipeline.measuring.tolerance_intervals import ToleranceInterval, ToleranceMethod, find_tolerance_interval
from pipeline.measuring.uncertainty import compute_effective_dof


class Condition(StrEnum):
    """What a surviving part is."""

    NOS = "nos"
    USED = "used"
    RESTORED = "restored"
    REPRODUCTION = "reproduction"


class Wear(StrEnum):
    """Which way use moves a dimension."""

    NONE = "none"
    SHRINKS = "shrinks"
    GROWS = "grows"


class NominalStatus(StrEnum):
    """What a nominal rests on."""

    ESTIMATED = "estimated"
    ALL_WORN = "all worn"
    SINGLE_ORIGINAL = "single original"
    NO_ORIGINALS = "no originals"
    ONLY_REPRODUCTIONS = "only reproductions"
    NONE_USABLE = "none usable"


class LeftOutReason(StrEnum):
    """Why an original does not count."""

    REPRODUCTION = "reproduction"
    RECOATED = "coating restored, thickness unknown"
    WORN = "worn"


@dataclass(frozen=True, slots=True)
class OriginalReading:
    """Readings of one feature on one surviving part.

    Attributes:
        original: its id.
        condition: what it is.
        readings_mm: one or more readings.
        coating_mm: measured thickness of the coating on it, if known.
    """

    original: str
    condition: Condition
    readings_mm: tuple[float, ...]
    coating_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Coating:
    """How a coating changes a feature.

    Attributes:
        faces: change of the size per thickness: +2 outside diameter, -2 bore, +1 one face of a step.
        original_mm: thickness that the part carried when it was new; zero where it was bare.
    """

    faces: float
    original_mm: float


@dataclass(frozen=True, slots=True)
class KeptOriginal:
    """An original that counts.

    Attributes:
        original: its id.
        condition: what it is.
        sample: its readings.
        correction_mm: what was added for its coating.
        value_mm: mean of its readings, corrected.
        worn_by_mm: how far it lies to the worn side of the least-worn original; None where wear goes no one way.
    """

    original: str
    condition: Condition
    sample: Sample
    correction_mm: float
    value_mm: float
    worn_by_mm: float | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """An original that does not count, and why.

    Attributes:
        original: its id.
        reason: in a word.
        sentence: with the figures.
    """

    original: str
    reason: LeftOutReason
    sentence: str


@dataclass(frozen=True, slots=True)
class NominalEstimate:
    """What the originals say of the size that was meant.

    Attributes:
        status: what it rests on; anything but `estimated` needs a person's word before it is used.
        sentence: the same in words.
        method: how it was estimated.
        count: originals that count.
        mean_mm: mean of them, None when none counts.
        sd_mm: standard deviation from piece to piece, None below two.
        mean_u_mm: standard uncertainty of the mean, shared measuring uncertainty included; None where unknown.
        dof: its effective degrees of freedom.
        bound_mm: interval that holds the mean at the confidence; None where unknown.
        confidence: of the bound and of the tolerance interval.
        population: two-sided tolerance interval of the pieces, None below two.
        outlier: outlier test, None below three or when all are equal.
        kept: originals that count.
        left_out: those that do not.
        notes: sentences about what is odd.
        guesses: round sizes inside the bound, simplest first.
    """

    status: NominalStatus
    sentence: str
    method: str
    count: int
    mean_mm: float | None
    sd_mm: float | None
    mean_u_mm: float | None
    dof: float | None
    bound_mm: tuple[float, float] | None
    confidence: float
    population: ToleranceInterval | None
    outlier: OutlierTest | None
    kept: tuple[KeptOriginal, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    guesses: tuple[Candidate, ...]


def estimate_nominal(
    originals: Sequence[OriginalReading],
    *,
    wear: Wear = Wear.NONE,
    wear_allowance_mm: float = 0.0,
    coating: Coating | None = None,
    shared_u_mm: float = 0.0,
    confidence: float = 0.95,
    coverage: float = 0.95,
    method: ToleranceMethod = ToleranceMethod.EXACT,
    grids: Sequence[Grid] = ALL_GRIDS,
) -> NominalEstimate:
    """Estimate the size that was meant from surviving parts, each counted once.

    Reproductions never count. On a coated feature a restored part counts only when its coating thickness is known; then
    what it carries more than a new part did is taken off. Where wear goes one way, new old stock counts always, and a
    used part only if it lies no farther to the worn side of the least-worn part than `wear_allowance_mm`
    (the spread that making and measuring alone would explain). Without new old stock the answer is `all worn`: a limit
    to one side, not a nominal.

    Args:
        originals: one entry a part; several readings of a part are averaged first.
        wear: which way use moves this dimension.
        wear_allowance_mm: see above; zero keeps only what is level with the least-worn part.
        coating: how a coating changes this feature; None for a feature without one.
        shared_u_mm: standard uncertainty that all readings share (the arm); averaging does not shrink it.
        confidence: of the bound of the mean and of the tolerance interval.
        coverage: share of pieces inside the tolerance interval.
        method: factor of the tolerance interval.
        grids: round sizes for the drawing guess.

    Raises:
        ValueError: two entries of one original, an original without readings, or a value out of range. No originals
            or none usable is an answer (`status`), not an error.

    Source: Student bound and ISO 16269-6 interval; selection of originals is common practice (no source).

    >>> found = estimate_nominal(
    ...     [
    ...         OriginalReading("O1", Condition.USED, (112.36,)),
    ...         OriginalReading("O2", Condition.NOS, (112.41,)),
    ...         OriginalReading("O3", Condition.USED, (112.12,)),
    ...     ],
    ...     wear=Wear.SHRINKS,
    ...     wear_allowance_mm=0.10,
    ... )
    >>> round(found.mean_mm, 3), [left.original for left in found.left_out]
    (112.385, ['O3'])
    """
    _check_arguments(originals, wear_allowance_mm, shared_u_mm, confidence, coverage)
    counted, left_out = _sort_out(originals, coating)
    if not counted:
        return _report_nothing(originals, left_out, confidence)
    kept, worn, notes = _judge_wear(counted, wear, wear_allowance_mm)
    return _build_estimate(kept, (*left_out, *worn), notes, wear, shared_u_mm, (confidence, coverage), method, grids)


def _check_arguments(
    originals: Sequence[OriginalReading], allowance: float, shared_u: float, confidence: float, coverage: float
) -> None:
    check_number(allowance, "wear allowance", least=0)
    check_number(shared_u, "shared uncertainty", least=0)
    check_share(confidence, "confidence")
    check_share(coverage, "coverage")
    seen: set[str] = set()
    for entry in originals:
        if entry.original in seen:
            raise ValueError(f"original {entry.original} is given twice; put all its readings into one entry")
        seen.add(entry.original)
        check_values(entry.readings_mm, f"readings of original {entry.original}", 1)
        if entry.coating_mm is not None:
            check_number(entry.coating_mm, f"coating of original {entry.original}", least=0)


def _sort_out(
    originals: Sequence[OriginalReading], coating: Coating | None
) -> tuple[list[KeptOriginal], tuple[LeftOut, ...]]:
    """Originals that may count, coating taken off, and those that never do."""
    kept: list[KeptOriginal] = []
    left_out: list[LeftOut] = []
    for entry in originals:
        if entry.condition is Condition.REPRODUCTION:
            words = f"{entry.original} is a reproduction: it repeats somebody's guess, not the original."
            left_out.append(LeftOut(entry.original, LeftOutReason.REPRODUCTION, words))
        elif coating is not None and entry.condition is Condition.RESTORED and entry.coating_mm is None:
            words = f"{entry.original} was recoated and its coating thickness is not known; measure the thickness."
            left_out.append(LeftOut(entry.original, LeftOutReason.RECOATED, words))
        else:
            kept.append(_correct(entry, coating))
    return kept, tuple(left_out)


def _correct(entry: OriginalReading, coating: Coating | None) -> KeptOriginal:
    """Readings averaged; on a recoated part the coating brought to the thickness of a new one."""
    sample = summarise(entry.readings_mm)
    correction = 0.0
    if coating is not None and entry.condition is Condition.RESTORED and entry.coating_mm is not None:
        correction = -coating.faces * (entry.coating_mm - coating.original_mm)
    return KeptOriginal(entry.original, entry.condition, sample, correction, sample.mean + correction)


def _judge_wear(
    counted: Sequence[KeptOriginal], wear: Wear, allowance: float
) -> tuple[list[KeptOriginal], tuple[LeftOut, ...], tuple[str, ...]]:
    """Leave out what is worn; note what lies on the side that wear cannot explain."""
    if wear is Wear.NONE:
        return list(counted), (), ()
    side = 1.0 if wear is Wear.SHRINKS else -1.0
    unworn = [entry for entry in counted if entry.condition is Condition.NOS]
    reference = max(unworn or counted, key=lambda entry: side * entry.value_mm)
    kept, worn, notes = [], [], []
    for entry in counted:
        by = side * (reference.value_mm - entry.value_mm)
        judged = KeptOriginal(entry.original, entry.condition, entry.sample, entry.correction_mm, entry.value_mm, by)
        if entry.condition is not Condition.NOS and by > allowance + 1e-12 * abs(entry.value_mm):
            worn.append(_leave_worn(judged, by, allowance, reference, wear))
            continue
        kept.append(judged)
        if by < -allowance:
            notes.append(
                f"{entry.original} lies {-by:.3f} mm beyond the new old stock on the side that wear cannot explain; "
                "look for damage, build-up or another variant"
            )
    return kept, tuple(worn), tuple(notes)


def _leave_worn(entry: KeptOriginal, by: float, allowance: float, reference: KeptOriginal, wear: Wear) -> LeftOut:
    words = (
        f"{entry.original} is {by:.3f} mm {'smaller' if wear is Wear.SHRINKS else 'larger'} than {reference.original}, "
        f"the least worn; {allowance:.3f} mm is allowed for making and measuring. Wear {wear} this size."
    )
    return LeftOut(entry.original, LeftOutReason.WORN, words)


def _report_nothing(
    originals: Sequence[OriginalReading], left_out: tuple[LeftOut, ...], confidence: float
) -> NominalEstimate:
    """No original counts: say which kind of nothing it is."""
    if not originals:
        status, words = NominalStatus.NO_ORIGINALS, "No original has been measured; there is no nominal."
    elif all(entry.condition is Condition.REPRODUCTION for entry in originals):
        status = NominalStatus.ONLY_REPRODUCTIONS
        words = f"All {len(originals)} parts are reproductions; none of them says what the original was."
    else:
        status = NominalStatus.NONE_USABLE
        words = f"None of {len(originals)} parts can be used for this feature; see why each was left out."
    return NominalEstimate(
        status, words, "none", 0, None, None, None, None, None, confidence, None, None, (), left_out, (), ()
    )


def _build_estimate(
    kept: list[KeptOriginal],
    left_out: tuple[LeftOut, ...],
    notes: tuple[str, ...],
    wear: Wear,
    shared_u: float,
    shares: tuple[float, float],
    method: ToleranceMethod,
    grids: Sequence[Grid],
) -> NominalEstimate:
    values = np.array([entry.value_mm for entry in kept])
    sample = summarise(values)
    u, dof = _combine(sample, shared_u)
    half = None if u is None or dof is None else compute_student_factor(dof, shares[0]) * u
    status = _find_status(kept, wear)
    guesses: tuple[Candidate, ...] = ()
    if half and u and dof is not None and status is not NominalStatus.ALL_WORN:
        guesses = guess_drawing_sizes(sample.mean, half, u, dof, grids)
    elif sample.count > 1 and not half:
        notes = (*notes, "all originals read the same; the step of the instrument hides their scatter")
    return NominalEstimate(
        status=status,
        sentence=_word(status, sample, half, shares[0], wear),
        method="mean of per-original means, Student bound" + (", shared uncertainty added" if shared_u else ""),
        count=sample.count,
        mean_mm=sample.mean,
        sd_mm=sample.sd,
        mean_u_mm=u,
        dof=dof,
        bound_mm=None if half is None else (sample.mean - half, sample.mean + half),
        confidence=shares[0],
        population=None if sample.count < 2 else find_tolerance_interval(values, shares[1], shares[0], method),
        outlier=find_outlier(values, 1 - shares[0]) if sample.count > 2 and sample.sd else None,
        kept=tuple(kept),
        left_out=left_out,
        notes=notes,
        guesses=guesses,
    )


def _combine(sample: Sample, shared_u: float) -> tuple[float | None, float | None]:
    """Standard uncertainty of the mean and its degrees of freedom; unknown for one original.

    What one original says of its own size is not what it says of the size that was meant.
    """
    if sample.mean_u is None:
        return None, None
    dof = compute_effective_dof([sample.mean_u, shared_u], [sample.count - 1, float("inf")])
    return hypot(sample.mean_u, shared_u), dof


def _find_status(kept: Sequence[KeptOriginal], wear: Wear) -> NominalStatus:
    if wear is not Wear.NONE and not any(entry.condition is Condition.NOS for entry in kept):
        return NominalStatus.ALL_WORN
    return NominalStatus.SINGLE_ORIGINAL if len(kept) == 1 else NominalStatus.ESTIMATED


def _word(status: NominalStatus, sample: Sample, half: float | None, confidence: float, wear: Wear) -> str:
    if status is NominalStatus.ALL_WORN:
        most = sample.largest if wear is Wear.SHRINKS else sample.smallest
        side = "at least" if wear is Wear.SHRINKS else "at most"
        return (
            f"Only used parts: wear {wear} this size, so the original was {side} about {most:.3f} mm "
            f"({sample.count} counted); no nominal follows."
        )
    if status is NominalStatus.SINGLE_ORIGINAL:
        return f"One original: {sample.mean:.3f} mm is its size; how pieces differ, and what was meant, is not known."
    return f"{sample.count} originals: {sample.mean:.3f} mm +- {half or 0.0:.3f} mm at {100 * confidence:g} %."
