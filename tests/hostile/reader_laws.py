"""What every reader of foreign bytes obeys, whatever the bytes: one law a reader, for hypothesis and for the fuzzer.

A law takes bytes and raises AssertionError where the reader broke its promise; a reader that raises anything else
broke it too. The same laws run under hypothesis in the suite and under coverage-guided fuzzing in `fuzz_*.py`.
"""

from __future__ import annotations

import datetime as dt
import io
import math
import re
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hostile.hostile_records import MORE, list_pointers

from pipeline.findings.finding import Finding
from pipeline.findings.report import render_text
from pipeline.findings.sample import SAMPLE_PART

_FOLDER = tempfile.TemporaryDirectory(prefix="laws-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None)
ROOT = Path(_FOLDER.name)


def hold(told: bool, *what: object) -> None:
    """Assert, also under `python -O` and inside the fuzzer."""
    if not told:
        raise AssertionError(what)


def check_findings(findings: Iterable[Finding], raw: bytes) -> None:
    """Findings stand inside the file, and what the terminal gets of them is plain text."""
    lines = raw.count(b"\n") + raw.count(b"\r") + 1
    found = tuple(findings)
    for finding in found:
        hold(1 <= finding.location.line <= lines + 1, finding)
        hold(1 <= finding.location.column <= len(raw) + 2, finding)
    hold(is_plain(render_text(found)), found)


def is_plain(text: str) -> bool:
    """True for text that steers no terminal and hides nothing: no control and no direction characters."""
    return not any(
        (ord(c) < 32 and c not in "\n\t")
        or 127 <= ord(c) < 160
        or c in "\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        for c in text
    )


def put_file(name: str, raw: bytes) -> str:
    """Write bytes where a reader looks for them; returns the name."""
    (ROOT / name).write_bytes(raw)
    return name


def obey_yaml(raw: bytes) -> None:
    """Text, tree, shape, and the place of every value; no value is NaN, hidden text or deeper than allowed."""
    from pipeline.model.part import Part
    from pipeline.reading.shape import parse_shape
    from pipeline.reading.source import decode_source, find_hidden
    from pipeline.reading.tree import MAX_DEPTH, MAX_NODES, parse_tree

    source, findings = decode_source("x.yaml", raw)
    if source is not None:
        tree, more = parse_tree("x.yaml", source.text)
        findings += more
        hold(tree is not None or bool(more), "refused without a word")
        if tree is not None:
            findings += parse_shape(tree, Part)[1]
            pointers = list(list_pointers(tree.value))
            hold(len(pointers) <= MAX_NODES and max(map(len, pointers), default=0) <= MAX_DEPTH, "too large")
            for pointer in pointers[:300]:
                tree.locate(pointer)
            if not more:
                for value in walk_values(tree.value):
                    hold(not isinstance(value, float) or math.isfinite(value), value)
                    hold(not isinstance(value, str) or find_hidden(value) is None, value)
    check_findings(findings, raw)


def walk_values(value: Any) -> Iterator[Any]:
    """Yield every plain value and every key."""
    if isinstance(value, dict):
        for key, child in value.items():
            yield key
            yield from walk_values(child)
    elif isinstance(value, list | tuple):
        for child in value:
            yield from walk_values(child)
    else:
        yield value


def obey_points(raw: bytes) -> None:
    """Points are finite and within reach, readings finite with a known unit; a fault gives nothing but findings."""
    import numpy as np

    from pipeline.model.quantity import UNITS
    from pipeline.reading.points import MAX_COORDINATE_MM, MAX_FINDINGS, PointFile, read_measured_file

    found, findings = read_measured_file(ROOT, put_file("p.csv", raw))
    hold((found is None) == bool(findings) and len(findings) <= MAX_FINDINGS + 3, "found and refused", findings)
    check_findings(findings, raw)
    if isinstance(found, PointFile):
        for points in found.groups.values():
            hold(bool(np.isfinite(points).all()) and float(np.abs(points).max()) <= MAX_COORDINATE_MM * 1.000001)
    elif found is not None:
        hold(all(math.isfinite(v) for values in found.readings.values() for v in values))
        hold(set(found.units.values()) <= set(UNITS), found.units)


def obey_studies(raw: bytes) -> None:
    """Studies and samples: finite values in a known unit, or findings."""
    from pipeline.model.quantity import UNITS
    from pipeline.reading.study_files import read_gauge_study, read_sample

    name = put_file("s.csv", raw)
    study, findings = read_gauge_study(ROOT, name)
    hold((study is None) == bool(findings), findings)
    check_findings(findings, raw)
    hold(study is None or (study.unit in UNITS and all(math.isfinite(row.value) for row in study.rows)))
    sample, findings = read_sample(ROOT, name)
    hold((sample is None) == bool(findings), findings)
    check_findings(findings, raw)
    hold(sample is None or (sample.unit in UNITS and all(map(math.isfinite, sample.values))))


def obey_meshes(raw: bytes) -> None:
    """The first byte chooses the kind; a mesh has finite corners, size and volume."""
    import numpy as np

    from pipeline.reading.meshes import read_mesh

    kind = ".ply" if raw[:3] == b"ply" else ".stl"
    mesh, findings = read_mesh(ROOT, put_file(f"m{kind}", raw))
    hold(mesh is not None or bool(findings), "refused without a word")
    check_findings(findings, raw)
    if mesh is not None:
        hold(bool(np.isfinite(mesh.corners).all()) and all(map(math.isfinite, mesh.size_mm)), mesh)
        hold(mesh.volume_mm3 is None or (math.isfinite(mesh.volume_mm3) and mesh.volume_mm3 >= 0), mesh)
        hold(mesh.triangles == len(mesh.corners) > 0, mesh)


def obey_qif(raw: bytes) -> None:
    """Values are finite mm or degrees; a document type or a broken tree is a finding at its place."""
    from pipeline.reading.qif import read_qif

    found, findings = read_qif(ROOT, put_file("q.qif", raw))
    hold((found is None) == bool(findings), findings)
    check_findings(findings, raw)
    for value in () if found is None else found.values:
        hold(math.isfinite(value.value) and value.unit in ("mm", "deg"), value)
        hold(value.standard_u is None or (math.isfinite(value.standard_u) and value.standard_u >= 0), value)


def obey_sheets(raw: bytes) -> None:
    """CSV and xlsx: bounded rows, columns and cells, plain finite values; or a SheetError in words."""
    from pipeline.reading.spreadsheets import MAX_CELL, MAX_COLUMNS, MAX_ROWS, SheetError, read_sheet

    try:
        sheet = read_sheet(ROOT / put_file("t.csv", raw))
    except SheetError as error:
        hold(bool(str(error)))
        return
    hold(len(sheet.rows) <= MAX_ROWS and all(len(row) <= MAX_COLUMNS for row in sheet.rows))
    for row in sheet.rows:
        for cell in row:
            hold(isinstance(cell.value, str | int | float | bool | dt.date | None), cell)
            hold(not isinstance(cell.value, str) or len(cell.value) <= MAX_CELL, cell.address)
            hold(not isinstance(cell.value, float) or math.isfinite(cell.value), cell)
            hold(not isinstance(cell.value, int) or abs(cell.value) < 10**18, cell.address)


def obey_workbooks(raw: bytes) -> None:
    """The bytes are one member of a workbook (the first byte says which): so the fuzzer gets behind the zip."""
    names = ("xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/sharedStrings.xml", "xl/styles.xml")
    members = dict(build_workbook())
    members[names[raw[0] % 4] if raw else names[0]] = raw[1:]
    obey_sheets(build_zip(members))


def obey_travellers(raw: bytes) -> None:
    """A traveller: checks with gaps that are numbers, or faults in words; never both for one row."""
    from pipeline.reading.traveller import parse_traveller

    rows, faults = parse_traveller(raw)
    hold(all(isinstance(fault, str) and fault for fault in faults))
    for row in rows:
        hold(all(math.isfinite(float(gap)) for gaps in row.gaps.values() for gap in gaps), row)


def obey_lists(raw: bytes) -> None:
    """`evidence.sha256`, references and pointers: hashes of 64 hex digits, no name twice."""
    from pipeline.reading.evidence import parse_evidence_list
    from pipeline.reading.large_files import parse_reference
    from pipeline.reading.source import decode_source
    from pipeline.writing.evidence_list import add_hashes

    source, findings = decode_source("evidence.sha256", raw)
    check_findings(findings, raw)
    if source is not None:
        listed, findings = parse_evidence_list("evidence.sha256", source.text)
        check_findings(findings, raw)
        hold(all(len(digest) == 64 and name.strip() for name, digest in listed.items()), listed)
        if not findings and "new.csv" not in listed:
            again = add_hashes(raw, {"new.csv": "0" * 64}).decode("utf-8-sig")
            hold(parse_evidence_list("evidence.sha256", again) == ({**listed, "new.csv": "0" * 64}, ()), "lost a line")
    large = parse_reference(raw)
    hold(large is None or (len(large.sha256) == 64 and large.size >= 0), large)


def obey_drawings(raw: bytes) -> None:
    """An SVG comes back clean or not at all; cleaning what is clean changes nothing."""
    from xml.etree import ElementTree

    from pipeline.sitegen.svg_cleaning import clean_svg

    clean = clean_svg(raw)
    if clean is None:
        return
    for element in ElementTree.fromstring(clean).iter():
        name = str(element.tag).rpartition("}")[2]
        hold(
            name not in {"script", "style", "foreignObject", "image", "a", "animate", "set", "iframe", "handler"}, name
        )
        for key, value in element.attrib.items():
            hold(not key.lower().startswith("on") and key != "style", key)
            hold("href" not in key or value.startswith("#"), value)
            hold("javascript:" not in value.lower() or "aria-label" in key, value)
            hold(
                "url(" not in value.lower().replace(" ", "")
                or "url(#" in value.replace("'", "").replace('"', "").replace(" ", "")
                or key in ("aria-label", "d", "points"),
                value,
            )
    again = clean_svg(clean)
    hold(again == clean, "cleaning twice differs")


def obey_pictures(raw: bytes) -> None:
    """A picture for outsiders: the same picture with nothing beside it, or a reason; taking off twice changes nothing."""
    from pipeline.sitegen.picture_stripping import MAX_PIXELS, CannotStrip, strip_picture

    for name in ("a.png", "a.jpg", "a.gif", "a.webp", "a.svg"):
        try:
            found = strip_picture(name, raw, keep_words=True)
        except CannotStrip:
            continue
        hold(0 < found.width * found.height <= MAX_PIXELS, found.width, found.height)
        hold(b"script" not in found.content.lower() or found.ending != ".svg", found.content[:200])
        again = strip_picture(f"a{found.ending}", found.content, keep_words=True)
        hold(again.content == found.content, name)


def obey_logs(raw: bytes) -> None:
    """The parser of git's raw log: commits with a hash, files below the prefix only, whatever the stream says."""
    from pipeline.history.raw_log import DamagedLog, parse_raw_log

    for prefix in (b"", b"projects/"):
        try:
            for commit in parse_raw_log(io.BytesIO(raw), prefix):
                hold(len(commit.raw) == 6)
                for change in commit.files:
                    hold(change.old_blob != change.new_blob, change)
        except DamagedLog as error:
            hold(is_plain(str(error)), error)


def build_zip(members: dict[str, bytes]) -> bytes:
    """Return a zip file."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)  # without the time of day
    return made.getvalue()


_BOOK: dict[str, bytes] = {}


def build_workbook() -> dict[str, bytes]:
    """Return the members of a small workbook with text, numbers, a day, a formula and a merged area."""
    if not _BOOK:
        import openpyxl

        book = openpyxl.Workbook()
        page = book.active
        for row in (["part", "name", "price"], ["SD-100", "hook", 12.5], ["SD-200", "=A2", dt.date(2026, 1, 2)]):
            page.append(row)
        page.merge_cells("A4:B5")
        made = io.BytesIO()
        book.save(made)
        with zipfile.ZipFile(made) as packed:
            _BOOK.update({name: packed.read(name) for name in packed.namelist()})
        _BOOK["docProps/core.xml"] = re.sub(
            rb"\d{4}-\d\d-\d\dT[\d:]+Z", b"2026-01-02T00:00:00Z", _BOOK["docProps/core.xml"]
        )
    return _BOOK


def _build_meshes() -> list[bytes]:
    import trimesh

    box = trimesh.creation.box((1, 2, 3))
    return [trimesh.exchange.stl.export_stl(box), trimesh.exchange.stl.export_stl_ascii(box).encode(),
            trimesh.exchange.ply.export_ply(box), trimesh.exchange.ply.export_ply(box, encoding="ascii")]  # fmt: skip


def _build_pictures() -> list[bytes]:
    from PIL import Image

    found = [SVG]
    for kind in ("PNG", "JPEG", "GIF", "WEBP"):
        made = io.BytesIO()
        Image.new("RGB", (5, 4), (200, 30, 40)).save(made, kind)
        found.append(made.getvalue())
    return found


QIF = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n<QIFDocument xmlns="http://qifstandards.org/xsd/qif3" versionQIF="3.0.0">'
    b"<FileUnits><PrimaryUnits><LinearUnit><SIUnitName>meter</SIUnitName><UnitName>mm</UnitName><UnitConversion>"
    b"<Factor>0.001</Factor></UnitConversion></LinearUnit></PrimaryUnits></FileUnits><Characteristics>"
    b'<CharacteristicItems><DiameterCharacteristicItem id="5"><Name>rim</Name></DiameterCharacteristicItem>'
    b"</CharacteristicItems></Characteristics><Results><MeasurementResultsSet><MeasurementResults id='7'>"
    b"<MeasuredCharacteristics><CharacteristicMeasurements><DiameterCharacteristicMeasurement id='8'><Status>"
    b"<CharacteristicStatusEnum>PASS</CharacteristicStatusEnum></Status><CharacteristicItemId>5</CharacteristicItemId>"
    b'<Value combinedUncertainty="0.002">25.0</Value></DiameterCharacteristicMeasurement></CharacteristicMeasurements>'
    b"</MeasuredCharacteristics></MeasurementResults></MeasurementResultsSet></Results></QIFDocument>\n"
)
SVG = (
    b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 4 4'><title>t</title><g fill='url(#a)' transform='rotate(1)'>"
    b"<path d='M0 0L4 4'/><use href='#b'/></g><script>x</script><text>4 mm</text></svg>"
)
_OID = b"1" * 40
LOG = (
    b"\1" + _OID + b"\0\0ann\0ann@example.invalid\0002026-01-02T00:00:00Z\0002026-01-02T00:00:00Z\0first\0"
    b"\n:000000 100644 " + b"0" * 40 + b" " + _OID + b" A\0projects/SD-100/part.yaml\0"
    b"\1"
    + b"2" * 40
    + b"\0"
    + _OID
    + b"\0bob\0bob@example.invalid\0002026-01-03T00:00:00Z\0002026-01-03T00:00:00Z\0second\0"
    b"\n:100644 000000 " + _OID + b" " + b"0" * 40 + b" D\0projects/SD-100/part.yaml\0"
)
TRAVELLER = (
    b"with,car,fits,hand,on,by,seen_by,interface,gaps,covers,result,note\n"
    b"P1,c,s,left,2026-01-01,a,b,seat,0.1 0.2,,good,\nP1,c,s,left,2026-01-01,a,b,rim,0.3,,good,x\n"
)


@dataclass(frozen=True)
class Law:
    """A law, the modules whose branches guide the fuzzer, and bytes to start from."""

    obey: Callable[[bytes], None]
    modules: tuple[str, ...]
    build_seeds: Callable[[], list[bytes]]


LAWS: dict[str, Law] = {
    "yaml": Law(obey_yaml, ("pipeline.reading", "pipeline.findings"), lambda: [SAMPLE_PART.encode(), (SAMPLE_PART + MORE).encode(), b"a: &x [1, *x]\n"]),
    "points": Law(obey_points, ("pipeline.reading",), lambda: [b"# unit: mm\ng,1,2,3\ng,4,5,6\n", b"# unit: in\nx[in];y;z\n1,5;2;3\n", b"feature,n,reading,unit\nlength,1,40.0,mm\n", b"# rim: diameter\n# unit: mm\n1 2 3\n"]),
    "studies": Law(obey_studies, ("pipeline.reading",), lambda: [b"# unit: mm\npart,appraiser,trial,value\n1,a,1,2.5\n", b"# unit: HRC\npiece;value\n1;2,5\n"]),
    "meshes": Law(obey_meshes, ("pipeline.reading", "trimesh.exchange"), _build_meshes),
    "qif": Law(obey_qif, ("pipeline.reading",), lambda: [QIF, QIF.replace(b"UTF-8", b"cp037")]),
    "sheets": Law(obey_sheets, ("pipeline.reading", "openpyxl.reader", "openpyxl.worksheet"), lambda: [b"a,b\n1,2\n", b"a;b\n1,5;x\n", build_zip(build_workbook())]),
    "workbooks": Law(obey_workbooks, ("pipeline.reading", "openpyxl.reader", "openpyxl.worksheet", "openpyxl.cell"), lambda: [bytes([i]) + build_workbook()[n] for i, n in enumerate(("xl/worksheets/sheet1.xml", "xl/workbook.xml", "xl/sharedStrings.xml", "xl/styles.xml")) if n in build_workbook()]),
    "travellers": Law(obey_travellers, ("pipeline.reading",), lambda: [TRAVELLER, TRAVELLER.replace(b",", b";")]),
    "lists": Law(obey_lists, ("pipeline.reading", "pipeline.writing"), lambda: [b"0" * 64 + b"  evidence/a.csv\n" + b"1" * 64 + b" *evidence/b.csv\n", b"version https://git-lfs.github.com/spec/v1\noid sha256:" + b"2" * 64 + b"\nsize 12\n"]),
    "drawings": Law(obey_drawings, ("pipeline.sitegen.svg_cleaning",), lambda: [SVG]),
    "pictures": Law(obey_pictures, ("pipeline.sitegen.picture_stripping", "pipeline.sitegen.svg_stripping"), _build_pictures),
    "logs": Law(obey_logs, ("pipeline.history",), lambda: [LOG]),
}  # fmt: skip
"""Every reader of foreign bytes."""
