"""The section about meshes: size, volume, whether they are closed, and a scan laid on the model."""

from __future__ import annotations

from enum import Enum

import numpy as np

from pipeline.measuring.points import thin_points
from pipeline.measuring.triangles import Surface, SurfaceFit, fit_to_surface
from pipeline.model.words import Hand, HandRelation
from pipeline.portfolio.evidence_values import SURFACE
from pipeline.portfolio.measurements import PartMeasured
from pipeline.portfolio.portfolio import PartFile
from pipeline.reading.meshes import Mesh
from pipeline.views.shapes_charts import SpreadChart
from pipeline.views.shapes_marks import Cell, Column, Mark, Row, Table, Working, WorkingInput, build_line
from pipeline.views.shapes_site import Figure, Section
from pipeline.views.wording import word_number

MOST_POINTS = 4_000
"""A scan is thinned to this many points for the best fit; the same ones every time."""
_BINS = 24
_WORKING = Working(
    (
        "volume = Σ a · (b × c) / 6 over all triangles, which turn outward; given only where the mesh is closed",
        "closed: every edge has exactly two faces, corners that coincide taken as one",
    ),
    (),
    "divergence theorem (textbook)",
    "STL and PLY hold no unit: the numbers are taken as millimetres, as the trade exchanges them (no source).",
)


def build_mesh_section(file: PartFile, measured: PartMeasured) -> Section | None:
    """Make the section; None where no mesh was read."""
    meshes = measured.evidence.meshes
    if not meshes:
        return None
    columns = (
        Column("revision"),
        Column("size x, y, z", "mm"),
        Column("volume", "mm³", True),
        Column("triangles", number=True),
        Column("closed"),
    )
    rows = tuple(_build_row(key, mesh) for key, mesh in meshes.items())
    tables = [Table("Meshes of the revisions", columns, rows, "No mesh is attached.")]
    figures = []
    current = file.lineage.current
    if current in meshes:
        for key, scan in measured.evidence.scans.items():
            figure, table = _compare(
                key, scan.groups[SURFACE], current or "", meshes[current], find_scan_hand(file, key)
            )
            figures.append(figure)
            tables.append(table)
    aside = "" if figures else f"no scan to lay on them: points of a group `{SURFACE}` are compared with the model"
    return Section("measuring-meshes", "Models and scans", aside, (), tuple(figures), tuple(tables), (), _WORKING, True)


def _build_row(key: str, mesh: Mesh) -> Row:
    size = " × ".join(word_number(edge, 2) for edge in mesh.size_mm)
    volume = "–" if mesh.volume_mm3 is None else word_number(mesh.volume_mm3, 0)
    closed = "closed" if mesh.is_closed else f"open: {mesh.open_edges:,} edges"
    if mesh.is_closed and not mesh.is_consistent:
        closed = "faces turn both ways"
    mark = Mark.IN_HAND if mesh.volume_mm3 is not None else Mark.MISSING
    texts = (size, volume, f"{mesh.triangles:,}")
    return Row((Cell(build_line(key)), *(Cell(build_line(text)) for text in texts), Cell(build_line(closed), mark)))


class ScanHand(Enum):
    """How the hand of a scanned original stands to the hand of the model."""

    SAME = "the hand of the model"
    MIRRORED = "the other hand, mirrored"
    UNLIKE = "the other hand, which is no mirror image of the model"


def find_scan_hand(file: PartFile, key: str) -> ScanHand:
    """Return how the original of a measurement stands to the model: by `hands` of the record and its own hand."""
    hands, original = file.part.hands, file.part.originals.get(file.part.measurements[key].of)
    if hands is None or original is None or original.hand is Hand.NONE or original.hand.value == hands.modelled:
        return ScanHand.SAME
    return ScanHand.UNLIKE if hands.relation is HandRelation.UNIQUE else ScanHand.MIRRORED


