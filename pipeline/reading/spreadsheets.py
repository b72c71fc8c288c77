"""Spreadsheets, xlsx and CSV, as plain cells with their addresses; bounded, and nothing in them is ever run.

An xlsx file is a zip of XML: its size unpacked is looked at before a byte is unpacked, then every XML file in it is
looked through (document types, depth, how far the cells and the merged areas reach) before the workbook is made of it:
a file of five kilobytes can name a cell four million cells away. A formula is never worked out; the value that the
sheet last showed is taken where it is stored, and said.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.parsers import expat

MAX_FILE = 20_000_000
MAX_UNPACKED = 200_000_000
MAX_RATIO = 200
MAX_PARTS = 2_000
MAX_ROWS = 20_000
MAX_COLUMNS = 200
MAX_CELL = 5_000
MAX_CELLS = 1_000_000
"""Cells of all rows together, empty ones before the last filled one included."""
MAX_MERGED = 100_000
MAX_DEPTH = 60
MAX_DIGITS = 18

CellValue = str | int | float | bool | dt.date | None


class SheetError(ValueError):
    """A spreadsheet that cannot be read, with what would be right."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: its address (`C7`), its value, and where the value comes from.

    is_formula : the cell holds a formula; `value` is what the sheet last showed (None where that is not stored).
    shown : the digits that a number format shows for a whole number with leading noughts.
    """

    address: str
    value: CellValue
    is_formula: bool = False
    shown: str | None = None

    @property
    def is_empty(self) -> bool:
        """True when nothing stands in it."""
        return not self.is_formula and (self.value is None or (isinstance(self.value, str) and not self.value.strip()))


@dataclass(frozen=True, slots=True)
class Sheet:
    """The rows of one sheet, the first row first; `notes` say what was guessed about the file as a whole."""

    name: str
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    epoch: dt.date = dt.date(1899, 12, 30)


def name_column(index: int) -> str:
    """Return the letters of a column, counted from 0.

    >>> [name_column(i) for i in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def read_sheet(path: Path, sheet: str | None = None) -> Sheet:
    """Read one sheet of a .csv or .xlsx file. Raises SheetError, OSError where the file cannot be opened."""
    size = path.stat().st_size
    if size > MAX_FILE:
        raise SheetError(f"{path.name} has {size:,} bytes; at most {MAX_FILE:,} are read")
    content = path.read_bytes()
    if content.startswith(b"PK\x03\x04"):
        return _read_xlsx(path.name, content, sheet)
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetError(f"{path.name} is an old or encrypted workbook; save it as .xlsx or CSV")
    return _read_csv(path.name, content)


def _read_csv(name: str, content: bytes) -> Sheet:
    notes = []
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", "replace")
        notes.append("the file is not UTF-8; it was read as Windows-1252")
    if "\0" in text:
        raise SheetError(f"{name} holds NUL bytes: it is no CSV file")
    head = text[:20_000]
    mark = max(",;\t", key=head.count)
    if mark != ",":
        notes.append(f"cells are separated by {'tabs' if mark == chr(9) else 'semicolons'}")
    rows: list[tuple[Cell, ...]] = []
    cells = 0
    try:
        for number, line in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=mark), 1):
            cells += len(line)
            _refuse_size(name, number, len(line), cells)
            rows.append(tuple(_build_text_cell(name, i, number, value) for i, value in enumerate(line)))
    except csv.Error as error:
        raise SheetError(f"{name}, row {len(rows) + 1}: {error}") from None
    return Sheet(name, tuple(rows), tuple(notes))


def _build_text_cell(name: str, column: int, row: int, value: CellValue) -> Cell:
    address = f"{name_column(column)}{row}"
    if isinstance(value, str) and len(value) > MAX_CELL:
        raise SheetError(f"{name}: {address} holds {len(value):,} characters; at most {MAX_CELL:,}")
    return Cell(address, value)


