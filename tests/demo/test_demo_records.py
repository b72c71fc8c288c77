"""The demo's records: they can be read, they hold every family, state and trap, and they claim nothing beyond proof."""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.demo.evidence_makers import CHANGED_AFTER_LISTING
from pipeline.findings.finding import Severity
from pipeline.gates.standing import REQUIREMENTS
from pipeline.model.part import Part
from pipeline.model.words import Condition, Gate, GateState, HandRelation, Result, Role, SafetyLevel, Say, ToolStep
from pipeline.model.workspace import FileState
from pipeline.portfolio.check import Checked, check_workspace
from pipeline.reading.evidence import find_named_files, read_evidence_list

ROOT = Path(__file__).resolve().parents[2]
AS_OF = dt.date(2026, 11, 30)


@pytest.fixture(scope="module")
def checked() -> Checked:
    return check_workspace(ROOT)


@pytest.fixture(scope="module")
def parts(checked: Checked) -> dict[str, Part]:
    assert checked.workspace is not None
    return dict(checked.workspace.parts)


def test_every_record_is_read(checked: Checked, parts: dict[str, Part]) -> None:
    assert checked.reading.findings == ()
    assert checked.workspace is not None and checked.workspace.today == AS_OF
    folders = sorted(path.parent.name for path in (ROOT / "projects").glob("*/part.yaml"))
    assert folders == sorted(parts)
    assert len(parts) >= 26


def test_errors_are_the_two_deliberate_ones(checked: Checked) -> None:
    """A changed file and a hold call: nothing else is an error, so nothing claims more than it proves."""
    errors = [(f.record, f.rule) for f in checked.findings if f.severity is Severity.ERROR]
    assert errors == [("TW-101", "G606"), ("TW-215", "E302")]


STATES = {
    "TW-101": (GateState.STALE, Gate.PROTOTYPE),
    "TW-104": (GateState.PROVEN, None),
    "TW-109": (GateState.NOT_STARTED, Gate.TOOLING),
    "TW-112": (GateState.STALE, Gate.FIT_CHECK),
    "TW-118": (GateState.IN_WORK, Gate.QUOTE),
    "TW-121": (GateState.READY, Gate.PROTOTYPE),
    "TW-124": (GateState.STALE, Gate.PROTOTYPE),
    "TW-126": (GateState.PROVEN, None),
    "TW-131": (GateState.IN_WORK, Gate.PROTOTYPE),
    "TW-134": (GateState.IN_WORK, Gate.FIT_CHECK),
    "TW-140": (GateState.PROVEN, None),
    "TW-152": (GateState.IN_WORK, Gate.TOOLING),
    "TW-160": (GateState.IN_WORK, Gate.QUOTE),
    "TW-161": (GateState.IN_WORK, Gate.QUOTE),
    "TW-163": (GateState.READY, Gate.MEASURE),
    "TW-171": (GateState.PROVEN, None),
    "TW-183": (GateState.IN_WORK, Gate.MEASURE),
    "TW-186": (GateState.IN_WORK, Gate.TOOLING),
    "TW-190": (GateState.HELD, Gate.MEASURE),
    "TW-198": (GateState.DROPPED, Gate.MODEL),
    "TW-199": (GateState.READY, Gate.PROTOTYPE),
    "TW-215": (GateState.STALE, Gate.MEASURE),
    "TW-220": (GateState.NOT_STARTED, Gate.MEASURE),
}


@pytest.mark.parametrize("number", sorted(STATES))
def test_state_follows_from_the_evidence(checked: Checked, number: str) -> None:
    standing = checked.standings[number]
    assert (standing.state, standing.gate) == STATES[number]


def test_every_state_is_there(checked: Checked) -> None:
    assert {s.state for s in checked.standings.values()} == set(GateState)
    assert sum(s.released for s in checked.standings.values()) >= 4


def test_every_family_is_used_and_every_tool_kind_is_known(checked: Checked, parts: dict[str, Part]) -> None:
    assert checked.workspace is not None
    catalogues = checked.workspace.catalogues
    assert {part.family for part in parts.values()} == set(catalogues.families.families)
    kinds = set(catalogues.tool_kinds.kinds)
    assert {tool.kind for part in parts.values() for tool in part.tools.values()} <= kinds
    assert {kind for family in catalogues.families.families.values() for kind in family.tool_kinds} <= kinds


