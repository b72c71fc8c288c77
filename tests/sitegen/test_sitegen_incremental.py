"""A build that takes from the last one equals a clean one, byte by byte, whatever was edited in between."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.portfolio.build_cache import PLACE
from pipeline.portfolio.portfolio import PartFile
from pipeline.sitegen.build import BuiltSite, build_site
from pipeline.sitegen.site_files import PartViews, build_part_views

SOURCE = Path(__file__).parents[2]
DAY = dt.date(2026, 11, 26)
NUMBERS = ("TW-160", "TW-161", "TW-171", "TW-172", "TW-210")
"""An assembly with its lens; two parts that share a tool; a kit of both, which takes sales from them."""
ADDRESS = {"GIT_AUTHOR_NAME": "Ann", "GIT_AUTHOR_EMAIL": "ann@example.invalid", "GIT_COMMITTER_NAME": "Ann",
           "GIT_COMMITTER_EMAIL": "ann@example.invalid", "GIT_AUTHOR_DATE": "2026-11-25T12:00:00Z",
           "GIT_COMMITTER_DATE": "2026-11-25T12:00:00Z", "GIT_CONFIG_GLOBAL": "/dev/null"}  # fmt: skip


@pytest.fixture(scope="session")
def five(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five records of the demo that have to do with each other, in git, with the site built once."""
    root = tmp_path_factory.mktemp("five") / "workspace"
    for name in ("shared", "site"):
        shutil.copytree(SOURCE / name, root / name)
    for number in NUMBERS:
        shutil.copytree(SOURCE / "projects" / number, root / "projects" / number)
    (root / ".gitignore").write_text("/build/\n/.pipeline/\n", "utf-8")
    _git(root, "init", "-q")
    commit(root)
    build_site(root, today=DAY)
    return root


@pytest.fixture
def workspace(five: Path, tmp_path: Path) -> Path:
    """A copy of the five, with what the first build kept."""
    return Path(shutil.copytree(five, tmp_path / "workspace"))


def _git(root: Path, *arguments: str) -> None:
    subprocess.run(["git", *arguments], cwd=root, check=True, env={"PATH": "/usr/bin:/bin", **ADDRESS})


def read_site(site: Path) -> dict[str, bytes]:
    """Return every file of a site by its path."""
    return {path.relative_to(site).as_posix(): path.read_bytes() for path in site.rglob("*") if path.is_file()}


def build_clean(root: Path, place: Path) -> dict[str, bytes]:
    """Return the site of a workspace as it is built by who has built nothing before."""
    shutil.rmtree(place, ignore_errors=True)
    copy = shutil.copytree(root, place / root.name, ignore=shutil.ignore_patterns(".pipeline", "build"))
    return read_site(build_site(Path(copy), today=DAY).out)


def assert_like_clean(root: Path, place: Path) -> BuiltSite:
    """Hold a build against a clean one; return it."""
    built = build_site(root, today=DAY)
    mine, clean = read_site(built.out), build_clean(root, place)
    assert sorted(mine) == sorted(clean)
    assert [path for path in clean if mine[path] != clean[path]] == []
    return built


# --- edits ----------------------------------------------------------------------------------------------


def change(path: str, pattern: str, into: str) -> Callable[[Path], None]:
    """Return an edit of one place in a file, where the file and the place are still there."""

    def edit(root: Path) -> None:
        file = root / path
        if file.is_file():
            file.write_text(re.sub(pattern, into, file.read_text("utf-8"), count=1, flags=re.M), "utf-8")

    return edit


def look_again(root: Path) -> None:
    """Add a comment to every record."""
    for file in root.glob("projects/*/part.yaml"):
        file.write_text(file.read_text("utf-8") + "# looked at again\n", "utf-8")


def move_lines(root: Path) -> None:
    """Put a comment above a record: every value stands on another line."""
    for file in root.glob("projects/TW-171/part.yaml"):
        file.write_text("# Tarnwick Sedge\n\n" + file.read_text("utf-8"), "utf-8")


def add_part(root: Path) -> None:
    """Add a record that is like another."""
    if not (root / "projects/TW-173").exists() and (root / "projects/TW-171/part.yaml").exists():
        shutil.copytree(root / "projects/TW-171", root / "projects/TW-173")
        change("projects/TW-173/part.yaml", r"^part: .*", "part: TW-173")(root)


