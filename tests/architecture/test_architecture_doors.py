"""The house: doors between rooms, libraries in their rooms, captions, sizes, names, and nothing that leads outside."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "pipeline"
MODULES = sorted(PACKAGE.rglob("*.py"))
ROOMS = sorted(path.parent for path in PACKAGE.glob("*/__init__.py"))
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]


def lint_imports(root: Path) -> subprocess.CompletedProcess[str]:
    """Run import-linter on the package that lies in a folder, with that folder's pyproject.toml."""
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from importlinter.cli import lint_imports\n"
        "sys.exit(lint_imports(config_filename=sys.argv[1] + '/pyproject.toml', cache_dir=None, no_timings=True)"
        " if 'no_timings' in lint_imports.__code__.co_varnames"
        " else lint_imports(config_filename=sys.argv[1] + '/pyproject.toml', cache_dir=None))"
    )
    return subprocess.run(
        [sys.executable, "-c", code, str(root)], cwd=root, capture_output=True, text=True, encoding="utf-8", check=False
    )


def test_every_door_holds() -> None:
    said = lint_imports(ROOT)
    assert said.returncode == 0, said.stdout[-2000:] + said.stderr[-2000:]
    assert f"Contracts: {len(CONTRACTS)} kept, 0 broken." in said.stdout


WRONG_DOORS = {
    "Rooms stand in order: each knows only those below it": ("model", "pipeline.cli.program"),
    "The pure rooms know only the model and the findings": ("gates", "pipeline.reading.tree"),
    "Only the reading room knows yaml": ("views", "yaml"),
    "Only the history room knows git": ("cli", "git"),
    "Only the lineage room knows networkx": ("gates", "networkx"),
    "Only the charts room knows matplotlib": ("sitegen", "matplotlib"),
    "Only the charts room knows segno": ("views", "segno"),
    "Only the site room knows mkdocs": ("charts", "mkdocs"),
}


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the package's rooms, empty but for their doors, with the project's contracts."""
    root = tmp_path_factory.mktemp("house")
    for room in ROOMS:
        target = root / "pipeline" / room.name
        target.mkdir(parents=True)
        (target / "__init__.py").write_text("")
        (target / "door.py").write_text("")
    (root / "pipeline/__init__.py").write_text("")
    (root / "pipeline/cli/program.py").write_text("")
    (root / "pipeline/reading/tree.py").write_text("import yaml\n")
    (root / "pipeline/sitegen/door.py").write_text("import mkdocs\n")
    shutil.copy(ROOT / "pyproject.toml", root)
    return root


def test_an_empty_house_breaks_no_contract(house: Path) -> None:
    said = lint_imports(house)
    assert said.returncode == 0, said.stdout[-2000:] + said.stderr[-2000:]


@pytest.mark.parametrize("contract", [contract["name"] for contract in CONTRACTS])
def test_each_contract_is_seen_broken_once(contract: str, house: Path) -> None:
    room, module = WRONG_DOORS[contract]
    door = house / "pipeline" / room / "wrong.py"
    door.write_text(f"import {module}\n")
    try:
        said = lint_imports(house)
    finally:
        door.unlink()
    assert said.returncode == 1
    assert re.search(rf"^{re.escape(contract)} BROKEN$", said.stdout, re.MULTILINE), said.stdout[-3000:]


def test_every_room_stands_in_the_order_of_rooms() -> None:
    layers = [room.strip() for layer in CONTRACTS[0]["layers"] for room in layer.split(":")]
    assert sorted(layers) == sorted(f"pipeline.{room.name}" for room in ROOMS)


def test_every_contract_about_a_library_names_all_other_rooms() -> None:
    rooms = {f"pipeline.{room.name}" for room in ROOMS}
    for contract in CONTRACTS[2:]:
        assert len(rooms - set(contract["source_modules"])) == 1, contract["name"]


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_s_caption_is_one_sentence(room: Path) -> None:
    text = ast.get_docstring(ast.parse((room / "__init__.py").read_text("utf-8"))) or ""
    caption = text.split("\n", 1)[0]
    assert caption.endswith(".")
    assert 3 <= len(caption.split()) <= 30
    assert caption[0].isupper()


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_a_room_s_door_is_light(room: Path) -> None:
    tree = ast.parse((room / "__init__.py").read_text("utf-8"))
    names = {alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in tree.body if isinstance(node, ast.ImportFrom)}
    heavy = {"numpy", "scipy", "matplotlib", "mkdocs", "networkx", "git", "yaml", "pydantic"}
    assert not {name.split(".")[0] for name in names} & heavy


def test_no_module_is_longer_than_eight_hundred_lines() -> None:
    long = {str(m.relative_to(ROOT)): n for m in MODULES if (n := len(m.read_text("utf-8").splitlines())) > 800}
    assert long == {}


def test_no_room_and_no_module_is_named_after_nothing() -> None:
    vague = {
        "utils",
        "util",
        "helpers",
        "helper",
        "common",
        "core",
        "manager",
        "managers",
        "misc",
        "base",
        "tools",
        "stuff",
    }
    assert not {m.stem for m in MODULES} & vague
    assert not {m.parent.name for m in MODULES} & vague


def test_every_module_and_every_public_function_says_what_it_is_for() -> None:
    silent = []
    for module in MODULES:
        tree = ast.parse(module.read_text("utf-8"))
        named = [(module.name, tree)] + [
            (node.name, node)
            for node in ast.walk(tree)
            if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef) and node in tree.body
        ]
        silent += [
            f"{module.relative_to(ROOT)}: {name}"
            for name, node in named
            if not name.startswith("_") and not ast.get_docstring(node)  # type: ignore[arg-type]
        ]
    assert silent == []


def list_tracked_files() -> list[Path]:
    """Return the files that git tracks, or all files of the source tree where there is no git."""
    said = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if said.returncode != 0:
        pytest.skip("not a git repository")
    return [ROOT / name for name in said.stdout.decode().split("\0") if name and (ROOT / name).is_file()]


MACHINE = re.compile(
    rb"(?<![\w./-])/(?:root|home/\w+|Users/\w+|work)/[\w.-]+|[A-Z]:\\\\?Users\\"
    rb"|\b(?:pypi|test\.pypi|registry\.npmjs|registry\.yarnpkg|files\.pythonhosted|crates|index\.docker)\.(?:org|io|com)\b"
)


def test_the_search_for_machines_finds_them() -> None:
    home, host = b"/ro" + b"ot/venv/bin", b"https://py" + b"pi.org/simple"
    for text in (home, b"see /wo" + b"rk/main", b"/ho" + b"me/ann/x", host):
        assert MACHINE.search(text), text
    for text in (b"projects/x", b"a/" + b"work/b", b"homework/x", b"../shared/x.yaml"):
        assert not MACHINE.search(text), text


def test_no_tracked_file_names_a_machine_s_path_or_a_registry_s_host() -> None:
    found = []
    for path in list_tracked_files():
        match = MACHINE.search(path.read_bytes())
        if match is not None:
            found.append(f"{path.relative_to(ROOT)}: {match.group().decode(errors='replace')}")
    assert found == []


def test_no_tracked_file_is_a_link_or_larger_than_two_megabytes() -> None:
    for path in list_tracked_files():
        assert not path.is_symlink(), path
        assert path.stat().st_size < 2_000_000, path