def test_policy_names_exactly_the_requirements_that_are_judged(checked: Checked) -> None:
    assert checked.workspace is not None
    gates = checked.workspace.catalogues.gates
    assert {name for policy in gates.gates.values() for name in policy.needs} == set(REQUIREMENTS)
    assert set(gates.cannot_be_waived) == {
        "measure.safety-review",
        "tooling.safety-tests",
        "quote.revision",
        "fit-check.second-signature",
        "tooling.second-signature",
    }


def _find(parts: dict[str, Part], test: Callable[[Part], bool]) -> set[str]:
    return {number for number, part in parts.items() if test(part)}


def _has_shared_switch(part: Part) -> bool:
    return any(c.bought is not None and "switch" in c.bought and len(c.from_) == 2 for c in part.made_of.values())


def _has_mask_made_to_fit(part: Part) -> bool:
    return any(tool.kind == "paint-mask" and "mould" in tool.made_to_fit for tool in part.tools.values())


def _shrank_otherwise(part: Part) -> bool:
    return any(
        t.shrinkage is not None
        and t.shrinkage.measured is not None
        and not t.shrinkage.assumed.low <= t.shrinkage.measured <= t.shrinkage.assumed.high
        for t in part.tools.values()
    )


def _quote_is_dead(part: Part) -> bool:
    """Every offer ran out, and was made for an older revision."""
    last = list(part.revisions)[-1] if part.revisions else None
    dead = [q for q in part.quotes.values() if q.of != last and q.valid_to is not None and q.valid_to < AS_OF]
    return (
        bool(dead)
        and len(dead) == len(part.quotes)
        and not any(t.steps.get(ToolStep.ORDERED) for t in part.tools.values())
    )


def _has_unlike_offers(part: Part) -> bool:
    return len({len([t for t in q.tools if t.startswith("draw")]) for q in part.quotes.values()}) > 1


def _was_revived(part: Part) -> bool:
    says = [d.say for d in sorted(part.decisions, key=lambda d: d.on)]
    return Say.DROP in says and says[-1] is Say.GO


