"""Every place of a record that names something: what is not there is told at that place, with the nearest name."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from lineage.lineage_workspace import build_catalogues, build_workspace
from lineage.test_lineage_edges import build_record

from pipeline.findings.finding import Finding, Location, Pointer
from pipeline.lineage.references import check_catalogues, check_references
from pipeline.model.workspace import Workspace

TEST = {"kind": "hardness-test", "of": "P1", "on": "2026-03-01", "by": "ann", "covers": ["hard"], "result": "good"}
ARTICLE = {
    "tools": ["die"],
    "of": "A",
    "on": "2026-05-20",
    "by": "ann",
    "pieces": 3,
    "finished": True,
    "result": "good",
}
CHANGE = {"found_at": "first article", "on": "2026-05-20", "by": "ann", "what": "x", "mode": "dimension"}
RUN = {
    "feature": "length",
    "tools": ["die"],
    "of": "A",
    "on": "2026-05-20",
    "by": "ann",
    "with": "arm",
    "file": "evidence/o1.csv",
}
STUDY = {"feature": "length", "on": "2026-01-09", "by": "ann", "with": "arm", "file": "evidence/o1.csv"}
REVIEW = {"on": "2026-01-05", "by": "ann", "regulations": ["lamps"], "plan": "at the laboratory"}
SIGHT = {
    "glass": [-550, 850, 1000],
    "aim_at": [14000, 2400, 400],
    "width": 190,
    "height": 120,
    "eyes": [[0, 350, 1150]],
    "asks": "us-111-driver",
}
CUP = {"op": "draw", "what": "draw", "draws": {"diameter": "length", "height": "length"}}
DEMAND = {"per_year": [1, 2, 3], "price": "9 USD"}
WAIVER = {
    "of": "fit-check.coverage",
    "until": "2027-01-01",
    "by": "bob",
    "risk": "kim",
    "exposure": "900 USD",
    "instead": "x",
    "why": "y",
}
BASE = build_record("SD-100")
SECOND = {"on": "2026-05-20", "by": "ann", "changed": [], "no_effect": [
    {"features": ["length"], "keeps": ["F1"], "by": "ann", "seen_by": "bob", "on": "2026-05-21", "why": "x"}]}  # fmt: skip


def locate(path: str, pointer: Pointer) -> Location:
    """Return a place: where it is in the text is the reading room's."""
    return Location(path)


def change(value: Any, pointer: tuple[str | int, ...], new: Any) -> Any:
    """Return a copy of plain values with one of them changed (an index one past the end adds it)."""
    if not pointer:
        return new
    step, rest = pointer[0], pointer[1:]
    if isinstance(value, list):
        assert isinstance(step, int)
        return [*value[:step], change(value[step] if step < len(value) else None, rest, new), *value[step + 1 :]]
    held = value or {}
    return {**held, step: change(held.get(step), rest, new)}


def check(record: dict[str, Any], workspace: Workspace | None = None) -> list[Finding]:
    """Return what a record names that is not there."""
    space = workspace or build_workspace(record)
    return check_references(space.parts["SD-100"], space, locate)


