"""Where a part stands: the rail of six gates, each gate in full, what to do next, bodies and hands covered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.gates.judgement import Met, Requirement
from pipeline.gates.standing import GateStanding, find_needs
from pipeline.lineage.coverage import Cell, CellState, compute_coverage
from pipeline.model.catalogue import NeedParameters
from pipeline.model.part import Decision, Waiver
from pipeline.model.words import GATES, Gate, GateState, Hand
from pipeline.portfolio.portfolio import PartFile
from pipeline.views.addresses import Anchors, find_method_page, find_part_page, name_gate_anchor
from pipeline.views.next_steps import Action, find_actions
from pipeline.views.part_head import build_fit_link
from pipeline.views.reasons import build_reason_line, start_line, word_features
from pipeline.views.requirements import word_requirement
from pipeline.views.shapes_marks import Line, Link, Mark, Run, Tone, build_line
from pipeline.views.shapes_part import (
    CoverageMatrix,
    CoverageRow,
    GateDetail,
    GateRail,
    NextAction,
    RailGate,
    RailPiece,
    RequirementLine,
)
from pipeline.views.shapes_site import MatrixCell
from pipeline.views.states import (
    CELL_MARKS,
    MET_MARKS,
    find_gate_mark,
    is_ordered,
    name_person,
    word_gate_state,
)
from pipeline.views.wording import shorten, word_added, word_count, word_day, word_list, word_money, write_sentence

ACTIONS_SHOWN = 6


def build_rail(file: PartFile) -> GateRail:
    """Make the rail: one line a gate, in pieces where the evidence is in pieces."""
    gates = tuple(_build_rail_gate(file, gate) for gate in GATES)
    words = ", ".join(f"{gate.name} {gate.state}" for gate in gates)
    return GateRail(gates, words[0].upper() + words[1:])


def _build_rail_gate(file: PartFile, gate: Gate) -> RailGate:
    mark = find_gate_mark(file, gate)
    href = find_part_page(file.number, name_gate_anchor(gate))
    notes = tuple(_find_notes(file, gate))[:3]
    return RailGate(gate.value, word_gate_state(file, gate), mark, find_pieces(file, gate), notes, href)


def find_pieces(file: PartFile, gate: Gate) -> tuple[RailPiece, ...]:
    """Return the pieces of a gate's line: by application for the fit check, by requirement while it is in work."""
    mark = find_gate_mark(file, gate)
    if mark in (Mark.HELD, Mark.DROPPED, Mark.READY, Mark.PLANNED):
        return (RailPiece(mark, 1.0),)
    if gate is Gate.FIT_CHECK and file.part.fit_checks:
        return _share_out(_mark_cells(file, mark))
    if mark in (Mark.IN_HAND, Mark.STALE):
        return _share_out([_mark_requirement(r, mark) for r in file.standing.gates[gate].requirements] or [mark])
    return (RailPiece(mark, 1.0),)


def _mark_cells(file: PartFile, gate_mark: Mark) -> list[Mark]:
    """Return one mark for each application and hand; a waiver takes what is missing."""
    standing = file.standing.gates[Gate.FIT_CHECK]
    waived = any(r.id == "fit-check.coverage" and r.state is Met.WAIVED for r in standing.requirements)
    marks = []
    for cell in compute_coverage(file.part, file.lineage).cells:
        if cell.state is CellState.GOOD:
            marks.append(Mark.PROVEN if gate_mark is Mark.PROVEN else Mark.IN_HAND)
        else:
            marks.append(Mark.WAIVED if waived and cell.state is CellState.MISSING else CELL_MARKS[cell.state])
    return marks or [gate_mark]


def _mark_requirement(requirement: Requirement, gate_mark: Mark) -> Mark:
    if requirement.state is Met.MET:
        return Mark.IN_HAND
    if requirement.state is Met.UNMET and gate_mark is Mark.STALE:
        return Mark.MISSING
    return MET_MARKS[requirement.state]


_ORDER = (Mark.PROVEN, Mark.IN_HAND, Mark.WAIVED, Mark.STALE, Mark.MISSING)


