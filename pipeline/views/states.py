"""Which mark and which word stand for a state: one table for all pages."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.gates.judgement import Bench, Met
from pipeline.lineage.coverage import CellState
from pipeline.model.catalogue import Catalogues, NeedParameters
from pipeline.model.part import Tool
from pipeline.model.words import Gate, GateState, ToolStep
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import find_supplier
from pipeline.views.shapes_marks import Link, Mark

GATE_MARKS: Mapping[GateState, Mark] = {
    GateState.NOT_STARTED: Mark.MISSING,
    GateState.IN_WORK: Mark.IN_HAND,
    GateState.READY: Mark.READY,
    GateState.PROVEN: Mark.PROVEN,
    GateState.STALE: Mark.STALE,
    GateState.HELD: Mark.HELD,
    GateState.DROPPED: Mark.DROPPED,
}
MET_MARKS: Mapping[Met, Mark] = {
    Met.MET: Mark.PROVEN,
    Met.WAIVED: Mark.WAIVED,
    Met.STALE: Mark.STALE,
    Met.UNMET: Mark.MISSING,
}
CELL_MARKS: Mapping[CellState, Mark] = {
    CellState.GOOD: Mark.IN_HAND,
    CellState.STALE: Mark.STALE,
    CellState.BAD: Mark.MISSING,
    CellState.OPEN: Mark.IN_HAND,
    CellState.MISSING: Mark.MISSING,
}


def build_bench(file: PartFile) -> Bench:
    """Return what the judging functions of the gates look at, with no special need."""
    return Bench(file.part, file.lineage, file.workspace, NeedParameters())


def find_tool_mark(tool: Tool) -> Mark:
    """Return the line of a tool: proven when accepted, planned from the order on, in hand when quoted."""
    if tool.state is None:
        return Mark.MISSING
    if tool.state is ToolStep.ACCEPTED:
        return Mark.PROVEN
    return Mark.IN_HAND if tool.state is ToolStep.QUOTED else Mark.PLANNED


def find_gate_mark(file: PartFile, gate: Gate) -> Mark:
    """Return the line of one gate; tools on order make the tooling gate a plan with a date, not evidence in hand."""
    state = file.standing.gates[gate].state
    if gate is Gate.TOOLING and state is GateState.IN_WORK and not file.part.first_articles:
        return Mark.PLANNED if is_ordered(file) else Mark.IN_HAND
    return GATE_MARKS[state]


def word_gate_state(file: PartFile, gate: Gate) -> str:
    """Return the state of a gate in a word or two."""
    if find_gate_mark(file, gate) is Mark.PLANNED:
        return "ordered"
    return str(file.standing.gates[gate].state)


def is_ordered(file: PartFile) -> bool:
    """True when at least one tool is ordered."""
    return any(tool.state not in (None, ToolStep.QUOTED) for tool in file.part.tools.values())


def name_person(catalogues: Catalogues, key: str | None) -> str:
    """Return a person's name, or the id where the catalogue has none."""
    found = catalogues.people.people.get(key or "")
    return (key or "–") if found is None else found.name


def name_supplier(catalogues: Catalogues, key: str | None) -> str:
    """Return a supplier's name, or the id where the catalogue has none."""
    found = catalogues.suppliers.suppliers.get(key or "")
    return (key or "–") if found is None else found.name


def link_supplier(catalogues: Catalogues, key: str | None) -> Link:
    """Return a supplier's name as the way to the register; one that the catalogue does not have leads nowhere."""
    known = key is not None and key in catalogues.suppliers.suppliers
    return Link(name_supplier(catalogues, key), find_supplier(key) if known and key is not None else "")


def name_vehicle(catalogues: Catalogues, key: str) -> str:
    """Return a vehicle's name."""
    found = catalogues.vehicles.vehicles.get(key)
    return key if found is None else found.name


def name_body(catalogues: Catalogues, vehicle: str, body: str) -> str:
    """Return a body's name."""
    found = catalogues.vehicles.vehicles.get(vehicle)
    known = None if found is None else found.bodies.get(body)
    return body if known is None else known.name
