"""How long a stage usually lasts for a family: its own finished parts, those of other families, the weeks on record.

A young shop has few finished parts, and the quick ones finish first. So a family's own cases count as many as they are;
what other families took, each held against its own usual weeks, counts for a fixed number of cases; and the weeks of
shared/families.yaml count where even those are few.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.model.catalogue import Catalogues
from pipeline.model.words import GATES, Gate
from pipeline.planning.flow_spread import Observed, Pert, Spread, compute_mean, draw
from pipeline.planning.survival import SurvivalCurve, compute_quantile, compute_survival
from pipeline.portfolio.flow_stays import Ending, Stay

FloatArray = NDArray[np.float64]

WORTH = 8
"""So many finished stays of a family weigh as much as all that is known from elsewhere: common practice (no source)."""

RECORD_WORTH = 3
"""The usual weeks on record weigh as much as so many finished stays of any family: common practice (no source)."""

LEAST_FINISHED = 8
"""No forecast rests on a stage that fewer parts than this have finished."""

_POINTS = 32


@dataclass(frozen=True, slots=True)
class Usual:
    """How long a stage usually lasts for a family.

    curve : the product-limit estimate that ages are held against: the family's own where enough finished, else that of
    all families brought to its scale; None where nothing finished anywhere. spread : what forecasts draw from.
    finished : how many stays of the family itself are behind it; pooled : how many of all families. source : whose
    figures they are, in words.
    """

    curve: SurvivalCurve | None
    spread: Spread
    finished: int
    pooled: int
    source: str

    @property
    def half(self) -> float | None:
        """Weeks by which half are through; None where too few finished to tell."""
        return None if self.curve is None else compute_quantile(self.curve, 0.5)

    @property
    def most(self) -> float | None:
        """Weeks by which 85 % are through; None where too few finished to tell."""
        return None if self.curve is None else compute_quantile(self.curve, 0.85)


def build_curve(stays: Sequence[Stay], day: dt.date) -> SurvivalCurve:
    """Return the product-limit estimate of stays as known on a day, in weeks: what is open, held or dropped lasts
    longer than it has lasted."""
    return compute_survival([stay.find_age(day) for stay in stays], [s.ending is Ending.PASSED for s in stays])


def build_usual(stays: Sequence[Stay], catalogues: Catalogues, day: dt.date) -> dict[tuple[str, Gate], Usual]:
    """Return how long each stage usually lasts for each family, from stays as they stood on a day."""
    families = catalogues.families.families
    found: dict[tuple[str, Gate], Usual] = {}
    for gate in GATES:
        here = [stay for stay in stays if stay.gate is gate and stay.family in families]
        weeks = {key: _find_weeks(catalogues, key, gate) for key in families}
        ratios = _build_ratios(here, weeks, day)
        for family, entry in families.items():
            own = build_curve([stay for stay in here if stay.family == family], day)
            usual = mix(own, ratios, weeks[family], entry.name)
            if usual is not None:
                found[family, gate] = usual
    return found


def _find_weeks(catalogues: Catalogues, family: str, gate: Gate) -> Pert | None:
    weeks = catalogues.families.families[family].weeks.get(gate)
    return None if weeks is None else Pert(weeks.low, weeks.likely, weeks.high)


def _build_ratios(stays: Sequence[Stay], weeks: Mapping[str, Pert | None], day: dt.date) -> SurvivalCurve:
    """The stays of all families, each divided by the usual weeks of its own (by 1 where none are on record)."""
    scales = {key: 1.0 if pert is None else max(compute_mean(pert), 1e-6) for key, pert in weeks.items()}
    ages = [stay.find_age(day) / scales[stay.family] for stay in stays]
    return compute_survival(ages, [stay.ending is Ending.PASSED for stay in stays])


def _count_finished(curve: SurvivalCurve) -> int:
    return curve.items - curve.open_items


def scale_curve(curve: SurvivalCurve, factor: float) -> SurvivalCurve:
    """Return an estimate in other units: every time multiplied by a factor (> 0)."""
    return replace(
        curve, times=curve.times * factor, longest=curve.longest * factor, tail_rate=curve.tail_rate / factor
    )


def mix(own: SurvivalCurve, ratios: SurvivalCurve, weeks: Pert | None, name: str) -> Usual | None:
    """Return what is usual from a family's own estimate, that of all families as ratios to their usual weeks, and the
    usual weeks on record; None where all three say nothing.

    Each distribution weighs by its cases: the family's by its finished stays, the rest by `WORTH`, which the ratios and
    the weeks on record share in turn (by their own finished stays and `WORTH`). Source: the mean of a Dirichlet process
    given uncensored cases is this mixture of base and empirical distribution (T. S. Ferguson, Annals of Statistics 1
    (1973) 209-230); the product-limit estimate in place of the empirical one: common practice (no source). One more
    case lies beyond the longest that finished: of n + 1 alike, each is as likely to be the longest (B. M. Hill, JASA 63
    (1968) 677-691).
    """
    scaled = scale_curve(ratios, 1.0 if weeks is None else max(compute_mean(weeks), 1e-6))
    mine, others = _count_finished(own), _count_finished(scaled)
    shared = others / (others + RECORD_WORTH) if weeks is not None else float(others > 0)
    pieces = [(own, float(mine)), (scaled, WORTH * shared)]
    parts = [(_tabulate(curve), weight) for curve, weight in pieces if weight > 0 and curve.times.size]
    if weeks is not None and weeks.high > 0:
        parts.append((_tabulate_pert(weeks), WORTH * (1.0 - shared)))
    if not parts:
        return None
    if others:
        parts.append((_tabulate_beyond(scaled), 1.0))
    curve = own if mine >= WORTH else scaled if others else None
    source = name if mine >= WORTH else "all families, on this one's scale" if others else "the weeks on record"
    return Usual(curve, _join(parts, own if mine else scaled, weeks), mine, others, source)


Points = tuple[FloatArray, FloatArray]
"""Ages, and the share that finishes at each; shares add up to 1."""


def _tabulate(curve: SurvivalCurve) -> Points:
    """The steps of an estimate; what lies beyond its last finish as points of the exponential tail."""
    masses = -np.diff(np.concatenate(([1.0], curve.survival)))
    rest = float(curve.survival[-1])
    if rest <= 1e-12 or not np.isfinite(curve.tail_rate):
        return curve.times, masses / masses.sum()
    middles = (np.arange(_POINTS) + 0.5) / _POINTS
    tail = curve.times[-1] - np.log1p(-middles) / curve.tail_rate
    return np.concatenate((curve.times, tail)), np.concatenate((masses, np.full(_POINTS, rest / _POINTS)))


def _tabulate_beyond(curve: SurvivalCurve) -> Points:
    """One case that lasts longer than every finished one, by the exponential tail."""
    middles = (np.arange(_POINTS) + 0.5) / _POINTS
    rate = curve.tail_rate if np.isfinite(curve.tail_rate) and curve.tail_rate > 0 else 1.0
    return curve.times[-1] - np.log1p(-middles) / rate, np.full(_POINTS, 1.0 / _POINTS)


def _tabulate_pert(weeks: Pert) -> Points:
    middles = (np.arange(_POINTS) + 0.5) / _POINTS
    return draw(weeks, middles), np.full(_POINTS, 1.0 / _POINTS)


def _join(parts: Sequence[tuple[Points, float]], tail: SurvivalCurve, weeks: Pert | None) -> Observed:
    total = sum(weight for _, weight in parts)
    ages = np.concatenate([points[0] for points, _ in parts])
    masses = np.concatenate([points[1] * (weight / total) for points, weight in parts])
    distinct, place = np.unique(ages, return_inverse=True)
    shares = np.cumsum(np.bincount(place, weights=masses))
    known = np.isfinite(tail.tail_rate) and tail.tail_rate > 0
    rate = float(tail.tail_rate) if known else 1.0 / max(0.25 if weeks is None else compute_mean(weeks) / 4, 0.25)
    return Observed(tuple(distinct.tolist()), tuple(np.minimum(shares, 1.0).tolist()), rate)