def _refuse_size(name: str, rows: int, columns: int, cells: int = 0) -> None:
    if rows > MAX_ROWS or columns > MAX_COLUMNS or cells > MAX_CELLS:
        most = f"{MAX_ROWS:,} rows, {MAX_COLUMNS} columns or {MAX_CELLS:,} cells"
        raise SheetError(f"{name} has more than {most}; split it")


def check_zip(name: str, content: bytes) -> None:
    """Refuse a zip that would unpack to more than any sheet of parts holds. Raises SheetError."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            members = packed.infolist()
    except Exception as error:  # a damaged list of contents fails in any way; whatever it is, the file is at fault
        raise SheetError(f"{name} is damaged: {error}") from None
    total = sum(member.file_size for member in members)
    worst = max((m.file_size / max(m.compress_size, 1) for m in members if m.file_size > 1_000_000), default=0.0)
    if len(members) > MAX_PARTS or total > MAX_UNPACKED or worst > MAX_RATIO:
        raise SheetError(
            f"{name} would unpack to {total:,} bytes in {len(members)} files; that is no sheet of parts, and is refused"
        )


class _Look:
    """Looks through one XML file of a workbook, with the C parser, and refuses what would not stay small."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.depth = 0
        self.merged = 0

    def parse(self, raw: bytes) -> None:
        """Raise SheetError where the file is not what a sheet of parts holds."""
        parser = expat.ParserCreate()
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end
        parser.StartDoctypeDeclHandler = self.refuse_doctype
        try:
            parser.Parse(raw, True)
        except expat.ExpatError as error:
            raise SheetError(f"{self.name} is damaged: {expat.ErrorString(error.code)}") from None
        except SheetError:
            raise
        except (LookupError, ValueError) as error:
            raise SheetError(f"{self.name} is in an encoding that cannot be read: {error}") from None

    def refuse_doctype(self, *_: object) -> None:
        """A document type can hide entities that grow without end; no workbook has one."""
        raise SheetError(f"{self.name} is refused: it declares a document type")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise SheetError(f"{self.name} is refused: it is nested more than {MAX_DEPTH} deep")
        short = tag.rpartition(":")[2]
        if short in ("c", "row") and "r" in attributes:
            _refuse_size(self.name, *_parse_corner(attributes["r"]))
        elif short in ("mergeCell", "hyperlink"):  # the workbook's reader makes every cell of their areas
            self.take_merged(attributes.get("ref", ""))

    def end(self, tag: str) -> None:
        """An element ends."""
        del tag
        self.depth -= 1

    def take_merged(self, area: str) -> None:
        """Count the cells of a merged area: each would be made."""
        first, _, last = area.partition(":")
        (top, left), (bottom, right) = _parse_corner(first), _parse_corner(last or first)
        _refuse_size(self.name, max(top, bottom), max(left, right))
        self.merged += (abs(bottom - top) + 1) * (abs(right - left) + 1)
        if self.merged > MAX_MERGED:
            raise SheetError(f"{self.name} is refused: its merged or linked areas hold more than {MAX_MERGED:,} cells")


def _parse_corner(address: str) -> tuple[int, int]:
    """Return row and column of `$C$7`, `C7` or `7`; zeros where it is none (the workbook's reader says so)."""
    found = re.fullmatch(r"\$?([A-Za-z]{0,7})\$?([0-9]{1,15})", address.strip())
    if found is None:
        return (MAX_ROWS + 1, 0) if len(address) > 20 else (0, 0)
    column = 0
    for letter in found.group(1).upper():
        column = column * 26 + ord(letter) - 64
    return int(found.group(2)), column