WHOLE = build_record(
    "SD-100",
    tests={"T1": {**TEST, "at": "lab", "gives": {"hard": 50}}},
    first_articles={"N1": {**ARTICLE, "seen_by": "bob", "covers": ["length"], "gives": {"length": [40.0]}}},
    changes={"C1": {**CHANGE, "features": ["length"], "fixed_in": "B", "tool": "die", "predicted": "9 USD", "actual": "9 USD"}},
    sample_runs={"S1": RUN},
    gauge_studies={"G1": STUDY},
    safety_review=REVIEW,
    sight_lines={"V1": {**SIGHT, "fits": "saloon"}},
    route=[{**CUP, "at": "arm-1", "uses": ["die"]}, {"op": "plate", "what": "nickel", "at": "foundry", "outside": True}],
    demand={**DEMAND, "cost": "2 USD", "takes_from": {"SD-100": 0.1}},
    waivers=[WAIVER],
    revisions={"B": SECOND},
    made_of={"pin": {"bought": "pin", "from": ["foundry"]}, "lens": {"part": "SD-100"}},
    hands={"left": "SD-100", "right": "SD-101", "relation": "mirror-except", "except": ["length"]},
    features={"hard": {**BASE["features"]["hard"], "coating": "length"}},
    interfaces={"seat": {**BASE["interfaces"]["seat"], "meets": "SD-100", "stack": [{"feature": "length"}, {"coating": "length"}]}},
    prototypes={"P1": {**BASE["prototypes"]["P1"], "covers": ["length"]}},
    quotes={"Q1": {**BASE["quotes"]["Q1"], "covers": ["length"]}},
    fit_checks={"F1": {**BASE["fit_checks"]["F1"], "hand": "left", "covers": ["length"]}},
    tools={"die": {**BASE["tools"]["die"], "by": "foundry", "of": "A", "checks": ["hard"]}, "cap": {"kind": "gauge", "made_to_fit": ["die"]}},
    decisions=[{"gate": "fit check", "on": "2026-02-10", "by": "bob", "say": "go", "second": "kim"},
               {"gate": "quote", "on": "2026-05-05", "by": "bob", "say": "go", "choose": "Q1"}],
    measurements={"M3": {**BASE["measurements"]["M2"], "replaces": "M2"}},
)  # fmt: skip

PLACES: list[tuple[tuple[str | int, ...], str, str]] = [
    (("family",), "R206", "family"),
    (("engineer",), "R207", "person"),
    (("fits", "saloon", "vehicle"), "R204", "vehicle"),
    (("fits", "saloon", "body"), "R204", "body of the finch"),
    (("measurements", "M1", "by"), "R207", "person"),
    (("measurements", "M1", "of"), "R209", "original"),
    (("measurements", "M1", "with"), "R212", "instrument in shared/resources.yaml"),
    (("measurements", "M3", "replaces"), "R209", "measurement"),
    (("revisions", "A", "from", 0), "R209", "measurement"),
    (("revisions", "B", "changed", 0), "R208", "feature"),
    (("revisions", "B", "no_effect", 0, "by"), "R207", "person"),
    (("revisions", "B", "no_effect", 0, "seen_by"), "R207", "person"),
    (("revisions", "B", "no_effect", 0, "keeps", 0), "R209", "evidence"),
    (("prototypes", "P1", "of"), "R209", "revision"),
    (("prototypes", "P1", "process"), "R212", "process in shared/processes.yaml"),
    (("prototypes", "P1", "covers", 0), "R208", "feature"),
    (("fit_checks", "F1", "by"), "R207", "person"),
    (("fit_checks", "F1", "seen_by"), "R207", "person"),
    (("fit_checks", "F1", "with"), "R209", "prototype or first article"),
    (("fit_checks", "F1", "fits"), "R209", "application"),
    (("fit_checks", "F1", "car"), "R212", "car in shared/vehicles.yaml"),
    (("fit_checks", "F1", "covers", 0), "R208", "feature"),
    (("tests", "T1", "of"), "R209", "sample or revision"),
    (("tests", "T1", "kind"), "R212", "process in shared/processes.yaml"),
    (("tests", "T1", "at"), "R211", "supplier"),
    (("tests", "T1", "covers", 0), "R208", "feature"),
    (("quotes", "Q1", "of"), "R209", "revision"),
    (("quotes", "Q1", "from"), "R211", "supplier"),
    (("quotes", "Q1", "covers", 0), "R208", "feature"),
    (("tools", "die", "kind"), "R212", "tool kind in shared/tool_kinds.yaml"),
    (("tools", "die", "by"), "R211", "supplier"),
    (("tools", "die", "of"), "R209", "revision"),
    (("tools", "die", "forms", 0), "R208", "feature"),
    (("tools", "die", "checks", 0), "R208", "feature"),
    (("tools", "cap", "made_to_fit", 0), "R214", "tool"),
    (("first_articles", "N1", "of"), "R209", "revision"),
    (("first_articles", "N1", "tools", 0), "R214", "tool"),
    (("first_articles", "N1", "covers", 0), "R208", "feature"),
    (("first_articles", "N1", "seen_by"), "R207", "person"),
    (("sample_runs", "S1", "of"), "R209", "revision"),
    (("sample_runs", "S1", "feature"), "R208", "feature"),
    (("sample_runs", "S1", "tools", 0), "R214", "tool"),
    (("sample_runs", "S1", "with"), "R212", "instrument in shared/resources.yaml"),
    (("gauge_studies", "G1", "feature"), "R208", "feature"),
    (("gauge_studies", "G1", "with"), "R212", "instrument in shared/resources.yaml"),
    (("changes", "C1", "by"), "R207", "person"),
    (("changes", "C1", "features", 0), "R208", "feature"),
    (("changes", "C1", "fixed_in"), "R209", "revision"),
    (("changes", "C1", "tool"), "R214", "tool"),
    (("decisions", 0, "by"), "R207", "person"),
    (("decisions", 0, "second"), "R207", "person"),
    (("decisions", 1, "choose"), "R209", "quote"),
    (("waivers", 0, "by"), "R207", "person"),
    (("waivers", 0, "risk"), "R207", "person"),
    (("waivers", 0, "of"), "R216", "requirement"),
    (("safety_review", "by"), "R207", "person"),
    (("safety_review", "regulations", 0), "R221", "regulation"),
    (("sight_lines", "V1", "fits"), "R209", "application"),
    (("route", 0, "at"), "R211", "resource or supplier"),
    (("route", 1, "at"), "R211", "supplier"),
    (("route", 0, "uses", 0), "R214", "tool"),
    (("route", 0, "draws", "diameter"), "R208", "feature"),
    (("route", 0, "draws", "height"), "R208", "feature"),
    (("route", 0, "draws", "wall"), "R208", "feature"),
    (("made_of", "pin", "from", 0), "R211", "supplier"),
    (("made_of", "lens", "part"), "R213", "part"),
    (("hands", "except", 0), "R208", "feature"),
    (("features", "hard", "coating"), "R208", "feature"),
    (("interfaces", "seat", "features", 0), "R208", "feature"),
    (("interfaces", "seat", "stack", 0, "feature"), "R208", "feature"),
    (("interfaces", "seat", "stack", 1, "coating"), "R208", "feature"),
    (("interfaces", "seat", "meets"), "R213", "part"),
]  # fmt: skip


