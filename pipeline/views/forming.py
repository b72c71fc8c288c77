"""Sections about how a part is formed and what it must show: blank and draws of a drawn cup, the view in a mirror."""

from __future__ import annotations

import math

from pipeline.fit.sight_line import SightLineResult, StripSight, compute_least_glass
from pipeline.gates.drawn import DrawnCup, describe_draw_fault, plan_cups
from pipeline.model.words import SafetyLevel
from pipeline.portfolio.portfolio import PartFile
from pipeline.portfolio.sight import SightFound, check_sight_lines
from pipeline.views.addresses import find_method_page
from pipeline.views.shapes_marks import (
    Cell,
    Column,
    Line,
    Link,
    Mark,
    Row,
    Run,
    Table,
    Tone,
    Working,
    WorkingInput,
    build_line,
)
from pipeline.views.shapes_site import Section
from pipeline.views.wording import word_count, word_number, word_share

METHOD = Link("Limits by class, draws, mirrors, hardness", find_method_page("forming"))


def build_forming_sections(file: PartFile) -> tuple[Section, ...]:
    """Make one section for each drawn cup of the route and for each mirror of the record."""
    cups = [_build_cup(file, cup) for cup in plan_cups(file.part, file.workspace.catalogues)]
    return (*cups, *(_build_sight(file, found) for found in check_sight_lines(file.part)))


# --- drawn cups -----------------------------------------------------------------------------------


def _build_cup(file: PartFile, cup: DrawnCup) -> Section:
    operation = file.part.route[cup.index]
    fault = describe_draw_fault(cup)
    plan = cup.plan
    aside = "not reckoned" if plan is None else f"blank {plan.blank_mm:.1f} mm, {word_count(plan.draws, 'draw')}"
    return Section(
        f"forming-draws-{cup.index}",
        f"Blank and draws: operation {operation.op}, {operation.what}",
        aside,
        _word_dies(cup),
        (),
        () if plan is None else (_build_draw_table(cup),),
        build_line(Run(fault, Tone.FLAG)) if fault else (),
        None if plan is None else _build_draw_working(file, cup),
        True,
    )


def _word_dies(cup: DrawnCup) -> Line:
    if not cup.dies:
        return build_line("No draw die is recorded yet.")
    return build_line(f"The record has {word_count(len(cup.dies), 'draw die')}: {', '.join(cup.dies)}.")


def _build_draw_table(cup: DrawnCup) -> Table:
    plan = cup.plan
    assert plan is not None
    columns = (
        Column("draw", number=True),
        Column("from", "mm", True),
        Column("to", "mm", True),
        Column("ratio", number=True),
        Column("least ratio", number=True),
        Column("height after it", "mm", True),
        Column("evened out", "mm", True),
    )
    rows = tuple(
        Row(
            tuple(
                Cell(build_line(text))
                for text in (
                    str(step.number),
                    f"{step.from_mm:.1f}",
                    f"{step.diameter_mm:.1f}",
                    f"{step.ratio:.3f}",
                    f"{step.least_ratio:.2f}",
                    f"{step.height_mm:.1f}",
                    f"{evened:.1f}",
                )
            )
        )
        for step, evened in zip(plan.steps, plan.evened_mm, strict=True)
    )
    return Table("Fewest draws, each at its least ratio but the last", columns, rows, "No draw is needed.")


def _build_draw_working(file: PartFile, cup: DrawnCup) -> Working:
    plan = cup.plan
    assert plan is not None
    ratios = ", ".join(f"{one:g}" for one in (plan.ratios.first, *plan.ratios.redraws))
    names = [name for name in (cup.draws.diameter, cup.draws.height, cup.draws.wall) if name is not None]
    inputs = [
        WorkingInput(
            name, f"{file.part.features[name].nominal:g} {file.part.features[name].unit}", build_line("nominal")
        )
        for name in names
    ]
    inputs.append(WorkingInput("trim", f"{cup.draws.trim:g} mm", build_line("left on the height")))
    inputs.append(WorkingInput("least ratios", ratios, build_line(f"{plan.ratios.name}: {plan.ratios.standing}")))
    return Working(
        (
            f"blank = √(d² + 4 d h) = √({plan.diameter_mm:g}² + 4 × {plan.diameter_mm:g} × {plan.height_mm:g}) = "
            f"{plan.blank_mm:.1f} mm",
            f"one draw reaches a height of (1 / m² − 1) / 4 × d = {plan.one_draw_height_mm:.1f} mm",
        ),
        tuple(inputs),
        "equal area with a sharp corner and least draw ratios, a standard handbook method; the ratios are common "
        "practice, no source",
        "A plain cup: a radius at the bottom makes the blank smaller, a nose or a flange takes draws of its own.",
        METHOD,
    )


