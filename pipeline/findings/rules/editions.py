"""Rules about what leaves the house in outer editions."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

WARNING = Severity.WARNING
_OTHER = "part: SD-200\nname: Second hook\nfamily: cast\nsafety: S0\nengineer: ann\n"
_FITS = "fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"
_KEPT_IN = {"projects/SD-200/part.yaml": _OTHER + "confidential: true\nannounce: 2026-09-01\n" + _FITS}
_ANNOUNCED = "announce: 2026-05-01\n"

NAMES_WHAT_STAYS = Rule(
    "L501", "What leaves the house names no part that stays", WARNING,
    "Words go out as they stand: a number that outsiders must not know yet is told to all of them.",
    "take the number out of these words, or wait with the announcement",
    Example(_ANNOUNCED + "name: Hook for SD-200\n", _KEPT_IN), Example(_ANNOUNCED + "name: Hook for the sill\n", _KEPT_IN),
)  # fmt: skip
NAMES_SOMEBODY = Rule(
    "L502", "What leaves the house names nobody of the shop and no supplier", WARNING,
    "Who works here and who delivers is the shop's own business; outsiders are shown the part.",
    "take the name out of these words",
    Example(_ANNOUNCED + "name: Sample hook by the foundry\n"), Example(_ANNOUNCED + "name: Cast sample hook\n"),
)  # fmt: skip
RIGHTS_NOT_SAID = Rule(
    "L503", "A part that leaves with a maker's mark says that its use was cleared", WARNING,
    "Marks and designs can belong to somebody; what is shown to outsiders is shown to the holder too.",
    "clear it with the holder and write down how: `marking: {kind: maker, ..., rights: ...}`",
    Example(_ANNOUNCED + "marking: {kind: maker, text: wreath, where: back}\n"),
    Example(_ANNOUNCED + "marking: {kind: maker, text: wreath, where: back, rights: holder's letter of 2026-04-02}\n"),
)  # fmt: skip

RULES = (NAMES_WHAT_STAYS, NAMES_SOMEBODY, RIGHTS_NOT_SAID)
