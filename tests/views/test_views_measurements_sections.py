"""Sections about what was measured and about stacks: every figure has its working, words and drawings agree."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from pipeline.charts.draw import render_chart
from pipeline.portfolio.portfolio import PartFile, build_portfolio
from pipeline.reading.meshes import read_mesh
from pipeline.views.measurements import build_measurement_sections, choose_guesses
from pipeline.views.measurements_meshes import compare_scan
from pipeline.views.shapes_charts import DeviationPlot, RoundnessPlot, SpreadChart, StackDrawing
from pipeline.views.shapes_marks import Run, Table
from pipeline.views.shapes_site import Section
from pipeline.views.stacks import DRAWS, SEED, build_stack_sections, reckon_stack, render_stack, render_table

ROOT = Path(__file__).parents[2]
Sample = Callable[..., Path]


@pytest.fixture(scope="module")
def demo() -> dict[str, PartFile]:
    return dict(build_portfolio(ROOT, deep=True).parts)


def find(sections: tuple[Section, ...], anchor: str) -> Section:
    return next(section for section in sections if section.anchor == anchor)


def words(cell_line: tuple[Run, ...]) -> str:
    return "".join(run.text for run in cell_line)


def rows(table: Table) -> list[list[str]]:
    return [[words(cell.line) for cell in row.cells] for row in table.rows]


@pytest.fixture(scope="module")
def made(demo: dict[str, PartFile]) -> dict[str, tuple[Section, ...]]:
    """All sections of all parts, made once."""
    return {number: (*build_measurement_sections(f), *build_stack_sections(f)) for number, f in demo.items()}


def all_sections(made: dict[str, tuple[Section, ...]]) -> Iterator[tuple[str, Section]]:
    for number, sections in made.items():
        for section in sections:
            yield number, section


def test_every_figure_opens_to_its_working(made: dict[str, tuple[Section, ...]]) -> None:
    figures = 0
    for number, section in all_sections(made):
        for figure in section.figures:
            figures += 1
            assert figure.working is not None, (number, section.anchor)
            assert figure.working.formula and figure.working.source
            assert figure.chart.title and figure.chart.words
        if section.tables and not section.figures:
            assert section.working is not None, (number, section.anchor)
    assert figures > 60


def test_every_table_has_as_many_cells_as_columns(made: dict[str, tuple[Section, ...]]) -> None:
    for number, section in all_sections(made):
        for table in section.tables:
            assert table.empty
            for row in table.rows:
                assert len(row.cells) == len(table.columns), (number, section.anchor, table.caption)


def test_anchors_are_unique_on_a_page(made: dict[str, tuple[Section, ...]]) -> None:
    for sections in made.values():
        anchors = [section.anchor for section in sections]
        assert len(anchors) == len(set(anchors))


def test_figures_can_be_drawn(demo: dict[str, PartFile]) -> None:
    kinds = set()
    for section in (*build_measurement_sections(demo["TW-147"]), *build_stack_sections(demo["TW-101"])):
        for figure in section.figures:
            kinds.add(type(figure.chart))
            assert render_chart(figure.chart).startswith("<svg")
    assert kinds >= {DeviationPlot, RoundnessPlot, StackDrawing}


def test_originals_stand_side_by_side_with_their_condition(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-101"]), "measuring-originals")
    table = section.tables[0]
    assert [column.label for column in table.columns[3:6]] == ["O1, used", "O2, new old stock", "O3, used"]
    rim = rows(table)[0]
    assert rim[:6] == [
        "rim_od",
        "mm",
        "112.40",
        "112.36\u00a0±\u00a00.060",
        "112.41\u00a0±\u00a00.060",
        "(112.12\u00a0±\u00a00.060)",
    ]
    assert rows(section.tables[1])[0] == ["O3", "rim_od", "M3: recorded as worn"]
    plot = section.figures[0].chart
    assert isinstance(plot, DeviationPlot)
    row = plot.rows[0]
    assert (row.label, row.lower, row.upper) == ("rim_od", -0.25, 0.25)
    grown = (1 - 1.5 * 27.4e-6, 1 - 1.5 * 27.4e-6, 1)  # M1 and M2 were read at 21.5 degrees, M3 at 20
    brought = [size * share - 112.4 for size, share in zip((112.36, 112.41, 112.12), grown, strict=True)]
    assert [point.value for point in row.points] == pytest.approx(brought, abs=1e-9)
    assert row.points[0].spread == pytest.approx(0.0604, abs=1e-4)
    assert "O3 −0.28 (left out)" in plot.words


def test_verdicts_are_in_words_with_the_arithmetic_behind_them(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-101"]), "measuring-verdicts")
    assert section.aside == "8 of 8 readings conform"
    first = rows(section.tables[0])[0]
    assert first[3:7] == ["conforms", "over 99.9 %", "under 0.1 %", "4.1"]
    assert section.working is not None
    assert (
        "rim_od (M1): to 20 °C (ISO 1): 112.36 mm × 27.4e-6/K × (20 − 21.5) K = -0.0046 mm" in section.working.formula
    )
    budget = next(line for line in section.working.formula if line.startswith("rim_od (M1, M2): u"))
    assert budget.endswith("guard band 0.822 U = 0.0497; conforms from 112.1997 to 112.6003 mm")
    named = next(one for one in section.working.inputs if one.name == "M1")
    assert "arm-1 (calibrated 2026-01-12, due 2027-01-12)" in words(named.source)
    assert any(run.href.endswith("o1-points.csv") for run in named.source)
    assert "brought to 20 °C by 27.4e-6 per K" in named.value


def test_narrow_limits_name_what_would_do(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-124"]), "measuring-verdicts")
    assert "od: The tolerance is 2.7 times" in words(section.after)
    assert "outside micrometer" in words(section.after)


def test_files_stand_against_the_record_with_the_roundest_trace(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-101"]), "measuring-files")
    assert rows(section.tables[0])[0][2:6] == ["112.36 mm", "112.360 mm", "diameter of the least-squares circle", "24"]
    plot = section.figures[0].chart
    assert isinstance(plot, RoundnessPlot)
    span = max(plot.deviations_um) - min(plot.deviations_um)
    assert f"{span:.0f} µm" in plot.words
    assert list(plot.angles_deg) == sorted(plot.angles_deg)


def test_runout_shows_its_first_harmonic_apart(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-147"]), "measuring-files")
    figure = section.figures[0]
    assert isinstance(figure.chart, RoundnessPlot) and figure.chart.title.startswith("Run-out")
    assert "First harmonic (eccentricity)" in words(figure.note) and "the rest" in words(figure.note)
    assert figure.chart.tolerance_um == pytest.approx(800.0)


def test_a_drawing_guess_says_whether_it_says_anything(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-104"]), "measuring-nominals")
    assert any("2 1/4 in (worth believing)" in row[4] for row in rows(section.tables[0]))
    guesses = choose_guesses(demo["TW-101"].kept["measured"].features["rim_od"])
    assert len(guesses) == 1  # nothing telling: the simplest stands for all, and says so
    listed = rows(find(build_measurement_sections(demo["TW-101"]), "measuring-nominals").tables[1])
    assert "says nothing" in listed[0][6]


def test_samples_and_shrinkage(demo: dict[str, PartFile]) -> None:
    sections = build_measurement_sections(demo["TW-124"])
    samples = rows(find(sections, "measuring-samples").tables[0])
    assert samples[0][:4] == ["FA1", "od", "5", "5"]
    assert any("outside the limits" in row[8] for row in samples)
    tools = rows(find(sections, "measuring-tools").tables[0])
    assert tools[0][:3] == ["mould", "0.50 (0.40 to 0.60)", "0.62 ± 0.02"]
    assert "take metal off the tool" in tools[0][4]


def test_meshes_are_told_with_volume(demo: dict[str, PartFile]) -> None:
    section = find(build_measurement_sections(demo["TW-101"]), "measuring-meshes")
    assert rows(section.tables[0])[2] == ["D", "112.40 × 112.40 × 11.00", "33,187", "384", "closed"]


def test_nothing_measured_gives_no_section(sample: Sample) -> None:
    file = build_portfolio(
        sample("measurements: {}\nrevisions: {}\nprototypes: {}\nfit_checks: {}\nquotes: {}\ndecisions: []\n")
    ).parts["SD-100"]
    assert build_measurement_sections(file) == ()
    assert build_stack_sections(file) == ()


def test_without_the_files_the_record_still_speaks(sample: Sample) -> None:
    file = build_portfolio(sample()).parts["SD-100"]
    anchors = [section.anchor for section in build_measurement_sections(file)]
    assert anchors == ["measuring-originals", "measuring-verdicts", "measuring-nominals"]


def test_a_scan_is_laid_on_the_model(sample: Sample) -> None:
    """Points taken from the mesh itself, moved and turned, with one block pushed out by 0.05 mm."""
    root = sample()
    mesh, _ = read_mesh(root, "projects/SD-100/evidence/hook-a.stl")
    assert mesh is not None
    rng = np.random.default_rng(3)
    points = np.concatenate([rng.dirichlet([1, 1, 1], 60) @ face for face in mesh.corners])
    turn = math.radians(4)
    moved = points @ np.array(
        [[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]]
    ) + [1, -2, 0.5]
    assert compare_scan(moved, mesh).rms_mm < 1e-4
    text = "# unit: mm\ngroup,x,y,z\n" + "".join(f"surface,{x:.5f},{y:.5f},{z:.5f}\n" for x, y, z in moved)
    part = (
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
        "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
        "  M3: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/scan.csv, gives: {length: 39.99}}\n"
    )
    root = sample(part, {"projects/SD-100/evidence/scan.csv": text})
    file = build_portfolio(root, deep=True).parts["SD-100"]
    section = find(build_measurement_sections(file), "measuring-meshes")
    chart = section.figures[0].chart
    assert isinstance(chart, SpreadChart) and "0.000 mm root mean square" in chart.words
    assert sum(chart.counts) == 240
    assert sum(int(row[1]) for row in rows(section.tables[1])) == 240


@pytest.mark.parametrize(
    ("relation", "is_mirrored", "words"),
    [("mirror", True, "The original is the other hand, mirrored; unmirrored it fits to"),
     ("mirror", False, "It fits better as it is: look at the hand of the original again."),
     ("unique", True, "No best fit: the original is the other hand, which is no mirror image of the model")],
)  # fmt: skip
def test_a_scan_of_the_other_hand_is_mirrored_before_it_is_laid_on_the_model(
    sample: Sample, relation: str, is_mirrored: bool, words: str
) -> None:
    """Points of the mesh itself, mirrored in x and moved: laid on as the right hand of a left model they fit exactly."""
    root = sample()
    mesh, _ = read_mesh(root, "projects/SD-100/evidence/hook-a.stl")
    assert mesh is not None
    rng = np.random.default_rng(5)
    points = np.concatenate([rng.dirichlet([1, 1, 1], 60) @ face for face in mesh.corners])
    scan = points * [-1.0 if is_mirrored else 1.0, 1.0, 1.0] + [3, 1, -2]
    text = "# unit: mm\ngroup,x,y,z\n" + "".join(f"surface,{x:.5f},{y:.5f},{z:.5f}\n" for x, y, z in scan)
    part = (
        f"hands: {{left: SD-100-L, right: SD-100-R, relation: {relation}}}\n"
        "originals:\n  O1: {condition: used, hand: left, from: lent}\n  O2: {condition: nos, hand: right, from: boxed}\n"
        "measurements:\n  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
        "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/scan.csv, gives: {length: 39.99}}\n"
        "decisions: []\n"
    )
    file = build_portfolio(sample(part, {"projects/SD-100/evidence/scan.csv": text}), deep=True).parts["SD-100"]
    chart = find(build_measurement_sections(file), "measuring-meshes").figures[0].chart
    assert isinstance(chart, SpreadChart) and words in chart.words, chart.words
    if relation == "mirror" and is_mirrored:
        assert "0.000 mm root mean square" in chart.words


# --- stacks ---------------------------------------------------------------------------------------


def test_stack_section_shows_every_method_and_the_seed(demo: dict[str, PartFile]) -> None:
    (section,) = build_stack_sections(demo["TW-101"])
    methods = rows(section.tables[0])
    assert [row[0] for row in methods] == [
        "worst case", "inflated root-sum-square, × 1.5", "root-sum-square", f"Monte Carlo, {DRAWS:,} draws, seed {SEED}",
    ]  # fmt: skip
    assert methods[0][1] == "0.325 to 1.195 mm"
    shares = [float(row[6]) for row in rows(section.tables[1])]
    assert sum(shares) == pytest.approx(100, abs=2)
    drawing = section.figures[0].chart
    assert isinstance(drawing, StackDrawing)
    assert (drawing.worst_low, drawing.worst_high) == pytest.approx((0.325, 1.195))
    assert len(drawing.measured) == 6
    short = build_stack_sections(demo["TW-101"], drawing=False)[0]
    assert short.figures == () and len(short.tables) == 1 and short.working is not None


def test_spread_is_drawn_where_parts_can_be_outside(sample: Sample) -> None:
    stack = (
        "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.7]}, stack: [{feature: length, sign: 1}, "
        "{name: sill, nominal: 39.6, limits: [-0.2, 0.2], sign: -1}]}\n"
    )
    file = build_portfolio(sample(stack)).parts["SD-100"]
    (section,) = build_stack_sections(file)
    assert [type(figure.chart) for figure in section.figures] == [StackDrawing, SpreadChart]
    spread = section.figures[1].chart
    assert isinstance(spread, SpreadChart) and sum(spread.counts) == DRAWS
    assert "present tolerances hold the limits" in words(section.after)


def test_a_stack_that_cannot_be_reckoned_says_why(sample: Sample) -> None:
    stack = (
        "features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
        "  lip: {what: lip, kind: size, nominal: 8, unit: mm}\n"
        "interfaces:\n  seat: {what: hook to sill, gap: {limits: [0.1, 0.7]}, stack: [{feature: lip, sign: 1}]}\n"
    )
    file = build_portfolio(sample(stack)).parts["SD-100"]
    (section,) = build_stack_sections(file)
    assert section.aside == "no prediction" and "lip has no limits" in words(section.intro)
    assert render_stack(reckon_stack(file, "seat"))[1] == "  no prediction: link 1: lip has no limits"


def test_terminal_and_page_say_the_same(demo: dict[str, PartFile]) -> None:
    (section,) = build_stack_sections(demo["TW-101"])
    printed = "\n".join(render_stack(reckon_stack(demo["TW-101"], "rim_to_wing")))
    for table in section.tables:
        for line in render_table(table):
            assert line in printed