def test_a_record_that_names_only_what_is_there_has_no_finding() -> None:
    assert check(WHOLE) == []
    assert check({**WHOLE, "changes": {"C1": CHANGE}}) == [], (
        "a change that is not mended, has no tool and no price yet"
    )


@pytest.mark.parametrize(("pointer", "rule", "kind"), PLACES, ids=[".".join(map(str, row[0])) for row in PLACES])
def test_what_is_not_there_is_told_where_it_is_named(pointer: tuple[str | int, ...], rule: str, kind: str) -> None:
    gone = {"R213": "ZZ-987", "R216": "measure.nothing"}.get(rule, "zzz")
    found = check(change(WHOLE, pointer, gone))
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in pointer).removeprefix(".")
    assert [(f.rule, f.pointer, f.message) for f in found] == [(rule, text, f'there is no {kind} "{gone}"')]
    assert (found[0].record, found[0].location.path) == ("SD-100", "projects/SD-100/part.yaml")


KEYS: list[tuple[tuple[str | int, ...], Any, str, str]] = [
    (("measurements", "M1", "gives", "zzz"), 1, "R208", "feature"),
    (("tests", "T1", "gives", "zzz"), 1, "R208", "feature"),
    (("first_articles", "N1", "gives", "zzz"), [1], "R208", "feature"),
    (("fit_checks", "F1", "gaps", "zzz"), [1], "R210", "interface"),
    (("quotes", "Q1", "tools", "zzz"), 1, "R214", "tool"),
    (("demand", "takes_from", "ZZ-987"), 0.1, "R213", "part"),
]


