"""Where a part stands: the state of each gate, derived from requirements, evidence, decisions and waivers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from pipeline.gates import measured, quoted, tooled, tried
from pipeline.gates.judgement import Answer, Bench, Met, Requirement, name_list
from pipeline.lineage.freshness import Lineage, PartLineage, Reason
from pipeline.lineage.order import order_parents_first
from pipeline.model.added import ADDABLE_SECTIONS, find_added
from pipeline.model.catalogue import GatePolicy, NeedParameters
from pipeline.model.part import Decision, Part, Tool, Waiver
from pipeline.model.words import GATES, Gate, GateState, Say, ToolStep
from pipeline.model.workspace import Workspace

REQUIREMENTS: Mapping[str, Callable[[Bench], Answer]] = {
    "measure.originals": measured.judge_originals,
    "measure.critical": measured.judge_critical,
    "measure.calibration": measured.judge_calibration,
    "measure.ratio": measured.judge_ratio,
    "measure.safety-review": measured.judge_safety_review,
    "model.revision": measured.judge_revision,
    "model.source": measured.judge_source,
    "model.stacks": measured.judge_stacks,
    "prototype.built": tried.judge_built,
    "prototype.proves": tried.judge_proves,
    "fit-check.coverage": tried.judge_coverage,
    "fit-check.interfaces": tried.judge_interfaces,
    "fit-check.finish": tried.judge_finish,
    "fit-check.second-signature": tried.judge_fit_signature,
    "quote.offers": quoted.judge_offers,
    "quote.revision": quoted.judge_quote_revision,
    "quote.valid": quoted.judge_valid,
    "quote.scope": quoted.judge_scope,
    "quote.chosen": quoted.judge_chosen,
    "tooling.accepted": tooled.judge_accepted,
    "tooling.first-article": tooled.judge_first_article,
    "tooling.refit": tooled.judge_refit,
    "tooling.proofs": tooled.judge_proofs,
    "tooling.second-signature": tooled.judge_article_signature,
    "tooling.safety-tests": tooled.judge_safety_tests,
    "tooling.children": tooled.judge_children,
}
"""Every requirement that a gate policy can name, and the function that judges it."""

GATE_PREFIX = {gate: gate.value.replace(" ", "-") for gate in Gate}
GATE_EVIDENCE = {
    Gate.MEASURE: ("originals", "measurements"),
    Gate.MODEL: ("revisions",),
    Gate.PROTOTYPE: ("prototypes",),
    Gate.FIT_CHECK: ("fit_checks",),
    Gate.QUOTE: ("quotes",),
    Gate.TOOLING: ("first_articles",),
}


@dataclass(frozen=True, slots=True)
class GateStanding:
    """One gate of one part.

    decision : the last decision for the gate, with its place in the record. faults : why that decision does not count.
    claims : requirements that a go decision claims and that were never met. early : those met only by later evidence.
    """

    gate: Gate
    state: GateState
    requirements: tuple[Requirement, ...]
    decision: Decision | None = None
    decision_index: int | None = None
    faults: tuple[str, ...] = ()
    claims: tuple[Requirement, ...] = ()
    early: tuple[Requirement, ...] = ()

    @property
    def open_requirements(self) -> tuple[Requirement, ...]:
        """The requirements that are neither met nor waived."""
        return tuple(r for r in self.requirements if r.state in (Met.UNMET, Met.STALE))


@dataclass(frozen=True, slots=True)
class HoldCall:
    """A tool is ordered, its metal is not cut, and what it was ordered on went stale.

    tool : its id, or `TW-160/die` where it is kept in another part's record.
    """

    tool: str
    toolmaker: str | None
    ordered: dt.date
    cut_planned: dt.date | None
    words: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a part stands.

    gate : the first gate that is not proven (None once all are). released : the tooling gate is proven.
    release : the last decision on tooling money, with its place in the record.
    """

    number: str
    gates: Mapping[Gate, GateStanding]
    state: GateState
    gate: Gate | None
    hold_calls: tuple[HoldCall, ...]
    last_evidence: dt.date | None
    release: Decision | None = None
    release_index: int | None = None

    @property
    def released(self) -> bool:
        """True when the part is released for sale."""
        return self.gate is None

    @property
    def is_dropped(self) -> bool:
        """True when the part was dropped and not taken up again."""
        return self.state is GateState.DROPPED

    @property
    def todo(self) -> tuple[str, ...]:
        """What to do next, most pressing first."""
        calls = tuple(f"ask {call.toolmaker or 'the toolmaker'} to wait with {call.tool}" for call in self.hold_calls)
        if self.gate is None or self.is_dropped:
            return calls
        stale = [s for s in self.gates.values() if s.state is GateState.STALE]
        current = self.gates[self.gate]
        looked = [*stale, *([] if current in stale else [current])]
        steps = [todo for standing in looked for r in standing.open_requirements for todo in r.answer.todo]
        if current.state is GateState.READY:
            steps.append(f"decide the {self.gate} gate")
        return tuple(dict.fromkeys((*calls, *steps)))


