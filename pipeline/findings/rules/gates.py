"""Rules about gates, decisions, waivers, money and safety."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING, NOTE = Severity.ERROR, Severity.WARNING, Severity.NOTE
_P = "projects/SD-100/"
_GO = (
    "decisions:\n  - {gate: measure, on: 2026-01-15, by: bob, say: go}\n"
    "  - {gate: model, on: 2026-01-25, by: bob, say: go}\n"
    "  - {gate: prototype, on: 2026-02-03, by: bob, say: go}\n"
)
_FIT_GO = "  - {gate: fit check, on: 2026-02-10, by: bob, say: go, second: kim}\n"
_QUOTE_GO = "  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
_TWO_BODIES = (
    "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
    "  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
)
_WAIVER = "waivers:\n  - {of: %s, until: %s, by: bob, risk: kim, exposure: 900 USD, instead: template, why: car away}\n"
_B = {_P + "evidence/hook-b.stl": "solid hook\nendsolid hook b\n"}
_REVISION_B = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
    "  B: {on: 2026-05-20, by: ann, file: evidence/hook-b.stl, changed: [length], why: fouled the sill}\n"
)
_ORDERED = (
    "tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01, ordered: 2026-05-12}}\n"
)
_RELEASE = "  - {release: tooling, on: 2026-05-10, by: kim, say: go}\n"

CLAIM = Rule(
    "G601", "A gate is decided on what is proven", ERROR,
    "A decision that claims more than the evidence proves is how a tool gets cut on a guess.",
    "bring the evidence, waive the requirement by name, or take the decision back; a feature, an interface or an "
    "application that was added after that day says so: `since: 2026-05-20`",
    Example(_TWO_BODIES), Example(_TWO_BODIES + _WAIVER % ("fit-check.coverage", "2026-09-01")),
)  # fmt: skip
WRONG_ROLE = Rule(
    "G602", "Decisions are made by those whose role it is", ERROR,
    "The policy in shared/gates.yaml says who decides each gate.",
    "have it decided by somebody with that role",
    Example(_GO.replace("on: 2026-01-25, by: bob", "on: 2026-01-25, by: ann") + _FIT_GO), Example(_GO + _FIT_GO),
)  # fmt: skip
SECOND_MISSING = Rule(
    "G603", "Gates that want two signatures have two", ERROR,
    "The second signature is the last chance to see what the first one did not.",
    "add `second:` with the id of another person",
    Example(_GO + _FIT_GO.replace(", second: kim", "")), Example(_GO + _FIT_GO),
)  # fmt: skip
BEFORE_EVIDENCE = Rule(
    "G604", "A decision is not older than its evidence", ERROR,
    "What was decided before the evidence existed was not decided on it.",
    "correct the day, or decide again",
    Example(_GO + _FIT_GO.replace("2026-02-10", "2026-02-04")), Example(_GO + _FIT_GO),
)  # fmt: skip
RELEASED_TOO_EARLY = Rule(
    "G605", "Tooling is released after every gate before it", ERROR,
    "The release is the commitment that cannot be taken back.",
    "prove and decide the gates that are named, then release",
    Example(_GO + _FIT_GO + _RELEASE), Example(_GO + _FIT_GO + _QUOTE_GO + _RELEASE),
)  # fmt: skip
HOLD_CALL = Rule(
    "G606", "Hold call: the tool is ordered and what it was ordered on went stale", ERROR,
    "Before metal is cut a call to the toolmaker costs nothing; afterwards it costs the tool.",
    "ask the toolmaker to wait; then prove the change, or sign a no-effect statement",
    Example(_ORDERED + _REVISION_B + _GO + _FIT_GO + _QUOTE_GO + _RELEASE, _B),
    Example(_ORDERED + _GO + _FIT_GO + _QUOTE_GO + _RELEASE),
)  # fmt: skip
WENT_STALE = Rule(
    "G607", "A decided gate went stale", WARNING,
    "What it was decided on was good then and no longer counts.",
    "redo the evidence that is named, or sign a no-effect statement for it; bring what covers an entry that was added",
    Example(_REVISION_B, _B), Example(),
)  # fmt: skip
WAIVER_EXPIRED = Rule(
    "G608", "A waiver has not run out", WARNING,
    "When it runs out the gate is blocked again.",
    "bring the evidence, or write a new waiver with a new day",
    Example(_TWO_BODIES + _WAIVER % ("fit-check.coverage", "2026-05-01")),
    Example(_TWO_BODIES + _WAIVER % ("fit-check.coverage", "2026-09-01")),
)  # fmt: skip
CANNOT_WAIVE = Rule(
    "G609", "Some requirements cannot be waived", ERROR,
    "Safety tests, a wrong revision and a second signature are never set aside by software.",
    "bring the evidence",
    Example(_WAIVER % ("fit-check.second-signature", "2026-09-01")), Example(),
)  # fmt: skip
ORDERED_UNRELEASED = Rule(
    "G610", "A tool is ordered after the release", ERROR,
    "An order without the owner's release spends money that nobody signed for.",
    "record the release, or correct the step",
    Example(_ORDERED), Example(_ORDERED + _GO + _FIT_GO + _QUOTE_GO + _RELEASE),
)  # fmt: skip
SAFETY_UNREVIEWED = Rule(
    "S701", "A part of class S1 or S2 has a review of the regulations", WARNING,
    "Parts that can hurt someone need the regulations looked up and a test plan before anything is modelled.",
    "add `safety_review` with the regulations and the plan; a competent laboratory or a licensed engineer tests",
    Example("safety: S1\ndecisions: []\n"),
    Example("safety: S1\nsafety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory}\n"),
)  # fmt: skip
TEST_NOT_COMPETENT = Rule(
    "S702", "A laboratory's test is made by a laboratory", WARNING,
    "Such a test counts only if a competent laboratory or a licensed engineer made it.",
    "name the laboratory in `at`, or a person with the role in `by`",
    Example("tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-03-01, by: ann, covers: [hard], result: good, "
            "file: evidence/t1.txt}\n", {_P + "evidence/t1.txt": "50 HRC\n"}),
    Example("tests:\n  T1: {kind: hardness-test, of: P1, on: 2026-03-01, by: ann, at: lab, covers: [hard], result: good, "
            "file: evidence/t1.txt}\n", {_P + "evidence/t1.txt": "50 HRC\n"}),
)  # fmt: skip

RULES = (
    CLAIM, WRONG_ROLE, SECOND_MISSING, BEFORE_EVIDENCE, RELEASED_TOO_EARLY, HOLD_CALL, WENT_STALE, WAIVER_EXPIRED,
    CANNOT_WAIVE, ORDERED_UNRELEASED, SAFETY_UNREVIEWED, TEST_NOT_COMPETENT,
)  # fmt: skip
