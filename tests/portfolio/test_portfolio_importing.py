"""Five hundred messy rows: each gives a record, or a refusal that names the cell; nothing is guessed in silence, and
nothing is ever written over."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pipeline.cli.program import group
from pipeline.portfolio.check import check_workspace
from pipeline.portfolio.importing import ImportPlan, Outcome, SheetMap, parse_map, plan_import
from pipeline.portfolio.importing_cells import Column, Refused, read_cell
from pipeline.portfolio.near import read_near
from pipeline.reading.spreadsheets import Cell, Sheet, read_sheet
from pipeline.writing.sheets import LIVE, render_csv, render_xlsx

Sample = Callable[..., Path]
EPOCH = dt.date(1899, 12, 30)
MAP = """\
sheet: Parts
header: [2, 3]
columns:
  Part No.: part
  Description: name
  Fits / Model: {to: fits.vehicle, words: {Fnc: finch}}
  Fits / Body: fits.body
  Fits / Years: fits.years
  Started: {to: opened, day: dmy}
  Length: {to: features.length.nominal, unit: mm}
  Sales a year: demand.per_year
  Price: {to: demand.price, money: USD}
features: {length: {what: overall length, kind: size, limits: [-0.2, 0.2]}}
defaults: {family: cast, safety: S0, engineer: ann}
ignore: [Remarks]
"""


def build_messy_rows() -> list[tuple[list[Any], str, str]]:
    """Return 500 rows as (cells, what becomes of the row, the address or word that must be told)."""
    rows: list[tuple[list[Any], str, str]] = []
    for i in range(500):
        number, row = f"AB-{i:03}", i + 4
        cells: list[Any] = [
            number,
            f"Hook {i}",
            "Fnc",
            "saloon",
            "1951-55",
            dt.datetime(2026, 1, 5),
            "101.6",
            200 + i,
            "12.50",
        ]
        want, told = "new", ""
        kind = i % 20
        if kind == 1:
            cells[5], told = "05/02/2026", f'F{row} "05/02/2026" read as 2026-02-05'
        elif kind == 2:
            cells[5], told = 46058, f"F{row} day number 46058 read as 2026-02-05"
        elif kind == 3:
            cells[6], told = '4"', f'G{row} 4" read as 101.6 mm'
        elif kind == 4:
            cells[6], told = "4 1/2 in", f"G{row} 4 1/2 in read as 114.3 mm"
        elif kind == 5:
            cells[6], want, told = "101,6", "refused", f"G{row}: "
        elif kind == 6:
            cells[1], want, told = '=HYPERLINK("x")', "refused", f"B{row}: a formula"
        elif kind == 7:
            cells[0], told = ("00042" if i == 7 else f"00{i}"), ""
        elif kind == 8:
            cells[0], told = f"ab {i:03}", f'A{row} "ab {i:03}" written as AB-{i:03}'
        elif kind == 9:
            cells[2], want, told = "Unknown", "refused", f"C{row}: "
        elif kind == 10:
            cells, want, told = list(rows[-9][0]), "repeats a row", f"row {row - 9}"
        elif kind == 11:
            cells = list(rows[i - 11][0])
            cells[1], want, told = "Another name", "refused", f"row {row - 11} too"
        elif kind == 12:
            cells = list(rows[i - 12][0])
            cells[3], cells[4], want = "estate", "1952-1955", "another application"
        elif kind == 13:
            cells[0], want, told = None, "refused", f"A{row}: the part number is missing"
        elif kind == 14:
            cells[5], want, told = "31/02/2026", "refused", f"F{row}: "
        elif kind == 15:
            cells[8], want, told = "cheap", "refused", f"I{row}: "
        elif kind == 16:
            cells[1], want, told = "@SUM(A1)", "refused", f"B{row}: "
        elif kind == 17:
            cells[4], want, told = "51-55", "refused", f"E{row}: "
        elif kind == 18:
            cells[7], told = "1,200", f'H{row} "1,200" read as 1200'
        elif kind == 19:
            cells[6], want, told = "4 furlongs", "refused", f"G{row}: "
        rows.append((cells, want, told))
    return rows


@pytest.fixture(scope="module")
def messy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Parts"
    page["A1"] = "All our parts, state of spring"
    page.merge_cells("A1:J1")
    for column, name in enumerate(
        ("Part No.", "Description", "Fits", None, None, "Started", "Length", "Sales a year", "Price", "Remarks"), 1
    ):
        page.cell(2, column).value = name
    page.merge_cells("C2:E2")
    for column, name in zip("CDE", ("Model", "Body", "Years"), strict=True):
        page[f"{column}3"] = name
    for column in "ABFGHIJ":
        page.merge_cells(f"{column}2:{column}3")
    for row, (cells, _, _) in enumerate(build_messy_rows(), 4):
        for column, value in enumerate(cells, 1):
            cell = page.cell(row, column)
            cell.value = value
            if value == "@SUM(A1)":
                cell.data_type = "s"
    page["A11"].value, page["A11"].number_format = 42, "00000"
    path = tmp_path_factory.mktemp("messy") / "parts.xlsx"
    book.save(path)
    return path


@pytest.fixture
def shop(sample: Sample) -> Path:
    return sample()


def plan(root: Path, path: Path) -> ImportPlan:
    how = parse_map(MAP)
    return plan_import(root, read_sheet(path, how.sheet), how)


def test_every_messy_row_gives_a_record_or_a_named_refusal(shop: Path, messy: Path) -> None:
    found = plan(shop, messy)
    assert len(found.rows) == 500
    by_row = {row.row: row for row in found.rows}
    for number, (cells, want, told) in enumerate(build_messy_rows(), 4):
        row = by_row[number]
        assert row.outcome == want, (number, cells, row.outcome, row.words)
        said = " | ".join(
            [row.words, *(f"{n.address} {n.words}" for n in row.notes), *(f"{n.address}: {n.words}" for n in row.notes)]
        )
        assert told in said, (number, cells, said)
        assert row.words or want == "new", "a refusal has words"
    assert by_row[11].number == "00042" and "leading noughts" in by_row[11].notes[0].words
    assert {name: to for _, name, to in found.columns}["Remarks"] == "left out, as the map says"
    assert ("C", "Fits / Model", "fits.vehicle") in found.columns


def test_what_is_written_passes_the_check_and_a_second_run_changes_nothing(
    shop: Path, messy: Path, tmp_path: Path
) -> None:
    (tmp_path / "map.yaml").write_text(MAP, "utf-8")
    words = ["import", str(messy), "--map", str(tmp_path / "map.yaml"), "-w", str(shop)]
    before = sorted(shop.rglob("*"))
    assert group.main(words, standalone_mode=False) == 1
    assert sorted(shop.rglob("*")) == before, "a dry run writes nothing"
    assert group.main([*words, "--write"], standalone_mode=False) == 1
    first = {p: p.read_bytes() for p in shop.rglob("part.yaml")}
    assert len(first) == 1 + sum(want == "new" for _, want, _ in build_messy_rows())
    assert group.main([*words, "--write", "--update"], standalone_mode=False) == 1
    assert {p: p.read_bytes() for p in shop.rglob("part.yaml")} == first
    again = plan(shop, messy)
    assert again.count(Outcome.NEW) == 0 and again.count(Outcome.DIFFERS) == 0
    assert again.count(Outcome.SAME) == len(first) - 1
    near, _ = read_near(shop, "AB-000")
    assert near is not None and near.part is not None and not [f for f in near.findings if f.severity == "error"]
    assert {key: str(fit.years) for key, fit in near.part.fits.items()} == {
        "saloon": "1951–1955",
        "estate": "1952–1955",
    }
    assert read_near(shop, "AB-003")[0].part.features["length"].nominal == 101.6  # type: ignore[union-attr]


def test_a_record_that_is_there_is_never_written_over(shop: Path, tmp_path: Path) -> None:
    record = shop / "projects/SD-100/part.yaml"
    before = record.read_bytes()
    sheet = tmp_path / "p.csv"
    sheet.write_text("part,name,note\nSD-100,Better hook,see drawer 4\n", "utf-8")
    for extra in ([], ["--write"], ["--update"]):
        group.main(["import", str(sheet), "-w", str(shop), *extra], standalone_mode=False)
        assert record.read_bytes() == before
    assert group.main(["import", str(sheet), "-w", str(shop), "--write", "--update"], standalone_mode=False) == 0
    lines = record.read_text("utf-8").splitlines()
    assert [line for line in lines if line not in before.decode().splitlines()] == [
        "name: Better hook",
        "note: see drawer 4",
    ]


def test_what_a_sheet_adds_to_a_decided_record_keeps_its_day_and_accuses_nobody(sample: Sample, tmp_path: Path) -> None:
    """Another application, and a feature that the map calls critical; an undecided record gets neither with a day."""
    sheet, how = tmp_path / "p.csv", tmp_path / "map.yaml"
    sheet.write_text("part,id,vehicle,body,years,eye\nSD-100,saloon,finch,saloon,1951-1955,8\n"
                     "SD-100,estate,finch,estate,1952-1955,8\n", "utf-8")  # fmt: skip
    how.write_text("columns: {part: part, id: fits.id, vehicle: fits.vehicle, body: fits.body, years: fits.years, "
                   "eye: {to: features.eye.nominal, unit: mm}}\n"
                   "features: {eye: {what: eye, kind: size, limits: [0, 0.1], critical: true}}\n", "utf-8")  # fmt: skip
    words = ["import", str(sheet), "--map", str(how), "--write", "--update", "-w"]
    decided, begun = sample(), sample("decisions: []\n")
    for root, day in ((decided, ", since: 2026-06-01"), (begun, "")):
        assert group.main([*words, str(root)], standalone_mode=False) == 0
        text = (root / "projects/SD-100/part.yaml").read_text("utf-8")
        assert f"  estate: {{vehicle: finch, body: estate, years: 1952-1955{day}}}\n" in text
        assert f"critical: true, nominal: 8, unit: mm{day}}}\n" in text
        assert group.main([*words, str(root)], standalone_mode=False) == 0  # a second run changes nothing
        assert (root / "projects/SD-100/part.yaml").read_text("utf-8") == text
    assert {found.rule for found in check_workspace(decided).findings if found.rule.startswith("G")} == {"G607"}


def test_an_export_comes_back_the_same_and_holds_no_live_formula(shop: Path, tmp_path: Path) -> None:
    record = shop / "projects/SD-100/part.yaml"
    record.write_text(
        record.read_text("utf-8").replace("name: Sample hook", 'name: "=cmd|x"\nnote: "@A1 and -1"'), "utf-8"
    )
    for name in ("p.csv", "p.xlsx"):
        target = tmp_path / name
        assert group.main(["export", str(target), "-w", str(shop)], standalone_mode=False) == 0
        sheet = read_sheet(target)
        assert not any(cell.is_formula for row in sheet.rows for cell in row)
        from pipeline.portfolio.importing import OWN_MAP

        found = plan_import(shop, sheet, OWN_MAP)
        if name == "p.csv":
            text = target.read_text("utf-8-sig")
            assert not any(cell.startswith(LIVE) for row in csv.reader(io.StringIO(text)) for cell in row)
            assert [row.outcome for row in found.rows] == ["same"], found.rows
        else:
            assert [row.outcome for row in found.rows] == ["refused"] and "begins like a formula" in found.rows[0].words
    with pytest.raises(Exception, match="--force"):
        group.main(["export", str(tmp_path / "p.csv"), "-w", str(shop)], standalone_mode=False)


@pytest.mark.parametrize("value", ["=1", "+1", "-1", "@x", "\t=1", "\r=1", " =1"])
def test_no_cell_of_a_csv_is_taken_for_a_formula(value: str) -> None:
    row = next(iter(list(csv.reader(io.StringIO(render_csv(["a"], [[value]]), newline="")))[1:]))
    assert row[0].startswith("'")
    made = io.BytesIO(render_xlsx("x", ["a"], [[value]]))
    assert openpyxl.load_workbook(made).active["A2"].data_type == "s"


@pytest.mark.parametrize(
    ("to", "value", "more", "want"),
    [
        ("opened", "2026-05-04", {}, dt.date(2026, 5, 4)), ("opened", "13/05/2026", {}, dt.date(2026, 5, 13)),
        ("opened", "05/13/2026", {}, dt.date(2026, 5, 13)), ("opened", "04/05/2026", {"day": "mdy"}, dt.date(2026, 4, 5)),
        ("opened", "04/05/2026", {}, None), ("opened", "99999999", {}, None), ("opened", True, {}, None),
        ("features.x.nominal", "1/2", {"unit": "in"}, "12.7"), ("features.x.nominal", "10", {}, None),
        ("features.x.nominal", 2.5, {"unit": "cm"}, "25"), ("features.x.nominal", "-0.25 in", {}, "-6.35"),
        ("features.x.nominal", "1/0 in", {}, None), ("features.x.nominal", "112.40", {"unit": "mm"}, "112.40"),
        ("demand.price", "1,250.50 EUR", {}, "1250.50 EUR"), ("demand.price", "12", {}, None), ("demand.price", "-5 USD", {}, None),
        ("confidential", "x", {}, True), ("confidential", "maybe", {}, None), ("part", "t", {}, None), ("part", "index", {}, None), ("part", "Com1", {}, None), ("part", 12.0, {}, "12"),
        ("fits.years", "1951 – 1955", {}, "1951-1955"), ("fits.years", 1953.0, {}, 1953), ("fits.years", "1955-1951", {}, None),
        ("name", "a\u202eb", {}, None), ("name", "  two   words ", {}, "two words"),
    ],
)  # fmt: skip
def test_cells_say_what_they_mean_or_are_refused(to: str, value: Any, more: dict[str, str], want: Any) -> None:
    column = Column("X", to, **more)
    if want is None:
        with pytest.raises(Refused):
            read_cell(Cell("A1", value), column, EPOCH)
    else:
        assert read_cell(Cell("A1", value), column, EPOCH).value == want


@pytest.mark.parametrize(
    "text",
    [
        "",
        "columns: []",
        "columns: {A: name}",
        "columns: {A: part, B: nowhere}",
        "columns: {A: part, B: part}",
        "columns: {A: {to: part, colour: x}}",
        "columns: {A: part}\nheader: zero",
        "columns: {A: part}\nextra: 1",
        "columns: {A: {to: opened, day: yyy}}",
        "a: [",
        "columns: {A: part}\ndefaults: {colour: x}",
    ],
)
def test_a_map_that_cannot_be_used_says_why(text: str) -> None:
    with pytest.raises(ValueError) as caught:
        parse_map(text)
    assert len(str(caught.value)) > 10


def test_thousands_of_rows_are_planned(shop: Path) -> None:
    rows = [tuple(Cell(f"{c}1", v) for c, v in zip("ABCDE", ("part", "name", "vehicle", "body", "years"), strict=True))]
    for i in range(2, 3002):
        rows.append(
            tuple(Cell(f"{c}{i}", v) for c, v in zip("ABCDE", (f"P-{i}", "x", "finch", "saloon", "1951"), strict=True))
        )
    import dataclasses

    from pipeline.portfolio.importing import OWN_MAP

    how: SheetMap = dataclasses.replace(OWN_MAP, defaults={"family": "cast", "safety": "S0", "engineer": "ann"})
    found = plan_import(shop, Sheet("s", tuple(rows)), how)
    assert found.count(Outcome.NEW) == 3000
