"""All parts as rows of a spreadsheet: what `pipeline import` reads back, with the state of each part beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pipeline.model.part import Part
from pipeline.portfolio.importing import OWN_COLUMNS
from pipeline.portfolio.portfolio import PartFile

HEADINGS = (*OWN_COLUMNS, "revision", "state")


def build_rows(files: Sequence[PartFile]) -> list[dict[str, Any]]:
    """Return a row for each application of each part, by part number; what is derived (revision, state) comes last."""
    return [row for file in files for row in _build_part_rows(file)]


def _build_part_rows(file: PartFile) -> Iterator[dict[str, Any]]:
    part = file.part
    state = "released" if file.standing.released else f"{file.standing.gate} gate {file.standing.state}"
    for key, fit in part.fits.items():
        years = fit.years.first if fit.years.first == fit.years.last else f"{fit.years.first}-{fit.years.last}"
        yield {
            "part": part.part, "name": part.name, "family": part.family, "safety": part.safety.value,
            "engineer": part.engineer, "opened": part.opened, "note": part.note, "application": key,
            "vehicle": fit.vehicle, "body": fit.body, "years": years, **_build_demand(part),
            "revision": file.lineage.current, "state": state,
        }  # fmt: skip


def _build_demand(part: Part) -> dict[str, Any]:
    demand = part.demand
    if demand is None:
        return {}
    span = demand.per_year
    row: dict[str, Any] = {"per year, low": span.low, "per year, likely": span.likely, "per year, high": span.high}
    row["price"] = f"{demand.price.amount} {demand.price.currency}"
    row["cost"] = None if demand.cost is None else f"{demand.cost.amount} {demand.cost.currency}"
    return row


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value == int(value):
        return int(value)
    return "" if value is None else value


def build_table(files: Sequence[PartFile]) -> list[list[Any]]:
    """Return the rows as lists in the order of the headings."""
    return [[_plain(row.get(name)) for name in HEADINGS] for row in build_rows(files)]