def _word_added(part: Part, places: Collection[str]) -> Iterator[str]:
    """Yield what was added, a kind at a time, in the order of the record: `interfaces added since: sill, arch`."""
    for section, thing in ADDABLE_SECTIONS.items():
        names = [key for key in getattr(part, section) if f"{section}.{key}" in places]
        if names:
            yield f"{thing}{'' if len(names) == 1 else 's'} added since: {name_list(names)}"


def compute_standings(workspace: Workspace, lineage: Lineage) -> dict[str, Standing]:
    """Return the standing of every part; parts of an assembly are judged before it."""
    done: dict[str, Standing] = {}

    def find_children(number: str) -> list[str]:
        components = workspace.parts[number].made_of.values()
        return [c.part for c in components if c.part is not None and c.part in workspace.parts]

    for number in order_parents_first(workspace.parts, find_children):
        children = {n: done[n] for n in find_children(number) if n in done}
        released = frozenset(n for n, standing in children.items() if standing.released)
        once = {n: day for n, standing in children.items() if (day := find_released_once(standing)) is not None}
        done[number] = compute_standing(workspace.parts[number], lineage.parts[number], workspace, released, once)
    return {number: done[number] for number in workspace.parts}


def find_released_once(standing: Standing) -> dt.date | None:
    """Return the day on which the last gate of a part was decided; None where one never was (stale ones count)."""
    days = []
    for gate in standing.gates.values():
        if gate.state not in (GateState.PROVEN, GateState.STALE) or gate.decision is None:
            return None
        days.append(gate.decision.on)
    return max(days, default=None)


def find_needs(part: Part, workspace: Workspace, gate: Gate) -> dict[str, NeedParameters]:
    """Return what a gate wants of a part: the policy, changed by its family and then by its safety class."""
    catalogues = workspace.catalogues
    needs = dict(catalogues.gates.gates[gate].needs)
    family = catalogues.families.families.get(part.family)
    prefix = GATE_PREFIX[gate] + "."
    for extra in ({} if family is None else family.needs, catalogues.gates.safety.get(part.safety, {})):
        needs |= {name: need for name, need in extra.items() if name.startswith(prefix)}
    return {
        name: need
        for name, need in needs.items()
        if not need.off and (not need.for_ or part.safety in need.for_) and name in REQUIREMENTS
    }


def compute_standing(
    part: Part,
    lineage: PartLineage,
    workspace: Workspace,
    released: frozenset[str] = frozenset(),
    once: Mapping[str, dt.date] | None = None,
) -> Standing:
    """Return where one part stands.

    released : parts inside it that are released now. once : part inside it -> the day on which it was released first
    or again, also where it went stale since.
    """
    gates: dict[Gate, GateStanding] = {}
    for gate in GATES:
        judge = _GateJudge(part, lineage, workspace, released, once or {}, gate)
        gates[gate] = judge.judge(all(g.state is GateState.PROVEN for g in gates.values()))
    dropped = _find_drop(part)
    if dropped is not None:
        at = GATES.index(dropped)
        gates = {g: replace(s, state=GateState.DROPPED) if GATES.index(g) >= at else s for g, s in gates.items()}
    first_open = next((gate for gate in GATES if gates[gate].state is not GateState.PROVEN), None)
    state = GateState.PROVEN if first_open is None else gates[first_open].state
    if dropped is not None:
        state, first_open = GateState.DROPPED, dropped
    release = [(d.on, i) for i, d in enumerate(part.decisions) if d.release is not None]
    index = max(release)[1] if release else None
    return Standing(
        part.part,
        gates,
        state,
        first_open,
        find_hold_calls(part, lineage, workspace, gates),
        find_last_evidence(lineage),
        None if index is None else part.decisions[index],
        index,
    )


