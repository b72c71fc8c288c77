"""The review page as lines of a terminal and as plain data: the same view, so that they cannot disagree."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pipeline.views.shapes_marks import MARK_WORDS, Line
from pipeline.views.shapes_site import ReviewGroup, ReviewItem, ReviewPage

FORMAT = "repro-pipeline review 1"


def _word(line: Line) -> str:
    return "".join(run.text for run in line)


def render_review(page: ReviewPage) -> list[str]:
    """Return the review as lines: what limits it, then every group with its items."""
    lines = [f"What moved from {page.since} to {page.until}."]
    lines += [f"note: {_word(note)}" for note in page.notes]
    for group in page.groups:
        lines += ["", f"{group.title.upper()}  ({len(group.items) or 'none'})"]
        lines += [line for item in group.items for line in _render_item(item)] or [f"  {group.empty}"]
    return lines


def _render_item(item: ReviewItem) -> Iterator[str]:
    commit = ""
    if item.commit is not None:
        doubt = f"; {item.commit.doubt}" if item.commit.doubt else ""
        commit = f"  [{item.commit.short}, {item.commit.who}{doubt}]"
    name = f" {item.name}" if item.name else ""
    yield f"  {item.on:<12} {item.part.text}{name}: {_word(item.line)}{commit}"


def build_review_dict(page: ReviewPage) -> dict[str, Any]:
    """Return the review as plain data."""
    return {
        "format": FORMAT,
        "since": page.since,
        "until": page.until,
        "notes": [_word(note) for note in page.notes],
        "groups": [_build_group(group) for group in page.groups],
    }


def _build_group(group: ReviewGroup) -> dict[str, Any]:
    return {"id": group.anchor, "title": group.title, "items": [_build_item(item) for item in group.items]}


def _build_item(item: ReviewItem) -> dict[str, Any]:
    commit = item.commit
    return {
        "part": item.part.text,
        "name": item.name,
        "on": item.on,
        "words": _word(item.line),
        "mark": MARK_WORDS[item.mark],
        "commit": None
        if commit is None
        else {"id": commit.short, "on": commit.on, "who": commit.who, "doubt": commit.doubt},
    }
