"""Views of the demo's own records and of small ones: what each page says, compared as data."""

from __future__ import annotations

import doctest
import importlib
import json
import pkgutil
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

import pipeline.views
from pipeline.gates.standing import REQUIREMENTS
from pipeline.lineage.freshness import Cause
from pipeline.model.catalogue import NeedParameters
from pipeline.model.words import GATES, Gate
from pipeline.portfolio.portfolio import PartFile, Portfolio, build_portfolio
from pipeline.views.addresses import Anchors
from pipeline.views.change_cost import render_ladder
from pipeline.views.csv_tables import guard_cell, join_line, render_csv, render_parts_csv
from pipeline.views.home_page import build_home_page
from pipeline.views.method_evidence import _CAUSES
from pipeline.views.method_pages import build_method_pages
from pipeline.views.next_steps import build_next_lines
from pipeline.views.part_costs import build_ladder
from pipeline.views.part_features import build_features
from pipeline.views.part_gates import build_actions, build_coverage, build_rail
from pipeline.views.part_lineage import build_lineage
from pipeline.views.part_page import build_part_page
from pipeline.views.parts_page import FACETS, FIELDS, build_parts_page
from pipeline.views.portfolio_data import build_portfolio_data, build_portfolio_schema
from pipeline.views.requirements import WANTS
from pipeline.views.review_page import build_review_page
from pipeline.views.rules_pages import SAME, write_example
from pipeline.views.shapes import Mark, PartPage, ReadingShape
from pipeline.views.shapes_lineage import LineageDrawing
from pipeline.views.vehicles_page import build_vehicles_page

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def demo() -> Portfolio:
    """The demo's records, on the day that they speak of."""
    return build_portfolio(ROOT)


@pytest.fixture(scope="module")
def pages(demo: Portfolio) -> dict[str, PartPage]:
    """Every part's page."""
    return {number: build_part_page(file, {}) for number, file in demo.parts.items()}


@pytest.mark.parametrize("name", sorted(m.name for m in pkgutil.iter_modules(pipeline.views.__path__)))
def test_examples_in_the_docstrings_hold(name: str) -> None:
    assert doctest.testmod(importlib.import_module(f"pipeline.views.{name}")).failed == 0


# --- nothing is left without words ----------------------------------------------------------------


def test_every_requirement_has_words() -> None:
    assert set(WANTS) == set(REQUIREMENTS)
    assert all(words(NeedParameters()) for words in WANTS.values())


def test_every_cause_of_staleness_is_explained() -> None:
    assert set(_CAUSES) == set(Cause)


def test_every_method_names_its_source_and_its_limits(demo: Portfolio) -> None:
    methods = build_method_pages(demo)
    assert len(methods) >= 12
    for page in methods:
        assert join_line(page.source).strip(" .") and page.limits and page.formula, page.head.title


# --- the hold call: worked through ------------------------------------------------------------------


def test_hold_call_names_tool_reason_and_whom_to_ring(pages: dict[str, PartPage]) -> None:
    page = pages["TW-101"]
    assert page.hold is not None
    words = join_line(page.hold.line)
    for piece in ("die", "2 Nov 2026", "revision D changed screw boss distance", "North Die", "14 Dec 2026", "USD"):
        assert piece in words
    assert page.block.revision == "D"
    assert "screw boss distance" in page.block.changed
    assert [number for number, one in pages.items() if one.hold is not None] == ["TW-101"]


def test_rail_says_what_each_gate_says(demo: Portfolio) -> None:
    rail = build_rail(demo.parts["TW-101"])
    assert [gate.mark for gate in rail.gates] == [
        Mark.PROVEN, Mark.PROVEN, Mark.STALE, Mark.STALE, Mark.STALE, Mark.PLANNED,
    ]  # fmt: skip
    assert [gate.name for gate in rail.gates] == [gate.value for gate in GATES]
    fit = rail.gates[3]
    assert [(piece.mark, round(piece.share, 3)) for piece in fit.pieces] == [(Mark.WAIVED, 0.667), (Mark.STALE, 0.333)]


def test_pieces_of_every_gate_add_up_to_the_whole_line(demo: Portfolio) -> None:
    for file in demo.parts.values():
        for gate in build_rail(file).gates:
            assert sum(piece.share for piece in gate.pieces) == pytest.approx(1.0), (file.number, gate.name)
            assert len(gate.notes) <= 3


