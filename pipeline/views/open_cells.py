"""What is still to be tried on a vehicle, and on which vehicles that can be done."""

from __future__ import annotations

from pipeline.lineage.coverage import Cell, CellState, compute_coverage
from pipeline.model.catalogue import Catalogues
from pipeline.model.part import Part
from pipeline.portfolio.portfolio import PartFile


def find_open_cells(file: PartFile) -> tuple[Cell, ...]:
    """Return the applications and hands without a good fit check that counts."""
    coverage = compute_coverage(file.part, file.lineage)
    return tuple(cell for cell in coverage.cells if cell.state is not CellState.GOOD)


def find_cars(catalogues: Catalogues, part: Part, application: str) -> tuple[str, ...]:
    """Return the vehicles on which an application can be tried: same vehicle and body, a year within its years."""
    fit = part.fits.get(application)
    return tuple(
        key
        for key, car in catalogues.vehicles.cars.items()
        if fit is not None
        and (car.vehicle, car.body) == (fit.vehicle, fit.body)
        and fit.years.first <= car.year <= fit.years.last
    )
