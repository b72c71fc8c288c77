"""A record that uses every section, and the places in it that a hostile hand can change."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

from pipeline.findings.sample import SAMPLE_PART
from pipeline.reading.tree import parse_tree

Pointer = tuple[str | int, ...]

MORE = """\
confidential: true
announce: 2027-01-01
opened: 2026-01-02
picture: evidence/hook-a.stl
note: a note
hands: {left: SD-100-L, right: SD-100-R, relation: mirror-except, except: [hard]}
supersedes:
  - {number: SD-099, on: 2026-01-01, why: older}
marking: {kind: date, text: "51", where: back, rights: cleared}
tests:
  T1: {kind: hardness-test, of: FA1, on: 2026-05-30, by: ann, at: lab, covers: [hard], gives: {hard: {value: 50, U: 1}}, result: good, valid_to: 2027-01-01, seen_by: bob, file: evidence/o1.csv, cost: 10}
route:
  - {op: cast, what: casting, at: arm-1, uses: [die], weeks: [1, 2, 3], draws: {diameter: length, height: length, trim: 1}}
  - {op: plate, what: nickel, at: foundry, outside: true}
uses_tools: [SD-200/die]
first_articles:
  FA1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, pieces: 5, finished: true, settings: evidence/o1.csv, gives: {length: [40, 40.1]}, covers: [hard], result: good, hours: 2}
gauge_studies:
  G1: {feature: length, on: 2026-01-09, by: ann, with: arm, file: evidence/o1.csv, note: three wires}
sight_lines:
  V1: {hand: left, fits: saloon, glass: [-550, 850, 1000], aim_at: [14000, 2400, 400], width: 190, height: 120, radius: 1200, eyes: [[0, 350, 1150]], side: 800, rear: 4000, asks: us-111-passenger}
sample_runs:
  S1: {feature: length, tools: [die], of: A, on: 2026-05-20, by: ann, with: arm, file: evidence/o1.csv, subgroup: 5, note: x}
made_of:
  pin: {bought: a pin, count: 2, from: [foundry], price: 1 USD, weeks: 2}
  other: {part: SD-200}
demand: {per_year: [100, 200, 300], price: 68 USD, cost: 20 USD, years: 5, ramp: 0.5, decay: 0.1, lost_share: 0.5, takes_from: {SD-200: 0.1}}
stock: {pieces: 5, unit_cost: 3, salvage: 0.5, in_field: 2, return_cost: 9}
redo: {remeasure_h: 1, reprint: 20}
safety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory, file: evidence/o1.csv}
changes:
  C1: {found_at: tool cut, on: 2026-05-25, by: ann, what: too long, mode: fit, features: [length], found_by: F1, fixed_in: A, tool: die, class: metal-off, predicted: 100 USD, actual: 200 USD, weeks: 2}
waivers:
  - {of: fit-check.coverage, until: first article, by: bob, risk: kim, exposure: 900 USD, instead: template, why: car away}
"""


def build_whole_record() -> dict[str, Any]:
    """Return a record with every section, as plain values."""
    tree, findings = parse_tree("x.yaml", SAMPLE_PART + MORE)
    assert tree is not None
    assert not findings
    return copy.deepcopy(tree.value)


def list_pointers(value: Any, pointer: Pointer = ()) -> Iterator[Pointer]:
    """Yield the pointer of every value of a record, outer ones first."""
    if pointer:
        yield pointer
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, child in items:
        yield from list_pointers(child, (*pointer, step))


def put_value(record: dict[str, Any], pointer: Pointer, value: Any) -> None:
    """Put a value in the place of another one, where that place still exists."""
    place: Any = record
    for step in pointer[:-1]:
        try:
            place = place[step]
        except (KeyError, IndexError, TypeError):
            return
    if isinstance(place, dict) or (isinstance(place, list) and pointer[-1] in range(len(place))):
        place[pointer[-1]] = value


def put_key(record: dict[str, Any], pointer: Pointer, key: str) -> None:
    """Rename a key of a map."""
    place: Any = record
    for step in pointer[:-1]:
        place = place[step]
    if isinstance(place, dict):
        items = list(place.items())
        place.clear()
        place.update({(key if old == pointer[-1] else old): value for old, value in items})