def rename_part(root: Path) -> None:
    """Give a record another number, here and where others name it."""
    if (root / "projects/TW-161").exists():
        (root / "projects/TW-161").rename(root / "projects/TW-261")
        for file in root.glob("projects/*/part.yaml"):
            file.write_text(file.read_text("utf-8").replace("TW-161", "TW-261"), "utf-8")


def drop(pattern: str) -> Callable[[Path], None]:
    """Return an edit that deletes the first file or folder of a name."""

    def edit(root: Path) -> None:
        found = sorted(root.glob(pattern))[:1]
        for one in found:
            shutil.rmtree(one) if one.is_dir() else one.unlink()

    return edit


def touch_evidence(root: Path) -> None:
    """Add a line to a file of readings and the list does not know of it."""
    for file in sorted(root.glob("projects/*/evidence/*.csv"))[:1]:
        file.write_text(file.read_text("utf-8") + "\n", "utf-8")


def commit(root: Path) -> None:
    """Commit all there is."""
    _git(root, "add", "-A")
    _git(root, "commit", "-q", "--allow-empty", "-m", "as it stands")


EDITS: dict[str, Callable[[Path], None]] = {
    "look again": look_again,
    "move lines": move_lines,
    "price of a part in a kit": change("projects/TW-172/part.yaml", r"price: 9\.20 USD, cost", "price: 9.80 USD, cost"),
    "name of a part inside": change("projects/TW-161/part.yaml", r"^name: .*", "name: Amber lens"),
    "engineer": change("projects/TW-210/part.yaml", r"^engineer: .*", "engineer: nobody"),
    "tool of two": change("projects/TW-171/part.yaml", r"(form: *\{kind: \S+ .*price: )\d+", r"\g<1>1234"),
    "add": add_part,
    "rename": rename_part,
    "delete a part of a kit": drop("projects/TW-172"),
    "delete evidence": drop("projects/TW-171/evidence/*"),
    "touch evidence": touch_evidence,
    "break a record": change("projects/TW-160/part.yaml", r"^name: .*", "name: [Courtesy lamp"),
    "mend it": change("projects/TW-160/part.yaml", r"^name: .*", "name: Courtesy lamp"),
    "what money costs": change("shared/money.yaml", r"(money_rate: *)\S+", r"\g<1>0.11"),
    "name of the shop": change("shared/shop.yaml", r"^name: .*", "name: Brackmoor & Daughters"),
    "a page in the head line": change("site/mkdocs.yml", r"^  - Guide:", "  - How we work:"),
    "commit": commit,
}


def test_an_edit_touches_only_what_relies_on_it(
    workspace: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = read_site(workspace / "build/site")
    made: list[str] = []

    def build_views(file: PartFile, root: Path, site: str) -> PartViews:
        made.append(file.number)
        return build_part_views(file, root, site)

    monkeypatch.setattr("pipeline.sitegen.site_making.build_part_views", build_views)
    EDITS["price of a part in a kit"](workspace)
    built = build_site(workspace, today=DAY)
    assert set(made) == {"TW-172", "TW-210"}, "the part itself, and the kit that takes from its sales"
    assert read_site(built.out) == build_clean(workspace, tmp_path / "clean")
    after = read_site(built.out)
    pages = [path for path in after if re.fullmatch(r"parts/TW-\d+\.html", path) and after[path] != before[path]]
    assert "parts/TW-172.html" in pages and "parts/TW-161.html" not in pages


@pytest.mark.parametrize("name", ["commit"])
def test_a_build_after_one_edit_equals_a_clean_one(name: str, workspace: Path, tmp_path: Path) -> None:
    EDITS[name](workspace)
    assert_like_clean(workspace, tmp_path / "clean")


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(EDITS))
def test_every_edit_alone(name: str, workspace: Path, tmp_path: Path) -> None:
    before = read_site(workspace / "build/site")
    EDITS[name](workspace)
    after = read_site(assert_like_clean(workspace, tmp_path / "clean").out)
    assert (before == after) == (name == "mend it"), "the edit changes something, or nobody has tried it"


