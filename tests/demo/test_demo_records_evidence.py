"""The demo's evidence is real of its kind: points fit to the recorded readings, meshes close, drawings are harmless."""

from __future__ import annotations

import csv
import math
import re
import struct
import xml.etree.ElementTree as ET
import zlib
from collections import Counter
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from pipeline.demo.evidence_makers import CHANGED_AFTER_LISTING, build_evidence
from pipeline.model.part import Part
from pipeline.model.quantity import LENGTH_UNITS
from pipeline.reading.workspace import read_workspace

ROOT = Path(__file__).resolve().parents[2]
PROJECTS = ROOT / "projects"
Floats = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def parts() -> dict[str, Part]:
    workspace = read_workspace(ROOT).workspace
    assert workspace is not None
    return dict(workspace.parts)


@pytest.fixture(scope="module")
def made(parts: dict[str, Part]) -> dict[tuple[str, str], bytes]:
    return {(n, path): data for n, part in parts.items() for path, data in build_evidence(part).items()}


def _read_groups(path: Path) -> tuple[str, dict[str, Floats], dict[str, str]]:
    """Unit, points by group, and how each feature's reading follows, from a point file."""
    lines = path.read_text(encoding="utf-8").splitlines()
    unit = next(line.split(": ")[1] for line in lines if line.startswith("# unit: "))
    how = dict(m.groups() for line in lines if (m := re.fullmatch(r"# (\w+): (.+)", line)))  # type: ignore[misc]
    groups: dict[str, list[list[float]]] = {}
    for row in csv.DictReader(line for line in lines if not line.startswith("#")):
        groups.setdefault(row["group"], []).append([float(row[axis]) for axis in "xyz"])
    return unit, {k: np.array(v) for k, v in groups.items()}, how


def _fit_circle(xyz: Floats) -> tuple[float, float, float]:
    """Geometric least squares by Gauss-Newton: an independent twin of the program's own fit."""
    x, y = xyz[:, 0], xyz[:, 1]
    cx, cy, r = x.mean(), y.mean(), float(np.hypot(x - x.mean(), y - y.mean()).mean())
    for _ in range(20):
        distance = np.hypot(x - cx, y - cy)
        slope = np.column_stack([-(x - cx) / distance, -(y - cy) / distance, -np.ones_like(x)])
        step = np.linalg.lstsq(slope, -(distance - r), rcond=None)[0]
        cx, cy, r = cx + step[0], cy + step[1], r + step[2]
    return float(cx), float(cy), float(r)


def _compute_value(name: str, how: str, groups: dict[str, Floats]) -> float:
    if how.startswith("diameter"):
        return 2 * _fit_circle(groups[name])[2]
    if how.startswith("distance of the centres"):
        (ax, ay, _), (bx, by, _) = _fit_circle(groups[f"{name}.1"]), _fit_circle(groups[f"{name}.2"])
        return math.hypot(bx - ax, by - ay)
    if how.startswith("distance of the means"):
        return float(groups[f"{name}.2"][:, 0].mean() - groups[f"{name}.1"][:, 0].mean())
    if how.startswith("twice"):
        cx, cy, _ = _fit_circle(groups[name])
        return 2 * math.hypot(cx, cy)
    if how.startswith("trace"):
        return float(np.ptp(np.hypot(groups[name][:, 0], groups[name][:, 1])))
    if how.startswith("range of the residuals"):
        xyz = groups[name]
        base = np.column_stack([xyz[:, 0], xyz[:, 1], np.ones(len(xyz))])
        return float(np.ptp(xyz[:, 2] - base @ np.linalg.lstsq(base, xyz[:, 2], rcond=None)[0]))
    if how.startswith("angle"):
        a, b = groups[f"{name}.1"], groups[f"{name}.2"]
        first = math.atan2(*(np.polyfit(np.arange(9), a[:, axis], 1)[0] for axis in (1, 0)))
        second = math.atan2(*(np.polyfit(np.arange(9), b[:, axis], 1)[0] for axis in (1, 0)))
        return math.degrees(second - first) % 360
    z = groups[name][:, 2]
    return float(z[np.abs(z).argmax()])