FACTS: dict[str, tuple[Callable[[Part], bool], set[str]]] = {
    "replated original": (
        lambda p: any(o.condition is Condition.RESTORED for o in p.originals.values()),
        {"TW-101", "TW-134", "TW-198"},
    ),
    "reproduction among the originals": (
        lambda p: any(o.condition is Condition.REPRODUCTION for o in p.originals.values()),
        {"TW-109", "TW-205"},
    ),
    "hazard in an original": (
        lambda p: any(o.hazard is not None for o in p.originals.values()),
        {"TW-104", "TW-118", "TW-126", "TW-131", "TW-186"},
    ),
    "single original under waiver": (
        lambda p: len(p.originals) == 1 and any(w.of == "measure.originals" for w in p.waivers),
        {"TW-152"},
    ),
    "waiver that ran out": (
        lambda p: any(isinstance(w.until, dt.date) and w.until < AS_OF for w in p.waivers),
        {"TW-112"},
    ),
    "waiver that lives": (
        lambda p: any(not isinstance(w.until, dt.date) or w.until >= AS_OF for w in p.waivers),
        {"TW-101", "TW-124", "TW-152"},
    ),
    "print offered as proof of hardness": (
        lambda p: any("hardness" in (x.covers or ()) and "print" in x.process for x in p.prototypes.values()),
        {"TW-131"},
    ),
    "left and right are not mirrored": (
        lambda p: p.hands is not None and p.hands.relation is HandRelation.UNIQUE,
        {"TW-134"},
    ),
    "mirrored but for a feature": (
        lambda p: p.hands is not None and p.hands.relation is HandRelation.MIRROR_EXCEPT,
        {"TW-101"},
    ),
    "tool of another part": (lambda p: bool(p.uses_tools), {"TW-172"}),
    "tool made to fit another part's tool": (
        lambda p: any("/" in other for t in p.tools.values() for other in t.made_to_fit),
        {"TW-160"},
    ),
    "masks that fit the moulding": (_has_mask_made_to_fit, {"TW-124"}),
    "shrinkage other than assumed": (_shrank_otherwise, {"TW-124"}),
    "six draws": (lambda p: sum(t.kind == "draw-die" for t in p.tools.values()) == 6, {"TW-118"}),
    "fifteen operations, plater outside": (
        lambda p: len(p.route) == 15 and any(o.at == "cobalt-plate" and o.outside for o in p.route),
        {"TW-186"},
    ),
    "offers that are not like for like": (_has_unlike_offers, {"TW-118"}),
    "only dead offers": (_quote_is_dead, {"TW-161"}),
    "foreign money in an offer": (
        lambda p: any(q.money != "USD" for q in p.quotes.values()),
        {"TW-101", "TW-104", "TW-124", "TW-138", "TW-152"},
    ),
    "signed no-effect statement": (
        lambda p: any(n.seen_by != n.by for r in p.revisions.values() for n in r.no_effect),
        {"TW-126"},
    ),
    "measurement replaced": (lambda p: any(m.replaces for m in p.measurements.values()), {"TW-131"}),
    "superseded number": (lambda p: bool(p.supersedes), {"TW-104", "TW-138", "TW-171"}),
    "confidential until a day": (
        lambda p: p.confidential and p.announce is not None and p.announce > AS_OF,
        {"TW-101", "TW-124", "TW-160", "TW-161"},
    ),
    "announced": (
        lambda p: p.announce is not None and p.announce <= AS_OF,
        {"TW-109", "TW-118", "TW-126", "TW-134", "TW-138", "TW-172", "TW-186", "TW-210"},
    ),
    "announced later, and no secret": (
        lambda p: p.announce is not None and p.announce > AS_OF and not p.confidential,
        {"TW-121", "TW-147", "TW-184"},
    ),
    "confidential, with no day": (lambda p: p.confidential and p.announce is None, {"TW-190"}),
    "assembly of our own parts": (
        lambda p: any(c.part is not None for c in p.made_of.values()),
        {"TW-160", "TW-210"},
    ),
    "seven components and a switch with two sources": (
        lambda p: len(p.made_of) == 7 and _has_shared_switch(p),
        {"TW-160"},
    ),
    "takes sales from a sibling": (
        lambda p: p.demand is not None and bool(p.demand.takes_from),
        {"TW-160", "TW-172", "TW-210"},
    ),
    "dropped": (lambda p: bool(p.decisions) and p.decisions[-1].say is Say.DROP, {"TW-198"}),
    "dropped, then revived": (_was_revived, {"TW-199"}),
    "held": (lambda p: any(d.say is Say.HOLD for d in p.decisions), {"TW-190"}),
    "first article refused": (
        lambda p: any(f.result is Result.BAD for f in p.first_articles.values()),
        {"TW-124"},
    ),
    "drawn in inches": (
        lambda p: any(f.unit == "in" for f in p.features.values()),
        {"TW-104", "TW-138", "TW-171", "TW-172", "TW-186", "TW-199"},
    ),
    "can hurt someone": (lambda p: p.safety is not SafetyLevel.S0, {"TW-134", "TW-163", "TW-183", "TW-186", "TW-190"}),
    "nothing but a wish": (lambda p: not p.originals and not p.made_of, {"TW-220"}),
    "stock that a change would strand": (lambda p: p.stock is not None, {"TW-104", "TW-126", "TW-140", "TW-171"}),
    "either one or the other": (lambda p: p.part in ("TW-205", "TW-206"), {"TW-205", "TW-206"}),
}


@pytest.mark.parametrize("fact", sorted(FACTS))
def test_trap_is_there(parts: dict[str, Part], fact: str) -> None:
    test, numbers = FACTS[fact]
    assert _find(parts, test) == numbers


def test_hold_call_and_stale_fit_checks_of_the_ordered_die(checked: Checked) -> None:
    """Revision D came after the order and before the cut: it touches what both fit checks cover."""
    (call,) = checked.standings["TW-101"].hold_calls
    assert (call.tool, call.ordered, call.cut_planned) == ("die", dt.date(2026, 11, 2), dt.date(2026, 12, 14))
    reasons = checked.lineage.parts["TW-101"].reasons
    for check in ("fit_checks.F1", "fit_checks.F2"):
        assert any("boss_pitch" in reason.features for reason in reasons[check])


def test_instrument_was_out_of_calibration_in_one_record(checked: Checked) -> None:
    assert {f.record for f in checked.findings if f.rule == "D403"} == {"TW-206"}


def test_closed_parts_have_predicted_and_actual_cost(checked: Checked, parts: dict[str, Part]) -> None:
    closed = [parts[n] for n, s in checked.standings.items() if s.released]
    pairs = [c for p in closed for c in p.changes.values() if c.predicted is not None and c.actual is not None]
    assert len(pairs) >= 8
    assert {c.class_.value for c in pairs if c.class_ is not None} >= {"metal-off", "weld", "new-tool"}


