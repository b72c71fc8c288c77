"""Figures: sound SVG, the same bytes each time, words that are words, numbers where they belong."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from math import cos, hypot, nan, radians

import pytest

from pipeline.charts.draw import render_chart
from pipeline.charts.sheet import choose_ticks, word_number
from pipeline.views import shapes as v
from pipeline.views.shapes import Mark, ReadingShape

SVG = "{http://www.w3.org/2000/svg}"
STEPS = (
    v.LadderStep("measure", 612, 612, 612, "612"),
    v.LadderStep("ordered, today", 5800, 6555, 8300, "6,555", now=True),
    v.LadderStep("released", 29942, 34450, 68742, "34,450 (29,942 to 68,742)"),
)
LADDER = v.LadderChart("Cost of a change", "From 612 to 34,450 USD", "USD", STEPS)
DEVIATIONS = v.DeviationPlot(
    "Deviations",
    "two rows",
    "mm",
    (
        v.DeviationRow("diameter", -0.25, 0.25, (v.DeviationPoint("O1", 0.1, 0.05), v.DeviationPoint("O2", -0.3, 0.0))),
        v.DeviationRow(
            "flatness", None, 0.1, tuple(v.DeviationPoint(shape.value, 0.02, 0.01, shape) for shape in ReadingShape)
        ),
    ),
)
STACK = v.StackDrawing(
    "Stack",
    "gap 0.76",
    "mm",
    (v.StackLink("rim", -56.2, 0.125, 0.1), v.StackLink("bore", 57.0, 0.4, 0.9)),
    0.34,
    0.76,
    1.18,
    0.2,
    1.3,
    0.3,
    1.2,
    (0.6, 0.8),
)
ANGLES = tuple(float(angle) for angle in range(0, 360, 10))
ROUNDNESS = v.RoundnessPlot("Round", "three lobes", ANGLES, tuple(10 * cos(radians(3 * a)) for a in ANGLES), 40.0)
SPREAD = v.SpreadChart("Spread", "some outside", "mm", (0, 1, 2, 3, 4), (2, 5, 4, 1), 1.0, 3.0)
POINTS = tuple(v.CurvePoint(x, x * x, x * x * 0.8, x * x * 1.2) for x in range(5))
CURVES = v.CurveChart(
    "Curves",
    "all line kinds",
    "x",
    "y",
    tuple(v.Curve(mark.value, POINTS, mark, mark is Mark.PLANNED) for mark in Mark),
    2.0,
    "now",
)
COLUMNS = v.ColumnChart(
    "Columns",
    "all textures",
    "USD",
    tuple((mark.value, mark) for mark in Mark),
    (v.ColumnStack("Q1", tuple(range(10)), "45"), v.ColumnStack("Q2", (1,) * 10)),
    (50, None),
)
AGES = v.AgeChart(
    "Ages", "one old", ("measure", "model"), (5, None), (9, None), (v.AgeItem("A", 0, 4), v.AgeItem("B", 0, 40, True))
)
ALL = (LADDER, DEVIATIONS, STACK, ROUNDNESS, SPREAD, CURVES, COLUMNS, AGES)
NAMES = [type(chart).__name__ for chart in ALL]


def _texts(svg: str) -> list[str]:
    return ["".join(element.itertext()) for element in ET.fromstring(svg).iter(f"{SVG}text")]


def _points(path: str) -> list[tuple[float, float]]:
    numbers = [float(one) for one in re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def _paths(svg: str, **wanted: str) -> list[list[tuple[float, float]]]:
    root = ET.fromstring(svg)
    hatching = set(root.iterfind(f".//{SVG}pattern/{SVG}path"))
    elements = [one for one in root.iter(f"{SVG}path") if one not in hatching]
    asked = [one for one in elements if all(one.get(key) == value for key, value in wanted.items())]
    return [_points(stroke) for one in asked for stroke in re.findall("M[^M]*", one.get("d", ""))]


@pytest.mark.parametrize("chart", ALL, ids=NAMES)
def test_svg_is_sound(chart: v.Chart) -> None:
    svg = render_chart(chart)
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg" and root.get("role") == "img"
    title, words = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == chart.title
    assert words is not None and words.text == chart.words
    assert root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"
    names = {name for element in root.iter() for name in element.attrib}
    assert not {name for name in names if name == "style" or name.startswith("on")}
    assert not [
        element for element in root.iter() if element.tag.removeprefix(SVG) in ("style", "script", "metadata", "image")
    ]


@pytest.mark.parametrize("chart", ALL, ids=NAMES)
def test_colours_are_custom_properties(chart: v.Chart) -> None:
    svg = render_chart(chart)
    known = {"ink", "soft", "line", "hair", "tone", "tone-soft", "flag", "flag-soft", "paper"}
    assert set(re.findall(r"var\(--([\w-]+), #[0-9a-f]{6}\)", svg)) <= known
    rest = re.sub(r"var\(--[\w-]+, #[0-9a-f]{6}\)|url\(#\w+\)|href=\"#\w+\"", "", svg)
    assert "#" not in re.sub(r"<(title|desc|text)[^>]*>[^<]*", "", rest)


@pytest.mark.parametrize("chart", ALL, ids=NAMES)
def test_everything_lies_on_the_sheet(chart: v.Chart) -> None:
    svg = render_chart(chart)
    width, height = (float(one) for one in ET.fromstring(svg).get("viewBox", "").split()[2:])
    drawn = [point for path in _paths(svg) for point in path]
    texts = [(float(one.get("x", "nan")), float(one.get("y", "nan"))) for one in ET.fromstring(svg).iter(f"{SVG}text")]
    assert drawn and texts
    for x, y in drawn + texts:
        assert -1 <= x <= width + 1 and -1 <= y <= height + 1, (x, y)


def test_same_shape_gives_the_same_bytes_in_any_process() -> None:
    code = (
        "import hashlib, importlib.util, sys\n"
        f"spec = importlib.util.spec_from_file_location('again', {__file__!r})\n"
        "module = importlib.util.module_from_spec(spec); spec.loader.exec_module(module)\n"
        "print(hashlib.sha256(''.join(map(module.render_chart, module.ALL)).encode()).hexdigest())\n"
    )
    here = hashlib.sha256("".join(map(render_chart, ALL)).encode()).hexdigest()
    for seed in ("1", "2"):
        run = subprocess.run(
            [sys.executable, "-c", code],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(sys.path)},
        )
        assert run.stdout.strip() == here


def test_ids_differ_between_figures_of_one_page() -> None:
    ids = [set(re.findall(r' id="([^"]+)"', render_chart(chart))) for chart in ALL]
    assert sum(map(len, ids)) == len(set().union(*ids))


def test_door_opens_without_matplotlib() -> None:
    code = "import sys, pipeline.charts.draw; print('matplotlib' in sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env={"PYTHONPATH": ":".join(sys.path)}
    )
    assert run.stdout.strip() == "False"


@pytest.mark.parametrize(
    "label",
    (r"$\frac{", "$x$ 100 $", "<script>alert(1)</script>", '" style="fill: red" id="x" d="M 0 0', "#010101", "{}%s\\n", "émail ½ – 日"),
)  # fmt: skip
def test_hostile_label_stays_a_label(label: str) -> None:
    chart = replace(LADDER, title=label, words=label, steps=(*STEPS, v.LadderStep(label, 1, 2, 3, label)))
    svg = render_chart(chart)
    assert _texts(svg).count(label) == 2
    assert ET.fromstring(svg).findtext(f"{SVG}title") == label
    assert not list(ET.fromstring(svg).iter("script"))


def test_control_characters_become_a_mark() -> None:
    svg = render_chart(replace(LADDER, title="a\x00b\x1b", words="line\nbreak"))
    assert ET.fromstring(svg).findtext(f"{SVG}title") == "a\ufffdb\ufffd"
    assert ET.fromstring(svg).findtext(f"{SVG}desc") == "line break"


# --- numbers where they belong ------------------------------------------------------------------------


def test_ladder_is_linear_from_zero() -> None:
    """End strokes and lozenges of every step lie at left + value x one scale."""
    svg = render_chart(LADDER)
    axis = next(path for path in _paths(svg) if path[0][0] == path[1][0] and path[1][1] - path[0][1] > 50)
    left = axis[0][0]
    strokes = sorted(path[0][0] for path in _paths(svg, **{"stroke-width": "1.25"}) if path[0][0] == path[1][0])
    lozenges = [path[0][0] for path in _paths(svg) if len(path) == 4]
    scale = (strokes[-1] - left) / 68742
    assert strokes == pytest.approx([left + value * scale for value in (5800, 8300, 29942, 68742)], abs=0.11)
    assert lozenges == pytest.approx([left + value * scale for value in (612, 6555, 34450)], abs=0.11)


def test_roundness_shows_the_deviations() -> None:
    svg = render_chart(ROUNDNESS)
    trace = max(_paths(svg, **{"stroke-width": "1.75"}), key=len)
    radii = [hypot(x - 240, y - 160) for x, y in trace[: len(ANGLES)]]
    middle = sum(radii) / len(radii)
    factor = (max(radii) - min(radii)) / 20
    for radius, deviation in zip(radii, ROUNDNESS.deviations_um, strict=True):
        assert radius - middle == pytest.approx(deviation * factor, abs=0.15)
    assert "20 µm" in _texts(svg)


def test_spread_hatches_what_lies_outside() -> None:
    svg = render_chart(SPREAD)
    hatched = [one for one in ET.fromstring(svg).iter(f"{SVG}path") if (one.get("fill") or "").startswith("url(#")]
    assert len(hatched) == 2
    none = render_chart(replace(SPREAD, lower=None, upper=None))
    assert "url(#" not in none


def test_ladder_marks_the_stage_of_today_alone() -> None:
    svg = render_chart(LADDER)
    bold = ["".join(one.itertext()) for one in ET.fromstring(svg).iter(f"{SVG}text") if one.get("font-weight")]
    assert bold == ["ordered, today", "6,555"]


def test_figures_are_light() -> None:
    assert len(render_chart(LADDER)) < 6_000
    assert max(len(render_chart(chart)) for chart in ALL) < 20_000


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    ((0, 100, (0, 20, 40, 60, 80, 100)), (-0.4, 0.4, (-0.4, -0.2, 0.0, 0.2, 0.4)), (3, 3.5, (3.0, 3.1, 3.2, 3.3, 3.4, 3.5))),
)  # fmt: skip
def test_ticks_are_round(low: float, high: float, ticks: tuple[float, ...]) -> None:
    assert choose_ticks(low, high) == pytest.approx(ticks)


@pytest.mark.parametrize(
    ("value", "words"), ((0.1 + 0.2, "0.3"), (-0.0, "0"), (1234567.0, "1,234,567"), (-0.25, "-0.25"), (1e-12, "0"))
)
def test_numbers_are_worded_shortly(value: float, words: str) -> None:
    assert word_number(value) == words


# --- what cannot be drawn is said ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chart", "words"),
    (
        (replace(LADDER, steps=()), "no step"),
        (replace(LADDER, steps=(v.LadderStep("x", 3, 2, 4, ""),)), "low <= likely <= high"),
        (replace(LADDER, steps=(v.LadderStep("x", 1, 2, nan, ""),)), "finite"),
        (replace(DEVIATIONS, rows=()), "no row"),
        (replace(STACK, links=()), "no contributor"),
        (replace(STACK, gap_low=float("inf")), "finite"),
        (replace(ROUNDNESS, deviations_um=(1.0,)), "36 angles and 1 deviations"),
        (replace(ROUNDNESS, angles_deg=(0.0,) * 7, deviations_um=(0.0,) * 7), "at least 8"),
        (replace(SPREAD, edges=(0, 1)), "2 edges for 4 counts"),
        (replace(SPREAD, edges=(0, 1, 1, 2, 3)), "rise"),
        (replace(CURVES, curves=()), "no curve"),
        (replace(CURVES, curves=(v.Curve("x", ()),)), "without points"),
        (replace(COLUMNS, columns=()), "nothing to draw"),
        (replace(COLUMNS, columns=(v.ColumnStack("Q1", (1,)),), limits=()), "1 amounts for 10 series"),
        (replace(COLUMNS, columns=(v.ColumnStack("Q1", (-1,) * 10),), limits=()), "below zero"),
        (replace(COLUMNS, limits=(1,)), "1 limits for 2 columns"),
        (replace(AGES, half=(1,)), "percentiles"),
        (replace(AGES, items=(v.AgeItem("A", 2, 1),)), "stage 2"),
    ),
)
def test_impossible_chart_is_refused(chart: v.Chart, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        render_chart(chart)


@pytest.mark.parametrize(
    "chart",
    (
        replace(LADDER, steps=(v.LadderStep("free", 0, 0, 0, "0"),)),
        replace(DEVIATIONS, rows=(v.DeviationRow("nothing", None, None, ()),)),
        replace(SPREAD, counts=(0, 0, 0, 0)),
        replace(CURVES, curves=(v.Curve("one", (v.CurvePoint(0, 0),)),), at=None),
        replace(ROUNDNESS, deviations_um=(0.0,) * 36, tolerance_um=None),
        replace(AGES, items=(), half=(None, None), most=(None, None)),
    ),
    ids=("ladder", "deviations", "spread", "curves", "roundness", "ages"),
)
def test_chart_of_nothing_is_still_a_drawing(chart: v.Chart) -> None:
    assert "nan" not in render_chart(chart).lower().replace("nano", "")
