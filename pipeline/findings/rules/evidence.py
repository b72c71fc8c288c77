"""Rules about evidence: files, days, what it can prove, who signed it."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR, WARNING, NOTE = Severity.ERROR, Severity.WARNING, Severity.NOTE
_P = "projects/SD-100/"
_FIT = "with: P1, car: car-1, fits: saloon, gaps: {seat: [0.4, 0.5]}, result: good"
_PROTO = "prototypes:\n  P1: {of: A, process: print, on: 2026-02-01}\n"
_REVISIONS = (
    "revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2]}\n"
    "  B: {on: 2026-03-20, by: ann, file: evidence/hook-b.stl, changed: [length], why: fouled the sill%s}\n"
)
_B_FILES = {_P + "evidence/hook-b.stl": "solid hook\nendsolid hook b\n"}
_KEEP = ", no_effect: [{features: [%s], keeps: [F1], by: %s, seen_by: bob, on: 2026-03-21, why: edge only}]"
_NO_DECISIONS = "decisions: []\n"

MISSING_FILE = Rule(
    "E301", "A file that a record names is there", ERROR,
    "Evidence that cannot be looked at proves nothing.",
    "put the file there, or take its name out of the record",
    Example(_NO_DECISIONS, {_P + "evidence/o1.csv": None}), Example(),
)  # fmt: skip
CHANGED_FILE = Rule(
    "E302", "A file is the one that was attached", ERROR,
    "Its hash differs from the one in evidence.sha256, so it is not what the decision was made on.",
    "bring the old file back from git, or record the new one as evidence of its own",
    Example(_NO_DECISIONS, {_P + "evidence/o1.csv": "# unit: mm\nlength,41.5,0,0\n"}), Example(),
)  # fmt: skip
UNLISTED_FILE = Rule(
    "E303", "A file is listed with its hash", WARNING,
    "Without a hash nobody can tell later whether it was changed; it does not count until then.",
    "run `pipeline attach`, or `sha256sum evidence/<name> >> evidence.sha256` in the part's folder",
    Example(_NO_DECISIONS, {_P + "evidence.sha256": ""}), Example(),
)  # fmt: skip
FILE_OUTSIDE = Rule(
    "E304", "Evidence is no link", ERROR,
    "A link can point at a file that others do not have, or that changes under the record.",
    "put the file itself into evidence/",
    Example(), Example(),
)  # fmt: skip
BAD_LIST = Rule(
    "E305", "evidence.sha256 holds a hash and a path on each line", ERROR,
    "A list that cannot be read proves no file.",
    "write `<64 hex digits>  evidence/<name>`, as `sha256sum` does",
    Example(files={_P + "evidence.sha256": "+o3.csv has no hash\n"}), Example(),
)  # fmt: skip

BEFORE_ANCESTOR = Rule(
    "D401", "Evidence is not older than what it was made from", ERROR,
    "A trial cannot come before the prototype that was tried; one of the two days is wrong.",
    "correct the day",
    Example("prototypes:\n  P1: {of: A, process: print, on: 2026-01-02}\n"), Example(_PROTO),
)  # fmt: skip
FUTURE = Rule(
    "D402", "Evidence is not from the future", ERROR,
    "A day that has not come yet is a plan or a slip of the pen.",
    "correct the day, or record it when it has happened",
    Example("prototypes:\n  P2: {of: A, process: print, on: 2026-12-01}\n"
            "  P1: {of: A, process: print, on: 2026-02-01}\n"), Example(_PROTO),
)  # fmt: skip
OUT_OF_CALIBRATION = Rule(
    "D403", "Instruments are in calibration on the day", WARNING,
    "A reading with an instrument whose calibration has run out has no stated error, so it does not count.",
    "measure again, or record the calibration that covers the day in shared/resources.yaml",
    Example(_NO_DECISIONS, {"shared/resources.yaml": "resources: {arm-1: {name: arm, hours_per_week: 20}}\ninstruments:\n"
            "  arm: {name: arm, mpe_mm: 0.02, calibrated: 2024-06-01, due: 2025-12-01}\n"}), Example(),
)  # fmt: skip
STEP_ORDER = Rule(
    "D404", "A tool goes from quoted to accepted in order", ERROR,
    "A tool cannot be cut before it was ordered.",
    "correct the day of the step",
    Example("tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {cutting: 2026-05-20, on trial: 2026-05-01}}\n"),
    Example("tools:\n  die: {kind: die, forms: [length], price: 9000 USD, steps: {quoted: 2026-05-01}}\n"),
)  # fmt: skip
CHANGED_MISSING = Rule(
    "D405", "A later revision names what it changed", ERROR,
    "If it does not, everything that was made from the one before must be taken as stale.",
    "add `changed: [...]`, with an empty list if only words changed",
    Example(_REVISIONS.replace("changed: [length], ", "") % "" + _NO_DECISIONS, _B_FILES), Example(_REVISIONS % "" + _NO_DECISIONS, _B_FILES),
)  # fmt: skip
REVISION_ORDER = Rule(
    "D406", "Revisions follow each other in days and letters", WARNING,
    "Which one is current must be plain to a toolmaker who sees only the letter.",
    "correct the day or the letter",
    Example("revisions:\n  A: {on: 2026-01-20, by: ann, file: evidence/hook-a.stl, from: [M1, M2], changed: [length]}\n"
            "  B: {on: 2026-01-19, by: ann, file: evidence/hook-b.stl, from: [M1, M2]}\nprototypes: {}\nfit_checks: {}\n"
            "quotes: {}\ndecisions: []\n", _B_FILES),
    Example(_REVISIONS % "" + _NO_DECISIONS, _B_FILES),
)  # fmt: skip
WRONG_UNIT = Rule(
    "D407", "A reading is near its nominal", WARNING,
    "A reading 25.4 or 1000 times off was written in another unit.",
    "write the value with its unit, e.g. {value: 1.576, unit: in}",
    Example("measurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 1.5756}}\n"
            "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"),
    Example("measurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, "
            "gives: {length: {value: 1.5756, unit: in}}}\n"
            "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"),
)  # fmt: skip

CANNOT_PROVE = Rule(
    "P501", "Evidence claims only what its kind can prove", WARNING,
    "A print shows shape; it can never show hardness, plating, finish or mould shrinkage. Such a claim does not count.",
    "take the feature out of `covers`, and test it on a sample that can prove it",
    Example("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01, covers: [length, hard]}\n"),
    Example("prototypes:\n  P1: {of: A, process: print, on: 2026-02-01, covers: [length]}\n"),
)  # fmt: skip
SIGNED_ALONE = Rule(
    "P502", "Nobody signs off their own trial", ERROR,
    "Whoever made it wants it to fit; a second pair of eyes costs an hour, a wrong tool costs the tool.",
    "have somebody else look at it and write their id in `seen_by`",
    Example(f"fit_checks:\n  F1: {{on: 2026-02-05, by: ann, seen_by: ann, {_FIT}}}\ndecisions: []\n"),
    Example(f"fit_checks:\n  F1: {{on: 2026-02-05, by: ann, seen_by: bob, {_FIT}}}\n"),
)  # fmt: skip
BAD_STATEMENT = Rule(
    "P503", "A no-effect statement names what its revision changed, and another person saw it", ERROR,
    "A statement that names anything else keeps nothing, and one that nobody else saw is an opinion.",
    "name features of `changed`, evidence that exists, and a second person in `seen_by`",
    Example(_REVISIONS % (_KEEP % ("hard", "ann")) + _NO_DECISIONS, _B_FILES), Example(_REVISIONS % (_KEEP % ("length", "ann")) + _NO_DECISIONS, _B_FILES),
)  # fmt: skip
NO_LIMITS = Rule(
    "P504", "A critical feature has limits", WARNING,
    "Without limits nothing can be outside them, so nothing is proven.",
    "add `limits: [lower, upper]` as deviations from the nominal",
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, unit: mm, critical: true}\n"),
    Example("features:\n  length: {what: overall length, kind: size, nominal: 40, limits: [-0.2, 0.2], unit: mm, "
            "critical: true}\n"),
)  # fmt: skip
NOT_COUNTED = Rule(
    "P505", "An original that does not count is measured", NOTE,
    "A reproduction is never an original, and a replated one shows the plater's work on coated features.",
    "nothing, if that is what was meant; else correct `condition`, or measure with the coating off",
    Example("originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n"
            "  O3: {condition: reproduction, from: fair}\nmeasurements:\n"
            "  M1: {of: O1, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o1.csv, gives: {length: 40.02}}\n"
            "  M2: {of: O2, on: 2026-01-10, by: ann, with: arm, at: 20 C, file: evidence/o2.csv, gives: {length: 39.99}}\n"
            "  M3: {of: O3, on: 2026-01-10, by: ann, with: arm, at: 20 C, gives: {length: 40.1}}\n"),
    Example(),
)  # fmt: skip

RULES = (
    MISSING_FILE, CHANGED_FILE, UNLISTED_FILE, FILE_OUTSIDE, BAD_LIST, BEFORE_ANCESTOR, FUTURE, OUT_OF_CALIBRATION,
    STEP_ORDER, CHANGED_MISSING, REVISION_ORDER, WRONG_UNIT, CANNOT_PROVE, SIGNED_ALONE, BAD_STATEMENT, NO_LIMITS,
    NOT_COUNTED,
)  # fmt: skip
