"""The traveller: its rows, the CSV into which it is typed, what it warns of, and where its code leads."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.model.words import GateState
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.reading.traveller import COLUMNS, parse_traveller
from pipeline.views.csv_tables import join_line
from pipeline.views.shapes_charts import QrCode
from pipeline.views.traveller import (
    LONGEST_ADDRESS,
    build_traveller,
    find_code_text,
    find_traveller,
    has_traveller,
    list_rows,
    render_empty_traveller,
)

Sample = Callable[..., Path]
HANDED = """\
hands: {left: SD-100-L, right: SD-100-R, relation: mirror}
fits:
  saloon: {vehicle: finch, body: saloon, years: 1951-1955}
  late: {vehicle: finch, body: estate, years: 1955-1956}
interfaces:
  seat: {what: hook to sill, gap: {limits: [0.1, 0.9]}, features: [length]}
  tip: {what: tip to glass, gap: {limits: [0.5, null]}, features: [length]}
prototypes:
  P1: {of: A, process: print, on: 2026-02-01, hand: left}
  P2: {of: A, process: print, on: 2026-02-02, hand: right}
fit_checks:
  F1: {with: P1, on: 2026-02-05, by: ann, seen_by: bob, car: car-1, fits: saloon, hand: left, gaps: {seat: [0.4, 0.5], tip: [0.8]}, result: good}
  F2: {with: P2, on: 2026-02-05, by: ann, car: car-1, fits: saloon, hand: right, gaps: {seat: [2.0]}, result: bad}