def test_points_fit_to_the_recorded_readings(parts: dict[str, Part]) -> None:
    """Every arm reading of every record: a fit of its points gives the value back to 0.002 mm (0.02 degrees)."""
    compared = Counter[str]()
    for number, part in parts.items():
        for measurement in part.measurements.values():
            if not measurement.with_.startswith("arm") or measurement.file is None:
                continue
            if (number, measurement.file) == CHANGED_AFTER_LISTING:
                continue
            unit, groups, how = _read_groups(PROJECTS / number / measurement.file)
            for name, reading in measurement.gives.items():
                value = _compute_value(name, how[name], groups)
                feature_unit = reading.unit or part.features[name].unit
                if feature_unit in LENGTH_UNITS:
                    found, wanted = value * LENGTH_UNITS[unit], reading.value * LENGTH_UNITS[feature_unit]
                    assert found == pytest.approx(wanted, abs=0.002), (number, measurement.file, name)
                else:
                    assert value == pytest.approx(reading.value, abs=0.02), (number, measurement.file, name)
                compared[how[name].split()[0]] += 1
    assert sum(compared.values()) > 130
    assert set(compared) == {"diameter", "distance", "twice", "trace", "range", "angle", "greatest"}


def test_changed_file_no_longer_fits(parts: dict[str, Part]) -> None:
    """The trap is a real one: what lies on disk gives another width than the record says."""
    number, path = CHANGED_AFTER_LISTING
    _, groups, how = _read_groups(PROJECTS / number / path)
    recorded = parts[number].measurements["M1"].gives["plate_w"].value
    assert abs(_compute_value("plate_w", how["plate_w"], groups) - recorded) > 0.005


def test_readings_average_to_the_recorded_value(parts: dict[str, Part]) -> None:
    compared = 0
    for number, part in parts.items():
        for measurement in part.measurements.values():
            if measurement.with_.startswith("arm") or measurement.file is None:
                continue
            text = (PROJECTS / number / measurement.file).read_text(encoding="utf-8")
            rows = list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
            for name, reading in measurement.gives.items():
                values = [float(row["reading"]) for row in rows if row["feature"] == name]
                assert np.mean(values) == pytest.approx(reading.value, rel=2e-4), (number, measurement.file, name)
                compared += 1
    assert compared > 60


def test_same_records_give_the_same_files(parts: dict[str, Part], made: dict[tuple[str, str], bytes]) -> None:
    for number in ("TW-101", "TW-124", "TW-140", "TW-186"):
        again = build_evidence(parts[number])
        assert again == {path: data for (n, path), data in made.items() if n == number}


def _compare_text(found: str, wanted: str) -> bool:
    """Equal words, and numbers equal to the last digit but one (another machine may round the other way)."""
    number = re.compile(r"-?\d+\.\d+")
    if number.sub("#", found) != number.sub("#", wanted):
        return False
    pairs = zip(number.findall(found), number.findall(wanted), strict=True)
    return all(abs(float(a) - float(b)) <= 2.1 * 10 ** -len(b.split(".")[1]) for a, b in pairs)


def test_files_on_disk_are_those_that_the_records_give(made: dict[tuple[str, str], bytes]) -> None:
    drawn = {(p.parts[-3], "evidence/drawing.svg") for p in PROJECTS.glob("*/evidence/drawing.svg")}
    on_disk = {(p.parts[-3], f"evidence/{p.name}") for p in PROJECTS.glob("*/evidence/*")}
    assert set(made) | drawn == on_disk
    for (number, path), data in made.items():
        if path.endswith((".csv", ".md")) and (number, path) != CHANGED_AFTER_LISTING:
            text = (PROJECTS / number / path).read_text(encoding="utf-8")
            assert _compare_text(text, data.decode("utf-8")), (number, path)


