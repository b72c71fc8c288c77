"""Coverage for outsiders: what is to be had for a vehicle and its bodies, what is coming, where there is nothing."""

from __future__ import annotations

from itertools import groupby

from pipeline.portfolio.outer_part import OuterBody, OuterCatalogue, OuterPart, OuterState, OuterVehicle
from pipeline.views.outer_addresses import VEHICLES, find_part_page, find_vehicle_csv
from pipeline.views.outer_shapes import OuterMatrix, OuterVehiclesPage
from pipeline.views.outer_words import STATE_MARKS, word_state, word_years
from pipeline.views.shapes_marks import Link, Mark
from pipeline.views.shapes_site import MatrixCell, PageHead, VehicleColumn, VehicleGroup, VehicleMatrix, VehicleRow
from pipeline.views.wording import word_list

ALL = "Parts"


def build_vehicles_page(catalogue: OuterCatalogue) -> OuterVehiclesPage:
    """Make the page of vehicles: one matrix each, parts by family against bodies."""
    head = PageHead(
        "Vehicles", VEHICLES, "What you can get for yours, what is coming, and where there is nothing yet.", "vehicles"
    )
    matrices = tuple(_build_matrix(one, catalogue.parts) for one in catalogue.vehicles)
    return OuterVehiclesPage(head, matrices, "Nothing is announced yet.")


def _build_matrix(vehicle: OuterVehicle, parts: tuple[OuterPart, ...]) -> OuterMatrix:
    fitting = [part for part in parts if any(fit.vehicle == vehicle.name for fit in part.fits)]
    groups: dict[str, list[VehicleRow]] = {}
    for part in fitting:
        groups.setdefault(part.family or ALL, []).append(_build_row(vehicle, part))
    there = [part for part in fitting if part.state is OuterState.FOR_SALE]
    span = word_years(min(b.first for b in vehicle.bodies), max(b.last for b in vehicle.bodies))
    matrix = VehicleMatrix(
        vehicle.anchor,
        vehicle.name,
        span,
        tuple(VehicleColumn(body.name, word_years(body.first, body.last)) for body in vehicle.bodies),
        tuple(VehicleGroup(title, tuple(rows)) for title, rows in sorted(groups.items())),
        tuple(_count(vehicle, body, fitting) for body in vehicle.bodies),
        f"{len(there)} to be had, {len(fitting) - len(there)} coming",
        find_vehicle_csv(vehicle.anchor),
    )
    return OuterMatrix(matrix, tuple(_find_hole(vehicle, body, fitting) for body in vehicle.bodies))


def _build_row(vehicle: OuterVehicle, part: OuterPart) -> VehicleRow:
    cells = tuple(_build_cell(vehicle, body, part) for body in vehicle.bodies)
    return VehicleRow(Link(part.number, find_part_page(part.number)), part.name, cells)


def _find_spans(vehicle: OuterVehicle, body: OuterBody, part: OuterPart) -> list[tuple[int, int]]:
    return [(fit.first, fit.last) for fit in part.fits if fit.vehicle == vehicle.name and fit.body == body.name]


def _build_cell(vehicle: OuterVehicle, body: OuterBody, part: OuterPart) -> MatrixCell:
    spans = _find_spans(vehicle, body, part)
    if not spans:
        return MatrixCell(Mark.NOT_NEEDED, "not for it")
    whole = min(first for first, _ in spans) <= body.first and max(last for _, last in spans) >= body.last
    years = "" if whole else f", {word_list([word_years(*span) for span in spans])}"
    words = "to be had" if part.state is OuterState.FOR_SALE else word_state(part)
    return MatrixCell(STATE_MARKS[part.state], f"{words}{years}", find_part_page(part.number))


def _count(vehicle: OuterVehicle, body: OuterBody, parts: list[OuterPart]) -> str:
    mine = [part for part in parts if _find_spans(vehicle, body, part)]
    there = sum(part.state is OuterState.FOR_SALE for part in mine)
    return f"{there} of {len(mine)}" if mine else "none"


def _find_hole(vehicle: OuterVehicle, body: OuterBody, parts: list[OuterPart]) -> MatrixCell:
    """Return the years of a body for which nothing is to be had and nothing is coming."""
    spans = [span for part in parts if part.state is not OuterState.PAUSED for span in _find_spans(vehicle, body, part)]
    years = [y for y in range(body.first, body.last + 1) if not any(first <= y <= last for first, last in spans)]
    if not years:
        return MatrixCell(Mark.NOT_NEEDED, "no year without")
    if len(years) == body.last - body.first + 1:
        return MatrixCell(Mark.MISSING, "nothing yet")
    runs = [[y for _, y in run] for _, run in groupby(enumerate(years), lambda pair: pair[1] - pair[0])]
    return MatrixCell(Mark.MISSING, f"nothing yet for {word_list([word_years(run[0], run[-1]) for run in runs])}")
