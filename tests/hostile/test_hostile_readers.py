"""Every reader of foreign bytes keeps its promise: any bytes, damaged good files, and the inputs that once broke it."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hostile.reader_laws import LAWS, LOG, QIF, ROOT, SVG, TRAVELLER, build_workbook, build_zip, put_file
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.findings.finding import Finding
from pipeline.reading.meshes import read_mesh
from pipeline.reading.points import read_measured_file
from pipeline.reading.qif import read_qif
from pipeline.reading.spreadsheets import SheetError, read_sheet
from pipeline.reading.study_files import read_gauge_study, read_sample
from pipeline.reading.traveller import parse_traveller
from pipeline.sitegen.svg_cleaning import clean_svg

HERE = Path(__file__).parent
QUICK = settings(deadline=None, max_examples=60, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
NAMES = {
    "yaml": "YAML door", "points": "points and readings", "studies": "studies and samples", "meshes": "meshes (STL, PLY)",
    "qif": "QIF results", "sheets": "spreadsheets (xlsx, CSV)", "workbooks": "spreadsheets (xlsx, CSV)",
    "travellers": "travellers (CSV)", "lists": "evidence lists and references", "drawings": "drawings (SVG)",
    "pictures": "pictures for outsiders", "logs": "git's raw log",
}  # fmt: skip


def name_each(what: str) -> list[object]:
    """Return one case for each reader, marked with its name."""
    return [pytest.param(name, marks=pytest.mark.hostile(NAMES[name], what), id=name) for name in LAWS]


@pytest.mark.parametrize("name", name_each("any bytes (hypothesis)"))
def test_any_bytes_are_taken_or_refused_in_words(name: str) -> None:
    @QUICK
    @given(st.binary(max_size=400))
    def check(raw: bytes) -> None:
        LAWS[name].obey(raw)

    check()


@pytest.mark.parametrize("name", name_each("good files cut, doubled and overwritten (hypothesis)"))
def test_a_damaged_good_file_is_taken_or_refused_in_words(name: str) -> None:
    seeds = LAWS[name].build_seeds()

    @QUICK
    @given(st.sampled_from(seeds), st.integers(0, 10_000), st.integers(0, 40), st.binary(max_size=12))
    def check(seed: bytes, at: int, cut: int, put: bytes) -> None:
        at %= len(seed) + 1
        LAWS[name].obey(seed[:at] + put + seed[at + cut :])
        LAWS[name].obey(seed[:at])

    check()


NUMBERS = ["nan", "NaN", "inf", "-Infinity", "1e999", "-1e400", "1_000", "0x1p4", "٣", "１２", "9" * 400, "1e15", "--1"]


@pytest.mark.parametrize("number", [pytest.param(n, marks=[pytest.mark.hostile(who, "numbers that are none, not finite, huge or in other scripts") for who in ("points and readings", "studies and samples", "QIF results")], id=n[:12]) for n in NUMBERS])  # fmt: skip
def test_what_is_no_finite_number_is_refused_by_every_reader_of_numbers(number: str) -> None:
    points = put_file("n.csv", f"# unit: mm\ng,1,2,3\ng,1,{number},3\n".encode())
    found, findings = read_measured_file(ROOT, points)
    assert found is None and findings[0].location.line in (2, 3)
    for read, text in (
        (read_measured_file, f"feature,n,reading,unit\nlength,1,{number},mm\n"),
        (read_gauge_study, f"# unit: mm\npart,appraiser,trial,value\n1,a,1,{number}\n"),
        (read_sample, f"# unit: mm\nvalue\n{number}\n"),
    ):
        found, findings = read(ROOT, put_file("n.csv", text.encode()))  # type: ignore[operator]
        assert found is None if number != "1e15" else found is not None, (read, findings)
    values, findings = read_qif(ROOT, put_file("n.qif", QIF.replace(b">25.0<", f">{number}<".encode())))
    assert values is None and all(isinstance(f, Finding) for f in findings)


HIDDEN = ["\x1b[31m", "\x1b]0;t\x07", "\u202e", "\u2066", "\x9b", "\u200b", "\U000e0041"]


@pytest.mark.parametrize("hidden", [pytest.param(h, marks=[pytest.mark.hostile(who, "bidirectional and control characters") for who in ("points and readings", "studies and samples", "QIF results", "travellers (CSV)")], id=ascii(h)) for h in HIDDEN])  # fmt: skip
def test_names_that_steer_a_terminal_or_turn_text_round_are_refused(hidden: str) -> None:
    for read, text in (
        (read_measured_file, f"# unit: mm\n{hidden}g,1,2,3\n"),
        (read_measured_file, f"feature,n,reading,unit\nlen{hidden}gth,1,2,mm\n"),
        (read_gauge_study, f"# unit: mm\npart,appraiser,trial,value\n1,{hidden},1,2\n"),
    ):
        found, findings = read(ROOT, put_file("h.csv", text.encode()))  # type: ignore[operator]
        assert found is None and findings[0].location.line >= 2 and "cannot be seen" in findings[0].message
    found, findings = read_qif(ROOT, put_file("h.qif", QIF.replace(b">rim<", f">r{hidden}<".encode())))
    assert found is None and findings
    rows, faults = parse_traveller(TRAVELLER.replace(b"good,x", f"good,{hidden}".encode()))
    assert not rows and faults == (
        f"row 3: the character U+{ord(hidden[0]):04X} cannot be seen and can hide what a record says",
    )


@pytest.mark.hostile("QIF results", "encodings that XML must not have")
@pytest.mark.parametrize("encoding", [b"utf-7", b"UTF-6", b"cp037", b"hex", b"idna", b"utf-16", b"\xff"])
def test_an_encoding_that_cannot_be_read_is_a_finding(encoding: bytes) -> None:
    found, findings = read_qif(ROOT, put_file("e.qif", QIF.replace(b"UTF-8", encoding)))
    assert found is None and len(findings) == 1


@pytest.mark.hostile("QIF results", "factors of units that make infinity")
@pytest.mark.parametrize("factor", [b"1e308", b"1e-320", b"0", b"-1", b"nan"])
def test_a_unit_that_makes_a_part_endless_is_refused(factor: bytes) -> None:
    found, _ = read_qif(ROOT, put_file("f.qif", QIF.replace(b"0.001<", factor + b"<")))
    assert (found is None) == (factor != b"1e-320")


LAUGHS = b"<!DOCTYPE x [" + b"".join(
    b'<!ENTITY a%d "%s">' % (i, b"&a%d;" % (i - 1) * 10 if i else b"ha" * 10) for i in range(10)
) + b"]>"  # fmt: skip


@pytest.mark.hostile("QIF results", "entity expansion")
def test_entities_in_results_are_refused_before_they_grow() -> None:
    raw = QIF.replace(b"<QIFDocument", LAUGHS + b"<QIFDocument", 1).replace(b">rim<", b">&a9;<")
    start = time.perf_counter()
    found, findings = read_qif(ROOT, put_file("l.qif", raw))
    assert found is None and "document type" in findings[0].message
    assert time.perf_counter() - start < 2


@pytest.mark.hostile("QIF results", "deep nesting")
def test_results_nested_without_end_are_refused() -> None:
    found, findings = read_qif(ROOT, put_file("d.qif", QIF.replace(b"<Results>", b"<a>" * 100_000 + b"<Results>")))
    assert found is None and "deep" in findings[0].message


@pytest.mark.hostile("studies and samples", "heads that lie (found by the fuzzer)")
@pytest.mark.parametrize(
    "head", ["value,value", "piece,value,piece", "value,,", "part,appraiser,trial,value,value", ",value"]
)
def test_a_table_whose_head_lies_is_told(head: str) -> None:
    text = f"# unit: mm\n{head}\n1\n1,2\n1,2,3\n1,2,3,4\n1,2,3,4,5\n"
    for read in (read_sample, read_gauge_study):
        found, findings = read(ROOT, put_file("s.csv", text.encode()))  # type: ignore[operator]
        assert found is None and findings


@pytest.mark.hostile("meshes (STL, PLY)", "corners that are not there, counts that lie, endless numbers")
@pytest.mark.parametrize(
    ("name", "raw"),
    [
        ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n"),
        ("b.ply", b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 -9\n"),
        ("c.ply", b"ply\nformat binary_little_endian 1.0\nelement vertex 999999999999\nproperty float x\nproperty float y\nproperty float z\nend_header\n"),
        ("d.ply", b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\nnan 0 0\n0 1e999 0\n3 0 1 2\n"),
        ("e.stl", b"\0" * 80 + b"\xff\xff\xff\xff" + b"\0" * 50),
        ("f.stl", b"solid x\nfacet normal 0 0 0\nouter loop\nvertex nan 0 0\nvertex 1e999 0 0\nvertex 0 0 1\nendloop\nendfacet\nendsolid\n"),
        ("g.ply", b"ply\nformat ascii 1.0\ncomment TextureFile ../../../etc/passwd\nelement vertex 0\nend_header\n"),
    ],
    ids=["corner beyond", "corner below", "count beyond", "not finite", "lying count", "not finite text", "texture path"],
)  # fmt: skip
def test_a_mesh_that_lies_is_a_finding(name: str, raw: bytes) -> None:
    mesh, findings = read_mesh(ROOT, put_file(name, raw))
    assert mesh is None and findings


@pytest.mark.hostile("travellers (CSV)", "line ends, zero bytes and quotes out of place")
@pytest.mark.parametrize(
    "text", [b"with\rcar", b"with,car\n\0", b'with,"car\n', b'"' + b"x" * 200_000 + b'"', b"\r\r\r"]
)
def test_a_traveller_that_is_no_table_is_told(text: bytes) -> None:
    rows, faults = parse_traveller(text)
    assert not rows and faults


@pytest.mark.hostile("travellers (CSV)", "gaps that are no numbers")
@pytest.mark.parametrize("gap", ["nan", "1e999", "٣", "0x1", "1,5", "=1+1", "1" * 400 + "e5"])
def test_a_gap_that_is_no_number_is_told_with_its_row(gap: str) -> None:
    rows, faults = parse_traveller(TRAVELLER.replace(b"0.3", f'"{gap}"'.encode()))
    assert len(rows) == 1 and any(fault.startswith("row 3") for fault in faults)


SHEET = "xl/worksheets/sheet1.xml"
FRAME = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>%s</sheetData>%s</worksheet>'
DEEP = b"<a>" * 5_000 + b"</a>" * 5_000
WORKBOOKS: dict[str, tuple[dict[str, bytes], str]] = {
    "a merged area of seventeen thousand million cells": ({SHEET: FRAME % (b"", b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>')}, "more than"),
    "a merged area of all that is read": ({SHEET: FRAME % (b"", b'<mergeCells><mergeCell ref="A1:GR20000"/></mergeCells>')}, "merged"),
    "many merged areas": ({SHEET: FRAME % (b"", b"<mergeCells>" + b'<mergeCell ref="A1:GR900"/>' * 50 + b"</mergeCells>")}, "merged"),
    "a link over all cells": ({SHEET: FRAME % (b"", b'<hyperlinks><hyperlink ref="A1:XFD1048576"/></hyperlinks>')}, "more than"),
    "a row beyond counting": ({SHEET: FRAME % (b'<row r="99999999999999999999"><c r="A99999999999999999999"><v>1</v></c></row>', b"")}, "more than"),
    "a column beyond the last": ({SHEET: FRAME % (b'<row r="1"><c r="ZZZZZZZ1"><v>1</v></c></row>', b"")}, "more than"),
    "a number of 4,000 digits": ({SHEET: FRAME % (b'<row r="1"><c r="A1"><v>' + b"9" * 4000 + b"</v></c></row>", b"")}, "finite"),
    "infinity": ({SHEET: FRAME % (b'<row r="1"><c r="A1"><v>1e999</v></c></row>', b"")}, "finite"),
    "not a number": ({SHEET: FRAME % (b'<row r="1"><c r="A1"><v>nan</v></c></row>', b"")}, ""),
    "styles nested without end": ({"xl/styles.xml": b"<styleSheet>" + DEEP + b"</styleSheet>"}, "deep"),
    "shared text nested without end": ({"xl/sharedStrings.xml": b"<sst><si>" + DEEP + b"</si></sst>"}, "deep"),
    "entities in a sheet": ({SHEET: LAUGHS + FRAME % (b'<row r="1"><c r="A1" t="str"><v>&a9;</v></c></row>', b"")}, "document type"),
    "entities in the styles": ({"xl/styles.xml": LAUGHS + b"<styleSheet>&a9;</styleSheet>"}, "document type"),
    "entities in another encoding": ({SHEET: b'<?xml version="1.0" encoding="cp037"?>' + (LAUGHS + b"<x/>").decode().encode("cp037")}, ""),
    "an encoding that is none": ({"xl/workbook.xml": b'<?xml version="1.0" encoding="zip"?><workbook/>'}, "encoding"),
    "a cell of ten thousand letters": ({SHEET: FRAME % (b'<row r="1"><c r="A1" t="str"><v>' + b"x" * 10_000 + b"</v></c></row>", b"")}, "characters"),
    "a path that leads out": ({"../../evil.xml": b"<x/>", SHEET: b"<worksheet"}, "damaged"),
}  # fmt: skip


@pytest.mark.hostile(
    "spreadsheets (xlsx, CSV)", "cells and merged areas without end, entities, depth, huge numbers, lying encodings"
)
@pytest.mark.parametrize("what", WORKBOOKS)
def test_a_workbook_that_would_not_stay_small_is_refused_at_once(what: str) -> None:
    members, words = WORKBOOKS[what]
    start = time.perf_counter()
    with pytest.raises(SheetError) as caught:
        read_sheet(ROOT / put_file("h.xlsx", build_zip({**build_workbook(), **members})))
    assert words in str(caught.value)
    assert time.perf_counter() - start < 5


@pytest.mark.hostile("spreadsheets (xlsx, CSV)", "one cell four million cells away")
def test_one_cell_far_away_makes_no_others() -> None:
    """A file of five kilobytes: asking the workbook for each cell of its area once took more than nine minutes."""
    far = FRAME % (b'<row r="20000"><c r="GR20000"><v>7</v></c></row>', b"")
    start = time.perf_counter()
    sheet = read_sheet(ROOT / put_file("far.xlsx", build_zip({**build_workbook(), SHEET: far})))
    assert time.perf_counter() - start < 5
    assert len(sheet.rows) == 20_000 and sum(map(len, sheet.rows)) == 200
    assert sheet.rows[-1][-1].address == "GR20000" and sheet.rows[-1][-1].value == 7


@pytest.mark.hostile("spreadsheets (xlsx, CSV)", "zip bombs")
@pytest.mark.parametrize("kind", ["one large file", "many files", "overlapping sizes that lie"])
def test_a_zip_bomb_is_refused_in_bounded_memory(kind: str) -> None:
    import tracemalloc

    if kind == "one large file":
        raw = build_zip({**build_workbook(), SHEET: b" " * 250_000_000})
    elif kind == "many files":
        raw = build_zip({f"xl/{n}.xml": b"<a/>" for n in range(2_100)})
    else:
        raw = build_zip({**build_workbook(), SHEET: FRAME % (b" " * 3_000_000, b"")})
        at = raw.rindex(SHEET.encode()) - 22  # the size unpacked, in the central directory: says 100 bytes
        raw = raw[:at] + (100).to_bytes(4, "little") + raw[at + 4 :]
    path = ROOT / put_file("bomb.xlsx", raw)
    tracemalloc.start()
    with pytest.raises(SheetError):
        read_sheet(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 60_000_000


@pytest.mark.hostile("spreadsheets (xlsx, CSV)", "zip files that no program writes (found by the fuzzer)")
@pytest.mark.parametrize(("at", "put"), [(6, b"\xec"), (8, b"\x01"), (10, b"\x63"), (42, b"\xff\xff\xff\x7f")], ids=["version 23.6", "encrypted", "way of packing", "place"])  # fmt: skip
def test_a_zip_with_a_strange_directory_is_refused_in_words(at: int, put: bytes) -> None:
    raw = build_zip(build_workbook())
    start = raw.index(b"PK\x01\x02") + at  # the first entry of the central directory
    path = ROOT / put_file("z.xlsx", raw[:start] + put + raw[start + len(put) :])
    with pytest.raises(SheetError, match=r"damaged|refused"):
        read_sheet(path)


def build_picture(width: int, height: int) -> bytes:
    """Return a PNG that says it is so wide and high; its few bytes of pixels are all nought."""
    import struct
    import zlib

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


@pytest.mark.hostile("spreadsheets (xlsx, CSV)", "image bombs")
def test_a_picture_of_two_thousand_million_points_in_a_workbook_is_never_unpacked() -> None:
    import openpyxl
    from openpyxl.drawing.image import Image

    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["part", "name"])
    book.active.add_image(Image(io.BytesIO(build_picture(4, 4))), "C3")
    made = io.BytesIO()
    book.save(made)
    import zipfile

    with zipfile.ZipFile(made) as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    members["xl/media/image1.png"] = build_picture(50_000, 40_000)
    start = time.perf_counter()
    try:
        sheet = read_sheet(ROOT / put_file("picture.xlsx", build_zip(members)))
        assert [cell.value for cell in sheet.rows[0]] == ["part", "name"]
    except SheetError as error:
        assert "refused" in str(error)
    assert time.perf_counter() - start < 5


def in_code_page(text: bytes) -> bytes:
    """Return an SVG whose declaration says EBCDIC, which XML readers know, with the rest written in it."""
    return b'<?xml version="1.0" encoding="cp037"?>' + text.decode().encode("cp037")


@pytest.mark.hostile("drawings (SVG)", "entities, document types in any encoding, deep nesting")
@pytest.mark.parametrize(
    "raw",
    [
        SVG.replace(b"<svg", LAUGHS + b"<svg", 1).replace(b">t<", b">&a9;<"),
        in_code_page(LAUGHS + b"<svg xmlns='http://www.w3.org/2000/svg'><title>&a9;</title></svg>"),
        in_code_page(b"<!DOCTYPE svg SYSTEM 'file:///etc/passwd'><svg xmlns='http://www.w3.org/2000/svg'/>"),
        b"<svg xmlns='http://www.w3.org/2000/svg'>" + b"<g>" * 100_000 + b"</g>" * 100_000 + b"</svg>",
        b'<?xml version="1.0" encoding="hex"?>' + SVG,
        SVG.decode().encode("utf-16"),
    ],
    ids=["entities", "entities in EBCDIC", "outside entity in EBCDIC", "deep", "no encoding", "UTF-16"],
)
def test_a_drawing_that_would_grow_is_not_shown(raw: bytes) -> None:
    start = time.perf_counter()
    assert clean_svg(raw) is None
    assert time.perf_counter() - start < 2


@pytest.mark.hostile("git's raw log", "bytes that no git writes")
@pytest.mark.parametrize(
    "entry", [b":100644 1", b": : : : :", b":100644 100644 " + b"\xb8" * 40 + b" " + b"1" * 40 + b" M"]
)
def test_a_damaged_log_ends_with_a_named_damage(entry: bytes) -> None:
    from pipeline.history.raw_log import DamagedLog, parse_raw_log

    commits = parse_raw_log(io.BytesIO(LOG + b"\n" + entry + b"\0path\0"))
    assert next(commits).parents == ()
    with pytest.raises(DamagedLog, match="where a change of a file should stand"):
        list(commits)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("kind", ["pipe", "device", "link", "folder", "behind a link"])
@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.hostile(NAMES[name], "links, pipes, devices and folders in the file's place"), id=name) for name in ("points", "studies", "meshes", "qif")])  # fmt: skip
def test_evidence_that_is_no_plain_file_is_refused_and_never_waited_for(name: str, kind: str, tmp_path: Path) -> None:
    import signal

    readers = {"points": read_measured_file, "studies": read_sample, "meshes": read_mesh, "qif": read_qif}
    path = {"points": "x.csv", "studies": "x.csv", "meshes": "x.stl", "qif": "x.qif"}[name]
    place, target = tmp_path / path, tmp_path / "elsewhere"
    target.mkdir()
    (target / path).write_bytes(LAWS[name].build_seeds()[0])
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    elif kind == "behind a link":
        (tmp_path / "in").symlink_to(target)
        path = f"in/{path}"
    else:
        place.symlink_to("/dev/zero" if kind == "device" else target / path)
    signal.alarm(20)
    try:
        found, findings = readers[name](tmp_path, path)  # type: ignore[operator]
    finally:
        signal.alarm(0)
    assert found is None and len(findings) == 1


@pytest.mark.parametrize("name", name_each("coverage-guided fuzzing (a short run)"))
@pytest.mark.slow
def test_the_fuzzer_runs_and_finds_nothing_in_a_short_run(name: str, tmp_path: Path) -> None:
    pytest.importorskip("atheris", reason="pip install '.[fuzz]'")
    done = subprocess.run(
        [sys.executable, str(HERE / f"fuzz_{name}.py"), "-runs=300", "-seed=7"],
        cwd=tmp_path, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    assert "Done 300 runs" in done.stderr


def test_every_reader_has_a_harness() -> None:
    assert {path.stem.removeprefix("fuzz_") for path in HERE.glob("fuzz_*.py")} == set(LAWS) == set(NAMES)