def _read_triangles(data: bytes) -> npt.NDArray[np.float32]:
    (count,) = struct.unpack_from("<I", data, 80)
    assert len(data) == 84 + 50 * count
    kind = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    corners: npt.NDArray[np.float32] = np.frombuffer(data, kind, count, 84)["corners"]
    return corners


def test_meshes_are_closed_and_face_outwards() -> None:
    """Each edge is walked once each way, and the enclosed volume is positive (divergence theorem)."""
    meshes = sorted(PROJECTS.glob("*/evidence/*.stl"))
    assert len(meshes) >= 25
    for path in meshes:
        triangles = _read_triangles(path.read_bytes()).astype(np.float64)
        names = [tuple(tuple(corner) for corner in triangle) for triangle in triangles.round(4).tolist()]
        edges = Counter((t[i], t[(i + 1) % 3]) for t in names for i in range(3))
        assert all(count == 1 and edges[(b, a)] == 1 for (a, b), count in edges.items()), path
        a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
        assert np.einsum("ij,ij->", a, np.cross(b, c)) / 6 > 0, path


def test_model_of_the_rim_has_the_size_of_its_revision(parts: dict[str, Part]) -> None:
    nominal = parts["TW-101"].features["rim_od"].nominal
    for key, larger in (("a", 0.2), ("c", 0.0), ("d", 0.0)):
        corners = _read_triangles((PROJECTS / f"TW-101/evidence/rim-{key}.stl").read_bytes()).reshape(-1, 3)
        assert 2 * np.hypot(corners[:, 0], corners[:, 1]).max() == pytest.approx(nominal + larger, abs=1e-3)


def test_pictures_are_png_with_sound_checksums() -> None:
    pictures = sorted(PROJECTS.glob("*/evidence/*.png"))
    assert len(pictures) >= 25
    for path in pictures:
        data = path.read_bytes()
        assert data[:8] == b"\x89PNG\r\n\x1a\n"
        place, body = 8, b""
        while place < len(data):
            (size,) = struct.unpack_from(">I", data, place)
            kind, content = data[place + 4 : place + 8], data[place + 8 : place + 8 + size]
            assert struct.unpack_from(">I", data, place + 8 + size)[0] == zlib.crc32(kind + content)
            body += content if kind == b"IDAT" else b""
            place += 12 + size
        assert len(zlib.decompress(body)) == 240 * 361


ALLOWED = {"svg", "title", "g", "path", "circle", "rect", "text"}


def test_every_part_has_a_drawing_that_is_harmless_and_its_own(parts: dict[str, Part]) -> None:
    seen: dict[bytes, str] = {}
    for number, part in parts.items():
        assert part.picture == "evidence/drawing.svg"
        data = (PROJECTS / number / part.picture).read_bytes()
        assert data not in seen
        seen[data] = number
        root = ET.fromstring(data)
        tags = [element.tag.split("}")[-1] for element in root.iter()]
        assert set(tags) <= ALLOWED and len(tags) > 8, number
        names = {name for element in root.iter() for name in element.attrib}
        assert not [n for n in names if n.startswith("on") or "href" in n or n in ("style", "id", "color")], number
        assert root.attrib["aria-label"] == f"Drawing of {number} {part.name}"
        paints = {e.attrib[a] for e in root.iter() for a in ("stroke", "fill") if a in e.attrib}
        assert paints <= {"currentColor", "none"}, number


def test_text_lies_inside_the_drawing() -> None:
    """A label that runs off the sheet cannot be read (width of a letter: 0.62 em at most on the average)."""
    for path in sorted(PROJECTS.glob("*/evidence/drawing.svg")):
        for element in ET.parse(path).getroot().iter():
            if not element.tag.endswith("text") or "transform" in element.attrib:
                continue
            size, x, y = (float(element.attrib[name]) for name in ("font-size", "x", "y"))
            width = 0.62 * size * len(element.text or "")
            left = x - width * {"start": 0.0, "middle": 0.5, "end": 1.0}[element.attrib["text-anchor"]]
            assert left > -6 and left + width < 646 and 8 < y < 400, (path.parts[-3], element.text)