def _share_out(marks: Sequence[Mark]) -> tuple[RailPiece, ...]:
    """Return pieces of one mark each, the proven first, whose shares add to 1."""
    return tuple(RailPiece(mark, marks.count(mark) / len(marks)) for mark in _ORDER if mark in marks)


def _find_notes(file: PartFile, gate: Gate) -> list[Run]:
    notes = [*_NOTES[gate](file)]
    decision = file.standing.gates[gate].decision
    if decision is not None:
        notes.append(Run(f"{decision.say}, {word_day(decision.on)}", Tone.SOFT))
    return notes


def _note_measure(file: PartFile) -> list[Run]:
    measured = {m.of for m in file.part.measurements.values()}
    return [Run(word_count(len(measured), "original"), Tone.SOFT)] if measured else []


def _note_model(file: PartFile) -> list[Run]:
    current = file.lineage.current
    if current is None:
        return []
    return [Run(f"revision {current}, {word_day(file.part.revisions[current].on)}", Tone.SOFT)]


def _note_prototype(file: PartFile) -> list[Run]:
    return _note_freshness(file, "prototypes", 1)


def _note_freshness(file: PartFile, section: str, shown: int) -> list[Run]:
    """Return what stands, and what went stale."""
    keys = list(getattr(file.part, section))
    fresh = [key for key in keys if file.lineage.is_fresh(f"{section}.{key}")]
    stale = [key for key in keys if key not in fresh]
    notes = []
    if stale:
        notes.append(Run(f"{word_list(stale, 3)} stale", Tone.FLAG))
    if fresh and len(notes) < shown + 1:
        notes.append(Run(f"{word_list(fresh, 3)} fresh", Tone.SOFT))
    return notes


def _note_fit(file: PartFile) -> list[Run]:
    if not file.part.fit_checks:
        return []
    coverage = compute_coverage(file.part, file.lineage)
    stale = sum(cell.state is CellState.STALE for cell in coverage.cells)
    missing = sum(cell.state is CellState.MISSING for cell in coverage.cells)
    all_good = coverage.good == len(coverage.cells)
    notes = [Run(f"{coverage.good} of {len(coverage.cells)} fitted", Tone.SOFT if all_good else Tone.PLAIN)]
    rest = [f"{stale} stale"] * bool(stale) + [f"{missing} missing"] * bool(missing)
    return notes + ([Run(", ".join(rest), Tone.FLAG if stale else Tone.PLAIN)] if rest else [])


def _note_quote(file: PartFile) -> list[Run]:
    notes = []
    good = {k: q for k, q in file.part.quotes.items() if file.lineage.is_fresh(f"quotes.{k}")}
    stale = [key for key in file.part.quotes if key not in good]
    if stale:
        notes.append(Run(f"{word_list(stale, 2)} stale", Tone.FLAG))
    if good:
        last = max(good, key=lambda k: (good[k].valid_to or good[k].on, k))
        until = good[last].valid_to
        notes.append(Run(last if until is None else f"{last} to {word_day(until)}", Tone.SOFT))
    return notes


def _note_tooling(file: PartFile) -> list[Run]:
    notes = []
    for key, tool in file.part.tools.items():
        if tool.state is not None and is_ordered(file) and tool.state.value != "quoted":
            notes.append(Run(f"{shorten(key, 14)} {tool.state}, {word_day(tool.steps[tool.state])}", Tone.SOFT))
    planned = [t.cut_planned for t in file.part.tools.values() if t.cut_planned is not None]
    if planned and min(planned) > file.workspace.today:
        notes.insert(1, Run(f"cut planned {word_day(min(planned))}", Tone.SOFT))
    return notes


_NOTES = {
    Gate.MEASURE: _note_measure,
    Gate.MODEL: _note_model,
    Gate.PROTOTYPE: _note_prototype,
    Gate.FIT_CHECK: _note_fit,
    Gate.QUOTE: _note_quote,
    Gate.TOOLING: _note_tooling,
}


# --- gates in full --------------------------------------------------------------------------------


def build_gates(file: PartFile, anchors: Anchors) -> tuple[GateDetail, ...]:
    """Make every gate in full; what later gates lack is told only once they are next."""
    return tuple(_build_gate(file, anchors, file.standing.gates[gate]) for gate in GATES)


