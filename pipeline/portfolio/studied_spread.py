"""What a gauge study found against what shared/resources.yaml states of its instrument, for single readings."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.model.catalogue import Instrument, StudiedSpread
from pipeline.portfolio.study_values import StudyResult, find_unit_factor

ALLOWED = 0.05
"""So much of a figure may be lost to rounding where it is typed (common practice, no source)."""

DUST = 1e-9
"""What is smaller than this share of the readings is left over from adding them, and no scatter."""


@dataclass(frozen=True)
class SpreadFault:
    """What is wrong between a study and the figures of its instrument. differs : they are stated, and otherwise."""

    words: str
    fix: str
    differs: bool


def build_spread(found: StudyResult, number: str) -> StudiedSpread | None:
    """Return what a study found, as an instrument states it; None where it could not be reckoned.

    The figures are those of the analysis of variance, in the unit of the feature: the repeatability has the degrees of
    freedom of what was pooled into it, the reproducibility (interaction in it) one less than people took part.
    """
    study = found.anova
    dust = DUST * max((abs(one.value) for one in found.readings), default=0.0)
    if study is None or study.repeatability <= dust:
        return None
    pooled = ("repeatability", "part x appraiser") if study.interaction is None else ("repeatability",)
    return StudiedSpread(
        of=f"{number}/{found.key}",
        repeatability=_shorten(study.repeatability),
        dof=sum(row.dof for row in study.anova if row.source in pooled),
        reproducibility=_shorten(study.reproducibility) if study.reproducibility > dust else 0.0,
        people=study.appraisers,
        unit=found.feature.unit,
    )


def find_spread_fault(found: StudyResult, number: str, instrument: Instrument) -> SpreadFault | None:
    """Return why single readings do not count what a study found; None where they do, or another study stands there."""
    wanted, kind = build_spread(found, number), found.feature.kind
    stated = instrument.studies.get(kind)
    if wanted is None or (stated is not None and stated.of != wanted.of):
        return None
    fix = f"state it with {found.entry.with_} in shared/resources.yaml: `studies: {{{kind}: {write_spread(wanted)}}}`"
    if stated is None:
        words = f"no reading of {found.entry.with_} counts the spread that it found on features of the kind {kind}"
        return SpreadFault(words, fix, False)
    return SpreadFault(_word_difference(stated, wanted), fix, True) if _differs(stated, wanted) else None


def write_spread(spread: StudiedSpread) -> str:
    """Return the figures of a study as shared/resources.yaml writes them.

    >>> write_spread(StudiedSpread(of="TW-1/G1", repeatability=0.002, dof=60, reproducibility=0.001, people=3))
    '{of: TW-1/G1, repeatability: 0.002, dof: 60, reproducibility: 0.001, people: 3}'
    """
    unit = "" if spread.unit == "mm" else f", unit: {spread.unit}"
    between = f", reproducibility: {spread.reproducibility:.4g}" if spread.reproducibility > 0 else ""
    people = f", people: {spread.people}" if spread.people > 1 else ""
    return f"{{of: {spread.of}, repeatability: {spread.repeatability:.4g}, dof: {spread.dof}{between}{people}{unit}}}"


def _shorten(value: float) -> float:
    return float(f"{value:.4g}")


def _differs(stated: StudiedSpread, wanted: StudiedSpread) -> bool:
    factor = find_unit_factor(stated.unit, wanted.unit)
    if factor is None or (stated.dof, stated.people) != (wanted.dof, wanted.people):
        return True
    pairs = (
        (stated.repeatability * factor, wanted.repeatability),
        (stated.reproducibility * factor, wanted.reproducibility),
    )
    return any(abs(one - other) > ALLOWED * wanted.repeatability for one, other in pairs)


def _word_difference(stated: StudiedSpread, wanted: StudiedSpread) -> str:
    return f"it gives {write_spread(wanted)}, where the instrument states {write_spread(stated)}"