@pytest.mark.parametrize(("pointer", "value", "rule", "kind"), KEYS, ids=[".".join(map(str, row[0])) for row in KEYS])
def test_a_key_that_names_something_is_looked_up_too(
    pointer: tuple[str | int, ...], value: Any, rule: str, kind: str
) -> None:
    found = check(change(WHOLE, pointer, value))
    assert [(f.rule, f.pointer, f.message) for f in found] == [
        (rule, ".".join(map(str, pointer)), f'there is no {kind} "{pointer[-1]}"')
    ]


MONEYS: list[tuple[tuple[str | int, ...], Any]] = [
    (("quotes", "Q1", "money"), "EUR"),
    (("tools", "die", "price"), "9 EUR"),
    (("demand", "price"), "9 EUR"),
    (("demand", "cost"), "9 EUR"),
    (("waivers", 0, "exposure"), "9 EUR"),
    (("changes", "C1", "predicted"), "9 EUR"),
    (("changes", "C1", "actual"), "9 EUR"),
]


@pytest.mark.parametrize(("pointer", "value"), MONEYS, ids=[".".join(map(str, row[0])) for row in MONEYS])
def test_money_without_a_rate_is_told_wherever_it_stands(pointer: tuple[str | int, ...], value: Any) -> None:
    found = check(change(WHOLE, pointer, value))
    assert [(f.rule, f.message) for f in found] == [("R220", 'there is no dated rate for the currency "EUR"')]


def test_the_nearest_name_is_suggested_and_nothing_that_is_far_off() -> None:
    near, far = check({**WHOLE, "engineer": "anne"}), check({**WHOLE, "engineer": "zzz"})
    assert near[0].fix.startswith("did you mean `ann`? Else: ")
    assert "did you mean" not in far[0].fix and far[0].fix == near[0].fix.removeprefix("did you mean `ann`? Else: ")


def test_only_the_first_fifty_mistakes_of_a_record_are_given_the_nearest_name() -> None:
    keeps = [f"lenght{n}" for n in range(51)]
    found = check(change(WHOLE, ("prototypes", "P1", "covers"), keeps))
    assert [f.pointer for f in found] == [f"prototypes.P1.covers[{n}]" for n in range(51)]
    assert ["did you mean `length`" in f.fix for f in found] == [True] * 50 + [False]


@pytest.mark.parametrize(("count", "suggested"), [(5_000, True), (5_001, False)])
def test_no_nearest_name_is_looked_for_in_a_list_of_more_than_five_thousand(count: int, suggested: bool) -> None:
    space = build_workspace({**WHOLE, "engineer": "anne"})
    people = space.catalogues.people
    many = {**people.people, **{f"{n:08}": people.people["ann"] for n in range(count - len(people.people))}}
    catalogues = space.catalogues.model_copy(update={"people": people.model_copy(update={"people": many})})
    (found,) = check({}, replace(space, catalogues=catalogues))
    assert found.fix.startswith("did you mean `ann`?") is suggested


@pytest.mark.parametrize("field", ["fits", "car"])
def test_a_trial_on_what_could_not_be_read_is_held_against_nothing(field: str) -> None:
    space = build_workspace(change(WHOLE, ("fit_checks", "F1", field), "torn"))
    assert check_references(space.parts["SD-100"], space, locate, frozenset({"torn"})) == []


def test_a_name_in_an_entry_that_could_not_be_read_is_not_missing() -> None:
    space = build_workspace(change(WHOLE, ("prototypes", "P1", "of"), "Z"))
    assert check_references(space.parts["SD-100"], space, locate, frozenset({"Z"})) == []
    assert check_references(space.parts["SD-100"], space, locate, frozenset({"Y"})) != []


