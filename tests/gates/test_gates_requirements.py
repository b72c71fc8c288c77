"""Each requirement: met, just not met, and at its boundaries."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from gates.gates_policy import GATE_OF, find_requirement, write_family, write_policy

from pipeline.findings.sample import SAMPLE_SHARED
from pipeline.gates.judgement import Met

MET, UNMET = Met.MET, Met.UNMET
P = "projects/SD-100/"
M = "of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C"
FIT = "with: P1, on: 2026-02-05, by: ann, car: car-1, fits: saloon"
TWO = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n  estate: {vehicle: finch, body: estate, years: 1952-1955}\n"
TWO_CRITICAL = (
    "features:\n  length: {what: l, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true}\n"
    "  hard: {what: h, kind: hardness, nominal: 50, limits: [-5, 5], unit: HRC, critical: true}\n"
)
NO_CRITICAL = "features:\n  length: {what: l, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm}\n  hard: {what: h, kind: hardness, nominal: 50, unit: HRC}\n"
Q = "from: foundry, of: A, on: 2026-05-01, money: USD, piece: {500: 4.2}"
B = "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n  B: {on: 2026-05-20, by: ann, file: evidence/hook-a.stl, changed: [%s]}\n"
CHOOSE = "decisions:\n  - {gate: quote, on: 2026-05-05, by: bob, say: go, choose: Q1}\n"
FA = "tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, settings: evidence/o1.csv, result: good"
HARD = "kind: hardness-test, of: P1, on: 2026-05-21, by: ann, at: lab, covers: [hard], file: evidence/o1.csv"
S2 = "safety: S2\nsafety_review: {on: 2026-01-05, by: bob, regulations: [lamps], plan: at the laboratory}\n"
ARM = "resources: {}\ninstruments: {arm: {name: arm, mpe_mm: %s, calibrated: 2025-06-01, due: %s}}\n"


HANDS = "hands: {left: SD-100, right: SD-101, relation: mirror}\n"
SEATS = (
    "interfaces:\n  seat: {what: s, gap: {limits: [0.1, 0.9]}, features: [length]}\n"
    f"  rim: {{what: r, gap: {{limits: [0.1, 0.9]}}, features: [length]}}\nfit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: [0.4]}}, result: good}}\n"
)
PLATED = (
    "features:\n  length: {what: l, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, critical: true, coated: true}\n"
    "  hard: {what: h, kind: hardness, nominal: 50, unit: HRC}\n"
)
PLATING: dict[str, str | None] = {
    "shared/processes.yaml": SAMPLE_SHARED["shared/processes.yaml"].replace(
        "printed sample,", "printed sample, coated: true,"
    )
}
REFIT = f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\nfit_checks:\n  F1: {{{FIT.replace('P1, on: 2026-02-05', 'N1, on: 2026-05-22')}, seen_by: bob, result: good}}\n"
CALIBRATED = (
    f"measurements:\n  M1: {{{M.replace('arm', 'old')}, file: evidence/o1.csv, gives: {{length: 40.0}}}}\n"
    "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 40.0}}\n"
)
RESTORED = (
    PLATED + "originals:\n  O1: {condition: restored, from: fair}\n  O2: {condition: reproduction, from: boxed}\n"
    f"measurements:\n  M1: {{{M}, file: evidence/o1.csv, gives: {{length: 40.0}}%s}}\n"
    "revisions: {A: {on: 2026-01-20, by: ann, from: [M1]}}\n"
)
OLD_ARM: dict[str, str | None] = {
    "shared/resources.yaml": "resources: {}\ninstruments:\n  arm: {name: arm, mpe_mm: 0.02, calibrated: 2025-06-01, due: 2026-12-01}\n"
    "  old: {name: old arm, mpe_mm: 0.02, calibrated: 2024-06-01, due: 2025-06-01}\n"
}


def arm(mpe: str = "0.02", due: str = "2026-12-01") -> dict[str, str]:
    """Return the catalogue of instruments."""
    return {"shared/resources.yaml": ARM % (mpe, due)}


# (requirement, what, its figures, sections of the record, other files, state, what is there)
Row = tuple[str, str, str, str, dict[str, str | None], Met, float | None]
ROWS: list[Row] = [
    ("measure.originals", "as many as wanted", "{least: 2}", "", {}, MET, 2),
    ("measure.originals", "one too few", "{least: 3}", "", {}, UNMET, 2),
    ("measure.originals", "no figure wants one", "{}", f"measurements:\n  M1: {{{M}, file: evidence/o1.csv, gives: {{length: 40}}}}\nrevisions: {{A: {{on: 2026-01-20, by: ann}}}}\n", {}, MET, 1),
    ("measure.originals", "none at all", "{}", "measurements: {}\nrevisions: {A: {on: 2026-01-20, by: ann}}\n", {}, UNMET, 0),
    ("measure.originals", "two readings of one original are one", "{least: 2}", f"measurements:\n  M1: {{{M}, file: evidence/o1.csv, gives: {{length: 40}}}}\n  M2: {{{M}, file: evidence/o2.csv, gives: {{length: 40}}}}\n", {}, UNMET, 1),
    ("measure.originals", "a reproduction is none", "{least: 2}", "originals:\n  O1: {condition: reproduction, from: fair}\n  O2: {condition: nos, from: boxed}\n", {}, UNMET, 1),
    ("measure.originals", "a changed points file does not count", "{least: 2}", "", {P + "evidence/o1.csv": "changed\n"}, UNMET, 1),
    ("measure.originals", "a reading without a file does not count", "{least: 2}", f"measurements:\n  M1: {{{M}, gives: {{length: 40}}}}\n  M2: {{of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {{length: 40}}}}\n", {}, UNMET, 1),
    ("measure.critical", "all", "{share: 1}", "", {}, MET, 1.0),
    ("measure.critical", "one of two", "{share: 1}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("measure.critical", "one of two where half is enough", "{share: 0.5}", TWO_CRITICAL, {}, MET, 0.5),
    ("measure.critical", "one of two where a little more is wanted", "{share: 0.51}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("measure.critical", "none named", "{share: 0}", NO_CRITICAL, {}, UNMET, 0),
    ("measure.calibration", "on the last day", "{}", "", arm(due="2026-01-10"), MET, 1.0),
    ("measure.calibration", "a day late", "{}", "", arm(due="2026-01-09"), UNMET, 0.0),
    ("measure.calibration", "nothing measured", "{}", "measurements: {}\nrevisions: {A: {on: 2026-01-20, by: ann}}\n", {}, UNMET, 0),
    ("measure.safety-review", "cosmetic", "{}", "", {}, MET, None),
    ("measure.safety-review", "not reviewed", "{}", "safety: S1\n", {}, UNMET, 0),
    ("measure.safety-review", "reviewed", "{}", S2, {}, MET, 1),
    ("model.revision", "with its file", "{}", "", {}, MET, 1),
    ("model.revision", "without a file", "{}", "revisions: {A: {on: 2026-01-20, by: ann, from: [M1]}}\n", {}, UNMET, 0),
    ("model.revision", "its file changed", "{}", "", {P + "evidence/hook-a.stl": "changed\n"}, UNMET, 0),
    ("model.revision", "none", "{}", "revisions: {}\nprototypes: {}\nfit_checks: {}\nquotes: {}\n", {}, UNMET, 0),
    ("model.source", "traced", "{share: 1}", "", {}, MET, 1.0),
    ("model.source", "from nothing", "{share: 1}", "revisions: {A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl}}\n", {}, UNMET, 0.0),
    ("model.source", "one of two where half is enough", "{share: 0.5}", TWO_CRITICAL, {}, MET, 0.5),
    ("model.source", "one of two", "{share: 1}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("model.stacks", "no stack", "{}", "", {}, MET, None),
    ("model.stacks", "on the limit by root-sum-square", "{}", "interfaces:\n  seat: {what: s, gap: {limits: [0.1, 0.5]}, stack: [{name: slot, nominal: 40.3, limits: [0, 0]}, {feature: length, sign: -1}]}\n", {}, MET, 1),
    ("model.stacks", "just over", "{}", "interfaces:\n  seat: {what: s, gap: {limits: [0.11, 0.49]}, stack: [{name: slot, nominal: 40.3, limits: [0, 0]}, {feature: length, sign: -1}]}\n", {}, UNMET, 0),
    ("model.stacks", "a link that cannot be reckoned", "{}", "interfaces:\n  seat: {what: s, gap: {limits: [0.1, 0.5]}, stack: [{feature: gone}]}\n", {}, UNMET, 0),
    ("prototype.built", "one", "{least: 1}", "", {}, MET, 1),
    ("prototype.built", "one too few", "{least: 2}", "", {}, UNMET, 1),
    ("prototype.built", "stale", "{}", B % "length", {}, UNMET, 0),
    ("prototype.built", "revision touched nothing that it shows", "{}", B % "hard", {}, MET, 1),
    ("prototype.proves", "all that it can", "{share: 1}", "", {}, MET, 1.0),
    ("prototype.proves", "a print proves no hardness", "{share: 1}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("prototype.proves", "claimed, and still not", "{share: 1}", TWO_CRITICAL + "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01, covers: [length, hard]}\n", {}, UNMET, 0.5),
    ("prototype.proves", "half is enough", "{share: 0.5}", TWO_CRITICAL, {}, MET, 0.5),
    ("fit-check.coverage", "all", "{share: 1}", "", {}, MET, 1.0),
    ("fit-check.coverage", "one of two", "{share: 1}", TWO, {}, UNMET, 0.5),
    ("fit-check.coverage", "one of two where half is enough", "{share: 0.5}", TWO, {}, MET, 0.5),
    ("fit-check.coverage", "did not fit", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: [0.4]}}, result: bad}}\n", {}, UNMET, 0.0),
    ("fit-check.coverage", "seen by nobody else", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, gaps: {{seat: [0.4]}}, result: good}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "on both limits", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: [0.1, 0.9]}}, result: good}}\n", {}, MET, 1.0),
    ("fit-check.interfaces", "just under", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: [0.0999, 0.5]}}, result: good}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "just over", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: [0.5, 0.9001]}}, result: good}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "not measured", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, result: good}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "no reading in the list", "{share: 1}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{seat: []}}, result: good}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "no interface", "{share: 1}", f"interfaces: {{}}\nfit_checks:\n  F1: {{{FIT}, seen_by: bob, result: good}}\n", {}, MET, None),
    ("fit-check.finish", "not plated", "{}", "", {}, MET, None),
    ("fit-check.finish", "plated family, bare sample", "{}", "", write_family("plated: true"), UNMET, 0),
    ("fit-check.finish", "plated family, plated sample", "{}", "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01, coated: true}\n", write_family("plated: true"), MET, 1),
    ("fit-check.second-signature", "seen by another", "{}", "", {}, MET, 1),
    ("fit-check.second-signature", "seen by nobody else", "{}", f"fit_checks:\n  F1: {{{FIT}, gaps: {{seat: [0.4]}}, result: good}}\n", {}, UNMET, 0),
    ("fit-check.second-signature", "seen by the same person", "{}", f"fit_checks:\n  F1: {{{FIT}, seen_by: ann, gaps: {{seat: [0.4]}}, result: good}}\n", {}, UNMET, 0),
    ("fit-check.second-signature", "nothing to sign", "{}", "fit_checks: {}\n", {}, UNMET, 0),
    ("quote.offers", "one", "{least: 1}", "", {}, MET, 1),
    ("quote.offers", "one too few", "{least: 2}", "", {}, UNMET, 1),
    ("quote.offers", "two offers of one supplier are one", "{least: 2}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-08-01}}\n  Q2: {{{Q}, valid_to: 2026-08-01}}\n", {}, UNMET, 1),
    ("quote.offers", "on an old revision", "{least: 1}", B % "length", {}, UNMET, 0),
    ("quote.offers", "the change does not touch what it covers", "{least: 1}", B % "length" + f"quotes:\n  Q1: {{{Q}, valid_to: 2026-08-01, covers: [hard]}}\n", {}, MET, 1),
    ("quote.revision", "as the model is", "{}", "", {}, MET, 1),
    ("quote.revision", "the model changed", "{}", B % "hard", {}, UNMET, 0),
    ("quote.revision", "only words changed", "{}", B % "", {}, MET, 1),
    ("quote.revision", "none", "{}", "quotes: {}\n", {}, UNMET, 0),
    ("quote.valid", "to this very day", "{}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-06-01}}\n", {}, MET, 1),
    ("quote.valid", "to yesterday", "{}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-05-31}}\n", {}, UNMET, 0),
    ("quote.valid", "says nothing", "{}", f"quotes:\n  Q1: {{{Q}}}\n", {}, UNMET, 0),
    ("quote.valid", "another one than the chosen is valid", "{}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-05-31}}\n  Q2: {{{Q}, valid_to: 2026-08-01}}\n" + CHOOSE, {}, Met.STALE, 0),
    ("quote.scope", "whole", "{}", "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, weeks: 12, yield: 0.95, freight: 0, duty: 0, owns_tool: us, pay: [{at: order, share: 1}]}\n", {}, MET, 1),
    ("quote.scope", "zero freight is stated, none is not", "{}", "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, weeks: 12, yield: 0.95, duty: 0, owns_tool: us, pay: [{at: order, share: 1}]}\n", {}, UNMET, 0),
    ("quote.scope", "left out on purpose", "{}", "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, money: USD, tools: {die: 9000}, piece: {500: 4.20}, weeks: 12, yield: 0.95, duty: 0, owns_tool: us, pay: [{at: order, share: 1}], not_wanted: [freight]}\n", {}, MET, 1),
    ("quote.scope", "a tool without a price", "{}", "quotes:\n  Q1: {from: foundry, of: A, on: 2026-05-01, money: USD, piece: {500: 4.20}, weeks: 12, yield: 0.95, freight: 0, duty: 0}\n", {}, UNMET, 0),
    ("quote.chosen", "none", "{}", "", {}, UNMET, 0),
    ("quote.chosen", "one", "{}", CHOOSE, {}, MET, 1),
    ("quote.chosen", "held", "{}", CHOOSE.replace("say: go", "say: hold"), {}, UNMET, 0),
    ("tooling.accepted", "quoted", "{}", "", {}, UNMET, 0),
    ("tooling.accepted", "on trial", "{}", "tools:\n  die: {kind: die, forms: [length], steps: {ordered: 2026-05-12, on trial: 2026-05-20}}\n", {}, UNMET, 0),
    ("tooling.accepted", "accepted", "{}", "tools:\n  die: {kind: die, forms: [length], steps: {ordered: 2026-05-12, accepted: 2026-05-25}}\n", {}, MET, 1),
    ("tooling.accepted", "a tool that no record keeps is counted nowhere", "{}", "uses_tools: [SD-999/block]\ntools:\n  die: {kind: die, forms: [length], steps: {ordered: 2026-05-12, accepted: 2026-05-25}}\n", {}, MET, 1),
    ("tooling.accepted", "no tool", "{}", "tools: {}\nquotes: {}\n", {}, MET, None),
    ("tooling.first-article", "as many pieces as wanted", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "one too few", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 2, finished: true}}\n", {}, UNMET, 2),
    ("tooling.first-article", "not finished", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: false}}\n", {}, UNMET, 3),
    ("tooling.first-article", "no settings", "{least: 3}", "first_articles:\n  N1: {tools: [die], of: A, on: 2026-05-20, by: ann, seen_by: bob, result: good, pieces: 3, finished: true}\n", {}, UNMET, 3),
    ("tooling.first-article", "bad", "{least: 3}", f"first_articles:\n  N1: {{{FA.replace('good', 'bad')}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.first-article", "bad after good off the same die", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad').replace('05-20', '05-21')}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.first-article", "good after bad", "{least: 3}", f"first_articles:\n  N1: {{{FA.replace('good', 'bad')}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('05-20', '05-21')}, pieces: 4, finished: true}}\n", {}, MET, 4),
    ("tooling.first-article", "seen by nobody else", "{least: 3}", f"first_articles:\n  N1: {{{FA.replace('seen_by: bob, ', '')}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.first-article", "none", "{least: 3}", "", {}, UNMET, 0),
    ("tooling.refit", "with a prototype only", "{share: 1}", "", {}, UNMET, 0.0),
    ("tooling.first-article", "called good and a piece outside the limits", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, gives: {{length: [40.0, 40.1, 40.21]}}}}\n", {}, UNMET, 3),
    ("tooling.first-article", "called good and a piece on the limit", "{least: 3}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, gives: {{length: [40.0, 40.1, 40.2]}}}}\n", {}, MET, 3),
    ("tooling.refit", "with a first article", "{share: 1}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\nfit_checks:\n  F1: {{{FIT.replace('P1, on: 2026-02-05', 'N1, on: 2026-05-22')}, seen_by: bob, result: good}}\n", {}, MET, 1.0),
    ("tooling.proofs", "by the first article", "{share: 1}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\n", {}, MET, 1.0),
    ("tooling.proofs", "by a first article called good with a piece outside", "{share: 1}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length], gives: {{length: [40.0, 39.79]}}}}\n", {}, UNMET, 0.0),
    ("tooling.proofs", "hardness by a test called good that reads outside", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\ntests:\n  T1: {{{HARD}, gives: {{hard: 44}}, result: good}}\n", {}, UNMET, 0.5),
    ("tooling.proofs", "hardness by no first article", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length, hard]}}\n", {}, UNMET, 0.5),
    ("tooling.proofs", "hardness by the laboratory", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\ntests:\n  T1: {{{HARD}, result: good}}\n", {}, MET, 1.0),
    ("tooling.proofs", "hardness by no laboratory", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\ntests:\n  T1: {{{HARD.replace(' at: lab,', '')}, result: good}}\n", {}, UNMET, 0.5),
    ("tooling.proofs", "a bad test after the good one", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\ntests:\n  T1: {{{HARD}, result: good}}\n  T2: {{{HARD.replace('05-21', '05-22')}, result: bad}}\n", {}, UNMET, 0.5),
    ("tooling.proofs", "a good test after the bad one", "{share: 1}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\ntests:\n  T1: {{{HARD}, result: bad}}\n  T2: {{{HARD.replace('05-21', '05-22')}, result: good}}\n", {}, MET, 1.0),
    ("tooling.second-signature", "seen by another", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n", {}, MET, 1),
    ("tooling.second-signature", "seen by nobody else", "{}", f"first_articles:\n  N1: {{{FA.replace('seen_by: bob, ', '')}, pieces: 3, finished: true}}\n", {}, UNMET, 0),
    ("tooling.safety-tests", "cosmetic", "{}", "", {}, MET, None),
    ("tooling.safety-tests", "not tested", "{}", S2, {}, UNMET, 0),
    ("tooling.safety-tests", "tested by a laboratory", "{}", S2 + f"tests:\n  T1: {{{HARD}, result: good}}\n", {}, MET, 1),
    ("tooling.safety-tests", "tested by our own engineer", "{}", S2 + f"tests:\n  T1: {{{HARD.replace(' at: lab,', '')}, result: good}}\n", {}, UNMET, 0),
    ("tooling.safety-tests", "no report", "{}", S2 + f"tests:\n  T1: {{{HARD.replace(', file: evidence/o1.csv', '')}, result: good}}\n", {}, UNMET, 0),
    ("tooling.safety-tests", "came out bad since", "{}", S2 + f"tests:\n  T1: {{{HARD}, result: good}}\n  T2: {{{HARD.replace('05-21', '05-22')}, result: bad}}\n", {}, UNMET, 1),
    ("tooling.children", "no child", "{}", "", {}, MET, None),
    ("tooling.children", "bought in, with a source", "{}", "made_of:\n  pin: {bought: a pin, from: [foundry]}\n", {}, MET, None),
    ("tooling.children", "bought in, no source", "{}", "made_of:\n  pin: {bought: a pin}\n", {}, UNMET, 0),
    # without figures a gate wants one of a thing, three pieces, or all of a share; what nobody named is never all
    ("measure.critical", "no figure wants all", "{}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("model.source", "no figure wants all", "{}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("model.source", "none named", "{share: 0}", NO_CRITICAL, {}, UNMET, 0),
    ("prototype.built", "no figure wants one", "{}", "", {}, MET, 1),
    ("prototype.built", "no model", "{}", "revisions: {}\nprototypes: {}\nfit_checks: {}\nquotes: {}\n", {}, UNMET, 0),
    ("prototype.proves", "no figure wants all", "{}", TWO_CRITICAL, {}, UNMET, 0.5),
    ("prototype.proves", "none named", "{share: 0}", NO_CRITICAL, {}, UNMET, 0),
    ("fit-check.coverage", "no figure wants all", "{}", TWO, {}, UNMET, 0.5),
    ("fit-check.coverage", "one hand of two", "{share: 0.5}", HANDS + f"fit_checks:\n  F1: {{{FIT}, hand: left, seen_by: bob, gaps: {{seat: [0.4]}}, result: good}}\n", {}, MET, 0.5),
    ("fit-check.coverage", "one hand of two where both are wanted", "{share: 1}", HANDS + f"fit_checks:\n  F1: {{{FIT}, hand: left, seen_by: bob, gaps: {{seat: [0.4]}}, result: good}}\n", {}, UNMET, 0.5),
    ("fit-check.coverage", "alone and bad on the two hands", "{share: 1}", HANDS + f"fit_checks:\n  F1: {{{FIT}, hand: left, gaps: {{seat: [0.4]}}, result: good}}\n  F2: {{{FIT}, hand: right, gaps: {{seat: [0.4]}}, result: bad}}\n", {}, UNMET, 0.0),
    ("fit-check.interfaces", "no figure wants all", "{}", SEATS, {}, UNMET, 0.5),
    ("fit-check.interfaces", "one of two where half is enough", "{share: 0.5}", SEATS, {}, MET, 0.5),
    ("fit-check.interfaces", "a gap of no interface says nothing", "{}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, gaps: {{gone: [9], seat: [0.4]}}, result: good}}\n", {}, MET, 1.0),
    ("fit-check.finish", "plated feature, bare sample", "{}", PLATED, {}, UNMET, 0),
    ("fit-check.finish", "plated feature, a process that plates", "{}", PLATED, PLATING, MET, 1),
    ("fit-check.finish", "plated feature, finished first article", "{}", PLATED + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\nfit_checks:\n  F1: {{{FIT.replace('P1, on: 2026-02-05', 'N1, on: 2026-05-22')}, seen_by: bob, result: good}}\n", {}, MET, 1),
    ("fit-check.finish", "plated feature, unfinished first article", "{}", PLATED + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: false}}\nfit_checks:\n  F1: {{{FIT.replace('P1, on: 2026-02-05', 'N1, on: 2026-05-22')}, seen_by: bob, result: good}}\n", {}, UNMET, 0),
    ("fit-check.second-signature", "one of two seen by another", "{}", f"fit_checks:\n  F1: {{{FIT}, seen_by: bob, result: good}}\n  F2: {{{FIT}, result: good}}\n", {}, MET, 1),
    ("fit-check.second-signature", "a bad one wants no signature", "{}", f"fit_checks:\n  F1: {{{FIT}, result: bad}}\n", {}, UNMET, 0),
    ("quote.offers", "no figure wants one", "{}", "", {}, MET, 1),
    ("quote.offers", "two of two", "{least: 2}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-08-01}}\n  Q2: {{{Q.replace('foundry', 'lab')}, valid_to: 2026-08-01}}\n", {}, MET, 2),
    ("quote.offers", "one that ran out was an offer all the same", "{}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-05-31}}\n", {}, MET, 1),
    ("quote.revision", "the chosen one is on an old model, another one is not", "{}", B % "length" + f"quotes:\n  Q1: {{{Q}, valid_to: 2026-08-01}}\n  Q2: {{{Q.replace('of: A', 'of: B').replace('05-01', '05-25')}, valid_to: 2026-08-01}}\n" + CHOOSE, {}, Met.STALE, 0),
    ("quote.valid", "none", "{}", "quotes: {}\n", {}, UNMET, 0),
    ("quote.valid", "the latest of two days", "{}", f"quotes:\n  Q1: {{{Q}, valid_to: 2026-08-01}}\n  Q2: {{{Q}, valid_to: 2026-09-01}}\n", {}, MET, 1),
    ("quote.valid", "the chosen one is not there: all are looked at", "{}", CHOOSE.replace("Q1", "Q9"), {}, MET, 1),
    ("quote.scope", "none", "{}", "quotes: {}\n", {}, UNMET, 0),
    ("quote.scope", "the one that leaves out least is asked", "{}", f"quotes:\n  Q1: {{{Q}}}\n  Q2: {{{Q}, weeks: 12, yield: 0.9, freight: 0, duty: 0}}\n", {}, UNMET, 0),
    ("quote.scope", "another maker's tool is none of its business", "{}", f"tools:\n  die: {{kind: die, forms: [length], by: lab}}\nquotes:\n  Q1: {{{Q}, weeks: 12, yield: 0.9, freight: 0, duty: 0}}\n", {}, MET, 1),
    ("quote.chosen", "the last of two", "{}", CHOOSE + "  - {gate: quote, on: 2026-05-06, by: bob, say: go, choose: Q2}\n" + f"quotes:\n  Q1: {{{Q}}}\n  Q2: {{{Q}}}\n", {}, MET, 1),
    ("quote.chosen", "nothing to choose from", "{}", "quotes: {}\n", {}, UNMET, 0),
    ("tooling.first-article", "no figure wants three pieces", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "bad after good off another die", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad').replace('05-20', '05-21').replace('die', 'trim')}, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "bad on the same day off the same die", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad')}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.first-article", "bad on the same day, written above the good one", "{}", f"first_articles:\n  N1: {{{FA.replace('good', 'bad')}, pieces: 3, finished: true}}\n  N2: {{{FA}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.first-article", "bad on the same day off another die", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad').replace('die', 'trim')}, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "bad on the same day on the other hand", "{}", HANDS + f"first_articles:\n  N1: {{{FA}, hand: left, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad')}, hand: right, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "bad on the same day, and a newer good one", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad')}, pieces: 3, finished: true}}\n  N3: {{{FA.replace('05-20', '05-21')}, pieces: 4, finished: true}}\n", {}, MET, 4),
    ("tooling.first-article", "one that is open on the same day", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'open')}, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "one of the same day that reads outside", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, gives: {{length: [40.1, 39.9, 40.0]}}}}\n  N2: {{{FA.replace('good', 'open')}, pieces: 3, finished: true, gives: {{length: [40.1, 40.3]}}}}\n", {}, UNMET, 3),
    ("tooling.first-article", "one of the day before that reads outside", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('05-20', '05-19')}, pieces: 3, finished: true, gives: {{length: [40.3]}}}}\n", {}, MET, 3),
    ("tooling.first-article", "bad after good on the other hand", "{}", HANDS + f"first_articles:\n  N1: {{{FA}, hand: left, pieces: 3, finished: true}}\n  N2: {{{FA.replace('good', 'bad').replace('05-20', '05-21')}, hand: right, pieces: 3, finished: true}}\n", {}, MET, 3),
    ("tooling.first-article", "good, and refuted after it", "{}", f"first_articles:\n  N1: {{{FA.replace('05-20', '05-22').replace('good', 'open')}, pieces: 3, finished: true}}\n  N2: {{{FA}, pieces: 3, finished: true}}\n  N3: {{{FA.replace('good', 'bad').replace('05-20', '05-21')}, pieces: 3, finished: true}}\n", {}, UNMET, 3),
    ("tooling.refit", "no figure wants all", "{}", TWO + REFIT, {}, UNMET, 0.5),
    ("tooling.refit", "one of two where half is enough", "{share: 0.5}", TWO + REFIT, {}, MET, 0.5),
    ("tooling.proofs", "none named", "{share: 0}", NO_CRITICAL, {}, UNMET, 0),
    ("tooling.proofs", "no figure wants all", "{}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\n", {}, UNMET, 0.5),
    ("tooling.proofs", "one of two where half is enough", "{share: 0.5}", TWO_CRITICAL + f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true, covers: [length]}}\n", {}, MET, 0.5),
    ("tooling.proofs", "by no unfinished first article", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: false, covers: [length]}}\n", {}, UNMET, 0.0),
    ("tooling.proofs", "by none that nobody else saw", "{}", f"first_articles:\n  N1: {{{FA.replace('seen_by: bob, ', '')}, pieces: 3, finished: true, covers: [length]}}\n", {}, UNMET, 0.0),
    ("tooling.second-signature", "none", "{}", "", {}, UNMET, 0),
    ("tooling.second-signature", "one of two seen", "{}", f"first_articles:\n  N1: {{{FA}, pieces: 3, finished: true}}\n  N2: {{{FA.replace('seen_by: bob, ', '')}, pieces: 3, finished: true}}\n", {}, MET, 1),
    ("tooling.safety-tests", "bad on the same day as the good one", "{}", S2 + f"tests:\n  T1: {{{HARD}, result: good}}\n  T2: {{{HARD}, result: bad}}\n", {}, UNMET, 1),
    ("tooling.safety-tests", "one after the good one that reads outside", "{}", S2 + f"tests:\n  T1: {{{HARD}, result: good}}\n  T2: {{{HARD.replace('05-21', '05-22')}, gives: {{hard: 56}}, result: good}}\n", {}, UNMET, 1),
    ("tooling.safety-tests", "bad before the good one", "{}", S2 + f"tests:\n  T1: {{{HARD}, result: good}}\n  T2: {{{HARD.replace('05-21', '05-20')}, result: bad}}\n", {}, MET, 1),
    ("tooling.children", "one released part and one that is not", "{}", "made_of:\n  a: {part: SD-999}\n  pin: {bought: pin, from: [foundry]}\n", {}, UNMET, 0),
    ("measure.calibration", "out of calibration beside a good one", "{}", CALIBRATED, OLD_ARM, MET, 1.0),
    ("measure.calibration", "a feature that no good one read", "{}", TWO_CRITICAL + CALIBRATED.replace("gives: {length: 40.0}}", "gives: {hard: 50}}", 1), OLD_ARM, UNMET, 0.5),
    ("measure.originals", "a restored one counts", "{least: 2}", "originals:\n  O1: {condition: restored, from: fair}\n  O2: {condition: nos, from: boxed}\n", {}, MET, 2),
    ("measure.critical", "a restored one shows no coated feature", "{}", RESTORED % "", {}, UNMET, 0.0),
    ("measure.critical", "a restored one with the coating taken off", "{}", RESTORED % ", coating_off: true", {}, MET, 1.0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "figures", "part", "files", "state", "have"),
    [(r[0], *r[2:]) for r in ROWS],
    ids=[f"{r[0]}: {r[1]}" for r in ROWS],
)
def test_requirement(
    name: str,
    figures: str,
    part: str,
    files: dict[str, str | None],
    state: Met,
    have: float | None,
    sample: Callable[..., Path],
) -> None:
    policy = write_policy(**{name.replace(".", "_").replace("-", "_"): figures})
    found = find_requirement(sample("decisions: []\n" + part, {**policy, **files}), name)
    assert (found.state, found.answer.have) == (state, have), found.answer.words
    if state is UNMET and have != 0 and name not in {"fit-check.second-signature"}:
        assert found.answer.todo or name.endswith("second-signature"), "what is not met says what would meet it"


def test_every_requirement_is_seen_met_and_not_met() -> None:
    seen = {(row[0], row[5]) for row in ROWS if row[5] in (MET, UNMET)} | {
        ("measure.ratio", MET),
        ("measure.ratio", UNMET),
    }
    assert seen == {(name, state) for name in GATE_OF for state in (MET, UNMET)}


@pytest.mark.parametrize(
    ("figures", "mpe", "state"),
    [("{least: 4}", "0.02", MET), ("{least: 4}", "0.2", UNMET), ("{}", "0.02", MET), ("{}", "0.2", UNMET)],
)
def test_limits_against_uncertainty(figures: str, mpe: str, state: Met, sample: Callable[..., Path]) -> None:
    """Limits of +-0.2 mm are ten times wide enough for an arm of 0.02 mm, and too narrow for one of 0.2 mm."""
    files = {**write_policy(measure_ratio=figures), **arm(mpe=mpe)}
    assert find_requirement(sample("decisions: []\n", files), "measure.ratio").state is state


def test_the_slowest_child_governs(sample: Callable[..., Path]) -> None:
    root = sample("decisions: []\nmade_of:\n  a: {part: SD-101}\n  b: {bought: pin, from: [foundry]}\n", write_policy())
    folder = root / "projects/SD-101"
    folder.mkdir()
    (folder / "part.yaml").write_text(
        "part: SD-101\nname: child\nfamily: cast\nsafety: S0\nengineer: ann\n"
        "fits: {saloon: {vehicle: finch, body: saloon, years: 1951}}\n"
    )
    found = find_requirement(root, "tooling.children")
    assert (found.state, found.answer.have, found.answer.want) == (UNMET, 0, 1)
    assert found.answer.todo == ("release SD-101 first",)