def find_last_evidence(lineage: PartLineage) -> dt.date | None:
    """Return the day of the youngest evidence: age is counted from there, not from the last edit."""
    return max((node.on for node in lineage.nodes.values() if node.on is not None), default=None)


def _find_drop(part: Part) -> Gate | None:
    """Return the gate at which a part was dropped, if nothing was decided after that."""
    decided = sorted((d.on, i) for i, d in enumerate(part.decisions))
    last = part.decisions[decided[-1][1]] if decided else None
    return (last.gate or Gate.TOOLING) if last is not None and last.say is Say.DROP else None


class _GateJudge:
    """Judges one gate of one part."""

    def __init__(
        self,
        part: Part,
        lineage: PartLineage,
        workspace: Workspace,
        released: frozenset[str],
        once: Mapping[str, dt.date],
        gate: Gate,
    ) -> None:
        self.part = part
        self.lineage = lineage
        self.workspace = workspace
        self.released = released
        self.once = once
        self.gate = gate
        self.policy = workspace.catalogues.gates.gates[gate]
        self.wants: frozenset[str] = frozenset()
        self.readings: dict[str, tuple[str, ...]] = {}

    def judge(self, earlier_proven: bool) -> GateStanding:
        """Return the standing of the gate."""
        needs = find_needs(self.part, self.workspace, self.gate)
        self.wants = frozenset(needs)
        requirements = tuple(self.judge_one(name, need) for name, need in needs.items())
        index, decision = self.find_decision()
        faults = () if decision is None else tuple(find_decision_faults(decision, self.policy, self.workspace))
        claims: tuple[Requirement, ...] = ()
        early: tuple[Requirement, ...] = ()
        if decision is not None and decision.say is Say.GO and not faults:
            claims, early = self.find_refuting(requirements, needs, decision)
            beyond = {r.id for r in claims}
            requirements = tuple(
                r if r.state is not Met.UNMET or r.id in beyond else self.call_stale(r, needs[r.id], decision)
                for r in requirements
            )
        state = self.choose_state(requirements, decision, faults, earlier_proven)
        return GateStanding(self.gate, state, requirements, decision, index, faults, claims, early)

    def build_bench(self, need: NeedParameters) -> Bench:
        """Return what a requirement function may look at."""
        return Bench(
            self.part,
            self.lineage,
            self.workspace,
            need,
            released=self.released,
            wants=self.wants,
            known=self.readings,
            once=self.once,
        )

    def judge_one(self, name: str, need: NeedParameters) -> Requirement:
        """Judge a requirement on today's evidence."""
        answer = REQUIREMENTS[name](self.build_bench(need))
        if answer.met:
            return Requirement(name, Met.MET, answer)
        waiver = find_waiver(self.part, self.workspace, name)
        return Requirement(name, Met.UNMET if waiver is None else Met.WAIVED, answer, waiver)

    def find_refuting(
        self, requirements: tuple[Requirement, ...], needs: Mapping[str, NeedParameters], decision: Decision
    ) -> tuple[tuple[Requirement, ...], tuple[Requirement, ...]]:
        """Return what a decision claims and was never met, and what was met only after it.

        What was added to the record after that day is left out: it speaks against nobody who decided before.
        """
        claims: list[Requirement] = []
        early: list[Requirement] = []
        added = self.list_added(decision.on)
        for requirement in requirements:
            need = needs[requirement.id]
            found = requirement if requirement.state is Met.MET else self.judge_without(requirement, need, added)
            is_met = found.state is Met.MET
            if found.state is Met.WAIVED or (is_met and not self.may_lean_on_younger(found, decision.on)):
                continue
            if not self.was_met(need, found, decision):
                (early if is_met else claims).append(found)
        return tuple(claims), tuple(early)

    def list_added(self, day: dt.date) -> frozenset[str]:
        """Return the places of what was added to the record after a day."""
        return frozenset(place for place, since in find_added(self.part) if since > day)

    def judge_without(self, requirement: Requirement, need: NeedParameters, left_out: frozenset[str]) -> Requirement:
        """Return a requirement as it is judged on today's evidence without some entries of the record."""
        if not left_out:
            return requirement
        answer = REQUIREMENTS[requirement.id](replace(self.build_bench(need), left_out=left_out))
        return replace(requirement, state=Met.MET if answer.met else requirement.state, answer=answer)

    def call_stale(self, requirement: Requirement, need: NeedParameters, decision: Decision) -> Requirement:
        """Return a requirement that is not met, and that the decision does not claim beyond proof, as stale."""
        answer = self.name_added(requirement, need, self.list_added(decision.on))
        return replace(requirement, state=Met.STALE, answer=answer)

    def name_added(self, requirement: Requirement, need: NeedParameters, added: frozenset[str]) -> Answer:
        """Name in the answer what was added, as far as it leaves something to do."""
        answer = requirement.answer
        if not added:
            return answer

        def list_open(left_out: frozenset[str]) -> tuple[str, ...]:
            return self.judge_without(requirement, need, left_out).answer.todo

        before = list_open(added)
        felt = [p for p in added if list_open(added - {p}) != before or list_open(frozenset({p})) != answer.todo]
        return replace(answer, words="; ".join((answer.words, *_word_added(self.part, felt))))

    def was_met(self, need: NeedParameters, requirement: Requirement, decision: Decision) -> bool:
        """True when the requirement was met, or set aside by a waiver, on the day of the decision."""
        if _had_waiver(self.part, requirement.id, self.workspace, decision.on):
            return True
        bench = replace(self.build_bench(need), lenient=True, until=decision.on, known={})
        return REQUIREMENTS[requirement.id](bench).met

    def may_lean_on_younger(self, requirement: Requirement, day: dt.date) -> bool:
        """True when a requirement may lean on evidence younger than a day: only then can a decision be too early.

        What names no evidence, or a tool (whose day is that of its first step), must be looked at.
        """
        names = requirement.answer.evidence
        nodes = [node for name in names if (node := self.lineage.nodes.get(name)) is not None and node.on is not None]
        return not nodes or any(node.section == "tools" or (node.on or day) > day for node in nodes)

    def find_decision(self) -> tuple[int | None, Decision | None]:
        """Return the last decision for this gate and its place in the record."""
        found = sorted((d.on, i) for i, d in enumerate(self.part.decisions) if d.gate is self.gate)
        return (found[-1][1], self.part.decisions[found[-1][1]]) if found else (None, None)

    def choose_state(
        self,
        requirements: tuple[Requirement, ...],
        decision: Decision | None,
        faults: tuple[str, ...],
        earlier_proven: bool,
    ) -> GateState:
        """Return the state of the gate."""
        states = {r.state for r in requirements}
        complete = not states & {Met.UNMET, Met.STALE}
        if decision is not None and not faults:
            if decision.say is Say.HOLD:
                return GateState.HELD
            if decision.say is Say.GO and complete:
                return GateState.PROVEN
            if decision.say is Say.GO and Met.UNMET not in states:
                return GateState.STALE
        if complete and earlier_proven and not self.waits_for_rework(decision):
            return GateState.READY
        has_evidence = any(node.section in GATE_EVIDENCE[self.gate] for node in self.lineage.nodes.values())
        ordered = self.gate is Gate.TOOLING and any(
            tool.state is not None and tool.state is not ToolStep.QUOTED for tool in self.part.tools.values()
        )
        return GateState.IN_WORK if has_evidence or ordered else GateState.NOT_STARTED

    def waits_for_rework(self, decision: Decision | None) -> bool:
        """True when the gate was sent back and nothing new was brought since."""
        if decision is None or decision.say is not Say.REWORK:
            return False
        sections = GATE_EVIDENCE[self.gate]
        days = [n.on for n in self.lineage.nodes.values() if n.section in sections and n.on is not None]
        return max(days, default=decision.on) <= decision.on


