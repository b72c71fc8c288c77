"""Coverage by vehicle and body: what is released, what is coming, and where the holes are."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.lineage.coverage import CellState, compute_coverage
from pipeline.model.catalogue import Body, Vehicle
from pipeline.model.words import Gate, GateState
from pipeline.portfolio.portfolio import PartFile, Portfolio
from pipeline.views.addresses import VEHICLES, find_part_page, name_vehicle_anchor
from pipeline.views.shapes_marks import Link, Mark
from pipeline.views.shapes_site import (
    MatrixCell,
    PageHead,
    VehicleColumn,
    VehicleGroup,
    VehicleMatrix,
    VehicleRow,
    VehiclesPage,
)
from pipeline.views.states import find_gate_mark, is_ordered
from pipeline.views.vehicles_years import build_years
from pipeline.views.wording import word_count


def build_vehicles_page(portfolio: Portfolio) -> VehiclesPage:
    """Make the page of vehicles: one matrix each, parts by family against bodies."""
    head = PageHead("Vehicles", VEHICLES, "What is released, what is coming, and where the holes are.", "vehicles")
    catalogue = portfolio.workspace.catalogues.vehicles.vehicles if portfolio.workspace is not None else {}
    files = list(portfolio.parts.values())
    matrices = tuple(_build_matrix(key, vehicle, files) for key, vehicle in catalogue.items())
    return VehiclesPage(head, matrices, "No vehicle is recorded. Write one in shared/vehicles.yaml.")


def _build_matrix(key: str, vehicle: Vehicle, files: list[PartFile]) -> VehicleMatrix:
    fitting = [file for file in files if any(fit.vehicle == key for fit in file.part.fits.values())]
    rows = {file.number: _build_row(key, vehicle, file) for file in fitting}
    families: dict[str, list[VehicleRow]] = {}
    for file in fitting:
        name = file.workspace.catalogues.families.families[file.part.family].name
        families.setdefault(name, []).append(rows[file.number])
    columns = tuple(VehicleColumn(body.name, str(body.years)) for body in vehicle.bodies.values())
    years = [body.years for body in vehicle.bodies.values()]
    span = f"{min(one.first for one in years)}–{max(one.last for one in years)}"
    groups = tuple(VehicleGroup(name, tuple(found)) for name, found in sorted(families.items()))
    bodies = tuple(vehicle.bodies)
    marks = {(body, number): row.cells[at].mark for number, row in rows.items() for at, body in enumerate(bodies)}
    heads, by_year = build_years(key, vehicle, fitting, marks)
    return VehicleMatrix(
        name_vehicle_anchor(key),
        vehicle.name,
        span,
        columns,
        groups,
        _count_columns(len(columns), rows.values()) if rows else (),
        _summarise(fitting, rows.values()),
        f"data/vehicle-{key}.csv" if rows else "",
        heads,
        by_year,
        f"data/years-{key}.csv",
    )


def _summarise(files: list[PartFile], rows: Iterable[VehicleRow]) -> str:
    if not files:
        return "no part fits it yet"
    released = sum(file.standing.released for file in files)
    coming = sum(is_ordered(file) and not file.standing.released for file in files)
    marks = [cell.mark for row in rows for cell in row.cells]
    rest = f"{word_count(marks.count(Mark.MISSING), 'hole')}, {marks.count(Mark.STALE)} stale"
    return f"{word_count(len(files), 'part')}, {released} released, {coming} with tools on order, {rest}"


def _count_columns(count: int, rows: Iterable[VehicleRow]) -> tuple[str, ...]:
    totals = []
    found = list(rows)
    for at in range(count):
        marks = [row.cells[at].mark for row in found if row.cells[at].mark is not Mark.NOT_NEEDED]
        totals.append(f"{marks.count(Mark.PROVEN)} of {len(marks)} released")
    return tuple(totals)


def _build_row(key: str, vehicle: Vehicle, file: PartFile) -> VehicleRow:
    cells = tuple(_build_cell(key, body_key, body, file) for body_key, body in vehicle.bodies.items())
    hole = any(cell.mark is Mark.MISSING for cell in cells)
    return VehicleRow(Link(file.number, find_part_page(file.number)), file.part.name, cells, hole)


def _build_cell(vehicle: str, body_key: str, body: Body, file: PartFile) -> MatrixCell:
    """Return what is known of one part on one body."""
    names = [k for k, fit in file.part.fits.items() if fit.vehicle == vehicle and fit.body == body_key]
    if not names:
        return MatrixCell(Mark.NOT_NEEDED, "not for it")
    mark, words = _judge(file, names)
    spans = [file.part.fits[name].years for name in names]
    whole = min(s.first for s in spans) <= body.years.first and max(s.last for s in spans) >= body.years.last
    years = "" if whole else f", {' and '.join(str(span) for span in spans)}"
    return MatrixCell(mark, f"{words}{years}", find_part_page(file.number, "coverage"))


def _judge(file: PartFile, names: list[str]) -> tuple[Mark, str]:
    standing = file.standing
    if standing.released:
        return Mark.PROVEN, "released"
    if standing.state in (GateState.HELD, GateState.DROPPED):
        return find_gate_mark(file, standing.gate or Gate.TOOLING), str(standing.state)
    states = [c.state for c in compute_coverage(file.part, file.lineage).cells if c.application in names]
    if CellState.STALE in states:
        return Mark.STALE, "stale"
    if CellState.BAD in states:
        return Mark.MISSING, "hole: did not fit"
    if file.part.fit_checks and CellState.MISSING in states:
        waived = find_gate_mark(file, Gate.FIT_CHECK) is Mark.PROVEN
        return (Mark.WAIVED, "waived, not tried") if waived else (Mark.MISSING, "hole: not tried")
    if is_ordered(file):
        return Mark.PLANNED, "coming: tools ordered"
    gate = standing.gate or Gate.TOOLING
    if standing.state is GateState.READY:
        return Mark.READY, f"decide {gate}"
    if standing.state is GateState.STALE:
        return Mark.STALE, f"{gate} stale"
    if standing.state is GateState.NOT_STARTED:
        return Mark.IN_HAND if gate is not Gate.MEASURE else Mark.PLANNED, f"next: {gate}"
    return Mark.IN_HAND, f"in work: {gate}"