# --- sight lines ----------------------------------------------------------------------------------


def _build_sight(file: PartFile, found: SightFound) -> Section:
    result = found.result
    where = "" if found.entry.hand == "none" else f", {found.entry.hand}"
    aside = "not reckoned" if result is None else _word_verdict(result)
    words = build_line(Run(found.problem, Tone.FLAG)) if result is None else _word_result(file, result)
    return Section(
        f"forming-sight-{found.key}",
        f"View in the mirror {found.key}{where}",
        aside,
        words,
        (),
        () if result is None or not result.strips else (_build_strip_table(result),),
        _word_needs(result),
        None if result is None else _build_sight_working(found, result),
    )


def _word_verdict(result: SightLineResult) -> str:
    if result.meets is None:
        return "curved glass: not computed"
    return "shows what is asked, by geometry" if result.meets else "falls short, by geometry"


def _word_result(file: PartFile, result: SightLineResult) -> Line:
    """Return the answer in sentences; the caution stands last and is never left out."""
    told, caution = result.words[:-1], result.words[-1]
    level = file.part.safety
    lead = "" if level is SafetyLevel.S0 else f"Safety class {level}. "
    tone = Tone.FLAG if result.meets is False else Tone.PLAIN
    return build_line(Run(" ".join(told), tone), " ", Run(f"{lead}{caution}", Tone.STRONG))


def _build_strip_table(result: SightLineResult) -> Table:
    columns = (
        Column("strip of road that is asked for"),
        Column("near line seen", number=True),
        Column("area seen", number=True),
        Column("horizon"),
    )
    rows = tuple(_build_strip_row(sight) for sight in result.strips)
    return Table(f"What {result.requirement.source} asks, and what is seen", columns, rows, "No strip is asked for.")


def _build_strip_row(sight: StripSight) -> Row:
    strip = sight.strip
    until = "the horizon" if strip.until_mm is None else f"{strip.until_mm / 1000:g} m"
    words = f"{strip.width_mm / 1000:g} m wide, from {strip.behind_mm / 1000:g} m behind the eyes to {until}"
    asked = strip.until_mm is None
    horizon = ("seen" if sight.horizon_seen else "not seen") if asked else "–"
    return Row(
        (
            Cell(build_line(words), Mark.IN_HAND if sight.is_seen else Mark.MISSING),
            Cell(build_line(_word_seen(sight.near_share))),
            Cell(build_line(_word_seen(sight.area_share))),
            Cell(build_line(horizon)),
        )
    )


def _word_seen(share: float) -> str:
    """Return a share of a view; one that is not whole never reads as 100 %."""
    return word_share(math.floor(100 * share) / 100)


def _word_needs(result: SightLineResult | None) -> Line:
    """Say how large a glass in the same plane would have to be, where this one is too small."""
    if result is None or result.meets is not False:
        return ()
    lines = []
    for sight in result.strips:
        least = compute_least_glass(sight.needs)
        if not sight.is_seen and least is not None:
            lines.append(f"{word_number(least[0], 0)} by {word_number(least[1], 0)} mm")
    return build_line(f"In the plane of this glass the first eye needs {', '.join(lines)}.") if lines else ()


def _build_sight_working(found: SightFound, result: SightLineResult) -> Working:
    entry = found.entry
    places = (("middle of the glass", entry.glass), ("aimed at", entry.aim_at),
              *((f"eye {n}", eye) for n, eye in enumerate(entry.eyes, 1)))  # fmt: skip
    inputs = [
        WorkingInput(name, _word_place(place), build_line("`sight_lines` of the record")) for name, place in places
    ]
    size = f"{entry.width:g} × {entry.height:g} mm, {entry.shape}" + (
        "" if entry.radius is None else f", R {entry.radius:g}"
    )
    inputs.append(WorkingInput("glass", size, build_line("`sight_lines` of the record")))
    return Working(
        (
            "the normal of the glass halves the angle between the eye and what is aimed at (law of reflection)",
            "a point of the road is seen where the line from the eye's image behind the glass to it passes the glass",
        ),
        tuple(inputs),
        str(result.requirement.source),
        result.caution,
        METHOD,
    )


def _word_place(place: tuple[float, float, float]) -> str:
    return "x {:g}, y {:g}, z {:g} mm".format(*place)
