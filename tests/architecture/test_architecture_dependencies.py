"""What is imported is declared, what is declared is imported, and each library says why it is there."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

import pytest
from architecture.licences import IMPORTED_AS, WHY, read_dependencies, read_licence, simplify_licence

ROOT = Path(__file__).parents[2]
FREE = ("BSD", "MIT", "PSF", "Apache", "HPND", "ISC")
"""Families of licences that ask for no more than that their words go along (the project is MIT)."""
TEST_TOOLS = frozenset({"hatchling", "import-linter", "mypy", "ruff", "pytest-xdist", "types-pyyaml"})
"""Declared for the tests and started as programs or plugins."""


OTHER_HALVES = frozenset({"pydantic_core", "annotated_types", "markupsafe", "PIL"})
"""Come with pydantic, jinja2 and matplotlib, and are part of how those are used."""


def find_imports(folder: Path) -> set[str]:
    """Return the first names of all modules that the files of a folder import."""
    names = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names.add(node.module.split(".")[0])
            elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in ("import_module", "importorskip"):
                names |= {
                    a.value.split(".")[0] for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)
                }
    return {name for name in names if name not in sys.stdlib_module_names and name != "pipeline"}


def test_every_import_is_declared_and_every_dependency_imported() -> None:
    declared = {IMPORTED_AS.get(name, name) for name in read_dependencies()}
    imported = find_imports(ROOT / "pipeline") - OTHER_HALVES
    assert imported == declared


def test_every_import_of_the_tests_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = [one for name in ("test", "fuzz") for one in project["optional-dependencies"][name]]
    names = {re.split(r"[>=;\s\[]", one)[0].lower() for one in extras}
    as_module = {"axe-playwright-python": "axe_playwright_python", "zxing-cpp": "zxingcpp", "pillow": "PIL"}
    declared = {as_module.get(name, name.replace("-", "_")) for name in names}
    declared |= {IMPORTED_AS.get(name, name) for name in read_dependencies()} | OTHER_HALVES
    own = {p.stem for p in (ROOT / "tests").rglob("*.py")} | {p.name for p in (ROOT / "tests").rglob("*") if p.is_dir()}
    assert find_imports(ROOT / "tests") - own - declared - {"importlinter", "xdist"} == set()
    used = find_imports(ROOT / "tests") | {as_module.get(n, n.replace("-", "_")) for n in TEST_TOOLS}
    assert declared - used - OTHER_HALVES - {IMPORTED_AS.get(n, n) for n in read_dependencies()} == set(), (
        "declared and not used"
    )


def test_each_dependency_says_why_it_is_there() -> None:
    assert set(WHY) == set(read_dependencies())


@pytest.mark.parametrize("name", sorted(WHY))
def test_each_licence_lets_the_program_be_passed_on(name: str) -> None:
    assert simplify_licence(read_licence(name)) in FREE, read_licence(name)


def test_nothing_but_dependencies_is_needed_at_run_time() -> None:
    """An extra is an extra: no module of the program imports what only the tests declare."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = {re.split(r"[>=;\s\[]", one)[0].lower() for one in project["optional-dependencies"]["test"]}
    assert not find_imports(ROOT / "pipeline") & extras
