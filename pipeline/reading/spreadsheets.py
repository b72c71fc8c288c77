"""Spreadsheets, xlsx and CSV, as plain cells with their addresses; bounded, and nothing in them is ever run.

An xlsx file is a zip of XML: its size unpacked is looked at before a byte is unpacked, and the XML reader refuses
entities. A formula is never worked out; the value that the sheet last showed is taken where it is stored, and said.
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

MAX_FILE = 20_000_000
MAX_UNPACKED = 200_000_000
MAX_RATIO = 200
MAX_PARTS = 2_000
MAX_ROWS = 20_000
MAX_COLUMNS = 200
MAX_CELL = 5_000

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
    csv.field_size_limit(MAX_CELL)
    rows: list[tuple[Cell, ...]] = []
    try:
        for number, line in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=mark), 1):
            _refuse_size(name, number, len(line))
            rows.append(tuple(Cell(f"{name_column(i)}{number}", value) for i, value in enumerate(line)))
    except csv.Error as error:
        raise SheetError(f"{name}, row {len(rows) + 1}: {error}") from None
    return Sheet(name, tuple(rows), tuple(notes))


def _refuse_size(name: str, rows: int, columns: int) -> None:
    if rows > MAX_ROWS or columns > MAX_COLUMNS:
        raise SheetError(f"{name} has more than {MAX_ROWS:,} rows or {MAX_COLUMNS} columns; split it")


def check_zip(name: str, content: bytes) -> None:
    """Refuse a zip that would unpack to more than any sheet of parts holds. Raises SheetError."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        raise SheetError(f"{name} is damaged: {error}") from None
    total = sum(member.file_size for member in members)
    worst = max((m.file_size / max(m.compress_size, 1) for m in members if m.file_size > 1_000_000), default=0.0)
    if len(members) > MAX_PARTS or total > MAX_UNPACKED or worst > MAX_RATIO:
        raise SheetError(
            f"{name} would unpack to {total:,} bytes in {len(members)} files; that is no sheet of parts, and is refused"
        )


def _read_xlsx(name: str, content: bytes, wanted: str | None) -> Sheet:
    check_zip(name, content)
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
    merged = dict(_spread_merged(page))
    rows = tuple(_read_row(page, shown, number, merged) for number in range(1, page.max_row + 1))
    epoch = dt.date(1904, 1, 1) if book.epoch.year == 1904 else dt.date(1899, 12, 30)
    return Sheet(title, rows, tuple(notes), epoch)


def _spread_merged(page: Any) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield (row, column) of every cell inside a merged area, with the cell that holds its value."""
    for area in page.merged_cells.ranges:
        for row in range(area.min_row, area.max_row + 1):
            for column in range(area.min_col, area.max_col + 1):
                yield (row, column), (area.min_row, area.min_col)


def _read_row(page: Any, shown: Any, number: int, merged: dict[tuple[int, int], tuple[int, int]]) -> tuple[Cell, ...]:
    return tuple(_read_cell(page, shown, number, column, merged) for column in range(1, page.max_column + 1))


def _read_cell(page: Any, shown: Any, row: int, column: int, merged: dict[tuple[int, int], tuple[int, int]]) -> Cell:
    at = merged.get((row, column), (row, column))
    cell, value = page.cell(*at), shown.cell(*at).value
    address = f"{name_column(column - 1)}{row}"
    is_formula = cell.data_type == "f"
    if isinstance(value, dt.datetime):
        value = value.date()
    if isinstance(value, str) and len(value) > MAX_CELL:
        raise SheetError(f"{address} holds {len(value):,} characters; at most {MAX_CELL:,}")
    if not isinstance(value, str | int | float | bool | dt.date | None):
        value = str(value)
    return Cell(address, value, is_formula, _show_noughts(value, str(cell.number_format)))


def _show_noughts(value: Any, form: str) -> str | None:
    """Return a whole number as a format such as `00000` shows it."""
    if isinstance(value, int) and not isinstance(value, bool) and re.fullmatch(r"0{2,}", form):
        return str(value).zfill(len(form))
    return None