CASES = (
    ("TW-104", "released", Mark.PROVEN),
    ("TW-112", "fit check", Mark.STALE),
    ("TW-121", "prototype", Mark.READY),
    ("TW-152", "tooling", Mark.PLANNED),
    ("TW-190", "measure", Mark.HELD),
    ("TW-198", "model", Mark.DROPPED),
    ("TW-210", "measure", Mark.MISSING),
)


@pytest.mark.parametrize(("number", "gate", "mark"), CASES)
def test_list_shows_where_a_part_stands(demo: Portfolio, number: str, gate: str, mark: Mark) -> None:
    row = next(row for row in build_parts_page(demo).rows if row.number == number)
    assert (row.gate, row.mark) == (gate, mark)


def test_coverage_is_counted(demo: Portfolio) -> None:
    file = demo.parts["TW-112"]
    matrix = build_coverage(file, Anchors(file.part, file.lineage.nodes))
    assert matrix.summary == "1 of 3 applications covered by fresh fit checks"
    assert [[cell.mark for cell in row.cells] for row in matrix.rows] == [
        [Mark.IN_HAND],
        [Mark.MISSING],
        [Mark.MISSING],
    ]


# --- terminal and page cannot disagree --------------------------------------------------------------


def test_page_and_terminal_give_the_same_next_steps(demo: Portfolio) -> None:
    for number, file in demo.parts.items():
        told = [line.strip().partition(". ")[2] for line in build_next_lines(demo, [number], limit=50)[1:]]
        steps = [line for line in told if line]
        shown = build_actions(file)
        if not steps or file.standing.is_dropped or file.standing.released:
            continue
        first = join_line(shown[0].do)
        assert first[1:12].lower() == steps[0].replace("`", "")[1:12].lower(), number


def test_page_and_terminal_give_the_same_ladder(demo: Portfolio) -> None:
    file = demo.parts["TW-101"]
    figure, _ = build_ladder(file)
    assert figure is not None
    terminal = "\n".join(render_ladder(file, None))
    for step in figure.chart.steps:  # type: ignore[union-attr]
        assert step.words in terminal, step.label
    assert [step.now for step in figure.chart.steps].count(True) == 1  # type: ignore[union-attr]


def test_today_has_a_rung_of_its_own_where_the_stage_is_not_complete(demo: Portfolio) -> None:
    """The stage's figure counts what usually exists by then; today's counts only what does."""
    figure, _ = build_ladder(demo.parts["TW-101"])
    assert figure is not None
    labels = [step.label for step in figure.chart.steps]  # type: ignore[union-attr]
    assert labels[labels.index("today") - 1] == "tool ordered"


# --- features -----------------------------------------------------------------------------------------


def _feature(demo: Portfolio, number: str, key: str):  # type: ignore[no-untyped-def]
    file = demo.parts[number]
    return next(line for line in build_features(file, Anchors(file.part, file.lineage.nodes)) if line.key == key)


def test_worn_reading_is_left_out_and_said(demo: Portfolio) -> None:
    line = _feature(demo, "TW-101", "rim_od")
    assert [reading.shape for reading in line.drawing.readings] == [
        ReadingShape.USED, ReadingShape.NOS, ReadingShape.LEFT_OUT,
    ]  # fmt: skip
    assert "O3 (worn) left out" in join_line(line.verdict)
    assert [round(reading.value, 2) for reading in line.drawing.readings] == [-0.04, 0.01, -0.28]


def test_reading_in_inches_stays_in_the_unit_of_its_feature(demo: Portfolio) -> None:
    line = _feature(demo, "TW-138", "bolt_pitch")
    assert (line.nominal, line.unit) == ("2.8750", "in")
    assert line.drawing.readings[0].value == pytest.approx(0.0012)


ARTICLE = "first_articles:\n  FA1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, pieces: 3, finished: true, gives: {length: [%s]}, result: open}\n"
OVER = (
    ("40.20, 39.80", Mark.IN_HAND, "FA1 within limits; 2 originals, −0.01 to +0.02 mm from nominal"),  # on both limits
    ("40.21, 39.80", Mark.MISSING, "FA1 is outside the limits by 0.01 mm"),
    ("40.10, 39.77", Mark.MISSING, "FA1 is outside the limits by 0.03 mm"),
)


@pytest.mark.parametrize(("readings", "mark", "words"), OVER)
def test_sample_is_judged_at_its_limits(sample: Callable[..., Path], readings: str, mark: Mark, words: str) -> None:
    """Limits 40 ± 0.2 mm: a reading on the limit is inside, one just over is told by how much."""
    file = build_portfolio(sample(ARTICLE % readings)).parts["SD-100"]
    line = build_features(file, Anchors(file.part, file.lineage.nodes))[0]
    assert line.mark is mark
    assert join_line(line.verdict).startswith(words)


