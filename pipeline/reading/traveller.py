"""A filled-in traveller: the sheet that goes to the vehicle with a sample, as CSV.

One row for each interface that was measured on one vehicle and hand. Rows that agree in `with`, `car`, `fits`, `hand`,
`on` and `by` make one fit check.

    column     what stands in it
    with       prototype or first article that was tried, e.g. P1
    car        vehicle that it was tried on (shared/vehicles.yaml, cars)
    fits       application, as the record names it
    hand       left, right, or empty
    on         day, 2026-05-20
    by         who tried it; seen_by: who looked besides
    interface  interface of this row, or empty where only features were looked at
    gaps       measured gaps in the interface's unit, separated by blanks: 0.6 0.8 0.7
    covers     further features that were looked at, separated by blanks
    result     good, bad or open
    note       what was seen
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, field

from pipeline.reading.source import describe_hidden, find_hidden

COLUMNS = ("with", "car", "fits", "hand", "on", "by", "seen_by", "interface", "gaps", "covers", "result", "note")
NEEDED = ("with", "car", "fits", "on", "by", "result")
MAX_ROWS = 2_000


@dataclass(frozen=True, slots=True)
class TriedRow:
    """One fit check of a traveller, as text, and the rows (numbers from 1, heading included) that it was read from."""

    values: dict[str, str]
    gaps: dict[str, list[str]]
    covers: tuple[str, ...]
    rows: tuple[int, ...] = field(default=())


def parse_traveller(content: bytes) -> tuple[tuple[TriedRow, ...], tuple[str, ...]]:
    """Return the fit checks of a traveller, and what is wrong with it, each with its row. Empty rows are passed over.

    UTF-8 with or without a byte order mark, separated by commas or semicolons.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return (), (f"byte {error.start + 1} is not UTF-8 text; save the sheet as CSV UTF-8",)
    hidden = find_hidden(text)
    if hidden is not None:
        row = text.count("\n", 0, hidden) + 1
        return (), (f"row {row}: {describe_hidden(text[hidden])}",)
    first = text.splitlines()[0] if text.strip() else ""
    mark = ";" if first.count(";") > first.count(",") else ","
    table: list[list[str]] = []
    try:
        table.extend(csv.reader(io.StringIO(text, newline=""), delimiter=mark))
    except csv.Error as error:
        return (), (f"row {len(table) + 1}: {error}",)
    if not table:
        return (), ("the traveller is empty",)
    names = [name.strip().casefold() for name in table[0]]
    unknown = [name for name in names if name and name not in COLUMNS]
    missing = [name for name in NEEDED if name not in names]
    if unknown or missing or len(set(names)) < len(names):
        faults = [f'there is no column "{name}"' for name in unknown] + [
            f'the column "{name}" is missing' for name in missing
        ]
        return (), tuple(faults) or ("a column stands twice",)
    if len(table) > MAX_ROWS:
        return (), (f"{len(table):,} rows; a traveller has at most {MAX_ROWS:,}",)
    return _group(names, table[1:])


def _group(names: list[str], table: list[list[str]]) -> tuple[tuple[TriedRow, ...], tuple[str, ...]]:
    found: dict[tuple[str, ...], TriedRow] = {}
    faults: list[str] = []
    for number, cells in enumerate(table, 2):
        row = dict.fromkeys(COLUMNS, "") | {n: c.strip() for n, c in zip(names, cells, strict=False) if n}
        if not any(row[name] for name in ("gaps", "covers", "result", "note")):
            continue  # not tried
        lacking = [name for name in NEEDED if not row[name]]
        if lacking:
            faults.append(f"row {number}: {', '.join(lacking)} left empty")
            continue
        gaps, fault = _parse_gaps(row["gaps"])
        if fault or (gaps and not row["interface"]):
            faults.append(f"row {number}: {fault or 'gaps without an interface'}")
            continue
        _add(found, row, gaps, number, faults)
    return tuple(found.values()), tuple(faults)


def _parse_gaps(text: str) -> tuple[list[str], str | None]:
    gaps = text.split()
    for gap in gaps:
        if not re.fullmatch(r"-?(?:0|[1-9]\d*)(?:\.\d+)?", gap):
            return [], f'"{gap}" is not a gap; write millimetres with a decimal point, blanks between'
    return gaps, None


def _add(
    found: dict[tuple[str, ...], TriedRow], row: dict[str, str], gaps: list[str], number: int, faults: list[str]
) -> None:
    key = tuple(row[name] for name in ("with", "car", "fits", "hand", "on", "by"))
    known = found.get(key)
    if known is None:
        values = {name: row[name] for name in COLUMNS if name not in ("interface", "gaps", "covers")}
        inside = {row["interface"]: gaps} if gaps else {}
        found[key] = TriedRow(values, inside, tuple(row["covers"].split()), (number,))
        return
    for name in ("result", "seen_by"):
        if row[name] and known.values[name] and row[name] != known.values[name]:
            faults.append(f"row {number}: {name} is {row[name]}, in row {known.rows[0]} it is {known.values[name]}")
            return
    if gaps and row["interface"] in known.gaps:
        faults.append(f"row {number}: {row['interface']} stands twice for {row['fits']}")
        return
    values = {name: known.values[name] or row[name] for name in known.values}
    inside = {**known.gaps, **({row["interface"]: gaps} if gaps else {})}
    covers = tuple(dict.fromkeys((*known.covers, *row["covers"].split())))
    found[key] = TriedRow(values, inside, covers, (*known.rows, number))
