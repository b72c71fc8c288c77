"""Coverage of one vehicle by body and year: how many parts fit, how many of them are released, where nothing is."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from urllib.parse import urlencode

from pipeline.model.catalogue import Body, Vehicle
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import PARTS
from pipeline.views.shapes_marks import Mark
from pipeline.views.shapes_site import MatrixCell, YearRow
from pipeline.views.wording import word_count

NOT_BUILT = MatrixCell(Mark.NOT_NEEDED, "not built")
Marks = dict[tuple[str, str], Mark]
"""(body, part) -> how that part stands on that body, as the matrix of parts shows it."""


def build_years(
    key: str, vehicle: Vehicle, files: Sequence[PartFile], marks: Marks
) -> tuple[tuple[str, ...], tuple[YearRow, ...]]:
    """Return the heads of the columns and a row for each body. Years in which nothing differs stand in one column.

    marks : how each part stands on each body, as shown beside; a hole or something stale there shows here too.
    """
    first = min(body.years.first for body in vehicle.bodies.values())
    last = max(body.years.last for body in vehicle.bodies.values())
    fitting = {
        (name, year): _find_fitting(key, name, year, files)
        for name in vehicle.bodies
        for year in range(first, last + 1)
    }
    columns = {year: tuple(_say(name, body, year, fitting) for name, body in vehicle.bodies.items())
               for year in range(first, last + 1)}  # fmt: skip
    starts = [first, *(b for a, b in pairwise(range(first, last + 1)) if columns[a] != columns[b]), last + 1]
    spans = list(pairwise(starts))
    heads = tuple(str(a) if b == a + 1 else f"{a}–{b - 1}" for a, b in spans)
    rows = tuple(
        YearRow(body.name, tuple(_build_cell(vehicle, name, body, a, fitting[name, a], marks) for a, _ in spans))
        for name, body in vehicle.bodies.items()
    )
    return heads, rows


def _find_fitting(key: str, body: str, year: int, files: Sequence[PartFile]) -> tuple[PartFile, ...]:
    """Return the parts that fit a body in a year; what was dropped fits nothing."""
    return tuple(
        file
        for file in files
        if not file.standing.is_dropped
        and any(
            (fit.vehicle, fit.body) == (key, body) and fit.years.first <= year <= fit.years.last
            for fit in file.part.fits.values()
        )
    )


def _say(name: str, body: Body, year: int, fitting: dict[tuple[str, int], tuple[PartFile, ...]]) -> object:
    """Return what two years must have in common to stand in one column."""
    built = body.years.first <= year <= body.years.last
    return tuple(file.number for file in fitting[name, year]) if built else None


def _build_cell(
    vehicle: Vehicle, name: str, body: Body, year: int, files: tuple[PartFile, ...], marks: Marks
) -> MatrixCell:
    if not body.years.first <= year <= body.years.last:
        return NOT_BUILT
    if not files:
        return MatrixCell(Mark.MISSING, "no part")
    released = sum(file.standing.released for file in files)
    found = [marks.get((name, file.number)) for file in files]
    holes, stale = found.count(Mark.MISSING), found.count(Mark.STALE)
    mark = Mark.MISSING if holes else Mark.STALE if stale else Mark.IN_HAND
    more = f", {word_count(holes, 'hole')}" if holes else f", {stale} stale" if stale else ""
    if released == len(files):
        mark = Mark.PROVEN
    wanted = {"vehicle": vehicle.name, "body": body.name, "year": str(year)}
    return MatrixCell(mark, f"{released} of {len(files)}{more}", f"{PARTS}?{urlencode(wanted)}")