@pytest.mark.slow
@given(st.lists(st.sampled_from(sorted(EDITS)), min_size=2, max_size=5))
@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
def test_any_edits_one_after_the_other(five: Path, tmp_path_factory: pytest.TempPathFactory, names: list[str]) -> None:
    place = tmp_path_factory.mktemp("edits")
    root = Path(shutil.copytree(five, place / "workspace"))
    for name in names:
        EDITS[name](root)
        assert_like_clean(root, place / "clean")
    shutil.rmtree(place)


# --- a cache that is not what it should be -------------------------------------------------------------------


def rot_values(path: Path) -> None:
    """Change a letter in every kept value."""
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE kept SET value = substr(value, 1, 40) || x'00' || substr(value, 42)")
    connection.close()


def forge_shape(path: Path) -> None:
    """Keep values that are whole and of another shape."""
    import zlib

    from pipeline.keeping.seals import seal

    packed = zlib.compress(b'{"relied": [], "shown": 1, "pages": []}')
    with sqlite3.connect(path) as connection:
        rows = connection.execute("SELECT room, name, stamp FROM kept").fetchall()
        sealed = [(packed, seal(room, name, stamp, packed), room, name) for room, name, stamp in rows]
        connection.executemany("UPDATE kept SET value = ?, seal = ? WHERE room = ? AND name = ?", sealed)
    connection.close()


def age_layout(path: Path) -> None:
    """Leave the file of a later program."""
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()


def put_folder(path: Path) -> None:
    """Put a folder in the place of the file."""
    path.unlink()
    path.mkdir()


DAMAGES: dict[str, Callable[[Path], object]] = {
    "rotten values": rot_values,
    "values of another shape": forge_shape,
    "cut off": lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
    "empty": lambda path: path.write_bytes(b""),
    "no database": lambda path: path.write_bytes(b"not a database at all " * 400),
    "another layout": age_layout,
    "gone": Path.unlink,
    "a folder": put_folder,
}


@pytest.mark.parametrize("name", ["cut off"])
def test_damaged_cache_is_passed_over(name: str, workspace: Path) -> None:
    before = read_site(workspace / "build/site")
    DAMAGES[name](workspace / PLACE)
    assert read_site(build_site(workspace, today=DAY).out) == before


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(DAMAGES))
def test_every_damage(name: str, workspace: Path) -> None:
    before = read_site(workspace / "build/site")
    DAMAGES[name](workspace / PLACE)
    assert read_site(build_site(workspace, today=DAY).out) == before
    assert read_site(build_site(workspace, today=DAY).out) == before
    if name != "a folder":
        with sqlite3.connect(workspace / PLACE) as connection:
            count = connection.execute("SELECT COUNT(*) FROM kept WHERE room LIKE '% parts'").fetchone()[0]
            assert count == len(NUMBERS)
        connection.close()


@pytest.mark.slow
def test_cache_that_somebody_holds_is_gone_without(workspace: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.portfolio.build_cache.PATIENCE", 0.05)
    before = read_site(workspace / "build/site")
    holder = sqlite3.connect(workspace / PLACE)
    holder.execute("BEGIN EXCLUSIVE")
    try:
        look_again(workspace)
        after = read_site(build_site(workspace, today=DAY).out)
    finally:
        holder.rollback()
        holder.close()
    assert {path for path in after if after[path] != before[path]} >= {"parts/TW-171/part.yaml"}


@pytest.mark.slow
def test_two_builds_share_one_cache(workspace: Path, tmp_path: Path) -> None:
    EDITS["price of a part in a kit"](workspace)
    shutil.rmtree(workspace / ".pipeline")
    results: dict[str, dict[str, bytes]] = {}

    def run(name: str) -> None:
        command = [
            sys.executable,
            "-m",
            "pipeline",
            "build",
            "-w",
            str(workspace),
            "--on",
            str(DAY),
            "-o",
            str(tmp_path / name),
        ]
        subprocess.run(command, check=True, capture_output=True, cwd=SOURCE)
        results[name] = read_site(tmp_path / name)

    threads = [threading.Thread(target=run, args=(name,)) for name in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert results["one"] == results["two"] == build_clean(workspace, tmp_path / "clean")
