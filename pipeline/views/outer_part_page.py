"""One part as a dealer or a customer sees it."""

from __future__ import annotations

from pipeline.model.quantity import Limits
from pipeline.portfolio.outer_part import (
    OuterCatalogue,
    OuterFeature,
    OuterFit,
    OuterPart,
    OuterStage,
    OuterState,
    OuterTrialState,
)
from pipeline.views.outer_addresses import PARTS, find_part_page, find_vehicle
from pipeline.views.outer_shapes import OuterField, OuterPartPage
from pipeline.views.outer_words import (
    STAGE_WORDS,
    STATE_MARKS,
    build_cautions,
    build_picture,
    word_body,
    word_fits,
    word_price,
    word_quarter,
    word_state,
    word_years,
)
from pipeline.views.shapes_marks import Cell, Column, Link, Mark, Row, Run, Table, Tone, build_line
from pipeline.views.shapes_part import GateRail, RailGate, RailPiece
from pipeline.views.shapes_site import PageHead
from pipeline.views.wording import (
    count_decimals,
    with_unit,
    word_gap,
    word_limits,
    word_list,
    word_number,
    write_sentence,
)

_ROAD = (
    ("measured", (OuterStage.MEASURING,)),
    ("drawn", (OuterStage.DRAWING,)),
    ("tried", (OuterStage.SAMPLES, OuterStage.TRYING)),
    ("tooled", (OuterStage.PREPARING, OuterStage.TOOLING)),
    ("for sale", (OuterStage.DONE,)),
)
_TRIAL_MARKS = {
    OuterTrialState.TRIED: Mark.PROVEN,
    OuterTrialState.AGAIN: Mark.IN_HAND,
    OuterTrialState.CHANGING: Mark.IN_HAND,
    OuterTrialState.NOT_YET: Mark.MISSING,
}
_ESTIMATE = "The quarter is an estimate from what the steps that remain usually take. It is no promise."


def build_part_page(catalogue: OuterCatalogue, part: OuterPart) -> OuterPartPage:
    """Make the page of one part."""
    anchors = {vehicle.name: vehicle.anchor for vehicle in catalogue.vehicles}
    head = PageHead(
        f"{part.number} {part.name}",
        find_part_page(part.number),
        f"{part.name}: {word_state(part)}. Fits {word_fits(part.fits)}.",
        "parts",
        (Link("Parts", PARTS), Link(part.number, "")),
    )
    return OuterPartPage(
        head=head,
        name=part.name,
        number=part.number,
        fields=tuple(_list_fields(part, anchors)),
        note="Synthetic: made by the demo's generator." if part.synthetic else "",
        picture=build_picture(part, part.picture),
        no_picture="No picture is shown yet.",
        road=None if part.stage is None else _build_road(part, part.stage),
        standing=_word_standing(part),
        estimate=_ESTIMATE if part.expected else "",
        fits=_build_fits(part, anchors),
        contents=_build_contents(part) if part.contents else None,
        fitting=_build_fitting(part) if part.fitting else None,
        cautions=build_cautions(part),
    )


def _list_fields(part: OuterPart, anchors: dict[str, str]) -> list[OuterField]:
    """Return the fields of the title block after the name, as far as the edition says them."""
    fields = [
        OuterField("number", (Link(part.number, ""),), big=True),
        OuterField("to be had", (Link(word_state(part), ""),), mark=STATE_MARKS[part.state]),
        OuterField("safety class", (Link(part.safety.name, ""),)),
        OuterField("fits", tuple(_list_fits(part, anchors))),
    ]
    said = (
        ("family", part.family),
        ("replaces", word_list(part.replaces)),
        ("left, right", "" if part.hands is None else f"{part.hands.left}, {part.hands.right}"),
        ("price", word_price(part.price)),
    )
    return fields + [OuterField(label, (Link(words, ""),)) for label, words in said if words]


def _list_fits(part: OuterPart, anchors: dict[str, str]) -> list[Link]:
    found = []
    for vehicle in dict.fromkeys(fit.vehicle for fit in part.fits):
        words = word_fits(fit for fit in part.fits if fit.vehicle == vehicle)
        found.append(Link(words, find_vehicle(anchors[vehicle]) if vehicle in anchors else ""))
    return found