def _list_days(part: Part) -> list[tuple[str, dt.date]]:
    days = [
        (f"{section}.{key}", entry.on)
        for section in (
            "measurements",
            "revisions",
            "prototypes",
            "fit_checks",
            "tests",
            "quotes",
            "first_articles",
            "changes",
        )
        for key, entry in getattr(part, section).items()
    ]
    days += [(f"decisions.{i}", d.on) for i, d in enumerate(part.decisions)]
    days += [(f"tools.{k}.{step}", day) for k, t in part.tools.items() for step, day in t.steps.items()]
    days += [("opened", part.opened)] if part.opened is not None else []
    return days + [("waiver", w.on) for w in part.waivers if w.on is not None]


def test_nothing_happened_after_the_day_of_the_demo(parts: dict[str, Part]) -> None:
    late = [(n, what, day) for n, p in parts.items() for what, day in _list_days(p) if day > AS_OF]
    assert late == []


def test_days_follow_the_road(parts: dict[str, Part]) -> None:
    """Sample after its revision, trial after its sample, offer after its revision, tool steps in order."""
    wrong = []
    for number, part in parts.items():
        made = {k: x.on for k, x in [*part.prototypes.items(), *part.first_articles.items()]}
        drawn = {k: r.on for k, r in part.revisions.items()}
        pairs = [(f"prototypes.{k}", drawn[x.of], x.on) for k, x in part.prototypes.items()]
        pairs += [(f"first_articles.{k}", drawn[x.of], x.on) for k, x in part.first_articles.items()]
        pairs += [(f"quotes.{k}", drawn[x.of], x.on) for k, x in part.quotes.items()]
        pairs += [(f"fit_checks.{k}", made[x.with_], x.on) for k, x in part.fit_checks.items()]
        pairs += [(f"tests.{k}", made[x.of], x.on) for k, x in part.tests.items()]
        for key, revision in part.revisions.items():
            pairs += [(f"revisions.{key}", part.measurements[m].on, revision.on) for m in revision.from_]
        for key, tool in part.tools.items():
            steps = [tool.steps[s] for s in ToolStep if s in tool.steps]
            pairs += [(f"tools.{key}", a, b) for a, b in itertools.pairwise(steps)]
        wrong += [(number, what) for what, before, after in pairs if before > after]
    assert wrong == []


def test_people_sign_only_what_they_may(checked: Checked, parts: dict[str, Part]) -> None:
    assert checked.workspace is not None
    people = checked.workspace.catalogues.people.people
    gates = checked.workspace.catalogues.gates
    for part in parts.values():
        for decision in part.decisions:
            policy = gates.release if decision.gate is None else gates.gates[decision.gate]
            assert set(people[decision.by].roles) & set(policy.decided_by), (part.part, decision)
            if policy.second_signature and decision.say is Say.GO:
                assert decision.second not in (None, decision.by), (part.part, decision)
        for entry in [*part.fit_checks.values(), *part.first_articles.values()]:
            assert entry.seen_by not in (None, entry.by), (part.part, entry)
        if part.safety_review is not None:
            assert Role.LICENSED_ENGINEER in people[part.safety_review.by].roles
    assert all(mail.endswith("@example.invalid") for person in people.values() for mail in person.emails)


def test_every_file_is_there_listed_and_whole_but_one(checked: Checked, parts: dict[str, Part]) -> None:
    assert checked.workspace is not None
    files = checked.workspace.files
    changed = {key for key, file in files.items() if file.state is not FileState.INTACT}
    assert changed == {CHANGED_AFTER_LISTING}
    assert files[CHANGED_AFTER_LISTING].state is FileState.CHANGED
    assert len(files) > 250


@pytest.mark.parametrize("folder", sorted(p.parent.name for p in (ROOT / "projects").glob("*/part.yaml")))
def test_list_of_hashes_names_exactly_the_files_of_the_record(parts: dict[str, Part], folder: str) -> None:
    root = ROOT / "projects" / folder
    listed, findings = read_evidence_list(ROOT, f"projects/{folder}")
    assert findings == ()
    assert list(listed) == sorted(listed)
    assert set(listed) == {name for name, _ in find_named_files(parts[folder])}
    assert set(listed) == {p.relative_to(root).as_posix() for p in (root / "evidence").rglob("*") if p.is_file()}
    assert b"\r" not in (root / "evidence.sha256").read_bytes()
    differ = {n for n, h in listed.items() if hashlib.sha256((root / n).read_bytes()).hexdigest() != h}
    assert differ == ({CHANGED_AFTER_LISTING[1]} if folder == CHANGED_AFTER_LISTING[0] else set())


def test_evidence_stays_small() -> None:
    sizes = {path: path.stat().st_size for path in (ROOT / "projects").rglob("*") if path.is_file()}
    assert max(sizes.values()) < 40_000
    assert sum(sizes.values()) < 4_000_000
