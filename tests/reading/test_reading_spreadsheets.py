"""Spreadsheets as cells: merged headings, formulas, days and noughts; and files that must not be opened."""

from __future__ import annotations

import datetime as dt
import doctest
import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from pipeline.reading import large_files, spans, spreadsheets
from pipeline.reading.spreadsheets import MAX_CELL, Sheet, SheetError, check_zip, read_sheet
from pipeline.reading.traveller import parse_traveller


@pytest.mark.parametrize("module", [large_files, spans, spreadsheets])
def test_examples_run(module: object) -> None:
    found = doctest.testmod(module)  # type: ignore[arg-type]
    assert found.attempted and not found.failed


def read_csv(tmp_path: Path, content: bytes) -> Sheet:
    (tmp_path / "s.csv").write_bytes(content)
    return read_sheet(tmp_path / "s.csv")


@pytest.mark.parametrize(
    ("content", "notes"),
    [
        (b"a,b\r\n1,x\r\n", ()),
        (b"\xef\xbb\xbfa;b\n1;x\n", ("cells are separated by semicolons",)),
        (b"a\tb\n1\tx\n", ("cells are separated by tabs",)),
        ("a,b\n1,ü\n".encode("cp1252"), ("the file is not UTF-8; it was read as Windows-1252",)),
    ],
)
def test_csv_of_every_kind_is_read_with_addresses(tmp_path: Path, content: bytes, notes: tuple[str, ...]) -> None:
    sheet = read_csv(tmp_path, content)
    assert [cell.address for cell in sheet.rows[1]] == ["A2", "B2"] and sheet.rows[1][0].value == "1"
    assert sheet.notes == notes


def test_a_workbook_gives_days_noughts_merged_cells_and_what_formulas_showed(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    page["A1"], page["B1"] = "Part", "Made"
    page.merge_cells("B1:C1")
    page["A2"], page["B2"], page["C2"] = 42, dt.datetime(2026, 1, 2), "=1+1"
    page["A2"].number_format = "00000"
    book.save(tmp_path / "s.xlsx")
    sheet = read_sheet(tmp_path / "s.xlsx")
    assert [cell.value for cell in sheet.rows[0]] == ["Part", "Made", "Made"]
    part, day, formula = sheet.rows[1]
    assert (part.value, part.shown, day.value) == (42, "00042", dt.date(2026, 1, 2))
    assert formula.is_formula and formula.value is None and not formula.is_empty
    with pytest.raises(SheetError, match="no sheet"):
        read_sheet(tmp_path / "s.xlsx", "Other")


def build_zip(members: dict[str, bytes]) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(name, content)
    return made.getvalue()


def build_workbook() -> dict[str, bytes]:
    made = io.BytesIO()
    openpyxl.Workbook().save(made)
    with zipfile.ZipFile(made) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    members = build_workbook()
    bomb = build_zip({**members, "xl/worksheets/sheet1.xml": b" " * 250_000_000})
    assert len(bomb) < 1_000_000
    (tmp_path / "b.xlsx").write_bytes(bomb)
    with pytest.raises(SheetError, match="is refused"):
        read_sheet(tmp_path / "b.xlsx")
    check_zip("fine", build_zip(members))
    with pytest.raises(SheetError, match="is refused"):
        check_zip("many", build_zip({f"{n}": b"" for n in range(2001)}))


def test_entities_in_the_xml_are_refused(tmp_path: Path) -> None:
    members = build_workbook()
    entity = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaa"><!ENTITY b "&a;&a;&a;">]><x>&b;</x>'
    (tmp_path / "e.xlsx").write_bytes(build_zip({**members, "xl/workbook.xml": entity}))
    with pytest.raises(SheetError):
        read_sheet(tmp_path / "e.xlsx")


@pytest.mark.parametrize(
    "content",
    [b"PK\x03\x04 no zip", b"\xd0\xcf\x11\xe0 old", b"a,b\n\0,1\n", b"a\n" * 20_001, b",".join([b"a"] * 201), b'a,b\n"' + b"x" * (MAX_CELL + 9) + b'",1\n'],
)  # fmt: skip
@pytest.mark.hostile("spreadsheets (xlsx, CSV)", "too many rows, columns or letters; old and damaged files")
def test_what_is_no_sheet_of_parts_is_refused_with_words(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.csv").write_bytes(content)
    with pytest.raises(SheetError) as caught:
        read_sheet(tmp_path / "x.csv")
    assert "x.csv" in str(caught.value)


def test_a_traveller_says_what_is_wrong_row_by_row() -> None:
    head = "with,car,fits,hand,on,by,seen_by,interface,gaps,covers,result,note\n"
    good, faults = parse_traveller(
        (head + "P1,c,s,left,2026-01-01,a,b,seat,0.1 0.2,,good,\nP1,c,s,left,2026-01-01,a,b,rim,0.3,,good,x\n").encode()
    )
    assert (
        not faults
        and len(good) == 1
        and good[0].gaps == {"seat": ["0.1", "0.2"], "rim": ["0.3"]}
        and good[0].rows == (2, 3)
    )
    rows = ["P1,,s,,2026-01-01,a,,seat,0.1,,good,", "P1,c,s,,2026-01-01,a,,,0.1,,good,", "P1,c,s,,2026-01-01,a,,seat,wide,,good,",
            "P1,c,s,,2026-01-01,a,,seat,0.1,,good,", "P1,c,s,,2026-01-01,a,,seat,0.2,,good,", "P1,c,s,,2026-01-01,a,,rim,0.2,,bad,", ",,,,,,,,,,,"]  # fmt: skip
    made, faults = parse_traveller((head + "\n".join(rows)).encode())
    assert [fault.split(":")[0] for fault in faults] == ["row 2", "row 3", "row 4", "row 6", "row 7"] and len(made) == 1
    assert parse_traveller(b"with,who\n")[1][0] == 'there is no column "who"'
    assert "empty" in parse_traveller(b"")[1][0] and "UTF-8" in parse_traveller(b"\xff\xfe")[1][0]