def test_tools_of_other_records_are_known_by_number_and_name() -> None:
    other = build_record("AA-1", tools={"jig": {"kind": "gauge"}})
    uses = {**WHOLE, "uses_tools": ["AA-1/jig"]}
    cap = {"kind": "gauge", "made_to_fit": ["AA-1/jig"]}
    for record in (uses, change(uses, ("tools", "cap"), cap), change(uses, ("sample_runs", "S1", "tools", 0), "jig")):
        assert check(record, build_workspace(record, other)) == []
        gone = check(record, build_workspace(record, build_record("AA-1")))
        assert {f.rule for f in gone} == {"R214"}, "the part is there, and keeps no such tool"
    broken = replace(build_workspace(uses), broken=frozenset({"AA-1"}))
    assert check(uses, broken) == [], "a record that cannot be read may hold anything"


def test_an_application_lies_within_the_years_of_its_body() -> None:
    """The saloon was made from 1950 to 1956."""
    for years, told in (("1950-1956", False), ("1949-1956", True), ("1950-1957", True)):
        found = check(change(WHOLE, ("fits", "saloon", "years"), years))
        assert [f.rule for f in found if f.pointer == "fits.saloon.years"] == (["R205"] if told else [])


@pytest.mark.parametrize(
    ("fits", "car", "told"),
    [
        ({"vehicle": "finch", "body": "saloon", "years": 1953}, "car-1", False),
        ({"vehicle": "finch", "body": "saloon", "years": 1952}, "car-1", True),
        ({"vehicle": "finch", "body": "saloon", "years": 1954}, "car-1", True),
        ({"vehicle": "finch", "body": "saloon", "years": "1952-1955"}, "car-2", True),
    ],
)
def test_a_trial_is_made_on_a_car_that_the_application_speaks_of(fits: dict[str, Any], car: str, told: bool) -> None:
    found = check(change(change(WHOLE, ("fits", "saloon"), fits), ("fit_checks", "F1", "car"), car))
    assert [f.pointer for f in found] == (["fit_checks.F1.car"] if told else [])


def test_two_pieces_of_evidence_have_two_names() -> None:
    found = check(build_record("SD-100", tests={"P1": TEST}, quotes={"F1": BASE["quotes"]["Q1"]}))
    assert [(f.pointer, f.message) for f in found] == [
        ("tests.P1", '"P1" is used in prototypes too'),
        ("quotes.F1", '"F1" is used in fit_checks too'),
    ]


@pytest.mark.parametrize(
    ("file", "text", "told"),
    [
        ("vehicles", "vehicles: {owl: {name: O, bodies: {van: {name: v, years: 1950}}}}\ncars: {car-1: {vehicle: finch, body: saloon, year: 1953}}\n",
         [("cars.car-1.vehicle", 'there is no vehicle "finch"')]),
        ("vehicles", "vehicles: {finch: {name: F, bodies: {van: {name: v, years: 1950}}}}\ncars: {car-1: {vehicle: finch, body: saloon, year: 1953}}\n",
         [("cars.car-1.body", 'there is no body "saloon"')]),
        ("processes", "proofs: {fit: f}\nneeds: {size: size}\nprocesses: {print: {name: p, proves: [fit, looks]}}\n",
         [("needs.size", 'there is no proof "size"'), ("processes.print.proves[1]", 'there is no proof "looks"')]),
        ("tool_kinds", "kinds: {mould: {name: m, gauge: true, remade: true}}\n",
         [("families.cast.tool_kinds[0]", 'there is no tool kind "die"')]),
    ],
)  # fmt: skip
def test_catalogues_that_do_not_go_together_are_told(file: str, text: str, told: list[tuple[str, str]]) -> None:
    from pipeline.model.catalogue import CATALOGUE_FILES
    from pipeline.reading.shape import parse_shape
    from pipeline.reading.tree import parse_tree

    tree, _ = parse_tree(file, text)
    assert tree is not None
    changed, findings = parse_shape(tree, CATALOGUE_FILES[file])
    assert changed is not None, findings
    found = check_catalogues(build_catalogues().model_copy(update={file: changed}), locate)
    assert [(f.pointer, f.message) for f in found] == told
    assert check_catalogues(build_catalogues(), locate) == []
