"""Drawn cups: blank and number of draws by the family's ratios, held against the dies that the record has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.fit.drawing_dies import USUAL_RATIOS, DrawPlan, RatioSet, plan_draws
from pipeline.fit.sources import Standing
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Draws, Part
from pipeline.model.quantity import LENGTH_UNITS


@dataclass(frozen=True, slots=True)
class DrawnCup:
    """One cup of a route. dies : the record's draw dies, by station.

    plan : on the mean line of the wall, the height with the trim; None with the reason in `problem`.
    """

    index: int
    draws: Draws
    plan: DrawPlan | None
    dies: tuple[str, ...]
    problem: str = ""


def plan_cups(part: Part, catalogues: Catalogues) -> Iterator[DrawnCup]:
    """Yield every cup that a route draws, with its blank and draws; what cannot be reckoned says why."""
    family = catalogues.families.families.get(part.family)
    stated = () if family is None else family.draw_ratios
    ratios = USUAL_RATIOS
    if stated:
        ratios = RatioSet(f"family {part.family}", stated[0], tuple(stated[1:]), Standing.COMMON_PRACTICE)
    dies = sorted((t.station or 0, k) for k, t in part.tools.items() if t.kind == "draw-die")
    for index, operation in enumerate(part.route):
        if operation.draws is not None:
            yield _plan(part, index, operation.draws, ratios, tuple(key for _, key in dies))


def _plan(part: Part, index: int, draws: Draws, ratios: RatioSet, dies: tuple[str, ...]) -> DrawnCup:
    sizes = [_find_mm(part, name) for name in (draws.diameter, draws.height)]
    wall = 0.0 if draws.wall is None else _find_mm(part, draws.wall)
    if None in (*sizes, wall):
        return DrawnCup(index, draws, None, dies, "diameter, height and wall are features in a unit of length")
    outside, height = (size or 0.0 for size in sizes)
    mean, tall = outside - (wall or 0.0), height - (wall or 0.0) / 2 + draws.trim
    try:
        return DrawnCup(index, draws, plan_draws(mean, tall, ratios), dies)
    except ValueError as error:
        return DrawnCup(index, draws, None, dies, str(error))


def _find_mm(part: Part, name: str) -> float | None:
    feature = part.features.get(name)
    factor = None if feature is None else LENGTH_UNITS.get(feature.unit)
    return None if feature is None or factor is None else feature.nominal * factor


def describe_draw_fault(cup: DrawnCup) -> str:
    """Say what is wrong with a drawn cup: it cannot be reckoned, or there are fewer dies than draws; else empty."""
    if cup.plan is None:
        return cup.problem
    if cup.dies and len(cup.dies) < cup.plan.draws:
        return (
            f"{cup.plan.draws} draws are wanted by the ratios of {cup.plan.ratios.name}; the record has "
            f"{len(cup.dies)} draw dies"
        )
    return ""
