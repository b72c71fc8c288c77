"""Findings about what leaves the house in outer editions: words that tell more than the part they belong to."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.findings.finding import Finding, Location, Pointer, Related
from pipeline.findings.rule import Rule
from pipeline.findings.rules import editions as rules
from pipeline.gates.standing import Standing
from pipeline.model.part import Part
from pipeline.model.workspace import Workspace
from pipeline.portfolio.letting_out import find_leaving, find_leaving_words, find_shared_words, list_numbers

Locate = Callable[[str, Pointer], Location]
_Tree = dict[str, Any]
"""Words by their letters; "" ends a word."""


@dataclass(frozen=True)
class _Text:
    """A text that leaves: its file and place, the part (empty: shared by all), and the editions it leaves in."""

    path: str
    pointer: Pointer
    record: str
    text: str


def check_editions(workspace: Workspace, standings: Mapping[str, Standing], locate: Locate) -> list[Finding]:
    """Return the findings about what leaves the house, of all editions together."""
    told = workspace.catalogues.editions
    leaving: dict[_Text, list[str]] = {}
    staying: dict[str, set[str]] = {}
    out: dict[str, Part] = {}
    for name, edition in ({} if told is None else told.editions).items():
        found = find_leaving(workspace, standings, edition)
        out |= {number: workspace.parts[number] for number in found}
        staying[name] = set(workspace.parts) - set(found)
        for number in found:
            path = f"projects/{number}/part.yaml"
            for pointer, text in find_leaving_words(workspace.parts[number], edition):
                leaving.setdefault(_Text(path, pointer, number, text), []).append(name)
        for file, pointer, text in find_shared_words(workspace, [workspace.parts[n] for n in found], name):
            leaving.setdefault(_Text(f"shared/{file}.yaml", pointer, "", text), []).append(name)
    return [
        *_check_numbers(workspace, leaving, staying, locate),
        *_check_names(workspace, leaving, locate),
        *_check_rights(out, locate),
    ]


def build_pattern(words: Iterable[str]) -> re.Pattern[str] | None:
    """Return a pattern that finds any of the words standing alone, in any case, the longest; None without words.

    A dash does not hide a number: `SD-200-left` names SD-200. The words are put into one tree of
    letters, so that thousands of them cost no more at each place of a text than a few.

    >>> build_pattern(["SD-200", "SD-200-L"]).findall("old-sd-200-left, SD-200-L, SD-2001")
    ['sd-200', 'SD-200-L']
    """
    tree: _Tree = {}
    for word in words:
        at = tree
        for letter in word.casefold():
            at = at.setdefault(letter, {})
        at[""] = {}
    return re.compile(rf"(?<!\w){_write_pattern(tree)}(?!\w)", re.IGNORECASE) if tree else None


def _write_pattern(tree: _Tree) -> str:
    """Return the pattern of a tree; a branch that goes on is tried before the word that ends here."""
    branches = [re.escape(letter) + _write_pattern(more) for letter, more in sorted(tree.items()) if letter]
    if not branches:
        return ""
    return f"(?:{'|'.join(branches)}){'?' if '' in tree else ''}" if len(branches) > 1 or "" in tree else branches[0]


def _check_numbers(
    workspace: Workspace, leaving: Mapping[_Text, list[str]], staying: Mapping[str, set[str]], locate: Locate
) -> Iterator[Finding]:
    owners = {number.casefold(): part.part for part in workspace.parts.values() for number in list_numbers(part)}
    pattern = build_pattern(number for part in workspace.parts.values() for number in list_numbers(part))
    for one, editions in leaving.items() if pattern is not None else ():
        for hit in pattern.finditer(one.text) if pattern is not None else ():
            owner = owners[hit.group().casefold()]
            told = [name for name in editions if owner in staying[name]]
            if told and owner != one.record:
                message = f'"{one.text}" names {hit.group()}, which stays in; it leaves in {" and ".join(told)}'
                related = Related(locate(f"projects/{owner}/part.yaml", ("part",)), "the part that stays")
                yield _build(rules.NAMES_WHAT_STAYS, one, message, locate, (related,))


def _check_names(workspace: Workspace, leaving: Mapping[_Text, list[str]], locate: Locate) -> Iterator[Finding]:
    shared = workspace.catalogues
    names = [person.name for person in shared.people.people.values()]
    names += [supplier.name for supplier in shared.suppliers.suppliers.values()]
    pattern = build_pattern(name for name in names if len(name) > 2)
    for one in leaving if pattern is not None else ():
        hit = pattern.search(one.text) if pattern is not None and one.path != "shared/shop.yaml" else None
        if hit is not None:
            yield _build(rules.NAMES_SOMEBODY, one, f'"{one.text}" names {hit.group()}', locate)


def _check_rights(out: Mapping[str, Part], locate: Locate) -> Iterator[Finding]:
    for number, part in out.items():
        if part.marking is not None and part.marking.kind == "maker" and part.marking.rights is None:
            where = _Text(f"projects/{number}/part.yaml", ("marking",), number, "")
            yield _build(rules.RIGHTS_NOT_SAID, where, "the maker's mark goes out and `rights` is empty", locate)


def _build(rule: Rule, one: _Text, message: str, locate: Locate, related: tuple[Related, ...] = ()) -> Finding:
    place = locate(one.path, one.pointer)
    return rule.build_finding(place, message, record=one.record, pointer=one.pointer, related=related)
