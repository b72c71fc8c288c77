"""From the rows of a spreadsheet to records: what each column becomes, what each row would write, what is refused.

Nothing is written here. A row gives a new record, a further application, a difference to a record that is there, or a
named refusal; a row never vanishes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from pipeline.findings.finding import Pointer
from pipeline.model.catalogue import Catalogues
from pipeline.portfolio.importing_cells import DAY_ORDERS, Column, Refused, read_cell
from pipeline.portfolio.near import Near, preview, read_near
from pipeline.reading.source import decode_source
from pipeline.reading.spreadsheets import Cell, Sheet, name_column
from pipeline.reading.tree import parse_tree
from pipeline.reading.workspace import build_part_path
from pipeline.writing.encoding import edit_bytes
from pipeline.writing.flow_text import render_flow, render_key, render_scalar, simplify
from pipeline.writing.names import find_name_fault, fold_name
from pipeline.writing.records import PART_ORDER, EditError, set_value

PLACES = (
    "part", "name", "family", "safety", "engineer", "confidential", "announce", "opened", "note", "fits.id",
    "fits.vehicle", "fits.body", "fits.years", "demand.per_year", "demand.per_year.low", "demand.per_year.likely",
    "demand.per_year.high", "demand.price", "demand.cost", "features.<id>.nominal",
)  # fmt: skip
"""Where a column can go."""


class Outcome(StrEnum):
    """What becomes of a row."""

    NEW = "new"
    SAME = "same"
    DIFFERS = "differs"
    ALSO = "another application"
    REPEAT = "repeats a row"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class SheetMap:
    """How a sheet is read: the rows of its heading (from 1), its columns, and values where a cell is empty."""

    columns: tuple[Column, ...]
    header: tuple[int, ...] | None = None
    sheet: str | None = None
    defaults: Mapping[str, str] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    features: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CellNote:
    """Something to know about one cell: its address, its place in the record, and whether it was guessed or refused."""

    address: str
    to: str
    kind: str
    words: str


@dataclass(frozen=True)
class RowPlan:
    """What one row becomes. content : the bytes of the record, as they would be. differences : place -> (old, new)."""

    row: int
    number: str | None
    outcome: Outcome
    notes: tuple[CellNote, ...] = ()
    words: str = ""
    before: bytes | None = None
    content: bytes | None = None
    differences: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class ImportPlan:
    """What a whole sheet becomes. columns : (letter, heading, place or why it is left out)."""

    columns: tuple[tuple[str, str, str], ...]
    rows: tuple[RowPlan, ...]
    notes: tuple[str, ...] = ()

    def count(self, outcome: Outcome) -> int:
        """Return how many rows have an outcome."""
        return sum(row.outcome is outcome for row in self.rows)


OWN_COLUMNS = {
    "part": "part", "name": "name", "family": "family", "safety": "safety", "engineer": "engineer",
    "opened": "opened", "note": "note", "application": "fits.id", "vehicle": "fits.vehicle", "body": "fits.body",
    "years": "fits.years", "per year, low": "demand.per_year.low", "per year, likely": "demand.per_year.likely",
    "per year, high": "demand.per_year.high", "price": "demand.price", "cost": "demand.cost",
}  # fmt: skip
"""Headings that `pipeline export` writes, and their places: a sheet with these needs no map."""

OWN_MAP = SheetMap(tuple(Column(name, to) for name, to in OWN_COLUMNS.items()), (1,), ignore=("state", "revision"))


def parse_map(text: str) -> SheetMap:
    """Return the map that a YAML text holds. Raises ValueError with what is wrong and where.

    sheet: Parts              # the first, if left out
    header: 2                 # row of the headings, or [1, 2] for headings in two rows
    columns:
      Part No.: part
      Model: {to: fits.vehicle, words: {Sdg: sedge}}
      Started: {to: opened, day: dmy}
      Length: {to: features.length.nominal, unit: in}
      Price: {to: demand.price, money: USD}
    defaults: {safety: S0, engineer: mara}
    features: {length: {what: overall length, kind: size}}
    ignore: [Remarks]
    """
    source, findings = decode_source("the map", text.encode("utf-8"))
    tree, more = (None, ()) if source is None else parse_tree("the map", source.text)
    problems = (*findings, *more)
    if tree is None or problems:
        raise ValueError(f"line {problems[0].location.line}: {problems[0].message}")
    value = tree.value
    unknown = set(value) - {"sheet", "header", "columns", "defaults", "features", "ignore"}
    if unknown or not isinstance(value.get("columns"), dict):
        raise ValueError(f"unknown key {', '.join(sorted(unknown))}" if unknown else "the map has no `columns`")
    columns = tuple(_parse_column(name, spec) for name, spec in value["columns"].items())
    places = [column.to for column in columns]
    twice = sorted({place for place in places if places.count(place) > 1})
    if twice or "part" not in places:
        raise ValueError(f"two columns go to {twice[0]}" if twice else "no column goes to `part`")
    return SheetMap(
        columns, _parse_header(value.get("header")), value.get("sheet"), _parse_defaults(value.get("defaults")),
        tuple(map(str, value.get("ignore") or ())), value.get("features") or {},
    )  # fmt: skip


def _parse_header(value: Any) -> tuple[int, ...] | None:
    rows = [value] if isinstance(value, int) else value or []
    if not isinstance(rows, list) or not all(isinstance(r, int) and 1 <= r <= 100 for r in rows) or len(rows) > 3:
        raise ValueError("`header` is the row of the headings, e.g. 2, or [1, 2]")
    return tuple(rows) or None


def _parse_defaults(value: Any) -> dict[str, str]:
    if value is None:
        return {}
    if not isinstance(value, dict) or not set(value) <= set(PLACES):
        raise ValueError(f"`defaults` holds values for {', '.join(PLACES[:-1])}")
    return {key: str(one) for key, one in value.items()}


def _parse_column(name: str, spec: Any) -> Column:
    given = {"to": spec} if isinstance(spec, str) else spec
    if not isinstance(given, dict) or not isinstance(given.get("to"), str):
        raise ValueError(f'"{name}" needs a place: `{name}: name`, or `{{to: name}}`')
    if set(given) - {"to", "words", "day", "unit", "money"}:
        raise ValueError(f'"{name}": keys are to, words, day, unit, money')
    to = given["to"]
    parts = to.split(".")
    is_feature = len(parts) == 3 and parts[0] == "features" and parts[2] == "nominal"
    if to not in PLACES and not is_feature:
        raise ValueError(f'"{name}": there is no place "{to}"; there is {", ".join(PLACES)}')
    if given.get("day") not in (None, *DAY_ORDERS):
        raise ValueError(f'"{name}": `day` is one of {", ".join(DAY_ORDERS)}')
    if given.get("unit") not in (None, "mm", "in", "cm", "um"):
        raise ValueError(f'"{name}": `unit` is mm, in, cm or um')
    words = {str(k): str(v) for k, v in (given.get("words") or {}).items()}
    return Column(name, to, words, given.get("day"), given.get("unit"), given.get("money"))


def plan_import(root: Path, sheet: Sheet, how: SheetMap, today: dt.date | None = None) -> ImportPlan:
    """Work out what every row of a sheet becomes in a workspace. Nothing is written.

    Raises ValueError where the heading cannot be found or the catalogues cannot be used.
    """
    near, problems = read_near(root, "NEW", today)
    if near is None:
        raise ValueError(f"the catalogues cannot be used: {problems[0].message}")
    header = how.header or _guess_header(sheet, how)
    places, columns = _match_columns(sheet, how, header)
    notes = list(sheet.notes)
    if how.header is None:
        notes.append(f"the headings were found in row {header[-1]}")
    planner = _Planner(near, sheet, how, places)
    rows = tuple(planner.plan(number, cells) for number, cells in enumerate(sheet.rows, 1) if number > header[-1])
    return ImportPlan(columns, tuple(row for row in planner.settle(rows) if row is not None), tuple(notes))


def _name_headings(sheet: Sheet, header: tuple[int, ...]) -> list[str]:
    """Return the heading of each column; those of several rows are joined with ` / `, a merged one stands once."""
    rows = [sheet.rows[number - 1] for number in header if number <= len(sheet.rows)]
    names = []
    for index in range(max((len(row) for row in rows), default=0)):
        parts = [
            " ".join(str(row[index].value).split()) for row in rows if index < len(row) and not row[index].is_empty
        ]
        names.append(" / ".join(dict.fromkeys(parts)))
    return names


def _guess_header(sheet: Sheet, how: SheetMap) -> tuple[int, ...]:
    wanted = {column.name.casefold() for column in how.columns}
    best, row = 0, 0
    for number in range(1, min(len(sheet.rows), 20) + 1):
        found = len(wanted & {name.casefold() for name in _name_headings(sheet, (number,))})
        if found > best:
            best, row = found, number
    if best * 2 < len(wanted):
        raise ValueError(f"no row has the headings {', '.join(sorted(wanted)[:6])}; say `header:` in the map")
    return (row,)


def _match_columns(
    sheet: Sheet, how: SheetMap, header: tuple[int, ...]
) -> tuple[dict[int, Column], tuple[tuple[str, str, str], ...]]:
    """Return the column of each index, and what became of every column of the sheet."""
    names = _name_headings(sheet, header)
    by_name = {" ".join(column.name.split()).casefold(): column for column in how.columns}
    by_letter = {column.name: column for column in how.columns if column.name.isupper() and len(column.name) <= 2}
    ignored = {name.casefold() for name in how.ignore}
    places: dict[int, Column] = {}
    told = []
    for index, name in enumerate(names):
        column = by_name.get(name.casefold()) or by_letter.get(name_column(index))
        if column is not None and column not in places.values():
            places[index] = column
            told.append((name_column(index), name, column.to))
        else:
            why = "left out, as the map says" if name.casefold() in ignored else "not in the map: left out"
            told.append((name_column(index), name, "the heading stands twice: left out" if column else why))
    missing = [column.name for column in how.columns if column not in places.values()]
    if "part" not in {column.to for column in places.values()}:
        raise ValueError(f"the sheet has no column {', '.join(missing)}; it has {', '.join(filter(None, names))}")
    told += [("-", name, "is in the map and not in the sheet") for name in missing]
    return places, tuple(told)


class _Planner:
    """Works the rows out one after the other and remembers what it has seen."""

    def __init__(self, near: Near, sheet: Sheet, how: SheetMap, places: dict[int, Column]) -> None:
        self.near = near
        self.catalogues: Catalogues = near.catalogues
        self.sheet = sheet
        self.how = how
        self.places = places
        self.seen: dict[str, tuple[int, dict[str, Any]]] = {}
        self.more: dict[str, list[dict[str, Any]]] = {}
        projects = near.root / "projects"
        self.folders = {fold_name(p.name): p.name for p in projects.iterdir()} if projects.is_dir() else {}

    def plan(self, row: int, cells: tuple[Cell, ...]) -> RowPlan | None:
        """Return what one row becomes, None for an empty one. Records are built in `settle`, when all is known."""
        if all(cell.is_empty for cell in cells):
            return None
        values, notes = self.read_values(cells)
        refused = [note for note in notes if note.kind == "refused"]
        number = values.get("part")
        if refused:
            words = "; ".join(f"{note.address}: {note.words}" for note in refused)
            return RowPlan(row, number, Outcome.REFUSED, notes, words)
        if number is None:
            address = next((f"{name_column(i)}{row}" for i, c in self.places.items() if c.to == "part"), f"A{row}")
            return RowPlan(row, None, Outcome.REFUSED, notes, f"{address}: the part number is missing")
        fault = self.find_number_fault(number)
        if fault is not None:
            return RowPlan(row, number, Outcome.REFUSED, notes, fault)
        return self.remember(row, number, values, notes)

    def find_number_fault(self, number: str) -> str | None:
        """Return why a number cannot be a folder here."""
        there = self.folders.get(fold_name(number))
        if there is not None and there != number:
            return f"projects/{there} differs from it only in capitals"
        return find_name_fault(number)

    def read_values(self, cells: tuple[Cell, ...]) -> tuple[dict[str, Any], tuple[CellNote, ...]]:
        """Return place -> value of a row, and what to know about its cells."""
        values: dict[str, Any] = {}
        notes = []
        for index, column in self.places.items():
            cell = cells[index] if index < len(cells) else None
            if cell is None or cell.is_empty:
                continue
            try:
                told = read_cell(cell, column, self.sheet.epoch)
            except Refused as error:
                notes.append(CellNote(cell.address, column.to, "refused", str(error)))
                continue
            values[column.to] = told.value
            if told.guess:
                notes.append(CellNote(cell.address, column.to, "guessed", told.guess))
        return values, tuple(notes)

    def remember(self, row: int, number: str, values: dict[str, Any], notes: tuple[CellNote, ...]) -> RowPlan:
        """Return what a row is to the rows before it: the first of its number, a further application, or a repeat."""
        known = self.seen.get(number)
        if known is None:
            self.seen[number] = (row, values)
            return RowPlan(row, number, Outcome.NEW, notes)
        first, before = known
        if values == before or values in self.more.get(number, []):
            return RowPlan(row, number, Outcome.REPEAT, notes, f"says the same as row {first}")
        other = {k: v for k, v in values.items() if not k.startswith("fits.")}
        differing = sorted(k for k, v in other.items() if before.get(k) != v)
        if differing or not any(k.startswith("fits.") for k in values):
            words = f"{number} stands in row {first} too, with another {', '.join(differing) or 'content'}"
            return RowPlan(row, number, Outcome.REFUSED, notes, words)
        self.more.setdefault(number, []).append(values)
        return RowPlan(row, number, Outcome.ALSO, notes, f"with row {first}")

    def settle(self, rows: tuple[RowPlan | None, ...]) -> Iterator[RowPlan]:
        """Build the records, and give further applications the outcome of their first row."""
        done: dict[str, RowPlan] = {}
        for row in rows:
            if row is None:
                continue
            if row.outcome is Outcome.NEW and row.number is not None:
                row = self.build(row, row.number, self.seen[row.number][1])
                done[str(row.number)] = row
            first = done.get(row.number or "")
            if row.outcome is Outcome.ALSO and first is not None and first.outcome is Outcome.REFUSED:
                row = replace(row, outcome=Outcome.REFUSED, words=f"row {first.row} of the same part is refused")
            yield row

    def build(self, row: RowPlan, number: str, values: dict[str, Any]) -> RowPlan:
        """Return the row with the record that it gives, checked by the rules of the workspace."""
        record = self.build_record(values, self.more.get(number, []))
        path = self.near.root / build_part_path(number)
        near = replace(self.near, number=number)
        if path.is_file():
            return self.compare(row, near, path.read_bytes(), record)
        lacking = [key for key in ("name", "family", "safety", "engineer") if key not in record]
        if lacking or not record["fits"]:
            named = ", ".join(lacking or ["vehicle, body and years"])
            return replace(row, outcome=Outcome.REFUSED, words=f"row {row.row}: no {named}, and no default in the map")
        content = render_record({"part": number, **record}).encode("utf-8")
        after = preview(near, content)
        faults = [f for f in after.findings if f.severity == "error"]
        if faults:
            words = "; ".join(f"{self.find_address(row.row, f.pointer)}: {f.message}" for f in faults)
            return replace(row, outcome=Outcome.REFUSED, words=words)
        return replace(row, content=content)

    def find_address(self, row: int, pointer: str) -> str:
        """Return the address of the cell that a finding speaks of, the row where no cell gave it."""
        keys = pointer.replace("[", ".").split(".")
        for index, column in self.places.items():
            to = column.to.split(".")
            same = keys[0] == to[0] and (to[0] != "features" or keys[1:2] == to[1:2])
            if same and (to[0] != "fits" or keys[-1] == to[-1]):
                return f"{name_column(index)}{row}"
        return f"row {row}"

    def build_record(self, values: dict[str, Any], more: list[dict[str, Any]]) -> dict[str, Any]:
        """Return the sections of a record, without its number."""
        known = {**self.how.defaults, **values}
        record: dict[str, Any] = {}
        for key in ("name", "family", "safety", "engineer", "confidential", "announce", "opened", "note"):
            if key in known:
                record[key] = known[key]
        fits: dict[str, Any] = {}
        for one in (known, *({**self.how.defaults, **other} for other in more)):
            add_application(fits, one)
        record["fits"] = fits
        features = {to.split(".")[1]: v for to, v in known.items() if to.startswith("features.")}
        if features:
            record["features"] = {key: self.build_feature(key, value) for key, value in features.items()}
        demand = build_demand(known)
        if demand:
            record["demand"] = demand
        return record

    def build_feature(self, key: str, nominal: Any) -> dict[str, Any]:
        """Return a feature: what the map says of it, and the nominal of the cell, in millimetres."""
        said = dict(self.how.features.get(key, {}))
        said.setdefault("what", key.replace("_", " "))
        said.setdefault("kind", "size")
        return {**said, "nominal": nominal, "unit": said.get("unit", "mm")}

    def compare(self, row: RowPlan, near: Near, content: bytes, record: dict[str, Any]) -> RowPlan:
        """Return what the row would change in a record that is there."""
        source, _ = decode_source(near.path, content)
        tree, _ = (None, ()) if source is None else parse_tree(near.path, source.text)
        if tree is None:
            return replace(row, outcome=Outcome.REFUSED, words=f"{near.path} cannot be read; mend it first")
        changes = dict(find_changes(tree.value, record))
        if tree.value.get("decisions"):
            changes = {place: (old, _say_since(place, old, new, near.today)) for place, (old, new) in changes.items()}
        if not changes:
            return replace(row, outcome=Outcome.SAME, before=content)
        try:
            after = edit_bytes(content, lambda text: _apply(text, changes))
        except EditError as error:
            return replace(row, outcome=Outcome.REFUSED, words=f"{near.path}: {error}")
        shown = {_name(p): (render_flow(old) if old is not None else "", render_flow(new))
                 for p, (old, new) in changes.items()}  # fmt: skip
        return replace(row, outcome=Outcome.DIFFERS, before=content, content=after, differences=shown)


def _say_since(place: Pointer, old: Any, new: Any, day: dt.date) -> Any:
    """Return what a sheet adds to a decided record: features and applications keep the day on which they come."""
    if old is not None or place[0] not in ("features", "fits") or not isinstance(new, Mapping):
        return new
    if len(place) == 1:
        return {key: {**entry, "since": day} for key, entry in new.items()}
    return {**new, "since": day}


def _name(pointer: Pointer) -> str:
    return ".".join(map(str, pointer))


def _apply(text: str, changes: Mapping[Pointer, tuple[Any, Any]]) -> str:
    for pointer, (_, new) in changes.items():
        text = set_value(text, pointer, new)
    return text


def find_changes(tree: Mapping[str, Any], record: Mapping[str, Any]) -> Iterator[tuple[Pointer, tuple[Any, Any]]]:
    """Yield (place, (old, new)) for each value that a sheet states otherwise; what it does not state is left alone."""
    for key, value in record.items():
        old = tree.get(key)
        if key in ("fits", "features", "demand") and isinstance(old, Mapping):
            yield from _find_inside(key, old, value)
        elif simplify(value) != old and value != {}:
            yield (key,), (old, value)


def _find_inside(key: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[tuple[Pointer, tuple[Any, Any]]]:
    if key == "fits":
        new = _match_applications(old, new)
    for name, value in new.items():
        there = old.get(name)
        if key != "demand" and isinstance(there, Mapping) and isinstance(value, Mapping):
            fields = ("nominal",) if key == "features" else tuple(value)
            for one in fields:
                if simplify(value[one]) != there.get(one):
                    yield (key, name, one), (there.get(one), value[one])
        elif simplify(value) != there:
            yield (key, name), (there, value)


def _match_applications(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """Give an application whose id was made up the id that the record has for the same vehicle, body and years."""
    found = {}
    for key, value in new.items():
        plain = simplify(value)
        same = [k for k, v in old.items() if isinstance(v, Mapping) and all(v.get(f) == plain.get(f) for f in plain)]
        if key not in old and same:
            key = same[0]
        found[key] = value
    return found


def add_application(fits: dict[str, Any], values: Mapping[str, Any]) -> None:
    """Add the application of a row, under the id of the sheet or the name of the body."""
    if not all(f"fits.{one}" in values for one in ("vehicle", "body", "years")):
        return
    entry = {one: values[f"fits.{one}"] for one in ("vehicle", "body", "years")}
    stem = key = str(values.get("fits.id") or values["fits.body"])
    count = 1
    while key in fits and fits[key] != entry:
        count += 1
        key = f"{stem}-{count}"
    fits[key] = entry


def build_demand(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the demand that a row states; one number stands for low, likely and high."""
    spread = [values.get(f"demand.per_year.{one}") for one in ("low", "likely", "high")]
    per_year: Any = values.get("demand.per_year")
    if all(one is not None for one in spread):
        per_year = spread if len(set(map(str, spread))) > 1 else spread[0]
    elif per_year is None:
        per_year = spread[1]
    price, cost = values.get("demand.price"), values.get("demand.cost")
    if per_year is None or price is None:
        return {}
    return {"per_year": per_year, "price": price, **({"cost": cost} if cost is not None else {})}


def render_record(record: Mapping[str, Any]) -> str:
    """Return the text of a new record: sections in the order of the story, entries on a line each."""
    lines: list[str] = []
    for key in (name for name in PART_ORDER if name in record):
        value = record[key]
        if key in ("fits", "features"):
            lines += ["", f"{key}:"] if key != "fits" else [f"{key}:"]
            lines += [f"  {render_key(str(k))}: {render_flow(v)}" for k, v in value.items()]
        elif isinstance(value, Mapping):
            lines += ["", f"{key}: {render_flow(value)}"]
        else:
            lines.append(f"{key}: {render_scalar(value)}")
    return "\n".join(lines) + "\n"