def compare_scan(points: np.typing.NDArray[np.float64], mesh: Mesh, mirrored: bool = False) -> SurfaceFit:
    """Return a scan laid on a mesh by best fit, thinned to `MOST_POINTS` points; mirrored where it is the other hand.

    Which axis is turned makes no difference: the rotation that follows takes it up.
    """
    turned = points * np.array([-1.0, 1.0, 1.0]) if mirrored else points
    return fit_to_surface(thin_points(turned, MOST_POINTS), Surface(mesh.corners))


def _compare(
    key: str, points: np.typing.NDArray[np.float64], revision: str, mesh: Mesh, hand: ScanHand
) -> tuple[Figure, Table]:
    mirrored = hand is ScanHand.MIRRORED
    try:
        if hand is ScanHand.UNLIKE:
            raise ValueError(f"the original is {hand.value}: only a model of its own hand could be laid under it")
        fit = compare_scan(points, mesh, mirrored)
        other = compare_scan(points, mesh) if mirrored else None
    except ValueError as error:
        empty = Table(f"{key} on revision {revision}", (Column("why not"),), (), f"No best fit: {error}")
        edges = SpreadChart(f"{key} on revision {revision}", f"No best fit: {error}", "mm", (0.0, 1.0), (0.0,))
        return Figure(edges), empty
    counts, edges_found = np.histogram(fit.deviations_mm, bins=_BINS)
    words = (
        f"{key} on revision {revision}: {fit.count} points, {word_number(fit.rms_mm, 3)} mm root mean square, "
        f"{word_number(fit.largest_mm, 3)} mm at most."
    )
    if other is not None:
        words += f" The original is {hand.value}; unmirrored it fits to {word_number(other.rms_mm, 3)} mm."
        if other.rms_mm < fit.rms_mm / 2:
            words += " It fits better as it is: look at the hand of the original again."
    chart = SpreadChart(
        f"Deviations of {key} from revision {revision}", words, "mm outside the model", tuple(edges_found.tolist()),
        tuple(float(count) for count in counts),
    )  # fmt: skip
    working = Working(
        (
            *(
                ["mirrored first: x of every point turned round; the fit's own turn takes up the rest"]
                if mirrored
                else []
            ),
            f"nearest point of the mesh for each of {fit.count} points, rigid best fit, repeated until it rests",
            words,
        ),
        (WorkingInput("points of the scan", f"{len(points):,}", build_line(key)),),
        "P. Besl, N. McKay, IEEE PAMI 14 (1992); rigid fit after W. Kabsch, Acta Cryst. A32 (1976)",
        "A best fit shares out an error over the whole part: a local dent lifts the rest a little.",
    )
    return Figure(chart, build_line(words), working), _build_map(key, revision, fit)


def _build_map(key: str, revision: str, fit: SurfaceFit) -> Table:
    """The part cut into eight blocks about its middle: where it stands proud and where it lies low."""
    middle = (fit.moved_mm.min(axis=0) + fit.moved_mm.max(axis=0)) / 2
    side = (fit.moved_mm >= middle).astype(np.int64) @ np.array([1, 2, 4])
    rows = []
    for block in range(8):
        found = fit.deviations_mm[side == block]
        if not len(found):
            continue
        name = " ".join(f"{axis}{'+' if block >> bit & 1 else '−'}" for bit, axis in enumerate("xyz"))
        texts = (
            str(len(found)), word_number(float(found.mean()), 3, signed=True),
            word_number(float(found.min()), 3, signed=True), word_number(float(found.max()), 3, signed=True),
        )  # fmt: skip
        rows.append(Row((Cell(build_line(name)), *(Cell(build_line(text)) for text in texts))))
    columns = (
        Column("block of the part"),
        Column("points", number=True),
        Column("mean", "mm", True),
        Column("lowest", "mm", True),
        Column("highest", "mm", True),
    )
    return Table(f"{key} on revision {revision}: deviation by block", columns, tuple(rows), "No point.")