def find_decision_faults(decision: Decision, policy: GatePolicy, workspace: Workspace) -> list[str]:
    """Return why a decision does not count: the wrong role, or a missing second signature."""
    people = workspace.catalogues.people.people
    person = people.get(decision.by)
    faults = []
    if person is None or not set(person.roles) & set(policy.decided_by):
        roles = " or ".join(policy.decided_by)
        faults.append(f"role: {decision.by} is not {roles}")
    if policy.second_signature and decision.say is Say.GO:
        if decision.second is None:
            faults.append("second: no second signature")
        elif decision.second == decision.by or decision.second not in people:
            faults.append(f"second: {decision.second} is not another person of the shop")
    return faults


_CUT = (ToolStep.CUTTING, ToolStep.ON_TRIAL, ToolStep.ACCEPTED)


def is_waiver_live(part: Part, waiver: Waiver, day: dt.date) -> bool:
    """True while a waiver has not run out, by day or by event, on a day."""
    if isinstance(waiver.until, dt.date):
        return day <= waiver.until
    if waiver.until == "before metal is cut":
        cut = [tool.steps[step] for tool in part.tools.values() for step in _CUT if step in tool.steps]
        return not any(on <= day for on in cut)
    return not any(article.on <= day for article in part.first_articles.values())


def find_waiver(part: Part, workspace: Workspace, name: str) -> Waiver | None:
    """Return the live waiver of a requirement, None where there is none or none is allowed."""
    if name in workspace.catalogues.gates.cannot_be_waived:
        return None
    live = [w for w in part.waivers if w.of == name and is_waiver_live(part, w, workspace.today)]
    return live[0] if live else None


