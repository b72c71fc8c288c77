"""Shrinkage of tools: what was assumed, what the record says was measured, and what first articles show."""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass

from pipeline.fit.shrinkage import ShrinkageCheck, ShrinkageReading, check_shrinkage, compute_mould_scale
from pipeline.lineage.freshness import PartLineage
from pipeline.model.part import Part, Tool
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.model.words import FeatureKind

_SCALED = frozenset({FeatureKind.SIZE, FeatureKind.DISTANCE, FeatureKind.THICKNESS})


@dataclass(frozen=True)
class ToolShrinkage:
    """Shrinkage of one tool, as shares.

    measured, u : as recorded, None where they are not. differs : the recorded one is farther from the assumed one than
    its uncertainty (None: not measured). outside_range : it lies outside the range that was assumed. check : from the
    first articles of the revision that the tool was cut to, with the cavity taken as nominal times the mould scale;
    None where there are none. sentences : all that in words.
    """

    tool: str
    assumed: tuple[float, float, float]
    measured: float | None
    u: float | None
    differs: bool | None
    outside_range: bool
    check: ShrinkageCheck | None
    articles: tuple[str, ...]
    sentences: tuple[str, ...]


def check_tools(part: Part, lineage: PartLineage) -> tuple[ToolShrinkage, ...]:
    """Return the shrinkage of every tool that assumes one."""
    with_shrinkage = ((key, tool) for key, tool in part.tools.items() if tool.shrinkage is not None)
    return tuple(_check_tool(part, lineage, key, tool) for key, tool in with_shrinkage)


def _check_tool(part: Part, lineage: PartLineage, key: str, tool: Tool) -> ToolShrinkage:
    shrinkage = tool.shrinkage
    if shrinkage is None:
        raise ValueError(f"{key} assumes no shrinkage")
    assumed = (shrinkage.assumed.low, shrinkage.assumed.likely, shrinkage.assumed.high)
    differs = None
    outside = False
    words = []
    if shrinkage.measured is not None:
        away = abs(shrinkage.measured - shrinkage.assumed.likely)
        differs = away > (shrinkage.u or 0.0)
        outside = not assumed[0] <= shrinkage.measured <= assumed[2]
        words.append(_word_recorded(shrinkage.measured, shrinkage.u, assumed, differs))
    check, articles, told = _check_articles(part, lineage, key, tool, assumed[1])
    if words and check is not None and check.differs == differs and _word_mean(check) == words[0]:
        words = []  # what is recorded is what the first articles gave: said once
    return ToolShrinkage(
        key, assumed, shrinkage.measured, shrinkage.u, differs, outside, check, articles, (*words, *told)
    )


def _word_recorded(measured: float, u: float | None, assumed: tuple[float, float, float], differs: bool) -> str:
    spread = "" if u is None else f" ± {100 * u:.2f} %"
    verdict = "differs from" if differs else "agrees with"
    return f"measured {100 * measured:.2f} %{spread} {verdict} the {100 * assumed[1]:.2f} % that was assumed"


def _word_mean(check: ShrinkageCheck) -> str:
    assumed = (check.assumed, check.assumed, check.assumed)
    return _word_recorded(check.mean.value, check.mean.uncertainty, assumed, check.differs)


def _check_articles(
    part: Part, lineage: PartLineage, key: str, tool: Tool, likely: float
) -> tuple[ShrinkageCheck | None, tuple[str, ...], tuple[str, ...]]:
    node = lineage.nodes.get(f"tools.{key}")
    base = tool.of or (None if node is None else node.base)
    articles = tuple(k for k, a in part.first_articles.items() if key in a.tools and a.of == base and a.gives)
    readings = [
        reading
        for article in articles
        for name in tool.forms
        if (reading := _build_reading(part, article, name, likely)) is not None
    ]
    unique = {reading.feature: reading for reading in readings}
    if not unique:
        return None, (), ()
    try:
        check = check_shrinkage(likely, list(unique.values()))
    except ValueError as error:
        return None, articles, (f"first articles say nothing of the shrinkage: {error}",)
    cavity = "The cavity is taken as the nominal times the mould scale; it was not measured."
    return check, articles, (*check.words, cavity)


def _build_reading(part: Part, article: str, name: str, likely: float) -> ShrinkageReading | None:
    """Return a feature's pieces against its cavity; None where it is no size, or one piece shows no scatter."""
    feature, values = part.features.get(name), part.first_articles[article].gives.get(name, ())
    if feature is None or feature.kind not in _SCALED or feature.unit not in LENGTH_UNITS or feature.nominal <= 0:
        return None
    if len(values) < 2:
        return None
    factor = LENGTH_UNITS[feature.unit]
    rounding = 0.5 * 10.0 ** -max(len(f"{value!r}".partition(".")[2]) for value in values)
    spread = 2 * math.hypot(statistics.stdev(values) / math.sqrt(len(values)), rounding / math.sqrt(3))
    cavity = feature.nominal * factor * compute_mould_scale(likely)
    return ShrinkageReading(name, cavity, statistics.fmean(values) * factor, spread * factor)
