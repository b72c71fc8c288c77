"""New entries of a record: their ids, their days, and what they are made of."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.lineage.nodes import order_revisions
from pipeline.model.part import Part

KEY_LETTERS = {
    "originals": "O",
    "measurements": "M",
    "prototypes": "P",
    "fit_checks": "F",
    "tests": "T",
    "quotes": "Q",
    "first_articles": "A",
    "gauge_studies": "G",
    "sample_runs": "S",
    "changes": "C",
}
"""First letter of the ids in a section, as records write them."""

EVIDENCE_SECTIONS = ("originals", "measurements", "revisions", "prototypes", "fit_checks", "tests", "quotes", "tools",
                     "first_articles", "gauge_studies", "sample_runs", "changes")  # fmt: skip


def find_next_key(part: Part, section: str) -> str:
    """Return the next id of a section: one above the highest number that its letter has, in any section.

    An id means one piece of evidence in a record, so numbers that other sections use are passed over.
    """
    used = set(collect_keys(part))
    letter = _find_letter(getattr(part, section), KEY_LETTERS[section])
    pattern = re.compile(rf"{re.escape(letter)}(\d+)\Z")
    found = (pattern.match(key) for key in used)
    highest = max((int(match.group(1)) for match in found if match), default=0)
    return f"{letter}{highest + 1}"


def collect_keys(part: Part) -> Iterable[str]:
    """Yield the ids of everything that a record's evidence holds."""
    for section in EVIDENCE_SECTIONS:
        yield from getattr(part, section)


def _find_letter(entries: Mapping[str, Any], usual: str) -> str:
    """Return the letters that the entries' ids begin with: those of the last one, or the usual ones."""
    for key in reversed(list(entries)):
        match = re.fullmatch(r"([A-Za-z]+)\d+", key)
        if match:
            return match.group(1)
    return usual


def find_next_revision(part: Part) -> str:
    """Return the id after the last revision's: A, B ... Z, AA; numbers count on as numbers.

    >>> from pipeline.portfolio.entries import _follow
    >>> [_follow(k) for k in ("A", "Z", "AZ", "3", "R2")]
    ['B', 'AA', 'BA', '4', 'R3']
    """
    order = order_revisions(part)
    key = "A" if not order else _follow(order[-1])
    while key in set(collect_keys(part)):
        key = _follow(key)
    return key


def _follow(key: str) -> str:
    number = re.search(r"\d+\Z", key)
    if number:
        return key[: number.start()] + str(int(number.group()) + 1)
    letters = list(key)
    for place in range(len(letters) - 1, -1, -1):
        if letters[place].upper() != "Z":
            letters[place] = chr(ord(letters[place]) + 1)
            return "".join(letters)
        letters[place] = "A" if letters[place].isupper() else "a"
    return "A" + "".join(letters)


def keep_given(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return an entry without the keys that were left out: None and empty lists and maps say nothing."""
    return {key: value for key, value in entry.items() if value is not None and value != [] and value != {}}
