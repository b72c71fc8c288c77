"""A new entry of a record's section, for the commands that let a record grow: its id, and what writes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.portfolio.near import Near
    from pipeline.portfolio.proposal import Draft


def build_id_parser(near: Near, section: str, advice: str = "") -> Callable[[str], str]:
    """Return a parser of an id that no entry of a section has. advice : what to do with `{id}` that is there."""
    from pipeline.cli.answers import parse_key
    from pipeline.portfolio.tool_steps import find_place

    def parse(text: str) -> str:
        found = parse_key(text)
        if near.part is not None and found in getattr(near.part, section):
            place = find_place(near, (section, found))
            more = advice.format(id=found) or ", or give another id"
            raise ValueError(f"{place}: {near.number} has {found} already; change it there{more}")
        return found

    return parse


def build_entry_draft(
    near: Near,
    section: str,
    word: str,
    key: str,
    entry: Mapping[str, Any],
    describe: Callable[[Near], tuple[str, ...]] = lambda _: (),
) -> Draft:
    """Return the draft that adds an entry, with the gates that it moves back.

    word : what an entry of the section is called. describe : what else is said, from the record as it will be.
    """
    from pipeline.portfolio.entries import keep_given
    from pipeline.portfolio.near import preview
    from pipeline.portfolio.proposal import Draft
    from pipeline.portfolio.starting import describe_gates_moved
    from pipeline.writing.encoding import edit_bytes
    from pipeline.writing.records import insert_entry

    given = keep_given(entry)

    def edit(text: str) -> str:
        return insert_entry(text, section, key, given)

    after = preview(near, edit_bytes(near.content or b"", edit))
    notes = (*describe(after), *describe_gates_moved(near, after))
    return Draft(edit, ((section, key),), f"{word} {key}", notes=notes)