def _had_waiver(part: Part, name: str, workspace: Workspace, day: dt.date) -> bool:
    """True when a waiver of the requirement was live on the day of the decision."""
    if name in workspace.catalogues.gates.cannot_be_waived:
        return False
    return any(w.of == name and is_waiver_live(part, w, day) for w in part.waivers)


def find_hold_calls(
    part: Part, lineage: PartLineage, workspace: Workspace, gates: Mapping[Gate, GateStanding]
) -> tuple[HoldCall, ...]:
    """Return a hold call for every tool that is ordered, not cut, and stands on stale evidence for what it forms.

    A tool that another part's record keeps is looked at too: what it forms of this part is not known, so any feature.
    """
    stale_gates = [gates[g] for g in GATES[:-1] if gates[g].state is GateState.STALE]
    upstream = _find_gate_reasons(lineage, stale_gates)
    calls = []
    for key, tool in part.tools.items():
        cover = set(lineage.nodes[f"tools.{key}"].covers)
        reasons = [r for r in (*lineage.reasons.get(f"tools.{key}", ()), *upstream) if cover & set(r.features)]
        calls += _call(key, tool, reasons)
    for use in part.uses_tools:
        number, key = use.split("/")
        other = workspace.parts.get(number)
        if other is not None and key in other.tools:
            calls += _call(use, other.tools[key], upstream)
    return tuple(calls)


def _call(name: str, tool: Tool, reasons: list[Reason]) -> list[HoldCall]:
    if tool.state is not ToolStep.ORDERED or not reasons:
        return []
    ordered = tool.steps[ToolStep.ORDERED]
    words = f"{name} was ordered on {ordered} and is not cut; {reasons[0].words}"
    return [HoldCall(name, tool.by, ordered, tool.cut_planned, words, tuple(dict.fromkeys(reasons)))]


def _find_gate_reasons(lineage: PartLineage, gates: list[GateStanding]) -> list[Reason]:
    sections = {section for standing in gates for section in GATE_EVIDENCE[standing.gate]}
    return [r for node in lineage.nodes.values() if node.section in sections for r in lineage.reasons.get(node.id, ())]