"""


def build_one(root: Path) -> PartFile:
    return build_portfolio(root).parts["SD-100"]


def test_there_is_a_row_for_every_interface_that_is_still_open(sample: Sample) -> None:
    """Worked by hand: the left hand fits the saloon; the right did not; nobody tried the estate of 1955-1956."""
    rows = list_rows(build_one(sample(HANDED)))
    assert [(r.line, r.fits, r.hand, r.interface, r.sample, r.car) for r in rows] == [
        (2, "saloon", "right", "seat", "P2", "car-1"),
        (3, "saloon", "right", "tip", "P2", "car-1"),
        (4, "late", "left", "seat", "P1", ""),
        (5, "late", "left", "tip", "P1", ""),
        (6, "late", "right", "seat", "P2", ""),
        (7, "late", "right", "tip", "P2", ""),
    ]
    assert [row.limits for row in rows[:2]] == ["gap 0.10 to 0.90 mm", "gap at least 0.50 mm"]
    sheet = build_traveller(build_one(sample(HANDED)))
    assert [(g.fits, g.hand, g.state) for g in sheet.groups] == [
        ("saloon", "right", "F2 did not fit"), ("late", "left", "not tried yet"), ("late", "right", "not tried yet"),
    ]  # fmt: skip
    assert [g.cars for g in sheet.groups] == ["car-1 (1953)", *["no vehicle on record: find one of these years"] * 2]


def test_sheet_and_csv_have_the_same_rows_and_a_filled_one_is_read_back(sample: Sample) -> None:
    file = build_one(sample(HANDED))
    sheet = build_traveller(file)
    table = list(csv.reader(io.StringIO(sheet.csv)))
    assert tuple(table[0]) == COLUMNS and sheet.csv == render_empty_traveller(file)
    shown = [row for group in sheet.groups for row in group.rows]
    assert [(row.fits, row.hand, row.interface) for row in shown] == [(r[2], r[3], r[7]) for r in table[1:]]
    assert parse_traveller(sheet.csv.encode()) == ((), ())  # nothing is filled in: nothing was tried
    for number, row in ((shown[1].line, table[shown[1].line - 1]), (shown[3].line, table[shown[3].line - 1])):
        row[1] = row[1] or "car-2"
        row[4], row[5], row[10] = "2026-06-01", "ann", "good"
        row[8] = f"0.{number}"
    filled = io.StringIO()
    csv.writer(filled).writerows(table)
    tried, faults = parse_traveller(filled.getvalue().encode())
    assert faults == ()
    assert [(one.values["fits"], one.values["with"], one.gaps, one.rows) for one in tried] == [
        ("saloon", "P2", {"tip": ["0.3"]}, (3,)), ("late", "P1", {"tip": ["0.5"]}, (5,)),
    ]  # fmt: skip


def test_a_part_without_interfaces_is_tried_as_a_whole(sample: Sample) -> None:
    (row,) = list_rows(build_one(sample("interfaces: {}\nfit_checks: {}\n")))
    assert (row.interface, row.what, row.limits) == ("", "the whole part", "")


def test_the_sample_to_take_is_one_that_still_stands_and_a_stale_one_is_called_so(sample: Sample) -> None:
    revised = (
        "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
        "  B: {on: 2026-02-20, by: ann, changed: [length], why: longer}\n"
    )
    old = build_traveller(build_one(sample(revised)))
    assert join_line(old.sample).startswith("Current revision B. Take P1, printed sample of revision A, 1 Feb 2026. ")
    assert "It no longer stands" in join_line(old.sample) and "overall length" in join_line(old.sample)
    built = (
        revised
        + "prototypes:\n  P2: {of: B, process: print, on: 2026-02-25}\n  P1: {of: A, process: print, on: 2026-03-01}\n"
    )
    new = build_traveller(build_one(sample(built)))
    assert join_line(new.sample) == "Current revision B. Take P2, printed sample of revision B, 25 Feb 2026. "
    assert {row.sample for group in new.groups for row in group.rows} == {"P2"}


def test_without_a_model_or_a_sample_it_says_what_comes_first(sample: Sample) -> None:
    none = "prototypes: {}\nfit_checks: {}\nquotes: {}\ntools: {}\ndecisions: []\n"
    assert "build a prototype of A first" in join_line(build_traveller(build_one(sample(none))).sample)
    bare = build_traveller(build_one(sample(none + "revisions: {}\nfeatures: {}\ninterfaces: {}\nmeasurements: {}\n")))
    assert "There is no model yet" in join_line(bare.sample)
    assert bare.features == () and "under features:" in bare.no_features


def test_features_show_what_an_instrument_should_read(sample: Sample) -> None:
    """40 -0.2/+0.2 is 39.8 to 40.2; only critical ones are listed, all of them where none is critical."""
    (length,) = build_traveller(build_one(sample())).features
    assert (length.key, length.nominal, length.limits, length.unit) == ("length", "40.0", "39.8 to 40.2", "mm")
    one_sided = (
        "features:\n  length: {what: length, kind: size, nominal: 40, limits: [-0.25, null], unit: mm}\n"
        "  hard: {what: hardness, kind: hardness, nominal: 50, limits: [null, 5], unit: HRC}\n"
        "  free: {what: free, kind: size, nominal: 7, unit: mm}\n"
    )
    found = build_traveller(build_one(sample(one_sided))).features
    assert [(f.key, f.limits) for f in found] == [("length", "at least 39.75"), ("hard", "at most 55"), ("free", "")]


def test_what_is_missing_is_told_in_plain_words(sample: Sample) -> None:
    sheet = build_traveller(
        build_one(
            sample(
                "prototypes: {}\nfit_checks: {}\nquotes: {}\ntools: {}\ndecisions: []\noriginals:\n  O1: {condition: used, from: lent}\nmeasurements: {}\nrevisions: {}\n"
            )
        )
    )
    assert sheet.gate == "measure"
    words = [join_line(line) for line in sheet.missing]
    assert words[0].startswith("measure: at least 2 originals measured that count; so far: 0 ")
    assert not any("quote" in line for line in words)


def test_every_sheet_warns_and_none_calls_a_part_safe() -> None:
    portfolio = build_portfolio(Path(__file__).parents[2])
    for file in portfolio.parts.values():
        assert has_traveller(file) is (file.standing.state is not GateState.DROPPED)
        if not has_traveller(file):
            continue
        sheet = build_traveller(file)
        last = sheet.cautions[-1]
        assert last.title == "A part that fits is not a safe part."
        assert "Local codes and licensed practice decide" in last.words
        assert last.strong is (file.part.safety.value != "S0")
        hazards = {original.hazard for original in file.part.originals.values() if original.hazard}
        assert all(any(hazard in caution.title for caution in sheet.cautions) for hazard in hazards)
        open_cells = {(group.fits, group.hand) for group in sheet.groups}
        assert len(open_cells) == len(sheet.groups)


def test_regulations_stand_in_one_line_so_that_the_sheet_stays_one_page(sample: Sample) -> None:
    text = "safety: S1\nsafety_review: {on: 2026-01-05, by: ann, regulations: [lamps], plan: test in a laboratory}\n"
    titles = {one.title: one.words for one in build_traveller(build_one(sample(text))).cautions}
    assert titles["Regulations to check."].startswith("US 108;")
    assert "US 108." not in titles and "Test plan." not in titles


# --- the code -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("site", "text"),
    [
        ("https://parts.example.invalid", "https://parts.example.invalid/parts/SD-100.html"),
        ("https://parts.example.invalid/in/house/", "https://parts.example.invalid/in/house/parts/SD-100.html"),
        ("http://192.0.2.7:8000/", "http://192.0.2.7:8000/parts/SD-100.html"),
        ("", "SD-100 parts/SD-100.html"),
        ("javascript:alert(1)//", "SD-100 parts/SD-100.html"),
        ("https://", "SD-100 parts/SD-100.html"),
        ("https://a b.invalid/", "SD-100 parts/SD-100.html"),
        ("https://[::1/", "SD-100 parts/SD-100.html"),
        ("https://x.invalid/?q=1", "SD-100 parts/SD-100.html"),
        ("https://x.invalid/\n", "SD-100 parts/SD-100.html"),
        ("https://" + "x" * LONGEST_ADDRESS + ".invalid", "SD-100 parts/SD-100.html"),
    ],
)
def test_the_code_holds_the_address_or_the_number(sample: Sample, site: str, text: str) -> None:
    file = build_one(sample())
    assert find_code_text(file, site)[0] == text
    (figure,) = build_traveller(file, site).figures
    assert isinstance(figure.chart, QrCode) and figure.chart.text == text


def test_the_shops_address_is_taken_where_the_sites_own_is_not_set(sample: Sample) -> None:
    shop = "name: Sample shop\nas_of: 2026-06-01\nsite: https://shop.example.invalid/site\n"
    file = build_one(sample(files={"shared/shop.yaml": shop}))
    assert find_code_text(file, "")[1] == "https://shop.example.invalid/site/parts/SD-100.html"
    assert find_code_text(file, "https://other.invalid")[0].startswith("https://other.invalid/")
    assert find_traveller("SD-100") == "travellers/SD-100.html"
