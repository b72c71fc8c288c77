"""Rules about the text of a file, before anything is understood."""

from __future__ import annotations

from pipeline.findings.finding import Severity
from pipeline.findings.rule import Example, Rule

ERROR = Severity.ERROR
_GOOD = Example()

SYNTAX = Rule(
    "Y001", "The file is YAML", ERROR,
    "A file that cannot be parsed says nothing, and what it was meant to say would be lost without a word.",
    "mend the line; a text with `: ` or `#` in it needs quotes, brackets and quotes must close",
    Example("name: Sample hook: the left one\n"), Example('name: "Sample hook: the left one"\n'),
)  # fmt: skip
DUPLICATE_KEY = Rule(
    "Y002", "A key stands once in a map", ERROR,
    "YAML keeps only one of two equal keys, so one of the two facts would vanish.",
    "give the second one an id of its own, or take it out",
    Example("originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n  O2: {condition: used, from: yard}\n"),
    Example("originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n  O3: {condition: used, from: yard}\n"),
)  # fmt: skip
ALIAS = Rule(
    "Y003", "No anchors and aliases", ERROR,
    "A value that stands for another one makes every difference hard to read, and can be made to grow without end.",
    "write the value out where it is needed; put quotes around a text that starts with & or *",
    Example("name: &hook Sample hook\nnote: *hook\n"), Example("name: Sample hook\nnote: Sample hook\n"),
)  # fmt: skip
TOO_LARGE = Rule(
    "Y004", "A record has at most a megabyte", ERROR,
    "A record is written and read by people; a larger one is evidence that was pasted in, or a mistake.",
    "put the bulk into a file in evidence/ and name that file",
    Example("note: " + "long " * 210_000 + "\n"), _GOOD,
)  # fmt: skip
TOO_DEEP = Rule(
    "Y005", "A record is at most twenty levels deep", ERROR,
    "Records are flat on purpose; deeper nesting is a mistake of indentation.",
    "check the indentation and the brackets near this place",
    Example("note: " + "[" * 30 + "]" * 30 + "\n"), _GOOD,
)  # fmt: skip
NOT_UTF8 = Rule(
    "Y006", "Files are UTF-8", ERROR,
    "Any other encoding turns letters into other letters on somebody else's machine.",
    "save the file as UTF-8",
    Example("name: Sample h\udcf6ok\n"), Example("name: Sample höok\n"),
)  # fmt: skip
HIDDEN_CHARACTER = Rule(
    "Y007", "No characters that cannot be seen", ERROR,
    "Control characters and marks that turn the direction of text can make a record look as if it said something else.",
    "delete the character",
    Example("name: Sample \u202ekooh\n"), _GOOD,
)  # fmt: skip
NOT_FINITE = Rule(
    "Y008", "Numbers are finite and of usual length", ERROR,
    "Not-a-number and infinity pass every comparison in the wrong way.",
    "write the reading, or leave the key out if there is none",
    Example("redo: {reprint: .nan}\n"), Example("redo: {reprint: 380}\n"),
)  # fmt: skip
TAG = Rule(
    "Y009", "No tags", ERROR,
    "A tag asks the reader to build something else than text, numbers, lists and maps; a record never needs that.",
    "take the tag (the word that starts with !) out",
    Example("name: !secret Sample hook\n"), _GOOD,
)  # fmt: skip
KEY = Rule(
    "Y010", "A key is one word", ERROR,
    "A list or a map as a key, or a merge key, cannot be pointed at.",
    "write a plain word before the colon",
    Example("originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n  ? [O3, O4]\n  : {condition: used, from: yard}\n"),
    Example("originals:\n  O1: {condition: used, from: lent}\n  O2: {condition: nos, from: boxed}\n"),
)  # fmt: skip
NOT_A_MAP = Rule(
    "Y011", "A file is a map of keys", ERROR,
    "A record starts with `part:`, a catalogue with its own first key; anything else cannot be told apart.",
    "start the file with its first key, e.g. `part: TW-101`",
    Example(files={"shared/shop.yaml": "- name\n"}), _GOOD,
)  # fmt: skip
UNREADABLE = Rule(
    "Y012", "A record is a plain file that can be read", ERROR,
    "Links, devices and files without permission can lead outside the workspace or never end.",
    "put the file itself there, and give everybody leave to read it",
    Example(files={"projects/SD-200/evidence/x.csv": "x\n"}), _GOOD,
)  # fmt: skip

RULES = (
    SYNTAX, DUPLICATE_KEY, ALIAS, TOO_LARGE, TOO_DEEP, NOT_UTF8, HIDDEN_CHARACTER, NOT_FINITE, TAG, KEY, NOT_A_MAP,
    UNREADABLE,
)  # fmt: skip