def _build_gate(file: PartFile, anchors: Anchors, standing: GateStanding) -> GateDetail:
    needs = find_needs(file.part, file.workspace, standing.gate)
    is_far = _is_far(file, standing)
    lines = tuple(
        _build_requirement(file, anchors, standing, r, needs.get(r.id, NeedParameters()), is_far)
        for r in standing.requirements
    )
    return GateDetail(
        name_gate_anchor(standing.gate),
        standing.gate.value,
        word_gate_state(file, standing.gate),
        find_gate_mark(file, standing.gate),
        lines,
        build_decision_line(file, standing),
    )


def _is_far(file: PartFile, standing: GateStanding) -> bool:
    """True for a gate behind the next one: what it lacks is nobody's task yet."""
    if file.standing.gate is None or standing.state is GateState.STALE:
        return False
    return GATES.index(standing.gate) > GATES.index(file.standing.gate)


def _build_requirement(
    file: PartFile,
    anchors: Anchors,
    standing: GateStanding,
    requirement: Requirement,
    need: NeedParameters,
    is_far: bool,
) -> RequirementLine:
    answer = requirement.answer
    mark = MET_MARKS[requirement.state]
    if mark is Mark.PROVEN and standing.state is not GateState.PROVEN:
        mark = Mark.IN_HAND
    proof = _build_proof(file, anchors, requirement)
    lacking = "" if is_far else "; ".join(word_features(file, todo) for todo in answer.todo[:4])
    if requirement.state is Met.MET:
        lacking = ""
    elif requirement.state is Met.WAIVED and requirement.waiver is not None:
        proof = build_waiver_line(file, requirement.waiver)
        lacking = f"{word_features(file, answer.words)}; {_word_waiver_end(requirement.waiver)}"
    elif not is_far and not lacking:
        proof, lacking = (), word_features(file, answer.words)
    link = Link("policy", find_method_page("gates", requirement.id))
    lacking = lacking[:1].upper() + lacking[1:]
    return RequirementLine(mark, word_requirement(requirement.id, need), start_line(proof), lacking, link)


def _build_proof(file: PartFile, anchors: Anchors, requirement: Requirement) -> Line:
    """Return what a requirement found, with the evidence it counted."""
    proof = [Run(word_features(file, requirement.answer.words))]
    shown = [node for node in requirement.answer.evidence if anchors.has(node)][:6]
    for at, node in enumerate(shown):
        proof += [Run(": " if at == 0 else ", "), Run(node.partition(".")[2], href=anchors.link(node))]
    return tuple(proof)


def _word_waiver_end(waiver: Waiver) -> str:
    until = waiver.until if isinstance(waiver.until, str) else word_day(waiver.until)
    return f"waived until {until}"


def build_waiver_line(file: PartFile, waiver: Waiver) -> Line:
    """Return a waiver in full: until when, by whom, at whose risk, instead of what, why."""
    catalogues = file.workspace.catalogues
    risk = name_person(catalogues, waiver.risk)
    exposure = word_money(waiver.exposure.amount, waiver.exposure.currency)
    start = f" on {word_day(waiver.on)}" if waiver.on else ""
    words = f"W{_word_waiver_end(waiver)[1:]} by {name_person(catalogues, waiver.by)}{start}; "
    words += f"{risk} carries the risk, {exposure}; instead: {waiver.instead}; because {waiver.why}"
    return build_line(Run(words, Tone.SOFT))


def build_decision_line(file: PartFile, standing: GateStanding) -> Line:
    """Return who decided what, when and why, and why it does not count if it does not."""
    decision = standing.decision
    if decision is None:
        roles = file.workspace.catalogues.gates.gates[standing.gate].decided_by
        return build_line(f"Not decided yet; the {' or the '.join(roles)} decides.")
    runs = [Run(f"{word_decision(file, decision)}.")]
    if standing.faults:
        faults = "; ".join(fault.split(": ", 1)[-1] for fault in standing.faults)
        runs.append(Run(f" It does not count: {faults}.", Tone.FLAG))
    if standing.claims:
        runs.append(Run(" It claims more than the evidence proves.", Tone.FLAG))
    return tuple(runs)


