"""Rules about the shape of a record: which keys, which words, which numbers."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR = Severity.ERROR
_O2 = "  O2: {condition: nos, from: boxed stock}\n"
_ORIGINAL = "originals:\n  O1: {condition: used, from: lent}\n" + _O2

MISSING_KEY = Rule(
    "M101", "Every key that is needed is there", ERROR,
    "Without it the record cannot say what it is meant to prove.",
    "add the key",
    Example("originals:\n  O1: {condition: used}\n" + _O2), Example(_ORIGINAL),
)  # fmt: skip
UNKNOWN_KEY = Rule(
    "M102", "No key that is not known", ERROR,
    "A misspelt key would be passed over in silence, and with it the fact that it holds.",
    "correct the spelling, or take the key out",
    Example("originals:\n  O1: {condition: used, from: lent, handd: left}\n" + _O2),
    Example("originals:\n  O1: {condition: used, from: lent, hand: left}\n" + _O2),
)  # fmt: skip
UNKNOWN_WORD = Rule(
    "M103", "Words from the list", ERROR,
    "One word for one thing, everywhere: otherwise two records mean the same and are counted apart.",
    "write one of the words of the list",
    Example("originals:\n  O1: {condition: second-hand, from: lent}\n" + _O2), Example(_ORIGINAL),
)  # fmt: skip
NOT_A_NUMBER = Rule(
    "M104", "Readings and amounts are numbers", ERROR,
    "A figure in words cannot be compared with its limits.",
    "write the reading in the unit of the feature, e.g. 12.48",
    Example("redo: {reprint: twelve}\n"), Example("redo: {reprint: 12}\n"),
)  # fmt: skip
NOT_A_DAY = Rule(
    "M105", "Days exist and are written year first", ERROR,
    "Freshness and expiry are counted from these days; 03/04 means two different days in two countries.",
    "write the day as 2026-05-20",
    Example("announce: 2027-02-30\n"), Example("announce: 2027-02-28\n"),
)  # fmt: skip
WRONG_TYPE = Rule(
    "M106", "Text, lists and maps where they belong", ERROR,
    "A list where a map belongs loses the ids that other evidence points at.",
    "write what is wanted here",
    Example("name: 1951\n"), Example('name: "1951"\n'),
)  # fmt: skip
OUT_OF_BOUNDS = Rule(
    "M107", "Numbers within what is possible", ERROR,
    "A share above one or a price below zero is a slip of the pen that a sum would hide.",
    "correct the number",
    Example("redo: {reprint: -380}\n"), Example("redo: {reprint: 380}\n"),
)  # fmt: skip
NOT_MONEY = Rule(
    "M108", "Money has an amount and a currency", ERROR,
    "An amount without its currency is added to the wrong ones sooner or later.",
    "write the amount and the ISO 4217 code, e.g. 38000 USD",
    Example("demand: {per_year: [100, 200, 300], price: $68}\n"),
    Example("demand: {per_year: [100, 200, 300], price: 68 USD}\n"),
)  # fmt: skip
BAD_FORM = Rule(
    "M109", "Ids, years and temperatures have their form", ERROR,
    "Other evidence and other files point at these, letter by letter.",
    "write it in the form that is wanted here",
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: the early ones}\n"),
    Example("fits:\n  saloon: {vehicle: finch, body: saloon, years: 1951-1955}\n"),
)  # fmt: skip
CONTRADICTION = Rule(
    "M110", "A fact does not contradict itself", ERROR,
    "Low above high, a first year after the last, shares that add up to more than one: one of the two is wrong.",
    "correct the one that is wrong",
    Example("demand: {per_year: [300, 200, 100], price: 68 USD}\n"),
    Example("demand: {per_year: [100, 200, 300], price: 68 USD}\n"),
)  # fmt: skip
BAD_LENGTH = Rule(
    "M111", "Neither empty nor endless", ERROR,
    "An empty text says nothing; a very long one belongs in a file.",
    "write the fact, or leave the key out",
    Example('name: ""\n'), Example("name: Sample hook\n"),
)  # fmt: skip
BAD_PATH = Rule(
    "M112", "Evidence lies in the part's own folder", ERROR,
    "A path that leads elsewhere is lost when the folder moves, and could name any file of the machine.",
    "copy the file into evidence/ and write evidence/<name>",
    Example("picture: ../../secret.png\n"), Example(),
)  # fmt: skip
KEPT_NUMBER = Rule(
    "M113", "A part number can be a folder and a page on every system", ERROR,
    "The list of parts is the page `index`, Windows keeps names such as AUX for devices, and many systems do not tell "
    "upper and lower case apart: one page would take the place of another, or the folder could not be copied.",
    "give the part another number, e.g. TW-101",
    Example("part: INDEX\n"), Example("part: SD-100\n"),
)  # fmt: skip

RULES = (
    MISSING_KEY, UNKNOWN_KEY, UNKNOWN_WORD, NOT_A_NUMBER, NOT_A_DAY, WRONG_TYPE, OUT_OF_BOUNDS, NOT_MONEY, BAD_FORM,
    CONTRADICTION, BAD_LENGTH, BAD_PATH, KEPT_NUMBER,
)  # fmt: skip