def _word_standing(part: OuterPart) -> str:
    """Return in a sentence where the part stands."""
    if part.state is OuterState.FOR_SALE:
        return "It is for sale."
    if part.state is OuterState.PAUSED:
        return "Work on it is on hold."
    words = "It is coming" if part.stage is None else STAGE_WORDS[part.stage]
    when = f"; expected for sale in {word_quarter(part.expected)}" if part.expected else ""
    return write_sentence(words + when)


def _build_road(part: OuterPart, stage: OuterStage) -> GateRail:
    gates = []
    for name, stages in _ROAD:
        last = name == _ROAD[-1][0]
        if stage.value > stages[-1].value or (last and stage is OuterStage.DONE):
            mark, words = Mark.PROVEN, "now" if last else "done"
        elif stage in stages:
            mark, words = Mark.IN_HAND, "now"
        elif last and part.expected:
            mark, words = Mark.PLANNED, f"expected {word_quarter(part.expected)}"
        else:
            mark, words = Mark.MISSING, "to come"
        gates.append(RailGate(name, words, mark, (RailPiece(mark, 1.0),), ()))
    words = ", ".join(f"{gate.name}: {gate.state}" for gate in gates)
    return GateRail(tuple(gates), words)


def _build_fits(part: OuterPart, anchors: dict[str, str]) -> Table:
    tried = bool(part.trials)
    columns = [Column("vehicle"), Column("body"), Column("years")]
    rows = []
    if tried and any(trial.hand for trial in part.trials):
        columns.append(Column("hand"))
    if tried:
        columns.append(Column("tried on it"))
    told: list[tuple[OuterFit, str, OuterTrialState | None]] = [(t.fit, t.hand, t.state) for t in part.trials]
    for fit, hand, state in told or [(fit, "", None) for fit in part.fits]:
        href = find_vehicle(anchors[fit.vehicle]) if fit.vehicle in anchors else ""
        cells = [
            Cell(build_line(Run(fit.vehicle, href=href))),
            Cell(build_line(word_body(fit.vehicle, fit.body))),
            Cell(build_line(word_years(fit.first, fit.last))),
        ]
        cells += [Cell(build_line(hand))] if len(columns) == 5 else []
        cells += [] if state is None else [Cell(build_line(state.value), _TRIAL_MARKS[state])]
        rows.append(Row(tuple(cells)))
    return Table("What it fits", tuple(columns), tuple(rows), "It fits no vehicle on record.")


def _build_contents(part: OuterPart) -> Table:
    rows = tuple(
        Row(
            (
                Cell(build_line(Run(one.number, href=find_part_page(one.number)))),
                Cell(build_line(one.name)),
                Cell(build_line(str(one.count))),
            )
        )
        for one in part.contents
    )
    return Table("What is in it", (Column("number"), Column("part"), Column("pieces", number=True)), rows, "")


def _build_fitting(part: OuterPart) -> Table:
    columns = (Column("where it meets the vehicle"), Column("wanted"), Column("decided by"))
    rows = tuple(
        Row(
            (
                Cell(build_line(gap.what)),
                Cell(build_line(Run(word_gap(Limits(lower=gap.lower, upper=gap.upper), gap.unit), Tone.STRONG))),
                Cell(build_line("; ".join(map(_word_feature, gap.features)) or "–")),
            )
        )
        for gap in part.fitting
    )
    return Table("For fitting", columns, rows, "")


def _word_feature(feature: OuterFeature) -> str:
    """Return a dimension with its limits: ``screw boss distance 41.89 mm ±0.25``."""
    ends = [one for one in (feature.lower, feature.upper) if one is not None]
    places = max(map(count_decimals, (feature.nominal, *ends)))
    nominal = with_unit(word_number(feature.nominal, places), feature.unit)
    limits = "" if not ends else f", {word_limits(Limits(lower=feature.lower, upper=feature.upper), places)}"
    return f"{feature.what} {nominal}{limits}"