def word_decision(file: PartFile, decision: Decision) -> str:
    """Return a decision in words: ``Go by Ito on 30 Jan 2026, seen by Bram: drophead promised``."""
    catalogues = file.workspace.catalogues
    words = f"{decision.say.value.capitalize()} by {name_person(catalogues, decision.by)} on {word_day(decision.on)}"
    if decision.second is not None:
        words += f", second signature {name_person(catalogues, decision.second)}"
    if decision.choose is not None:
        words += f", choosing {decision.choose}"
    return words + (f": {decision.why}" if decision.why else "")


def build_release_words(file: PartFile) -> str:
    """Return the release of tooling money in words; empty where there is none."""
    release = file.standing.release
    if release is None:
        return ""
    words = word_decision(file, release)
    return words[:1].lower() + words[1:]


# --- next, coverage -------------------------------------------------------------------------------


def build_actions(file: PartFile) -> tuple[NextAction, ...]:
    """Make the list of what to do next, the most pressing first, the same as the terminal shows."""
    actions = find_actions(file)
    shown = [_build_action(file, action) for action in actions[:ACTIONS_SHOWN]]
    rest = len(actions) - len(shown)
    if rest > 0:
        link = Run("what is missing", href=find_part_page(file.number, "gates"))
        shown.append(NextAction(build_line(f"And {word_count(rest, 'more step')}: see ", link, ".")))
    return tuple(shown)


def _build_action(file: PartFile, action: Action) -> NextAction:
    line = build_reason_line(file, write_sentence(action.do))
    why = word_features(file, write_sentence(action.why)) if action.why else ""
    return NextAction(line, why, action.who, "" if action.due is None else f"by {word_day(action.due)}")


def word_nothing_to_do(file: PartFile) -> str:
    """Return why there is nothing to do."""
    if file.standing.is_dropped:
        return "Dropped: nothing is to be done. A go for any gate takes it up again."
    if file.standing.released:
        return "Released for sale: every gate is proven and nothing has gone stale."
    if file.standing.state is GateState.HELD:
        return "Held: decide go, rework or drop to take it up again."
    return "Nothing is missing."


def build_coverage(file: PartFile, anchors: Anchors) -> CoverageMatrix:
    """Make the matrix of applications and hands, counted, never flagged by hand."""
    coverage = compute_coverage(file.part, file.lineage)
    standing = file.standing.gates[Gate.FIT_CHECK]
    waived = any(r.id == "fit-check.coverage" and r.state is Met.WAIVED for r in standing.requirements)
    heads = tuple("fit check" if hand is Hand.NONE else hand.value for hand in coverage.hands)
    rows = []
    for key, application in file.part.fits.items():
        cells = [cell for cell in coverage.cells if cell.application == key]
        marked = tuple(_build_cell(anchors, cell, waived, standing.state) for cell in cells)
        link = build_fit_link(file.workspace.catalogues, application)
        rows.append(CoverageRow(replace(link, text=link.text + word_added(application.since)), marked))
    thing = "application" if file.part.hands is None else "application and hand"
    plural = "applications" if file.part.hands is None else "applications and hands"
    count = word_count(len(coverage.cells), thing, plural)
    summary = f"{coverage.good} of {count} covered by fresh fit checks"
    return CoverageMatrix(
        heads, tuple(rows), summary, "No application is recorded. Write one under fits: in the record."
    )


def _build_cell(anchors: Anchors, cell: Cell, waived: bool, state: GateState) -> MatrixCell:
    href = "" if cell.check is None else anchors.link(f"fit_checks.{cell.check}")
    if cell.state is CellState.GOOD:
        return MatrixCell(Mark.PROVEN if state is GateState.PROVEN else Mark.IN_HAND, f"{cell.check} good", href)
    if cell.state is CellState.MISSING:
        return MatrixCell(Mark.WAIVED, "waived") if waived else MatrixCell(Mark.MISSING, "missing")
    return MatrixCell(CELL_MARKS[cell.state], f"{cell.check} {cell.state}", href)