# --- lineage ------------------------------------------------------------------------------------------


def _drawings(demo: Portfolio) -> dict[str, LineageDrawing]:
    found = {n: build_lineage(f, Anchors(f.part, f.lineage.nodes)) for n, f in demo.parts.items()}
    return {number: drawing for number, drawing in found.items() if drawing is not None}


def test_no_two_boxes_share_a_place_and_no_line_runs_through_one(demo: Portfolio) -> None:
    drawings = _drawings(demo)
    assert len(drawings) >= 25
    for number, drawing in drawings.items():
        places = [(node.layer, node.row) for node in drawing.nodes]
        assert len(set(places)) == len(places), number
        assert len({node.id for node in drawing.nodes}) == len(drawing.nodes), number
        at = {node.id: node for node in drawing.nodes}
        for edge in drawing.edges:
            first, last = at[edge.source].layer, at[edge.target].layer
            assert first < last, (number, edge)
            assert [layer for layer, _ in edge.via] == list(range(first + 1, last)), (number, edge)
            assert not set(edge.via) & set(places), (number, edge)


def test_a_change_lights_exactly_what_covers_it(demo: Portfolio) -> None:
    """Worked by hand from the record of TW-131: P1 shows three features of five, no quote, three tools."""
    drawing = _drawings(demo)["TW-131"]
    stale = {feature.key: set(feature.makes_stale) for feature in drawing.features}
    assert stale["wire_d"] == {"P1"}
    assert stale["coil_d"] == {"P1", "tool-arbor", "tool-gauge"}
    assert stale["hardness"] == {"tool-fixture"}
    assert stale["torque"] == set()


# --- lists --------------------------------------------------------------------------------------------


def test_rows_have_one_value_for_each_facet_and_field(demo: Portfolio) -> None:
    page = build_parts_page(demo)
    assert [row.number for row in page.rows] == sorted(demo.parts)
    for row in page.rows:
        assert len(row.facets) == len(FACETS)
        assert len(row.texts) == len(FIELDS)


def test_vehicles_count_what_is_released_and_where_the_holes_are(demo: Portfolio) -> None:
    sedge = build_vehicles_page(demo).vehicles[0]
    rows = {row.part.text: row for group in sedge.groups for row in group.rows}
    assert [cell.mark for cell in rows["TW-112"].cells] == [Mark.STALE, Mark.MISSING, Mark.NOT_NEEDED, Mark.MISSING]
    assert rows["TW-112"].hole
    assert all(len(row.cells) == len(sedge.columns) == len(sedge.totals) for row in rows.values())
    released = sum(cell.mark is Mark.PROVEN for row in rows.values() for cell in row.cells[:1])
    assert sedge.totals[0].startswith(f"{released} of ")


def test_home_asks_each_person_only_for_what_is_theirs(demo: Portfolio) -> None:
    page = build_home_page(demo)
    desks = {desk.key: desk for desk in page.desks}
    assert "perrin" not in desks  # he left the shop
    assert {need.kind for need in desks["buyer"].needs} <= {"hold call", "quote ends", "quote ran out"}
    assert any(need.kind == "decision due" for need in desks["ito"].needs)
    for desk in page.desks:
        assert desk.needs


def test_review_lists_what_the_standings_say(demo: Portfolio) -> None:
    groups = {group.anchor: group for group in build_review_page(demo).groups}
    ready = {item.part.text for item in groups["ready"].items}
    assert ready == {n for n, f in demo.parts.items() if f.standing.state.value == "ready for decision"}
    stale = {item.part.text for item in groups["still-stale"].items}
    assert {"TW-101", "TW-112", "TW-124", "TW-215"} <= stale
    assert {item.part.text for item in groups["stopped"].items} == {"TW-190", "TW-198"}
    ended = next(item for item in groups["still-stale"].items if item.part.text == "TW-112")
    assert "ran out on 30 Sep 2026" in join_line(ended.line)


def test_stale_gate_is_never_told_without_a_reason(demo: Portfolio) -> None:
    for item in next(g for g in build_review_page(demo).groups if g.anchor == "still-stale").items:
        assert len(join_line(item.line).partition(": ")[2]) > 10, item.part.text


# --- records that cannot be used ------------------------------------------------------------------------