def _look_through(name: str, content: bytes) -> None:
    """Look at every XML file of a workbook before anything is made of it. Raises SheetError."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for member in packed.infolist():
            if member.filename.lower().endswith((".xml", ".rels", ".vml")):
                try:
                    raw = packed.read(member)
                except Exception as error:  # a damaged zip fails in any way; whatever it is, the file is at fault
                    raise SheetError(f"{name} is damaged: {type(error).__name__}: {error}") from None
                _Look(f"{name}, {member.filename}").parse(raw)


def _read_xlsx(name: str, content: bytes, wanted: str | None) -> Sheet:
    check_zip(name, content)
    _look_through(name, content)
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    if not openpyxl.DEFUSEDXML:
        raise SheetError("defusedxml is not installed; without it no workbook is opened: pip install defusedxml")
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), data_only=False, keep_links=False)
        values = openpyxl.load_workbook(io.BytesIO(content), data_only=True, keep_links=False)
    except (
        InvalidFileException,
        KeyError,
        ValueError,
        TypeError,
        AttributeError,
        EOFError,
        zipfile.BadZipFile,
    ) as error:
        raise SheetError(f"{name} cannot be read as a workbook: {error}") from None
    except Exception as error:  # the XML reader's own refusals have no common class
        raise SheetError(f"{name} is refused: {type(error).__name__}: {error}") from None
    names = [one.title for one in book.worksheets]
    title = wanted or (names[0] if names else None)
    if title is None or title not in names:
        raise SheetError(f'{name} has no sheet "{wanted}"; it has {", ".join(names)}')
    page, shown = book[title], values[title]
    _refuse_size(name, page.max_row, page.max_column)
    notes = [f'sheet "{title}" of {len(names)}'] if len(names) > 1 and wanted is None else []
    rows = _read_rows(name, page, shown)
    epoch = dt.date(1904, 1, 1) if book.epoch.year == 1904 else dt.date(1899, 12, 30)
    return Sheet(title, rows, tuple(notes), epoch)


def _spread_merged(page: Any) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield (row, column) of every cell inside a merged area, with the cell that holds its value."""
    for area in page.merged_cells.ranges:
        for row in range(area.min_row, area.max_row + 1):
            for column in range(area.min_col, area.max_col + 1):
                yield (row, column), (area.min_row, area.min_col)


def _read_rows(name: str, page: Any, shown: Any) -> tuple[tuple[Cell, ...], ...]:
    """Return the rows up to the last filled cell of each. Cells that the file does not hold are not made: asking the
    workbook for one would make it, and a single cell far away would make millions."""
    stored: dict[tuple[int, int], Any] = page._cells
    merged = dict(_spread_merged(page))
    widths: dict[int, int] = {}
    for row, column in (*stored, *merged):
        widths[row] = max(widths.get(row, 0), column)
    last = max(widths, default=0)
    _refuse_size(name, last, max(widths.values(), default=0), sum(widths.values()))
    cells = (stored, shown._cells)
    return tuple(
        tuple(_read_cell(name, cells, row, column, merged) for column in range(1, widths.get(row, 0) + 1))
        for row in range(1, last + 1)
    )


def _read_cell(
    name: str, cells: tuple[Any, Any], row: int, column: int, merged: dict[tuple[int, int], tuple[int, int]]
) -> Cell:
    stored, shown = cells
    at = merged.get((row, column), (row, column))
    cell = stored.get(at)
    if cell is None:
        return Cell(f"{name_column(column - 1)}{row}", None)
    value = getattr(shown.get(at), "value", None)
    if isinstance(value, dt.datetime):
        value = value.date()
    if not isinstance(value, str | int | float | bool | dt.date | None):
        value = str(value)
    made = _build_text_cell(name, column - 1, row, value)
    if isinstance(value, int | float) and not abs(value) < 10**MAX_DIGITS:  # NaN is not below anything
        raise SheetError(f"{name}: {made.address} holds no finite number of at most {MAX_DIGITS} digits")
    return Cell(made.address, value, cell.data_type == "f", _show_noughts(value, str(cell.number_format)))


def _show_noughts(value: Any, form: str) -> str | None:
    """Return a whole number as a format such as `00000` shows it."""
    if isinstance(value, int) and not isinstance(value, bool) and re.fullmatch(r"0{2,}", form):
        return str(value).zfill(len(form))
    return None
