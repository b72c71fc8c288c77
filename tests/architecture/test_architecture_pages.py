"""README.md and DEVELOPERS.md say what is true: commands and room captions are generated and held equal.

Run this file as a program to write them anew: `python3 tests/architecture/test_architecture_pages.py`.
"""

from __future__ import annotations

import ast
import functools
import re
import sys
from pathlib import Path

import pytest

if str(Path(__file__).parents[1]) not in sys.path:  # run as a program
    sys.path.insert(0, str(Path(__file__).parents[1]))

from architecture import licences, tried

from pipeline.cli.program import COMMANDS

ROOT = Path(__file__).parents[2]
ROOM_ORDER = (
    "model", "findings", "keeping", "reading", "writing", "history", "lineage", "measuring", "fit", "costing", "planning", "gates",
    "portfolio", "views", "charts", "sitegen", "demo", "cli",
)  # fmt: skip


def read_caption(room: str) -> str:
    tree = ast.parse((ROOT / "pipeline" / room / "__init__.py").read_text("utf-8"))
    return (ast.get_docstring(tree) or "").splitlines()[0]


def render_rooms() -> str:
    rows = "\n".join(f"| `{room}` | {read_caption(room)} |" for room in ROOM_ORDER)
    return f"| room | what happens there |\n| --- | --- |\n{rows}"


def render_commands() -> str:
    rows = "\n".join(f"| `pipeline {name}` | {text} |" for name, text in sorted(COMMANDS.items()))
    return f"| command | what it does |\n| --- | --- |\n{rows}"


@functools.cache
def find_marks() -> tuple[tried.Mark, ...]:
    """Every mark of every test that tries to do harm; collected once."""
    return tuple(tried.collect())


BLOCKS = (
    ("DEVELOPERS.md", "rooms", render_rooms),
    ("README.md", "commands", render_commands),
    ("DEVELOPERS.md", "hostile", lambda: tried.render_hostile(list(find_marks()))),
    ("DEVELOPERS.md", "faults", lambda: tried.render_faults(list(find_marks()))),
    ("DEVELOPERS.md", "licences", licences.render_licences),
)


def find_block(text: str, name: str) -> str:
    found = re.search(rf"<!-- {name} -->\n(.*?)<!-- /{name} -->", text, re.S)
    assert found is not None, name
    return found.group(1).strip()


@pytest.mark.parametrize(("page", "name", "render"), BLOCKS, ids=[name for _, name, _ in BLOCKS])
def test_a_generated_block_is_up_to_date(page: str, name: str, render) -> None:  # type: ignore[no-untyped-def]
    text = (ROOT / page).read_text("utf-8")
    assert find_block(text, name) == render(), f"run python3 {Path(__file__).relative_to(ROOT)}"


def test_every_room_is_listed() -> None:
    rooms = {path.parent.name for path in (ROOT / "pipeline").glob("*/__init__.py")}
    assert rooms == set(ROOM_ORDER)


def test_links_and_pictures_of_the_pages_lead_somewhere() -> None:
    for page in ("README.md", "DEVELOPERS.md", "CHANGELOG.md"):
        text = (ROOT / page).read_text("utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), f"{page} points at {target}"


def test_the_readme_shows_the_two_commands_word_for_word() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    assert "python3 -m pip install . && pipeline demo" in text
    assert "python3 -m pip install '.[test]' && python3 -m pytest" in text
    assert text.index("For makers of reproduction parts") < text.index("pip install")


def write_blocks() -> None:
    for page, name, render in BLOCKS:
        path = ROOT / page
        text = path.read_text("utf-8")
        block = f"<!-- {name} -->\n{render()}\n<!-- /{name} -->"
        path.write_text(re.sub(rf"<!-- {name} -->.*?<!-- /{name} -->", lambda _, b=block: b, text, flags=re.S), "utf-8")


if __name__ == "__main__":
    write_blocks()