def test_workspace_without_catalogues_still_has_its_pages(sample: Callable[..., Path]) -> None:
    portfolio = build_portfolio(sample(files={"shared/people.yaml": None}))
    assert portfolio.workspace is None
    home, review = build_home_page(portfolio), build_review_page(portfolio)
    assert home.tallies and not home.desks
    assert any("shared/people.yaml" in join_line(item.line) for item in review.groups[0].items)
    assert build_parts_page(portfolio).rows == ()
    assert build_vehicles_page(portfolio).vehicles == ()
    assert build_method_pages(portfolio) == ()


def test_part_without_anything_has_a_page(sample: Callable[..., Path]) -> None:
    bare = "part: SD-101\nname: Bare\nfamily: cast\nsafety: S2\nengineer: ann\nfits: {a: {vehicle: finch, body: saloon, years: 1951}}\n"
    portfolio = build_portfolio(sample(files={"projects/SD-101/part.yaml": bare}))
    page = build_part_page(portfolio.parts["SD-101"], {})
    assert page.lineage is None and page.evidence == () and page.features == () and page.picture is None
    assert {gate.mark for gate in page.rail.gates} == {Mark.MISSING}
    assert any(caution.strong for caution in page.cautions)


def test_evidence_ids_never_meet_each_other_or_the_page(sample: Callable[..., Path]) -> None:
    part = "originals:\n  gates: {condition: used, from: yard}\n  A: {condition: used, from: yard}\n  O1: {condition: used, from: yard}\n  O2: {condition: nos, from: shelf}\n"
    file = next(iter(build_portfolio(sample(part)).parts.values()))
    anchors = Anchors(file.part, file.lineage.nodes)
    ids = [anchors.find(node) for node in file.lineage.nodes]
    assert len(set(ids)) == len(ids)
    assert "gates" not in ids and anchors.find("originals.gates") == "originals-gates"


# --- data ---------------------------------------------------------------------------------------------


def test_portfolio_document_keeps_its_schema(demo: Portfolio) -> None:
    schema = build_portfolio_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    data = json.loads(json.dumps(build_portfolio_data(demo), allow_nan=False))
    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    assert [part["number"] for part in data["parts"]] == sorted(demo.parts)
    broken = {**data, "parts": [{**data["parts"][0], "state": "passed"}]}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(broken, schema, cls=jsonschema.Draft202012Validator)


GUARDED = (
    ("=1+1", "'=1+1"), ("+cmd", "'+cmd"), ("-2+3", "'-2+3"), ("@SUM(A1)", "'@SUM(A1)"), ("\tx", "'\tx"), (" =1", "' =1"),
    ("\r=1", "'\r=1"), ("-0.25", "-0.25"), ("−0.25", "-0.25"), ("+0.1", "+0.1"), ("1,234", "1234"), ("text", "text"),
    ("", ""), ("−0.1 to 0.3", "'−0.1 to 0.3"[1:]), ("-", "'-"), ("12 USD", "12 USD"),
)  # fmt: skip


@pytest.mark.parametrize(("given", "shown"), GUARDED)
def test_cells_are_never_formulas(given: str, shown: str) -> None:
    assert guard_cell(given) == shown


def test_csv_is_quoted_by_the_book() -> None:
    """RFC 4180 (from memory): quotes doubled, fields with commas, quotes or breaks in quotes, lines end in CRLF."""
    assert render_csv(("a", 'b"c'), [("x,y", "line\nbreak")]) == 'a,"b""c"\r\n"x,y","line\nbreak"\r\n'


def test_list_of_parts_as_csv_has_a_line_for_each(demo: Portfolio) -> None:
    text = render_parts_csv(build_parts_page(demo))
    assert text.count("\r\n") == len(demo.parts) + 1
    assert "USD" in text.partition("\r\n")[0]


def test_examples_show_bytes_that_are_no_text() -> None:
    from pipeline.findings.rule import Example

    assert write_example(Example()) == SAME
    assert "\\xf6" in write_example(Example(files={"projects/A/part.yaml": "name: \udcf6\n"}))
    assert "taken away" in write_example(Example(files={"shared/people.yaml": None}))
    assert len(write_example(Example("x: 1\n" * 10_000))) < 2_000


def _tooling(file: PartFile) -> str:
    return file.standing.gates[Gate.TOOLING].state.value


def test_released_part_says_so_and_asks_for_nothing(demo: Portfolio, pages: dict[str, PartPage]) -> None:
    released = [number for number, file in demo.parts.items() if file.standing.released]
    assert released and all(_tooling(demo.parts[number]) == "proven" for number in released)
    for number in released:
        assert pages[number].actions == ()
        assert "Released for sale" in pages[number].no_action
