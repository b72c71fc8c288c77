"""Methods about gates and safety, as the shop has configured them."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.gates.standing import GATE_PREFIX
from pipeline.model.catalogue import Catalogues, NeedParameters
from pipeline.model.words import GATES, Gate, GateState
from pipeline.portfolio.portfolio import Portfolio
from pipeline.views.addresses import PARTS
from pipeline.views.method_shapes import build_method, build_symbols, build_table
from pipeline.views.requirements import word_requirement
from pipeline.views.shapes_marks import Caution, Cell, Column, Link, Row, Table, build_line
from pipeline.views.shapes_site import MethodPage, Section

_STATES = (
    (GateState.NOT_STARTED, "no evidence of its kind is on record"),
    (GateState.IN_WORK, "evidence is on record, and something is still lacking"),
    (GateState.READY, "everything is met or waived and every earlier gate is proven; nobody has decided"),
    (GateState.PROVEN, "everything is met or waived, and a person with the right role decided go"),
    (GateState.STALE, "it was decided go on evidence that held on that day, and some of it no longer counts"),
    (GateState.HELD, "the last decision is hold"),
    (GateState.DROPPED, "the last decision of all is drop"),
)


def build_gates_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on gates: what each wants and who decides it."""
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    catalogues = portfolio.workspace.catalogues
    tables = (_build_policy_table(catalogues), _build_changes_table(catalogues), _build_states_table())
    release = catalogues.gates.release
    roles = " or the ".join(release.decided_by)
    second = ", with a second signature" if release.second_signature else ""
    return build_method(
        "gates",
        "Gates",
        "What each gate wants, who decides it, and how its state is derived.",
        "Where does a part stand, and what would take it further?",
        (
            "wants(part, gate) = policy of the gate, changed by the family, then by the safety class",
            "met(r) = what is found ≥ what is wanted, counting only evidence that counts",
            "complete = every requirement is met or under a live waiver",
            "proven = complete and decided go by the right role (with a second signature where one is wanted)",
            f"tooling money is released by the {roles}{second}, once every earlier gate is proven on that day",
        ),
        build_symbols(("r", "a requirement of a gate", "–"), ("policy", "shared/gates.yaml", "–")),
        "common practice, no source; the figures are the shop's own, in shared/gates.yaml and shared/families.yaml",
        (
            "The state is derived each time. Nobody writes in a record that a gate is passed; a go that claims "
            "more than the evidence proves is an error.",
            "A waiver sets one requirement aside, at somebody's named risk, until a day or an event. Some can "
            "never be waived.",
            "A decision is judged by what was there on its day: readings, the model of that day, tools accepted, parts "
            "inside released, and features, interfaces and applications but those that say they were added since "
            "(`since`): such a one makes the gate stale until evidence covers it. The policy and the roles are "
            "today's: who makes them stricter decides again.",
        ),
        (Caution("A proven gate is not a safe part.", "The program never says that a part is safe.", "See Safety."),),
        Section("policy", "The policy in force", tables=tables),
        (Link("Parts", PARTS),),
    )


def _build_policy_table(catalogues: Catalogues) -> Table:
    columns = (Column("gate"), Column("wants"), Column("only for"), Column("can be waived"), Column("decided by"))
    rows = []
    policies = catalogues.gates
    known = set()
    for gate in GATES:
        policy = policies.gates[gate]
        second = ", second signature" if policy.second_signature else ""
        for name, need in policy.needs.items():
            known.add(name)
            waived = "never" if name in policies.cannot_be_waived else "yes"
            texts = (
                gate.value,
                word_requirement(name, need),
                ", ".join(need.for_) or "all",
                waived,
                ", ".join(policy.decided_by) + second,
            )
            rows.append(Row(tuple(Cell(build_line(text)) for text in texts), name))
    for gate, name, need in _find_extra(catalogues):
        if name not in known:
            known.add(name)
            texts = (gate.value, word_requirement(name, need), "some families", "yes", "")
            rows.append(Row(tuple(Cell(build_line(text)) for text in texts), name))
    return Table("What each gate wants", columns, tuple(rows), "No policy is recorded.", "data/gate-policy.csv")


def _find_extra(catalogues: Catalogues) -> Iterator[tuple[Gate, str, NeedParameters]]:
    """Yield what families and safety classes change, by gate."""
    sources = [family.needs for family in catalogues.families.families.values()]
    sources += list(catalogues.gates.safety.values())
    for needs in sources:
        for name, need in needs.items():
            yield next(g for g in GATES if name.startswith(GATE_PREFIX[g] + ".")), name, need


def _build_changes_table(catalogues: Catalogues) -> Table:
    rows = [
        (family.name, _word_change(name, need))
        for family in catalogues.families.families.values()
        for name, need in family.needs.items()
    ]
    rows += [
        (level.value, _word_change(name, need))
        for level, needs in catalogues.gates.safety.items()
        for name, need in needs.items()
    ]
    return build_table("What families and safety classes change", ("family or class", "wants instead"), rows)


def _word_change(name: str, need: NeedParameters) -> str:
    return f"{name}: not wanted" if need.off else word_requirement(name, need)


def _build_states_table() -> Table:
    return build_table("States of a gate", ("state", "when"), ((state.value, words) for state, words in _STATES))


def build_safety_method(portfolio: Portfolio) -> MethodPage:
    """Make the page on safety: classes, hazards of originals, and published requirements to check."""
    if portfolio.workspace is None:
        raise ValueError("the catalogues of this workspace cannot be used; no method page can be made")
    safety = portfolio.workspace.catalogues.safety
    classes = ((one.name, one.meaning, one.caution) for one in safety.classes.values())
    hazards = ((key.replace("-", " "), words) for key, words in safety.hazards.items())
    regulations = (
        (f"{r.system} {r.number}", r.subject + (f" {r.note}" if r.note else ""), r.parts, r.seen)
        for r in safety.regulations.values()
    )
    tables = (
        build_table("Safety classes", ("class", "means", "caution"), classes),
        build_table("Hazards in originals", ("hazard", "usual care"), hazards),
        build_table(
            "Published requirements to check",
            ("number", "subject", "touches", "text"),
            regulations,
            "data/regulations.csv",
        ),
    )
    return build_method(
        "safety",
        "Safety",
        "What can hurt someone, what to check, and who tests.",
        "What has to be checked before anything of this is made, fitted or sold?",
        (
            "S1 and S2: no measure gate without a review of the regulations and a test plan; no release for sale "
            "without tests",
            "tests count where a competent laboratory or a licensed engineer made them",
            "a safety review, a safety test and a missing second signature cannot be waived",
        ),
        build_symbols(("S0, S1, S2", "safety class of a part", "–")),
        "numbers and subjects as listed in shared/safety.yaml; the last column says whether the text was seen or "
        "is from memory",
        (
            "The list is a pointer, not advice; it is not complete, and the law where the vehicle is used decides.",
            "An old vehicle may be exempt from a requirement that still applies to a new replacement part.",
        ),
        tuple(Caution("Caution.", words, "", True) for words in safety.cautions),
        Section("lists", "Classes, hazards, requirements", tables=tables),
        (Link("Parts", PARTS),),
    )
